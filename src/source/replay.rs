//! A recorded take: read from a file, and played again in real time or as fast as it is taken.

use std::fmt::Write as _;
use std::thread;

use crossbeam_channel::{Receiver, Sender, bounded, select};
use serde::Deserialize;

use super::{Error, Running, Signal, Source};
use crate::clock::SessionClock;
use crate::import::{self, smf};
use crate::midi::{Channel, Hearing, MidiEvent, MidiKey, Take, Velocity};
use crate::time::{Micros, Stamped};

/// How fast a take is played again.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Pace {
    /// As it was played, its first event at once; stamped with the session's clock.
    RealTime,
    /// As fast as the receiver takes it, with the take's own stamps.
    Fast,
}

/// A source that plays a take and then ends.
pub struct Replay {
    name: String,
    take: Take,
    pace: Pace,
}

impl Replay {
    pub fn new(name: impl Into<String>, take: Take, pace: Pace) -> Self {
        Replay { name: name.into(), take, pace }
    }
}

impl Source for Replay {
    fn name(&self) -> String {
        self.name.clone()
    }

    fn start(self: Box<Self>, clock: SessionClock, out: Sender<Signal>) -> Result<Running, Error> {
        let (stop, stopped) = bounded::<()>(0);
        let thread = thread::spawn(move || play(&self.take, self.pace, clock, &out, &stopped));
        Ok(Running::new(move || {
            drop(stop);
            // The thread holds nothing that could be lost; a panic in it has been reported by then.
            let _ = thread.join();
        }))
    }
}

fn play(take: &Take, pace: Pace, clock: SessionClock, out: &Sender<Signal>, stopped: &Receiver<()>) {
    let shift = match (pace, take.events().first()) {
        (Pace::RealTime, Some(first)) => clock.now() - first.at,
        _ => Micros::ZERO,
    };
    let events = take.events().iter().map(|e| Signal::Midi(Stamped { at: e.at + shift, what: e.what }));
    for signal in events.chain([Signal::Ended]) {
        if let (Pace::RealTime, Signal::Midi(event)) = (pace, &signal)
            && stopped.recv_deadline(clock.instant(event.at)) != Err(crossbeam_channel::RecvTimeoutError::Timeout)
        {
            return;
        }
        select! {
            send(out, signal) -> sent => if sent.is_err() { return },
            recv(stopped) -> _ => return,
        }
    }
}

/// Reads a take from a file's bytes: a Standard MIDI File, or JSON lines (see [`read_take_lines`]).
///
/// # Errors
/// When the bytes are neither, or part of the recording is lost.
pub fn read_take(bytes: &[u8], file_name: &str) -> Result<Take, import::Error> {
    if bytes.starts_with(b"MThd") {
        return smf::read_take(bytes, file_name);
    }
    let text = std::str::from_utf8(bytes).map_err(|error| import::Error::Broken {
        file: file_name.to_owned(),
        place: tr!("byte {n}", n = error.valid_up_to()),
        expected: tr!("a take: a MIDI file (.mid), or JSON lines such as {\"t\":1.5,\"pitch\":60,\"velocity\":64}"),
        found: tr!("bytes that are neither"),
    })?;
    read_take_lines(text, file_name)
}

/// One line of a take as written. Times are seconds from the start of the take.
#[derive(Deserialize)]
struct Line {
    t: f64,
    pitch: Option<i64>,
    velocity: Option<i64>,
    /// The note ends here.
    #[serde(default)]
    off: bool,
    /// The note ends this many seconds later.
    duration: Option<f64>,
    control: Option<i64>,
    value: Option<i64>,
    /// From 1 to 16; 1 when not given.
    channel: Option<i64>,
}

/// The line that says how the take was heard.
#[derive(Deserialize)]
struct HeardLine {
    heard: String,
}

/// Reads a take from JSON lines, one object a line; empty lines pass.
///
/// A note is `{"t":seconds,"pitch":0..127,"velocity":1..127}`, with `"duration":seconds` where its end is known; an
/// end alone is `{"t":..,"pitch":..,"off":true}`, a controller `{"t":..,"control":0..127,"value":0..127}`; each may have
/// `"channel":1..16`. How the take was heard may stand in a line of its own, `{"heard":"match strings -3"}`. Other fields are
/// passed over. Lines need not be in order of time.
///
/// # Errors
/// At the first line that is none of these.
pub fn read_take_lines(text: &str, file_name: &str) -> Result<Take, import::Error> {
    // Ends computed from a duration come before what else happens then, so that a note struck again is not ended at once.
    let mut events: Vec<(Micros, bool, MidiEvent)> = Vec::new();
    let mut hearing = Hearing::default();
    for (n, text) in text.lines().enumerate() {
        let text = text.trim_start_matches('\u{feff}').trim();
        if text.is_empty() {
            continue;
        }
        let broken = |expected: &str, found: String| import::Error::Broken {
            file: file_name.to_owned(),
            place: tr!("line {line}", line = n + 1),
            expected: expected.to_owned(),
            found,
        };
        if let Ok(line) = serde_json::from_str::<HeardLine>(text) {
            let read = line.heard.parse();
            hearing = read.map_err(|_| broken(&tr!("how the take was heard, such as {\"heard\":\"match strings -3\"}"), line.heard))?;
            continue;
        }
        let line: Line = serde_json::from_str(text).map_err(|error| {
            // Rows and columns of the one line say no more than its number does.
            let why = error.to_string();
            let why = why.split(" at line ").next().unwrap_or_default();
            broken(&tr!("a note such as {\"t\":1.5,\"pitch\":60,\"velocity\":64}"), format!("{} ({why})", beginning(text)))
        })?;
        let within = |value: i64, range: std::ops::RangeInclusive<i64>, what: &str| {
            let fail = || broken(&tr!("{what} from {least} to {most}", what, least = range.start(), most = range.end()), value.to_string());
            range.contains(&value).then_some(value as u8).ok_or_else(fail)
        };
        // A hundred days: longer than any take, short enough for exact microseconds.
        const SECONDS_MAX: f64 = 8_640_000.0;
        let time = |seconds: f64, what: &str| {
            let fail = || broken(&tr!("{what} in seconds, from 0 to {most}", what, most = SECONDS_MAX), seconds.to_string());
            (0.0..=SECONDS_MAX).contains(&seconds).then(|| Micros::from_secs_f64(seconds)).ok_or_else(fail)
        };
        let at = time(line.t, "t")?;
        let channel = Channel(within(line.channel.unwrap_or(1), 1..=16, "channel")? - 1);
        if let Some(pitch) = line.pitch {
            let pitch = within(pitch, 0..=127, "pitch")?;
            let key = MidiKey::try_new(i32::from(pitch)).expect("the range is that of MIDI keys");
            if line.off {
                events.push((at, true, MidiEvent::NoteOff { channel, key }));
                continue;
            }
            let velocity = line.velocity.ok_or_else(|| broken(&tr!("velocity from 0 to 127 beside pitch"), tr!("none")))?;
            match within(velocity, 0..=127, "velocity")? {
                0 => events.push((at, true, MidiEvent::NoteOff { channel, key })),
                velocity => events.push((at, true, MidiEvent::NoteOn { channel, key, velocity: Velocity(velocity) })),
            }
            if let Some(duration) = line.duration {
                events.push((at + time(duration, "duration")?, false, MidiEvent::NoteOff { channel, key }));
            }
        } else if let Some(control) = line.control {
            let controller = within(control, 0..=127, "control")?;
            let value = line.value.ok_or_else(|| broken(&tr!("value from 0 to 127 beside control"), tr!("none")))?;
            events.push((at, true, MidiEvent::Control { channel, controller, value: within(value, 0..=127, "value")? }));
        } else {
            return Err(broken(&tr!("pitch or control"), beginning(text)));
        }
    }
    events.sort_by_key(|&(at, is_written, _)| (at, is_written));
    let take: Take = events.into_iter().map(|(at, _, what)| Stamped { at, what }).collect();
    Ok(take.heard(hearing))
}

fn beginning(text: &str) -> String {
    match text.char_indices().nth(60) {
        Some((end, _)) => format!("{} ..", &text[..end]),
        None => text.to_owned(),
    }
}

/// Writes a take as JSON lines that [`read_take_lines`] reads back exactly.
pub fn write_take_lines(take: &Take) -> String {
    let mut out = String::new();
    if !take.hearing().is_plain() {
        writeln!(out, "{{\"heard\":\"{}\"}}", take.hearing()).expect("text can always be added to");
    }
    for event in take.events() {
        let (seconds, micros) = (event.at.0.max(0) / 1_000_000, event.at.0.max(0) % 1_000_000);
        let (channel, rest) = match event.what {
            MidiEvent::NoteOn { channel, key, velocity } => (channel, format!("\"pitch\":{},\"velocity\":{}", key.number(), velocity.0)),
            MidiEvent::NoteOff { channel, key } => (channel, format!("\"pitch\":{},\"off\":true", key.number())),
            MidiEvent::Control { channel, controller, value } => (channel, format!("\"control\":{controller},\"value\":{value}")),
        };
        let channel = if channel.0 == 0 { String::new() } else { format!(",\"channel\":{}", channel.0 + 1) };
        writeln!(out, "{{\"t\":{seconds}.{micros:06},{rest}{channel}}}").expect("text can always be added to");
    }
    out
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn key(k: u8) -> MidiKey {
        MidiKey::try_new(i32::from(k)).unwrap()
    }

    #[test]
    fn lines_are_notes_ends_and_controllers() {
        let text = "{\"t\": 0.5, \"pitch\": 60, \"velocity\": 70, \"duration\": 0.25, \"finger\": 1}\n\n\
                    {\"t\":0.75,\"pitch\":60,\"velocity\":71}\n{\"t\":1,\"pitch\":60,\"off\":true}\n{\"t\":0.1,\"control\":67,\"value\":127,\"channel\":2}\n\
                    {\"t\":2,\"pitch\":62,\"velocity\":0}";
        let channel = Channel(0);
        let expected = [
            (100_000, MidiEvent::Control { channel: Channel(1), controller: 67, value: 127 }),
            (500_000, MidiEvent::NoteOn { channel, key: key(60), velocity: Velocity(70) }),
            (750_000, MidiEvent::NoteOff { channel, key: key(60) }),
            (750_000, MidiEvent::NoteOn { channel, key: key(60), velocity: Velocity(71) }),
            (1_000_000, MidiEvent::NoteOff { channel, key: key(60) }),
            (2_000_000, MidiEvent::NoteOff { channel, key: key(62) }),
        ];
        let take: Take = expected.into_iter().map(|(at, what)| Stamped { at: Micros(at), what }).collect();
        assert_eq!(read_take(text.as_bytes(), "take.jsonl").unwrap(), take);
    }

    #[test]
    fn broken_line_is_named_with_what_was_expected() {
        let rows = [
            (
                "{\"t\":0,\"pitch\":60,\"velocity\":64}\n{\"t\":0.5,\"pitch\":128,\"velocity\":64}",
                "take.jsonl: line 2: expected pitch from 0 to 127, found 128",
            ),
            ("{\"t\":0,\"pitch\":60}", "take.jsonl: line 1: expected velocity from 0 to 127 beside pitch, found none"),
            (
                "\n{\"pitch\":60,\"velocity\":1}",
                "take.jsonl: line 2: expected a note such as {\"t\":1.5,\"pitch\":60,\"velocity\":64}, found {\"pitch\":60,\"velocity\":1} (missing field `t`)",
            ),
            ("{\"t\":-1,\"pitch\":60,\"velocity\":1}", "take.jsonl: line 1: expected t in seconds, from 0 to 8640000, found -1"),
            ("{\"t\":1}", "take.jsonl: line 1: expected pitch or control, found {\"t\":1}"),
            ("{\"t\":1,\"pitch\":60,\"velocity\":1,\"channel\":17}", "take.jsonl: line 1: expected channel from 1 to 16, found 17"),
        ];
        for (text, message) in rows {
            assert_eq!(read_take(text.as_bytes(), "take.jsonl").unwrap_err().to_string(), message);
        }
        let error = read_take(&[b'{', 0xFF, 0xFE], "x.bin").unwrap_err().to_string();
        assert!(error.starts_with("x.bin: byte 1: expected a take: a MIDI file"), "{error}");
    }

    proptest! {
        #[test]
        fn lines_read_back_exactly_as_written(rows in prop::collection::vec((0..3_000_000_000i64, 0..128u8, 0..3u8, 0..16u8, 1..128u8), 0..40)) {
            let mut at = 0;
            let mut take = Take::default();
            for (gap, k, kind, channel, v) in rows {
                at += gap;
                let channel = Channel(channel);
                let what = match kind {
                    0 => MidiEvent::NoteOn { channel, key: key(k), velocity: Velocity(v) },
                    1 => MidiEvent::NoteOff { channel, key: key(k) },
                    _ => MidiEvent::Control { channel, controller: k, value: v },
                };
                take.push(Stamped { at: Micros(at), what });
            }
            let take = if at % 2 == 0 { take } else { take.heard("match strings 0; sensor retrigger=60000 soft=60:9".parse::<Hearing>().unwrap()) };
            prop_assert_eq!(read_take(write_take_lines(&take).as_bytes(), "take.jsonl").unwrap(), take);
        }

        #[test]
        fn no_text_makes_the_reader_panic(text in "\\PC{0,80}") {
            let _ = read_take(text.as_bytes(), "x");
        }
    }
}
