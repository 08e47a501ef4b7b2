//! The prompt ladder: from hesitation to cue, fuller cue, page; one rung at a time, each only if silence lasts.

use super::config::LadderConfig;
use crate::follower::OnsetIdx;
use crate::time::Micros;

/// The ladder at one hesitation. Gone as soon as the right onset comes.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Ladder {
    /// The onset that should have come.
    pub onset: OnsetIdx,
    /// The rung shown: 0 before the first.
    pub rung: u8,
    /// When the next rung is due; none on the last.
    pub next: Option<Micros>,
}

impl Ladder {
    pub const PAGE: u8 = 3;

    pub fn begin(onset: OnsetIdx, hesitated_at: Micros, config: &LadderConfig) -> Self {
        Ladder { onset, rung: 0, next: Some(hesitated_at + config.first_cue) }
    }

    /// Leaves the first rung out, at its time: nothing is shown until the one after it is due.
    pub fn pass_over(&mut self, has_fuller: bool, config: &LadderConfig) {
        self.rung = 1;
        self.next = self.next.map(|now| now + if has_fuller { config.fuller_cue } else { config.page });
    }

    /// Climbs to the next rung, at its time. A rung with nothing of its own to say is skipped: without a cue the page
    /// comes first, without a fuller cue it comes second.
    pub fn climb(&mut self, has_cue: bool, has_fuller: bool, config: &LadderConfig) {
        let Some(now) = self.next else { return };
        self.rung = match self.rung {
            0 if has_cue => 1,
            0 | 1 if has_fuller => 2,
            _ => Ladder::PAGE,
        };
        self.next = match self.rung {
            1 => Some(now + if has_fuller { config.fuller_cue } else { config.page }),
            2 => Some(now + config.page),
            _ => None,
        };
    }
}
