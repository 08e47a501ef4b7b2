//! Opening a journal: what is not ours is refused unchanged, what is older is kept and brought up to date.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};
use rusqlite_migration::{Migrations, SchemaVersion};

use super::{APPLICATION_ID, BUSY, Error, FILE_NAME, MIGRATIONS, Recovered, Store};

impl Store {
    /// Opens the journal in `dir`, making directory and file when they are not there, and brings an older one up to date
    /// after a copy of it was put beside it ([`Store::kept_old`]). What a session that was cut short left there is taken in
    /// ([`Store::recovered`]).
    ///
    /// # Errors
    /// When the directory or the file cannot be made or opened, or the file is not a journal, or one of
    /// a newer program; a file that is refused is left as it was.
    pub fn open(dir: &Path) -> Result<Store, Error> {
        std::fs::create_dir_all(dir).map_err(|source| Error::Directory { dir: dir.to_owned(), source })?;
        let file = dir.join(FILE_NAME);
        let opening = |source| Error::Open { file: file.clone(), source };
        let mut old = None;
        if std::fs::metadata(&file).is_ok_and(|m| m.len() > 0) {
            // A first look that cannot write: what is refused must stay as it was.
            let connection = Connection::open_with_flags(&file, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(opening)?;
            let found = Store::unready(connection, file.clone());
            let version = found.refuse_what_is_not_ours()?;
            if (1..MIGRATIONS.len()).contains(&version) {
                old = Some(found.keep_old(version)?);
            }
        }
        let connection = Connection::open(&file).map_err(opening)?;
        let mut store = Store { old, ..Store::set_up(connection, file)? };
        store.take_in_what_was_left(dir);
        Ok(store)
    }

    /// Sets how long a write waits for another program that is writing, at most [`BUSY`]: little while somebody plays.
    ///
    /// # Errors
    /// When SQLite refuses.
    pub fn set_patience(&self, patience: Duration) -> Result<(), Error> {
        self.connection.busy_timeout(patience.min(BUSY)).map_err(|e| self.opening(e))
    }

    /// Returns the directory it is kept in; none for one in memory.
    pub fn dir(&self) -> Option<&Path> {
        let file = self.connection.path().filter(|path| !path.is_empty())?;
        Path::new(file).parent()
    }

    /// Returns where the journal was copied to before it was brought up to date just now; none when it was not an older one.
    pub fn kept_old(&self) -> Option<&Path> {
        self.old.as_deref()
    }

    /// Opens a journal that lasts as long as the value, for a session that is not to be kept and for tests.
    ///
    /// # Errors
    /// When SQLite has no memory for it.
    pub fn open_in_memory() -> Result<Store, Error> {
        let file = PathBuf::from("(in memory)");
        let connection = Connection::open_in_memory().map_err(|source| Error::Open { file: file.clone(), source })?;
        Store::set_up(connection, file)
    }

    pub(super) fn unready(connection: Connection, file: PathBuf) -> Store {
        Store {
            connection,
            file,
            old: None,
            recovered: Recovered::default(),
            #[cfg(test)]
            asked: Default::default(),
        }
    }

    pub(super) fn set_up(connection: Connection, file: PathBuf) -> Result<Store, Error> {
        let mut store = Store::unready(connection, file);
        store.connection.busy_timeout(BUSY).map_err(|e| store.opening(e))?;
        store.use_write_ahead_log()?;
        let settings = "PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;";
        store.connection.execute_batch(settings).map_err(|e| store.opening(e))?;
        store.migrate()?;
        Ok(store)
    }

    pub(super) fn opening(&self, source: rusqlite::Error) -> Error {
        match source.sqlite_error_code() {
            Some(rusqlite::ErrorCode::NotADatabase) => Error::Foreign { file: self.file.clone() },
            Some(rusqlite::ErrorCode::DatabaseCorrupt) => Error::Damaged { file: self.file.clone(), what: source.to_string() },
            _ => Error::Open { file: self.file.clone(), source },
        }
    }

    /// Reads the version and the owner of the file; returns the version, 0 for an empty file.
    pub(super) fn refuse_what_is_not_ours(&self) -> Result<usize, Error> {
        self.connection.busy_timeout(BUSY).map_err(|e| self.opening(e))?;
        let number = |pragma: &str| self.connection.query_row(&format!("PRAGMA {pragma}"), [], |row| row.get::<_, i64>(0));
        let version = number("user_version").map_err(|e| self.opening(e))?;
        let owner = number("application_id").map_err(|e| self.opening(e))?;
        let count = "SELECT count(*) FROM sqlite_schema";
        let n_objects: i64 = self.connection.query_row(count, [], |row| row.get(0)).map_err(|e| self.opening(e))?;
        let is_new = version == 0 && owner == 0 && n_objects == 0;
        if !is_new && owner != i64::from(APPLICATION_ID) {
            return Err(Error::Foreign { file: self.file.clone() });
        }
        match usize::try_from(version) {
            Ok(found) if found > MIGRATIONS.len() => Err(Error::Newer { file: self.file.clone(), found, known: MIGRATIONS.len() }),
            Ok(version) => Ok(version),
            Err(_) => Err(Error::Foreign { file: self.file.clone() }),
        }
    }

    /// Switches to write-ahead logging. SQLite may say "busy" here without waiting when another
    /// program opens the same new file, so this asks again.
    fn use_write_ahead_log(&self) -> Result<(), Error> {
        self.with_patience(|| {
            let mode = self.connection.query_row("PRAGMA journal_mode = WAL", [], |row| row.get::<_, String>(0));
            // A journal in memory has no log; file systems without shared memory keep a rollback
            // journal, which is as durable.
            mode.map(drop).map_err(|e| self.opening(e))
        })
    }

    fn migrate(&mut self) -> Result<(), Error> {
        let migrations = Migrations::from_slice(MIGRATIONS);
        let mut tries_left = 50;
        loop {
            match migrations.to_latest(&mut self.connection) {
                Ok(()) => return Ok(()),
                // Another program may have migrated the file between our look and our step.
                Err(source) => {
                    let done =
                        matches!(migrations.current_version(&self.connection), Ok(SchemaVersion::Inside(n)) if n.get() == MIGRATIONS.len());
                    if done {
                        return Ok(());
                    }
                    if tries_left == 0 {
                        return Err(Error::Migrate { file: self.file.clone(), source: Box::new(source) });
                    }
                    tries_left -= 1;
                    std::thread::sleep(Duration::from_millis(20));
                }
            }
        }
    }

    fn with_patience<T>(&self, mut step: impl FnMut() -> Result<T, Error>) -> Result<T, Error> {
        for _ in 0..100 {
            match step() {
                Err(Error::Open { source, .. }) if source.sqlite_error_code() == Some(rusqlite::ErrorCode::DatabaseBusy) => {
                    std::thread::sleep(Duration::from_millis(20));
                }
                done => return done,
            }
        }
        step()
    }
}
