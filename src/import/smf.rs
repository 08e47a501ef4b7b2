//! Standard MIDI Files: scores in, recorded takes in and out.
//!
//! [`read`] lays a file out as a [`Score`](crate::score::Score), [`read_take`] and [`write_take`] keep what was played. Ticks,
//! chunks and tracks stay inside. Follows the Standard MIDI Files 1.0 specification (RP-001);
//! what that leaves open (hands, pickups, parts) is guessed and said in a warning.

mod file;
mod take;

pub use take::{read_take, write_take};
