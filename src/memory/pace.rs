//! How long things take this player: their own record, drawn towards a default while it is short.

use crate::journal::attempts::Attempt;
use crate::journal::entry::{Mode, Verdict};

/// Reps that the default weighs as much as.
const DEFAULT_WEIGHT: f64 = 6.0;
/// A pause longer than this is no pause between reps.
const BETWEEN_S_MAX: f64 = 120.0;
/// The latest reps that are looked at.
pub const N_LATEST: usize = 400;

/// What the minutes of a plan are reckoned with.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Pace {
    /// Seconds from the end of one rep to the beginning of the next.
    pub between_s: f64,
    /// Attempts for each clean rep of something new.
    pub tries_per_clean: f64,
}

impl Default for Pace {
    /// Reasoned defaults: pauses of some ten seconds between reps, about every second attempt at something new clean.
    fn default() -> Self {
        Pace { between_s: 12.0, tries_per_clean: 2.0 }
    }
}

impl Pace {
    /// Reads the pace out of reps in the order they were played.
    pub fn of(reps: &[Attempt]) -> Pace {
        let default = Pace::default();
        let latest = &reps[reps.len().saturating_sub(N_LATEST)..];
        let mut pauses: Vec<f64> = latest
            .windows(2)
            .map(|w| (w[1].at - w[0].at).num_microseconds().unwrap_or(i64::MAX) as f64 / 1e6 - w[0].length.0 as f64 / 1e6)
            .filter(|s| (0.0..BETWEEN_S_MAX).contains(s))
            .collect();
        let drills = latest.iter().filter(|r| r.mode == Mode::Drill);
        let n_drills = drills.clone().count() as f64;
        let n_clean = drills.filter(|r| r.verdict == Verdict::Clean).count() as f64;
        Pace {
            between_s: drawn(pauses.len() as f64, median(&mut pauses), default.between_s),
            // What is new fails at least as often as what is drilled as a whole.
            tries_per_clean: ((n_drills + DEFAULT_WEIGHT) / (n_clean + DEFAULT_WEIGHT / default.tries_per_clean)).min(6.0),
        }
    }

    /// Returns the seconds of one attempt, pause included, at something that takes `seconds` to play.
    pub fn attempt_s(&self, seconds: f64) -> f64 {
        seconds + self.between_s
    }
}

/// Returns how many seconds a span takes this player: the median of their clean reps of it, drawn towards `default_s`.
pub fn seconds(mut clean_s: Vec<f64>, default_s: f64) -> f64 {
    drawn(clean_s.len() as f64, median(&mut clean_s), default_s)
}

fn drawn(n: f64, own: Option<f64>, default: f64) -> f64 {
    own.map_or(default, |own| (n * own + DEFAULT_WEIGHT * default) / (n + DEFAULT_WEIGHT))
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_reps_move_the_default_little_and_many_replace_it() {
        assert_eq!(seconds(Vec::new(), 20.0), 20.0);
        assert_eq!(seconds(vec![38.0; 2], 20.0), 24.5);
        assert!((seconds(vec![38.0; 600], 20.0) - 38.0).abs() < 0.2);
    }
}
