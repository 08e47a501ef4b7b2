//! What a screen may know: the state of practice at one moment, in words ready to show.
//!
//! Never a note name of what to play: places, counts and the player's own cues only.

use crate::journal::entry::{Mode, Verdict};

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
    pub stage: Stage<'a>,
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
    Paused,
    /// The session is over; the account has its lines.
    Finished {
        account: &'a [String],
    },
}
