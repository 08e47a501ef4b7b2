//! The take in progress: written beside the journal as it is played, so that a program cut short in a rep loses none of it.
//!
//! One small file a session, `take-in-progress-ID.jsonl`, with a lock on it for as long as the session lives. While a rep is on, its first
//! line says whose rep it is and each further line is one event; between the reps it is empty. Every line is handed to the system at
//! once, which keeps it when the program ends in whatever way; only a machine that loses its power may lose the last seconds.

use std::fs::{File, OpenOptions};
use std::io::{self, Seek, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::SessionId;
use super::convert::Word;
use crate::journal::entry::Mode;
use crate::midi::decode::event;
use crate::midi::{MidiEvent, Take};
use crate::time::{Micros, Stamped};

const BEGINNING: &str = "take-in-progress-";
const ENDING: &str = ".jsonl";

/// What is known of a rep when it begins.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Begun {
    pub mode: Mode,
    /// Name of the span as shown.
    pub span: String,
    /// Printed labels of its first and last bar.
    pub bars: (String, String),
    /// Session time of its first note.
    pub started: Micros,
}

/// The file of a session that is on.
#[derive(Debug)]
pub struct TakeInProgress {
    file: File,
    path: PathBuf,
    session: SessionId,
    /// A rep is on, and all of it has been written so far.
    is_on: bool,
}

#[derive(Serialize, Deserialize)]
struct Head {
    session: String,
    mode: String,
    span: String,
    first_bar: String,
    last_bar: String,
    started_us: i64,
}

/// One event: session time and the bytes of its message (MIDI 1.0, channel voice messages).
#[derive(Serialize, Deserialize)]
struct Line {
    at_us: i64,
    midi: [u8; 3],
}

impl TakeInProgress {
    /// Makes the file of a session in the data directory.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn create(dir: &Path, session: SessionId) -> io::Result<Self> {
        let path = path_of(dir, session);
        let file = OpenOptions::new().write(true).create_new(true).open(&path)?;
        // Another program may just be looking whether it is locked. Where files cannot be locked the session is on all the same.
        let _ = file.lock();
        Ok(TakeInProgress { file, path, session, is_on: false })
    }

    /// Begins a rep with what was played of it before it was known to be one.
    pub fn begin(&mut self, rep: &Begun, played: impl IntoIterator<Item = Stamped<MidiEvent>>) {
        let head = Head {
            session: self.session.0.to_string(),
            mode: rep.mode.word().to_owned(),
            span: rep.span.clone(),
            first_bar: rep.bars.0.clone(),
            last_bar: rep.bars.1.clone(),
            started_us: rep.started.0,
        };
        let mut text = serde_json::to_string(&head).expect("texts and numbers") + "\n";
        played.into_iter().for_each(|event| text.push_str(&line(event)));
        self.is_on = self.empty().and_then(|()| self.file.write_all(text.as_bytes())).is_ok();
    }

    /// Adds what was played; nothing while no rep is on. Where it cannot be written (a full disk) the rest of this rep is not kept here.
    pub fn push(&mut self, event: Stamped<MidiEvent>) {
        if self.is_on {
            self.is_on = self.file.write_all(line(event).as_bytes()).is_ok();
        }
    }

    /// The rep is in the journal.
    pub fn clear(&mut self) {
        // What cannot be emptied is known to the journal by its beginning, and is not taken in twice.
        let _ = self.empty();
        self.is_on = false;
    }

    /// The session is over.
    pub fn remove(self) {
        let _ = std::fs::remove_file(&self.path);
    }

    fn empty(&mut self) -> io::Result<()> {
        self.file.set_len(0).and_then(|()| self.file.rewind())
    }
}

fn path_of(dir: &Path, session: SessionId) -> PathBuf {
    dir.join(format!("{BEGINNING}{}{ENDING}", session.0))
}

/// Returns which session a file of this name belongs to.
pub(super) fn session_of(name: &str) -> Option<SessionId> {
    let id = name.strip_prefix(BEGINNING)?.strip_suffix(ENDING)?;
    Uuid::parse_str(id).ok().map(SessionId)
}

/// Tells whether a session is on, in this program or another one.
pub(super) fn is_on(dir: &Path, session: SessionId) -> bool {
    File::open(path_of(dir, session)).is_ok_and(|file| is_locked(&file))
}

/// Tells whether a file is held, and holds it if it is not. Where files cannot be locked nothing is known, and none is free.
pub(super) fn is_locked(file: &File) -> bool {
    file.try_lock().is_err()
}

fn line(event: Stamped<MidiEvent>) -> String {
    let line = Line { at_us: event.at.0, midi: event.what.bytes() };
    serde_json::to_string(&line).expect("numbers") + "\n"
}

/// What a file left behind has.
#[derive(Debug)]
pub(super) struct LeftBehind {
    /// None for a file that was left between two reps, or in the middle of its first line.
    pub rep: Option<(Begun, Take)>,
    /// Something in it, beside a last line cut short, cannot be read.
    pub is_torn: bool,
}

/// Reads a file left behind: as far as it is whole. A last line without its end was being written, and is no event yet.
pub(super) fn read(bytes: &[u8]) -> LeftBehind {
    let whole = bytes.iter().rposition(|b| *b == b'\n').map_or(&bytes[..0], |end| &bytes[..end]);
    let mut lines = whole.split(|b| *b == b'\n').filter(|line| !line.is_empty());
    let Some(head) = lines.next() else { return LeftBehind { rep: None, is_torn: false } };
    let known = |head: Head| {
        let mode = Mode::WORDS.iter().find(|(_, word)| *word == head.mode)?.0;
        Some(Begun { mode, span: head.span, bars: (head.first_bar, head.last_bar), started: Micros(head.started_us) })
    };
    let Some(begun) = serde_json::from_slice::<Head>(head).ok().and_then(known) else {
        return LeftBehind { rep: None, is_torn: true };
    };
    let (mut take, mut is_torn) = (Take::default(), false);
    for line in lines {
        let read = serde_json::from_slice::<Line>(line).ok();
        match read.and_then(|l| Some(Stamped { at: Micros(l.at_us), what: event(&l.midi)? })) {
            Some(event) => take.push(event),
            None => is_torn = true,
        }
    }
    LeftBehind { rep: Some((begun, take)), is_torn }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::{Channel, MidiKey, Velocity};

    fn events() -> Vec<Stamped<MidiEvent>> {
        let (channel, key) = (Channel(9), MidiKey::try_new(62).unwrap());
        [
            MidiEvent::NoteOn { channel, key, velocity: Velocity(70) },
            MidiEvent::Control { channel, controller: 67, value: 127 },
            MidiEvent::NoteOff { channel, key },
        ]
        .into_iter()
        .zip([5, 5, 1_000_007])
        .map(|(what, at)| Stamped { at: Micros(at), what })
        .collect()
    }

    fn begun() -> Begun {
        Begun { mode: Mode::RunThrough, span: "up \"and\"\n down".into(), bars: ("0".into(), "12a".into()), started: Micros(5) }
    }

    #[test]
    fn a_take_cut_off_at_any_byte_comes_back_up_to_its_last_whole_event() {
        let dir = tempfile::tempdir().unwrap();
        let session = SessionId(Uuid::now_v7());
        let mut file = TakeInProgress::create(dir.path(), session).unwrap();
        file.begin(&begun(), events()[..1].iter().copied());
        events()[1..].iter().for_each(|e| file.push(*e));
        let bytes = std::fs::read(path_of(dir.path(), session)).unwrap();
        let ends: Vec<usize> = (0..bytes.len()).filter(|i| bytes[*i] == b'\n').collect();
        assert_eq!(ends.len(), 4);
        for cut in 0..=bytes.len() {
            let LeftBehind { rep, is_torn } = read(&bytes[..cut]);
            let n_whole = ends.iter().filter(|end| **end < cut).count();
            assert!(!is_torn, "{cut}");
            assert_eq!(rep, n_whole.checked_sub(1).map(|n| (begun(), events()[..n].iter().copied().collect())), "{cut}");
        }
    }

    #[test]
    fn what_cannot_be_read_inside_a_take_is_passed_over_and_told() {
        let good = "{\"session\":\"x\",\"mode\":\"drill\",\"span\":\"a\",\"first_bar\":\"1\",\"last_bar\":\"2\",\"started_us\":1}\n";
        let event = "{\"at_us\":1,\"midi\":[144,60,64]}\n";
        let n_events = |text: &[u8]| {
            let left = read(text);
            (left.rep.map(|(_, take)| take.events().len()), left.is_torn)
        };
        assert_eq!(n_events(format!("{good}{event}{{\"at_us\":2,\"mi{event}{event}").as_bytes()), (Some(2), true));
        assert_eq!(n_events(&[good.as_bytes(), &[0, 255, 10], event.as_bytes()].concat()), (Some(1), true));
        assert_eq!(n_events(format!("{good}{}", event.replace("144", "255")).as_bytes()), (Some(0), true), "no message of notes");
        assert_eq!(n_events(good.replace("drill", "stroll").as_bytes()), (None, true));
        assert_eq!(n_events(b""), (None, false));
    }

    #[test]
    fn a_session_that_is_on_holds_its_file() {
        let dir = tempfile::tempdir().unwrap();
        let session = SessionId(Uuid::now_v7());
        let file = TakeInProgress::create(dir.path(), session).unwrap();
        assert!(is_on(dir.path(), session));
        drop(file);
        assert!(!is_on(dir.path(), session));
        let name = path_of(dir.path(), session).file_name().unwrap().to_string_lossy().into_owned();
        assert_eq!(session_of(&name), Some(session));
    }
}
