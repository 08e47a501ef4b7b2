//! The built-in player: plays a stretch of score the way a person does, seeded, slips and all.
//!
//! Pure: the same stretch, manner and seed give the same take. The demo listens to it, and tests
//! use it as their double.

use crate::midi::Take;
use crate::score::Unfolded;
use crate::theory::Hand;
use crate::time::{Micros, ScoreTime, Tempo};

/// How the player plays: speed, steadiness, rolls, and what goes wrong on purpose.
#[derive(Clone, PartialEq, Debug)]
pub struct Manner {
    pub tempo: Tempo,
    /// Spread of the log ratio of played to written time between onsets (0 = a machine; 0.06 to 0.15 = people).
    pub timing_sd: f64,
    /// Spread of a chord's notes around its onset when it is not rolled.
    pub chord_spread: Micros,
    /// Length of a rolled chord from first to last note.
    pub roll: Micros,
    pub seed: u64,
    /// What happens on purpose, in any order.
    pub planned: Vec<Planned>,
}

/// One thing that happens on purpose; `at` is quarters from the start of the stretch.
#[derive(Clone, PartialEq, Debug)]
pub enum Planned {
    /// Silence before the onset at `at`, on top of its time.
    Pause { at: ScoreTime, length: Micros },
    /// The outer note of a hand is missed by a step.
    Wrong { at: ScoreTime, hand: Hand },
    /// The outer note of a hand is left out.
    Miss { at: ScoreTime, hand: Hand },
    /// After the onset at `at`, goes back to the onset at `to` after `pause`.
    Restart { at: ScoreTime, to: ScoreTime, pause: Micros },
    /// After the onset at `at`, goes on at the later onset `to` after `pause`.
    Jump { at: ScoreTime, to: ScoreTime, pause: Micros },
    /// Stops for good after the onset at `at`.
    Stop { at: ScoreTime },
}

/// Plays a stretch; the first onset comes at time zero.
pub fn perform(stretch: &Unfolded, manner: &Manner) -> Take {
    let _ = (stretch, manner);
    Take::default()
}
