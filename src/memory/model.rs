//! The forgetting model: FSRS-6, an open and published model of recall over days.
//!
//! Formulas and default weights: Open Spaced Repetition, "The Algorithm" (FSRS-6), as in its reference
//! implementation `fsrs` 6.3.1 for Python (MIT licence). The model knows four grades; what is measured here
//! fills three of them, and their names stay in this file. The weights were fitted on flash cards:
//! nothing of the kind was published for music, so they rank what to test and promise nothing.
//!
//! The formulas stand here rather than in the crate `fsrs` (6.6.2), which works in 32 bits and lets a same-day attempt that was
//! "recovered" never weaken a memory: it departs from the reference on every history that has one.

#[cfg(test)]
mod tests;

use super::Outcome;
use super::rules::Rules;

/// Number of weights.
pub const N_WEIGHTS: usize = 21;

/// Default weights, `w[0]` to `w[20]`.
const DEFAULT: [f64; N_WEIGHTS] = [
    0.212, 1.2931, 2.3065, 8.2956, 6.4133, 0.8334, 3.0194, 0.001, 1.8722, 0.1666, 0.796, 1.4835, 0.0614, 0.2629, 1.6483, 0.6014, 1.8729,
    0.5425, 0.0912, 0.0658, 0.1542,
];

/// Least stability, in days.
const STABILITY_MIN: f64 = 0.001;
/// No stability is told apart above a hundred years.
const STABILITY_MAX: f64 = 36_500.0;

/// The model's own grades. Its fourth, "easy", is not used: nothing that is measured tells it from "good".
#[derive(Clone, Copy, PartialEq, Eq)]
enum Grade {
    Again,
    Hard,
    Good,
}

impl Grade {
    fn of(outcome: Outcome) -> Grade {
        match outcome {
            Outcome::Failed => Grade::Again,
            Outcome::Recovered => Grade::Hard,
            Outcome::Clean => Grade::Good,
        }
    }

    /// The model counts its grades from 1.
    fn number(self) -> f64 {
        match self {
            Grade::Again => 1.0,
            Grade::Hard => 2.0,
            Grade::Good => 3.0,
        }
    }
}

/// The number of the grade that difficulty drifts towards.
const EASY: f64 = 4.0;

/// How well one item is remembered.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct State {
    /// Days until the probability to hold has fallen to 0.9; above zero.
    pub stability_days: f64,
    /// 1 to 10.
    pub difficulty: f64,
}

/// The weights of one player's forgetting.
#[derive(Clone, PartialEq, Debug)]
pub struct Weights {
    w: [f64; N_WEIGHTS],
    /// F of the forgetting curve, from `w[20]`.
    factor: f64,
    /// D0(4), which difficulty drifts towards, and e^(w17 (g - 3 + w18)) by grade: used at every attempt of a long record.
    easy_difficulty: f64,
    same_day: [f64; 3],
    /// What the gaps that come of them are held within.
    pub rules: Rules,
    /// From this stability on, "good" on the same day adds nothing: most attempts of a long record.
    same_day_floor: f64,
}

impl Default for Weights {
    fn default() -> Self {
        Weights::new(DEFAULT)
    }
}

impl Weights {
    fn new(w: [f64; N_WEIGHTS]) -> Self {
        let factor = 0.9_f64.powf(-1.0 / w[20]) - 1.0;
        let rules = Rules::standard();
        let mut weights = Weights { w, factor, easy_difficulty: 0.0, same_day: [0.0; 3], rules, same_day_floor: 0.0 };
        weights.easy_difficulty = weights.first_difficulty(EASY);
        weights.same_day = [Grade::Again, Grade::Hard, Grade::Good].map(|g| (w[17] * (g.number() - 3.0 + w[18])).exp());
        weights.same_day_floor = weights.same_day[Grade::Good as usize].powf(1.0 / w[19]);
        weights
    }

    /// Returns the default weights changed in the three ways that a short record can tell: how long a first memory lasts, how
    /// much each success adds, how much a failure leaves; each a factor, 1 for no change.
    pub fn scaled(first: f64, growth: f64, after_failure: f64) -> Self {
        let mut w = DEFAULT;
        w[..4].iter_mut().for_each(|s| *s *= first);
        w[8] += growth.ln();
        w[11] *= after_failure;
        Weights::new(w)
    }

    /// Returns the probability, `0.0..=1.0`, that an item holds `days` after its last attempt: R = (1 + F t / S)^-w20.
    pub fn recall(&self, state: State, days: f64) -> f64 {
        (1.0 + self.factor * days.max(0.0) / state.stability_days).powf(-self.w[20])
    }

    /// Returns after how many days the probability to hold has fallen to `retention`: S / F (r^(-1/w20) - 1).
    pub fn gap_days(&self, state: State, retention: f64) -> f64 {
        state.stability_days / self.factor * (retention.powf(-1.0 / self.w[20]) - 1.0)
    }

    /// Returns the state after the first attempt of all.
    pub fn first(&self, outcome: Outcome) -> State {
        let grade = Grade::of(outcome);
        let stability = self.w[grade.number() as usize - 1];
        State { stability_days: within(stability), difficulty: self.first_difficulty(grade.number()).clamp(1.0, 10.0) }
    }

    /// Returns the state after an attempt `days` (whole days) after the one before; 0 is the same day.
    pub fn after(&self, state: State, days: u32, outcome: Outcome) -> State {
        let grade = Grade::of(outcome);
        let stability = if days == 0 { self.same_day(state, grade) } else { self.later(state, f64::from(days), grade) };
        State { stability_days: within(stability), difficulty: self.next_difficulty(state.difficulty, grade) }
    }

    /// D0(g) = w4 - e^(w5 (g - 1)) + 1.
    fn first_difficulty(&self, grade: f64) -> f64 {
        self.w[4] - (self.w[5] * (grade - 1.0)).exp() + 1.0
    }

    /// D' = w7 D0(4) + (1 - w7)(D - w6 (g - 3)(10 - D) / 9).
    fn next_difficulty(&self, difficulty: f64, grade: Grade) -> f64 {
        let moved = difficulty - self.w[6] * (grade.number() - 3.0) * (10.0 - difficulty) / 9.0;
        (self.w[7] * self.easy_difficulty + (1.0 - self.w[7]) * moved).clamp(1.0, 10.0)
    }

    /// S' = S e^(w17 (g - 3 + w18)) S^-w19, never less than S for "good".
    fn same_day(&self, state: State, grade: Grade) -> f64 {
        if grade == Grade::Good && state.stability_days >= self.same_day_floor {
            return state.stability_days;
        }
        let factor = self.same_day[grade as usize] * state.stability_days.powf(-self.w[19]);
        state.stability_days * if grade == Grade::Good { factor.max(1.0) } else { factor }
    }

    fn later(&self, state: State, days: f64, grade: Grade) -> f64 {
        let (w, s, d) = (&self.w, state.stability_days, state.difficulty);
        let lost = 1.0 - self.recall(state, days);
        if grade == Grade::Again {
            // min(w11 D^-w12 ((S + 1)^w13 - 1) e^(w14 (1 - R)), S / e^(w17 w18)).
            let left = w[11] * d.powf(-w[12]) * ((s + 1.0).powf(w[13]) - 1.0) * (w[14] * lost).exp();
            return left.min(s / (w[17] * w[18]).exp());
        }
        // S (1 + e^w8 (11 - D) S^-w9 (e^(w10 (1 - R)) - 1) x w15 for "hard").
        let hard = if grade == Grade::Hard { w[15] } else { 1.0 };
        s * (1.0 + w[8].exp() * (11.0 - d) * s.powf(-w[9]) * ((w[10] * lost).exp() - 1.0) * hard)
    }
}

fn within(stability_days: f64) -> f64 {
    stability_days.clamp(STABILITY_MIN, STABILITY_MAX)
}
