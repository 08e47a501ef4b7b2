//! A session of so many minutes: its parts one after another, a rest in new work, and the run-through at the end in its own time.
//!
//! Each section a few times over, and the last time the whole piece as a performance: common practice. A part whose time is over
//! ends with the rep that is on, and with no rep in the last moment that the run-through can begin.

use std::collections::VecDeque;

use super::config::Rests;
use super::span::Span;
use super::view::{Quiz, Stage, View};
use super::{Command, Engine, Input, Machine, Output, Played};
use crate::journal::entry::{Entry, RepNumber};
use crate::midi::MidiEvent;
use crate::time::{Micros, Stamped, Tempo};

/// So much after the moment for a rest, any rep's end is one.
const REST_AT_LAST: Micros = Micros(2 * 60_000_000);
/// The run-through is given its length by the page and so much more, for the way there and a lapse.
const ROOM_FOR_LAPSES: f64 = 1.2;
const SETTLE: Micros = Micros(20_000_000);

/// One part of a session.
pub struct Part {
    machine: Box<dyn Machine>,
    window: Option<Window>,
    /// Rests are offered in it.
    is_new_work: bool,
}

/// When a part is over.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Window {
    /// No rep begins after this.
    pub ends: Micros,
    /// The rep that is on is broken off.
    pub at_last: Micros,
}

impl Part {
    /// A part that goes on until it has come to its own end.
    pub fn whole(machine: impl Machine + 'static) -> Part {
        Part { machine: Box::new(machine), window: None, is_new_work: false }
    }

    /// A part that comes to its own end, or to that of its window.
    pub fn until(machine: impl Machine + 'static, window: Window) -> Part {
        Part { window: Some(window), ..Part::whole(machine) }
    }

    /// Sections and joins.
    pub fn work(machine: impl Machine + 'static, window: Window) -> Part {
        Part { is_new_work: true, ..Part::until(machine, window) }
    }
}

/// When what is due in a session of some minutes, counted from its beginning.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Times {
    pub work: Window,
    /// What stands between work and run-through; as long as `work` goes over its time, it is shorter.
    pub other: Window,
}

impl Times {
    /// Shares out a session; `run` is the whole piece as it will be run through, `other` the length of what comes before it.
    /// A session shorter than its run-through is a run-through alone.
    pub fn of(length: Micros, run: &Span, other: Micros) -> Times {
        let quarters_a_minute = run.line.tempo.unwrap_or(Tempo::USUAL).quarters_per_minute();
        let by_the_page = run.line.total.to_f64() * 60.0 / quarters_a_minute;
        let (bare, roomy) = (Micros::from_secs_f64(by_the_page), Micros::from_secs_f64(by_the_page * ROOM_FOR_LAPSES));
        let before = |kept: Micros| Micros((length - kept).0.max(0));
        let window = |other: Micros| Window { ends: before(roomy + SETTLE + other), at_last: before(bare + other) };
        Times { work: window(other), other: window(Micros::ZERO) }
    }
}

/// The state of a session; see the module.
pub struct Sitting {
    part: Part,
    to_come: VecDeque<Part>,
    now: Micros,
    began: Micros,
    rests: Rests,
    /// No rest was taken in this part yet.
    is_fresh: bool,
    resting_until: Option<Micros>,
    /// A rep has ended with what is being taken in.
    has_just_ended: bool,
    played: Played,
    /// What the parts that are no drill say of themselves.
    said: Vec<String>,
    n_reps: u32,
    n_answers: u32,
    /// Of the parts before this one.
    n_reps_before: u32,
    n_answers_before: u32,
    account: Option<Vec<String>>,
}

impl Sitting {
    /// Begins with the first part; `None` when there is none.
    pub fn try_new(parts: Vec<Part>, rests: Rests) -> Option<Sitting> {
        let mut to_come = VecDeque::from(parts);
        let part = to_come.pop_front()?;
        Some(Sitting {
            part,
            to_come,
            now: Micros::ZERO,
            began: Micros::ZERO,
            rests,
            is_fresh: true,
            resting_until: None,
            has_just_ended: false,
            played: Played::default(),
            said: Vec::new(),
            n_reps: 0,
            n_answers: 0,
            n_reps_before: 0,
            n_answers_before: 0,
            account: None,
        })
    }

    /// Tells whether a rep, or an answer, is on. Where nothing is heard the next rep may be on as soon as the last one is judged, and
    /// one that waits for its mark is not over.
    fn is_playing(&self) -> bool {
        let answering = |quiz: &Quiz| matches!(quiz, Quiz::Asked { .. } | Quiz::Answering { .. } | Quiz::Called { .. } | Quiz::Mark { .. });
        match self.part.machine.view().stage {
            Stage::Playing | Stage::Prompted { .. } | Stage::Unheard | Stage::Mark { .. } => true,
            Stage::RepDone { .. } => self.is_told() && !self.has_just_ended,
            Stage::Quiz(quiz) => answering(&quiz),
            _ => false,
        }
    }

    /// Tells whether the part on goes by the player's word alone.
    fn is_told(&self) -> bool {
        self.part.machine.drill().is_none()
    }

    fn end_rest(&mut self, out: &mut Vec<Output>) {
        self.resting_until = None;
        self.begin_unheard(out);
    }

    /// What nobody hears begins now: a rest, or another part, was no part of it.
    fn begin_unheard(&mut self, out: &mut Vec<Output>) {
        if self.is_told() {
            self.pass_on(Stamped { at: self.now, what: Input::Command(Command::Again) }, out);
        }
    }

    fn own_deadline(&self) -> Option<Micros> {
        if self.account.is_some() {
            return None;
        }
        let ends = self.part.window.map(|w| if w.ends > self.now { w.ends } else { w.at_last });
        [self.resting_until, ends].into_iter().flatten().min()
    }

    /// A time of its own has come.
    fn timer(&mut self, due: Micros, out: &mut Vec<Output>) {
        self.now = self.now.max(due);
        if self.resting_until.is_some_and(|until| until <= due) {
            self.end_rest(out);
        }
        self.watch_time(out);
    }

    /// Ends the part when its time is over and no rep is on, or when there is no more time for it.
    fn watch_time(&mut self, out: &mut Vec<Output>) {
        while self.account.is_none()
            && let Some(Window { ends, at_last }) = self.part.window
            && (self.now >= at_last || (self.now >= ends && !self.is_playing()))
        {
            self.resting_until = None;
            self.pass_on(Stamped { at: self.now, what: Input::Command(Command::Quit) }, out);
            self.next_part(out);
        }
        if self.account.is_none() && matches!(self.part.machine.view().stage, Stage::Finished { .. }) {
            self.next_part(out);
        }
    }

    /// Gives an input to the part that is on, and counts what comes of it as the session's.
    fn pass_on(&mut self, input: Stamped<Input>, out: &mut Vec<Output>) {
        let mut heard = Vec::new();
        self.part.machine.handle(input, &mut heard);
        for mut output in heard {
            match &mut output {
                Output::Record(Entry::Rep(rep)) => {
                    rep.number = RepNumber(rep.number.0 + self.n_reps_before);
                    self.n_reps += 1;
                }
                Output::Record(Entry::Overruled { rep, .. }) => *rep = RepNumber(rep.0 + self.n_reps_before),
                Output::Record(Entry::Answer(answer)) => {
                    answer.number += self.n_answers_before;
                    self.n_answers += 1;
                }
                Output::Record(Entry::AnswerOverruled { answer, .. }) => *answer += self.n_answers_before,
                Output::Finished { .. } => continue,
                _ => {}
            }
            let between_spans = matches!(output, Output::SpanBegan { .. });
            let after_rep = matches!(output, Output::Record(Entry::Rep(_)));
            self.has_just_ended |= after_rep;
            out.push(output);
            self.maybe_rest(between_spans, after_rep);
        }
    }

    /// After the first minutes of new work, the next change of section is a good moment for a rest; a while later any rep's end is.
    fn maybe_rest(&mut self, between_spans: bool, after_rep: bool) {
        let (rests, worked) = (self.rests, self.now - self.began);
        // As long as the rest is left for work after it.
        let is_moment = (between_spans && worked >= rests.work) || (after_rep && worked >= rests.work + REST_AT_LAST);
        let has_room = self.part.window.is_some_and(|w| self.now + rests.length + rests.length <= w.ends);
        if is_moment && has_room && self.part.is_new_work && self.is_fresh {
            self.is_fresh = false;
            self.resting_until = Some(self.now + rests.length);
        }
    }

    fn take_stock(&mut self) {
        match self.part.machine.played() {
            Some(played) => self.played.add(played),
            None => {
                if let Stage::Finished { account } = self.part.machine.view().stage {
                    self.said.extend_from_slice(account);
                }
            }
        }
    }

    fn next_part(&mut self, out: &mut Vec<Output>) {
        self.take_stock();
        match self.to_come.pop_front() {
            Some(part) => {
                self.part = part;
                (self.n_reps_before, self.n_answers_before) = (self.n_reps, self.n_answers);
                self.began = self.now;
                self.is_fresh = true;
                out.push(Output::SpanBegan { at: self.now, span_idx: 0 });
                self.begin_unheard(out);
            }
            None => self.finish(out),
        }
    }

    fn finish(&mut self, out: &mut Vec<Output>) {
        let mut account = self.played.lines();
        account.append(&mut self.said);
        self.account = Some(account);
        out.push(Output::Finished { at: self.now });
    }

    /// Tells whether an input ends a rest; a note that does is the first of what follows.
    fn ends_rest(input: &Input) -> bool {
        matches!(input, Input::Midi(MidiEvent::NoteOn { .. }) | Input::Command(_))
    }
}

impl Machine for Sitting {
    fn handle(&mut self, input: Stamped<Input>, out: &mut Vec<Output>) {
        let is_timer = matches!(input.what, Input::Deadline);
        let is_due = |due: &Micros| *due < input.at || (is_timer && *due <= input.at);
        self.has_just_ended = false;
        while let Some(due) = self.next_deadline().filter(is_due) {
            if self.own_deadline() == Some(due) {
                self.timer(due, out);
            } else {
                self.now = self.now.max(due);
                self.pass_on(Stamped { at: due, what: Input::Deadline }, out);
                self.watch_time(out);
            }
        }
        self.now = self.now.max(input.at);
        if self.account.is_some() {
            return;
        }
        if self.resting_until.is_some() && Sitting::ends_rest(&input.what) {
            self.end_rest(out);
            if matches!(input.what, Input::Command(command) if command != Command::Quit) {
                return;
            }
        }
        let is_quit = input.what == Input::Command(Command::Quit);
        if !is_timer {
            self.pass_on(input, out);
        }
        if is_quit {
            self.take_stock();
            return self.finish(out);
        }
        self.watch_time(out);
    }

    fn next_deadline(&self) -> Option<Micros> {
        let of_part = self.part.machine.next_deadline().filter(|_| self.account.is_none());
        [of_part, self.own_deadline()].into_iter().flatten().min()
    }

    fn view(&self) -> View<'_> {
        let view = self.part.machine.view();
        match &self.account {
            Some(account) => View { stage: Stage::Finished { account }, ask: None, ..view },
            None if self.resting_until.is_some() => {
                View { stage: Stage::Rest { length: self.rests.length }, ask: None, bar: None, look_bar: None, ..view }
            }
            None => view,
        }
    }

    fn played(&self) -> Option<Played> {
        self.part.machine.played()
    }

    fn drill(&self) -> Option<&Engine> {
        self.part.machine.drill()
    }
}
