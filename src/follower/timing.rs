//! When notes come: densities of delays, and the local tempo.

use super::constants::Constants;

/// The local tempo with its uncertainty.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct LocalTempo {
    /// Quarters a minute.
    pub quarters_per_minute: f64,
    /// Standard deviation of its natural logarithm.
    pub log_sd: f64,
}

/// A running estimate of the log of seconds per quarter at the first tempo mark: a scalar Kalman filter whose gain falls
/// with the surprise of an observation, as for a Student distribution (Lange, Little & Taylor 1989,
/// weight (nu + 1) / (nu + z^2)), so that one late onset does not drag the tempo along.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct TempoBelief {
    pub log_spq: f64,
    pub var: f64,
}

/// Variance beyond which nothing is known of a tempo: a factor of two either way.
const VAR_MAX: f64 = 0.5;

impl TempoBelief {
    pub fn new(seconds_per_quarter: f64, log_sd: f64) -> Self {
        TempoBelief { log_spq: seconds_per_quarter.ln(), var: log_sd * log_sd }
    }

    /// Takes in that `quarters` lasted `exp(surprise)` times as expected; `var_obs` is the variance of that.
    pub fn update(&mut self, surprise: f64, var_obs: f64, constants: &Constants) {
        let predicted = self.var + constants.tempo_walk * constants.tempo_walk;
        let z2 = surprise * surprise / (predicted + var_obs);
        let weight = (constants.ratio_dof + 1.0) / (constants.ratio_dof + z2);
        let gain = predicted / (predicted + var_obs / weight);
        self.log_spq += gain * surprise;
        self.var = ((1.0 - gain) * predicted).min(VAR_MAX);
    }

    /// Returns the tempo where a quarter is `pace` times as long as at the first mark.
    pub fn tempo(&self, pace: f64) -> LocalTempo {
        LocalTempo { quarters_per_minute: 60.0 * (-self.log_spq).exp() / pace, log_sd: self.var.sqrt() }
    }
}

/// Spread of a chord from which it counts as being rolled, seconds; and how much slower than so far a
/// roll may be going on.
const ROLLING_FROM: f64 = 0.06;
const ROLL_SLOWING: f64 = 1.3;

/// Densities that depend on the constants alone, with what can be worked out beforehand.
#[derive(Clone, Debug)]
pub(super) struct Delays {
    tight: (f64, f64),
    rolled: (f64, f64),
    late: (f64, f64),
    stray: (f64, f64),
    stop: LogNormal,
    student: Student,
    share_stop: f64,
    share_rolling: f64,
    jitter2: f64,
    ratio_var: f64,
}

impl Delays {
    pub fn new(c: &Constants) -> Self {
        let part = |share: f64, mean: f64| (share / mean, -1.0 / mean);
        let tight_share = (1.0 - c.share_rolled - c.share_late).max(0.05);
        Delays {
            tight: part(tight_share, c.chord_tight),
            rolled: part(c.share_rolled, c.chord_rolled),
            late: part(c.share_late, c.chord_late),
            stray: part(1.0, c.stray_mean),
            stop: LogNormal::new(c.stop_median, c.stop_sd),
            student: Student::new(c.ratio_dof),
            share_stop: c.share_stop,
            share_rolling: c.share_rolling,
            jitter2: c.jitter * c.jitter,
            ratio_var: c.ratio_sd * c.ratio_sd,
        }
    }

    /// Density of a chord's note `delay` after the chord's first and `gap` after its last so far, `n` notes in: a
    /// mixture of struck together, rolled, and late (hands apart). Once a chord has begun to
    /// spread it goes on as a roll, at the gaps it has had.
    pub fn partner(&self, delay: f64, gap: f64, n: u32) -> f64 {
        let part = |(height, rate): (f64, f64), x: f64| height * (rate * x).exp();
        let flat = part(self.tight, delay) + part(self.rolled, gap) + part(self.late, delay);
        let spread = delay - gap;
        if spread < ROLLING_FROM || n < 2 {
            return flat;
        }
        let mean = ROLL_SLOWING * spread / f64::from(n - 1);
        (1.0 - self.share_rolling) * flat + self.share_rolling / mean * (-gap / mean).exp()
    }

    /// Density of a note that was due with an earlier onset, this long after that onset began.
    pub fn late(&self, delay: f64) -> f64 {
        let part = |(height, rate): (f64, f64)| height * (rate * delay).exp();
        part(self.rolled) + part(self.late)
    }

    /// Density of a note without a place, this long after the last one.
    pub fn stray(&self, delay: f64) -> f64 {
        self.stray.0 * (self.stray.1 * delay.min(2.0)).exp() + 0.02
    }

    /// Density of going on after a stop of this length.
    pub fn stop(&self, delay: f64) -> f64 {
        self.stop.density(delay)
    }

    /// Density of the next onset `elapsed` after the last, and the log ratio to what was expected
    /// with its variance. The log ratio is Student (heavy tails: people linger), as measured
    /// it is the ratio, not the difference, that has a steady spread (Repp 1997).
    pub fn step(&self, elapsed: f64, expected: f64, tempo_var: f64, spread: f64) -> (f64, f64, f64) {
        let elapsed = elapsed.max(0.001);
        let relative = 1.0 / (expected * expected);
        let var_obs = self.ratio_var + (self.jitter2 + 0.1 * spread * spread) * relative;
        let surprise = (elapsed / expected).ln();
        let sd = (var_obs + tempo_var).sqrt();
        let density = (1.0 - self.share_stop) * self.student.density(surprise / sd) / (sd * elapsed) + self.share_stop * self.stop(elapsed);
        (density, surprise, var_obs)
    }
}

#[derive(Clone, Debug)]
struct LogNormal {
    log_median: f64,
    inv_sd: f64,
}

impl LogNormal {
    fn new(median: f64, sd: f64) -> Self {
        LogNormal { log_median: median.ln(), inv_sd: 1.0 / sd }
    }

    fn density(&self, x: f64) -> f64 {
        let x = x.max(0.001);
        let z = (x.ln() - self.log_median) * self.inv_sd;
        0.398_942_280_401_432_7 * self.inv_sd / x * (-0.5 * z * z).exp()
    }
}

/// Student's distribution with `dof` degrees of freedom.
#[derive(Clone, Debug)]
struct Student {
    height: f64,
    inv_dof: f64,
    power: f64,
}

impl Student {
    fn new(dof: f64) -> Self {
        // Abramowitz & Stegun 1964, 26.7.1: gamma((v + 1) / 2) / (sqrt(pi v) gamma(v / 2)).
        let power = -(dof + 1.0) / 2.0;
        let height = (ln_gamma(-power) - ln_gamma(dof / 2.0)).exp() / (std::f64::consts::PI * dof).sqrt();
        Student { height, inv_dof: 1.0 / dof, power }
    }

    fn density(&self, z: f64) -> f64 {
        self.height * (1.0 + z * z * self.inv_dof).powf(self.power)
    }
}

/// Stirling's series after raising the argument beyond 8 (Abramowitz & Stegun 1964, 6.1.41); error below 1e-9.
fn ln_gamma(mut x: f64) -> f64 {
    let mut shift = 0.0;
    while x < 8.0 {
        shift -= x.ln();
        x += 1.0;
    }
    let inv = 1.0 / x;
    shift + (x - 0.5) * x.ln() - x + 0.918_938_533_204_672_8 + inv / 12.0 - inv.powi(3) / 360.0 + inv.powi(5) / 1260.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn student_has_the_heights_of_the_closed_forms() {
        // One degree is Cauchy's 1/pi; two give 1/(2 sqrt 2); three 2/(pi sqrt 3); four 3/8.
        for (dof, height) in [(1.0, std::f64::consts::FRAC_1_PI), (2.0, 0.353_553_391), (3.0, 0.367_552_597), (4.0, 0.375)] {
            assert!((Student::new(dof).density(0.0) - height).abs() < 1e-8, "{dof}");
        }
    }

    #[test]
    fn delays_of_chord_notes_add_up_to_one() {
        let delays = Delays::new(&Constants::LEARNED);
        let area: f64 = (0..200_000)
            .map(|i| {
                let t = (f64::from(i) + 0.5) * 1e-4;
                delays.partner(t, t, 1) * 1e-4
            })
            .sum();
        assert!((area - 1.0).abs() < 1e-3, "{area}");
    }
}
