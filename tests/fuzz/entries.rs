//! What each fuzz target does with its bytes. The tests run the kept inputs through these same functions.
//!
//! Whatever the bytes are, nothing may panic, and what is read must keep the laws that the rest of the program builds on.

use std::io::{Cursor, Write};
use std::sync::{Arc, LazyLock};

use catchword::config::Config;
use catchword::export;
use catchword::follower::{Begin, Finding, Follower, FollowerConfig, Line, OnsetIdx};
use catchword::import::{self, smf};
use catchword::journal::entry::Verdict;
use catchword::midi::decode::Decoder;
use catchword::midi::{Channel, MidiEvent, MidiKey, Velocity};
use catchword::piece::{Piece, PieceFile, edit};
use catchword::piece_folder::open_piece;
use catchword::practice::{Command, Engine, Input, Machine, PracticeConfig, Span, Story};
use catchword::score::{Score, unfold};
use catchword::source::replay::{read_take_lines, write_take_lines};
use catchword::time::{Micros, Stamped};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

pub type Entry = fn(&[u8]);

/// Every target by its name.
pub const ALL: [(&str, Entry); 10] = [
    ("musicxml", musicxml),
    ("mxl", mxl),
    ("smf", smf),
    ("note_list", note_list),
    ("piece_toml", piece_toml),
    ("settings", settings),
    ("midi", midi),
    ("take_lines", take_lines),
    ("follower", follower),
    ("engine", engine),
];

pub fn musicxml(bytes: &[u8]) {
    if let Ok((score, _)) = import::musicxml::read(bytes, "score.musicxml") {
        use_score(&score);
    }
}

/// Bytes beginning with `PK` are an archive; of all others an archive is made: up to the first zero the container, then the score.
pub fn mxl(bytes: &[u8]) {
    let made = if bytes.starts_with(b"PK") { bytes.to_vec() } else { archive(bytes) };
    if let Ok((score, _)) = import::mxl::read(&made, "score.mxl") {
        use_score(&score);
    }
}

fn archive(bytes: &[u8]) -> Vec<u8> {
    let (container, score) = bytes.split_at(bytes.iter().position(|b| *b == 0).unwrap_or(bytes.len()));
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, content) in [("META-INF/container.xml", container), ("a.xml", score.get(1..).unwrap_or_default())] {
        writer.start_file(name, options).expect("an archive in memory takes entries");
        writer.write_all(content).expect("memory takes bytes");
    }
    writer.finish().expect("an archive in memory can be closed").into_inner()
}

/// As a score, and as a recorded take.
pub fn smf(bytes: &[u8]) {
    if let Ok((score, _)) = smf::read(bytes, "score.mid") {
        use_score(&score);
    }
    if let Ok(take) = smf::read_take(bytes, "take.mid") {
        let again = smf::read_take(&smf::write_take(&take), "again.mid").expect("a written take can be read");
        assert_eq!(again.events().len(), take.events().len(), "no event is lost");
    }
}

pub fn note_list(bytes: &[u8]) {
    if let Ok((score, _)) = import::notelist::read(bytes, "score.csv") {
        use_score(&score);
    }
}

/// What a reader of a score would do with it: unfold it, lay it out for following, write it down again.
fn use_score(score: &Score) {
    for (idx, part) in score.parts.iter().enumerate() {
        assert!(part.notes.is_sorted_by_key(|n| n.onset), "notes are in order");
        let _ = score.choose_part_saying(Some(&part.id));
        let Some(all) = score.all_bars() else { continue };
        let unfolded = unfold(score, part, &all);
        if unfolded.notes.len() <= 5_000 {
            let _ = Line::new(score, part, &unfolded, &[]);
        }
        if score.bars.len() <= 50 && part.notes.len() <= 500 {
            let _ = Piece::of_score(Arc::new(score.clone()), idx, "a title");
        }
    }
    let (n_bars, n_notes) = (score.bars.len(), score.parts.iter().map(|p| p.notes.len()).sum::<usize>());
    // Watched step by step, writing and reading take fifty times as long as the import of a few hundred bytes: a longer score only now and then.
    let is_chosen = n_bars + n_notes <= 40 || (n_bars + n_notes).is_multiple_of(8);
    if n_bars <= 50 && n_notes <= 500 && is_chosen {
        let text = export::musicxml::write(score);
        import::musicxml::read(text.as_bytes(), "again.musicxml").expect("a written score can be read");
    }
}

static FERRY: LazyLock<Piece> = LazyLock::new(|| open_piece("ferry", None, &[]).expect("the demo piece opens").piece);

pub fn piece_toml(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(file) = PieceFile::parse(text, "piece.toml") else { return };
    let Ok(piece) = file.check(Arc::clone(&FERRY.score), None) else { return };
    // What could be read can be edited, and is the same afterwards.
    let edited = edit::set_cues(text, "piece.toml", &piece.score, &piece.cues).expect("cues that were read can be written");
    let again = PieceFile::parse(&edited, "piece.toml").and_then(|f| f.check(Arc::clone(&FERRY.score), None));
    assert_eq!(again.expect("an edited piece file can be read").cues, piece.cues, "{edited}");
}

pub fn settings(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let read = Config::parse(text, "config.toml");
    assert_eq!(read.is_ok(), catchword::config::shown(text, "config.toml").is_ok());
}

/// The first byte says into how long pieces the others are cut: events do not depend on it.
pub fn midi(bytes: &[u8]) {
    let Some((&n, bytes)) = bytes.split_first() else { return };
    let events = |length: usize| {
        let (mut decoder, mut events) = (Decoder::default(), Vec::new());
        bytes.chunks(length).for_each(|piece| decoder.feed(piece, |e| events.push(e)));
        events
    };
    assert_eq!(events(usize::from(n).max(1)), events(bytes.len().max(1)));
}

pub fn take_lines(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    if let Ok(take) = read_take_lines(text, "take.jsonl") {
        assert!(take.events().is_sorted_by_key(|e| e.at), "events are in order of time");
        let again = read_take_lines(&write_take_lines(&take), "again.jsonl").expect("a written take can be read");
        assert_eq!(again.events().len(), take.events().len());
    }
}

/// Four bytes a step: a key, a velocity, and time as a small float (from microseconds to hours, backwards too).
fn steps(bytes: &[u8]) -> impl Iterator<Item = (u8, u8, Micros)> {
    let mut now = 0i64;
    bytes.as_chunks::<4>().0.iter().map(move |&[what, value, gap, scale]| {
        let gap = i64::from(gap as i8) << (scale % 32);
        now = now.saturating_add(gap);
        (what, value, Micros(now))
    })
}

/// The first byte chooses where the follower begins.
pub fn follower(bytes: &[u8]) {
    static LINE: LazyLock<Arc<Line>> = LazyLock::new(|| Arc::clone(&Span::of_piece(&FERRY)[0].line));
    let Some((&begin, bytes)) = bytes.split_first() else { return };
    let n_onsets = LINE.onsets.len();
    let begin = if begin == 0 { Begin::Anywhere } else { Begin::At(OnsetIdx(usize::from(begin) % n_onsets)) };
    let mut follower = Follower::new(Arc::clone(&LINE), FollowerConfig::learned(begin));
    let mut findings = Vec::new();
    for (key, velocity, at) in steps(bytes) {
        if key > 127 {
            follower.silence(at, &mut findings);
            continue;
        }
        let key = MidiKey::try_new(i32::from(key)).expect("in range");
        let said = follower.note(at, key, Velocity(velocity % 128), &mut findings);
        assert!(said.position.onset.0 < n_onsets);
        assert!((0.0..=1.0).contains(&said.position.confidence), "{}", said.position.confidence);
        for finding in findings.drain(..) {
            if let Finding::Slip(slip) = finding {
                assert!((0.0..=1.0).contains(&slip.confidence), "{}", slip.confidence);
            }
        }
        assert!(said.note.is_none_or(|n| n.0 < LINE.notes.len()));
        let _ = (follower.hesitation_deadline(), follower.tempo(), follower.is_at_end());
    }
}

/// A session of the engine: notes, deadlines as they fall due, commands, lines of story.
pub fn engine(bytes: &[u8]) {
    static SPANS: LazyLock<Vec<Span>> = LazyLock::new(|| Span::of_piece(&FERRY));
    let mut engine = Engine::try_new(Arc::new(FERRY.clone()), SPANS.clone(), PracticeConfig::standard()).expect("the piece has sections");
    let mut out = Vec::new();
    let channel = Channel(0);
    for (what, value, at) in steps(bytes) {
        let at = if what == 255 { engine.next_deadline().unwrap_or(at) } else { at };
        let key = MidiKey::try_new(i32::from(what % 128)).expect("in range");
        let input = match what {
            0..128 => Input::Midi(MidiEvent::NoteOn { channel, key, velocity: Velocity(value % 128) }),
            128..200 => Input::Midi(MidiEvent::NoteOff { channel, key }),
            200..212 => Input::Command(Command::ALL[usize::from(what - 200)]),
            212..220 => Input::Command(Command::Overrule(Verdict::Prompted)),
            220..230 => Input::Story(Story::Picked(usize::from(value))),
            230..240 => Input::Story(Story::Told(format!("line {value}"))),
            240..245 => Input::Story(Story::Typed(format!("half {value}"))),
            245..250 => Input::Midi(MidiEvent::Control { channel, controller: value % 128, value: what }),
            _ => Input::Deadline,
        };
        engine.handle(Stamped { at, what: input }, &mut out);
        out.clear();
        let view = engine.view();
        assert!(view.span_idx < view.n_spans);
        assert!(view.bar.is_none_or(|bar| bar < view.bars.len()));
        if let Some(due) = engine.next_deadline() {
            assert!(due.0 > i64::MIN / 2);
        }
    }
}
