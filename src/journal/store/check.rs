//! Whether a journal is whole.

use rusqlite::OptionalExtension;

use super::convert::known;
use super::{Error, Store};
use crate::import::smf::read_take;
use crate::journal::entry::Recovery;

impl Store {
    /// Reads the whole journal and checks it: SQLite's own structures, the links between rows, every word, date and take.
    ///
    /// # Errors
    /// At the first thing that is not whole.
    pub fn check(&self) -> Result<(), Error> {
        let damaged = |what: String| Error::Damaged { file: self.file.clone(), what };
        let failed = self.failed(msgid!("check"));
        let report: String = self.connection.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0)).map_err(&failed)?;
        if report != "ok" {
            return Err(damaged(report));
        }
        let broken = self.connection.query_row("PRAGMA foreign_key_check", [], |row| row.get::<_, String>(0)).optional();
        if let Some(table) = broken.map_err(failed)? {
            return Err(damaged(tr!("a row of the table {table} belongs to nothing", table)));
        }
        let mut pieces: Vec<String> = self.sessions()?.into_iter().map(|s| s.opened.piece_key).collect();
        pieces.sort_unstable();
        pieces.dedup();
        for piece in pieces {
            self.reps(&piece)?;
            self.answers(&piece)?;
            self.open_spots(&piece)?;
        }
        self.rows("SELECT recovery FROM lapse", [], |row| known::<Recovery>(row, 0), msgid!("read the lapses"))?;
        self.each_row(None, |table, row| {
            for cell in &row.cells {
                if let crate::journal::row::Cell::Bytes(smf) = cell {
                    read_take(smf, "take.mid")
                        .map_err(|e| damaged(tr!("a take of the table {table}: {why}", table = table.name, why = e)))?;
                }
            }
            Ok(())
        })
    }
}
