//! Where data, settings and pieces live on this platform.
//!
//! The journal and the player's pieces stand in the data directory of the platform (on Linux
//! `$XDG_DATA_HOME/catchword`, usually `~/.local/share/catchword`; on macOS in
//! `~/Library/Application Support`; on Windows in `%APPDATA%`), the settings in its settings
//! directory. One directory given with `--data` holds all three instead, so that a practice can be
//! carried about, tried out, or kept apart.

mod replace;

pub use replace::{replace_file, replace_file_if};

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use etcetera::base_strategy::{BaseStrategy, choose_native_strategy};

/// The directory of this program within the platform's.
const OWN_DIRECTORY: &str = "catchword";

/// The places the program reads and writes. None of them need exist.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Paths {
    /// Holds the journal.
    pub data: PathBuf,
    pub config_file: PathBuf,
    /// Where a piece is looked for by name, in this order.
    pub pieces: Vec<PathBuf>,
}

/// Why there is no place for data.
#[derive(Debug, thiserror::Error)]
#[error("{}", tr!("cannot tell where data belongs on this machine; give a directory with --data"))]
pub struct Error(#[source] etcetera::HomeDirError);

impl Paths {
    /// Returns the places for this user, or within `data_dir` where one is given.
    ///
    /// Pieces are also looked for in a `pieces` directory of the current one.
    ///
    /// # Errors
    /// When no directory is given and the user has no home directory.
    pub fn find(data_dir: Option<&Path>) -> Result<Paths, Error> {
        let (data, config_file) = match data_dir {
            Some(dir) => (dir.to_owned(), dir.join("config.toml")),
            None => {
                let platform = choose_native_strategy().map_err(Error)?;
                (platform.data_dir().join(OWN_DIRECTORY), platform.config_dir().join(OWN_DIRECTORY).join("config.toml"))
            }
        };
        let pieces = vec![data.join("pieces"), PathBuf::from("pieces")];
        Ok(Paths { data, config_file, pieces })
    }
}

/// The largest score or take that is read, in bytes; a long opera act is a fifth of it.
pub const SCORE_BYTES_MAX: u64 = 64 << 20;
/// The largest text written by a player that is read (a piece file, the settings), in bytes: some thousand cues.
pub const TEXT_BYTES_MAX: u64 = 1 << 20;

/// Reads a whole file of at most `limit` bytes. A pipe or a device is read to its end, and no further than the limit.
///
/// # Errors
/// When it cannot be read, or has more.
pub fn read_file(path: &Path, limit: u64) -> io::Result<Vec<u8>> {
    let file = File::open(path)?;
    let mut bytes = Vec::new();
    // A large file is refused unread; what a pipe has is only known once it is read.
    if file.metadata()?.len() <= limit {
        file.take(limit + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 <= limit {
            return Ok(bytes);
        }
    }
    Err(io::Error::new(io::ErrorKind::FileTooLarge, tr!("it is larger than the limit of {n} MB", n = limit >> 20)))
}

/// Reads a whole text in UTF-8; see [`read_file`].
///
/// # Errors
/// When it cannot be read, has more, or is no such text.
pub fn read_text(path: &Path, limit: u64) -> io::Result<String> {
    String::from_utf8(read_file(path, limit)?).map_err(|e| {
        let line = 1 + e.as_bytes()[..e.utf8_error().valid_up_to()].iter().filter(|b| **b == b'\n').count();
        io::Error::new(io::ErrorKind::InvalidData, tr!("line {line} is no text in UTF-8; save the file as UTF-8", line))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_up_to_the_limit_and_one_without_end_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a");
        std::fs::write(&file, b"one\n\xff").unwrap();
        assert_eq!(read_file(&file, 5).unwrap(), b"one\n\xff");
        assert_eq!(read_file(&file, 4).unwrap_err().kind(), io::ErrorKind::FileTooLarge);
        assert_eq!(read_text(&file, 5).unwrap_err().to_string(), "line 2 is no text in UTF-8; save the file as UTF-8");
        #[cfg(unix)]
        assert_eq!(read_file(Path::new("/dev/zero"), 1 << 20).unwrap_err().to_string(), "it is larger than the limit of 1 MB");
    }

    #[test]
    fn one_directory_can_hold_everything() {
        let paths = Paths::find(Some(Path::new("/stick/practice"))).unwrap();
        assert_eq!(paths.data, Path::new("/stick/practice"));
        assert_eq!(paths.config_file, Path::new("/stick/practice/config.toml"));
        assert_eq!(paths.pieces, [Path::new("/stick/practice/pieces"), Path::new("pieces")]);
    }

    #[test]
    fn without_one_the_platforms_own_directories_are_used() {
        let paths = Paths::find(None).unwrap();
        assert!(paths.data.ends_with("catchword") && paths.data.is_absolute(), "{paths:?}");
        assert!(paths.config_file.ends_with("catchword/config.toml"), "{paths:?}");
    }
}
