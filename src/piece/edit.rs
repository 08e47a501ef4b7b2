//! Changes to a `piece.toml` that leave everything else as the player wrote it: comments, order, spacing.
//!
//! Each edit takes the text and gives the changed text back; writing it to disk is the shell's work.
//! An edit never leaves a text that is refused when it is read again.

mod rows;

use toml_edit::{DocumentMut, Item, TableLike, Value};

use super::check::Lists;
use super::file::PieceFile;
use super::text::{Error, Source};
use super::{Cue, Landmark, Section};
use crate::score::{Place, Score};
use crate::theory::Hand;
pub use rows::{Row, pairs};

/// Puts a cue at its place: in place of the one that stands there for the same hand, or as a new
/// one after the last cue that comes before it on the page.
///
/// A cue without a fuller text leaves the fuller text of the one it replaces.
///
/// # Errors
/// When the text is not a piece file (see [`PieceFile::parse`]), or something in it is not in the score (see [`PieceFile::lists`]).
///
/// ```
/// # use catchword::piece::{Cue, edit};
/// # use catchword::score::{Bar, BarIdx, BarLabel, BarSigns, Place, Score};
/// # use catchword::theory::{KeySignature, Meter};
/// # use catchword::time::ScoreTime;
/// # let bar = Bar { label: BarLabel("1".into()), start: ScoreTime::ZERO, length: ScoreTime::quarters(4), offset: ScoreTime::ZERO,
/// #     meter: Meter::COMMON, key: KeySignature::NONE, signs: BarSigns::default() };
/// # let score = Score { bars: vec![bar], ..Score::default() };
/// let text = "title = \"A\" # mine\nscore = \"a.mid\"\n";
/// let cue = Cue { place: Place::start_of(BarIdx(0)), hand: None, text: "root D".into(), more: None };
/// let edited = edit::add_cue(text, "piece.toml", &score, &cue)?;
/// assert_eq!(edited, "title = \"A\" # mine\nscore = \"a.mid\"\n\n[[cue]]\nat = \"1.1\"\ntext = \"root D\"\n");
/// # Ok::<(), catchword::piece::Error>(())
/// ```
pub fn add_cue(text: &str, file_name: &str, score: &Score, cue: &Cue) -> Result<String, Error> {
    let mut cues = lists(text, file_name, score)?.cues;
    put_cue(&mut cues, cue);
    set_cues(text, file_name, score, &cues)
}

/// Puts a cue among others, as [`add_cue`] does in a text; a new one goes last.
pub fn put_cue(cues: &mut Vec<Cue>, cue: &Cue) {
    match cues.iter_mut().find(|c| c.is_at(cue)) {
        Some(standing) => {
            let more = cue.more.clone().or(standing.more.take());
            *standing = Cue { more, ..cue.clone() };
        }
        None => cues.push(cue.clone()),
    }
}

/// Takes the cue for a place and hand away, with the comment right above it. Without such a cue the text comes back as it is.
///
/// # Errors
/// As [`add_cue`].
pub fn remove_cue(text: &str, file_name: &str, score: &Score, place: Place, hand: Option<Hand>) -> Result<String, Error> {
    let mut cues = lists(text, file_name, score)?.cues;
    cues.retain(|c| (c.place, c.hand) != (place, hand));
    set_cues(text, file_name, score, &cues)
}

/// Makes these the cues of the piece, in any order: those that are there already stay as they are written, others are changed,
/// taken away or put in.
///
/// # Errors
/// As [`add_cue`]; also when the cues do not go together.
pub fn set_cues(text: &str, file_name: &str, score: &Score, cues: &[Cue]) -> Result<String, Error> {
    set_list(text, file_name, score, &lists(text, file_name, score)?.cues, cues)
}

/// Makes these, in page order, the sections of the piece, as [`set_cues`] does with cues. A section is
/// known again by its first bar, or else by its name.
///
/// # Errors
/// As [`set_cues`].
pub fn set_sections(text: &str, file_name: &str, score: &Score, sections: &[Section]) -> Result<String, Error> {
    set_list(text, file_name, score, &lists(text, file_name, score)?.sections, sections)
}

/// Makes these the landmarks of the piece, as [`set_cues`] does with cues. A landmark is known again by its place, or else by its name.
///
/// # Errors
/// As [`set_cues`].
pub fn set_landmarks(text: &str, file_name: &str, score: &Score, landmarks: &[Landmark]) -> Result<String, Error> {
    set_list(text, file_name, score, &lists(text, file_name, score)?.landmarks, landmarks)
}

/// Sets the clean reps wanted: of the section of this name, or of the piece when no name is given.
/// A section that the file does not have (one cut by default) leaves the text as it is.
///
/// # Errors
/// When the text is not a piece file, or `reps` is not within 1 to 9.
pub fn set_reps(text: &str, file_name: &str, section: Option<&str>, reps: u8) -> Result<String, Error> {
    let mut doc = open(text, file_name)?;
    let sections = PieceFile::parse(text, file_name)?.sections;
    match section {
        None => set(doc.as_table_mut(), "reps", i64::from(reps).into()),
        Some(name) => {
            if let Some(idx) = sections.iter().position(|s| s.name.value == name) {
                let standing = rows::nth(&mut doc, "section", idx).expect("the parsed file has as many sections");
                set(standing, "reps", i64::from(reps).into());
            }
        }
    }
    close(&doc, text, file_name)
}

fn lists(text: &str, file_name: &str, score: &Score) -> Result<Lists, Error> {
    PieceFile::parse(text, file_name)?.lists(score)
}

fn set_list<R: Row>(text: &str, file_name: &str, score: &Score, old: &[R], new: &[R]) -> Result<String, Error> {
    let mut doc = open(text, file_name)?;
    rows::set(&mut doc, score, old, new);
    let edited = close(&doc, text, file_name)?;
    lists(&edited, file_name, score)?;
    Ok(edited)
}

/// Reads the text, as a piece file first: its complaints are the better ones.
fn open(text: &str, file_name: &str) -> Result<DocumentMut, Error> {
    PieceFile::parse(text, file_name)?;
    text.parse::<DocumentMut>().map_err(|e| {
        let place = Source::new(file_name, text).place(e.span().map_or(0, |s| s.start));
        Error::new(file_name, place, tr!("TOML that can be read"), tr!("an error in it: {}", e.message()))
    })
}

/// Writes the text, after reading it back: an edit must never leave a file that is refused later.
///
/// The writer knows only bare line feeds; a file with the line ends of Windows gets them back.
fn close(doc: &DocumentMut, before: &str, file_name: &str) -> Result<String, Error> {
    let mut text = doc.to_string();
    if before.contains("\r\n") {
        text = text.replace("\r\n", "\n").replace('\n', "\r\n");
    }
    PieceFile::parse(&text, file_name)?;
    Ok(text)
}

/// Sets a value, keeping the spaces and the comment that surround the old one.
fn set(table: &mut dyn TableLike, key: &str, mut value: Value) {
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(old) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => drop(table.insert(key, Item::Value(value))),
    }
}
