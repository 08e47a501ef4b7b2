//! The demo's own player: starts each rep after a rest, as a person would, with what is planned for it.

use std::collections::VecDeque;

use crate::journal::entry::{Entry, Mode};
use crate::practice::{Command, Engine, Input, Machine, Output, Span, Stage, Story};
use crate::source::player::{Manner, Planned, perform};
use crate::theory::Hand;
use crate::time::{Micros, ScoreTime, Stamped, Tempo};

/// Before the first rep of a span, and after a clean one.
const REST: Micros = Micros(2_000_000);
/// After a slip: time to read where to look.
const LOOK: Micros = Micros(4_500_000);
/// The silence of the planned hesitation: long enough for the cue to be read.
const FREEZE: Micros = Micros(3_200_000);

/// Plays what the demo shows, rep after rep. Pure: the same session gives the same playing.
pub struct Director {
    seed: u64,
    queue: VecDeque<Stamped<Input>>,
    /// Reps begun in each span.
    n_begun: Vec<usize>,
}

impl Director {
    pub fn new(engine: &Engine, seed: u64) -> Self {
        let mut director = Director { seed, queue: VecDeque::new(), n_begun: vec![0; engine.spans().len()] };
        director.start_rep(engine, REST);
        director
    }

    /// Returns when the next event is to be played.
    pub fn due(&self) -> Option<Micros> {
        self.queue.front().map(|e| e.at)
    }

    /// Takes the next event if it is due by `now`.
    pub fn next(&mut self, now: Micros) -> Option<Stamped<Input>> {
        if self.due()? <= now { self.queue.pop_front() } else { None }
    }

    /// Stops at the end of a rep, whatever ended it; what was still to be played of it is not.
    pub fn see(&mut self, output: &Output) {
        if matches!(output, Output::Record(Entry::Rep(_)) | Output::SpanBegan { .. }) {
            self.queue.clear();
        }
    }

    /// Looks at the screen, as a player does, and begins the next rep after a rest when one is wanted.
    pub fn look(&mut self, engine: &Engine, now: Micros) {
        let view = engine.view();
        let rest = match view.stage {
            Stage::Playing | Stage::Prompted { .. } => return,
            Stage::Paused | Stage::Finished { .. } | Stage::SpanDone => return self.queue.clear(),
            Stage::Unheard | Stage::Mark { .. } | Stage::Quiz(_) => return self.queue.clear(),
            Stage::Look { .. } | Stage::Places { .. } => LOOK,
            Stage::Waiting | Stage::RepDone { .. } | Stage::Rest { .. } => REST,
        };
        if !self.queue.is_empty() {
            return;
        }
        let at = now + rest;
        let has_draft = view.ask.is_some_and(|ask| !ask.drafts.is_empty());
        match view.stage {
            Stage::Look { .. } | Stage::Places { .. } if has_draft => {
                self.queue.push_back(Stamped { at, what: Input::Story(Story::Picked(0)) });
            }
            Stage::Places { is_last: true, .. } | Stage::Rest { .. } => {
                self.queue.push_back(Stamped { at, what: Input::Command(Command::Skip) });
            }
            _ => self.start_rep(engine, at),
        }
    }

    fn start_rep(&mut self, engine: &Engine, at: Micros) {
        let (span_idx, span) = (engine.span_idx(), engine.span());
        // Another part of a session may have more spans.
        if self.n_begun.len() <= span_idx {
            self.n_begun.resize(span_idx + 1, 0);
        }
        let n = self.n_begun[span_idx];
        let is_whole = span.n_onsets() == engine.spans()[span_idx].n_onsets();
        self.n_begun[span_idx] += usize::from(is_whole);
        let tempo = span.line.tempo.unwrap_or(Tempo::USUAL);
        let seed = self.seed.wrapping_add((span_idx * 100 + n) as u64);
        let manner = Manner { planned: if is_whole { planned(span, span_idx, n) } else { Vec::new() }, ..Manner::fluent(tempo, seed) };
        let take = perform(engine.piece().part(), &span.stretch, &manner);
        self.queue = take.events().iter().map(|e| Stamped { at: at + e.at, what: Input::Midi(e.what) }).collect();
    }
}

/// What goes wrong in a rep, so that each thing the program does is seen once: in the first section a hesitation in
/// the second rep and a slip in the third; in the run-through one slip that is played over.
fn planned(span: &Span, span_idx: usize, n: usize) -> Vec<Planned> {
    let bar_start = |bar: usize| span.stretch.bars.get(bar).map_or(ScoreTime::ZERO, |b| b.start);
    match (span.mode, span_idx, n) {
        (Mode::Drill, 0, 1) => vec![Planned::Pause { at: bar_start(2), length: FREEZE }],
        (Mode::Drill, 0, 2) => vec![Planned::Wrong { at: bar_start(1), hand: Hand::Left }],
        (Mode::RunThrough, _, _) => vec![Planned::Wrong { at: bar_start(span.bars.len() / 2), hand: Hand::Right }],
        _ => Vec::new(),
    }
}
