//! What a screen may know: the state of practice at one moment, in words ready to show.
//!
//! Never a note name of what to play: places, counts and the player's own cues only.

use std::ops::Range;

use super::Command;
use crate::journal::entry::{Mode, QuestionKind, Verdict};
use crate::time::Micros;

/// The state of practice at one moment. Borrowed from the engine, drawn, and dropped.
#[derive(Clone, PartialEq, Debug)]
pub struct View<'a> {
    pub piece: &'a str,
    pub mode: Mode,
    /// Name of the span: `A`, `the lift`, `whole piece`.
    pub span: &'a str,
    /// Which of the piece's spans this is, from 0, and how many there are.
    pub span_idx: usize,
    pub n_spans: usize,
    /// Bars of the span in playing order; the printed label of each.
    pub bars: &'a [String],
    /// Index into `bars` of where the player is; none before the first note.
    pub bar: Option<usize>,
    /// Index into `bars` of the place to look at, after a slip.
    pub look_bar: Option<usize>,
    pub n_clean: u8,
    pub target: u8,
    /// Verdicts of this span's reps in this session, oldest first.
    pub verdicts: &'a [Verdict],
    /// Where sections meet in a join: bars of the span, the last of one section and the first of the next.
    pub seams: &'a [Range<usize>],
    /// A place that failed and may be given a line of story now.
    pub ask: Option<Ask<'a>>,
    pub stage: Stage<'a>,
}

/// When breaks are suggested, and how long they are.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Breaks {
    /// So much playing, and the break after it (musicians' health pages: 5 minutes in 25; the exact figures are common practice rather than
    /// proven).
    pub after: Micros,
    pub length: Micros,
}

impl Breaks {
    pub const USUAL: Breaks = Breaks { after: Micros(25 * 60_000_000), length: Micros(5 * 60_000_000) };
}

/// A place that may be given a line of story; whoever plays on has put it off.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Ask<'a> {
    /// `bar 3, beat 2, left hand`.
    pub place: &'a str,
    /// Lines drafted from the score, to choose from.
    pub drafts: &'a [String],
    /// What was typed before and not finished.
    pub typed: &'a str,
}

/// What the player is doing, and the one thing that may be shown about it.
#[derive(Clone, PartialEq, Debug)]
pub enum Stage<'a> {
    /// Ready for the first note of a rep.
    Waiting,
    /// Playing from memory, nothing to say.
    Playing,
    /// Playing falters: one cue. `rung` is 1 for the cue, 2 for the fuller one, 3 for the page.
    Prompted {
        rung: u8,
        text: &'a str,
    },
    /// The rep broke: where to look on the page, and after a colon what happened there.
    Look {
        words: &'a str,
    },
    /// The rep ended; shown until the next one begins.
    RepDone {
        verdict: Verdict,
        words: &'a str,
    },
    /// The target is reached; the next span follows.
    SpanDone,
    /// Places of the span just done that wait for a line of story, in words; the view's span is the one that follows.
    Places {
        places: &'a [String],
        /// The span done was the last one.
        is_last: bool,
    },
    /// Away from the instrument for so long.
    Rest {
        length: Micros,
    },
    Paused,
    /// Without an instrument: played or imagined where nothing is heard, until the player says so.
    Unheard,
    /// Without an instrument: the player says how it went; each choice with what it means here.
    Mark {
        question: &'a str,
        choices: &'a [(Command, &'a str)],
    },
    Quiz(Quiz<'a>),
    /// The session is over; the account has its lines.
    Finished {
        account: &'a [String],
    },
}

/// Where the quiz stands.
#[derive(Clone, PartialEq, Debug)]
pub enum Quiz<'a> {
    /// Not begun: it begins with the first note, or when the player is ready.
    Ready { length: &'a str, is_told: bool },
    /// A question: what stands large, and what is said about it below.
    Asked { kind: QuestionKind, large: &'a str, small: &'a [String], is_told: bool },
    /// The answer is being played; nothing to say.
    Answering { kind: QuestionKind },
    /// In the middle of playing: where to go at once.
    Called { large: &'a str, small: &'a [String] },
    /// Without an instrument: what to check the answer by, and what may be said of it.
    Mark { question: &'a str, choices: &'a [(Command, &'a str)] },
    /// What the last answer was, at a glance: after a slip where to look.
    Told { is_held: bool, large: &'a str, small: &'a str },
}
