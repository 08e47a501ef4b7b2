//! A day at the instrument: what is tried, what it costs in minutes, and what is seen of it.

use chrono::NaiveDate;

use super::Policy;
use super::learner::{Learner, NIGHT_S};
use crate::memory::fit::fit;
use crate::memory::item::{ItemIdx, ItemKind};
use crate::memory::model::Weights;
use crate::memory::pace::Pace;
use crate::memory::piece_memory::PieceMemory;
use crate::memory::plan::{PlanConfig, What, plan};
use crate::memory::rules::Rules;
use crate::memory::{Attempt, Outcome, Way};

/// Looking at the page after a failure.
const LOOK_S: f64 = 15.0;
/// Lost in a run-through at each lapse.
const LAPSE_S: f64 = 10.0;
/// Days between fits of the model to the learner's record.
const FIT_DAYS: u64 = 21;

pub(super) struct Session {
    pub learner: Learner,
    piece: PieceMemory,
    weights: Weights,
    pace: Pace,
    today: NaiveDate,
    n_days: u64,
    /// Seconds left today.
    left_s: f64,
    pub minutes_spent: f64,
    /// Items that each section's attempt also plays over: the exits in it.
    within: Vec<Vec<usize>>,
    /// Where a policy that goes round the sections stopped, and the run-throughs so far.
    next: usize,
    n_runs: usize,
}

impl Session {
    pub fn new(piece: PieceMemory, seed: u64) -> Self {
        let is_exit: Vec<bool> = piece.items.iter().map(|i| i.kind == ItemKind::Switch).collect();
        let exits = |bars: &std::ops::Range<usize>| {
            let inside = |i: &usize| is_exit[*i] && bars.start < piece.items[*i].zone.start && piece.items[*i].zone.start < bars.end;
            (0..piece.items.len()).filter(inside).collect()
        };
        let within = piece.items.iter().map(|i| if i.kind == ItemKind::Section { exits(&i.bars) } else { Vec::new() }).collect();
        Session {
            learner: Learner::new(&is_exit, seed),
            weights: Weights::default(),
            pace: Pace::default(),
            today: NaiveDate::MIN,
            n_days: 0,
            left_s: 0.0,
            minutes_spent: 0.0,
            within,
            next: 0,
            n_runs: 0,
            piece,
        }
    }

    /// Practises one day, and sleeps.
    pub fn practise(&mut self, policy: Policy, today: NaiveDate, minutes: f64) {
        let rules = Rules::standard();
        let n_rests = ((minutes - 1.0) / (rules.block_minutes + rules.rest_minutes)).floor().max(0.0);
        let playing_s = (minutes - n_rests * rules.rest_minutes) * 60.0;
        (self.today, self.left_s) = (today, playing_s);
        let began = self.learner.now;
        match policy {
            Policy::Plan => self.by_plan(minutes),
            Policy::AllDaily => self.go_round(1),
            Policy::ThreeTimes => self.go_round(3),
        }
        self.minutes_spent += (playing_s - self.left_s) / 60.0;
        self.learner.now = began + NIGHT_S;
        self.n_days += 1;
    }

    fn by_plan(&mut self, minutes: f64) {
        if self.n_days > 0 && self.n_days.is_multiple_of(FIT_DAYS) {
            self.weights = fit(&self.piece.graded()).weights;
            let weights = self.weights.clone();
            self.piece.remember(&weights);
        }
        let mut minutes = minutes;
        // What is over when things went faster than expected is planned again.
        for _ in 0..3 {
            let config = PlanConfig { today: self.today, minutes, pace: self.pace };
            let plan = plan(std::slice::from_ref(&self.piece), &self.weights, &config);
            if plan.steps.is_empty() {
                return;
            }
            for step in plan.steps {
                match step.what {
                    What::Item { idx, is_new, .. } => self.until_clean(idx.0, step.reps, is_new),
                    What::RunThrough => self.run_through(),
                    What::Rest => {}
                }
            }
            minutes = self.left_s / 60.0;
            if minutes < 0.5 {
                return;
            }
        }
    }

    /// Goes round the sections in page order, so many clean reps each, on where it stopped the day before. The whole piece is played
    /// at the end of the day, once all of it was met and where it takes no more than half of the time; else after each round.
    fn go_round(&mut self, reps: u8) {
        let n_sections = self.piece.of_kind(ItemKind::Section).count();
        let whole_s = self.piece.whole_seconds;
        let is_met = self.next >= n_sections;
        let keeps = if is_met && whole_s <= 0.5 * self.left_s { whole_s } else { 0.0 };
        let is_round_over = is_met && self.next / n_sections > self.n_runs;
        if keeps == 0.0 && is_round_over && whole_s <= self.left_s {
            self.run_through();
        }
        while self.left_s > keeps {
            let is_new = self.next < n_sections;
            // The sections are the first items.
            self.until_clean(self.next % n_sections, reps, is_new);
            self.next += 1;
        }
        if keeps > 0.0 {
            self.run_through();
        }
    }

    fn spend(&mut self, seconds: f64) {
        self.left_s -= seconds;
        self.learner.now += seconds;
    }

    /// Plays an item until so many attempts were clean, with the page after each that was not; gives up after four times as many.
    fn until_clean(&mut self, item: usize, reps: u8, is_new: bool) {
        if is_new {
            // Studied from the page first: one trace without a test.
            self.spend(LOOK_S);
            self.learner.lay(item, false);
        }
        let mut n_clean = 0;
        for _ in 0..4 * reps {
            if self.left_s <= 0.0 || n_clean == reps {
                return;
            }
            n_clean += u8::from(self.attempt(item) == Outcome::Clean);
        }
    }

    fn attempt(&mut self, item: usize) -> Outcome {
        let is_section = self.piece.items[item].kind == ItemKind::Section;
        let way = if is_section { Way::Cold } else { Way::Flow };
        let parts: Vec<usize> = std::iter::once(item).chain(self.within[item].iter().copied()).collect();
        let in_flow = |part: usize| part != item || !is_section;
        let held: Vec<bool> = parts.iter().map(|i| self.learner.retrieves(*i, in_flow(*i))).collect();
        let is_held = held.iter().all(|h| *h);
        let seconds = self.piece.seconds[item];
        let is_seen_right = is_held && !self.learner.slips();
        self.spend(self.pace.attempt_s(if is_seen_right { seconds } else { seconds / 2.0 + LOOK_S }));
        let outcome = match (is_seen_right, self.learner.halts()) {
            (false, _) => Outcome::Failed,
            (true, true) => Outcome::Recovered,
            (true, false) => Outcome::Clean,
        };
        for (part, held) in parts.iter().zip(held) {
            self.learner.lay(*part, in_flow(*part));
            let seen = if *part == item {
                outcome
            } else if held {
                Outcome::Clean
            } else {
                Outcome::Failed
            };
            let way = if *part == item { way } else { Way::Flow };
            self.see(*part, seen, way);
        }
        outcome
    }

    /// The whole piece once, without a look at the page.
    fn run_through(&mut self) {
        self.spend(self.piece.whole_seconds);
        for item in 0..self.piece.items.len() {
            let is_held = self.learner.retrieves(item, true);
            // A way on that was lost is found again by what follows, and is then met; a section that was lost is not.
            if is_held || self.piece.items[item].kind != ItemKind::Section {
                self.learner.lay(item, true);
            }
            if !is_held {
                self.spend(LAPSE_S);
            }
            let is_seen_right = is_held && !self.learner.slips();
            self.see(
                item,
                if is_seen_right {
                    Outcome::Clean
                } else if is_held {
                    Outcome::Recovered
                } else {
                    Outcome::Failed
                },
                Way::RunThrough,
            );
        }
        self.piece.last_run = Some(self.today);
        self.n_runs += 1;
    }

    fn see(&mut self, item: usize, outcome: Outcome, way: Way) {
        let attempt = Attempt { day: self.today, outcome, way, recall: None };
        let weights = self.weights.clone();
        self.piece.add(ItemIdx(item), attempt, &weights);
    }
}
