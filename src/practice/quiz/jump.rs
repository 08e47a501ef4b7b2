//! Called away: a run from some start, the call of a landmark in the middle of it, and how long until the player is going there.

use super::hearing::{Around, End, PassageEar, Task};
use super::question::Passage;
use crate::follower::{Begin, Heard, LineNoteIdx, OnsetIdx};
use crate::journal::entry::Outcome;
use crate::language::tenths;
use crate::midi::{MidiEvent, MidiKey, Take, Velocity};
use crate::practice::Output;
use crate::practice::rep::Attempt;
use crate::time::{Micros, Stamped};

/// The call comes this long after an onset, so that all of its notes have been struck.
const CALL_AFTER: Micros = Micros(250_000);
/// Landing is listened for three times as long as it may take.
const LISTEN: i64 = 3;
/// Bars of the run; the call comes in its second or third.
pub const N_BARS_OF_RUN: usize = 4;
/// Right notes that tell of a landing.
const N_RIGHT: usize = 3;
/// Beats within which a jump holds, where they last longer than the seconds set.
const N_BEATS: i64 = 2;

/// A run that ends before its call is an answer to where it began.
pub struct JumpEar {
    run: PassageEar,
    passage: Passage,
    call_from: OnsetIdx,
    call_at: Option<Micros>,
    called: Option<Called>,
}

/// What is heard since the call.
struct Called {
    at: Micros,
    n_notes: u32,
    take: Take,
    /// Each note that may be the first at the landmark, heard as such.
    landings: Vec<Landing>,
}

struct Landing {
    attempt: Attempt,
    at: Micros,
    n_before: u32,
    /// Right notes of the first onset, and in all.
    first: Vec<LineNoteIdx>,
    n_right: usize,
}

impl JumpEar {
    /// Listens for a run; `chance` draws a number below its argument. `None` when the run is too short to be called away from.
    pub fn new(asked: Micros, passage: Passage, around: Around<'_>, chance: impl FnOnce(usize) -> usize) -> Option<Self> {
        let onsets = &passage.span.line.onsets;
        let n_last_bar = passage.span.bars.len().checked_sub(1)?;
        let can_call = |o: &usize| (1..=n_last_bar.min(2)).contains(&onsets[*o].played_bar);
        let calls: Vec<usize> = (passage.begin.0 + 1..onsets.len().saturating_sub(1)).filter(can_call).collect();
        let call_from = OnsetIdx(*calls.get(chance(calls.len()))?);
        let run = PassageEar::new(asked, Task::run(&passage, around));
        Some(JumpEar { run, passage, call_from, call_at: None, called: None })
    }

    pub fn has_begun(&self) -> bool {
        self.run.has_begun()
    }

    /// Returns when the landmark was called.
    pub fn called(&self) -> Option<Micros> {
        self.called.as_ref().map(|c| c.at)
    }

    /// Returns the run, for a player that plays along.
    pub fn run(&self) -> &Passage {
        &self.passage
    }

    pub fn record(&mut self, event: Stamped<MidiEvent>) {
        match &mut self.called {
            Some(called) => called.take.push(event),
            None => self.run.record(event),
        }
    }

    pub fn note(&mut self, at: Micros, key: MidiKey, velocity: Velocity, to: Task<'_>, out: &mut Vec<Output>) -> Option<End> {
        let run = Task::run(&self.passage, to.around);
        let Some(called) = &mut self.called else {
            let ended = self.run.note(at, key, velocity, run, out);
            if self.run.attempt().furthest().is_some_and(|o| o >= self.call_from) {
                self.call_at.get_or_insert(at + CALL_AFTER);
            }
            return ended;
        };
        called.note(at, key, velocity, to, out);
        called.landed(at, to).map(|l| called.end(at, Some((l.at, l.n_before)), to))
    }

    pub fn deadline(&self, to: Task<'_>) -> Micros {
        match (&self.called, self.call_at) {
            (Some(called), _) => called.at + Micros(LISTEN * limit(to).0),
            (None, Some(call)) => call.min(self.run.deadline(Task::run(&self.passage, to.around))),
            (None, None) => self.run.deadline(Task::run(&self.passage, to.around)),
        }
    }

    pub fn silence(&mut self, now: Micros, to: Task<'_>, out: &mut Vec<Output>) -> Option<End> {
        if let Some(called) = &self.called {
            return Some(called.end(now, None, to));
        }
        if self.call_at.is_some_and(|call| call <= now) {
            self.called =
                Some(Called { at: now, n_notes: 0, take: Take::default().heard(to.passage.span.hearing.clone()), landings: Vec::new() });
            return None;
        }
        self.run.silence(now, Task::run(&self.passage, to.around), out)
    }

    /// Ends what is being played, when the player leaves it.
    pub fn left(&self, now: Micros, to: Task<'_>) -> End {
        match &self.called {
            Some(called) => called.end(now, None, to),
            None => self.run.end(now, Outcome::OutOfTime, Task::run(&self.passage, to.around)),
        }
    }
}

impl Called {
    fn note(&mut self, at: Micros, key: MidiKey, velocity: Velocity, to: Task<'_>, out: &mut Vec<Output>) {
        let cx = to.context();
        let begin = to.passage.begin;
        let line = &to.passage.span.line;
        let first = line.onset(begin).notes.clone();
        let mut unsaid = Vec::new();
        if line.notes[first.clone()].iter().any(|n| n.is(key)) {
            let attempt = Attempt::new(&to.passage.span, to.around.practice, Begin::At(begin));
            self.landings.push(Landing { attempt, at, n_before: self.n_notes, first: Vec::new(), n_right: 0 });
        }
        for landing in &mut self.landings {
            let heard = landing.attempt.note(at, key, velocity, &cx, &mut unsaid);
            if let Some(note) = heard.note.filter(|_| heard.heard == Heard::Expected) {
                landing.n_right += 1;
                landing.first.extend(first.contains(&note.0).then_some(note));
            }
        }
        self.landings.retain(|l| !l.attempt.judge.is_broken());
        self.n_notes += 1;
        out.extend(unsaid.into_iter().filter(|o| matches!(o, Output::Heard { .. })).take(1));
    }

    /// Returns where the player landed once they are going: top and bottom of the first onset there, what follows it no sooner
    /// than half its time later (a rolled chord may hold the notes of both), and notes enough to be no chance. Of several landings
    /// it is the one with most of the first onset, the latest of such.
    fn landed(&self, now: Micros, to: Task<'_>) -> Option<&Landing> {
        let (begin, line) = (to.passage.begin, &to.passage.span.line);
        let outer: Vec<LineNoteIdx> = line.onset(begin).notes.clone().filter(|n| line.notes[*n].is_outer).map(LineNoteIdx).collect();
        let next = line.onsets.get(begin.0 + 1);
        let wait = next.map_or(Micros::ZERO, |next| to.passage.lasts(next.at - line.onset(begin).at));
        let is_going = |l: &&Landing| {
            let has_gone_on = l.attempt.furthest().is_some_and(|o| o > begin) && now - l.at >= Micros(wait.0 / 2);
            outer.iter().all(|n| l.first.contains(n)) && (next.is_none() || (has_gone_on && l.n_right >= N_RIGHT))
        };
        self.landings.iter().filter(is_going).max_by_key(|l| (l.first.len(), l.at))
    }

    fn end(&self, at: Micros, landed: Option<(Micros, u32)>, to: Task<'_>) -> End {
        let outcome = match landed {
            Some((landed, _)) if landed - self.at <= limit(to) => Outcome::Held,
            _ => Outcome::OutOfTime,
        };
        let place = || to.passage.span.place(to.passage.begin).words(&to.around.piece.score);
        let words = match landed {
            _ if outcome == Outcome::Held => String::new(),
            Some((landed, _)) => {
                tr!("{place}: going after {seconds} s", place = place(), seconds = tenths((landed - self.at).secs_f64()))
            }
            None => tr!("{place}: not reached", place = place()),
        };
        End {
            at,
            outcome,
            first_right: landed.map(|l| l.0),
            words,
            happenings: Vec::new(),
            take: self.take.clone(),
            went_to: None,
            n_notes_between: landed.map(|l| l.1),
        }
    }
}

/// Returns within what time of the call the player is to be going: two beats or the seconds set, whichever is longer.
pub fn limit(to: Task<'_>) -> Micros {
    let line = &to.passage.span.line;
    let beat = to.around.piece.score.bar(line.bar(to.passage.begin)).meter.beat_length();
    let beats = line.tempo.map_or(Micros::ZERO, |tempo| tempo.duration(beat.scaled(N_BEATS, 1)));
    beats.max(to.around.config.jump)
}
