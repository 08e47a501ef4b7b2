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

pub mod date;
pub mod named;
pub mod system;

use std::borrow::Cow;
use std::collections::HashMap;
use std::io::Read as _;
use std::sync::atomic::{AtomicUsize, Ordering};

use flate2::read::DeflateDecoder;
use tr::Translator;

/// A language that the program speaks.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Language {
    #[default]
    English,
    French,
}

/// The catalogue of French, as the build packs it.
const FRENCH: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/fr.words"));

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
        match self {
            Language::English => tr::unset_translator!(),
            Language::French => tr::set_translator!(Catalogue::unpack(FRENCH)),
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

    fn said<'a>(&'a self, text: (&'a str, &'a str, &'a str)) -> Option<&'a [&'a str; 2]> {
        let Catalogue(texts): &'a Catalogue = self;
        texts.get(&text)
    }
}

impl Translator for Catalogue {
    fn translate<'a>(&'a self, text: &'a str, context: Option<&'a str>) -> Cow<'a, str> {
        Cow::Borrowed(self.said((context.unwrap_or_default(), text, "")).map_or(text, |said| said[0]))
    }

    fn ntranslate<'a>(&'a self, n: u64, one: &'a str, many: &'a str, context: Option<&'a str>) -> Cow<'a, str> {
        let english = if n == 1 { one } else { many };
        Cow::Borrowed(self.said((context.unwrap_or_default(), one, many)).map_or(english, |said| said[usize::from(n > 1)]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn french_counts_none_and_one_alike_and_what_it_lacks_stays_english() {
        let french = Catalogue::unpack(FRENCH);
        let slips = |n| french.ntranslate(n, ", 1 slip", ", {n} slips", None);
        assert_eq!([slips(0), slips(1), slips(2)], [", {n} faute", ", {n} faute", ", {n} fautes"]);
        assert_eq!(french.translate("over to you", None), "à vous");
        assert_eq!(french.translate("over to you", Some("another place")), "over to you");
        assert_eq!(french.translate("no text of this program", None), "no text of this program");
        assert_eq!(french.ntranslate(1, "1 nothing", "{n} nothings", None), "1 nothing");
    }
}
