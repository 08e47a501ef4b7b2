//! When an item is to be tested again: what the forgetting model asks for, held within caps.
//!
//! The model was fitted on facts, and one optimistic figure must not leave a passage alone for months: a gap grows at most
//! two and a half times, is at most three weeks, and at most a fifth of the days left to the performance
//! (Cepeda et al. 2008, Psychol. Science 19:1095-1102: the best gap is a fifth or less of a delay of months; the caps themselves are
//! a reasoned default).

use chrono::NaiveDate;

use super::model::{State, Weights};
use super::rules::Rules;

/// Returns the probability to hold at which an item is due for a test.
pub fn retention(rules: &Rules, today: NaiveDate, perform_on: Option<NaiveDate>) -> f64 {
    let is_near = perform_on.is_some_and(|on| (0..=rules.last_days).contains(&(on - today).num_days()));
    if is_near { rules.last_recall } else { 0.90 }
}

/// What a gap is reckoned from.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct GapConfig {
    /// Probability to hold at which the item is due.
    pub retention: f64,
    /// The gap that the item last stood; none when it was tested on one day only, or failed last.
    pub last_gap_days: Option<i64>,
    /// From the last test to the performance, where one is set.
    pub days_left: Option<i64>,
    /// What the player's own days of tests say, in place of the model.
    pub own_days: Option<i64>,
}

/// Returns the days from the last test to the next: at least 1.
pub fn gap_days(weights: &Weights, state: State, config: &GapConfig) -> i64 {
    let rules = &weights.rules;
    let Some(last) = config.last_gap_days else { return config.own_days.map_or(1, |days| days.clamp(1, rules.gap_days_max)) };
    let wanted = config.own_days.map_or_else(|| weights.gap_days(state, config.retention), |days| days as f64);
    let grown = last.max(1) as f64 * rules.gap_growth_max;
    let share = config.days_left.map_or(f64::MAX, |left| left as f64 * rules.gap_share_max);
    wanted.round().min(grown.floor()).min(rules.gap_days_max as f64).min(share.floor()).max(1.0) as i64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::Outcome;

    fn gap(stability_days: f64, last_gap_days: Option<i64>, days_left: Option<i64>) -> i64 {
        let state = State { stability_days, difficulty: 5.0 };
        gap_days(&Weights::default(), state, &GapConfig { retention: 0.9, last_gap_days, days_left, own_days: None })
    }

    #[test]
    fn every_cap_holds() {
        assert_eq!(gap(11.0, Some(7), None), 11, "what the model asks for");
        assert_eq!(gap(300.0, Some(2), None), 5, "two and a half times two days");
        assert_eq!(gap(300.0, Some(20), None), 21, "three weeks");
        assert_eq!(gap(300.0, Some(20), Some(40)), 8, "a fifth of forty days");
        assert_eq!(gap(300.0, Some(20), Some(3)), 1, "never less than a day");
        assert_eq!(gap(0.3, Some(20), None), 1);
        assert_eq!(gap(300.0, None, None), 1, "the day after, when it was tested once or failed");
    }

    #[test]
    fn a_piece_held_clean_comes_back_on_about_the_days_of_the_handbook() {
        // A usual series is 1, 3, 7, 14, 28 days from the first (reasoned default after Kang et al. 2014: expanding gaps do as well at the
        // end and better on the way). The caps alone shape ours.
        let weights = Weights::default();
        let (mut now, mut day, mut last, mut days) = (weights.first(Outcome::Clean), 0, None, Vec::new());
        for _ in 0..5 {
            let gap = gap_days(&weights, now, &GapConfig { retention: 0.9, last_gap_days: last, days_left: None, own_days: None });
            now = weights.after(now, gap as u32, Outcome::Clean);
            (day, last) = (day + gap, Some(gap));
            days.push(day);
        }
        assert_eq!(days, [1, 3, 8, 20, 41]);
    }

    #[test]
    fn more_is_asked_in_the_last_fortnight() {
        let day = |d| NaiveDate::from_ymd_opt(2027, 3, d).unwrap();
        let (rules, on) = (Rules::standard(), Some(day(20)));
        assert_eq!([5, 6, 20, 21].map(|n| retention(&rules, day(n), on)), [0.9, 0.95, 0.95, 0.9]);
        assert_eq!(retention(&rules, day(6), None), 0.9);
    }
}
