//! What earlier takes of a span teach about its player: timing at each place, and where they start again.

use std::collections::HashMap;

use super::config::Waits;
use super::reading::Timed;
use super::run::pace::Pace;
use super::span::Span;
use crate::follower::{Begin, Constants, Finding, Follower, FollowerConfig, OnsetIdx, RestartHabit, TimingHabit};
use crate::journal::entry::Mode;
use crate::midi::sensor::{Filter, Passage};
use crate::midi::{MidiEvent, Take};
use crate::score::Place;

/// The habits of one player in one span; empty until a take is learned.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Habits {
    timing: Option<TimingHabit>,
    restarts: Option<RestartHabit>,
}

/// What takes of any spans of a piece tell of its player, to teach every span that has the same places.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Learned {
    n_takes: usize,
    /// Steps from place to place: of each take that has one, the mean of the log ratio.
    steps: HashMap<(Place, Place), Vec<f64>>,
    landings: Vec<Place>,
    /// How long bars took when the piece was read from the page.
    pace: Option<Pace>,
}

impl Learned {
    /// Takes in what one take told. A step that the take has several times counts once, at its mean.
    pub fn add(&mut self, timed: &Timed, mode: Mode) {
        self.n_takes += 1;
        let mut steps: HashMap<(Place, Place), (f64, f64)> = HashMap::new();
        for (from, to, ratio) in &timed.steps {
            let sum = steps.entry((*from, *to)).or_default();
            *sum = (sum.0 + ratio, sum.1 + 1.0);
        }
        for (step, (sum, n)) in steps {
            self.steps.entry(step).or_default().push(sum / n);
        }
        self.landings.extend_from_slice(&timed.landings);
        if mode == Mode::Reading {
            self.pace = Some(timed.pace.clone());
        }
    }

    /// Teaches a span each step that it has too, and where the player went on.
    pub fn teach(&self, span: &mut Span) {
        if self.n_takes == 0 {
            return;
        }
        let mut habits = std::mem::take(&mut span.habits);
        let timing = habits.timing.get_or_insert_with(|| TimingHabit::new(span.n_onsets()));
        let restarts = habits.restarts.get_or_insert_with(RestartHabit::default);
        for onset in 0..span.n_onsets().saturating_sub(1) {
            let step = (span.place(OnsetIdx(onset)), span.place(OnsetIdx(onset + 1)));
            self.steps.get(&step).into_iter().flatten().for_each(|ratio| timing.observe(OnsetIdx(onset), *ratio));
        }
        for place in &self.landings {
            if let Some(onset) = span.line.onsets.iter().position(|o| o.place == *place) {
                restarts.observe(OnsetIdx(onset));
            }
        }
        span.habits = habits;
        span.pace = self.pace.clone().or(span.pace.take());
    }
}

/// Takes that habits are learned from: what was played before them is another way of playing, and the work stays bounded.
const N_TAKES: usize = 12;

impl Habits {
    /// Learns from the takes of `span` that are stored, oldest first; only the last twelve count.
    pub fn of_takes(span: &Span, takes: &[Take]) -> Habits {
        let mut habits = Habits::default();
        takes[takes.len().saturating_sub(N_TAKES)..].iter().for_each(|take| habits.learn(span, take));
        habits
    }

    /// Learns from one more take of `span`. The take may begin anywhere in it and need not be clean: a step is learned
    /// where the follower saw one, and stops longer than any timing count as little as the habit's own bounds let them.
    pub fn learn(&mut self, span: &Span, take: &Take) {
        let mut follower = Follower::new(span.line.clone(), FollowerConfig::learned(Begin::Anywhere));
        let timing = self.timing.get_or_insert_with(|| TimingHabit::new(span.n_onsets()));
        let restarts = self.restarts.get_or_insert_with(RestartHabit::default);
        let mut filter = take.hearing().sensor.clone().map(Filter::new);
        let mut findings = Vec::new();
        for event in take.events() {
            let MidiEvent::NoteOn { key, velocity, .. } = event.what else { continue };
            // As an attempt hears it: what the instrument did by itself is no timing.
            if filter.as_mut().is_some_and(|f| f.weigh(event.at, key, velocity, follower.is_due(key)) == Passage::Held) {
                continue;
            }
            findings.clear();
            follower.note(event.at, key, velocity, &mut findings);
            if let Some(step) = follower.last_step() {
                timing.observe(step.from, step.log_ratio);
            }
            for finding in &findings {
                if let Finding::Restart { to, .. } | Finding::Jump { to, .. } = finding {
                    restarts.observe(*to);
                }
            }
        }
    }

    /// Returns how to follow this player.
    pub fn config(&self, waits: Waits, begin: Begin) -> FollowerConfig {
        let constants = Constants { wait_floor: waits.floor_s, wait_factor: waits.factor, wait_phrase: waits.phrase, ..Constants::LEARNED };
        FollowerConfig { begin, constants, timing: self.timing.clone(), restarts: self.restarts.clone() }
    }
}
