//! A take being written as it is played: each event is on disk before the next comes, or waits in memory until there is room.

use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::midi::{Hearing, MidiEvent, Take};
use crate::source::replay::write_take_lines;
use crate::time::Stamped;

/// A take, its file, and what of it is not in the file yet.
pub struct TakeFile {
    /// As the record names it.
    pub name: String,
    path: PathBuf,
    file: Option<File>,
    pub take: Take,
    unwritten: Vec<u8>,
}

impl TakeFile {
    /// Begins a take of an instrument that is heard so, as it says itself; its file is made with its first event.
    pub fn new(name: String, path: PathBuf, hearing: Arc<Hearing>) -> TakeFile {
        let take = Take::default().heard(hearing);
        let unwritten = write_take_lines(&take).into_bytes();
        TakeFile { name, path, file: None, take, unwritten }
    }

    /// Takes an event in.
    ///
    /// # Errors
    /// When the file takes nothing now; the event is kept, and is written with the next that can be.
    pub fn push(&mut self, event: Stamped<MidiEvent>) -> io::Result<()> {
        self.take.push(event);
        let last = self.take.events().last().copied().into_iter().collect::<Take>();
        self.unwritten.extend(write_take_lines(&last).into_bytes());
        self.write()
    }

    /// Writes what is not written yet.
    ///
    /// # Errors
    /// When some of it still waits.
    pub fn write(&mut self) -> io::Result<()> {
        while !self.unwritten.is_empty() {
            let file = match &mut self.file {
                Some(file) => file,
                None => {
                    self.path.parent().map_or(Ok(()), std::fs::create_dir_all)?;
                    self.file.insert(OpenOptions::new().write(true).create_new(true).open(&self.path)?)
                }
            };
            // A full disk may take the half of a line: the other half follows it.
            match file.write(&self.unwritten) {
                Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                Ok(n) => drop(self.unwritten.drain(..n)),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    /// Writes the whole take to another place, under a name that nothing has there.
    ///
    /// # Errors
    /// When it cannot be written there.
    pub fn rescue(&self, dir: &Path, piece: &str) -> io::Result<PathBuf> {
        let path = dir.join(format!("catchword-{piece}-{}", self.name));
        let mut file = OpenOptions::new().write(true).create_new(true).open(&path)?;
        file.write_all(write_take_lines(&self.take).as_bytes()).and_then(|()| file.sync_all()).map(|()| path)
    }
}
