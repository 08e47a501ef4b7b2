//! What an instrument's sensors do by themselves: learnt from a minute of playing, and then held back.
//!
//! A string may trigger twice, and its neighbours, octave and twelfth may ring along and be reported softly
//! (Le Carrou, Gautier & Badeau 2009 on sympathetic vibration of the harp). [`Learning`] hears one slow walk over all
//! strings and finds how hard each is struck and how long it triggers again; [`Filter`] holds back what the [`Sensor`]
//! thus found is sure not to be the player. What is not sure passes: telling it is the follower's work.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use super::{MidiEvent, MidiKey, Velocity};
use crate::time::{Micros, Stamped};

/// A string that sounds again within this was not struck again (a reasoned default: faster than any hand repeats a string).
const RETRIGGER_USUAL: Micros = Micros(60_000);
/// The longest retrigger that is believed of any sensor.
pub const RETRIGGER_MAX: Micros = Micros(110_000);
/// What rings along does so within this of the stroke, and softer than this share of it (reasoned defaults).
const ALONG_WITHIN: Micros = Micros(50_000);
const ALONG_SHARE: f64 = 0.35;
/// How far apart, in semitones, strings lie that ring along: the octave, the twelfth as eleven strings have it, the string beside in any
/// setting.
const RINGS_ALONG: [i32; 7] = [12, 18, 19, 20, 1, 2, 3];
/// Strokes of the walk come at least this far apart.
const STEP_MIN: Micros = Micros(200_000);
/// A stroke softer than this share of the softest deliberate one on its string is noise.
const FLOOR_SHARE: f64 = 0.5;

/// What was found out about one instrument.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sensor {
    /// How hard each string was struck in the walk, when asked to play softly.
    pub soft: BTreeMap<MidiKey, Velocity>,
    /// A string sounding again within this is one stroke.
    pub retrigger: Micros,
    /// Strings that sounded twice for one stroke, and strokes that made another string sound along.
    pub n_doubled: u32,
    pub n_along: u32,
    /// Ends of notes that were reported. They say little on a harp and are not used.
    pub n_ends: u32,
}

impl Sensor {
    /// Returns what is expected of a harp that nobody has listened to yet: a string triggers twice within 60 ms, and nothing is
    /// known of how hard it is struck.
    pub fn usual() -> Self {
        Sensor { soft: BTreeMap::new(), retrigger: RETRIGGER_USUAL, n_doubled: 0, n_along: 0, n_ends: 0 }
    }

    /// Returns the lowest and the highest string of the walk; none before one was walked.
    pub fn ends(&self) -> Option<(MidiKey, MidiKey)> {
        Some((*self.soft.first_key_value()?.0, *self.soft.last_key_value()?.0))
    }
}

/// Writes what a filter needs of it, `retrigger=60000 soft=48:40,50:44` (microseconds; key:velocity), which reads back. The counts
/// of the walk are left out.
impl fmt::Display for Sensor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let soft: Vec<String> = self.soft.iter().map(|(key, velocity)| format!("{}:{}", key.number(), velocity.0)).collect();
        write!(f, "retrigger={} soft={}", self.retrigger.0, soft.join(","))
    }
}

/// Text that describes no sensor.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected retrigger=MICROSECONDS soft=KEY:VELOCITY,.., found {found}", found = format!("{:?}", .0)))]
pub struct SensorError(String);

impl FromStr for Sensor {
    type Err = SensorError;
    fn from_str(text: &str) -> Result<Self, SensorError> {
        let read = || {
            let (retrigger, soft) = text.strip_prefix("retrigger=")?.split_once(" soft=")?;
            let retrigger = Micros(retrigger.parse().ok()?).clamp(Micros::ZERO, RETRIGGER_MAX);
            let pair = |pair: &str| {
                let (key, velocity) = pair.split_once(':')?;
                Some((MidiKey::try_new(key.parse().ok()?)?, Velocity(velocity.parse().ok().filter(|v| *v < 128)?)))
            };
            let soft = soft.split(',').filter(|p| !p.is_empty()).map(pair).collect::<Option<BTreeMap<_, _>>>()?;
            Some(Sensor { soft, retrigger, ..Sensor::usual() })
        };
        read().ok_or_else(|| SensorError(text.to_owned()))
    }
}

/// Hears the walk over all strings, softly, from the lowest to the highest.
#[derive(Clone, Debug, Default)]
pub struct Learning {
    /// The strokes of the walk, rising.
    strokes: Vec<(Micros, MidiKey, Velocity)>,
    doubles: Vec<Micros>,
    n_along: u32,
    n_ends: u32,
}

impl Learning {
    /// Takes one event of the walk; tells whether it was the stroke of a new string.
    pub fn hear(&mut self, event: Stamped<MidiEvent>) -> bool {
        let (key, velocity) = match event.what {
            MidiEvent::NoteOn { key, velocity, .. } => (key, velocity),
            MidiEvent::NoteOff { .. } => {
                self.n_ends += 1;
                return false;
            }
            MidiEvent::Control { .. } => return false,
        };
        let Some(&(at, last, last_velocity)) = self.strokes.last() else {
            self.strokes.push((event.at, key, velocity));
            return true;
        };
        let since = event.at - at;
        if key == last && since <= RETRIGGER_MAX {
            self.doubles.push(since);
            return false;
        }
        if since <= ALONG_WITHIN && f64::from(velocity.0) < f64::from(last_velocity.0) {
            self.n_along += 1;
            return false;
        }
        if key > last && since >= STEP_MIN {
            self.strokes.push((event.at, key, velocity));
            return true;
        }
        false
    }

    pub fn n_strings(&self) -> usize {
        self.strokes.len()
    }

    /// Tells whether any end of a note was reported.
    pub fn has_ends(&self) -> bool {
        self.n_ends > 0
    }

    /// Returns what was found; none before at least two strings were heard.
    pub fn finish(self) -> Option<Sensor> {
        let (first, last) = (self.strokes.first()?, self.strokes.last()?);
        if first.1 == last.1 {
            return None;
        }
        let longest = self.doubles.iter().copied().max().map(|longest| longest + Micros(longest.0 / 4));
        Some(Sensor {
            soft: self.strokes.iter().map(|(_, key, velocity)| (*key, *velocity)).collect(),
            retrigger: longest.map_or(RETRIGGER_USUAL, |l| l.clamp(RETRIGGER_USUAL, RETRIGGER_MAX)),
            n_doubled: u32::try_from(self.doubles.len()).unwrap_or(u32::MAX),
            n_along: self.n_along,
            n_ends: self.n_ends,
        })
    }
}

/// What a filter says of the beginning of a note.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Passage {
    Played,
    /// The instrument's doing.
    Held,
    /// It looks like the instrument's doing, but such a note is due: it is the player's if it fits.
    Doubtful,
}

/// Holds back what is not the player's doing.
#[derive(Clone, Debug)]
pub struct Filter {
    sensor: Sensor,
    /// Time and velocity of each key's last stroke.
    struck: [Option<(Micros, Velocity)>; 128],
}

impl Filter {
    pub fn new(sensor: Sensor) -> Self {
        Filter { sensor, struck: [None; 128] }
    }

    /// Says what the beginning of a note is. A soft one is no more than doubtful where the note `is_due`: better a ghost too many than
    /// a played note lost.
    pub fn weigh(&mut self, at: Micros, key: MidiKey, velocity: Velocity, is_due: bool) -> Passage {
        let idx = usize::from(key.number());
        if self.struck[idx].is_some_and(|(then, _)| at - then <= self.sensor.retrigger) {
            return Passage::Held;
        }
        let floor = self.sensor.soft.get(&key).map_or(0.0, |soft| f64::from(soft.0) * FLOOR_SHARE);
        let is_too_soft = f64::from(velocity.0) < floor;
        let is_along = self.rings_along(key, velocity, at);
        if is_too_soft || is_along {
            // Should a doubtful one be the instrument's doing, the stroke itself may follow at once, and is no double trigger of it.
            return if is_due { Passage::Doubtful } else { Passage::Held };
        }
        self.struck[idx] = Some((at, velocity));
        Passage::Played
    }

    /// Whether a much stronger stroke on a string that it rings along with came just before.
    fn rings_along(&self, key: MidiKey, velocity: Velocity, at: Micros) -> bool {
        RINGS_ALONG.into_iter().flat_map(|apart| [apart, -apart]).any(|apart| {
            let other = MidiKey::try_new(i32::from(key.number()) + apart).and_then(|k| self.struck[usize::from(k.number())]);
            other.is_some_and(|(then, stronger)| at - then <= ALONG_WITHIN && f64::from(velocity.0) < ALONG_SHARE * f64::from(stronger.0))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::Channel;

    fn on(ms: i64, key: i32, velocity: u8) -> Stamped<MidiEvent> {
        let key = MidiKey::try_new(key).unwrap();
        Stamped { at: Micros::from_millis(ms), what: MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(velocity) } }
    }

    /// The walk of a harp that triggers twice on its second string and rings along on the octave of its third.
    fn learnt() -> Sensor {
        let mut learning = Learning::default();
        let walk =
            [on(0, 48, 40), on(700, 50, 44), on(780, 50, 20), on(1400, 52, 48), on(1420, 64, 12), on(2100, 64, 36), on(2300, 53, 50)];
        let steps: Vec<bool> = walk.into_iter().map(|e| learning.hear(e)).collect();
        assert_eq!(steps, [true, true, false, true, false, true, false], "a step back is no step of the walk");
        learning
            .hear(Stamped { at: Micros(3_000_000), what: MidiEvent::NoteOff { channel: Channel(0), key: MidiKey::try_new(48).unwrap() } });
        learning.finish().unwrap()
    }

    #[test]
    fn a_walk_over_the_strings_tells_their_range_their_touch_and_what_they_do_by_themselves() {
        let sensor = learnt();
        assert_eq!(sensor.ends().map(|(low, high)| (low.number(), high.number())), Some((48, 64)));
        let soft: Vec<_> = sensor.soft.iter().map(|(k, v)| (k.number(), v.0)).collect();
        assert_eq!(soft, [(48, 40), (50, 44), (52, 48), (64, 36)]);
        assert_eq!((sensor.n_doubled, sensor.n_along, sensor.n_ends), (1, 1, 1));
        assert_eq!(sensor.retrigger, Micros::from_millis(100), "a quarter more than the longest heard");
        assert_eq!(Learning::default().finish(), None);
    }

    fn passes(filter: &mut Filter, event: Stamped<MidiEvent>, is_due: bool) -> bool {
        let MidiEvent::NoteOn { key, velocity, .. } = event.what else { panic!("a note begins") };
        filter.weigh(event.at, key, velocity, is_due) != Passage::Held
    }

    #[test]
    fn what_is_not_the_players_doing_is_held_back() {
        let mut filter = Filter::new(learnt());
        let events = [
            (on(0, 48, 80), true),
            (on(90, 48, 70), false),
            (on(130, 48, 80), true),
            (on(150, 60, 20), false),
            (on(170, 60, 40), true),
            (on(1000, 52, 20), false),
            (on(1100, 52, 30), true),
            (on(1500, 55, 10), true),
        ];
        for (event, passes) in events {
            assert_eq!(self::passes(&mut filter, event, false), passes, "{event:?}");
        }
    }

    #[test]
    fn a_scale_and_a_chord_played_with_one_touch_pass_whole() {
        let mut filter = Filter::new(learnt());
        assert!((0..24).all(|n| passes(&mut filter, on(n * 70, 48 + n as i32, 60), false)), "a quick scale");
        let chord = [on(5000, 48, 70), on(5012, 60, 52), on(5020, 67, 60), on(5030, 72, 66)];
        assert!(chord.into_iter().all(|e| passes(&mut filter, e, false)));
    }

    #[test]
    fn a_soft_note_that_is_due_passes_and_a_double_trigger_never_does() {
        let mut filter = Filter::new(learnt());
        assert!(passes(&mut filter, on(0, 48, 100), true));
        assert!(passes(&mut filter, on(20, 60, 20), true), "the octave is written");
        assert!(passes(&mut filter, on(40, 60, 90), true), "and the stroke itself after what rang along");
        assert!(!passes(&mut filter, on(60, 60, 90), true));
    }
}
