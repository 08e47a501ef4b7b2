//! Why a step stands in the plan, in a player's words.

use chrono::NaiveDate;

use crate::language::date::day_and_month;
use crate::memory::Outcome;
use crate::memory::item::{Item, ItemKind};
use crate::memory::piece_memory::PieceMemory;
use crate::memory::record::ItemRecord;
use crate::memory::rules::Rules;

pub(super) fn due(item: &Item, record: &ItemRecord, due: NaiveDate, today: NaiveDate) -> String {
    let Some(last) = record.tests.last() else { return String::new() };
    if record.failed_on.is_some_and(|failed| failed >= last.day) {
        let ago = ago((today - record.failed_on.unwrap_or(last.day)).num_days());
        return match item.kind {
            ItemKind::Switch => tr!("the wrong way, or a halt, {ago}", ago),
            ItemKind::Change => tr!("set wrong, or a halt, {ago}", ago),
            _ => tr!("it did not hold {ago}", ago),
        };
    }
    let ago = ago((today - last.day).num_days());
    let head = if last.outcome == Outcome::Recovered { tr!("shaky") } else { tr!("held") };
    let late = (today - due).num_days();
    if late > 3 { tr!("{head} {ago}, {late} days overdue", head, ago, late) } else { tr!("{head} {ago}, due", head, ago) }
}

/// Says how the last test went: `held 3 days ago`.
pub fn last(record: &ItemRecord, today: NaiveDate) -> String {
    let Some(last) = record.tests.last() else { return tr!("not begun") };
    let head = match last.outcome {
        _ if record.failed_on.is_some_and(|failed| failed >= last.day) => tr!("did not hold"),
        Outcome::Recovered => tr!("shaky"),
        _ => tr!("held"),
    };
    let day = record.failed_on.map_or(last.day, |failed| failed.max(last.day));
    tr!("{head} {ago}", head, ago = ago((today - day).num_days()))
}

/// For what becomes possible once its sections are known.
pub(super) fn not_yet(kind: ItemKind) -> String {
    match kind {
        ItemKind::Join => tr!("both sides are there, not joined yet"),
        ItemKind::Landmark => tr!("not started cold from here yet"),
        ItemKind::Switch | ItemKind::Section | ItemKind::Change => tr!("not tried by itself yet"),
    }
}

pub(super) fn full_test() -> String {
    tr!("everything from cold today: two days to go")
}

pub(super) fn new(item: &Item) -> String {
    tr!("new: {} clean from memory", item.target)
}

pub(super) fn again() -> String {
    tr!("once more, after other work")
}

pub(super) fn open() -> String {
    tr!("it failed today: set it right")
}

pub(super) fn ahead(on: NaiveDate) -> String {
    tr!("among the weakest; surer for {}", day_and_month(on))
}

pub(super) fn run(piece: &PieceMemory, rules: &Rules, today: NaiveDate) -> String {
    if piece.facts.perform_on == Some(today) {
        return tr!("once, calmly; the rest is for the stage");
    }
    match piece.last_run {
        None => tr!("the first time through; go on whatever happens"),
        Some(day) => {
            let is_elsewhere = rules.run_elsewhere_every > 0 && (piece.n_runs + 1).is_multiple_of(rules.run_elsewhere_every);
            let ago = ago((today - day).num_days());
            if is_elsewhere {
                tr!("as on stage, in another room, at another hour or instrument; last {}", ago)
            } else {
                tr!("as on stage; last {}", ago)
            }
        }
    }
}

pub(super) fn run_first() -> String {
    tr!("from cold: it shows what to work on")
}

pub(super) fn ago(days: i64) -> String {
    match days {
        ..=0 => tr!("today"),
        1 => tr!("yesterday"),
        _ => tr!("{n} days ago", n = days),
    }
}
