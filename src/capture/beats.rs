//! A beat track: played times of known places, and the place of every other time between them.
//!
//! A player who slows down does so within a beat too. So places between beats lie on a curve that rises throughout and takes its
//! pace at each beat from those on both sides: a piecewise cubic whose slopes are weighted harmonic means (F. N. Fritsch &
//! J. Butland, "A Method for Constructing Local Monotone Piecewise Cubic Interpolants", SIAM Journal on Scientific and Statistical
//! Computing 5(2), 1984; the weights are the usual ones for uneven steps, from memory).

use crate::time::{Micros, ScoreTime, Tempo};

/// Beats as heard or tapped: at least two, both columns rising.
#[derive(Clone, PartialEq, Debug)]
pub struct Beats {
    rows: Vec<(Micros, ScoreTime)>,
    /// The beat is heard throughout, not only at its rows.
    is_even: bool,
}

impl Beats {
    /// Takes the beats whose time and place lie beyond all before them; `None` when fewer than two are left.
    pub fn try_new(beats: impl IntoIterator<Item = (Micros, ScoreTime)>) -> Option<Self> {
        let mut kept: Vec<(Micros, ScoreTime)> = Vec::new();
        for beat in beats {
            if kept.last().is_none_or(|last| beat.0 > last.0 && beat.1 > last.1) {
                kept.push(beat);
            }
        }
        (kept.len() >= 2).then_some(Beats { rows: kept, is_even: false })
    }

    /// Returns an even click from a first moment on, that place being `from`.
    pub fn even(first: Micros, from: ScoreTime, tempo: Tempo) -> Self {
        let long = ScoreTime::quarters(1000);
        Beats { rows: vec![(first, from), (first + tempo.duration(long), from + long)], is_even: true }
    }

    /// Returns the place of a time, in quarters from the start of the score: on a smooth curve between two beats, and straight on
    /// from the first and last two at their pace.
    pub fn quarters(&self, at: Micros) -> f64 {
        let next = self.next(at);
        let (a, b) = (self.rows[next - 1], self.rows[next]);
        let (step, rise) = ((b.0 - a.0).0 as f64, b.1.to_f64() - a.1.to_f64());
        let along = (at.0 - a.0.0) as f64 / step;
        if !(0.0..=1.0).contains(&along) {
            return a.1.to_f64() + along * rise;
        }
        let (from, to) = (self.slope(next - 1) * step, self.slope(next) * step);
        let (rest, bent) = (1.0 - along, along * (1.0 - along));
        a.1.to_f64() + rise * along * along * (3.0 - 2.0 * along) + bent * (from * rest - to * along)
    }

    /// Returns how long a quarter lasts at a time, in seconds.
    pub fn seconds_per_quarter(&self, at: Micros) -> f64 {
        let next = self.next(at);
        let (a, b) = (self.rows[next - 1], self.rows[next]);
        (b.0 - a.0).secs_f64() / (b.1 - a.1).to_f64()
    }

    /// Returns how far the nearest beat is from a time, in seconds; nothing where the beat is heard throughout.
    pub fn away(&self, at: Micros) -> f64 {
        if self.is_even {
            return 0.0;
        }
        let next = self.next(at);
        let apart = |row: (Micros, ScoreTime)| (at.0 - row.0.0).abs() as f64 / 1e6;
        apart(self.rows[next - 1]).min(apart(self.rows[next]))
    }

    pub fn rows(&self) -> &[(Micros, ScoreTime)] {
        &self.rows
    }

    /// Returns the later of the two beats that a time counts by.
    fn next(&self, at: Micros) -> usize {
        self.rows.partition_point(|b| b.0 <= at).clamp(1, self.rows.len() - 1)
    }

    /// Returns quarters a microsecond at a beat: that of its only neighbour, or the harmonic mean of both sides, the shorter side
    /// counting more.
    fn slope(&self, beat: usize) -> f64 {
        let step = |i: usize| (self.rows[i + 1].0 - self.rows[i].0).0 as f64;
        let pace = |i: usize| (self.rows[i + 1].1 - self.rows[i].1).to_f64() / step(i);
        if beat == 0 {
            return pace(0);
        }
        if beat + 1 == self.rows.len() {
            return pace(beat - 1);
        }
        let (before, after) = (step(beat - 1), step(beat));
        let weight = (before + 2.0 * after) / (3.0 * (before + after));
        1.0 / (weight / pace(beat - 1) + (1.0 - weight) / pace(beat))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_lie_straight_between_even_beats_and_go_on_at_both_ends() {
        let at = |ms: i64, quarters: i64| (Micros::from_millis(ms), ScoreTime::quarters(quarters));
        let beats = Beats::try_new([at(1000, 0), at(2000, 1), at(1900, 2), at(4000, 3)]).unwrap();
        for (ms, quarters) in [(1000, 0.0), (1500, 0.5), (3000, 2.0), (6000, 5.0), (0, -1.0)] {
            assert!((beats.quarters(Micros::from_millis(ms)) - quarters).abs() < 1e-9, "{ms} ms");
        }
        let bent = Beats::try_new([at(1000, 0), at(2000, 1), at(4000, 2)]).unwrap();
        assert_eq!(bent.seconds_per_quarter(Micros::from_millis(2500)), 2.0);
        assert_eq!(bent.away(Micros::from_millis(3600)), 0.4);
        assert_eq!(Beats::try_new([at(5, 0), at(4, 1)]), None);
        let even = Beats::even(Micros::ZERO, ScoreTime::QUARTER, Tempo::try_new(60.0).unwrap());
        assert!((even.quarters(Micros::from_millis(2500)) - 3.5).abs() < 1e-9);
        assert_eq!(even.away(Micros::from_millis(2500)), 0.0);
    }

    #[test]
    fn who_slows_down_from_beat_to_beat_slows_down_within_each() {
        // Seconds at which each quarter begins: the n-th lasts 1 + 0.2 n, and half of it is over before half of its time.
        let time = |quarters: f64| quarters + 0.1 * quarters * quarters;
        let beats = Beats::try_new((0..6).map(|n| (Micros::from_secs_f64(time(f64::from(n))), ScoreTime::quarters(n.into())))).unwrap();
        let place = |quarters: f64| beats.quarters(Micros::from_secs_f64(time(quarters)));
        for quarters in [1.25, 1.5, 2.75, 3.5] {
            assert!((place(quarters) - quarters).abs() < 0.01, "{quarters}: {}", place(quarters));
        }
        let all: Vec<f64> = (0..700).map(|n| beats.quarters(Micros::from_millis(12 * n))).collect();
        assert!(all.windows(2).all(|w| w[0] < w[1]), "the curve rises throughout");
    }
}
