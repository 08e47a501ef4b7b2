//! What was heard of a take and left aside: double triggers and ghosts, counted.

use std::collections::BTreeMap;

use crate::follower::{Heard, HeardNote, LineNoteIdx};
use crate::midi::MidiKey;
use crate::midi::sensor::RETRIGGER_MAX;
use crate::time::Micros;

/// Nobody goes back and plays a note again in so short a time.
const A_MOMENT: Micros = Micros(400_000);

/// What the instrument did by itself, and nobody is blamed for.
#[derive(Default)]
pub struct Ignored {
    n_doubled: usize,
    n_ghosts: usize,
    /// When each key last began to sound, and each note was last heard in its place.
    sounded: BTreeMap<MidiKey, Micros>,
    in_place: BTreeMap<LineNoteIdx, Micros>,
}

impl Ignored {
    /// Takes in a note: a ghost on a string that has just sounded is a double trigger; and a note heard in its place twice within a
    /// moment was a ghost the first time.
    pub fn note(&mut self, at: Micros, key: MidiKey, note: &HeardNote) {
        let again = self.sounded.insert(key, at).is_some_and(|then| at - then <= RETRIGGER_MAX);
        match note.heard {
            Heard::Ghost if again => self.n_doubled += 1,
            Heard::Ghost => self.n_ghosts += 1,
            Heard::Expected => {
                let before = note.note.and_then(|n| self.in_place.insert(n, at));
                self.n_ghosts += usize::from(before.is_some_and(|then| at - then <= A_MOMENT));
            }
            _ => {}
        }
    }

    /// Returns `2 double triggers, 1 ghost ignored.`; nothing where there was nothing.
    pub fn words(&self) -> Option<String> {
        let doubled = (self.n_doubled > 0).then(|| tr!("1 double trigger" | "{n} double triggers" % self.n_doubled));
        let ghosts = (self.n_ghosts > 0).then(|| tr!("1 ghost" | "{n} ghosts" % self.n_ghosts));
        let all: Vec<String> = [doubled, ghosts].into_iter().flatten().collect();
        (!all.is_empty()).then(|| tr!("{} ignored.", all.join(", ")))
    }
}
