//! Metres: what the time signature says, and what a beat is worth.

use std::fmt;
use std::str::FromStr;

use crate::time::ScoreTime;

/// A time signature `beats / unit`. Composite signatures (3+2/8) are kept as their sum.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Meter {
    pub beats: u16,
    /// The note value of one counted beat: 4 = quarter, 8 = eighth.
    pub unit: u16,
}

impl Meter {
    pub const COMMON: Meter = Meter { beats: 4, unit: 4 };

    /// Returns the metre, or `None` for zero beats or a zero unit.
    pub fn try_new(beats: u16, unit: u16) -> Option<Self> {
        (beats > 0 && unit > 0).then_some(Meter { beats, unit })
    }

    /// Returns the length of a whole bar.
    pub fn bar_length(self) -> ScoreTime {
        ScoreTime::new(4 * self.beats as i64, self.unit as i64)
    }

    /// Returns the length of one counted beat: the lower number's note value, also in compound metres.
    pub fn beat_length(self) -> ScoreTime {
        ScoreTime::new(4, self.unit as i64)
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.beats, self.unit)
    }
}

/// Text that is not a metre such as `3/4`.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected a metre such as 3/4 or 6/8, found {found}", found = format!("{:?}", .0)))]
pub struct MeterError(String);

/// Reads `beats/unit`, with 1 to 64 beats of a note value down to a 64th.
impl FromStr for Meter {
    type Err = MeterError;
    fn from_str(text: &str) -> Result<Self, MeterError> {
        let read = || {
            let (beats, unit) = text.split_once('/')?;
            let beats = beats.trim().parse().ok().filter(|n| (1..=64).contains(n))?;
            let unit: u16 = unit.trim().parse().ok().filter(|&n: &u16| n <= 64 && n.is_power_of_two())?;
            Meter::try_new(beats, unit)
        };
        read().ok_or_else(|| MeterError(text.to_owned()))
    }
}
