//! Piece files: what is read, what is refused and how, and that the demo pieces say what is true of their scores.

use std::sync::Arc;

use catchword::piece::{Instrument, PieceFile};
use catchword::score::{Bar, BarIdx, BarLabel, BarSigns, Note, Ornament, Part, Score};
use catchword::theory::{Hand, KeySignature, Meter, SpelledPitch};
use catchword::time::ScoreTime;

/// A score of `n_bars` bars of 3/4 with one C4 a bar, and the given parts.
fn score(n_bars: usize, parts: &[(&str, &str)]) -> Arc<Score> {
    let start = |bar: usize| ScoreTime::quarters(3 * bar as i64);
    let bars = (0..n_bars).map(|bar| Bar {
        label: BarLabel((bar + 1).to_string()),
        start: start(bar),
        length: ScoreTime::quarters(3),
        offset: ScoreTime::ZERO,
        meter: Meter { beats: 3, unit: 4 },
        key: KeySignature::NONE,
        signs: BarSigns::default(),
    });
    let pitch: SpelledPitch = "C4".parse().unwrap();
    let notes = (0..n_bars).map(|bar| Note {
        onset: start(bar),
        duration: ScoreTime::quarters(3),
        pitch,
        key: catchword::midi::MidiKey::try_new(60).unwrap(),
        hand: Hand::Right,
        staff: 1,
        voice: 1,
        bar: BarIdx(bar),
        n_heads: 1,
        ornament: Ornament::None,
        roll: None,
        finger: None,
        fermata: false,
    });
    let notes: Vec<Note> = notes.collect();
    let part = |&(id, name): &(&str, &str)| Part {
        id: id.into(),
        name: name.into(),
        n_staves: 1,
        notes: notes.clone(),
        pedal_diagrams: vec![],
        fermatas: vec![],
    };
    Arc::new(Score { title: None, composer: None, bars: bars.collect(), parts: parts.iter().map(part).collect(), tempos: vec![] })
}

const HEAD: &str = "title = \"T\"\nscore = \"t.xml\"\n";

/// Returns the complaint about a text, against a score of eight bars.
fn complaint(text: &str) -> String {
    let read = PieceFile::parse(text, "piece.toml").and_then(|f| f.check(score(8, &[("P1", "Harp")]), None));
    match read {
        Ok(piece) => panic!("accepted {text:?} as {piece:?}"),
        Err(e) => e.to_string(),
    }
}

#[test]
fn every_complaint_names_line_and_column_what_was_expected_and_what_was_found() {
    for (text, message) in [
        ("titel = \"T\"\n", "piece.toml:1:1: expected a key of a piece file, found \"titel\"; did you mean \"title\"?"),
        ("title = \"T\"\n", "piece.toml:1:1: expected the key \"score\" in a piece file, found none; add a line such as score = \"…\""),
        ("title = 3\n", "piece.toml:1:9: expected a text in quotes, found 3"),
        ("title = \" \"\n", "piece.toml:1:9: expected some words for \"title\", found an empty text"),
        (&format!("{HEAD}reps = 10\n"), "piece.toml:3:8: expected a whole number from 1 to 9 for \"reps\", found 10"),
        (&format!("{HEAD}tempo = nan\n"), "piece.toml:3:9: expected a number from 1 to 2000 for \"tempo\", found nan"),
        (
            &format!("{HEAD}instrument = \"lever harp\"\n"),
            "piece.toml:3:14: expected one of \"lever-harp\", \"pedal-harp\", \"keyboard\" for \"instrument\", found \"lever harp\"; did you mean \"lever-harp\"?",
        ),
        (
            &format!("{HEAD}part = \"Harb\"\n"),
            "piece.toml:3:8: expected one of the score's parts: Harp (P1), found \"Harb\"; did you mean \"Harp\"?",
        ),
        (
            &format!("{HEAD}\n[[section]]\nnaem = \"A\"\nbars = \"1-4\"\n"),
            "piece.toml:5:1: expected a key of [[section]], found \"naem\"; did you mean \"name\"?",
        ),
        (
            &format!("{HEAD}\n[[section]]\nname = \"A\"\nbars = \"1-9\"\n"),
            "piece.toml:6:8: expected printed bars such as \"5-8\" or \"5\", found \"1-9\"; there is no bar \"9\"; the score has bars 1 to 8",
        ),
        (
            &format!("{HEAD}\n[[section]]\nname = \"A\"\nbars = \"4-1\"\n"),
            "piece.toml:6:8: expected printed bars such as \"5-8\" or \"5\", found \"4-1\"; bar 1 stands before bar 4",
        ),
        (
            &format!("{HEAD}[[section]]\nname = \"A\"\nbars = \"1-4\"\n[[section]]\nname = \"B\"\nbars = \"3-8\"\n"),
            "piece.toml:8:8: expected at most one bar shared by neighbours, found \"3-8\", which shares 2 with \"A\" before it; start it later, or end the one before earlier",
        ),
        (
            &format!("{HEAD}[[section]]\nname = \"B\"\nbars = \"5-8\"\n[[section]]\nname = \"A\"\nbars = \"1-4\"\n"),
            "piece.toml:8:8: expected sections in page order, found \"1-4\", which does not go on past \"B\" before it; move the section up, or change its bars",
        ),
        (
            &format!("{HEAD}[[section]]\nname = \"A\"\nbars = \"1-4\"\n[[section]]\nname = \"A\"\nbars = \"5-8\"\n"),
            "piece.toml:7:8: expected a name that no other section has, found a second \"A\" (the first is on line 4)",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"9.1\"\ntext = \"x\"\n"),
            "piece.toml:4:6: expected a place in the score, bar.beat, found \"9.1\"; there is no bar 9; the score has bars 1 to 8",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"2.4\"\ntext = \"x\"\n"),
            "piece.toml:4:6: expected a place in the score, bar.beat, found \"2.4\"; bar 2 has no beat 4; its beats run from 1 to 3",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"2.1\"\ntext = \"x\"\n[[cue]]\nat = \"2\"\ntext = \"y\"\n"),
            "piece.toml:7:6: expected one cue for a place and hand, found a second one at 2 (the first is on line 4)",
        ),
        (
            &format!("{HEAD}[[cue]]\nat = \"2.1\"\nhand = \"links\"\ntext = \"x\"\n"),
            "piece.toml:5:8: expected one of \"left\", \"right\" for \"hand\", found \"links\"",
        ),
        (&format!("{HEAD}cue = \"x\"\n"), "piece.toml:3:7: expected tables, each under a line [[cue]], found the text \"x\""),
    ] {
        assert_eq!(complaint(text), message);
    }
}

#[test]
fn what_is_not_toml_is_refused_with_its_place() {
    let message = complaint("title = \"T\"\nscore = \n");
    assert!(message.starts_with("piece.toml:2:"), "{message}");
}

#[test]
fn a_score_with_several_parts_asks_for_the_part_and_takes_it_by_name_or_id() {
    let parts = [("P1", "Voice"), ("P2", "Harp")];
    let read = |text: &str, asked| PieceFile::parse(text, "piece.toml").unwrap().check(score(8, &parts), asked).map(|p| p.part);
    let message = read(HEAD, None).unwrap_err().to_string();
    assert_eq!(message, "piece.toml:2:9: expected the part to play, by name or id, found none named; the score has Voice (P1), Harp (P2)");
    assert_eq!(read(&format!("{HEAD}part = \"harp\"\n"), None), Ok(1));
    assert_eq!(read(&format!("{HEAD}part = \"P1\"\n"), None), Ok(0));
    assert_eq!(read(&format!("{HEAD}part = \"P1\"\n"), Some("P2")), Ok(1), "what is asked for goes before the file");
}

#[test]
fn what_a_file_leaves_out_has_its_stated_default() {
    let piece = PieceFile::parse(HEAD, "piece.toml").unwrap().check(score(10, &[("P1", "")]), None).unwrap();
    assert_eq!((piece.instrument, piece.target_reps, piece.tempo), (Instrument::Keyboard, 3, None));
    assert_eq!((piece.judging.inner_notes_min, piece.judging.in_a_row), (0.95, false));
    let names: Vec<&str> = piece.sections.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["bars 1-4", "bars 5-8", "bars 9-10"]);
}

#[test]
fn neighbouring_sections_may_share_one_bar() {
    let text = format!("{HEAD}[[section]]\nname = \"A\"\nbars = \"1-5\"\n[[section]]\nname = \"B\"\nbars = \"5-8\"\n");
    let piece = PieceFile::parse(&text, "piece.toml").unwrap().check(score(8, &[("P1", "")]), None).unwrap();
    assert_eq!(piece.sections[1].bars.start, BarIdx(4));
}
