//! Drilling where nothing is heard: the player plays, or imagines, each rep and says how it went.
//!
//! The same spans and counts as in the drill that listens. The program does not know where the player is, so cues are
//! shown on demand, one after the other; a rep that one was asked for in is at best a rep with a cue.

use std::sync::Arc;

use super::config::PracticeConfig;
use super::phase::Tally;
use super::span::Span;
use super::view::{Stage, View};
use super::{Command, Input, Machine, Output, Played};
use crate::follower::OnsetIdx;
use crate::journal::entry::{Entry, Happening, Mode, Rep, RepNumber, Verdict, Witness};
use crate::midi::Take;
use crate::piece::Piece;
use crate::time::{Micros, Stamped};

/// What the player may say of a rep.
const CHOICES: &[(Command, &str)] = &[
    (Command::Overrule(Verdict::Clean), msgid!("clean")),
    (Command::Cue, msgid!("with a cue")),
    (Command::Overrule(Verdict::Broken), msgid!("not clean")),
];

pub struct ByWord {
    piece: Arc<Piece>,
    config: PracticeConfig,
    spans: Vec<Span>,
    tallies: Vec<Tally>,
    current: usize,
    phase: Phase,
    now: Micros,
    /// Cues asked for in this rep, oldest first, and when; as onsets of the span.
    cues: Vec<(Micros, OnsetIdx, String)>,
    reps: Vec<Rep>,
    /// Names of sections that reached their target earlier today.
    reached_today: Vec<String>,
}

enum Phase {
    /// A rep is being played, since then.
    Playing {
        since: Micros,
    },
    /// It is done, and not yet judged.
    Mark {
        since: Micros,
        done: Micros,
    },
    Judged {
        at: Micros,
        verdict: Verdict,
    },
    SpanDone {
        until: Micros,
    },
    Finished {
        account: Vec<String>,
    },
}

impl ByWord {
    /// Starts a session over `spans` in their order; `None` when there is none.
    pub fn try_new(piece: Arc<Piece>, spans: Vec<Span>, config: PracticeConfig) -> Option<Self> {
        let tallies = spans.iter().map(|s| Tally { target: s.target, ..Tally::default() }).collect();
        (!spans.is_empty()).then(|| ByWord {
            piece,
            config,
            spans,
            tallies,
            current: 0,
            phase: Phase::Playing { since: Micros::ZERO },
            now: Micros::ZERO,
            cues: Vec::new(),
            reps: Vec::new(),
            reached_today: Vec::new(),
        })
    }

    /// Takes the names of sections that reached their target earlier today: they can be joined.
    #[must_use]
    pub fn with_reached_today(mut self, sections: Vec<String>) -> Self {
        self.reached_today = sections;
        self
    }

    fn span(&self) -> &Span {
        &self.spans[self.current]
    }

    fn is_reached(&self, span_idx: usize) -> bool {
        let tally = &self.tallies[span_idx];
        tally.n_clean(self.piece.judging.in_a_row) >= tally.target
    }

    /// Tells whether a span can be played now: a join once its sections have reached their target, in this session or earlier today.
    fn is_open(&self, span_idx: usize) -> bool {
        let is_section_reached = |name: &str| {
            let here = self.spans.iter().position(|s| s.is_drill() && s.joined.is_empty() && s.name == name);
            here.is_some_and(|i| self.is_reached(i)) || self.reached_today.iter().any(|s| s == name)
        };
        self.spans[span_idx].joined.clone().all(|section| self.piece.sections.get(section).is_some_and(|s| is_section_reached(&s.name)))
    }

    /// Goes to the next span that can be played now, or ends.
    fn move_on(&mut self, at: Micros, out: &mut Vec<Output>) {
        let next = (self.current + 1..self.spans.len()).find(|i| self.is_open(*i));
        self.go_to(next.unwrap_or(self.spans.len()), at, out);
    }

    fn go_to(&mut self, span_idx: usize, at: Micros, out: &mut Vec<Output>) {
        self.cues.clear();
        if span_idx >= self.spans.len() {
            return self.finish(at, out);
        }
        self.current = span_idx;
        self.phase = Phase::Playing { since: at };
        out.push(Output::SpanBegan { at, span_idx });
    }

    fn finish(&mut self, at: Micros, out: &mut Vec<Output>) {
        self.phase = Phase::Finished { account: self.played_so_far().lines() };
        out.push(Output::Finished { at });
    }

    fn played_so_far(&self) -> Played {
        // Of a run that nobody heard there is no more to say than the player said.
        let runs = self.spans.iter().filter(|s| s.mode == Mode::RunThrough);
        let last = |run: &Span| {
            self.reps.iter().rfind(|r| r.span == run.name).map(|r| tr!("{name}: {verdict}", name = run.shown, verdict = r.verdict.words()))
        };
        let remarks = runs.filter_map(last).collect();
        let piece = Some(Arc::clone(&self.piece));
        Played { piece, reps: self.reps.clone(), spans: self.spans.clone(), remarks, open: Vec::new() }
    }

    /// Shows the cue after the last one shown.
    fn next_cue(&mut self, out: &mut Vec<Output>) {
        let Phase::Playing { .. } = self.phase else { return };
        let from = self.cues.last().map_or(0, |(_, onset, _)| onset.0 + 1);
        let span = self.span();
        let cue = (from..span.n_onsets()).find_map(|o| Some((OnsetIdx(o), span.cue_at(OnsetIdx(o), &self.piece)?)));
        let Some((onset, text)) = cue.map(|(onset, cue)| (onset, cue.text.clone())) else { return };
        self.cues.push((self.now, onset, text.clone()));
        out.push(Output::Prompted { at: self.now, rung: 1, onset, text });
    }

    fn judge(&mut self, verdict: Verdict, out: &mut Vec<Output>) {
        let Phase::Mark { since, done } = self.phase else { return self.overrule(verdict, out) };
        // A cue was seen: as from memory it was not clean.
        let verdict = if verdict == Verdict::Clean && !self.cues.is_empty() { Verdict::Prompted } else { verdict };
        let number = RepNumber(u32::try_from(self.reps.len()).unwrap_or(u32::MAX));
        let span = self.span();
        let happenings = self.cues.iter().map(|(at, onset, _)| Happening {
            at: *at,
            kind: super::judge::Fault::Prompt(1).word(),
            place: span.place(*onset).text(&self.piece.score),
            hand: None,
            setting: None,
        });
        let rep = Rep {
            number,
            mode: span.mode,
            span: span.name.clone(),
            bars: span.ends(&self.piece.score),
            started: since,
            ended: done,
            verdict,
            witness: Witness::Told,
            reason: None,
            happenings: happenings.collect(),
            n_notes_due: 0,
            n_notes_right: 0,
            tempo: None,
            run: None,
            take: Take::default(),
        };
        let is_run = span.mode == Mode::RunThrough;
        self.reps.push(rep.clone());
        out.push(Output::Record(Entry::Rep(rep)));
        let tally = &mut self.tallies[self.current];
        tally.verdicts.push(verdict);
        tally.numbers.push(number);
        self.cues.clear();
        self.settle(verdict, is_run);
    }

    fn settle(&mut self, verdict: Verdict, is_run: bool) {
        self.phase = if is_run || self.is_reached(self.current) {
            Phase::SpanDone { until: self.now + self.config.span_done }
        } else {
            Phase::Judged { at: self.now, verdict }
        };
    }

    /// Changes the last verdict while it stands on the screen.
    fn overrule(&mut self, verdict: Verdict, out: &mut Vec<Output>) {
        if !matches!(self.phase, Phase::Judged { .. } | Phase::SpanDone { .. }) {
            return;
        }
        let is_run = self.span().mode == Mode::RunThrough;
        let Some(rep) = self.tallies[self.current].overrule(verdict, &mut self.reps) else { return };
        out.push(Output::Record(Entry::Overruled { rep, verdict, at: self.now }));
        self.settle(verdict, is_run);
    }

    fn command(&mut self, command: Command, out: &mut Vec<Output>) {
        let now = self.now;
        match (command, &self.phase) {
            (_, Phase::Finished { .. }) => {}
            (Command::Pause, Phase::Playing { since }) => self.phase = Phase::Mark { since: *since, done: now },
            (Command::Pause, Phase::Judged { at, .. }) => self.phase = Phase::Mark { since: *at, done: now },
            (Command::Pause, Phase::SpanDone { .. }) => self.move_on(now, out),
            (Command::Again, _) => {
                self.cues.clear();
                self.phase = Phase::Playing { since: now };
            }
            (Command::Start, Phase::SpanDone { .. }) => self.go_to(self.current + 1, now, out),
            (Command::Start, Phase::Judged { at, .. }) => self.phase = Phase::Playing { since: *at },
            (Command::Start | Command::Pause, _) => {}
            (Command::Cue, Phase::Mark { .. }) => self.judge(Verdict::Prompted, out),
            (Command::Cue, Phase::Judged { at, .. }) => {
                self.phase = Phase::Playing { since: *at };
                self.next_cue(out);
            }
            (Command::Cue, _) => self.next_cue(out),
            (Command::Overrule(verdict), _) => self.judge(verdict, out),
            (Command::Skip, _) => self.move_on(now, out),
            (Command::Back, _) => {
                let before = (0..self.current).rev().find(|i| self.is_open(*i));
                self.go_to(before.unwrap_or(self.current), now, out);
            }
            (Command::MoreReps | Command::FewerReps, _) => {
                let tally = &mut self.tallies[self.current];
                let target = if command == Command::MoreReps { tally.target.saturating_add(1) } else { tally.target.saturating_sub(1) };
                tally.target = target.clamp(1, 9);
                if let Phase::Judged { verdict, .. } = self.phase {
                    self.settle(verdict, false);
                }
            }
            // Lines of story are for places that were heard to fail.
            (Command::Later | Command::NoLine, _) => {}
            (Command::Quit, _) => self.finish(now, out),
        }
    }
}

impl Machine for ByWord {
    fn handle(&mut self, input: Stamped<Input>, out: &mut Vec<Output>) {
        let is_timer = matches!(input.what, Input::Deadline);
        while let Some(due) = self.next_deadline().filter(|d| *d < input.at || (is_timer && *d <= input.at)) {
            self.now = self.now.max(due);
            self.move_on(due, out);
        }
        self.now = self.now.max(input.at);
        if let Input::Command(command) = input.what {
            self.command(command, out);
        }
    }

    fn next_deadline(&self) -> Option<Micros> {
        match self.phase {
            Phase::SpanDone { until } => Some(until),
            _ => None,
        }
    }

    fn played(&self) -> Option<Played> {
        Some(self.played_so_far())
    }

    fn view(&self) -> View<'_> {
        let (span, tally) = (self.span(), &self.tallies[self.current]);
        let cue = self.cues.last();
        let stage = match &self.phase {
            Phase::Playing { .. } => match cue {
                Some((_, _, text)) => Stage::Prompted { rung: 1, text },
                None => Stage::Unheard,
            },
            Phase::Mark { .. } => Stage::Mark { question: msgid!("how did it go?"), choices: CHOICES },
            Phase::Judged { verdict, .. } => Stage::RepDone { verdict: *verdict, words: "" },
            Phase::SpanDone { .. } => Stage::SpanDone,
            Phase::Finished { account } => Stage::Finished { account },
        };
        View {
            piece: &self.piece.title,
            mode: span.mode,
            span: &span.shown,
            span_idx: self.current,
            n_spans: self.spans.len(),
            bars: &span.bars,
            bar: cue.filter(|_| matches!(stage, Stage::Prompted { .. })).map(|(_, onset, _)| span.line.onset(*onset).played_bar),
            look_bar: None,
            n_clean: tally.n_clean(self.piece.judging.in_a_row),
            target: tally.target,
            verdicts: &tally.verdicts,
            seams: &span.seams,
            ask: None,
            stage,
        }
    }
}
