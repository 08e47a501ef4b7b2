//! Where a player goes on who does not go on with the next onset.

use super::constants::Constants;
use super::habit::RestartHabit;
use super::plan::Plan;

/// The chance of landing on each onset, given where the player was: players start again at the bar, at
/// sections and landmarks, more than elsewhere (Williamon & Valentine 2002; the jump model of
/// Nakamura, Nakamura & Sagayama, arXiv 1404.2313, with its uniform destination made uneven).
#[derive(Clone, Debug)]
pub(super) struct Landing {
    any_bar: f64,
    weighty_bar: f64,
    any: f64,
}

/// Bars before the present one that are likely to be gone back to, and onsets around the present one.
const BARS_BACK: u32 = 3;
const NEAR: usize = 8;
/// How the chances of going back to a section, and of skipping to one, are shared out: nearest first.
const SECTIONS_BACK: [f64; 3] = [0.3, 0.12, 0.08];
const SECTIONS_AHEAD: [f64; 4] = [0.17, 0.15, 0.1, 0.08];
const PERIODS_BACK: [f64; 2] = [0.42, 0.08];
const PERIODS_AHEAD: [f64; 2] = [0.25, 0.25];

impl Landing {
    pub fn new(plan: &Plan, c: &Constants) -> Landing {
        let n_bars = plan.bars.len() as f64;
        let n_weighty = plan.weighty.iter().filter(|w| **w).count().max(1) as f64;
        Landing {
            any_bar: 0.5 * c.to_any_bar / n_bars,
            weighty_bar: 0.5 * c.to_any_bar / n_weighty,
            any: c.to_any / plan.n_onsets() as f64,
        }
    }

    /// Chance of landing on `to` from nowhere in particular.
    pub fn anywhere(&self, plan: &Plan, to: usize) -> f64 {
        let bar = plan.bar[to] as usize;
        let mut p = self.any;
        if plan.bar_start[to] as usize == to {
            p += self.any_bar;
            if plan.weighty[bar] {
                p += self.weighty_bar;
            }
        }
        p
    }

    /// The highest chance that [`Landing::anywhere`] gives.
    pub fn anywhere_most(&self) -> f64 {
        self.any + self.any_bar + self.weighty_bar
    }

    /// Returns the places that are likelier from `from` than from elsewhere, with what is added to each.
    pub fn likely(&self, plan: &Plan, from: usize, habit: Option<&RestartHabit>, c: &Constants, out: &mut Vec<(u32, f64)>) {
        out.clear();
        let bar = plan.bar[from];
        out.push((plan.bars[bar as usize], c.to_bar));
        for back in 1..=BARS_BACK.min(bar) {
            out.push((plan.bars[(bar - back) as usize], c.to_bars_before * 0.5f64.powi(back as i32)));
        }
        // The sections of the piece and periods of eight bars, half and half.
        let mut starts = |starts: &[u32], back: &[f64], ahead: &[f64]| {
            let after = starts.partition_point(|s| *s as usize <= from);
            out.extend(starts[..after].iter().rev().zip(back).map(|(s, share)| (*s, c.to_section * share)));
            out.extend(starts[after..].iter().zip(ahead).map(|(s, share)| (*s, c.to_next_sections * share)));
        };
        starts(&plan.sections, &SECTIONS_BACK, &SECTIONS_AHEAD);
        starts(&plan.periods, &PERIODS_BACK, &PERIODS_AHEAD);
        let near = from.saturating_sub(NEAR)..(from + NEAR + 1).min(plan.n_onsets());
        let each = c.to_near / near.len() as f64;
        for to in near {
            out.push((to as u32, each));
        }
        if let Some(habit) = habit {
            habit.mix_into(out);
        }
    }
}
