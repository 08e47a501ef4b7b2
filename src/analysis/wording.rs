//! Facts in words, in three dialects: string letters ("root E" for E flat, as a harp's strings are called), full names, and the strings in
//! fixed-do solfege.
//!
//! Words name a harmony, a shape, a direction, a likeness; they never list the notes to play.

use super::chord::{Chord, Quality};
use super::digest::Held;
use super::facts::{Fact, What, bar_at, key_at};
use super::keys::{Key, Region};
use super::likeness::{Alike, Likeness, Sequence};
use super::material::Material;
use super::motion::Move;
use super::novelty::New;
use super::shapes::{HandShape, PlacingGap, ShapeNames};
use super::switches::Switch;
use crate::language::named::shown;
use crate::piece::{Instrument, bars_words};
use crate::score::{BarRange, Score};
use crate::theory::{Hand, Letter, Mode};

/// How strings and roots are named.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Dialect {
    /// By the string's letter: the signature is in the levers or pedals.
    Letters,
    /// With the accidental: "E flat".
    Names,
    /// By the string, as [`Dialect::Letters`], in the syllables of fixed-do solfege: "mi" for E flat.
    Solfege,
}

impl Dialect {
    /// Every dialect, in the order in which a key goes through them.
    pub const ALL: [Dialect; 3] = [Dialect::Letters, Dialect::Names, Dialect::Solfege];

    /// Returns what it is called, and how it says E flat where the signature has it.
    pub fn words(self) -> (String, String) {
        match self {
            Dialect::Letters => (tr!("string letters"), tr!("E for E flat")),
            Dialect::Names => (tr!("full names"), tr!("E flat")),
            Dialect::Solfege => (tr!("solfege"), tr!("mi for E flat")),
        }
    }

    /// Returns the dialect after this one.
    pub fn next(self) -> Dialect {
        Dialect::ALL[(self as usize + 1) % Dialect::ALL.len()]
    }

    fn letter(self, letter: Letter) -> String {
        let syllable = letter.syllable();
        if self == Dialect::Solfege { tr!(syllable) } else { letter.spoken() }
    }

    /// Returns a letter with its accidental in words.
    fn full_name(self, letter: Letter, alter: i8) -> String {
        let letter = self.letter(letter);
        match alter {
            i8::MIN..=-2 => tr!("{letter} double flat", letter),
            -1 => tr!("{letter} flat", letter),
            0 => letter,
            1 => tr!("{letter} sharp", letter),
            2.. => tr!("{letter} double sharp", letter),
        }
    }

    /// Returns a letter with an accidental always said: `F natural`, `C sharp`.
    fn natural_name(self, letter: Letter, alter: i8) -> String {
        if alter == 0 { tr!("{letter} natural", letter = self.letter(letter)) } else { self.full_name(letter, alter) }
    }
}

/// What words need to know beside the fact.
pub struct Words<'a> {
    pub score: &'a Score,
    pub material: &'a Material,
    pub regions: &'a [Region],
    pub home: Key,
    pub dialect: Dialect,
    pub names: &'a ShapeNames,
    pub instrument: Instrument,
    /// Riskiest first.
    pub switches: &'a [Switch],
}

/// Returns the letter with its accidental in words: `E flat`.
pub fn full_name(letter: Letter, alter: i8) -> String {
    Dialect::Names.full_name(letter, alter)
}

impl Words<'_> {
    /// Returns a root as the dialect names it; a letter whose accidental the signature does not give keeps it in both.
    pub fn root(&self, chord: Chord, bar: usize) -> String {
        self.class(chord.root, bar)
    }

    fn class(&self, pc: u8, bar: usize) -> String {
        let fifths = self.material.bars.get(bar).map_or(0, |b| b.fifths);
        let spelled = key_at(self.regions, self.home, bar).spell(pc, fifths);
        self.named(spelled.letter, spelled.alter, bar)
    }

    /// Returns a string as the dialect names it.
    pub fn string(&self, steps: i32, alter: i8, bar: usize) -> String {
        self.named(Letter::from_steps(steps), alter, bar)
    }

    fn named(&self, letter: Letter, alter: i8, bar: usize) -> String {
        let fifths = self.material.bars.get(bar).map_or(0, |b| b.fifths);
        let is_set = crate::theory::KeySignature::new(fifths, None).alter_of(letter) == alter;
        match self.dialect {
            Dialect::Names => full_name(letter, alter),
            by_string if is_set => by_string.letter(letter),
            // A natural against the signature has to be said: the bare letter would mean the signature's.
            by_string => by_string.natural_name(letter, alter),
        }
    }

    /// Returns a chord in words: `D minor`, `G`.
    pub fn chord(&self, chord: Chord, bar: usize) -> String {
        let root = self.root(chord, bar);
        let quality = chord.quality.words();
        if quality.is_empty() { root } else { tr!("{root} {quality}", root, quality = tr!(quality)) }
    }

    /// Returns a chord as it goes after "root": a plain triad by its root, others by their name.
    pub fn root_or_chord(&self, chord: Chord, bar: usize) -> String {
        if chord.quality == Quality::Major { tr!("root {root}", root = self.root(chord, bar)) } else { self.chord(chord, bar) }
    }

    pub fn shape(&self, shape: &HandShape) -> String {
        self.names.words(shape)
    }

    pub fn key(&self, key: Key, bar: usize) -> String {
        let spelled = key.spell(key.tonic, self.material.bars.get(bar).map_or(0, |b| b.fifths));
        let tonic = self.dialect.full_name(spelled.letter, spelled.alter);
        if key.mode == Mode::Minor { tr!("{tonic} minor", tonic) } else { tr!("{tonic} major", tonic) }
    }

    /// Returns `bar 3` or `bars 3-5`.
    pub fn bars(&self, from: usize, end: usize) -> String {
        BarRange::try_new(from..end.min(self.score.bars.len())).map_or_else(|| tr!("no bar"), |r| shown(&bars_words(&r, self.score)))
    }

    /// Returns the harmonies of a bar in a few words.
    pub fn harmonies(&self, held: &[Held], bar: usize) -> String {
        let name = |h: &Held| self.chord(h.chord, bar);
        let span = self.material.bars[bar];
        match held {
            [] => tr!("no harmony to name"),
            [one] => self.root_or_chord(one.chord, bar),
            [a, b] if 2 * (b.at - span.at) == span.end - span.at => {
                tr!("two halves: {first}, then {second}", first = name(a), second = name(b))
            }
            [a, b] => tr!("{first}, then {second}", first = name(a), second = name(b)),
            [a, b, c] => tr!("{first}, {second}, then {third}", first = name(a), second = name(b), third = name(c)),
            _ => tr!("a new harmony every beat"),
        }
    }

    /// Returns a likeness in a few words: `as bars 5-7, a step higher`.
    pub fn like(&self, like: &Likeness) -> String {
        let bars = self.bars(like.of, like.of + (like.end - like.from));
        match like.how {
            Alike::Exact => tr!("as {bars}", bars),
            Alike::Octaves(by) => tr!("as {bars}, {how}", bars, how = Move(7 * by.signum()).compared()),
            Alike::Chromatic(_, strings) | Alike::Diatonic(strings) => {
                tr!("as {bars}, {how}", bars, how = Move::between(0, strings).compared())
            }
            Alike::AllButOne(_) => tr!("as {bars} but one note", bars),
            Alike::OneHand(hand) => tr!("{hand} as {bars}", hand = hand.words(), bars),
            Alike::OneHandMoved(hand, by) => {
                tr!("{hand} as {bars}, {how}", hand = hand.words(), bars, how = Move::between(0, by).compared())
            }
            Alike::Rhythm => tr!("rhythm of {bars}", bars),
        }
    }

    /// Returns the same as a sentence part for the fuller cue.
    pub fn like_more(&self, like: &Likeness) -> String {
        let these = self.bars(like.from, like.end);
        let n = like.end - like.from;
        let bars = self.bars(like.of, like.of + n);
        let moved = |how: String| {
            let (these, bars) = (&these, &bars);
            tr!("{these} is {bars}, everything {how}" | "{these} are {bars}, everything {how}" % n, these, bars, how)
        };
        match like.how {
            Alike::Exact => tr!("{these} is {bars} again" | "{these} are {bars} again" % n, these, bars),
            Alike::Octaves(by) if by.abs() > 1 => {
                let n_octaves = by.abs();
                let how = if by > 0 { tr!("{n_octaves} octaves higher", n_octaves) } else { tr!("{n_octaves} octaves lower", n_octaves) };
                tr!("{these} is {bars}, {how}" | "{these} are {bars}, {how}" % n, these, bars, how)
            }
            Alike::Octaves(by) => moved(Move(7 * by.signum()).compared()),
            Alike::Chromatic(_, by) => moved(tr!("{how}, all intervals kept", how = Move::between(0, by).compared())),
            Alike::Diatonic(by) => moved(Move::between(0, by).compared()),
            Alike::AllButOne(hand) => {
                let hand = hand.words();
                let one = tr!(
                    "{these} is {bars} but for one note of the {hand}" | "{these} are {bars} but for one note of the {hand}" % n,
                    these,
                    bars,
                    hand
                );
                match like.differs_at {
                    Some(at) => tr!("{one} on beat {beat}", one, beat = self.beat(at)),
                    None => one,
                }
            }
            Alike::OneHand(hand) | Alike::OneHandMoved(hand, _) => {
                let other = if hand == Hand::Left { Hand::Right } else { Hand::Left };
                let how = match like.how {
                    Alike::OneHandMoved(_, by) => Move::between(0, by).compared(),
                    _ => tr!("again"),
                };
                tr!("the {hand} plays {bars} {how}, the {other} is new", hand = hand.words(), bars, how, other = other.words())
            }
            Alike::Rhythm => tr!("the rhythm of {bars} again", bars),
        }
    }

    pub fn sequence(&self, sequence: &Sequence) -> String {
        tr!("{times}, each {how}", times = times(sequence.turns), how = Move::between(0, sequence.by).compared())
    }

    /// Returns the beat of a tick within its bar, as it is counted.
    pub fn beat(&self, at: i64) -> String {
        crate::score::Place { bar: crate::score::BarIdx(bar_at(self.material, at)), into_bar: into_bar(self.material, at) }.beat(self.score)
    }

    pub fn novelty(&self, new: New) -> String {
        let natural = |letter, alter| self.dialect.natural_name(letter, alter);
        match new {
            New::Texture(hand, texture) => tr!("{hand}: {words}", hand = hand.words(), words = texture.words()),
            New::NoteValue(ticks) => New::value_words(ticks),
            New::LowestString => tr!("lowest string of the piece"),
            New::HighestString => tr!("highest string of the piece"),
            New::Silent(hand) => tr!("{hand} rests", hand = hand.words()),
            New::TuneInLeft => tr!("left hand has the tune"),
            New::Roll => tr!("first roll"),
            New::Accidental(letter, alter) => tr!("first {string}", string = natural(letter, alter)),
            New::Setting(letter, alter) => match self.instrument {
                Instrument::LeverHarp => tr!("lever: {string}", string = natural(letter, alter)),
                Instrument::PedalHarp => tr!("pedal: {string}", string = natural(letter, alter)),
                Instrument::Keyboard => tr!("{what} from here", what = natural(letter, alter)),
            },
        }
    }

    pub fn gaps(&self, gaps: &[PlacingGap]) -> String {
        let widest = gaps.iter().max_by_key(|g| g.strings_between);
        widest.map_or_else(String::new, |g| {
            tr!(
                "one string free between fingers {lower} and {upper}"
                    | "{n} strings free between fingers {lower} and {upper}" % g.strings_between,
                lower = g.lower_finger,
                upper = g.upper_finger
            )
        })
    }

    /// Returns a fact as one phrase.
    pub fn fact(&self, fact: &Fact) -> String {
        let bar = fact.from;
        let hand = |text: String| match fact.hand {
            Some(hand) => tr!("{hand} {text}", hand = hand.words(), text),
            None => text,
        };
        match &fact.what {
            What::Key(key) => tr!("{key} to {bar}", key = self.key(*key, bar), bar = self.bars(fact.end - 1, fact.end)),
            What::Harmony(held) => self.harmonies(held, bar),
            What::Motion { from, to, by, n_common } => {
                let tones = [
                    msgid!("no tone stays"),
                    msgid!("one tone stays"),
                    msgid!("two tones stay"),
                    msgid!("three tones stay"),
                    msgid!("all tones stay"),
                ][(*n_common).min(4)];
                let _ = from;
                tr!("root {step}, to {chord}; {tones}", step = by.short(), chord = self.chord(*to, bar), tones = tr!(tones))
            }
            What::Shape { shape, gaps } if gaps.is_empty() => hand(self.shape(shape)),
            What::Shape { shape, gaps } => hand(format!("{}, {}", self.shape(shape), self.gaps(gaps))),
            What::AddedSecond(shape) => hand(tr!("{shape}, a second added to the root", shape = self.shape(shape))),
            What::Texture(texture) => hand(texture.words()),
            What::Downbeat(by) if by.0 == 0 => tr!("the top line starts where the bar before did"),
            What::Downbeat(by) => tr!("the top line starts {how} than the bar before", how = by.compared()),
            What::Like(like) => self.like_more(like),
            What::Sequence(sequence) => self.sequence(sequence),
            What::Switch(switch, nth) => {
                let places = &self.switches[*switch].places;
                let bar = |at: i64| self.bars(bar_at(self.material, at), bar_at(self.material, at) + 1);
                // The nearest copies are those that are mixed up.
                let near = [nth.checked_sub(1), Some(nth + 1)].into_iter().flatten().filter_map(|i| places.get(i)).map(|at| bar(*at));
                let mut near: Vec<String> = near.collect();
                if places.len() > 3 {
                    near.push(tr!("{n} copies in all", n = places.len()));
                }
                tr!("parts from its look-alike: {bars}", bars = near.join(", "))
            }
            What::New(new) => self.novelty(*new),
        }
    }
}

/// Returns how often in words: `three times`.
pub fn times(n: usize) -> String {
    const TIMES: [&str; 9] = [
        msgid!("no times"),
        msgid!("once"),
        msgid!("twice"),
        msgid!("three times"),
        msgid!("four times"),
        msgid!("five times"),
        msgid!("six times"),
        msgid!("seven times"),
        msgid!("eight times"),
    ];
    match TIMES.get(n) {
        Some(&times) => tr!(times),
        None => tr!("{n} times", n),
    }
}

/// Returns the length from a bar's start to a tick.
pub fn into_bar(material: &Material, at: i64) -> crate::time::ScoreTime {
    crate::time::ScoreTime::new(at - material.bars[bar_at(material, at)].at, super::material::TICKS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fixed-do syllables: the names of the notes in French, Italian and Spanish (common practice).
    #[test]
    fn solfege_names_strings_as_letters_do() {
        let syllables: Vec<&str> = Letter::ALL.into_iter().map(Letter::syllable).collect();
        assert_eq!(syllables, ["do", "re", "mi", "fa", "sol", "la", "si"]);
        let named = |dialect: Dialect| (dialect.full_name(Letter::E, -1), dialect.natural_name(Letter::B, 0));
        assert_eq!(named(Dialect::Solfege), ("mi flat".to_owned(), "si natural".to_owned()));
        assert_eq!(named(Dialect::Names), ("E flat".to_owned(), "B natural".to_owned()));
        assert_eq!(Dialect::ALL.map(Dialect::next), [Dialect::Names, Dialect::Solfege, Dialect::Letters]);
    }
}
