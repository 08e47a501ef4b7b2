//! Divisions to exact time: every duration of a file as a whole number of one common tick.

use roxmltree::Node;

use crate::time::ScoreTime;

/// The longest duration believed, in quarters; longer ones are damage.
const QUARTERS_MAX: i64 = 100_000;
/// Above this many ticks a quarter (never met in real files) durations are rounded to the coarse grid.
const TICKS_MAX: i64 = 1_000_000_000;
const TICKS_COARSE: i64 = 5040 * 1024;

/// Every grid holds these ticks a quarter: 2^5 x 9 x 5 x 7, so that decimal durations and plain note values fall on it.
const TICKS_BASE: i64 = 10_080;

/// The common tick of a document: the least common multiple of all its `<divisions>` and of [`TICKS_BASE`].
#[derive(Clone, Copy)]
pub(super) struct Grid {
    pub per_quarter: i64,
}

/// The `<divisions>` in force: how a duration becomes ticks.
#[derive(Clone, Copy)]
pub(super) struct Divisions {
    grid: Grid,
    /// Divisions a quarter, as a fraction: the schema allows decimals.
    quarter: (i64, i64),
    /// Ticks a division where that is whole, else 0.
    factor: i64,
}

impl Grid {
    /// Finds the grid of the `<divisions>` below these measures.
    pub fn of<'a, 'i: 'a>(measures: impl Iterator<Item = Node<'a, 'i>>) -> Grid {
        let mut per_quarter = TICKS_BASE;
        let mut last = "";
        for measure in measures {
            let attributes = measure.children().filter(|n| n.has_tag_name("attributes"));
            for text in attributes.flat_map(|n| n.children()).filter(|n| n.has_tag_name("divisions")).filter_map(|n| n.text()) {
                if text == last {
                    continue;
                }
                last = text;
                if let Some((n, _)) = decimal(text).filter(|&(n, _)| n > 0) {
                    per_quarter = (per_quarter / gcd(per_quarter, n)).saturating_mul(n);
                    if per_quarter > TICKS_MAX {
                        return Grid { per_quarter: TICKS_COARSE };
                    }
                }
            }
        }
        Grid { per_quarter }
    }

    /// Reads a `<divisions>`; `None` unless it is a number above zero.
    pub fn divisions(self, text: &str) -> Option<Divisions> {
        let (n, d) = decimal(text).filter(|&(n, _)| n > 0)?;
        let factor = if (self.per_quarter * d) % n == 0 { self.per_quarter * d / n } else { 0 };
        Some(Divisions { grid: self, quarter: (n, d), factor })
    }

    /// Returns the fraction of a quarter that a number of ticks stands for.
    pub fn time(self, ticks: i64) -> ScoreTime {
        ScoreTime::new(ticks, self.per_quarter)
    }

    /// Returns the ticks nearest to a length.
    pub fn ticks(self, time: ScoreTime) -> i64 {
        let (n, d) = (time.numerator() as i128 * self.per_quarter as i128, time.denominator() as i128);
        ((2 * n + d).div_euclid(2 * d)).clamp(0, (QUARTERS_MAX * self.per_quarter) as i128) as i64
    }
}

impl Divisions {
    /// Returns a `<duration>` in ticks; `None` unless it is a number within bounds and not below zero.
    pub fn ticks(self, duration: &str) -> Option<i64> {
        let text = duration.trim();
        let limit = QUARTERS_MAX * self.grid.per_quarter;
        if self.factor > 0
            && let Ok(n) = text.parse::<u32>()
        {
            return (n as i64).checked_mul(self.factor).filter(|&ticks| ticks <= limit);
        }
        let quarters = text.parse::<f64>().ok()? * self.quarter.1 as f64 / self.quarter.0 as f64;
        if !(0.0..=QUARTERS_MAX as f64).contains(&quarters) {
            return None;
        }
        ScoreTime::from_f64_lossy(quarters).map(|time| self.grid.ticks(time))
    }

    /// As [`Divisions::ticks`] for an `<offset>`, which may lie below zero.
    pub fn signed_ticks(self, offset: &str) -> Option<i64> {
        match offset.trim().strip_prefix('-') {
            Some(rest) => self.ticks(rest).map(|ticks| -ticks),
            None => self.ticks(offset),
        }
    }
}

/// Reads a decimal as a fraction; at most nine digits in all.
fn decimal(text: &str) -> Option<(i64, i64)> {
    let text = text.trim();
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let part = part.trim_end_matches('0');
    if whole.len() + part.len() > 9 || !whole.bytes().chain(part.bytes()).all(|b| b.is_ascii_digit()) {
        return None;
    }
    let denominator = 10i64.pow(part.len() as u32);
    let part: i64 = if part.is_empty() { 0 } else { part.parse().ok()? };
    let n = whole.parse::<i64>().ok()? * denominator + part;
    let g = gcd(n.max(1), denominator);
    Some((n / g, denominator / g))
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_are_exact_on_the_common_grid() {
        let grid = Grid { per_quarter: 12 };
        let time = |divisions: &str, duration: &str| grid.divisions(divisions).unwrap().ticks(duration).map(|t| grid.time(t));
        assert_eq!(time("3", "1"), Some(ScoreTime::new(1, 3)));
        assert_eq!(time("4", "3"), Some(ScoreTime::new(3, 4)));
        assert_eq!(time("1", "0.25"), Some(ScoreTime::new(1, 4)));
        assert_eq!(time("2", "1.000"), Some(ScoreTime::new(1, 2)));
        for bad in ["", "x", "-1", "1e99", "99999999999"] {
            assert_eq!(time("1", bad), None, "{bad:?}");
        }
        for bad in ["0", "-2", "x", "", "1000000000000"] {
            assert!(grid.divisions(bad).is_none(), "{bad:?}");
        }
        assert_eq!(grid.divisions("4").unwrap().signed_ticks("-2"), Some(-6));
    }

    #[test]
    fn the_grid_holds_every_divisions_of_the_document() {
        let text = "<m><attributes><divisions>4</divisions></attributes><attributes><divisions>11</divisions></attributes></m>";
        let document = roxmltree::Document::parse(text).unwrap();
        assert_eq!(Grid::of(std::iter::once(document.root_element())).per_quarter % 44, 0);
    }
}
