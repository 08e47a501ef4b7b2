//! A piece taken in by playing it: what was struck against a beat becomes a score.
//!
//! The player reads from the printed page and says what stands at its head: a [`Page`]. One stretch of playing with its beats is a
//! [`Reading`]; [`score`] turns one or two readings of the same bars into a [`Captured`] score: beats give every note a place in
//! quarters ([`beats`]), two readings are laid over each other and what differs is kept for a question ([`merge`]), places are
//! brought to the metrical grid ([`quantise`]), hands are told apart (`score::hands`), notes get their values ([`mod@values`]) and
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

use crate::midi::sensor::{Filter, Passage, RETRIGGER_MAX};
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

/// Pairs the strokes of a take with their ends, in order of onset; strokes heard twice count once, and what the instrument's sensors do by
/// themselves is left out where the take says how it was heard.
pub fn strokes(take: &Take) -> Vec<Struck> {
    let mut filter = take.hearing().sensor.clone().map(Filter::new);
    let mut struck: Vec<Struck> = Vec::new();
    let mut last: [Option<usize>; 128] = [None; 128];
    // Keys that rang along: the next end of theirs is of no note.
    let mut along = [false; 128];
    for event in take.events() {
        match event.what {
            MidiEvent::NoteOn { key, velocity, .. } => {
                // Nothing is due: what the page has is not known yet.
                let is_held = filter.as_mut().is_some_and(|f| f.weigh(event.at, key, velocity, false) == Passage::Held);
                let open = &mut last[usize::from(key.number())];
                let before = open.map(|i| &mut struck[i]);
                if is_held && before.as_ref().is_none_or(|before| event.at - before.on > RETRIGGER_MAX) {
                    along[usize::from(key.number())] = true;
                    continue;
                }
                along[usize::from(key.number())] = false;
                if let Some(before) = before {
                    if is_held || event.at - before.on < AGAIN_MIN {
                        before.off = None;
                        continue;
                    }
                    before.off = before.off.or(Some(event.at));
                }
                *open = Some(struck.len());
                struck.push(Struck { on: event.at, off: None, key, velocity });
            }
            MidiEvent::NoteOff { key, .. } if std::mem::take(&mut along[usize::from(key.number())]) => {}
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
    use crate::midi::sensor::Sensor;
    use crate::midi::{Channel, Hearing};
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

    #[test]
    fn what_rings_along_or_triggers_again_is_no_stroke_where_the_sensors_are_known() {
        let channel = Channel(0);
        let on = |ms: i64, key: i32, velocity: u8| {
            let what = MidiEvent::NoteOn { channel, key: MidiKey::try_new(key).unwrap(), velocity: Velocity(velocity) };
            Stamped { at: Micros::from_millis(ms), what }
        };
        let off = |ms: i64, key: i32| Stamped {
            at: Micros::from_millis(ms),
            what: MidiEvent::NoteOff { channel, key: MidiKey::try_new(key).unwrap() },
        };
        // The octave above sounds by itself after it was played, and ends before the played one would.
        let played = [on(0, 60, 70), on(80, 60, 50), off(300, 60), on(1_000, 72, 70), on(1_500, 60, 70), on(1_510, 72, 12), off(1_700, 72)];
        let take: Take = played.into_iter().chain([off(2_000, 60), on(2_500, 72, 30)]).collect();
        let heard =
            |take: &Take| strokes(take).iter().map(|s| (s.on.0 / 1000, s.key.number(), s.off.map(|o| o.0 / 1000))).collect::<Vec<_>>();
        let sensor = Sensor { retrigger: Micros::from_millis(90), ..Sensor::usual() };
        let known = take.clone().heard(Hearing { sensor: Some(sensor), ..Hearing::default() });
        assert_eq!(heard(&known), [(0, 60, Some(300)), (1000, 72, Some(2500)), (1500, 60, Some(2000)), (2500, 72, None)]);
        assert_eq!(heard(&take).len(), 6, "nothing is held back from an instrument that was not set up");
    }
}
