//! What can be forgotten by itself beside the sections: joins, landmarks, switches, changes of levers and pedals; and which levers and
//! pedals were heard to stand wrong.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::plain_text::plain;
use super::progress_words::times;
use crate::journal::attempts::DatedSlip;
use crate::language::named::shown;
use crate::memory::item::ItemKind;
use crate::memory::piece_memory::PieceMemory;
use crate::memory::plan::why;
use crate::practice::setting_words;
use crate::practice::words::spoken;
use crate::setting::{Moved, Stand};

/// The items of one kind that were tried, each in one line, in page order.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ItemsHeld {
    pub kind: ItemKind,
    /// `from the lift into home again, bars 7-10: held yesterday`.
    pub lines: Vec<String>,
    pub n_not_begun: usize,
}

impl ItemsHeld {
    /// Returns the items of the piece that are no sections, kind by kind; kinds that it has none of are left out.
    pub fn of(memory: &PieceMemory, today: NaiveDate) -> Vec<ItemsHeld> {
        let kinds = [ItemKind::Join, ItemKind::Landmark, ItemKind::Switch, ItemKind::Change];
        let of_kind = |kind| {
            let (begun, not_begun): (Vec<_>, Vec<_>) = memory.of_kind(kind).partition(|idx| memory.records[idx.0].is_begun());
            let lines = begun.iter().map(|idx| {
                let item = &memory.items[idx.0];
                let layout = &memory.facts.layout;
                let place = match layout.change_of(item) {
                    Some(change) => spoken(&change.place.text),
                    None if item.bars.len() == 1 => tr!("bar {bar}", bar = layout.printed(&item.bars)),
                    None => tr!("bars {bars}", bars = layout.printed(&item.bars)),
                };
                plain(&tr!("{name}, {place}: {how}", name = shown(&item.name), place, how = why::last(&memory.records[idx.0], today)))
            });
            ItemsHeld { kind, lines: lines.collect(), n_not_begun: not_begun.len() }
        };
        kinds.into_iter().map(of_kind).filter(|items| !items.lines.is_empty() || items.n_not_begun > 0).collect()
    }

    pub fn heading(&self) -> String {
        match self.kind {
            ItemKind::Section => tr!("Sections"),
            ItemKind::Join => tr!("Joins"),
            ItemKind::Landmark => tr!("Landmarks"),
            ItemKind::Switch => tr!("Switches"),
            ItemKind::Change => tr!("Levers and pedals"),
        }
    }

    /// Says how many were never tried; none when all were.
    pub fn rest(&self) -> Option<String> {
        (self.n_not_begun > 0).then(|| tr!("1 not begun" | "{n} not begun" % self.n_not_begun))
    }
}

/// Returns the levers and pedals that were heard to stand wrong, the most frequent first: `lever on F, 4th octave: 3 times on 2 days, last in
/// bar 12`. `slips` are oldest first.
pub fn set_wrong(slips: &[DatedSlip]) -> Vec<String> {
    let mut heard: BTreeMap<String, (usize, BTreeSet<NaiveDate>, &str)> = BTreeMap::new();
    for DatedSlip { at, slip } in slips {
        let (n, days, place) = heard.entry(named(slip.setting.as_deref())).or_default();
        *n += 1;
        days.insert(at.date_naive());
        *place = &slip.place;
    }
    let mut heard: Vec<_> = heard.into_iter().collect();
    heard.sort_by_key(|(_, (n, ..))| std::cmp::Reverse(*n));
    let line = |(what, (n, days, place)): (String, (usize, BTreeSet<NaiveDate>, &str))| {
        let bar = place.rsplit_once('.').map_or(place, |(bar, _)| bar);
        let (times, days) = (times(n), tr!("on 1 day" | "on {n} days" % days.len()));
        plain(&tr!("{what}: {times} {days}, last in bar {bar}", what, times, days, bar))
    };
    heard.into_iter().map(line).collect()
}

/// Says which it was; of a lever or a string in which octave as well, for there are several of a letter.
fn named(setting: Option<&str>) -> String {
    let Some(stand) = setting.and_then(|text| text.parse::<Stand>().ok()) else { return tr!("a lever or pedal, not noted which") };
    match stand.what {
        Moved::Pedal(_) => setting_words(stand.what),
        Moved::Lever(string) | Moved::Tuned(string) => format!("{}, {}", setting_words(stand.what), string.octave_words()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::attempts::SettingSlip;

    #[test]
    fn what_stood_wrong_is_counted_string_by_string_and_what_nobody_noted_is_one() {
        let slip = |day: u32, place: &str, setting: Option<&str>| DatedSlip {
            at: format!("2026-03-{day:02}T20:00:00+01:00").parse().unwrap(),
            slip: SettingSlip { place: place.into(), setting: setting.map(str::to_owned) },
        };
        let slips = [
            slip(1, "3.1", None),
            slip(2, "4.1", Some("lever F4 sharp")),
            slip(2, "7.2", Some("lever F4 natural")),
            slip(3, "12.3", Some("lever F4 sharp")),
            slip(3, "4.1", Some("lever F3 sharp")),
            slip(3, "5.1", Some("pedal B flat")),
            slip(3, "5.1", Some("what a later program says")),
        ];
        assert_eq!(
            set_wrong(&slips),
            [
                "lever on F, 3rd octave: 3 times on 2 days, last in bar 12",
                "a lever or pedal, not noted which: twice on 2 days, last in bar 5",
                "lever on F, 4th octave: once on 1 day, last in bar 4",
                "pedal on B: once on 1 day, last in bar 5",
            ]
        );
        assert!(set_wrong(&[]).is_empty());
    }
}
