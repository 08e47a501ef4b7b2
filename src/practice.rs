//! The engine: commands and played notes in, outputs and the next deadline out.
//!
//! Pure: the same piece, configuration and stamped inputs give the same outputs, so a recorded
//! session replays exactly. It reads no clock and draws nothing; the screen sees a [`View`].
//!
//! A session goes through the sections one by one, each to its count of clean reps, and ends with
//! the whole piece as a run-through. Between reps the player may play anything: a rep begins with
//! the first onset of the span and with nothing else.

mod account;
mod command;
mod config;
pub mod footswitch;
mod judge;
mod ladder;
mod listen;
mod rep;
mod span;
pub mod view;
mod words;

pub use command::Command;
pub use config::{LadderConfig, PracticeConfig};
pub use listen::listen;
pub use span::Span;
pub use view::{Stage, View};

use std::sync::Arc;

use crate::follower::{Begin, Finding, Heard, HeardNote, OnsetIdx, Position};
use crate::journal::entry::{Entry, Mode, Rep, RepNumber, Verdict};
use crate::midi::{MidiEvent, MidiKey, Velocity};
use crate::piece::Piece;
use crate::time::{Micros, Stamped};

use judge::{Fault, Found};
use rep::{Attempt, Context};

/// What the engine is told; each comes stamped with the time it happened.
#[derive(Clone, PartialEq, Debug)]
pub enum Input {
    Midi(MidiEvent),
    Command(Command),
    /// The time given by [`Engine::next_deadline`] has come.
    Deadline,
}

/// What the engine gives back, in order.
#[derive(Clone, PartialEq, Debug)]
pub enum Output {
    /// A performed note and what it was, as known right after it.
    Heard {
        at: Micros,
        key: MidiKey,
        note: HeardNote,
    },
    Finding(Finding),
    /// Silence outgrew what this place explains; `onset` is what should have come.
    Hesitated {
        at: Micros,
        onset: OnsetIdx,
    },
    /// A rung of the ladder is shown.
    Prompted {
        at: Micros,
        rung: u8,
        onset: OnsetIdx,
        text: String,
    },
    PromptCleared {
        at: Micros,
    },
    RepBegan {
        at: Micros,
        span_idx: usize,
    },
    /// A span is offered: its name stands on the screen, nothing is played yet.
    SpanBegan {
        at: Micros,
        span_idx: usize,
    },
    /// To be written down before anything else is played. A rep's end is its [`Entry::Rep`].
    Record(Entry),
    Finished {
        at: Micros,
    },
}

/// A silence before a note that may be the beginning of a rep.
const FRESH_START: Micros = Micros(800_000);
/// The last chord of a rep may still ring in for so long.
const TRAILING: Micros = Micros(300_000);
/// Notes that do not reach the first onset within so many are not a rep.
const N_NOTES_TO_BEGIN: usize = 4;
/// While looking at the page, a rep that breaks before so many onsets was a try at the spot.
const N_ONSETS_OF_A_TRY: usize = 3;
/// How many notes back the silence before a restart is looked for.
const N_NOTES_OF_A_RESTART: usize = 8;
/// A run-through that has been silent for so long is over.
const RUN_OVER: Micros = Micros(20_000_000);

/// What stands between the reps.
#[derive(Clone, PartialEq, Debug)]
enum Show {
    Ready,
    Done { verdict: Verdict, words: String },
    Look { words: String, bar: usize },
    SpanDone { until: Micros },
}

enum Phase {
    /// No rep is on.
    Between {
        show: Show,
        ears: Ears,
    },
    /// `after` is what stood on the screen when the rep began.
    Playing {
        attempt: Box<Attempt>,
        after: Show,
    },
    Paused,
    Finished {
        account: Vec<String>,
    },
}

/// What listens between the reps for the beginning of one.
#[derive(Default)]
struct Ears {
    /// Hears whether what is played since the last silence begins the span.
    candidate: Option<Box<Attempt>>,
    /// The rep that broke, listened to further: a player who plays on is not beginning anew, one who goes back to the top is.
    broken: Option<Box<Attempt>>,
    /// Notes heard since the last rep ended.
    n_notes: usize,
}

/// The reps of one span in this session.
#[derive(Clone, Debug, Default)]
struct Tally {
    verdicts: Vec<Verdict>,
    numbers: Vec<RepNumber>,
    /// Extra or fewer reps asked for by the player.
    target: u8,
}

impl Phase {
    fn between(show: Show) -> Phase {
        Phase::Between { show, ears: Ears::default() }
    }
}

impl Tally {
    fn n_clean(&self, in_a_row: bool) -> u8 {
        let clean = |v: &&Verdict| **v == Verdict::Clean;
        let n = if in_a_row { self.verdicts.iter().rev().take_while(clean).count() } else { self.verdicts.iter().filter(clean).count() };
        u8::try_from(n).unwrap_or(u8::MAX)
    }
}

/// The state of practice; see the module for what it does.
pub struct Engine {
    piece: Arc<Piece>,
    config: PracticeConfig,
    spans: Vec<Span>,
    tallies: Vec<Tally>,
    current: usize,
    phase: Phase,
    now: Micros,
    last_note: Option<Micros>,
    n_reps: u32,
    /// The span of the last rep that got a verdict.
    last_judged: Option<usize>,
    prompt: Option<(u8, String)>,
    reps: Vec<Rep>,
}

impl Engine {
    /// Starts a session over `spans` in their order; `None` when there is none.
    pub fn try_new(piece: Arc<Piece>, spans: Vec<Span>, config: PracticeConfig) -> Option<Self> {
        let tallies: Vec<Tally> = spans.iter().map(|s| Tally { target: s.target, ..Tally::default() }).collect();
        (!spans.is_empty()).then(|| Engine {
            piece,
            config,
            spans,
            tallies,
            current: 0,
            phase: Phase::between(Show::Ready),
            now: Micros::ZERO,
            last_note: None,
            n_reps: 0,
            last_judged: None,
            prompt: None,
            reps: Vec::new(),
        })
    }

    /// Takes one input in. Deadlines that passed before it are dealt with first, at their own times, so that a late
    /// loop and a replay come to the same outputs. Stamps that go back are taken as of the latest time known.
    pub fn handle(&mut self, input: Stamped<Input>, out: &mut Vec<Output>) {
        let is_timer = matches!(input.what, Input::Deadline);
        while let Some(due) = self.next_deadline().filter(|d| *d < input.at || (is_timer && *d <= input.at)) {
            self.now = self.now.max(due);
            self.timer(due, out);
        }
        match input.what {
            Input::Midi(event) => self.midi(input.at, event, out),
            Input::Command(command) => {
                self.now = self.now.max(input.at);
                self.command(command, out);
            }
            Input::Deadline => self.now = self.now.max(input.at),
        }
    }

    /// Returns when [`Input::Deadline`] is to be given next, if nothing happens before.
    pub fn next_deadline(&self) -> Option<Micros> {
        match &self.phase {
            Phase::Between { show: Show::SpanDone { until }, .. } => Some(*until),
            Phase::Playing { attempt, .. } => {
                let run_over = (self.span().mode == Mode::RunThrough).then(|| self.last_note.unwrap_or(self.now) + RUN_OVER);
                [attempt.deadline(&self.context()), run_over].into_iter().flatten().min()
            }
            _ => None,
        }
    }

    pub fn is_finished(&self) -> bool {
        matches!(self.phase, Phase::Finished { .. })
    }

    /// Tells whether a rep is on and has come to the last onset of its span.
    pub fn is_on_last_onset(&self) -> bool {
        matches!(&self.phase, Phase::Playing { attempt, .. } if attempt.is_on_last_onset(&self.context()))
    }

    pub fn spans(&self) -> &[Span] {
        &self.spans
    }

    pub fn piece(&self) -> &Piece {
        &self.piece
    }

    /// Returns which span is offered or played, from 0.
    pub fn span_idx(&self) -> usize {
        self.current
    }

    fn span(&self) -> &Span {
        &self.spans[self.current]
    }

    fn context(&self) -> Context<'_> {
        Context { piece: &self.piece, span: &self.spans[self.current], config: &self.config }
    }

    fn timer(&mut self, due: Micros, out: &mut Vec<Output>) {
        match &mut self.phase {
            Phase::Between { show: Show::SpanDone { .. }, .. } => self.go_to(self.current + 1, due, out),
            Phase::Playing { attempt, .. } => {
                let cx = Context { piece: &self.piece, span: &self.spans[self.current], config: &self.config };
                let mark = out.len();
                attempt.silence(due, &cx, out);
                let is_over = attempt.is_complete(due, &cx)
                    || (cx.span.mode == Mode::RunThrough && self.last_note.is_none_or(|last| due >= last + RUN_OVER));
                self.see_prompts(mark, out);
                self.after_attempt(due, is_over, out);
            }
            _ => {}
        }
    }

    fn midi(&mut self, at: Micros, event: MidiEvent, out: &mut Vec<Output>) {
        let MidiEvent::NoteOn { key, velocity, .. } = event else {
            if let Phase::Playing { attempt, .. } = &mut self.phase {
                attempt.record(Stamped { at, what: event });
            }
            return;
        };
        // A source may deliver late: the note keeps its own time, but no note goes before the last one.
        let at = self.last_note.map_or(at, |last| at.max(last));
        self.now = self.now.max(at);
        if let Phase::Between { show: Show::SpanDone { .. }, .. } = &self.phase {
            let trailing = self.last_note.is_some_and(|last| at - last < FRESH_START);
            if !trailing {
                self.go_to(self.current + 1, at, out);
            }
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
        let Phase::Playing { attempt, .. } = &mut self.phase else { return };
        let cx = Context { piece: &self.piece, span: &self.spans[self.current], config: &self.config };
        attempt.record(stamped);
        let mark = out.len();
        attempt.note(stamped.at, key, velocity, &cx, out);
        let is_over = attempt.is_complete(stamped.at, &cx);
        self.see_prompts(mark, out);
        self.after_attempt(stamped.at, is_over, out);
    }

    /// A note outside any rep: perhaps the first of one.
    fn listen(&mut self, stamped: Stamped<MidiEvent>, key: MidiKey, velocity: Velocity, silence: Option<Micros>, out: &mut Vec<Output>) {
        let cx = Context { piece: &self.piece, span: &self.spans[self.current], config: &self.config };
        let Phase::Between { ears, .. } = &mut self.phase else { return };
        let is_first_note = ears.n_notes == 0;
        ears.n_notes += 1;
        let is_stale = ears.candidate.as_ref().is_some_and(|c| c.n_notes() >= N_NOTES_TO_BEGIN);
        if silence.is_none_or(|s| s >= FRESH_START || (is_first_note && ears.broken.is_none() && s >= TRAILING)) {
            ears.candidate = Some(Box::new(Attempt::new(cx.span, Begin::At(OnsetIdx(0)))));
        } else if is_stale {
            ears.candidate = None;
        }
        let mark = out.len();
        if let Some(attempt) = &mut ears.candidate {
            attempt.record(stamped);
            let heard = attempt.note(stamped.at, key, velocity, &cx, out);
            if is_beginning(&heard) {
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
        let is_over = attempt.is_complete(at, &Context { piece: &self.piece, span: &self.spans[self.current], config: &self.config });
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
        let Phase::Playing { attempt, after } = &mut self.phase else { return };
        let is_broken = self.spans[self.current].mode == Mode::Drill && attempt.judge.is_broken();
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

    /// Writes the rep down and turns to what comes after it.
    fn end_rep(&mut self, at: Micros, out: &mut Vec<Output>) {
        let Some(attempt) = self.take_attempt() else { return };
        let number = RepNumber(self.n_reps);
        self.n_reps += 1;
        let broken = attempt.judge.is_broken().then(|| Box::new(attempt.clone()));
        let (rep, decided_by) = attempt.end(number, at, &self.context());
        let tally = &mut self.tallies[self.current];
        tally.verdicts.push(rep.verdict);
        tally.numbers.push(number);
        self.last_judged = Some(self.current);
        let words = rep.reason.as_ref().map_or_else(String::new, |r| r.words.clone());
        let verdict = rep.verdict;
        self.write_down(rep, out);
        let is_run = self.span().mode == Mode::RunThrough;
        let show = match (verdict, decided_by) {
            _ if is_run || self.is_reached() => Show::SpanDone { until: at + self.config.span_done },
            (Verdict::Broken, Some(Found { onset, fault, .. })) if fault != Fault::Hesitation => {
                Show::Look { words, bar: self.span().line.onset(onset).played_bar }
            }
            _ => Show::Done { verdict, words },
        };
        self.phase = Phase::Between { show, ears: Ears { broken, ..Ears::default() } };
    }

    fn is_reached(&self) -> bool {
        let tally = &self.tallies[self.current];
        tally.n_clean(self.piece.judging.in_a_row) >= tally.target
    }

    /// Ends a rep that the player leaves: it is written down, and counts for nothing.
    fn abandon(&mut self, out: &mut Vec<Output>) {
        let now = self.now;
        let Some(mut attempt) = self.take_attempt() else { return };
        let onset = attempt.onset().unwrap_or(OnsetIdx(0));
        attempt.judge.breaks(Found { at: now, fault: Fault::Abandoned, onset, hand: None });
        let number = RepNumber(self.n_reps);
        self.n_reps += 1;
        let (rep, _) = attempt.end(number, now, &self.context());
        self.write_down(rep, out);
    }

    fn take_attempt(&mut self) -> Option<Attempt> {
        self.prompt = None;
        match std::mem::replace(&mut self.phase, Phase::between(Show::Ready)) {
            Phase::Playing { attempt, .. } => Some(*attempt),
            other => {
                self.phase = other;
                None
            }
        }
    }

    fn write_down(&mut self, rep: Rep, out: &mut Vec<Output>) {
        self.reps.push(Rep { take: crate::midi::Take::default(), ..rep.clone() });
        out.push(Output::Record(Entry::Rep(rep)));
    }

    fn go_to(&mut self, span_idx: usize, at: Micros, out: &mut Vec<Output>) {
        self.prompt = None;
        if span_idx >= self.spans.len() {
            return self.finish(at, out);
        }
        self.current = span_idx;
        self.phase = Phase::between(Show::Ready);
        out.push(Output::SpanBegan { at, span_idx });
    }

    fn finish(&mut self, at: Micros, out: &mut Vec<Output>) {
        self.phase = Phase::Finished { account: account::lines(&self.reps, &self.spans) };
        out.push(Output::Finished { at });
    }

    fn command(&mut self, command: Command, out: &mut Vec<Output>) {
        if self.is_finished() {
            return;
        }
        let now = self.now;
        match command {
            Command::Pause if matches!(self.phase, Phase::Paused) => self.phase = Phase::between(Show::Ready),
            Command::Pause => {
                self.abandon(out);
                self.phase = Phase::Paused;
            }
            Command::Again => {
                self.abandon(out);
                self.phase = Phase::between(Show::Ready);
            }
            Command::Skip => {
                self.abandon(out);
                self.go_to(self.current + 1, now, out);
            }
            Command::Back => {
                self.abandon(out);
                self.go_to(self.current.saturating_sub(1), now, out);
            }
            Command::Overrule(verdict) => self.overrule(verdict, out),
            Command::MoreReps | Command::FewerReps => self.change_target(command == Command::MoreReps),
            Command::Quit => {
                self.abandon(out);
                self.finish(now, out);
            }
        }
    }

    /// Changes the last verdict given, and what follows from it. During a rep it still means the rep before.
    fn overrule(&mut self, verdict: Verdict, out: &mut Vec<Output>) {
        let Some(span_idx) = self.last_judged else { return };
        let tally = &mut self.tallies[span_idx];
        let (Some(last), Some(&rep)) = (tally.verdicts.last_mut(), tally.numbers.last()) else { return };
        if *last == verdict {
            return;
        }
        *last = verdict;
        if let Some(judged) = self.reps.iter_mut().find(|r| r.number == rep) {
            judged.verdict = verdict;
        }
        out.push(Output::Record(Entry::Overruled { rep, verdict, at: self.now }));
        if span_idx != self.current {
            // The span was left as done, and is not: go back to it, unless a rep is on.
            let in_rep = matches!(self.phase, Phase::Playing { .. });
            let held = { std::mem::replace(&mut self.current, span_idx) };
            let undone = !self.is_reached();
            self.current = held;
            if undone && !in_rep {
                self.go_to(span_idx, self.now, out);
            }
            return;
        }
        if matches!(self.phase, Phase::Between { .. }) && self.span().mode == Mode::Drill {
            let show = if self.is_reached() {
                Show::SpanDone { until: self.now + self.config.span_done }
            } else {
                Show::Done { verdict, words: String::new() }
            };
            self.phase = Phase::between(show);
        }
    }

    /// Changes how many clean reps this span is to have, from 1 to 9.
    fn change_target(&mut self, more: bool) {
        let tally = &mut self.tallies[self.current];
        let target = if more { tally.target.saturating_add(1) } else { tally.target.saturating_sub(1) };
        tally.target = target.clamp(1, 9);
        if let Phase::Between { show, .. } = &mut self.phase {
            let is_reached = tally.n_clean(self.piece.judging.in_a_row) >= tally.target;
            match show {
                Show::SpanDone { .. } if !is_reached => *show = Show::Ready,
                Show::SpanDone { .. } => {}
                _ if is_reached => *show = Show::SpanDone { until: self.now + self.config.span_done },
                _ => {}
            }
        }
    }

    /// Returns what a screen may show now.
    pub fn view(&self) -> View<'_> {
        let span = self.span();
        let tally = &self.tallies[self.current];
        let (bar, look_bar, stage) = match &self.phase {
            Phase::Playing { attempt, .. } => {
                let bar = attempt.onset().map(|o| span.line.onset(o).played_bar);
                let stage = match &self.prompt {
                    Some((rung, text)) => Stage::Prompted { rung: *rung, text },
                    None => Stage::Playing,
                };
                (bar, None, stage)
            }
            Phase::Between { show, .. } => match show {
                Show::Ready => (None, None, Stage::Waiting),
                Show::Done { verdict, words } => (None, None, Stage::RepDone { verdict: *verdict, words }),
                Show::Look { words, bar } => (None, Some(*bar), Stage::Look { words }),
                Show::SpanDone { .. } => (None, None, Stage::SpanDone),
            },
            Phase::Paused => (None, None, Stage::Paused),
            Phase::Finished { account } => (None, None, Stage::Finished { account }),
        };
        View {
            piece: &self.piece.title,
            mode: span.mode,
            span: &span.name,
            span_idx: self.current,
            n_spans: self.spans.len(),
            bars: &span.bars,
            bar,
            look_bar,
            n_clean: tally.n_clean(self.piece.judging.in_a_row),
            target: tally.target,
            verdicts: &tally.verdicts,
            stage,
        }
    }
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
