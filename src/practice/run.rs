//! The run-through: what lapsed, how the player found the way back, and whether the piece was held.
//!
//! A *lapse* is a failure of memory that halted or moved the player:
//!
//! * a hesitation (silence beyond this player's timing at the place) that cost a second or more; this and the other
//!   figures here are reasoned defaults, as no study gives pause lengths at lapses of memory;
//! * going back to an earlier onset, whatever the distance (a chord struck twice at once is none);
//! * going ahead by a bar or more, or by less with a second lost;
//! * the way of a look-alike at a switch;
//! * notes that no place explains, when they cost a second or lead elsewhere.
//!
//! A wrong, missed or extra note that halts nobody is a slip and no lapse (most slips of expert pianists stand in inner
//! voices and pass unheard: Repp 1996). A lapse lasts until the player is *going again*: three onsets in order without a
//! further halt, or the last onset. Failing again before that is the same lapse. The time lost is what passed
//! beyond what the music takes: the music up to where the player goes on, or, when they moved, the one step that was due.
//!
//! Recoveries are counted, not punished: a run from the first bar to the last in which every lapse was recovered is held.

pub mod pace;
pub mod path;
pub mod words;

use super::span::Span;
use crate::follower::{OnsetIdx, SlipKind};
use crate::journal::entry::{BarPace, Lapse, Recovery, Run};
use crate::score::Score;
use crate::time::Micros;
use path::{Arrival, CHORD, Mark, Path, Reached, Trouble, bar_quarters, music, quarters_between};

/// Onsets in order with which a player is going again, the first included.
const N_ONSETS_GOING: usize = 3;
/// Onsets that begin alike, so that what parts after them is a switch.
const N_ONSETS_ALIKE: usize = 4;
/// A turn is taken in the flow of playing: what comes later than this is another way back.
const TURN_LATE_MAX: Micros = Micros(500_000);
/// A halt that costs less is no lapse.
const LOST_MIN: Micros = Micros(1_000_000);
/// Share of the music's time within which a stretch without a place may have been played through.
const PLAYED_THROUGH: f64 = 0.6;
/// Share of a bar's onsets that make it played.
const BAR_PLAYED: f64 = 0.5;

/// A lapse while it is being put together.
#[derive(Clone, Copy, Debug)]
struct Episode {
    /// The last onset before it.
    from: Reached,
    /// What failed first, and where.
    kind: &'static str,
    onset: OnsetIdx,
    /// The first onset of going again.
    going: Option<Reached>,
    /// Where the player last went back to in it, whatever halted them after that.
    back: Option<Reached>,
}

/// What a run-through must show to be held, where the player asks for more than to have come through it: no halt that is a stop, no going
/// back, few hesitations, and each lapse rejoined at the next landmark at the latest. Experts' performances have slips that pass unheard
/// and next to no stops (Repp 1996); the figures are reasoned defaults.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PassMark {
    /// A halt that costs more is a stop.
    pub stop: Micros,
    /// One hesitation is allowed for so much playing, begun or whole.
    pub a_hesitation: Micros,
}

impl PassMark {
    pub const STANDARD: PassMark = PassMark { stop: Micros(3_000_000), a_hesitation: Micros(180_000_000) };

    fn is_met(self, path: &Path, lapses: &[Episode], span: &Span, ended: Micros) -> bool {
        let length = path.reached.first().map_or(Micros::ZERO, |first| ended - first.at);
        let n_allowed = (length.0.max(1) as u64).div_ceil(self.a_hesitation.0.max(1) as u64);
        let n_hesitations = path.marks.iter().filter(|mark| mark.what == Trouble::Hesitated).count() as u64;
        let next_landmark = |onset: OnsetIdx| {
            let mut after = span.line.onsets.iter().enumerate().skip(onset.0 + 1).filter(|(_, o)| o.is_landmark);
            after.next().map_or(OnsetIdx(span.n_onsets() - 1), |(i, _)| OnsetIdx(i))
        };
        let is_met_by = |e: &Episode| {
            let is_back = e.recovery(span) == Recovery::Restarted;
            !is_back && e.lost(span) <= self.stop && e.going.is_some_and(|going| going.onset <= next_landmark(e.from.onset))
        };
        n_hesitations <= n_allowed && lapses.iter().all(is_met_by)
    }
}

/// Returns what a run came to that ended at `ended`; `pass` is asked of it beside coming through.
pub fn run(path: &Path, span: &Span, score: &Score, ended: Micros, pass: Option<PassMark>) -> Run {
    let failed = episodes(path, span, ended);
    let lapses: Vec<Lapse> = failed.iter().map(|e| e.lapse(span, score)).collect();
    let is_passed = pass.is_none_or(|mark| mark.is_met(path, &failed, span, ended));
    let speeds = pace::speeds(path, span, &lapsed(path, span, ended));
    let pace = |(bar, log): &(usize, f64)| BarPace { bar: span.bars[*bar].clone(), permille: (log.exp() * 1000.0).round() as u32 };
    let bars = bars_played(path, span);
    let reaches = |bar: Option<&bool>| bar.copied().unwrap_or(false);
    let is_whole = reaches(bars.first()) && reaches(bars.last()) && path.reached.last().is_some_and(|r| is_last(r.onset, span));
    Run {
        n_bars: bars.len() as u32,
        n_bars_played: bars.iter().filter(|played| **played).count() as u32,
        is_held: is_whole && is_passed && lapses.iter().all(|l| l.recovery != Recovery::NotRecovered),
        lapses,
        bars: speeds.iter().map(pace).collect(),
        by_reading: span.pace.is_some(),
    }
}

/// Returns the stretches of time in which a lapse was on: from the last onset before it until going again.
pub fn lapsed(path: &Path, span: &Span, ended: Micros) -> Vec<(Micros, Micros)> {
    episodes(path, span, ended).iter().map(|e| (e.from.at, e.going.map_or(ended, |g| g.at))).collect()
}

/// Tells whether a slip at a place is a lapse itself: the first notes of the way that was taken, before they told of it.
pub fn is_of_a_lapse(at: Micros, place: &str, run: &Run, lapsed: &[(Micros, Micros)]) -> bool {
    let moved = |l: &Lapse| matches!(l.kind, "jump" | "restart" | "wrong-turn");
    let stretches = run.lapses.iter().zip(lapsed).filter(|(lapse, _)| moved(lapse) && lapse.place == place);
    stretches.into_iter().any(|(_, (from, going))| (*from..=*going + CHORD).contains(&at))
}

fn is_last(onset: OnsetIdx, span: &Span) -> bool {
    onset.0 + 1 == span.n_onsets()
}

/// Tells of each bar in playing order whether it was played; a bar of rests goes with the one before.
pub fn bars_played(path: &Path, span: &Span) -> Vec<bool> {
    let mut counts = vec![(0usize, 0usize); span.bars.len()];
    for (onset, passed) in span.line.onsets.iter().zip(path.passed(span)) {
        counts[onset.played_bar].0 += 1;
        counts[onset.played_bar].1 += usize::from(passed);
    }
    let mut before = true;
    let played = counts.into_iter().map(|(due, passed)| {
        before = if due == 0 { before } else { passed as f64 >= BAR_PLAYED * due as f64 };
        before
    });
    played.collect()
}

fn episodes(path: &Path, span: &Span, ended: Micros) -> Vec<Episode> {
    let mut done: Vec<Episode> = Vec::new();
    let mut open: Option<(Episode, usize)> = None;
    for nth in 1..path.reached.len() {
        let (before, here) = (path.reached[nth - 1], path.reached[nth]);
        if !path.is_plain(nth) {
            let mut episode = open.map_or_else(|| begun(path, before, Some(here), span), |(episode, _)| episode);
            if matches!(here.arrival, Arrival::Turned { .. }) {
                episode.kind = SlipKind::WrongTurn.word();
            }
            episode.going = Some(here);
            if here.arrival != Arrival::Step {
                episode.back = Some(here).filter(|here| here.onset <= episode.from.onset);
            }
            open = Some((episode, 1));
        } else if let Some((_, n_going)) = &mut open {
            *n_going += 1;
        }
        if let Some((episode, _)) = open.take_if(|(_, n_going)| *n_going >= N_ONSETS_GOING) {
            done.push(episode);
        }
    }
    done.extend(last_episode(path, open.map(|(episode, _)| episode), span, ended));
    let mut lapses: Vec<Episode> = Vec::new();
    for episode in done.into_iter().filter(|e| e.is_lapse(span)) {
        match lapses.last_mut() {
            Some(turn) if turn.is_turn_undone_by(&episode, span) => turn.going = episode.going,
            _ => lapses.push(episode),
        }
    }
    lapses
}

/// Returns the episode that the run ended in, if any.
fn last_episode(path: &Path, open: Option<Episode>, span: &Span, ended: Micros) -> Option<Episode> {
    let last = *path.reached.last()?;
    if is_last(last.onset, span) {
        return open;
    }
    let is_silent = path.trouble_between(last.at, ended).is_some();
    match open {
        Some(episode) if is_silent => Some(Episode { going: None, ..episode }),
        None if is_silent => Some(begun(path, last, None, span)),
        open => open,
    }
}

/// Begins an episode after `from`; says what failed first, and where.
fn begun(path: &Path, from: Reached, here: Option<Reached>, span: &Span) -> Episode {
    let due = due_after(from.onset, span);
    let until = here.map_or(Micros::MAX, |h| h.at);
    let halt = path.trouble_between(from.at, until);
    // What is struck together with the landing belongs to it.
    let known = halt.map_or(until - CHORD, |h| h.at);
    // A slip at the last onset or the next, before all else, is what it began with.
    let slip = path.marks.iter().find_map(|m| match m {
        Mark { at, onset, what: Trouble::Slipped(kind) } if (from.onset..=due).contains(onset) && (from.at..known).contains(at) => {
            Some((kind.word(), *onset))
        }
        _ => None,
    });
    let (kind, onset) = match (slip, halt.map(|h| h.what), here) {
        (.., halt, Some(here)) if halt != Some(Trouble::Hesitated) && is_turn(from, here, span) => (SlipKind::WrongTurn.word(), due),
        (Some(slip), ..) => slip,
        (None, Some(Trouble::Hesitated), _) => ("hesitation", due),
        (None, None, Some(Reached { onset, .. })) if onset <= from.onset => ("restart", due),
        (None, None, Some(Reached { arrival: Arrival::Moved { .. }, .. })) => ("jump", due),
        _ => (SlipKind::Wrong.word(), due),
    };
    Episode { from, kind, onset, going: None, back: None }
}

/// Tells whether a move in the flow of playing was the way of a look-alike: what stands before the place left is what stands before
/// the place gone to, note for note and wait for wait.
fn is_turn(from: Reached, here: Reached, span: &Span) -> bool {
    let onsets = &span.line.onsets;
    let Some(before) = here.onset.0.checked_sub(1).filter(|_| here.arrival != Arrival::Step) else { return false };
    let keys = |o: usize| span.line.notes[onsets[o].notes.clone()].iter().map(|n| n.key);
    let due = music(from.onset, due_after(from.onset, span), from.seconds_per_quarter, span);
    if here.at - from.at > due + TURN_LATE_MAX {
        return false;
    }
    let (from, wait) = (from.onset, |o: usize, n: usize| onsets[o].at - onsets[o - n].at);
    let is_alike = |n: &usize| wait(from.0, *n) == wait(before, *n) && keys(from.0 - n).eq(keys(before - n));
    let n_alike = (0..=from.0.min(before)).take_while(is_alike).count();
    before != from.0 && n_alike >= N_ONSETS_ALIKE
}

/// Returns the onset that should come after another; the last one after itself.
fn due_after(onset: OnsetIdx, span: &Span) -> OnsetIdx {
    OnsetIdx((onset.0 + 1).min(span.n_onsets() - 1))
}

impl Episode {
    fn is_lapse(&self, span: &Span) -> bool {
        let Some(going) = self.going else { return true };
        // A chord struck twice at once costs nothing; begun again after a halt it does.
        let landed = self.back.unwrap_or(going).onset;
        let is_back = landed < self.from.onset || (landed == self.from.onset && self.lost(span) > Micros::ZERO);
        is_back || self.recovery(span) == Recovery::Landmark || self.kind == SlipKind::WrongTurn.word() || self.lost(span) >= LOST_MIN
    }

    /// Tells whether this wrong turn was put right by going back to where it was taken.
    fn is_turn_undone_by(&self, next: &Episode, span: &Span) -> bool {
        let is_near = |going: Reached| quarters_between(self.onset, going.onset, span).abs() <= bar_quarters(self.onset, span);
        self.kind == SlipKind::WrongTurn.word() && next.going.is_some_and(is_near)
    }

    fn recovery(&self, span: &Span) -> Recovery {
        let Some(going) = self.going else { return Recovery::NotRecovered };
        if going.onset <= self.from.onset || self.back.is_some() {
            return Recovery::Restarted;
        }
        let due = due_after(self.from.onset, span);
        let left_out = quarters_between(due, going.onset, span);
        let through = music(self.from.onset, going.onset, self.from.seconds_per_quarter, span).secs_f64();
        let is_through = going.arrival == Arrival::Again && (going.at - self.from.at).secs_f64() >= PLAYED_THROUGH * through;
        let is_ahead = left_out >= bar_quarters(due, span) || (left_out > 0.0 && span.line.onset(going.onset).is_landmark);
        if is_ahead && !is_through { Recovery::Landmark } else { Recovery::WentOn }
    }

    fn lost(&self, span: &Span) -> Micros {
        let Some(going) = self.going else { return Micros::ZERO };
        let is_past = self.recovery(span) == Recovery::Restarted && going.onset > self.from.onset;
        let to = if is_past || self.recovery(span) == Recovery::WentOn { going.onset } else { due_after(self.from.onset, span) };
        (going.at - self.from.at - music(self.from.onset, to, self.from.seconds_per_quarter, span)).max(Micros::ZERO)
    }

    fn lapse(&self, span: &Span, score: &Score) -> Lapse {
        Lapse {
            at: self.from.at,
            place: span.place(self.onset).text(score),
            kind: self.kind,
            recovery: self.recovery(span),
            going_at: self.back.filter(|_| self.going.is_some()).or(self.going).map(|g| span.place(g.onset).text(score)),
            lost: self.lost(span),
        }
    }
}
