//! The log: what the program did, line by line, for the report of a problem. Off until a file is opened for it.
//!
//! Nothing here fails loudly: a log that cannot be written must not cost a take. It holds no notes that were played.

use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, OnceLock, PoisonError};

use crate::clock::wall_now;

struct Log {
    file: Mutex<File>,
    path: PathBuf,
}

static LOG: OnceLock<Log> = OnceLock::new();

/// Opens the file that is written to from now on; what it has is kept. A second call changes nothing: what was asked for first holds.
///
/// # Errors
/// When the file cannot be opened for writing.
pub fn open(path: &Path) -> io::Result<()> {
    if LOG.get().is_none() {
        let file = OpenOptions::new().create(true).append(true).open(path)?;
        let _ = LOG.set(Log { file: Mutex::new(file), path: path.to_owned() });
    }
    Ok(())
}

/// Returns the file that is written to; none while the log is off.
pub fn path() -> Option<&'static Path> {
    LOG.get().map(|log| log.path.as_path())
}

/// Writes a line with the time of day; `words` are only made when the log is on.
pub fn note(words: impl FnOnce() -> String) {
    if let Some(log) = LOG.get() {
        let line = format!("{} {}\n", wall_now().format("%Y-%m-%dT%H:%M:%S%.3f%:z"), words().replace(['\n', '\r'], " "));
        let _ = log.file.lock().unwrap_or_else(PoisonError::into_inner).write_all(line.as_bytes());
    }
}
