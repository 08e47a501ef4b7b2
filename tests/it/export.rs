//! Scores written as MusicXML: valid by the W3C's schema, and read back the same.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use catchword::export::musicxml::write;
use catchword::import::read_score;
use catchword::midi::MidiKey;
use catchword::score::{Bar, BarIdx, BarLabel, BarSigns, Note, Ornament, Part, Roll, Score};
use catchword::theory::spelling::{Sounded, spell};
use catchword::theory::{Hand, KeySignature, Meter};
use catchword::time::{ScoreTime, Tempo};
use proptest::prelude::*;

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn read(path: &Path) -> Score {
    read_score(&fs::read(path).unwrap(), &path.display().to_string()).unwrap().0
}

/// What has to come back, a line for each bar, mark and note.
fn lines(score: &Score) -> Vec<String> {
    let mut lines = vec![format!("{:?} {:?} {:?}", score.title, score.composer, score.tempos)];
    lines.extend(score.bars.iter().map(|b| format!("{b:?}")));
    for part in &score.parts {
        lines.push(format!("{} {} {} {:?} {:?}", part.id, part.name, part.n_staves, part.pedal_diagrams, part.held_over));
        let note = |n: &Note| {
            let ornament = if n.is_optional() || n.ornament == Ornament::Shake || n.ornament == Ornament::Tremolo {
                n.ornament
            } else {
                Ornament::None
            };
            format!(
                "{} {} {} {:?} {:?} {} {:?} {ornament:?} {:?} {:?} {}",
                n.onset, n.duration, n.pitch, n.key, n.hand, n.staff, n.bar, n.roll, n.finger, n.fermata
            )
        };
        let mut notes: Vec<String> = part.notes.iter().map(note).collect();
        notes.sort();
        lines.extend(notes);
    }
    lines
}

fn assert_same(score: &Score, what: &str) {
    let text = write(score);
    let (back, warnings) = read_score(text.as_bytes(), "written.musicxml").unwrap();
    assert!(warnings.iter().all(|w| w.element == "<cue>"), "{what}: {warnings:?}");
    for (before, after) in lines(score).iter().zip(lines(&back)) {
        assert_eq!(*before, after, "{what}");
    }
    assert_eq!(lines(score).len(), lines(&back).len(), "{what}");
}

/// Scores with every sign that the writer knows.
fn files() -> Vec<PathBuf> {
    let features = [
        "tuplets",
        "tie_over_bar",
        "tie_in_chord",
        "rolled_chords",
        "repeat_with_endings",
        "repeat_three_times",
        "da_capo_al_fine",
        "two_staves",
        "voices",
        "grace",
        "pickup_implicit",
        "meter_and_key_change",
        "fermata",
        "fingering",
        "harp_pedals",
        "chord",
        "tempo",
        "cue",
        "form_marks",
    ];
    let mut files: Vec<PathBuf> = features.iter().map(|name| here(&format!("tests/data/musicxml/{name}.musicxml"))).collect();
    files.extend(["bitten", "home_sweet_home", "take_o_take"].map(|name| here(&format!("tests/data/musicxml/cc0/{name}.mxl"))));
    files.extend(["ferry", "all-through-the-night"].map(|name| here(&format!("pieces/{name}/{name}.musicxml"))));
    files
}

#[test]
fn scores_read_back_as_they_were_written() {
    for file in files() {
        assert_same(&read(&file), &file.display().to_string());
    }
}

/// Validates with xmllint and the schema under `tests/data`; `None` where there is no xmllint.
pub fn is_valid(file: &Path) -> Option<Result<(), String>> {
    let schema = here("tests/data/musicxml_schema");
    let mut command = Command::new("xmllint");
    command.env("XML_CATALOG_FILES", schema.join("catalog.xml")).args(["--nonet", "--noout", "--schema"]).arg(schema.join("musicxml.xsd"));
    let output = command.arg(file).output().ok()?;
    Some(if output.status.success() { Ok(()) } else { Err(String::from_utf8_lossy(&output.stderr).into_owned()) })
}

#[test]
fn what_is_written_is_valid_by_the_schema() {
    // MusicXML 4.0, W3C Music Notation Community Group; xmllint is in Debian's libxml2-utils.
    let dir = tempfile::tempdir().unwrap();
    let wrong = dir.path().join("wrong.musicxml");
    fs::write(&wrong, "<score-partwise version=\"4.0\"><part/></score-partwise>").unwrap();
    match is_valid(&wrong) {
        None => return println!("skipped: xmllint is not installed"),
        Some(result) => assert!(result.is_err(), "the schema refuses what is no score"),
    }
    for file in files() {
        let out = dir.path().join("out.musicxml");
        fs::write(&out, write(&read(&file))).unwrap();
        assert_eq!(is_valid(&out), Some(Ok(())), "{}", file.display());
    }
}

/// Bars of one metre, and notes on their grid; no two of one key sound at once.
fn any_score() -> impl Strategy<Value = Score> {
    let meter = prop::sample::select(vec![(4u16, 4u16), (3, 4), (6, 8), (2, 2), (5, 8)]);
    let note = (0..96i64, prop::sample::select(vec![1i64, 2, 3, 4, 6]), 1..40i64, 36..90i32, any::<bool>(), 0..8u8);
    (meter, -7..=7i8, 0..4i64, prop::collection::vec(note, 1..60)).prop_map(|((beats, unit), fifths, pickup, rows)| {
        let meter = Meter { beats, unit };
        let key = KeySignature::new(fifths, None);
        let pickup = meter.beat_length().scaled(pickup.min(i64::from(beats) - 1), 1);
        let mut bars: Vec<Bar> = Vec::new();
        let mut start = ScoreTime::ZERO;
        for i in 0..6 {
            let is_pickup = i == 0 && !pickup.is_zero();
            let length = if is_pickup { pickup } else { meter.bar_length() };
            let offset = meter.bar_length() - length;
            bars.push(Bar {
                label: BarLabel((i + usize::from(pickup.is_zero())).to_string()),
                start,
                length,
                offset,
                meter,
                key,
                signs: BarSigns::default(),
            });
            start += length;
        }
        let mut notes: Vec<Note> = Vec::new();
        for (place, cut, length, key, left, kind) in rows {
            let onset = ScoreTime::new(place, cut);
            let end = (onset + ScoreTime::new(length, 2 * cut)).min(start);
            let Some(key) = MidiKey::try_new(key).filter(|_| end > onset) else { continue };
            let hand = if left { Hand::Left } else { Hand::Right };
            let bar = BarIdx(bars.partition_point(|b| b.start <= onset) - 1);
            let name = spell(&[Sounded { key: key.number(), fifths }])[0];
            let mut note = Note { voice: if left { 5 } else { 1 }, ..Note::plain(onset, end - onset, name, key, hand, bar) };
            if kind == 0 {
                (note.duration, note.ornament) = (ScoreTime::ZERO, Ornament::Grace);
            }
            note.roll = (kind == 1).then_some(Roll::Up);
            if notes.iter().all(|n| n.key != note.key || n.onset + n.duration < note.onset || note.onset + note.duration < n.onset) {
                notes.push(note);
            }
        }
        notes.sort_by_key(|n| (n.onset, n.key, n.hand));
        // A roll is read for the whole chord.
        for i in 0..notes.len() {
            let chord = |n: &Note| n.onset == notes[i].onset && n.hand == notes[i].hand;
            if notes.iter().filter(|n| chord(n)).count() > 1 {
                notes[i].roll = None;
            }
        }
        let part = Part { id: "P1".into(), name: "Harp".into(), n_staves: 2, notes, held: start, ..Part::default() };
        let tempos = vec![(ScoreTime::ZERO, Tempo::try_new(72.5).unwrap())];
        Score { title: Some("Any".into()), composer: None, bars, parts: vec![part], tempos, origin: ScoreTime::ZERO }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_score_reads_back_as_it_was_written(score in any_score()) {
        assert_same(&score, "made");
    }
}
