//! Switches: places where a passage parts from its look-alike elsewhere (Chaffin & Imreh's term).
//!
//! A moment is all that is struck at one time. Two places look alike as long as their moments do,
//! with the waits between them; where at least a beat and a half was alike and what follows differs, they part.

use std::collections::HashMap;

use super::matches::previous_matches;
use super::material::{Material, beat_ticks};
use super::tokens::{Mixed, mix};
use crate::theory::Hand;

/// One parting of two look-alikes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Parting {
    /// Ticks where the earlier copy goes on in its own way, and the later one.
    pub earlier: i64,
    pub later: i64,
}

/// A pair, or family, of look-alikes that go on differently.
#[derive(Clone, PartialEq, Debug)]
pub struct Switch {
    /// Where each copy parts, in page order; two or more.
    pub places: Vec<i64>,
    /// Ticks that the lead-ins are alike before they part.
    pub lead_in: i64,
    /// Moments that they share.
    pub n_moments: usize,
    /// How alike the lead-ins are: 1 when note for note.
    pub alike: f32,
    /// The risk of a wrong turn, for ranking: longer lead-ins and more copies raise it.
    pub risk: f32,
}

struct Moment {
    at: i64,
    hash: u64,
}

/// Finds the switches of a part, riskiest first. Cost: near-linear in its notes.
pub fn switches(material: &Material) -> Vec<Switch> {
    let moments = moments(material);
    let text: Vec<u64> = moments.iter().map(|m| m.hash).collect();
    let matches = previous_matches(&text);
    let mut families: HashMap<u64, Switch, Mixed> = HashMap::default();
    let mut order = Vec::new();
    for (i, m) in matches.iter().enumerate() {
        let goes_on = i > 0 && m.from > 0 && matches[i - 1].len == m.len + 1 && matches[i - 1].from + 1 == m.from;
        let (end, other_end) = (i + m.len, m.from + m.len);
        if m.len < 2 || goes_on || end >= moments.len() || other_end >= moments.len() {
            continue;
        }
        let at = moments[end].at;
        let bar = material.bars.partition_point(|b| b.at <= at).saturating_sub(1);
        let span = material.bars[bar];
        let lead_in = at - moments[i].at;
        // A pattern that goes on beside itself is no look-alike elsewhere.
        let apart = moments[i].at - moments[m.from].at;
        if 2 * lead_in < 3 * beat_ticks(span.meter) || apart < span.end - span.at || other_end > i {
            continue;
        }
        // Copies of one family share the last beat and a half.
        let tail =
            (0..m.len).rev().take_while(|k| 2 * (at - moments[i + k].at) <= 3 * beat_ticks(span.meter)).fold(0, |h, k| mix(h, text[i + k]));
        let switch = families.entry(tail).or_insert_with(|| {
            order.push(tail);
            Switch { places: Vec::new(), lead_in: 0, n_moments: 0, alike: 1.0, risk: 0.0 }
        });
        switch.places.extend([moments[other_end].at, at]);
        switch.lead_in = switch.lead_in.max(lead_in);
        switch.n_moments = switch.n_moments.max(m.len);
    }
    let mut out: Vec<Switch> = order.iter().filter_map(|tail| families.remove(tail)).collect();
    for switch in &mut out {
        switch.places.sort_unstable();
        switch.places.dedup();
        let at = switch.places[0];
        let bar = material.bars.partition_point(|b| b.at <= at).saturating_sub(1);
        let beats = switch.lead_in as f32 / beat_ticks(material.bars[bar].meter) as f32;
        switch.risk = (1.0 + beats).log2() * (switch.places.len() as f32).log2() * switch.alike;
    }
    out.sort_by(|a, b| b.risk.total_cmp(&a.risk).then(a.places.cmp(&b.places)));
    out
}

fn moments(material: &Material) -> Vec<Moment> {
    let mut out: Vec<Moment> = Vec::new();
    let mut tones = material.tones.iter().peekable();
    while let Some(first) = tones.peek().copied() {
        let mut hash = 0;
        while let Some(tone) = tones.next_if(|t| t.at == first.at) {
            hash = mix(hash, tone.key as u64 * 2 + u64::from(tone.hand == Hand::Right));
        }
        // The wait before a moment belongs to it, but for the first of a passage it does not matter
        // much; the place in the bar does.
        let bar = &material.bars[first.bar];
        out.push(Moment { at: first.at, hash: mix(hash, (first.at - bar.at + bar.offset) as u64) });
    }
    out
}
