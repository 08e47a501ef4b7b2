//! Attempts at a piece without what most of them share, so that a hundred thousand are read at once.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::entry::{BarPace, Mode, Recovery, Verdict, Witness};
use crate::time::{Micros, Timestamp};

/// Where a rep stands in the journal, for asking more about it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct RepRow(pub i64);

/// All attempts at one piece, oldest first.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct Attempts {
    pub spans: Vec<PlayedSpan>,
    /// Places and kinds of what failed first.
    pub failures: Vec<(String, String)>,
    pub all: Vec<Attempt>,
}

/// A span as it was called when it was played.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct PlayedSpan {
    pub name: String,
    /// Printed labels of its first and last bar.
    pub bars: (String, String),
}

/// One rep.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Attempt {
    pub row: RepRow,
    pub at: Timestamp,
    /// The player's own day.
    pub day: NaiveDate,
    pub length: Micros,
    /// Index into [`Attempts::spans`].
    pub span: usize,
    pub mode: Mode,
    pub judged: Verdict,
    /// The verdict that holds: the player's, where they overruled it.
    pub verdict: Verdict,
    pub witness: Witness,
    /// Index into [`Attempts::failures`].
    pub failed: Option<usize>,
}

/// The rep of a piece that was played last, as far as it is told of before all is read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Latest {
    pub at: Timestamp,
    /// Name of its span.
    pub span: String,
    /// The verdict that holds: the player's, where they overruled it.
    pub verdict: Verdict,
}

/// Something noted during a rep.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Noted {
    /// As [`super::entry::Happening::kind`].
    pub kind: String,
    /// `bar.beat`.
    pub place: String,
}

/// A lever or pedal that was heard to stand wrong.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SettingSlip {
    /// `bar.beat`.
    pub place: String,
    /// As [`super::entry::Happening::setting`]; none where an older program wrote it down.
    pub setting: Option<String>,
}

impl SettingSlip {
    /// Returns which lever or pedal it was, without how it should stand: `lever F4`.
    pub fn moved(&self) -> Option<&str> {
        let setting = self.setting.as_deref()?;
        setting.match_indices(' ').nth(1).map(|(end, _)| &setting[..end])
    }
}

/// The same, in a rep or an answer of a day.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DatedSlip {
    pub at: Timestamp,
    pub slip: SettingSlip,
}

/// A run-through as the journal gives it back.
#[derive(Clone, PartialEq, Debug)]
pub struct DatedRun {
    pub at: Timestamp,
    pub n_bars: u32,
    pub n_bars_played: u32,
    pub is_held: bool,
    /// In the order they happened: place, way back, and the time it took.
    pub lapses: Vec<(String, Recovery, Micros)>,
}

/// The pace of one run-through.
#[derive(Clone, PartialEq, Debug)]
pub struct DatedPace {
    pub at: Timestamp,
    /// Set against the player's own reading; else against the page.
    pub by_reading: bool,
    /// In the order they were played; bars that a lapse was in are not there.
    pub bars: Vec<BarPace>,
}

/// Texts that are met again and again, each kept once.
pub struct Known<T> {
    index: HashMap<T, usize>,
    pub all: Vec<T>,
}

impl<T: Clone + Eq + std::hash::Hash> Known<T> {
    /// Returns the index of a value, which is that of an equal one where there is one.
    pub fn find(&mut self, value: T) -> usize {
        if let Some(known) = self.index.get(&value) {
            return *known;
        }
        self.index.insert(value.clone(), self.all.len());
        self.all.push(value);
        self.all.len() - 1
    }
}

impl<T> Default for Known<T> {
    fn default() -> Self {
        Known { index: HashMap::new(), all: Vec::new() }
    }
}
