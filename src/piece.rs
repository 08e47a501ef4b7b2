//! A piece: a folder with `piece.toml` and its score, checked against each other.
//!
//! [`Piece`] is the checked value the rest of the program uses; [`PieceFile`] mirrors the text and
//! [`PieceFile::check`] makes one of the other. Text in, text out: reading the folder is the
//! shell's work. Knows no player and no journal.

mod check;
pub mod edit;
pub mod file;
mod manner;
pub mod merge;
mod relabel;
pub mod text;

pub use check::Lists;
pub use file::PieceFile;
pub use manner::{ANCHORS, Manner, ROLL_MS_MAX};
pub use relabel::relabel;
pub use text::Error;

use std::sync::Arc;

use chrono::NaiveDate;

use crate::midi::Hearing;
use crate::score::{BarIdx, BarRange, Part, Place, Score};
use crate::theory::Hand;
use crate::theory::harp::Harp;
use crate::time::Tempo;

/// One work ready to practise: its score, and the player's sections, cues and landmarks in it.
#[derive(Clone, PartialEq, Debug)]
pub struct Piece {
    pub title: String,
    pub score: Arc<Score>,
    /// Index of the player's part in [`Score::parts`].
    pub part: usize,
    pub instrument: Instrument,
    /// The player's harp; none for a keyboard.
    pub harp: Option<Harp>,
    /// How the harp is played and heard, as far as the piece file says so. Whoever opens the instrument adds what the settings say.
    pub manner: Manner,
    /// How the instrument is heard. A piece as it is read is heard plainly; whoever opens the instrument knows more.
    pub hearing: Arc<Hearing>,
    /// The tempo the player set; where there is one, reps are held to 85 to 115 % of it.
    pub tempo: Option<Tempo>,
    /// Clean reps wanted for each section, 1 to 9.
    pub target_reps: u8,
    /// Whether the piece file says so; else what the settings say may take its place.
    pub says_reps: bool,
    /// The day it is to be performed.
    pub perform_on: Option<NaiveDate>,
    pub judging: Judging,
    /// In page order; at least one. Neighbours share at most one bar.
    pub sections: Vec<Section>,
    /// Sorted by place, then hand.
    pub cues: Vec<Cue>,
    /// Sorted by place.
    pub landmarks: Vec<Landmark>,
}

impl Piece {
    /// Clean reps wanted where nothing else is said.
    pub const TARGET_REPS: u8 = 3;

    /// Makes a piece of a bare score: sections of four bars, no cues. Returns `None` when the score
    /// has no bars or no such part.
    ///
    /// The instrument is a pedal harp when the part has pedal diagrams, a lever harp when its name
    /// has "harp" in it, and a keyboard otherwise.
    pub fn of_score(score: Arc<Score>, part: usize, title: &str) -> Option<Piece> {
        let own = score.parts.get(part)?;
        let sections = four_bar_sections(&score);
        if sections.is_empty() {
            return None;
        }
        let instrument = if !own.pedal_diagrams.is_empty() {
            Instrument::PedalHarp
        } else if own.name.to_lowercase().contains("harp") && !own.name.to_lowercase().contains("harpsi") {
            Instrument::LeverHarp
        } else {
            Instrument::Keyboard
        };
        Some(Piece {
            title: title.to_owned(),
            part,
            instrument,
            harp: instrument.usual_harp(),
            manner: Manner::default(),
            hearing: Arc::default(),
            tempo: None,
            target_reps: Piece::TARGET_REPS,
            says_reps: false,
            perform_on: None,
            judging: Judging::default(),
            sections,
            cues: Vec::new(),
            landmarks: Vec::new(),
            score,
        })
    }

    /// Finds a span by the name of a section (letter case does not matter) or by printed bars (`5-8`).
    ///
    /// # Errors
    /// When it is neither; the message names the sections and the bars there are.
    pub fn find_span(&self, text: &str) -> Result<(String, BarRange), SpanError> {
        let wanted = text.trim();
        if let Some(section) = self.sections.iter().find(|s| s.name.to_lowercase() == wanted.to_lowercase()) {
            return Ok((section.name.clone(), section.bars.clone()));
        }
        parse_bars(wanted, &self.score).map(|bars| (bars_words(&bars, &self.score), bars)).map_err(|_| SpanError {
            found: wanted.to_owned(),
            sections: self.sections.iter().map(|s| format!("{:?}", s.name)).collect::<Vec<_>>().join(", "),
            first: self.score.bars.first().map(|b| b.label.to_string()).unwrap_or_default(),
            last: self.score.bars.last().map(|b| b.label.to_string()).unwrap_or_default(),
        })
    }

    pub fn part(&self) -> &Part {
        &self.score.parts[self.part]
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Instrument {
    LeverHarp,
    PedalHarp,
    Keyboard,
}

impl Instrument {
    /// Returns the harp that is meant where nothing else is said; none for a keyboard.
    pub fn usual_harp(self) -> Option<Harp> {
        match self {
            Instrument::LeverHarp => Some(Harp::lever()),
            Instrument::PedalHarp => Some(Harp::concert()),
            Instrument::Keyboard => None,
        }
    }
}

/// A short run of bars practised as a unit, named by the player.
#[derive(Clone, PartialEq, Debug)]
pub struct Section {
    pub name: String,
    pub bars: BarRange,
    /// Overrides [`Piece::target_reps`].
    pub target_reps: Option<u8>,
}

/// A phrase in the player's words, tied to a place.
#[derive(Clone, PartialEq, Debug)]
pub struct Cue {
    pub place: Place,
    pub hand: Option<Hand>,
    /// Shown first: a few words.
    pub text: String,
    /// Shown when the first was not enough.
    pub more: Option<String>,
}

/// A place from which the player can start cold.
#[derive(Clone, PartialEq, Debug)]
pub struct Landmark {
    pub place: Place,
    pub name: String,
    /// Levers or pedals there, in the player's words.
    pub setting: Option<String>,
}

/// What a clean rep may still have wrong, and how reps are counted.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Judging {
    /// Share of the inner notes that must be right, `0.0..=1.0`; 1 is strict. Top line and bass are always held to all.
    pub inner_notes_min: f64,
    /// A rep that is not clean sets the count of clean ones back to nothing.
    pub in_a_row: bool,
}

impl Default for Judging {
    fn default() -> Self {
        Judging { inner_notes_min: 0.95, in_a_row: false }
    }
}

/// A text that names no span of the piece.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}", tr!("expected a section ({sections}) or printed bars from {first} to {last} such as \"{first}-{last}\", found {found}", sections, first, last, found = format!("{found:?}")))]
pub struct SpanError {
    pub found: String,
    pub sections: String,
    pub first: String,
    pub last: String,
}

/// Reads printed bars: `5-8`, or one bar, `5`. A label may itself hold a dash.
///
/// # Errors
/// A sentence that says what is wrong and what there is.
pub fn parse_bars(text: &str, score: &Score) -> Result<BarRange, String> {
    let text = text.trim();
    let one_after = |start: BarIdx, end: BarIdx| BarRange::try_new(start.0..end.0 + 1);
    if let Some(bar) = score.find_bar(text) {
        return one_after(bar, bar).ok_or_else(|| tr!("the range is empty"));
    }
    let splits = text.char_indices().filter(|(_, c)| matches!(c, '-' | '\u{2013}'));
    let pairs: Vec<(&str, &str)> = splits.map(|(i, c)| (text[..i].trim(), text[i + c.len_utf8()..].trim())).collect();
    for (first, last) in &pairs {
        if let (Some(start), Some(end)) = (score.find_bar(first), score.find_bar(last)) {
            return one_after(start, end).ok_or_else(|| tr!("bar {last} stands before bar {first}", last, first));
        }
    }
    let missing = match pairs.first() {
        Some((first, _)) if score.find_bar(first).is_none() => first,
        Some((_, last)) => last,
        None => text,
    };
    let (first, last) = (score.bars.first(), score.bars.last());
    let label = |bar: Option<&crate::score::Bar>| bar.map_or_else(|| tr!("none"), |b| b.label.to_string());
    Err(tr!(
        "there is no bar {label}; the score has bars {first} to {last}",
        label = format!("{missing:?}"),
        first = label(first),
        last = label(last)
    ))
}

/// Returns `bars 5-8`, or `bar 5`, in printed labels.
pub fn bars_words(bars: &BarRange, score: &Score) -> String {
    format!("{} {}", if bars.n_bars() == 1 { "bar" } else { "bars" }, bars_text(bars, score))
}

/// Returns `5-8`, or `5`, in printed labels: what [`parse_bars`] reads.
pub fn bars_text(bars: &BarRange, score: &Score) -> String {
    let (first, last) = (&score.bar(bars.start).label, &score.bar(BarIdx(bars.end.0 - 1)).label);
    if bars.n_bars() == 1 { first.to_string() } else { format!("{first}-{last}") }
}

/// Cuts a score every four bars. A pickup goes with the bars it leads to, endings stay with the
/// bars they end, and a last single bar joins the section before. Empty for a score without bars.
pub fn four_bar_sections(score: &Score) -> Vec<Section> {
    let n_bars = score.bars.len();
    let is_pickup = |bar: usize| score.bars[bar].length < score.bars[bar].meter.bar_length();
    let mut cuts = vec![0];
    let mut at = 0;
    while at < n_bars {
        let mut end = at + 4 + usize::from(at == 0 && is_pickup(0));
        while end < n_bars && !score.bars[end].signs.endings.is_empty() {
            end += 1;
        }
        at = if end + 1 >= n_bars { n_bars } else { end };
        cuts.push(at);
    }
    let ranges = cuts.windows(2).filter_map(|w| BarRange::try_new(w[0]..w[1]));
    ranges.map(|bars| Section { name: bars_words(&bars, score), bars, target_reps: None }).collect()
}
