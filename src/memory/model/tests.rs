use super::*;
use proptest::prelude::*;

fn state(stability_days: f64, difficulty: f64) -> State {
    State { stability_days, difficulty }
}

/// Check values computed by hand from the published FSRS-6 formulas and default weights.
#[test]
fn the_published_formulas_give_their_check_values() {
    let weights = Weights::default();
    assert!((weights.factor - 0.98035).abs() < 1e-5, "F = {}", weights.factor);
    for (stability, days, recall) in
        [(2.3065, 1.0, 0.9468), (2.3065, 7.0, 0.8083), (2.3065, 30.0, 0.6675), (1.0, 10.0, 0.6928), (1.0, 100.0, 0.4923)]
    {
        let found = weights.recall(state(stability, 5.0), days);
        assert!((found - recall).abs() < 5e-5, "R({days} d) at S = {stability}: {found}");
    }
    let first = weights.first(Outcome::Clean);
    assert!((first.stability_days - 2.3065).abs() < 1e-9 && (first.difficulty - 2.118).abs() < 5e-4, "{first:?}");
    // I(0.9) = S.
    assert!((weights.gap_days(first, 0.9) - first.stability_days).abs() < 1e-9);
}

#[test]
fn clean_at_every_due_day_spaces_out_as_published() {
    // 2, 11, 46 and 163 days, with the difficulty held at that of the first attempt.
    let weights = Weights::default();
    let first = weights.first(Outcome::Clean);
    let mut now = first;
    let mut gaps = Vec::new();
    for _ in 0..4 {
        let gap = weights.gap_days(now, 0.9).round() as u32;
        gaps.push(gap);
        now = State { difficulty: first.difficulty, ..weights.after(now, gap, Outcome::Clean) };
    }
    assert_eq!(gaps, [2, 11, 46, 163]);
}

/// Against the reference implementation: see `tests/data/memory/make_histories.py` for origin and licence.
#[test]
fn a_thousand_histories_end_in_the_states_of_the_reference_implementation() {
    let weights = Weights::default();
    let mut n_same_day = 0;
    let lines: Vec<&str> = include_str!("../../../tests/data/memory/histories.txt").lines().collect();
    assert_eq!(lines.len(), 1000);
    for line in lines {
        let (attempts, expected) = line.split_once('=').unwrap();
        let mut now: Option<State> = None;
        for word in attempts.split_whitespace() {
            let (days, outcome) = word.split_at(word.len() - 1);
            let outcome = match outcome {
                "f" => Outcome::Failed,
                "r" => Outcome::Recovered,
                _ => Outcome::Clean,
            };
            n_same_day += usize::from(now.is_some() && days == "0");
            now = Some(now.map_or_else(|| weights.first(outcome), |s| weights.after(s, days.parse().unwrap(), outcome)));
        }
        let now = now.unwrap();
        let expected: Vec<f64> = expected.split_whitespace().map(|n| n.parse().unwrap()).collect();
        for (found, expected) in [now.stability_days, now.difficulty, weights.recall(now, 30.0)].into_iter().zip(expected) {
            assert!((found - expected).abs() <= 1e-4 * expected.abs().max(1.0), "{line}: {found}, not {expected}");
        }
    }
    assert!(n_same_day > 500, "same-day attempts are among them");
}

fn an_outcome() -> impl Strategy<Value = Outcome> {
    prop_oneof![Just(Outcome::Failed), Just(Outcome::Recovered), Just(Outcome::Clean)]
}

proptest! {
    #[test]
    fn memory_only_falls_with_time_and_stays_within_its_range(
        history in prop::collection::vec((0u32..400, an_outcome()), 1..30),
        days in 0.0..2000.0f64,
        more in 0.0..2000.0f64,
    ) {
        let weights = Weights::default();
        let mut now = weights.first(history[0].1);
        for (gap, outcome) in &history[1..] {
            let before = now;
            now = weights.after(now, *gap, *outcome);
            prop_assert!(now.stability_days.is_finite() && now.stability_days > 0.0 && (1.0..=10.0).contains(&now.difficulty), "{now:?}");
            match outcome {
                Outcome::Failed => prop_assert!(now.stability_days <= before.stability_days.max(STABILITY_MIN)),
                Outcome::Clean => prop_assert!(now.stability_days >= before.stability_days.min(STABILITY_MAX)),
                Outcome::Recovered => {}
            }
        }
        let (sooner, later) = (weights.recall(now, days), weights.recall(now, days + more));
        prop_assert!(later <= sooner && (0.0..=1.0).contains(&sooner) && (0.0..=1.0).contains(&later));
        // The gap to a probability is where the curve meets it.
        let gap = weights.gap_days(now, 0.93);
        prop_assert!((weights.recall(now, gap) - 0.93).abs() < 1e-9);
    }
}
