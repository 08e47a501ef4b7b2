//! The account at the end of a session: what was played and how it held, in a few lines.

use super::judge::Fault;
use super::span::Span;
use super::words::count;
use crate::journal::entry::{Mode, Rep, Verdict};

/// Returns the lines of the account: one a span that was played, the stubborn places, the time.
pub fn lines(reps: &[Rep], spans: &[Span]) -> Vec<String> {
    let counted: Vec<&Rep> = reps.iter().filter(|r| !is_abandoned(r)).collect();
    if counted.is_empty() {
        return vec!["nothing played to its end yet".to_owned()];
    }
    let mut lines: Vec<String> = spans.iter().filter_map(|span| of_span(span, &counted)).collect();
    let stubborn = stubborn_places(&counted);
    if !stubborn.is_empty() {
        lines.push(format!("to look at: {}", stubborn.join("; ")));
    }
    let played: i64 = reps.iter().map(|r| (r.ended - r.started).0).sum();
    let minutes = (played as f64 / 60e6).round() as usize;
    if minutes > 0 {
        lines.push(format!("{} of playing", count(minutes, "minute", "minutes")));
    }
    lines
}

fn is_abandoned(rep: &Rep) -> bool {
    rep.reason.as_ref().is_some_and(|r| r.kind == Fault::Abandoned.word())
}

fn of_span(span: &Span, reps: &[&Rep]) -> Option<String> {
    let of_span: Vec<&&Rep> = reps.iter().filter(|r| r.span == span.name && r.mode == span.mode).collect();
    let last = of_span.last()?;
    if span.mode == Mode::RunThrough {
        return Some(run_through(&span.name, last));
    }
    let n_clean = of_span.iter().filter(|r| r.verdict == Verdict::Clean).count();
    let n_prompted = of_span.iter().filter(|r| r.verdict == Verdict::Prompted).count();
    let mut line = format!("{}: {n_clean} of {} clean", span.name, count(of_span.len(), "rep", "reps"));
    if n_prompted > 0 {
        line += &format!(", {n_prompted} with a cue");
    }
    Some(line)
}

fn run_through(name: &str, rep: &Rep) -> String {
    let n = |kinds: &[&str]| rep.happenings.iter().filter(|h| kinds.contains(&h.kind)).count();
    let n_slips = n(&["wrong", "missed", "extra", "wrong-turn", "setting"]);
    let n_stops = n(&["hesitation"]);
    let n_moves = n(&["restart", "jump"]);
    let mut line = format!("{name}: {} of {} notes", rep.n_notes_right, rep.n_notes_due);
    for (n, one, many) in [(n_slips, "slip", "slips"), (n_stops, "stop", "stops"), (n_moves, "step back or ahead", "steps back or ahead")] {
        if n > 0 {
            line += &format!(", {}", count(n, one, many));
        }
    }
    line
}

/// Returns up to three places where most reps failed, most stubborn first.
fn stubborn_places(reps: &[&Rep]) -> Vec<String> {
    let mut places: Vec<(String, usize)> = Vec::new();
    let failed = reps.iter().filter(|r| r.verdict != Verdict::Clean && r.mode == Mode::Drill).filter_map(|r| r.reason.as_ref());
    for reason in failed {
        match places.iter_mut().find(|(p, _)| *p == reason.place) {
            Some((_, n)) => *n += 1,
            None => places.push((reason.place.clone(), 1)),
        }
    }
    places.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    places.into_iter().take(3).map(|(place, n)| if n > 1 { format!("{place} ({n} times)") } else { place }).collect()
}
