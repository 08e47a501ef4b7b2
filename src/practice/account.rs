//! The account at the end of a session: what was played and how it held, in a few lines.

use std::sync::Arc;

use super::joins;
use super::judge::Fault;
use super::span::Span;
use super::words::spoken;
use crate::journal::entry::{Mode, Rep, Verdict};
use crate::piece::Piece;

/// What was played in a session, over one or more drills of one piece.
#[derive(Default)]
pub struct Played {
    pub piece: Option<Arc<Piece>>,
    pub reps: Vec<Rep>,
    pub spans: Vec<Span>,
    pub remarks: Vec<String>,
    /// Places that failed and have no line of story, in words.
    pub open: Vec<String>,
}

impl Played {
    /// Adds what was played after it.
    pub fn add(&mut self, next: Played) {
        self.piece = next.piece.or(self.piece.take());
        self.reps.extend(next.reps);
        self.spans.extend(next.spans);
        self.remarks.extend(next.remarks);
        let new: Vec<String> = next.open.into_iter().filter(|place| !self.open.contains(place)).collect();
        self.open.extend(new);
    }

    /// Returns the whole account.
    pub fn lines(&self) -> Vec<String> {
        let mut account = lines(&self.reps, &self.spans, &self.remarks);
        account.extend(self.piece.iter().flat_map(|piece| joins::lines(piece, &self.reps)));
        if !self.open.is_empty() {
            account.push(tr!("without a line of story yet: {}", self.open.join(&tr!("; "))));
        }
        account
    }
}

/// Returns the lines of the account: one a section that was played, what is said of the run-through or the reading, the
/// stubborn places, the time.
pub fn lines(reps: &[Rep], spans: &[Span], remarks: &[String]) -> Vec<String> {
    let counted: Vec<&Rep> = reps.iter().filter(|r| !is_abandoned(r)).collect();
    if counted.is_empty() && remarks.is_empty() {
        return vec![tr!("nothing played to its end yet")];
    }
    let mut lines: Vec<String> = spans.iter().filter_map(|span| of_span(span, &counted)).collect();
    lines.extend_from_slice(remarks);
    let stubborn = stubborn_places(&counted);
    if !stubborn.is_empty() {
        lines.push(tr!("to look at: {}", stubborn.join(&tr!("; "))));
    }
    let played: i64 = reps.iter().map(|r| (r.ended - r.started).0).sum();
    let minutes = (played as f64 / 60e6).round() as usize;
    if minutes > 0 {
        lines.push(tr!("1 minute of playing" | "{n} minutes of playing" % minutes));
    }
    lines
}

fn is_abandoned(rep: &Rep) -> bool {
    rep.reason.as_ref().is_some_and(|r| r.kind == Fault::Abandoned.word())
}

fn of_span(span: &Span, reps: &[&Rep]) -> Option<String> {
    let of_span: Vec<&&Rep> = reps.iter().filter(|r| r.span == span.name && r.mode == span.mode).collect();
    if of_span.is_empty() || !span.is_drill() {
        return None;
    }
    let n_clean = of_span.iter().filter(|r| r.verdict == Verdict::Clean).count();
    let n_prompted = of_span.iter().filter(|r| r.verdict == Verdict::Prompted).count();
    let mut line =
        tr!("{name}: {n_clean} of 1 rep clean" | "{name}: {n_clean} of {n} reps clean" % of_span.len(), name = span.shown, n_clean);
    if n_prompted > 0 {
        line += &tr!(", {n_prompted} with a cue", n_prompted);
    }
    Some(line)
}

/// Returns up to three places where most reps failed, most stubborn first.
fn stubborn_places(reps: &[&Rep]) -> Vec<String> {
    let mut places: Vec<(String, usize)> = Vec::new();
    let failed = reps.iter().filter(|r| r.verdict != Verdict::Clean && r.mode == Mode::Drill).filter_map(|r| r.reason.as_ref());
    // The tempo is nothing to look up.
    let failed = failed.filter(|reason| reason.kind != Fault::TooSlow.word());
    for reason in failed {
        match places.iter_mut().find(|(p, _)| *p == reason.place) {
            Some((_, n)) => *n += 1,
            None => places.push((reason.place.clone(), 1)),
        }
    }
    places.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    let told = |(place, n): (String, usize)| if n > 1 { tr!("{place} ({n} times)", place = spoken(&place), n) } else { spoken(&place) };
    places.into_iter().take(3).map(told).collect()
}
