//! Until when silence is natural.
//!
//! Hesitation = the silence outgrows `max(E + floor, A * k * E, E exp(m + 4 sigma))`, where E is the score
//! distance at the local tempo, m and sigma this place's timing habit and A the allowance at the end of
//! a phrase or where a lever or pedal moves (a model of this project, fitted on public recordings; ratios rather than differences after Repp 1997).
//!
//! Two things differ from the model as proposed, by measurement on 44 performances: the tempo is the
//! filter's, not the median of the last 8 steps, and where the player is slowing down E is longer by as
//! much (see [`slowing`]): phrases end in ritardandi that build up over several notes (Repp 1992). Together they
//! allow a floor of 0.37 s where 0.5 s was needed, at fewer false alarms. And as long as the tempo itself is not known, in
//! the first notes of a take, E is longer by three times its uncertainty.

use super::constants::Constants;

/// Steps are taken as slowing by at most this log ratio (a factor of 1.5).
const SLOWING_MAX: f64 = 0.4;

/// Steps that take longer by this log ratio (twice the time, the 99 % ratio of fluent playing) are stops, and say nothing
/// about the tempo.
const STOP_RATIO: f64 = 0.7;

/// Returns the log factor by which the next step is likely to be longer, from the last two log ratios, newest first.
pub(super) fn slowing(ratios: [f64; 2]) -> f64 {
    let [last, before] = ratios.map(|r| if r < STOP_RATIO { r } else { 0.0 });
    last.max(0.5 * (last + before)).clamp(0.0, SLOWING_MAX)
}

/// Returns how long after an onset silence becomes a hesitation, in seconds.
///
/// `expected` is the time to the next onset, this place's habit of slowing included; `sd` the spread of its log
/// ratio there; `allowance` the factor A.
pub(super) fn wait(expected: f64, sd: f64, allowance: f64, c: &Constants) -> f64 {
    (expected + c.wait_floor).max(allowance * c.wait_factor * expected).max(expected * (4.0 * sd).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand from the formula above (the last one with m = ln 2 at E = 0.5 s).
    #[test]
    fn waits_are_those_of_the_worked_examples() {
        let c = Constants { wait_floor: 0.5, wait_factor: 1.75, ..Constants::LEARNED };
        for (expected, allowance, wanted) in
            [(0.25, 1.0, 0.75), (0.5, 1.0, 1.0), (1.0, 1.0, 1.75), (0.25, 2.0, 0.875), (0.5, 2.0, 1.75), (1.0, 2.0, 3.5)]
        {
            let got = wait(expected, 0.12, allowance, &c);
            assert!((got - wanted).abs() < 1e-3, "{expected} {allowance}: {got}");
        }
        let known = Constants { wait_factor: 1.0, ..c };
        assert!((wait(0.5 * 2.0, 0.12, 1.0, &known) - 1.616).abs() < 1e-3);
    }
}
