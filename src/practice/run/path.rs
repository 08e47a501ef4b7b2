//! The way a player took through a span: onsets reached, in the order of time, and what came between.
//!
//! The follower says where the player is note by note, and says of a move to another place only some notes later, when
//! it is sure. A [`Path`] is told in hindsight: a move stands at the note it was made with, and what was believed in
//! between is gone. Knows no verdict and no words.

use super::super::span::Span;
use crate::follower::{Finding, Follower, Heard, HeardNote, OnsetIdx, Slip, SlipKind};
use crate::midi::MidiKey;
use crate::time::Micros;

/// Onsets in a row at another place from which the player counts as being there, though no move was said.
const N_ONSETS_ELSEWHERE: usize = 4;
/// A step over more onsets than this is none.
const N_ONSETS_A_STEP: usize = 2;
/// A move may be taken back, or put elsewhere, while at most so many onsets have been reached since.
const N_ONSETS_UNSETTLED: usize = 24;
/// The notes of a chord come within so long.
pub const CHORD: Micros = Micros(300_000);
/// Slips below this confidence explain nothing.
const SURE_SLIP: f32 = 0.5;

/// Onsets reached and what came between them. Empty until the first note is heard in its place.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Path {
    /// In the order of time.
    pub reached: Vec<Reached>,
    /// In the order they were known.
    pub marks: Vec<Mark>,
    /// Onsets in a row that do not join on to the last one reached.
    elsewhere: Vec<Reached>,
    notes: Vec<(Micros, MidiKey)>,
}

/// An onset come to.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reached {
    pub at: Micros,
    pub onset: OnsetIdx,
    /// The local tempo then.
    pub seconds_per_quarter: f64,
    /// Log of the time that the step to it took over what the local tempo gave, where it was one step.
    pub log_ratio: Option<f64>,
    /// Notes of it that were heard.
    pub n_heard: u32,
    pub arrival: Arrival,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Arrival {
    /// In order.
    Step,
    /// By going back to it, or ahead; `from` is where the player was.
    Moved { from: OnsetIdx },
    /// By the way of a look-alike, away from `from`.
    Turned { from: OnsetIdx },
    /// Heard here again, after notes that had no place.
    Again,
}

/// Something that stood in the way.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Mark {
    pub at: Micros,
    pub onset: OnsetIdx,
    pub what: Trouble,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Trouble {
    /// Silence outgrew what the place explains.
    Hesitated,
    /// Nothing explains the notes any more.
    Lost,
    Slipped(SlipKind),
}

impl Path {
    /// Takes in a note and what it was.
    pub fn note(&mut self, at: Micros, key: MidiKey, heard: &HeardNote, follower: &Follower, span: &Span) {
        self.notes.push((at, key));
        // A note that comes late takes back the silence that it ended.
        self.marks.retain(|m| m.what != Trouble::Hesitated || m.at < at);
        if heard.heard != Heard::Expected || heard.position.lost {
            return;
        }
        let log_ratio = follower.last_step().map(|step| step.log_ratio);
        let here = Reached { log_ratio, n_heard: 1, ..Reached::now(at, heard.position.onset, follower) };
        let Some(last) = self.reached.last() else { return self.reached.push(here) };
        let last = *last;
        if self.comes_round(last, here, span) {
            self.elsewhere[0].arrival = Arrival::Again;
            self.reached.append(&mut self.elsewhere);
            return self.reached.push(here);
        }
        if here.onset == last.onset {
            self.reached.last_mut().expect("it has a last one").n_heard += 1;
            return;
        }
        if joins(last.onset, here.onset, span) {
            self.elsewhere.clear();
            return self.reached.push(here);
        }
        match self.elsewhere.last() {
            Some(before) if before.onset == here.onset => return,
            Some(before) if joins(before.onset, here.onset, span) => {}
            _ => self.elsewhere.clear(),
        }
        self.elsewhere.push(here);
        if self.elsewhere.len() >= N_ONSETS_ELSEWHERE {
            self.elsewhere[0].arrival = Arrival::Again;
            if self.reached.len() < N_ONSETS_ELSEWHERE {
                // The first notes were taken for another place.
                self.reached.clear();
                self.elsewhere[0].arrival = Arrival::Step;
            }
            self.reached.append(&mut self.elsewhere);
        }
    }

    /// Tells whether the player, after a halt, went back a little and has now come by playing to where they were: too few onsets for
    /// the follower to call it a move, and a way back all the same.
    fn comes_round(&self, last: Reached, here: Reached, span: &Span) -> bool {
        let (Some(first), Some(before)) = (self.elsewhere.first(), self.elsewhere.last()) else { return false };
        let is_next = |from: OnsetIdx, to: OnsetIdx| joins(from, to, span) && to.0 - from.0 <= N_ONSETS_A_STEP;
        let is_there = here.onset == last.onset || is_next(last.onset, here.onset);
        let is_back = first.onset < last.onset && is_there && is_next(before.onset, here.onset);
        is_back && self.trouble_between(last.at, first.at).is_some()
    }

    /// Takes in a finding; `here` is where the player is believed to be by now.
    pub fn finding(&mut self, finding: &Finding, here: OnsetIdx, follower: &Follower, span: &Span) {
        match *finding {
            Finding::Slip(Slip { at, kind: SlipKind::WrongTurn, onset, .. }) => self.turned(onset, Reached::now(at, here, follower), span),
            Finding::Slip(Slip { at, kind, onset, confidence, .. }) if confidence >= SURE_SLIP && kind != SlipKind::Missed => {
                self.marks.push(Mark { at, onset, what: Trouble::Slipped(kind) });
            }
            Finding::Restart { at, from, to, .. } | Finding::Jump { at, from, to, .. } => {
                self.moved(from, to, Reached::now(at, here, follower), span);
            }
            Finding::Lost { at } => {
                let onset = self.reached.last().map_or(OnsetIdx(0), |r| OnsetIdx((r.onset.0 + 1).min(span.n_onsets() - 1)));
                self.marks.push(Mark { at, onset, what: Trouble::Lost });
            }
            Finding::Slip(_) | Finding::Found { .. } => {}
        }
    }

    /// Silence has become a hesitation; `onset` is what should have come.
    pub fn hesitated(&mut self, at: Micros, onset: OnsetIdx) {
        self.marks.push(Mark { at, onset, what: Trouble::Hesitated });
    }

    /// The player went from `from` to `to`, some notes ago, and is `here` by now.
    fn moved(&mut self, from: OnsetIdx, to: OnsetIdx, here: Reached, span: &Span) {
        self.elsewhere.clear();
        if let Some((nth, said)) = self.unsettled() {
            let is_known = said.arrival == Arrival::Again && quarters_between(to, said.onset, span).abs() <= bar_quarters(to, span);
            if is_known {
                // The move was seen before the follower was sure of it.
                self.reached[nth].arrival = Arrival::Moved { from };
                return;
            }
            let is_elsewhere = matches!(said.arrival, Arrival::Moved { from: f } if f == from);
            let is_taken_back = match said.arrival {
                Arrival::Moved { .. } => from == said.onset,
                Arrival::Turned { .. } => from < said.onset,
                _ => false,
            };
            if is_elsewhere || is_taken_back || said.arrival == Arrival::Again {
                self.reached.truncate(nth);
            }
            if is_taken_back && !is_elsewhere {
                return self.reached.push(here);
            }
        }
        let landed = self.landing(from, to, here, span);
        while self.reached.last().is_some_and(|r| r.at >= landed) {
            self.reached.pop();
        }
        let begins = span.line.onset(to).played_bar == 0 && self.reached.first().is_some_and(|r| span.line.onset(r.onset).played_bar > 0);
        let arrival = if begins || self.reached.is_empty() {
            // What was tried before the beginning is no part of the run.
            self.reached.clear();
            self.marks.clear();
            Arrival::Step
        } else {
            Arrival::Moved { from }
        };
        self.reached.push(Reached { at: landed, onset: to, arrival, log_ratio: None, ..here });
        if here.onset > to {
            self.reached.push(here);
        }
    }

    /// The player took the way of the look-alike at `turn`, and is `here` by now.
    fn turned(&mut self, turn: OnsetIdx, here: Reached, span: &Span) {
        self.elsewhere.clear();
        // Which copy of what is alike was played cannot be told: the turn is where the two part, after the last onset
        // that was heard in full.
        let n_due = |onset: OnsetIdx| span.line.onset(onset).notes.clone().filter(|n| !span.line.notes[*n].is_optional).count();
        while self.reached.last().is_some_and(|r| r.onset >= turn && (r.n_heard as usize) < n_due(r.onset)) {
            self.reached.pop();
        }
        let Some(last) = self.reached.last().copied() else { return };
        // A turn is taken in the flow: what follows it came when the music would have gone on.
        let at = here.at.min(last.at + music(last.onset, turn, last.seconds_per_quarter, span));
        self.reached.push(Reached { at, arrival: Arrival::Turned { from: last.onset }, ..here });
    }

    /// Returns the last move, while it may still turn out to have been another.
    fn unsettled(&self) -> Option<(usize, Reached)> {
        let nth = self.reached.iter().rposition(|r| r.arrival != Arrival::Step)?;
        (self.reached.len() - nth <= N_ONSETS_UNSETTLED).then(|| (nth, self.reached[nth]))
    }

    /// Returns when the player came to `to`: the note of that onset nearest to where the tempo puts it, or the first of its chord.
    fn landing(&self, from: OnsetIdx, to: OnsetIdx, here: Reached, span: &Span) -> Micros {
        let left = self.reached.iter().rfind(|r| r.onset <= from).map_or(Micros::ZERO, |r| r.at);
        let due = here.at - music(to, here.onset, here.seconds_per_quarter, span);
        let keys = &span.line.notes[span.line.onset(to).notes.clone()];
        let since = self.notes.partition_point(|(at, _)| *at <= left);
        let of_onset = self.notes[since..].iter().filter(|(_, key)| keys.iter().any(|n| n.is(*key))).map(|(at, _)| *at);
        let nearest = of_onset.clone().min_by_key(|at| (at.0 - due.0).abs());
        let first = nearest.and_then(|nearest| of_onset.clone().find(|at| *at + CHORD >= nearest));
        first.unwrap_or(due.max(left + Micros(1))).min(here.at)
    }

    /// Tells whether a step from one reached onset to the next went without a halt, in order.
    pub fn is_plain(&self, nth: usize) -> bool {
        let (Some(before), Some(here)) = (nth.checked_sub(1).and_then(|b| self.reached.get(b)), self.reached.get(nth)) else {
            return false;
        };
        here.arrival == Arrival::Step && self.trouble_between(before.at, here.at).is_none()
    }

    /// Returns the first thing, slips aside, that stood in the way after one time and not after another.
    pub fn trouble_between(&self, after: Micros, until: Micros) -> Option<&Mark> {
        let within = |m: &&Mark| m.at > after && m.at <= until && !matches!(m.what, Trouble::Slipped(_));
        self.marks.iter().filter(within).min_by_key(|m| m.at)
    }

    /// Returns score length and played length of all plain steps: the tempo.
    pub fn plain_playing(&self, span: &Span) -> (f64, Micros) {
        let plain = (1..self.reached.len()).filter(|nth| self.is_plain(*nth));
        plain.fold((0.0, Micros::ZERO), |(quarters, played), nth| {
            let (before, here) = (self.reached[nth - 1], self.reached[nth]);
            (quarters + quarters_between(before.onset, here.onset, span), played + (here.at - before.at))
        })
    }

    /// Tells which onsets were passed: reached, or stepped over by a note or two.
    pub fn passed(&self, span: &Span) -> Vec<bool> {
        let mut passed = vec![false; span.n_onsets()];
        for (nth, here) in self.reached.iter().enumerate() {
            let joined = here.arrival == Arrival::Step && nth > 0 && here.onset > self.reached[nth - 1].onset;
            let from = if joined { self.reached[nth - 1].onset.0 + 1 } else { here.onset.0 };
            passed[from..=here.onset.0].iter_mut().for_each(|p| *p = true);
        }
        passed
    }
}

impl Reached {
    fn now(at: Micros, onset: OnsetIdx, follower: &Follower) -> Reached {
        let seconds_per_quarter = follower.tempo().map_or(0.0, |t| 60.0 / t.quarters_per_minute);
        Reached { at, onset, seconds_per_quarter, log_ratio: None, n_heard: 0, arrival: Arrival::Step }
    }
}

/// Tells whether an onset goes on from another: the next one, or one within a bar after it.
fn joins(from: OnsetIdx, to: OnsetIdx, span: &Span) -> bool {
    to.0 == from.0 + 1 || (to > from && quarters_between(from, to, span) <= bar_quarters(from, span))
}

/// Returns the length of the bar that an onset stands in, in quarters.
pub fn bar_quarters(onset: OnsetIdx, span: &Span) -> f64 {
    span.stretch.bars[span.line.onset(onset).played_bar].length.to_f64()
}

/// Returns quarters from one onset to a later one; negative the other way round.
pub fn quarters_between(from: OnsetIdx, to: OnsetIdx, span: &Span) -> f64 {
    (span.line.onset(to).at - span.line.onset(from).at).to_f64()
}

/// Returns how long the music takes from one onset to a later one; nothing the other way round.
pub fn music(from: OnsetIdx, to: OnsetIdx, seconds_per_quarter: f64, span: &Span) -> Micros {
    Micros::from_secs_f64((quarters_between(from, to, span) * seconds_per_quarter).max(0.0))
}
