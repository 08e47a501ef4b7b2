//! The instruments that were set up, in `instruments.toml` beside the settings: one table an instrument, by the name of its port.
//!
//! The file is the program's own, and a player may edit it:
//!
//! ```toml
//! [[instrument]]
//! name = "Lyra MIDI 1"
//! match = "string"          # as in the settings; left out where it was not tried
//! names = -3                # the key signature by which it names strings: sharps, below 0 flats
//! retrigger-ms = 75         # a string that sounds again within this was struck once
//! ends = "ringing"          # what the end of a note means: none, ringing, damping
//! soft = "48:40 50:44"      # each string's key, and how hard it is struck when it is played softly
//! ```

use std::path::{Path, PathBuf};

use toml_edit::Value;

use crate::midi::profile::{Ends, Profile};
use crate::midi::sensor::Sensor;
use crate::midi::{MatchMode, MidiKey, Velocity};
use crate::paths::{Paths, replace_file};
use crate::piece::text::{At, Error as TextError, Keys, Source};
use crate::time::Micros;

const KEYS: [&str; 6] = ["name", "match", "names", "retrigger-ms", "ends", "soft"];

/// Why what is known of the instruments could not be read or kept.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{}", tr!("cannot read {file}, where the set-up of instruments is kept", file = file.display()))]
    Read { file: PathBuf, source: std::io::Error },
    #[error("{}", tr!("cannot write {file}; the set-up of the instrument is not kept", file = file.display()))]
    Write { file: PathBuf, source: std::io::Error },
    #[error(transparent)]
    Text(#[from] TextError),
}

/// Every instrument that was set up, by the name of its port, in the order of the file.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Instruments(pub Vec<(String, Profile)>);

impl Instruments {
    /// Returns where they are kept.
    pub fn file(paths: &Paths) -> PathBuf {
        paths.config_file.with_file_name("instruments.toml")
    }

    /// Reads the file; without one there are none.
    ///
    /// # Errors
    /// When it is there but cannot be read, or something in it is not as it must be.
    pub fn load(file: &Path) -> Result<Instruments, Error> {
        match std::fs::read_to_string(file) {
            Ok(text) => Ok(Instruments::parse(&text, &file.display().to_string())?),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(Instruments::default()),
            Err(source) => Err(Error::Read { file: file.to_owned(), source }),
        }
    }

    /// Reads the text of the file.
    ///
    /// # Errors
    /// When it is not TOML, or a key is unknown, missing or of the wrong kind.
    pub fn parse(text: &str, file_name: &str) -> Result<Instruments, TextError> {
        let source = Source::new(file_name, text);
        let root = source.parse()?;
        let keys = Keys::try_new(source, root.get_ref(), 0..0, msgid!("the instruments"), &["instrument"])?;
        let tables = keys.tables("instrument", "[[instrument]]", &KEYS)?;
        tables.iter().map(|keys| instrument(keys, file_name)).collect::<Result<_, _>>().map(Instruments)
    }

    pub fn get(&self, name: &str) -> Option<&Profile> {
        self.0.iter().find(|(known, _)| known == name).map(|(_, profile)| profile)
    }

    /// Keeps a profile, in place of what was known under the name.
    pub fn set(&mut self, name: &str, profile: Profile) {
        match self.0.iter_mut().find(|(known, _)| known == name) {
            Some((_, known)) => *known = profile,
            None => self.0.push((name.to_owned(), profile)),
        }
    }

    /// Writes the text that [`Instruments::parse`] reads back; the counts of the walk are left out.
    pub fn write(&self) -> String {
        let mut out = "# What catchword ports --tune found out. One table an instrument; delete one to forget it.\n".to_owned();
        for (name, profile) in &self.0 {
            let soft: Vec<String> = profile.sensor.soft.iter().map(|(key, v)| format!("{}:{}", key.number(), v.0)).collect();
            let rows = [
                ("name", Some(Value::from(name.as_str()))),
                ("match", profile.matching.map(|m| Value::from(m.word()))),
                ("names", profile.names.map(|n| Value::from(i64::from(n)))),
                ("retrigger-ms", Some(Value::from(profile.sensor.retrigger.0 / 1_000))),
                ("ends", Some(Value::from(profile.ends.word()))),
                ("soft", (!soft.is_empty()).then(|| Value::from(soft.join(" ")))),
            ];
            out.push_str("\n[[instrument]]\n");
            rows.iter().filter_map(|(key, value)| Some((key, value.as_ref()?))).for_each(|(key, value)| {
                out.push_str(&format!("{key} = {value}\n"));
            });
        }
        out
    }

    /// Writes the file, whole or not at all.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn save(&self, file: &Path) -> Result<(), Error> {
        let failed = |source| Error::Write { file: file.to_owned(), source };
        let folder = file.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
        std::fs::create_dir_all(folder).map_err(failed)?;
        replace_file(file, self.write().as_bytes()).map_err(failed)
    }
}

fn instrument(keys: &Keys<'_, '_>, file_name: &str) -> Result<(String, Profile), TextError> {
    let name = keys.required_string("name")?.value;
    let mut sensor = Sensor::usual();
    if let Some(At { value: text, place }) = keys.optional_string("soft")? {
        let pair = |pair: &str| {
            let (key, velocity) = pair.split_once(':')?;
            let velocity = velocity.parse::<u8>().ok().filter(|v| (1..128).contains(v))?;
            Some((MidiKey::try_new(key.parse().ok()?)?, Velocity(velocity)))
        };
        for word in text.split_whitespace() {
            let expected = tr!("a key and how hard it is struck softly, such as 48:40");
            let (key, velocity) = pair(word).ok_or_else(|| TextError::new(file_name, place, &*expected, format!("{word:?}")))?;
            sensor.soft.insert(key, velocity);
        }
    }
    if let Some(ms) = keys.integer("retrigger-ms", 0..=110)? {
        sensor.retrigger = Micros::from_millis(ms.value);
    }
    let profile = Profile {
        sensor,
        ends: keys.word("ends", &Ends::WORDS)?.map_or(Ends::Ringing, |e| e.value),
        matching: keys.word("match", &MatchMode::WORDS)?.map(|m| m.value),
        names: keys.integer("names", -7..=7)?.map(|n| n.value as i8),
    };
    Ok((name, profile))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(matching: Option<MatchMode>) -> Profile {
        let soft = [(48, 40), (50, 44)].map(|(key, v)| (MidiKey::try_new(key).unwrap(), Velocity(v))).into_iter().collect();
        let sensor = Sensor { soft, retrigger: Micros(75_000), ..Sensor::usual() };
        Profile { sensor, ends: Ends::Damping, matching, names: matching.map(|_| -3) }
    }

    #[test]
    fn what_is_kept_reads_back_and_a_second_set_up_takes_the_place_of_the_first() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("settings").join("instruments.toml");
        let mut all = Instruments::load(&file).unwrap();
        assert_eq!(all, Instruments::default());
        all.set("Lyra \"1\"", profile(None));
        all.set("/dev/midi", profile(None));
        all.set("Lyra \"1\"", profile(Some(MatchMode::Strings)));
        all.save(&file).unwrap();
        assert_eq!(Instruments::load(&file).unwrap(), all);
        assert_eq!(all.get("Lyra \"1\""), Some(&profile(Some(MatchMode::Strings))));
        assert_eq!(all.get("Lyra"), None);
        assert_eq!(std::fs::read_dir(file.parent().unwrap()).unwrap().count(), 1, "nothing is left beside it");
    }

    #[test]
    fn what_cannot_be_is_named_with_its_place() {
        for (text, message) in [
            ("[[instrument]]\n", "i.toml:1:1: expected the key \"name\" in [[instrument]], found none; add a line such as name = \"…\""),
            (
                "[[instrument]]\nname = 'x'\nsoft = '48:40 50'\n",
                "i.toml:3:8: expected a key and how hard it is struck softly, such as 48:40, found \"50\"",
            ),
            ("[[instrument]]\nname = 'x'\nnames = 8\n", "i.toml:3:9: expected a whole number from -7 to 7 for \"names\", found 8"),
        ] {
            assert_eq!(Instruments::parse(text, "i.toml").unwrap_err().to_string(), message);
        }
    }
}
