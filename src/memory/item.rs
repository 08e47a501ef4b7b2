//! What can be forgotten by itself: sections, joins between them, landmarks, the exits of switches, and where levers or
//! pedals move.
//!
//! Items are made of a [`Layout`]: the piece's places as values, bars as indices in page order. An
//! item is known by its bars or place **as printed**, so that it keeps its record when a section is
//! renamed. When bounds change, [`super::evidence`] says what of the old record still counts.

use std::fmt;
use std::ops::Range;

/// Bars before and after a seam that a join is practised over.
const JOIN_BARS: usize = 2;
/// Bars before a switch, or a change, that it is practised from.
const LEAD_IN_BARS: usize = 1;

#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum ItemKind {
    /// A section begun cold and played to its end.
    Section,
    /// From one section into the next.
    Join,
    /// A cold start at a landmark that no section begins at.
    Landmark,
    /// One exit of a switch.
    Switch,
    /// What levers and pedals do at one place of a harp's piece.
    Change,
}

/// What stays when names change: the kind, and bars or place as printed (`section 1-4`, `join 4/5`, `switch 7.3`, `change 11.4`).
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct ItemId(pub String);

impl fmt::Display for ItemId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// Index into the items of a piece.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct ItemIdx(pub usize);

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Item {
    pub kind: ItemKind,
    pub id: ItemId,
    /// In the player's words.
    pub name: String,
    /// What to play, as indices of printed bars.
    pub bars: Range<usize>,
    /// Where a failure is a failure of this item.
    pub zone: Range<usize>,
    /// Clean reps wanted on the first day.
    pub target: u8,
    /// For an exit, the number of its switch: exits of one switch are look-alikes.
    pub family: Option<usize>,
}

/// A section as the piece has it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SectionAt {
    pub name: String,
    pub bars: Range<usize>,
    pub target: u8,
}

/// A place as the piece or its analysis has it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PlaceAt {
    /// `bar.beat` as printed.
    pub text: String,
    pub bar: usize,
}

/// Where levers or pedals move.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ChangeAt {
    /// What moves, before which place, in the player's words.
    pub name: String,
    pub place: PlaceAt,
    /// Bar of the first note that needs it; not before the place.
    pub for_bar: usize,
    /// The levers and pedals, as [`crate::setting::Moved`] is written: `lever F4`.
    pub moved: Vec<String>,
    /// `bar.beat` of all notes at which it is heard that it was not done, until the same moves again. Empty where the instrument does not
    /// tell how its strings are set: then nothing that was played shows anything of it.
    pub heard_at: Vec<String>,
}

/// Where things stand in a piece. Sections and places are in page order.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Layout {
    /// Printed label of each bar.
    pub labels: Vec<String>,
    pub sections: Vec<SectionAt>,
    /// Each with its name.
    pub landmarks: Vec<(String, PlaceAt)>,
    /// Each with the places where its copies part.
    pub switches: Vec<Vec<PlaceAt>>,
    pub changes: Vec<ChangeAt>,
}

impl Layout {
    /// Returns the items of the piece: all sections, then joins, landmarks, exits and changes, each in page order; ids are unique.
    pub fn items(&self) -> Vec<Item> {
        let mut items: Vec<Item> = Vec::new();
        let mut add = |item: Item| {
            if items.iter().all(|other| other.id != item.id) {
                items.push(item);
            }
        };
        for section in &self.sections {
            add(Item {
                kind: ItemKind::Section,
                id: ItemId(format!("section {}", self.printed(&section.bars))),
                name: section.name.clone(),
                bars: section.bars.clone(),
                zone: section.bars.clone(),
                target: section.target,
                family: None,
            });
        }
        for pair in self.sections.windows(2) {
            let (before, after) = (&pair[0].bars, &pair[1].bars);
            // Bars between sections, or shared by both, belong to the seam.
            let (from, to) = (before.end.min(after.start), before.end.max(after.start));
            add(Item {
                kind: ItemKind::Join,
                id: ItemId(format!("join {}/{}", self.label(before.end.saturating_sub(1)), self.label(after.start))),
                name: format!("from {} into {}", pair[0].name, pair[1].name),
                bars: from.saturating_sub(JOIN_BARS).max(before.start)..(to + JOIN_BARS).min(after.end),
                zone: from.saturating_sub(1)..(to + 1).min(after.end),
                target: 2,
                family: None,
            });
        }
        let starts: Vec<usize> = self.sections.iter().map(|s| s.bars.start).collect();
        for (name, place) in self.landmarks.iter().filter(|(_, place)| !starts.contains(&place.bar)) {
            let end = starts.iter().copied().filter(|s| *s > place.bar).min().unwrap_or(self.labels.len());
            add(Item {
                kind: ItemKind::Landmark,
                id: ItemId(format!("landmark {}", place.text)),
                name: name.clone(),
                bars: place.bar..(place.bar + JOIN_BARS).min(end).max(place.bar + 1),
                zone: place.bar..place.bar + 1,
                target: 2,
                family: None,
            });
        }
        let mut exits: Vec<(usize, &PlaceAt)> =
            self.switches.iter().enumerate().flat_map(|(family, places)| places.iter().map(move |p| (family, p))).collect();
        exits.sort_by_key(|(_, place)| place.bar);
        for (family, place) in exits {
            let end = (place.bar + 2).min(self.labels.len()).max(place.bar + 1);
            add(Item {
                kind: ItemKind::Switch,
                id: ItemId(format!("switch {}", place.text)),
                name: format!("the parting in bar {}", self.label(place.bar)),
                bars: place.bar.saturating_sub(LEAD_IN_BARS)..end,
                zone: place.bar..end,
                target: 2,
                family: Some(family),
            });
        }
        for change in &self.changes {
            let end = (change.for_bar.max(change.place.bar) + 1).min(self.labels.len());
            add(Item {
                kind: ItemKind::Change,
                id: ItemId(format!("change {}", change.place.text)),
                name: change.name.clone(),
                bars: change.place.bar.saturating_sub(LEAD_IN_BARS)..end,
                zone: change.place.bar..end,
                target: 2,
                family: None,
            });
        }
        items
    }

    /// Returns the change that an item is; none when it is something else.
    pub fn change_of(&self, item: &Item) -> Option<&ChangeAt> {
        let place = item.id.0.strip_prefix("change ").filter(|_| item.kind == ItemKind::Change)?;
        self.changes.iter().find(|change| change.place.text == place)
    }

    /// Returns the index of a printed bar.
    pub fn bar(&self, label: &str) -> Option<usize> {
        self.labels.iter().position(|l| l == label)
    }

    /// Returns the bar of a place written `bar.beat`.
    pub fn bar_of_place(&self, place: &str) -> Option<usize> {
        self.bar(place.rsplit_once('.').map_or(place, |(label, _)| label))
    }

    /// Returns bars as printed: `5-8`, or `5`.
    pub fn printed(&self, bars: &Range<usize>) -> String {
        let (first, last) = (self.label(bars.start), self.label(bars.end.saturating_sub(1)));
        if first == last { first.to_owned() } else { format!("{first}-{last}") }
    }

    fn label(&self, bar: usize) -> &str {
        self.labels.get(bar).map_or("?", String::as_str)
    }
}

/// Tells whether two items must not be learnt on the same day: exits of one switch lie in both.
///
/// Practising a similar passage afterwards keeps a new one from settling overnight (Allen 2013, Psychol. of Music).
pub fn are_look_alikes(items: &[Item], a: ItemIdx, b: ItemIdx) -> bool {
    let families = |idx: ItemIdx| {
        let bars = &items[idx.0].bars;
        items.iter().filter(move |i| i.zone.start >= bars.start && i.zone.start < bars.end).filter_map(|i| i.family)
    };
    a != b && families(a).any(|family| families(b).any(|other| other == family))
}

/// Returns the joins that lead into and out of a section; the first section has one, and so has the last.
pub fn joins_beside(items: &[Item], section: ItemIdx) -> Vec<ItemIdx> {
    let bars = &items[section.0].bars;
    let sections: Vec<usize> = (0..items.len()).filter(|i| items[*i].kind == ItemKind::Section).collect();
    let joins: Vec<usize> = (0..items.len()).filter(|i| items[*i].kind == ItemKind::Join).collect();
    let nth = sections.iter().position(|i| items[*i].bars == *bars);
    // The joins stand in page order, one between each two sections.
    let Some(nth) = nth.filter(|_| joins.len() + 1 == sections.len()) else { return Vec::new() };
    [nth.checked_sub(1), Some(nth)].into_iter().flatten().filter_map(|j| joins.get(j)).map(|j| ItemIdx(*j)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(bar: usize) -> PlaceAt {
        PlaceAt { text: format!("{}.1", bar + 1), bar }
    }

    fn section(name: &str, bars: Range<usize>) -> SectionAt {
        SectionAt { name: name.into(), bars, target: 3 }
    }

    pub fn layout() -> Layout {
        Layout {
            labels: (1..=12).map(|n| n.to_string()).collect(),
            sections: vec![section("opening", 0..4), section("answer", 4..9), section("close", 8..12)],
            landmarks: vec![("the tune".into(), place(4)), ("the roll".into(), place(6))],
            switches: vec![vec![place(2), place(6)]],
            changes: vec![ChangeAt {
                name: "lever on F before bar 11".into(),
                place: PlaceAt { text: "10.3".into(), bar: 9 },
                for_bar: 10,
                moved: vec!["lever F4".into()],
                heard_at: vec!["11.1".into()],
            }],
        }
    }

    #[test]
    fn a_piece_falls_into_sections_joins_landmarks_and_exits() {
        let layout = layout();
        let items = layout.items();
        let said: Vec<String> = items.iter().map(|i| format!("{} [{}] {}", i.id, layout.printed(&i.bars), i.name)).collect();
        assert_eq!(
            said,
            [
                "section 1-4 [1-4] opening",
                "section 5-9 [5-9] answer",
                "section 9-12 [9-12] close",
                "join 4/5 [3-6] from opening into answer",
                // Bar 9 is shared.
                "join 9/9 [7-11] from answer into close",
                // A landmark where a section begins is that section's own cold start.
                "landmark 7.1 [7-8] the roll",
                "switch 3.1 [2-4] the parting in bar 3",
                "switch 7.1 [6-8] the parting in bar 7",
                "change 10.3 [9-11] lever on F before bar 11",
            ]
        );
        assert_eq!(joins_beside(&items, ItemIdx(0)), [ItemIdx(3)]);
        assert_eq!(joins_beside(&items, ItemIdx(1)), [ItemIdx(3), ItemIdx(4)]);
        assert!(are_look_alikes(&items, ItemIdx(0), ItemIdx(1)) && !are_look_alikes(&items, ItemIdx(0), ItemIdx(2)));
    }

    #[test]
    fn a_new_name_changes_no_identity() {
        let mut renamed = layout();
        renamed.sections[1].name = "the reply".into();
        let ids = |l: &Layout| l.items().into_iter().map(|i| i.id).collect::<Vec<_>>();
        assert_eq!(ids(&renamed), ids(&layout()));
    }
}
