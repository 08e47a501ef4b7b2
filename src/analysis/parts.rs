//! The parts of a cue and of its fuller text: how many words there are, and which parts stay where there is no room for all.

/// Cues are shown in large letters: longer ones lose what they can do without. Articles do not count.
pub const WORDS_MAX: usize = 5;
/// The fuller text is read away from the instrument, or in a halt: no more parts and words than this.
const PARTS_MAX: usize = 3;
const MORE_WORDS_MAX: usize = 12;

/// A part of the fuller text; the lowest ranks stay where there is no room for all.
pub struct Part {
    pub rank: u8,
    pub words: String,
}

/// Chooses the parts that matter most, in the order they were given.
pub fn chosen(parts: Vec<Part>) -> Vec<String> {
    let mut order: Vec<usize> = (0..parts.len()).collect();
    order.sort_by_key(|&i| (parts[i].rank, i));
    // That the rhythm is an old one is worth a word only where there is nothing else to say.
    const LAST: u8 = 5;
    if parts.iter().any(|p| p.rank < LAST) {
        order.retain(|&i| parts[i].rank < LAST);
    }
    let mut n_left = MORE_WORDS_MAX;
    let mut keep: Vec<usize> = Vec::new();
    for i in order {
        let n = n_words(&parts[i].words);
        if keep.is_empty() || keep.len() < PARTS_MAX && n <= n_left {
            n_left = n_left.saturating_sub(n);
            keep.push(i);
        }
    }
    keep.sort_unstable();
    keep.dedup_by(|b, a| parts[*b].words == parts[*a].words);
    keep.into_iter().map(|i| parts[i].words.clone()).collect()
}

/// Joins two parts of a cue, the second only where it fits.
pub fn fitted(head: &str, tail: &str) -> String {
    let both = format!("{head}{tail}");
    if n_words(&both) <= WORDS_MAX { both } else { head.to_owned() }
}

/// Words that are read as such: an article is taken in with its noun, and a colon that stands alone (as in French) is none.
pub fn n_words(text: &str) -> usize {
    let articles = tr!("a an the");
    text.split_whitespace()
        .filter(|word| word.contains(char::is_alphanumeric) && !articles.split(' ').any(|article| article == *word))
        .count()
}
