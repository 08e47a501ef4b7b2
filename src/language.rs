//! The words on screen in the player's language: a text stands in the code in English, inside `tr!`, and a catalogue in gettext's
//! PO format gives it in another language.
//!
//! A text without a translation stays English. What a player wrote (names, cues, lines of story) is never translated, nor are the
//! words of files and what other programs read: pieces, settings, scripts and JSON are the same in every language.

/// Marks a text of a table that is put into the player's language where it is shown, by `tr!(words)`.
macro_rules! msgid {
    ($text:literal) => {
        $text
    };
}

pub mod date;
pub mod named;

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use tr::PoTranslator;

/// A language that the screens speak.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Language {
    #[default]
    English,
    French,
}

/// The catalogue of French, as `msgfmt --check` reads it.
const FRENCH: &str = include_str!("language/fr.po");

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
        let catalogue = match self {
            Language::English => {
                tr::unset_translator!();
                return;
            }
            Language::French => FRENCH,
        };
        // The reader takes a text where it is asked for a path (rspolib 0.1), and finds nothing in bytes.
        let words = PoTranslator::from_path(Path::new(catalogue)).expect("the catalogue is read by the tests");
        tr::set_translator!(words);
    }

    /// Returns the language of every `tr!` now.
    pub fn spoken() -> Language {
        Language::ALL[SPOKEN.load(Ordering::Relaxed)]
    }
}
