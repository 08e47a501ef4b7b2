//! The story: the few facts that matter, as draft cues of two to five words with a fuller text.
//!
//! Section by section, bar by bar. A bar that is as an earlier one costs one line for its whole run;
//! a new bar tells its harmony and what its hands do differently; a bar that could be predicted from
//! what was told says nothing. Switches go before all else at their place. So there is at most one
//! line a bar, and never two for the same reason. The first line of a section names where the hands start.

use std::collections::HashSet;

use super::bar_words::{colon, left_walks};
use super::digest::Held;
use super::facts::{Fact, Found, What, bar_at, key_at};
use super::harmony::BeatChord;
use super::likeness::{Alike, Likeness};
use super::novelty::New;
use super::parts::{Part, WORDS_MAX, chosen, fitted, n_words};
use super::shapes::Texture;
use super::ways::both_ways;
use super::wording::{Words, times};
use crate::piece::Instrument;
use crate::theory::Hand;

/// A new bar that tells fewer bits than this could have been guessed.
const BITS_MIN: f64 = 4.0;
/// Switches below this risk (a lead-in of about three beats) are facts, but not told.
pub const RISK_MIN: f32 = 1.9;
/// The cue of a switch.
fn switch_words(way: &str) -> String {
    tr!("SWITCH: {way}", way)
}

/// One line of the story.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    pub bar: usize,
    /// Ticks into the printed score.
    pub at: i64,
    pub hand: Option<Hand>,
    /// Two to five words, articles not counted.
    pub text: String,
    pub more: Option<String>,
    /// Why the line is there.
    pub reason: String,
    /// Bits that its facts tell.
    pub weight: f64,
    /// Indices of its facts.
    pub facts: Vec<usize>,
}

/// All that a story is drawn from.
pub struct Teller<'a> {
    pub words: &'a Words<'a>,
    pub found: &'a Found<'a>,
    pub facts: &'a [Fact],
    pub harmony: &'a [BeatChord],
}

/// Tells the story of sections given as bars, half-open.
pub fn story(teller: &Teller<'_>, sections: &[(usize, usize)]) -> Vec<Line> {
    let switches = teller.switch_lines(sections);
    let mut lines: Vec<Line> = Vec::new();
    let mut told: HashSet<usize> = HashSet::new();
    for &(from, end) in sections {
        let mut own: Vec<Line> = Vec::new();
        let mut bar = from;
        while bar < end {
            if !told.insert(bar) {
                bar += 1;
                continue;
            }
            let (line, next) = teller.line(bar, from, end);
            let next = next.max(bar + 1);
            told.extend(bar + 1..next);
            let here: Vec<&Line> = switches.iter().filter(|s| (bar..next).contains(&s.bar)).collect();
            let at_start = line.as_ref().and_then(|l| here.iter().find(|s| s.at == l.at));
            match (line, at_start) {
                (Some(line), Some(switch)) => own.push(joined(switch, &line)),
                (line, _) => own.extend(line),
            }
            let taken: Vec<i64> = own.iter().map(|l| l.at).collect();
            own.extend(here.into_iter().filter(|s| !taken.contains(&s.at)).cloned());
            bar = next;
        }
        // One line a bar on average; a section's first line and its switch stay.
        own.sort_by_key(|l| l.at);
        while own.len() > end - from {
            let switch = switch_words("");
            let stays = |l: &Line| if l.text.starts_with(&switch) { f64::MAX } else { l.weight };
            let least = (1..own.len()).min_by(|&x, &y| stays(&own[x]).total_cmp(&stays(&own[y])));
            own.remove(least.unwrap_or(0));
        }
        // Not the same words twice running.
        own.dedup_by(|b, a| a.text == b.text);
        lines.extend(own);
    }
    lines.sort_by_key(|l| l.at);
    lines.dedup_by_key(|l| l.at);
    if let Some(hand) = teller.only_hand() {
        lines.iter_mut().for_each(|line| without_hand(line, hand));
    }
    lines
}

/// A part for one hand does not name it.
fn without_hand(line: &mut Line, hand: Hand) {
    let own = hand.words();
    let named = [
        (tr!("{hand} on top from {string}", hand = own, string = ""), tr!("from {string}", string = "")),
        (tr!("{hand}: {words}", hand = own, words = ""), String::new()),
        (format!("{own} "), String::new()),
        (tr!("both hands rest"), tr!("rest")),
    ];
    for text in std::iter::once(&mut line.text).chain(&mut line.more) {
        for (named, plain) in &named {
            *text = text.replace(named, plain);
        }
    }
    line.reason = line.reason.replace(&tr!("new {hand}", hand = own), &tr!("new texture"));
    line.hand = None;
}

fn joined(switch: &Line, line: &Line) -> Line {
    // The choice is what matters here: one part of the rest is enough.
    let rest = line.more.as_deref().and_then(|more| more.split(&*tr!("; ")).next()).map(str::to_owned);
    let more = [switch.more.clone(), rest].into_iter().flatten().collect::<Vec<_>>().join(&tr!("; "));
    let facts = switch.facts.iter().chain(&line.facts).copied().collect();
    Line { more: Some(more), facts, weight: switch.weight + line.weight, ..switch.clone() }
}

impl Teller<'_> {
    /// The line for a bar, if it needs one, and the first bar that it does not speak for.
    fn line(&self, bar: usize, from: usize, end: usize) -> (Option<Line>, usize) {
        let is_first = bar == from;
        if let Some(line) = self.sequence_line(bar, from, end) {
            return line;
        }
        match self.like_at(bar, end) {
            Some((fact, like)) if like.how.is_whole() && self.facts[fact].weight >= BITS_MIN => {
                let mut line = self.like_line(fact, &like, is_first);
                self.add_settings(&mut line, like.from, like.end);
                (Some(line), like.end)
            }
            like => {
                let mut line = self.new_line(bar, is_first, like);
                if let Some(line) = &mut line {
                    self.add_settings(line, bar, bar + 1);
                }
                (line, bar + 1)
            }
        }
    }

    /// The hand that plays, where the other never does.
    fn only_hand(&self) -> Option<Hand> {
        let plays = |hand: Hand| self.found.digests.iter().any(|d| d.hand(hand).texture != Texture::Silent);
        match (plays(Hand::Left), plays(Hand::Right)) {
            (true, false) => Some(Hand::Left),
            (false, true) => Some(Hand::Right),
            _ => None,
        }
    }

    pub(super) fn facts_of(&self, bar: usize) -> impl Iterator<Item = (usize, &Fact)> {
        let at = self.found.material.bars[bar].at;
        let first = self.facts.partition_point(|f| f.at < at);
        let end = self.found.material.bars[bar].end;
        self.facts.iter().enumerate().skip(first).take_while(move |(_, f)| f.at < end.max(at + 1)).filter(move |(_, f)| f.from == bar)
    }

    /// The index of the fact at a tick that is meant.
    fn fact_at(&self, at: i64, is_meant: impl Fn(&Fact) -> bool) -> Option<usize> {
        let first = self.facts.partition_point(|f| f.at < at);
        self.facts[first..].iter().take_while(|f| f.at == at).position(is_meant).map(|nth| first + nth)
    }

    /// The likeness that holds in a bar, cut to what lies between it and `end`.
    fn like_at(&self, bar: usize, end: usize) -> Option<(usize, Likeness)> {
        let nth = self.found.likeness.partition_point(|l| l.from <= bar).checked_sub(1)?;
        let whole = self.found.likeness[nth];
        if whole.end <= bar {
            return None;
        }
        let at = whole.differs_at.unwrap_or(self.found.material.bars[whole.from].at);
        let fact = self.fact_at(at, |f| f.what == What::Like(whole))?;
        let of = whole.of + (bar - whole.from);
        Some((fact, Likeness { from: bar, end: whole.end.min(end), of, ..whole }))
    }

    fn sequence_line(&self, bar: usize, from: usize, end: usize) -> Option<(Option<Line>, usize)> {
        let near = self.found.sequences.partition_point(|s| s.from < from);
        let mut near = self.found.sequences[near..].iter().take_while(|s| s.from < bar);
        let seq = near.find(|s| s.from + s.length == bar && s.end() <= end)?;
        let fact = self.fact_at(self.found.material.bars[seq.from].at, |f| f.what == What::Sequence(*seq))?;
        let turn = self.words.bars(seq.from, seq.from + seq.length);
        let last = self.found.digests[seq.end() - 1].stated().last().map(|h| self.words.chord(h.chord, seq.end() - 1));
        let (times, to) = (times(seq.turns), self.words.bars(seq.end() - 1, seq.end()));
        let line = Line {
            bar,
            at: self.found.material.bars[bar].at,
            hand: None,
            text: self.words.sequence(seq),
            more: Some(match last {
                Some(chord) => tr!("{turn} {times} in all, to {bar}; the last ends on {chord}", turn, times = times, bar = to, chord),
                None => tr!("{turn} {times} in all, to {bar}", turn, times = times, bar = to),
            }),
            reason: tr!("a sequence of {n} turns", n = seq.turns),
            weight: self.facts[fact].weight,
            facts: vec![fact],
        };
        Some((Some(line), seq.end()))
    }

    fn like_line(&self, fact: usize, like: &Likeness, is_first: bool) -> Line {
        let mut text = self.words.like(like);
        if is_first && let Some(root) = self.opening_root(like.from) {
            text = fitted(&text, &colon(&root));
        }
        let mut more = vec![self.words.like_more(like)];
        if is_first {
            more.extend(self.hands_start(like.from));
        } else if !matches!(like.how, Alike::Exact | Alike::AllButOne(_)) {
            more.extend(self.opening_root(like.from).map(|r| tr!("it starts on {chord}", chord = r)));
        }
        let bits = self.facts[fact].weight;
        Line {
            bar: like.from,
            at: self.found.material.bars[like.from].at,
            hand: None,
            text,
            more: Some(more.join(&tr!("; "))),
            reason: tr!("comes back: one line for 1 bar" | "comes back: one line for {n} bars" % like.end - like.from),
            weight: bits,
            facts: vec![fact],
        }
    }

    /// A bar that is like nothing before it, or only in part.
    fn new_line(&self, bar: usize, is_first: bool, like: Option<(usize, Likeness)>) -> Option<Line> {
        let digest = &self.found.digests[bar];
        let before = bar.checked_sub(1).map(|b| &self.found.digests[b]);
        let (mut weight, mut facts) = (0.0, Vec::new());
        let mut more: Vec<Part> = Vec::new();
        let mut heads: Vec<String> = Vec::new();
        let mut text = None;
        if is_first {
            more.extend(self.hands_start(bar).map(|words| Part { rank: 0, words }));
        }
        let mut motion = None;
        let mut key = None;
        for (nth, fact) in self.facts_of(bar) {
            match &fact.what {
                What::Key(k) if fact.end - fact.from >= 2 => {
                    key = Some(self.words.key(*k, bar));
                    heads.push(tr!("new key"));
                }
                What::Motion { by, n_common, .. } => {
                    motion = Some(*by);
                    if *n_common >= 2 {
                        let words = if *n_common == 2 { tr!("two tones stay") } else { tr!("three tones stay") };
                        more.push(Part { rank: 4, words });
                    }
                    heads.push(tr!("harmony"));
                }
                What::Harmony(_) => heads.push(tr!("harmony")),
                What::Shape { .. } | What::Texture(_) => heads.extend(fact.hand.map(|h| tr!("new {hand}", hand = h.words()))),
                What::AddedSecond(_) => heads.push(tr!("added second")),
                What::New(New::Texture(hand, _) | New::Silent(hand)) => heads.push(tr!("new {hand}", hand = hand.words())),
                What::New(new) => heads.push(self.words.novelty(*new)),
                What::Downbeat(_) => {}
                _ => continue,
            }
            weight += fact.weight;
            facts.push(nth);
        }
        let stated = digest.stated();
        let ending = self.ending_words(bar);
        let left = self.left_words(digest, before, true).map_or(String::new(), |l| format!(", {}", left_walks(&l)));
        let is_plain = digest.left.shape.as_ref().map_or(digest.left.texture == Texture::Scale, |s| s.0.len() <= 5 && !s.has_neighbours());
        let left = if is_plain { left } else { String::new() };
        match digest.left_roots[..] {
            [(steps, alter)] if stated.is_empty() => {
                let root = tr!("root {root}", root = self.words.string(steps, alter, bar));
                let from = before.and_then(|b| b.bass).filter(|_| !is_first).map(|(s, _)| super::motion::Move::between(s, steps));
                text = Some(match from {
                    Some(by) if by.0 != 0 => fitted(&by.short(), &colon(&root)),
                    Some(_) => {
                        let stay = tr!("stay on {root}", root = self.words.string(steps, alter, bar));
                        fitted(&stay, &self.what_changes(digest, before))
                    }
                    None => fitted(&root, &left),
                });
                heads.push(tr!("left hand's root"));
                weight += from.map_or(0.0, |by| if by.0 == 0 { 0.0 } else { 3.0 });
            }
            [a, b] if stated.is_empty() => {
                let [a, b] = [a, b].map(|(steps, alter)| self.words.string(steps, alter, bar));
                text = Some(tr!("two halves: {first}, then {second}", first = a, second = b));
                heads.push(tr!("left hand's roots"));
                weight += 4.0;
            }
            _ => {}
        }
        if !stated.is_empty() {
            let words = self.words.harmonies(stated, bar);
            let short = self.short_harmonies(stated, bar);
            if !words.ends_with(&short) {
                more.push(Part { rank: 0, words: words.clone() });
            }
            let is_same = before.and_then(|b| b.stated().last()).is_some_and(|h| h.chord.root == stated[0].chord.root);
            text = Some(match (stated, motion) {
                ([one], _) if ending.is_some() => {
                    let ending = ending.unwrap_or_default();
                    let chord = self.words.root_or_chord(one.chord, bar);
                    fitted(&format!("{ending}{}", colon(&chord)), &left)
                }
                ([one], Some(by)) if !is_first => {
                    let chord = self.words.root_or_chord(one.chord, bar);
                    let both = format!("{}{}", by.short(), colon(&chord));
                    if n_words(&both) <= WORDS_MAX { both } else { chord }
                }
                ([one], _) if is_same && !is_first => {
                    let changes = self.what_changes(digest, before);
                    if changes.is_empty() && like.is_none() && key.is_none() {
                        // The same again: nothing to tell.
                        return None;
                    }
                    fitted(&tr!("stay on {root}", root = self.words.root(one.chord, bar)), &changes)
                }
                ([_], _) => fitted(&words, &left),
                _ => short,
            });
            if let [one] = stated
                && let Some(bass) = one.bass.filter(|b| *b != one.chord.root)
                && let Some((steps, alter)) = digest.left.first_low.filter(|(s, a)| pitch_class(*s, *a) == bass)
            {
                more.push(Part {
                    rank: 2,
                    words: tr!("{string} lies lowest, not the root", string = self.words.string(steps, alter, bar)),
                });
            }
        }
        // A hand that comes back needs no other words.
        let told = like.as_ref().and_then(|(_, like)| match like.how {
            Alike::OneHand(hand) | Alike::OneHandMoved(hand, _) => Some(hand),
            _ => None,
        });
        if let Some((nth, like)) = &like {
            let rank = if like.how == Alike::Rhythm { 5 } else { 1 };
            more.push(Part { rank, words: self.words.like_more(like) });
            if like.how != Alike::Rhythm {
                // A hand that comes back moved takes more words than a cue has.
                text = text.or_else(|| matches!(like.how, Alike::OneHand(_)).then(|| self.words.like(like)));
                heads.push(tr!("comes back in part"));
                facts.push(*nth);
            }
        }
        if !is_first && told != Some(Hand::Left) {
            more.extend(
                self.left_words(digest, before, false)
                    .map(|l| Part { rank: 2, words: tr!("{hand} {text}", hand = Hand::Left.words(), text = l) }),
            );
            more.extend(self.same_shape_words(bar).map(|words| Part { rank: 2, words }));
        }
        if told != Some(Hand::Right) {
            more.extend(self.right_words(bar, is_first).into_iter().map(|words| Part { rank: 3, words }));
        }
        let news = self.news(bar);
        more.extend(news.iter().map(|(_, words)| Part { rank: 1, words: words.clone() }));
        if let Some(key) = key {
            more.insert(0, Part { rank: 0, words: tr!("{what} from here", what = key) });
            weight += 2.0;
        }
        let text = match text {
            Some(text) => text,
            None => match self.plain_text(digest, before, &news) {
                Some(text) => text,
                // A section's first line is always there.
                None if is_first => self.start_text(bar),
                None => return None,
            },
        };
        if weight < BITS_MIN && !is_first {
            return None;
        }
        let mut seen = HashSet::new();
        heads.retain(|h| seen.insert(h.clone()));
        if heads.is_empty() {
            heads.push(tr!("the start of a section"));
        }
        // What the cue says itself is not said again.
        let left_hand = tr!("{hand} {text}", hand = Hand::Left.words(), text = "");
        more.retain(|part| part.words != text && !part.words.strip_prefix(&left_hand).is_some_and(|shape| text.ends_with(shape)));
        let more = chosen(more);
        let hand = [Hand::Left, Hand::Right].into_iter().find(|h| text.starts_with(&h.words()));
        Some(Line {
            bar,
            at: self.found.material.bars[bar].at,
            hand,
            text,
            more: (!more.is_empty()).then(|| more.join(&tr!("; "))),
            reason: heads.join(", "),
            weight,
            facts,
        })
    }

    /// The harmonies of a bar in as many words as a cue has: all of it, or the chords alone, or their roots.
    fn short_harmonies(&self, held: &[Held], bar: usize) -> String {
        let whole = self.words.harmonies(held, bar);
        let [a, b] = held else { return whole };
        let chords = tr!("{first}, then {second}", first = self.words.chord(a.chord, bar), second = self.words.chord(b.chord, bar));
        let roots = tr!("{first}, then {second}", first = self.words.root(a.chord, bar), second = self.words.root(b.chord, bar));
        [whole, chords].into_iter().find(|words| n_words(words) <= WORDS_MAX).unwrap_or(roots)
    }

    /// Levers and pedals that move within the bars of a line are always told.
    fn add_settings(&self, line: &mut Line, from: usize, end: usize) {
        if self.words.instrument == Instrument::Keyboard {
            return;
        }
        let mut moves = Vec::new();
        for bar in from..end {
            for (nth, fact) in self.facts_of(bar) {
                if let What::New(new @ New::Setting(..)) = fact.what {
                    moves.push(tr!(
                        "{what} (bar {bar}, beat {beat})",
                        what = self.words.novelty(new),
                        bar = self.words.score.bars[bar].label,
                        beat = self.words.beat(fact.at)
                    ));
                    if !line.facts.contains(&nth) {
                        line.facts.push(nth);
                    }
                }
            }
        }
        if !moves.is_empty() {
            let more = line.more.take().map_or(String::new(), |m| format!("; {m}"));
            line.more = Some(format!("{}{more}", moves.join(", ")));
        }
    }

    /// The switches that are risky enough, one a section at the most, each at its later places.
    fn switch_lines(&self, sections: &[(usize, usize)]) -> Vec<Line> {
        let mut out: Vec<Line> = Vec::new();
        let mut is_taken = vec![false; sections.len()];
        let mut order: Vec<usize> = (0..self.facts.len()).filter(|i| matches!(self.facts[*i].what, What::Switch(..))).collect();
        order.sort_by(|a, b| self.facts[*b].weight.total_cmp(&self.facts[*a].weight).then(a.cmp(b)));
        for nth in order {
            let What::Switch(switch, place) = &self.facts[nth].what else { continue };
            let switch = &self.found.switches[*switch];
            if switch.risk < RISK_MIN || *place == 0 {
                continue;
            }
            let at = switch.places[*place];
            let bar = bar_at(self.found.material, at);
            let Some(section) = sections.partition_point(|s| s.0 <= bar).checked_sub(1).filter(|s| bar < sections[*s].1) else { continue };
            if is_taken[section] {
                continue;
            }
            let there = switch.places[place - 1];
            let into = |at: i64| at - self.found.material.bars[bar_at(self.found.material, at)].at;
            if into(at) != into(there) {
                // One goes on sooner: a player hears that in the tune, and there is no choice to name.
                continue;
            }
            let Some((here_words, there_words)) = both_ways(self.words, self.harmony, self.found.digests, at, there) else { continue };
            is_taken[section] = true;
            let other = bar_at(self.found.material, there);
            let label = &self.words.score.bars[other].label;
            // A cue stands on a beat.
            let at = self.found.material.beats[self.found.material.beat_at(at)].at;
            out.push(Line {
                bar,
                at,
                hand: None,
                text: switch_words(&here_words),
                more: Some(tr!(
                    "alike up to bar {bar}, beat {beat}; there {way}",
                    bar = label,
                    beat = self.words.beat(there),
                    way = there_words
                )),
                reason: tr!("parts from bar {bar} after {beats} beats alike", bar = label, beats = self.beats_alike(switch.lead_in, other)),
                weight: self.facts[nth].weight,
                facts: vec![nth],
            });
        }
        out
    }

    /// Returns how many beats a lead-in has.
    fn beats_alike(&self, lead_in: i64, bar: usize) -> String {
        let beats = lead_in as f64 / super::material::beat_ticks(self.found.material.bars[bar].meter) as f64;
        format!("{beats:.0}")
    }

    /// The key in force at a bar, in words.
    pub fn key_words(&self, bar: usize) -> String {
        self.words.key(key_at(self.found.regions, self.found.home, bar), bar)
    }
}

fn pitch_class(steps: i32, alter: i8) -> u8 {
    (crate::theory::Letter::from_steps(steps).semitones() + alter as i32).rem_euclid(12) as u8
}
