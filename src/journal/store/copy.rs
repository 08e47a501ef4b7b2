//! Copies of a whole journal: a backup, and what another machine has.

use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use uuid::Uuid;

use super::tables::TABLES;
use super::{BUSY, Error, Store};

/// What a merge brought in.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct Merged {
    pub n_sessions: usize,
    pub n_reps: usize,
    pub n_answers: usize,
}

impl Store {
    /// Writes all of the journal as it stands now to a new file, which is a journal itself. Another program may go on writing meanwhile.
    ///
    /// # Errors
    /// When there is a file of that name, or it cannot be written; then nothing is left there.
    pub fn backup(&self, to: &Path) -> Result<(), Error> {
        if fs::symlink_metadata(to).is_ok() {
            return Err(Error::InTheWay { file: to.to_owned() });
        }
        copy(&self.connection, &self.file, to)
    }

    /// Keeps a journal of an older schema as it is, in a file beside it, and returns that file.
    pub(super) fn keep_old(&self, version: usize) -> Result<PathBuf, Error> {
        let dir = self.file.parent().unwrap_or(Path::new("."));
        let names =
            (1..).map(|nth| dir.join(format!("journal-schema-{version}{}.db", if nth == 1 { String::new() } else { format!("-{nth}") })));
        let to = names.into_iter().find(|file| !file.exists()).expect("a number is free");
        copy(&self.connection, &self.file, &to)?;
        Ok(to)
    }

    /// Takes in all that another journal has and this one has not. That file is left as it is; an older one is brought up to date
    /// in a copy. Doing it again changes nothing.
    ///
    /// # Errors
    /// When the other file is no journal, one of a newer program, or damaged, or the two contradict each other; then nothing is taken in.
    pub fn merge(&mut self, other: &Path) -> Result<Merged, Error> {
        let copy = Copy::of(other, &self.file)?;
        let failed = self.failed(msgid!("take in another journal"));
        self.connection.execute("ATTACH ? AS other", [copy.0.to_string_lossy()]).map_err(&failed)?;
        let merged = self.take_in(other);
        let detached = self.connection.execute_batch("DETACH other").map_err(failed);
        merged.and_then(|merged| detached.map(|()| merged))
    }

    /// Takes in the attached journal `other`, all or nothing.
    fn take_in(&mut self, other: &Path) -> Result<Merged, Error> {
        let failed = self.failed(msgid!("take in another journal"));
        let tables = self.tables()?;
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(&failed)?;
        let mut merged = Merged::default();
        for (known, table) in TABLES.iter().zip(&tables) {
            let name = table.name;
            let same = known.keys.iter().map(|key| format!("own.{key} = new.{key}")).collect::<Vec<_>>().join(" AND ");
            // A session is closed after it was written: the one thing that changes.
            let fixed = table.columns.iter().filter(|column| *column != "ended_utc_us" || name != "session");
            let differs = fixed.map(|column| format!("own.{column} IS NOT new.{column}")).collect::<Vec<_>>().join(" OR ");
            let sql = format!("SELECT count(*) FROM other.{name} AS new JOIN main.{name} AS own ON {same} WHERE {differs}");
            let n_contradictions: i64 = transaction.query_row(&sql, [], |row| row.get(0)).map_err(&failed)?;
            if n_contradictions > 0 {
                let what = tr!("{n} of its rows of the table {name} are here with other contents", n = n_contradictions, name);
                return Err(Error::Other { file: other.to_owned(), what });
            }
            let columns = table.columns.join(", ");
            let sql = format!(
                "INSERT INTO main.{name} ({columns}) SELECT {columns} FROM other.{name} AS new
                 WHERE NOT EXISTS (SELECT 1 FROM main.{name} AS own WHERE {same})"
            );
            let n_new = transaction.execute(&sql, []).map_err(&failed)?;
            match name {
                "session" => {
                    let close = "UPDATE main.session AS own SET ended_utc_us = new.ended_utc_us FROM other.session AS new
                                 WHERE own.id = new.id AND new.ended_utc_us > coalesce(own.ended_utc_us, new.ended_utc_us - 1)";
                    transaction.execute(close, []).map_err(&failed)?;
                    merged.n_sessions = n_new;
                }
                "rep" => merged.n_reps = n_new,
                "answer" => merged.n_answers = n_new,
                _ => {}
            }
        }
        transaction.commit().map_err(failed)?;
        Ok(merged)
    }
}

/// Writes all of an open journal to a new file: whole under a name of its own first, so that no half of one is left.
pub(super) fn copy(from: &Connection, from_file: &Path, to: &Path) -> Result<(), Error> {
    let part = beside(to, "part");
    let written = from.execute("VACUUM INTO ?", [part.to_string_lossy()]).map_err(|source| Error::Copy {
        from: from_file.to_owned(),
        to: to.to_owned(),
        source: source.into(),
    });
    let kept = written.and_then(|_| {
        let failed = |source: std::io::Error| Error::Copy { from: from_file.to_owned(), to: to.to_owned(), source: source.into() };
        let file = fs::OpenOptions::new().write(true).open(&part).map_err(failed)?;
        file.sync_all().map_err(failed)?;
        fs::rename(&part, to).map_err(failed)
    });
    if kept.is_err() {
        let _ = fs::remove_file(&part);
    }
    kept
}

/// Returns a name in the same directory that no other program takes.
pub(super) fn beside(file: &Path, ending: &str) -> PathBuf {
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    file.with_file_name(format!("{name}-{}.{ending}", Uuid::now_v7()))
}

/// A journal copied to a place of our own, whole and up to date; gone when dropped.
struct Copy(PathBuf);

impl Copy {
    fn of(other: &Path, own_file: &Path) -> Result<Copy, Error> {
        let refused = |what: String| Error::Other { file: other.to_owned(), what };
        let connection = Connection::open_with_flags(other, OpenFlags::SQLITE_OPEN_READ_ONLY)
            .map_err(|e| refused(tr!("it cannot be read ({why})", why = e)))?;
        connection.busy_timeout(BUSY).map_err(|e| refused(e.to_string()))?;
        let original = Store::unready(connection, other.to_owned());
        let is_ours = original.refuse_what_is_not_ours();
        is_ours.map_err(|error| match error {
            Error::Newer { found, known, .. } => refused(tr!(
                "it was written by a newer version of this program (its schema is {found}, this one knows up to {known}); \
                 use the newer program on both machines",
                found,
                known
            )),
            Error::Foreign { .. } => refused(tr!("it is not a journal of this program")),
            Error::Damaged { what, .. } => refused(tr!("it is damaged: {what}", what)),
            error => refused(tr!("it cannot be read ({why})", why = error)),
        })?;
        let copied = Copy(beside(own_file, "other"));
        copy(&original.connection, other, &copied.0)?;
        let connection = Connection::open(&copied.0).map_err(|source| Error::Open { file: copied.0.clone(), source })?;
        let store = Store::set_up(connection, copied.0.clone())?;
        store.check().map_err(|error| match error {
            Error::Damaged { what, .. } => refused(tr!("it is damaged: {what}", what)),
            Error::Sql { source, .. } => refused(tr!("it cannot be read whole ({why})", why = source)),
            error => refused(tr!("it cannot be read whole ({why})", why = error)),
        })?;
        Ok(copied)
    }
}

impl Drop for Copy {
    fn drop(&mut self) {
        let name = self.0.file_name().unwrap_or_default().to_string_lossy().into_owned();
        for ending in ["", "-wal", "-shm"] {
            // What was not there need not go.
            let _ = fs::remove_file(self.0.with_file_name(format!("{name}{ending}")));
        }
    }
}
