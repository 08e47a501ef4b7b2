//! Recorded takes as Standard MIDI Files.

use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

use super::file::{self, Division, Event, File, What};
use crate::import::Error;
use crate::midi::{Hearing, MidiEvent, Take};
use crate::time::{Micros, Stamped};

/// Quarters last one second and have this many ticks, so that a tick is 100 microseconds.
const TICKS_PER_QUARTER: u16 = 10_000;
const MICROS_PER_QUARTER: u32 = 1_000_000;
const MICROS_PER_TICK: i64 = MICROS_PER_QUARTER as i64 / TICKS_PER_QUARTER as i64;

/// First bytes of the sequencer-specific event that carries what ticks cannot: the maker's number for
/// non-commercial use (MIDI 1.0, 7D), then our mark.
const REMAINDERS: &[u8] = b"\x7Dcatchword take microseconds\0";
/// The same of the event that says how the take was heard.
const HEARING: &[u8] = b"\x7Dcatchword take heard\0";

/// The longest delta time a file can hold.
const DELTA_MAX: u64 = 0x0FFF_FFFF;

/// Writes a take as a format 0 file.
///
/// Any other program reads it at a tick of 100 microseconds (60 quarters a minute). A tick of one microsecond would
/// need a tempo that other programs refuse, so the microseconds past the tick stand in a sequencer-specific event at
/// the start, a byte for each event; with it [`read_take`] gives back every stamp exactly. Lost are
/// only stamps below zero, which become zero. A second such event says how it was heard, where there is something to say.
pub fn write_take(take: &Take) -> Vec<u8> {
    let stamps: Vec<i64> = take.events().iter().map(|e| e.at.0.max(0)).collect();
    let mut remainders = REMAINDERS.to_vec();
    remainders.extend(stamps.iter().map(|at| (at % MICROS_PER_TICK) as u8));

    let meta = |message| TrackEvent { delta: u28::new(0), kind: TrackEventKind::Meta(message) };
    let mut track = vec![meta(MetaMessage::Tempo(u24::new(MICROS_PER_QUARTER))), meta(MetaMessage::SequencerSpecific(&remainders))];
    let heard = [HEARING, take.hearing().to_string().as_bytes()].concat();
    if !take.hearing().is_plain() {
        track.push(meta(MetaMessage::SequencerSpecific(&heard)));
    }
    let mut last = 0;
    for (event, at) in take.events().iter().zip(stamps) {
        let tick = (at / MICROS_PER_TICK) as u64;
        let mut delta = tick - last;
        last = tick;
        // A silence of more than seven hours does not fit one delta time.
        while delta > DELTA_MAX {
            track.push(TrackEvent { delta: u28::new(DELTA_MAX as u32), kind: TrackEventKind::Meta(MetaMessage::Text(b"")) });
            delta -= DELTA_MAX;
        }
        track.push(TrackEvent { delta: u28::new(delta as u32), kind: message(event.what) });
    }
    track.push(meta(MetaMessage::EndOfTrack));

    let header = Header::new(Format::SingleTrack, Timing::Metrical(u15::new(TICKS_PER_QUARTER)));
    let mut bytes = Vec::new();
    Smf { header, tracks: vec![track] }
        .write_std(&mut bytes)
        .expect("writing to memory fails only for events of 256 MB, which no take has");
    bytes
}

fn message(event: MidiEvent) -> TrackEventKind<'static> {
    // Release velocity is not kept by the program; 64 is the value for instruments that do not sense it (MIDI 1.0, "Note off").
    let (channel, message) = match event {
        MidiEvent::NoteOn { channel, key, velocity } => {
            (channel, MidiMessage::NoteOn { key: key.number().into(), vel: u7::new(velocity.0.clamp(1, 127)) })
        }
        MidiEvent::NoteOff { channel, key } => (channel, MidiMessage::NoteOff { key: key.number().into(), vel: u7::new(64) }),
        MidiEvent::Control { channel, controller, value } => {
            (channel, MidiMessage::Controller { controller: u7::from(controller), value: u7::from(value) })
        }
    };
    TrackEventKind::Midi { channel: u4::from(channel.0), message }
}

/// Reads a recording: every note and controller of all tracks and channels, by the file's own clock.
///
/// Files that [`write_take`] made come back exactly; others to the nearest microsecond.
///
/// # Errors
/// When the bytes are not a MIDI file or part of it is lost: a take with a hole would be judged wrongly.
pub fn read_take(bytes: &[u8], file_name: &str) -> Result<Take, Error> {
    let file = file::read(bytes, file_name)?;
    if let Some(damage) = file.damage {
        return Err(damage);
    }
    let clock = Clock::new(&file);
    let mut events: Vec<&Event> = file.tracks.iter().flat_map(|t| &t.events).collect();
    events.sort_by_key(|e| e.tick);
    let mut past_ticks: &[u8] = &[];
    let mut hearing = Hearing::default();
    let mut played: Vec<Stamped<MidiEvent>> = Vec::new();
    for event in events {
        match &event.what {
            What::Midi(what) => played.push(Stamped { at: clock.at(event.tick), what: *what }),
            What::Private(data) => {
                past_ticks = data.strip_prefix(REMAINDERS).unwrap_or(past_ticks);
                // Words of a newer program are passed over: the notes are there.
                let words = data.strip_prefix(HEARING).and_then(|words| std::str::from_utf8(words).ok());
                hearing = words.and_then(|words| words.parse().ok()).unwrap_or(hearing);
            }
            _ => {}
        }
    }
    // Where another program changed the notes the bytes belong to nothing any more; the ticks still hold.
    if past_ticks.len() == played.len() {
        for (event, &past) in played.iter_mut().zip(past_ticks) {
            event.at += Micros(i64::from(past));
        }
    }
    Ok(played.into_iter().collect::<Take>().heard(hearing))
}

/// The file's clock: ticks to microseconds, exact until the last step.
struct Clock {
    /// Where each tempo begins: tick, microseconds times `divisor` there, microseconds times `divisor` for a tick.
    tempos: Vec<(u64, i128, i128)>,
    divisor: i128,
}

impl Clock {
    /// Without a tempo event a quarter lasts half a second (RP-001, "Set tempo").
    fn new(file: &File) -> Self {
        let per_quarter = match file.division {
            Division::PerQuarter(n) => n,
            Division::PerSecond { ticks, seconds } => {
                return Clock { tempos: vec![(0, 0, 1_000_000 * i128::from(seconds))], divisor: i128::from(ticks) };
            }
        };
        let of_event = |e: &Event| match e.what {
            What::Tempo(micros) => Some((e.tick, i128::from(micros))),
            _ => None,
        };
        let mut changes: Vec<(u64, i128)> = file.tracks.iter().flat_map(|t| &t.events).filter_map(of_event).collect();
        changes.sort_by_key(|c| c.0);
        let mut tempos = vec![(0, 0, 500_000)];
        for (tick, speed) in changes {
            let &(since, start, old) = tempos.last().expect("one is there from the beginning");
            tempos.push((tick, start + i128::from(tick - since) * old, speed));
        }
        Clock { tempos, divisor: i128::from(per_quarter) }
    }

    fn at(&self, tick: u64) -> Micros {
        let i = self.tempos.partition_point(|t| t.0 <= tick) - 1;
        let (since, start, speed) = self.tempos[i];
        let scaled = start + i128::from(tick - since) * speed;
        let micros = (2 * scaled + self.divisor).div_euclid(2 * self.divisor);
        Micros(i64::try_from(micros).unwrap_or(i64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::midi::{Channel, MidiKey, Velocity};

    const CHANNEL: Channel = Channel(0);

    fn any_event() -> impl Strategy<Value = MidiEvent> {
        let key = (0..128i32).prop_map(|k| MidiKey::try_new(k).unwrap());
        let channel = (0..16u8).prop_map(Channel);
        prop_oneof![
            (channel.clone(), key.clone(), 1..128u8).prop_map(|(channel, key, v)| MidiEvent::NoteOn {
                channel,
                key,
                velocity: Velocity(v)
            }),
            (channel.clone(), key).prop_map(|(channel, key)| MidiEvent::NoteOff { channel, key }),
            (channel, 0..128u8, 0..128u8).prop_map(|(channel, controller, value)| MidiEvent::Control { channel, controller, value }),
        ]
    }

    proptest! {
        #[test]
        fn take_comes_back_exactly_as_it_was_written(
            gaps in prop::collection::vec((0..100_000_000_000i64, any_event()), 0..40),
            small in any::<bool>(),
            heard in prop::sample::select(vec!["match sounding", "match automatic -7; sensor retrigger=80000 soft=47:30,62:9"]),
        ) {
            let mut at = 0;
            let mut take = Take::default();
            for (gap, what) in gaps {
                at += if small { gap % 1_000 } else { gap };
                take.push(Stamped { at: Micros(at), what });
            }
            let take = take.heard(heard.parse::<Hearing>().unwrap());
            prop_assert_eq!(read_take(&write_take(&take), "take.mid").unwrap(), take);
        }

        #[test]
        fn other_programs_read_the_stamps_to_a_tick(at in 0..10_000_000_000i64) {
            let what = MidiEvent::NoteOn { channel: CHANNEL, key: MidiKey::try_new(60).unwrap(), velocity: Velocity(64) };
            let take: Take = [Stamped { at: Micros(at), what }].into_iter().collect();
            let mut bytes = write_take(&take);
            // Without our own event, as if another program had dropped it.
            let mark = bytes.windows(REMAINDERS.len()).position(|w| w == REMAINDERS).unwrap();
            bytes[mark + 1] = b'x';
            let read = read_take(&bytes, "take.mid").unwrap();
            prop_assert!((0..MICROS_PER_TICK).contains(&(at - read.events()[0].at.0)));
        }
    }

    #[test]
    fn tempo_map_turns_ticks_into_microseconds() {
        // Two quarters at 120 a minute, then at 60; 96 ticks to the quarter. By hand: 0.5 s, 1 s, then 1 s a quarter.
        let mut bytes = b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk\0\0\0\x1f".to_vec();
        bytes.extend([0x00, 0x90, 60, 64, 0x60, 62, 64, 0x60, 0xFF, 0x51, 0x03, 0x0F, 0x42, 0x40]);
        bytes.extend([0x60, 0x90, 64, 64, 0x01, 65, 64, 0x00, 60, 0, 0x00, 62, 0]);
        bytes.extend([0x00, 0xFF, 0x2F, 0x00]);
        let take = read_take(&bytes, "t.mid").unwrap();
        let times: Vec<i64> = take.events().iter().map(|e| e.at.0).collect();
        assert_eq!(times, [0, 500_000, 2_000_000, 2_010_417, 2_010_417, 2_010_417]);
        assert!(matches!(take.events()[4].what, MidiEvent::NoteOff { .. }), "velocity 0 is a note-off");
    }

    #[test]
    fn smpte_division_counts_frames() {
        // 25 frames of 40 ticks: a tick is a millisecond, whatever the tempo says.
        let mut bytes = b"MThd\0\0\0\x06\0\0\0\x01\xE7\x28MTrk\0\0\0\x0d".to_vec();
        bytes.extend([0x00, 0x90, 60, 64, 0x87, 0x68, 0x90, 62, 64, 0x00, 0xFF, 0x2F, 0x00]);
        let take = read_take(&bytes, "t.mid").unwrap();
        assert_eq!(take.events()[1].at, Micros(1_000_000));
    }

    #[test]
    fn recording_with_a_hole_is_refused_and_says_where() {
        let take: Take = (0..10)
            .map(|i| Stamped { at: Micros(i * 1000), what: MidiEvent::Control { channel: CHANNEL, controller: 64, value: 1 } })
            .collect();
        let whole = write_take(&take);
        let error = read_take(&whole[..whole.len() - 9], "take.mid").unwrap_err().to_string();
        assert!(error.starts_with("take.mid: byte 22: expected") && error.contains("end of the file"), "{error}");
    }
}
