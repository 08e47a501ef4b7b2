//! What does not change while following: the line laid out, the constants, the densities made of them.

use super::constants::Constants;
use super::habit::RestartHabit;
use super::landing::Landing;
use super::plan::Plan;
use super::timing::{Delays, TempoBelief};

/// Keys that an instrument spans, for the chance of hitting any one of them by accident.
pub(super) const ANY_KEY: f64 = 1.0 / 48.0;

/// Chance that what was played instead of a harp's note is its string with the lever or pedal set otherwise (a reasoned default:
/// about as often as not, where such a key comes).
const SETTING: f64 = 0.5;

/// What does not change while following: shared by every update.
#[derive(Clone, Debug)]
pub(super) struct Model {
    pub plan: Plan,
    pub constants: Constants,
    pub delays: Delays,
    pub landing: Landing,
    pub restarts: Option<RestartHabit>,
    pub wrong_key: [f64; 13],
}

impl Model {
    pub fn new(plan: Plan, constants: Constants, restarts: Option<RestartHabit>) -> Model {
        let far = (1.0 - 2.0 * constants.near_one - 2.0 * constants.near_two).max(0.02) * ANY_KEY;
        let mut wrong_key = [far; 13];
        wrong_key[1] += constants.near_one;
        wrong_key[2] += constants.near_two;
        let (delays, landing) = (Delays::new(&constants), Landing::new(&plan, &constants));
        Model { plan, constants, delays, landing, restarts, wrong_key }
    }

    /// Returns the expected seconds between two onsets at a tempo. The player's timing habit is left out on purpose: it
    /// sharpens the clock of hesitations, but made following worse where a place is played otherwise than usual.
    pub fn expected(&self, from: usize, to: usize, tempo: &TempoBelief) -> f64 {
        ((self.plan.at[to] - self.plan.at[from]) * tempo.log_spq.exp()).max(0.01)
    }

    /// Chance that a key was struck by mistake for one of an onset's notes still due, and for which.
    pub fn mistaken(&self, onset: usize, key: u8, played: u32) -> Option<(f64, usize)> {
        let open = self.plan.due[onset] & !played;
        if open == 0 {
            return None;
        }
        let first = self.plan.first[onset] as usize;
        let (mut sum, mut best, mut best_p) = (0.0, 0, -1.0);
        let mut rest = open;
        while rest != 0 {
            let k = rest.trailing_zeros() as usize;
            rest &= rest - 1;
            let apart = self.wrong_key[(self.plan.keys[first + k].abs_diff(key) as usize).min(12)];
            let p = if self.plan.is_setting(first + k, key) { apart.max(SETTING) } else { apart };
            sum += p;
            if p > best_p {
                (best, best_p) = (k, p);
            }
        }
        Some((sum / f64::from(open.count_ones()), best))
    }
}
