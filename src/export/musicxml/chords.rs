//! Notes sorted into the voices of each bar: chords, one after the other, cut at bar lines.

use std::collections::BTreeMap;

use crate::score::{NoteIdx, Part, Score};
use crate::time::ScoreTime;

/// One voice of one bar.
#[derive(Default)]
pub(super) struct Lane {
    pub staff: u8,
    pub voice: u8,
    /// In order, none over the other.
    pub items: Vec<Item>,
}

/// A chord, a grace note, or (without heads) a rest.
#[derive(Clone)]
pub(super) struct Item {
    /// Quarters into the bar.
    pub at: ScoreTime,
    /// Zero for grace notes.
    pub length: ScoreTime,
    pub heads: Vec<Head>,
}

/// One note head; a note over a bar line has several.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) struct Head {
    pub note: NoteIdx,
    pub tie_start: bool,
    pub tie_stop: bool,
    /// The first head of its note: marks stand here.
    pub is_first: bool,
}

impl Lane {
    fn end(&self) -> ScoreTime {
        self.items.last().map_or(ScoreTime::ZERO, |item| item.at + item.length)
    }

    /// Fills what is empty of a bar with rests.
    pub fn with_rests(self, bar_length: ScoreTime) -> Lane {
        let mut items = Vec::with_capacity(2 * self.items.len() + 1);
        let mut at = ScoreTime::ZERO;
        let rest = |from: ScoreTime, to: ScoreTime| (to > from).then(|| Item { at: from, length: to - from, heads: Vec::new() });
        for item in self.items {
            items.extend(rest(at, item.at));
            at = item.at + item.length;
            items.push(item);
        }
        items.extend(rest(at, bar_length));
        Lane { items, ..self }
    }
}

/// Returns the voices of each bar. Notes of a voice that overlap are given voices of their own.
pub(super) fn lanes(score: &Score, part: &Part) -> Vec<Vec<Lane>> {
    let mut bars: Vec<BTreeMap<(u8, u8), Vec<Item>>> = Vec::new();
    bars.resize_with(score.bars.len(), BTreeMap::new);
    for (i, note) in part.notes.iter().enumerate() {
        let idx = NoteIdx(i);
        let end = note.onset + note.duration;
        let mut bar = note.bar.0;
        let mut is_first = true;
        while let Some(printed) = score.bars.get(bar) {
            let bar_end = printed.start + printed.length;
            let from = if is_first { note.onset } else { printed.start };
            let to = end.min(bar_end).max(from);
            let tie_start = end > bar_end && bar + 1 < score.bars.len();
            let tie_stop = if is_first { part.held_over.binary_search(&idx).is_ok() } else { true };
            let item = Item { at: from - printed.start, length: to - from, heads: vec![Head { note: idx, tie_start, tie_stop, is_first }] };
            bars[bar].entry((note.staff.max(1), note.voice)).or_default().push(item);
            if !tie_start {
                break;
            }
            is_first = false;
            bar += 1;
        }
    }
    bars.into_iter().map(of_bar).collect()
}

fn of_bar(voices: BTreeMap<(u8, u8), Vec<Item>>) -> Vec<Lane> {
    let mut taken: Vec<u8> = voices.keys().map(|(_, voice)| *voice).collect();
    let mut lanes: Vec<Lane> = Vec::new();
    for ((staff, voice), mut items) in voices {
        // Grace notes before the chord that they lead to; of what begins together the longest first.
        items.sort_by_key(|item| (item.at, !item.length.is_zero(), std::cmp::Reverse(item.length)));
        let mut own = vec![Lane { staff, voice, items: Vec::new() }];
        for item in items {
            let chord = |lane: &&mut Lane| lane.items.last().is_some_and(|last| last.at == item.at && last.length == item.length);
            if !item.length.is_zero()
                && let Some(lane) = own.iter_mut().find(chord)
            {
                lane.items.last_mut().expect("a chord is there").heads.extend(item.heads);
                continue;
            }
            match own.iter_mut().find(|lane| lane.end() <= item.at) {
                Some(lane) => lane.items.push(item),
                None => {
                    let free = (1..=u8::MAX).find(|v| !taken.contains(v)).unwrap_or(u8::MAX);
                    taken.push(free);
                    own.push(Lane { staff, voice: free, items: vec![item] });
                }
            }
        }
        lanes.extend(own);
    }
    lanes
}
