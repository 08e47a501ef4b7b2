//! A span laid out for practice: its line, its bars as the ribbon shows them, the cues that belong to it.

use std::ops::{Range, RangeInclusive};
use std::sync::Arc;

use super::fading::{self, CueKey};
use super::glissando::{Glissando, glissandi};
use super::habits::Habits;
use super::run::pace::Pace;
use crate::follower::{Line, LineNoteIdx, OnsetIdx};
use crate::journal::entry::Mode;
use crate::language::named::shown;
use crate::midi::Hearing;
use crate::piece::{Cue, Piece};
use crate::score::{BarRange, Place, PlayedNote, Score, Unfolded, unfold};
use crate::setting::{self, Moved, Stand, Together};
use crate::theory::harp::HarpString;
use crate::theory::{KeySignature, Letter};
use crate::time::Tempo;

/// One section, several joined, or the whole piece, ready to be played.
#[derive(Clone, Debug)]
pub struct Span {
    /// As it stands in the journal.
    pub name: String,
    /// As it is shown.
    pub shown: String,
    pub mode: Mode,
    pub line: Arc<Line>,
    /// Printed label of each bar in playing order.
    pub bars: Vec<String>,
    pub target: u8,
    /// The piece's cues by the first onset they speak for, sorted; the second is an index into [`Piece::cues`].
    cues: Vec<(OnsetIdx, usize)>,
    /// What earlier takes taught.
    pub habits: Habits,
    /// How long each bar took when it was read from the page; none without a reading take.
    pub pace: Option<Pace>,
    /// The stretch itself, note for note in the order of the line.
    pub stretch: Unfolded,
    /// Where sections meet in a join, as bars in playing order: the last of one and the first of the next. Empty in all else.
    pub seams: Vec<Range<usize>>,
    /// Which of the piece's sections are joined; empty in all else.
    pub joined: Range<usize>,
    /// How the instrument is heard.
    pub hearing: Arc<Hearing>,
    /// The string of each note of the line; empty on a keyboard.
    strings: Arc<Vec<Strung>>,
    pub glissandi: Arc<Vec<Glissando>>,
    /// Cues drafted for what levers and pedals do, in playing order.
    moves: Vec<MoveCue>,
    /// Cues that are not shown first any more.
    pub(super) hidden: Vec<CueKey>,
    /// It begins and ends in the middle of its bars: a rep of it shows nothing of them.
    pub is_excerpt: bool,
    /// Slowest and fastest tempo of a clean rep as a share of the one set, where it is not that of all others.
    pub tempo_share: Option<(f64, f64)>,
}

/// A cue for a move of levers or pedals.
#[derive(Clone, Debug)]
struct MoveCue {
    /// From the first onset after the move to the one that needs it.
    onsets: RangeInclusive<usize>,
    cue: Cue,
    /// The piece has a cue of its own at that place.
    is_told: bool,
}

/// A note as a string that is set.
#[derive(Clone, Copy, Debug)]
pub struct Strung {
    pub moved: Moved,
    pub letter: Letter,
    /// The accidental that is written.
    pub alter: i8,
    /// The key that would sound without it.
    pub natural: i32,
    /// The signature where the note stands.
    pub key: KeySignature,
}

impl Strung {
    /// Returns the lever or pedal, as the page has it here.
    pub fn stand(&self) -> Stand {
        Stand { what: self.moved, alter: self.alter }
    }
}

impl Span {
    /// Lays out a run of bars; `None` when it has no notes.
    pub fn new(piece: &Piece, name: String, mode: Mode, bars: &BarRange, target: u8) -> Option<Span> {
        Span::of_stretch(piece, name, mode, unfold(&piece.score, piece.part(), bars), target)
    }

    /// Lays out a stretch that is in playing order already; `None` when it has no notes.
    pub fn of_stretch(piece: &Piece, name: String, mode: Mode, stretch: Unfolded, target: u8) -> Option<Span> {
        let score = &piece.score;
        let starts = piece.sections.iter().map(|s| Place::start_of(s.bars.start));
        let landmarks: Vec<Place> = piece.landmarks.iter().map(|l| l.place).chain(starts).collect();
        let mut line = Line::new(score, piece.part(), &stretch, &landmarks)?;
        line.tempo = piece.tempo.or(line.tempo);
        let strings = Arc::new(strings(piece, &stretch));
        let glissandi = Arc::new(glissandi(piece, &stretch));
        let hearing = Arc::clone(&piece.hearing);
        if let Some(harp) = &piece.harp {
            line.lay_on_strings(harp, piece.part(), &stretch, hearing.matching);
            line.rolling = Some(piece.manner.rolling());
        }
        let plan = piece.harp.as_ref().map(|harp| setting::plan(harp, score, piece.part(), &stretch, piece.tempo));
        line.moves = plan.iter().flat_map(|plan| &plan.changes).map(|change| change.played).collect();
        let moves = plan.map_or_else(Vec::new, |plan| plan.together().iter().map(|moved| MoveCue::new(moved, score, &line)).collect());
        let bars = stretch.bars.iter().map(|b| score.bar(b.bar).label.to_string()).collect();
        let (line, cues, habits, seams) = (Arc::new(line), Vec::new(), Habits::default(), Vec::new());
        let mut span = Span {
            shown: shown(&name),
            name,
            mode,
            line,
            bars,
            target,
            cues,
            habits,
            pace: None,
            stretch,
            seams,
            joined: 0..0,
            hearing,
            strings,
            glissandi,
            moves,
            hidden: Vec::new(),
            is_excerpt: false,
            tempo_share: None,
        };
        span.lay_cues(&piece.cues);
        Some(span)
    }

    /// Hears the span as the piece is heard now.
    pub fn hear_as(&mut self, piece: &Piece) {
        if (&self.hearing, self.line.rolling) != (&piece.hearing, piece.harp.as_ref().map(|_| piece.manner.rolling()))
            && let Some(anew) = Span::of_stretch(piece, String::new(), self.mode, self.stretch.clone(), self.target)
        {
            (self.line, self.hearing) = (anew.line, anew.hearing);
        }
    }

    /// Returns a note's string; none on a keyboard.
    pub fn strung(&self, note: LineNoteIdx) -> Option<&Strung> {
        self.strings.get(note.0)
    }

    /// Takes the cues of the piece as they are now.
    pub fn lay_cues(&mut self, cues: &[Cue]) {
        self.cues.clear();
        for (cue_idx, cue) in cues.iter().enumerate() {
            for (played, bar) in self.stretch.bars.iter().enumerate().filter(|(_, b)| b.bar == cue.place.bar) {
                let at = bar.start + cue.place.into_bar;
                let onset = self.line.onsets.partition_point(|o| o.at < at);
                // A cue placed after the last note of its bar speaks for what follows it in that bar only.
                if self.line.onsets.get(onset).is_some_and(|o| o.played_bar == played) {
                    self.cues.push((OnsetIdx(onset), cue_idx));
                }
            }
        }
        self.cues.sort();
        for moved in &mut self.moves {
            moved.is_told = cues.iter().any(|cue| cue.place == moved.cue.place);
        }
    }

    /// Lays out a run of bars to be drilled; `None` when it has no notes.
    pub fn drill(piece: &Piece, name: String, bars: &BarRange, target: u8) -> Option<Span> {
        Span::new(piece, name, Mode::Drill, bars, target)
    }

    pub fn is_drill(&self) -> bool {
        self.mode == Mode::Drill
    }

    /// Returns the spans of a session: each section as a drill, then the whole piece as a run-through.
    pub fn of_piece(piece: &Piece) -> Vec<Span> {
        let mut spans: Vec<Span> = piece
            .sections
            .iter()
            .filter_map(|s| Span::drill(piece, s.name.clone(), &s.bars, s.target_reps.unwrap_or(piece.target_reps)))
            .collect();
        spans.extend(Span::whole(piece, Mode::RunThrough));
        spans
    }

    /// Lays out the whole piece; `None` when it has no notes.
    pub fn whole(piece: &Piece, mode: Mode) -> Option<Span> {
        Span::new(piece, "whole piece".to_owned(), mode, &piece.score.all_bars()?, 1)
    }

    /// Returns the cue that speaks for an onset, as an index into the piece's cues: one placed on it, else the
    /// nearest before it within its own bar or the bar before. Of several at one place the last is meant: one for a hand says
    /// more than one for both, and stands after it.
    pub fn cue_for(&self, onset: OnsetIdx) -> Option<usize> {
        let before = self.cues.partition_point(|(at, _)| *at <= onset);
        let (at, cue) = *self.cues[..before].last()?;
        let near = self.line.onset(at).played_bar + 1 >= self.line.onset(onset).played_bar;
        near.then_some(cue)
    }

    /// Returns the cue to prompt an onset with: that of the piece, or one drafted for a lever or pedal that moves since and of which the piece
    /// says nothing.
    pub fn prompt_for<'a>(&'a self, onset: OnsetIdx, piece: &'a Piece) -> Option<&'a Cue> {
        let moved = self.moves.iter().rfind(|moved| !moved.is_told && moved.onsets.contains(&onset.0));
        let is_own_nearer = |moved: &&MoveCue| self.cues.iter().any(|(at, _)| (moved.onsets.start()..=&onset.0).contains(&&at.0));
        let drafted = moved.filter(|moved| !is_own_nearer(moved)).map(|moved| &moved.cue);
        drafted.or_else(|| self.cue_for(onset).map(|cue| &piece.cues[cue]))
    }

    /// Returns the cue placed on an onset, of the piece or drafted for what moves.
    pub fn cue_at<'a>(&'a self, onset: OnsetIdx, piece: &'a Piece) -> Option<&'a Cue> {
        let own = self.cues.iter().find(|(at, _)| *at == onset).map(|(_, cue)| &piece.cues[*cue]);
        own.or_else(|| self.moves.iter().find(|moved| !moved.is_told && *moved.onsets.start() == onset.0).map(|moved| &moved.cue))
    }

    /// Returns the index in the part of a note of the line.
    pub fn note_of(&self, note: LineNoteIdx) -> usize {
        self.stretch.notes[note.0].note.0
    }

    /// Returns the place of an onset on the page.
    pub fn place(&self, onset: OnsetIdx) -> Place {
        self.line.onset(onset).place
    }

    /// Tells whether a cue is not shown first any more.
    pub(super) fn is_hidden(&self, cue: &Cue) -> bool {
        self.hidden.contains(&fading::key(cue))
    }

    /// Takes another tempo to be followed at.
    pub(super) fn set_tempo(&mut self, tempo: Option<Tempo>) {
        Arc::make_mut(&mut self.line).tempo = tempo;
    }

    /// Returns the printed labels of the first and the last bar; of an excerpt the places of its first and last onset, `5.2`.
    pub fn ends(&self, score: &Score) -> (String, String) {
        if self.is_excerpt {
            let place = |onset: usize| self.place(OnsetIdx(onset)).text(score);
            return (place(0), place(self.n_onsets() - 1));
        }
        let label = |bar: Option<&String>| bar.cloned().unwrap_or_default();
        (label(self.bars.first()), label(self.bars.last()))
    }

    /// Lets a section run on into the bars after it, as far as there are any.
    pub fn run_on(&self, piece: &Piece, n_bars: usize) -> Option<Span> {
        let section = piece.sections.iter().find(|s| s.name == self.name).filter(|_| self.is_drill() && self.joined.is_empty())?;
        let end = (section.bars.end.0 + n_bars).min(piece.score.bars.len());
        Span::drill(piece, self.name.clone(), &BarRange::try_new(section.bars.start.0..end)?, self.target)
    }

    pub fn n_onsets(&self) -> usize {
        self.line.onsets.len()
    }
}

impl MoveCue {
    fn new(moved: &Together, score: &Score, line: &Line) -> MoveCue {
        let first = line.onsets.partition_point(|o| o.at < moved.played);
        let needed = line.onsets.partition_point(|o| o.at < moved.needed);
        let cue = Cue { place: moved.place, hand: None, text: moved.cue(score), more: Some(moved.words(score)) };
        MoveCue { onsets: first..=needed.max(first), cue, is_told: false }
    }
}

/// The string of each note of a stretch; nothing for a keyboard.
fn strings(piece: &Piece, stretch: &Unfolded) -> Vec<Strung> {
    let Some(harp) = &piece.harp else { return Vec::new() };
    let of = |played: &PlayedNote| {
        let pitch = piece.part().notes[played.note.0].pitch;
        Strung {
            moved: Moved::of(harp, HarpString::of(pitch)),
            letter: pitch.letter,
            alter: pitch.alter,
            natural: i32::from(played.key.number()) - i32::from(pitch.alter),
            key: piece.score.bar(stretch.bars[played.played_bar].bar).key,
        }
    };
    stretch.notes.iter().map(of).collect()
}
