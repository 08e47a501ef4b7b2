//! Hearing: notes and silence, and what they make of the rep that is on or about to begin.

use super::judge::{Fault, Found};
use super::phase::{Ears, Phase, Show};
use super::rep::{Attempt, Context};
use super::span::Span;
use super::story_line::wants_line;
use super::{Engine, Output};
use crate::follower::{Begin, Finding, Heard, HeardNote, OnsetIdx, Position};
use crate::journal::entry::{Mode, Rep, RepNumber, Verdict};
use crate::midi::{MidiEvent, MidiKey, Velocity};
use crate::time::{Micros, Stamped};

/// A silence before a note that may be the beginning of a rep.
const FRESH_START: Micros = Micros(800_000);
/// The last chord of a rep may still ring in for so long.
const TRAILING: Micros = Micros(300_000);
/// Notes that do not reach the first onset within so many are not a rep.
const N_NOTES_TO_BEGIN: usize = 4;
/// A run-through or a reading may begin in the middle, where more notes are needed to know the place.
const N_NOTES_TO_BEGIN_LATE: usize = 30;
/// While looking at the page, a rep that breaks before so many onsets was a try at the spot.
const N_ONSETS_OF_A_TRY: usize = 3;
/// How many notes back the silence before a restart is looked for.
const N_NOTES_OF_A_RESTART: usize = 8;
/// A run-through that has been silent for so long is over.
pub(super) const RUN_OVER: Micros = Micros(20_000_000);

impl Engine {
    pub(super) fn timer(&mut self, due: Micros, out: &mut Vec<Output>) {
        match &mut self.phase {
            Phase::Between { show: Show::SpanDone { .. }, .. } => self.move_on(due, out),
            Phase::Between { show: Show::Turn { to, .. }, .. } => {
                let to = *to;
                self.go_to(to, due, out);
            }
            Phase::Between { show: show @ Show::Done { .. }, .. } => *show = Show::Ready,
            Phase::Playing { .. } => {
                let last_note = self.last_note;
                let (Phase::Playing { attempt, .. }, cx) = self.split() else { return };
                let mark = out.len();
                attempt.silence(due, &cx, out);
                let is_over = attempt.is_complete(due, &cx) || (!cx.span.is_drill() && last_note.is_none_or(|last| due >= last + RUN_OVER));
                self.see_prompts(mark, out);
                self.after_attempt(due, is_over, out);
            }
            _ => {}
        }
    }

    pub(super) fn midi(&mut self, at: Micros, event: MidiEvent, out: &mut Vec<Output>) {
        let MidiEvent::NoteOn { key, velocity, .. } = event else {
            if let Phase::Playing { attempt, .. } = &mut self.phase {
                attempt.record(Stamped { at, what: event });
            }
            return;
        };
        // A source may deliver late: the note keeps its own time, but no note goes before the last one.
        let at = self.last_note.map_or(at, |last| at.max(last));
        self.now = self.now.max(at);
        let is_fresh = self.last_note.is_none_or(|last| at - last >= FRESH_START);
        match &self.phase {
            Phase::Between { show: Show::SpanDone { .. }, .. } if is_fresh => self.move_on(at, out),
            Phase::Between { show: Show::Turn { to, .. }, .. } if is_fresh => self.go_to(*to, at, out),
            _ => {}
        }
        let silence = self.last_note.map(|last| at - last);
        self.last_note = Some(at);
        let stamped = Stamped { at, what: event };
        match &mut self.phase {
            Phase::Playing { .. } => self.play(stamped, key, velocity, out),
            Phase::Between { .. } => self.listen(stamped, key, velocity, silence, out),
            Phase::Paused | Phase::Finished { .. } => {}
        }
    }

    /// A note of a rep.
    fn play(&mut self, stamped: Stamped<MidiEvent>, key: MidiKey, velocity: Velocity, out: &mut Vec<Output>) {
        let (Phase::Playing { attempt, .. }, cx) = self.split() else { return };
        attempt.record(stamped);
        let mark = out.len();
        attempt.note(stamped.at, key, velocity, &cx, out);
        let is_over = attempt.is_complete(stamped.at, &cx);
        self.see_prompts(mark, out);
        self.after_attempt(stamped.at, is_over, out);
    }

    /// A note outside any rep: perhaps the first of one.
    fn listen(&mut self, stamped: Stamped<MidiEvent>, key: MidiKey, velocity: Velocity, silence: Option<Micros>, out: &mut Vec<Output>) {
        let top = self.lead_in.as_ref().map(|_| Context { piece: &self.piece, span: &self.spans[self.current], config: &self.config });
        let span = self.lead_in.as_ref().unwrap_or(&self.spans[self.current]);
        let cx = Context { piece: &self.piece, span, config: &self.config };
        let Phase::Between { ears, .. } = &mut self.phase else { return };
        let is_first_note = ears.n_notes == 0;
        ears.n_notes += 1;
        let n_notes_to_begin = if cx.span.is_drill() { N_NOTES_TO_BEGIN } else { N_NOTES_TO_BEGIN_LATE };
        let is_stale = ears.candidate.as_ref().is_some_and(|c| c.n_notes() >= n_notes_to_begin);
        let fresh = if ears.plays_on { longer_than_any_step(cx.span) } else { FRESH_START };
        if silence.is_none_or(|s| s >= fresh || (is_first_note && ears.broken.is_none() && !ears.plays_on && s >= TRAILING)) {
            let begin = if cx.span.is_drill() { Begin::At(OnsetIdx(0)) } else { Begin::Anywhere };
            ears.candidate = Some(Box::new(Attempt::new(cx.span, cx.config, begin)));
            ears.from_top = top.map(|top| Box::new(Attempt::new(top.span, top.config, Begin::At(OnsetIdx(0)))));
        } else if is_stale {
            ears.candidate = None;
            ears.from_top = None;
        }
        let mark = out.len();
        if let Some(attempt) = &mut ears.candidate {
            attempt.record(stamped);
            let heard = attempt.note(stamped.at, key, velocity, &cx, out);
            if is_beginning(&heard) || (!cx.span.is_drill() && attempt.is_under_way()) {
                return self.begin_rep(stamped.at, out);
            }
        }
        if let (Some(attempt), Some(top)) = (&mut ears.from_top, top) {
            attempt.record(stamped);
            let mut heard_from_top = Vec::new();
            if is_beginning(&attempt.note(stamped.at, key, velocity, &top, &mut heard_from_top)) {
                out.truncate(mark);
                out.append(&mut heard_from_top);
                ears.candidate = ears.from_top.take();
                self.lead_in = None;
                return self.begin_rep(stamped.at, out);
            }
        }
        let is_heard = out.len() > mark;
        if let Some(attempt) = &mut ears.broken {
            let mark = out.len();
            attempt.record(stamped);
            attempt.note(stamped.at, key, velocity, &cx, out);
            let to_top = |o: &Output| matches!(o, Output::Finding(Finding::Restart { to: OnsetIdx(0), .. }));
            let beginning = if out[mark..].iter().any(to_top) { since_last_pause(attempt) } else { Vec::new() };
            if is_heard {
                out.truncate(mark);
            }
            self.replay_beginning(&beginning, out);
        } else if !is_heard {
            let position = Position { onset: OnsetIdx(0), confidence: 0.0, lost: true };
            out.push(Output::Heard {
                at: stamped.at,
                key,
                note: HeardNote { heard: Heard::Unclear, note: None, stood_for: None, position },
            });
        }
    }

    /// The candidate has reached the first onset: it is a rep.
    fn begin_rep(&mut self, at: Micros, out: &mut Vec<Output>) {
        let Phase::Between { show, ears } = &mut self.phase else { return };
        let Some(attempt) = ears.candidate.take() else { return };
        out.push(Output::RepBegan { at: attempt.started().unwrap_or(at), span_idx: self.current });
        let after = std::mem::replace(show, Show::Ready);
        let is_over = attempt.is_complete(at, &self.context());
        self.phase = Phase::Playing { attempt, after };
        self.after_attempt(at, is_over, out);
    }

    /// Keeps the prompt that the screen shows in step with what was put out since `mark`.
    fn see_prompts(&mut self, mark: usize, out: &[Output]) {
        for output in &out[mark..] {
            match output {
                Output::Prompted { rung, text, .. } => self.prompt = Some((*rung, text.clone())),
                Output::PromptCleared { .. } => self.prompt = None,
                _ => {}
            }
        }
    }

    /// Ends the rep when it is over or broken; a run-through is broken by nothing.
    fn after_attempt(&mut self, at: Micros, is_over: bool, out: &mut Vec<Output>) {
        let (Phase::Playing { attempt, after }, cx) = self.split() else { return };
        let is_broken = cx.span.mode == Mode::Drill && attempt.judge.is_broken();
        if !is_over && !is_broken {
            return;
        }
        let is_try = is_broken && attempt.furthest().is_none_or(|o| o.0 + 1 < N_ONSETS_OF_A_TRY);
        if is_try && matches!(after, Show::Look { .. }) {
            // A few notes of the spot, tried with the page open: no rep, and the place stays on the screen.
            let show = std::mem::replace(after, Show::Ready);
            let broken = Some(Box::new((**attempt).clone()));
            self.prompt = None;
            self.phase = Phase::Between { show, ears: Ears { broken, ..Ears::default() } };
            return;
        }
        let went_back = attempt.judge.found.iter().rev().find(|f| f.fault == Fault::Restart).is_some_and(|f| f.at == at);
        let replayed: Vec<Stamped<MidiEvent>> = if is_broken && went_back { since_last_pause(attempt) } else { Vec::new() };
        self.end_rep(at, out);
        self.replay_beginning(&replayed, out);
    }

    /// The notes that told of a restart may be the first ones of the next rep.
    fn replay_beginning(&mut self, notes: &[Stamped<MidiEvent>], out: &mut Vec<Output>) {
        let mut again = Vec::new();
        for stamped in notes {
            let MidiEvent::NoteOn { key, velocity, .. } = stamped.what else { continue };
            match &self.phase {
                Phase::Between { .. } => {
                    self.listen(*stamped, key, velocity, None, &mut again);
                }
                Phase::Playing { .. } => self.play(*stamped, key, velocity, &mut again),
                _ => break,
            }
        }
        // What was heard has been said once already.
        out.extend(again.into_iter().filter(|o| !matches!(o, Output::Heard { .. } | Output::Finding(_))));
    }

    /// Ends an attempt, and keeps what is to be said of a run-through or a reading.
    pub(super) fn end_attempt(&mut self, attempt: Attempt, number: RepNumber, at: Micros) -> (Rep, Option<Found>) {
        let heard = (!self.span().is_drill()).then(|| attempt.clone());
        let ended = attempt.end(number, at, &self.context());
        if let Some(heard) = heard {
            self.remarks = heard.remarks(&ended.0, &self.context());
        }
        ended
    }

    /// Writes the rep down and turns to what comes after it.
    fn end_rep(&mut self, at: Micros, out: &mut Vec<Output>) {
        let Some(attempt) = self.take_attempt() else { return };
        let number = RepNumber(self.n_reps);
        self.n_reps += 1;
        let broken = attempt.judge.is_broken().then(|| Box::new(attempt.clone()));
        let is_complete = attempt.is_complete(at, &self.context());
        self.see_cues(&attempt, at);
        let (rep, decided_by) = self.end_attempt(attempt, number, at);
        let words = rep.reason.as_ref().map_or_else(String::new, |r| r.words.clone());
        let verdict = rep.verdict;
        self.write_down(rep, out);
        // A halt and the tempo are nothing to look up on the page.
        let is_on_the_page = |fault| !matches!(fault, Fault::Hesitation | Fault::TooSlow | Fault::TooFast | Fault::Gone);
        let failed = decided_by.filter(|f| verdict == Verdict::Broken && is_on_the_page(f.fault) && self.span().is_drill());
        if self.lead_in.is_some() {
            self.last_judged = None;
            if failed.is_none() {
                return self.end_lead_in(verdict, words, at);
            }
        } else {
            let tally = &mut self.tallies[self.current];
            tally.verdicts.push(verdict);
            tally.numbers.push(number);
            self.last_judged = Some(self.current);
            if self.span().is_drill() {
                out.extend(self.advice().map(|words| Output::Advised { at, words }));
            }
        }
        let is_run = !self.span().is_drill();
        self.stories.ask_nothing();
        let show = match failed {
            // What ended before its end is not said to have come to it.
            _ if is_run && !is_complete => Show::SpanDone { until: at },
            _ if is_run || self.is_reached() => {
                self.owe(at);
                Show::SpanDone { until: at + self.config.span_done }
            }
            Some(Found { onset, fault, hand, .. }) => {
                let (place, bar) = (self.span().place(onset), self.span().line.onset(onset).played_bar);
                if wants_line(fault) {
                    self.open_place(place, hand, fault.stand(), at, out);
                }
                let begins_loop = self.lead_in.is_none() && self.config.slips.n_clean > 0;
                let first_bar = begins_loop.then(|| self.begin_loop(onset)).flatten().unwrap_or(0);
                Show::Look { words, bar: bar - first_bar }
            }
            None => {
                let rest = self.config.rest.map(|rest| at + rest);
                self.turn(verdict, at).unwrap_or(Show::Done { verdict, words, rest })
            }
        };
        // In the few beats of a loop, what is played on after a slip is too much like a way back to tell them apart: only a pause begins anew.
        let ears = if self.loop_left.is_some() { Ears { plays_on: true, ..Ears::default() } } else { Ears { broken, ..Ears::default() } };
        self.phase = Phase::Between { show, ears };
    }

    /// Counts the cues that a rep came by without needing them.
    fn see_cues(&mut self, attempt: &Attempt, at: Micros) {
        if self.config.ladder.hide_after == 0 || !self.span().is_drill() {
            return;
        }
        let (_, decided_by) = attempt.judge.verdict();
        let end = match decided_by.filter(|_| attempt.judge.is_broken()) {
            Some(breaking) => breaking.onset,
            None if attempt.is_complete(at, &self.context()) => OnsetIdx(self.span().n_onsets()),
            None => attempt.furthest().unwrap_or(OnsetIdx(0)),
        };
        let mut fading = std::mem::take(&mut self.fading);
        fading.rep(self.span(), &self.piece, end, &attempt.judge.found);
        self.fading = fading;
        self.fade();
    }

    /// The bars around the place went: now from the top.
    fn end_lead_in(&mut self, verdict: Verdict, words: String, at: Micros) {
        if self.loop_again(verdict, words, at) {
            return;
        }
        self.lead_in = None;
        let rest = Some(at + self.config.rest.unwrap_or(self.config.span_done));
        self.phase = Phase::between(Show::Done { verdict, words: tr!("now from the top"), rest });
    }
}

/// Returns a silence that is none of the span's own: in the slow beats of a loop every step is a long one.
fn longer_than_any_step(span: &Span) -> Micros {
    let onsets = &span.line.onsets;
    let longest = onsets.windows(2).map(|pair| pair[1].at - pair[0].at).max();
    let longest = span.line.tempo.zip(longest).map_or(Micros::ZERO, |(tempo, step)| tempo.duration(step));
    FRESH_START.max(Micros(longest.0 * 3 / 2))
}

fn is_beginning(heard: &HeardNote) -> bool {
    heard.heard == Heard::Expected && !heard.position.lost && heard.position.onset == OnsetIdx(0)
}

/// Returns the notes of the take from its longest silence among the last few on.
fn since_last_pause(attempt: &Attempt) -> Vec<Stamped<MidiEvent>> {
    let notes: Vec<_> = attempt.take.events().iter().filter(|e| matches!(e.what, MidiEvent::NoteOn { .. })).copied().collect();
    let from = notes.len().saturating_sub(N_NOTES_OF_A_RESTART);
    let longest = (from + 1..notes.len()).max_by_key(|&i| notes[i].at - notes[i - 1].at);
    longest.map_or_else(Vec::new, |i| notes[i..].to_vec())
}
