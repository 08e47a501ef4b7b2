//! Where the engine stands: a rep on, or what is shown and listened for between the reps.

use super::in_turns::Owed;
use super::rep::Attempt;
use crate::journal::entry::{Rep, RepNumber, Verdict};
use crate::time::Micros;

/// What stands between the reps.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Show {
    Ready,
    Done {
        verdict: Verdict,
        words: String,
        /// When a pause for breath is over; none where nobody paces.
        rest: Option<Micros>,
    },
    Look {
        words: String,
        bar: usize,
    },
    SpanDone {
        until: Micros,
    },
    /// The rep ended, and it is the turn of the span `to`.
    Turn {
        to: usize,
        verdict: Verdict,
        words: String,
        until: Micros,
    },
    /// The places of the span `of` that have no line of story, in words; the span after it is on offer, unless it was the last.
    Places {
        of: usize,
        places: Vec<String>,
        is_last: bool,
    },
}

pub(super) enum Phase {
    /// No rep is on.
    Between {
        show: Show,
        ears: Ears,
    },
    /// `after` is what stood on the screen when the rep began.
    Playing {
        attempt: Box<Attempt>,
        after: Show,
    },
    Paused,
    Finished {
        account: Vec<String>,
    },
}

/// What listens between the reps for the beginning of one.
#[derive(Default)]
pub(super) struct Ears {
    /// Hears whether what is played since the last silence begins the span.
    pub candidate: Option<Box<Attempt>>,
    /// While a lead-in is on offer: hears whether the span is begun from its top instead.
    pub from_top: Option<Box<Attempt>>,
    /// The rep that broke, listened to further: a player who plays on is not beginning anew, one who goes back to the top is.
    pub broken: Option<Box<Attempt>>,
    /// A rep of something else broke just before: here too, a player who plays on is not beginning.
    pub plays_on: bool,
    /// Notes heard since the last rep ended.
    pub n_notes: usize,
}

/// The reps of one span in this session.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    pub verdicts: Vec<Verdict>,
    pub numbers: Vec<RepNumber>,
    /// Extra or fewer reps asked for by the player.
    pub target: u8,
    /// It stood on the screen in this session.
    pub was_offered: bool,
    pub owed: Owed,
    /// It was said that too little of it is clean.
    pub is_warned: bool,
}

impl Phase {
    pub fn between(show: Show) -> Phase {
        Phase::Between { show, ears: Ears::default() }
    }
}

impl Tally {
    pub fn n_clean(&self, in_a_row: bool) -> u8 {
        let clean = |v: &&Verdict| **v == Verdict::Clean;
        let n = if in_a_row { self.verdicts.iter().rev().take_while(clean).count() } else { self.verdicts.iter().filter(clean).count() };
        u8::try_from(n).unwrap_or(u8::MAX)
    }

    /// Changes the last verdict, here and among the session's `reps`; returns the number of its rep, if that changed anything.
    pub fn overrule(&mut self, verdict: Verdict, reps: &mut [Rep]) -> Option<RepNumber> {
        let (last, rep) = (self.verdicts.last_mut()?, *self.numbers.last()?);
        if *last == verdict {
            return None;
        }
        *last = verdict;
        if let Some(judged) = reps.iter_mut().find(|r| r.number == rep) {
            judged.verdict = verdict;
        }
        Some(rep)
    }
}
