//! Which steps go into a day, and which find no room.

use chrono::NaiveDate;

use super::why;
use super::{DayPlan, PlanConfig, PlannedStep, What, with_rests};
use crate::memory::item::{ItemIdx, ItemKind, are_look_alikes};
use crate::memory::model::Weights;
use crate::memory::pace::Pace;
use crate::memory::piece_memory::PieceMemory;
use crate::memory::rules::Rules;

/// New sections a day at most, whatever time there is.
const NEW_A_DAY_MAX: usize = 3;
/// Share of the days left in which all sections should have been begun.
pub(super) const LEARNING_SHARE: f64 = 0.4;
/// Share of the minutes that new sections may take from tests that are due.
const NEW_SHARE: f64 = 0.4;
/// A run-through every day while it takes no more than this share of the minutes; else every third day.
const RUN_SHARE: f64 = 0.65;
const RUN_GAP_DAYS: i64 = 3;
/// Above this probability to hold, playing it once more today is of no use.
const AHEAD_RECALL_MAX: f64 = 0.999;
/// Below this probability to hold, it is visited a second time in the day.
const AGAIN_RECALL_MAX: f64 = 0.9;

/// Where a step stands in the day, first to last.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Stage {
    Test,
    Join,
    New,
    /// What is weakest once more, with other work between.
    Again,
    Run,
}

struct Choice<'p> {
    piece: &'p PieceMemory,
    /// None for the run-through.
    idx: Option<ItemIdx>,
    stage: Stage,
    reps: u8,
    minutes: f64,
    /// Probability to hold today, 0 for what was never tried.
    recall: f64,
    why: String,
}

/// Picks steps until the minutes are full: a run-through first, where it is time for one; then what is due, weakest first; new sections; and what is weakest although not due.
pub(super) fn choose(pieces: &[PieceMemory], weights: &Weights, config: &PlanConfig) -> DayPlan {
    let today = config.today;
    let mut day = Day { chosen: Vec::new(), minutes: config.minutes, rules: weights.rules };
    let is_stage_day = |p: &PieceMemory| p.facts.perform_on == Some(today);
    // Rank is the order in which room is found.
    if let Some(run) = run_through(pieces, config) {
        day.take(run);
    }
    let playable = || pieces.iter().filter(|p| !is_stage_day(p));
    let mut fresh: Vec<Choice<'_>> = playable().flat_map(|p| new_sections(p, &weights.rules, config)).collect();
    let mut due: Vec<Choice<'_>> = playable().flat_map(|p| due_items(p, weights, config)).collect();
    due.sort_by(|a, b| urgency(b, today).total_cmp(&urgency(a, today)));
    let reserved = fresh.iter().map(|c| c.minutes).sum::<f64>().min(NEW_SHARE * config.minutes);
    let (first_new, more_new) = wanted(&mut fresh);
    day.minutes -= reserved;
    let n_due = due.len();
    let mut n_kept = 0;
    for choice in due {
        let again = choice.again();
        if day.take(choice).is_some() {
            n_kept += 1;
            again.and_then(|again| day.take(again));
        }
    }
    day.minutes += reserved;
    for choice in first_new.into_iter().chain(more_new) {
        day.take_new(choice);
    }
    let mut ahead: Vec<Choice<'_>> = playable().flat_map(|p| ahead_items(p, weights, config)).collect();
    ahead.sort_by(|a, b| urgency(b, today).total_cmp(&urgency(a, today)));
    for choice in ahead {
        day.take(choice);
    }
    DayPlan { day: today, steps: day.steps(), n_left_over: n_due - n_kept }
}

/// One a piece goes before second and third ones.
fn wanted<'p>(fresh: &mut Vec<Choice<'p>>) -> (Vec<Choice<'p>>, Vec<Choice<'p>>) {
    let mut seen: Vec<&str> = Vec::new();
    fresh.drain(..).partition(|c| {
        let is_first = !seen.contains(&c.piece.facts.key.as_str());
        seen.push(&c.piece.facts.key);
        is_first
    })
}

/// What was chosen so far, and the time there is for it.
struct Day<'p> {
    chosen: Vec<Choice<'p>>,
    minutes: f64,
    rules: Rules,
}

impl<'p> Day<'p> {
    /// Takes a step when the day still fits its minutes with it, rests included.
    fn take(&mut self, choice: Choice<'p>) -> Option<()> {
        let is_again = choice.stage == Stage::Again;
        let is_same = |c: &&Choice<'_>| c.piece.facts.key == choice.piece.facts.key && c.idx == choice.idx;
        let is_there = self.chosen.iter().filter(is_same).any(|c| (c.stage == Stage::Again) == is_again);
        if is_there {
            return None;
        }
        self.chosen.push(choice);
        let total: f64 = self.steps().iter().map(|s| s.minutes).sum();
        if total > self.minutes {
            self.chosen.pop();
            return None;
        }
        Some(())
    }

    /// Takes a new section unless the day has enough of them, or its look-alike.
    fn take_new(&mut self, choice: Choice<'p>) {
        let today: Vec<&Choice<'_>> = self.chosen.iter().filter(|c| c.stage == Stage::New).collect();
        let is_alike = today.iter().any(|c| {
            let pair = c.idx.zip(choice.idx);
            c.piece.facts.key == choice.piece.facts.key && pair.is_some_and(|(a, b)| are_look_alikes(&choice.piece.items, a, b))
        });
        if today.len() < NEW_A_DAY_MAX && !is_alike {
            self.take(choice);
        }
    }

    fn steps(&self) -> Vec<PlannedStep> {
        // Piece by piece through the tests, and back again through what is new: old before new, few changes of the piece, and the run-through last,
        // whose piece was chosen first.
        let mut pieces: Vec<&str> = Vec::new();
        for choice in &self.chosen {
            if !pieces.contains(&choice.piece.facts.key.as_str()) {
                pieces.push(&choice.piece.facts.key);
            }
        }
        let mut order: Vec<&Choice<'_>> = self.chosen.iter().collect();
        order.sort_by_key(|c| {
            let nth = pieces.iter().position(|key| *key == c.piece.facts.key).unwrap_or(0) as isize;
            let is_later = c.stage >= Stage::New;
            (is_later, if is_later { -nth } else { nth }, c.stage)
        });
        with_rests(order.into_iter().map(|c| c.step()).collect(), &self.rules)
    }
}

impl<'p> Choice<'p> {
    /// Returns a second visit later in the day, for what failed last or is likely to.
    ///
    /// Recalls with other work between hold better than recalls one after the other (Karpicke & Bauernschmidt 2011).
    fn again(&self) -> Option<Choice<'p>> {
        let is_weak = self.recall < AGAIN_RECALL_MAX && self.piece.records[self.idx?.0].is_begun();
        is_weak.then(|| Choice {
            piece: self.piece,
            idx: self.idx,
            stage: Stage::Again,
            reps: 1,
            minutes: self.minutes,
            recall: self.recall,
            why: why::again(),
        })
    }

    fn step(&self) -> PlannedStep {
        let what = self.idx.map_or(What::RunThrough, |idx| {
            let item = &self.piece.items[idx.0];
            let label = |bar: usize| self.piece.facts.layout.labels.get(bar).cloned().unwrap_or_default();
            What::Item {
                idx,
                id: item.id.clone(),
                kind: item.kind,
                name: item.name.clone(),
                bars: (label(item.bars.start), label(item.bars.end.saturating_sub(1))),
                is_new: self.stage == Stage::New,
            }
        });
        PlannedStep { piece: Some(self.piece.facts.key.clone()), what, reps: self.reps, minutes: self.minutes, why: self.why.clone() }
    }
}

/// The weaker the more urgent, and more so before a performance.
fn urgency(choice: &Choice<'_>, today: NaiveDate) -> f64 {
    let nears = choice.piece.facts.perform_on.map(|on| (on - today).num_days()).is_some_and(|days| (0..30).contains(&days));
    (1.0 - choice.recall) * if nears { 2.0 } else { 1.0 }
}

/// Expected minutes of a test: one attempt, and the way back to a clean one where it fails.
fn test_minutes(pace: &Pace, seconds: f64, recall: f64, reps: u8) -> f64 {
    let attempts = f64::from(reps) + (1.0 - recall) * 2.0;
    attempts * pace.attempt_s(seconds) / 60.0
}

fn days_left(piece: &PieceMemory, today: NaiveDate) -> Option<i64> {
    piece.facts.perform_on.map(|on| (on - today).num_days()).filter(|days| *days >= 0)
}

fn is_begun_before(piece: &PieceMemory, idx: ItemIdx, today: NaiveDate) -> bool {
    piece.records[idx.0].tests.first().is_some_and(|t| t.day < today)
}

/// Tells whether the sections that an item lies in have been begun before today.
fn has_ground(piece: &PieceMemory, idx: ItemIdx, today: NaiveDate) -> bool {
    let zone = &piece.items[idx.0].zone;
    let meets = |s: &ItemIdx| {
        let bars = &piece.items[s.0].bars;
        bars.start < zone.end && zone.start < bars.end
    };
    let mut sections = piece.of_kind(ItemKind::Section).filter(meets).peekable();
    sections.peek().is_some() && sections.all(|s| is_begun_before(piece, s, today))
}

fn due_items<'p>(piece: &'p PieceMemory, weights: &Weights, config: &PlanConfig) -> Vec<Choice<'p>> {
    let today = config.today;
    let left = days_left(piece, today);
    let is_full_test = left == Some(weights.rules.full_test_days_before);
    let choice = |idx: ItemIdx| {
        let (item, record) = (&piece.items[idx.0], &piece.records[idx.0]);
        let is_join = item.kind != ItemKind::Section;
        let recall = record.recall(today, weights).unwrap_or(0.0);
        let (reps, why) = if record.is_begun() {
            let due = record.due_on(today, piece.facts.perform_on, weights).filter(|due| *due <= today)?;
            let reps = if is_join && record.n_clean < 2 { 2 } else { weights.rules.later_reps };
            (reps, if is_full_test { why::full_test() } else { why::due(item, record, due, today) })
        } else if is_join && has_ground(piece, idx, today) && left.is_none_or(|days| days > 1) {
            (item.target, why::not_yet(item.kind))
        } else {
            return None;
        };
        let stage = if is_join { Stage::Join } else { Stage::Test };
        let minutes = test_minutes(&config.pace, piece.seconds[idx.0], recall, reps);
        Some(Choice { piece, idx: Some(idx), stage, reps, minutes, recall, why })
    };
    (0..piece.items.len()).map(ItemIdx).filter_map(choice).collect()
}

/// Sections to begin today, in page order: as many as the time left asks for, and one at least.
fn new_sections<'p>(piece: &'p PieceMemory, rules: &Rules, config: &PlanConfig) -> Vec<Choice<'p>> {
    let left = days_left(piece, config.today);
    // The last days are for what is known.
    if left.is_some_and(|days| days <= rules.full_test_days_before) {
        return Vec::new();
    }
    let new: Vec<ItemIdx> = piece.of_kind(ItemKind::Section).filter(|i| !piece.records[i.0].is_begun()).collect();
    let n_today = left.map_or(1, |days| (new.len() as f64 / (days as f64 * LEARNING_SHARE).max(1.0)).ceil() as usize);
    // Two more than the pace asks for are offered: they may be taken when there is room, or when the first is a look-alike.
    let choice = |idx: ItemIdx| {
        let item = &piece.items[idx.0];
        let tries = f64::from(item.target) * config.pace.tries_per_clean;
        let minutes = tries * config.pace.attempt_s(piece.seconds[idx.0]) / 60.0;
        Choice { piece, idx: Some(idx), stage: Stage::New, reps: item.target, minutes, recall: 0.0, why: why::new(item) }
    };
    new.into_iter().take(n_today.min(NEW_A_DAY_MAX) + 2).map(choice).collect()
}

/// Items to make surer although they are not due, where a performance is set.
fn ahead_items<'p>(piece: &'p PieceMemory, weights: &Weights, config: &PlanConfig) -> Vec<Choice<'p>> {
    let today = config.today;
    let Some(on) = piece.facts.perform_on.filter(|on| *on > today) else { return Vec::new() };
    let choice = |idx: ItemIdx| {
        let (item, record) = (&piece.items[idx.0], &piece.records[idx.0]);
        let recall = record.recall(today, weights)?;
        // What lapsed today, in a run-through say, is set right today; tomorrow tells whether that held.
        let is_open = record.failed_on == Some(today) && record.n_clean == 0;
        if !is_open && (record.was_tested_on(today) || recall > AHEAD_RECALL_MAX) {
            return None;
        }
        let stage = if item.kind == ItemKind::Section { Stage::Test } else { Stage::Join };
        let minutes = test_minutes(&config.pace, piece.seconds[idx.0], recall, 1);
        Some(Choice { piece, idx: Some(idx), stage, reps: 1, minutes, recall, why: if is_open { why::open() } else { why::ahead(on) } })
    };
    (0..piece.items.len()).map(ItemIdx).filter_map(choice).collect()
}

/// The run-through of the day: of the piece that needs it most, once all its sections are begun.
fn run_through<'p>(pieces: &'p [PieceMemory], config: &PlanConfig) -> Option<Choice<'p>> {
    let today = config.today;
    let since = |p: &PieceMemory| p.last_run.map_or(i64::MAX, |day| (today - day).num_days());
    let is_time = |p: &&PieceMemory| {
        let minutes = p.whole_seconds / 60.0;
        let all_begun = p.of_kind(ItemKind::Section).all(|s| is_begun_before(p, s, today));
        let is_small = minutes <= RUN_SHARE * config.minutes;
        let is_stage_day = p.facts.perform_on == Some(today);
        all_begun && since(p) > 0 && minutes <= config.minutes && (is_small || is_stage_day || since(p) >= RUN_GAP_DAYS)
    };
    let near = |p: &PieceMemory| days_left(p, today).unwrap_or(i64::MAX);
    let piece = pieces.iter().filter(is_time).min_by_key(|p| (near(p) > 14, std::cmp::Reverse(since(p)), near(p)))?;
    let minutes = piece.whole_seconds / 60.0;
    Some(Choice { piece, idx: None, stage: Stage::Run, reps: 1, minutes, recall: 0.0, why: why::run(piece, today) })
}
