//! The words for an input, as typed after `--input`, and the source they mean.

use std::path::{Path, PathBuf};

use super::port::Port;
use super::replay::{Pace, Replay, read_take};
use super::stream::Stream;
use super::{Error, Source};
use crate::language::system;
use crate::paths::{SCORE_BYTES_MAX, read_file};

/// An input as meant: which kind, and which one of it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Spec {
    /// A system MIDI port by name or part of it; empty for the only one there is.
    Port(String),
    /// Raw MIDI bytes from a path.
    Stream(PathBuf),
    /// A recorded take, played in real time.
    Take(PathBuf),
}

impl Spec {
    /// Reads `port:NAME`, `stream:PATH` or `take:FILE`. A bare text is a path when something stands there (a recording when it
    /// is a plain file that ends in .mid, .midi, .jsonl or .json, raw bytes otherwise) or when it begins with `/`, `./` or `../`, and the name of a port otherwise.
    pub fn parse(text: &str) -> Spec {
        let text = text.trim();
        for (word, make) in [
            ("port:", (|rest| Spec::Port(rest)) as fn(String) -> Spec),
            ("stream:", |rest| Spec::Stream(rest.into())),
            ("take:", |rest| Spec::Take(rest.into())),
        ] {
            if let Some(rest) = text.strip_prefix(word) {
                return make(rest.trim().to_owned());
            }
        }
        let path = Path::new(text);
        let is_recording = path
            .extension()
            .and_then(|e| e.to_str())
            .is_some_and(|e| ["mid", "midi", "smf", "jsonl", "json"].contains(&e.to_ascii_lowercase().as_str()));
        let looks_like_path = ["/", "./", "../"].iter().any(|start| text.starts_with(start));
        match std::fs::metadata(path) {
            Ok(found) if found.is_file() && is_recording => Spec::Take(path.into()),
            Ok(found) if !found.is_dir() || looks_like_path => Spec::Stream(path.into()),
            Err(_) if looks_like_path && is_recording => Spec::Take(path.into()),
            Err(_) if looks_like_path => Spec::Stream(path.into()),
            _ => Spec::Port(text.to_owned()),
        }
    }

    /// Makes the source. A take is read now; a port must be there now; a path is opened when the source is started.
    ///
    /// # Errors
    /// When it is not there or cannot be read; the message says what to do.
    pub fn open(&self) -> Result<Box<dyn Source>, Error> {
        match self {
            Spec::Port(name) => Ok(Box::new(Port::find(name)?)),
            Spec::Stream(path) => Ok(Box::new(Stream::new(path))),
            Spec::Take(path) => {
                let name = path.display().to_string();
                let bytes = read_file(path, SCORE_BYTES_MAX).map_err(|error| Error::Open {
                    doing: msgid!("opening the take"),
                    name: name.clone(),
                    what: system::said(&error),
                    remedy: tr!("give a recording: a MIDI file (.mid) or JSON lines (.jsonl)"),
                })?;
                let take = read_take(&bytes, &name)?;
                Ok(Box::new(Replay::new(name, take, Pace::RealTime)))
            }
        }
    }
}

/// Makes the source that an `--input` text means; see [`Spec::parse`].
///
/// # Errors
/// See [`Spec::open`].
pub fn open(text: &str) -> Result<Box<dyn Source>, Error> {
    Spec::parse(text).open()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_say_which_input_is_meant() {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        for name in ["take.mid", "take.JSONL", "bytes"] {
            std::fs::write(at(name), []).unwrap();
        }
        let text = |name: &str| at(name).display().to_string();
        let rows = [
            ("port:Lyra MIDI 1".to_owned(), Spec::Port("Lyra MIDI 1".into())),
            ("port:".to_owned(), Spec::Port(String::new())),
            (" Lyra ".to_owned(), Spec::Port("Lyra".into())),
            ("stream: /dev/ttyX".to_owned(), Spec::Stream("/dev/ttyX".into())),
            ("take:a b.mid".to_owned(), Spec::Take("a b.mid".into())),
            (text("take.mid"), Spec::Take(at("take.mid"))),
            (text("take.JSONL"), Spec::Take(at("take.JSONL"))),
            (text("bytes"), Spec::Stream(at("bytes"))),
            (text("none"), Spec::Stream(at("none"))),
            (text("none.mid"), Spec::Take(at("none.mid"))),
            (dir.path().display().to_string(), Spec::Stream(dir.path().into())),
        ];
        for (text, spec) in rows {
            assert_eq!(Spec::parse(&text), spec, "{text}");
        }
    }

    #[test]
    fn take_that_is_not_there_or_not_whole_is_refused_with_its_name() {
        let words = |text: &str| open(text).err().expect("refused").to_string();
        let none = words("take:none.mid");
        assert!(none.starts_with("opening the take none.mid: ") && none.ends_with("a MIDI file (.mid) or JSON lines (.jsonl)"), "{none}");
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("t.jsonl");
        std::fs::write(&path, "{\"t\":0}\n").unwrap();
        let broken = words(&format!("take:{}", path.display()));
        assert!(broken.contains("t.jsonl: line 1: expected pitch or control"), "{broken}");
    }
}
