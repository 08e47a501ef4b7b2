//! One bar as a musician takes it in: its harmonies, what each hand does, where bass and top line stand.

use super::chord::{Chord, Quality};
use super::harmony::BeatChord;
use super::material::Material;
use super::shapes::{HandView, view};
use crate::theory::Hand;

/// A harmony in force from a beat on.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Held {
    /// Ticks into the printed score.
    pub at: i64,
    pub chord: Chord,
    pub bass: Option<u8>,
    /// Sure enough to be spoken of.
    pub stated: bool,
}

/// A bar at a glance.
#[derive(Clone, PartialEq, Debug)]
pub struct Digest {
    /// Harmonies of the bar in order, neighbours with the same root joined.
    pub harmonies: Vec<Held>,
    pub left: HandView,
    pub right: HandView,
    /// The halves of the bar, left hand, where the bar as a whole is no shape.
    pub left_halves: [HandView; 2],
    /// String and accidental of the lowest tone at the bar's first onset.
    pub bass: Option<(i32, i8)>,
    /// String of the highest tone at the bar's first onset of the right hand.
    pub top: Option<(i32, i8)>,
}

impl Digest {
    /// The harmonies that may be spoken of, or nothing when one of them may not.
    pub fn stated(&self) -> &[Held] {
        if self.harmonies.iter().all(|h| h.stated) { &self.harmonies } else { &[] }
    }

    pub fn hand(&self, hand: Hand) -> &HandView {
        if hand == Hand::Left { &self.left } else { &self.right }
    }
}

/// Looks at every bar. Cost: linear in the notes.
pub fn digests(material: &Material, harmony: &[BeatChord]) -> Vec<Digest> {
    (0..material.bars.len())
        .map(|bar| {
            let tones = material.tones_of(bar);
            let middle = (material.bars[bar].at + material.bars[bar].end) / 2;
            let (first, second) = tones.split_at(tones.partition_point(|t| t.at < middle));
            let (left, right) = (view(tones, Hand::Left), view(tones, Hand::Right));
            let bass = left.first_low.or(right.first_low);
            let top = right.first_high;
            Digest {
                harmonies: harmonies(material, harmony, bar),
                left_halves: [view(first, Hand::Left), view(second, Hand::Left)],
                left,
                right,
                bass,
                top,
            }
        })
        .collect()
}

fn harmonies(material: &Material, harmony: &[BeatChord], bar: usize) -> Vec<Held> {
    let mut out: Vec<Held> = Vec::new();
    for beat in material.first_beat[bar]..material.first_beat[bar + 1] {
        let BeatChord { chord, bass, stated, .. } = harmony[beat];
        match out.last_mut() {
            Some(held) if held.chord.root == chord.root => {
                held.stated &= stated;
                if chord.quality.has_seventh() && held.chord.quality == Quality::Major && chord.quality == Quality::Dominant7 {
                    held.chord = chord;
                }
            }
            _ => out.push(Held { at: material.beats[beat].at, chord, bass, stated }),
        }
    }
    // Nothing sounds: nothing is said.
    if material.tones_of(bar).is_empty() {
        out.iter_mut().for_each(|h| h.stated = false);
    }
    out
}
