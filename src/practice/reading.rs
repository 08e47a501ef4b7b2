//! The reading take: the piece played once from the page. Shows whether it is ready to be learned from memory.
//!
//! Memorising a shaky reading fixes its mistakes, so what is not ready is said plainly, with the bars to read first. It is
//! advice: nothing here is required of anyone. The figures of the mark are common practice of teachers, not measurement.

mod timing;

pub use timing::Timed;

use super::config::PracticeConfig;
use super::listen::hear_out;
use super::rep::{Attempt, Context};
use super::run::path::{Arrival, bar_quarters, music};
use super::span::Span;
use crate::follower::OnsetIdx;
use crate::journal::entry::Mode;
use crate::language::named::shown;
use crate::language::tenths;
use crate::midi::Take;
use crate::piece::{Piece, bars_words};
use crate::score::BarRange;

/// What a section must show to be ready.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ReadyMark {
    /// Share of its notes that came in their place, `0.0..=1.0`.
    pub notes_min: f64,
    /// The longest stop, in bars of the section.
    pub stop_bars_max: f64,
}

impl ReadyMark {
    /// 95 % of the notes, and no stop longer than a bar.
    pub const STANDARD: ReadyMark = ReadyMark { notes_min: 0.95, stop_bars_max: 1.0 };

    /// Says the longest stop: `a bar`, `1.5 bars`.
    fn stop_words(self) -> String {
        if self.stop_bars_max == 1.0 { tr!("a bar") } else { tr!("{} bars", self.stop_bars_max) }
    }
}

/// How a piece reads, section by section.
#[derive(Clone, PartialEq, Debug)]
pub struct Readiness {
    /// In page order.
    pub sections: Vec<SectionReading>,
}

/// How one section was read.
#[derive(Clone, PartialEq, Debug)]
pub struct SectionReading {
    pub name: String,
    pub bars: BarRange,
    /// Notes due, and those that came in their place; of a section that is repeated, both times.
    pub n_notes_due: u32,
    pub n_notes_right: u32,
    /// The longest stop beyond what the music takes, in bars at the tempo there; zero when none halted.
    pub stop_bars: f64,
    /// Where on the page it was, as it is said: before this.
    pub stop_place: Option<String>,
    /// Quarters a minute, stops left out; none when too little was played to tell.
    pub tempo: Option<f64>,
}

impl SectionReading {
    pub fn is_ready(&self, mark: ReadyMark) -> bool {
        self.notes_share() >= mark.notes_min && self.stop_bars <= mark.stop_bars_max
    }

    /// Returns the share of notes right, `0.0..=1.0`; a section without notes has them all.
    pub fn notes_share(&self) -> f64 {
        if self.n_notes_due == 0 { 1.0 } else { f64::from(self.n_notes_right) / f64::from(self.n_notes_due) }
    }
}

impl Readiness {
    /// Hears a stored reading take of the whole piece; `None` when the piece has no notes.
    pub fn of_take(piece: &Piece, take: &Take, config: &PracticeConfig) -> Option<Readiness> {
        let span = Span::whole(piece, Mode::Reading)?;
        let cx = Context { piece, span: &span, config };
        Some(Readiness::of(&hear_out(&cx, take, &mut Vec::new()), &cx))
    }

    /// Tells whether every section is ready.
    pub fn is_ready(&self, mark: ReadyMark) -> bool {
        self.sections.iter().all(|s| s.is_ready(mark))
    }

    pub(super) fn of(attempt: &Attempt, cx: &Context<'_>) -> Readiness {
        let sections = cx.piece.sections.iter();
        Readiness { sections: sections.map(|s| section(s.name.clone(), s.bars.clone(), attempt, cx)).collect() }
    }

    /// Returns what is said after a reading take, the bars to read first by name.
    pub(super) fn lines(&self, mark: ReadyMark, piece: &Piece) -> Vec<String> {
        let not_ready: Vec<&SectionReading> = self.sections.iter().filter(|s| !s.is_ready(mark)).collect();
        let percent = (mark.notes_min * 100.0).round();
        let tempos: Vec<f64> = self.sections.iter().filter_map(|s| s.tempo).collect();
        let (slow, fast) = tempos.iter().fold((f64::MAX, f64::MIN), |(low, high), t| (low.min(*t), high.max(*t)));
        let mut lines = Vec::new();
        if not_ready.is_empty() {
            let bars = mark.stop_words();
            lines.push(tr!(
                "ready to learn from memory: at least {percent} % of the notes everywhere, and no stop longer than {bars}",
                percent,
                bars
            ));
        } else {
            let (n, all) = (self.sections.len() - not_ready.len(), self.sections.len());
            lines.push(tr!(
                "not ready yet: {good} of 1 section read well; read these first"
                    | "not ready yet: {good} of {n} sections read well; read these first" % all,
                good = n
            ));
            lines.extend(not_ready.iter().map(|s| s.line(mark, piece)));
            lines.push(tr!("it is advice: you may drill it all the same"));
        }
        if !tempos.is_empty() {
            lines.push(match (slow.round(), fast.round()) {
                (slow, fast) if slow == fast => tr!("tempo: about {slow} quarters a minute", slow),
                (slow, fast) => tr!("tempo: {slow} to {fast} quarters a minute by section", slow, fast),
            });
        }
        lines
    }
}

impl SectionReading {
    /// Says why a section is not ready: `bars 5-8 (the lift): 80 of 100 notes; a stop of 2 bars before bar 6`.
    fn line(&self, mark: ReadyMark, piece: &Piece) -> String {
        let (bars, name) = (shown(&bars_words(&self.bars, &piece.score)), shown(&self.name));
        let mut line = if bars == name { bars } else { format!("{bars} ({name})") };
        if self.n_notes_right == 0 {
            return line + &tr!(": not read yet");
        }
        line += &format!(": {}", tr!("{right} of {due} notes", right = self.n_notes_right, due = self.n_notes_due));
        if let Some(place) = self.stop_place.as_ref().filter(|_| self.stop_bars > mark.stop_bars_max) {
            line += &tr!(", a stop of {n_bars} bars before {place}", n_bars = tenths(self.stop_bars), place);
        }
        line
    }
}

fn section(name: String, bars: BarRange, attempt: &Attempt, cx: &Context<'_>) -> SectionReading {
    let span = cx.span;
    let is_inside = |onset: OnsetIdx| (bars.start..bars.end).contains(&span.place(onset).bar);
    let due = span.line.notes.iter().zip(attempt.played()).filter(|(n, _)| !n.is_optional && is_inside(n.onset));
    let (n_notes_due, n_notes_right) = due.fold((0, 0), |(due, right), (_, played)| (due + 1, right + u32::from(*played)));
    let mut stop: (f64, Option<OnsetIdx>) = (0.0, None);
    let (mut quarters, mut seconds) = (0.0, 0.0);
    let reached = &attempt.path.reached;
    for nth in 1..reached.len() {
        let (before, here) = (reached[nth - 1], reached[nth]);
        let next = OnsetIdx((before.onset.0 + 1).min(span.n_onsets() - 1));
        if !is_inside(next) || span.line.onset(before.onset).is_hold {
            continue;
        }
        let to = if here.arrival == Arrival::Step { here.onset } else { next };
        let due = music(before.onset, to, before.seconds_per_quarter, span).secs_f64();
        let bar = bar_quarters(next, span) * before.seconds_per_quarter;
        let length = ((here.at - before.at).secs_f64() - due) / bar.max(1e-9);
        if attempt.path.is_plain(nth) {
            quarters += due / before.seconds_per_quarter.max(1e-9);
            seconds += (here.at - before.at).secs_f64();
        } else if length > stop.0 {
            stop = (length, Some(next));
        }
    }
    SectionReading {
        name,
        bars,
        n_notes_due,
        n_notes_right,
        stop_bars: stop.0,
        stop_place: stop.1.map(|onset| span.place(onset).words(&cx.piece.score)),
        tempo: (quarters >= 2.0).then(|| quarters * 60.0 / seconds),
    }
}
