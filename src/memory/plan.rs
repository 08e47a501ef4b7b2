//! The plan of a day: what to play in the minutes there are, over all pieces, in order.
//!
//! Old tests first and new sections last (proactive interference is least that way, common practice; Allen 2013, Psychol. of Music: a
//! similar passage practised afterwards undoes a night's gain), the weakest before the others, never in page order
//! (Abushanab & Bishara 2013, Mem. & Cogn. 41:928-937: a mixed order holds better, though it feels worse), the whole piece once at the end. Where a
//! performance is set, minutes that are left go to what is weakest. [`outlook`] says in words how the time stands.

mod choose;
pub mod outlook;
pub mod why;

use chrono::NaiveDate;

use super::Outcome;
use super::item::{ItemId, ItemIdx, ItemKind};
use super::model::Weights;
use super::pace::Pace;
use super::piece_memory::PieceMemory;
use super::rules::Rules;
use super::{Attempt, Way};

#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PlanConfig {
    pub today: NaiveDate,
    /// All the time there is, rests included.
    pub minutes: f64,
    pub pace: Pace,
}

/// The plan of one day.
#[derive(Clone, PartialEq, Debug)]
pub struct DayPlan {
    pub day: NaiveDate,
    /// In order; may be empty.
    pub steps: Vec<PlannedStep>,
    /// Tests that are due and found no room.
    pub n_left_over: usize,
}

#[derive(Clone, PartialEq, Debug)]
pub struct PlannedStep {
    /// What the journal files the piece under; none for a rest.
    pub piece: Option<String>,
    pub what: What,
    /// Clean reps wanted.
    pub reps: u8,
    /// As expected of this player.
    pub minutes: f64,
    /// In a player's words.
    pub why: String,
}

#[derive(Clone, PartialEq, Debug)]
pub enum What {
    Item {
        idx: ItemIdx,
        id: ItemId,
        kind: ItemKind,
        /// The section's or landmark's name, or words for the join or parting.
        name: String,
        /// First and last bar to play, as printed.
        bars: (String, String),
        is_new: bool,
    },
    /// The whole piece once, as on stage.
    RunThrough,
    /// Hands down.
    Rest,
}

impl What {
    fn is_same_item(&self, other: &What) -> bool {
        matches!((self, other), (What::Item { id, .. }, What::Item { id: other, .. }) if id == other)
    }
}

impl DayPlan {
    /// Returns the minutes of all steps, rests included.
    pub fn minutes(&self) -> f64 {
        self.steps.iter().map(|s| s.minutes).sum()
    }

    /// Returns the plan as it is carried out: what is played of one piece without a rest, part after part.
    pub fn parts(&self) -> Vec<Part<'_>> {
        let mut parts: Vec<Part<'_>> = Vec::new();
        let mut rest = None;
        for step in &self.steps {
            let Some(piece) = step.piece.as_deref() else {
                rest = Some(step.minutes);
                continue;
            };
            match parts.last_mut().filter(|part| part.piece == piece && rest.is_none()) {
                Some(part) => part.steps.push(step),
                None => parts.push(Part { piece, rest: rest.take(), steps: vec![step] }),
            }
        }
        parts
    }
}

/// Steps of one piece, one after the other.
#[derive(Clone, PartialEq, Debug)]
pub struct Part<'p> {
    /// What the journal files the piece under.
    pub piece: &'p str,
    /// Minutes of rest before it, where there is one.
    pub rest: Option<f64>,
    /// At least one; none of them a rest.
    pub steps: Vec<&'p PlannedStep>,
}

/// Plans a day. The same records, weights and minutes give the same plan; steps fit the minutes.
pub fn plan(pieces: &[PieceMemory], weights: &Weights, config: &PlanConfig) -> DayPlan {
    choose::choose(pieces, weights, config)
}

/// Plans `n_days` days, as if everything planned were played and held. The records given stay as they are.
pub fn plan_days(pieces: &[PieceMemory], weights: &Weights, config: &PlanConfig, n_days: usize) -> Vec<DayPlan> {
    let mut pieces = pieces.to_vec();
    let mut plans = Vec::new();
    for today in config.today.iter_days().take(n_days) {
        let plan = plan(&pieces, weights, &PlanConfig { today, ..*config });
        for step in &plan.steps {
            let Some(piece) = pieces.iter_mut().find(|p| Some(&p.facts.key) == step.piece.as_ref()) else { continue };
            let held = |way| Attempt { day: today, outcome: Outcome::Clean, way, recall: None };
            match &step.what {
                What::Item { idx, kind, .. } => {
                    let way = if matches!(kind, ItemKind::Join | ItemKind::Switch | ItemKind::Change) { Way::Flow } else { Way::Cold };
                    (0..step.reps).for_each(|_| piece.add(*idx, held(way), weights));
                }
                What::RunThrough => {
                    piece.last_run = Some(today);
                    piece.n_runs += 1;
                    (0..piece.items.len()).for_each(|i| piece.add(ItemIdx(i), held(Way::RunThrough), weights));
                }
                What::Rest => {}
            }
        }
        plans.push(plan);
    }
    plans
}

/// Puts rests between steps, so that no more than a block is played without one.
fn with_rests(steps: Vec<PlannedStep>, rules: &Rules) -> Vec<PlannedStep> {
    let mut out = Vec::with_capacity(steps.len() + 2);
    let mut played = 0.0;
    for step in steps {
        if played > 0.0 && played + step.minutes > rules.block_minutes {
            let why = tr!("hands down, away from the instrument");
            out.push(PlannedStep { piece: None, what: What::Rest, reps: 0, minutes: rules.rest_minutes, why });
            played = 0.0;
        }
        played += step.minutes;
        out.push(step);
    }
    out
}

#[cfg(test)]
mod tests;
