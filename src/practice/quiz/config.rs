//! How a quiz goes, with the defaults and where they come from.

use super::order::Mix;
use crate::time::Micros;

/// How a quiz goes.
#[derive(Clone, PartialEq, Debug)]
pub struct QuizConfig {
    pub length: Micros,
    pub seed: u64,
    /// From the question to the first note: 5 s, 3 to 10.
    pub first_onset: Micros,
    /// From the call of a landmark to going on there: 2 s, 1 to 4; two beats where they are longer.
    pub jump: Micros,
    /// How long an outcome stands.
    pub glance: Micros,
    pub mix: Mix,
    /// Without an instrument: answers are told, not heard.
    pub is_told: bool,
}

impl QuizConfig {
    /// Returns the defaults for a quiz of so many minutes. The times are reasoned ones: no study gives them.
    pub fn standard(minutes: u32, seed: u64) -> Self {
        QuizConfig {
            length: Micros(i64::from(minutes) * 60_000_000),
            seed,
            first_onset: Micros::from_millis(5_000),
            jump: Micros::from_millis(2_000),
            glance: Micros::from_millis(2_000),
            mix: Mix::standard(),
            is_told: false,
        }
    }
}
