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
const NEW_A_DAY_MAX: usize = 4;
/// Share of the days left in which all sections should have been begun at the latest.
pub(super) const LEARNING_SHARE: f64 = 0.4;
/// And in which they are begun where the minutes allow it: every day that a section is known earlier is one more on which it comes back, and the
/// whole can be run through.
const EARLY_SHARE: f64 = 0.15;
/// Share of the minutes that new sections may take from tests that are due; before a performance.
const NEW_SHARE: f64 = 0.6;
/// A run-through every day while it takes no more than this share of the minutes; else every third day. Before a performance two, from cold at
/// the beginning and at the end, while both take no more than that: nothing else comes back to every place in so little time.
const RUN_SHARE: f64 = 0.65;
const RUN_GAP_DAYS: i64 = 3;
/// From this chance to fail on, it is visited again in the day where no performance is set.
const AGAIN_DOUBT_MIN: f64 = 0.1;
/// Visits a day at most where one is, and what each gains of the one before it (Karpicke & Bauernschmidt 2011: recalls with other work
/// between them hold far better than those one after the other; the figure is an assumption).
const VISITS_MAX: u8 = 4;
const VISIT_GAIN: f64 = 0.6;

/// Where a step stands in the day, first to last.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Stage {
    /// The whole piece before all else, where there is time to play it twice.
    RunFirst,
    Test,
    Join,
    New,
    /// What is weakest once more, with other work between.
    Again,
    Run,
}

#[derive(Clone)]
struct Choice<'p> {
    piece: &'p PieceMemory,
    /// None for the run-through.
    idx: Option<ItemIdx>,
    stage: Stage,
    /// Which visit of the day, from 0.
    visit: u8,
    reps: u8,
    minutes: f64,
    /// The chance that it does not hold today: 1 for what was never tried.
    doubt: f64,
    is_due: bool,
    why: String,
}

/// Picks steps until the minutes are full: a run-through first, where it is time for one; then what is due, weakest first; new sections; and what is weakest although not due.
pub(super) fn choose(pieces: &[PieceMemory], weights: &Weights, config: &PlanConfig) -> DayPlan {
    let today = config.today;
    let mut day = Day { chosen: Vec::new(), minutes: config.minutes, rules: weights.rules };
    let is_stage_day = |p: &PieceMemory| p.facts.perform_on == Some(today);
    // Rank is the order in which room is found.
    if let Some(run) = run_through(pieces, &weights.rules, config) {
        let minutes = run.minutes;
        let perform_on = run.piece.facts.perform_on.filter(|on| *on > today);
        let first = Choice { stage: Stage::RunFirst, visit: 1, why: why::run_first(), ..run.clone() };
        day.take(run);
        if perform_on.is_some() && 2.0 * minutes <= RUN_SHARE * config.minutes {
            day.take(first);
        }
    }
    let playable = || pieces.iter().filter(|p| !is_stage_day(p));
    let mut fresh: Vec<Choice<'_>> = playable().flat_map(|p| new_sections(p, &weights.rules, config)).collect();
    let mut known: Vec<Choice<'_>> = playable().flat_map(|p| known_items(p, weights, config)).collect();
    known.sort_by(|a, b| gain(b, today).total_cmp(&gain(a, today)));
    let reserved = fresh.iter().map(|c| c.minutes).sum::<f64>().min(NEW_SHARE * config.minutes);
    let (first_new, more_new) = wanted(&mut fresh);
    let mut n_left_over = 0;
    let (due, ahead): (Vec<_>, Vec<_>) = known.into_iter().partition(|c| c.is_due);
    day.minutes -= reserved;
    for choice in due {
        let is_test = choice.visit == 0;
        if day.take(choice).is_none() && is_test {
            n_left_over += 1;
        }
    }
    day.minutes += reserved;
    for choice in first_new.into_iter().chain(more_new) {
        day.take_new(choice);
    }
    for choice in ahead {
        day.take(choice);
    }
    DayPlan { day: today, steps: day.steps(), n_left_over }
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
        let is_same = |c: &Choice<'_>| c.piece.facts.key == choice.piece.facts.key && c.idx == choice.idx && c.visit == choice.visit;
        if self.chosen.iter().any(is_same) {
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
            (is_later, if is_later { -nth } else { nth }, c.stage, c.visit)
        });
        let mut steps: Vec<PlannedStep> = Vec::with_capacity(order.len());
        for next in order.into_iter().map(Choice::step) {
            // Visits with nothing between them are reps.
            match steps.last_mut().filter(|last| last.piece == next.piece && last.what.is_same_item(&next.what)) {
                Some(last) => {
                    last.reps += next.reps;
                    last.minutes += next.minutes;
                }
                None => steps.push(next),
            }
        }
        with_rests(steps, &self.rules)
    }
}

impl<'p> Choice<'p> {
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

/// What a choice adds, a minute, to the chance that all holds. That chance is a product, so what fails half the time weighs fifty times
/// what fails once in a hundred; a later visit of the same day adds less. More before a performance.
fn gain(choice: &Choice<'_>, today: NaiveDate) -> f64 {
    let nears = choice.piece.facts.perform_on.map(|on| (on - today).num_days()).is_some_and(|days| (0..30).contains(&days));
    choice.doubt * VISIT_GAIN.powi(choice.visit.into()) / choice.minutes.max(0.1) * if nears { 2.0 } else { 1.0 }
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

/// What has been begun, and joins and places that can be: what is due and, before a performance, all that can be made surer; each with its
/// further visits of the day.
fn known_items<'p>(piece: &'p PieceMemory, weights: &Weights, config: &PlanConfig) -> Vec<Choice<'p>> {
    let today = config.today;
    let left = days_left(piece, today);
    let perform_on = piece.facts.perform_on.filter(|on| *on > today);
    let is_full_test = left == Some(weights.rules.full_test_days_before);
    let mut out = Vec::new();
    for idx in (0..piece.items.len()).map(ItemIdx) {
        let (item, record) = (&piece.items[idx.0], &piece.records[idx.0]);
        // A change that holds is tested by whatever is played over it: a step of its own is for one that failed.
        let has_failed = record.tests.last().is_some_and(|last| record.failed_on.is_some_and(|failed| failed >= last.day));
        if item.kind == ItemKind::Change && !has_failed {
            continue;
        }
        let is_join = item.kind != ItemKind::Section;
        let recall = record.recall(today, weights).unwrap_or(0.0);
        let doubt = if record.is_begun() { 1.0 - recall * (1.0 - record.weakness()) } else { 1.0 };
        let stage = if is_join { Stage::Join } else { Stage::Test };
        let choice = |reps: u8, is_due: bool, why: String| {
            let minutes = test_minutes(&config.pace, piece.seconds[idx.0], 1.0 - doubt, reps);
            Choice { piece, idx: Some(idx), stage, visit: 0, reps, minutes, doubt, is_due, why }
        };
        // What lapsed today, in a run-through say, is set right today; tomorrow tells whether that held.
        let is_open = record.failed_on == Some(today) && record.n_clean == 0;
        let due = record.due_on(today, piece.facts.perform_on, weights).filter(|due| *due <= today);
        let first = if let Some(due) = due {
            let reps = if is_join && record.n_clean < 2 { 2 } else { weights.rules.later_reps };
            choice(reps, true, if is_full_test { why::full_test() } else { why::due(item, record, due, today) })
        } else if !record.is_begun() {
            if !is_join || !has_ground(piece, idx, today) || left.is_some_and(|days| days <= 1) {
                continue;
            }
            choice(item.target, true, why::not_yet(item.kind))
        } else if let Some(on) = perform_on {
            choice(1, false, if is_open { why::open() } else { why::ahead(on) })
        } else {
            continue;
        };
        let n_visits = match perform_on {
            _ if !record.is_begun() => 1,
            Some(_) => VISITS_MAX,
            None if doubt > AGAIN_DOUBT_MIN => 2,
            None => 1,
        };
        let is_done = !is_open && due.is_none() && record.was_tested_on(today);
        let why_again = why::again();
        for visit in u8::from(is_done)..n_visits {
            let again = Choice {
                stage: Stage::Again,
                visit,
                reps: 1,
                why: why_again.clone(),
                is_due: first.is_due && perform_on.is_none(),
                ..first.clone()
            };
            out.push(if visit == 0 { first.clone() } else { again });
        }
    }
    out
}

/// Sections to begin today, in page order: as many as the time left asks for, and one at least.
fn new_sections<'p>(piece: &'p PieceMemory, rules: &Rules, config: &PlanConfig) -> Vec<Choice<'p>> {
    let left = days_left(piece, config.today);
    // The last days are for what is known.
    if left.is_some_and(|days| days <= rules.full_test_days_before) {
        return Vec::new();
    }
    let new: Vec<ItemIdx> = piece.of_kind(ItemKind::Section).filter(|i| !piece.records[i.0].is_begun()).collect();
    let n_today = left.map_or(1, |days| (new.len() as f64 / (days as f64 * EARLY_SHARE).max(1.0)).ceil() as usize);
    // Two more than the pace asks for are offered: they may be taken when there is room, or when the first is a look-alike.
    let choice = |idx: ItemIdx| {
        let item = &piece.items[idx.0];
        let tries = f64::from(item.target) * config.pace.tries_per_clean;
        let minutes = tries * config.pace.attempt_s(piece.seconds[idx.0]) / 60.0;
        Choice {
            piece,
            idx: Some(idx),
            stage: Stage::New,
            visit: 0,
            reps: item.target,
            minutes,
            doubt: 1.0,
            is_due: false,
            why: why::new(item),
        }
    };
    new.into_iter().take(n_today.min(NEW_A_DAY_MAX) + 2).map(choice).collect()
}

/// The run-through of the day: of the piece that needs it most, once all its sections are begun.
fn run_through<'p>(pieces: &'p [PieceMemory], rules: &Rules, config: &PlanConfig) -> Option<Choice<'p>> {
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
    Some(Choice {
        piece,
        idx: None,
        stage: Stage::Run,
        visit: 0,
        reps: 1,
        minutes,
        doubt: 1.0,
        is_due: false,
        why: why::run(piece, rules, today),
    })
}
