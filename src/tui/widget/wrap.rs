//! Breaking a phrase into lines where a speaker would breathe.

/// Words that belong to what follows them: a line may begin with one, and should not end with one.
const JOINERS: &[&str] = &[
    "a", "an", "and", "as", "at", "but", "by", "for", "from", "in", "into", "like", "no", "of", "on", "or", "over", "so", "than", "the",
    "then", "to", "under", "until", "with",
];

/// Costs of one line break, by what stands around it.
const AFTER_PUNCTUATION: f64 = 0.0;
const BEFORE_JOINER: f64 = 2.0;
const BETWEEN_WORDS: f64 = 5.0;
const AFTER_JOINER: f64 = 14.0;
/// Cost of one more line, and weight of uneven lines.
const PER_LINE: f64 = 5.0;
const UNEVEN: f64 = 8.0;
/// More lines than needed by this many are tried; sense rarely asks for more, and time grows with it.
const N_LINES_SPARE: usize = 3;

/// Breaks `text` into at most `n_lines_max` lines of at most `width` characters: see [`weighed`].
pub fn by_sense(text: &str, width: usize, n_lines_max: usize) -> Option<Vec<String>> {
    weighed(text, n_lines_max, |line| len(line) <= width).map(|(_, lines)| lines)
}

/// Breaks `text` into at most `n_lines_max` lines that all fit, by sense: after punctuation, before a
/// joining word, and otherwise evenly. Returns the lines with what their breaks cost (0 is best), or nothing when it cannot be done or there is no word; no
/// word is ever cut or left out. `fits` must not refuse a part of a line it accepts.
pub fn weighed(text: &str, n_lines_max: usize, fits: impl Fn(&str) -> bool) -> Option<(f64, Vec<String>)> {
    let words: Vec<&str> = text.split_whitespace().collect();
    if words.is_empty() || words.iter().any(|word| !fits(word)) {
        return None;
    }
    let total: usize = words.iter().map(|word| len(word)).sum::<usize>() + words.len() - 1;
    // The first words that go into each line starting at a word, so that each is measured once.
    let reach: Vec<usize> = (0..words.len())
        .map(|start| (start + 1..=words.len()).take_while(|&end| fits(&words[start..end].join(" "))).last().unwrap_or(start))
        .collect();
    let n_lines_least = least_lines(&reach);
    (n_lines_least..=n_lines_max.min(n_lines_least + N_LINES_SPARE))
        .filter_map(|n_lines| {
            let (cost, breaks) = best_breaks(&words, &reach, n_lines, total as f64 / n_lines as f64)?;
            Some((cost + PER_LINE * n_lines as f64, breaks))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(cost, breaks)| (cost, lines(&words, &breaks)))
}

/// Returns how many lines it takes when each is filled; `reach` is the end of the longest line from each word.
fn least_lines(reach: &[usize]) -> usize {
    let (mut n_lines, mut word) = (0, 0);
    while word < reach.len() {
        word = reach[word].max(word + 1);
        n_lines += 1;
    }
    n_lines
}

/// Returns the cheapest way to set `words` in exactly `n_lines` lines: its cost, and the first word of each line.
fn best_breaks(words: &[&str], reach: &[usize], n_lines: usize, even: f64) -> Option<(f64, Vec<usize>)> {
    if n_lines == 0 || n_lines > words.len() {
        return None;
    }
    // best[k][i]: cheapest setting of the words before i in k lines, with the start of its last line.
    let mut best = vec![vec![None::<(f64, usize)>; words.len() + 1]; n_lines + 1];
    best[0][0] = Some((0.0, 0));
    for k in 1..=n_lines {
        for end in 1..=words.len() {
            let mut length = 0;
            for start in (0..end).rev() {
                if reach[start] < end {
                    break;
                }
                length += len(words[start]) + usize::from(start + 1 < end);
                let Some((before, _)) = best[k - 1][start] else { continue };
                let uneven = (length as f64 - even) / even.max(1.0);
                let break_cost = if start == 0 { 0.0 } else { cost_of_break(words[start - 1], words[start]) };
                let cost = before + break_cost + UNEVEN * uneven * uneven;
                if best[k][end].is_none_or(|(known, _)| cost < known) {
                    best[k][end] = Some((cost, start));
                }
            }
        }
    }
    let (cost, mut start) = best[n_lines][words.len()]?;
    let mut starts = vec![start];
    for k in (1..n_lines).rev() {
        start = best[k][start]?.1;
        starts.push(start);
    }
    starts.reverse();
    Some((cost, starts))
}

fn cost_of_break(before: &str, after: &str) -> f64 {
    let joins = |word: &str| JOINERS.contains(&word.to_lowercase().as_str());
    if before.ends_with([',', ';', ':', '.', '!', '?', '\u{2013}', '\u{2014}']) {
        AFTER_PUNCTUATION
    } else if joins(before) {
        AFTER_JOINER
    } else if joins(after) {
        BEFORE_JOINER
    } else {
        BETWEEN_WORDS
    }
}

fn lines(words: &[&str], starts: &[usize]) -> Vec<String> {
    let ends = starts.iter().skip(1).copied().chain([words.len()]);
    starts.iter().zip(ends).map(|(&start, end)| words[start..end].join(" ")).collect()
}

fn len(word: &str) -> usize {
    word.chars().count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, width: usize, n_lines: usize, expected: &[&str]) {
        assert_eq!(by_sense(text, width, n_lines).as_deref().unwrap_or_default(), expected, "{text:?} in {width}");
    }

    #[test]
    fn phrases_break_where_a_speaker_would_breathe() {
        check("E flat, hands close", 20, 4, &["E flat, hands close"]);
        check("E flat, hands close", 12, 4, &["E flat,", "hands close"]);
        check("as bar 3, a third lower", 20, 4, &["as bar 3,", "a third lower"]);
        check("left hand walks down to the low C string", 20, 4, &["left hand walks down", "to the low C string"]);
        check("bar 6, beat 2, left hand", 20, 4, &["bar 6, beat 2,", "left hand"]);
        check("one two three", 5, 4, &["one", "two", "three"]);
    }

    #[test]
    fn what_does_not_fit_is_refused_rather_than_cut() {
        check("unerhörtlangeswortohneende ja", 20, 4, &[]);
        check("a b c d e f", 1, 4, &[]);
        check("   ", 20, 4, &[]);
        check("", 0, 0, &[]);
    }

    proptest::proptest! {
        #[test]
        fn no_word_is_lost_and_no_line_too_long(text in "[a-z,]{1,9}( [a-z,]{1,9}){0,12}", width in 1usize..30, n_lines in 1usize..6) {
            if let Some(lines) = by_sense(&text, width, n_lines) {
                proptest::prop_assert!(lines.len() <= n_lines);
                proptest::prop_assert!(lines.iter().all(|line| line.chars().count() <= width));
                proptest::prop_assert_eq!(lines.join(" "), text);
            }
        }
    }
}
