//! Entries as rows: one function an entry, all within the transaction of its caller.

use rusqlite::{Transaction, params};

use super::SessionId;
use super::convert::{Word, shifted};
use crate::import::smf::write_take;
use crate::journal::entry::{Answer, Entry, Happening, Outcome, Rep, Run, Spot, Verdict};
use crate::midi::Take;
use crate::time::Micros;

/// Tells whether an entry of this id has been written.
pub(super) fn is_there(transaction: &Transaction<'_>, id: &str, entry: &Entry) -> rusqlite::Result<bool> {
    let sql = match entry {
        Entry::Rep(_) => "SELECT 1 FROM rep WHERE id = ?",
        Entry::Answer(_) => "SELECT 1 FROM answer WHERE id = ?",
        Entry::Spot(_) => "SELECT 1 FROM spot WHERE id = ?",
        Entry::JudgedBy { .. } => "SELECT 1 FROM session_settings WHERE id = ?",
        Entry::Overruled { .. } => "SELECT 1 FROM overrule WHERE id = ?",
        Entry::AnswerOverruled { .. } => "SELECT 1 FROM answer_overrule WHERE id = ?",
    };
    transaction.prepare_cached(sql)?.exists([id])
}

pub(super) fn rep(transaction: &Transaction<'_>, id: &str, session: SessionId, rep: &Rep) -> rusqlite::Result<()> {
    let reason = rep.reason.as_ref();
    transaction
        .prepare_cached(
            "INSERT INTO rep (id, session_id, number, mode, span, first_bar, last_bar, started_us, ended_us, verdict,
                              reason_place, reason_kind, reason_words, n_notes_due, n_notes_right, tempo, witness)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )?
        .execute(params![
            id,
            session.0.to_string(),
            rep.number.0,
            rep.mode.word(),
            rep.span,
            rep.bars.0,
            rep.bars.1,
            rep.started.0,
            rep.ended.0,
            rep.verdict.word(),
            reason.map(|r| r.place.as_str()),
            reason.map(|r| r.kind),
            reason.map(|r| r.words.as_str()),
            rep.n_notes_due,
            rep.n_notes_right,
            rep.tempo.filter(|t| t.is_finite()),
            rep.witness.word(),
        ])?;
    happenings(
        transaction,
        "INSERT INTO happening (rep_id, nth, at_us, kind, place, hand, setting) VALUES (?, ?, ?, ?, ?, ?, ?)",
        id,
        &rep.happenings,
    )?;
    take(transaction, "INSERT INTO take (id, rep_id, first_us, smf) VALUES (?, ?, ?, ?)", id, &rep.take)?;
    rep.run.as_ref().map_or(Ok(()), |r| run(transaction, id, r))
}

fn run(transaction: &Transaction<'_>, rep_id: &str, run: &Run) -> rusqlite::Result<()> {
    let by_reading = (!run.bars.is_empty()).then_some(run.by_reading);
    let sql = "INSERT INTO run (rep_id, n_bars, n_bars_played, is_held, by_reading) VALUES (?, ?, ?, ?, ?)";
    transaction.prepare_cached(sql)?.execute(params![rep_id, run.n_bars, run.n_bars_played, run.is_held, by_reading])?;
    let mut bar = transaction.prepare_cached("INSERT INTO run_bar (rep_id, nth, bar, permille) VALUES (?, ?, ?, ?)")?;
    for (nth, b) in run.bars.iter().enumerate() {
        bar.execute(params![rep_id, order(nth), b.bar, b.permille])?;
    }
    let sql = "INSERT INTO lapse (rep_id, nth, at_us, place, kind, recovery, going_at, lost_us) VALUES (?, ?, ?, ?, ?, ?, ?, ?)";
    let mut lapse = transaction.prepare_cached(sql)?;
    for (nth, l) in run.lapses.iter().enumerate() {
        lapse.execute(params![rep_id, order(nth), l.at.0, l.place, l.kind, l.recovery.word(), l.going_at, l.lost.0])?;
    }
    Ok(())
}

pub(super) fn answer(transaction: &Transaction<'_>, id: &str, session: SessionId, answer: &Answer) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO answer (id, session_id, number, kind, place, asked_us, first_right_us, ended_us, outcome, witness, n_notes_between)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )?
        .execute(params![
            id,
            session.0.to_string(),
            answer.number,
            answer.kind.word(),
            answer.place,
            answer.asked.0,
            answer.first_right.map(|at| at.0),
            answer.ended.0,
            answer.outcome.word(),
            answer.witness.word(),
            answer.n_notes_between,
        ])?;
    let sql = "INSERT INTO answer_happening (answer_id, nth, at_us, kind, place, hand, setting) VALUES (?, ?, ?, ?, ?, ?, ?)";
    happenings(transaction, sql, id, &answer.happenings)?;
    take(transaction, "INSERT INTO answer_take (id, answer_id, first_us, smf) VALUES (?, ?, ?, ?)", id, &answer.take)
}

pub(super) fn spot(transaction: &Transaction<'_>, id: &str, session: SessionId, spot: &Spot) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("INSERT INTO spot (id, session_id, at_us, place, hand, text, typed) VALUES (?, ?, ?, ?, ?, ?, ?)")?
        .execute(params![id, session.0.to_string(), spot.at.0, spot.place, spot.hand, spot.text, spot.typed])
        .map(drop)
}

pub(super) fn judged_by(transaction: &Transaction<'_>, id: &str, session: SessionId, settings: &str, at: Micros) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("INSERT INTO session_settings (id, session_id, at_us, text) VALUES (?, ?, ?, ?)")?
        .execute(params![id, session.0.to_string(), at.0, settings])
        .map(drop)
}

pub(super) fn overrule_answer(
    transaction: &Transaction<'_>,
    id: &str,
    answer_id: &str,
    outcome: Outcome,
    at: Micros,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("INSERT INTO answer_overrule (id, answer_id, at_us, outcome) VALUES (?, ?, ?, ?)")?
        .execute(params![id, answer_id, at.0, outcome.word()])
        .map(drop)
}

pub(super) fn overrule(transaction: &Transaction<'_>, id: &str, rep_id: &str, verdict: Verdict, at: Micros) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("INSERT INTO overrule (id, rep_id, at_us, verdict) VALUES (?, ?, ?, ?)")?
        .execute(params![id, rep_id, at.0, verdict.word()])
        .map(drop)
}

fn happenings(transaction: &Transaction<'_>, sql: &str, owner: &str, happenings: &[Happening]) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached(sql)?;
    for (nth, h) in happenings.iter().enumerate() {
        insert.execute(params![owner, order(nth), h.at.0, h.kind, h.place, h.hand, h.setting])?;
    }
    Ok(())
}

/// A take that has no events is not kept. It is filed under its owner's id, so that written again it is the same row.
fn take(transaction: &Transaction<'_>, sql: &str, owner: &str, take: &Take) -> rusqlite::Result<()> {
    let Some(first) = take.events().first() else { return Ok(()) };
    let smf = write_take(&shifted(take, Micros::ZERO));
    transaction.prepare_cached(sql)?.execute(params![owner, owner, first.at.0, smf]).map(drop)
}

fn order(nth: usize) -> i64 {
    i64::try_from(nth).unwrap_or(i64::MAX)
}
