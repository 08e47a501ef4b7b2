//! Every step of an edit, to go back and forth in.

use std::collections::BTreeSet;

use super::view::Room;
use crate::piece::merge::merge;
use crate::score::{Place, Score};
use crate::theory::Hand;

/// The text after an edit, and where the edit was made.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Step {
    pub text: String,
    /// Drafted lines that the player does not want; the file has no place for them.
    pub dropped: BTreeSet<(Place, Option<Hand>)>,
    pub bar: usize,
    pub room: Room,
}

#[derive(Clone, Debug)]
pub struct History {
    /// Never empty.
    steps: Vec<Step>,
    at: usize,
}

impl History {
    pub fn new(text: &str) -> History {
        let first = Step { text: text.to_owned(), dropped: BTreeSet::new(), bar: 0, room: Room::Story };
        History { steps: vec![first], at: 0 }
    }

    pub fn now(&self) -> &Step {
        &self.steps[self.at]
    }

    /// Adds a step; what was undone before is forgotten. A step that changes nothing is none.
    pub fn push(&mut self, step: Step) {
        if (&step.text, &step.dropped) == (&self.now().text, &self.now().dropped) {
            return;
        }
        self.steps.truncate(self.at + 1);
        self.steps.push(step);
        self.at += 1;
    }

    /// Goes a step back; returns where the undone edit was made.
    pub fn undo(&mut self) -> Option<(usize, Room)> {
        let place = (self.now().bar, self.now().room);
        self.at = self.at.checked_sub(1)?;
        Some(place)
    }

    /// Goes a step forth again; returns where that edit was made.
    pub fn redo(&mut self) -> Option<(usize, Room)> {
        let next = self.steps.get(self.at + 1)?;
        self.at += 1;
        Some((next.bar, next.room))
    }

    pub fn can_undo(&self) -> bool {
        self.at > 0
    }

    /// Takes in a text that holds another edit beside the one of now, and puts that edit into every
    /// step. Steps that touch the same thing as it, and those beyond them, are forgotten.
    pub fn take_in(&mut self, text: &str, file_name: &str, score: &Score) {
        let now = self.now().text.clone();
        let merged: Vec<Option<String>> = self.steps.iter().map(|step| merge(&now, &step.text, text, file_name, score).ok()).collect();
        let end = (self.at..merged.len()).find(|&i| merged[i].is_none()).unwrap_or(merged.len());
        let from = (0..self.at).rev().find(|&i| merged[i].is_none()).map_or(0, |i| i + 1);
        let steps = std::mem::take(&mut self.steps).into_iter().zip(merged);
        self.steps = steps.skip(from).take(end - from).filter_map(|(step, text)| Some(Step { text: text?, ..step })).collect();
        self.at -= from;
    }
}
