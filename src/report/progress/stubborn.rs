//! The bars that keep failing.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::NaiveDate;

use super::layout::Layout;
use crate::journal::attempts::Attempts;
use crate::journal::entry::{Mode, Outcome, Verdict};
use crate::journal::stats::DatedAnswer;
use crate::piece::Piece;
use crate::report::plain_text::plain;

/// A place that failed is remembered this long.
const STUBBORN_DAYS: i64 = 28;
/// Fewer days on which it failed are bad luck.
const N_STUBBORN_DAYS_MIN: usize = 2;
const N_STUBBORN_MAX: usize = 6;

/// A bar that keeps failing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stubborn {
    pub label: String,
    pub n_days: usize,
    /// What it mostly was, as [`crate::journal::entry::Happening::kind`].
    pub kind: String,
}

/// Returns the bars that failed on several days of late.
pub fn stubborn(last: NaiveDate, attempts: &Attempts, answers: &[DatedAnswer], layout: &Layout, piece: &Piece) -> Vec<Stubborn> {
    let is_late = |day: NaiveDate| (last - day).num_days() < STUBBORN_DAYS;
    let mut days: BTreeMap<usize, HashSet<NaiveDate>> = BTreeMap::new();
    let mut kinds: HashMap<usize, BTreeMap<&str, usize>> = HashMap::new();
    let mut add = |bar: usize, day: NaiveDate, kind| {
        days.entry(bar).or_default().insert(day);
        *kinds.entry(bar).or_default().entry(kind).or_insert(0) += 1;
    };
    for attempt in attempts.all.iter().rev().take_while(|a| is_late(a.day)).filter(|a| a.mode != Mode::Reading) {
        let Some(failed) = attempt.failed.filter(|_| attempt.verdict != Verdict::Clean) else { continue };
        if let Some(bar) = layout.failed_bar[failed] {
            add(bar, attempt.day, attempts.failures[failed].1.as_str());
        }
    }
    for answer in answers.iter().rev().take_while(|a| is_late(a.at.date_naive())).filter(|a| a.outcome != Outcome::Held) {
        if let Some(bar) = layout.bar(&answer.place) {
            add(bar, answer.at.date_naive(), "cold");
        }
    }
    let kind_of = |bar: &usize| kinds[bar].iter().max_by_key(|(_, n)| **n).map_or("", |(kind, _)| *kind).to_owned();
    let label = |bar: usize| plain(&piece.score.bars[bar].label.0);
    let mut out: Vec<Stubborn> =
        days.iter().map(|(bar, days)| Stubborn { label: label(*bar), n_days: days.len(), kind: kind_of(bar) }).collect();
    out.retain(|s| s.n_days >= N_STUBBORN_DAYS_MIN);
    out.sort_by_key(|s| std::cmp::Reverse(s.n_days));
    out.truncate(N_STUBBORN_MAX);
    out
}
