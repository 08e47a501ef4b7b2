//! Harps as values: which strings there are, and what levers or pedals make of them.
//!
//! A string has a letter and an octave; its accidental is a matter of setting. On a pedal harp one
//! pedal moves a letter in all octaves, on a lever harp each string has a lever of its own, which
//! raises it by a semitone.

mod levers;
mod pedals;
mod strings;

pub use levers::LeverTuning;
pub use pedals::{DiagramError, Foot, PedalSetting};
pub use strings::{HarpString, StringError, Strings};
