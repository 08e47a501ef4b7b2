//! The sentences of a progress page: counts of what was tested, never more.

use chrono::NaiveDate;

use super::plain_text::plain;
use super::progress::{Held, PlayedDay, Progress, RecallDay, SectionHeld, Stubborn};
use crate::journal::attempts::DatedRun;
use crate::journal::entry::{Recovery, Witness};
use crate::language::date::{short, short_with_year};
use crate::language::tenths;

/// Says what the map shows, in one sentence.
pub fn map() -> String {
    tr!("Each bar, on the first try of each of the last three days that it was tried, the oldest first.")
}

pub fn no_record() -> String {
    tr!("Nothing of this piece has been played from memory yet.")
}

pub fn held(held: Option<Held>) -> String {
    match held {
        Some(Held::Yes) => tr!("held"),
        Some(Held::Cued) => tr!("with a cue"),
        Some(Held::No) => tr!("did not hold"),
        None => tr!("not tried yet"),
    }
}

/// Returns `to the far bank, bars 5-9`.
pub fn section_name(section: &SectionHeld) -> String {
    if section.bars_words.is_empty() { section.name.clone() } else { format!("{}, {}", section.name, section.bars_words) }
}

/// Says how a section stands: `3 of 3 first tries held; clean on 4 days; today 3 of 4 clean: warm`, or with `secure` at its end.
pub fn section_counts(section: &SectionHeld) -> String {
    let tries = section.tries.shown();
    let mut parts = Vec::new();
    if tries.is_empty() {
        parts.push(tr!("not tried yet"));
    } else {
        let n_held = tries.iter().filter(|t| t.held == Held::Yes).count();
        let counts = tr!("{n_held} of 1 first try held" | "{n_held} of {n} first tries held" % tries.len(), n_held);
        let is_told = tries.iter().any(|t| t.witness == Witness::Told);
        parts.push(if is_told { tr!("{counts}, by the player's word", counts) } else { counts });
    }
    if section.n_clean_days > 0 {
        parts.push(tr!("clean on 1 day" | "clean on {n} days" % section.n_clean_days));
    }
    let (n_clean, n_reps) = section.today;
    if n_reps > 0 {
        let today = tr!("today {n_clean} of {n_reps} clean", n_clean, n_reps);
        parts.push(if section.is_warm && !section.is_secure { tr!("{today}: warm", today) } else { today });
    }
    if section.is_secure {
        parts.push(tr!("secure"));
    }
    parts.join(&tr!("; "))
}

/// Says what changed on the last day of practice.
pub fn changes(progress: &Progress) -> Vec<String> {
    let mut lines = Vec::new();
    if !progress.secured.is_empty() {
        lines.push(tr!("Secure since last time: {}.", progress.secured.join(", ")));
    }
    if !progress.insecure.is_empty() {
        let each = progress.insecure.iter().map(|(name, now)| format!("{name} ({now})"));
        lines.push(tr!("No longer secure: {}.", each.collect::<Vec<_>>().join(&tr!("; "))));
    }
    if !progress.gained.is_empty() {
        lines.push(tr!("Held last time, and had not before: {}.", progress.gained.join(", ")));
    }
    if !progress.lost.is_empty() {
        lines.push(tr!("Had held, and did not last time: {}.", progress.lost.join(", ")));
    }
    lines
}

pub fn days(days: &[PlayedDay], today: NaiveDate) -> Option<String> {
    let last = days.last()?;
    let n_late = days.iter().filter(|d| (today - d.day).num_days() < 28).count();
    Some(tr!(
        "Practised on {n_late} of the last 28 days, 1 day in all; last on {date}."
            | "Practised on {n_late} of the last 28 days, {n} days in all; last on {date}." % days.len(),
        n_late,
        date = short_with_year(last.day)
    ))
}

pub fn recall(days: &[RecallDay]) -> Option<String> {
    let (first, last) = (days.first()?, days.last()?);
    let one = |d: &RecallDay| {
        let (seconds, day) = (tenths(d.median_s), short(d.day));
        tr!("{seconds} s on {day} (1 question)" | "{seconds} s on {day} ({n} questions)" % d.n_answers, seconds, day)
    };
    let is_one = days.len() == 1;
    let times = if is_one { one(last) } else { format!("{}, {}", one(first), one(last)) };
    Some(tr!("From question to first note: {}.", times))
}

/// Says how a run-through went: `held, 2 lapses: bar 5 went on after 2.1 s; bar 9 went back after 3.0 s`.
pub fn run(run: &DatedRun) -> String {
    let mut parts = vec![if run.is_held { tr!("held") } else { tr!("not held") }];
    if run.n_bars_played < run.n_bars {
        parts.push(tr!("{played} of 1 bar played" | "{played} of {n} bars played" % run.n_bars, played = run.n_bars_played));
    }
    let lapses = run.lapses.iter().map(|(place, recovery, lost)| {
        let how = match recovery {
            Recovery::WentOn => tr!("went on"),
            Recovery::Landmark => tr!("went to a landmark"),
            Recovery::Restarted => tr!("went back"),
            Recovery::NotRecovered => tr!("not recovered"),
        };
        tr!("bar {bar} {how} after {seconds} s", bar = plain(bar_of(place)), how, seconds = tenths(lost.secs_f64()))
    });
    let lapses: Vec<String> = lapses.collect();
    parts.push(if lapses.is_empty() {
        tr!("no lapse")
    } else {
        tr!("1 lapse: {all}" | "{n} lapses: {all}" % lapses.len(), all = lapses.join(&tr!("; ")))
    });
    parts.join(", ")
}

fn bar_of(place: &str) -> &str {
    place.rsplit_once('.').map_or(place, |(bar, _)| bar)
}

pub fn stubborn(place: &Stubborn) -> String {
    let what = failed(&place.kind);
    tr!("bar {bar}: on 1 day, mostly {what}" | "bar {bar}: on {n} days, mostly {what}" % place.n_days, bar = place.label, what)
}

/// Says what was wrong at the first place that failed, by the word the journal has for it.
pub fn failed(kind: &str) -> String {
    match kind {
        "wrong" => tr!("not what is written"),
        "missed" => tr!("a note left out"),
        "extra" => tr!("more than is written"),
        "restart" => tr!("went back from here"),
        "jump" => tr!("left out what follows"),
        "wrong-turn" => tr!("the look-alike's way taken"),
        "setting" => tr!("a lever or pedal"),
        "hesitation" => tr!("a stop before it"),
        "tempo" => tr!("another tempo than set"),
        "cold" => tr!("did not come from a cold start"),
        kind if kind.starts_with("prompt-") => tr!("needed its cue"),
        _ => tr!("broken off"),
    }
}

pub fn set_wrong() -> String {
    tr!("Levers and pedals heard to stand wrong")
}

/// Says what the counts leave out or rest on.
pub fn notes(progress: &Progress) -> Vec<String> {
    let mut lines = Vec::new();
    if progress.sections.iter().any(|s| s.is_warm && !s.is_secure) {
        lines.push(tr!("Warm: clean as often as wanted on one day. Whether it stays, the first tries of other days tell."));
    }
    if progress.n_readings > 0 {
        lines.push(tr!("Played from the page {times}: not counted as memory.", times = times(progress.n_readings)));
    }
    if progress.n_told > 0 {
        lines.push(tr!("Nothing was heard {times}: the player's own word is taken, and marked.", times = times(progress.n_told)));
    }
    lines
}

/// Returns `once`, `twice`, `3 times`.
pub fn times(n: usize) -> String {
    match n {
        1 => tr!("once"),
        2 => tr!("twice"),
        n => tr!("{n} times", n),
    }
}
