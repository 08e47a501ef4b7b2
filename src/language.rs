//! The words on screen in the player's language: a text stands in the code in English, inside `tr!`, and a catalogue in gettext's
//! PO format gives it in another language.
//!
//! A text without a translation stays English. What a player wrote (names, cues, lines of story) is never translated, nor are the
//! words of files and options, and what other programs read: pieces, settings, scripts and JSON are the same in every language.

/// Marks a text of a table that is put into the player's language where it is shown, by `tr!(words)`.
macro_rules! msgid {
    ($text:literal) => {
        $text
    };
}

/// Says a text in the player's language, with values put in where it names them: `tr!("bar {bar}", bar)`, `tr!("{n} of {all}", n = 3, all)`.
/// What sets a text apart from the same text elsewhere goes before it (`tr!("hand" => "left")`); what is counted has both forms
/// (`tr!("1 slip" | "{n} slips" % n)`).
///
/// There are more than a thousand of these, so a place has no more code of its own than a call and a list of its values.
macro_rules! tr {
    ($context:tt => $($text:tt)+) => { tr!(@ $context, $($text)+) };
    (@ $context:tt, $text:tt) => { String::from($crate::language::said($context, $text)) };
    (@ $context:tt, $text:tt, $($values:tt)*) => {
        $crate::language::filled($crate::language::said($context, $text), values!([] $($values)*))
    };
    (@ $context:tt, $one:tt | $many:tt % $n:expr) => {{
        let n = $n;
        $crate::language::filled($crate::language::said_of($context, n, $one, $many), values!([] n))
    }};
    (@ $context:tt, $one:tt | $many:tt % $n:expr, $($values:tt)+) => {{
        let n = $n;
        $crate::language::filled($crate::language::said_of($context, n, $one, $many), values!([] $($values)+, n = n))
    }};
    ($($text:tt)+) => { tr!(@ "", $($text)+) };
}

/// Lists values by the names that a text has for them.
macro_rules! values {
    ([$($known:tt)*]) => { &[$($known)*] };
    ([$($known:tt)*] $name:ident) => { values!([$($known)* (stringify!($name), &$name),]) };
    ([$($known:tt)*] $name:ident, $($more:tt)*) => { values!([$($known)* (stringify!($name), &$name),] $($more)*) };
    ([$($known:tt)*] $name:ident = $value:expr) => { values!([$($known)* (stringify!($name), &$value),]) };
    ([$($known:tt)*] $name:ident = $value:expr, $($more:tt)*) => { values!([$($known)* (stringify!($name), &$value),] $($more)*) };
    ([$($known:tt)*] $value:expr) => { values!([$($known)* ("", &$value),]) };
    ([$($known:tt)*] $value:expr, $($more:tt)*) => { values!([$($known)* ("", &$value),] $($more)*) };
}

pub mod date;
pub mod named;
pub mod system;

use std::collections::HashMap;
use std::fmt::{Display, Write as _};
use std::io::Read as _;
use std::sync::LazyLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use flate2::read::DeflateDecoder;

/// A language that the program speaks.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Language {
    #[default]
    English,
    French,
}

/// The catalogue of French, as the build packs it.
static FRENCH: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::unpack(include_bytes!(concat!(env!("OUT_DIR"), "/fr.words"))));

/// Returns a number with one decimal as it is written: `2.5`.
pub fn tenths(number: f64) -> String {
    let text = format!("{number:.1}");
    // The sign between whole and decimals is a comma in many languages.
    text.replace('.', &tr!("."))
}

/// The language of now, as an index of [`Language::ALL`].
static SPOKEN: AtomicUsize = AtomicUsize::new(0);

impl Language {
    pub const ALL: [Language; 2] = [Language::English, Language::French];

    /// Returns the tag of the settings file: a language code of ISO 639-1.
    pub fn tag(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::French => "fr",
        }
    }

    /// Makes this the language of every `tr!` of the program from now on.
    ///
    /// The shell calls it before anything is shown: what was said before stays as it was said.
    pub fn speak(self) {
        SPOKEN.store(self as usize, Ordering::Relaxed);
    }

    /// Returns the words of a language that is not the code's own.
    fn catalogue(self) -> Option<&'static Catalogue> {
        match self {
            Language::English => None,
            Language::French => Some(&FRENCH),
        }
    }

    /// Returns the language of every `tr!` now.
    pub fn spoken() -> Language {
        Language::ALL[SPOKEN.load(Ordering::Relaxed)]
    }
}

/// A text of the code: what sets it apart from the same text elsewhere, its form for one, and the form for several; none of the outer two
/// where there is none.
type Text = (&'static str, &'static str, &'static str);

/// A catalogue as `build.rs` packs it: each text and its one or two forms. It is of a language that says one and none alike, as French
/// does.
struct Catalogue(HashMap<Text, [&'static str; 2]>);

impl Catalogue {
    fn unpack(packed: &[u8]) -> Catalogue {
        let mut table = String::new();
        DeflateDecoder::new(packed).read_to_string(&mut table).expect("the build packed a text");
        // Texts are asked for as long as the program runs.
        let entries = table.leak().split_terminator('\u{1e}').map(|entry| {
            let fields: Vec<&str> = entry.split('\u{1f}').collect();
            match fields[..] {
                [context, text, said] => ((context, text, ""), [said; 2]),
                [context, one, many, said_of_one, said_of_many] => ((context, one, many), [said_of_one, said_of_many]),
                _ => unreachable!("the build writes three fields or five: {entry:?}"),
            }
        });
        Catalogue(entries.collect())
    }

    /// Returns both forms of a text: what sets it apart, its form for one, and for several.
    fn forms<'a>(&'a self, text: (&'a str, &'a str, &'a str)) -> Option<&'a [&'a str; 2]> {
        let Catalogue(texts): &'a Catalogue = self;
        texts.get(&text)
    }

    fn said<'a>(&'a self, context: &'a str, text: &'a str) -> &'a str {
        self.forms((context, text, "")).map_or(text, |said| said[0])
    }

    fn said_of<'a>(&'a self, context: &'a str, n: u64, one: &'a str, many: &'a str) -> &'a str {
        self.forms((context, one, many)).map_or_else(|| english_of(n, one, many), |said| said[usize::from(n > 1)])
    }
}

fn english_of<'a>(n: u64, one: &'a str, many: &'a str) -> &'a str {
    if n == 1 { one } else { many }
}

/// Returns a text in the language of now; for `tr!`.
pub(crate) fn said<'a>(context: &'a str, text: &'a str) -> &'a str {
    Language::spoken().catalogue().map_or(text, |words| words.said(context, text))
}

/// Returns the form of a text that counts `n` in the language of now; for `tr!`.
pub(crate) fn said_of<'a>(context: &'a str, n: impl TryInto<u64>, one: &'a str, many: &'a str) -> &'a str {
    let n = n.try_into().unwrap_or(u64::MAX);
    Language::spoken().catalogue().map_or_else(|| english_of(n, one, many), |words| words.said_of(context, n, one, many))
}

/// Returns a text with its values put in: `{name}` by name, `{}` in order, `{{` for a brace. What has no value stays as it is, for a
/// catalogue is written by hand. For `tr!`.
pub(crate) fn filled(text: &str, values: &[(&str, &dyn Display)]) -> String {
    let mut out = String::with_capacity(2 * text.len());
    let mut rest = text;
    let mut in_order = values.iter();
    while let Some(at) = rest.find(['{', '}']) {
        out.push_str(&rest[..at]);
        let (brace, after) = rest[at..].split_at(1);
        if let Some(after) = after.strip_prefix(brace) {
            out.push_str(brace);
            rest = after;
            continue;
        }
        let named = after.split_once('}').filter(|_| brace == "{").and_then(|(name, after)| {
            let value = if name.is_empty() { in_order.next() } else { values.iter().find(|(known, _)| *known == name) };
            value.map(|(_, value)| (value, after))
        });
        match named {
            Some((value, after)) => {
                let _ = write!(out, "{value}");
                rest = after;
            }
            None => {
                out.push_str(brace);
                rest = after;
            }
        }
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn french_counts_none_and_one_alike_and_what_it_lacks_stays_english() {
        let slips = |n| FRENCH.said_of("", n, ", 1 slip", ", {n} slips");
        assert_eq!([slips(0), slips(1), slips(2)], [", {n} faute", ", {n} faute", ", {n} fautes"]);
        assert_eq!(FRENCH.said("", "over to you"), "à vous");
        assert_eq!(FRENCH.said("another place", "over to you"), "over to you");
        assert_eq!(FRENCH.said("", "no text of this program"), "no text of this program");
        assert_eq!(FRENCH.said_of("", 1, "1 nothing", "{n} nothings"), "1 nothing");
    }

    #[test]
    fn values_go_where_a_text_names_them() {
        let (bar, hand) = (12, "left");
        // Texts by a name, for the catalogue has all that stand in a `tr!`.
        let [named, in_order, braces, plain] =
            ["{hand} hand in bar {bar}, {bar}", "{} of {all}, {}", "{{bar}} {missing} {bar", "{as it stands}"];
        assert_eq!(tr!(named, bar, hand), "left hand in bar 12, 12");
        assert_eq!(tr!(in_order, bar + 1, all = bar * 2, hand,), "13 of 24, 24");
        assert_eq!(tr!(braces, bar), "{bar} {missing} {bar");
        assert_eq!(tr!(plain), "{as it stands}");
        let [one, many, of] = ["1 {what}", "{n} {what} in {bar}", "{} of {}"];
        assert_eq!([1u8, 3].map(|n| tr!(one | many % n, what = "slips", bar)), ["1 slips", "3 slips in 12"]);
        assert_eq!(tr!(one | of % 2, "one"), "one of 2");
        assert_eq!([1u64, 0].map(|n| tr!(hand | many % n)), ["left", "0 {what} in {bar}"]);
        assert_eq!(tr!(hand => named, bar, hand), "left hand in bar 12, 12");
    }
}
