//! Lists, one by one, the pauses that were not noticed and the hesitations that were none, with what the follower knew.

use super::case::Case;
use super::score::{Run, quiet};

pub fn list(kind: &str, case: &Case, run: &Run) {
    let noticed = |start: f64, end: f64| run.hesitations.iter().any(|c| start < *c && *c < end);
    for pause in &case.pauses {
        let last = case.take.partition_point(|n| n.t < pause.end - 0.2).max(1) - 1;
        let found = if noticed(pause.start, pause.end) { "noticed" } else { "not noticed" };
        println!("{kind} {} pause {found}: {}", case.name, silence(case, run, case.take[last].t + 1e-6));
    }
    let quiet = quiet(case);
    for call in run.hesitations.iter().filter(|c| !quiet.iter().any(|(a, b)| a <= *c && *c <= b)) {
        println!("{kind} {} false hesitation: {}", case.name, silence(case, run, *call));
    }
}

/// The silence that `at` falls into: the note before it, what was believed there, and how long it lasted.
fn silence(case: &Case, run: &Run, at: f64) -> String {
    let last = case.take.partition_point(|n| n.t < at).max(1) - 1;
    let (played, said) = (&case.take[last], &run.notes[last]);
    let next = case.take.get(last + 1).map_or(f64::NAN, |n| n.t);
    let gap = case.beats.get(said.onset + 1).map_or(f64::NAN, |b| b - case.beats[said.onset]);
    let meant = usize::try_from(played.row).map_or("no note".to_owned(), |row| format!("beat {:.2}", case.rows[row].onset));
    let before: Vec<String> = (last.saturating_sub(5)..=last).map(|i| format!("{:.2}@{:.2}", case.take[i].t, run.notes[i].beat)).collect();
    format!(
        "note {last} at {:.2} s (meant {meant}, believed beat {:.2}, confidence {:.2}{}), silence {:.2} s, wait {}, {gap:.2} quarters at {:.0} = {:.2} s; {}",
        played.t,
        said.beat,
        said.confidence,
        if said.is_lost { ", lost" } else { "" },
        next - played.t,
        said.deadline.map_or("none".to_owned(), |d| format!("{:.2} s", d - played.t)),
        said.quarters_per_minute,
        gap * 60.0 / said.quarters_per_minute,
        before.join(" "),
    )
}
