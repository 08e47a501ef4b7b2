//! What can be said from dated reps: counts, and when something was last played.
//!
//! Pure: a list in, numbers out. Counts only; what they mean for memory is not said here.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::entry::{Mode, Outcome, QuestionKind, Recovery, Verdict, Witness};
use crate::time::{Micros, Timestamp};

/// A rep as the journal gives it back: dated, and with the player's own last word on the verdict.
#[derive(Clone, PartialEq, Debug)]
pub struct DatedRep {
    /// When it began, with the offset of the player's clock then.
    pub at: Timestamp,
    pub mode: Mode,
    pub span: String,
    /// Printed labels of its first and last bar.
    pub bars: (String, String),
    pub length: Micros,
    /// As judged.
    pub judged: Verdict,
    /// The verdict that holds: the player's, where they overruled it.
    pub verdict: Verdict,
    pub witness: Witness,
    /// Place (`bar.beat`) and kind of the first thing that failed.
    pub failed: Option<(String, String)>,
    pub n_notes_due: u32,
    pub n_notes_right: u32,
    /// Quarters a minute.
    pub tempo: Option<f64>,
    /// For a run-through: whether it was held.
    pub is_held: Option<bool>,
}

/// A lapse of a run-through as the journal gives it back (see [`super::entry::Lapse`]).
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DatedLapse {
    pub place: String,
    pub recovery: Recovery,
    pub going_at: Option<String>,
}

/// An answer of the quiz as the journal gives it back.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DatedAnswer {
    /// When it was asked, with the offset of the player's clock then.
    pub at: Timestamp,
    pub kind: QuestionKind,
    /// `bar.beat` where the answer begins.
    pub place: String,
    /// From the question to the first right onset.
    pub recall: Option<Micros>,
    pub length: Micros,
    pub outcome: Outcome,
    pub witness: Witness,
    pub n_notes_between: Option<u32>,
}

/// What one span's reps come to.
#[derive(Clone, PartialEq, Debug)]
pub struct SpanCounts {
    pub span: String,
    /// Printed labels, as of the latest rep.
    pub bars: (String, String),
    pub n_reps: u32,
    pub n_clean: u32,
    pub n_prompted: u32,
    pub n_broken: u32,
    /// Local days on which there was at least one clean rep.
    pub n_clean_days: u32,
    pub last: Timestamp,
    pub last_clean: Option<Timestamp>,
    /// Clean reps at the end of the list without another between.
    pub n_clean_in_a_row: u32,
}

/// Counts reps by span, in the order in which the spans were first played. The list may be in any order; empty in, empty out.
pub fn by_span(reps: &[DatedRep]) -> Vec<SpanCounts> {
    let mut sorted: Vec<&DatedRep> = reps.iter().collect();
    sorted.sort_by_key(|r| r.at);
    let mut counts: Vec<SpanCounts> = Vec::new();
    let mut clean_days: BTreeMap<&str, Vec<NaiveDate>> = BTreeMap::new();
    for rep in sorted {
        let at = counts.iter().position(|c| c.span == rep.span).unwrap_or_else(|| {
            counts.push(SpanCounts::none_yet(rep));
            counts.len() - 1
        });
        let span = &mut counts[at];
        span.bars = rep.bars.clone();
        span.last = rep.at;
        span.n_reps += 1;
        match rep.verdict {
            Verdict::Clean => {
                span.n_clean += 1;
                span.n_clean_in_a_row += 1;
                span.last_clean = Some(rep.at);
                let days = clean_days.entry(&rep.span).or_default();
                let day = rep.at.date_naive();
                if days.last() != Some(&day) {
                    days.push(day);
                }
            }
            Verdict::Prompted => span.n_prompted += 1,
            Verdict::Broken => span.n_broken += 1,
        }
        if rep.verdict != Verdict::Clean {
            span.n_clean_in_a_row = 0;
        }
    }
    for span in &mut counts {
        let days = clean_days.get(span.span.as_str()).map_or(0, |days| {
            let mut days = days.clone();
            days.sort_unstable();
            days.dedup();
            days.len()
        });
        span.n_clean_days = u32::try_from(days).unwrap_or(u32::MAX);
    }
    counts
}

impl SpanCounts {
    fn none_yet(first: &DatedRep) -> Self {
        SpanCounts {
            span: first.span.clone(),
            bars: first.bars.clone(),
            n_reps: 0,
            n_clean: 0,
            n_prompted: 0,
            n_broken: 0,
            n_clean_days: 0,
            last: first.at,
            last_clean: None,
            n_clean_in_a_row: 0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rep(at: &str, span: &str, verdict: Verdict) -> DatedRep {
        DatedRep {
            at: at.parse().unwrap(),
            mode: Mode::Drill,
            span: span.into(),
            bars: ("1".into(), "4".into()),
            length: Micros::from_millis(8000),
            judged: Verdict::Broken,
            verdict,
            witness: Witness::Heard,
            failed: None,
            n_notes_due: 20,
            n_notes_right: 20,
            tempo: None,
            is_held: None,
        }
    }

    #[test]
    fn counts_go_by_the_verdict_that_holds_and_by_the_players_own_days() {
        // 23:30 and 00:30 of the same night are two days for the player, though one in UTC.
        let reps = [
            rep("2026-03-02T09:00:00+01:00", "B", Verdict::Broken),
            rep("2026-03-01T23:30:00+01:00", "A", Verdict::Clean),
            rep("2026-03-02T00:30:00+01:00", "A", Verdict::Clean),
            rep("2026-03-02T00:31:00+01:00", "A", Verdict::Prompted),
            rep("2026-03-02T00:32:00+01:00", "A", Verdict::Clean),
        ];
        let counts = by_span(&reps);
        assert_eq!(counts.iter().map(|c| c.span.as_str()).collect::<Vec<_>>(), ["A", "B"]);
        let a = &counts[0];
        assert_eq!((a.n_reps, a.n_clean, a.n_prompted, a.n_broken), (4, 3, 1, 0));
        assert_eq!((a.n_clean_days, a.n_clean_in_a_row), (2, 1));
        assert_eq!(a.last, reps[4].at);
        assert_eq!((counts[1].n_clean_days, counts[1].last_clean), (0, None));
        assert_eq!(by_span(&[]), []);
    }
}
