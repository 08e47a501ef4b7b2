//! Until when silence is natural.
//!
//! Hesitation = the silence outgrows `max(E + 0.5 s, A * 1.75 E, E exp(m + 4 sigma))`, where E is the
//! score distance at the local tempo (median of the last 8 steps, reset after a stop), m and sigma
//! this place's timing habit and A the allowance at the end of a phrase (EVIDENCE.md section 3,
//! "Proposed model"; ratios rather than differences after Repp 1997).

use super::constants::Constants;

/// Steps whose median is the local tempo.
const STEPS: usize = 8;

/// The last steps' seconds per quarter, newest last.
#[derive(Clone, Debug, Default)]
pub(super) struct Pace {
    recent: [f64; STEPS],
    n: usize,
    next: usize,
}

impl Pace {
    pub fn push(&mut self, seconds_per_quarter: f64) {
        self.recent[self.next] = seconds_per_quarter;
        self.next = (self.next + 1) % STEPS;
        self.n = (self.n + 1).min(STEPS);
    }

    pub fn reset(&mut self) {
        self.n = 0;
        self.next = 0;
    }

    /// Returns the median of the last steps, or `None` before three of them.
    pub fn median(&self) -> Option<f64> {
        if self.n < 3 {
            return None;
        }
        let mut sorted = self.recent;
        let sorted = &mut sorted[..self.n];
        sorted.sort_unstable_by(f64::total_cmp);
        Some(if self.n % 2 == 1 { sorted[self.n / 2] } else { 0.5 * (sorted[self.n / 2 - 1] + sorted[self.n / 2]) })
    }
}

/// Returns how long after an onset silence becomes a hesitation, in seconds.
///
/// `expected` is the time to the next onset, `habit` mean and spread of its log ratio at this place,
/// `allowance` the factor A.
pub(super) fn wait(expected: f64, habit: (f64, f64), allowance: f64, c: &Constants) -> f64 {
    let (mean, sd) = habit;
    (expected + c.wait_floor).max(allowance * c.wait_factor * expected).max(expected * (mean.max(0.0) + 4.0 * sd).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The check values of EVIDENCE.md section 3.
    #[test]
    fn waits_are_those_of_the_worked_examples() {
        let c = Constants { wait_floor: 0.5, wait_factor: 1.75, ..Constants::LEARNED };
        for (expected, mean, allowance, wanted) in [
            (0.25, 0.0, 1.0, 0.75),
            (0.5, 0.0, 1.0, 1.0),
            (1.0, 0.0, 1.0, 1.75),
            (0.25, 0.0, 2.0, 0.875),
            (0.5, 0.0, 2.0, 1.75),
            (1.0, 0.0, 2.0, 3.5),
            (0.5, 2f64.ln(), 1.0, 1.616),
        ] {
            let got = wait(expected, (mean, 0.12), allowance, &c);
            assert!((got - wanted).abs() < 1e-3, "{expected} {mean} {allowance}: {got}");
        }
    }
}
