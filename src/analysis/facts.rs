//! Facts: everything found, each with a place, a weight and what it is.
//!
//! The weight is in bits: what the fact tells that could not be predicted from what came before it
//! in the piece (description length). What a fact sounds like is `wording`'s.

use super::chord::Chord;
use super::digest::{Digest, Held};
use super::keys::{Key, Region};
use super::likeness::{Likeness, Sequence};
use super::material::Material;
use super::motion::Move;
use super::novelty::{New, Novelty};
use super::shapes::{HandShape, PlacingGap, Texture, placing_gaps};
use super::surprise::Counts;
use super::switches::Switch;
use crate::theory::Hand;

/// One thing that is so, and where.
#[derive(Clone, PartialEq, Debug)]
pub struct Fact {
    /// Bars that it is about, half-open.
    pub from: usize,
    pub end: usize,
    /// Ticks into the printed score: where a player would think of it.
    pub at: i64,
    pub hand: Option<Hand>,
    /// Bits; never below zero.
    pub weight: f64,
    pub what: What,
}

/// What a fact says.
#[derive(Clone, PartialEq, Debug)]
pub enum What {
    /// The key from here on; not told for the piece's own key at the beginning.
    Key(Key),
    /// The harmonies of a bar, all of them sure enough.
    Harmony(Vec<Held>),
    /// The root moves from the bar before, with the tones that stay.
    Motion {
        from: Chord,
        to: Chord,
        by: Move,
        n_common: usize,
    },
    /// What a hand holds, where it was another before.
    Shape {
        shape: HandShape,
        gaps: Vec<PlacingGap>,
    },
    AddedSecond(HandShape),
    Texture(Texture),
    /// The top line's string on the downbeat, counted from the bar before.
    Downbeat(Move),
    Like(Likeness),
    Sequence(Sequence),
    /// Index of the switch, riskiest first, and of its place that this fact stands at.
    Switch(usize, usize),
    New(New),
}

impl What {
    /// The word that `study --json` files the fact under.
    pub fn kind(&self) -> &'static str {
        match self {
            What::Key(_) => "key",
            What::Harmony(_) => "harmony",
            What::Motion { .. } => "motion",
            What::Shape { .. } => "shape",
            What::AddedSecond(_) => "added second",
            What::Texture(_) => "texture",
            What::Downbeat(_) => "downbeat",
            What::Like(_) => "likeness",
            What::Sequence(_) => "sequence",
            What::Switch(..) => "switch",
            What::New(_) => "novelty",
        }
    }
}

/// What was found, before it becomes facts.
pub struct Found<'a> {
    pub material: &'a Material,
    pub digests: &'a [Digest],
    pub regions: &'a [Region],
    pub home: Key,
    pub bits: &'a [f64],
    pub likeness: &'a [Likeness],
    pub sequences: &'a [Sequence],
    pub switches: &'a [Switch],
    pub novelties: &'a [Novelty],
}

/// Returns all facts in page order.
pub fn facts(found: &Found<'_>) -> Vec<Fact> {
    let mut out = Vec::new();
    add_keys(found, &mut out);
    add_harmony(found, &mut out);
    add_hands(found, &mut out);
    for like in found.likeness {
        // Pointing at a bar costs the choice of a bar; the rest of what the bars hold is saved.
        let saved = found.bits[like.from..like.end].iter().sum::<f64>() * share(like) - (1.0 + like.from as f64).log2() - 2.0;
        let at = like.differs_at.unwrap_or(found.material.bars[like.from].at);
        out.push(Fact { from: like.from, end: like.end, at, hand: None, weight: saved.max(0.0), what: What::Like(*like) });
    }
    for seq in found.sequences {
        let saved = found.bits[seq.from + seq.length..seq.end()].iter().sum::<f64>();
        let at = found.material.bars[seq.from].at;
        out.push(Fact { from: seq.from, end: seq.end(), at, hand: None, weight: saved, what: What::Sequence(*seq) });
    }
    for (index, switch) in found.switches.iter().enumerate() {
        for (nth, &at) in switch.places.iter().enumerate() {
            let bar = bar_at(found.material, at);
            // The bits of the way that is not the look-alike's, raised by the risk of taking that one.
            let weight = f64::from(switch.risk) * 8.0;
            out.push(Fact { from: bar, end: bar + 1, at, hand: None, weight, what: What::Switch(index, nth) });
        }
    }
    for new in found.novelties {
        let weight = match new.what {
            New::Setting(..) => 12.0,
            New::Texture(..) | New::TuneInLeft | New::Silent(_) => 6.0,
            New::Accidental(..) | New::Roll | New::NoteValue(_) => 4.0,
            New::LowestString | New::HighestString => 3.0,
        } + (1.0 + new.bar as f64).log2() / 2.0;
        out.push(Fact { from: new.bar, end: new.bar + 1, at: new.at, hand: None, weight, what: What::New(new.what) });
    }
    out.sort_by(|a, b| a.at.cmp(&b.at).then(b.weight.total_cmp(&a.weight)));
    out
}

fn share(like: &Likeness) -> f64 {
    use super::likeness::Alike;
    match like.how {
        Alike::Exact => 1.0,
        Alike::Octaves(_) => 0.95,
        Alike::Chromatic(..) | Alike::Diatonic(_) => 0.9,
        Alike::AllButOne(_) => 0.8,
        Alike::OneHand(_) => 0.4,
        Alike::OneHandMoved(..) => 0.35,
        Alike::Rhythm => 0.2,
    }
}

/// Returns the bar that holds a tick.
pub fn bar_at(material: &Material, at: i64) -> usize {
    material.bars.partition_point(|b| b.at <= at).saturating_sub(1)
}

fn add_keys(found: &Found<'_>, out: &mut Vec<Fact>) {
    for (nth, region) in found.regions.iter().enumerate() {
        if nth == 0 && region.key == found.home {
            continue;
        }
        let at = found.material.bars[region.from].at;
        let weight = 5.0 + ((region.end - region.from) as f64).log2();
        out.push(Fact { from: region.from, end: region.end, at, hand: None, weight, what: What::Key(region.key) });
    }
}

fn add_harmony(found: &Found<'_>, out: &mut Vec<Fact>) {
    let mut counts: Counts<usize, (u8, usize)> = Counts::new();
    let mut last: Option<(usize, Held)> = None;
    for (bar, digest) in found.digests.iter().enumerate() {
        let stated = digest.stated();
        let (Some(first), Some(end)) = (stated.first(), stated.last()) else {
            last = None;
            continue;
        };
        let mut weight = 0.0;
        let mut before = last.map(|(_, h)| h.chord);
        for held in stated {
            let by = before.map_or(0, |b| (held.chord.root + 12 - b.root) % 12);
            weight += counts.tell(before.map_or(0, |b| b.quality as usize + 1), (by, held.chord.quality as usize));
            before = Some(held.chord);
        }
        let at = found.material.bars[bar].at;
        out.push(Fact { from: bar, end: bar + 1, at, hand: None, weight, what: What::Harmony(stated.to_vec()) });
        if let Some((from_bar, held)) = last.filter(|(_, h)| h.chord.root != first.chord.root) {
            let by = root_move(found, from_bar, bar, held, *first);
            let n_common = held.chord.common_tones(first.chord).len();
            let what = What::Motion { from: held.chord, to: first.chord, by, n_common };
            out.push(Fact { from: bar, end: bar + 1, at, hand: None, weight: weight / 2.0, what });
        }
        last = Some((bar, *end));
    }
}

/// How the root moves between bars: as the bass does where it plays both roots, else by the nearer way.
pub fn root_move(found: &Found<'_>, from_bar: usize, bar: usize, from: Held, to: Held) -> Move {
    let letter = |bar: usize, chord: Chord| found.key_at(bar).spell(chord.root, found.material.bars[bar].fifths).letter.steps();
    let by = (letter(bar, to.chord) - letter(from_bar, from.chord)).rem_euclid(7);
    let nearer = Move(if by > 3 { by - 7 } else { by });
    let basses = found.digests[from_bar].bass.zip(found.digests[bar].bass);
    let is_one_harmony = found.digests[from_bar].harmonies.len() == 1;
    match basses {
        Some((a, b)) if is_one_harmony && from.bass == Some(from.chord.root) && to.bass == Some(to.chord.root) => {
            let moved = Move::between(a.0, b.0);
            if moved.0.rem_euclid(7) == by { moved } else { nearer }
        }
        _ => nearer,
    }
}

impl Found<'_> {
    pub fn key_at(&self, bar: usize) -> Key {
        key_at(self.regions, self.home, bar)
    }
}

/// Returns the key in force in a bar.
pub fn key_at(regions: &[Region], home: Key, bar: usize) -> Key {
    let nth = regions.partition_point(|r| r.from <= bar);
    nth.checked_sub(1).map_or(home, |nth| regions[nth].key)
}

fn add_hands(found: &Found<'_>, out: &mut Vec<Fact>) {
    let mut shapes: Counts<(Hand, Option<HandShape>), HandShape> = Counts::new();
    let mut textures: Counts<(Hand, Texture), Texture> = Counts::new();
    for hand in [Hand::Left, Hand::Right] {
        let mut last_shape: Option<HandShape> = None;
        let mut last_texture = Texture::Silent;
        for (bar, digest) in found.digests.iter().enumerate() {
            let view = digest.hand(hand);
            let at = found.material.bars[bar].at;
            let mut add = |weight: f64, what: What| out.push(Fact { from: bar, end: bar + 1, at, hand: Some(hand), weight, what });
            let bits = textures.tell((hand, last_texture), view.texture);
            if view.texture != last_texture && !matches!(view.texture, Texture::Silent | Texture::One) {
                add(bits / 2.0, What::Texture(view.texture));
            }
            last_texture = view.texture;
            let Some(shape) = &view.shape else { continue };
            let bits = shapes.tell((hand, last_shape.clone()), shape.clone());
            if last_shape.as_ref() != Some(shape) {
                let own: Vec<_> = found.material.tones_of(bar).iter().filter(|t| t.hand == hand).copied().collect();
                add(bits / 2.0, What::Shape { shape: shape.clone(), gaps: placing_gaps(&own).unwrap_or_default() });
            }
            if shape.has_added_second() {
                add(4.0, What::AddedSecond(shape.clone()));
            }
            last_shape = Some(shape.clone());
        }
    }
    let mut downbeats: Counts<(), i32> = Counts::new();
    for (bar, pair) in found.digests.windows(2).enumerate() {
        if let Some((a, b)) = pair[0].top.zip(pair[1].top) {
            let by = Move::between(a.0, b.0);
            let weight = downbeats.tell((), by.0) / 3.0;
            let at = found.material.bars[bar + 1].at;
            out.push(Fact { from: bar + 1, end: bar + 2, at, hand: Some(Hand::Right), weight, what: What::Downbeat(by) });
        }
    }
}
