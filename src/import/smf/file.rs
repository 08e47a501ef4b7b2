//! The bytes of a Standard MIDI File as tracks of timed events. Frames chunks itself, leaves events to `midly`.

use midly::{EventIter, MetaMessage, MidiMessage, TrackEventKind};

use crate::import::{Error, Warning};
use crate::midi::{Channel, MidiEvent, MidiKey, Velocity};

/// A file read as far as it can be.
#[derive(Debug)]
pub(super) struct File {
    pub format: u16,
    pub division: Division,
    pub tracks: Vec<Track>,
    pub warnings: Vec<Warning>,
    /// The first place where bytes were lost, if any were: a truncated chunk, an event that makes no sense.
    pub damage: Option<Error>,
}

/// What a tick is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Division {
    /// Ticks to the quarter, above zero.
    PerQuarter(u16),
    /// Ticks to the second as a fraction: SMPTE frames times ticks to the frame.
    PerSecond { ticks: u32, seconds: u32 },
}

#[derive(Debug)]
pub(super) struct Track {
    /// From 1, counting track chunks.
    pub number: usize,
    pub events: Vec<Event>,
    /// Tick of the end of track, or of the last event where that is missing.
    pub end: u64,
}

#[derive(Debug)]
pub(super) struct Event {
    /// Ticks from the start of the track.
    pub tick: u64,
    pub what: What,
}

/// The events that are used; others pass by.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum What {
    Midi(MidiEvent),
    Program {
        channel: Channel,
        program: u8,
    },
    /// Microseconds to the quarter, above zero.
    Tempo(u32),
    /// Upper number, and the lower one as a power of two.
    Meter {
        beats: u8,
        unit_power: u8,
    },
    Key {
        fifths: i8,
        is_minor: bool,
    },
    Name(String),
    Marker(String),
    /// A sequencer-specific event: the maker's number and what follows.
    Private(Vec<u8>),
}

/// Reads the chunks of a file.
///
/// # Errors
/// When there is no usable header or no track in it.
pub(super) fn read(bytes: &[u8], file_name: &str) -> Result<File, Error> {
    let broken = |byte: usize, expected: &str, found: String| Error::Broken {
        file: file_name.to_owned(),
        place: tr!("byte {n}", n = byte),
        expected: expected.to_owned(),
        found,
    };
    if !bytes.starts_with(b"MThd") {
        return Err(broken(0, &tr!("MThd, the mark of a MIDI file"), shown(bytes)));
    }
    let Some(length) = be32(bytes, 4) else {
        return Err(broken(4, &tr!("the length of the header"), tr!("the end of the file")));
    };
    if length < 6 {
        return Err(broken(4, &tr!("a header of at least 6 bytes"), format!("{length}")));
    }
    let (Some(format), Some(n_declared), Some(division)) = (be16(bytes, 8), be16(bytes, 10), be16(bytes, 12)) else {
        return Err(broken(8, &tr!("format, number of tracks and division"), tr!("the end of the file")));
    };
    if format > 2 {
        return Err(broken(8, &tr!("format 0 or 1"), tr!("format {format}", format)));
    }
    let division = read_division(division).ok_or_else(|| {
        let expected = tr!("ticks to the quarter, or SMPTE time of 24, 25, 29 or 30 frames with at least one tick to the frame");
        broken(12, &expected, format!("{division:#06x}"))
    })?;

    let mut file = File { format, division, tracks: Vec::new(), warnings: Vec::new(), damage: None };
    let mut at = 8usize.saturating_add(length as usize);
    while at < bytes.len() {
        let (Some(id), Some(length)) = (bytes.get(at..at + 4), be32(bytes, at + 4)) else {
            file.warn(&tr!("end of file"), tr!("the last {n} bytes are no MIDI data; they are left out", n = bytes.len() - at));
            break;
        };
        let body = at + 8;
        let end = body.saturating_add(length as usize).min(bytes.len());
        if id == b"MTrk" {
            let number = file.tracks.len() + 1;
            if end - body < length as usize {
                let found = tr!("the end of the file after {n}", n = end - body);
                let error = broken(body, &tr!("{length} bytes of track {number}", length, number), found);
                file.damaged(error, &tr!("track {number}", number), &tr!("the file ends before the track does; what is there is used"));
            }
            let track = read_track(&mut file, bytes, body..end, number, &broken);
            file.tracks.push(track);
        } else if !id.iter().all(|b| b.is_ascii_graphic() || *b == b' ') {
            // Chunks of other kinds are to be passed over (RP-001, "Chunks"), but this is no chunk.
            file.warn(&tr!("end of file"), tr!("from byte {at} on there is no MIDI data; it is left out", at));
            break;
        }
        at = end;
    }
    if file.tracks.is_empty() {
        return Err(file.damage.unwrap_or_else(|| broken(at.min(bytes.len()), &tr!("a track (MTrk)"), tr!("the end of the file"))));
    }
    let (n_declared, n_found) = (usize::from(n_declared), file.tracks.len());
    if n_found < n_declared {
        let error = broken(at.min(bytes.len()), &tr!("track {number} of {n}", number = n_found + 1, n = n_declared), tr!("none"));
        file.damaged(error, &tr!("header"), &tr!("{n_declared} tracks are announced, {n_found} are there", n_declared, n_found));
    } else if n_found > n_declared {
        file.warn(&tr!("header"), tr!("{n_declared} tracks are announced, {n_found} are there and used", n_declared, n_found));
    }
    Ok(file)
}

impl File {
    fn warn(&mut self, element: &str, what: String) {
        self.warnings.push(Warning { bar: None, line: None, element: element.to_owned(), what });
    }

    fn damaged(&mut self, error: Error, element: &str, consequence: &str) {
        let place = match &error {
            Error::Broken { place, .. } => format!(" ({place})"),
            _ => String::new(),
        };
        self.warn(element, format!("{consequence}{place}"));
        self.damage.get_or_insert(error);
    }
}

fn read_track(
    file: &mut File,
    bytes: &[u8],
    body: std::ops::Range<usize>,
    number: usize,
    broken: &impl Fn(usize, &str, String) -> Error,
) -> Track {
    let element = tr!("track {number}", number);
    let mut track = Track { number, events: Vec::new(), end: 0 };
    let mut from = body.start;
    let mut is_ended = false;
    'restart: while from < body.end && !is_ended {
        let mut events = EventIter::new(&bytes[from..body.end]);
        loop {
            let here = body.end - events.unread().len();
            match events.next() {
                Some(Ok(event)) => {
                    track.end += u64::from(event.delta.as_int());
                    if events.unread().is_empty() && runs_over(&bytes[here..body.end]) {
                        let error = broken(here, &tr!("a MIDI event"), shown(&bytes[here..body.end]));
                        file.damaged(error, &element, &tr!("an event is longer than the track; it is left out"));
                        break 'restart;
                    }
                    match event.kind {
                        TrackEventKind::Meta(MetaMessage::EndOfTrack) => {
                            is_ended = true;
                            break 'restart;
                        }
                        kind => track.events.extend(used(kind).map(|what| Event { tick: track.end, what })),
                    }
                }
                _ if here == body.end => break 'restart,
                // An event that midly refuses ends its iteration.
                _ => {
                    let error = broken(here, &tr!("a MIDI event"), shown(&bytes[here..body.end]));
                    match frame(&bytes[here..body.end]).filter(|&(_, length)| length <= body.end - here) {
                        Some((delta, length)) => {
                            file.damaged(error, &element, &tr!("an event that makes no sense is left out"));
                            track.end += delta;
                            from = here + length;
                            continue 'restart;
                        }
                        None => {
                            file.damaged(error, &element, &tr!("an event that makes no sense; the rest of the track is left out"));
                            break 'restart;
                        }
                    }
                }
            }
        }
    }
    if !is_ended && file.damage.is_none() {
        file.warn(&element, tr!("no end of track; it ends with its last event"));
    }
    track
}

/// Reads the frame of a meta or system exclusive event, which tells its own length: its delta time, and its bytes in all, which may be more than are there.
fn frame(bytes: &[u8]) -> Option<(u64, usize)> {
    let (delta, at) = variable_length(bytes, 0)?;
    let (length, at) = match bytes.get(at)? {
        0xFF => variable_length(bytes, at + 2)?,
        0xF0 | 0xF7 => variable_length(bytes, at + 1)?,
        _ => return None,
    };
    Some((u64::from(delta), at.saturating_add(length as usize)))
}

/// Tells whether an event claims more bytes than there are, which midly lets pass.
fn runs_over(bytes: &[u8]) -> bool {
    frame(bytes).is_some_and(|(_, length)| length > bytes.len())
}

/// Reads a variable-length quantity of at most four bytes; returns it and the place after it.
fn variable_length(bytes: &[u8], mut at: usize) -> Option<(u32, usize)> {
    let mut value = 0;
    for _ in 0..4 {
        let byte = *bytes.get(at)?;
        at += 1;
        value = value << 7 | u32::from(byte & 0x7F);
        if byte < 0x80 {
            return Some((value, at));
        }
    }
    None
}

/// Reads the division word; returns nothing for one that no clock can follow.
///
/// Done here because midly 0.5.3 negates the SMPTE byte, which overflows for 0x80.
fn read_division(word: u16) -> Option<Division> {
    let [high, low] = word.to_be_bytes();
    if high < 0x80 {
        return (word > 0).then_some(Division::PerQuarter(word));
    }
    let ticks = u32::from(low);
    // 29 stands for 29.97 frames a second, 30 drop frame (RP-001, "Header chunks").
    let (frames, seconds) = match high.wrapping_neg() {
        24 => (24, 1),
        25 => (25, 1),
        29 => (30_000, 1_001),
        30 => (30, 1),
        _ => return None,
    };
    (ticks > 0).then_some(Division::PerSecond { ticks: frames * ticks, seconds })
}

fn used(kind: TrackEventKind) -> Option<What> {
    match kind {
        TrackEventKind::Midi { channel, message } => {
            let channel = Channel(channel.as_int());
            let key = |k: midly::num::u7| MidiKey::try_new(i32::from(k.as_int()));
            match message {
                MidiMessage::NoteOn { key: k, vel } if vel > 0 => {
                    Some(What::Midi(MidiEvent::NoteOn { channel, key: key(k)?, velocity: Velocity(vel.as_int()) }))
                }
                MidiMessage::NoteOn { key: k, .. } | MidiMessage::NoteOff { key: k, .. } => {
                    Some(What::Midi(MidiEvent::NoteOff { channel, key: key(k)? }))
                }
                MidiMessage::Controller { controller, value } => {
                    Some(What::Midi(MidiEvent::Control { channel, controller: controller.as_int(), value: value.as_int() }))
                }
                MidiMessage::ProgramChange { program } => Some(What::Program { channel, program: program.as_int() }),
                _ => None,
            }
        }
        TrackEventKind::Meta(meta) => match meta {
            MetaMessage::Tempo(micros) => (micros > 0).then_some(What::Tempo(micros.as_int())),
            MetaMessage::TimeSignature(beats, unit_power, ..) => Some(What::Meter { beats, unit_power }),
            MetaMessage::KeySignature(fifths, is_minor) => Some(What::Key { fifths, is_minor }),
            MetaMessage::TrackName(text) => Some(What::Name(words(text)?)),
            MetaMessage::Marker(text) => Some(What::Marker(words(text)?)),
            MetaMessage::SequencerSpecific(data) => Some(What::Private(data.to_vec())),
            _ => None,
        },
        TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => None,
    }
}

/// Returns a text event's words: UTF-8, or Latin-1 where that does not read; without control characters; nothing when empty.
fn words(bytes: &[u8]) -> Option<String> {
    const LONGEST: usize = 200;
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&b| char::from(b)).collect(),
    };
    let text: String = text.chars().filter(|c| !c.is_control()).take(LONGEST).collect();
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// Shows the first bytes of what was found.
fn shown(bytes: &[u8]) -> String {
    if bytes.is_empty() {
        return tr!("the end of the file");
    }
    let hex: Vec<String> = bytes.iter().take(6).map(|b| format!("{b:02x}")).collect();
    tr!("bytes {hex}", hex = hex.join(" ") + if bytes.len() > 6 { " .." } else { "" })
}

fn be16(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_be_bytes(bytes.get(at..at.checked_add(2)?)?.try_into().ok()?))
}

fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn variable_length_quantities_read_as_the_specification_lists_them() {
        // The table under "Conventions" in the Standard MIDI Files 1.0 specification.
        let rows: [(&[u8], u32); 12] = [
            (&[0x00], 0x00000000),
            (&[0x40], 0x00000040),
            (&[0x7F], 0x0000007F),
            (&[0x81, 0x00], 0x00000080),
            (&[0xC0, 0x00], 0x00002000),
            (&[0xFF, 0x7F], 0x00003FFF),
            (&[0x81, 0x80, 0x00], 0x00004000),
            (&[0xC0, 0x80, 0x00], 0x00100000),
            (&[0xFF, 0xFF, 0x7F], 0x001FFFFF),
            (&[0x81, 0x80, 0x80, 0x00], 0x00200000),
            (&[0xC0, 0x80, 0x80, 0x00], 0x08000000),
            (&[0xFF, 0xFF, 0xFF, 0x7F], 0x0FFFFFFF),
        ];
        for (bytes, value) in rows {
            assert_eq!(variable_length(bytes, 0), Some((value, bytes.len())));
            // The same through a whole track: the end of track comes at that tick.
            let mut file = b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk".to_vec();
            file.extend((bytes.len() as u32 + 3).to_be_bytes());
            file.extend(bytes);
            file.extend([0xFF, 0x2F, 0x00]);
            assert_eq!(read(&file, "t.mid").unwrap().tracks[0].end, u64::from(value));
        }
    }

    #[test]
    fn divisions_are_quarters_or_frames() {
        // Frame rates of "Header chunks": -24, -25, -29 (30 drop frame) and -30, e.g. 0xE728 = 25 frames of 40 ticks: milliseconds.
        assert_eq!(read_division(96), Some(Division::PerQuarter(96)));
        assert_eq!(read_division(0xE728), Some(Division::PerSecond { ticks: 1000, seconds: 1 }));
        assert_eq!(read_division(0xE350), Some(Division::PerSecond { ticks: 30_000 * 80, seconds: 1_001 }));
        assert_eq!(read_division(0), None);
        assert_eq!(read_division(0xE700), None);
        assert_eq!(read_division(0x8028), None, "the byte that midly cannot negate");
        assert_eq!(read_division(0xE628), None, "26 frames");
    }
}
