//! How steady a run was, bar by bar, against the player's own reading or, without one, against what is written.
//!
//! Says nothing of how fast a piece is taken, only where it left the tempo it set out with: the median of its first bars.

use std::ops::RangeInclusive;

use super::super::span::Span;
use super::path::{Path, Reached};
use crate::follower::OnsetIdx;
use crate::score::BarIdx;
use crate::time::Micros;

/// A bar has left the tempo by this share; it is said when so many in a row have, by so much in the middle. Fluent players
/// differ by 4 to 8 % from one playing to the next, place by place (public Vienna 4x22 and ASAP recordings); with these bounds
/// about one in a hundred fluent playings of the demo pieces by the built-in player, who drifts as much, is spoken of.
const SHARE_OF_A_BAR: f64 = 0.10;
const N_BARS_MIN: usize = 4;
const SHARE_MIN: f64 = 0.12;
/// Bars that set the tempo: the first few, or a quarter of all where that is more; and bars without which nothing is said.
const N_BARS_OPENING: usize = 4;
const N_BARS_TOLD: usize = 8;
/// The close of a piece may slow down as it likes (Repp 1992).
const N_BARS_CLOSE: usize = 2;

/// How long each printed bar takes one player, in seconds.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Pace {
    bars: Vec<(BarIdx, f64)>,
}

/// A run of bars, as indices in playing order, that left the tempo.
#[derive(Clone, PartialEq, Debug)]
pub struct Drift {
    pub bars: RangeInclusive<usize>,
    /// The tempo there over the one set out with: above 1 is faster.
    pub share: f64,
    /// Whether it was told against a reading of the player's own.
    pub by_reading: bool,
}

impl Drift {
    /// Tells whether it lasts until the close of the span.
    pub fn is_to_the_end(&self, span: &Span) -> bool {
        self.bars.end() + 1 + N_BARS_CLOSE >= span.bars.len()
    }
}

impl Pace {
    /// Learns from one playing of any stretch of the piece; what is known already goes.
    pub fn of(path: &Path, span: &Span) -> Pace {
        let bars = played_bars(path, span, &[]).into_iter();
        Pace { bars: bars.map(|(bar, length)| (span.stretch.bars[bar].bar, length.secs_f64())).collect() }
    }

    /// Returns how long a printed bar takes: the mean of the times that it was played.
    fn of_bar(&self, bar: BarIdx) -> Option<f64> {
        let of_bar: Vec<f64> = self.bars.iter().filter(|(b, _)| *b == bar).map(|(_, seconds)| *seconds).collect();
        (!of_bar.is_empty()).then(|| of_bar.iter().sum::<f64>() / of_bar.len() as f64)
    }
}

/// Returns how fast each bar of a run was against the tempo that it set out with: its index in playing order, and the log of the share.
/// Bars within `lapsed` are left out; empty for a run too short to tell.
pub fn speeds(path: &Path, span: &Span, lapsed: &[(Micros, Micros)]) -> Vec<(usize, f64)> {
    let bars = played_bars(path, span, lapsed);
    let expected = |bar: usize| match &span.pace {
        Some(pace) => pace.of_bar(span.stretch.bars[bar].bar),
        None => Some(span.stretch.bars[bar].length.to_f64()),
    };
    // Log of how much faster than expected each bar was.
    let mut speeds: Vec<(usize, f64)> =
        bars.iter().filter_map(|(bar, length)| expected(*bar).map(|e| (*bar, (e / length.secs_f64()).ln()))).collect();
    if speeds.len() < N_BARS_TOLD {
        return Vec::new();
    }
    let opening = N_BARS_OPENING.max(speeds.len() / 4);
    let set_out = median(speeds[..opening].iter().map(|s| s.1));
    speeds.iter_mut().for_each(|s| s.1 -= set_out);
    speeds
}

/// Returns where a run left the tempo that it set out with, from the [`speeds`] of its bars.
pub fn drifts(speeds: &[(usize, f64)], span: &Span) -> Vec<Drift> {
    let by_reading = span.pace.is_some();
    let side = |nth: usize| {
        let smooth = median(speeds[nth.saturating_sub(1)..(nth + 2).min(speeds.len())].iter().map(|s| s.1));
        let is_close = smooth < 0.0 && speeds[nth].0 + N_BARS_CLOSE >= span.bars.len();
        if smooth.abs() < SHARE_OF_A_BAR.ln_1p() || is_close { 0 } else { smooth.signum() as i32 }
    };
    let mut drifts = Vec::new();
    let mut first = 0;
    while first < speeds.len() {
        let run = (first..speeds.len()).take_while(|nth| side(*nth) == side(first)).count();
        if side(first) != 0 && run >= N_BARS_MIN {
            let share = median(speeds[first..first + run].iter().map(|s| s.1)).exp();
            if share.ln().abs() >= SHARE_MIN.ln_1p() {
                drifts.push(Drift { bars: speeds[first].0..=speeds[first + run - 1].0, share, by_reading });
            }
        }
        first += run;
    }
    drifts
}

/// Returns the bars that were played from their first onset to the next bar's first without a halt, with how long they took.
fn played_bars(path: &Path, span: &Span, lapsed: &[(Micros, Micros)]) -> Vec<(usize, Micros)> {
    let starts = |onset: OnsetIdx| span.line.onset(onset).place.into_bar.is_zero();
    let mut bars = Vec::new();
    let mut begun: Option<Reached> = None;
    for (nth, here) in path.reached.iter().enumerate() {
        if nth > 0 && !path.is_plain(nth) {
            begun = None;
        }
        if !starts(here.onset) {
            continue;
        }
        let bar = |r: Reached| span.line.onset(r.onset).played_bar;
        if let Some(from) = begun.filter(|from| bar(*from) + 1 == bar(*here)) {
            let is_lapsed = lapsed.iter().any(|(start, end)| from.at < *end && here.at > *start);
            if !is_lapsed {
                bars.push((bar(from), here.at - from.at));
            }
        }
        begun = Some(*here);
    }
    bars.retain(|(_, length)| *length > Micros::ZERO);
    bars
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    if values.len() % 2 == 1 { values[half] } else { (values[half - 1] + values[half]) / 2.0 }
}
