//! Steering: what the player asks for, and going from span to span.

use std::sync::Arc;

use super::judge::{Fault, Found};
use super::phase::{Phase, Show};
use super::rep::Attempt;
use super::{Command, Engine, Output, Played};
use crate::follower::OnsetIdx;
use crate::journal::entry::{Entry, Mode, Rep, RepNumber, Verdict};
use crate::midi::Take;
use crate::time::Micros;

impl Engine {
    pub(super) fn is_reached(&self) -> bool {
        self.is_span_reached(self.current)
    }

    pub(super) fn is_span_reached(&self, span_idx: usize) -> bool {
        let tally = &self.tallies[span_idx];
        tally.n_clean(self.piece.judging.in_a_row) >= tally.target
    }

    /// Tells whether a section of the piece has reached its target: in this session, or earlier today.
    fn is_section_reached(&self, section: usize) -> bool {
        let name = self.piece.sections.get(section).map(|s| s.name.as_str());
        let here = self.spans.iter().position(|s| s.is_drill() && s.joined.is_empty() && Some(s.name.as_str()) == name);
        here.is_some_and(|i| self.is_span_reached(i)) || self.reached_today.iter().any(|s| Some(s.as_str()) == name)
    }

    /// Ends a rep that the player leaves: it is written down, and counts for nothing.
    fn abandon(&mut self, out: &mut Vec<Output>) {
        let now = self.now;
        let Some(mut attempt) = self.take_attempt() else { return };
        let onset = attempt.onset().unwrap_or(OnsetIdx(0));
        attempt.judge.breaks(Found { at: now, fault: Fault::Abandoned, onset, hand: None });
        let number = RepNumber(self.n_reps);
        self.n_reps += 1;
        let (rep, _) = self.end_attempt(attempt, number, now);
        self.write_down(rep, out);
    }

    pub(super) fn take_attempt(&mut self) -> Option<Attempt> {
        self.prompt = None;
        match std::mem::replace(&mut self.phase, Phase::between(Show::Ready)) {
            Phase::Playing { attempt, .. } => Some(*attempt),
            other => {
                self.phase = other;
                None
            }
        }
    }

    pub(super) fn write_down(&mut self, rep: Rep, out: &mut Vec<Output>) {
        self.reps.push(Rep { take: Take::default(), ..rep.clone() });
        out.push(Output::Record(Entry::Rep(rep)));
    }

    pub(super) fn go_to(&mut self, span_idx: usize, at: Micros, out: &mut Vec<Output>) {
        self.prompt = None;
        self.lead_in = None;
        self.stories.ask_nothing();
        if span_idx >= self.spans.len() {
            return self.finish(at, out);
        }
        self.arrive(span_idx, at);
        self.phase = Phase::between(Show::Ready);
        out.push(Output::SpanBegan { at, span_idx });
    }

    /// Goes on from a span that is done: the next one is offered, behind the list of places that wait for a line of story.
    pub(super) fn move_on(&mut self, at: Micros, out: &mut Vec<Output>) {
        let of = self.current;
        self.lead_in = None;
        let next = self.next_after(of, at);
        let is_last = next.is_none();
        next.into_iter().for_each(|next| self.pay(next, at));
        if self.spans[of].is_drill() {
            let before = std::mem::replace(&mut self.phase, Phase::between(Show::Places { of, places: Vec::new(), is_last }));
            if self.show_places() {
                if let Some(next) = next {
                    self.arrive(next, at);
                    out.push(Output::SpanBegan { at, span_idx: next });
                }
                return;
            }
            self.phase = before;
        }
        self.go_to(next.unwrap_or(self.spans.len()), at, out);
    }

    /// Returns the next span after `span_idx` that can be played now.
    pub(super) fn next_open(&self, span_idx: usize) -> Option<usize> {
        (span_idx + 1..self.spans.len()).find(|i| self.is_open(*i))
    }

    /// A join is open once the sections in it have reached their target today; everything else always is.
    pub(super) fn is_open(&self, span_idx: usize) -> bool {
        self.spans[span_idx].joined.clone().all(|section| self.is_section_reached(section))
    }

    pub(super) fn finish(&mut self, at: Micros, out: &mut Vec<Output>) {
        self.phase = Phase::Finished { account: self.played_so_far().lines() };
        out.push(Output::Finished { at });
    }

    /// Returns what was played up to now.
    pub(super) fn played_so_far(&self) -> Played {
        Played {
            piece: Some(Arc::clone(&self.piece)),
            reps: self.reps.clone(),
            spans: self.spans.clone(),
            remarks: self.remarks.clone(),
            open: self.stories.open_words().map(str::to_owned).collect(),
        }
    }

    pub(super) fn command(&mut self, command: Command, out: &mut Vec<Output>) {
        if self.is_finished() {
            return;
        }
        let now = self.now;
        match command {
            Command::Pause | Command::Start if matches!(self.phase, Phase::Paused) => self.phase = Phase::between(Show::Ready),
            Command::Skip | Command::Again | Command::Start if matches!(self.phase, Phase::Between { show: Show::Places { .. }, .. }) => {
                self.leave_places(out)
            }
            Command::Later => self.later(),
            Command::NoLine => self.no_line(out),
            Command::Pause => {
                self.abandon(out);
                self.stories.ask_nothing();
                self.phase = Phase::Paused;
            }
            Command::Again => {
                self.abandon(out);
                self.lead_in = None;
                self.stories.ask_nothing();
                self.phase = Phase::between(Show::Ready);
            }
            Command::Skip => {
                self.abandon(out);
                self.go_to(self.next_open(self.current).unwrap_or(self.spans.len()), now, out);
            }
            Command::Back => {
                self.abandon(out);
                let before = (0..self.current).rev().find(|i| self.is_open(*i));
                self.go_to(before.unwrap_or(self.current), now, out);
            }
            Command::Overrule(verdict) => self.overrule(verdict, out),
            Command::MoreReps | Command::FewerReps => self.change_target(command == Command::MoreReps),
            // A rep begins with its first note, whoever waits for it.
            Command::Start => {}
            // What is heard asks for its cue by falling silent.
            Command::Cue => {}
            Command::Quit => {
                self.abandon(out);
                self.finish(now, out);
            }
        }
    }

    /// Changes the last verdict given, and what follows from it. During a rep it still means the rep before.
    fn overrule(&mut self, verdict: Verdict, out: &mut Vec<Output>) {
        let Some(span_idx) = self.last_judged else { return };
        let Some(rep) = self.tallies[span_idx].overrule(verdict, &mut self.reps) else { return };
        out.push(Output::Record(Entry::Overruled { rep, verdict, at: self.now }));
        if span_idx != self.current {
            // The span was left as done, and is not: go back to it, unless a rep is on.
            let in_rep = matches!(self.phase, Phase::Playing { .. });
            let undone = !self.is_span_reached(span_idx);
            if undone && !in_rep {
                self.go_to(span_idx, self.now, out);
            }
            return;
        }
        if matches!(self.phase, Phase::Between { .. }) && self.span().mode == Mode::Drill {
            let show = if self.is_reached() {
                Show::SpanDone { until: self.now + self.config.span_done }
            } else {
                Show::Done { verdict, words: String::new(), rest: self.config.rest.map(|rest| self.now + rest) }
            };
            self.lead_in = None;
            self.stories.ask_nothing();
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
                Show::SpanDone { .. } | Show::Places { .. } => {}
                _ if is_reached => *show = Show::SpanDone { until: self.now + self.config.span_done },
                _ => {}
            }
        }
    }
}
