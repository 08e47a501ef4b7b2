//! What is recorded: sessions, reps, answers and what was found in them, in session time.
//!
//! Entries say what happened and never how it is stored; places are texts as the page gives them,
//! so that a record stays readable when the score file changes.

use crate::midi::Take;
use crate::time::Micros;

/// The judgement of one rep.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Verdict {
    /// All of it from memory, in order and in time.
    Clean,
    /// As clean, but a cue was shown.
    Prompted,
    /// Anything else.
    Broken,
}

impl Verdict {
    /// Returns the verdict as the player is told it.
    pub fn words(self) -> String {
        match self {
            Verdict::Clean => tr!("clean"),
            Verdict::Prompted => tr!("with a cue"),
            Verdict::Broken => tr!("not clean"),
        }
    }
}

/// Number of a rep within its session, from 0 in the order they began.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct RepNumber(pub u32);

/// One thing to record.
#[derive(Clone, PartialEq, Debug)]
pub enum Entry {
    Rep(Rep),
    /// The player overruled a verdict.
    Overruled {
        rep: RepNumber,
        verdict: Verdict,
        at: Micros,
    },
    Answer(Answer),
    /// The player says of the answer of this number that it held, or did not.
    AnswerOverruled {
        answer: u32,
        outcome: Outcome,
        at: Micros,
    },
    Spot(Spot),
    /// What the player has set of the numbers that reps of the session are judged by, as lines of a settings file; not empty.
    JudgedBy {
        settings: String,
        at: Micros,
    },
}

/// One attempt at a span from memory; also a reading take, which is played from the page.
#[derive(Clone, PartialEq, Debug)]
pub struct Rep {
    pub number: RepNumber,
    pub mode: Mode,
    /// Name of the span as shown.
    pub span: String,
    /// Printed labels of its first and last bar.
    pub bars: (String, String),
    pub started: Micros,
    pub ended: Micros,
    pub verdict: Verdict,
    pub witness: Witness,
    /// The first place that failed and why, in the player's words; none for a clean rep.
    pub reason: Option<Reason>,
    pub happenings: Vec<Happening>,
    pub n_notes_due: u32,
    pub n_notes_right: u32,
    /// Quarters a minute over the rep; none when too short to tell.
    pub tempo: Option<f64>,
    /// What a run-through came to; none for any other mode.
    pub run: Option<Run>,
    /// What was played, from the first note of the rep.
    pub take: Take,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Mode {
    /// From the page, to show that the piece is ready.
    Reading,
    /// A section, or sections joined, from memory.
    Drill,
    /// The whole piece as on stage.
    RunThrough,
}

/// Whose word an outcome rests on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Witness {
    /// It was heard through the instrument.
    Heard,
    /// Nothing was heard: the player says so.
    Told,
}

/// What a run-through came to.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Run {
    /// Bars due in playing order, and how many of them were played.
    pub n_bars: u32,
    pub n_bars_played: u32,
    /// It went from the first bar to the last, and every lapse was recovered.
    pub is_held: bool,
    /// In the order they happened.
    pub lapses: Vec<Lapse>,
    /// How steady it was, bar by bar in the order played; bars that a lapse was in are left out, and all of a run too short to tell.
    pub bars: Vec<BarPace>,
    /// Whether `bars` are set against the player's own reading, or else against the page.
    pub by_reading: bool,
}

/// How fast one bar of a run-through was.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct BarPace {
    /// Printed label.
    pub bar: String,
    /// Thousandths of the tempo that the run set out with: above 1000 is faster.
    pub permille: u32,
}

/// One failure of memory in a run-through, and the way back.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Lapse {
    pub at: Micros,
    /// `bar.beat` of the first thing that failed.
    pub place: String,
    /// As [`Happening::kind`].
    pub kind: &'static str,
    pub recovery: Recovery,
    /// `bar.beat` where the player was going again; none when they were not.
    pub going_at: Option<String>,
    /// Time beyond what the music takes, until the player was going again.
    pub lost: Micros,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Recovery {
    /// Played on from where it happened.
    WentOn,
    /// Went ahead to a landmark or another later place.
    Landmark,
    /// Went back.
    Restarted,
    NotRecovered,
}

/// A question of the quiz and how it was answered.
#[derive(Clone, PartialEq, Debug)]
pub struct Answer {
    /// Number of the question within its session, from 0.
    pub number: u32,
    pub kind: QuestionKind,
    /// `bar.beat` where the answer begins; for a switch, which of its exits was asked for.
    pub place: String,
    pub asked: Micros,
    /// When the first right onset came: from `asked` to here is the recall time.
    pub first_right: Option<Micros>,
    pub ended: Micros,
    pub outcome: Outcome,
    pub witness: Witness,
    /// For a jump: notes played between the call and going again.
    pub n_notes_between: Option<u32>,
    pub happenings: Vec<Happening>,
    /// What was played, from the first note after the question.
    pub take: Take,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum QuestionKind {
    /// Begin at a landmark with no run-up.
    ColdStart,
    /// Go on after the last bar's cue.
    GoOn,
    /// Only the next harmony of the left hand.
    WhatNext,
    /// One exit of a switch.
    Switch,
    /// To a landmark in the middle of playing.
    Jump,
    /// Which lever or pedal moves at a place, and on from there.
    Change,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Outcome {
    Held,
    /// Something else was played, or the player says that it did not hold.
    Failed,
    OutOfTime,
}

/// A place that failed and wants a line of story: put off, or told.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Spot {
    pub at: Micros,
    /// `bar.beat` as in a piece file.
    pub place: String,
    /// `left` or `right`, where one hand is meant.
    pub hand: Option<&'static str>,
    /// The line of story; none while it is put off.
    pub text: Option<String>,
    /// What was typed for it and not finished.
    pub typed: Option<String>,
}

/// Why and where a rep was not clean.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Reason {
    /// `bar.beat` as in a piece file.
    pub place: String,
    /// One of a closed list of words, so that records can be counted: see [`Happening::kind`].
    pub kind: &'static str,
    /// A sentence for the player; names a place and a hand, never a note.
    pub words: String,
}

/// What is noted of an answer under which the instrument went away: it says nothing of the player's memory.
pub const GONE: &str = "gone";

/// Something noted during a rep or an answer.
#[derive(Clone, PartialEq, Debug)]
pub struct Happening {
    pub at: Micros,
    /// `wrong`, `missed`, `extra`, `restart`, `jump`, `wrong-turn`, `setting`, `hesitation`, `prompt-1` to `prompt-3`, `tempo`, `abandoned`,
    /// [`GONE`].
    pub kind: &'static str,
    /// `bar.beat` as in a piece file.
    pub place: String,
    /// `left` or `right`, where one hand is meant.
    pub hand: Option<&'static str>,
    /// Of a `setting`: which lever or pedal, and how the page has it, as [`crate::setting::Stand`] is written; none of any other kind.
    pub setting: Option<String>,
}
