//! What the journal refuses, kept in a small journal of its own until it can be taken in.

use std::path::{Path, PathBuf};

use rusqlite::OptionalExtension;
use rusqlite::types::Value;
use uuid::Uuid;

use super::copy::copy;
use super::{EntryId, Error, NewSession, SessionId, Store};
use crate::journal::entry::Entry;

const BEGINNING: &str = "journal-rescue-";
const ENDING: &str = ".db";

/// Returns the name of a session's rescued entries in a directory.
pub fn rescue_path(dir: &Path, session: SessionId) -> PathBuf {
    dir.join(format!("{BEGINNING}{}{ENDING}", session.0))
}

/// Returns which session a file of this name was rescued from.
pub(super) fn session_of(name: &str) -> Option<SessionId> {
    let id = name.strip_prefix(BEGINNING)?.strip_suffix(ENDING)?;
    Uuid::parse_str(id).ok().map(SessionId)
}

impl Store {
    /// Writes entries that this journal refuses to a journal of their own, over an earlier one of this session. [`Store::merge`] takes it
    /// in, before or after the entries were written here: they have the same ids.
    ///
    /// # Errors
    /// When it cannot be written there; an earlier one stays.
    pub fn rescue<'a>(
        &self,
        id: SessionId,
        session: &NewSession,
        entries: impl IntoIterator<Item = &'a (EntryId, Entry)>,
        to: &Path,
    ) -> Result<(), Error> {
        let mut rescued = Store::open_in_memory()?;
        rescued.begin_session_as(id, session)?;
        for (entry_id, entry) in entries {
            match entry {
                Entry::Overruled { rep, .. } => self.lend("rep", id, rep.0, &rescued)?,
                Entry::AnswerOverruled { answer, .. } => self.lend("answer", id, *answer, &rescued)?,
                Entry::Rep(_) | Entry::Answer(_) | Entry::Spot(_) | Entry::JudgedBy { .. } => {}
            }
            rescued.append_as(*entry_id, id, entry)?;
        }
        copy(&rescued.connection, &rescued.file, to)
    }

    /// Copies the row of a rep or an answer that is in this journal to another one, where it has to be for what refers to it.
    fn lend(&self, table: &'static str, session: SessionId, number: u32, to: &Store) -> Result<(), Error> {
        let sql = format!("SELECT * FROM {table} WHERE session_id = ? AND number = ?");
        let read = |row: &rusqlite::Row<'_>| (0..row.as_ref().column_count()).map(|column| row.get::<_, Value>(column)).collect();
        let found: Option<Vec<Value>> = self
            .connection
            .query_row(&sql, rusqlite::params![session.0.to_string(), number], read)
            .optional()
            .map_err(self.failed(msgid!("read what was overruled")))?;
        let Some(row) = found else { return Ok(()) };
        let sql = format!("INSERT OR IGNORE INTO {table} VALUES ({})", vec!["?"; row.len()].join(", "));
        to.connection.execute(&sql, rusqlite::params_from_iter(row)).map(drop).map_err(to.failed(msgid!("keep what was overruled")))
    }
}
