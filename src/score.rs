//! The score as a value: bars as printed, the notes of each part, and the order they are played in.
//!
//! A [`Score`] is folded: every printed bar stands once. [`unfold()`] lays a stretch of bars out in
//! playing order; what follows the player looks at that. Knows no file format and no player.

mod choose;
pub mod hands;
mod order;
mod place;
mod unfold;

pub use choose::{ChoosePartError, ChosenPart};
pub use place::{Place, PlaceError};
pub use unfold::{PlayedBar, PlayedNote, Unfolded, unfold};

use std::fmt;
use std::ops::Range;

use crate::midi::MidiKey;
use crate::theory::harp::PedalSetting;
use crate::theory::{Hand, KeySignature, Meter, SpelledPitch};
use crate::time::{ScoreTime, Tempo};

/// Index of a printed bar in [`Score::bars`], from 0.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct BarIdx(pub usize);

/// What the page prints as a bar's number (`0`, `12`, `12a`); never computed with.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct BarLabel(pub String);

impl fmt::Display for BarLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A run of printed bars, half-open and not empty.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct BarRange {
    pub start: BarIdx,
    pub end: BarIdx,
}

impl BarRange {
    /// Returns the range, or `None` when it is empty.
    pub fn try_new(bars: Range<usize>) -> Option<Self> {
        (bars.start < bars.end).then_some(BarRange { start: BarIdx(bars.start), end: BarIdx(bars.end) })
    }

    pub fn n_bars(&self) -> usize {
        self.end.0 - self.start.0
    }

    pub fn contains(&self, bar: BarIdx) -> bool {
        (self.start..self.end).contains(&bar)
    }

    pub fn iter(&self) -> impl Iterator<Item = BarIdx> + use<> {
        (self.start.0..self.end.0).map(BarIdx)
    }
}

/// One work as printed. Bars are in page order and contiguous: each starts where the one before ends.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Score {
    pub title: Option<String>,
    pub composer: Option<String>,
    pub bars: Vec<Bar>,
    pub parts: Vec<Part>,
    /// Tempo marks with their written position, in order; may be empty.
    pub tempos: Vec<(ScoreTime, Tempo)>,
    /// What the file itself calls the score's first moment, in quarters: below zero when a note list
    /// counts its pickup before zero. Zero for every other format. Add it to a position of this
    /// score to get the file's own.
    pub origin: ScoreTime,
}

impl Score {
    /// Returns the length of the printed score in quarters, repeats not unfolded.
    pub fn total(&self) -> ScoreTime {
        self.bars.last().map_or(ScoreTime::ZERO, |b| b.start + b.length)
    }

    pub fn bar(&self, bar: BarIdx) -> &Bar {
        &self.bars[bar.0]
    }

    /// Returns the whole score as a range, or `None` when it has no bars.
    pub fn all_bars(&self) -> Option<BarRange> {
        BarRange::try_new(0..self.bars.len())
    }

    /// Finds the first bar with this printed label.
    pub fn find_bar(&self, label: &str) -> Option<BarIdx> {
        self.bars.iter().position(|b| b.label.0 == label).map(BarIdx)
    }

    /// Returns the tempo in force at a written position: the last mark at or before it.
    pub fn tempo_at(&self, at: ScoreTime) -> Option<Tempo> {
        let n_before = self.tempos.partition_point(|(t, _)| *t <= at);
        Some(self.tempos[n_before.checked_sub(1)?].1)
    }
}

/// A printed bar.
#[derive(Clone, PartialEq, Debug)]
pub struct Bar {
    pub label: BarLabel,
    /// Quarters from the start of the printed score.
    pub start: ScoreTime,
    /// Actual length in quarters: shorter than the metre's for a pickup or a bar split by a repeat.
    pub length: ScoreTime,
    /// How far into the metre's bar this one begins: above zero only for a pickup, whose notes lead to the next bar line.
    pub offset: ScoreTime,
    pub meter: Meter,
    pub key: KeySignature,
    pub signs: BarSigns,
}

/// The signs that steer playing order or mark form, as they stand at one bar.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct BarSigns {
    pub repeat_start: bool,
    /// Repeat sign at the end of the bar: how many times the passage is played in all (2 when not printed).
    pub repeat_end: Option<u8>,
    /// The repeat is taken again after a D.C. or D.S., against common practice, because the file says so.
    pub repeat_after_jump: bool,
    /// Numbers of the ending bracket over this bar (`[1]`, `[1, 2]`); empty outside brackets.
    pub endings: Vec<u8>,
    pub segno: bool,
    pub coda: bool,
    /// Leave for the coda after this bar, once D.C. or D.S. has been taken.
    pub to_coda: bool,
    /// Stop after this bar, once D.C. or D.S. has been taken.
    pub fine: bool,
    pub da_capo: bool,
    pub dal_segno: bool,
    /// Light-light or light-heavy bar line at the end of the bar.
    pub double_bar: bool,
    /// A new system or page begins here, when the file says so.
    pub new_system: bool,
    pub rehearsal: Option<String>,
}

/// One part: the notes of one player.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Part {
    /// The file's identifier (`P1`), unique in the score.
    pub id: String,
    pub name: String,
    pub n_staves: u8,
    /// Sorted by onset, then sounding pitch, then hand (in a note list: then as the list has them).
    /// Tied notes are joined: one note, one onset.
    pub notes: Vec<Note>,
    /// Harp pedal diagrams with their written position, in order.
    pub pedal_diagrams: Vec<(ScoreTime, PedalSetting)>,
    /// Written positions of fermatas, sorted, no duplicates.
    pub fermatas: Vec<ScoreTime>,
    /// Notes printed with a tie from a note that does not stand right before them on the page, as at
    /// the start of a second ending; sorted. Played after a note of the same key, they are held, not struck.
    pub held_over: Vec<NoteIdx>,
    /// Quarters that this part's own bars hold in all: [`Score::total`] except in damaged files whose
    /// parts disagree about the length of a bar.
    pub held: ScoreTime,
    /// Note heads without a pitch (percussion): counted, never followed.
    pub n_unpitched: u32,
}

/// Index into [`Part::notes`].
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct NoteIdx(pub usize);

/// One note as printed, ties joined.
#[derive(Clone, PartialEq, Debug)]
pub struct Note {
    /// Quarters from the start of the printed score.
    pub onset: ScoreTime,
    /// Quarters, ties included; zero for a grace note.
    pub duration: ScoreTime,
    /// The written pitch.
    pub pitch: SpelledPitch,
    /// The sounding key: transposition and harmonics applied.
    pub key: MidiKey,
    pub hand: Hand,
    /// Staff, from 1 at the top.
    pub staff: u8,
    pub voice: u8,
    /// The bar of the onset.
    pub bar: BarIdx,
    /// Printed note heads that ties join into this note (1 without ties; 0 for a note that is not
    /// printed because a bar-repeat sign stands for it).
    pub n_heads: u16,
    pub ornament: Ornament,
    pub roll: Option<Roll>,
    /// Finger 1 (thumb) to 5 where printed.
    pub finger: Option<u8>,
    pub fermata: bool,
}

impl Note {
    /// Returns a note of one head with nothing marked on it; sounds on `key`, stands on the staff of its hand.
    pub fn plain(onset: ScoreTime, duration: ScoreTime, pitch: SpelledPitch, key: MidiKey, hand: Hand, bar: BarIdx) -> Self {
        Note {
            onset,
            duration,
            pitch,
            key,
            hand,
            staff: if hand == Hand::Right { 1 } else { 2 },
            voice: 1,
            bar,
            n_heads: 1,
            ornament: Ornament::None,
            roll: None,
            finger: None,
            fermata: false,
        }
    }

    /// Tells whether a player may leave the note out: it decorates another, or is cue-sized.
    pub fn is_optional(&self) -> bool {
        matches!(self.ornament, Ornament::Grace | Ornament::Cue)
    }

    /// Tells whether notes around the written one belong to it (trill, mordent, turn, tremolo, glissando).
    pub fn is_free(&self) -> bool {
        !matches!(self.ornament, Ornament::None | Ornament::Grace | Ornament::Cue | Ornament::Harmonic)
    }
}

/// What is done to a note beyond striking it once.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Ornament {
    #[default]
    None,
    /// A grace note: its onset is that of the note it leads to, its length zero.
    Grace,
    /// A cue-sized note, another player's or an alternative: it has a length, but nobody has to play it.
    Cue,
    /// Trill, mordent, turn: neighbours within two semitones are free while it lasts.
    Shake,
    /// Repeated strokes of this note (single-note tremolo).
    Tremolo,
    /// Alternation with the note at its other end.
    TremoloPair,
    /// First note of a glissando that ends on the given sounding key.
    GlissandoTo(MidiKey),
    /// Last note of a glissando.
    GlissandoEnd,
    /// Sounds an octave above the string; `key` is the sounding one.
    Harmonic,
}

/// A chord played one note after the other.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Roll {
    Up,
    Down,
    /// A bracket: explicitly together.
    Together,
}
