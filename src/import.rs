//! Score files in: bytes to a [`Score`] and what had to be guessed on the way.
//!
//! An [`Error`] means nothing usable was found; a [`Warning`] means the score is there and something
//! was skipped or guessed. Format words (divisions, ticks, ids) stay inside the format's own file.

pub mod musicxml;
pub mod mxl;
pub mod notelist;
pub mod smf;

use std::fmt;

use crate::score::Score;

/// The formats that can be read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Format {
    /// MusicXML 4.0, partwise or timewise, as plain XML.
    MusicXml,
    /// Compressed MusicXML: a ZIP archive with `META-INF/container.xml`.
    Mxl,
    /// Standard MIDI File, format 0 or 1.
    Smf,
    /// CSV with the header `onset_beats,duration_beats,pitch,hand`.
    NoteList,
}

impl Format {
    /// Tells the format from the first bytes, and from the file name where bytes do not say.
    pub fn detect(bytes: &[u8], file_name: &str) -> Option<Format> {
        let lower = file_name.to_ascii_lowercase();
        match bytes {
            [b'P', b'K', 3, 4, ..] => Some(Format::Mxl),
            [b'M', b'T', b'h', b'd', ..] => Some(Format::Smf),
            [0xFE, 0xFF, ..] | [0xFF, 0xFE, ..] | [0, b'<', ..] | [b'<', 0, ..] => Some(Format::MusicXml),
            _ if lower.ends_with(".csv") => Some(Format::NoteList),
            _ if lower.ends_with(".musicxml") || lower.ends_with(".xml") => Some(Format::MusicXml),
            _ => {
                let text = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
                let text = text.trim_ascii_start();
                if text.starts_with(b"<") {
                    Some(Format::MusicXml)
                } else if text.starts_with(b"onset_beats") {
                    Some(Format::NoteList)
                } else {
                    None
                }
            }
        }
    }
}

/// Something that was skipped or guessed; the score is usable.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Warning {
    /// Printed label of the bar, where there is one.
    pub bar: Option<String>,
    /// Line in the file, from 1, where the format has lines.
    pub line: Option<u32>,
    /// The element or event concerned: `<harmony>`, `track 3`.
    pub element: String,
    pub what: String,
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let colon = tr!(": ");
        if let Some(bar) = &self.bar {
            write!(f, "{}{colon}", tr!("bar {bar}", bar))?;
        }
        write!(f, "{}{colon}{}", self.element, self.what)?;
        if let Some(line) = self.line {
            write!(f, " ({})", tr!("line {line}", line))?;
        }
        Ok(())
    }
}

/// Why nothing usable was read.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Error {
    #[error("{}", tr!("{file}: {place}: expected {expected}, found {found}", file, place, expected, found))]
    Broken {
        file: String,
        /// `line 12`, `byte 40`, `archive entry score.xml, line 3`.
        place: String,
        expected: String,
        found: String,
    },
    #[error("{}", tr!("{file}: not a score file this program knows; give MusicXML (.musicxml, .xml, .mxl), a MIDI file (.mid) or a note list (.csv)", file))]
    UnknownFormat { file: String },
    #[error("{}", tr!("{file}: {what}, above the limit of {limit}", file, what, limit))]
    TooLarge { file: String, what: String, limit: String },
}

/// Reads a score of any known format. `file_name` serves messages and, where the bytes do not tell, the format.
///
/// # Errors
/// When the format is unknown or nothing usable is in the bytes.
pub fn read_score(bytes: &[u8], file_name: &str) -> Result<(Score, Vec<Warning>), Error> {
    match Format::detect(bytes, file_name) {
        Some(Format::MusicXml) => musicxml::read(bytes, file_name),
        Some(Format::Mxl) => mxl::read(bytes, file_name),
        Some(Format::NoteList) => notelist::read(bytes, file_name),
        Some(Format::Smf) => smf::read(bytes, file_name),
        None => Err(Error::UnknownFormat { file: file_name.to_owned() }),
    }
}
