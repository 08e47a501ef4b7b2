//! The settings file, `config.toml`.
//!
//! [`Config::parse`] reads the text; a file that is not there means the settings that this
//! reference shows:
//!
//! ```toml
#![doc = include_str!("config/reference.toml")]
//! ```

mod hands;
mod letters;
pub mod number;
mod shown;
mod speak;

pub use hands::put_switch;
pub use letters::put_letters;
pub use shown::{Shown, shown};
pub use speak::Speak;

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use hands::Hands;

use crate::analysis::sections::BARS;
use crate::language::{Language, system};
use crate::memory::rules::Rules;
use crate::midi::MatchMode;
use crate::paths::{TEXT_BYTES_MAX, read_text, replace_file};
use crate::piece::text::{At, Error as TextError, Keys, Source};
use crate::piece::{ANCHORS, Instrument, Manner, Piece, ROLL_MS_MAX};
use crate::practice::footswitch::FootswitchConfig;
use crate::practice::hands_free::HandsFreeConfig;
use crate::practice::quiz::{Mix, QuizConfig};
use crate::practice::view::Breaks;
use crate::practice::{PassMark, PracticeConfig, Rests};
use crate::time::Micros;

/// The text of a settings file that has every key in it, explained.
pub const REFERENCE: &str = include_str!("config/reference.toml");

/// What the player has set, once for all pieces.
#[derive(Clone, PartialEq, Debug)]
pub struct Config {
    /// Name, or part of it, of the MIDI input to listen to when none is given.
    pub input: Option<String>,
    /// The file that the log is written to; none: there is no log. Beside the journal, where it is no whole path.
    pub log: Option<PathBuf>,
    /// What speaks the cues; none: they are only shown.
    pub speak: Option<Speak>,
    practice: PracticeConfig,
    /// What a run-through must show to be held, where that is asked for.
    pass: PassMark,
    is_strict: bool,
    /// Clean reps wanted of a section, where neither piece nor section says.
    reps: u8,
    /// Bars that a section runs on into the next when it is drilled.
    pub overlap_bars: usize,
    /// Fewest and most bars of a section that is proposed.
    section_bars: (usize, usize),
    /// Days that both sides of a switch must have been known before a quiz asks it.
    pub switch_days: u64,
    /// A pause between reps of the same bars, in a session of minutes (Das et al. 2024: short rests between early reps; pacing only).
    pub breath: Micros,
    pub rests: Rests,
    /// Rules of tests over days and of the plan of a day.
    pub rules: Rules,
    /// Of the quiz: from the question to the first note; from the call of a landmark to going on there; what is asked.
    first_onset: Micros,
    jump: Micros,
    mix: Mix,
    /// Where tones are sent; none: nothing sounds.
    pub tone: Option<String>,
    /// How a harp is played and heard, where a piece does not say.
    pub harp: Manner,
    hands: Hands,
    /// The fewest half rows of a capital in a cue, as the player can read them; none: as small as block letters go.
    pub letters: Option<usize>,
    /// What is set otherwise than usual of all that a rep is judged by.
    judged_by: Vec<String>,
}

/// Why the settings could not be read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{}", tr!("cannot read the settings {file}", file = file.display()))]
    Read { file: PathBuf, source: std::io::Error },
    #[error("{}", tr!("cannot change the settings {file}: {what}", file = file.display(), what))]
    Change { file: PathBuf, what: String },
    #[error(transparent)]
    Text(#[from] TextError),
}

impl Default for Config {
    fn default() -> Self {
        let quiz = QuizConfig::standard(0, 0);
        Config {
            input: None,
            log: None,
            speak: None,
            practice: PracticeConfig::standard(),
            pass: PassMark::STANDARD,
            is_strict: false,
            reps: Piece::TARGET_REPS,
            overlap_bars: 0,
            section_bars: (*BARS.start(), *BARS.end()),
            switch_days: 0,
            breath: Micros::from_millis(8_000),
            rests: Rests::standard(),
            rules: Rules::standard(),
            first_onset: quiz.first_onset,
            jump: quiz.jump,
            mix: quiz.mix,
            tone: None,
            harp: Manner::USUAL,
            hands: Hands::default(),
            letters: None,
            judged_by: Vec::new(),
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
        match read_text(file, TEXT_BYTES_MAX) {
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
        let source = Source::new(file_name, text);
        let root = source.parse()?;
        let known =
            [&["input", "language", "log", "speak", "tone", "footswitch", "hands-free", "letters", "harp"], &number::TABLES[..]].concat();
        let keys = Keys::try_new(source, root.get_ref(), 0..0, msgid!("the settings"), &known)?;
        let text = |key: &str| keys.optional_string(key).map(|text| text.map(|t| t.value));
        let mut config = Config { input: text("input")?, tone: text("tone")?, ..Config::default() };
        config.log = text("log")?.map(PathBuf::from);
        // It was spoken before the settings were read; see `language_of`.
        keys.word("language", &Language::ALL.map(|language| (language.tag(), language)))?;
        if let Some(At { value: template, place }) = keys.optional_string("speak")? {
            let hint = Speak::HINT;
            let refused = |expected: &str| TextError::new(file_name, place, tr!(expected), format!("{template:?}")).with_hint(tr!(hint));
            config.speak = Some(Speak::try_new(&template).map_err(refused)?);
        }
        config.hands = Hands::read(&keys, file_name)?;
        if let Some(keys) = keys.table("harp", "[harp]", &["match", "roll-ms", "roll-anchor"])? {
            let own = Manner {
                matching: keys.word("match", &MatchMode::WORDS)?.map(|m| m.value),
                roll_longest: keys.integer("roll-ms", 0..=ROLL_MS_MAX)?.map(|ms| Micros::from_millis(ms.value)),
                roll_ends_on_beat: keys.word("roll-anchor", &ANCHORS)?.map(|a| a.value),
            };
            config.harp = own.or(config.harp);
            let usual = Manner::USUAL;
            if let Some(roll) = own.roll_longest.filter(|_| own.roll_longest != usual.roll_longest) {
                config.judged_by.push(format!("harp.roll-ms = {}", roll.0 / 1_000));
            }
            let anchor = own.roll_ends_on_beat.filter(|_| own.roll_ends_on_beat != usual.roll_ends_on_beat);
            config
                .judged_by
                .extend(ANCHORS.iter().filter(|(_, ends)| Some(*ends) == anchor).map(|(word, _)| format!("harp.roll-anchor = {word:?}")));
        }
        config.letters = letters::read(&keys)?;
        number::read(&keys, &mut config)?;
        Ok(config)
    }

    /// Returns the language that the text of a settings file asks for, whatever else stands in it; none where it asks for none or is no TOML.
    pub fn language_of(text: &str) -> Option<Language> {
        // Nearly all files say nothing of it, and every start of the program asks.
        let root = text.contains("language").then(|| toml::from_str::<toml::Table>(text).ok())??;
        let tag = root.get("language")?.as_str()?;
        Language::ALL.into_iter().find(|language| language.tag() == tag)
    }

    /// Changes the text of the settings file, which is made where there is none; written whole or not at all.
    ///
    /// # Errors
    /// When the file cannot be read or written, or would not be a settings file any more.
    pub fn change(file: &Path, edit: impl FnOnce(&str) -> Result<String, String>) -> Result<(), Error> {
        let refused = |what: String| Error::Change { file: file.to_owned(), what };
        let changed = edit(&Config::read(file)?.unwrap_or_default()).map_err(refused)?;
        Config::parse(&changed, &file.display().to_string())?;
        let folder = file.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let written = std::fs::create_dir_all(folder).and_then(|()| replace_file(file, changed.as_bytes()));
        written.map_err(|error| refused(system::said(&error)))
    }

    /// Returns the footswitches where no piece is played.
    pub fn switches(&self) -> FootswitchConfig {
        self.hands.footswitch(Instrument::Keyboard)
    }

    /// Returns what is set otherwise than usual of all that a rep is judged by, as lines of a settings file that is read by
    /// [`Config::parse`]: `hesitation.floor-s = 0.5`. How the instrument is heard stands in each take.
    pub fn judged_by(&self) -> String {
        self.judged_by.iter().map(|line| format!("{line}\n")).collect()
    }

    /// Returns the rules and timings of practice, with what the player has set in them.
    pub fn practice(&self) -> PracticeConfig {
        PracticeConfig { pass: self.is_strict.then_some(self.pass), ..self.practice.clone() }
    }

    /// Returns how many bars a section that is proposed may have.
    pub fn section_bars(&self) -> RangeInclusive<usize> {
        self.section_bars.0..=self.section_bars.1
    }

    /// Lets a piece that does not say how many clean reps it wants have as many as are set.
    pub fn set_reps(&self, piece: &mut Piece) {
        if !piece.says_reps {
            piece.target_reps = self.reps;
        }
    }

    /// Returns when breaks are suggested, and how long they are.
    pub fn breaks(&self) -> Breaks {
        let minutes = |minutes: f64| Micros::from_secs_f64(minutes * 60.0);
        Breaks { after: minutes(self.rules.block_minutes), length: minutes(self.rules.rest_minutes) }
    }

    /// Returns how a quiz of so many minutes goes, with what the player has set in it.
    pub fn quiz(&self, minutes: u32, seed: u64) -> QuizConfig {
        QuizConfig { first_onset: self.first_onset, jump: self.jump, mix: self.mix, ..QuizConfig::standard(minutes, seed) }
    }

    /// Returns what may be asked for without a key where this piece is played.
    pub fn hands_free(&self, piece: &Piece) -> HandsFreeConfig {
        self.hands.config(piece)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::practice::Command;
    use crate::practice::footswitch::{Pressed, Switch, Trigger};

    fn piece(instrument: Instrument) -> Piece {
        let mut piece = crate::piece_folder::open_piece("ferry", None, &[]).unwrap().piece;
        piece.instrument = instrument;
        piece.harp = instrument.usual_harp();
        piece
    }

    #[test]
    fn the_reference_shows_the_settings_that_hold_when_nothing_is_set() {
        let read = Config::parse(REFERENCE, "config.toml").unwrap();
        let harp = piece(Instrument::LeverHarp);
        assert_eq!(read.hands_free(&harp), Config::default().hands_free(&harp));
        assert_eq!(Config { hands: read.hands.without_controllers(), letters: read.letters.filter(|n| *n > 7), ..read }, Config::default());
        let all = ["# input", "# log", "# speak", "# tone"].iter().fold(REFERENCE.to_owned(), |text, key| text.replace(key, &key[2..]));
        let with_all = Config::parse(&all, "config.toml").unwrap();
        assert_eq!(with_all.input.as_deref(), Some("harp"));
        assert_eq!(with_all.log.as_deref(), Some(Path::new("catchword.log")));
        assert_eq!(with_all.speak, Speak::try_new("espeak-ng {text}").ok());
        assert_eq!(with_all.tone.as_deref(), Some("synth"));
        let words = Command::ALL.iter().map(|c| c.word()).collect::<Vec<_>>().join(", ");
        assert!(REFERENCE.contains(&words), "the reference lists the words: {words}");
    }

    /// The numbers of controllers and what they ask for.
    fn controllers(config: &Config, instrument: Instrument) -> Vec<(u8, Command)> {
        let switches = config.hands_free(&piece(instrument)).footswitch.switches;
        let number = |s: &Switch| if let Trigger::Controller(n) = s.trigger { Some((n, s.command)) } else { None };
        switches.iter().filter_map(number).collect()
    }

    #[test]
    fn the_damper_pedal_pauses_a_harpist_and_is_left_to_a_keyboard_player() {
        let of = |instrument| controllers(&Config::default(), instrument);
        assert_eq!(of(Instrument::Keyboard), [(66, Command::Again), (67, Command::Skip)]);
        assert_eq!(of(Instrument::PedalHarp), [(64, Command::Pause), (66, Command::Again), (67, Command::Skip)]);
        let own = Config::parse("[footswitch.controllers]\n64 = \"next\"\n", "config.toml").unwrap();
        assert_eq!(controllers(&own, Instrument::Keyboard), [(64, Command::Skip)]);
    }

    #[test]
    fn a_learned_switch_goes_before_the_usual_meaning_of_its_controller_and_leaves_comments_alone() {
        let switch = |trigger, pressed, command| Switch { trigger, pressed, command };
        let key = Trigger::Note(crate::midi::MidiKey::try_new(21).unwrap());
        let soft = switch(Trigger::Controller(67), Pressed::UpTo(40), Command::Later);
        let mut text = "# mine\n[footswitch]\nreversed = true # all of them\n".to_owned();
        for learned in [soft, switch(key, Pressed::From(1), Command::Start), switch(Trigger::Controller(4), Pressed::Each, Command::Pause)]
        {
            text = put_switch(&text, &learned).unwrap();
        }
        let once = text.clone();
        assert_eq!(put_switch(&text, &switch(Trigger::Controller(4), Pressed::Each, Command::Pause)).unwrap(), once, "once is enough");
        assert!(text.starts_with("# mine\n[footswitch]\nreversed = true # all of them\n"), "{text}");
        let feet = Config::parse(&text, "config.toml").unwrap().hands_free(&piece(Instrument::Keyboard)).footswitch;
        let usual = switch(Trigger::Controller(66), Pressed::REVERSED, Command::Again);
        let learned = [soft, switch(key, Pressed::From(1), Command::Start), switch(Trigger::Controller(4), Pressed::Each, Command::Pause)];
        assert_eq!(feet.switches, [&[usual] as &[Switch], &learned].concat());
        // Another switch for the same thing takes its place.
        let text = put_switch(&text, &switch(Trigger::Controller(11), Pressed::ON, Command::Later)).unwrap();
        assert_eq!(text.matches("later").count(), 1, "{text}");
        assert!(shown(&text, "config.toml").unwrap().iter().all(|s| s.line.is_none_or(|line| line > 1)));
        assert!(put_switch("footswitch = 3\n", &soft).is_err());
    }

    #[test]
    fn the_lowest_and_the_highest_of_the_instrument_are_signs_that_can_be_set() {
        let keys = |config: &Config, instrument| -> Vec<(Vec<u8>, Command)> {
            let signs = config.hands_free(&piece(instrument)).gestures.signs;
            signs.into_iter().map(|s| (s.keys.iter().map(|k| k.number()).collect(), s.command)).collect()
        };
        let usual = Config::default();
        // C2 and C7 of a lever harp, C1 and G7 of a concert harp, with a lever or pedal moved; A0 and C8 of a piano (common practice).
        let two = |low: &[u8], high: &[u8]| vec![(low.to_vec(), Command::Again), (high.to_vec(), Command::Skip)];
        assert_eq!(keys(&usual, Instrument::LeverHarp), two(&[35, 36, 37], &[95, 96, 97]));
        assert_eq!(keys(&usual, Instrument::PedalHarp), two(&[23, 24, 25], &[102, 103, 104]));
        assert_eq!(keys(&usual, Instrument::Keyboard), two(&[21], &[108]));
        // What the set-up of the instrument heard goes before that: 61 keys.
        let mut set_up = piece(Instrument::Keyboard);
        let soft = [36, 96].map(|n| (crate::midi::MidiKey::try_new(n).unwrap(), crate::midi::Velocity(40))).into();
        let sensor = crate::midi::sensor::Sensor { soft, ..crate::midi::sensor::Sensor::usual() };
        set_up.hearing = crate::midi::Hearing { matching: crate::midi::Matching::Sounding, sensor: Some(sensor) }.into();
        let signs = usual.hands_free(&set_up).gestures.signs;
        assert_eq!(signs.iter().map(|s| s.keys[0].number()).collect::<Vec<_>>(), [36, 96]);
        let own = "[hands-free]\nlowest = \"E2\"\nlowest-twice = \"was-not\"\nhighest-twice = \"nothing\"\nmove-on-s = 0\n";
        let own = Config::parse(own, "config.toml").unwrap();
        assert_eq!(keys(&own, Instrument::Keyboard), [(vec![40], Command::Overrule(crate::journal::entry::Verdict::Broken))]);
        assert_eq!(own.hands_free(&piece(Instrument::Keyboard)).move_on, None);
    }

    #[test]
    fn complaints_name_the_place_and_the_nearest_thing_that_would_do() {
        for (text, message) in [
            ("imput = \"x\"\n", "config.toml:1:1: expected a key of the settings, found \"imput\"; did you mean \"input\"?"),
            ("[prompts]\ncue = 1\n", "config.toml:2:1: expected a key of [prompts], found \"cue\"; did you mean \"cue-s\"?"),
            ("[ready]\nnotes = 0.2\n", "config.toml:2:9: expected a number from 0.5 to 1 for \"notes\", found 0.2"),
            ("[prompts]\ncue-s = 3.5\n", "config.toml:2:9: expected a number from 0 to 3 for \"cue-s\", found 3.5"),
            ("[plan]\nlater-reps = 3\n", "config.toml:2:14: expected a whole number from 1 to 2 for \"later-reps\", found 3"),
            ("[quis]\n", "config.toml:1:2: expected a key of the settings, found \"quis\"; did you mean \"quiz\"?"),
            (
                "[footswitch.controllers]\n128 = \"next\"\n",
                "config.toml:2:1: expected the number of a MIDI controller, 0 to 119, found \"128\"; the usual foot pedals are 64, 66 and 67",
            ),
            (
                "[footswitch.controllers]\n67 = \"nxt\"\n",
                "config.toml:2:6: expected one of \"start\", \"pause\", \"again\", \"next\", \"back\", \"was-clean\", \"was-not\", \"more-reps\", \
                 \"fewer-reps\", \"later\", \"no-line\", \"cue\", \"quit\" for \"67\", found \"nxt\"; did you mean \"next\"?",
            ),
            (
                "\nspeak = \"espeak-ng\"\n",
                "config.toml:2:9: expected a program, then {text} as a word of its own, once, found \"espeak-ng\"; \
                 it is run without a shell, as in speak = \"espeak-ng {text}\"",
            ),
            ("[[footswitch.learned]]\ncontroller = 4\n", "config.toml:1:1: expected \"does\" in [[footswitch.learned]], found none"),
            ("[hands-free]\nlowest = \"H\"\n", "config.toml:2:10: expected a pitch such as \"C2\" (C4 is middle C), found \"H\""),
            ("footswitch = 3\n", "config.toml:1:14: expected a table [footswitch], found 3"),
        ] {
            assert_eq!(Config::parse(text, "config.toml").unwrap_err().to_string(), message);
        }
    }

    #[test]
    fn the_language_is_known_before_the_settings_are_read() {
        let language = |text| Config::language_of(text);
        assert_eq!(language("language = \"fr\"\nimput = \"x\"\n"), Some(Language::French), "the rest may be wrong");
        assert_eq!(language("# language = \"fr\"\n"), None);
        assert_eq!(language("language = \"xx\"\n"), None);
        assert_eq!(language("language = \"fr\"\n[\n"), None, "no TOML");
        assert_eq!(language("[plan]\nlanguage = \"fr\"\n"), None);
    }

    #[test]
    fn no_file_means_the_usual_settings_and_an_unreadable_one_is_named() {
        let dir = tempfile::tempdir().unwrap();
        assert_eq!(Config::load(&dir.path().join("config.toml")).unwrap(), Config::default());
        let message = Config::load(dir.path()).unwrap_err().to_string();
        assert!(message.starts_with("cannot read the settings "), "{message}");
    }
}
