//! The times of the program and the conversions between them.
//!
//! [`ScoreTime`] counts quarter notes exactly, [`Micros`] counts played time, [`Timestamp`] is the
//! wall clock, and [`Tempo`] is the only bridge between the first two. File formats keep their own
//! ticks inside `import`.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};

use num_rational::Ratio;
use num_traits::{CheckedAdd, CheckedMul, CheckedSub, ToPrimitive, Zero};

/// A position in the score, or a length of it, in **quarter notes** as an exact fraction.
///
/// Sums stay exact while the fraction fits in 64 bits; past that (only damaged files get there)
/// they are rounded to a 5040th of a quarter rather than overflow.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct ScoreTime(Ratio<i64>);

/// Denominator used when an exact fraction no longer fits: 5040 = 7!, divisible by every number up to 10.
const COARSE: i64 = 5040;
/// Largest number of quarters kept when rounding, so that coarse sums cannot overflow.
const COARSE_LIMIT: f64 = 1e12;

impl ScoreTime {
    pub const ZERO: ScoreTime = ScoreTime(Ratio::new_raw(0, 1));
    pub const QUARTER: ScoreTime = ScoreTime(Ratio::new_raw(1, 1));

    /// Returns `numerator / denominator` quarters, reduced.
    ///
    /// # Panics
    /// When `denominator` is zero.
    ///
    /// ```
    /// # use catchword::time::ScoreTime;
    /// let triplet = ScoreTime::new(1, 3);
    /// assert_eq!(triplet + triplet + triplet, ScoreTime::QUARTER);
    /// ```
    pub fn new(numerator: i64, denominator: i64) -> Self {
        ScoreTime(Ratio::new(numerator, denominator))
    }

    /// Returns a whole number of quarters.
    pub fn quarters(n: i64) -> Self {
        ScoreTime(Ratio::from_integer(n))
    }

    /// Returns the nearest 5040th of a quarter to `quarters`, for sources that only give decimals.
    ///
    /// Decimals that print a common fraction (`0.3333`) come back as that fraction within 1/2000
    /// of a quarter: the simplest fraction with a denominator up to 64 is preferred.
    /// Not-a-number gives `None`, and so does anything beyond a million million quarters.
    pub fn from_f64_lossy(quarters: f64) -> Option<Self> {
        if !quarters.is_finite() || quarters.abs() > COARSE_LIMIT {
            return None;
        }
        for denominator in 1..=64i64 {
            let n = quarters * denominator as f64;
            if (n - n.round()).abs() <= 0.0005 * denominator as f64 {
                // The tightest of the small fractions: accept only a true near miss.
                let candidate = Ratio::new(n.round() as i64, denominator);
                let error = (candidate.to_f64().unwrap_or(f64::MAX) - quarters).abs();
                if error <= 0.0005 {
                    return Some(ScoreTime(candidate));
                }
            }
        }
        Some(coarse(quarters))
    }

    /// Returns the position as a float, for drawing and for comparing with a clock.
    pub fn to_f64(self) -> f64 {
        *self.0.numer() as f64 / *self.0.denom() as f64
    }

    pub fn numerator(self) -> i64 {
        *self.0.numer()
    }

    pub fn denominator(self) -> i64 {
        *self.0.denom()
    }

    pub fn is_zero(self) -> bool {
        self.0.is_zero()
    }

    /// Returns this length times `numerator / denominator`, exact where it fits.
    pub fn scaled(self, numerator: i64, denominator: i64) -> Self {
        let factor = Ratio::new(numerator, denominator);
        match self.0.checked_mul(&factor) {
            Some(product) => ScoreTime(product),
            None => coarse(self.to_f64() * numerator as f64 / denominator as f64),
        }
    }
}

fn coarse(quarters: f64) -> ScoreTime {
    let clamped = quarters.clamp(-COARSE_LIMIT, COARSE_LIMIT);
    ScoreTime(Ratio::new((clamped * COARSE as f64).round() as i64, COARSE))
}

impl Add for ScoreTime {
    type Output = ScoreTime;
    fn add(self, other: ScoreTime) -> ScoreTime {
        match self.0.checked_add(&other.0) {
            Some(sum) => ScoreTime(sum),
            None => coarse(self.to_f64() + other.to_f64()),
        }
    }
}

impl Sub for ScoreTime {
    type Output = ScoreTime;
    fn sub(self, other: ScoreTime) -> ScoreTime {
        match self.0.checked_sub(&other.0) {
            Some(difference) => ScoreTime(difference),
            None => coarse(self.to_f64() - other.to_f64()),
        }
    }
}

impl Neg for ScoreTime {
    type Output = ScoreTime;
    fn neg(self) -> ScoreTime {
        ScoreTime::ZERO - self
    }
}

impl AddAssign for ScoreTime {
    fn add_assign(&mut self, other: ScoreTime) {
        *self = *self + other;
    }
}

impl SubAssign for ScoreTime {
    fn sub_assign(&mut self, other: ScoreTime) {
        *self = *self - other;
    }
}

impl Sum for ScoreTime {
    fn sum<I: Iterator<Item = ScoreTime>>(iter: I) -> ScoreTime {
        iter.fold(ScoreTime::ZERO, Add::add)
    }
}

impl fmt::Display for ScoreTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Debug for ScoreTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}q", self.0)
    }
}

/// Played time: whole **microseconds** since the session (or the take) began.
///
/// Arithmetic saturates: no recorded time can overflow it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Debug)]
pub struct Micros(pub i64);

impl Micros {
    pub const ZERO: Micros = Micros(0);
    pub const MAX: Micros = Micros(i64::MAX);

    pub fn from_millis(ms: i64) -> Self {
        Micros(ms.saturating_mul(1_000))
    }

    /// Returns `seconds` rounded to the microsecond; not-a-number gives zero, infinities saturate.
    pub fn from_secs_f64(seconds: f64) -> Self {
        Micros((seconds * 1e6).round() as i64)
    }

    pub fn secs_f64(self) -> f64 {
        self.0 as f64 / 1e6
    }
}

impl Add for Micros {
    type Output = Micros;
    fn add(self, other: Micros) -> Micros {
        Micros(self.0.saturating_add(other.0))
    }
}

impl Sub for Micros {
    type Output = Micros;
    fn sub(self, other: Micros) -> Micros {
        Micros(self.0.saturating_sub(other.0))
    }
}

impl AddAssign for Micros {
    fn add_assign(&mut self, other: Micros) {
        *self = *self + other;
    }
}

/// The wall clock, in UTC with the player's offset kept; read in `clock` only.
pub type Timestamp = chrono::DateTime<chrono::FixedOffset>;

/// Something with the time at which it happened, stamped by its source.
///
/// It may arrive late: the stamp, not the arrival, is what counts.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stamped<T> {
    pub at: Micros,
    pub what: T,
}

/// A speed in **quarter notes a minute**, always above zero.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Tempo(f64);

impl Tempo {
    /// What is taken where neither player nor score gives a tempo (a reasoned default).
    pub const USUAL: Tempo = Tempo(72.0);

    /// Returns the tempo, or `None` unless it lies within 1 to 2000 quarters a minute.
    pub fn try_new(quarters_per_minute: f64) -> Option<Self> {
        (1.0..=2000.0).contains(&quarters_per_minute).then_some(Tempo(quarters_per_minute))
    }

    pub fn quarters_per_minute(self) -> f64 {
        self.0
    }

    pub fn seconds_per_quarter(self) -> f64 {
        60.0 / self.0
    }

    /// Returns how long `length` lasts at this tempo.
    ///
    /// ```
    /// # use catchword::time::{Micros, ScoreTime, Tempo};
    /// let tempo = Tempo::try_new(90.0).unwrap();
    /// assert_eq!(tempo.duration(ScoreTime::quarters(3)), Micros(2_000_000));
    /// ```
    pub fn duration(self, length: ScoreTime) -> Micros {
        Micros::from_secs_f64(length.to_f64() * 60.0 / self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_come_back_as_the_fraction_they_print() {
        for (decimal, n, d) in [(0.3333, 1, 3), (2.6667, 8, 3), (0.125, 1, 8), (-2.0, -2, 1), (0.2, 1, 5), (17.0625, 273, 16)] {
            assert_eq!(ScoreTime::from_f64_lossy(decimal), Some(ScoreTime::new(n, d)), "{decimal}");
        }
        assert_eq!(ScoreTime::from_f64_lossy(f64::NAN), None);
        assert_eq!(ScoreTime::from_f64_lossy(1e300), None);
    }

    #[test]
    fn sums_that_no_longer_fit_are_rounded_not_overflowed() {
        let huge = ScoreTime::new(i64::MAX / 2, 3);
        let odd = ScoreTime::new(1, 1_000_000_007);
        assert!((huge + odd).to_f64() > 0.0);
        assert!((ScoreTime::new(1, i64::MAX) + ScoreTime::new(1, i64::MAX - 2)).to_f64().abs() < 1e-3);
    }
}
