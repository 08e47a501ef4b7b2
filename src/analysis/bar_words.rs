//! What the hands do in one bar, in the words of a cue.

use super::digest::Digest;
use super::facts::What;
use super::motion::Move;
use super::novelty::New;
use super::shapes::{HandView, Texture};
use super::story::Teller;
use crate::piece::Instrument;
use crate::theory::Hand;

impl Teller<'_> {
    /// The cue of a section's first bar that has nothing else to say: where its tune starts.
    pub(super) fn start_text(&self, bar: usize) -> String {
        let digest = &self.found.digests[bar];
        match (digest.right.first_high, digest.left.first_low) {
            (Some((steps, alter)), _) => {
                tr!("{hand} from {string}", hand = Hand::Right.words(), string = self.words.string(steps, alter, bar))
            }
            (None, Some((steps, alter))) => {
                tr!("{hand} from {string}", hand = Hand::Left.words(), string = self.words.string(steps, alter, bar))
            }
            (None, None) => tr!("both hands rest"),
        }
    }

    /// Where each hand starts and what it does: its string, and its shape where it has one.
    pub(super) fn hands_start(&self, bar: usize) -> Option<String> {
        let digest = &self.found.digests[bar];
        if digest.left.texture == Texture::Silent && digest.right.texture == Texture::Silent {
            return None;
        }
        let left = match (digest.left.first_low, self.left_words(digest, None, true)) {
            (None, _) => tr!("{hand} waits", hand = Hand::Left.words()),
            (Some((steps, alter)), Some(does)) => {
                let string = self.words.string(steps, alter, bar);
                tr!("{hand} from {string}, {does}", hand = Hand::Left.words(), string, does)
            }
            (Some((steps, alter)), None) => {
                tr!("{hand} from {string}", hand = Hand::Left.words(), string = self.words.string(steps, alter, bar))
            }
        };
        let right = match digest.right.first_high {
            None => tr!("{hand} waits", hand = Hand::Right.words()),
            Some((steps, alter)) => {
                let string = self.words.string(steps, alter, bar);
                let from = tr!("{hand} on top from {string}", hand = Hand::Right.words(), string);
                self.right_texture(digest).map_or(from.clone(), |does| format!("{from}, {does}"))
            }
        };
        // A part for one hand does not wait with the other.
        let plays = |hand: Hand| self.found.digests.iter().any(|d| d.hand(hand).texture != Texture::Silent);
        Some(match (plays(Hand::Left), plays(Hand::Right)) {
            (false, _) => right,
            (_, false) => left,
            _ => [left, right].join(&tr!("; ")),
        })
    }

    /// What the right hand does, where that can be said.
    pub(super) fn right_texture(&self, digest: &Digest) -> Option<String> {
        let view = &digest.right;
        match view.texture {
            Texture::Silent | Texture::One => None,
            Texture::Broken if view.n_onsets <= 2 => None,
            Texture::Chords if view.is_rolled && view.n_onsets == 1 => Some(tr!("rolls one chord")),
            texture => Some(texture.words()),
        }
    }

    /// What a bar without a harmony to name is called by.
    pub(super) fn plain_text(&self, digest: &Digest, before: Option<&Digest>, news: &[(f64, String)]) -> Option<String> {
        if let Some((_, words)) = news.iter().max_by(|a, b| a.0.total_cmp(&b.0)) {
            return Some(words.clone());
        }
        let sings = |t: Texture| matches!(t, Texture::Scale | Texture::Tune | Texture::Mixed);
        let is_alike = |a: Texture, b: Texture| a == b || sings(a) && sings(b);
        let is_same = |hand: Hand| before.is_some_and(|b| is_alike(b.hand(hand).texture, digest.hand(hand).texture));
        let way = |hand: Hand| match digest.hand(hand).direction {
            Some(1) if digest.hand(hand).n_onsets > 2 => Some(tr!("{hand} climbs", hand = hand.words())),
            Some(-1) if digest.hand(hand).n_onsets > 2 => Some(tr!("{hand} comes down", hand = hand.words())),
            _ => None,
        };
        match (digest.left.texture, digest.right.texture) {
            (Texture::Silent, Texture::Silent) => {
                before.is_some_and(|b| b.left.n_onsets + b.right.n_onsets > 0).then(|| tr!("both hands rest"))
            }
            (Texture::Silent, _) if !is_same(Hand::Left) => Some(tr!("{hand} alone", hand = Hand::Right.words())),
            (_, Texture::Silent) if !is_same(Hand::Right) => Some(tr!("{hand} alone", hand = Hand::Left.words())),
            (left, _) if !is_same(Hand::Left) && !matches!(left, Texture::One | Texture::Broken) => Some(short_texture(Hand::Left, left)),
            (_, right) if !is_same(Hand::Right) && !matches!(right, Texture::One | Texture::Broken) => {
                Some(short_texture(Hand::Right, right))
            }
            _ => way(Hand::Left).or_else(|| way(Hand::Right)),
        }
    }

    /// Which time round a bar under an ending bracket is for.
    pub(super) fn ending_words(&self, bar: usize) -> Option<String> {
        let endings = &self.words.score.bars[bar].signs.endings;
        let is_first = bar == 0 || self.words.score.bars[bar - 1].signs.endings != *endings;
        match endings[..] {
            [1] if is_first => Some(tr!("first time")),
            [2] if is_first => Some(tr!("second time")),
            [3] if is_first => Some(tr!("third time")),
            _ => None,
        }
    }

    /// What is different while the harmony stays.
    pub(super) fn what_changes(&self, digest: &Digest, before: Option<&Digest>) -> String {
        let is_plain =
            digest.left.shape.as_ref().is_some_and(|s| s.0.len() <= 5 && !s.has_neighbours()) || digest.left.texture == Texture::Scale;
        if let Some(words) = self.left_words(digest, before, false).filter(|_| is_plain) {
            return colon(&left_walks(&words));
        }
        match digest.right.direction {
            Some(1) if digest.right.n_onsets > 1 => tr!(", top rises"),
            Some(-1) if digest.right.n_onsets > 1 => tr!(", top falls"),
            _ => String::new(),
        }
    }

    /// The left hand in words, where it does something else than in the bar before (or `always`).
    pub(super) fn left_words(&self, digest: &Digest, before: Option<&Digest>, always: bool) -> Option<String> {
        let same = |a: &Digest| a.left.texture == digest.left.texture && a.left.shape == digest.left.shape;
        if !always && before.is_some_and(same) {
            return None;
        }
        // More strings than five are no shape to be told in words.
        let told = |view: &HandView| view.shape.clone().filter(|s| s.0.len() <= 5);
        if let Some(shape) = told(&digest.left) {
            return Some(self.words.shape(&shape));
        }
        let [a, b] = &digest.left_halves;
        match (&told(a), &told(b)) {
            (Some(a), Some(b)) if a == b => return Some(tr!("{shape} twice", shape = self.words.shape(a))),
            (Some(a), Some(b)) => return Some(tr!("{first}, then {second}", first = self.words.shape(a), second = self.words.shape(b))),
            _ => {}
        }
        match digest.left.texture {
            Texture::Silent => before.filter(|b| b.left.texture != Texture::Silent).map(|_| tr!("rests")),
            Texture::One => None,
            Texture::Scale => Some(match digest.left.direction {
                Some(1) => tr!("walks by step up"),
                Some(-1) => tr!("walks by step down"),
                _ => tr!("walks by step"),
            }),
            Texture::Tune | Texture::Mixed if always || before.is_none_or(|b| !same(b)) => Some(digest.left.texture.words()),
            _ => None,
        }
    }

    /// The left hand's shape of the bar before, on other strings.
    pub(super) fn same_shape_words(&self, bar: usize) -> Option<String> {
        let (now, before) = (&self.found.digests[bar].left, &self.found.digests[bar.checked_sub(1)?].left);
        let is_same = now.shape.is_some() && now.shape == before.shape && now.texture == before.texture;
        let by = Move::between(before.lowest?.0, now.lowest?.0);
        (is_same && by.0 != 0).then(|| tr!("{hand} the same shape, {how}", hand = Hand::Left.words(), how = by.compared()))
    }

    /// The right hand in words: its texture where that is new, and where its top line goes.
    pub(super) fn right_words(&self, bar: usize, is_first: bool) -> Vec<String> {
        let digest = &self.found.digests[bar];
        let before = bar.checked_sub(1).map(|b| &self.found.digests[b]);
        let earlier = bar.checked_sub(1).map_or(String::new(), |b| tr!("bar {bar}", bar = self.words.score.bars[b].label));
        let view = &digest.right;
        let mut out = Vec::new();
        let is_new = !is_first && before.is_none_or(|b| b.right.texture != view.texture);
        match view.texture {
            Texture::Silent if is_new => out.push(tr!("{hand} rests", hand = Hand::Right.words())),
            _ if is_new => out.extend(self.right_texture(digest).map(|text| tr!("{hand} {text}", hand = Hand::Right.words(), text))),
            _ => {}
        }
        let start = before.and_then(|b| b.top).zip(digest.top).map(|(a, b)| Move::between(a.0, b.0));
        let way = match view.direction {
            Some(1) if view.n_onsets > 2 => Some(tr!("rises all the way")),
            Some(-1) if view.n_onsets > 2 => Some(tr!("falls all the way")),
            _ => None,
        };
        match (start, way) {
            (Some(m), Some(way)) if m.0 != 0 && !is_first => {
                out.push(tr!("the top line starts {how} than {bar} and {way}", how = m.compared(), bar = earlier, way))
            }
            (Some(m), None) if m.0 != 0 && !is_first => {
                out.push(tr!("the top line starts {how} than {bar}", how = m.compared(), bar = earlier))
            }
            (_, Some(way)) => out.push(tr!("the top line {way}", way)),
            _ => {}
        }
        out
    }

    /// New things of a bar that are worth a word of their own.
    pub(super) fn news(&self, bar: usize) -> Vec<(f64, String)> {
        self.facts_of(bar)
            .filter_map(|(_, f)| match f.what {
                What::New(New::Texture(..) | New::Silent(_) | New::Setting(..)) => None,
                What::New(New::Accidental(..)) if self.words.instrument != Instrument::Keyboard => None,
                What::New(new) => Some((f.weight, self.words.novelty(new))),
                _ => None,
            })
            .collect()
    }

    pub(super) fn opening_root(&self, bar: usize) -> Option<String> {
        self.found.digests[bar].harmonies.first().filter(|h| h.stated).map(|h| self.words.root_or_chord(h.chord, bar))
    }
}

/// What a hand does, in the few words of a cue.
fn short_texture(hand: Hand, texture: Texture) -> String {
    let words = match texture {
        Texture::Mixed => tr!("tune over notes"),
        texture => texture.words(),
    };
    tr!("{hand}: {words}", hand = hand.words(), words)
}

/// Puts more behind the head of a cue: `: root E`.
pub(super) fn colon(tail: &str) -> String {
    tr!(": {words}", words = tail)
}

/// Says whose hand walks, where words of the left hand stand alone.
pub(super) fn left_walks(words: &str) -> String {
    words.replace(&tr!("walks by step"), &tr!("left hand walks by step"))
}
