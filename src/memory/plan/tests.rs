use super::*;
use crate::memory::item::{Layout, PlaceAt, SectionAt};
use crate::memory::piece_memory::PieceFacts;
use chrono::Days;
use proptest::prelude::*;

fn day(n: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 1, 4).unwrap() + Days::new(n)
}

/// `n_sections` of four bars of three seconds; the second and third look alike.
fn piece(key: &str, n_sections: usize, perform_on: Option<NaiveDate>) -> PieceMemory {
    let n_bars = n_sections * 4;
    let place = |bar: usize| PlaceAt { text: format!("{}.1", bar + 1), bar };
    PieceMemory::new(PieceFacts {
        key: key.into(),
        title: format!("The {key}"),
        perform_on,
        layout: Layout {
            labels: (1..=n_bars).map(|n| n.to_string()).collect(),
            sections: (0..n_sections).map(|s| SectionAt { name: format!("part {}", s + 1), bars: s * 4..s * 4 + 4, target: 3 }).collect(),
            landmarks: vec![],
            switches: if n_sections > 2 { vec![vec![place(6), place(10)]] } else { vec![] },
            changes: vec![],
        },
        bar_seconds: vec![3.0; n_bars],
    })
}

fn config(today: NaiveDate, minutes: f64) -> PlanConfig {
    PlanConfig { today, minutes, pace: Pace::default() }
}

fn play(piece: &mut PieceMemory, idx: usize, on: NaiveDate, outcome: Outcome, way: Way) {
    piece.add(ItemIdx(idx), Attempt { day: on, outcome, way, recall: None }, &Weights::default());
}

fn names(plan: &DayPlan) -> Vec<String> {
    let name = |s: &PlannedStep| match &s.what {
        What::Item { name, .. } => format!("{name} x{}: {}", s.reps, s.why),
        What::RunThrough => format!("the whole: {}", s.why),
        What::Rest => "rest".to_owned(),
    };
    plan.steps.iter().map(name).collect()
}

#[test]
fn tests_come_first_then_joins_then_new_sections_and_the_whole_last() {
    let mut p = piece("ferry", 2, None);
    play(&mut p, 0, day(0), Outcome::Clean, Way::Cold);
    let found = plan(std::slice::from_ref(&p), &Weights::default(), &config(day(1), 20.0));
    assert_eq!(names(&found), ["part 1 x1: held yesterday, due", "part 2 x3: new: 3 clean from memory"]);
    play(&mut p, 0, day(1), Outcome::Failed, Way::Cold);
    play(&mut p, 1, day(1), Outcome::Clean, Way::Cold);
    let found = plan(std::slice::from_ref(&p), &Weights::default(), &config(day(2), 20.0));
    assert_eq!(
        names(&found),
        [
            "part 1 x1: it did not hold yesterday",
            "part 2 x1: held yesterday, due",
            "from part 1 into part 2 x2: both sides are there, not joined yet",
            "part 1 x1: once more, after other work",
            "the whole: the first time through; go on whatever happens",
        ]
    );
}

#[test]
fn look_alikes_are_not_learnt_on_one_day() {
    let p = piece("ferry", 3, Some(day(7)));
    let new = |plan: &DayPlan| names(plan).iter().map(|n| n[..6].to_owned()).collect::<Vec<_>>();
    let days = plan_days(&[p], &Weights::default(), &config(day(0), 60.0), 2);
    assert_eq!(new(&days[0]), ["part 1", "part 2"], "part 3 is like part 2");
    assert!(new(&days[1]).contains(&"part 3".to_owned()));
}

#[test]
fn everything_is_tested_two_days_before_and_nothing_new_is_begun_after() {
    let mut p = piece("ferry", 4, Some(day(20)));
    for (idx, on) in [(0, 16), (1, 17), (2, 17)] {
        [0, 1, 4].iter().for_each(|n| play(&mut p, idx, day(on - 10 + n), Outcome::Clean, Way::Cold));
        play(&mut p, idx, day(on), Outcome::Clean, Way::Cold);
    }
    let on = |n, minutes| plan(std::slice::from_ref(&p), &Weights::default(), &config(day(n), minutes));
    let full = names(&on(18, 60.0));
    assert!((1..=3).all(|s| full.contains(&format!("part {s} x1: everything from cold today: two days to go"))), "{full:?}");
    assert!([18, 19, 20].iter().all(|n| names(&on(*n, 60.0)).iter().all(|s| !s.contains("new:"))));
    assert_eq!(names(&on(20, 60.0)), [] as [&str; 0], "not even begun everywhere: the page is there");
}

#[test]
fn the_plan_of_several_pieces_goes_through_them_and_back_in_parts_of_one_piece() {
    let (mut a, mut b) = (piece("ferry", 3, None), piece("weir", 3, None));
    for (p, d) in [(&mut a, 0), (&mut b, 1)] {
        play(p, 0, day(d), Outcome::Clean, Way::Cold);
        play(p, 2, day(d), Outcome::Clean, Way::Cold);
    }
    let found = plan(&[a, b], &Weights::default(), &config(day(4), 60.0));
    let said: Vec<String> = found
        .parts()
        .iter()
        .map(|part| {
            let new = part.steps.iter().filter(|s| matches!(s.what, What::Item { is_new: true, .. })).count();
            format!("{} {} steps, {new} new, rest {:?}", part.piece, part.steps.len(), part.rest)
        })
        .collect();
    assert_eq!(
        said,
        ["ferry 3 steps, 0 new, rest None", "weir 6 steps, 1 new, rest None", "ferry 3 steps, 1 new, rest None"],
        "{:?}",
        names(&found)
    );
    let played: Vec<&PlannedStep> = found.steps.iter().filter(|s| s.what != What::Rest).collect();
    assert_eq!(found.parts().into_iter().flat_map(|p| p.steps).collect::<Vec<_>>(), played, "nothing is left out");
}

#[test]
fn a_rest_stands_in_every_half_hour() {
    let mut p = piece("ferry", 40, None);
    (0..40).for_each(|s| play(&mut p, s, day(0), Outcome::Failed, Way::Cold));
    let found = plan(&[p], &Weights::default(), &config(day(1), 90.0));
    let mut played = 0.0;
    for step in &found.steps {
        played = if step.what == What::Rest { 0.0 } else { played + step.minutes };
        assert!(played <= Rules::standard().block_minutes);
    }
    assert!(found.steps.iter().any(|s| s.what == What::Rest) && found.minutes() > 60.0);
}

#[test]
fn short_time_is_said_with_what_to_leave_out() {
    let p = piece("ferry", 20, Some(day(12)));
    let said = outlook::outlook(std::slice::from_ref(&p), &Weights::default(), &config(day(0), 12.0));
    assert_eq!(said[0], "The ferry: 16 January, in 12 days; 0 of 20 sections begun, 0 secure. Last full test from cold: 14 January.");
    assert!(said[1].starts_with("Time is short: 12 minutes a day are not enough") && said[1].contains("part 20"), "{said:?}");
    assert_eq!(outlook::outlook(&[p], &Weights::default(), &config(day(0), 90.0)).len(), 1, "with enough there is nothing to drop");
}

fn a_history() -> impl Strategy<Value = Vec<(usize, u64, Outcome)>> {
    let outcome = prop_oneof![Just(Outcome::Failed), Just(Outcome::Recovered), Just(Outcome::Clean)];
    prop::collection::vec((0usize..11, 0u64..3, outcome), 0..60)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn a_plan_fits_its_minutes_repeats_nothing_and_is_the_same_twice(
        history in a_history(),
        minutes in 0.0..120.0f64,
        left in prop::option::of(0u64..60),
    ) {
        let mut p = piece("ferry", 6, None);
        let mut at = 0;
        for (idx, gap, outcome) in &history {
            at += gap;
            play(&mut p, *idx, day(at), *outcome, if *idx < 6 { Way::Cold } else { Way::Flow });
        }
        let today = day(at + 1);
        p.facts.perform_on = left.map(|n| today + Days::new(n));
        let pieces = [p, piece("night", 3, None)];
        let weights = Weights::default();
        let found = plan(&pieces, &weights, &config(today, minutes));
        prop_assert!(found.minutes() <= minutes + 1e-9);
        prop_assert_eq!(&found, &plan(&pieces, &weights, &config(today, minutes)));
        let mut seen = Vec::new();
        for step in found.steps.iter().filter(|s| s.what != What::Rest) {
            let id = match &step.what { What::Item { id, .. } => Some(id.clone()), _ => None };
            let key = (step.piece.clone(), id, step.why.starts_with("once more"));
            let n_before = seen.iter().filter(|k| **k == key).count();
            prop_assert!(n_before < if key.1.is_none() { 2 } else if key.2 { 3 } else { 1 }, "{:?}", key);
            prop_assert!(key.1.is_none() || seen.last().is_none_or(|(p, id, _)| (p, id) != (&key.0, &key.1)), "twice in a row: {:?}", key);
            seen.push(key);
        }
        // What failed the day before is due today: it is in the plan, or found no room.
        if left.is_none_or(|n| n > 0) && found.n_left_over == 0 {
            for (item, record) in pieces[0].items.iter().zip(&pieces[0].records) {
                if record.failed_on == Some(day(at)) {
                    prop_assert!(seen.contains(&(Some("ferry".into()), Some(item.id.clone()), false)), "{}", item.id);
                }
            }
        }
    }
}

#[test]
fn one_run_through_of_three_is_asked_for_elsewhere_where_that_is_set() {
    let mut p = piece("ferry", 2, None);
    for idx in 0..2 {
        play(&mut p, idx, day(0), Outcome::Clean, Way::Cold);
    }
    p.last_run = Some(day(1));
    let why = |p: &PieceMemory, every: u32| {
        let mut weights = Weights::default();
        weights.rules.run_elsewhere_every = every;
        let found = plan(std::slice::from_ref(p), &weights, &config(day(2), 20.0));
        found.steps.last().unwrap().why.clone()
    };
    let elsewhere = "as on stage, in another room, at another hour or instrument; last yesterday";
    for (n_runs, wanted) in [(1, "as on stage; last yesterday"), (2, elsewhere), (3, "as on stage; last yesterday"), (5, elsewhere)] {
        p.n_runs = n_runs;
        assert_eq!(why(&p, 3), wanted, "after {n_runs}");
        assert_eq!(why(&p, 0), "as on stage; last yesterday");
    }
}
