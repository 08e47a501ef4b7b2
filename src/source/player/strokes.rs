//! How one onset is struck: chord spread, rolls, grace notes, ornaments and slips, each note with its moment and force.

use super::script::{Onset, Step};
use super::strings::Strings;
use super::{Meant, PHRASE_BARS, Rng};
use crate::midi::MidiKey;
use crate::score::{Note, Ornament, Part, Roll, Unfolded};
use crate::theory::Hand;

/// One key struck.
#[derive(Clone, Copy)]
pub(super) struct Stroke {
    /// Seconds from the moment the onset is due.
    pub offset: f64,
    /// Seconds until the key comes up.
    pub length: f64,
    pub key: MidiKey,
    /// On the scale of MIDI velocities, not yet held within its range.
    pub loudness: f64,
    pub meant: Meant,
}

/// Everything one onset's strokes depend on. Times are seconds.
pub(super) struct Surroundings<'a> {
    pub part: &'a Part,
    pub stretch: &'a Unfolded,
    pub onsets: &'a [Onset],
    /// See [`super::Manner::chord_spread`].
    pub spread: f64,
    pub roll: f64,
    pub seconds_per_quarter: f64,
    /// Time since the onset played before, and until the next.
    pub before: f64,
    pub after: f64,
    /// Time until the hands leave for another place: nothing sounds beyond it.
    pub until: f64,
}

/// Median range of three normal deviates over their spread. Pianists' chords of 2 to 5 notes spread over 17, 30, 36
/// and 40 ms in the median (measured on the Vienna 4x22 recordings), which is what normal deviates of 17.5 ms give.
const RANGE_OF_THREE: f64 = 1.7;
/// Neighbours of a roll are at most this far apart.
const ROLL_GAP_MAX: f64 = 0.12;
/// Share of the time to the neighbouring onsets that strokes before and after their beat may take; together below 1, so onsets stay in order.
const ROOM_BEFORE: f64 = 0.6;
const ROOM_AFTER: f64 = 0.35;
/// From one grace note to the next, one trill stroke to the next, one tremolo stroke to the next.
const GRACE_GAP: f64 = 0.075;
const TRILL_GAP: f64 = 0.085;
const TREMOLO_GAP: f64 = 0.1;
/// Strings of a glissando follow each other within these bounds.
const GLISSANDO_GAP: std::ops::RangeInclusive<f64> = 0.02..=0.09;

impl Surroundings<'_> {
    /// Strikes one onset; the strokes come in no particular order.
    pub fn strokes(&self, step: &Step, rng: &mut Rng) -> Vec<Stroke> {
        let here = self.onsets[step.onset].notes.clone();
        let (graces, mains): (Vec<usize>, Vec<usize>) = here.partition(|&n| self.note(n).is_optional());
        let mut struck: Vec<usize> = Vec::with_capacity(mains.len());
        for n in mains.into_iter().filter(|n| !step.missed.contains(n)) {
            // Two hands or voices on one key strike it once, unless one of them slips.
            let same_key = |&m: &usize| self.stretch.notes[m].key == self.stretch.notes[n].key && !step.wrong.contains(&m);
            if step.wrong.contains(&n) || !struck.iter().any(same_key) {
                struck.push(n);
            }
        }
        let mut strokes: Vec<Stroke> = struck.iter().map(|&n| self.plain(n, rng)).collect();
        self.place_chord(&mut strokes, &struck, rng);
        for (stroke, &n) in strokes.iter_mut().zip(&struck) {
            if step.wrong.contains(&n) {
                self.miss_by_a_step(stroke, n, step.onset, rng);
            }
        }
        let first = strokes.iter().map(|s| s.offset).fold(0.0, f64::min);
        for (i, &n) in graces.iter().enumerate() {
            let offset = first - GRACE_GAP * (graces.len() - i) as f64;
            let mut stroke = self.plain(n, rng);
            stroke.offset = offset;
            stroke.length = GRACE_GAP;
            stroke.loudness -= 12.0;
            strokes.push(stroke);
        }
        self.fit(&mut strokes);
        let mut ornaments = Vec::new();
        for (i, &n) in struck.iter().enumerate() {
            if !step.wrong.contains(&n) {
                self.ornament(&strokes[i], n, &struck, &mut ornaments);
            }
        }
        strokes.extend(ornaments);
        for stroke in &mut strokes {
            stroke.length = stroke.length.min(self.until - stroke.offset);
        }
        strokes
    }

    fn note(&self, n: usize) -> &Note {
        &self.part.notes[self.stretch.notes[n].note.0]
    }

    /// Strikes a note at its moment, with the force its place in the texture has: melody, bass, inner.
    fn plain(&self, n: usize, rng: &mut Rng) -> Stroke {
        let played = &self.stretch.notes[n];
        let at_once = || self.stretch.notes.iter().skip(n + 1).take_while(|m| m.onset == played.onset);
        let is_bass = played.hand == Hand::Left && (n == 0 || self.stretch.notes[n - 1].onset < played.onset);
        let base = match played.hand {
            Hand::Right if at_once().all(|m| m.hand != Hand::Right) => 80.0,
            _ if is_bass => 68.0,
            _ => 58.0,
        };
        let bar = &self.stretch.bars[played.played_bar];
        let into_bar = (played.onset - bar.start).to_f64() / bar.length.to_f64().max(1e-9);
        let into_phrase = ((played.played_bar % PHRASE_BARS) as f64 + into_bar) / PHRASE_BARS as f64;
        let arch = 6.0 * (into_phrase * std::f64::consts::PI).sin();
        // Keys come up a little before the written end (common practice: between legato and detached).
        let length = (0.92 * played.duration.to_f64() * self.seconds_per_quarter).max(0.05);
        Stroke { offset: 0.0, length, key: played.key, loudness: base + arch + 4.0 * rng.gauss(), meant: Meant::Note(n) }
    }

    /// Rolls what is marked to be rolled, its last note on the beat (common practice), and spreads the rest about the beat.
    fn place_chord(&self, strokes: &mut [Stroke], notes: &[usize], rng: &mut Rng) {
        let is_rolled = |n: usize| matches!(self.note(n).roll, Some(Roll::Up | Roll::Down));
        let mut rolled: Vec<usize> = (0..notes.len()).filter(|&i| is_rolled(notes[i])).collect();
        if rolled.len() < 2 || self.roll <= 0.0 {
            rolled.clear();
        }
        if rolled.iter().any(|&i| self.note(notes[i]).roll == Some(Roll::Down)) {
            rolled.reverse();
        }
        if strokes.len() > 1 {
            for (i, stroke) in strokes.iter_mut().enumerate() {
                if !rolled.contains(&i) {
                    stroke.offset = rng.gauss() * self.spread / RANGE_OF_THREE;
                }
            }
        }
        let gaps: Vec<f64> = rolled.iter().skip(1).map(|_| 1.0 + 0.15 * rng.gauss()).collect();
        let length = self.roll.min(ROLL_GAP_MAX * gaps.len() as f64);
        let total: f64 = gaps.iter().sum();
        let mut offset = -length;
        for (k, &i) in rolled.iter().enumerate() {
            strokes[i].offset = offset;
            strokes[i].length -= offset;
            offset += length * gaps.get(k).map_or(0.0, |gap| gap / total);
        }
    }

    /// Presses the strokes together where they would run into the neighbouring onsets.
    fn fit(&self, strokes: &mut [Stroke]) {
        let early = strokes.iter().map(|s| -s.offset).fold(0.0, f64::max);
        let late = strokes.iter().map(|s| s.offset).fold(0.0, f64::max);
        for stroke in strokes {
            stroke.offset *= match stroke.offset < 0.0 {
                true => (ROOM_BEFORE * self.before / early).min(1.0),
                false if late > 0.0 => (ROOM_AFTER * self.after / late).min(1.0),
                false => 1.0,
            };
        }
    }

    /// Turns a stroke into a slip: a neighbouring string that this onset does not have, nor the onsets around it where that can be.
    ///
    /// Slips come late and soft (Maidhof et al. 2009, PLoS ONE 4:e5032).
    fn miss_by_a_step(&self, stroke: &mut Stroke, n: usize, onset: usize, rng: &mut Rng) {
        let played = &self.stretch.notes[n];
        let strings = Strings::around(self.part, played.note);
        let side = if rng.coin() { 1 } else { -1 };
        let near = onset.saturating_sub(1)..(onset + 2).min(self.onsets.len());
        let is_here = |key: MidiKey| self.onsets[onset].notes.clone().any(|m| self.stretch.notes[m].key == key);
        let is_near = |key: MidiKey| near.clone().flat_map(|o| self.onsets[o].notes.clone()).any(|m| self.stretch.notes[m].key == key);
        let step = |steps| strings.step(self.note(n).pitch, played.key, steps);
        let tries = || [side, -side, 2 * side, -2 * side].into_iter().filter_map(step);
        let any_key = || (1..128).flat_map(|d| [d, -d]).filter_map(|d| super::key(played.key.number() as i32 + d));
        let found = tries().take(2).find(|&k| !is_near(k)).or_else(|| tries().chain(any_key()).find(|&k| !is_here(k)));
        // Where every key there is belongs to the onset, no slip can be made and the note stays right.
        if let Some(key) = found {
            stroke.key = key;
            stroke.meant = Meant::Wrong(n);
            stroke.loudness *= 0.85;
            stroke.offset += 0.025;
        }
    }

    /// Adds the further strokes of an ornamented note.
    fn ornament(&self, first: &Stroke, n: usize, struck: &[usize], out: &mut Vec<Stroke>) {
        let played = &self.stretch.notes[n];
        let note = self.note(n);
        let length = (played.duration.to_f64() * self.seconds_per_quarter).min(self.until);
        let mut strike = |k: usize, gap: f64, key: MidiKey| {
            let loudness = first.loudness - 10.0;
            out.push(Stroke { offset: first.offset + k as f64 * gap, length: 0.9 * gap, key, loudness, meant: Meant::Free(n) });
        };
        match note.ornament {
            Ornament::None | Ornament::Grace | Ornament::Cue | Ornament::Harmonic | Ornament::GlissandoEnd => {}
            Ornament::Shake => {
                let upper = Strings::around(self.part, played.note).step(note.pitch, played.key, 1);
                // Past two semitones a neighbour is no longer part of a shake.
                let upper = upper.filter(|u| (1..=2).contains(&(u.number() as i32 - played.key.number() as i32)));
                let Some(upper) = upper.or(super::key(played.key.number() as i32 + 2)) else { return };
                // An even number of further strokes ends the shake on its own note.
                let n_more = (0.9 * length / TRILL_GAP) as usize / 2 * 2;
                (1..=n_more).for_each(|k| strike(k, TRILL_GAP, if k % 2 == 1 { upper } else { played.key }));
            }
            Ornament::Tremolo => {
                let n_more = (0.9 * length / TREMOLO_GAP) as usize;
                (1..=n_more).for_each(|k| strike(k, TREMOLO_GAP, played.key));
            }
            Ornament::TremoloPair => {
                let others = self.tremolo_partners(note);
                let (mine, n_mine) = self.rank_in_tremolo(n, struck);
                // Every note of this side strikes one of the other side; the last one strikes all that remain.
                let end = if mine + 1 == n_mine { others.len() } else { (mine + 1).min(others.len()) };
                let others = &others[mine.min(end)..end];
                for k in 1..=(0.9 * length / TREMOLO_GAP) as usize {
                    match k % 2 {
                        0 => strike(k, TREMOLO_GAP, played.key),
                        _ => others.iter().for_each(|&other| strike(k, TREMOLO_GAP, other)),
                    }
                }
            }
            Ornament::GlissandoTo(target) => {
                let strings = Strings::around(self.part, played.note);
                let up = if target > played.key { 1 } else { -1 };
                let between: Vec<MidiKey> = (1..128)
                    .map_while(|s| strings.step(note.pitch, played.key, up * s))
                    .take_while(|&key| if up > 0 { key < target } else { key > target })
                    .collect();
                let gap = (length / (between.len() + 1) as f64).clamp(*GLISSANDO_GAP.start(), *GLISSANDO_GAP.end());
                let room = (0.95 * length / gap) as usize;
                between.into_iter().take(room).enumerate().for_each(|(k, key)| strike(k + 1, gap, key));
            }
        }
    }

    /// Finds the keys at the other end of a two-note tremolo: its ends follow each other in one hand and voice, first and second in turn.
    fn tremolo_partners(&self, note: &Note) -> Vec<MidiKey> {
        let same_line = |n: &&Note| n.hand == note.hand && n.voice == note.voice && n.ornament == Ornament::TremoloPair;
        let mut ends: Vec<_> = self.part.notes.iter().filter(same_line).map(|n| n.onset).collect();
        ends.dedup();
        let Some(mine) = ends.iter().position(|&at| at == note.onset) else { return Vec::new() };
        let Some(&other) = ends.get(mine ^ 1) else { return Vec::new() };
        self.part.notes.iter().filter(same_line).filter(|n| n.onset == other).map(|n| n.key).collect()
    }

    /// Returns which of its side's notes `n` is, and how many there are.
    fn rank_in_tremolo(&self, n: usize, struck: &[usize]) -> (usize, usize) {
        let note = self.note(n);
        let is_side = |&&m: &&usize| {
            let other = self.note(m);
            other.hand == note.hand && other.voice == note.voice && other.ornament == Ornament::TremoloPair
        };
        let side: Vec<&usize> = struck.iter().filter(is_side).collect();
        (side.iter().position(|&&m| m == n).unwrap_or(0), side.len())
    }
}
