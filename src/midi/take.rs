//! A take: one recorded stretch of playing.

use std::sync::Arc;

use super::{Hearing, MidiEvent};
use crate::time::{Micros, Stamped};

/// Events in the order they arrived; stamps never go back (a late stamp is raised to its predecessor's).
///
/// All that the instrument sent is there, also what was not taken for the player's doing; the hearing says how to tell.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Take {
    events: Vec<Stamped<MidiEvent>>,
    hearing: Arc<Hearing>,
}

impl Take {
    /// Returns the take as one that was heard this way.
    #[must_use]
    pub fn heard(self, hearing: impl Into<Arc<Hearing>>) -> Self {
        Take { hearing: hearing.into(), ..self }
    }

    /// Returns how it was heard when it was played.
    pub fn hearing(&self) -> &Arc<Hearing> {
        &self.hearing
    }

    pub fn push(&mut self, event: Stamped<MidiEvent>) {
        let at = self.events.last().map_or(event.at, |last| last.at.max(event.at));
        self.events.push(Stamped { at, what: event.what });
    }

    pub fn events(&self) -> &[Stamped<MidiEvent>] {
        &self.events
    }

    pub fn is_empty(&self) -> bool {
        self.events.is_empty()
    }

    /// Returns the time from the first event to the last.
    pub fn length(&self) -> Micros {
        match (self.events.first(), self.events.last()) {
            (Some(first), Some(last)) => last.at - first.at,
            _ => Micros::ZERO,
        }
    }
}

impl FromIterator<Stamped<MidiEvent>> for Take {
    fn from_iter<I: IntoIterator<Item = Stamped<MidiEvent>>>(events: I) -> Self {
        let mut take = Take::default();
        events.into_iter().for_each(|e| take.push(e));
        take
    }
}
