//! Where data, settings and pieces live on this platform.
//!
//! The journal and the player's pieces stand in the data directory of the platform (on Linux
//! `$XDG_DATA_HOME/catchword`, usually `~/.local/share/catchword`; on macOS in
//! `~/Library/Application Support`; on Windows in `%APPDATA%`), the settings in its settings
//! directory. One directory given with `--data` holds all three instead, so that a practice can be
//! carried about, tried out, or kept apart.

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
#[error("cannot tell where data belongs on this machine; give a directory with --data")]
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

#[cfg(test)]
mod tests {
    use super::*;

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
