//! A written glissando: its ends are notes like others; between them it is the way that counts, and most of the strings on it.

use super::span::Span;
use crate::follower::{Finding, Heard, HeardNote, LineNoteIdx, Slip, SlipKind};
use crate::midi::MidiKey;
use crate::piece::Piece;
use crate::score::{Ornament, Unfolded};
use crate::time::{Micros, Stamped};

/// Share of the strings between the ends that must be heard in order: a sensor misses some at 20 to 60 ms a string (reasoned defaults).
const SHARE: f64 = 0.6;
/// A glissando over fewer strings is heard by its ends alone.
const N_BETWEEN_MIN: usize = 3;

/// One glissando of a span.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Glissando {
    from: LineNoteIdx,
    to: LineNoteIdx,
    /// Strings between the two.
    n_between: usize,
    is_up: bool,
}

/// Finds the glissandi of a stretch on a harp; on a keyboard there is none that counts.
pub fn glissandi(piece: &Piece, stretch: &Unfolded) -> Vec<Glissando> {
    if piece.harp.is_none() {
        return Vec::new();
    }
    let note = |idx: usize| &piece.part().notes[stretch.notes[idx].note.0];
    let mut found = Vec::new();
    for from in 0..stretch.notes.len() {
        let Ornament::GlissandoTo(end) = note(from).ornament else { continue };
        let is_end = |to: &usize| note(*to).ornament == Ornament::GlissandoEnd && note(*to).key == end;
        let after = stretch.notes.partition_point(|n| n.onset <= stretch.notes[from].onset)..stretch.notes.len();
        let Some(to) = after.into_iter().find(is_end) else { continue };
        let steps = note(to).pitch.string_steps() - note(from).pitch.string_steps();
        let n_between = (steps.unsigned_abs() as usize).saturating_sub(1);
        if n_between >= N_BETWEEN_MIN {
            found.push(Glissando { from: LineNoteIdx(from), to: LineNoteIdx(to), n_between, is_up: steps > 0 });
        }
    }
    found
}

/// Listens to the glissandi of one attempt.
#[derive(Clone, Default)]
pub struct GlissandoEar {
    /// The one that is being played, and what has been heard of it.
    now: Option<(Glissando, Vec<MidiKey>)>,
}

impl GlissandoEar {
    /// Takes in a heard note; gives back what is wrong with the glissando that it ends.
    pub fn note(&mut self, Stamped { at, what: key }: Stamped<MidiKey>, heard: &HeardNote, span: &Span) -> Option<Finding> {
        if span.glissandi.is_empty() || heard.heard == Heard::Ghost {
            return None;
        }
        let right = heard.note.filter(|_| heard.heard == Heard::Expected && !heard.position.lost);
        // The last note may be taken for one more stroke; then it is over with what follows.
        if let (Some((glissando, keys)), Some(note)) = (&self.now, right)
            && span.line.note(note).onset >= span.line.note(glissando.to).onset
        {
            let ends = [glissando.from, glissando.to].map(|end| span.line.note(end));
            let between: Vec<MidiKey> = keys.iter().copied().filter(|key| !ends.iter().any(|end| end.is(*key))).collect();
            let share = longest_run(&between, glissando.is_up) as f64 / glissando.n_between as f64;
            let finding = (share < SHARE).then(|| missed(at, *glissando, heard.position.confidence, span));
            self.now = None;
            return finding;
        }
        match span.glissandi.iter().find(|g| Some(g.from) == right) {
            Some(begun) => self.now = Some((*begun, Vec::new())),
            None => self.now.iter_mut().for_each(|(_, keys)| keys.push(key)),
        }
        None
    }
}

fn missed(at: Micros, glissando: Glissando, confidence: f32, span: &Span) -> Finding {
    let onset = span.line.note(glissando.from).onset;
    Finding::Slip(Slip { at, kind: SlipKind::Missed, onset, note: Some(glissando.from), played: None, confidence })
}

/// Returns how many keys rise (or fall) one after the other at the most, whatever lies between.
fn longest_run(keys: &[MidiKey], is_up: bool) -> usize {
    let mut lengths: Vec<usize> = Vec::with_capacity(keys.len());
    for (i, key) in keys.iter().enumerate() {
        let follows = |before: &MidiKey| if is_up { before < key } else { before > key };
        let best = (0..i).filter(|b| follows(&keys[*b])).map(|b| lengths[b]).max().unwrap_or(0);
        lengths.push(best + 1);
    }
    lengths.into_iter().max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_is_what_goes_one_way() {
        let run = |keys: &[i32], is_up| longest_run(&keys.iter().map(|k| MidiKey::try_new(*k).unwrap()).collect::<Vec<_>>(), is_up);
        assert_eq!(run(&[], true), 0);
        assert_eq!(run(&[60, 62, 64, 65], true), 4);
        assert_eq!(run(&[60, 62, 64, 65], false), 1);
        assert_eq!(run(&[60, 84, 62, 62, 64], true), 3, "a string that rang along, and one that sounded twice");
    }
}
