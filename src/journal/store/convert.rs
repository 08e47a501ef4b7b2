//! Between rows and the values of the program: words of closed lists, dates, ids, the origin of a take.
//!
//! What is read back is checked here: a word, date or id that nobody wrote is an error, not a guess.

use std::sync::Arc;

use chrono::{FixedOffset, TimeZone, Utc};
use rusqlite::Row;
use rusqlite::types::Type;
use uuid::Uuid;

use crate::journal::entry::{Mode, Outcome, QuestionKind, Recovery, Verdict, Witness};
use crate::midi::Take;
use crate::time::{Micros, Stamped, Timestamp};

/// Returns the take moved so that its first event is at `first`.
pub(super) fn shifted(take: &Take, first: Micros) -> Take {
    let by = take.events().first().map_or(Micros::ZERO, |e| first - e.at);
    let events = take.events().iter().map(|e| Stamped { at: e.at + by, what: e.what });
    events.collect::<Take>().heard(Arc::clone(take.hearing()))
}

/// A value written as a word of a closed list.
pub(super) trait Word: Copy + PartialEq + 'static {
    const WORDS: &'static [(Self, &'static str)];

    fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(value, _)| *value == self).expect("the list has every value").1
    }
}

impl Word for Verdict {
    const WORDS: &'static [(Self, &'static str)] =
        &[(Verdict::Clean, "clean"), (Verdict::Prompted, "prompted"), (Verdict::Broken, "broken")];
}

impl Word for Mode {
    const WORDS: &'static [(Self, &'static str)] = &[(Mode::Reading, "reading"), (Mode::Drill, "drill"), (Mode::RunThrough, "run-through")];
}

impl Word for Witness {
    const WORDS: &'static [(Self, &'static str)] = &[(Witness::Heard, "heard"), (Witness::Told, "told")];
}

impl Word for Recovery {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Recovery::WentOn, "went-on"),
        (Recovery::Landmark, "landmark"),
        (Recovery::Restarted, "restarted"),
        (Recovery::NotRecovered, "not-recovered"),
    ];
}

impl Word for QuestionKind {
    const WORDS: &'static [(Self, &'static str)] = &[
        (QuestionKind::ColdStart, "cold-start"),
        (QuestionKind::GoOn, "go-on"),
        (QuestionKind::WhatNext, "what-next"),
        (QuestionKind::Switch, "switch"),
        (QuestionKind::Jump, "jump"),
        (QuestionKind::Change, "change"),
    ];
}

impl Word for Outcome {
    const WORDS: &'static [(Self, &'static str)] =
        &[(Outcome::Held, "held"), (Outcome::Failed, "failed"), (Outcome::OutOfTime, "out-of-time")];
}

/// Reads a word of a closed list.
pub(super) fn known<T: Word>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let word = row.get_ref(column)?.as_str()?;
    let value = T::WORDS.iter().find(|(_, known)| *known == word).map(|(value, _)| *value);
    value.ok_or_else(|| unreadable(column, Type::Text, tr!("the unknown word {word}", word = format!("{word:?}"))))
}

pub(super) fn uuid(row: &Row<'_>, column: usize) -> rusqlite::Result<Uuid> {
    let text = row.get_ref(column)?.as_str()?;
    Uuid::parse_str(text).map_err(|e| unreadable(column, Type::Text, tr!("the id {id}: {why}", id = format!("{text:?}"), why = e)))
}

pub(super) fn timestamp(utc_us: i64, offset_s: i32) -> rusqlite::Result<Timestamp> {
    let offset = FixedOffset::east_opt(offset_s);
    let utc = Utc.timestamp_micros(utc_us).single();
    let at = utc.zip(offset).map(|(utc, offset)| utc.with_timezone(&offset));
    at.ok_or_else(|| unreadable(1, Type::Integer, tr!("the time {utc_us} us with the offset {offset_s} s", utc_us, offset_s)))
}

fn unreadable(column: usize, kind: Type, what: String) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, kind, what.into())
}
