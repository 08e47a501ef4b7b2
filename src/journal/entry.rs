//! What is recorded: sessions, reps and what was found in them, in session time.
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
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Clean => "clean",
            Verdict::Prompted => "with a cue",
            Verdict::Broken => "not clean",
        }
    }
}

/// Number of a rep within its session, from 0 in the order they began.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct RepNumber(pub u32);

/// One thing to record.
#[derive(Clone, PartialEq, Debug)]
#[expect(clippy::large_enum_variant, reason = "nearly every entry is a rep, and none is kept in bulk")]
pub enum Entry {
    Rep(Rep),
    /// The player overruled a verdict.
    Overruled {
        rep: RepNumber,
        verdict: Verdict,
        at: Micros,
    },
}

/// One attempt at a span from memory.
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
    /// The first place that failed and why, in the player's words; none for a clean rep.
    pub reason: Option<Reason>,
    pub happenings: Vec<Happening>,
    pub n_notes_due: u32,
    pub n_notes_right: u32,
    /// Quarters a minute over the rep; none when too short to tell.
    pub tempo: Option<f64>,
    /// What was played, from the first note of the rep.
    pub take: Take,
}

#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Mode {
    Drill,
    RunThrough,
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

/// Something noted during a rep.
#[derive(Clone, PartialEq, Debug)]
pub struct Happening {
    pub at: Micros,
    /// `wrong`, `missed`, `extra`, `restart`, `jump`, `wrong-turn`, `setting`, `hesitation`, `prompt-1` to `prompt-3`, `tempo`, `abandoned`.
    pub kind: &'static str,
    /// `bar.beat` as in a piece file.
    pub place: String,
    /// `left` or `right`, where one hand is meant.
    pub hand: Option<&'static str>,
}
