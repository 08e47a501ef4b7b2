//! Likeness: bars and runs of bars that are as earlier ones, and sequences.
//!
//! Bars become tokens (`tokens`), the distance from bar to bar stands between them, and the longest
//! earlier match of every bar comes from a suffix array (`matches`): near-linear in the piece. Of
//! the matches the one that tells most is kept first, and no bar is told twice.

use std::collections::HashMap;

use super::matches::previous_matches;
use super::material::{Material, Tone};
use super::tokens::{Mixed, Respect, Token, mix, tokens};
use crate::theory::Hand;

/// In which way a run of bars is like an earlier one.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Alike {
    Exact,
    /// By octaves, up when above zero.
    Octaves(i32),
    /// By semitones, all intervals kept, and the strings between.
    Chromatic(i32, i32),
    /// By strings, within the key.
    Diatonic(i32),
    /// All but one note, of this hand.
    AllButOne(Hand),
    /// One hand exactly, the other new.
    OneHand(Hand),
    /// One hand by strings within the key, the other new.
    OneHandMoved(Hand, i32),
    /// Onsets of both hands only.
    Rhythm,
}

impl Alike {
    /// Tells whether all of it comes back, moved perhaps; not the rhythm or one hand alone.
    pub fn is_whole(self) -> bool {
        !matches!(self, Alike::OneHand(_) | Alike::OneHandMoved(..) | Alike::Rhythm)
    }
}

/// A run of bars that is like an earlier one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Likeness {
    /// Bars, half-open.
    pub from: usize,
    pub end: usize,
    /// First bar of the earlier run; the runs may overlap.
    pub of: usize,
    pub how: Alike,
    /// Ticks into the printed score where the one note differs, for [`Alike::AllButOne`].
    pub differs_at: Option<i64>,
}

/// A pattern repeated at once, each time moved by the same distance.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Sequence {
    pub from: usize,
    /// Bars of one turn, and how many turns there are.
    pub length: usize,
    pub turns: usize,
    /// Strings from turn to turn, up when above zero.
    pub by: i32,
}

impl Sequence {
    pub fn end(&self) -> usize {
        self.from + self.length * self.turns
    }
}

/// A match of a run of bars, before the choice.
struct Candidate {
    found: Likeness,
    worth: f64,
}

/// Finds what is like something earlier; `bits[bar]` is what a bar costs to tell on its own.
///
/// Sorted by bar; a bar is in one likeness only, save that a hand's likeness is left out where both hands have one.
pub fn likeness(material: &Material, bits: &[f64]) -> Vec<Likeness> {
    let n = material.bars.len();
    let mut candidates = Vec::new();
    let mut add = |from: usize, of: usize, len: usize, how: Alike, factor: f64| {
        let worth = bits[from..from + len].iter().sum::<f64>() * factor;
        candidates.push(Candidate { found: Likeness { from, end: from + len, of, how, differs_at: None }, worth });
    };
    for (respect, hand) in [
        (Respect::Exact, None),
        (Respect::Chromatic, None),
        (Respect::Diatonic, None),
        (Respect::Exact, Some(Hand::Left)),
        (Respect::Exact, Some(Hand::Right)),
        (Respect::Diatonic, Some(Hand::Left)),
        (Respect::Rhythm, None),
    ] {
        let row = tokens(material, respect, hand);
        for (from, of, len) in runs(&row) {
            let by = row[from].from - row[of].from;
            let how = match (respect, hand) {
                (Respect::Exact, None) => (Alike::Exact, 1.0),
                (Respect::Chromatic, _) if by == 0 => continue,
                (Respect::Chromatic, _) if by % 12 == 0 => (Alike::Octaves(by / 12), 0.95),
                (Respect::Chromatic, _) => (Alike::Chromatic(by, strings_between(material, of, from)), 0.9),
                (Respect::Diatonic, _) if by == 0 => continue,
                (Respect::Diatonic, Some(hand)) if is_plain_pattern(material, &row, from, hand) => continue,
                (Respect::Diatonic, Some(hand)) => (Alike::OneHandMoved(hand, by), 0.35),
                (Respect::Diatonic, _) => (Alike::Diatonic(by), 0.85),
                (Respect::Exact, Some(hand)) => (Alike::OneHand(hand), 0.4),
                (Respect::Rhythm, _) if is_plain_rhythm(material, from, len) => continue,
                (Respect::Rhythm, _) => (Alike::Rhythm, 0.2),
            };
            add(from, of, len, how.0, how.1);
        }
    }
    candidates.extend(nearly(material).into_iter().map(|found| Candidate { worth: bits[found.from] * 0.8, found }));
    choose(candidates, n)
}

/// Longest first: each is cut to the bars that nothing better has told.
fn choose(mut candidates: Vec<Candidate>, n: usize) -> Vec<Likeness> {
    let order = |c: &Candidate| (c.found.from, c.found.how);
    candidates.sort_by(|a, b| b.worth.total_cmp(&a.worth).then_with(|| order(a).cmp(&order(b))));
    let mut is_told = vec![false; n];
    let mut out = Vec::new();
    for Candidate { mut found, .. } in candidates {
        let shift = |f: &mut Likeness, to: usize| {
            f.of += to - f.from;
            f.from = to;
        };
        let Some(first) = (found.from..found.end).find(|&b| !is_told[b]) else { continue };
        shift(&mut found, first);
        found.end = (first..found.end).find(|&b| is_told[b]).unwrap_or(found.end);
        is_told[found.from..found.end].fill(true);
        out.push(found);
    }
    out.sort_by_key(|l| l.from);
    out
}

/// Runs of bars that match earlier ones: each begins where it cannot begin a bar earlier. From, of, length.
fn runs(row: &[Token]) -> Vec<(usize, usize, usize)> {
    const BETWEEN: u64 = 0x0b47;
    let mut text = Vec::with_capacity(2 * row.len());
    // A silent bar lies where the one before it lay.
    let mut from = 0;
    let mut last = None;
    for token in row {
        let here = if token.is_empty { from } else { token.from };
        if let Some(before) = last {
            text.push(mix(BETWEEN, (here - before) as u64));
        }
        text.push(token.hash);
        last = Some(here);
        from = here;
    }
    let matches = previous_matches(&text);
    // Matches of even places: bars, with the moves between them.
    let bars = |bar: usize| {
        let m = matches[2 * bar];
        // A match from a bar's place onto a move's place does not occur: the two kinds are hashed apart.
        (m.from / 2, m.len.div_ceil(2).min(row.len() - bar))
    };
    let mut out = Vec::new();
    let mut before = (usize::MAX, 0);
    for bar in 0..row.len() {
        let (of, mut len) = bars(bar);
        let goes_on = before.1 > 1 && len + 1 == before.1;
        before = (of, len);
        while len > 0 && row[bar + len - 1].is_empty {
            len -= 1;
        }
        if len > 0 && !goes_on && !row[bar].is_empty {
            out.push((bar, of, len));
        }
    }
    out
}

/// Distance in strings between the lowest tones of two bars.
fn strings_between(material: &Material, of: usize, from: usize) -> i32 {
    let lowest = |bar: usize| material.tones_of(bar).iter().min_by_key(|t| t.key).map_or(0, |t| t.steps);
    lowest(from) - lowest(of)
}

/// A hand's pattern that tells nothing: it goes on from the bar before, or is of fewer than three notes.
fn is_plain_pattern(material: &Material, row: &[Token], from: usize, hand: Hand) -> bool {
    let goes_on = from > 0 && row[from - 1].hash == row[from].hash;
    goes_on || material.tones_of(from).iter().filter(|t| t.hand == hand).count() < 3
}

/// A rhythm that tells nothing: the bar before already has it, or at most two onsets make it up.
fn is_plain_rhythm(material: &Material, from: usize, len: usize) -> bool {
    let onsets = |bar: usize| {
        let at = material.bars[bar].at;
        let mut row: Vec<(i64, Hand)> = material.tones_of(bar).iter().map(|t| (t.at - at, t.hand)).collect();
        row.dedup();
        row
    };
    let is_thin = (from..from + len).all(|bar| onsets(bar).len() <= 2);
    is_thin || from > 0 && onsets(from - 1) == onsets(from)
}

/// Single bars that are as an earlier one but for one note. Bars are compared only with the last
/// one that shares a hand or a half with them, so the cost stays linear.
fn nearly(material: &Material) -> Vec<Likeness> {
    let mut seen: HashMap<u64, usize, Mixed> = HashMap::default();
    let mut out = Vec::new();
    for bar in 0..material.bars.len() {
        let tones = material.tones_of(bar);
        let span = material.bars[bar];
        let half = (span.end - span.at) / 2;
        let hash = |salt: u64, keep: &dyn Fn(&Tone) -> bool| {
            let mut n = 0;
            let hash = tones.iter().filter(|t| keep(t)).fold(mix(salt, half as u64), |h, t| {
                n += 1;
                mix(mix(h, (t.at - span.at) as u64), t.key as u64 * 2 + u64::from(t.hand == Hand::Right))
            });
            (n >= 2).then_some(hash)
        };
        let keys = [
            hash(1, &|t| t.hand == Hand::Left),
            hash(2, &|t| t.hand == Hand::Right),
            hash(3, &|t| t.at - span.at < half),
            hash(4, &|t| t.at - span.at >= half),
        ];
        let mut tried = Vec::new();
        for key in keys.into_iter().flatten() {
            let Some(&of) = seen.get(&key).filter(|of| !tried.contains(*of)) else { continue };
            tried.push(of);
            if let Some(tone) = one_differs(material, of, bar) {
                let how = Alike::AllButOne(tone.hand);
                out.push(Likeness { from: bar, end: bar + 1, of, how, differs_at: Some(tone.at) });
                break;
            }
        }
        for key in keys.into_iter().flatten() {
            seen.insert(key, bar);
        }
    }
    out
}

/// Returns the one tone of `bar` that is another than in `of`, when all else is the same and there is enough of it.
fn one_differs(material: &Material, of: usize, bar: usize) -> Option<Tone> {
    let (a, b) = (material.tones_of(of), material.tones_of(bar));
    if a.len() != b.len() || a.len() < 4 {
        return None;
    }
    let row = |tones: &[Tone], bar: usize| {
        let mut row: Vec<(i64, Hand, u8)> = tones.iter().map(|t| (t.at - material.bars[bar].at, t.hand, t.key)).collect();
        row.sort_unstable();
        row
    };
    let (x, y) = (row(a, of), row(b, bar));
    let missing: Vec<_> = y.iter().filter(|t| x.binary_search(t).is_err()).collect();
    let [(at, hand, key)] = missing[..] else { return None };
    let gone: Vec<_> = x.iter().filter(|t| y.binary_search(t).is_err()).collect();
    (gone.len() == 1 && gone[0].0 == *at && gone[0].1 == *hand)
        .then(|| b.iter().find(|t| t.key == *key && t.hand == *hand && t.at - material.bars[bar].at == *at).copied())?
}

/// Finds sequences: a pattern of one to four bars that goes on at once, at least three turns in all, moved by the same distance each time.
pub fn sequences(material: &Material) -> Vec<Sequence> {
    let row = tokens(material, Respect::Diatonic, None);
    let n = row.len();
    let mut found: Vec<Sequence> = Vec::new();
    for length in 1..=4 {
        let mut from = 0;
        while from + 3 * length <= n {
            let alike = |a: usize, b: usize, by: i32| row[a].hash == row[b].hash && !row[a].is_empty && row[b].from - row[a].from == by;
            let by = row[from + length].from - row[from].from;
            let mut end = from + length;
            while end < n && alike(end - length, end, by) {
                end += 1;
            }
            let turns = (end - from) / length;
            if by != 0 && turns >= 3 {
                found.push(Sequence { from, length, turns, by });
                from += length * turns;
            } else {
                from += 1;
            }
        }
    }
    found.sort_by_key(|s| (s.length, s.from));
    let mut is_told = vec![false; n];
    found.retain(|s| {
        let is_new = !is_told[s.from..s.end()].iter().all(|t| *t);
        is_told[s.from..s.end()].fill(true);
        is_new
    });
    found.sort_by_key(|s| s.from);
    found
}
