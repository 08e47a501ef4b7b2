//! A virtual learner: what is truly remembered, by a law that the plan does not know.
//!
//! Each time that something is retrieved, or looked up after it failed, leaves a trace; traces fade as powers of time, and one laid
//! while the memory was still strong fades faster, which is what makes spacing pay (Pavlik & Anderson 2005,
//! Cognitive Science 29:559-586):
//!
//! m = ln sum (t - t_k)^-d_k,  d_k = c e^m(t_k) + a,  p = 1 / (1 + e^((tau - m) / s))
//!
//! with c = .217, a = .177, s = .255, and time between sessions counted at .025 of the clock's (their values, from memory; tau is
//! set lower).
//! Learners differ in c, a and tau, items in tau; exits of look-alikes are harder. The spreads are assumptions.

use fastrand::Rng;

const C: f64 = 0.217;
const A: f64 = 0.177;
const S: f64 = 0.255;
/// The published threshold, -.704, is one of single word pairs. Of a hundred such items all would never hold at once; this one lets a
/// learner who practises every day hold the whole about every third or fourth time.
const TAU: f64 = -1.1;
/// Seconds of a night, as they count.
pub(super) const NIGHT_S: f64 = 86_400.0 * 0.025;

/// Spreads: of learners in ln c, ln a and tau, of items in tau.
const LEARNER_SD: f64 = 0.15;
const ITEM_SD: f64 = 0.5;
/// How much harder an exit is.
const EXIT_TAU: f64 = 0.2;
/// What playing into it helps, and what the stage takes away.
const FLOW: f64 = 0.3;
const STAGE: f64 = 0.15;
/// Chance of a slip of the finger or a halt in an attempt that memory holds, at most.
const SLIP_MAX: f64 = 0.06;
const HALT: f64 = 0.04;

#[derive(Clone, Debug)]
struct Memory {
    tau: f64,
    /// When each trace was laid, and how fast it fades.
    traces: Vec<(f64, f64)>,
}

#[derive(Clone, Debug)]
pub(super) struct Learner {
    rng: Rng,
    c: f64,
    a: f64,
    slip: f64,
    items: Vec<Memory>,
    /// Seconds that count, since the first day.
    pub now: f64,
}

impl Learner {
    pub fn new(is_exit: &[bool], seed: u64) -> Self {
        let mut rng = Rng::with_seed(seed);
        let tau = TAU + LEARNER_SD * normal(&mut rng);
        let (c, a) = (C * (LEARNER_SD * normal(&mut rng)).exp(), A * (LEARNER_SD * normal(&mut rng)).exp());
        let slip = rng.f64() * SLIP_MAX;
        let item = |is_exit: &bool, rng: &mut Rng| {
            let tau = tau + ITEM_SD * normal(rng) + if *is_exit { EXIT_TAU } else { 0.0 };
            Memory { tau, traces: Vec::new() }
        };
        let items = is_exit.iter().map(|e| item(e, &mut rng)).collect();
        Learner { rng, c, a, slip, items, now: 0.0 }
    }

    fn activation(&self, item: usize) -> f64 {
        let sum: f64 = self.items[item].traces.iter().map(|(at, decay)| (self.now - at).max(1.0).powf(-decay)).sum();
        sum.ln()
    }

    /// Tries to retrieve: memory and recall noise decide.
    pub fn retrieves(&mut self, item: usize, is_in_flow: bool) -> bool {
        let boost = if is_in_flow { FLOW } else { 0.0 };
        let p = self.probability(item, boost);
        self.rng.f64() < p
    }

    /// Lays a trace: it was retrieved, or looked up. The easier it came, the faster it fades.
    pub fn lay(&mut self, item: usize, is_in_flow: bool) {
        let boost = if is_in_flow { FLOW } else { 0.0 };
        let activation = self.activation(item) + boost;
        let decay = self.c * activation.exp() + self.a;
        self.items[item].traces.push((self.now, decay));
    }

    /// A slip of the finger, which memory has no part in.
    pub fn slips(&mut self) -> bool {
        self.rng.f64() < self.slip
    }

    /// A halt that passes.
    pub fn halts(&mut self) -> bool {
        self.rng.f64() < HALT
    }

    fn probability(&self, item: usize, boost: f64) -> f64 {
        1.0 / (1.0 + ((self.items[item].tau - boost - self.activation(item)) / S).exp())
    }

    /// Returns the probability of each item to hold on stage, now.
    pub fn hold_on_stage(&self) -> Vec<f64> {
        (0..self.items.len()).map(|item| self.probability(item, FLOW - STAGE)).collect()
    }
}

/// A standard normal number (Box & Muller 1958).
fn normal(rng: &mut Rng) -> f64 {
    (-2.0 * (1.0 - rng.f64()).ln()).sqrt() * (std::f64::consts::TAU * rng.f64()).cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// After three retrievals, massed or on three days; probability ten days later, mean over learners.
    fn later(gap_s: f64) -> f64 {
        let of = |seed| {
            let mut learner = Learner::new(&[false], seed);
            for _ in 0..3 {
                learner.lay(0, false);
                learner.now += gap_s;
            }
            learner.now += 10.0 * NIGHT_S - gap_s;
            learner.hold_on_stage()[0]
        };
        (0..50).map(of).sum::<f64>() / 50.0
    }

    #[test]
    fn spaced_retrievals_last_longer_than_massed_ones() {
        // The direction of Karpicke & Bauernschmidt 2011 (J. Exp. Psychol. LMC 37:1250-1257): long gaps between recalls hold far better.
        let (massed, spaced) = (later(20.0), later(NIGHT_S));
        assert!(spaced > 1.3 * massed, "spaced {spaced:.2}, massed {massed:.2}");
    }

    #[test]
    fn what_was_never_met_is_not_known_and_memory_fades() {
        let mut learner = Learner::new(&[false, true], 3);
        assert_eq!(learner.hold_on_stage(), [0.0, 0.0]);
        learner.lay(0, false);
        learner.now += 60.0;
        let soon = learner.hold_on_stage()[0];
        learner.now += 30.0 * NIGHT_S;
        assert!(learner.hold_on_stage()[0] < soon && soon > 0.5, "{soon}");
    }
}
