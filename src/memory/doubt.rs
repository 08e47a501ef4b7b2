//! How unsure an answer is, by what is remembered: the probability that it does not hold on a day.

use chrono::NaiveDate;

use super::evidence::Reader;
use super::model::Weights;
use super::piece_memory::PieceMemory;
use super::record::ItemRecord;
use crate::journal::entry::QuestionKind;

/// The least doubt in what failed and was not clean since: just after a look at the page the model expects it to hold, which
/// says nothing of beginning there again (reasoned default).
const FAILED: f64 = 0.9;

/// Doubt about one piece on one day.
///
/// ```
/// use catchword::journal::entry::QuestionKind;
/// use catchword::memory::doubt::MemoryDoubt;
/// use catchword::memory::item::{ItemIdx, Layout, SectionAt};
/// use catchword::memory::model::Weights;
/// use catchword::memory::piece_memory::{PieceFacts, PieceMemory};
/// use catchword::memory::{Attempt, Outcome, Way};
/// use chrono::NaiveDate;
///
/// let section = |name: &str, bars| SectionAt { name: name.into(), bars, target: 3 };
/// let layout = Layout {
///     labels: (1..=8).map(|n| n.to_string()).collect(),
///     sections: vec![section("opening", 0..4), section("answer", 4..8)],
///     ..Layout::default()
/// };
/// let facts =
///     PieceFacts { key: "air".into(), title: "Air".into(), perform_on: None, layout, bar_seconds: vec![3.0; 8] };
/// let (mut piece, weights) = (PieceMemory::new(facts), Weights::default());
/// let day = |d| NaiveDate::from_ymd_opt(2026, 3, d).unwrap();
/// piece.add(ItemIdx(0), Attempt { day: day(1), outcome: Outcome::Clean, way: Way::Cold, recall: None }, &weights);
///
/// let doubt = MemoryDoubt::new(&piece, &weights, day(8));
/// // One minus R(7 d) at S = 2.3065 days: R = .8083.
/// assert!((doubt.of(QuestionKind::ColdStart, "1.1").unwrap() - 0.1917).abs() < 1e-4);
/// assert_eq!(doubt.of(QuestionKind::ColdStart, "5.1"), Some(1.0), "never begun");
/// assert_eq!(doubt.of(QuestionKind::ColdStart, "2.1"), None, "nothing that is kept a record of begins there");
/// ```
#[derive(Clone, Debug)]
pub struct MemoryDoubt<'a> {
    reader: Reader<'a>,
    records: &'a [ItemRecord],
    weights: &'a Weights,
    today: NaiveDate,
}

impl<'a> MemoryDoubt<'a> {
    pub fn new(piece: &'a PieceMemory, weights: &'a Weights, today: NaiveDate) -> Self {
        MemoryDoubt { reader: Reader::new(&piece.facts.layout, &piece.items), records: &piece.records, weights, today }
    }

    /// Returns the doubt, `0.0..=1.0`, that a question of this kind about a place (`bar.beat`) would hold: one minus the
    /// probability to hold of the weakest item asked for, 1 where one was never tried. None when the question asks for no item, as one
    /// harmony or a bar where nothing begins.
    pub fn of(&self, kind: QuestionKind, place: &str) -> Option<f64> {
        self.reader.asked(kind, place).map(|idx| self.of_item(&self.records[idx.0])).max_by(f64::total_cmp)
    }

    fn of_item(&self, record: &ItemRecord) -> f64 {
        let doubt = record.recall(self.today, self.weights).map_or(1.0, |recall| 1.0 - recall);
        let is_open = record.failed_on.is_some() && record.n_clean == 0;
        if is_open { doubt.max(FAILED) } else { doubt }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::item::{ItemIdx, Layout, PlaceAt, SectionAt};
    use crate::memory::piece_memory::PieceFacts;
    use crate::memory::{Attempt, Outcome, Way};

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, d).unwrap()
    }

    /// Two sections of four bars, a landmark in bar 6; the passages of bars 3 and 7 part there. Attempts by the name of the item.
    fn after(attempts: &[(&str, u32, Outcome)]) -> PieceMemory {
        let section = |name: &str, bars| SectionAt { name: name.into(), bars, target: 3 };
        let place = |bar: usize| PlaceAt { text: format!("{}.1", bar + 1), bar };
        let layout = Layout {
            labels: (1..=8).map(|n| n.to_string()).collect(),
            sections: vec![section("a", 0..4), section("b", 4..8)],
            landmarks: vec![("roll".into(), place(5))],
            switches: vec![vec![place(2), place(6)]],
            changes: Vec::new(),
        };
        let facts = PieceFacts { key: "p".into(), title: "P".into(), perform_on: None, layout, bar_seconds: vec![3.0; 8] };
        let mut piece = PieceMemory::new(facts);
        for (id, d, outcome) in attempts {
            let idx = piece.items.iter().position(|i| i.id.0 == *id).unwrap();
            piece.add(ItemIdx(idx), Attempt { day: day(*d), outcome: *outcome, way: Way::Cold, recall: None }, &Weights::default());
        }
        piece
    }

    #[test]
    fn each_kind_of_question_doubts_its_own_item() {
        let all = ["section 5-8", "join 4/5", "landmark 6.1", "switch 7.1"];
        let attempts: Vec<_> = all.iter().enumerate().map(|(n, id)| (*id, 1 + n as u32, Outcome::Clean)).collect();
        let (piece, weights) = (after(&attempts), Weights::default());
        let doubt = MemoryDoubt::new(&piece, &weights, day(10));
        let lost = |days: f64| Some(1.0 - weights.recall(weights.first(Outcome::Clean), days));
        let of = |kind, place| doubt.of(kind, place);
        assert_eq!(of(QuestionKind::ColdStart, "5.1"), lost(9.0));
        assert_eq!(of(QuestionKind::GoOn, "5.1"), lost(8.0));
        assert_eq!(of(QuestionKind::Jump, "6.1"), lost(7.0));
        assert_eq!(of(QuestionKind::Switch, "7.1"), lost(6.0));
        assert_eq!(of(QuestionKind::Switch, "3.1"), Some(1.0), "the other exit was never taken");
        let nothing = [(QuestionKind::WhatNext, "5.1"), (QuestionKind::GoOn, "1.1"), (QuestionKind::ColdStart, "99.1")];
        assert_eq!(nothing.map(|(kind, place)| of(kind, place)), [None; 3]);
    }

    #[test]
    fn what_failed_today_is_doubtful_until_it_was_clean() {
        let weights = Weights::default();
        let of = |attempts: &[(&str, u32, Outcome)]| {
            let piece = after(attempts);
            MemoryDoubt::new(&piece, &weights, day(3)).of(QuestionKind::ColdStart, "1.1").unwrap()
        };
        assert_eq!(of(&[("section 1-4", 3, Outcome::Failed)]), FAILED);
        assert_eq!(of(&[("section 1-4", 3, Outcome::Failed), ("section 1-4", 3, Outcome::Clean)]), 0.0, "just now");
    }
}
