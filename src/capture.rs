//! A piece taken in by playing it: what was struck against a beat becomes a score.
//!
//! The player reads from the printed page and says what stands at its head: a [`Page`]. One stretch of playing with its beats is a
//! [`Reading`]; [`score`] turns one or two readings of the same bars into a [`Captured`] score: beats give every note a place in
//! quarters ([`beats`]), two readings are laid over each other and what differs is kept for a question ([`merge`]), places are
//! brought to the metrical grid ([`quantise`]), hands are told apart (`score::hands`), notes get their values ([`values`]) and
//! their names (`theory::spelling`).
//!
//! Pure: knows no file, no port and no clock. The captured score is data for following; nothing here shows a note, and
//! questions name a bar and a beat only.

pub mod beats;
pub mod merge;
mod page;
pub mod quantise;
pub mod record;
mod score_of;
mod values;

pub use beats::Beats;
pub use page::{Page, PageError};
pub use score_of::{Captured, Pass, Question, Stretch, Why, score};

use crate::midi::{MidiEvent, MidiKey, Take, Velocity};
use crate::time::Micros;

/// One stretch of playing and the beats it was played to.
#[derive(Clone, PartialEq, Debug)]
pub struct Reading {
    /// In order of onset.
    pub struck: Vec<Struck>,
    pub beats: Beats,
}

/// A note as it was played.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Struck {
    pub on: Micros,
    /// When the key came up; `None` where nothing ended it.
    pub off: Option<Micros>,
    pub key: MidiKey,
    pub velocity: Velocity,
}

/// A key struck again sooner than this is the same stroke (a string that a pickup hears twice).
const AGAIN_MIN: Micros = Micros(60_000);

/// Pairs the strokes of a take with their ends, in order of onset; strokes heard twice count once.
pub fn strokes(take: &Take) -> Vec<Struck> {
    let mut struck: Vec<Struck> = Vec::new();
    let mut last: [Option<usize>; 128] = [None; 128];
    for event in take.events() {
        match event.what {
            MidiEvent::NoteOn { key, velocity, .. } => {
                let open = &mut last[usize::from(key.number())];
                if let Some(before) = open.map(|i| &mut struck[i]) {
                    if event.at - before.on < AGAIN_MIN {
                        before.off = None;
                        continue;
                    }
                    before.off = before.off.or(Some(event.at));
                }
                *open = Some(struck.len());
                struck.push(Struck { on: event.at, off: None, key, velocity });
            }
            MidiEvent::NoteOff { key, .. } => {
                if let Some(open) = last[usize::from(key.number())].map(|i| &mut struck[i]) {
                    open.off = open.off.or(Some(event.at));
                }
            }
            MidiEvent::Control { .. } => {}
        }
    }
    struck
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::Channel;
    use crate::time::Stamped;

    #[test]
    fn a_string_heard_twice_is_one_stroke_and_ends_once() {
        let key = MidiKey::try_new(60).unwrap();
        let channel = Channel(0);
        let on = MidiEvent::NoteOn { channel, key, velocity: Velocity(70) };
        let off = MidiEvent::NoteOff { channel, key };
        let rows = [(0, on), (20_000, off), (45_000, on), (400_000, off), (500_000, on), (900_000, on)];
        let take: Take = rows.into_iter().map(|(at, what)| Stamped { at: Micros(at), what }).collect();
        let ends: Vec<_> = strokes(&take).iter().map(|s| (s.on.0, s.off.map(|o| o.0))).collect();
        assert_eq!(ends, [(0, Some(400_000)), (500_000, Some(900_000)), (900_000, None)]);
    }
}
