//! What is played in which order: the onsets of a stretch with the planned happenings worked in.

use std::collections::HashMap;
use std::ops::Range;

use super::Planned;
use crate::score::Unfolded;
use crate::theory::Hand;
use crate::time::{Micros, ScoreTime};

/// All notes of a stretch that start at one time.
pub(super) struct Onset {
    pub at: ScoreTime,
    /// Indices into [`Unfolded::notes`].
    pub notes: Range<usize>,
}

/// One onset as it will be played.
#[derive(Default)]
pub(super) struct Step {
    pub onset: usize,
    /// The onset whose time passes before this one is due (itself for the first).
    pub from: usize,
    /// Quarters from the step before.
    pub gap: ScoreTime,
    /// Silence before it on top of the gap.
    pub pause: Micros,
    pub after_fermata: bool,
    /// Notes missed by a step, and notes left out; indices into [`Unfolded::notes`].
    pub wrong: Vec<usize>,
    pub missed: Vec<usize>,
    /// What of the plan happens here.
    pub happening: Vec<Planned>,
}

impl Step {
    /// Returns how many times as fast as before the music goes from here on.
    pub fn speed_from_here(&self) -> f64 {
        let share = |what: &Planned| if let Planned::Tempo { share, .. } = what { share.clamp(0.1, 10.0) } else { 1.0 };
        self.happening.iter().map(share).product()
    }
}

/// Groups the notes of a stretch by their onset.
pub(super) fn onsets(stretch: &Unfolded) -> Vec<Onset> {
    let mut onsets: Vec<Onset> = Vec::new();
    for (i, note) in stretch.notes.iter().enumerate() {
        match onsets.last_mut() {
            Some(last) if last.at == note.onset => last.notes.end = i + 1,
            _ => onsets.push(Onset { at: note.onset, notes: i..i + 1 }),
        }
    }
    onsets
}

/// What is planned for one onset, not yet done.
#[derive(Default)]
struct Pending {
    pauses: Vec<Planned>,
    tempos: Vec<Planned>,
    wrong: Vec<(usize, Planned)>,
    missed: Vec<(usize, Planned)>,
    /// Restarts, jumps and stops, in the order given.
    turns: Vec<Planned>,
}

/// Writes the order of play. Every happening is used up by its first use, so the script ends.
pub(super) fn write(
    stretch: &Unfolded,
    part_onsets: &[Onset],
    planned: &[Planned],
    is_optional: impl Fn(usize) -> bool,
    has_fermata: impl Fn(usize) -> bool,
) -> Vec<Step> {
    let mut pending = assign(stretch, part_onsets, planned, is_optional);
    let mut steps = Vec::with_capacity(part_onsets.len());
    let mut next = (!part_onsets.is_empty()).then(Step::default);
    while let Some(mut step) = next.take() {
        let here = step.onset;
        let mut turn = None;
        if let Some(waiting) = pending.get_mut(&here) {
            for pause in waiting.pauses.drain(..) {
                if let Planned::Pause { length, .. } = pause {
                    step.pause += length;
                }
                step.happening.push(pause);
            }
            step.happening.append(&mut waiting.tempos);
            for (note, what) in waiting.wrong.drain(..) {
                step.wrong.push(note);
                step.happening.push(what);
            }
            for (note, what) in waiting.missed.drain(..) {
                step.missed.push(note);
                step.happening.push(what);
            }
            if !waiting.turns.is_empty() {
                turn = Some(waiting.turns.remove(0));
            }
        }
        let after = part_onsets.get(here + 1).map_or(stretch.total(), |o| o.at);
        let gap = after - part_onsets[here].at;
        let after_fermata = part_onsets[here].notes.clone().any(&has_fermata);
        let going_on = |onset: usize, pause: Micros, happening: Vec<Planned>| Step {
            onset,
            from: here,
            gap,
            pause,
            after_fermata,
            happening,
            ..Step::default()
        };
        next = match turn {
            Some(Planned::Stop { .. }) => {
                step.happening.extend(turn);
                None
            }
            Some(what @ (Planned::Restart { to, pause, .. } | Planned::Jump { to, pause, .. })) => {
                onset_from(part_onsets, to).map(|onset| going_on(onset, pause, vec![what]))
            }
            _ => (here + 1 < part_onsets.len()).then(|| going_on(here + 1, Micros::ZERO, Vec::new())),
        };
        steps.push(step);
    }
    steps
}

/// Finds the first onset at or after a position.
fn onset_from(onsets: &[Onset], at: ScoreTime) -> Option<usize> {
    let i = onsets.partition_point(|o| o.at < at);
    (i < onsets.len()).then_some(i)
}

/// Gives each planned happening its onset, and each slip its note.
fn assign(stretch: &Unfolded, onsets: &[Onset], planned: &[Planned], is_optional: impl Fn(usize) -> bool) -> HashMap<usize, Pending> {
    let mut pending: HashMap<usize, Pending> = HashMap::new();
    let mut slipped: Vec<usize> = Vec::new();
    let mut outer = |at: ScoreTime, hand: Hand| {
        let from = onset_from(onsets, at)?;
        let (onset, note) = (from..onsets.len()).find_map(|o| {
            let mut notes = onsets[o].notes.clone().filter(|&n| stretch.notes[n].hand == hand && !is_optional(n) && !slipped.contains(&n));
            let note = match hand {
                Hand::Left => notes.next(),
                Hand::Right => notes.next_back(),
            };
            note.map(|n| (o, n))
        })?;
        slipped.push(note);
        Some((onset, note))
    };
    for &what in planned {
        match what {
            Planned::Pause { at, .. } => {
                if let Some(onset) = onset_from(onsets, at) {
                    pending.entry(onset).or_default().pauses.push(what);
                }
            }
            Planned::Tempo { at, .. } => {
                if let Some(onset) = onset_from(onsets, at) {
                    pending.entry(onset).or_default().tempos.push(what);
                }
            }
            Planned::Wrong { at, hand } => {
                if let Some((onset, note)) = outer(at, hand) {
                    pending.entry(onset).or_default().wrong.push((note, what));
                }
            }
            Planned::Miss { at, hand } => {
                if let Some((onset, note)) = outer(at, hand) {
                    pending.entry(onset).or_default().missed.push((note, what));
                }
            }
            Planned::Restart { at, to, .. } | Planned::Jump { at, to, .. } => {
                // A turn to nowhere is left out here, so that `write` always has a place to go.
                if let (Some(onset), Some(_)) = (onset_from(onsets, at), onset_from(onsets, to)) {
                    pending.entry(onset).or_default().turns.push(what);
                }
            }
            Planned::Stop { at } => {
                if let Some(onset) = onset_from(onsets, at) {
                    pending.entry(onset).or_default().turns.push(what);
                }
            }
        }
    }
    pending
}
