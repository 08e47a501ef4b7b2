//! Joins: sections that hold by themselves are played into one another, two at first, then in longer spans.
//!
//! A join is offered once all its sections have reached their target. Spans double in length from step to step, so that the work
//! grows with the piece and not with its square; the whole piece is the run-through's. Where two sections meet, the last bar of one
//! and the first of the next, is a thing of its own to remember: [`Seam::record`] counts it from every rep that crossed it.

use std::ops::Range;

use super::judge::Fault;
use super::span::Span;
use crate::journal::entry::{Mode, Rep, Verdict};
use crate::language::named::shown;
use crate::piece::{Piece, Section};
use crate::score::{BarIdx, BarRange, Place, Score};

/// Clean reps wanted of a join: what it is made of has been played clean already.
const TARGET: u8 = 1;

/// From which end of the piece sections are taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Chaining {
    #[default]
    FromTheTop,
    /// The last section first, so that each join leads into what is known already.
    FromTheEnd,
}

/// Returns the sections of a piece as drills, each followed by its join with the neighbour before it in this order, then the longer spans.
pub fn spans(piece: &Piece, chaining: Chaining) -> Vec<Span> {
    let n = piece.sections.len();
    let section = |s: &Section| Span::drill(piece, s.name.clone(), &s.bars, s.target_reps.unwrap_or(piece.target_reps));
    let order: Vec<usize> = match chaining {
        Chaining::FromTheTop => (0..n).collect(),
        Chaining::FromTheEnd => (0..n).rev().collect(),
    };
    let mut out = Vec::new();
    for (nth, &idx) in order.iter().enumerate() {
        out.extend(section(&piece.sections[idx]));
        if let Some(&before) = nth.checked_sub(1).and_then(|before| order.get(before)).filter(|_| n > 2) {
            out.extend(join(piece, idx.min(before)..idx.max(before) + 1));
        }
    }
    let mut length = 4;
    while length < n {
        // Each overlaps the next by half, and the last one ends with the piece.
        let mut starts: Vec<usize> = (0..=n - length).step_by(length / 2).collect();
        if starts.last() != Some(&(n - length)) {
            starts.push(n - length);
        }
        if chaining == Chaining::FromTheEnd {
            starts.reverse();
        }
        out.extend(starts.into_iter().filter_map(|start| join(piece, start..start + length)));
        length *= 2;
    }
    out
}

/// Lays out neighbouring sections as one span.
fn join(piece: &Piece, sections: Range<usize>) -> Option<Span> {
    let (first, last) = (&piece.sections[sections.start], &piece.sections[sections.end - 1]);
    let bars = BarRange::try_new(first.bars.start.0..last.bars.end.0)?;
    let link = if sections.len() == 2 { "+" } else { "to" };
    let mut span = Span::drill(piece, format!("{} {link} {}", first.name, last.name), &bars, TARGET)?;
    let seams: Vec<Seam> = Seam::of(&piece.sections[sections.clone()]);
    let played: Vec<BarIdx> = span.stretch.bars.iter().map(|b| b.bar).collect();
    let (from, to) = (shown(&first.name), shown(&last.name));
    span.shown = if sections.len() == 2 { format!("{from} + {to}") } else { tr!("{from} to {to}", from, to) };
    span.seams = seams.iter().flat_map(|seam| seam.within(&played)).collect();
    span.joined = sections;
    Some(span)
}

/// Where one section meets the next. Sections that share a bar meet in it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Seam {
    /// The last bar of the one section.
    pub before: BarIdx,
    /// The first bar of the next.
    pub after: BarIdx,
}

/// How often a seam was crossed, and held.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Crossings {
    pub n_crossed: u32,
    /// Nothing failed in its two bars, whatever failed elsewhere.
    pub n_held: u32,
}

impl Seam {
    /// Returns the seams between neighbouring sections, in page order.
    pub fn of(sections: &[Section]) -> Vec<Seam> {
        sections.windows(2).map(|w| Seam { before: BarIdx(w[0].bars.end.0 - 1), after: w[1].bars.start }).collect()
    }

    /// Counts how reps came over this seam. One that ended before it does not count.
    pub fn record<'a>(self, score: &Score, reps: impl IntoIterator<Item = &'a Rep>) -> Crossings {
        let mut record = Crossings::default();
        for held in reps.into_iter().filter_map(|rep| self.crossed(score, rep)) {
            record.n_crossed += 1;
            record.n_held += u32::from(held);
        }
        record
    }

    /// Tells whether a rep held at the seam; none when it did not come over it.
    fn crossed(self, score: &Score, rep: &Rep) -> Option<bool> {
        let (first, last) = (score.find_bar(&rep.bars.0)?, score.find_bar(&rep.bars.1)?);
        // The bar before the seam must be in it, and the one after.
        if rep.mode == Mode::Reading || first > self.before || last < self.after || first == last {
            return None;
        }
        let bar = |place: &str| Place::parse(place, score).ok().map(|p| p.bar);
        let is_left = rep.reason.as_ref().is_some_and(|r| r.kind == Fault::Abandoned.word());
        let stopped_at = rep.reason.as_ref().filter(|_| is_left || (rep.mode == Mode::Drill && rep.verdict == Verdict::Broken));
        let stopped_at = stopped_at.and_then(|reason| bar(&reason.place));
        if stopped_at.is_some_and(|at| at < self.before || (is_left && at <= self.before)) {
            return None;
        }
        let fails = |kind: &str| kind != Fault::TooSlow.word() && kind != Fault::Abandoned.word();
        let failed = rep.happenings.iter().filter(|h| fails(h.kind)).filter_map(|h| bar(&h.place));
        Some(!failed.into_iter().any(|at| (self.before..=self.after).contains(&at)))
    }

    /// Returns where bars in playing order go over the seam.
    fn within(self, played: &[BarIdx]) -> Vec<Range<usize>> {
        let at = |i: &usize| match self.before == self.after {
            true => *i > 0 && played[*i] == self.before,
            false => played[*i] == self.before && played.get(*i + 1) == Some(&self.after),
        };
        let length = if self.before == self.after { 1 } else { 2 };
        (0..played.len()).filter(at).map(|i| i..i + length).collect()
    }
}

/// Says of each seam that was drilled in a session how it held; a run-through has its own account.
pub(super) fn lines(piece: &Piece, reps: &[Rep]) -> Vec<String> {
    let said = |(seam, pair): (Seam, &[Section])| {
        let Crossings { n_crossed, n_held } = seam.record(&piece.score, reps.iter().filter(|r| r.mode == Mode::Drill));
        (n_crossed > 0).then(|| {
            tr!(
                "from {from} into {into}: held {n_held} of {n_crossed}",
                from = shown(&pair[0].name),
                into = shown(&pair[1].name),
                n_held,
                n_crossed
            )
        })
    };
    Seam::of(&piece.sections).into_iter().zip(piece.sections.windows(2)).filter_map(said).collect()
}
