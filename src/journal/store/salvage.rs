//! What can still be read of a damaged journal, written to a new one.

use std::fs;
use std::path::Path;

use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags, params_from_iter};

use super::copy::beside;
use super::tables::{Known, TABLES};
use super::{Error, FILE_NAME, MIGRATIONS, Store};

/// What was taken out.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct Salvaged {
    pub n_rows: usize,
    /// Rows that belong to one that could not be read.
    pub n_orphans: usize,
    /// Tables that could not be read from end to end: some of their rows may be missing.
    pub n_broken_tables: usize,
}

impl Store {
    /// Writes what can be read of the journal in `dir` to a new file, which is a journal itself; the damaged one stays as it is.
    ///
    /// A table is read from its beginning until it breaks and from its end back to there, so that one bad page costs the rows on it and
    /// those that belong to them. Rows between two bad pages of one table are not found.
    ///
    /// # Errors
    /// When there is a file of that name, it cannot be written, or nothing at all can be read.
    pub fn salvage(dir: &Path, to: &Path) -> Result<Salvaged, Error> {
        if fs::symlink_metadata(to).is_ok() {
            return Err(Error::InTheWay { file: to.to_owned() });
        }
        let from = dir.join(FILE_NAME);
        let opening = |source| Error::Open { file: from.clone(), source };
        let damaged = Store::unready(Connection::open_with_flags(&from, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(opening)?, from.clone());
        let is_older = damaged.refuse_what_is_not_ours()? < MIGRATIONS.len();
        let part = beside(to, "part");
        let written = damaged.salvage_into(&part, is_older);
        let kept = written.and_then(|salvaged| {
            let failed = |source: std::io::Error| Error::Copy { from: from.clone(), to: to.to_owned(), source: source.into() };
            fs::rename(&part, to).map_err(failed)?;
            Ok(salvaged)
        });
        if kept.is_err() {
            let _ = fs::remove_file(&part);
        }
        kept
    }

    fn salvage_into(&self, to: &Path, is_older: bool) -> Result<Salvaged, Error> {
        let connection = Connection::open(to).map_err(|source| Error::Open { file: to.to_owned(), source })?;
        let whole = Store::set_up(connection, to.to_owned())?;
        // One file, and nothing beside it.
        whole.connection.pragma_update(None, "journal_mode", "DELETE").map_err(whole.failed(msgid!("write a salvaged journal")))?;
        let mut salvaged = Salvaged::default();
        whole.connection.execute_batch("BEGIN").map_err(whole.failed(msgid!("write a salvaged journal")))?;
        // A journal of an older schema never had the newest tables.
        for table in TABLES.iter().filter(|table| !(is_older && self.lacks(table.name))) {
            salvaged.n_broken_tables += usize::from(!self.salvage_table(table, &whole, &mut salvaged)?);
        }
        whole.connection.execute_batch("COMMIT").map_err(whole.failed(msgid!("write a salvaged journal")))?;
        if salvaged.n_rows == 0 && salvaged.n_broken_tables > 0 {
            return Err(Error::Damaged { file: self.file.clone(), what: tr!("nothing in it can be read") });
        }
        whole.check()?;
        Ok(salvaged)
    }

    fn lacks(&self, table: &str) -> bool {
        let count = "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = ?";
        self.connection.query_row(count, [table], |row| row.get::<_, i64>(0)).is_ok_and(|n| n == 0)
    }

    /// Copies the rows of a table; tells whether it could be read from end to end.
    fn salvage_table(&self, table: &Known, to: &Store, salvaged: &mut Salvaged) -> Result<bool, Error> {
        let name = table.name;
        let mut is_whole = false;
        for direction in ["ASC", "DESC"] {
            // A table without a rowid is kept in the order of its keys. An index may be broken where the table is whole.
            let by_keys = table.keys.iter().map(|key| format!("{key} {direction}")).collect::<Vec<_>>().join(", ");
            let orders = [format!("rowid {direction}"), by_keys];
            let sql = orders.iter().map(|order| format!("SELECT * FROM {name} NOT INDEXED ORDER BY {order}"));
            let Some(mut statement) = sql.into_iter().find_map(|sql| self.connection.prepare(&sql).ok()) else { return Ok(false) };
            let n_columns = statement.column_count();
            let places = vec!["?"; n_columns].join(", ");
            // By name: a journal of an older schema has fewer of them.
            let columns = statement.column_names().join(", ");
            let Ok(mut rows) = statement.query([]) else { return Ok(false) };
            loop {
                let cells = match rows.next() {
                    Ok(None) => {
                        is_whole = direction == "ASC";
                        break;
                    }
                    Ok(Some(row)) => (0..n_columns).map(|column| row.get::<_, Value>(column)).collect::<Result<Vec<_>, _>>(),
                    Err(_) => break,
                };
                let Ok(cells) = cells else { break };
                let insert = format!("INSERT OR IGNORE INTO {name} ({columns}) VALUES ({places})");
                match to.connection.prepare_cached(&insert).and_then(|mut insert| insert.execute(params_from_iter(cells))) {
                    Ok(n) => salvaged.n_rows += n,
                    Err(error) if error.sqlite_error_code() == Some(rusqlite::ErrorCode::ConstraintViolation) => salvaged.n_orphans += 1,
                    Err(error) => return Err(to.failed(msgid!("write a salvaged journal"))(error)),
                }
            }
            if is_whole {
                break;
            }
        }
        Ok(is_whole)
    }
}
