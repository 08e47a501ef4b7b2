//! What a bar line looks like to someone who looks for phrase starts: gaps, cadences, returns, changes.

use super::chord::Quality;
use super::harmony::BeatChord;
use super::matches::previous_matches;
use super::material::{Material, Tone};
use super::tokens::{Respect, Token, tokens};
use crate::theory::Hand;

/// Numbers that describe one bar line.
pub const N_SIGNS: usize = 34;
/// With those of the bar lines before and after.
pub const N_INPUTS: usize = 3 * N_SIGNS;

/// Returns one row of `N_INPUTS` a bar: how its first bar line looks.
pub fn inputs(material: &Material, harmony: &[BeatChord]) -> Vec<[f32; N_INPUTS]> {
    let rows = signs(material, harmony);
    let blank = [0.0; N_SIGNS];
    (0..rows.len())
        .map(|bar| {
            let around = [bar.checked_sub(1).map(|b| &rows[b]), Some(&rows[bar]), rows.get(bar + 1)];
            let mut out = [0.0; N_INPUTS];
            for (nth, row) in around.into_iter().enumerate() {
                out[nth * N_SIGNS..(nth + 1) * N_SIGNS].copy_from_slice(row.unwrap_or(&blank));
            }
            out
        })
        .collect()
}

fn signs(material: &Material, harmony: &[BeatChord]) -> Vec<[f32; N_SIGNS]> {
    let n = material.bars.len();
    let relative = tokens(material, Respect::Diatonic, None);
    let rhythm = tokens(material, Respect::Rhythm, None);
    let right_rhythm = tokens(material, Respect::Rhythm, Some(Hand::Right));
    let left_rhythm = tokens(material, Respect::Rhythm, Some(Hand::Left));
    let (begins, ends) = returns(&relative);
    let (rhythm_begins, rhythm_ends) = returns(&right_rhythm);
    let mean = (material.tones.len() as f32 / n.max(1) as f32).max(1.0);
    let first_full = usize::from(material.bars.first().is_some_and(|b| b.offset > 0));
    let mut last = Hands::default();
    (0..n)
        .map(|bar| {
            let span = material.bars[bar];
            let before = bar.checked_sub(1);
            let length = (span.end - span.at).max(1) as f32;
            let this = Hands::of(material, bar);
            let same = |t: &[Token], by: usize| bar.checked_sub(by).is_some_and(|b| t[b].hash == t[bar].hash && !t[bar].is_empty);
            let jump = |a: Option<u8>, b: Option<u8>| a.zip(b).map_or(0.0, |(a, b)| (f32::from(a) - f32::from(b)).abs().min(24.0) / 12.0);
            let number = bar as i32 - first_full as i32;
            let cadence = Cadence::of(material, harmony, bar);
            let row = [
                (last.tail / length).min(1.0),
                (last.right_tail / length).min(1.0),
                (last.silence / length).min(1.0),
                last.count / mean,
                (last.longest / length).min(1.0),
                (this.late_gap / length).min(1.0),
                (this.longest / length).min(1.0),
                (this.right_lead / length).min(1.0),
                (this.left_lead / length).min(1.0),
                (this.right_tail / length).min(1.0),
                this.count / mean,
                f32::from(last.is_rolled_or_held),
                begins[bar],
                ends[bar],
                rhythm_begins[bar],
                rhythm_ends[bar],
                f32::from(same(&rhythm, 1)),
                f32::from(same(&right_rhythm, 2)),
                f32::from(same(&right_rhythm, 4)),
                f32::from(same(&left_rhythm, 1)),
                f32::from(right_rhythm[bar].hash == right_rhythm[first_full.min(n - 1)].hash),
                cadence.into_last,
                cadence.within_last,
                cadence.into_this,
                cadence.over_line,
                cadence.dominant_waits,
                cadence.home_here,
                cadence.home_last,
                cadence.n_changes_last / 4.0,
                jump(last.last_top, this.first_top),
                jump(last.last_bass, this.first_bass),
                f32::from(number.rem_euclid(4) == 0),
                f32::from(number.rem_euclid(2) == 0),
                f32::from(before.is_some_and(|b| material.bars[b].fifths != span.fifths || material.bars[b].meter != span.meter)),
            ];
            last = this;
            row
        })
        .collect()
}

/// How strongly a return begins, and ends, at each bar: the longest one's bars, up to 4, as a share of 4.
fn returns(tokens: &[Token]) -> (Vec<f32>, Vec<f32>) {
    let text: Vec<u64> = tokens.iter().map(|t| t.hash).collect();
    let found = previous_matches(&text);
    let (mut begins, mut ends) = (vec![0.0f32; text.len()], vec![0.0f32; text.len()]);
    for (bar, m) in found.iter().enumerate() {
        let goes_on = bar > 0 && m.from > 0 && found[bar - 1].len == m.len + 1;
        if m.len == 0 || goes_on || tokens[bar].is_empty {
            continue;
        }
        let weight = m.len.min(4) as f32 / 4.0;
        for place in [bar, m.from] {
            begins[place] = begins[place].max(weight);
            if let Some(end) = ends.get_mut(place + m.len) {
                *end = end.max(weight);
            }
        }
    }
    (begins, ends)
}

/// What the hands do in one bar; lengths in ticks.
#[derive(Default)]
struct Hands {
    count: f32,
    /// From the last onset to the bar's end, either hand and right hand.
    tail: f32,
    right_tail: f32,
    /// Nothing sounds before the bar's end.
    silence: f32,
    /// Longest wait between onsets of the right hand.
    longest: f32,
    /// Longest such wait in the bar's second part that has an onset after it: room for an upbeat.
    late_gap: f32,
    right_lead: f32,
    left_lead: f32,
    first_top: Option<u8>,
    last_top: Option<u8>,
    first_bass: Option<u8>,
    last_bass: Option<u8>,
    is_rolled_or_held: bool,
}

impl Hands {
    fn of(material: &Material, bar: usize) -> Hands {
        let span = material.bars[bar];
        let tones = material.tones_of(bar);
        let of = |hand: Hand| tones.iter().filter(move |t: &&Tone| t.hand == hand);
        let length = (span.end - span.at) as f32;
        let mut right: Vec<i64> = of(Hand::Right).map(|t| t.at).collect();
        right.dedup();
        let tail = |last: Option<i64>| last.map_or(length, |at| (span.end - at) as f32);
        let lead = |first: Option<i64>| first.map_or(length, |at| (at - span.at) as f32);
        let waits = right.iter().zip(right.iter().skip(1).chain([&span.end])).map(|(a, b)| (*a, b - a));
        let late = right.windows(2).filter(|w| (w[1] - span.at) * 2 > span.end - span.at).map(|w| w[1] - w[0]).max();
        Hands {
            count: tones.len() as f32,
            tail: tail(tones.last().map(|t| t.at)),
            right_tail: tail(right.last().copied()),
            silence: tones.iter().map(|t| t.end).max().map_or(length, |end| (span.end - end).max(0) as f32),
            longest: waits.map(|(_, w)| w).max().unwrap_or(span.end - span.at) as f32,
            late_gap: late.unwrap_or(0) as f32,
            right_lead: lead(right.first().copied()),
            left_lead: lead(of(Hand::Left).map(|t| t.at).next()),
            first_top: of(Hand::Right).max_by_key(|t| (-t.at, t.key)).map(|t| t.key),
            last_top: of(Hand::Right).max_by_key(|t| (t.at, t.key)).map(|t| t.key),
            first_bass: of(Hand::Left).min_by_key(|t| (t.at, t.key)).map(|t| t.key),
            last_bass: of(Hand::Left).min_by_key(|t| (-t.at, t.key)).map(|t| t.key),
            is_rolled_or_held: tones.iter().any(|t| t.end - t.at >= span.end - span.at),
        }
    }
}

/// Harmony about one bar line.
#[derive(Default)]
struct Cadence {
    into_last: f32,
    within_last: f32,
    into_this: f32,
    over_line: f32,
    dominant_waits: f32,
    home_here: f32,
    home_last: f32,
    n_changes_last: f32,
}

impl Cadence {
    fn of(material: &Material, harmony: &[BeatChord], bar: usize) -> Cadence {
        let falls = |a: &BeatChord, b: &BeatChord| {
            let is_dominant = matches!(a.chord.quality, Quality::Major | Quality::Dominant7);
            f32::from(is_dominant && (a.chord.root + 12 - b.chord.root) % 12 == 7)
        };
        let at = |beat: usize| harmony.get(beat);
        let pair = |beat: usize| beat.checked_sub(1).and_then(&at).zip(at(beat)).map_or(0.0, |(a, b)| falls(a, b));
        let first = material.first_beat[bar];
        let Some(last) = bar.checked_sub(1).map(|b| material.first_beat[b]) else { return Cadence::default() };
        let Some(home) = harmony.first() else { return Cadence::default() };
        let inside = last + 1..first;
        let waits =
            at(first - 1).zip(at(first)).map_or(0.0, |(a, b)| f32::from(a.chord.quality != Quality::Minor && a.chord.root != b.chord.root));
        Cadence {
            into_last: pair(last),
            within_last: inside.clone().map(pair).fold(0.0, f32::max),
            into_this: pair(first),
            over_line: at(first - 1).zip(at(first)).map_or(0.0, |(a, b)| f32::from(a.chord.root != b.chord.root)),
            dominant_waits: waits,
            home_here: at(first).map_or(0.0, |c| f32::from(c.chord.root == home.chord.root)),
            home_last: at(first - 1).map_or(0.0, |c| f32::from(c.chord.root == home.chord.root)),
            n_changes_last: inside.filter(|&b| harmony[b].chord != harmony[b - 1].chord).count() as f32,
        }
    }
}
