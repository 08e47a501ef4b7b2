//! The model fitted to one player: three factors, from their own record, when there is enough of it.
//!
//! Twenty-one weights cannot be told from a few hundred tests. Three can: how long a first memory
//! lasts, how much a success adds, how much a failure leaves. Each is the factor that makes the record most likely, drawn towards 1 by a
//! log-normal prior. A fit is used only when it foretells the latest third of the tests, which it has not
//! seen, better than the defaults do.

use chrono::NaiveDate;

use super::Outcome;
use super::model::Weights;

/// Tests with a day or more before them that are needed, and failures among them.
const N_TESTS_MIN: usize = 120;
const N_FAILED_MIN: usize = 12;
/// Attempts that a fit looks at: the latest items' whole histories.
const N_ATTEMPTS_MAX: usize = 800;
/// Spread of the prior, in natural logarithms.
const PRIOR_SD: f64 = 0.7;
const FACTOR_LN_MAX: f64 = 2.0;

/// What grades one item: days and outcomes, oldest first.
pub type History = Vec<(NaiveDate, Outcome)>;

/// The weights to plan with, and whose they are.
#[derive(Clone, PartialEq, Debug)]
pub struct Fitted {
    pub weights: Weights,
    pub origin: Origin,
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Origin {
    /// Fitted to this player's tests.
    Own { n_tests: usize },
    /// The published defaults, and why.
    Usual { why: String },
}

impl Origin {
    /// Returns a sentence for the player.
    pub fn words(&self) -> String {
        match self {
            Origin::Own { n_tests } => tr!("Reckoned with how you forget, from {n_tests} of your own tests.", n_tests),
            Origin::Usual { why } => tr!("Reckoned with usual figures: {why}.", why),
        }
    }
}

/// Fits the model to a player's histories, or says why the defaults stay.
///
/// Cost: bounded by the latest 800 attempts, whatever the length of the record.
pub fn fit(histories: &[History]) -> Fitted {
    let usual = |why: String| Fitted { weights: Weights::default(), origin: Origin::Usual { why } };
    let mut latest: Vec<&History> = histories.iter().filter(|h| h.len() > 1).collect();
    latest.sort_by_key(|h| std::cmp::Reverse(h.last().map(|(day, _)| *day)));
    let mut n_attempts = 0;
    latest.retain(|h| {
        let is_in = n_attempts == 0 || n_attempts + h.len() <= N_ATTEMPTS_MAX;
        n_attempts += if is_in { h.len() } else { 0 };
        is_in
    });
    let mut days: Vec<NaiveDate> = Vec::new();
    let mut n_failed = 0;
    each_test(&latest, &Weights::default(), |day, _, is_held| {
        days.push(day);
        n_failed += usize::from(!is_held);
    });
    let n_tests = days.len();
    if n_tests < N_TESTS_MIN {
        return usual(tr!("{n_tests} of the {wanted} tests on later days that a fit needs", n_tests, wanted = N_TESTS_MIN));
    }
    if n_failed < N_FAILED_MIN {
        return usual(tr!("only {n_failed} of your {n_tests} tests failed, too few to tell how you forget", n_failed, n_tests));
    }
    days.sort_unstable();
    let split = days[n_tests * 2 / 3];
    let earlier = search(&latest, |day| day < split);
    let unseen = |factors| loss(&latest, factors, |day| day >= split);
    if unseen(earlier) >= unseen([0.0; 3]) {
        return usual(tr!("they foretold your latest tests as well as a fit did"));
    }
    Fitted { weights: weights(search(&latest, |_| true)), origin: Origin::Own { n_tests } }
}

fn weights(factors_ln: [f64; 3]) -> Weights {
    Weights::scaled(factors_ln[0].exp(), factors_ln[1].exp(), factors_ln[2].exp())
}

/// Returns the log factors of least loss: a pattern search, one factor at a time, with halving steps.
fn search(histories: &[&History], is_in: impl Fn(NaiveDate) -> bool + Copy) -> [f64; 3] {
    let cost =
        |factors: [f64; 3]| loss(histories, factors, is_in) + factors.iter().map(|f| f * f / (2.0 * PRIOR_SD * PRIOR_SD)).sum::<f64>();
    let mut best = [0.0; 3];
    let mut least = cost(best);
    let mut step = 0.8;
    while step > 0.06 {
        let mut has_moved = false;
        for axis in 0..3 {
            for sign in [-1.0, 1.0] {
                let mut moved = best;
                moved[axis] = (moved[axis] + sign * step).clamp(-FACTOR_LN_MAX, FACTOR_LN_MAX);
                let found = cost(moved);
                if found < least {
                    (best, least, has_moved) = (moved, found, true);
                    break;
                }
            }
        }
        if !has_moved {
            step /= 2.0;
        }
    }
    best
}

/// Returns the negative log likelihood of the tests on days that are in.
fn loss(histories: &[&History], factors_ln: [f64; 3], is_in: impl Fn(NaiveDate) -> bool) -> f64 {
    let mut sum = 0.0;
    each_test(histories, &weights(factors_ln), |day, expected, is_held| {
        if is_in(day) {
            let likely = if is_held { expected } else { 1.0 - expected };
            sum -= likely.max(1e-4).ln();
        }
    });
    sum
}

/// Replays histories and calls `tell` with the day, what was expected and what happened, for every first attempt of a later day.
fn each_test(histories: &[&History], weights: &Weights, mut tell: impl FnMut(NaiveDate, f64, bool)) {
    for history in histories {
        let Some(((first, outcome), rest)) = history.split_first() else { continue };
        let (mut state, mut last) = (weights.first(*outcome), *first);
        for (day, outcome) in rest {
            let days = u32::try_from((*day - last).num_days()).unwrap_or(0);
            if days > 0 {
                tell(*day, weights.recall(state, f64::from(days)), *outcome != Outcome::Failed);
            }
            state = weights.after(state, days, *outcome);
            last = *day;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;

    /// Histories of a player who forgets by the same law with other weights.
    fn made(truth: &Weights, n_items: usize, n_tests: usize) -> Vec<History> {
        let mut rng = fastrand::Rng::with_seed(11);
        let start = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap();
        let mut item = || {
            let (mut day, mut state) = (start, truth.first(Outcome::Clean));
            let mut history = vec![(day, Outcome::Clean)];
            for _ in 0..n_tests {
                let gap = rng.u32(1..12);
                let outcome = if rng.f64() < truth.recall(state, f64::from(gap)) { Outcome::Clean } else { Outcome::Failed };
                (day, state) = (day + Days::new(gap.into()), truth.after(state, gap, outcome));
                history.push((day, outcome));
            }
            history
        };
        (0..n_items).map(|_| item()).collect()
    }

    #[test]
    fn a_player_who_forgets_otherwise_is_told_from_the_record() {
        let truth = Weights::scaled(0.25, 0.4, 0.5);
        let histories = made(&truth, 40, 10);
        let fitted = fit(&histories);
        assert!(matches!(fitted.origin, Origin::Own { n_tests } if n_tests == 400), "{:?}", fitted.origin);
        // On records that the fit has not seen.
        let unseen = made(&truth, 200, 10);
        let unseen: Vec<&History> = unseen.iter().collect();
        let loss = |weights: &Weights| {
            let mut sum = 0.0;
            each_test(&unseen, weights, |_, expected, is_held| sum -= if is_held { expected } else { 1.0 - expected }.max(1e-4).ln());
            sum
        };
        let (own, usual, best) = (loss(&fitted.weights), loss(&Weights::default()), loss(&truth));
        assert!(own < usual && own - best < 0.2 * (usual - best), "own {own:.0}, usual {usual:.0}, truth {best:.0}");
    }

    #[test]
    fn too_short_a_record_keeps_the_usual_figures_and_says_why() {
        let few = fit(&made(&Weights::default(), 4, 10));
        assert_eq!(few.origin.words(), "Reckoned with usual figures: 40 of the 120 tests on later days that a fit needs.");
        let never_failed: Vec<History> = made(&Weights::scaled(1e4, 1.0, 1.0), 40, 10);
        assert!(fit(&never_failed).origin.words().contains("too few to tell how you forget"));
        assert_eq!(fit(&[]).weights, Weights::default());
    }

    #[test]
    fn a_usual_player_is_planned_with_usual_figures_or_ones_near_them() {
        let fitted = fit(&made(&Weights::default(), 40, 10));
        let state = Weights::default().first(Outcome::Clean);
        for days in [1.0, 7.0, 30.0] {
            let (own, usual) = (fitted.weights.recall(state, days), Weights::default().recall(state, days));
            assert!((own - usual).abs() < 0.08, "{days} days: {own} and {usual}");
        }
    }
}
