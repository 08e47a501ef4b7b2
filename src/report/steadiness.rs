//! What is said of how steady a run-through was: the bars that went faster or slower than it set out.

use super::plain_text::plain;
use crate::journal::attempts::DatedPace;
use crate::journal::entry::BarPace;
use crate::language::date::short;

/// Thousandths from which a bar is named (a reasoned default: less than that is shaping).
const NAMED_PERMILLE: u32 = 100;
/// Stretches that are named, the furthest off first to be kept.
const N_NAMED_MAX: usize = 5;

/// Bars in a row that were all faster or all slower.
struct Stretch<'a> {
    first: &'a str,
    last: &'a str,
    is_faster: bool,
    /// Of the bar furthest off, thousandths.
    off: u32,
}

/// Says it in one sentence.
pub fn words(pace: &DatedPace) -> String {
    let against = if pace.by_reading { tr!("the reading") } else { tr!("the page") };
    let head = tr!("Tempo of the run-through of {day}, set against {against}", day = short(pace.at.date_naive()), against);
    let stretches = stretches(&pace.bars);
    if stretches.is_empty() {
        return tr!("{head}: no bar a tenth faster or slower than it set out.", head);
    }
    let mut furthest: Vec<u32> = stretches.iter().map(|s| s.off).collect();
    furthest.sort_unstable_by(|a, b| b.cmp(a));
    let least = furthest[furthest.len().min(N_NAMED_MAX) - 1];
    let named = |is_faster: bool| {
        let all = stretches.iter().filter(|s| s.is_faster == is_faster && s.off >= least);
        let all: Vec<String> = all.map(Stretch::words).collect();
        let bars = all.join(", ");
        match all[..] {
            [] => None,
            _ if is_faster => Some(tr!("a tenth or more faster in {bars}", bars)),
            _ => Some(tr!("a tenth or more slower in {bars}", bars)),
        }
    };
    let both: Vec<String> = [named(true), named(false)].into_iter().flatten().collect();
    tr!("{head}: {bars}.", head, bars = both.join(&tr!("; ")))
}

impl Stretch<'_> {
    fn words(&self) -> String {
        let first = plain(self.first);
        if self.first == self.last {
            tr!("bar {bar}", bar = first)
        } else {
            tr!("bars {bars}", bars = format!("{first}-{}", plain(self.last)))
        }
    }
}

fn stretches(bars: &[BarPace]) -> Vec<Stretch<'_>> {
    let mut out: Vec<Stretch<'_>> = Vec::new();
    for bar in bars.iter().filter(|bar| bar.permille.abs_diff(1000) >= NAMED_PERMILLE) {
        let (is_faster, off) = (bar.permille > 1000, bar.permille.abs_diff(1000));
        match out.last_mut().filter(|s| s.is_faster == is_faster && follows(s.last, &bar.bar)) {
            Some(stretch) => {
                stretch.last = &bar.bar;
                stretch.off = stretch.off.max(off);
            }
            None => out.push(Stretch { first: &bar.bar, last: &bar.bar, is_faster, off }),
        }
    }
    out
}

/// Tells whether two printed labels are numbers in a row: only then can bars be named by the first and the last.
fn follows(before: &str, after: &str) -> bool {
    let number = |label: &str| label.parse::<u32>().ok();
    number(before).and_then(|n| n.checked_add(1)).is_some_and(|n| number(after) == Some(n))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Timestamp;

    fn said(by_reading: bool, bars: &[(&str, u32)]) -> String {
        let bars = bars.iter().map(|(bar, permille)| BarPace { bar: (*bar).to_owned(), permille: *permille }).collect();
        let at = Timestamp::parse_from_rfc3339("2027-02-08T18:00:00+01:00").unwrap();
        words(&DatedPace { at, by_reading, bars })
    }

    #[test]
    fn bars_in_a_row_that_rush_are_named_together_and_small_differences_not_at_all() {
        let bars = [("1", 1000), ("2", 1060), ("3", 1120), ("4", 1180), ("5", 1000), ("6", 850), ("8", 840), ("8a", 1100)];
        let expected = "Tempo of the run-through of 8 Feb, set against the reading: \
                        a tenth or more faster in bars 3-4, bar 8a; a tenth or more slower in bar 6, bar 8.";
        assert_eq!(said(true, &bars), expected);
    }

    #[test]
    fn a_steady_run_is_said_to_be_so_and_what_it_was_set_against() {
        let steady = said(false, &[("1", 1000), ("2", 1099), ("3", 901)]);
        assert_eq!(steady, "Tempo of the run-through of 8 Feb, set against the page: no bar a tenth faster or slower than it set out.");
    }

    #[test]
    fn only_the_bars_furthest_off_are_named() {
        let labels: Vec<String> = (0..20).map(|n| (2 * n).to_string()).collect();
        let bars: Vec<(&str, u32)> = labels.iter().zip(1110..).map(|(label, permille)| (label.as_str(), permille)).collect();
        let text = said(true, &bars);
        assert!(text.ends_with("a tenth or more faster in bar 30, bar 32, bar 34, bar 36, bar 38."), "{text}");
    }
}
