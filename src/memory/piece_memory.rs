//! One piece and all that is remembered of it: items, their records, the days of its run-throughs.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::evidence::{Played, Reader};
use super::item::{Item, ItemIdx, ItemKind, Layout};
use super::model::Weights;
use super::pace;
use super::record::{ItemRecord, grades};
use super::secure::{Security, security};
use super::{Attempt, Outcome};
use crate::journal::attempts::{Attempts, RepRow, SettingSlip};
use crate::journal::entry::{Mode, Verdict};
use crate::journal::stats::{DatedAnswer, DatedLapse};

/// What is known of a piece before anything was played of it.
#[derive(Clone, PartialEq, Debug)]
pub struct PieceFacts {
    /// What the journal files the piece under.
    pub key: String,
    pub title: String,
    pub perform_on: Option<NaiveDate>,
    pub layout: Layout,
    /// Seconds that each printed bar takes at the tempo set, repeats included.
    pub bar_seconds: Vec<f64>,
}

/// The latest reps that times are taken from.
const N_TIMED: usize = 4000;

/// The lapses of run-throughs, by rep.
pub type Lapses = HashMap<RepRow, Vec<DatedLapse>>;

/// The levers and pedals that were heard to stand wrong, by rep.
pub type SettingSlips = HashMap<RepRow, Vec<SettingSlip>>;

#[derive(Clone, PartialEq, Debug)]
pub struct PieceMemory {
    pub facts: PieceFacts,
    pub items: Vec<Item>,
    /// One an item.
    pub records: Vec<ItemRecord>,
    /// Seconds that each item takes to play.
    pub seconds: Vec<f64>,
    pub whole_seconds: f64,
    /// The day of the last run-through, and how many there were.
    pub last_run: Option<NaiveDate>,
    pub n_runs: u32,
    /// Oldest first.
    history: Vec<(ItemIdx, Attempt)>,
    /// The last day before the latest one of the history, and the records as they were then.
    before: Option<(NaiveDate, Vec<ItemRecord>)>,
}

/// What is secure on a day and was not at the end of the last day of practice but one, and the other way round.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Changed {
    pub secured: Vec<ItemIdx>,
    /// With how far they have come now.
    pub lost: Vec<(ItemIdx, Security)>,
}

impl PieceMemory {
    pub fn new(facts: PieceFacts) -> Self {
        let items = facts.layout.items();
        let of = |bars: &std::ops::Range<usize>| facts.bar_seconds.get(bars.clone()).map_or(0.0, |s| s.iter().sum());
        PieceMemory {
            records: items.iter().map(|i| ItemRecord::new(i.kind)).collect(),
            seconds: items.iter().map(|i| of(&i.bars)).collect(),
            whole_seconds: facts.bar_seconds.iter().sum(),
            last_run: None,
            n_runs: 0,
            history: Vec::new(),
            before: None,
            items,
            facts,
        }
    }

    /// Reads what was played and answered, both oldest first. Records stay as they were until [`remember`](Self::remember).
    pub fn read(&mut self, played: &Attempts, lapses: &Lapses, slips: &SettingSlips, answers: &[DatedAnswer]) {
        let reader = Reader::new(&self.facts.layout, &self.items);
        let reps = Played::new(&reader, played);
        let mut history = Vec::with_capacity(played.all.len() + answers.len());
        let mut answers = answers.iter().peekable();
        for rep in &played.all {
            while let Some(answer) = answers.next_if(|a| a.at < rep.at) {
                reader.answer(answer, |idx, attempt| history.push((idx, attempt)));
            }
            let lapses = lapses.get(&rep.row).map_or(&[][..], Vec::as_slice);
            let slips = slips.get(&rep.row).map_or(&[][..], Vec::as_slice);
            reps.rep(rep, lapses, slips, |idx, attempt| history.push((idx, attempt)));
        }
        answers.for_each(|answer| reader.answer(answer, |idx, attempt| history.push((idx, attempt))));
        self.history = history;
        self.n_runs = played.all.iter().filter(|r| r.mode == Mode::RunThrough).count() as u32;
        self.last_run = played.all.iter().rev().find(|r| r.mode == Mode::RunThrough).map(|r| r.day);
        self.time(played);
    }

    /// Draws the seconds of sections and of the whole towards the player's own clean reps.
    fn time(&mut self, played: &Attempts) {
        let printed =
            |bars: &std::ops::Range<usize>| Some((self.facts.layout.labels.get(bars.start)?, self.facts.layout.labels.get(bars.end - 1)?));
        let mut own: HashMap<(&str, &str), Vec<f64>> = HashMap::new();
        let latest = &played.all[played.all.len().saturating_sub(N_TIMED)..];
        for rep in latest.iter().filter(|r| r.verdict == Verdict::Clean && r.mode != Mode::Reading) {
            let bars = &played.spans[rep.span].bars;
            own.entry((&bars.0, &bars.1)).or_default().push(rep.length.0 as f64 / 1e6);
        }
        let drawn = |bars: &std::ops::Range<usize>, default: f64| {
            let clean = printed(bars).and_then(|(first, last)| own.get(&(first.as_str(), last.as_str())).cloned());
            pace::seconds(clean.unwrap_or_default(), default)
        };
        let seconds = self.items.iter().zip(&self.seconds).map(|(item, default)| drawn(&item.bars, *default)).collect();
        let whole = if self.facts.layout.labels.is_empty() { 0.0 } else { drawn(&(0..self.facts.layout.labels.len()), self.whole_seconds) };
        (self.seconds, self.whole_seconds) = (seconds, whole);
    }

    /// Works the records out anew from all that was read, by these weights.
    pub fn remember(&mut self, weights: &Weights) {
        self.records = self.items.iter().map(|i| ItemRecord::new(i.kind)).collect();
        let last = self.history.last().map(|(_, attempt)| attempt.day);
        let earlier = self.history.iter().rposition(|(_, attempt)| Some(attempt.day) != last);
        self.before = None;
        for (nth, (idx, attempt)) in self.history.iter().enumerate() {
            self.records[idx.0].add(attempt, weights);
            if Some(nth) == earlier {
                self.before = Some((attempt.day, self.records.clone()));
            }
        }
    }

    /// Returns what became secure since the last day of practice but one, and what is no longer so on `today`: it failed, or has not been tested for too long.
    /// It goes by what was read and remembered.
    pub fn changed(&self, kind: ItemKind, today: NaiveDate, weights: &Weights) -> Changed {
        let mut changed = Changed::default();
        let Some((then, records)) = &self.before else { return changed };
        for idx in self.of_kind(kind) {
            let now = self.security(idx, today, weights);
            let was = security(&self.items, records, idx, *then, self.facts.perform_on, weights).is_secure();
            if now.is_secure() && !was {
                changed.secured.push(idx);
            } else if was && !now.is_secure() {
                changed.lost.push((idx, now));
            }
        }
        changed
    }

    /// Takes in one more attempt.
    pub fn add(&mut self, idx: ItemIdx, attempt: Attempt, weights: &Weights) {
        self.records[idx.0].add(&attempt, weights);
        self.history.push((idx, attempt));
    }

    /// Returns what grades each item, item by item: days and outcomes, oldest first.
    pub fn graded(&self) -> Vec<Vec<(NaiveDate, Outcome)>> {
        let mut out = vec![Vec::new(); self.items.len()];
        for (idx, attempt) in self.history.iter().filter(|(idx, a)| grades(self.items[idx.0].kind, a)) {
            out[idx.0].push((attempt.day, attempt.outcome));
        }
        out
    }

    pub fn of_kind(&self, kind: ItemKind) -> impl Iterator<Item = ItemIdx> + '_ {
        (0..self.items.len()).filter(move |i| self.items[*i].kind == kind).map(ItemIdx)
    }

    /// Returns how far an item has come on a day.
    pub fn security(&self, idx: ItemIdx, day: NaiveDate, weights: &Weights) -> Security {
        security(&self.items, &self.records, idx, day, self.facts.perform_on, weights)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::Way;
    use crate::memory::item::SectionAt;
    use chrono::Days;

    /// One section of four bars, with attempts on days of March; remembered.
    fn after(attempts: &[(u64, Outcome, Way)]) -> PieceMemory {
        let layout = Layout {
            labels: (1..=4).map(|n| n.to_string()).collect(),
            sections: vec![SectionAt { name: "a".into(), bars: 0..4, target: 3 }],
            ..Layout::default()
        };
        let facts = PieceFacts { key: "p".into(), title: "P".into(), perform_on: None, layout, bar_seconds: vec![3.0; 4] };
        let mut piece = PieceMemory::new(facts);
        for (n, outcome, way) in attempts {
            piece.add(ItemIdx(0), Attempt { day: day(*n), outcome: *outcome, way: *way, recall: None }, &Weights::default());
        }
        piece.remember(&Weights::default());
        piece
    }

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, 1).unwrap() + Days::new(n)
    }

    fn changed(attempts: &[(u64, Outcome, Way)], today: u64) -> (usize, Vec<String>) {
        let found = after(attempts).changed(ItemKind::Section, day(today), &Weights::default());
        (found.secured.len(), found.lost.iter().map(|(_, now)| now.words()).collect())
    }

    #[test]
    fn what_became_secure_on_the_last_day_is_told_and_what_failed_or_was_left_too_long() {
        let mut attempts = vec![
            (0, Outcome::Clean, Way::Cold),
            (3, Outcome::Clean, Way::Cold),
            (4, Outcome::Clean, Way::RunThrough),
            (5, Outcome::Clean, Way::RunThrough),
            (12, Outcome::Clean, Way::Cold),
        ];
        assert_eq!(changed(&attempts, 12), (1, vec![]));
        assert_eq!(changed(&attempts[..1], 0), (0, vec![]), "the first day of all has none before it");
        attempts.push((13, Outcome::Clean, Way::Cold));
        assert_eq!(changed(&attempts, 13), (0, vec![]), "it stays");
        attempts[5] = (22, Outcome::Clean, Way::Cold);
        assert_eq!(changed(&attempts, 22), (0, vec![]), "it stays");
        assert_eq!(changed(&attempts, 400), (0, vec!["cold 3 of 3, run-throughs 2 of 2, too long untested".to_owned()]));
        attempts[5] = (22, Outcome::Failed, Way::Cold);
        assert_eq!(changed(&attempts, 22), (0, vec!["cold 0 of 3, run-throughs 0 of 2".to_owned()]));
    }
}
