//! Score import: MusicXML in all its wrappings and note lists, against files written for one feature
//! each (tests/data/musicxml), published examples, and counts of reference libraries.

mod archive;
mod damage;
mod features;
mod note_list;
mod playing_order;
mod references;

use std::path::PathBuf;

use catchword::import::{Error, Warning, read_score};
use catchword::score::{Note, Part, Score};

fn path(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/musicxml").join(name)
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(path(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn try_read(name: &str) -> Result<(Score, Vec<Warning>), Error> {
    read_score(&bytes(name), name)
}

fn read(name: &str) -> (Score, Vec<Warning>) {
    try_read(name).unwrap_or_else(|e| panic!("{e}"))
}

/// Reads a file that must give no warning.
fn clean(name: &str) -> Score {
    let (score, warnings) = read(name);
    assert_eq!(warnings, [], "{name}");
    score
}

/// The notes of a part in one line: `0 C4 1, 1 E4 1/2`, onset, pitch as written and duration in quarters.
fn notes(part: &Part) -> String {
    let one = |n: &Note| format!("{} {} {}", n.onset, n.pitch, n.duration);
    part.notes.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// One word of each note of a part, in a line.
fn each<T: std::fmt::Debug>(part: &Part, word: impl Fn(&Note) -> T) -> String {
    part.notes.iter().map(|n| format!("{:?}", word(n))).collect::<Vec<_>>().join(" ")
}

/// The notes of a file's first part, which must give no warning.
fn check(name: &str, expected: &str) {
    assert_eq!(notes(&clean(name).parts[0]), expected, "{name}");
}
