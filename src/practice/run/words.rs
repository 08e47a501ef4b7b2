//! What is said of a run-through when it is over: what held, what lapsed and how the way back was found, in a teacher's words.

use super::super::span::Span;
use super::super::words::{count, spoken};
use super::pace::Drift;
use crate::journal::entry::{Lapse, Recovery, Rep, Run};
use crate::time::Micros;

/// Lapses told one by one; what is beyond them is counted.
const N_LAPSES_TOLD: usize = 6;
/// Less than this is not worth a word.
const LOST_TOLD: Micros = Micros(1_000_000);

/// Returns the lines for a run-through that is over.
pub fn lines(rep: &Rep, run: &Run, drifts: &[Drift], span: &Span) -> Vec<String> {
    let mut lines = vec![format!("{}: {}", rep.span, opening(run, rep))];
    lines.extend(run.lapses.iter().take(N_LAPSES_TOLD).map(lapse));
    let more = run.lapses.len().saturating_sub(N_LAPSES_TOLD);
    if more > 0 {
        lines.push(format!("and {} more", count(more, "lapse", "lapses")));
    }
    lines.extend(drifts.iter().map(|d| drift(d, span)));
    lines
}

fn opening(run: &Run, rep: &Rep) -> String {
    let n_lapses = run.lapses.len();
    let mut words = match (run.is_held, n_lapses) {
        (true, 0) => "held, from the first bar to the last without a lapse".to_owned(),
        (true, 1) => "held, from the first bar to the last; one lapse, and you found the way back".to_owned(),
        (true, _) => format!("held, from the first bar to the last; {n_lapses} lapses, and you found the way back each time"),
        (false, _) => {
            let lapses = if n_lapses > 0 { format!(", {}", count(n_lapses, "lapse", "lapses")) } else { String::new() };
            format!("{} of {} played{lapses}", run.n_bars_played, count(run.n_bars as usize, "bar", "bars"))
        }
    };
    if run.is_held && run.n_bars_played < run.n_bars {
        words += &format!("; {} of {} played", run.n_bars_played, count(run.n_bars as usize, "bar", "bars"));
    }
    let slips = rep.happenings.iter().filter(|h| matches!(h.kind, "wrong" | "missed" | "extra" | "setting")).count();
    words += &format!("; {} of {} notes", rep.n_notes_right, rep.n_notes_due);
    if slips > 0 {
        words += &format!(", {}", count(slips, "slip", "slips"));
    }
    words
}

/// Says one lapse: `bar 7, beat 1: a stop; went on from bar 7, beat 2, 3 seconds lost`.
fn lapse(lapse: &Lapse) -> String {
    let what = match lapse.kind {
        "hesitation" => "a stop",
        "wrong-turn" => "the way of the look-alike",
        "restart" => "went back",
        "jump" => "left out what follows",
        _ => "a slip that halted you",
    };
    let going = lapse.going_at.as_deref().unwrap_or_default();
    let then = match lapse.recovery {
        Recovery::WentOn if going == lapse.place => "you went on".to_owned(),
        Recovery::WentOn => format!("you went on at {}", spoken(going)),
        Recovery::Landmark => format!("you went ahead to {}", spoken(going)),
        Recovery::Restarted => format!("you began again at {}", spoken(going)),
        Recovery::NotRecovered => "it ended there".to_owned(),
    };
    let mut words = format!("{}: {what}; {then}", spoken(&lapse.place));
    if lapse.lost >= LOST_TOLD {
        words += &format!(", {} lost", count((lapse.lost.secs_f64()).round() as usize, "second", "seconds"));
    }
    words
}

fn drift(drift: &Drift, span: &Span) -> String {
    let (first, last) = (*drift.bars.start(), *drift.bars.end());
    let until = if drift.is_to_the_end(span) { "to the end".to_owned() } else { format!("to bar {}", span.bars[last]) };
    let how = if drift.share > 1.0 { "faster" } else { "slower" };
    let percent = ((drift.share - 1.0).abs() * 100.0).round();
    let against = if drift.by_reading { "than you read it" } else { "than you began" };
    format!("tempo: from bar {} {until} {how} {against}, by about {percent:.0} %", span.bars[first])
}
