//! How what an instrument sends is to be taken: as sounding pitch or as strings, and through which filter.
//!
//! It is a value of its own so that it can travel with a take: a replay hears what the player's evening heard.

use std::fmt;
use std::str::FromStr;

use super::MidiKey;
use super::sensor::Sensor;
use crate::theory::{KeySignature, Letter};

/// What a key number from the instrument means.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Matching {
    /// The pitch that sounds.
    #[default]
    Sounding,
    /// The string, whatever its lever or pedal does to it; the sensor names strings by this key signature (sharps; negative: flats).
    Strings { open: i8 },
    /// Either: what is played shows which. Where it is strings, they are named by this key signature.
    Automatic { open: i8 },
}

impl Matching {
    /// Returns what a key sounds where the strings are set as a key signature has them: the key itself, unless it names a string.
    pub fn sounding(self, key: MidiKey, set: KeySignature) -> MidiKey {
        let Matching::Strings { open } = self else { return key };
        let named = |letter: Letter| letter.semitones() + i32::from(KeySignature::new(open, None).alter_of(letter));
        let is_it = |letter: &Letter| (i32::from(key.number()) - named(*letter)).rem_euclid(12) == 0;
        let Some(letter) = Letter::ALL.into_iter().find(is_it) else { return key };
        let sounds = letter.semitones() + i32::from(set.alter_of(letter));
        MidiKey::try_new(i32::from(key.number()) + sounds - named(letter)).unwrap_or(key)
    }
}

/// What a player says of it, who does not know by which names a sensor calls its strings.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum MatchMode {
    Sounding,
    Strings,
    Automatic,
}

impl MatchMode {
    /// Its words in settings and piece files.
    pub const WORDS: [(&str, MatchMode); 3] =
        [("automatic", MatchMode::Automatic), ("sounding", MatchMode::Sounding), ("string", MatchMode::Strings)];

    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, mode)| *mode == self).expect("every mode has its word").0
    }

    /// Returns the matching where strings are named by this key signature.
    pub fn named_by(self, open: i8) -> Matching {
        match self {
            MatchMode::Sounding => Matching::Sounding,
            MatchMode::Strings => Matching::Strings { open },
            MatchMode::Automatic => Matching::Automatic { open },
        }
    }
}

/// How one instrument is heard.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Hearing {
    pub matching: Matching,
    /// What its sensors do by themselves; none: everything is the player's doing.
    pub sensor: Option<Sensor>,
}

impl Hearing {
    /// Tells whether there is nothing to say: every key is the pitch that sounds, and all of them are heard.
    pub fn is_plain(&self) -> bool {
        *self == Hearing::default()
    }
}

/// Writes the hearing as one line of words, which reads back the same: `match strings -3; sensor retrigger=60000 soft=48:40,50:44`.
impl fmt::Display for Hearing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.matching {
            Matching::Sounding => write!(f, "match sounding")?,
            Matching::Strings { open } => write!(f, "match strings {open}")?,
            Matching::Automatic { open } => write!(f, "match automatic {open}")?,
        }
        self.sensor.as_ref().map_or(Ok(()), |sensor| write!(f, "; sensor {sensor}"))
    }
}

/// Text that is no hearing.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected how an instrument is heard, such as \"match sounding; sensor retrigger=60000 soft=\", found {found}", found = format!("{:?}", .0)))]
pub struct HearingError(String);

impl FromStr for Hearing {
    type Err = HearingError;
    fn from_str(text: &str) -> Result<Self, HearingError> {
        let fail = || HearingError(text.to_owned());
        let (matching, sensor) = match text.split_once("; sensor ") {
            Some((matching, sensor)) => (matching, Some(sensor.parse().map_err(|_| fail())?)),
            None => (text, None),
        };
        let words: Vec<&str> = matching.split(' ').collect();
        let open = |text: &str| text.parse::<i8>().ok().filter(|open| (-7..=7).contains(open)).ok_or_else(fail);
        let matching = match words[..] {
            ["match", "sounding"] => Matching::Sounding,
            ["match", "strings", fifths] => Matching::Strings { open: open(fifths)? },
            ["match", "automatic", fifths] => Matching::Automatic { open: open(fifths)? },
            _ => return Err(fail()),
        };
        Ok(Hearing { matching, sensor })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::Velocity;
    use crate::time::Micros;

    #[test]
    fn a_string_sounds_as_the_signature_has_it() {
        let sounds =
            |matching: Matching, key, fifths| matching.sounding(MidiKey::try_new(key).unwrap(), KeySignature::new(fifths, None)).number();
        assert_eq!(sounds(Matching::Sounding, 61, 3), 61);
        let flats = Matching::Strings { open: -7 };
        assert_eq!([59, 61, 63, 64, 66, 68, 70].map(|key| sounds(flats, key, 0)), [60, 62, 64, 65, 67, 69, 71], "C flat major for C");
        assert_eq!(sounds(Matching::Strings { open: 0 }, 65, 2), 66, "F with two sharps");
        assert_eq!(sounds(Matching::Strings { open: 0 }, 61, 2), 61, "no string has that name");
    }

    #[test]
    fn a_hearing_reads_back_as_written() {
        let soft = [(48, 40), (50, 44)].map(|(key, v)| (MidiKey::try_new(key).unwrap(), Velocity(v))).into_iter().collect();
        let tuned = Sensor { soft, retrigger: Micros(75_000), ..Sensor::usual() };
        for (matching, sensor, text) in [
            (Matching::Sounding, None, "match sounding"),
            (Matching::Automatic { open: -7 }, Some(Sensor::usual()), "match automatic -7; sensor retrigger=60000 soft="),
            (Matching::Strings { open: -3 }, Some(tuned), "match strings -3; sensor retrigger=75000 soft=48:40,50:44"),
        ] {
            let hearing = Hearing { matching, sensor };
            assert_eq!(hearing.to_string(), text);
            assert_eq!(text.parse(), Ok(hearing));
        }
        for text in ["", "match", "match strings", "match strings 8", "match sounding; sensor soft=300:1", "match sounding 0"] {
            assert!(text.parse::<Hearing>().is_err(), "{text:?}");
        }
    }
}
