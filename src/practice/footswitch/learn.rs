//! Finding out what a switch sends: it is pressed and held, then let go, and what came says which way round it works.
//!
//! Pure: told events with their times, and when time has passed.

use super::{Pressed, Trigger};
use crate::midi::MidiEvent;
use crate::time::Micros;

/// A movement is over when nothing has come for so long.
const SETTLED: Micros = Micros(600_000);
/// A switch that says nothing for so long after it was let go has nothing to say then.
const NOTHING_MORE: Micros = Micros(2_500_000);

/// What is to be done next.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Step {
    /// Press it, and hold it.
    Press,
    LetGo,
    Done(Trigger, Pressed),
}

/// One switch being learned.
#[derive(Clone, Debug, Default)]
pub struct Learner {
    trigger: Option<Trigger>,
    /// The values of its movement, oldest first; none in the second half before anything has come.
    values: Vec<u8>,
    /// Its value while it is held, once known.
    held: Option<u8>,
    /// The last message, or the beginning of the second half.
    last: Micros,
    done: Option<Pressed>,
}

impl Learner {
    pub fn step(&self) -> Step {
        match (self.trigger, self.held, self.done) {
            (Some(trigger), _, Some(pressed)) => Step::Done(trigger, pressed),
            (_, Some(_), None) => Step::LetGo,
            _ => Step::Press,
        }
    }

    /// Takes an event. Of several triggers the first is meant; a controller goes before notes, which may sound on by themselves.
    pub fn event(&mut self, at: Micros, event: &MidiEvent) {
        let (trigger, value) = Trigger::heard(event);
        let is_begin = !matches!(event, MidiEvent::NoteOff { .. });
        match self.trigger {
            None if is_begin => self.trigger = Some(trigger),
            Some(Trigger::Note(_)) if matches!(trigger, Trigger::Controller(_)) && self.held.is_none() => {
                self.trigger = Some(trigger);
                self.values.clear();
            }
            Some(known) if known == trigger => {}
            _ => return,
        }
        self.values.push(value);
        self.last = self.last.max(at);
    }

    /// Returns when [`Learner::wait`] is to be told that time has passed.
    pub fn deadline(&self) -> Option<Micros> {
        match self.step() {
            Step::Press => (!self.values.is_empty()).then_some(self.last + SETTLED),
            Step::LetGo if self.values.is_empty() => Some(self.last + NOTHING_MORE),
            Step::LetGo => Some(self.last + SETTLED),
            Step::Done(..) => None,
        }
    }

    /// Time has passed until `now`.
    pub fn wait(&mut self, now: Micros) {
        if self.deadline().is_none_or(|due| now < due) {
            return;
        }
        let values = std::mem::take(&mut self.values);
        self.last = now;
        match self.held {
            None => match movement(&values) {
                Movement::Held(value) => self.held = Some(value),
                Movement::Tapped { pressed, rest } => {
                    self.held = Some(pressed);
                    self.done = Some(self.between(pressed, rest));
                }
            },
            Some(held) => self.done = Some(values.last().map_or(Pressed::Each, |rest| self.between(held, *rest))),
        }
    }

    /// Returns where between its two ends a switch counts as pressed: half way.
    fn between(&self, pressed: u8, rest: u8) -> Pressed {
        match (self.trigger, pressed.cmp(&rest)) {
            (_, std::cmp::Ordering::Equal) => Pressed::Each,
            (Some(Trigger::Note(_)), _) => Pressed::From(1),
            (_, std::cmp::Ordering::Greater) => Pressed::From(rest + (pressed - rest).div_ceil(2)),
            (_, std::cmp::Ordering::Less) => Pressed::UpTo(pressed + (rest - pressed) / 2),
        }
    }
}

enum Movement {
    Held(u8),
    /// Pressed and let go at once.
    Tapped {
        pressed: u8,
        rest: u8,
    },
}

/// Reads the values of a first movement: two that differ, or a way there and back, are a tap; a way in one direction is a press.
fn movement(values: &[u8]) -> Movement {
    let last = values.last().copied().unwrap_or(0);
    if let [pressed, rest] = values
        && pressed != rest
    {
        return Movement::Tapped { pressed: *pressed, rest: *rest };
    }
    let (low, high) = (values.iter().min().copied().unwrap_or(0), values.iter().max().copied().unwrap_or(0));
    let is_one_way = values.is_sorted() || values.iter().rev().is_sorted();
    // A pedal that trembles where it is held has not come back.
    let came_back = !is_one_way && high.abs_diff(last).max(low.abs_diff(last)) * 2 > high - low && {
        let first = values[0];
        first.abs_diff(last) < (high - low).div_ceil(2)
    };
    if came_back {
        let pressed = if high.abs_diff(last) >= low.abs_diff(last) { high } else { low };
        return Movement::Tapped { pressed, rest: last };
    }
    Movement::Held(last)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::{Channel, MidiKey, Velocity};

    /// Tells a learner of values of controller 4, each with its time in ms, and lets time pass after them.
    fn learned(values: &[(i64, u8)]) -> Step {
        let mut learner = Learner::default();
        assert_eq!(learner.step(), Step::Press);
        for (ms, value) in values {
            let at = Micros::from_millis(*ms);
            while let Some(due) = learner.deadline().filter(|due| *due <= at) {
                learner.wait(due);
            }
            learner.event(at, &MidiEvent::Control { channel: Channel(0), controller: 4, value: *value });
        }
        while let Some(due) = learner.deadline() {
            learner.wait(due);
        }
        learner.step()
    }

    #[test]
    fn what_a_switch_sends_says_which_way_round_it_works() {
        let cases: &[(&[(i64, u8)], Pressed)] = &[
            // Held and let go: on and off, reversed, half way only, reversed and half way.
            (&[(0, 127), (1500, 0)], Pressed::From(64)),
            (&[(0, 0), (1500, 127)], Pressed::UpTo(63)),
            (&[(0, 40), (1500, 0)], Pressed::From(20)),
            (&[(0, 30), (1500, 90)], Pressed::UpTo(60)),
            // Sweeps.
            (&[(0, 9), (30, 40), (60, 90), (90, 127), (1500, 100), (1530, 40), (1560, 0)], Pressed::From(64)),
            (&[(0, 20), (30, 44), (60, 43), (90, 45), (1500, 10), (1530, 0)], Pressed::From(23)),
            // Tapped rather than held.
            (&[(0, 127), (120, 0)], Pressed::From(64)),
            (&[(0, 0), (120, 127)], Pressed::UpTo(63)),
            (&[(0, 20), (30, 90), (60, 127), (200, 70), (230, 10), (260, 0)], Pressed::From(64)),
            // Says nothing when it is let go.
            (&[(0, 127)], Pressed::Each),
        ];
        for (values, pressed) in cases {
            assert_eq!(learned(values), Step::Done(Trigger::Controller(4), *pressed), "{values:?}");
        }
    }

    #[test]
    fn a_key_may_be_a_switch_and_a_pedal_goes_before_a_string_that_sounds_on() {
        let key = |n| MidiKey::try_new(n).unwrap();
        let on = |n, velocity| MidiEvent::NoteOn { channel: Channel(0), key: key(n), velocity: Velocity(velocity) };
        let mut learner = Learner::default();
        learner.event(Micros(0), &MidiEvent::NoteOff { channel: Channel(0), key: key(60) });
        assert_eq!(learner.deadline(), None, "a string let go is no press");
        learner.event(Micros(0), &on(24, 70));
        learner.wait(Micros(700_000));
        assert_eq!(learner.step(), Step::LetGo);
        learner.event(Micros(900_000), &on(60, 50));
        learner.event(Micros(1_000_000), &MidiEvent::NoteOff { channel: Channel(0), key: key(24) });
        learner.wait(Micros(1_700_000));
        assert_eq!(learner.step(), Step::Done(Trigger::Note(key(24)), Pressed::From(1)));

        let mut learner = Learner::default();
        learner.event(Micros(0), &on(24, 70));
        learner.event(Micros(50_000), &MidiEvent::Control { channel: Channel(0), controller: 66, value: 127 });
        learner.wait(Micros(700_000));
        learner.event(Micros(900_000), &MidiEvent::Control { channel: Channel(0), controller: 66, value: 0 });
        learner.wait(Micros(1_600_000));
        assert_eq!(learner.step(), Step::Done(Trigger::Controller(66), Pressed::From(64)));
    }
}
