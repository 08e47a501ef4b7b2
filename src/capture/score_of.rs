//! Readings to a score: each on its own grid, two laid over each other, hands, values, names.

use crate::midi::{MidiKey, Velocity};
use crate::score::hands::{Sounding, split_hands};
use crate::score::{Bar, BarIdx, Note, Ornament, Part, Place, Score};
use crate::theory::Hand;
use crate::theory::spelling::{Sounded, spell};
use crate::time::{ScoreTime, Tempo};

use super::merge::{Agreement, Heard, lay_over};
use super::quantise::{Onset, Placed, cost, quantise};
use super::values::{Stroke, values, voices};
use super::{Page, Reading};

/// Some bars as they were played once.
#[derive(Clone, PartialEq, Debug)]
pub struct Stretch {
    pub reading: Reading,
    /// Printed numbers of the first and the last bar it is meant for; `last` is `None` for as far as it goes.
    pub first: u32,
    pub last: Option<u32>,
    /// Which reading of the piece it belongs to; `None` where the player settled a question with it: it stands for both.
    pub pass: Option<Pass>,
}

/// The first and the second reading of a piece.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Pass {
    First,
    Second,
}

/// What was captured.
#[derive(Clone, PartialEq, Debug)]
pub struct Captured {
    /// One part on two staves.
    pub score: Score,
    /// In page order.
    pub questions: Vec<Question>,
}

/// A place where two readings differ.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Question {
    pub place: Place,
    pub why: Why,
}

/// In what two readings differ.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Why {
    /// Something was struck in one of them only.
    Notes,
    /// The same was struck at another time.
    Rhythm,
}

/// Lays out what was played as a score of one part.
///
/// Of stretches that cover the same bar of one pass the later counts. Where a second pass covers a bar, places are the average of
/// both, and differences become questions; notes that only one pass has are kept until the bar is played again.
pub fn score(page: &Page, stretches: &[Stretch], title: Option<&str>, tempo: Option<Tempo>) -> Captured {
    let gridded: Vec<Gridded> = stretches.iter().map(|s| Gridded::new(s, page)).collect();
    let first = notes_of(Pass::First, stretches, &gridded, page);
    let second = notes_of(Pass::Second, stretches, &gridded, page);
    let laid: Vec<(Heard, Agreement)> = if second.is_empty() {
        first.iter().map(|h| (*h, Agreement::Full)).collect()
    } else {
        let is_twice = |h: &Heard| covers(Pass::Second, stretches, &gridded, page.number_at(h.grid));
        let mut laid = lay_over(&first, &second);
        // What was played in one pass only because the other did not get so far is no difference.
        let once = |h: &Heard| !is_twice(h) || !covers(Pass::First, stretches, &gridded, page.number_at(h.grid));
        laid.iter_mut().filter(|(h, _)| once(h)).for_each(|row| row.1 = Agreement::Full);
        laid
    };
    let placed: Vec<Placed> = laid.iter().map(|(h, _)| h.placed).collect();
    let onsets = quantise(&placed, page);
    let last_onset = onsets.last().map_or(ScoreTime::ZERO, |o| o.at);
    let last_bar = page.number_at(last_onset).max(page.n_bars.unwrap_or(1));
    let bars = page.bars(last_bar);
    let part = part(&laid, &onsets, &bars);
    let tempos = tempo.map(|t| (ScoreTime::ZERO, t)).into_iter().collect();
    let score = Score { title: title.map(str::to_owned), bars, parts: vec![part], tempos, ..Score::default() };
    let questions = questions(&laid, &onsets, &score);
    Captured { score, questions }
}

/// A stretch on its own grid.
struct Gridded {
    heard: Vec<Heard>,
    /// Printed number of the last bar that has a note.
    last: u32,
}

/// What the first search leaves of being early or late on the whole, in quarters; more is the rhythm.
const BIAS_MAX: f64 = 0.1;
/// Seconds that a player may be late on the whole (early below zero), and how far that is likely to go.
const LATENESS: [f64; 5] = [0.0, -0.05, 0.05, -0.1, 0.1];
const LATENESS_SPREAD: f64 = 0.03;
/// Notes that are looked at for it.
const N_NOTES_HEARD: usize = 60;

/// Returns how late a player is on the whole, roughly, in quarters: with what the first notes fit the grid best.
fn usual_lateness(placed: &[Placed], page: &Page) -> f64 {
    let notes = &placed[..placed.len().min(N_NOTES_HEARD)];
    let Some(pace) = notes.first().map(|n| n.pace) else { return 0.0 };
    let of = |seconds: f64| {
        let moved: Vec<Placed> = notes.iter().map(|n| Placed { at: n.at - seconds / pace, ..*n }).collect();
        cost(&moved, page) + 0.5 * (seconds / LATENESS_SPREAD).powi(2)
    };
    let costs = LATENESS.map(|seconds| (of(seconds), seconds / pace));
    costs.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).map_or(0.0, |c| c.1)
}

impl Gridded {
    fn new(stretch: &Stretch, page: &Page) -> Self {
        let Reading { struck, beats } = &stretch.reading;
        let mut placed: Vec<Placed> = struck
            .iter()
            .map(|s| Placed {
                at: beats.quarters(s.on),
                pace: beats.seconds_per_quarter(s.on),
                away: beats.away(s.on),
                key: s.key.number(),
            })
            .collect();
        // A player who is always a little ahead of the click, or an instrument that is late, moves all alike.
        let mut bias = usual_lateness(&placed, page);
        placed.iter_mut().for_each(|p| p.at -= bias);
        let mut onsets = quantise(&placed, page);
        let mut off: Vec<f64> = onsets.iter().map(|o| placed[o.first].at - o.at.to_f64()).collect();
        off.sort_by(f64::total_cmp);
        let rest = off.get(off.len() / 2).copied().unwrap_or(0.0);
        if rest.abs() <= BIAS_MAX {
            bias += rest;
            placed.iter_mut().for_each(|p| p.at -= rest);
            onsets = quantise(&placed, page);
        }
        let heard = |onset: &Onset, i: usize| Heard {
            placed: placed[i],
            key: struck[i].key,
            end: struck[i].off.map(|off| beats.quarters(off) - bias),
            grid: onset.at,
            late: (placed[i].at - onset.at.to_f64()) * placed[i].pace,
            velocity: f64::from(struck[i].velocity.0),
            roll: onset.roll,
        };
        let heard: Vec<Heard> = onsets.iter().flat_map(|o| (o.first..o.end).map(move |i| (o, i))).map(|(o, i)| heard(o, i)).collect();
        let last = heard.last().map_or(0, |h| page.number_at(h.grid));
        Gridded { heard, last }
    }
}

fn is_of(stretch: &Stretch, pass: Pass) -> bool {
    stretch.pass.is_none_or(|own| own == pass)
}

fn reaches(stretch: &Stretch, gridded: &Gridded, bar: u32) -> bool {
    bar >= stretch.first && bar <= stretch.last.unwrap_or(gridded.last)
}

fn covers(pass: Pass, stretches: &[Stretch], gridded: &[Gridded], bar: u32) -> bool {
    stretches.iter().zip(gridded).any(|(s, g)| is_of(s, pass) && reaches(s, g, bar))
}

/// Returns the notes of a pass by place: in each bar those of the last stretch that covers it.
fn notes_of(pass: Pass, stretches: &[Stretch], gridded: &[Gridded], page: &Page) -> Vec<Heard> {
    let mut notes: Vec<Heard> = Vec::new();
    for (nth, (stretch, own)) in stretches.iter().zip(gridded).enumerate().filter(|(_, (s, _))| is_of(s, pass)) {
        let counts = |bar: u32| {
            let later = stretches[nth + 1..].iter().zip(&gridded[nth + 1..]);
            reaches(stretch, own, bar) && !later.into_iter().any(|(s, g)| is_of(s, pass) && reaches(s, g, bar))
        };
        notes.extend(own.heard.iter().filter(|h| counts(page.number_at(h.grid))));
    }
    notes.sort_by(|a, b| a.placed.at.total_cmp(&b.placed.at).then(a.key.cmp(&b.key)));
    notes
}

/// Struck this much before its neighbour, in seconds, a note of a chord leads to it.
const GRACE_GAP: f64 = 0.06;
/// And no farther from it than this, in semitones.
const GRACE_STEP: u8 = 2;

fn part(laid: &[(Heard, Agreement)], onsets: &[Onset], bars: &[Bar]) -> Part {
    let mut rows: Vec<(&Onset, usize)> = onsets.iter().flat_map(|o| (o.first..o.end).map(move |i| (o, i))).collect();
    rows.sort_by_key(|(o, i)| (o.at, laid[*i].0.key));
    rows.dedup_by_key(|(o, i)| (o.at, laid[*i].0.key));
    let length = |i: usize| laid[i].0.end.map(|end| (end - laid[i].0.placed.at).max(0.0));
    let sounding: Vec<Sounding> = rows
        .iter()
        .map(|&(o, i)| {
            let held = length(i).and_then(ScoreTime::from_f64_lossy).unwrap_or(ScoreTime::ZERO);
            let velocity = Velocity(laid[i].0.velocity.round() as u8);
            Sounding { onset: o.at, end: o.at + held, key: laid[i].0.key, velocity: Some(velocity) }
        })
        .collect();
    let hands = split_hands(&sounding);
    let strokes: Vec<Stroke> = rows
        .iter()
        .zip(&hands)
        .map(|(&(o, i), &hand)| Stroke { onset: o.at, key: laid[i].0.key.number(), hand, held: length(i) })
        .collect();
    let values = values(&strokes, bars);
    let voices = voices(&strokes, &values);
    let bar_of = |at: ScoreTime| bars.partition_point(|b| b.start <= at).saturating_sub(1);
    let sounded: Vec<Sounded> = strokes.iter().map(|s| Sounded { key: s.key, fifths: bars[bar_of(s.onset)].key.fifths }).collect();
    let names = spell(&sounded);
    let mut notes = Vec::with_capacity(rows.len());
    for (nth, &(onset, i)) in rows.iter().enumerate() {
        let key = laid[i].0.key;
        let plain = Note::plain(onset.at, values[nth], names[nth], key, hands[nth], BarIdx(bar_of(onset.at)));
        let is_grace =
            leads_on(laid, onset, i, |k| rows.iter().position(|&(o, j)| o.at == onset.at && laid[j].0.key == k).map(|n| hands[n]));
        let (duration, ornament) = if is_grace { (ScoreTime::ZERO, Ornament::Grace) } else { (values[nth], Ornament::None) };
        notes.push(Note { duration, ornament, voice: voices[nth], roll: laid[i].0.roll.filter(|_| !is_grace), ..plain });
    }
    notes.sort_by_key(|n| (n.onset, n.key, n.hand));
    let held = bars.last().map_or(ScoreTime::ZERO, |b| b.start + b.length);
    Part { id: "P1".to_owned(), name: "Harp or keyboard".to_owned(), n_staves: 2, notes, held, ..Part::default() }
}

/// Tells whether a note of an onset is a grace note: struck a little before one of its neighbours a step away, in the same hand
/// alone with it.
fn leads_on(laid: &[(Heard, Agreement)], onset: &Onset, i: usize, hand_of: impl Fn(MidiKey) -> Option<Hand>) -> bool {
    let hand = hand_of(laid[i].0.key);
    let mut of_hand = (onset.first..onset.end).filter(|&j| hand_of(laid[j].0.key) == hand);
    let (Some(a), Some(b), None) = (of_hand.next(), of_hand.next(), of_hand.next()) else { return false };
    let (first, gap) =
        if laid[a].0.late <= laid[b].0.late { (a, laid[b].0.late - laid[a].0.late) } else { (b, laid[a].0.late - laid[b].0.late) };
    first == i && gap >= GRACE_GAP && laid[a].0.key.number().abs_diff(laid[b].0.key.number()) <= GRACE_STEP
}

/// One question a bar and beat, the notes before the rhythm.
fn questions(laid: &[(Heard, Agreement)], onsets: &[Onset], score: &Score) -> Vec<Question> {
    let mut questions: Vec<Question> = Vec::new();
    for onset in onsets {
        let differs = |agreement| laid[onset.first..onset.end].iter().any(|(_, a)| *a == agreement);
        let why = if differs(Agreement::One) {
            Why::Notes
        } else if differs(Agreement::Place) {
            Why::Rhythm
        } else {
            continue;
        };
        questions.extend(Place::at(score, onset.at).map(|place| Question { place, why }));
    }
    questions
}
