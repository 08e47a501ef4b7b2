//! Why a step stands in the plan, in a player's words.

use chrono::NaiveDate;

use crate::memory::Outcome;
use crate::memory::item::{Item, ItemKind};
use crate::memory::piece_memory::PieceMemory;
use crate::memory::record::ItemRecord;

pub(super) fn due(item: &Item, record: &ItemRecord, due: NaiveDate, today: NaiveDate) -> String {
    let Some(last) = record.tests.last() else { return String::new() };
    if record.failed_on.is_some_and(|failed| failed >= last.day) {
        let ago = ago((today - record.failed_on.unwrap_or(last.day)).num_days());
        return match item.kind {
            ItemKind::Switch => format!("the wrong way, or a halt, {ago}"),
            ItemKind::Change => format!("set wrong, or a halt, {ago}"),
            _ => format!("it did not hold {ago}"),
        };
    }
    let ago = ago((today - last.day).num_days());
    let head = if last.outcome == Outcome::Recovered { "shaky" } else { "held" };
    let late = (today - due).num_days();
    if late > 3 { format!("{head} {ago}, {late} days overdue") } else { format!("{head} {ago}, due") }
}

/// Says how the last test went: `held 3 days ago`.
pub fn last(record: &ItemRecord, today: NaiveDate) -> String {
    let Some(last) = record.tests.last() else { return "not begun".to_owned() };
    let head = match last.outcome {
        _ if record.failed_on.is_some_and(|failed| failed >= last.day) => "did not hold",
        Outcome::Recovered => "shaky",
        _ => "held",
    };
    let day = record.failed_on.map_or(last.day, |failed| failed.max(last.day));
    format!("{head} {}", ago((today - day).num_days()))
}

/// For what becomes possible once its sections are known.
pub(super) fn not_yet(kind: ItemKind) -> String {
    match kind {
        ItemKind::Join => "both sides are there, not joined yet",
        ItemKind::Landmark => "not started cold from here yet",
        ItemKind::Switch | ItemKind::Section | ItemKind::Change => "not tried by itself yet",
    }
    .to_owned()
}

pub(super) fn full_test() -> String {
    "everything from cold today: two days to go".to_owned()
}

pub(super) fn new(item: &Item) -> String {
    format!("new: {} clean from memory", item.target)
}

pub(super) fn again() -> String {
    "once more, after other work".to_owned()
}

pub(super) fn open() -> String {
    "it failed today: set it right".to_owned()
}

pub(super) fn ahead(on: NaiveDate) -> String {
    format!("among the weakest; surer for {}", on.format("%-d %B"))
}

pub(super) fn run(piece: &PieceMemory, today: NaiveDate) -> String {
    if piece.facts.perform_on == Some(today) {
        return "once, calmly; the rest is for the stage".to_owned();
    }
    match piece.last_run {
        None => "the first time through; go on whatever happens".to_owned(),
        Some(day) => format!("as on stage; last {}", ago((today - day).num_days())),
    }
}

pub(super) fn run_first() -> String {
    "from cold: it shows what to work on".to_owned()
}

pub(super) fn ago(days: i64) -> String {
    match days {
        ..=0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        _ => format!("{days} days ago"),
    }
}
