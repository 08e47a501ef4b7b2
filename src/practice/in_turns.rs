//! Whose turn it is: section after section, or several in turns, and what failed first once more later in the session.
//!
//! Off unless it is asked for. A mixed order holds better days later, though it feels worse (Carter & Grahn 2016, Front. Psychol. 7:1251;
//! Abushanab & Bishara 2013, Mem. & Cogn. 41:928-937; no effect in 21 pianists memorising, University of Western Ontario 2022);
//! sections that look alike are never in turns with each other, for practising a similar passage undoes a night's gain (Allen 2013,
//! Psychol. of Music). That what failed is asked for again after other work is successive relearning (Rawson & Dunlosky 2011).

use super::Engine;
use super::phase::Show;
use crate::journal::entry::Verdict;
use crate::time::Micros;

/// How long sections are stayed with.
#[derive(Clone, PartialEq, Debug)]
pub struct TurnsConfig {
    /// Clean reps in one visit after which it is another section's turn; 0: each is played to its target before the next.
    pub after_clean: u8,
    /// Sections that take turns.
    pub n_sections: usize,
    /// A visit that was longer ends with the next rep that has nothing to look up.
    pub length: Micros,
    /// What failed first and then reached its target is asked for once more when so much has passed; none: it is not.
    pub again_after: Option<Micros>,
}

impl TurnsConfig {
    /// Returns the defaults: no turns; three sections of two and a half minutes where they are asked for (reasoned, after Carter & Grahn).
    pub const fn standard() -> Self {
        TurnsConfig { after_clean: 0, n_sections: 3, length: Micros(150_000_000), again_after: None }
    }
}

/// The stay at one span.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub(super) struct Visit {
    since: Micros,
    n_clean: u8,
}

/// Whether a section is owed a rep later in the session.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub(super) enum Owed {
    #[default]
    Nothing,
    /// From then on.
    From(Micros),
    Paid,
}

impl Engine {
    /// Takes pairs of sections, by name, that are look-alikes: they do not take turns with each other.
    #[must_use]
    pub fn with_look_alikes(mut self, pairs: Vec<(String, String)>) -> Self {
        self.look_alikes = pairs;
        self
    }

    fn is_section(&self, span_idx: usize) -> bool {
        self.spans[span_idx].is_drill() && self.spans[span_idx].joined.is_empty()
    }

    fn are_alike(&self, a: usize, b: usize) -> bool {
        let (a, b) = (&self.spans[a].name, &self.spans[b].name);
        self.look_alikes.iter().any(|(one, other)| (one, other) == (a, b) || (one, other) == (b, a))
    }

    /// Comes to a span.
    pub(super) fn arrive(&mut self, span_idx: usize, at: Micros) {
        self.current = span_idx;
        self.visit = Visit { since: at, n_clean: 0 };
        self.tallies[span_idx].was_offered = true;
    }

    /// Counts a rep of the visit that left nothing to look up; returns what it makes of the visit, where it is another section's turn.
    pub(super) fn turn(&mut self, verdict: Verdict, at: Micros) -> Option<Show> {
        let config = &self.config.turns;
        if config.after_clean == 0 || !self.is_section(self.current) {
            return None;
        }
        self.visit.n_clean += u8::from(verdict == Verdict::Clean);
        if self.visit.n_clean < config.after_clean && at - self.visit.since < config.length {
            return None;
        }
        let to = self.next_in_turn(self.current)?;
        let words = tr!("now {section}; this comes back later", section = self.spans[to].name);
        Some(Show::Turn { to, verdict, words, until: at + self.config.span_done })
    }

    /// Returns the section after `span_idx` among those that take turns; none when it is alone.
    fn next_in_turn(&self, span_idx: usize) -> Option<usize> {
        let is_left = |i: &usize| self.is_section(*i) && !self.is_span_reached(*i);
        let mut group: Vec<usize> = Some(span_idx).filter(is_left).into_iter().collect();
        for i in (0..self.spans.len()).filter(is_left) {
            if group.len() < self.config.turns.n_sections && !group.contains(&i) && !group.iter().any(|g| self.are_alike(*g, i)) {
                group.push(i);
            }
        }
        group.sort_unstable();
        let next = group.iter().find(|i| **i > span_idx).or(group.first());
        next.copied().filter(|i| *i != span_idx)
    }

    /// Returns the span that follows one that is done.
    pub(super) fn next_after(&self, span_idx: usize, at: Micros) -> Option<usize> {
        let is_due = |i: &usize| *i != span_idx && matches!(self.tallies[*i].owed, Owed::From(due) if due <= at);
        if let Some(owed) = (0..self.spans.len()).find(is_due) {
            return Some(owed);
        }
        if self.config.turns.after_clean == 0 {
            // What was come back to leads on to where the session had been.
            let done = |i: usize| self.tallies[i].owed == Owed::Paid && self.spans[i].is_drill() && self.tallies[i].was_offered;
            let from = if done(span_idx) { self.furthest_offered().max(span_idx) } else { span_idx };
            return if from > span_idx && !self.is_span_reached(from) { Some(from) } else { self.next_open(from) };
        }
        // A join comes as soon as it is open; then sections in turns; then what is left.
        let is_new = |i: &usize| self.spans[*i].is_drill() && !self.tallies[*i].was_offered && self.is_open(*i);
        let join = (0..self.spans.len()).filter(is_new).find(|i| !self.is_section(*i));
        let rest = || (0..self.spans.len()).find(|i| !self.tallies[*i].was_offered && self.is_open(*i));
        join.or_else(|| self.next_in_turn(span_idx)).or_else(rest)
    }

    fn furthest_offered(&self) -> usize {
        self.tallies.iter().rposition(|tally| tally.was_offered).unwrap_or(0)
    }

    /// A section has reached its target: where its first rep was not clean, it is owed another one later.
    pub(super) fn owe(&mut self, at: Micros) {
        let Some(after) = self.config.turns.again_after.filter(|_| self.is_section(self.current)) else { return };
        let tally = &mut self.tallies[self.current];
        let has_failed = tally.verdicts.first().is_some_and(|first| *first != Verdict::Clean);
        if has_failed && tally.owed == Owed::Nothing {
            tally.owed = Owed::From(at + after);
        }
    }

    /// What is owed by then is asked for once more: one clean rep beyond those it has.
    pub(super) fn pay(&mut self, span_idx: usize, at: Micros) {
        let in_a_row = self.piece.judging.in_a_row;
        let tally = &mut self.tallies[span_idx];
        if matches!(tally.owed, Owed::From(due) if due <= at) {
            tally.owed = Owed::Paid;
            tally.target = tally.n_clean(in_a_row).saturating_add(1);
        }
    }
}
