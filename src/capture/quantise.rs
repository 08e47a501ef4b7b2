//! Played places brought to the metrical grid, tuplets chosen by cost.
//!
//! Every beat is cut by one of a few divisions; every onset stands on one point of its beat's division. Of all ways to place the
//! notes the cheapest is taken, where a place costs by how far the player was from it and by how much notation it needs.
//! That trade is published: A. T. Cemgil, P. Desain & B. Kappen, "Rhythm Quantization for Transcription", Computer Music
//! Journal 24(2), 2000 (Gaussian distance plus the code length of a subdivision), and D. Temperley, "Music and Probability",
//! 2007, chapter 3 (an onset is the likelier, the higher its metrical level). Ours is the search: notes, chords, rolled chords
//! and divisions are settled in one dynamic programme (a Viterbi search over the points, with stretches of notes as
//! one onset), so that a rolled chord and a run of short notes are weighed against each other, not told apart by a threshold.

use crate::score::Roll;
use crate::theory::Meter;
use crate::time::ScoreTime;

use super::Page;

/// A note as the grid sees it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Placed {
    /// Quarters from the start of the score, as played.
    pub at: f64,
    /// Seconds to a quarter there.
    pub pace: f64,
    /// Seconds to the nearest beat that was heard, where it is not heard throughout.
    pub away: f64,
    /// MIDI key number.
    pub key: u8,
}

/// Notes that the score starts together.
#[derive(Clone, PartialEq, Debug)]
pub struct Onset {
    pub at: ScoreTime,
    /// Indices into the notes given, half-open.
    pub first: usize,
    pub end: usize,
    /// How a chord was broken, where it was.
    pub roll: Option<Roll>,
}

/// Costs of the grid, in natural logarithms of probability; set on simulated slow playing and, by a split, on real performances
/// (tests/bench/capture.rs).
struct Costs;

impl Costs {
    /// Spread of a careful player around the beat, in seconds; and around it in parts of a beat.
    const SPREAD_SECONDS: f64 = 0.022;
    const SPREAD_BEATS: f64 = 0.022;
    /// And in parts of the time to the nearest beat that was heard: away from it the tempo is the player's own.
    const SPREAD_AWAY: f64 = 0.1;
    /// Beyond this many spreads a distance costs straight on: a stumble is no proof of a finer rhythm.
    const STRAIGHT_FROM: f64 = 3.0;
    /// Scale of the gap between notes struck as one, in seconds.
    const FLAT_GAP: f64 = 0.010;
    /// Breaking a chord, once; each of its notes; and the scale of its gaps, which are seldom much longer, in seconds.
    const ROLLED: f64 = 1.5;
    const ROLLED_NOTE: f64 = 0.3;
    const ROLLED_GAP: f64 = 0.065;
    /// A broken chord that turns back in pitch at gaps that are heard.
    const TURNS_BACK: f64 = 1.5;
    const HEARD_GAP: f64 = 0.022;
    /// The same key twice in one onset: only where no point is left.
    const TWICE: f64 = 40.0;
    /// A division kept from the beat before costs this part of what it costs anew.
    const KEPT: f64 = 0.5;
}

/// Notes that can be one onset.
const CHORD_MAX: usize = 14;
/// Longest stretch of a broken chord, in seconds.
const CHORD_SECONDS_MAX: f64 = 0.9;
/// Chords whose notes lie this far apart in all, in seconds, are not broken.
const FLAT_SECONDS: f64 = 0.07;
/// How far from its point a note may lie, in beats.
const REACH_BEATS: f64 = 0.6;

/// One way to cut a beat: into how many parts, and what choosing it costs.
struct Division {
    n: i64,
    cost: f64,
}

/// The beat that is cut, and its divisions.
struct Kind {
    /// Length in quarters.
    beat: ScoreTime,
    divisions: &'static [Division],
    /// Cost of an onset by the denominator of its place in the beat, reduced.
    point: fn(i64) -> f64,
}

const fn division(n: i64, cost: f64) -> Division {
    Division { n, cost }
}

const SIMPLE: &[Division] = &[
    division(1, 0.0),
    division(2, 0.2),
    division(4, 0.6),
    division(8, 2.0),
    division(3, 1.8),
    division(6, 3.0),
    division(12, 5.0),
    division(5, 5.0),
];

fn simple_point(denominator: i64) -> f64 {
    match denominator {
        1 => 0.0,
        2 => 0.5,
        4 => 1.1,
        3 => 1.0,
        8 => 2.2,
        6 => 2.0,
        5 => 2.0,
        _ => 6.0,
    }
}

const COMPOUND: &[Division] =
    &[division(1, 0.0), division(3, 0.1), division(6, 0.6), division(12, 2.0), division(2, 2.4), division(4, 3.2), division(9, 4.5)];

fn compound_point(denominator: i64) -> f64 {
    match denominator {
        1 => 0.0,
        3 => 0.4,
        6 => 1.1,
        2 => 1.3,
        12 => 2.4,
        4 => 2.2,
        9 => 3.0,
        _ => 6.0,
    }
}

/// Returns the beat that divides evenly: three of the lower number's notes in compound metres, else one.
fn kind(meter: Meter) -> Kind {
    if meter.unit >= 8 && meter.beats.is_multiple_of(3) {
        Kind { beat: meter.beat_length().scaled(3, 1), divisions: COMPOUND, point: compound_point }
    } else {
        Kind { beat: meter.beat_length(), divisions: SIMPLE, point: simple_point }
    }
}

/// One beat of the page.
struct Beat {
    start: ScoreTime,
    from: f64,
    length: f64,
    kind: Kind,
}

/// One point a note may stand on.
#[derive(Clone, Copy)]
struct Point {
    beat: usize,
    division: usize,
    at: ScoreTime,
    place: f64,
    cost: f64,
}

/// The cheapest way to end on a point with a given note as the last of its onset.
#[derive(Clone, Copy)]
struct Best {
    cost: f64,
    /// First note of the onset.
    first: usize,
    /// Point of the onset before, in the candidates of the note before `first`.
    before: usize,
}

/// Brings notes, sorted by place, to the grid of the page. Every note is in exactly one onset; onsets rise strictly.
///
/// Cost: linear in the notes; a few thousand steps a note.
pub fn quantise(notes: &[Placed], page: &Page) -> Vec<Onset> {
    search(notes, page).0
}

/// Returns what the cheapest way to place the notes costs: the better they fit the grid, the less.
pub fn cost(notes: &[Placed], page: &Page) -> f64 {
    search(notes, page).1
}

fn search(notes: &[Placed], page: &Page) -> (Vec<Onset>, f64) {
    let Some(last) = notes.last() else { return (Vec::new(), 0.0) };
    let beats = beats(page, last.at);
    let candidates: Vec<Vec<Point>> = notes.iter().map(|note| points(note, &beats)).collect();
    let mut table: Vec<Vec<Best>> = Vec::with_capacity(notes.len());
    // What it costs to come to each point of note `i` as a new onset, from all that stood before it.
    let mut arrivals: Vec<Vec<(f64, usize)>> = Vec::with_capacity(notes.len());
    for j in 0..notes.len() {
        let mut best = vec![Best { cost: f64::INFINITY, first: j, before: usize::MAX }; candidates[j].len()];
        let mut gaps = 0.0;
        for i in (0..=j).rev() {
            if i < j {
                let gap = seconds(&notes[i], &notes[i + 1]);
                gaps += gap_cost(gap, notes, i, j);
                if j - i >= CHORD_MAX || seconds(&notes[i], &notes[j]) > CHORD_SECONDS_MAX {
                    break;
                }
            }
            if i == j {
                arrivals.push(arrive(&candidates[j], &beats, j.checked_sub(1).map(|p| (&candidates[p], &table[p]))));
            }
            let first_points = &candidates[i];
            for (c, point) in candidates[j].iter().enumerate() {
                // The same point among those of the onset's first note.
                let Some(at_first) = position(first_points, point) else { continue };
                let (arrival, before) = arrivals[i][at_first];
                let cost = arrival + point.cost + gaps + distance_cost(&notes[i..=j], point, &beats[point.beat]);
                if cost < best[c].cost {
                    best[c] = Best { cost, first: i, before };
                }
            }
        }
        table.push(best);
    }
    let least = table.last().map_or(0.0, |best| best[cheapest(best)].cost);
    (trace(notes, &candidates, &table), least)
}

fn trace(notes: &[Placed], candidates: &[Vec<Point>], table: &[Vec<Best>]) -> Vec<Onset> {
    let mut onsets = Vec::new();
    let mut j = notes.len() - 1;
    let mut at = cheapest(&table[j]);
    loop {
        let Best { first, before, .. } = table[j][at];
        onsets.push(Onset { at: candidates[j][at].at, first, end: j + 1, roll: roll(&notes[first..=j]) });
        if first == 0 {
            break;
        }
        j = first - 1;
        at = if before == usize::MAX { cheapest(&table[j]) } else { before };
    }
    onsets.reverse();
    // Where more was struck than there are points, what is left over joins the onset before.
    let mut rising: Vec<Onset> = Vec::with_capacity(onsets.len());
    for onset in onsets {
        match rising.last_mut() {
            Some(last) if onset.at <= last.at => last.end = onset.end,
            _ => rising.push(onset),
        }
    }
    rising
}

fn cheapest(best: &[Best]) -> usize {
    (0..best.len()).min_by(|&a, &b| best[a].cost.total_cmp(&best[b].cost)).expect("every note has points")
}

fn position(points: &[Point], wanted: &Point) -> Option<usize> {
    let rank = |p: &Point| (p.beat, p.division, p.at);
    points.binary_search_by_key(&rank(wanted), rank).ok()
}

/// Returns for each point the cheapest cost of the onsets before it, the choice of its beat's division included, and where they end.
fn arrive(points: &[Point], beats: &[Beat], before: Option<(&Vec<Point>, &Vec<Best>)>) -> Vec<(f64, usize)> {
    let choose = |p: &Point| beats[p.beat].kind.divisions[p.division].cost;
    let Some((old_points, old)) = before else { return points.iter().map(|p| (choose(p), usize::MAX)).collect() };
    let from = |point: &Point| {
        let mut least = (f64::INFINITY, usize::MAX);
        for (i, (o, best)) in old_points.iter().zip(old).enumerate() {
            let step = if o.at >= point.at {
                continue;
            } else if o.beat == point.beat {
                if o.division != point.division {
                    continue;
                }
                0.0
            } else if o.division == point.division {
                Costs::KEPT * choose(point)
            } else {
                choose(point)
            };
            if best.cost + step < least.0 {
                least = (best.cost + step, i);
            }
        }
        least
    };
    points.iter().map(from).collect()
}

/// Returns the beats of the page up to past a place, one before the first bar included for notes that come early.
fn beats(page: &Page, last: f64) -> Vec<Beat> {
    let mut out = Vec::new();
    let mut number = u32::from(page.pickup.is_zero());
    let mut start = ScoreTime::ZERO;
    // A beat past the last note, so that a late one has somewhere to go.
    while out.is_empty() || start.to_f64() <= last + 4.0 {
        let meter = page.meter_of(number);
        let length = if number == 0 { page.pickup } else { meter.bar_length() };
        let beat_length = kind(meter).beat;
        // A pickup counts as the end of a bar: its beats are those before the bar line.
        let mut at = start;
        let mut into = if number == 0 { meter.bar_length() - length } else { ScoreTime::ZERO };
        while at < start + length {
            let mut from = ScoreTime::ZERO;
            while from + beat_length <= into {
                from += beat_length;
            }
            let begin = at - (into - from);
            out.push(Beat { start: begin, from: begin.to_f64(), length: beat_length.to_f64(), kind: kind(meter) });
            let step = begin + beat_length - at;
            at += step;
            into += step;
        }
        start += length;
        number += 1;
    }
    out
}

/// Returns the points that a note may stand on; never empty.
fn points(note: &Placed, beats: &[Beat]) -> Vec<Point> {
    let reach = |beat: &Beat| REACH_BEATS * beat.length;
    let mut first = beats.partition_point(|b| b.from + b.length + reach(b) <= note.at);
    let mut end = first + beats[first..].iter().take_while(|b| note.at > b.from - reach(b)).count();
    if first == end {
        // Before the first beat, or after the last: the nearest stands for it.
        first = first.min(beats.len() - 1);
        end = first + 1;
    }
    let mut out = Vec::new();
    for (beat, b) in beats.iter().enumerate().take(end).skip(first) {
        for (division, cut) in b.kind.divisions.iter().enumerate() {
            for part in 0..cut.n {
                let at = b.start + b.kind.beat.scaled(part, cut.n);
                if at < ScoreTime::ZERO {
                    continue;
                }
                let denominator = ScoreTime::new(part, cut.n).denominator();
                out.push(Point { beat, division, at, place: at.to_f64(), cost: (b.kind.point)(denominator) });
            }
        }
    }
    if out.is_empty() {
        // A pickup shorter than any part of a beat: its first moment.
        out.push(Point { beat: first, division: 0, at: ScoreTime::ZERO, place: 0.0, cost: 0.0 });
    }
    out
}

fn seconds(a: &Placed, b: &Placed) -> f64 {
    (b.at - a.at) * 0.5 * (a.pace + b.pace)
}

/// Returns what it costs that notes `i` and `i + 1` belong to one onset that ends with note `j`.
fn gap_cost(gap: f64, notes: &[Placed], i: usize, j: usize) -> f64 {
    let flat = gap / Costs::FLAT_GAP;
    let mut broken = Costs::ROLLED_NOTE + 0.5 * (gap / Costs::ROLLED_GAP).powi(2);
    let next = (i + 2 <= j).then(|| seconds(&notes[i + 1], &notes[i + 2]));
    if next.is_none_or(|next| next < Costs::HEARD_GAP) {
        broken += Costs::ROLLED;
    } else if gap > Costs::HEARD_GAP && (notes[i + 1].key > notes[i].key) != (notes[i + 2].key > notes[i + 1].key) {
        broken += Costs::TURNS_BACK;
    }
    // The same key twice is two onsets.
    let is_twice = notes[i + 1..=j].iter().any(|n| n.key == notes[i].key);
    if is_twice { Costs::TWICE } else { flat.min(broken) }
}

/// Returns what the distance of a chord from its point costs: the middle of a flat chord, the nearest moment of a broken one.
fn distance_cost(chord: &[Placed], point: &Point, beat: &Beat) -> f64 {
    let (first, last) = (chord[0], chord[chord.len() - 1]);
    let pace = first.pace;
    let away = if (last.at - first.at) * pace <= FLAT_SECONDS {
        chord.iter().map(|n| n.at).sum::<f64>() / chord.len() as f64 - point.place
    } else {
        (point.place.clamp(first.at, last.at) - point.place).abs()
    };
    let spread = Costs::SPREAD_SECONDS.hypot(Costs::SPREAD_BEATS * beat.length * pace).hypot(Costs::SPREAD_AWAY * first.away);
    let n = (away * pace / spread).abs();
    if n <= Costs::STRAIGHT_FROM { 0.5 * n * n } else { Costs::STRAIGHT_FROM * (n - 0.5 * Costs::STRAIGHT_FROM) }
}

/// Gaps between the notes of a chord that is marked as broken, in seconds, at the least on the whole.
const MARKED_GAP: f64 = 0.03;

fn roll(chord: &[Placed]) -> Option<Roll> {
    let steps = chord.len().checked_sub(1).filter(|&n| n >= 2)? as f64;
    let rises = chord.windows(2).filter(|w| w[1].key > w[0].key).count() as f64;
    let is_slow = seconds(&chord[0], &chord[chord.len() - 1]) > MARKED_GAP * steps + 0.01;
    match rises / steps {
        up if is_slow && up >= 0.8 => Some(Roll::Up),
        up if is_slow && up <= 0.2 => Some(Roll::Down),
        _ => None,
    }
}
