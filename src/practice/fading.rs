//! Cues fade: one that its place held without, so many times since it was last needed, is not shown first any more.
//!
//! Help that grows within a trial and shrinks over trials works where plain testing fails, and as well where it works (Finley et al.
//! 2011, J. Mem. Lang. 64:289-298; Fiechter & Benjamin 2018, 2019, Psychon. Bull. Rev.). The cue's fuller words and the page still
//! come, at their own times. Off unless it is asked for.

use std::collections::HashMap;

use super::Engine;
use super::judge::{Fault, Found};
use super::span::Span;
use crate::follower::OnsetIdx;
use crate::journal::entry::Verdict;
use crate::piece::{Cue, Piece};
use crate::score::{BarRange, Place};
use crate::theory::Hand;

/// What tells a cue from others.
pub(super) type CueKey = (Place, Option<Hand>);

/// A rep of an earlier session, as far as it tells of cues.
#[derive(Clone, PartialEq, Debug)]
pub struct PastRep {
    pub bars: BarRange,
    pub verdict: Verdict,
    /// The first place that failed, or needed its cue.
    pub failed: Option<Place>,
}

/// How often each cue's place held without it since it was last needed.
#[derive(Clone, PartialEq, Debug, Default)]
pub(super) struct Fading {
    held: HashMap<CueKey, u8>,
}

pub(super) fn key(cue: &Cue) -> CueKey {
    (cue.place, cue.hand)
}

impl Fading {
    /// Takes in a rep that came as far as `end`, which is left out; `found` is what was found in it.
    pub fn rep(&mut self, span: &Span, piece: &Piece, end: OnsetIdx, found: &[Found]) {
        let for_cue = |f: &Found| span.prompt_for(f.onset, piece).map(key);
        let needed: Vec<CueKey> = found.iter().filter(|f| matches!(f.fault, Fault::Prompt(_))).filter_map(for_cue).collect();
        let shaky: Vec<CueKey> = found.iter().filter_map(for_cue).collect();
        for onset in (0..end.0.min(span.n_onsets())).map(OnsetIdx) {
            let Some(cue) = span.cue_at(onset, piece).map(key) else { continue };
            let held = self.held.entry(cue).or_default();
            if needed.contains(&cue) {
                *held = 0;
            } else if !shaky.contains(&cue) {
                *held = held.saturating_add(1);
            }
        }
        self.held.extend(needed.iter().map(|cue| (*cue, 0)));
    }

    /// Takes in a rep of an earlier session: of one that was not clean only that it failed.
    fn past(&mut self, rep: &PastRep, cues: &[Cue]) {
        for cue in cues.iter().filter(|cue| (rep.bars.start..rep.bars.end).contains(&cue.place.bar)) {
            let held = self.held.entry(key(cue)).or_default();
            // A cue speaks for its own bar and the one after.
            let is_near = rep.failed.is_some_and(|at| cue.place <= at && at.bar.0 <= cue.place.bar.0 + 1);
            match rep.verdict {
                Verdict::Clean => *held = held.saturating_add(1),
                Verdict::Prompted | Verdict::Broken if is_near => *held = 0,
                Verdict::Prompted | Verdict::Broken => {}
            }
        }
    }

    /// Returns the cues that are not shown first any more.
    pub fn hidden(&self, after: u8) -> Vec<CueKey> {
        self.held.iter().filter(|(_, n)| after > 0 && **n >= after).map(|(cue, _)| *cue).collect()
    }

    /// A line was told anew: it has held nothing yet.
    pub fn forget(&mut self, cue: &Cue) {
        self.held.remove(&key(cue));
    }
}

impl Engine {
    /// Takes the reps of earlier sessions, oldest first: how often each cue was not needed.
    #[must_use]
    pub fn with_past(mut self, reps: &[PastRep]) -> Self {
        reps.iter().for_each(|rep| self.fading.past(rep, &self.piece.cues));
        self.fade();
        self
    }

    /// Lets the spans know which cues are not shown first.
    pub(super) fn fade(&mut self) {
        let hidden = self.fading.hidden(self.config.ladder.hide_after);
        for span in &mut self.spans {
            span.hidden.clone_from(&hidden);
        }
    }
}
