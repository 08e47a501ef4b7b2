//! Harps as values: which strings there are, and what levers or pedals make of them.
//!
//! A string has a letter and an octave; its accidental is a matter of setting. On a pedal harp one
//! pedal moves a letter in all octaves, on a lever harp each string has a lever of its own, which
//! raises it by a semitone.

mod levers;
mod pedals;
mod rolling;
mod strings;

pub use levers::{LeverTuning, spoken};
pub use pedals::{DiagramError, Foot, PedalSetting};
pub use rolling::Rolling;
pub use strings::{HarpString, StringError, Strings};

use crate::theory::{KeySignature, Letter};

/// One harp: its strings and what sets them.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Harp {
    pub strings: Strings,
    pub mechanism: Mechanism,
}

/// What sets the strings.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Mechanism {
    /// Pedals; the strings that they do not reach, sorted, are tuned beforehand, once for the piece.
    Pedals {
        unmoved: Vec<HarpString>,
    },
    Levers(LeverTuning),
}

impl Harp {
    /// Returns the concert harp of 47 strings; pedals do not reach C1, D1 and G7 (common practice).
    pub fn concert() -> Harp {
        let unmoved = [(Letter::C, 1), (Letter::D, 1), (Letter::G, 7)].map(|(letter, octave)| HarpString::new(letter, octave)).to_vec();
        Harp { strings: Strings::CONCERT, mechanism: Mechanism::Pedals { unmoved } }
    }

    /// Returns a lever harp of 36 strings from C2 to C7, tuned in E flat (common practice; makers differ).
    pub fn lever() -> Harp {
        Harp { strings: Strings::LEVER, mechanism: Mechanism::Levers(LeverTuning::e_flat()) }
    }

    /// Returns the signature that the strings give with all levers down, or with all pedals up: that of C flat major.
    pub fn open(&self) -> KeySignature {
        match &self.mechanism {
            Mechanism::Pedals { .. } => KeySignature::new(-7, None),
            Mechanism::Levers(tuning) => tuning.open,
        }
    }

    /// Tells whether a string can be given this accidental at all.
    pub fn reaches(&self, string: HarpString, alter: i8) -> bool {
        match &self.mechanism {
            Mechanism::Pedals { .. } => (-1..=1).contains(&alter),
            Mechanism::Levers(tuning) => tuning.reaches(string, alter),
        }
    }
}
