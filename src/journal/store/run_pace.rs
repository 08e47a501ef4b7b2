//! How steady run-throughs were, bar by bar.

use rusqlite::OptionalExtension;

use super::convert::timestamp;
use super::{Error, Store};
use crate::journal::attempts::DatedPace;
use crate::journal::entry::BarPace;

impl Store {
    /// Returns how steady the latest run-through of a piece was; none where no run was long enough to tell.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn latest_pace(&self, piece_key: &str) -> Result<Option<DatedPace>, Error> {
        let sql = "SELECT run.rep_id, started_utc_us + started_us, offset_s, by_reading
                   FROM run CROSS JOIN rep ON rep.id = rep_id CROSS JOIN session ON session.id = session_id
                   WHERE piece_key = ? AND by_reading IS NOT NULL ORDER BY 2 DESC LIMIT 1";
        let read = |row: &rusqlite::Row<'_>| {
            let pace = DatedPace { at: timestamp(row.get(1)?, row.get(2)?)?, by_reading: row.get(3)?, bars: Vec::new() };
            Ok((row.get::<_, String>(0)?, pace))
        };
        let latest = self.connection.query_row(sql, [piece_key], read).optional().map_err(self.failed(msgid!("read the run-throughs")))?;
        let Some((rep, pace)) = latest else { return Ok(None) };
        let sql = "SELECT bar, permille FROM run_bar WHERE rep_id = ? ORDER BY nth";
        let read = |row: &rusqlite::Row<'_>| Ok(BarPace { bar: row.get(0)?, permille: row.get(1)? });
        Ok(Some(DatedPace { bars: self.rows(sql, [rep], read, msgid!("read the run-throughs"))?, ..pace }))
    }
}
