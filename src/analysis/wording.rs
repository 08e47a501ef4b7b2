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
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Dialect::Letters => ("string letters", "E for E flat"),
            Dialect::Names => ("full names", "E flat"),
            Dialect::Solfege => ("solfege", "mi for E flat"),
        }
    }

    /// Returns the dialect after this one.
    pub fn next(self) -> Dialect {
        Dialect::ALL[(self as usize + 1) % Dialect::ALL.len()]
    }

    fn letter(self, letter: Letter) -> String {
        if self == Dialect::Solfege { letter.syllable().to_owned() } else { letter.char().to_string() }
    }

    /// Returns a letter with its accidental in words.
    fn full_name(self, letter: Letter, alter: i8) -> String {
        self.letter(letter) + sign(alter)
    }

    /// Returns a letter with an accidental always said: `F natural`, `C sharp`.
    fn natural_name(self, letter: Letter, alter: i8) -> String {
        if alter == 0 { self.letter(letter) + " natural" } else { self.full_name(letter, alter) }
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

fn sign(alter: i8) -> &'static str {
    match alter {
        i8::MIN..=-2 => " double flat",
        -1 => " flat",
        0 => "",
        1 => " sharp",
        2.. => " double sharp",
    }
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
        if quality.is_empty() { root } else { format!("{root} {quality}") }
    }

    /// Returns a chord as it goes after "root": a plain triad by its root, others by their name.
    pub fn root_or_chord(&self, chord: Chord, bar: usize) -> String {
        if chord.quality == Quality::Major { format!("root {}", self.root(chord, bar)) } else { self.chord(chord, bar) }
    }

    pub fn shape(&self, shape: &HandShape) -> String {
        self.names.words(shape)
    }

    pub fn key(&self, key: Key, bar: usize) -> String {
        let spelled = key.spell(key.tonic, self.material.bars.get(bar).map_or(0, |b| b.fifths));
        let mode = if key.mode == Mode::Minor { "minor" } else { "major" };
        format!("{} {mode}", self.dialect.full_name(spelled.letter, spelled.alter))
    }

    /// Returns `bar 3` or `bars 3-5`.
    pub fn bars(&self, from: usize, end: usize) -> String {
        BarRange::try_new(from..end.min(self.score.bars.len())).map_or_else(|| "no bar".to_owned(), |r| bars_words(&r, self.score))
    }

    /// Returns the harmonies of a bar in a few words.
    pub fn harmonies(&self, held: &[Held], bar: usize) -> String {
        let name = |h: &Held| self.chord(h.chord, bar);
        let span = self.material.bars[bar];
        match held {
            [] => "no harmony to name".to_owned(),
            [one] => self.root_or_chord(one.chord, bar),
            [a, b] if 2 * (b.at - span.at) == span.end - span.at => format!("two halves: {}, then {}", name(a), name(b)),
            [a, b] => format!("{}, then {}", name(a), name(b)),
            [a, b, c] => format!("{}, {}, then {}", name(a), name(b), name(c)),
            _ => "a new harmony every beat".to_owned(),
        }
    }

    /// Returns a likeness in a few words: `as bars 5-7, a step higher`.
    pub fn like(&self, like: &Likeness) -> String {
        let bars = self.bars(like.of, like.of + (like.end - like.from));
        match like.how {
            Alike::Exact => format!("as {bars}"),
            Alike::Octaves(by) => format!("as {bars}, {}", Move(7 * by.signum()).compared()),
            Alike::Chromatic(_, strings) | Alike::Diatonic(strings) => format!("as {bars}, {}", Move::between(0, strings).compared()),
            Alike::AllButOne(_) => format!("as {bars} but one note"),
            Alike::OneHand(hand) => format!("{} as {bars}", hand.words()),
            Alike::OneHandMoved(hand, by) => format!("{} as {bars}, {}", hand.words(), Move::between(0, by).compared()),
            Alike::Rhythm => format!("rhythm of {bars}"),
        }
    }

    /// Returns the same as a sentence part for the fuller cue.
    pub fn like_more(&self, like: &Likeness) -> String {
        let these = self.bars(like.from, like.end);
        let are = if like.end - like.from == 1 { "is" } else { "are" };
        let bars = self.bars(like.of, like.of + (like.end - like.from));
        match like.how {
            Alike::Exact => format!("{these} {are} {bars} again"),
            Alike::Octaves(by) if by.abs() > 1 => {
                format!("{these} {are} {bars}, {} octaves {}", by.abs(), if by > 0 { "higher" } else { "lower" })
            }
            Alike::Octaves(by) => format!("{these} {are} {bars}, everything {}", Move(7 * by.signum()).compared()),
            Alike::Chromatic(_, by) => format!("{these} {are} {bars}, everything {}, all intervals kept", Move::between(0, by).compared()),
            Alike::Diatonic(by) => format!("{these} {are} {bars}, everything {}", Move::between(0, by).compared()),
            Alike::AllButOne(hand) => {
                let place = like.differs_at.map_or(String::new(), |at| format!(" on beat {}", self.beat(at)));
                format!("{these} {are} {bars} but for one note of the {}{place}", hand.words())
            }
            Alike::OneHand(hand) | Alike::OneHandMoved(hand, _) => {
                let other = if hand == Hand::Left { Hand::Right } else { Hand::Left };
                let how = match like.how {
                    Alike::OneHandMoved(_, by) => Move::between(0, by).compared(),
                    _ => "again".to_owned(),
                };
                format!("the {} plays {bars} {how}, the {} is new", hand.words(), other.words())
            }
            Alike::Rhythm => format!("the rhythm of {bars} again"),
        }
    }

    pub fn sequence(&self, sequence: &Sequence) -> String {
        const TIMES: [&str; 9] =
            ["", "once", "twice", "three times", "four times", "five times", "six times", "seven times", "eight times"];
        let times = TIMES.get(sequence.turns).map_or_else(|| format!("{} times", sequence.turns), |t| (*t).to_owned());
        format!("{times}, each {}", Move::between(0, sequence.by).compared())
    }

    /// Returns the beat of a tick within its bar, as it is counted.
    pub fn beat(&self, at: i64) -> String {
        crate::score::Place { bar: crate::score::BarIdx(bar_at(self.material, at)), into_bar: into_bar(self.material, at) }.beat(self.score)
    }

    pub fn novelty(&self, new: New) -> String {
        match new {
            New::Texture(hand, texture) => format!("{}: {}", hand.words(), texture.words()),
            New::NoteValue(ticks) => format!("first {}", New::value_words(ticks)),
            New::LowestString => "lowest string of the piece".to_owned(),
            New::HighestString => "highest string of the piece".to_owned(),
            New::Silent(hand) => format!("{} rests", hand.words()),
            New::TuneInLeft => "left hand has the tune".to_owned(),
            New::Roll => "first roll".to_owned(),
            New::Accidental(letter, alter) => format!("first {}", self.dialect.natural_name(letter, alter)),
            New::Setting(letter, alter) => match self.instrument {
                Instrument::LeverHarp => format!("lever: {}", self.dialect.natural_name(letter, alter)),
                Instrument::PedalHarp => format!("pedal: {}", self.dialect.natural_name(letter, alter)),
                Instrument::Keyboard => format!("{} from here", self.dialect.natural_name(letter, alter)),
            },
        }
    }

    pub fn gaps(&self, gaps: &[PlacingGap]) -> String {
        let widest = gaps.iter().max_by_key(|g| g.strings_between);
        widest.map_or_else(String::new, |g| {
            let strings = if g.strings_between == 1 { "one string".to_owned() } else { format!("{} strings", g.strings_between) };
            format!("{strings} free between fingers {} and {}", g.lower_finger, g.upper_finger)
        })
    }

    /// Returns a fact as one phrase.
    pub fn fact(&self, fact: &Fact) -> String {
        let bar = fact.from;
        let hand = |text: String| fact.hand.map_or(text.clone(), |h| format!("{} {text}", h.words()));
        match &fact.what {
            What::Key(key) => format!("{} to {}", self.key(*key, bar), self.bars(fact.end - 1, fact.end)),
            What::Harmony(held) => self.harmonies(held, bar),
            What::Motion { from, to, by, n_common } => {
                let tones = ["no tone stays", "one tone stays", "two tones stay", "three tones stay", "all tones stay"][(*n_common).min(4)];
                let _ = from;
                format!("root {}, to {}; {tones}", by.short(), self.chord(*to, bar))
            }
            What::Shape { shape, gaps } if gaps.is_empty() => hand(self.shape(shape)),
            What::Shape { shape, gaps } => hand(format!("{}, {}", self.shape(shape), self.gaps(gaps))),
            What::AddedSecond(shape) => hand(format!("{}, a second added to the root", self.shape(shape))),
            What::Texture(texture) => hand(texture.words()),
            What::Downbeat(by) if by.0 == 0 => "the top line starts where the bar before did".to_owned(),
            What::Downbeat(by) => format!("the top line starts {} than the bar before", by.compared()),
            What::Like(like) => self.like_more(like),
            What::Sequence(sequence) => self.sequence(sequence),
            What::Switch(switch, nth) => {
                let places = &self.switches[*switch].places;
                let bar = |at: i64| self.bars(bar_at(self.material, at), bar_at(self.material, at) + 1);
                // The nearest copies are those that are mixed up.
                let near = [nth.checked_sub(1), Some(nth + 1)].into_iter().flatten().filter_map(|i| places.get(i)).map(|at| bar(*at));
                let more = if places.len() > 3 { format!(", {} copies in all", places.len()) } else { String::new() };
                format!("parts from its look-alike: {}{more}", near.collect::<Vec<_>>().join(", "))
            }
            What::New(new) => self.novelty(*new),
        }
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
