//! Fits the constants: coordinate search on what the follower says of the training cases.

use catchword::follower::{Constants, FollowerConfig};
use fastrand::Rng;

use super::case::Case;
use super::score::{Totals, run, tally};

/// Cases of one kind with the weight of their kind.
pub struct Training {
    pub clean: Vec<Case>,
    pub stress: Vec<Case>,
    pub weight: f64,
}

/// What is to be made small: errors in per cent, each about as important as in the table of figures.
fn loss(training: &[Training], config: &dyn Fn(Constants) -> FollowerConfig, c: Constants) -> f64 {
    let mut sum = 0.0;
    for set in training {
        let (mut clean, mut stress) = (Totals::default(), Totals::default());
        for case in &set.clean {
            tally(case, &run(case, config(c)), &mut clean);
        }
        for case in &set.stress {
            tally(case, &run(case, config(c)), &mut stress);
        }
        let get = |t: &Totals, name: &str| t.figures().iter().find(|f| f.0 == name).map_or(0.0, |f| f.1);
        let lack = |t: &Totals, name: &str| 100.0 * (1.0 - get(t, name));
        sum += set.weight
            * (8.0 * lack(&clean, "match F")
                + 4.0 * lack(&clean, "within 1 beat")
                + lack(&stress, "match F")
                + lack(&stress, "within 1 beat")
                + 0.25 * lack(&stress, "slip P")
                + 0.15 * lack(&stress, "slip R")
                + 10.0 * get(&stress, "ghosts called slips")
                + 0.2 * get(&stress, "false/1000")
                + 0.5 * get(&clean, "false/1000")
                + 0.05 * lack(&stress, "missed P")
                + 0.02 * lack(&stress, "missed R")
                + 0.2 * lack(&stress, "pause hit")
                + 2.0 * (get(&stress, "delay median") - 0.7).max(0.0)
                + 4.0 * get(&stress, "false/min")
                + 4.0 * get(&clean, "false/min"));
    }
    sum
}

/// Moves one constant at a time by a factor and keeps what helps; the steps shrink.
pub fn fit(training: &[Training], config: &dyn Fn(Constants) -> FollowerConfig, mut best: Constants, rounds: usize) -> Constants {
    let mut rng = Rng::with_seed(11);
    let mut least = loss(training, config, best);
    println!("loss {least:.4} at the start");
    let names: Vec<&str> = best.fields_mut().iter().map(|f| f.0).collect();
    for round in 0..rounds {
        let step = 1.6f64.powf(0.75f64.powi(round as i32));
        let mut order: Vec<usize> = (0..names.len()).collect();
        rng.shuffle(&mut order);
        for i in order {
            for factor in [step, 1.0 / step] {
                let mut tried = best;
                let value = &mut *tried.fields_mut()[i].1;
                *value *= factor;
                let is_chance = names[i].starts_with("say_") || names[i].starts_with("share_") || names[i].starts_with("p_");
                if is_chance && *value > 0.98 {
                    continue;
                }
                let got = loss(training, config, tried);
                if got < least - 1e-4 {
                    (best, least) = (tried, got);
                    println!("round {round} {} -> {:.5}: loss {least:.4}", names[i], *tried.fields_mut()[i].1);
                    break;
                }
            }
        }
    }
    for (name, value) in best.fields_mut() {
        println!("{name}: {value:.5},");
    }
    best
}

/// False hesitations a minute that are allowed in clean and in stress cases, and the share of them that may be used up on
/// the cases tuned on: others will be harder.
const FALSE_A_MINUTE: (f64, f64) = (0.15, 0.25);
const SHARE_USED: f64 = 2.0 / 3.0;

/// Finds the shortest floor of the wait, to the hundredth of a second, that keeps false hesitations as rare as they may be.
pub fn fit_wait(training: &Training, config: &dyn Fn(Constants) -> FollowerConfig, mut c: Constants) -> Constants {
    for hundredths in 30..=60 {
        c.wait_floor = f64::from(hundredths) / 100.0;
        let false_a_minute = |cases: &[Case]| {
            let mut totals = Totals::default();
            cases.iter().for_each(|case| tally(case, &run(case, config(c)), &mut totals));
            totals.stray as f64 / totals.minutes
        };
        let (clean, stress) = (false_a_minute(&training.clean), false_a_minute(&training.stress));
        println!("wait_floor {:.2}: {clean:.3} clean, {stress:.3} stress", c.wait_floor);
        if clean <= SHARE_USED * FALSE_A_MINUTE.0 && stress <= SHARE_USED * FALSE_A_MINUTE.1 {
            break;
        }
    }
    c
}
