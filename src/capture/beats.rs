//! A beat track: played times of known places, and the place of every other time between them.

use crate::time::{Micros, ScoreTime, Tempo};

/// Beats as heard or tapped: at least two, both columns rising.
#[derive(Clone, PartialEq, Debug)]
pub struct Beats(Vec<(Micros, ScoreTime)>);

impl Beats {
    /// Takes the beats whose time and place lie beyond all before them; `None` when fewer than two are left.
    pub fn try_new(beats: impl IntoIterator<Item = (Micros, ScoreTime)>) -> Option<Self> {
        let mut kept: Vec<(Micros, ScoreTime)> = Vec::new();
        for beat in beats {
            if kept.last().is_none_or(|last| beat.0 > last.0 && beat.1 > last.1) {
                kept.push(beat);
            }
        }
        (kept.len() >= 2).then_some(Beats(kept))
    }

    /// Returns an even click from a first moment on, that place being `from`.
    pub fn even(first: Micros, from: ScoreTime, tempo: Tempo) -> Self {
        Beats(vec![(first, from), (first + tempo.duration(ScoreTime::quarters(1000)), from + ScoreTime::quarters(1000))])
    }

    /// Returns the place of a time, in quarters from the start of the score: straight between two beats, and on from the
    /// first and last two at their pace.
    pub fn quarters(&self, at: Micros) -> f64 {
        let (a, b) = self.around(at);
        let along = (at.0 - a.0.0) as f64 / (b.0.0 - a.0.0) as f64;
        a.1.to_f64() + along * (b.1.to_f64() - a.1.to_f64())
    }

    /// Returns how long a quarter lasts at a time, in seconds.
    pub fn seconds_per_quarter(&self, at: Micros) -> f64 {
        let (a, b) = self.around(at);
        (b.0 - a.0).secs_f64() / (b.1 - a.1).to_f64()
    }

    pub fn rows(&self) -> &[(Micros, ScoreTime)] {
        &self.0
    }

    fn around(&self, at: Micros) -> ((Micros, ScoreTime), (Micros, ScoreTime)) {
        let next = self.0.partition_point(|b| b.0 <= at).clamp(1, self.0.len() - 1);
        (self.0[next - 1], self.0[next])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_lie_straight_between_beats_and_go_on_at_both_ends() {
        let at = |ms: i64, quarters: i64| (Micros::from_millis(ms), ScoreTime::quarters(quarters));
        let beats = Beats::try_new([at(1000, 0), at(2000, 1), at(1900, 2), at(4000, 2)]).unwrap();
        for (ms, quarters) in [(1000, 0.0), (1500, 0.5), (3000, 1.5), (6000, 3.0), (0, -1.0)] {
            assert!((beats.quarters(Micros::from_millis(ms)) - quarters).abs() < 1e-9, "{ms} ms");
        }
        assert_eq!(beats.seconds_per_quarter(Micros::from_millis(2500)), 2.0);
        assert_eq!(Beats::try_new([at(5, 0), at(4, 1)]), None);
        let even = Beats::even(Micros::ZERO, ScoreTime::QUARTER, Tempo::try_new(60.0).unwrap());
        assert!((even.quarters(Micros::from_millis(2500)) - 3.5).abs() < 1e-9);
    }
}
