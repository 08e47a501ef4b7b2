//! Note-ons and note-offs paired to notes.

use std::collections::{HashMap, VecDeque};

use super::file::{Event, File, What};
use super::warning;
use crate::import::Warning;
use crate::midi::{Channel, MidiEvent, MidiKey, Velocity};

/// One note of the file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Struck {
    /// Index in [`File::tracks`].
    pub track: usize,
    pub channel: Channel,
    pub key: MidiKey,
    pub velocity: Velocity,
    /// Ticks; `off` is not before `on`.
    pub on: u64,
    pub off: u64,
}

/// Pairs note-ons with note-offs, in each track and channel the earliest open note of a key first.
///
/// Sorted by onset, then as the file has them. A note that nothing ends lasts to the end of its
/// track. The percussion channel of General MIDI is left out where there is another.
pub(super) fn collect(file: &File, warnings: &mut Vec<Warning>) -> Vec<Struck> {
    let mut notes: Vec<Struck> = Vec::new();
    for (track, source) in file.tracks.iter().enumerate() {
        let first = notes.len();
        let (mut n_overlaps, mut n_stray) = (0u32, 0u32);
        let mut open: HashMap<(u8, MidiKey), VecDeque<usize>> = HashMap::new();
        for Event { tick, what } in &source.events {
            match *what {
                What::Midi(MidiEvent::NoteOn { channel, key, velocity }) => {
                    let waiting = open.entry((channel.0, key)).or_default();
                    n_overlaps += u32::from(!waiting.is_empty());
                    waiting.push_back(notes.len());
                    notes.push(Struck { track, channel, key, velocity, on: *tick, off: *tick });
                }
                What::Midi(MidiEvent::NoteOff { channel, key }) => match open.get_mut(&(channel.0, key)).and_then(VecDeque::pop_front) {
                    Some(note) => notes[note].off = *tick,
                    None => n_stray += 1,
                },
                _ => {}
            }
        }
        let unclosed: Vec<usize> = open.into_values().flatten().collect();
        for &note in &unclosed {
            notes[note].off = source.end;
        }
        let n_empty = notes[first..].iter().filter(|n| n.off == n.on).count();
        let element = tr!("track {number}", number = source.number);
        let mut say = |n: usize, words: String| {
            if n > 0 {
                warnings.push(warning(&element, words));
            }
        };
        let n = unclosed.len();
        say(
            n,
            tr!("1 note is never ended; it lasts to the end of the track"
                | "{n} notes are never ended; they last to the end of the track" % n),
        );
        let n = n_empty;
        say(
            n,
            tr!("1 note has no length; it is taken as a thirty-second" | "{n} notes have no length; they are taken as thirty-seconds" % n),
        );
        let n = n_overlaps as usize;
        say(
            n,
            tr!("1 note begins while the same key still sounds; the first end is given to the earlier one"
                | "{n} notes begin while the same key still sounds; the first end is given to the earlier one" % n),
        );
        let n = n_stray as usize;
        say(n, tr!("1 note-off ends no note; it is left out" | "{n} note-offs end no note; they are left out" % n));
    }
    leave_out_percussion(&mut notes, warnings);
    notes.sort_by_key(|n| n.on);
    notes
}

/// Channel 10, counted from 1, is percussion (General MIDI level 1): its keys are instruments, not pitches.
const PERCUSSION: Channel = Channel(9);

fn leave_out_percussion(notes: &mut Vec<Struck>, warnings: &mut Vec<Warning>) {
    let n_percussion = notes.iter().filter(|n| n.channel == PERCUSSION).count();
    if n_percussion > 0 && n_percussion < notes.len() {
        notes.retain(|n| n.channel != PERCUSSION);
        warnings.push(warning(&tr!("channel 10"), tr!("{n} notes are percussion by General MIDI; they are left out", n = n_percussion)));
    }
}
