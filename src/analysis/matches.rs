//! The longest earlier match of every place in a string, by suffix array.
//!
//! The array is built by doubling of prefixes (Manber & Myers 1993), in which only suffixes that still tie with another are
//! looked at again (Larsson & Sadakane 2007): near-linear for music, O(n log² n) at worst. The longest common
//! prefixes are by Kasai et al. 2001, and the longest previous factor of each place by the two nearest
//! earlier suffixes in the array (Crochemore & Ilie 2008). Places are 32 bits wide, so that a long piece stays in the cache.

use std::collections::HashMap;
use std::ops::Range;

use super::tokens::Mixed;

/// The longest stretch that begins at a place and is also found earlier.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Previous {
    /// Where the earlier one begins.
    pub from: usize,
    /// How many elements are alike; 0 when there is none.
    pub len: usize,
}

/// Returns the longest previous match of each place. The two stretches may overlap.
///
/// # Panics
///
/// Panics beyond 2^32 - 2 elements: no score has so many.
pub fn previous_matches(text: &[u64]) -> Vec<Previous> {
    let n = text.len();
    let mut out = vec![Previous::default(); n];
    if n < 2 {
        return out;
    }
    assert!(n < NONE as usize, "places of a score are counted in 32 bits");
    let class = classes(text);
    let (order, rank) = suffix_array(&class);
    // The suffixes as a linked list in array order; taking places out from the last to the first
    // leaves each with its neighbours among the earlier ones.
    let common = common_prefixes(&class, &order, &rank);
    let link = |r: u32| Link { before: r.wrapping_sub(1), after: r + 1, common: common[r as usize] };
    let mut links: Vec<Link> = (0..n as u32).map(link).collect();
    links[n - 1].after = NONE;
    for place in (0..n).rev() {
        let Link { before, after, common } = links[rank[place] as usize];
        let with_before = if before == NONE { 0 } else { common };
        let with_after = if after == NONE { 0 } else { links[after as usize].common };
        let near = |r: u32, len: u32| (len, if len > 0 { order[r as usize] } else { 0 });
        // Of two alike the one nearer on the page.
        let (len, from) = near(before, with_before).max(near(after, with_after));
        out[place] = Previous { from: from as usize, len: len as usize };
        if after != NONE {
            let after = &mut links[after as usize];
            (after.before, after.common) = (before, with_before.min(with_after));
        }
        if before != NONE {
            links[before as usize].after = after;
        }
    }
    out
}

/// A suffix among those not yet taken out: the ranks next to it, and how much it has in common with the one before.
#[derive(Clone, Copy)]
struct Link {
    before: u32,
    after: u32,
    common: u32,
}

/// No place.
const NONE: u32 = u32::MAX;

/// Numbers the elements as they first appear, so that the choice among equals hangs on the piece, not on the hashes.
fn classes(text: &[u64]) -> Vec<u32> {
    let mut numbers: HashMap<u64, u32, Mixed> = HashMap::default();
    let number = |value: &u64| {
        let next = numbers.len() as u32;
        *numbers.entry(*value).or_insert(next)
    };
    text.iter().map(number).collect()
}

/// Returns the places in the order of their suffixes, and the rank of each place in it.
fn suffix_array(class: &[u32]) -> (Vec<u32>, Vec<u32>) {
    let n = class.len();
    let mut order = by_class(class);
    // Suffixes that tie share the rank of the first of them.
    let mut rank = vec![0u32; n];
    let mut ties: Vec<Range<u32>> = Vec::new();
    let mut first = 0;
    for r in 0..n {
        if class[order[r] as usize] != class[order[first] as usize] {
            first = r;
        }
        rank[order[r] as usize] = first as u32;
        let ends = r + 1 == n || class[order[r + 1] as usize] != class[order[first] as usize];
        if ends && r > first {
            ties.push(first as u32..r as u32 + 1);
        }
    }
    let mut width = 1;
    let mut keyed: Vec<(u32, u32)> = Vec::new();
    while !ties.is_empty() {
        let mut left = Vec::with_capacity(ties.len());
        for tie in ties {
            let own = tie.start as usize..tie.end as usize;
            // A suffix that ends goes before those that go on.
            let key = |s: u32| rank.get(s as usize + width).map_or(0, |r| r + 1);
            keyed.clear();
            keyed.extend(order[own.clone()].iter().map(|&s| (key(s), s)));
            keyed.sort_unstable();
            let mut at = tie.start;
            for group in keyed.chunk_by(|a, b| a.0 == b.0) {
                let end = at + group.len() as u32;
                for (slot, &(_, s)) in (at..end).zip(group) {
                    order[slot as usize] = s;
                    rank[s as usize] = at;
                }
                if group.len() > 1 {
                    left.push(at..end);
                }
                at = end;
            }
        }
        ties = left;
        width *= 2;
    }
    (order, rank)
}

/// Sorts places by their class, places of one class in page order (counting sort).
fn by_class(class: &[u32]) -> Vec<u32> {
    let mut starts = vec![0u32; class.iter().max().map_or(1, |m| *m as usize + 2)];
    class.iter().for_each(|&c| starts[c as usize + 1] += 1);
    for i in 1..starts.len() {
        starts[i] += starts[i - 1];
    }
    let mut out = vec![0; class.len()];
    for (place, &c) in class.iter().enumerate() {
        let at = &mut starts[c as usize];
        out[*at as usize] = place as u32;
        *at += 1;
    }
    out
}

fn common_prefixes(class: &[u32], order: &[u32], rank: &[u32]) -> Vec<u32> {
    let n = class.len();
    let mut common = vec![0; n];
    let mut h = 0usize;
    for place in 0..n {
        if rank[place] == 0 {
            h = 0;
            continue;
        }
        let other = order[rank[place] as usize - 1] as usize;
        while place + h < n && other + h < n && class[place + h] == class[other + h] {
            h += 1;
        }
        common[rank[place] as usize] = h as u32;
        h = h.saturating_sub(1);
    }
    common
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against trying all pairs.
    #[test]
    fn matches_are_the_longest_there_are() {
        let mut rng = fastrand::Rng::with_seed(5);
        for _ in 0..200 {
            let text: Vec<u64> = (0..rng.usize(0..40)).map(|_| rng.u64(0..3)).collect();
            let longest = |i: usize| (0..i).map(|j| (i..text.len()).take_while(|&k| text[k] == text[j + k - i]).count()).max().unwrap_or(0);
            let found = previous_matches(&text);
            for (i, m) in found.iter().enumerate() {
                assert_eq!(m.len, longest(i), "{text:?} at {i}");
                assert!(m.len == 0 || m.from < i && (0..m.len).all(|k| text[i + k] == text[m.from + k]), "{text:?} at {i}: {m:?}");
            }
        }
    }
}
