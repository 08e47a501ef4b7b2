//! Attempts at a piece without what most of them share, so that a hundred thousand are read at once.

use std::collections::HashMap;

use chrono::NaiveDate;

use super::entry::{Mode, Recovery, Verdict, Witness};
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
    /// The verdict that holds: the player's, where they overruled it.
    pub verdict: Verdict,
    pub witness: Witness,
    /// Index into [`Attempts::failures`].
    pub failed: Option<usize>,
}

/// Something noted during a rep.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Noted {
    /// As [`super::entry::Happening::kind`].
    pub kind: String,
    /// `bar.beat`.
    pub place: String,
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

/// Texts that are met again and again, each kept once.
pub struct Known<T> {
    index: HashMap<T, usize>,
    pub all: Vec<T>,
    last: usize,
}

impl<T: Clone + Eq + std::hash::Hash> Known<T> {
    pub fn new() -> Self {
        Known { index: HashMap::new(), all: Vec::new(), last: 0 }
    }

    /// Returns the index of a value that `is_it` tells and `make` makes. Most are the same as the one before.
    pub fn find(&mut self, is_it: impl Fn(&T) -> bool, make: impl FnOnce() -> T) -> usize {
        if self.all.get(self.last).is_some_and(is_it) {
            return self.last;
        }
        let value = make();
        self.last = *self.index.entry(value.clone()).or_insert(self.all.len());
        if self.last == self.all.len() {
            self.all.push(value);
        }
        self.last
    }
}

impl<T: Clone + Eq + std::hash::Hash> Default for Known<T> {
    fn default() -> Self {
        Known::new()
    }
}
