//! The guided set-up of an instrument: three short tasks, and what they tell.
//!
//! First a soft walk over all strings ([`Learning`]), then one string damped and one left to ring, then one string with its lever or
//! pedal in two settings. It is a state that events and times go into: who asks, and where the answer is kept, it does not know.

use super::sensor::{Learning, Sensor};
use super::{MatchMode, MidiEvent, MidiKey};
use crate::theory::{KeySignature, Letter};
use crate::time::{Micros, Stamped};

/// The walk is over when nothing has come for so long; and a task that nobody takes up, after so long.
const WALK_OVER: Micros = Micros(4_000_000);
const TASK_OVER: Micros = Micros(12_000_000);
/// After the last stroke of the other tasks.
const STROKE_OVER: Micros = Micros(4_000_000);
/// A stroke this soon after another is the instrument's doing.
const APART: Micros = Micros(200_000);
/// A damped string that ends within this share of the time of one left to ring was heard being damped.
const DAMPED_SHARE: f64 = 0.6;
/// Fewer strings than a scale has do not tell its signature.
const N_STRINGS_OF_A_SCALE: usize = 8;

/// What a set-up found out.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Profile {
    pub sensor: Sensor,
    pub ends: Ends,
    /// What keys mean; none where that was not tried.
    pub matching: Option<MatchMode>,
    /// The signature of the walk's keys (sharps; negative: flats), where they are a scale.
    pub names: Option<i8>,
}

/// What the end of a note means. It is told for the player's interest: nothing in the program rests on it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Ends {
    /// No ends are sent.
    None,
    /// When the string has stopped ringing by itself, whatever the hand does; or it was not tried.
    Ringing,
    /// When the hand damps the string.
    Damping,
}

impl Ends {
    pub const WORDS: [(&str, Ends); 3] = [("none", Ends::None), ("ringing", Ends::Ringing), ("damping", Ends::Damping)];

    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, ends)| *ends == self).expect("every one has its word").0
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Task {
    /// Every string once, softly, from the lowest to the highest.
    Walk,
    /// One string damped at once, then left to ring.
    Damp,
    /// One string with its lever down, then up.
    Lever,
    Done,
}

/// A set-up under way.
#[derive(Clone, Debug)]
pub struct SetUp {
    task: Task,
    began: Micros,
    last: Option<Micros>,
    learning: Learning,
    walked: Vec<MidiKey>,
    /// Strokes of the second task: when, and when each ended.
    damped: Vec<(Micros, MidiKey, Option<Micros>)>,
    lever: Vec<(Micros, MidiKey)>,
}

impl SetUp {
    pub fn begin(now: Micros) -> SetUp {
        SetUp {
            task: Task::Walk,
            began: now,
            last: None,
            learning: Learning::default(),
            walked: Vec::new(),
            damped: Vec::new(),
            lever: Vec::new(),
        }
    }

    pub fn task(&self) -> Task {
        self.task
    }

    /// Returns how many strings the walk has had.
    pub fn n_strings(&self) -> usize {
        self.learning.n_strings()
    }

    /// Takes in what the instrument sends.
    pub fn hear(&mut self, event: Stamped<MidiEvent>) {
        let at = event.at;
        match (self.task, event.what) {
            (Task::Walk, what) => {
                let is_string = self.learning.hear(event);
                if let (true, MidiEvent::NoteOn { key, .. }) = (is_string, what) {
                    self.walked.push(key);
                }
                if matches!(what, MidiEvent::NoteOn { .. }) {
                    self.last = Some(at);
                }
            }
            (Task::Damp, MidiEvent::NoteOn { key, .. }) if self.damped.last().is_none_or(|(then, ..)| at - *then > APART) => {
                self.damped.push((at, key, None));
                self.last = Some(at);
            }
            (Task::Damp, MidiEvent::NoteOff { key, .. }) => {
                if let Some((.., end)) = self.damped.iter_mut().rev().find(|(_, of, end)| *of == key && end.is_none()) {
                    *end = Some(at);
                }
                if self.damped.len() >= 2 && self.damped[1].2.is_some() {
                    self.next(at);
                }
            }
            (Task::Lever, MidiEvent::NoteOn { key, .. }) if self.lever.last().is_none_or(|(then, _)| at - *then > APART) => {
                self.lever.push((at, key));
                self.last = Some(at);
                if self.lever.len() >= 2 {
                    self.next(at);
                }
            }
            _ => {}
        }
    }

    /// Goes on to the next task, as when the player says so.
    pub fn next(&mut self, now: Micros) {
        self.task = match self.task {
            Task::Walk => Task::Damp,
            Task::Damp => Task::Lever,
            Task::Lever | Task::Done => Task::Done,
        };
        (self.began, self.last) = (now, None);
    }

    /// Returns when the task is over by itself. The walk waits for its first strings.
    pub fn deadline(&self) -> Option<Micros> {
        match self.task {
            Task::Walk => self.last.filter(|_| self.n_strings() > 1).map(|last| last + WALK_OVER),
            Task::Damp if self.damped.len() >= 2 => self.last.map(|last| last + STROKE_OVER),
            Task::Damp | Task::Lever => Some(self.last.unwrap_or(self.began) + TASK_OVER),
            Task::Done => None,
        }
    }

    /// Returns what was found; none before two strings at least were walked over.
    pub fn finish(self) -> Option<Profile> {
        let ends = self.ends();
        let matching = match self.lever[..] {
            [(_, a), (_, b), ..] if a == b => Some(MatchMode::Strings),
            [(_, a), (_, b), ..] if a.number().abs_diff(b.number()) <= 2 => Some(MatchMode::Sounding),
            _ => None,
        };
        let names = signature(&self.walked);
        Some(Profile { sensor: self.learning.finish()?, ends, matching, names })
    }

    fn ends(&self) -> Ends {
        let lasted = |nth: usize| self.damped.get(nth).and_then(|(at, _, end)| end.map(|end| (end - *at).secs_f64()));
        match (lasted(0), lasted(1)) {
            (Some(damped), Some(rung)) if damped < DAMPED_SHARE * rung => Ends::Damping,
            (Some(_), None) if self.damped.len() >= 2 => Ends::Damping,
            (None, None) if !self.learning.has_ends() => Ends::None,
            _ => Ends::Ringing,
        }
    }
}

/// The signature that has all of these keys, the one of fewest accidentals; none where no one has, or there are too few to say.
fn signature(keys: &[MidiKey]) -> Option<i8> {
    if keys.len() < N_STRINGS_OF_A_SCALE {
        return None;
    }
    let is_scale = |fifths: &i8| {
        let signature = KeySignature::new(*fifths, None);
        let classes = Letter::ALL.map(|letter| (letter.semitones() + i32::from(signature.alter_of(letter))).rem_euclid(12));
        keys.iter().all(|key| classes.contains(&i32::from(key.pitch_class())))
    };
    let mut fits: Vec<i8> = (-7..=7).filter(is_scale).collect();
    fits.sort_by_key(|fifths| fifths.abs());
    fits.first().copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::{Channel, Velocity};

    fn on(ms: i64, key: i32) -> Stamped<MidiEvent> {
        let key = MidiKey::try_new(key).unwrap();
        Stamped { at: Micros::from_millis(ms), what: MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(40) } }
    }

    fn off(ms: i64, key: i32) -> Stamped<MidiEvent> {
        let key = MidiKey::try_new(key).unwrap();
        Stamped { at: Micros::from_millis(ms), what: MidiEvent::NoteOff { channel: Channel(0), key } }
    }

    /// Two octaves in E flat, then what the two other tasks bring.
    fn set_up(damp: &[Stamped<MidiEvent>], lever: &[Stamped<MidiEvent>]) -> Profile {
        let mut set_up = SetUp::begin(Micros::ZERO);
        let scale = [0, 2, 4, 5, 7, 9, 11];
        (0..15).for_each(|n| set_up.hear(on(1_000 + 500 * n, 51 + 12 * (n as i32 / 7) + scale[n as usize % 7])));
        assert_eq!((set_up.task(), set_up.n_strings()), (Task::Walk, 15));
        assert_eq!(set_up.deadline(), Some(Micros::from_millis(12_000)));
        set_up.next(Micros::from_millis(12_000));
        damp.iter().for_each(|e| set_up.hear(*e));
        if set_up.task() == Task::Damp {
            set_up.next(Micros::from_millis(25_000));
        }
        lever.iter().for_each(|e| set_up.hear(*e));
        set_up.finish().unwrap()
    }

    #[test]
    fn the_tasks_tell_what_ends_and_keys_mean() {
        let rung = [on(13_000, 51), off(13_300, 51), on(15_000, 51), off(19_000, 51)];
        let by_itself = [on(13_000, 51), off(17_000, 51), on(18_000, 51), off(22_000, 51)];
        let rows = [
            (&rung[..], [on(30_000, 53), on(32_000, 54)], Ends::Damping, Some(MatchMode::Sounding)),
            (&by_itself[..], [on(30_000, 53), on(32_000, 53)], Ends::Ringing, Some(MatchMode::Strings)),
            (&[], [on(30_000, 53), on(32_000, 60)], Ends::None, None),
        ];
        for (damp, lever, ends, matching) in rows {
            let profile = set_up(damp, &lever);
            assert_eq!((profile.ends, profile.matching, profile.names), (ends, matching, Some(-3)));
            assert_eq!(profile.sensor.ends().map(|(low, high)| (low.number(), high.number())), Some((51, 75)));
        }
    }

    #[test]
    fn a_task_that_nobody_takes_up_passes_and_without_a_walk_nothing_is_known() {
        let mut set_up = SetUp::begin(Micros::ZERO);
        assert_eq!(set_up.deadline(), None, "the walk waits");
        set_up.next(Micros(1));
        assert_eq!(set_up.deadline(), Some(Micros(1) + TASK_OVER));
        (0..3).for_each(|n| set_up.next(Micros(n)));
        assert_eq!((set_up.task(), set_up.deadline()), (Task::Done, None));
        assert_eq!(set_up.finish(), None);
    }

    #[test]
    fn few_keys_or_no_scale_have_no_signature() {
        let keys = |keys: &[i32]| signature(&keys.iter().map(|k| MidiKey::try_new(*k).unwrap()).collect::<Vec<_>>());
        assert_eq!(keys(&[60, 62, 64, 65, 67, 69, 71]), None);
        assert_eq!(keys(&[60, 62, 64, 65, 67, 69, 71, 72]), Some(0));
        assert_eq!(keys(&[60, 61, 62, 63, 64, 65, 66, 67]), None);
        assert_eq!(keys(&[59, 61, 63, 64, 66, 68, 70, 71]), Some(5), "as C flat major, with fewer accidentals");
    }
}
