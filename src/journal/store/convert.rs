//! Between rows and the values of the program: words of closed lists, dates, ids, the origin of a take.
//!
//! What is read back is checked here: a word, date or id that nobody wrote is an error, not a guess.

use chrono::{FixedOffset, TimeZone, Utc};
use rusqlite::Row;
use rusqlite::types::Type;
use uuid::Uuid;

use crate::journal::entry::{Mode, Verdict};
use crate::midi::Take;
use crate::time::{Micros, Stamped, Timestamp};

/// Returns the take moved so that its first event is at `first`.
pub(super) fn shifted(take: &Take, first: Micros) -> Take {
    let by = take.events().first().map_or(Micros::ZERO, |e| first - e.at);
    take.events().iter().map(|e| Stamped { at: e.at + by, what: e.what }).collect()
}

pub(super) fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Clean => "clean",
        Verdict::Prompted => "prompted",
        Verdict::Broken => "broken",
    }
}

pub(super) fn verdict_from(word: &str) -> Option<Verdict> {
    [Verdict::Clean, Verdict::Prompted, Verdict::Broken].into_iter().find(|v| verdict_word(*v) == word)
}

pub(super) fn mode_word(mode: Mode) -> &'static str {
    match mode {
        Mode::Drill => "drill",
        Mode::RunThrough => "run-through",
    }
}

pub(super) fn mode_from(word: &str) -> Option<Mode> {
    [Mode::Drill, Mode::RunThrough].into_iter().find(|m| mode_word(*m) == word)
}

/// Reads a word of a closed list.
pub(super) fn known<T>(row: &Row<'_>, column: usize, read: impl Fn(&str) -> Option<T>) -> rusqlite::Result<T> {
    let word: String = row.get(column)?;
    read(&word).ok_or_else(|| unreadable(column, Type::Text, format!("the unknown word {word:?}")))
}

pub(super) fn uuid(row: &Row<'_>, column: usize) -> rusqlite::Result<Uuid> {
    let text: String = row.get(column)?;
    Uuid::parse_str(&text).map_err(|e| unreadable(column, Type::Text, format!("the id {text:?}: {e}")))
}

pub(super) fn timestamp(utc_us: i64, offset_s: i32) -> rusqlite::Result<Timestamp> {
    let offset = FixedOffset::east_opt(offset_s);
    let utc = Utc.timestamp_micros(utc_us).single();
    let at = utc.zip(offset).map(|(utc, offset)| utc.with_timezone(&offset));
    at.ok_or_else(|| unreadable(1, Type::Integer, format!("the time {utc_us} us with the offset {offset_s} s")))
}

fn unreadable(column: usize, kind: Type, what: String) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, kind, what.into())
}
