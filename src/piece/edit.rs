//! Changes to a `piece.toml` that leave everything else as the player wrote it: comments, order, spacing.
//!
//! Each edit takes the text and gives the changed text back; writing it to disk is the shell's work.

use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use super::file::{HANDS, PieceFile};
use super::text::{Error, Source};
use super::{Cue, parse_bars};
use crate::score::{BarRange, Place, Score};
use crate::theory::Hand;

/// Puts a cue at its place: in place of the one that stands there for the same hand, or as a new
/// one after the last cue that comes before it on the page.
///
/// A cue without a fuller text leaves the fuller text of the one it replaces.
///
/// # Errors
/// When the text is not a piece file (see [`PieceFile::parse`]), or a cue in it names no place of the score.
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
    let mut doc = open(text, file_name)?;
    let places = cue_places(text, file_name, score)?;
    match places.iter().position(|&at| at == (cue.place, cue.hand)) {
        Some(idx) => {
            let standing = nth(&mut doc, "cue", idx).expect("the parsed file has as many cues");
            set(standing, "text", cue.text.as_str());
            if let Some(more) = &cue.more {
                set(standing, "more", more.as_str());
            }
        }
        None => {
            let after = places.iter().rposition(|(place, _)| *place <= cue.place).map_or(0, |i| i + 1);
            let mut keys = vec![("at", cue.place.text(score))];
            keys.extend(cue.hand.map(|h| ("hand", hand_word(h).to_owned())));
            keys.push(("text", cue.text.clone()));
            keys.extend(cue.more.clone().map(|m| ("more", m)));
            insert(&mut doc, "cue", after, &keys);
        }
    }
    close(doc, text, file_name)
}

/// Takes the cue for a place and hand away, with the comments right above it. Without such a cue the text comes back as it is.
///
/// # Errors
/// As [`add_cue`].
pub fn remove_cue(text: &str, file_name: &str, score: &Score, place: Place, hand: Option<Hand>) -> Result<String, Error> {
    let mut doc = open(text, file_name)?;
    let places = cue_places(text, file_name, score)?;
    if let Some(idx) = places.iter().position(|&at| at == (place, hand)) {
        match doc.get_mut("cue") {
            Some(Item::ArrayOfTables(tables)) => drop(tables.remove(idx)),
            Some(Item::Value(Value::Array(array))) => drop(array.remove(idx)),
            _ => {}
        }
    }
    close(doc, text, file_name)
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
        None => set(doc.as_table_mut(), "reps", i64::from(reps)),
        Some(name) => {
            if let Some(idx) = sections.iter().position(|s| s.name.value == name) {
                let standing = nth(&mut doc, "section", idx).expect("the parsed file has as many sections");
                set(standing, "reps", i64::from(reps));
            }
        }
    }
    close(doc, text, file_name)
}

/// Adds a section after the last one that begins before it.
///
/// # Errors
/// When the text is not a piece file, or a section in it names no bars of the score. Whether the
/// new section fits its neighbours is for [`PieceFile::check`] to say.
pub fn add_section(text: &str, file_name: &str, score: &Score, name: &str, bars: &BarRange) -> Result<String, Error> {
    let mut doc = open(text, file_name)?;
    let mut starts = Vec::new();
    for section in PieceFile::parse(text, file_name)?.sections {
        let read = parse_bars(&section.bars.value, score).map_err(|hint| {
            Error::new(file_name, section.bars.place, "printed bars", format!("{:?}", section.bars.value)).with_hint(hint)
        })?;
        starts.push(read.start);
    }
    let after = starts.iter().rposition(|start| *start < bars.start).map_or(0, |i| i + 1);
    let label = |bar: usize| score.bars.get(bar).map(|b| b.label.to_string()).unwrap_or_default();
    let (first, last) = (label(bars.start.0), label(bars.end.0.saturating_sub(1)));
    let range = if bars.n_bars() == 1 { first } else { format!("{first}-{last}") };
    insert(&mut doc, "section", after, &[("name", name.to_owned()), ("bars", range)]);
    close(doc, text, file_name)
}

/// Reads the text, as a piece file first: its complaints are the better ones.
fn open(text: &str, file_name: &str) -> Result<DocumentMut, Error> {
    PieceFile::parse(text, file_name)?;
    text.parse::<DocumentMut>().map_err(|e| {
        let place = Source { file: file_name, text }.place(e.span().map_or(0, |s| s.start));
        Error::new(file_name, place, "TOML that can be read", format!("an error in it: {}", e.message()))
    })
}

/// Writes the text, after reading it back: an edit must never leave a file that is refused later.
///
/// The writer knows only bare line feeds; a file with the line ends of Windows gets them back.
fn close(doc: DocumentMut, before: &str, file_name: &str) -> Result<String, Error> {
    let mut text = doc.to_string();
    if before.contains("\r\n") {
        text = text.replace("\r\n", "\n").replace('\n', "\r\n");
    }
    PieceFile::parse(&text, file_name)?;
    Ok(text)
}

fn cue_places(text: &str, file_name: &str, score: &Score) -> Result<Vec<(Place, Option<Hand>)>, Error> {
    let cues = PieceFile::parse(text, file_name)?.cues;
    let place = |cue: &super::file::CueKeys| {
        Place::parse(&cue.at.value, score).map_err(|e| {
            Error::new(file_name, cue.at.place, "a place in the score", format!("{:?}", cue.at.value)).with_hint(e.to_string())
        })
    };
    cues.iter().map(|cue| Ok((place(cue)?, cue.hand.map(|h| h.value)))).collect()
}

fn hand_word(hand: Hand) -> &'static str {
    HANDS.iter().find(|(_, h)| *h == hand).map_or("left", |(word, _)| word)
}

fn nth<'d>(doc: &'d mut DocumentMut, key: &str, idx: usize) -> Option<&'d mut dyn TableLike> {
    match doc.get_mut(key)? {
        Item::ArrayOfTables(tables) => tables.get_mut(idx).map(|t| t as &mut dyn TableLike),
        Item::Value(Value::Array(array)) => array.get_mut(idx)?.as_inline_table_mut().map(|t| t as &mut dyn TableLike),
        _ => None,
    }
}

/// Sets a value, keeping the spaces and the comment that surround the old one.
fn set(table: &mut dyn TableLike, key: &str, value: impl Into<Value>) {
    let mut value = value.into();
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(old) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => drop(table.insert(key, Item::Value(value))),
    }
}

/// Puts a new `[[key]]` before the one at `idx`, or an inline table where the file has a list of those.
fn insert(doc: &mut DocumentMut, key: &str, idx: usize, keys: &[(&str, String)]) {
    if let Some(Item::Value(Value::Array(array))) = doc.get_mut(key) {
        let mut table = InlineTable::new();
        keys.iter().for_each(|(k, v)| drop(table.insert(*k, v.as_str().into())));
        array.insert(idx.min(array.len()), table);
        return;
    }
    let mut table = Table::new();
    keys.iter().for_each(|(k, v)| drop(table.insert(k, toml_edit::value(v.as_str()))));
    let item = doc.entry(key).or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
    if let Item::ArrayOfTables(tables) = item {
        tables.insert(idx.min(tables.len()), table);
    }
}
