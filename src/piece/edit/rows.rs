//! The lists of a piece file as rows of text: which row is which, and how a list becomes another with as little change as can be.

use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, RawString, Table, TableLike, Value};

use super::super::file::HANDS;
use super::super::{Cue, Landmark, Section, bars_text};
use crate::score::{Place, Score};

/// A key of a row and its value; a key that the row leaves out has none.
type Key = (&'static str, Option<Value>);

/// What one `[[section]]`, `[[cue]]` or `[[landmark]]` says.
pub trait Row: Clone + PartialEq {
    /// The word between the brackets.
    const KEY: &'static str;
    /// The file must have the rows in page order.
    const IN_PAGE_ORDER: bool;

    /// Returns every key, in the order of a new row.
    fn keys(&self, score: &Score) -> Vec<Key>;
    fn start(&self) -> Place;
    /// Tells whether the other is meant for the same place, so that only one of them can be.
    fn is_at(&self, other: &Self) -> bool;
    /// What a row that has moved is known by.
    fn name(&self) -> Option<&str>;
    /// Names the row in a message: `the cue at 5.1`.
    fn words(&self, score: &Score) -> String;
}

impl Row for Section {
    const KEY: &'static str = "section";
    const IN_PAGE_ORDER: bool = true;

    fn keys(&self, score: &Score) -> Vec<Key> {
        let reps = self.target_reps.map(|r| i64::from(r).into());
        vec![("name", Some(self.name.as_str().into())), ("bars", Some(bars_text(&self.bars, score).into())), ("reps", reps)]
    }

    fn start(&self) -> Place {
        Place::start_of(self.bars.start)
    }

    fn is_at(&self, other: &Self) -> bool {
        self.bars.start == other.bars.start
    }

    fn name(&self) -> Option<&str> {
        Some(&self.name)
    }

    fn words(&self, _: &Score) -> String {
        tr!("the section {name}", name = format!("{:?}", self.name))
    }
}

impl Row for Cue {
    const KEY: &'static str = "cue";
    const IN_PAGE_ORDER: bool = false;

    fn keys(&self, score: &Score) -> Vec<Key> {
        let hand = self.hand.and_then(|hand| HANDS.iter().find(|(_, h)| *h == hand)).map(|(word, _)| (*word).into());
        let more = self.more.as_ref().map(|m| m.as_str().into());
        vec![("at", Some(self.place.text(score).into())), ("hand", hand), ("text", Some(self.text.as_str().into())), ("more", more)]
    }

    fn start(&self) -> Place {
        self.place
    }

    fn is_at(&self, other: &Self) -> bool {
        (self.place, self.hand) == (other.place, other.hand)
    }

    fn name(&self) -> Option<&str> {
        None
    }

    fn words(&self, score: &Score) -> String {
        let place = self.place.text(score);
        match self.hand {
            Some(hand) => tr!("the cue at {place} for the {hand}", place, hand = hand.words()),
            None => tr!("the cue at {place}", place),
        }
    }
}

impl Row for Landmark {
    const KEY: &'static str = "landmark";
    const IN_PAGE_ORDER: bool = false;

    fn keys(&self, score: &Score) -> Vec<Key> {
        let setting = self.setting.as_ref().map(|s| s.as_str().into());
        vec![("at", Some(self.place.text(score).into())), ("name", Some(self.name.as_str().into())), ("setting", setting)]
    }

    fn start(&self) -> Place {
        self.place
    }

    fn is_at(&self, other: &Self) -> bool {
        self.place == other.place
    }

    fn name(&self) -> Option<&str> {
        Some(&self.name)
    }

    fn words(&self, _: &Score) -> String {
        tr!("the landmark {name}", name = format!("{:?}", self.name))
    }
}

/// Finds every old row again among the new ones: by its place, or else by its name.
pub fn pairs<R: Row>(old: &[R], new: &[R]) -> Vec<Option<usize>> {
    let mut found: Vec<Option<usize>> = old.iter().map(|o| new.iter().position(|n| n.is_at(o))).collect();
    for (idx, row) in old.iter().enumerate().filter(|(_, row)| row.name().is_some()) {
        let Some(nth) = new.iter().position(|n| n.name() == row.name()) else { continue };
        let crosses = |(other, at): (usize, &Option<usize>)| at.is_some_and(|at| (other < idx) != (at < nth));
        if found[idx].is_none() && !found.contains(&Some(nth)) && !(R::IN_PAGE_ORDER && found.iter().enumerate().any(crosses)) {
            found[idx] = Some(nth);
        }
    }
    found
}

/// Makes the rows of the text those of `new`; `old` is what they are now, in the order of the text.
pub fn set<R: Row>(doc: &mut DocumentMut, score: &Score, old: &[R], new: &[R]) {
    let found = pairs(old, new);
    for (idx, nth_new) in found.iter().enumerate() {
        let Some(wanted) = nth_new.map(|n| &new[n]).filter(|wanted| **wanted != old[idx]) else { continue };
        let standing = nth(doc, R::KEY, idx).expect("the parsed file has as many rows");
        for ((key, now), (_, before)) in wanted.keys(score).into_iter().zip(old[idx].keys(score)) {
            match now {
                Some(now) if before.as_ref().map(Value::to_string) != Some(now.to_string()) => super::set(standing, key, now),
                Some(_) => {}
                None => drop(standing.remove(key)),
            }
        }
    }
    // What is left stands where the new row says that it does.
    let mut starts: Vec<Place> = Vec::new();
    for (idx, at) in found.iter().enumerate().rev() {
        match at {
            Some(nth) => starts.insert(0, new[*nth].start()),
            None => remove(doc, R::KEY, idx),
        }
    }
    let mut added: Vec<&R> = (0..new.len()).filter(|nth| !found.contains(&Some(*nth))).map(|nth| &new[nth]).collect();
    added.sort_by_key(|row| row.start());
    for row in added {
        let after = starts.iter().rposition(|start| *start <= row.start()).map_or(0, |i| i + 1);
        insert(doc, R::KEY, after, row.keys(score));
        starts.insert(after, row.start());
    }
}

pub fn nth<'d>(doc: &'d mut DocumentMut, key: &str, idx: usize) -> Option<&'d mut dyn TableLike> {
    match doc.get_mut(key)? {
        Item::ArrayOfTables(tables) => tables.get_mut(idx).map(|t| t as &mut dyn TableLike),
        Item::Value(Value::Array(array)) => array.get_mut(idx)?.as_inline_table_mut().map(|t| t as &mut dyn TableLike),
        _ => None,
    }
}

/// Puts a new `[[key]]` before the one at `idx`, or an inline table where the file has a list of those.
fn insert(doc: &mut DocumentMut, key: &str, idx: usize, keys: Vec<Key>) {
    let keys = keys.into_iter().filter_map(|(k, v)| Some((k, v?)));
    if let Some(Item::Value(Value::Array(array))) = doc.get_mut(key) {
        let mut table = InlineTable::new();
        keys.for_each(|(k, v)| drop(table.insert(k, v)));
        array.insert(idx.min(array.len()), table);
        return;
    }
    let mut table = Table::new();
    keys.for_each(|(k, v)| drop(table.insert(k, Item::Value(v))));
    let item = doc.entry(key).or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
    if let Item::ArrayOfTables(tables) = item {
        tables.insert(idx.min(tables.len()), table);
    }
}

/// Takes a row away, with the comment right above it; what stands above a blank line stays, as the heading of what follows.
fn remove(doc: &mut DocumentMut, key: &str, idx: usize) {
    match doc.get_mut(key) {
        Some(Item::ArrayOfTables(tables)) => {
            let table = tables.remove(idx);
            let heading = heading(&above(&table));
            if heading.is_empty() {
                return;
            }
            let after = table.position();
            // The row that follows in the list stands next on the page, else whatever table does.
            if let Some(Item::ArrayOfTables(tables)) = doc.get_mut(key)
                && let Some(next) = tables.get_mut(idx)
            {
                return put_above(next, &heading);
            }
            let next = doc.iter_mut().flat_map(|(_, item)| tables_of(item)).filter(|t| t.position() > after).min_by_key(|t| t.position());
            match next {
                Some(next) => put_above(next, &heading),
                None => {
                    let trailing = format!("{heading}{}", doc.trailing().as_str().unwrap_or_default());
                    doc.set_trailing(trailing);
                }
            }
        }
        Some(Item::Value(Value::Array(array))) => drop(array.remove(idx)),
        _ => {}
    }
}

fn tables_of(item: &mut Item) -> Vec<&mut Table> {
    match item {
        Item::Table(table) => vec![table],
        Item::ArrayOfTables(tables) => tables.iter_mut().collect(),
        _ => Vec::new(),
    }
}

fn above(table: &Table) -> String {
    table.decor().prefix().and_then(RawString::as_str).unwrap_or_default().to_owned()
}

/// The lines before the last blank one.
fn heading(above: &str) -> String {
    let lines: Vec<&str> = above.split_inclusive('\n').collect();
    let blank = lines.iter().rposition(|line| line.trim().is_empty()).unwrap_or(0);
    lines[..blank].concat()
}

fn put_above(table: &mut Table, heading: &str) {
    let prefix = format!("{heading}{}", above(table));
    table.decor_mut().set_prefix(prefix);
}
