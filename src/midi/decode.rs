//! Decoding of raw MIDI bytes into events.
