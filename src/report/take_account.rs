//! A followed take as a short account for the player, the way a teacher would note it down: how much was right, what
//! happened where, and which bars to look at first.

use crate::follower::{Finding, OnsetIdx, SlipKind};
use crate::journal::entry::{Entry, Rep, Verdict};
use crate::practice::{Output, Span};
use crate::score::Score;
use crate::theory::Hand;
use crate::time::Micros;

/// Slips below this confidence are not spoken of.
const SPOKEN_CONFIDENCE: f32 = 0.5;
/// Lines about single places; what is beyond them is counted.
const N_PLACES_MAX: usize = 12;

/// Returns the account of one take, line by line. `outputs` are those of the engine, in order.
pub fn lines(outputs: &[Output], span: &Span, score: &Score) -> Vec<String> {
    let reps: Vec<&Rep> = outputs.iter().filter_map(rep_of).collect();
    let mut lines = Vec::new();
    match reps.as_slice() {
        [] => lines.push(format!("{}: no rep was begun in this take", span.name)),
        [rep] => lines.extend(of_one_rep(rep, outputs, span, score)),
        _ => {
            for (n, rep) in reps.iter().enumerate() {
                lines.push(format!("rep {}, from {}: {}", n + 1, clock(rep.started), verdict_words(rep)));
            }
        }
    }
    lines
}

fn rep_of(output: &Output) -> Option<&Rep> {
    match output {
        Output::Record(Entry::Rep(rep)) => Some(rep),
        _ => None,
    }
}

fn verdict_words(rep: &Rep) -> String {
    let why = rep.reason.as_ref().map(|r| r.words.as_str()).unwrap_or_default();
    match rep.verdict {
        Verdict::Clean => "clean".to_owned(),
        Verdict::Prompted => format!("with a cue; {why}"),
        Verdict::Broken => format!("not clean; {why}"),
    }
}

fn of_one_rep(rep: &Rep, outputs: &[Output], span: &Span, score: &Score) -> Vec<String> {
    let mut lines = vec![opening(rep)];
    let places = places(outputs, span, score);
    if places.is_empty() {
        lines.push("Nothing to look at: no slip, no stop, nothing left out.".to_owned());
        return lines;
    }
    lines.extend(places.iter().take(N_PLACES_MAX).map(|p| format!("  {}", p.words())));
    if places.len() > N_PLACES_MAX {
        lines.push(format!("  and {} more places", places.len() - N_PLACES_MAX));
    }
    lines.push(closing(&places));
    lines
}

fn opening(rep: &Rep) -> String {
    let bars = if rep.bars.0 == rep.bars.1 { format!("bar {}", rep.bars.0) } else { format!("bars {} to {}", rep.bars.0, rep.bars.1) };
    let mut line = format!("{} ({bars}): {} of {} notes in their place", rep.span, rep.n_notes_right, rep.n_notes_due);
    if let Some(tempo) = rep.tempo {
        line += &format!(", about {tempo:.0} quarters a minute");
    }
    line
}

/// What happened in one bar.
struct BarNotes {
    bar: String,
    /// Index of the printed bar, to name neighbours as a run.
    bar_idx: usize,
    slips: Vec<(SlipKind, String, Option<Hand>)>,
    stops: Vec<String>,
    moves: Vec<String>,
}

fn places(outputs: &[Output], span: &Span, score: &Score) -> Vec<BarNotes> {
    let mut out: Vec<BarNotes> = Vec::new();
    let mut in_bar = |onset: OnsetIdx, add: &mut dyn FnMut(&mut BarNotes, String)| {
        let place = span.place(onset);
        let beat = place.spoken_beat(score);
        let is_last = out.last().is_some_and(|b| b.bar_idx == place.bar.0);
        if !is_last {
            let bar = score.bar(place.bar).label.to_string();
            out.push(BarNotes { bar, bar_idx: place.bar.0, slips: Vec::new(), stops: Vec::new(), moves: Vec::new() });
        }
        let last = out.last_mut().expect("a bar has just been pushed");
        add(last, beat);
    };
    for output in outputs {
        match output {
            Output::Finding(Finding::Slip(slip)) if slip.confidence >= SPOKEN_CONFIDENCE => {
                let hand = slip.note.map(|n| span.line.note(n).hand);
                in_bar(slip.onset, &mut |bar, beat| bar.slips.push((slip.kind, beat, hand)));
            }
            Output::Finding(Finding::Restart { from, to, .. }) => {
                let to = span.place(*to).words(score);
                in_bar(*from, &mut |bar, _| bar.moves.push(format!("went back to {to}")));
            }
            Output::Finding(Finding::Jump { from, to, .. }) => {
                let to = span.place(*to).words(score);
                in_bar(*from, &mut |bar, _| bar.moves.push(format!("went on from {to}")));
            }
            Output::Hesitated { onset, .. } => in_bar(*onset, &mut |bar, beat| bar.stops.push(beat)),
            _ => {}
        }
    }
    out
}

impl BarNotes {
    fn words(&self) -> String {
        let mut parts: Vec<String> = Vec::new();
        match self.slips.as_slice() {
            [] => {}
            [(kind, beat, hand)] => {
                let hand = hand.map(|h| format!(", {}", h.words())).unwrap_or_default();
                parts.push(format!("{beat}{hand}: {}", slip_words(*kind)));
            }
            slips => {
                let hand = slips[0].2.filter(|h| slips.iter().all(|s| s.2 == Some(*h)));
                let hand = hand.map(|h| format!(" in the {}", h.words())).unwrap_or_default();
                parts.push(format!("{} slips{hand}, first on {}", slips.len(), slips[0].1));
            }
        }
        match self.stops.as_slice() {
            [] => {}
            [beat] => parts.push(format!("a stop before {beat}")),
            stops => parts.push(format!("{} stops, first before {}", stops.len(), stops[0])),
        }
        parts.extend(self.moves.iter().cloned());
        format!("bar {}: {}", self.bar, parts.join("; "))
    }

    fn weight(&self) -> usize {
        self.slips.len() + 2 * self.stops.len() + 2 * self.moves.len()
    }
}

fn slip_words(kind: SlipKind) -> &'static str {
    match kind {
        SlipKind::Wrong => "not what is written",
        SlipKind::Missed => "a note left out",
        SlipKind::Extra => "more than is written",
        SlipKind::WrongTurn => "the way of the look-alike",
        SlipKind::Setting => "the right string, check its setting",
    }
}

/// Names the bars that most need a look, at most three, in page order.
fn closing(places: &[BarNotes]) -> String {
    let mut heaviest: Vec<&BarNotes> = Vec::new();
    let mut by_weight: Vec<&BarNotes> = places.iter().collect();
    by_weight.sort_by_key(|p| std::cmp::Reverse(p.weight()));
    for place in by_weight {
        if heaviest.len() < 3 && heaviest.iter().all(|h| h.bar_idx != place.bar_idx) {
            heaviest.push(place);
        }
    }
    heaviest.sort_by_key(|p| p.bar_idx);
    let names: Vec<&str> = heaviest.iter().map(|p| p.bar.as_str()).collect();
    match names.as_slice() {
        [one] => format!("Look at bar {one}; the rest holds."),
        [first @ .., last] => format!("Look first at bars {} and {last}.", first.join(", ")),
        [] => String::new(),
    }
}

fn clock(at: Micros) -> String {
    let seconds = at.0 / 1_000_000;
    format!("{}:{:02}", seconds / 60, seconds % 60)
}
