//! Note lists (CSV).

use catchword::import::read_score;
use catchword::score::unfold;
use catchword::theory::Hand;
use catchword::time::ScoreTime;

use super::{clean, each, notes};

#[test]
fn onsets_below_zero_are_a_pickup_and_the_files_own_count_is_kept() {
    let score = clean("note_list.csv");
    assert_eq!(score.origin, ScoreTime::quarters(-1));
    assert_eq!(notes(&score.parts[0]), "0 G4 1, 1 C3 2, 1 C5 1/3, 4/3 D5 1/3, 5/3 E5 1/3, 5 C4 1, 5 C4 1");
    assert_eq!(each(&score.parts[0], |n| n.hand.letter()), "'R' 'L' 'R' 'R' 'R' 'L' 'R'");
    let bars: Vec<_> = score.bars.iter().map(|b| (b.label.to_string(), b.start.to_f64(), b.length.to_f64(), b.offset.to_f64())).collect();
    assert_eq!(bars, [("0".to_owned(), 0.0, 1.0, 3.0), ("1".to_owned(), 1.0, 4.0, 0.0), ("2".to_owned(), 5.0, 4.0, 0.0)]);
}

#[test]
fn bars_metres_and_keys_come_from_their_columns() {
    let score = clean("note_list_with_bars.csv");
    let bars: Vec<_> =
        score.bars.iter().map(|b| (b.label.to_string(), b.start.to_f64(), b.length.to_f64(), b.meter.to_string(), b.key.fifths)).collect();
    assert_eq!(
        bars,
        [
            ("1".to_owned(), 0.0, 3.0, "3/4".to_owned(), 2),
            // It begins with a rest, so its first note is not its start.
            ("2".to_owned(), 3.0, 3.0, "3/4".to_owned(), 2),
            // No note names bar 3, but there is room for it.
            ("3".to_owned(), 6.0, 3.0, "3/8".to_owned(), -3),
            ("4".to_owned(), 9.0, 1.5, "3/8".to_owned(), -3),
        ]
    );
    // Spelled for two sharps and for three flats.
    assert_eq!(notes(&score.parts[0]), "0 D4 1, 1 F#4 2, 7/2 C#4 1/2, 9 Eb4 3/2");
}

#[test]
fn a_unison_of_both_hands_stays_two_notes() {
    let score = clean("note_list.csv");
    let played = unfold(&score, &score.parts[0], &score.all_bars().unwrap());
    let last: Vec<_> = played.notes[5..].iter().map(|n| (n.key.number(), n.hand)).collect();
    assert_eq!(last, [(60, Hand::Left), (60, Hand::Right)]);
}

#[test]
fn spaces_case_byte_order_mark_and_column_order_do_not_matter() {
    let text = "\u{feff}Hand, pitch ,DURATION_BEATS,onset_beats\nright, 60 ,1, 0\n\n l,48,2,0.5\n";
    let (score, _) = read_score(text.as_bytes(), "list.csv").unwrap();
    assert_eq!(notes(&score.parts[0]), "0 C4 1, 1/2 C3 2");
}

#[test]
fn rows_that_cannot_be_are_told_with_line_and_column() {
    for (row, expected) in [
        ("x,1,60,R", "line 2: expected a number of quarter notes in column onset_beats, found \"x\""),
        ("nan,1,60,R", "line 2: expected a number of quarter notes in column onset_beats, found \"nan\""),
        ("0,-1,60,R", "line 2: expected a number of quarter notes from 0 up in column duration_beats, found \"-1\""),
        ("0,1,128,R", "line 2: expected a MIDI key from 0 to 127 in column pitch, found \"128\""),
        ("0,1,60,both", "line 2: expected L or R in column hand, found \"both\""),
        ("0,1", "line 2: expected a MIDI key from 0 to 127 in column pitch, found \"\""),
    ] {
        let text = format!("onset_beats,duration_beats,pitch,hand\n{row}\n");
        let error = read_score(text.as_bytes(), "a.csv").unwrap_err().to_string();
        assert_eq!(error, format!("a.csv: {expected}"), "{row}");
    }
    let error = read_score(b"onset_beats,duration_beats,pitch,hand\n", "a.csv").unwrap_err().to_string();
    assert_eq!(error, "a.csv: line 2: expected at least one row of onset, duration, pitch and hand, found none");
    assert!(read_score(b"onset_beats,duration_beats,pitch,hand\n0,1,60,R\n900000000,1,60,R\n", "a.csv").is_err());
}

/// With `CATCHWORD_NOTE_LISTS` set to a folder, also reads every `score.csv` below it.
#[test]
fn note_n_of_the_score_is_row_n_of_a_list_sorted_by_onset_and_pitch() {
    let mut files = vec![super::path("note_list.csv"), super::path("note_list_with_bars.csv")];
    let mut folders: Vec<std::path::PathBuf> = std::env::var_os("CATCHWORD_NOTE_LISTS").into_iter().map(Into::into).collect();
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
            } else if entry.ends_with("score.csv") {
                files.push(entry);
            }
        }
    }
    for file in &files {
        let text = std::fs::read_to_string(file).unwrap();
        let (score, _) = read_score(text.as_bytes(), "score.csv").unwrap();
        let played = unfold(&score, &score.parts[0], &score.all_bars().unwrap());
        let rows: Vec<Vec<&str>> = text.lines().skip(1).map(|l| l.split(',').collect()).collect();
        assert_eq!(rows.len(), played.notes.len(), "{}", file.display());
        for (n, (row, note)) in rows.iter().zip(&played.notes).enumerate() {
            let at = (note.onset + score.origin).to_f64();
            let onset: f64 = row[0].parse().unwrap();
            assert!((at - onset).abs() < 0.001, "{} row {n}: {at} for {onset}", file.display());
            assert_eq!((note.key.number().to_string(), note.hand.letter().to_string()), (row[2].to_owned(), row[3].to_owned()));
            if let Some(label) = row.get(4) {
                let bar = &score.bar(played.bars[note.played_bar].bar).label.0;
                assert_eq!(bar, label, "{} row {n}", file.display());
            }
        }
    }
    println!("{} note lists", files.len());
}
