//! MIDI events as the rest of the program sees them, and their decoding from raw bytes.
//!
//! Only what practice needs survives: notes and controllers. Note-on with velocity 0 arrives here
//! as a note-off (MIDI 1.0). Knows no port, no file and no clock.

pub mod decode;
mod hearing;
pub mod profile;
pub mod sensor;
mod take;

pub use hearing::{Hearing, HearingError, MatchMode, Matching};
pub use take::Take;

/// A MIDI key number, `0..128`; 60 is middle C.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct MidiKey(u8);

impl MidiKey {
    pub fn try_new(key: i32) -> Option<Self> {
        (0..128).contains(&key).then_some(MidiKey(key as u8))
    }

    pub fn number(self) -> u8 {
        self.0
    }

    /// Returns the pitch class, `0..12` with C = 0.
    pub fn pitch_class(self) -> u8 {
        self.0 % 12
    }
}

/// How hard a note was struck, `1..=127` for a note-on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Velocity(pub u8);

/// A MIDI channel, `0..16`.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Channel(pub u8);

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum MidiEvent {
    NoteOn {
        channel: Channel,
        key: MidiKey,
        velocity: Velocity,
    },
    NoteOff {
        channel: Channel,
        key: MidiKey,
    },
    /// A controller moved: 64 damper, 66 sostenuto, 67 soft pedal (MIDI 1.0, table of controllers).
    Control {
        channel: Channel,
        controller: u8,
        value: u8,
    },
}

impl MidiEvent {
    /// Returns the event as the bytes of a MIDI message (MIDI 1.0, channel voice messages); a note-off has velocity 0.
    ///
    /// ```
    /// use catchword::midi::{Channel, MidiEvent, decode};
    ///
    /// let pedal = MidiEvent::Control { channel: Channel(0), controller: 64, value: 127 };
    /// assert_eq!(pedal.bytes(), [0xB0, 64, 127]);
    /// assert_eq!(decode::event(&pedal.bytes()), Some(pedal));
    /// ```
    pub fn bytes(self) -> [u8; 3] {
        match self {
            MidiEvent::NoteOn { channel, key, velocity } => [0x90 | channel.0, key.number(), velocity.0],
            MidiEvent::NoteOff { channel, key } => [0x80 | channel.0, key.number(), 0],
            MidiEvent::Control { channel, controller, value } => [0xB0 | channel.0, controller, value],
        }
    }
}
