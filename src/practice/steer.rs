//! Steering: what the player asks for, and going from span to span.

use super::judge::{Fault, Found};
use super::phase::{Phase, Show};
use super::rep::Attempt;
use super::{Command, Engine, Output, account};
use crate::follower::OnsetIdx;
use crate::journal::entry::{Entry, Mode, Rep, RepNumber, Verdict};
use crate::midi::Take;
use crate::time::Micros;

impl Engine {
    pub(super) fn is_reached(&self) -> bool {
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
        if span_idx >= self.spans.len() {
            return self.finish(at, out);
        }
        self.current = span_idx;
        self.phase = Phase::between(Show::Ready);
        out.push(Output::SpanBegan { at, span_idx });
    }

    fn finish(&mut self, at: Micros, out: &mut Vec<Output>) {
        self.phase = Phase::Finished { account: account::lines(&self.reps, &self.spans, &self.remarks) };
        out.push(Output::Finished { at });
    }

    pub(super) fn command(&mut self, command: Command, out: &mut Vec<Output>) {
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
}
