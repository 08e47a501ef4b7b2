//! A followed take as a short account for the player, the way a teacher would note it down: how much was right, what
//! holds, what happened where, and which bars to look at first.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::ignored::Ignored;
use super::progress_words::times;
use crate::follower::{Finding, Heard, LineNote, OnsetIdx, Slip, SlipKind};
use crate::journal::entry::{Entry, Rep, Verdict};
use crate::language::named::shown;
use crate::practice::{Output, Span, stand_words};
use crate::score::{Place, Score};
use crate::theory::Hand;
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
        [] => vec![tr!("{}: no rep was begun in this take", shown(&span.name))],
        [rep] => of_one_rep(rep, &Marks::read(outputs), span, score),
        _ => {
            let line = |(n, rep): (usize, &&Rep)| {
                tr!("rep {nth}, from {time}: {verdict}", nth = n + 1, time = clock(rep.started), verdict = verdict_words(rep))
            };
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
    if rep.verdict == Verdict::Clean { verdict.to_owned() } else { tr!("{verdict}; {why}", verdict, why) }
}

fn of_one_rep(rep: &Rep, marks: &Marks, span: &Span, score: &Score) -> Vec<String> {
    let mut lines = vec![opening(rep, marks, span)];
    lines.extend(marks.ignored.words());
    lines.extend(marks.is_by_strings.then(|| tr!("Heard by strings: levers and pedals are not listened to.")));
    lines.extend(marks.left_aside(span));
    lines.extend(marks.longest_held(span).map(|held| match held.len() == span.bars.len() {
        true => tr!("All of it holds."),
        false => tr!("{bars} hold.", bars = bars_in_words(&held, span)),
    }));
    let in_words = Words { span, score };
    let groups = [
        (tr!("Slips"), marks.slips_by_spot().iter().map(|slips| in_words.slips(slips)).collect::<Vec<_>>()),
        (tr!("Stops"), marks.stops.iter().map(|stop| in_words.stop(stop)).collect()),
        (tr!("Went back"), marks.moves.iter().filter(|m| m.to <= m.from).map(|m| in_words.moved(m)).collect()),
        (tr!("Skipped"), marks.moves.iter().filter(|m| m.to > m.from).map(|m| in_words.moved(m)).collect()),
    ];
    for (title, items) in groups.into_iter().map(|(title, items)| (title, counted(items))).filter(|(_, items)| !items.is_empty()) {
        let places = items.iter().take(N_PLACES_MAX).map(String::as_str).collect::<Vec<_>>().join(&tr!("; "));
        let more = items.len().saturating_sub(N_PLACES_MAX);
        lines.push(if more > 0 {
            tr!("{title}: {places}; and {more} more.", title, places, more)
        } else {
            tr!("{title}: {places}.", title, places)
        });
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
    let said = |(item, n): (String, usize)| match n {
        1 => item,
        n => format!("{item}, {}", times(n)),
    };
    counts.into_iter().map(said).collect()
}

fn opening(rep: &Rep, marks: &Marks, span: &Span) -> String {
    let (first, last) = &rep.bars;
    let bars = if first == last { tr!("bar {bar}", bar = first) } else { tr!("bars {first} to {last}", first, last) };
    // What was never come to is no fault of the playing.
    let played = marks.bars_played(span);
    let is_due = |n: &&LineNote| !n.is_optional && played.contains(&span.line.onset(n.onset).played_bar);
    let n_due = span.line.notes.iter().filter(is_due).count().max(rep.n_notes_right as usize);
    let (span, n_right) = (shown(&rep.span), rep.n_notes_right);
    match rep.tempo {
        Some(tempo) => tr!(
            "{span}, {bars}: {n_right} of {n_due} notes in their place, about {tempo} quarters a minute.",
            span,
            bars,
            n_right,
            n_due,
            tempo = format!("{tempo:.0}")
        ),
        None => tr!("{span}, {bars}: {n_right} of {n_due} notes in their place.", span, bars, n_right, n_due),
    }
}

fn bars_in_words(bars: &Range<usize>, span: &Span) -> String {
    let (first, last) = (&span.bars[bars.start], &span.bars[bars.end - 1]);
    if bars.len() == 1 { tr!("Bar {bar}", bar = first) } else { tr!("Bars {first} to {last}", first, last) }
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
            [one] => Some(if one.len() == 1 {
                tr!("{bar} was not played.", bar = bars_in_words(one, span))
            } else {
                tr!("{bars} were not played.", bars = bars_in_words(one, span))
            }),
            more => Some(tr!("{n} bars were not played.", n = more.iter().map(ExactSizeIterator::len).sum::<usize>())),
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
            [one] => Some(tr!("Look at bar {bar}.", bar = one)),
            [first @ .., last] => Some(tr!("Look first at bars {first} and {last}.", first = first.join(", "), last)),
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
        if place.into_bar.is_zero() { tr!("bar {bar}", bar = self.score.bar(place.bar).label) } else { place.words(self.score) }
    }

    fn slips(&self, slips: &[Slip]) -> String {
        let hand = |slip: &Slip| slip.note.map(|n| self.span.line.note(n).hand);
        let first = &slips[0];
        let where_first = self.short(first.onset);
        if let [slip] = slips {
            let hand = hand(slip).map(|h| format!(", {}", h.words())).unwrap_or_default();
            let stand = slip.note.filter(|_| slip.kind == SlipKind::Setting).and_then(|n| self.span.strung(n)).map(|strung| strung.stand());
            let what = stand.map_or_else(|| one_slip(slip.kind), stand_words);
            return format!("{where_first}{hand}, {what}");
        }
        let same_hand = hand(first).filter(|h| slips.iter().all(|s| hand(s) == Some(*h)));
        let hand = same_hand.map(Hand::words);
        let kinds = if slips.iter().all(|s| s.kind == first.kind) { slips_of(first.kind) } else { tr!("slips") };
        let (n, place) = (slips.len(), where_first);
        match hand {
            Some(hand) => tr!("{n} {kinds} from {place} on in the {hand}", n, kinds, place, hand),
            None => tr!("{n} {kinds} from {place} on", n, kinds, place),
        }
    }

    fn stop(&self, stop: &Stop) -> String {
        let before = tr!("before {place}", place = self.short(stop.onset));
        match stop.then {
            None => before,
            Some(Move { to, .. }) if to >= stop.onset => tr!("{before} (went on from {place})", before, place = self.short(to)),
            Some(Move { to, .. }) => tr!("{before} (began again from {place})", before, place = self.short(to)),
        }
    }

    fn moved(&self, moved: &Move) -> String {
        if self.place(moved.from).bar == self.place(moved.to).bar {
            return tr!("within bar {bar}", bar = self.score.bar(self.place(moved.from).bar).label);
        }
        tr!("from {from} to {to}", from = self.short(moved.from), to = self.short(moved.to))
    }
}

fn one_slip(kind: SlipKind) -> String {
    match kind {
        SlipKind::Wrong => tr!("not what is written"),
        SlipKind::Missed => tr!("a note left out"),
        SlipKind::Extra => tr!("more than is written"),
        SlipKind::WrongTurn => tr!("the way of the look-alike"),
        SlipKind::Setting => tr!("the right string, check its setting"),
    }
}

/// Several slips of a kind, as they go after their number.
fn slips_of(kind: SlipKind) -> String {
    match kind {
        SlipKind::Wrong => tr!("notes not as written"),
        SlipKind::Missed => tr!("notes left out"),
        SlipKind::Extra => tr!("notes more than written"),
        SlipKind::WrongTurn => tr!("turns the way of the look-alike"),
        SlipKind::Setting => tr!("right strings, check their setting"),
    }
}

fn clock(at: Micros) -> String {
    let seconds = at.0 / 1_000_000;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}
