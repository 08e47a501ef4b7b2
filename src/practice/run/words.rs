//! What is said of a run-through when it is over: what held, what lapsed and how the way back was found, in a teacher's words.

use super::super::span::Span;
use super::super::words::spoken;
use super::pace::Drift;
use crate::journal::entry::{Lapse, Recovery, Rep, Run};
use crate::time::Micros;

/// Lapses told one by one; what is beyond them is counted.
const N_LAPSES_TOLD: usize = 6;
/// Less than this is not worth a word.
const LOST_TOLD: Micros = Micros(1_000_000);

/// Returns the lines for a run-through that is over; `is_strict` where a mark was set for it.
pub fn lines(rep: &Rep, run: &Run, drifts: &[Drift], span: &Span, is_strict: bool) -> Vec<String> {
    let mut lines = vec![format!("{}: {}", rep.span, opening(run, rep, is_strict))];
    lines.extend(run.lapses.iter().take(N_LAPSES_TOLD).map(lapse));
    let more = run.lapses.len().saturating_sub(N_LAPSES_TOLD);
    if more > 0 {
        lines.push(tr!("and 1 lapse more" | "and {n} lapses more" % more));
    }
    lines.extend(drifts.iter().map(|d| drift(d, span)));
    lines
}

fn opening(run: &Run, rep: &Rep, is_strict: bool) -> String {
    let n_lapses = run.lapses.len();
    let mut words = match (run.is_held, n_lapses) {
        (true, 0) => tr!("held, from the first bar to the last without a lapse"),
        (true, 1) => tr!("held, from the first bar to the last; one lapse, and you found the way back"),
        (true, _) => tr!("held, from the first bar to the last; {n_lapses} lapses, and you found the way back each time", n_lapses),
        (false, _) => {
            let lapses = if n_lapses > 0 { tr!(", 1 lapse" | ", {n} lapses" % n_lapses) } else { String::new() };
            let is_whole = run.n_bars_played == run.n_bars && run.lapses.iter().all(|l| l.recovery != Recovery::NotRecovered);
            let mark = if is_whole && is_strict { tr!("; not held by the mark you set") } else { String::new() };
            bars_played(run) + &lapses + &mark
        }
    };
    if run.is_held && run.n_bars_played < run.n_bars {
        words += &format!("; {}", bars_played(run));
    }
    let slips = rep.happenings.iter().filter(|h| matches!(h.kind, "wrong" | "missed" | "extra" | "setting")).count();
    words += &format!("; {}", tr!("{right} of {due} notes", right = rep.n_notes_right, due = rep.n_notes_due));
    if slips > 0 {
        words += &tr!(", 1 slip" | ", {n} slips" % slips);
    }
    words
}

fn bars_played(run: &Run) -> String {
    let n = run.n_bars;
    tr!("{played} of 1 bar played" | "{played} of {n} bars played" % n, played = run.n_bars_played)
}

/// Says one lapse: `bar 7, beat 1: a stop; went on from bar 7, beat 2, 3 seconds lost`.
fn lapse(lapse: &Lapse) -> String {
    let what = match lapse.kind {
        "hesitation" => tr!("a stop"),
        "wrong-turn" => tr!("the way of the look-alike"),
        "restart" => tr!("went back"),
        "jump" => tr!("left out what follows"),
        _ => tr!("a slip that halted you"),
    };
    let going = lapse.going_at.as_deref().unwrap_or_default();
    let then = match lapse.recovery {
        Recovery::WentOn if going == lapse.place => tr!("you went on"),
        Recovery::WentOn => tr!("you went on at {place}", place = spoken(going)),
        Recovery::Landmark => tr!("you went ahead to {place}", place = spoken(going)),
        Recovery::Restarted => tr!("you began again at {place}", place = spoken(going)),
        Recovery::NotRecovered => tr!("it ended there"),
    };
    let mut words = tr!("{place}: {what}; {then}", place = spoken(&lapse.place), what, then);
    if lapse.lost >= LOST_TOLD {
        words += &tr!(", 1 second lost" | ", {n} seconds lost" % lapse.lost.secs_f64().round() as usize);
    }
    words
}

fn drift(drift: &Drift, span: &Span) -> String {
    let (first, last) = (*drift.bars.start(), *drift.bars.end());
    let until = if drift.is_to_the_end(span) { tr!("to the end") } else { tr!("to bar {bar}", bar = span.bars[last]) };
    let how = match (drift.share > 1.0, drift.by_reading) {
        (true, true) => tr!("faster than you read it"),
        (true, false) => tr!("faster than you began"),
        (false, true) => tr!("slower than you read it"),
        (false, false) => tr!("slower than you began"),
    };
    let percent = ((drift.share - 1.0).abs() * 100.0).round();
    tr!("tempo: from bar {bar} {until} {how}, by about {percent} %", bar = span.bars[first], until, how, percent)
}
