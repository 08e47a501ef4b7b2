//! Note values: a length as head, dots and tuplet, or as several of these tied.

use crate::time::ScoreTime;

/// A single written value.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Shape {
    /// MusicXML's name of the value.
    pub name: &'static str,
    pub dots: u8,
    /// So many notes in the time of so many.
    pub ratio: Option<(u8, u8)>,
}

/// Values from the longest, each half of the one before; the first is this many quarters.
const NAMES: [&str; 10] = ["breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th"];
const LONGEST_QUARTERS: i64 = 8;
/// Tuplets that are written, the commonest first.
const RATIOS: [(u8, u8); 5] = [(3, 2), (5, 4), (7, 4), (6, 4), (9, 8)];
const DOTS_MAX: u8 = 2;
/// More pieces than this are no longer read as one length.
const PIECES_MAX: usize = 6;

/// Returns the single value that lasts so long, if there is one.
pub(super) fn shape_of(length: ScoreTime) -> Option<Shape> {
    let plain = |length: ScoreTime| {
        (0..=DOTS_MAX).find_map(|dots| {
            // A value with its dots lasts 1, 3/2 or 7/4 of its head.
            let head = length.scaled(1 << dots, (2 << dots) - 1);
            Some((name_of(head)?, dots))
        })
    };
    if let Some((name, dots)) = plain(length) {
        return Some(Shape { name, dots, ratio: None });
    }
    RATIOS.into_iter().find_map(|(actual, normal)| {
        let (name, dots) = plain(length.scaled(actual.into(), normal.into()))?;
        (dots < DOTS_MAX).then_some(Shape { name, dots, ratio: Some((actual, normal)) })
    })
}

/// Returns the name of a value without dots, by how often the longest is halved until it lasts so long.
fn name_of(head: ScoreTime) -> Option<&'static str> {
    let (above, below) = (u64::try_from(head.numerator()).ok()?, head.denominator() as u64);
    // A reduced fraction: the longest halved some times is a power of two over one, or one over a power of two.
    let is_halved = above.is_power_of_two() && below.is_power_of_two();
    let n_halved = (LONGEST_QUARTERS.ilog2() + below.ilog2()).checked_sub(above.checked_ilog2()?)?;
    NAMES.get(n_halved as usize).copied().filter(|_| is_halved)
}

/// Cuts a length into written values, the longest first; what no values add up to stays one piece without a shape.
pub(super) fn pieces(length: ScoreTime) -> Vec<(ScoreTime, Option<Shape>)> {
    let mut out = Vec::new();
    let mut rest = length;
    while rest > ScoreTime::ZERO && out.len() < PIECES_MAX {
        if let Some(shape) = shape_of(rest) {
            out.push((rest, Some(shape)));
            return out;
        }
        let heads = (0..NAMES.len()).map(|i| ScoreTime::new(LONGEST_QUARTERS, 1 << i));
        let Some(head) = heads.into_iter().find(|head| *head < rest) else { break };
        out.push((head, shape_of(head)));
        rest -= head;
    }
    vec![(length, None)]
}

/// Says where tuplet brackets begin and end in one voice of a bar: values of one ratio in a row, until they fill a plain length.
pub(super) fn tuplets(values: impl Iterator<Item = (ScoreTime, Option<Shape>)>) -> Vec<Option<&'static str>> {
    let values: Vec<_> = values.collect();
    let ratio = |i: usize| values.get(i).and_then(|(_, shape)| shape.and_then(|s| s.ratio));
    let mut marks = vec![None; values.len()];
    let mut filled = ScoreTime::ZERO;
    for (i, (length, _)) in values.iter().enumerate().filter(|(_, (length, _))| !length.is_zero()) {
        if ratio(i).is_none() {
            continue;
        }
        let is_begun = !filled.is_zero();
        filled += *length;
        let next = (i + 1..values.len()).find(|&n| !values[n].0.is_zero());
        let is_full = (filled.denominator() as u64).is_power_of_two();
        if is_full || next.and_then(ratio) != ratio(i) {
            filled = ScoreTime::ZERO;
            marks[i] = is_begun.then_some("stop");
        } else if !is_begun {
            marks[i] = Some("start");
        }
    }
    marks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(n: i64, d: i64) -> String {
        let word = |(_, shape): &(ScoreTime, Option<Shape>)| {
            shape.map_or("?".to_owned(), |s| {
                format!("{}{}{}", s.name, ".".repeat(s.dots.into()), s.ratio.map_or(String::new(), |r| format!(" {}:{}", r.0, r.1)))
            })
        };
        pieces(ScoreTime::new(n, d)).iter().map(word).collect::<Vec<_>>().join(" + ")
    }

    #[test]
    fn lengths_are_written_as_common_practice_does() {
        for (n, d, expected) in [
            (1, 1, "quarter"),
            (3, 2, "quarter."),
            (7, 4, "quarter.."),
            (4, 1, "whole"),
            (6, 1, "whole."),
            (5, 1, "whole + quarter"),
            (5, 4, "quarter + 16th"),
            (1, 3, "eighth 3:2"),
            (2, 3, "quarter 3:2"),
            (1, 5, "16th 5:4"),
            (5, 6, "eighth + eighth 3:2"),
            (8, 1, "breve"),
            (1, 64, "256th"),
            (16, 1, "breve + breve"),
            (1, 128, "?"),
            (1, 11, "?"),
        ] {
            assert_eq!(words(n, d), expected, "{n}/{d}");
        }
    }

    #[test]
    fn a_bracket_stands_over_what_fills_a_plain_length() {
        let triplet = |n: i64| (ScoreTime::new(n, 3), shape_of(ScoreTime::new(n, 3)));
        let quarter = (ScoreTime::QUARTER, shape_of(ScoreTime::QUARTER));
        let marks = tuplets([triplet(1), triplet(1), triplet(1), quarter, triplet(2), triplet(1), triplet(1)].into_iter());
        assert_eq!(marks, [Some("start"), None, Some("stop"), None, Some("start"), Some("stop"), None]);
    }
}
