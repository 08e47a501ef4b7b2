//! The longest earlier match of every place in a string, by suffix array.
//!
//! The array is built by doubling of prefixes (Manber & Myers 1993), with counting sort, O(n log n); the longest common
//! prefixes by Kasai et al. 2001, and the longest previous factor of each place by the two nearest
//! earlier suffixes in the array (Crochemore & Ilie 2008).

use std::collections::HashMap;

/// The longest stretch that begins at a place and is also found earlier.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Previous {
    /// Where the earlier one begins.
    pub from: usize,
    /// How many elements are alike; 0 when there is none.
    pub len: usize,
}

/// Returns the longest previous match of each place. The two stretches may overlap.
pub fn previous_matches(text: &[u64]) -> Vec<Previous> {
    let n = text.len();
    let mut out = vec![Previous::default(); n];
    if n < 2 {
        return out;
    }
    let order = suffix_array(text);
    let mut rank = vec![0usize; n];
    order.iter().enumerate().for_each(|(r, &s)| rank[s] = r);
    let common = common_prefixes(text, &order, &rank);
    // The suffixes as a linked list in array order; taking places out from the last to the first
    // leaves each with its neighbours among the earlier ones.
    let none = usize::MAX;
    let mut prev: Vec<usize> = (0..n).map(|r| r.wrapping_sub(1)).collect();
    let mut next: Vec<usize> = (0..n).map(|r| if r + 1 < n { r + 1 } else { none }).collect();
    // Common prefix of each rank with the one before it in the list.
    let mut with_prev = common;
    for place in (0..n).rev() {
        let r = rank[place];
        let (p, x) = (prev[r], next[r]);
        let before = if p == none { 0 } else { with_prev[r] };
        let after = if x == none { 0 } else { with_prev[x] };
        let near = |r: usize, len: usize| Previous { from: if len > 0 { order[r] } else { 0 }, len };
        let (a, b) = (near(p.min(n - 1), before), near(x.min(n - 1), after));
        // Of two alike the one nearer on the page.
        out[place] = if (a.len, a.from) > (b.len, b.from) { a } else { b };
        if x != none {
            with_prev[x] = before.min(after);
            prev[x] = p;
        }
        if p != none {
            next[p] = x;
        }
    }
    out
}

fn suffix_array(text: &[u64]) -> Vec<usize> {
    let n = text.len();
    // Numbered as they first appear, so that the choice among equals hangs on the piece, not on the hashes.
    let mut numbers: HashMap<u64, usize> = HashMap::new();
    let mut class: Vec<usize> = Vec::with_capacity(n);
    for value in text {
        let next = numbers.len() + 1;
        class.push(*numbers.entry(*value).or_insert(next));
    }
    let mut order = by_class(&(0..n).collect::<Vec<_>>(), &class);
    let mut width = 1;
    loop {
        // Sorted by what follows first: suffixes too short to have it, then the others in the order of theirs.
        let shorter = n.saturating_sub(width)..n;
        let followed: Vec<usize> = shorter.chain(order.iter().filter(|s| **s >= width).map(|s| s - width)).collect();
        order = by_class(&followed, &class);
        let pair = |s: usize| (class[s], class.get(s + width).copied().unwrap_or(0));
        let mut finer = vec![0; n];
        finer[order[0]] = 1;
        for w in order.windows(2) {
            finer[w[1]] = finer[w[0]] + usize::from(pair(w[0]) != pair(w[1]));
        }
        let is_done = finer[order[n - 1]] == n;
        class = finer;
        width *= 2;
        if is_done || width >= 2 * n {
            return order;
        }
    }
}

/// Sorts places by their class, places of one class left in the order they come in (counting sort).
fn by_class(places: &[usize], class: &[usize]) -> Vec<usize> {
    let mut starts = vec![0usize; class.iter().max().map_or(1, |m| m + 2)];
    places.iter().for_each(|&p| starts[class[p] + 1] += 1);
    for i in 1..starts.len() {
        starts[i] += starts[i - 1];
    }
    let mut out = vec![0; places.len()];
    for &place in places {
        let at = &mut starts[class[place]];
        out[*at] = place;
        *at += 1;
    }
    out
}

fn common_prefixes(text: &[u64], order: &[usize], rank: &[usize]) -> Vec<usize> {
    let n = text.len();
    let mut common = vec![0; n];
    let mut h = 0usize;
    for place in 0..n {
        if rank[place] == 0 {
            h = 0;
            continue;
        }
        let other = order[rank[place] - 1];
        while place + h < n && other + h < n && text[place + h] == text[other + h] {
            h += 1;
        }
        common[rank[place]] = h;
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
