//! A plan as text and as JSON.

use chrono::NaiveDate;
use serde_json::{Value, json};

use super::Known;
use crate::language::date::day_in_full;
use crate::language::named::shown;
use crate::memory::calibration::{Bin, calibration};
use crate::memory::item::ItemKind;
use crate::memory::piece_memory::PieceMemory;
use crate::memory::plan::{DayPlan, PlannedStep, What, why};
use crate::report::progress_words;

/// Returns the lines of one day.
pub fn day(known: &Known, plan: &DayPlan, minutes: u16) -> Vec<String> {
    let head = tr!("{day}: {planned} of {minutes} minutes", day = day_in_full(plan.day), planned = plan.minutes().ceil(), minutes);
    let mut lines = vec![head];
    if plan.steps.is_empty() {
        lines.push(tr!("  nothing is due; rest, or play what you like"));
    }
    let mut last: Option<&str> = None;
    let mut n = 0;
    for step in &plan.steps {
        if step.piece.is_some() && step.piece.as_deref() != last {
            last = step.piece.as_deref();
            lines.push(format!("  {}", title(known, step)));
        }
        if step.what != What::Rest {
            n += 1;
        }
        lines.push(line(step, n));
    }
    if plan.n_left_over > 0 {
        lines.push(tr!("  1 test that is due found no room; the weakest were kept."
            | "  {n} tests that are due found no room; the weakest were kept." % plan.n_left_over));
    }
    lines.push(String::new());
    lines
}

fn line(step: &PlannedStep, n: usize) -> String {
    let nth = if step.what == What::Rest { "    ".to_owned() } else { format!("{n:>3}.") };
    format!("  {nth} {:<44} {:<8} {:>3} min  {}", what(step), times(step), minutes(step), step.why)
}

fn what(step: &PlannedStep) -> String {
    match &step.what {
        What::Rest => tr!("rest"),
        What::RunThrough => tr!("the whole piece"),
        What::Item { name, bars, .. } => {
            let (first, last) = bars;
            let bars = if first == last { tr!("bar {bar}", bar = first) } else { tr!("bars {bars}", bars = format!("{first}-{last}")) };
            let name = shown(name);
            if name == bars { bars } else { format!("{name}, {bars}") }
        }
    }
}

fn times(step: &PlannedStep) -> String {
    match step.reps {
        0 => String::new(),
        reps => progress_words::times(reps.into()),
    }
}

/// Returns a step as one short line: `casting off, bars 1-4, 3 times`.
pub fn in_short(step: &PlannedStep) -> String {
    format!("{}, {}", what(step), times(step))
}

fn minutes(step: &PlannedStep) -> String {
    if step.minutes < 0.75 { "½".to_owned() } else { format!("{:.0}", step.minutes) }
}

fn title<'k>(known: &'k Known, step: &PlannedStep) -> &'k str {
    let piece = known.pieces.iter().find(|p| Some(&p.facts.key) == step.piece.as_ref());
    piece.map_or("", |p| &p.facts.title)
}

/// Returns how the time stands, what the plan rests on and, for one piece, how far its sections have come.
pub fn after(known: &Known, said: &[String], today: NaiveDate, is_one: bool) -> Vec<String> {
    let mut lines = said.to_vec();
    lines.push(known.fitted.origin.words());
    for piece in known.pieces.iter().filter(|_| is_one) {
        lines.push(String::new());
        for idx in piece.of_kind(ItemKind::Section) {
            let security = piece.security(idx, today, &known.fitted.weights);
            lines.push(format!("  {:<30} {}", shown(&piece.items[idx.0].name), security.words()));
        }
        for idx in piece.of_kind(ItemKind::Change) {
            lines.push(format!("  {:<30} {}", piece.items[idx.0].name, why::last(&piece.records[idx.0], today)));
        }
    }
    lines
}

/// Returns what was expected to hold against what held.
fn calibration_bins(known: &Known) -> Vec<Bin> {
    calibration(known.pieces.iter().flat_map(|p| &p.records).flat_map(|r| &r.tests))
}

pub fn calibration_lines(known: &Known) -> Vec<String> {
    let bins = calibration_bins(known);
    let mut lines = vec![String::new(), tr!("What was expected of your tests, and what held:")];
    if bins.is_empty() {
        lines.push(tr!("  no test on a later day yet"));
    }
    lines.extend(bins.iter().map(|bin| format!("  {}", bin.words())));
    lines
}

/// Returns the plan as one JSON object.
pub fn json(known: &Known, plans: &[DayPlan], said: &[String], today: NaiveDate) -> Value {
    let days: Vec<Value> = plans
        .iter()
        .map(|plan| {
            let steps: Vec<Value> = plan.steps.iter().map(step).collect();
            json!({"day": plan.day.to_string(), "minutes": round(plan.minutes()), "left_over": plan.n_left_over, "steps": steps})
        })
        .collect();
    let pieces: Vec<Value> = known.pieces.iter().map(|p| piece(known, p, today)).collect();
    let bins: Vec<Value> = calibration_bins(known)
        .iter()
        .map(|b| json!({"tests": b.n, "expected": round(b.expected * f64::from(b.n)), "held": b.n_held}))
        .collect();
    json!({"days": days, "pieces": pieces, "said": said, "reckoned": known.fitted.origin.words(), "calibration": bins})
}

fn step(step: &PlannedStep) -> Value {
    let mut out = json!({"piece": step.piece, "reps": step.reps, "minutes": round(step.minutes), "why": step.why});
    match &step.what {
        What::Item { id, kind, name, bars, is_new, .. } => {
            out["kind"] = json!(kind_word(*kind));
            out["id"] = json!(id.0);
            out["name"] = json!(name);
            out["bars"] = json!([bars.0, bars.1]);
            out["new"] = json!(is_new);
        }
        What::RunThrough => out["kind"] = json!("run-through"),
        What::Rest => out["kind"] = json!("rest"),
    }
    out
}

fn piece(known: &Known, piece: &PieceMemory, today: NaiveDate) -> Value {
    let items: Vec<Value> = (0..piece.items.len())
        .map(|i| {
            let (item, record) = (&piece.items[i], &piece.records[i]);
            let weights = &known.fitted.weights;
            let security = piece.security(crate::memory::item::ItemIdx(i), today, weights);
            json!({"id": item.id.0, "kind": kind_word(item.kind), "name": item.name, "standing": security.words(), "secure": security.is_secure(),
                "warm": security.is_warm, "due": record.due_on(today, piece.facts.perform_on, weights).map(|d| d.to_string()),
                "expected": record.recall(today, weights).map(round), "days_tested": record.tests.len()})
        })
        .collect();
    json!({"piece": piece.facts.key, "title": piece.facts.title, "perform_on": piece.facts.perform_on.map(|d| d.to_string()), "items": items})
}

fn kind_word(kind: ItemKind) -> &'static str {
    match kind {
        ItemKind::Section => "section",
        ItemKind::Join => "join",
        ItemKind::Landmark => "landmark",
        ItemKind::Switch => "switch",
        ItemKind::Change => "change",
    }
}

fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
