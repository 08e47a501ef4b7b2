//! What the attempts at one item come to: its memory state, its tests, and when it is due.

use chrono::{Days, NaiveDate};

use super::gap::{GapConfig, gap_days, retention};
use super::item::ItemKind;
use super::model::{State, Weights};
use super::{Attempt, Outcome, Way};

/// Tells whether an attempt grades its item.
///
/// A section or landmark that is played into and holds grades nothing: holding in the flow says little about
/// beginning there (Chaffin, Ginsborg & Dixon 2009: recall is best at landmarks and falls from there); failing there does.
pub fn grades(kind: ItemKind, attempt: &Attempt) -> bool {
    let is_in_flow = matches!(attempt.way, Way::Flow | Way::RunThrough);
    !(is_begun_cold(kind) && is_in_flow) || attempt.outcome == Outcome::Failed
}

fn is_begun_cold(kind: ItemKind) -> bool {
    matches!(kind, ItemKind::Section | ItemKind::Landmark)
}

/// Tests that weakness looks back at, what each weighs of the one after it, and what a run-through does of a test.
const N_WEIGHED: u32 = 40;
const FADE: f64 = 0.9;
const FLOW_WEIGHT: f64 = 0.5;
/// Failures usual in a test, and the tests that this guess weighs as much as.
const USUAL_FAILURES: f64 = 1.0 / 30.0;
const USUAL_WEIGHT: f64 = 2.0;

/// The first attempt of a day at an item: what grades it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Test {
    pub day: NaiveDate,
    pub outcome: Outcome,
    /// The probability to hold that was expected just before; none for the first test of all.
    pub expected: Option<f64>,
}

/// The record of one item. Attempts are added oldest first.
#[derive(Clone, PartialEq, Debug)]
pub struct ItemRecord {
    kind: ItemKind,
    /// None until it was first tried.
    pub state: Option<State>,
    /// Oldest first, at most one a day.
    pub tests: Vec<Test>,
    /// Days of clean first attempts from cold since the last failure.
    pub cold_days: Vec<NaiveDate>,
    /// Clean attempts since the last failure, however it was come to.
    pub n_clean: u32,
    /// Run-throughs since the last one that failed here.
    pub n_runs_unmarked: u32,
    /// The last day it was played at all, and the clean attempts of that day.
    pub last: Option<(NaiveDate, u32)>,
    /// The day it last failed a test, or in a run-through.
    pub failed_on: Option<NaiveDate>,
}

impl ItemRecord {
    pub fn new(kind: ItemKind) -> Self {
        ItemRecord {
            kind,
            state: None,
            tests: Vec::new(),
            cold_days: Vec::new(),
            n_clean: 0,
            n_runs_unmarked: 0,
            last: None,
            failed_on: None,
        }
    }

    /// Takes in an attempt not older than those before.
    pub fn add(&mut self, attempt: &Attempt, weights: &Weights) {
        let Attempt { day, outcome, way, .. } = *attempt;
        let is_fresh = self.last.is_none_or(|(last, _)| last != day);
        if grades(self.kind, attempt) {
            self.grade(day, outcome, way, is_fresh, weights);
        }
        let n_clean = u32::from(outcome == Outcome::Clean && way != Way::Asked);
        self.n_clean += n_clean;
        if way == Way::RunThrough {
            self.n_runs_unmarked = if outcome == Outcome::Clean { self.n_runs_unmarked + 1 } else { 0 };
        }
        let before = self.last.filter(|(last, _)| *last == day).map_or(0, |(_, n)| n);
        self.last = Some((day, before + n_clean));
    }

    fn grade(&mut self, day: NaiveDate, outcome: Outcome, way: Way, is_fresh: bool, weights: &Weights) {
        let last = self.tests.last().map(|t| t.day);
        let is_first_today = last != Some(day);
        let days = last.map_or(0, |last| u32::try_from((day - last).num_days()).unwrap_or(0));
        let expected = self.state.filter(|_| is_first_today).map(|s| weights.recall(s, f64::from(days)));
        self.state = Some(self.state.map_or_else(|| weights.first(outcome), |s| weights.after(s, days, outcome)));
        if is_first_today {
            self.tests.push(Test { day, outcome, expected });
        }
        if outcome == Outcome::Failed && (is_first_today || way == Way::RunThrough) {
            self.failed_on = Some(day);
            self.cold_days.clear();
            self.n_clean = 0;
            self.n_runs_unmarked = 0;
        }
        let counts_as_cold = way == Way::Cold || !is_begun_cold(self.kind) && way != Way::Asked;
        if outcome == Outcome::Clean && is_first_today && is_fresh && counts_as_cold {
            self.cold_days.push(day);
        }
    }

    /// Returns how often the item lately failed, `0.0..1.0`: the share of its latest tests that did, each weighing less than the one after
    /// it, run-throughs without a mark since the last failure counted in, and drawn towards one in thirty while there are few.
    ///
    /// The forgetting model soon takes what was practised today for known, also what fails every third time; this does not.
    pub fn weakness(&self) -> f64 {
        let (mut failed, mut all, mut weight) = (0.0, 0.0, 1.0);
        if is_begun_cold(self.kind) {
            // Playing through a section is no test of it, and yet it held.
            for _ in 0..self.n_runs_unmarked.min(N_WEIGHED) {
                all += weight * FLOW_WEIGHT;
                weight *= FADE.powf(FLOW_WEIGHT);
            }
        }
        for test in self.tests.iter().rev().take(N_WEIGHED as usize) {
            failed += weight * f64::from(u8::from(test.outcome == Outcome::Failed));
            all += weight;
            weight *= FADE;
        }
        (failed + USUAL_FAILURES * USUAL_WEIGHT) / (all + USUAL_WEIGHT)
    }

    pub fn is_begun(&self) -> bool {
        self.state.is_some()
    }

    /// Returns the probability that the item holds on a day; none when it was never tried.
    pub fn recall(&self, day: NaiveDate, weights: &Weights) -> Option<f64> {
        let last = self.tests.last()?.day;
        self.state.map(|s| weights.recall(s, (day - last).num_days() as f64))
    }

    /// Returns the day of the next test as seen from `today`; none when the item was never tried.
    ///
    /// What failed is due the next day. Two days before a performance everything is, unless it was tested that day.
    pub fn due_on(&self, today: NaiveDate, perform_on: Option<NaiveDate>, weights: &Weights) -> Option<NaiveDate> {
        let (state, last) = (self.state?, self.tests.last()?);
        let coming = perform_on.filter(|on| *on >= today);
        let next_day = last.day + Days::new(1);
        let full_test = coming.map(|on| on - Days::new(weights.rules.full_test_days_before.unsigned_abs())).filter(|full| *full > last.day);
        if self.failed_on.is_some_and(|failed| failed >= last.day) {
            return Some(self.failed_on.map_or(next_day, |failed| failed + Days::new(1)));
        }
        let last_gap_days = match &self.tests[..] {
            [.., before, last] if last.outcome != Outcome::Failed => Some((last.day - before.day).num_days()),
            _ => None,
        };
        let days_left = coming.map(|on| (on - last.day).num_days());
        let retention = retention(&weights.rules, today, coming);
        let n_held = self.tests.iter().rev().take_while(|test| test.outcome != Outcome::Failed).count();
        let own_days = weights.rules.test_days.gap_after(n_held);
        let gap = gap_days(weights, state, &GapConfig { retention, last_gap_days, days_left, own_days });
        let due = last.day + Days::new(gap.unsigned_abs());
        Some(full_test.map_or(due, |full| due.min(full)))
    }

    /// Clean attempts on a day: three make it warm, which says nothing about tomorrow.
    pub fn n_clean_on(&self, day: NaiveDate) -> u32 {
        self.last.filter(|(last, _)| *last == day).map_or(0, |(_, n)| n)
    }

    pub fn is_warm(&self, day: NaiveDate) -> bool {
        self.n_clean_on(day) >= 3
    }

    pub fn was_tested_on(&self, day: NaiveDate) -> bool {
        self.tests.last().is_some_and(|t| t.day == day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::rules::{Rules, TestDays};
    use proptest::prelude::*;

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + Days::new(n)
    }

    fn attempt(n: u64, outcome: Outcome, way: Way) -> Attempt {
        Attempt { day: day(n), outcome, way, recall: None }
    }

    fn record(kind: ItemKind, attempts: &[(u64, Outcome, Way)]) -> ItemRecord {
        let mut record = ItemRecord::new(kind);
        attempts.iter().for_each(|(n, outcome, way)| record.add(&attempt(*n, *outcome, *way), &Weights::default()));
        record
    }

    #[test]
    fn only_the_first_attempt_of_a_day_is_a_test() {
        let record = record(
            ItemKind::Section,
            &[
                (0, Outcome::Failed, Way::Cold),
                (0, Outcome::Clean, Way::Cold),
                (0, Outcome::Clean, Way::Cold),
                (1, Outcome::Clean, Way::Cold),
            ],
        );
        assert_eq!(record.tests.iter().map(|t| t.outcome).collect::<Vec<_>>(), [Outcome::Failed, Outcome::Clean]);
        assert_eq!((record.cold_days.len(), record.n_clean), (1, 3), "the reps after a failure count as clean, not as cold");
    }

    #[test]
    fn flow_says_nothing_for_a_section_until_it_fails() {
        let clean = record(ItemKind::Section, &[(0, Outcome::Clean, Way::Cold), (3, Outcome::Clean, Way::RunThrough)]);
        assert_eq!((clean.tests.len(), clean.n_runs_unmarked), (1, 1));
        let marked = record(
            ItemKind::Section,
            &[(0, Outcome::Clean, Way::Cold), (3, Outcome::Clean, Way::Cold), (3, Outcome::Failed, Way::RunThrough)],
        );
        assert_eq!((marked.tests.len(), marked.cold_days.len(), marked.n_runs_unmarked), (2, 0, 0));
        assert_eq!(marked.due_on(day(3), None, &Weights::default()), Some(day(4)));
        let join = record(ItemKind::Join, &[(0, Outcome::Clean, Way::Flow), (3, Outcome::Clean, Way::RunThrough)]);
        assert_eq!((join.tests.len(), join.cold_days.len()), (2, 2), "a join is always played into");
    }

    #[test]
    fn a_section_played_through_earlier_that_day_is_not_cold() {
        let record = record(ItemKind::Section, &[(0, Outcome::Clean, Way::RunThrough), (0, Outcome::Clean, Way::Cold)]);
        assert_eq!((record.tests.len(), record.cold_days.len()), (1, 0));
    }

    #[test]
    fn everything_is_due_two_days_before_a_performance() {
        let record =
            record(ItemKind::Section, &[(0, Outcome::Clean, Way::Cold), (2, Outcome::Clean, Way::Cold), (6, Outcome::Clean, Way::Cold)]);
        let weights = Weights::default();
        assert_eq!(record.due_on(day(6), None, &weights), Some(day(16)), "two and a half times four days");
        assert_eq!(record.due_on(day(6), Some(day(9)), &weights), Some(day(7)), "a fifth of three days is less than one");
        assert_eq!(record.due_on(day(6), Some(day(40)), &weights), Some(day(12)));
        assert_eq!(record.due_on(day(6), Some(day(3)), &weights), Some(day(16)), "a performance that is over asks for nothing");
    }

    #[test]
    fn days_of_tests_that_the_player_set_go_before_those_of_the_model_and_within_the_caps() {
        // The usual series of the handbooks: 1, 3, 7, 14, 28 days after the first (Kang et al. 2014: expanding gaps).
        let rules = Rules { test_days: TestDays::new(&[1, 3, 7, 14, 28]), ..Rules::standard() };
        let mut weights = Weights::default();
        weights.rules = rules;
        let mut record = ItemRecord::new(ItemKind::Section);
        let (mut on, mut days) = (0, Vec::new());
        for _ in 0..7 {
            record.add(&attempt(on, Outcome::Clean, Way::Cold), &weights);
            let due = record.due_on(day(on), None, &weights).unwrap();
            on = u64::try_from((due - day(0)).num_days()).unwrap();
            days.push(on);
        }
        assert_eq!(days, [1, 3, 7, 14, 28, 42, 56], "the last gap goes on");
        assert_eq!(record.due_on(day(42), Some(day(72)), &weights), Some(day(48)), "a fifth of the thirty days from the last test");
        // What failed begins anew.
        record.add(&attempt(60, Outcome::Failed, Way::Cold), &weights);
        assert_eq!(record.due_on(day(60), None, &weights), Some(day(61)));
        record.add(&attempt(61, Outcome::Clean, Way::Cold), &weights);
        assert_eq!(record.due_on(day(61), None, &weights), Some(day(62)));
        let late = Rules { test_days: TestDays::new(&[4, 9]), ..rules };
        weights.rules = late;
        let mut record = ItemRecord::new(ItemKind::Section);
        record.add(&attempt(0, Outcome::Clean, Way::Cold), &weights);
        assert_eq!(record.due_on(day(0), None, &weights), Some(day(4)));
    }

    fn an_attempt() -> impl Strategy<Value = (u64, Outcome, Way)> {
        let outcome = prop_oneof![Just(Outcome::Failed), Just(Outcome::Recovered), Just(Outcome::Clean)];
        let way = prop_oneof![Just(Way::Cold), Just(Way::Flow), Just(Way::RunThrough), Just(Way::Asked)];
        (0u64..20, outcome, way)
    }

    proptest! {
        #[test]
        fn the_next_test_comes_after_the_last_and_within_the_caps(
            steps in prop::collection::vec(an_attempt(), 1..40),
            left in prop::option::of(0u64..300),
            is_join in any::<bool>(),
        ) {
            let weights = Weights::default();
            let mut at = 0;
            let mut record = ItemRecord::new(if is_join { ItemKind::Join } else { ItemKind::Section });
            for (gap, outcome, way) in steps {
                at += gap;
                record.add(&attempt(at, outcome, way), &weights);
            }
            let today = day(at);
            let perform_on = left.map(|n| day(at + n));
            let Some(due) = record.due_on(today, perform_on, &weights) else { return Ok(()) };
            let last = record.tests.last().unwrap();
            let gap = (due - last.day).num_days();
            prop_assert!((1..=21).contains(&gap) || record.failed_on.is_some_and(|f| f > last.day), "{gap}");
            if last.outcome == Outcome::Failed {
                prop_assert_eq!(due, record.failed_on.unwrap() + Days::new(1));
            }
            if let Some(on) = perform_on {
                prop_assert!(gap <= 1 || gap as f64 <= 0.2 * (on - last.day).num_days() as f64);
            }
            prop_assert!(record.recall(today + Days::new(9), &weights) <= record.recall(today, &weights));
        }
    }
}
