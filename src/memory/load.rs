//! How much is played in a week, against what is usual: hands and arms are hurt by sudden increases.
//!
//! Players whose playing changed were more than twice as often among those with a new complaint within a year (Cruder et al. 2023, Sci.
//! Rep. 13), and a sudden increase is what is blamed (Chan & Ackermann 2014). The share that is too much is a reasoned default.

use chrono::{Days, NaiveDate};

/// Days of a week, and weeks that make what is usual.
const WEEK: u64 = 7;
const N_WEEKS: u64 = 4;

/// A week that has more than the usual one.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Load {
    /// Minutes of the six days before, and of what is planned today.
    pub week: f64,
    /// Minutes of a week, on average over the four weeks before it.
    pub usual: f64,
}

/// Tells whether the week that ends today has more than the usual one by `growth_max`, a share. `played` are days with the minutes played,
/// in any order; `planned` are minutes still to come today. None with less than five weeks of record, and where 0 is the share.
pub fn too_much(played: impl Iterator<Item = (NaiveDate, f64)> + Clone, planned: f64, today: NaiveDate, growth_max: f64) -> Option<Load> {
    let week = today.checked_sub_days(Days::new(WEEK - 1))?;
    let before = week.checked_sub_days(Days::new(WEEK * N_WEEKS))?;
    let sum = |from: NaiveDate, until: NaiveDate| -> f64 {
        played.clone().filter(|(day, _)| (from..until).contains(day)).map(|(_, minutes)| minutes).sum()
    };
    let is_known = played.clone().any(|(day, _)| day <= before);
    let load = Load { week: sum(week, today + Days::new(1)) + planned, usual: sum(before, week) / N_WEEKS as f64 };
    (growth_max > 0.0 && is_known && load.usual > 0.0 && load.week > load.usual * (1.0 + growth_max)).then_some(load)
}

impl Load {
    pub fn words(&self) -> String {
        let (week, usual) = (self.week.round(), self.usual.round());
        tr!("This week comes to {week} minutes of playing, and {usual} are usual for you: shorten today.", week, usual)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + Days::new(n)
    }

    #[test]
    fn a_week_with_much_more_than_usual_is_told_and_a_short_record_says_nothing() {
        // Twenty minutes every other day for five weeks: 70 a week.
        let played = |n_days: u64| (0..n_days).step_by(2).map(|n| (day(n), 20.0));
        let today = day(34);
        let at = |planned: f64, growth: f64| too_much(played(34), planned, today, growth);
        // Days 28 to 33 have three times twenty; 70 * 1.15 = 80.5.
        assert_eq!(at(20.0, 0.15), None);
        assert_eq!(at(20.5, 0.15), None);
        assert_eq!(at(21.0, 0.15), Some(Load { week: 81.0, usual: 70.0 }));
        assert_eq!(at(21.0, 0.20), None);
        assert_eq!(at(500.0, 0.0), None, "0 says nothing");
        assert_eq!(too_much(played(34).filter(|(d, _)| *d > day(6)), 500.0, today, 0.15), None, "four weeks and a day are not known yet");
        assert_eq!(too_much(std::iter::empty(), 500.0, today, 0.15), None);
    }
}
