//! Which question comes next: interleaved, seeded, weighted by doubt.
//!
//! First the kind of place is drawn in the mix below, then the kind of question, then one of them by its doubt. The place
//! asked last is never asked again at once, and no three questions running go up the page.

use super::doubt::{self, Doubt};
use super::question::{Question, Source};
use crate::journal::entry::{Outcome, QuestionKind};
use crate::score::Place;
use crate::time::Micros;

/// How often each kind of question is asked where several can be.
const KINDS: [(QuestionKind, f64); 6] = [
    (QuestionKind::ColdStart, 2.0),
    (QuestionKind::GoOn, 1.0),
    (QuestionKind::WhatNext, 1.0),
    (QuestionKind::Switch, 1.0),
    (QuestionKind::Jump, 1.0),
    (QuestionKind::Change, 1.0),
];

/// How often each kind of place is asked, as shares of any whole; not all nothing.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Mix {
    pub starts: f64,
    pub switches: f64,
    /// Starts after spots that failed, and where levers or pedals move.
    pub spots: f64,
    pub bars: f64,
}

impl Mix {
    /// Returns the defaults: half section starts, a quarter switches, fewer starts after spots that failed, some at any bar. Players
    /// restart at the starts of sections, and take wrong turns at switches (Chaffin & Imreh 2002; Williamon & Valentine 2002); the
    /// shares themselves are reasoned defaults.
    pub const fn standard() -> Self {
        Mix { starts: 50.0, switches: 25.0, spots: 15.0, bars: 10.0 }
    }
}

/// The questions of one session and the order they are drawn in.
pub struct Deck {
    rng: fastrand::Rng,
    mix: Mix,
    doubts: Vec<f64>,
    /// Places of the question before this one, and where each of the last two stands in playing order.
    last_places: Vec<Place>,
    last_orders: [Option<(usize, Place)>; 2],
    /// The question answered last, and the doubt there was before.
    last_doubt: Option<(usize, f64)>,
}

impl Deck {
    pub fn new(questions: &[Question], doubt: &dyn Doubt, mix: Mix, seed: u64) -> Self {
        let doubts = questions.iter().map(|q| doubt.doubt(q.kind, &q.text).clamp(0.0, 1.0)).collect();
        let rng = fastrand::Rng::with_seed(seed);
        Deck { rng, mix, doubts, last_places: Vec::new(), last_orders: [None; 2], last_doubt: None }
    }

    /// Draws the next question; `None` when there are none.
    pub fn draw(&mut self, questions: &[Question]) -> Option<usize> {
        let [before, last] = self.last_orders;
        let goes_up = |q: &Question| before.is_some_and(|b| last.is_some_and(|l| b < l && l < q.order()));
        let is_same = |q: &Question| self.last_places.contains(&q.place);
        let all = || questions.iter().enumerate();
        // Where a piece has too few places for it, first the direction gives way, then the place.
        let mut open: Vec<usize> = all().filter(|(_, q)| !is_same(q) && !goes_up(q)).map(|(i, _)| i).collect();
        if open.is_empty() {
            open = all().filter(|(_, q)| !is_same(q)).map(|(i, _)| i).collect();
        }
        if open.is_empty() {
            open = all().map(|(i, _)| i).collect();
        }
        let Mix { starts, switches, spots, bars } = self.mix;
        let mix = [(Source::Start, starts), (Source::Switch, switches), (Source::Spot, spots), (Source::Bar, bars)];
        let source = self.pick(&mix, |s| open.iter().any(|i| questions[*i].source == s))?;
        open.retain(|i| questions[*i].source == source);
        let kind = self.pick(&KINDS, |k| open.iter().any(|i| questions[*i].kind == k))?;
        open.retain(|i| questions[*i].kind == kind);
        // Squared, so that the weakest come first; never quite nothing, so that all are asked some day.
        let weights: Vec<(usize, f64)> = open.into_iter().map(|i| (i, (self.doubts[i] * self.doubts[i]).max(0.001))).collect();
        let chosen = self.pick(&weights, |_| true)?;
        self.last_places = vec![questions[chosen].place];
        self.last_orders = [last, Some(questions[chosen].order())];
        Some(chosen)
    }

    /// Draws the place that a run begins at, to be called away from: a start outside `bars` around the goal, not the last one asked.
    pub fn draw_start(&mut self, questions: &[Question], goal: usize, n_bars: usize, before: &[Place]) -> Option<usize> {
        let goal_bar = questions[goal].played_bar;
        let is_open = |q: &Question| {
            let is_start = q.kind == QuestionKind::ColdStart && q.source == Source::Start;
            let is_elsewhere = q.place != questions[goal].place && !(q.played_bar..=q.played_bar + n_bars).contains(&goal_bar);
            let has_room = q.passage().is_some_and(|p| p.span.bars.len() > 1);
            is_start && is_elsewhere && has_room && !before.contains(&q.place)
        };
        let open: Vec<(usize, f64)> = questions.iter().enumerate().filter(|(_, q)| is_open(q)).map(|(i, _)| (i, 1.0)).collect();
        let chosen = self.pick(&open, |_| true)?;
        self.last_places.push(questions[chosen].place);
        Some(chosen)
    }

    /// Returns the places of the question drawn last.
    pub fn last_places(&self) -> &[Place] {
        &self.last_places
    }

    /// Draws a number below `n`.
    pub fn below(&mut self, n: usize) -> usize {
        self.rng.usize(0..n.max(1))
    }

    /// Learns from an answer of this session.
    pub fn answered(&mut self, question: usize, outcome: Outcome, recall: Option<Micros>) {
        self.last_doubt = Some((question, self.doubts[question]));
        self.doubts[question] = doubt::after(self.doubts[question], outcome, recall);
    }

    /// The last answer came to something else, as the player says.
    pub fn overruled(&mut self, outcome: Outcome, recall: Option<Micros>) {
        if let Some((question, before)) = self.last_doubt {
            self.doubts[question] = doubt::after(before, outcome, recall);
        }
    }

    fn pick<T: Copy>(&mut self, weights: &[(T, f64)], is_open: impl Fn(T) -> bool) -> Option<T> {
        let open: Vec<(T, f64)> = weights.iter().copied().filter(|(what, _)| is_open(*what)).collect();
        let mut at = self.rng.f64() * open.iter().map(|(_, w)| w).sum::<f64>();
        for (what, weight) in &open {
            at -= weight;
            if at < 0.0 {
                return Some(*what);
            }
        }
        open.last().map(|(what, _)| *what)
    }
}
