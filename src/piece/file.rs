//! `piece.toml` as it is written: each field mirrors a key of the text, with its place.
//!
//! Nothing here has seen the score: [`PieceFile::check`] sets the two against each
//! other. The keys, all in one example:
//!
//! ```toml
#![doc = include_str!("reference.toml")]
//! ```

use chrono::{Datelike, NaiveDate};
use toml_edit::Value;

use super::manner::{ANCHORS, Manner, ROLL_MS_MAX};
use super::text::{At, Error, Keys, Source};
use super::{Instrument, Judging};
use crate::midi::MatchMode;
use crate::theory::Hand;
use crate::time::Micros;

/// The text of a piece file that has every key in it, explained.
pub const REFERENCE: &str = include_str!("reference.toml");

/// The text of a `piece.toml`, key by key.
#[derive(Clone, PartialEq, Debug)]
pub struct PieceFile {
    /// Name of the file, for messages.
    pub file_name: String,
    pub title: At<String>,
    /// Path of the score file, relative to the piece's folder.
    pub score: At<String>,
    pub part: Option<At<String>>,
    pub instrument: Option<At<Instrument>>,
    /// Quarter notes a minute.
    pub tempo: Option<At<f64>>,
    /// 1 to 9.
    pub reps: Option<At<u8>>,
    pub perform_on: Option<At<NaiveDate>>,
    pub judging: JudgingKeys,
    pub harp: HarpKeys,
    pub sections: Vec<SectionKeys>,
    pub cues: Vec<CueKeys>,
    pub landmarks: Vec<LandmarkKeys>,
}

/// `[judging]`.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct JudgingKeys {
    /// Percent, 0 to 100.
    pub inner_notes: Option<At<f64>>,
    pub in_a_row: Option<At<bool>>,
}

/// `[harp]`.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct HarpKeys {
    pub lowest: Option<At<String>>,
    pub highest: Option<At<String>>,
    /// Major key of a lever harp's open strings, counted in sharps (negative: flats).
    pub tuning: Option<At<i8>>,
    /// Strings apart by spaces.
    pub fixed: Option<At<String>>,
    pub matching: Option<At<MatchMode>>,
    /// Longest roll of a chord in milliseconds, 0 to 400.
    pub roll_ms: Option<At<i64>>,
    /// The last note of a roll is on the beat.
    pub roll_anchor: Option<At<bool>>,
}

impl HarpKeys {
    /// Returns how the harp is played and heard, as far as the file says so.
    pub fn manner(&self) -> Manner {
        Manner {
            matching: self.matching.map(|m| m.value),
            roll_longest: self.roll_ms.map(|ms| Micros::from_millis(ms.value)),
            roll_ends_on_beat: self.roll_anchor.map(|a| a.value),
        }
    }
}

/// `[[section]]`.
#[derive(Clone, PartialEq, Debug)]
pub struct SectionKeys {
    pub name: At<String>,
    pub bars: At<String>,
    pub reps: Option<At<u8>>,
}

/// `[[cue]]`.
#[derive(Clone, PartialEq, Debug)]
pub struct CueKeys {
    pub at: At<String>,
    pub hand: Option<At<Hand>>,
    pub text: At<String>,
    pub more: Option<At<String>>,
}

/// `[[landmark]]`.
#[derive(Clone, PartialEq, Debug)]
pub struct LandmarkKeys {
    pub at: At<String>,
    pub name: At<String>,
    pub setting: Option<At<String>>,
}

const PIECE_KEYS: [&str; 12] =
    ["title", "score", "part", "instrument", "tempo", "reps", "perform_on", "judging", "harp", "section", "cue", "landmark"];
/// Major keys by their sharps (negative: flats).
const TUNINGS: [(&str, i8); 15] = [
    ("Cb", -7),
    ("Gb", -6),
    ("Db", -5),
    ("Ab", -4),
    ("Eb", -3),
    ("Bb", -2),
    ("F", -1),
    ("C", 0),
    ("G", 1),
    ("D", 2),
    ("A", 3),
    ("E", 4),
    ("B", 5),
    ("F#", 6),
    ("C#", 7),
];
pub(super) const HANDS: [(&str, Hand); 2] = [("left", Hand::Left), ("right", Hand::Right)];
pub(super) const INSTRUMENTS: [(&str, Instrument); 3] =
    [("lever-harp", Instrument::LeverHarp), ("pedal-harp", Instrument::PedalHarp), ("keyboard", Instrument::Keyboard)];

impl PieceFile {
    /// Reads the text of a piece file; `file_name` serves messages.
    ///
    /// # Errors
    /// When the text is not TOML, a key is unknown, missing or of the wrong kind.
    pub fn parse(text: &str, file_name: &str) -> Result<PieceFile, Error> {
        let source = Source::new(file_name, text);
        let root = source.parse()?;
        // A missing key is complained of at the top of the file.
        let keys = Keys::try_new(source, root.get_ref(), 0..0, msgid!("a piece file"), &PIECE_KEYS)?;
        let judging = match keys.table("judging", "[judging]", &["inner-notes", "in-a-row"])? {
            Some(keys) => JudgingKeys { inner_notes: keys.number("inner-notes", 0.0..=100.0)?, in_a_row: keys.boolean("in-a-row")? },
            None => JudgingKeys::default(),
        };
        let harp = match keys.table("harp", "[harp]", &["lowest", "highest", "tuning", "fixed", "match", "roll-ms", "roll-anchor"])? {
            Some(keys) => HarpKeys {
                lowest: keys.optional_string("lowest")?,
                highest: keys.optional_string("highest")?,
                tuning: keys.word("tuning", &TUNINGS)?,
                fixed: keys.optional_string("fixed")?,
                matching: keys.word("match", &MatchMode::WORDS)?,
                roll_ms: keys.integer("roll-ms", 0..=ROLL_MS_MAX)?,
                roll_anchor: keys.word("roll-anchor", &ANCHORS)?,
            },
            None => HarpKeys::default(),
        };
        let section = |keys: Keys<'_, '_>| {
            Ok(SectionKeys { name: keys.required_string("name")?, bars: keys.required_string("bars")?, reps: reps(&keys)? })
        };
        let cue = |keys: Keys<'_, '_>| {
            Ok(CueKeys {
                at: keys.required_string("at")?,
                hand: keys.word("hand", &HANDS)?,
                text: keys.required_string("text")?,
                more: keys.optional_string("more")?,
            })
        };
        let landmark = |keys: Keys<'_, '_>| {
            Ok(LandmarkKeys {
                at: keys.required_string("at")?,
                name: keys.required_string("name")?,
                setting: keys.optional_string("setting")?,
            })
        };
        Ok(PieceFile {
            file_name: file_name.to_owned(),
            title: keys.required_string("title")?,
            score: keys.required_string("score")?,
            part: keys.optional_string("part")?,
            instrument: keys.word("instrument", &INSTRUMENTS)?,
            tempo: keys.number("tempo", 1.0..=2000.0)?,
            reps: reps(&keys)?,
            perform_on: keys.date("perform_on")?,
            judging,
            harp,
            sections: keys
                .tables("section", "[[section]]", &["name", "bars", "reps"])?
                .into_iter()
                .map(section)
                .collect::<Result<_, Error>>()?,
            cues: keys.tables("cue", "[[cue]]", &["at", "hand", "text", "more"])?.into_iter().map(cue).collect::<Result<_, Error>>()?,
            landmarks: keys
                .tables("landmark", "[[landmark]]", &["at", "name", "setting"])?
                .into_iter()
                .map(landmark)
                .collect::<Result<_, Error>>()?,
        })
    }
}

fn reps(keys: &Keys<'_, '_>) -> Result<Option<At<u8>>, Error> {
    let value = keys.integer("reps", 1..=9)?;
    Ok(value.map(|at| At { value: at.value as u8, place: at.place }))
}

impl JudgingKeys {
    /// Returns the rules with what the file leaves out filled in.
    pub fn rules(&self) -> Judging {
        let default = Judging::default();
        Judging {
            inner_notes_min: self.inner_notes.map_or(default.inner_notes_min, |p| p.value / 100.0),
            in_a_row: self.in_a_row.map_or(default.in_a_row, |b| b.value),
        }
    }
}

impl PieceFile {
    /// Writes the text of a new piece file: keys in the order of the reference above, no comments.
    /// What [`parse`](Self::parse) reads from it equals this value.
    pub fn write(&self) -> String {
        let mut out = String::new();
        let mut line = |key: &str, value: Option<Value>| {
            if let Some(value) = value {
                out.push_str(&format!("{key} = {value}\n"));
            }
        };
        let reps = |reps: &Option<At<u8>>| reps.map(|r| Value::from(i64::from(r.value)));
        line("title", text(&self.title));
        line("score", text(&self.score));
        line("part", self.part.as_ref().and_then(text));
        line("instrument", self.instrument.map(|i| word(&INSTRUMENTS, i.value)));
        line("tempo", self.tempo.map(|t| Value::from(t.value)));
        line("reps", reps(&self.reps));
        line("perform_on", self.perform_on.map(|d| date(d.value)));
        if self.judging != JudgingKeys::default() {
            line("\n[judging]\ninner-notes", self.judging.inner_notes.map(|p| Value::from(p.value)));
            let head = if self.judging.inner_notes.is_some() { "in-a-row" } else { "\n[judging]\nin-a-row" };
            line(head, self.judging.in_a_row.map(|b| Value::from(b.value)));
        }
        let HarpKeys { lowest, highest, tuning, fixed, matching, roll_ms, roll_anchor } = &self.harp;
        let harp = [
            ("lowest", lowest.as_ref().and_then(text)),
            ("highest", highest.as_ref().and_then(text)),
            ("tuning", tuning.map(|t| word(&TUNINGS, t.value))),
            ("fixed", fixed.as_ref().and_then(text)),
            ("match", matching.map(|m| word(&MatchMode::WORDS, m.value))),
            ("roll-ms", roll_ms.map(|ms| Value::from(ms.value))),
            ("roll-anchor", roll_anchor.map(|a| word(&ANCHORS, a.value))),
        ];
        let mut head = "\n[harp]\n";
        for (key, value) in harp.into_iter().filter(|(_, value)| value.is_some()) {
            line(&format!("{head}{key}"), value);
            head = "";
        }
        for section in &self.sections {
            line("\n[[section]]\nname", text(&section.name));
            line("bars", text(&section.bars));
            line("reps", reps(&section.reps));
        }
        for cue in &self.cues {
            line("\n[[cue]]\nat", text(&cue.at));
            line("hand", cue.hand.map(|h| word(&HANDS, h.value)));
            line("text", text(&cue.text));
            line("more", cue.more.as_ref().and_then(text));
        }
        for landmark in &self.landmarks {
            line("\n[[landmark]]\nat", text(&landmark.at));
            line("name", text(&landmark.name));
            line("setting", landmark.setting.as_ref().and_then(text));
        }
        out
    }
}

fn date(day: NaiveDate) -> Value {
    let date = toml_edit::Date { year: u16::try_from(day.year()).unwrap_or(0), month: day.month() as u8, day: day.day() as u8 };
    Value::from(toml_edit::Datetime { date: Some(date), time: None, offset: None })
}

fn text(at: &At<String>) -> Option<Value> {
    Some(Value::from(at.value.as_str()))
}

fn word<T: PartialEq>(words: &[(&str, T)], value: T) -> Value {
    Value::from(words.iter().find(|(_, v)| *v == value).map_or("", |(word, _)| word))
}
