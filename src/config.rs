//! The settings file, `config.toml`.
//!
//! [`Config::parse`] reads the text; a file that is not there means the settings that this
//! reference shows:
//!
//! ```toml
#![doc = include_str!("config/reference.toml")]
//! ```

mod shown;
mod speak;

pub use shown::{Shown, shown};
pub use speak::Speak;

use std::path::{Path, PathBuf};

use crate::piece::Instrument;
use crate::piece::text::{At, Error as TextError, Keys, Source};
use crate::practice::footswitch::FootswitchConfig;
use crate::practice::{Command, LadderConfig, PracticeConfig};
use crate::time::Micros;

/// The text of a settings file that has every key in it, explained.
pub const REFERENCE: &str = include_str!("config/reference.toml");

/// What the player has set, once for all pieces.
#[derive(Clone, PartialEq, Debug)]
pub struct Config {
    /// Name, or part of it, of the MIDI input to listen to when none is given.
    pub input: Option<String>,
    /// What speaks the cues; none: they are only shown.
    pub speak: Option<Speak>,
    /// When each rung of the prompt ladder is shown.
    pub ladder: LadderConfig,
    /// What the player's own table says; none: the usual ones for the instrument.
    controllers: Option<Vec<(u8, Command)>>,
    debounce: Micros,
    is_reversed: bool,
}

/// Why the settings could not be read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("cannot read the settings {file}", file = file.display())]
    Read { file: PathBuf, source: std::io::Error },
    #[error(transparent)]
    Text(#[from] TextError),
}

impl Default for Config {
    fn default() -> Self {
        Config {
            input: None,
            speak: None,
            ladder: PracticeConfig::standard().ladder,
            controllers: None,
            debounce: Micros::from_millis(250),
            is_reversed: false,
        }
    }
}

impl Config {
    /// Reads the settings file; where there is none, returns the usual settings.
    ///
    /// # Errors
    /// When the file is there but cannot be read, or something in it is not as it must be.
    pub fn load(file: &Path) -> Result<Config, Error> {
        match Config::read(file)? {
            Some(text) => Ok(Config::parse(&text, &file.display().to_string())?),
            None => Ok(Config::default()),
        }
    }

    /// Returns the text of the settings file; none where there is none.
    ///
    /// # Errors
    /// When the file is there but cannot be read.
    pub fn read(file: &Path) -> Result<Option<String>, Error> {
        match std::fs::read_to_string(file) {
            Ok(text) => Ok(Some(text)),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Err(source) => Err(Error::Read { file: file.to_owned(), source }),
        }
    }

    /// Reads the text of a settings file; `file_name` serves messages.
    ///
    /// # Errors
    /// When the text is not TOML, or a key is unknown or of the wrong kind.
    pub fn parse(text: &str, file_name: &str) -> Result<Config, TextError> {
        let source = Source { file: file_name, text };
        let root = source.parse()?;
        let keys = Keys::try_new(source, root.get_ref(), 0..0, "the settings", &["input", "speak", "footswitch", "prompts"])?;
        let mut config = Config { input: keys.optional_string("input")?.map(|i| i.value), ..Config::default() };
        if let Some(At { value: template, place }) = keys.optional_string("speak")? {
            let refused = |expected| TextError::new(file_name, place, expected, format!("{template:?}")).with_hint(Speak::HINT);
            config.speak = Some(Speak::try_new(&template).map_err(refused)?);
        }
        let footswitch = keys.table("footswitch", "[footswitch]", &["debounce-ms", "reversed", "controllers"])?;
        if let Some(keys) = footswitch {
            if let Some(ms) = keys.integer("debounce-ms", 0..=2000)? {
                config.debounce = Micros::from_millis(ms.value);
            }
            if let Some(reversed) = keys.boolean("reversed")? {
                config.is_reversed = reversed.value;
            }
            config.controllers =
                keys.open_table("controllers", "[footswitch.controllers]")?.map(|c| controllers(&c, file_name)).transpose()?;
        }
        if let Some(keys) = keys.table("prompts", "[prompts]", &["cue-s", "more-s", "page-s"])? {
            let set = |key: &str, value: &mut Micros| -> Result<(), TextError> {
                if let Some(seconds) = keys.number(key, 0.0..=60.0)? {
                    *value = Micros::from_secs_f64(seconds.value);
                }
                Ok(())
            };
            set("cue-s", &mut config.ladder.first_cue)?;
            set("more-s", &mut config.ladder.fuller_cue)?;
            set("page-s", &mut config.ladder.page)?;
        }
        Ok(config)
    }

    /// Returns the rules and timings of practice, with what the player has set in them.
    pub fn practice(&self) -> PracticeConfig {
        PracticeConfig { ladder: self.ladder.clone(), ..PracticeConfig::standard() }
    }

    /// Returns what the footswitches do when this instrument is played.
    pub fn footswitch(&self, instrument: Instrument) -> FootswitchConfig {
        let usual = || {
            let damper = (instrument != Instrument::Keyboard).then_some((64, Command::Pause));
            damper.into_iter().chain([(66, Command::Again), (67, Command::Skip)]).collect()
        };
        FootswitchConfig {
            commands: self.controllers.clone().unwrap_or_else(usual),
            debounce: self.debounce,
            is_reversed: self.is_reversed,
        }
    }
}

fn controllers(keys: &Keys<'_, '_>, file_name: &str) -> Result<Vec<(u8, Command)>, TextError> {
    let words: Vec<(&str, Command)> = Command::ALL.iter().map(|c| (c.word(), *c)).collect();
    let mut controllers = Vec::new();
    for At { value: key, place } in keys.names() {
        // 120 to 127 are channel mode messages, not controllers (MIDI 1.0).
        let number = key.parse::<u8>().ok().filter(|n| *n < 120 && n.to_string() == key).ok_or_else(|| {
            TextError::new(file_name, place, "the number of a MIDI controller, 0 to 119", format!("{key:?}"))
                .with_hint("the usual foot pedals are 64, 66 and 67")
        })?;
        if let Some(command) = keys.word(&key, &words)? {
            controllers.push((number, command.value));
        }
    }
    Ok(controllers)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reference_shows_the_settings_that_hold_when_nothing_is_set() {
        let read = Config::parse(REFERENCE, "config.toml").unwrap();
        assert_eq!(read.footswitch(Instrument::LeverHarp), Config::default().footswitch(Instrument::LeverHarp));
        assert_eq!(Config { controllers: None, ..read }, Config::default());
        let with_all = Config::parse(&REFERENCE.replace("# input", "input").replace("# speak", "speak"), "config.toml").unwrap();
        assert_eq!(with_all.input.as_deref(), Some("harp"));
        assert_eq!(with_all.speak, Speak::try_new("espeak-ng {text}").ok());
        let words = Command::ALL.iter().map(|c| c.word()).collect::<Vec<_>>().join(", ");
        assert!(REFERENCE.contains(&words), "the reference lists the words: {words}");
    }

    #[test]
    fn the_damper_pedal_pauses_a_harpist_and_is_left_to_a_keyboard_player() {
        let of = |instrument| Config::default().footswitch(instrument).commands;
        assert_eq!(of(Instrument::Keyboard), [(66, Command::Again), (67, Command::Skip)]);
        assert_eq!(of(Instrument::PedalHarp), [(64, Command::Pause), (66, Command::Again), (67, Command::Skip)]);
        let own = Config::parse("[footswitch.controllers]\n64 = \"next\"\n", "config.toml").unwrap();
        assert_eq!(own.footswitch(Instrument::Keyboard).commands, [(64, Command::Skip)]);
    }

    #[test]
    fn complaints_name_the_place_and_the_nearest_thing_that_would_do() {
        for (text, message) in [
            ("imput = \"x\"\n", "config.toml:1:1: expected a key of the settings, found \"imput\"; did you mean \"input\"?"),
            ("[prompts]\ncue = 1\n", "config.toml:2:1: expected a key of [prompts], found \"cue\"; did you mean \"cue-s\"?"),
            ("[prompts]\ncue-s = 61\n", "config.toml:2:9: expected a number from 0 to 60 for \"cue-s\", found 61"),
            (
                "[footswitch.controllers]\n128 = \"next\"\n",
                "config.toml:2:1: expected the number of a MIDI controller, 0 to 119, found \"128\"; the usual foot pedals are 64, 66 and 67",
            ),
            (
                "[footswitch.controllers]\n67 = \"nxt\"\n",
                "config.toml:2:6: expected one of \"pause\", \"again\", \"next\", \"back\", \"was-clean\", \"was-not\", \"more-reps\", \
                 \"fewer-reps\", \"later\", \"no-line\", \"cue\", \"quit\" for \"67\", found \"nxt\"; did you mean \"next\"?",
            ),
            (
                "\nspeak = \"espeak-ng\"\n",
                "config.toml:2:9: expected a program, then {text} as a word of its own, once, found \"espeak-ng\"; \
                 it is run without a shell, as in speak = \"espeak-ng {text}\"",
            ),
            ("footswitch = 3\n", "config.toml:1:14: expected a table [footswitch], found 3"),
        ] {
            assert_eq!(Config::parse(text, "config.toml").unwrap_err().to_string(), message);
        }
    }

    #[test]
    fn no_file_means_the_usual_settings_and_an_unreadable_one_is_named() {
        let dir = tempfile::tempdir().unwrap();
        assert_eq!(Config::load(&dir.path().join("config.toml")).unwrap(), Config::default());
        let message = Config::load(dir.path()).unwrap_err().to_string();
        assert!(message.starts_with("cannot read the settings "), "{message}");
    }
}
