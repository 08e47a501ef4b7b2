//! Attempts read in bulk.

use std::collections::HashMap;

use chrono::NaiveDate;
use rusqlite::Row;
use rusqlite::types::ValueRef;

use super::convert::{known, timestamp};
use super::{Error, Store};
use crate::journal::attempts::{Attempt, Attempts, DatedRun, Known, Noted, PlayedSpan, RepRow};
use crate::journal::entry::Verdict;
use crate::time::{Micros, Timestamp};

impl Store {
    /// Returns all attempts at a piece, oldest first, each with the verdict that holds now.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn attempts(&self, piece_key: &str) -> Result<Attempts, Error> {
        let failed = self.failed("read the attempts");
        let overruled = self.overruled(piece_key)?;
        let (mut spans, mut failures) = (Known::<PlayedSpan>::new(), Known::<(String, String)>::new());
        // In the order of sessions, and of reps within each: nearly that of time already.
        let sql =
            "SELECT rep.rowid, started_utc_us + started_us, offset_s, rep.ended_us - started_us, mode, span, first_bar, last_bar, verdict,
                          witness, reason_place, reason_kind
                   FROM session CROSS JOIN rep ON rep.session_id = session.id WHERE piece_key = ?";
        let mut days = Days::default();
        let mut read = |row: &Row<'_>| -> rusqlite::Result<Attempt> {
            let (name, first, last) = (text(row, 5)?, text(row, 6)?, text(row, 7)?);
            let span = spans.find(
                |s| s.name == name && s.bars.0 == first && s.bars.1 == last,
                || PlayedSpan { name: name.to_owned(), bars: (first.to_owned(), last.to_owned()) },
            );
            let has_failed = row.get_ref(10)? != ValueRef::Null;
            let failed = if has_failed {
                let (place, kind) = (text(row, 10)?, text(row, 11)?);
                Some(failures.find(|f| f.0 == place && f.1 == kind, || (place.to_owned(), kind.to_owned())))
            } else {
                None
            };
            let rep = RepRow(row.get(0)?);
            let at = timestamp(row.get(1)?, row.get(2)?)?;
            Ok(Attempt {
                row: rep,
                at,
                day: days.of(at),
                length: Micros(row.get(3)?),
                span,
                mode: known(row, 4)?,
                verdict: overruled.get(&rep).copied().map_or_else(|| known(row, 8), Ok)?,
                witness: known(row, 9)?,
                failed,
            })
        };
        let mut statement = self.connection.prepare_cached(sql).map_err(&failed)?;
        let rows: rusqlite::Result<Vec<Attempt>> = statement.query_map([piece_key], &mut read).and_then(Iterator::collect);
        let mut all = rows.map_err(failed)?;
        all.sort_by_key(|a| a.at);
        Ok(Attempts { spans: spans.all, failures: failures.all, all })
    }

    /// Returns the player's last word on each rep of a piece whose verdict they overruled.
    pub(super) fn overruled(&self, piece_key: &str) -> Result<HashMap<RepRow, Verdict>, Error> {
        // A CROSS JOIN keeps SQLite to the order written: from the few verdicts to their reps, not the other way round.
        let sql = "SELECT rep.rowid, overrule.verdict
                   FROM overrule CROSS JOIN rep ON rep.id = rep_id CROSS JOIN session ON session.id = session_id
                   WHERE piece_key = ? ORDER BY at_us, overrule.id";
        let read = |row: &Row<'_>| Ok((RepRow(row.get(0)?), known(row, 1)?));
        Ok(self.rows(sql, [piece_key], read, "read the verdicts overruled")?.into_iter().collect())
    }

    /// Returns what was noted during a rep, in its order.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn noted(&self, rep: RepRow) -> Result<Vec<Noted>, Error> {
        let sql = "SELECT kind, place FROM happening WHERE rep_id = (SELECT id FROM rep WHERE rowid = ?) ORDER BY nth";
        self.rows(sql, [rep.0], |row| Ok(Noted { kind: row.get(0)?, place: row.get(1)? }), "read a rep")
    }

    /// Returns the latest run-throughs of a piece, at most `n_max`, oldest first.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn runs(&self, piece_key: &str, n_max: usize) -> Result<Vec<DatedRun>, Error> {
        let doing = "read the run-throughs";
        let sql = "SELECT run.rep_id, started_utc_us + started_us, offset_s, n_bars, n_bars_played, is_held
                   FROM run CROSS JOIN rep ON rep.id = rep_id CROSS JOIN session ON session.id = session_id
                   WHERE piece_key = ?1 ORDER BY 2 DESC, 1 LIMIT ?2";
        let read = |row: &Row<'_>| {
            let at = timestamp(row.get(1)?, row.get(2)?)?;
            let run = DatedRun { at, n_bars: row.get(3)?, n_bars_played: row.get(4)?, is_held: row.get(5)?, lapses: Vec::new() };
            Ok((row.get::<_, String>(0)?, run))
        };
        let mut out = Vec::new();
        for (rep, run) in self.rows(sql, rusqlite::params![piece_key, n_max as i64], read, doing)? {
            let sql = "SELECT place, recovery, lost_us FROM lapse WHERE rep_id = ? ORDER BY nth";
            let lapses = self.rows(sql, [rep], |row| Ok((row.get(0)?, known(row, 1)?, Micros(row.get(2)?))), doing)?;
            out.push(DatedRun { lapses, ..run });
        }
        out.reverse();
        Ok(out)
    }
}

/// Days of dates that mostly follow each other on the same one: the calendar is asked once for each.
#[derive(Default)]
struct Days {
    /// Days since 1970 by the player's clock.
    number: i64,
    day: NaiveDate,
}

impl Days {
    fn of(&mut self, at: Timestamp) -> NaiveDate {
        let number = (at.timestamp() + i64::from(at.offset().local_minus_utc())).div_euclid(24 * 60 * 60);
        if number != self.number {
            *self = Days { number, day: at.date_naive() };
        }
        self.day
    }
}

/// Reads a text without copying it.
fn text<'r>(row: &'r Row<'_>, column: usize) -> rusqlite::Result<&'r str> {
    Ok(row.get_ref(column)?.as_str()?)
}
