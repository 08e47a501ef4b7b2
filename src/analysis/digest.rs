//! One bar as a musician takes it in: its harmonies, what each hand does, where bass and top line stand.

use super::chord::{Chord, Quality};
use super::harmony::BeatChord;
use super::material::Material;
use super::shapes::{HandView, Inversion, view};
use crate::theory::{Hand, Letter};

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
    /// The strings that root-position shapes of the left hand stand on: the harmony from that hand
    /// alone. One for the bar, two where its halves differ, none where the shapes do not tell.
    pub left_roots: Vec<(i32, i8)>,
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
            let left_halves = [view(first, Hand::Left), view(second, Hand::Left)];
            let roots = left_roots(&left, &left_halves);
            let mut harmonies = harmonies(material, harmony, bar);
            // One root-position shape of the left hand all bar long is one harmony, whatever the tune brushes.
            if let [(steps, alter)] = roots[..]
                && harmonies
                    .first()
                    .is_some_and(|h| h.chord.root as i32 == (Letter::from_steps(steps).semitones() + alter as i32).rem_euclid(12))
            {
                harmonies.truncate(1);
            }
            Digest { harmonies, left_roots: roots, left_halves, left, right, bass, top }
        })
        .collect()
}

fn left_roots(left: &HandView, halves: &[HandView; 2]) -> Vec<(i32, i8)> {
    let root = |v: &HandView| v.lowest.filter(|_| v.shape.as_ref().is_some_and(|s| s.inversion() == Some(Inversion::Root)));
    match (root(left), root(&halves[0]), root(&halves[1])) {
        (Some(root), _, _) => vec![root],
        (None, Some(a), Some(b)) if a == b => vec![a],
        (None, Some(a), Some(b)) => vec![a, b],
        _ => Vec::new(),
    }
}

fn harmonies(material: &Material, harmony: &[BeatChord], bar: usize) -> Vec<Held> {
    let mut out: Vec<Held> = Vec::new();
    let beats = material.first_beat[bar]..material.first_beat[bar + 1];
    for (beat, said) in material.beats[beats.clone()].iter().zip(&harmony[beats]) {
        let BeatChord { chord, bass, stated, .. } = *said;
        match out.last_mut() {
            Some(held) if held.chord.root == chord.root => {
                held.stated &= stated;
                if chord.quality.has_seventh() && held.chord.quality == Quality::Major && chord.quality == Quality::Dominant7 {
                    held.chord = chord;
                }
            }
            _ => out.push(Held { at: beat.at, chord, bass, stated }),
        }
    }
    // A chord that only brushes by while another lies under it all bar long is not told.
    if let [a, _, c] = out[..]
        && a.chord.root == c.chord.root
    {
        out.truncate(1);
    }
    // Nothing sounds: nothing is said.
    if material.tones_of(bar).is_empty() {
        out.iter_mut().for_each(|h| h.stated = false);
    }
    out
}
