//! What may be called secure, and what is missing: counts, never a bare percentage.
//!
//! The rule is a reasoned default built on successive relearning (Rawson & Dunlosky 2011, J. Exp. Psychol. General
//! 140:283-302: a few correct recalls, each after days): three clean first attempts from cold on three days, the third or a later one a week or a fifth of the time
//! left after the one before, the joins on both sides clean twice, two run-throughs without a mark there. It ends with a failure, or when the
//! model gives it less than nine in ten.

use chrono::NaiveDate;

use super::item::{Item, ItemIdx, ItemKind, joins_beside};
use super::model::Weights;
use super::record::ItemRecord;
use super::rules::Rules;

/// How far an item has come on a day.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Security {
    pub is_begun: bool,
    /// Clean first attempts from cold since the last failure, and how many are wanted.
    pub cold: (usize, usize),
    /// The last two of them were far enough apart.
    pub is_spread: bool,
    /// Joins beside it that were clean twice, and how many there are.
    pub joins: (usize, usize),
    /// Run-throughs without a mark, and how many are wanted.
    pub runs: (u32, u32),
    /// The model gives it nine in ten or better that day.
    pub is_fresh: bool,
    /// Three clean attempts that same day; says nothing about another.
    pub is_warm: bool,
}

impl Security {
    pub fn is_secure(&self) -> bool {
        self.cold.0 == self.cold.1 && self.is_spread && self.joins.0 == self.joins.1 && self.runs.0 == self.runs.1 && self.is_fresh
    }

    /// Returns the counts, as "cold 2 of 3, joins 1 of 2, run-throughs 0 of 2".
    pub fn words(&self) -> String {
        if !self.is_begun {
            return tr!("not begun");
        }
        let mut parts = vec![tr!("cold {} of {}", self.cold.0, self.cold.1)];
        if self.cold.0 == self.cold.1 && !self.is_spread {
            parts.push(tr!("the last two too close together"));
        }
        if self.joins.1 > 0 {
            parts.push(tr!("joins {} of {}", self.joins.0, self.joins.1));
        }
        parts.push(tr!("run-throughs {} of {}", self.runs.0, self.runs.1));
        if self.cold.0 > 0 && !self.is_fresh {
            parts.push(tr!("too long untested"));
        }
        let counts = parts.join(", ");
        if self.is_secure() {
            tr!("secure: {counts}", counts)
        } else if self.is_warm {
            tr!("warm today: {counts}", counts)
        } else {
            counts
        }
    }
}

/// Returns how far an item has come on `day`. `records` has one record an item.
pub fn security(
    items: &[Item],
    records: &[ItemRecord],
    idx: ItemIdx,
    day: NaiveDate,
    perform_on: Option<NaiveDate>,
    weights: &Weights,
) -> Security {
    let rules: &Rules = &weights.rules;
    let record = &records[idx.0];
    let days = &record.cold_days;
    let is_far = |pair: &[NaiveDate]| {
        let gap = (pair[1] - pair[0]).num_days();
        let left = perform_on.map(|on| (on - pair[1]).num_days()).filter(|left| *left >= 0);
        gap >= rules.secure_gap_days || left.is_some_and(|left| gap as f64 >= rules.gap_share_max * left as f64)
    };
    // Once shown it stays shown until something fails: playing it again the day after takes nothing away.
    let is_spread = days.windows(2).skip(rules.secure_tries - 2).any(is_far);
    let joins = if items[idx.0].kind == ItemKind::Section { joins_beside(items, idx) } else { Vec::new() };
    Security {
        is_begun: record.is_begun(),
        cold: (days.len().min(rules.secure_tries), rules.secure_tries),
        is_spread,
        joins: (joins.iter().filter(|j| records[j.0].n_clean >= rules.secure_joins).count(), joins.len()),
        runs: (record.n_runs_unmarked.min(rules.secure_runs), rules.secure_runs),
        is_fresh: record.recall(day, weights).is_some_and(|r| r >= rules.secure_recall),
        is_warm: record.is_warm(day),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::item::{Layout, SectionAt};
    use crate::memory::{Attempt, Outcome, Way};
    use chrono::Days;

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + Days::new(n)
    }

    /// Two sections and the join between them; attempts as (item, day, outcome, way).
    fn after(attempts: &[(usize, u64, Outcome, Way)], today: u64, perform_on: Option<u64>) -> Security {
        let section = |name: &str, bars| SectionAt { name: name.into(), bars, target: 3 };
        let layout = Layout {
            labels: (1..=8).map(|n| n.to_string()).collect(),
            sections: vec![section("a", 0..4), section("b", 4..8)],
            ..Layout::default()
        };
        let items = layout.items();
        let mut records: Vec<ItemRecord> = items.iter().map(|i| ItemRecord::new(i.kind)).collect();
        for (item, n, outcome, way) in attempts {
            records[*item].add(&Attempt { day: day(*n), outcome: *outcome, way: *way, recall: None }, &Weights::default());
        }
        security(&items, &records, ItemIdx(0), day(today), perform_on.map(day), &Weights::default())
    }

    const ENOUGH: [(usize, u64, Outcome, Way); 7] = [
        (0, 0, Outcome::Clean, Way::Cold),
        (0, 3, Outcome::Clean, Way::Cold),
        (0, 10, Outcome::Clean, Way::Cold),
        (2, 10, Outcome::Clean, Way::RunThrough),
        (0, 10, Outcome::Clean, Way::RunThrough),
        (2, 11, Outcome::Clean, Way::RunThrough),
        (0, 11, Outcome::Clean, Way::RunThrough),
    ];

    #[test]
    fn each_part_of_the_rule_is_needed() {
        let full = after(&ENOUGH, 12, None);
        assert!(full.is_secure());
        assert_eq!(full.words(), "secure: cold 3 of 3, joins 1 of 1, run-throughs 2 of 2");
        for (left_out, attempt) in ENOUGH.iter().enumerate() {
            let mut attempts = ENOUGH.to_vec();
            attempts.remove(left_out);
            let less = after(&attempts, 12, None);
            assert!(!less.is_secure(), "without {attempt:?}: {}", less.words());
        }
    }

    #[test]
    fn three_times_on_one_day_is_warm_and_never_secure() {
        let found = after(&[(0, 0, Outcome::Clean, Way::Cold); 3], 0, None);
        assert_eq!(found.words(), "warm today: cold 1 of 3, joins 0 of 1, run-throughs 0 of 2");
        assert!(!after(&[(0, 0, Outcome::Clean, Way::Cold); 3], 1, None).is_warm, "tomorrow it must be shown again");
    }

    #[test]
    fn to_play_it_again_the_day_after_takes_nothing_away() {
        let mut attempts = ENOUGH.to_vec();
        attempts.push((0, 12, Outcome::Clean, Way::Cold));
        assert!(after(&attempts, 12, None).is_secure());
        // A week between the first two is not a week after three.
        let early: Vec<_> = ENOUGH.iter().map(|(i, d, o, w)| (*i, if *d == 3 { 8 } else { *d }, *o, *w)).collect();
        assert!(!after(&early, 12, None).is_secure());
    }

    #[test]
    fn a_failure_ends_it_and_so_does_time() {
        let mut attempts = ENOUGH.to_vec();
        attempts.push((0, 14, Outcome::Failed, Way::Cold));
        assert_eq!(after(&attempts, 14, None).words(), "cold 0 of 3, joins 1 of 1, run-throughs 0 of 2");
        let late = after(&ENOUGH, 400, None);
        assert!(!late.is_secure() && late.words().ends_with("too long untested"), "{}", late.words());
    }

    #[test]
    fn a_fifth_of_the_time_left_does_where_a_week_is_not_to_be_had() {
        let mut close = ENOUGH.to_vec();
        close[2].1 = 5;
        close[3].1 = 5;
        close[4].1 = 5;
        let attempts = &close;
        assert_eq!(after(attempts, 12, None).words(), "cold 3 of 3, the last two too close together, joins 1 of 1, run-throughs 2 of 2");
        assert!(after(attempts, 12, Some(15)).is_secure(), "two days of ten");
        assert!(!after(attempts, 12, Some(16)).is_secure(), "two days of eleven");
    }
}
