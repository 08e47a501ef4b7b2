//! The sentences of a progress page: counts of what was tested, never more.

use chrono::NaiveDate;

use super::plain_text::{counted, plain};
use super::progress::{Held, PlayedDay, Progress, RecallDay, SectionHeld, Stubborn};
use crate::journal::attempts::DatedRun;
use crate::journal::entry::{Recovery, Witness};

/// What the map shows, in one sentence.
pub const MAP: &str = "Each bar, on the first try of each of the last three days that it was tried, the oldest first.";
pub const NO_RECORD: &str = "Nothing of this piece has been played from memory yet.";

pub fn held(held: Option<Held>) -> &'static str {
    match held {
        Some(Held::Yes) => "held",
        Some(Held::Cued) => "with a cue",
        Some(Held::No) => "did not hold",
        None => "not tried yet",
    }
}

pub fn date(day: NaiveDate) -> String {
    day.format("%a %-d %b %Y").to_string()
}

pub fn short_date(day: NaiveDate) -> String {
    day.format("%-d %b").to_string()
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
        parts.push("not tried yet".to_owned());
    } else {
        let n_held = tries.iter().filter(|t| t.held == Held::Yes).count();
        let told = if tries.iter().any(|t| t.witness == Witness::Told) { ", by the player's word" } else { "" };
        parts.push(format!(
            "{n_held} of {} held{told}",
            if tries.len() == 1 { "1 first try".to_owned() } else { format!("{} first tries", tries.len()) }
        ));
    }
    if section.n_clean_days > 0 {
        parts.push(format!("clean on {}", counted(section.n_clean_days, "day")));
    }
    let (n_clean, n_reps) = section.today;
    if n_reps > 0 {
        parts.push(format!("today {n_clean} of {n_reps} clean{}", if section.is_warm && !section.is_secure { ": warm" } else { "" }));
    }
    if section.is_secure {
        parts.push("secure".to_owned());
    }
    parts.join("; ")
}

/// Says what changed on the last day of practice.
pub fn changes(progress: &Progress) -> Vec<String> {
    let mut lines = Vec::new();
    if !progress.secured.is_empty() {
        lines.push(format!("Secure since last time: {}.", progress.secured.join(", ")));
    }
    if !progress.insecure.is_empty() {
        let each = progress.insecure.iter().map(|(name, now)| format!("{name} ({now})"));
        lines.push(format!("No longer secure: {}.", each.collect::<Vec<_>>().join("; ")));
    }
    if !progress.gained.is_empty() {
        lines.push(format!("Held last time, and had not before: {}.", progress.gained.join(", ")));
    }
    if !progress.lost.is_empty() {
        lines.push(format!("Had held, and did not last time: {}.", progress.lost.join(", ")));
    }
    lines
}

pub fn days(days: &[PlayedDay], today: NaiveDate) -> Option<String> {
    let last = days.last()?;
    let n_late = days.iter().filter(|d| (today - d.day).num_days() < 28).count();
    let n = counted(days.len(), "day");
    Some(format!("Practised on {n_late} of the last 28 days, {n} in all; last on {}.", date(last.day)))
}

pub fn recall(days: &[RecallDay]) -> Option<String> {
    let (first, last) = (days.first()?, days.last()?);
    let one = |d: &RecallDay| format!("{:.1} s on {} ({})", d.median_s, short_date(d.day), counted(d.n_answers, "question"));
    let is_one = days.len() == 1;
    Some(if is_one {
        format!("From question to first note: {}.", one(last))
    } else {
        format!("From question to first note: {}, {}.", one(first), one(last))
    })
}

/// Says how a run-through went: `held; 2 lapses, both recovered`.
pub fn run(run: &DatedRun) -> String {
    let mut words = if run.is_held { "held".to_owned() } else { "not held".to_owned() };
    if run.n_bars_played < run.n_bars {
        words += &format!(", {} of {} bars played", run.n_bars_played, run.n_bars);
    }
    if run.lapses.is_empty() {
        return words + ", no lapse";
    }
    let lapses = run.lapses.iter().map(|(place, recovery, lost)| {
        let how = match recovery {
            Recovery::WentOn => "went on",
            Recovery::Landmark => "went to a landmark",
            Recovery::Restarted => "went back",
            Recovery::NotRecovered => "not recovered",
        };
        format!("bar {} {how} after {:.1} s", plain(bar_of(place)), lost.secs_f64())
    });
    let lapses: Vec<String> = lapses.collect();
    format!("{words}, {}: {}", counted(lapses.len(), "lapse"), lapses.join("; "))
}

fn bar_of(place: &str) -> &str {
    place.rsplit_once('.').map_or(place, |(bar, _)| bar)
}

pub fn stubborn(place: &Stubborn) -> String {
    let what = match place.kind.as_str() {
        "wrong" => "not what is written",
        "missed" => "a note left out",
        "extra" => "more than is written",
        "restart" => "went back from here",
        "jump" => "left out what follows",
        "wrong-turn" => "the look-alike's way taken",
        "setting" => "a lever or pedal",
        "hesitation" => "a stop before it",
        "tempo" => "another tempo than set",
        "cold" => "did not come from a cold start",
        kind if kind.starts_with("prompt-") => "needed its cue",
        _ => "broken off",
    };
    format!("bar {}: on {}, mostly {what}", place.label, counted(place.n_days, "day"))
}

pub fn set_wrong() -> String {
    tr!("Levers and pedals heard to stand wrong")
}

/// Says what the counts leave out or rest on.
pub fn notes(progress: &Progress) -> Vec<String> {
    let mut lines = Vec::new();
    if progress.sections.iter().any(|s| s.is_warm && !s.is_secure) {
        lines.push("Warm: clean as often as wanted on one day. Whether it stays, the first tries of other days tell.".to_owned());
    }
    if progress.n_readings > 0 {
        lines.push(format!("Played from the page {}: not counted as memory.", times(progress.n_readings)));
    }
    if progress.n_told > 0 {
        lines.push(format!("Nothing was heard {}: the player's own word is taken, and marked.", times(progress.n_told)));
    }
    lines
}

fn times(n: usize) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}
