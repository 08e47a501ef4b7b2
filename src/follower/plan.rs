//! The line laid out for speed: flat arrays, an index from key to onsets, and where bars and sections begin.

use super::{Line, LineNote, Onset};
use crate::time::ScoreTime;

/// Onsets with more notes than this keep the first ones only; no two hands play that many.
pub(super) const CHORD_MAX: usize = 32;
/// Bars in a section where the piece names none, and in a period: phrases are most often 4 or 8 bars long
/// (common practice).
const SECTION_BARS: usize = 4;
const PERIOD_BARS: usize = 8;

/// Onsets compared for a look-alike, and how many must be the same.
pub(super) const LIKE: usize = 6;
pub(super) const LIKE_MIN: usize = 3;

/// Free notes that may sound at one time.
const FREE_MAX: usize = 8;

/// Other keys of one note that count, and what stands for none.
const N_OTHERS: usize = 3;
const NO_KEY: u8 = u8::MAX;

/// An ornament that sounds: the keys that belong to it.
#[derive(Clone, Copy, Debug)]
struct Free {
    low: u8,
    high: u8,
    note: u32,
}

#[derive(Clone, Debug)]
pub(super) struct Plan {
    /// Time from the start at the first tempo mark, per onset: quarters, those under a later mark longer or shorter in
    /// proportion, so that one local tempo holds across marks.
    pub at: Vec<f64>,
    /// How much longer a quarter is at each onset than at the first mark.
    pub pace: Vec<f64>,
    /// First note of each onset, and one past the last.
    pub first: Vec<u32>,
    pub keys: Vec<u8>,
    /// Per note: other keys that are it as well, `NO_KEY` for none. Empty where no note has any.
    others: Vec<[u8; N_OTHERS]>,
    /// Per note: the lowest and the highest key that its string gives. Empty where no note has a string.
    settings: Vec<(u8, u8)>,
    /// Per onset: its notes that must be played, bit k for the k-th. A unison counts once.
    pub due: Vec<u32>,
    /// Per onset: the onset that starts its bar.
    pub bar_start: Vec<u32>,
    /// Per onset: number of its bar from 0, bars without notes not counted.
    pub bar: Vec<u32>,
    /// First onset of each bar.
    pub bars: Vec<u32>,
    /// First onset of each section, sorted; never empty.
    pub sections: Vec<u32>,
    /// First onset of every eighth bar, counted from the first; never empty.
    pub periods: Vec<u32>,
    /// Per bar: whether a section or a period starts there.
    pub weighty: Vec<bool>,
    /// Per onset: a digest of the set of its keys.
    pub digest: Vec<u32>,
    /// Seconds that a chord may be rolled over; 0 where none is.
    pub roll_longest: f64,
    /// Seconds that a chord may begin before its beat, where a roll ends on it; 0 elsewhere.
    pub roll_before_beat: f64,
    /// Notes that are free and sound at each onset, with their keys: `free[free_start[onset]..free_start[onset + 1]]`.
    free_start: Vec<u32>,
    free: Vec<Free>,
    /// Onsets that hold a key: `holders[holder_start[key]..holder_start[key + 1]]`, sorted, no duplicates.
    holder_start: Vec<u32>,
    holders: Vec<u32>,
}

impl Plan {
    pub fn new(line: &Line) -> Plan {
        let n = line.onsets.len();
        let mut plan = Plan {
            at: Vec::with_capacity(n),
            pace: Vec::with_capacity(n),
            first: Vec::with_capacity(n + 1),
            keys: line.notes.iter().map(|x| x.key.number()).collect(),
            others: others(line),
            settings: settings(line),
            due: Vec::with_capacity(n),
            bar_start: Vec::with_capacity(n),
            bar: Vec::with_capacity(n),
            bars: Vec::new(),
            sections: Vec::new(),
            periods: Vec::new(),
            weighty: Vec::new(),
            digest: Vec::with_capacity(n),
            roll_longest: line.rolling.map_or(0.0, |r| r.longest.secs_f64()),
            roll_before_beat: line.rolling.filter(|r| r.ends_on_beat).map_or(0.0, |r| r.longest.secs_f64()),
            free_start: Vec::with_capacity(n + 1),
            free: Vec::new(),
            holder_start: vec![0; 129],
            holders: Vec::new(),
        };
        let first_mark = line.onsets.iter().find_map(|o| o.mark);
        let pace = |o: &Onset| o.mark.zip(first_mark).map_or(1.0, |(here, first)| here.seconds_per_quarter() / first.seconds_per_quarter());
        let has_landmarks = line.onsets.iter().any(|o| o.is_landmark && o.at > ScoreTime::ZERO);
        for (i, onset) in line.onsets.iter().enumerate() {
            let before = i.checked_sub(1).map(|b| plan.at[b] + (onset.at - line.onsets[b].at).to_f64() * plan.pace[b]);
            plan.at.push(before.unwrap_or(onset.at.to_f64()));
            plan.pace.push(pace(onset));
            plan.first.push(onset.notes.start as u32);
            let mut due = 0u32;
            let mut digest = 0x811c_9dc5u32;
            for (k, x) in line.notes[onset.notes.clone()].iter().enumerate() {
                let unison = k > 0 && line.notes[onset.notes.start + k - 1].key == x.key;
                if !unison {
                    // FNV-1a (Fowler, Noll, Vo), one step per key: order is fixed by the sorting.
                    digest = (digest ^ x.key.number() as u32).wrapping_mul(0x0100_0193);
                }
                if k < CHORD_MAX && !x.is_optional && !unison {
                    due |= 1 << k;
                }
            }
            plan.due.push(due);
            plan.digest.push(digest);
            let new_bar = i == 0 || onset.played_bar != line.onsets[i - 1].played_bar;
            if new_bar {
                plan.bars.push(i as u32);
            }
            let bar = plan.bars.len() - 1;
            plan.bar.push(bar as u32);
            plan.bar_start.push(plan.bars[bar]);
            let on_grid = |every: usize| new_bar && (onset.played_bar - line.onsets[0].played_bar).is_multiple_of(every);
            let (section, period) = (i == 0 || onset.is_landmark || (!has_landmarks && on_grid(SECTION_BARS)), on_grid(PERIOD_BARS));
            if section {
                plan.sections.push(i as u32);
            }
            if period {
                plan.periods.push(i as u32);
            }
            if new_bar {
                plan.weighty.push(section || period);
            }
        }
        plan.first.push(line.notes.len() as u32);
        plan.index_keys();
        plan.index_free(line);
        plan
    }

    fn index_free(&mut self, line: &Line) {
        let mut sounding: Vec<Free> = Vec::new();
        for (i, onset) in line.onsets.iter().enumerate() {
            sounding.retain(|f| {
                let note = &line.notes[f.note as usize];
                line.onsets[note.onset.0].at + note.duration > onset.at
            });
            for idx in onset.notes.clone() {
                if let Some((low, high)) = line.notes[idx].free_keys {
                    sounding.push(Free { low: low.number(), high: high.number(), note: idx as u32 });
                }
            }
            self.free_start.push(self.free.len() as u32);
            // Few ornaments sound at a time; more than a handful is a damaged score.
            self.free.extend(sounding.iter().rev().take(FREE_MAX));
            debug_assert_eq!(self.free_start.len(), i + 1);
        }
        self.free_start.push(self.free.len() as u32);
    }

    /// Returns the note whose ornament may play this key while an onset sounds.
    pub fn free(&self, onset: usize, key: u8) -> Option<u32> {
        let sounding = &self.free[self.free_start[onset] as usize..self.free_start[onset + 1] as usize];
        sounding.iter().find(|f| (f.low..=f.high).contains(&key)).map(|f| f.note)
    }

    fn index_keys(&mut self) {
        let n = self.at.len();
        let each = |plan: &Plan, visit: &mut dyn FnMut(u8, u32)| {
            for onset in 0..n {
                let notes = plan.notes(onset);
                for k in notes.clone() {
                    if k == notes.start || plan.keys[k] != plan.keys[k - 1] {
                        visit(plan.keys[k], onset as u32);
                    }
                }
                for other in notes.clone().filter_map(|k| plan.others.get(k)).flatten().filter(|key| **key != NO_KEY) {
                    visit(*other, onset as u32);
                }
            }
        };
        let mut counts = vec![0u32; 129];
        each(self, &mut |key, _| counts[key as usize + 1] += 1);
        for key in 0..128 {
            counts[key + 1] += counts[key];
        }
        let mut fill = counts.clone();
        let mut holders = vec![0u32; counts[128] as usize];
        each(self, &mut |key, onset| {
            holders[fill[key as usize] as usize] = onset;
            fill[key as usize] += 1;
        });
        self.holder_start = counts;
        self.holders = holders;
        if !self.others.is_empty() {
            self.drop_doubled_holders();
        }
    }

    /// A key may be one note of an onset and stand for another of it.
    fn drop_doubled_holders(&mut self) {
        let mut start = vec![0; self.holder_start.len()];
        let mut holders = Vec::with_capacity(self.holders.len());
        for key in 0..128u8 {
            let mut of_key = self.holders(key).to_vec();
            of_key.dedup();
            holders.extend(of_key);
            start[key as usize + 1] = holders.len() as u32;
        }
        (self.holder_start, self.holders) = (start, holders);
    }

    pub fn n_onsets(&self) -> usize {
        self.at.len()
    }

    pub fn notes(&self, onset: usize) -> std::ops::Range<usize> {
        let start = self.first[onset] as usize;
        start..(self.first[onset + 1] as usize).min(start + CHORD_MAX)
    }

    /// Returns the onsets that hold this key.
    pub fn holders(&self, key: u8) -> &[u32] {
        &self.holders[self.holder_start[key as usize] as usize..self.holder_start[key as usize + 1] as usize]
    }

    /// Returns which note of an onset, among those not yet in `played`, has this key; an already
    /// played one is given as `Err`.
    pub fn find(&self, onset: usize, key: u8, played: u32) -> Option<Result<usize, usize>> {
        let mut done = None;
        for (k, note) in self.notes(onset).enumerate() {
            if self.keys[note] == key {
                if played & (1 << k) == 0 {
                    return Some(Ok(k));
                }
                done = Some(Err(k));
            }
        }
        if self.others.is_empty() { done } else { self.find_other(onset, key, played).or(done) }
    }

    /// As [`Plan::find`], by the other keys of the notes.
    fn find_other(&self, onset: usize, key: u8, played: u32) -> Option<Result<usize, usize>> {
        let is_it = |note: usize| self.others[note].contains(&key);
        let mut found = self.notes(onset).enumerate().filter(|(_, note)| is_it(*note)).map(|(k, _)| k);
        let first = found.next()?;
        let is_open = |k: &usize| played & (1 << k) == 0;
        let open = Some(first).filter(is_open).or_else(|| found.find(is_open));
        Some(open.ok_or(first))
    }

    /// Tells whether a key is a note by its own key, not by another one.
    pub fn is_own(&self, note: u32, key: u8) -> bool {
        self.others.is_empty() || self.keys[note as usize] == key
    }

    /// Tells whether a note's string gives this key in some setting.
    pub fn is_setting(&self, note: usize, key: u8) -> bool {
        self.settings.get(note).is_some_and(|(low, high)| (low..=high).contains(&&key))
    }

    /// Returns how many of the onsets that end at `a` and at `b` have the same keys, up to `limit`.
    pub fn likeness(&self, a: usize, b: usize, limit: usize) -> usize {
        (0..limit.min(a + 1).min(b + 1)).take_while(|d| self.digest[a - d] == self.digest[b - d]).count()
    }

    /// Returns where a player went astray who left `from` in tempo for `to` and has come to `now`: where the line that went on
    /// from there and the one that was played part, when they are look-alikes up to it.
    pub fn parting(&self, from: usize, to: usize, now: usize) -> Option<usize> {
        let same = |d: &usize| self.digest.get(from + 1 + d).is_some_and(|there| *there == self.digest[to + d]);
        let ahead = (0..=now.checked_sub(to)?).take_while(same).count();
        let before = if to > 0 { self.likeness(from, to - 1, LIKE) } else { 0 };
        (ahead + before >= LIKE_MIN && from + 1 + ahead < self.n_onsets()).then_some(from + 1 + ahead)
    }
}

fn others(line: &Line) -> Vec<[u8; N_OTHERS]> {
    if line.notes.iter().all(|n| n.others.is_empty()) {
        return Vec::new();
    }
    let of = |note: &LineNote| {
        let mut keys = [NO_KEY; N_OTHERS];
        keys.iter_mut().zip(&note.others).for_each(|(to, key)| *to = key.number());
        keys
    };
    line.notes.iter().map(of).collect()
}

fn settings(line: &Line) -> Vec<(u8, u8)> {
    if line.notes.iter().all(|n| n.setting.is_none()) {
        return Vec::new();
    }
    // A range that holds no key stands for none.
    line.notes.iter().map(|n| n.setting.map_or((1, 0), |(low, high)| (low.number(), high.number()))).collect()
}
