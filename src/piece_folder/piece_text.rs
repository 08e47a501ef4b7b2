//! The text of a `piece.toml` being edited, and its way to disk: whole or not at all, and never over someone else's edit.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{Error, read_text};
use crate::paths::replace_file_if;
use crate::piece;
use crate::piece::merge::{Clash, merge};
use crate::score::Score;

/// A piece file being edited.
///
/// ```no_run
/// # use std::sync::Arc;
/// # use catchword::piece::{Cue, edit};
/// # use catchword::piece_folder::PieceText;
/// # fn keep(file: std::path::PathBuf, score: Arc<catchword::score::Score>, cue: Cue) -> Result<(), Box<dyn std::error::Error>> {
/// let mut text = PieceText::open(file, score)?;
/// text.apply(|text, file_name, score| edit::add_cue(text, file_name, score, &cue))?;
/// text.save()?;
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug)]
pub struct PieceText {
    path: PathBuf,
    score: Arc<Score>,
    /// What stood on disk when it was last read or written.
    base: String,
    text: String,
    /// Where the text is kept that clashes with the one on disk.
    kept_beside: Option<PathBuf>,
}

/// What saving came to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Saved {
    /// There was nothing to write; the file was not looked at.
    Unchanged,
    Written,
    /// The file was changed meanwhile at other places: both edits are in it, and in [`PieceText::text`].
    Merged,
}

/// Why a text was not saved. It is still held, and saving can be tried again.
#[derive(Debug, thiserror::Error)]
pub enum SaveError {
    #[error("{}", tr!("{path} was changed meanwhile and is left as it is; your own text is in {mine}", path = path.display(), mine = mine.display()))]
    Conflict {
        path: PathBuf,
        /// Where the text is kept.
        mine: PathBuf,
        #[source]
        clash: Box<Clash>,
    },
    #[error(transparent)]
    Read(#[from] Error),
    #[error("{}", tr!("cannot write {file}", file = path.display()))]
    Write { path: PathBuf, source: io::Error },
}

/// Times a file that keeps changing while it is being saved is looked at again.
const N_LOOKS_MAX: usize = 8;

impl PieceText {
    /// Reads the text of a piece file; a link is followed, so that the file behind it is the one written.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn open(path: impl Into<PathBuf>, score: Arc<Score>) -> Result<PieceText, Error> {
        let path = path.into();
        let path = fs::canonicalize(&path).map_err(|source| Error::Read { path, source })?;
        let base = read_text(&path)?;
        Ok(PieceText { text: base.clone(), base, path, score, kept_beside: None })
    }

    pub fn text(&self) -> &str {
        &self.text
    }

    /// Changes the text by a function of `piece::edit`, which takes the text, the file's name for messages, and the score.
    ///
    /// # Errors
    /// As the function; the text is then as before.
    pub fn apply(&mut self, edit: impl FnOnce(&str, &str, &Score) -> Result<String, piece::Error>) -> Result<(), piece::Error> {
        self.text = edit(&self.text, &self.file_name(), &self.score)?;
        Ok(())
    }

    /// Takes a text that was edited elsewhere in the program.
    pub fn set_text(&mut self, text: &str) {
        text.clone_into(&mut self.text);
    }

    pub fn is_saved(&self) -> bool {
        self.text == self.base
    }

    /// Writes the text to disk. Where the file was changed meanwhile, both edits are brought together row by row.
    ///
    /// The file is replaced in one step and keeps its permissions: a reader sees the old text or the new one. Between the last look
    /// at the file and that step lie some microseconds in which another program's edit would go unseen.
    ///
    /// # Errors
    /// When both edits touch the same thing (the file is then left as it is, and this text stands in a file beside it), or the file cannot be read or written.
    pub fn save(&mut self) -> Result<Saved, SaveError> {
        if self.is_saved() {
            return Ok(Saved::Unchanged);
        }
        for _ in 0..N_LOOKS_MAX {
            let on_disk = if self.path.exists() { read_text(&self.path)? } else { self.base.clone() };
            let text = match merge(&self.base, &self.text, &on_disk, &self.file_name(), &self.score) {
                Ok(text) => text,
                Err(clash) => return Err(self.keep_beside(clash)),
            };
            let is_still = || !self.path.exists() || fs::read(&self.path).is_ok_and(|now| now == on_disk.as_bytes());
            let written = replace_file_if(&self.path, text.as_bytes(), is_still)
                .map_err(|source| SaveError::Write { path: self.path.clone(), source })?;
            if written {
                let saved = if on_disk == self.base { Saved::Written } else { Saved::Merged };
                (self.base, self.text) = (text.clone(), text);
                return Ok(saved);
            }
        }
        let source = io::Error::other(tr!("it changes all the time; close the program that writes it, and save again"));
        Err(SaveError::Write { path: self.path.clone(), source })
    }

    /// The name for messages.
    fn file_name(&self) -> String {
        self.path.display().to_string()
    }

    /// Writes the text beside the file: under the same name each time, and never over a file that was there before.
    fn keep_beside(&mut self, clash: Clash) -> SaveError {
        let beside = match self.kept_beside.take() {
            Some(mine) => OpenOptions::new().write(true).create(true).truncate(true).open(&mine).map(|file| (mine, file)),
            None => new_beside(&self.path),
        };
        let kept = beside.and_then(|(mine, mut file)| {
            file.write_all(self.text.as_bytes())?;
            file.sync_all()?;
            Ok(mine)
        });
        match kept {
            Ok(mine) => {
                self.kept_beside = Some(mine.clone());
                SaveError::Conflict { path: self.path.clone(), mine, clash: Box::new(clash) }
            }
            Err(source) => SaveError::Write { path: self.path.with_extension("mine.toml"), source },
        }
    }
}

/// Makes a new file beside another: `piece.mine.toml`, `piece.mine-2.toml` …
fn new_beside(path: &Path) -> io::Result<(PathBuf, File)> {
    let mut nth = 1;
    loop {
        let beside = path.with_extension(if nth == 1 { "mine.toml".to_owned() } else { format!("mine-{nth}.toml") });
        match OpenOptions::new().write(true).create_new(true).open(&beside) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists && nth < 1000 => nth += 1,
            made => return made.map(|file| (beside, file)),
        }
    }
}
