//! The journal on disk: one SQLite file, `journal.db`, in the data directory.
//!
//! [`Store::append`] returns once the rows are on the disk (write-ahead log, `synchronous = FULL`),
//! so that whatever happens to the program, nothing it acknowledged is lost. Dates and ids are
//! added here; what the entries mean is not known here. All SQL of the program stands in this file,
//! in `store/` and in `migrations/`, whose numbered files are never changed once released.

mod attempts;
mod check;
mod convert;
mod copy;
mod open;
mod recovered;
mod rescue;
mod run_pace;
mod salvage;
mod tables;
mod underway;
mod write;

pub use copy::Merged;
pub use recovered::Recovered;
pub use rescue::rescue_path;
pub use salvage::Salvaged;
pub use underway::{Begun, TakeInProgress};

use std::path::PathBuf;
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OptionalExtension, Row, TransactionBehavior, params};
use rusqlite_migration::M;
use uuid::Uuid;

use self::convert::{known, shifted, timestamp, uuid};
use super::attempts::RepRow;
use super::entry::{Entry, GONE, Witness};
use super::stats::{DatedAnswer, DatedRep};
use crate::import;
use crate::import::smf::read_take;
use crate::midi::Take;
use crate::time::{Micros, Timestamp};

/// Name of the journal within the data directory.
pub const FILE_NAME: &str = "journal.db";

const MIGRATIONS: &[M<'_>] = &[
    M::up(include_str!("migrations/001-sessions-and-reps.sql")),
    M::up(include_str!("migrations/002-answers-runs-and-spots.sql")),
    M::up(include_str!("migrations/003-reps-in-short.sql")),
    M::up(include_str!("migrations/004-overruled-answers-unfinished-lines-and-pace-by-bar.sql")),
    M::up(include_str!("migrations/005-which-lever.sql")),
    M::up(include_str!("migrations/006-settings-of-sessions.sql")),
];
/// What `PRAGMA application_id` says of a journal: "CWjl".
const APPLICATION_ID: i32 = 0x4357_6a6c;
/// How long a write waits for another program that is writing.
const BUSY: Duration = Duration::from_secs(10);

#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct SessionId(pub Uuid);

#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct RepId(pub Uuid);

/// What an entry is filed under, made before it is written.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct EntryId(Uuid);

impl EntryId {
    /// Returns an id that no other entry has.
    #[expect(clippy::new_without_default, reason = "no two are equal")]
    pub fn new() -> Self {
        EntryId(Uuid::now_v7())
    }
}

/// What is known of a session when it begins.
#[derive(Clone, PartialEq, Debug)]
pub struct NewSession {
    pub started: Timestamp,
    /// What the piece is filed under; its reps are found by this.
    pub piece_key: String,
    pub piece_title: String,
    pub program_version: String,
    pub seed: u64,
}

/// A session as the journal gives it back.
#[derive(Clone, PartialEq, Debug)]
pub struct Session {
    pub id: SessionId,
    pub opened: NewSession,
    /// None while it is open, and for good when the program was cut short.
    pub ended: Option<Timestamp>,
    pub n_reps: u32,
}

/// Something noted during a rep, as the journal gives it back (see [`super::entry::Happening`]).
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct StoredHappening {
    pub at: Micros,
    pub kind: String,
    pub place: String,
    pub hand: Option<String>,
    pub setting: Option<String>,
}

/// Why the journal could not be opened, written or read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{}", tr!("cannot make the data directory {dir} for the journal; give another with --data", dir = dir.display()))]
    Directory { dir: PathBuf, source: std::io::Error },
    #[error("{}", tr!("cannot open the journal {file}: {why}; another place can be given with --data", file = file.display(), why = why(source)))]
    Open { file: PathBuf, source: rusqlite::Error },
    #[error("{}", tr!("{file} is not a journal of this program; nothing was changed in it: move it away, or give another directory with --data", file = file.display()))]
    Foreign { file: PathBuf },
    #[error("{}", tr!(
        "the journal {file} was written by a newer version of this program (its schema is {found}, this one knows up to {known}); \
         nothing was changed in it: use the newer program, or give another directory with --data",
        file = file.display(), found, known
    ))]
    Newer { file: PathBuf, found: usize, known: usize },
    #[error("{}", tr!("cannot bring the journal {file} up to date", file = file.display()))]
    Migrate { file: PathBuf, source: Box<rusqlite_migration::Error> },
    #[error("{}", tr!("cannot {doing} in the journal {file}, which stays as it was: {why}", doing = tr!(doing), file = file.display(), why = why(source)))]
    Sql { file: PathBuf, doing: &'static str, source: rusqlite::Error },
    #[error("{}", tr!("cannot overrule rep {number} in the journal {file}: the session has no such rep", number, file = file.display()))]
    NoSuchRep { file: PathBuf, number: u32 },
    #[error("{}", tr!("cannot overrule answer {number} in the journal {file}: the session has no such answer", number, file = file.display()))]
    NoSuchAnswer { file: PathBuf, number: u32 },
    #[error("{}", tr!("the journal {file} is damaged: {what}; leave it as it is, and take out what can still be read: catchword journal recover FILE", file = file.display(), what))]
    Damaged { file: PathBuf, what: String },
    #[error("{}", tr!("cannot write {file}: there is a file of that name already, and it was left as it is; give another name", file = file.display()))]
    InTheWay { file: PathBuf },
    #[error("{}", tr!("cannot copy the journal {from} to {to}; nothing is left there", from = from.display(), to = to.display()))]
    Copy { from: PathBuf, to: PathBuf, source: Box<dyn std::error::Error + Send + Sync> },
    #[error("{}", tr!("nothing was taken in from {file}: {what}", file = file.display(), what))]
    Other { file: PathBuf, what: String },
    #[error("{}", tr!("the session it belongs to is not in the journal {file}", file = file.display()))]
    Unknown { file: PathBuf },
    #[error("{}", tr!("the take kept for rep {rep} in the journal cannot be read", rep))]
    Take { rep: Uuid, source: import::Error },
}

impl Error {
    /// Returns in a few words why the journal refused, for a player who is in the middle of playing.
    pub fn why(&self) -> String {
        match self {
            Error::Open { source, .. } | Error::Sql { source, .. } => why(source),
            Error::Directory { .. } => tr!("the data folder cannot be written"),
            Error::Damaged { .. } => tr!("it is damaged"),
            _ => tr!("it refuses"),
        }
    }
}

/// Says what SQLite's code for a failure means to whoever owns the machine.
fn why(error: &rusqlite::Error) -> String {
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => tr!("the disk is full"),
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => tr!("another program holds it; close that one"),
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => tr!("its folder cannot be written"),
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => tr!("it is damaged"),
        Some(ErrorCode::SystemIoFailure) => tr!("the disk refuses"),
        _ => tr!("it refuses"),
    }
}

/// An open journal. Two programs may have the same one open.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    file: PathBuf,
    old: Option<PathBuf>,
    recovered: Recovered,
    /// All that was asked, so that a test can look at how it is answered.
    #[cfg(test)]
    asked: std::cell::RefCell<std::collections::BTreeSet<String>>,
}

impl Store {
    /// Begins a session.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin_session(&mut self, session: &NewSession) -> Result<SessionId, Error> {
        let id = SessionId(Uuid::now_v7());
        self.begin_session_as(id, session)?;
        Ok(id)
    }

    /// Begins a session under an id given beforehand; one that is there already stays as it is, so that this may be tried again.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin_session_as(&mut self, id: SessionId, session: &NewSession) -> Result<(), Error> {
        let sql = "INSERT INTO session (id, started_utc_us, offset_s, piece_key, piece_title, program_version, seed)
                   VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (id) DO NOTHING";
        let values = params![
            id.0.to_string(),
            session.started.timestamp_micros(),
            session.started.offset().local_minus_utc(),
            session.piece_key,
            session.piece_title,
            session.program_version,
            session.seed.cast_signed(),
        ];
        self.connection.execute(sql, values).map(drop).map_err(self.failed(msgid!("begin a session")))
    }

    /// Writes one entry; when this returns, it is on the disk.
    ///
    /// # Errors
    /// When it cannot be written, or overrules a rep or an answer that the session does not have; nothing of it is kept then.
    pub fn append(&mut self, session: SessionId, entry: &Entry) -> Result<(), Error> {
        self.append_as(EntryId::new(), session, entry)
    }

    /// Writes one entry under an id given beforehand. Once it is there, writing it again changes nothing: so a writer that was told of a
    /// failure may try again, and what was rescued meanwhile is the same rows.
    ///
    /// # Errors
    /// As for [`Store::append`].
    pub fn append_as(&mut self, id: EntryId, session: SessionId, entry: &Entry) -> Result<(), Error> {
        let failed = self.failed(msgid!("write an entry"));
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(&failed)?;
        let id = id.0.to_string();
        if write::is_there(&transaction, &id, entry).map_err(&failed)? {
            return Ok(());
        }
        let written = match entry {
            Entry::Rep(rep) => write::rep(&transaction, &id, session, rep),
            Entry::Answer(answer) => write::answer(&transaction, &id, session, answer),
            Entry::Spot(spot) => write::spot(&transaction, &id, session, spot),
            Entry::JudgedBy { settings, at } => write::judged_by(&transaction, &id, session, settings, *at),
            Entry::Overruled { rep, verdict, at } => {
                let find = "SELECT id FROM rep WHERE session_id = ? AND number = ?";
                let values = params![session.0.to_string(), rep.0];
                let rep_id: Option<String> = transaction.query_row(find, values, |row| row.get(0)).optional().map_err(&failed)?;
                let rep_id = rep_id.ok_or_else(|| Error::NoSuchRep { file: self.file.clone(), number: rep.0 })?;
                write::overrule(&transaction, &id, &rep_id, *verdict, *at)
            }
            Entry::AnswerOverruled { answer, outcome, at } => {
                let find = "SELECT id FROM answer WHERE session_id = ? AND number = ?";
                let values = params![session.0.to_string(), answer];
                let answer_id: Option<String> = transaction.query_row(find, values, |row| row.get(0)).optional().map_err(&failed)?;
                let answer_id = answer_id.ok_or_else(|| Error::NoSuchAnswer { file: self.file.clone(), number: *answer })?;
                write::overrule_answer(&transaction, &id, &answer_id, *outcome, *at)
            }
        };
        written.and_then(|()| transaction.commit()).map_err(failed)
    }

    /// Notes that a session was closed in good order.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn end_session(&mut self, session: SessionId, ended: Timestamp) -> Result<(), Error> {
        let sql = "UPDATE session SET ended_utc_us = ? WHERE id = ?";
        let values = params![ended.timestamp_micros(), session.0.to_string()];
        self.connection.execute(sql, values).map(drop).map_err(self.failed(msgid!("end a session")))
    }

    /// Returns all sessions, oldest first.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn sessions(&self) -> Result<Vec<Session>, Error> {
        let sql = "SELECT id, started_utc_us, offset_s, ended_utc_us, piece_key, piece_title, program_version, seed,
                          (SELECT count(*) FROM rep WHERE rep.session_id = session.id)
                   FROM session ORDER BY started_utc_us, id";
        let read = |row: &Row<'_>| {
            let offset_s = row.get(2)?;
            let ended = row.get::<_, Option<i64>>(3)?.map(|us| timestamp(us, offset_s)).transpose()?;
            let opened = NewSession {
                started: timestamp(row.get(1)?, offset_s)?,
                piece_key: row.get(4)?,
                piece_title: row.get(5)?,
                program_version: row.get(6)?,
                seed: row.get::<_, i64>(7)?.cast_unsigned(),
            };
            Ok(Session { id: SessionId(uuid(row, 0)?), opened, ended, n_reps: row.get(8)? })
        };
        self.rows(sql, [], read, msgid!("read the sessions"))
    }

    /// Returns all reps of a piece, oldest first, each with the verdict that holds now.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn reps(&self, piece_key: &str) -> Result<Vec<(RepId, DatedRep)>, Error> {
        let overruled = self.overruled(piece_key)?;
        let sql = "SELECT rep.id, started_utc_us + rep.started_us, offset_s, mode, span, first_bar, last_bar,
                          ended_us - started_us, rep.verdict, reason_place, reason_kind, n_notes_due, n_notes_right, tempo,
                          witness, is_held, rep.rowid
                   FROM session CROSS JOIN rep ON rep.session_id = session.id LEFT JOIN run ON mode = 'run-through' AND run.rep_id = rep.id
                   WHERE piece_key = ?";
        let read = |row: &Row<'_>| {
            let judged = known(row, 8)?;
            let failed = row.get::<_, Option<String>>(9)?.zip(row.get::<_, Option<String>>(10)?);
            let rep = DatedRep {
                at: timestamp(row.get(1)?, row.get(2)?)?,
                mode: known(row, 3)?,
                span: row.get(4)?,
                bars: (row.get(5)?, row.get(6)?),
                length: Micros(row.get(7)?),
                judged,
                verdict: overruled.get(&RepRow(row.get(16)?)).copied().unwrap_or(judged),
                witness: known(row, 14)?,
                failed,
                n_notes_due: row.get(11)?,
                n_notes_right: row.get(12)?,
                tempo: row.get(13)?,
                is_held: row.get(15)?,
            };
            Ok((RepId(uuid(row, 0)?), rep))
        };
        // Read in the order of sessions, and of reps within each: nearly that of time already.
        let mut reps = self.rows(sql, [piece_key], read, msgid!("read the reps"))?;
        reps.sort_by_key(|(_, rep)| rep.at);
        Ok(reps)
    }

    /// Returns what the session of a rep had set of the numbers that reps are judged by, as lines of a settings file; empty where it had the
    /// usual ones.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn judged_by(&self, rep: RepId) -> Result<String, Error> {
        let sql = "SELECT text FROM session_settings JOIN rep ON rep.session_id = session_settings.session_id
                   WHERE rep.id = ? ORDER BY at_us DESC, session_settings.id DESC LIMIT 1";
        let found = self.rows(sql, [rep.0.to_string()], |row| row.get(0), msgid!("read the settings of a session"))?;
        Ok(found.into_iter().next().unwrap_or_default())
    }

    /// Returns all answers about a piece, oldest first; of one that the player overruled their last word, as told. One under which the
    /// instrument went away is left out.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn answers(&self, piece_key: &str) -> Result<Vec<DatedAnswer>, Error> {
        let sql = "SELECT started_utc_us + asked_us, offset_s, kind, place, first_right_us - asked_us, answer.ended_us - asked_us, outcome,
                          witness, n_notes_between,
                          (SELECT word.outcome FROM answer_overrule word WHERE answer_id = answer.id ORDER BY at_us DESC, word.id DESC LIMIT 1)
                   FROM answer JOIN session ON session.id = answer.session_id
                   WHERE piece_key = ? AND NOT EXISTS (SELECT 1 FROM answer_happening WHERE answer_id = answer.id AND answer_happening.kind = ?)
                   ORDER BY 1, number";
        let is_overruled = |row: &Row<'_>| Ok::<_, rusqlite::Error>(row.get_ref(9)? != rusqlite::types::ValueRef::Null);
        let read = |row: &Row<'_>| {
            Ok(DatedAnswer {
                at: timestamp(row.get(0)?, row.get(1)?)?,
                kind: known(row, 2)?,
                place: row.get(3)?,
                recall: row.get::<_, Option<i64>>(4)?.map(Micros),
                length: Micros(row.get(5)?),
                outcome: if is_overruled(row)? { known(row, 9)? } else { known(row, 6)? },
                witness: if is_overruled(row)? { Witness::Told } else { known(row, 7)? },
                n_notes_between: row.get(8)?,
            })
        };
        self.rows(sql, [piece_key, GONE], read, msgid!("read the answers"))
    }

    /// Returns the places of a piece whose line of story is put off and not told since, oldest first: place and hand.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn open_spots(&self, piece_key: &str) -> Result<Vec<(String, Option<String>)>, Error> {
        let sql = "SELECT place, hand, text FROM spot JOIN session ON session.id = spot.session_id
                   WHERE piece_key = ? ORDER BY started_utc_us + at_us, spot.id";
        let read = |row: &Row<'_>| Ok(((row.get(0)?, row.get(1)?), row.get::<_, Option<String>>(2)?.is_some()));
        let mut open = Vec::new();
        for (spot, is_told) in self.rows(sql, [piece_key], read, msgid!("read the places put off"))? {
            open.retain(|other| *other != spot);
            if !is_told {
                open.push(spot);
            }
        }
        Ok(open)
    }

    /// Returns what was typed for places that are put off still, and not finished: place, hand, text.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn unfinished_lines(&self, piece_key: &str) -> Result<Vec<(String, Option<String>, String)>, Error> {
        let sql = "SELECT place, hand, typed FROM spot JOIN session ON session.id = spot.session_id
                   WHERE piece_key = ? ORDER BY started_utc_us + at_us, spot.id";
        let read = |row: &Row<'_>| Ok((row.get(0)?, row.get(1)?, row.get::<_, Option<String>>(2)?));
        let mut lines: Vec<(String, Option<String>, String)> = Vec::new();
        for (place, hand, typed) in self.rows(sql, [piece_key], read, msgid!("read the places put off"))? {
            lines.retain(|line| (&line.0, &line.1) != (&place, &hand));
            lines.extend(typed.map(|typed| (place, hand, typed)));
        }
        Ok(lines)
    }

    /// Returns what was noted during a rep, in its order.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn happenings(&self, rep: RepId) -> Result<Vec<StoredHappening>, Error> {
        let sql = "SELECT at_us, kind, place, hand, setting FROM happening WHERE rep_id = ? ORDER BY nth";
        let read = |row: &Row<'_>| {
            let (at, kind, place, hand, setting) = (Micros(row.get(0)?), row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?);
            Ok(StoredHappening { at, kind, place, hand, setting })
        };
        self.rows(sql, [rep.0.to_string()], read, msgid!("read a rep"))
    }

    /// Returns the take of a rep as a Standard MIDI File that begins with its first event, or `None` when none was kept.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn take_smf(&self, rep: RepId) -> Result<Option<Vec<u8>>, Error> {
        Ok(self.stored_take(rep)?.map(|(_, smf)| smf))
    }

    /// Returns the take of a rep with its stamps in session time, as it was appended, or `None` when none was kept.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn take(&self, rep: RepId) -> Result<Option<Take>, Error> {
        let Some((first, smf)) = self.stored_take(rep)? else { return Ok(None) };
        let take = read_take(&smf, "take.mid").map_err(|source| Error::Take { rep: rep.0, source })?;
        Ok(Some(shifted(&take, first)))
    }

    fn stored_take(&self, rep: RepId) -> Result<Option<(Micros, Vec<u8>)>, Error> {
        let sql = "SELECT first_us, smf FROM take WHERE rep_id = ?";
        let read = |row: &Row<'_>| Ok((Micros(row.get(0)?), row.get(1)?));
        let failed = self.failed(msgid!("read a take"));
        self.prepared(sql).and_then(|mut statement| statement.query_row([rep.0.to_string()], read).optional()).map_err(failed)
    }

    fn failed(&self, doing: &'static str) -> impl Fn(rusqlite::Error) -> Error + use<> {
        let file = self.file.clone();
        move |source| match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseCorrupt) => Error::Damaged { file: file.clone(), what: source.to_string() },
            _ => Error::Sql { file: file.clone(), doing, source },
        }
    }

    fn rows<T>(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
        doing: &'static str,
    ) -> Result<Vec<T>, Error> {
        let mut statement = self.prepared(sql).map_err(self.failed(doing))?;
        let rows = statement.query_map(values, read).and_then(Iterator::collect);
        rows.map_err(self.failed(doing))
    }

    /// Prepares a statement that reads, once for all the times it is used.
    fn prepared(&self, sql: &str) -> rusqlite::Result<rusqlite::CachedStatement<'_>> {
        #[cfg(test)]
        self.asked.borrow_mut().insert(sql.to_owned());
        self.connection.prepare_cached(sql)
    }
}

#[cfg(test)]
mod tests {
    use rusqlite_migration::Migrations;

    use super::*;

    #[test]
    fn a_journal_on_disk_is_set_to_lose_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(dir.path()).unwrap();
        let pragma = |name: &str| store.connection.query_row(&format!("PRAGMA {name}"), [], |row| row.get::<_, rusqlite::types::Value>(0));
        assert_eq!(pragma("journal_mode"), Ok(rusqlite::types::Value::Text("wal".into())));
        // 2 is FULL (SQLite documentation, "PRAGMA synchronous").
        assert_eq!(pragma("synchronous"), Ok(rusqlite::types::Value::Integer(2)));
        assert_eq!(pragma("foreign_keys"), Ok(rusqlite::types::Value::Integer(1)));
    }

    /// A start is as quick with ten years in the journal as with ten days only while it reads rows by an index.
    #[test]
    fn nothing_that_a_start_asks_reads_all_reps_or_takes() {
        let dir = tempfile::tempdir().unwrap();
        let mut store = Store::open(dir.path()).unwrap();
        let opened = NewSession {
            started: "2026-03-01T10:00:00+01:00".parse().unwrap(),
            piece_key: "air".into(),
            piece_title: "Air".into(),
            program_version: "0".into(),
            seed: 0,
        };
        let session = store.begin_session(&opened).unwrap();
        let sql = "INSERT INTO rep (id, session_id, number, mode, span, first_bar, last_bar, started_us, ended_us, verdict, n_notes_due,
                       n_notes_right) VALUES (?, ?, 0, 'drill', 'it''s', '1', '4', 5, 9, 'clean', 7, 7)";
        store.connection.execute(sql, [Uuid::now_v7().to_string(), session.0.to_string()]).unwrap();
        let attempts = store.attempts("air").unwrap();
        let rep = attempts.all[0];
        assert_eq!((attempts.spans[rep.span].name.as_str(), rep.length, rep.failed), ("it's", Micros(4), None));
        assert_eq!(store.n_notes_due(rep.row).unwrap(), 7);
        store.take(store.rep_id(rep.row).unwrap()).unwrap();
        store.noted(rep.row).unwrap();
        store.lapses("air").unwrap();
        assert_eq!(store.latest("air").unwrap().map(|rep| (rep.at, rep.span)), Some((rep.at, "it's".to_owned())));
        store.answers("air").unwrap();
        store.open_spots("air").unwrap();
        store.runs("air", 10).unwrap();
        store.sessions().unwrap();
        let asked = store.asked.borrow();
        assert!(asked.len() >= 10, "{asked:#?}");
        let mut is_covered = false;
        for sql in asked.iter() {
            let mut explained = store.connection.prepare(&format!("EXPLAIN QUERY PLAN {sql}")).unwrap();
            let n_values = explained.parameter_count();
            let values = rusqlite::params_from_iter(std::iter::repeat_n(1, n_values));
            let steps: Vec<String> = explained.query_map(values, |row| row.get(3)).unwrap().map(Result::unwrap).collect();
            for step in &steps {
                let scanned = step.strip_prefix("SCAN ").unwrap_or("");
                let table = scanned.split(' ').next().unwrap_or("");
                assert!(!["rep", "take", "happening", "answer_take"].contains(&table), "{step} in {sql}");
                is_covered |= step.contains("USING COVERING INDEX rep_in_short");
            }
        }
        assert!(is_covered, "all attempts come from the index alone");
    }

    #[test]
    fn the_migrations_are_well_formed() {
        assert!(Migrations::from_slice(MIGRATIONS).validate().is_ok());
    }
}
