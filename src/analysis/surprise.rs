//! What a bar costs to tell on its own: description length under a model that learns the piece as it goes.
//!
//! Each note is predicted from the one before it in its hand (the move in strings and the wait
//! between), by counts of what came so far with an escape to a fixed price for news (PPM of order
//! one; Cleary & Witten 1984). Bits are minus the logarithm to base 2 of the probability.

use std::collections::HashMap;
use std::hash::Hash;

use super::material::Material;
use super::tokens::Mixed;
use crate::theory::Hand;

/// Bits for something never seen before, beyond the escape.
const NEWS_BITS: f64 = 6.0;

/// Counts of what followed what.
#[derive(Clone, Debug)]
pub struct Counts<C, V> {
    seen: HashMap<C, (u32, HashMap<V, u32, Mixed>), Mixed>,
}

impl<C: Hash + Eq, V: Hash + Eq> Counts<C, V> {
    pub fn new() -> Self {
        Counts { seen: HashMap::default() }
    }

    /// Returns the bits that `value` costs after `context`, and learns it.
    pub fn tell(&mut self, context: C, value: V) -> f64 {
        let (total, values) = self.seen.entry(context).or_default();
        let count = values.entry(value).or_default();
        let kinds_plus_total = f64::from(*total) + 1.0;
        let bits = if *count == 0 { kinds_plus_total.log2() + NEWS_BITS } else { (kinds_plus_total / f64::from(*count)).log2() };
        *count += 1;
        *total += 1;
        bits
    }
}

impl<C: Hash + Eq, V: Hash + Eq> Default for Counts<C, V> {
    fn default() -> Self {
        Counts::new()
    }
}

/// Returns the bits of each bar's notes. Transposing the piece by whole signatures changes nothing.
pub fn bar_bits(material: &Material) -> Vec<f64> {
    let mut bits = vec![0.0; material.bars.len()];
    let mut counts: Counts<(Hand, i32), (i32, i64)> = Counts::new();
    for hand in [Hand::Left, Hand::Right] {
        let (mut last, mut by) = (None, 0);
        for tone in material.tones.iter().filter(|t| t.hand == hand) {
            let (steps, at) = last.unwrap_or((tone.steps, tone.at));
            let moved = tone.steps - steps;
            bits[tone.bar] += counts.tell((hand, by), (moved, tone.at - at));
            (last, by) = (Some((tone.steps, tone.at)), moved);
        }
    }
    bits
}
