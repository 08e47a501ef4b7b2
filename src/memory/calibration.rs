//! What was expected to hold, against what held: how far the model is to be believed.

use super::Outcome;
use super::record::Test;

/// Bounds between bins, in the probability that was expected.
const BOUNDS: [f64; 6] = [0.0, 0.5, 0.7, 0.85, 0.95, 1.0 + f64::EPSILON];

/// The tests for which about the same was expected.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Bin {
    pub n: u32,
    pub n_held: u32,
    /// Mean of the probabilities expected.
    pub expected: f64,
}

impl Bin {
    /// Returns the counts, as "expected to hold 3 of 3, held 2 of 3".
    pub fn words(&self) -> String {
        tr!(
            "expected to hold {expected} of {n}, held {held} of {n}",
            expected = format!("{:.0}", self.expected * f64::from(self.n)),
            n = self.n,
            held = self.n_held
        )
    }
}

/// Sorts tests into bins by what was expected of them, least first; bins without a test are left out. The first test of an item, of
/// which nothing could be expected, is none.
pub fn calibration<'t>(tests: impl IntoIterator<Item = &'t Test>) -> Vec<Bin> {
    let mut bins = vec![(0u32, 0u32, 0.0f64); BOUNDS.len() - 1];
    for (expected, outcome) in tests.into_iter().filter_map(|t| Some((t.expected?, t.outcome))) {
        let bin = BOUNDS[1..].partition_point(|to| *to <= expected).min(bins.len() - 1);
        bins[bin].0 += 1;
        bins[bin].1 += u32::from(outcome != Outcome::Failed);
        bins[bin].2 += expected;
    }
    let full = bins.into_iter().filter(|(n, ..)| *n > 0);
    full.map(|(n, n_held, sum)| Bin { n, n_held, expected: sum / f64::from(n) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    #[test]
    fn tests_are_counted_by_what_was_expected() {
        let test = |expected, outcome| Test { day: NaiveDate::MIN, outcome, expected };
        let tests = [
            test(None, Outcome::Failed),
            test(Some(0.9), Outcome::Clean),
            test(Some(0.94), Outcome::Recovered),
            test(Some(0.92), Outcome::Failed),
            test(Some(1.0), Outcome::Clean),
            test(Some(0.2), Outcome::Failed),
        ];
        let said: Vec<String> = calibration(&tests).iter().map(Bin::words).collect();
        assert_eq!(
            said,
            ["expected to hold 0 of 1, held 0 of 1", "expected to hold 3 of 3, held 2 of 3", "expected to hold 1 of 1, held 1 of 1"]
        );
        assert_eq!(calibration(&[]), []);
    }
}
