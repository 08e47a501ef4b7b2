//! A note as a sign: the lowest or the highest string or key of the instrument, struck twice.
//!
//! Pure. The first stroke of what may be a sign is held back until it is known whether the second comes; then either both are
//! gone, or the first goes on with the time at which it was struck. A sign stands alone: nothing else was struck for a while before it.

use super::Command;
use crate::midi::{MidiEvent, MidiKey, Velocity};
use crate::time::{Micros, Stamped};

/// Nothing is struck for so long before a sign: no run of notes ends in one.
const ALONE: Micros = Micros(1_000_000);
/// Two strokes of one string closer together than this are one that was heard twice.
const HEARD_TWICE: Micros = Micros(80_000);

/// Which notes are signs, and of what.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct GestureConfig {
    pub signs: Vec<Sign>,
    /// From the first stroke to the second at most: 600 ms (a reasoned default).
    pub within: Micros,
}

/// One sign.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sign {
    /// As a player knows it: `lowest string twice`.
    pub name: String,
    /// The keys that it may be heard as; a string sounds by its lever or pedal.
    pub keys: Vec<MidiKey>,
    pub command: Command,
}

/// What came of an event.
#[derive(Clone, PartialEq, Debug)]
pub enum Heard {
    /// It is what is played, and is to be heard now.
    Played(Stamped<MidiEvent>),
    Sign(Command),
}

/// The signs of one instrument.
#[derive(Clone, Debug)]
pub struct Gestures {
    config: GestureConfig,
    held: Option<Held>,
    last: Option<Micros>,
}

#[derive(Clone, Debug)]
struct Held {
    command: Command,
    at: Micros,
    key: MidiKey,
    velocity: Velocity,
    /// The stroke, and what came after it that decides nothing.
    events: Vec<Stamped<MidiEvent>>,
}

impl Gestures {
    pub fn new(config: GestureConfig) -> Self {
        Gestures { config, held: None, last: None }
    }

    /// Takes an event; `may_be_sign` says of a key whether a sign on it is listened for now.
    pub fn event(&mut self, event: Stamped<MidiEvent>, may_be_sign: impl Fn(MidiKey) -> bool, out: &mut Vec<Heard>) {
        let MidiEvent::NoteOn { key, velocity, .. } = event.what else {
            match &mut self.held {
                Some(held) => held.events.push(event),
                None => out.push(Heard::Played(event)),
            }
            return;
        };
        self.wait(event.at, out);
        if let Some(held) = &mut self.held {
            let since = event.at - held.at;
            if key == held.key && since >= HEARD_TWICE {
                out.push(Heard::Sign(held.command));
                self.held = None;
                self.last = Some(event.at);
                return;
            }
            // What rings along: softer by half, octaves away.
            let is_ghost = key.pitch_class() == held.key.pitch_class() && velocity.0 <= held.velocity.0 / 2;
            if key == held.key || is_ghost {
                held.events.push(event);
                return;
            }
            self.release(out);
        }
        let is_alone = self.last.is_none_or(|last| event.at - last >= ALONE);
        self.last = Some(self.last.map_or(event.at, |last| last.max(event.at)));
        let sign = self.config.signs.iter().find(|s| s.keys.contains(&key)).filter(|_| is_alone && may_be_sign(key));
        match sign {
            Some(Sign { command, .. }) => {
                self.held = Some(Held { command: *command, at: event.at, key, velocity, events: vec![event] });
            }
            None => out.push(Heard::Played(event)),
        }
    }

    /// Returns when [`Gestures::wait`] is to be told that time has passed.
    pub fn deadline(&self) -> Option<Micros> {
        self.held.as_ref().map(|held| held.at + self.config.within + Micros(1))
    }

    /// Time has passed until `now`: a stroke without its second was played.
    pub fn wait(&mut self, now: Micros, out: &mut Vec<Heard>) {
        if self.deadline().is_some_and(|due| due <= now) {
            self.release(out);
        }
    }

    /// Lets what is held back be heard.
    pub fn release(&mut self, out: &mut Vec<Heard>) {
        out.extend(self.held.take().into_iter().flat_map(|held| held.events).map(Heard::Played));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::Channel;

    fn key(n: i32) -> MidiKey {
        MidiKey::try_new(n).unwrap()
    }

    /// Tells of strokes `(ms, key, velocity)`; returns in order the keys heard, and -1 for a sign.
    fn heard_with(strokes: &[(i64, i32, u8)], may_be_sign: impl Fn(MidiKey) -> bool) -> Vec<i32> {
        let sign = |n: i32, command| Sign { name: String::new(), keys: vec![key(n - 1), key(n), key(n + 1)], command };
        let config = GestureConfig { signs: vec![sign(36, Command::Again), sign(96, Command::Skip)], within: Micros::from_millis(600) };
        let mut gestures = Gestures::new(config);
        let mut out = Vec::new();
        for (ms, n, velocity) in strokes {
            let at = Micros::from_millis(*ms);
            let what = MidiEvent::NoteOn { channel: Channel(0), key: key(*n), velocity: Velocity(*velocity) };
            gestures.event(Stamped { at, what }, &may_be_sign, &mut out);
        }
        gestures.wait(Micros::from_millis(100_000), &mut out);
        let word = |heard: &Heard| match heard {
            Heard::Played(Stamped { what: MidiEvent::NoteOn { key, .. }, .. }) => i32::from(key.number()),
            Heard::Played(_) => 0,
            Heard::Sign(_) => -1,
        };
        out.iter().map(word).collect()
    }

    fn heard(strokes: &[(i64, i32, u8)]) -> Vec<i32> {
        heard_with(strokes, |_| true)
    }

    #[test]
    fn the_lowest_string_twice_is_a_sign_and_no_note() {
        assert_eq!(heard(&[(0, 36, 60), (350, 36, 60)]), [-1]);
        assert_eq!(heard(&[(0, 36, 60), (600, 36, 60)]), [-1]);
        assert_eq!(heard(&[(0, 96, 60), (200, 96, 60), (1400, 60, 60)]), [-1, 60]);
    }

    #[test]
    fn strokes_too_far_apart_or_of_two_strings_are_played() {
        assert_eq!(heard(&[(0, 36, 60), (601, 36, 60)]), [36, 36]);
        assert_eq!(heard(&[(0, 36, 60), (300, 37, 60)]), [36, 37]);
        assert_eq!(heard(&[(0, 36, 60), (300, 60, 60), (500, 36, 60)]), [36, 60, 36]);
        assert_eq!(heard(&[(0, 36, 60)]), [36]);
    }

    #[test]
    fn a_run_that_ends_on_the_lowest_string_is_no_sign() {
        assert_eq!(heard(&[(0, 40, 60), (200, 38, 60), (400, 36, 60), (700, 36, 60)]), [40, 38, 36, 36]);
        // Nor is a third stroke the beginning of another.
        assert_eq!(heard(&[(0, 36, 60), (300, 36, 60), (600, 36, 60), (900, 36, 60)]), [-1, 36, 36]);
    }

    #[test]
    fn one_stroke_heard_twice_is_no_sign_and_what_rings_along_hides_none() {
        assert_eq!(heard(&[(0, 36, 60), (30, 36, 40)]), [36, 36]);
        assert_eq!(heard(&[(0, 36, 60), (30, 36, 40), (300, 36, 60)]), [-1]);
        assert_eq!(heard(&[(0, 36, 60), (20, 48, 20), (300, 36, 60)]), [-1]);
        assert_eq!(heard(&[(0, 36, 60), (20, 48, 50), (300, 36, 60)]), [36, 48, 36]);
    }

    #[test]
    fn where_the_note_may_be_due_nothing_is_held_back() {
        assert_eq!(heard_with(&[(0, 36, 60), (300, 36, 60)], |_| false), [36, 36]);
    }

    proptest::proptest! {
        #[test]
        fn every_note_is_heard_once_and_in_order_or_is_part_of_a_sign(
            strokes in proptest::collection::vec((0i64..900, proptest::sample::select(vec![36, 37, 48, 60, 96])), 0..40)
        ) {
            let mut at = 0;
            let strokes: Vec<(i64, i32, u8)> = strokes.into_iter().map(|(gap, n)| { at += gap; (at, n, 64) }).collect();
            let heard = heard(&strokes);
            let n_signs = heard.iter().filter(|h| **h == -1).count();
            let played: Vec<i32> = heard.into_iter().filter(|h| *h >= 0).collect();
            // A sign has two strokes of one key, and perhaps what was heard of them more than once.
            proptest::prop_assert!(played.len() + 2 * n_signs <= strokes.len());
            let mut rest = strokes.iter().map(|s| s.1);
            proptest::prop_assert!(played.iter().all(|n| rest.any(|s| s == *n)), "{played:?} in the order of {strokes:?}");
            if n_signs == 0 {
                proptest::prop_assert_eq!(played.len(), strokes.len());
            }
        }
    }
}
