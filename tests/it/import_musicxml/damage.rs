//! Damaged files: an error that names file, line and what was expected, and never a panic.

use catchword::import::{Error, read_score};
use catchword::score::{BarRange, Score, unfold};

use super::{bytes, read, try_read};

#[test]
fn a_broken_file_is_told_with_its_line_and_what_was_expected() {
    for (name, message) in [
        ("broken_tag.musicxml", "broken_tag.musicxml: line 16, column 48: expected </pitch>, found </pich>"),
        (
            "broken_cut_off.musicxml",
            "broken_cut_off.musicxml: line 19, the end of the file: expected the rest of the score, found nothing more",
        ),
        ("not_a_score.musicxml", "not_a_score.musicxml: line 2: expected <score-partwise> or <score-timewise>, found <opus>"),
        ("without_parts.musicxml", "without_parts.musicxml: line 2: expected at least one <part>, found none"),
        ("without_bars.musicxml", "without_bars.musicxml: line 2: expected at least one <measure>, found none"),
        ("note_list_broken.csv", "note_list_broken.csv: line 3: expected a MIDI key from 0 to 127 in column pitch, found \"sixty\""),
        (
            "note_list_without_hand.csv",
            "note_list_without_hand.csv: line 1: expected a header with the columns onset_beats,duration_beats,pitch,hand, \
             found \"onset_beats,duration_beats,pitch\"",
        ),
    ] {
        assert_eq!(try_read(name).unwrap_err().to_string(), message);
    }
    assert!(matches!(read_score(b"hello", "a.txt"), Err(Error::UnknownFormat { .. })));
    assert!(matches!(read_score(b"", "a.musicxml"), Err(Error::Broken { .. })));
}

#[test]
fn an_entity_bomb_is_refused() {
    let error = try_read("entity_bomb.musicxml").unwrap_err();
    let message = "entity_bomb.musicxml: line 3: expected a score without entities of its own, found <!ENTITY";
    assert_eq!(error.to_string(), message);
}

#[test]
fn nonsense_values_are_each_warned_of_and_the_rest_is_read() {
    let (score, warnings) = read("nonsense_values.musicxml");
    let elements: Vec<&str> = warnings.iter().map(|w| w.element.as_str()).collect();
    for element in ["<divisions>", "<key>", "<time>", "<transpose>", "<duration>", "<pitch>", "<backup>", "<forward>", "<sound>"] {
        assert!(elements.contains(&element), "{element} in {elements:?}");
    }
    assert!(warnings.iter().all(|w| w.bar.as_deref() == Some("1") && w.line.is_some()));
    assert!(score.parts[0].notes.iter().any(|n| n.pitch.to_string() == "G4"));
}

#[test]
fn deep_nesting_and_huge_numbers_are_borne() {
    let deep = format!("<score-partwise><part id='P1'><measure number='1'>{}</measure></part></score-partwise>", "<x>".repeat(100_000));
    assert!(read_score(deep.as_bytes(), "deep.musicxml").is_err());
    let closed = format!(
        "<score-partwise><part id='P1'><measure number='1'>{}{}</measure></part></score-partwise>",
        "<x>".repeat(2_000),
        "</x>".repeat(2_000)
    );
    assert!(read_score(closed.as_bytes(), "closed.musicxml").is_ok());
    let notes = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>90000</duration></note>".repeat(2_000);
    let huge = format!(
        "<score-partwise><part id='P1'><measure number='1'><attributes><divisions>999999999</divisions></attributes>\
         <note><rest/><duration>1</duration></note><attributes><divisions>1</divisions></attributes>{notes}</measure></part></score-partwise>"
    );
    use_all(&read_score(huge.as_bytes(), "huge.musicxml").unwrap().0);
}

/// Walks what a reader of the score would walk.
fn use_all(score: &Score) {
    for part in &score.parts {
        for note in &part.notes {
            let bar = score.bar(note.bar);
            assert!((bar.start..=bar.start + bar.length).contains(&note.onset), "{note:?} is not in its bar");
        }
        assert!(part.notes.is_sorted_by_key(|n| n.onset));
        if let Some(all) = score.all_bars() {
            unfold(score, part, &all);
            unfold(score, part, &BarRange::try_new(all.end.0 / 2..all.end.0).unwrap());
        }
    }
}

/// Files with most branches of the readers between them.
const SAMPLES: [&str; 12] = [
    "tie_into_second_ending.musicxml",
    "nonsense_values.musicxml",
    "dal_segno_al_coda_in_signs.musicxml",
    "rolled_chords.musicxml",
    "glissando.musicxml",
    "harp_pedals.musicxml",
    "timewise.musicxml",
    "bar_repeat.musicxml",
    "doctype_and_single_quotes.musicxml",
    "utf16_little_endian.musicxml",
    "note_list.csv",
    "note_list_with_bars.csv",
];

#[test]
fn a_file_cut_off_at_any_byte_never_panics() {
    for name in SAMPLES {
        let whole = bytes(name);
        for end in 0..whole.len() {
            // XML that is cut off is an error at once; a note list is read as far as it goes.
            if let Ok((score, _)) = read_score(&whole[..end], name) {
                use_all(&score);
            }
        }
    }
}

#[test]
fn a_file_with_any_byte_changed_never_panics() {
    for name in SAMPLES {
        let whole = bytes(name);
        for at in 0..whole.len() {
            // A different change at each byte keeps this quick: a neighbour, a digit, a bracket, a high bit.
            let mut damaged = whole.clone();
            damaged[at] = [whole[at] ^ 0x01, b'9', b'<', whole[at] ^ 0x80][at % 4];
            if let Ok((score, _)) = read_score(&damaged, name) {
                use_all(&score);
            }
        }
    }
}

#[test]
fn elements_left_out_or_doubled_never_panic() {
    // Every line of a file taken out, and every line doubled: well-formed more often than a changed byte.
    for name in SAMPLES.into_iter().filter(|n| !n.starts_with("utf16")) {
        let text = String::from_utf8(bytes(name)).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        for at in 0..lines.len() {
            let without = [&lines[..at], &lines[at + 1..]].concat().join("\n");
            let doubled = [&lines[..=at], &lines[at..]].concat().join("\n");
            for damaged in [without, doubled] {
                if let Ok((score, _)) = read_score(damaged.as_bytes(), name) {
                    use_all(&score);
                }
            }
        }
    }
}
