//! A followed take as a short account for the player, the way a teacher would note it down: how much was right, what
//! holds, what happened where, and which bars to look at first.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::ignored::Ignored;
use crate::follower::{Finding, Heard, LineNote, OnsetIdx, Slip, SlipKind};
use crate::journal::entry::{Entry, Rep, Verdict};
use crate::practice::{Output, Span, stand_words};
use crate::score::{Place, Score};
use crate::time::Micros;

/// Slips below this confidence are not spoken of.
const SPOKEN_CONFIDENCE: f32 = 0.5;
/// Places named in one line; what is beyond them is counted.
const N_PLACES_MAX: usize = 6;
/// Slips closer than this are one spot.
const N_ONSETS_OF_A_SPOT: usize = 4;
/// A run of unmarked bars this long is worth a word.
const N_BARS_HELD: usize = 4;
/// A restart or a jump within this after a stop is what the player did about it.
const AFTER_A_STOP: Micros = Micros(10_000_000);

/// Returns the account of one take, line by line. `outputs` are those of the engine, in order.
pub fn lines(outputs: &[Output], span: &Span, score: &Score) -> Vec<String> {
    let reps: Vec<&Rep> = outputs.iter().filter_map(rep_of).collect();
    match reps.as_slice() {
        [] => vec![format!("{}: no rep was begun in this take", span.name)],
        [rep] => of_one_rep(rep, &Marks::read(outputs), span, score),
        _ => {
            let line = |(n, rep): (usize, &&Rep)| format!("rep {}, from {}: {}", n + 1, clock(rep.started), verdict_words(rep));
            reps.iter().enumerate().map(line).collect()
        }
    }
}

fn rep_of(output: &Output) -> Option<&Rep> {
    match output {
        Output::Record(Entry::Rep(rep)) => Some(rep),
        _ => None,
    }
}

fn verdict_words(rep: &Rep) -> String {
    let why = rep.reason.as_ref().map(|r| r.words.as_str()).unwrap_or_default();
    let verdict = rep.verdict.words();
    if rep.verdict == Verdict::Clean { verdict.to_owned() } else { format!("{verdict}; {why}") }
}

fn of_one_rep(rep: &Rep, marks: &Marks, span: &Span, score: &Score) -> Vec<String> {
    let mut lines = vec![opening(rep, marks, span)];
    lines.extend(marks.ignored.words());
    lines.extend(marks.is_by_strings.then(|| "Heard by strings: levers and pedals are not listened to.".to_owned()));
    lines.extend(marks.left_aside(span));
    lines.extend(marks.longest_held(span).map(|held| match held.len() == span.bars.len() {
        true => "All of it holds.".to_owned(),
        false => format!("{} hold.", bars_in_words(&held, span)),
    }));
    let in_words = Words { span, score };
    let groups = [
        ("Slips", marks.slips_by_spot().iter().map(|slips| in_words.slips(slips)).collect::<Vec<_>>()),
        ("Stops", marks.stops.iter().map(|stop| in_words.stop(stop)).collect()),
        ("Went back", marks.moves.iter().filter(|m| m.to <= m.from).map(|m| in_words.moved(m)).collect()),
        ("Skipped", marks.moves.iter().filter(|m| m.to > m.from).map(|m| in_words.moved(m)).collect()),
    ];
    for (title, items) in groups.into_iter().map(|(title, items)| (title, counted(items))).filter(|(_, items)| !items.is_empty()) {
        let shown = items.iter().take(N_PLACES_MAX).map(String::as_str).collect::<Vec<_>>().join("; ");
        let more = items.len().saturating_sub(N_PLACES_MAX);
        lines.push(if more > 0 { format!("{title}: {shown}; and {more} more.") } else { format!("{title}: {shown}.") });
    }
    lines.extend(marks.closing(span));
    lines
}

/// Says a thing that happened in the same place again once, with how often it did.
fn counted(items: Vec<String>) -> Vec<String> {
    let mut counts: Vec<(String, usize)> = Vec::new();
    for item in items {
        match counts.iter_mut().find(|(said, _)| *said == item) {
            Some((_, n)) => *n += 1,
            None => counts.push((item, 1)),
        }
    }
    let times = |(item, n): (String, usize)| match n {
        1 => item,
        2 => format!("{item}, twice"),
        n => format!("{item}, {n} times"),
    };
    counts.into_iter().map(times).collect()
}

fn opening(rep: &Rep, marks: &Marks, span: &Span) -> String {
    let bars = if rep.bars.0 == rep.bars.1 { format!("bar {}", rep.bars.0) } else { format!("bars {} to {}", rep.bars.0, rep.bars.1) };
    // What was never come to is no fault of the playing.
    let played = marks.bars_played(span);
    let is_due = |n: &&LineNote| !n.is_optional && played.contains(&span.line.onset(n.onset).played_bar);
    let n_due = span.line.notes.iter().filter(is_due).count().max(rep.n_notes_right as usize);
    let mut line = format!("{}, {bars}: {} of {n_due} notes in their place", rep.span, rep.n_notes_right);
    if let Some(tempo) = rep.tempo {
        line += &format!(", about {tempo:.0} quarters a minute");
    }
    line + "."
}

fn bars_in_words(bars: &Range<usize>, span: &Span) -> String {
    let (first, last) = (&span.bars[bars.start], &span.bars[bars.end - 1]);
    if bars.len() == 1 { format!("Bar {first}") } else { format!("Bars {first} to {last}") }
}

/// What a teacher would mark in the margin.
#[derive(Default)]
struct Marks {
    slips: Vec<(OnsetIdx, Slip)>,
    stops: Vec<Stop>,
    /// Restarts and jumps that no stop came before.
    moves: Vec<Move>,
    /// Onsets of which a note was heard.
    heard: BTreeSet<OnsetIdx>,
    ignored: Ignored,
    is_by_strings: bool,
}

struct Stop {
    at: Micros,
    /// What should have come.
    onset: OnsetIdx,
    then: Option<Move>,
}

#[derive(Clone, Copy)]
struct Move {
    from: OnsetIdx,
    to: OnsetIdx,
}

impl Marks {
    fn read(outputs: &[Output]) -> Marks {
        let mut marks = Marks::default();
        for output in outputs {
            match *output {
                Output::Finding(Finding::Slip(slip)) if slip.confidence >= SPOKEN_CONFIDENCE => marks.slips.push((slip.onset, slip)),
                Output::Finding(Finding::Restart { at, from, to, .. } | Finding::Jump { at, from, to, .. }) => {
                    let moved = Move { from, to };
                    match marks.stops.last_mut().filter(|s| s.then.is_none() && at - s.at < AFTER_A_STOP) {
                        Some(stop) => stop.then = Some(moved),
                        None => marks.moves.push(moved),
                    }
                }
                Output::Heard { at, key, note } => {
                    marks.ignored.note(at, key, &note);
                    if note.heard == Heard::Expected {
                        marks.heard.insert(note.position.onset);
                    }
                }
                Output::ByStrings { .. } => marks.is_by_strings = true,
                Output::Hesitated { at, onset } => marks.stops.push(Stop { at, onset, then: None }),
                _ => {}
            }
        }
        marks
    }

    /// Slips that stand close together, as one: in the order of playing.
    fn slips_by_spot(&self) -> Vec<Vec<Slip>> {
        let mut spots: Vec<Vec<Slip>> = Vec::new();
        let mut last = None;
        for (onset, slip) in &self.slips {
            let is_near = last.is_some_and(|l: OnsetIdx| onset.0.abs_diff(l.0) < N_ONSETS_OF_A_SPOT);
            match spots.last_mut() {
                Some(spot) if is_near => spot.push(*slip),
                _ => spots.push(vec![*slip]),
            }
            last = Some(*onset);
        }
        spots
    }

    /// How much is marked in each bar of the span as played; nothing for bars without a mark.
    fn weights(&self, span: &Span) -> BTreeMap<usize, usize> {
        let mut weights = BTreeMap::new();
        let mut add = |onset: OnsetIdx, weight: usize| *weights.entry(span.line.onset(onset).played_bar).or_insert(0) += weight;
        self.slips.iter().for_each(|(onset, _)| add(*onset, 1));
        self.stops.iter().for_each(|stop| add(stop.onset, 2));
        self.moves.iter().for_each(|moved| add(moved.from, 2));
        weights
    }

    fn bars_played(&self, span: &Span) -> BTreeSet<usize> {
        self.heard.iter().map(|onset| span.line.onset(*onset).played_bar).collect()
    }

    fn longest_held(&self, span: &Span) -> Option<Range<usize>> {
        let (played, weights) = (self.bars_played(span), self.weights(span));
        runs(span, |bar| played.contains(&bar) && !weights.contains_key(&bar))
            .filter(|run| run.len() >= N_BARS_HELD)
            .max_by_key(ExactSizeIterator::len)
    }

    /// Names the bars that were not come to, where there are some between or after those played.
    fn left_aside(&self, span: &Span) -> Option<String> {
        let played = self.bars_played(span);
        let has_notes: BTreeSet<usize> = span.line.onsets.iter().map(|o| o.played_bar).collect();
        let left: Vec<Range<usize>> = runs(span, |bar| has_notes.contains(&bar) && !played.contains(&bar)).collect();
        match left.as_slice() {
            [] => None,
            [one] => Some(format!("{} {} not played.", bars_in_words(one, span), if one.len() == 1 { "was" } else { "were" })),
            more => Some(format!("{} bars were not played.", more.iter().map(ExactSizeIterator::len).sum::<usize>())),
        }
    }

    /// Names the bars that most need a look, at most three, in the order of playing.
    fn closing(&self, span: &Span) -> Option<String> {
        let mut bars: Vec<(usize, usize)> = self.weights(span).into_iter().collect();
        bars.sort_by_key(|(bar, weight)| (std::cmp::Reverse(*weight), *bar));
        bars.truncate(3);
        bars.sort_by_key(|(bar, _)| *bar);
        let mut names: Vec<&str> = bars.iter().map(|(bar, _)| span.bars[*bar].as_str()).collect();
        names.dedup();
        match names.as_slice() {
            [] => None,
            [one] => Some(format!("Look at bar {one}.")),
            [first @ .., last] => Some(format!("Look first at bars {} and {last}.", first.join(", "))),
        }
    }
}

/// Runs of bars for which something is true, in the order of playing.
fn runs(span: &Span, is_so: impl Fn(usize) -> bool) -> impl Iterator<Item = Range<usize>> {
    let breaks: Vec<usize> = (0..span.bars.len()).filter(|bar| !is_so(*bar)).chain([span.bars.len()]).collect();
    let starts: Vec<usize> = [0].into_iter().chain(breaks.iter().map(|bar| bar + 1)).collect();
    starts.into_iter().zip(breaks).map(|(start, end)| start..end).filter(|run| !run.is_empty())
}

/// Puts places of a span into words.
struct Words<'a> {
    span: &'a Span,
    score: &'a Score,
}

impl Words<'_> {
    fn place(&self, onset: OnsetIdx) -> Place {
        self.span.place(onset)
    }

    /// A place as short as it can be said: the beginning of a bar is the bar.
    fn short(&self, onset: OnsetIdx) -> String {
        let place = self.place(onset);
        if place.into_bar.is_zero() { format!("bar {}", self.score.bar(place.bar).label) } else { place.words(self.score) }
    }

    fn slips(&self, slips: &[Slip]) -> String {
        let hand = |slip: &Slip| slip.note.map(|n| self.span.line.note(n).hand);
        let first = &slips[0];
        let where_first = self.short(first.onset);
        if let [slip] = slips {
            let hand = hand(slip).map(|h| format!(", {}", h.words())).unwrap_or_default();
            let stand = slip.note.filter(|_| slip.kind == SlipKind::Setting).and_then(|n| self.span.strung(n)).map(|strung| strung.stand());
            let what = stand.map_or_else(|| slip_words(slip.kind).0.to_owned(), stand_words);
            return format!("{where_first}{hand}, {what}");
        }
        let same_hand = hand(first).filter(|h| slips.iter().all(|s| hand(s) == Some(*h)));
        let hand = same_hand.map(|h| format!(" in the {}", h.words())).unwrap_or_default();
        let kinds = if slips.iter().all(|s| s.kind == first.kind) { slip_words(first.kind).1 } else { "slips" };
        format!("{} {kinds} from {where_first} on{hand}", slips.len())
    }

    fn stop(&self, stop: &Stop) -> String {
        let before = format!("before {}", self.short(stop.onset));
        match stop.then {
            None => before,
            Some(Move { to, .. }) if to >= stop.onset => format!("{before} (went on from {})", self.short(to)),
            Some(Move { to, .. }) => format!("{before} (began again from {})", self.short(to)),
        }
    }

    fn moved(&self, moved: &Move) -> String {
        if self.place(moved.from).bar == self.place(moved.to).bar {
            return format!("within bar {}", self.score.bar(self.place(moved.from).bar).label);
        }
        format!("from {} to {}", self.short(moved.from), self.short(moved.to))
    }
}

/// One slip, and several of its kind.
fn slip_words(kind: SlipKind) -> (&'static str, &'static str) {
    match kind {
        SlipKind::Wrong => ("not what is written", "notes not as written"),
        SlipKind::Missed => ("a note left out", "notes left out"),
        SlipKind::Extra => ("more than is written", "notes more than written"),
        SlipKind::WrongTurn => ("the way of the look-alike", "turns the way of the look-alike"),
        SlipKind::Setting => ("the right string, check its setting", "right strings, check their setting"),
    }
}

fn clock(at: Micros) -> String {
    let seconds = at.0 / 1_000_000;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}
