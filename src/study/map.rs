//! The map: which bars come back, by letters, and where look-alikes part, by numbers.
//!
//! A passage that returns has a letter; each return has it again, with a mark for what is different. Passages are cut so that every
//! return is made of whole letters. What comes back only in part (one hand, the rhythm) has the bar it comes from, in a second row.

use crate::analysis::facts::bar_at;
use crate::analysis::likeness::{Alike, Likeness};
use crate::analysis::story::RISK_MIN;
use crate::analysis::{Analysis, StoryConfig};
use crate::score::Score;
use crate::theory::Hand;

/// The whole piece, bar by bar.
#[derive(Clone, PartialEq, Debug)]
pub struct Map {
    pub bars: Vec<MapBar>,
    /// Indices into [`Analysis::switches`], in page order of their first places: number 1 first.
    switches: Vec<usize>,
}

/// One bar of the map.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct MapBar {
    pub label: String,
    /// The letter of its passage, with the mark of a return (`A`, `A\u{2191}`).
    pub letter: Option<String>,
    /// The letter is to be written: the passage begins here.
    pub begins: bool,
    /// What it shares in part with an earlier bar: `~3` the rhythm of bar 3, `l3` or `r3` what that hand plays there.
    pub partly: Option<String>,
    pub partly_begins: bool,
    /// Numbers of the switches that part in this bar.
    pub switches: Vec<usize>,
}

impl MapBar {
    /// There is something to stop at.
    pub fn is_marked(&self) -> bool {
        self.begins || self.partly_begins || !self.switches.is_empty()
    }
}

impl Map {
    pub fn new(analysis: &Analysis, score: &Score) -> Map {
        let n = score.bars.len();
        // The bar that each bar goes back to, and how it differs from it.
        let mut root: Vec<usize> = (0..n).collect();
        let mut mark = vec![String::new(); n];
        for like in analysis.likeness.iter().filter(|l| l.how.is_whole()) {
            for bar in like.from..like.end {
                let of = like.of + (bar - like.from);
                root[bar] = root[of];
                mark[bar] = if like.how == Alike::Exact { mark[of].clone() } else { mark_of(like.how) };
            }
        }
        let mut is_used = vec![false; n + 1];
        let mut is_cut = vec![true; n + 1];
        is_cut[1..n.max(1)].fill(false);
        for like in analysis.likeness.iter().filter(|l| l.how.is_whole()) {
            let sources: Vec<usize> = (like.of..like.of + (like.end - like.from)).map(|bar| root[bar]).collect();
            for (nth, &source) in sources.iter().enumerate() {
                is_used[source] = true;
                is_cut[source] |= nth == 0 || sources[nth - 1] + 1 != source;
                is_cut[source + 1] |= nth + 1 == sources.len() || sources[nth + 1] != source + 1;
            }
        }
        let mut letters: Vec<Option<usize>> = vec![None; n];
        let mut n_letters = 0;
        for bar in (0..n).filter(|&b| root[b] == b && is_used[b]) {
            let goes_on = bar.checked_sub(1).and_then(|before| letters[before]).filter(|_| !is_cut[bar]);
            letters[bar] = Some(goes_on.unwrap_or_else(|| {
                n_letters += 1;
                n_letters - 1
            }));
        }
        let mut bars: Vec<MapBar> = score.bars.iter().map(|b| MapBar { label: b.label.to_string(), ..MapBar::default() }).collect();
        for bar in 0..n {
            let Some(letter) = letters[root[bar]] else { continue };
            let goes_on = bar > 0 && root[bar - 1] + 1 == root[bar] && letters[root[bar - 1]] == Some(letter) && mark[bar - 1] == mark[bar];
            bars[bar].begins = !goes_on;
            bars[bar].letter = Some(format!("{}{}", letter_words(letter), mark[bar]));
        }
        for like in analysis.likeness.iter().filter(|l| !l.how.is_whole()) {
            for (bar, of) in bars[like.from..like.end].iter_mut().zip(&score.bars[like.of..]) {
                bar.partly = Some(format!("{}{}", mark_of(like.how), of.label));
            }
            bars[like.from].partly_begins = true;
        }
        let mut switches: Vec<usize> = (0..analysis.switches.len()).filter(|&s| analysis.switches[s].risk >= RISK_MIN).collect();
        switches.sort_by_key(|&s| analysis.switches[s].places[0]);
        for (nth, &switch) in switches.iter().enumerate() {
            for &at in &analysis.switches[switch].places {
                bars[bar_at(&analysis.material, at)].switches.push(nth + 1);
            }
        }
        bars.iter_mut().for_each(|b| b.switches.dedup());
        Map { bars, switches }
    }

    /// Says what the map has at a bar: likenesses in both directions, and both ways of each switch.
    pub fn words(&self, bar: usize, analysis: &Analysis, score: &Score, config: &StoryConfig) -> Vec<String> {
        let words = analysis.words(score, config);
        let mut out = Vec::new();
        for &number in &self.bars[bar].switches {
            let switch = &analysis.switches[self.switches[number - 1]];
            let here: Vec<i64> = switch.places.iter().copied().filter(|&at| bar_at(&analysis.material, at) == bar).collect();
            let Some(&here) = here.first() else { continue };
            let place = |at: i64| analysis.place(at).words(score);
            let mut others: Vec<i64> = switch.places.iter().copied().filter(|&at| at != here).collect();
            // The nearest copies are those that are mixed up.
            others.sort_by_key(|at| (at - here).abs());
            for &there in others.iter().take(2) {
                let ways = analysis.both_ways(score, config, here, there);
                let (one, other) = ways.unwrap_or_else(|| (tr!("one way"), tr!("another: look at the page")));
                let beat = analysis.place(here).spoken_beat(score);
                out.push(tr!(
                    "switch {number}: here ({beat}) {one}; there ({place}) {other}.",
                    number,
                    beat,
                    one,
                    place = place(there),
                    other
                ));
            }
            if others.len() > 2 {
                out.push(tr!("switch {number} has {n} places in all", number, n = switch.places.len()));
            }
        }
        let sentence = |like: &Likeness| {
            let more = words.like_more(like);
            let said =
                if like.how.is_whole() { more } else { tr!("{bars}: {words}", bars = words.bars(like.from, like.end), words = more) };
            format!("{}.", capital(&said))
        };
        out.extend(analysis.likeness.iter().filter(|l| (l.from..l.end).contains(&bar)).map(sentence));
        let back: Vec<&Likeness> = analysis
            .likeness
            .iter()
            .filter(|l| (l.of..l.of + (l.end - l.from)).contains(&bar) && !(l.from..l.end).contains(&bar))
            .collect();
        out.extend(back.iter().take(3).map(|l| sentence(l)));
        if back.len() > 3 {
            out.push(tr!("It comes back {} times more.", back.len() - 3));
        }
        if out.is_empty() {
            out.push(tr!("Heard here only."));
        }
        out
    }
}

fn mark_of(how: Alike) -> String {
    let arrow = |by: i32| if by > 0 { "\u{2191}" } else { "\u{2193}" };
    let of_hand = |hand: Hand| if hand == Hand::Left { tr!("l") } else { tr!("r") };
    match how {
        Alike::Exact => String::new(),
        Alike::Octaves(_) => "8".to_owned(),
        Alike::Chromatic(by, _) | Alike::Diatonic(by) => arrow(by).to_owned(),
        Alike::AllButOne(_) => "'".to_owned(),
        Alike::OneHandMoved(hand, by) => of_hand(hand) + arrow(by),
        Alike::OneHand(hand) => of_hand(hand),
        Alike::Rhythm => "~".to_owned(),
    }
}

/// A to Z, then AA, AB …
fn letter_words(nth: usize) -> String {
    let letter = |n: usize| char::from(b'A' + (n % 26) as u8);
    match nth / 26 {
        0 => letter(nth).to_string(),
        more => format!("{}{}", letter_words(more - 1), letter(nth)),
    }
}

pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
