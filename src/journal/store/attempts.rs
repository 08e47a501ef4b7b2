//! Attempts read in bulk.

use std::collections::HashMap;

use chrono::NaiveDate;
use rusqlite::{Row, Statement};

use super::convert::{known, timestamp, uuid};
use super::{Error, RepId, Store};
use crate::journal::attempts::{Attempt, Attempts, DatedRun, DatedSlip, Known, Latest, Noted, PlayedSpan, RepRow, SettingSlip};
use crate::journal::entry::{Mode, Verdict, Witness};
use crate::journal::stats::DatedLapse;
use crate::time::{Micros, Timestamp};

/// The reps of a piece from the index `rep_in_short` alone; its last column must be written as there.
const ATTEMPTS: &str = "SELECT rep.rowid, started_utc_us, offset_s, started_us, rep.ended_us,
        mode || ' ' || verdict || ' ' || witness || ' ' || quote(span) || ' ' || quote(first_bar) || ' ' || quote(last_bar) || ' '
            || quote(reason_place) || ' ' || quote(reason_kind)
    FROM session CROSS JOIN rep INDEXED BY rep_in_short ON rep.session_id = session.id WHERE piece_key = ?";
const ONE_REP: &str = "SELECT mode, verdict, witness, span, first_bar, last_bar, reason_place, reason_kind FROM rep WHERE rowid = ?";

impl Store {
    /// Returns all attempts at a piece, oldest first, each with the verdict that holds now.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn attempts(&self, piece_key: &str) -> Result<Attempts, Error> {
        let doing = msgid!("read the attempts");
        let failed = self.failed(doing);
        let overruled = self.overruled(piece_key)?;
        let mut shapes = Shapes::default();
        let mut days = Days::default();
        let mut all: Vec<Attempt> = Vec::new();
        let mut statement = self.prepared(ATTEMPTS).map_err(&failed)?;
        let mut whole = self.prepared(ONE_REP).map_err(&failed)?;
        let mut rows = statement.query([piece_key]).map_err(&failed)?;
        // In the order of sessions, and of reps within each: nearly that of time already.
        while let Some(row) = rows.next().map_err(&failed)? {
            let mut read = || -> rusqlite::Result<Attempt> {
                let rep = RepRow(row.get(0)?);
                let started: i64 = row.get(3)?;
                let at = timestamp(row.get::<_, i64>(1)? + started, row.get(2)?)?;
                let Shape { span, mode, judged, witness, failed } = shapes.find(text(row, 5)?, rep, &mut whole)?;
                let verdict = overruled.get(&rep).copied().unwrap_or(judged);
                let length = Micros(row.get::<_, i64>(4)? - started);
                Ok(Attempt { row: rep, at, day: days.of(at), length, span, mode, judged, verdict, witness, failed })
            };
            all.push(read().map_err(&failed)?);
        }
        all.sort_by_key(|a| a.at);
        Ok(Attempts { spans: shapes.spans.all, failures: shapes.failures.all, all })
    }

    /// Returns the latest rep of a piece, without reading the others.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn latest(&self, piece_key: &str) -> Result<Option<Latest>, Error> {
        let sql = "SELECT started_utc_us + started_us, offset_s, span,
                       coalesce((SELECT overrule.verdict FROM overrule WHERE rep_id = rep.id ORDER BY at_us DESC, overrule.id DESC LIMIT 1),
                           rep.verdict)
                   FROM session CROSS JOIN rep ON session_id = session.id
                   WHERE piece_key = ? ORDER BY started_utc_us DESC, started_us DESC LIMIT 1";
        let read = |row: &Row<'_>| Ok(Latest { at: timestamp(row.get(0)?, row.get(1)?)?, span: row.get(2)?, verdict: known(row, 3)? });
        Ok(self.rows(sql, [piece_key], read, msgid!("read the latest rep"))?.pop())
    }

    /// Returns the lapses of a piece's run-throughs by rep, each list in the order they happened.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn lapses(&self, piece_key: &str) -> Result<HashMap<RepRow, Vec<DatedLapse>>, Error> {
        let sql = "SELECT rep.rowid, place, recovery, going_at
                   FROM lapse CROSS JOIN rep ON rep.id = lapse.rep_id CROSS JOIN session ON session.id = rep.session_id
                   WHERE piece_key = ? ORDER BY lapse.rep_id, nth";
        let read =
            |row: &Row<'_>| Ok((RepRow(row.get(0)?), DatedLapse { place: row.get(1)?, recovery: known(row, 2)?, going_at: row.get(3)? }));
        let mut lapses: HashMap<RepRow, Vec<DatedLapse>> = HashMap::new();
        for (rep, lapse) in self.rows(sql, [piece_key], read, msgid!("read the run-throughs"))? {
            lapses.entry(rep).or_default().push(lapse);
        }
        Ok(lapses)
    }

    /// Returns which levers and pedals were heard to stand wrong in the reps of a piece, and where, in order.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn setting_slips(&self, piece_key: &str) -> Result<HashMap<RepRow, Vec<SettingSlip>>, Error> {
        let sql = "SELECT rep.rowid, place, setting
                   FROM happening CROSS JOIN rep ON rep.id = happening.rep_id CROSS JOIN session ON session.id = rep.session_id
                   WHERE kind = 'setting' AND piece_key = ? ORDER BY happening.rep_id, nth";
        let read = |row: &Row<'_>| Ok((RepRow(row.get(0)?), SettingSlip { place: row.get(1)?, setting: row.get(2)? }));
        let mut slips: HashMap<RepRow, Vec<SettingSlip>> = HashMap::new();
        for (rep, slip) in self.rows(sql, [piece_key], read, msgid!("read the slips of levers and pedals"))? {
            slips.entry(rep).or_default().push(slip);
        }
        Ok(slips)
    }

    /// Returns the same of all reps from memory and of all answers, oldest first.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn dated_slips(&self, piece_key: &str) -> Result<Vec<DatedSlip>, Error> {
        let sql = "SELECT started_utc_us + at_us AS at, offset_s, place, setting
                   FROM happening CROSS JOIN rep ON rep.id = rep_id CROSS JOIN session ON session.id = session_id
                   WHERE kind = 'setting' AND piece_key = ?1 AND mode <> 'reading'
                   UNION ALL
                   SELECT started_utc_us + at_us, offset_s, answer_happening.place, setting
                   FROM answer_happening CROSS JOIN answer ON answer.id = answer_id CROSS JOIN session ON session.id = session_id
                   WHERE answer_happening.kind = 'setting' AND piece_key = ?1
                   ORDER BY at";
        let read = |row: &Row<'_>| {
            Ok(DatedSlip { at: timestamp(row.get(0)?, row.get(1)?)?, slip: SettingSlip { place: row.get(2)?, setting: row.get(3)? } })
        };
        self.rows(sql, [piece_key], read, msgid!("read the slips of levers and pedals"))
    }

    /// Returns the player's last word on each rep of a piece whose verdict they overruled.
    pub(super) fn overruled(&self, piece_key: &str) -> Result<HashMap<RepRow, Verdict>, Error> {
        // A CROSS JOIN keeps SQLite to the order written: from the few verdicts to their reps, not the other way round.
        let sql = "SELECT rep.rowid, overrule.verdict
                   FROM overrule CROSS JOIN rep ON rep.id = rep_id CROSS JOIN session ON session.id = session_id
                   WHERE piece_key = ? ORDER BY at_us, overrule.id";
        let read = |row: &Row<'_>| Ok((RepRow(row.get(0)?), known(row, 1)?));
        Ok(self.rows(sql, [piece_key], read, msgid!("read the verdicts overruled"))?.into_iter().collect())
    }

    /// Returns the id of a rep.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn rep_id(&self, rep: RepRow) -> Result<RepId, Error> {
        self.one("SELECT id FROM rep WHERE rowid = ?", rep, |row| Ok(RepId(uuid(row, 0)?)))
    }

    /// Returns how many notes were due in a rep.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn n_notes_due(&self, rep: RepRow) -> Result<u32, Error> {
        self.one("SELECT n_notes_due FROM rep WHERE rowid = ?", rep, |row| row.get(0))
    }

    fn one<T>(&self, sql: &str, rep: RepRow, read: impl FnOnce(&Row<'_>) -> rusqlite::Result<T>) -> Result<T, Error> {
        let mut statement = self.prepared(sql).map_err(self.failed(msgid!("read a rep")))?;
        statement.query_row([rep.0], read).map_err(self.failed(msgid!("read a rep")))
    }

    /// Returns what was noted during a rep, in its order.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn noted(&self, rep: RepRow) -> Result<Vec<Noted>, Error> {
        let sql = "SELECT kind, place FROM happening WHERE rep_id = (SELECT id FROM rep WHERE rowid = ?) ORDER BY nth";
        self.rows(sql, [rep.0], |row| Ok(Noted { kind: row.get(0)?, place: row.get(1)? }), msgid!("read a rep"))
    }

    /// Returns the latest run-throughs of a piece, at most `n_max`, oldest first.
    ///
    /// # Errors
    /// When they cannot be read.
    pub fn runs(&self, piece_key: &str, n_max: usize) -> Result<Vec<DatedRun>, Error> {
        let doing = msgid!("read the run-throughs");
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

/// What many reps have in common.
#[derive(Clone, Copy)]
struct Shape {
    span: usize,
    mode: Mode,
    judged: Verdict,
    witness: Witness,
    failed: Option<usize>,
}

/// The shapes met so far, by the text that tells them apart; each was read from the first rep that has it.
#[derive(Default)]
struct Shapes {
    known: HashMap<String, Shape>,
    last: Option<(String, Shape)>,
    spans: Known<PlayedSpan>,
    failures: Known<(String, String)>,
}

impl Shapes {
    fn find(&mut self, key: &str, rep: RepRow, whole: &mut Statement<'_>) -> rusqlite::Result<Shape> {
        if let Some((_, shape)) = self.last.as_ref().filter(|(last, _)| last == key) {
            return Ok(*shape);
        }
        let shape = match self.known.get(key) {
            Some(shape) => *shape,
            None => {
                let shape = whole.query_row([rep.0], |row| self.read(row))?;
                self.known.insert(key.to_owned(), shape);
                shape
            }
        };
        self.last = Some((key.to_owned(), shape));
        Ok(shape)
    }

    fn read(&mut self, row: &Row<'_>) -> rusqlite::Result<Shape> {
        let span = PlayedSpan { name: row.get(3)?, bars: (row.get(4)?, row.get(5)?) };
        let failed = row.get::<_, Option<String>>(6)?.zip(row.get::<_, Option<String>>(7)?);
        Ok(Shape {
            span: self.spans.find(span),
            mode: known(row, 0)?,
            judged: known(row, 1)?,
            witness: known(row, 2)?,
            failed: failed.map(|f| self.failures.find(f)),
        })
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
