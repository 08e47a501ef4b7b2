//! The engine: commands and played notes in, outputs and the next deadline out.
//!
//! Pure: the same piece, configuration and stamped inputs give the same outputs, so a recorded
//! session replays exactly. It reads no clock and draws nothing; the screen sees a [`View`].
//!
//! A session goes through the sections one by one, each to its count of clean reps, and ends with
//! the whole piece as a run-through. Between reps the player may play anything: a rep begins with
//! the first onset of the span and with nothing else.

mod account;
pub mod by_word;
mod command;
mod config;
mod ear;
mod fading;
pub mod footswitch;
pub mod gesture;
mod glissando;
mod habits;
pub mod hands_free;
mod hear;
mod in_turns;
pub mod joins;
mod judge;
mod ladder;
mod listen;
mod phase;
pub mod quiz;
pub mod reading;
mod rep;
mod run;
pub mod sitting;
mod slip_loop;
mod span;
mod steer;
mod story_line;
mod turn;
pub mod view;
pub mod words;

pub use account::Played;
pub use command::Command;
pub use config::{LadderConfig, PracticeConfig, Rests, Waits};
pub use fading::PastRep;
pub use habits::{Habits, Learned};
pub use in_turns::TurnsConfig;
pub use listen::listen;
pub use reading::Timed;
pub use run::PassMark;
pub use slip_loop::{SlipsConfig, excerpt};
pub use span::Span;
pub use story_line::Story;
pub use view::{Ask, Stage, View};
pub use words::{look_at_the_page, setting as setting_words, stand as stand_words};

use std::sync::Arc;

use crate::follower::{Finding, HeardNote, OnsetIdx};
use crate::journal::entry::{Entry, Rep};
use crate::midi::{MidiEvent, MidiKey};
use crate::piece::{Cue, Piece};
use crate::time::{Micros, Stamped};

use fading::Fading;
use hear::RUN_OVER;
use in_turns::Visit;
use phase::{Phase, Show, Tally};
use rep::Context;
use story_line::Stories;

/// What the engine is told; each comes stamped with the time it happened.
#[derive(Clone, PartialEq, Debug)]
pub enum Input {
    Midi(MidiEvent),
    Command(Command),
    Story(Story),
    /// The instrument went away: the silence from now to its next note is not the player's.
    Gone,
    /// The time given by [`Engine::next_deadline`] has come.
    Deadline,
}

/// What the engine gives back, in order.
#[derive(Clone, PartialEq, Debug)]
#[expect(
    clippy::large_enum_variant,
    reason = "outputs are few and handed on at once: a box would only stand in the way of whoever matches one"
)]
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
    /// The instrument turned out to send strings, whatever their levers or pedals do.
    ByStrings {
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
    /// A line of story was told for a place: it is used from now on, and belongs in the piece's file.
    Story {
        at: Micros,
        cue: Cue,
    },
    /// Something to say in passing about how the practice goes.
    Advised {
        at: Micros,
        words: String,
    },
    /// To be written down before anything else is played. A rep's end is its [`Entry::Rep`].
    Record(Entry),
    /// A question of the quiz is asked, in these words.
    Asked {
        at: Micros,
        words: String,
    },
    /// In the middle of playing, a landmark is called.
    Called {
        at: Micros,
        words: String,
    },
    Finished {
        at: Micros,
    },
}

/// What the loop drives: it is told what happens, says what comes of it, and when it wants to be woken.
///
/// Pure: the same inputs give the same outputs and the same view.
pub trait Machine {
    /// Takes one input in. Deadlines that passed before it are dealt with first, at their own times, so that a late
    /// loop and a replay come to the same outputs. Stamps that go back are taken as of the latest time known.
    fn handle(&mut self, input: Stamped<Input>, out: &mut Vec<Output>);

    /// Returns when [`Input::Deadline`] is to be given next, if nothing happens before.
    fn next_deadline(&self) -> Option<Micros>;

    /// Returns what a screen may show now.
    fn view(&self) -> View<'_>;

    /// Returns what was played up to now, for one account of several machines; none of one that gives its own lines.
    fn played(&self) -> Option<Played> {
        None
    }

    /// Returns the drill that is on, for a built-in player that plays along.
    fn drill(&self) -> Option<&Engine> {
        None
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
    /// What is said of the last run-through or reading take.
    remarks: Vec<String>,
    stories: Stories,
    /// Offered before the span itself: the bars around a place that has just got its line.
    lead_in: Option<Span>,
    /// Names of sections that reached their target earlier today.
    reached_today: Vec<String>,
    visit: Visit,
    /// Pairs of sections, by name.
    look_alikes: Vec<(String, String)>,
    /// The lead-in is the loop around a slip, to be played clean so many times more.
    loop_left: Option<u8>,
    fading: Fading,
}

impl Engine {
    /// Starts a session over `spans` in their order; `None` when there is none.
    pub fn try_new(piece: Arc<Piece>, spans: Vec<Span>, config: PracticeConfig) -> Option<Self> {
        let mut tallies: Vec<Tally> = spans.iter().map(|s| Tally { target: s.target, ..Tally::default() }).collect();
        tallies.iter_mut().take(1).for_each(|first| first.was_offered = true);
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
            remarks: Vec::new(),
            stories: Stories::default(),
            lead_in: None,
            reached_today: Vec::new(),
            visit: Visit::default(),
            look_alikes: Vec::new(),
            loop_left: None,
            fading: Fading::default(),
        })
    }

    /// Takes the names of sections that reached their target earlier today: they can be joined.
    #[must_use]
    pub fn with_reached_today(mut self, sections: Vec<String>) -> Self {
        self.reached_today = sections;
        self
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

    /// Returns what is offered or played: the span, or the lead-in to a place of it.
    pub fn span(&self) -> &Span {
        self.lead_in.as_ref().unwrap_or(&self.spans[self.current])
    }

    fn context(&self) -> Context<'_> {
        Context { piece: &self.piece, span: self.span(), config: &self.config }
    }

    /// Takes the phase apart from what a rep is played against.
    fn split(&mut self) -> (&mut Phase, Context<'_>) {
        let span = self.lead_in.as_ref().unwrap_or(&self.spans[self.current]);
        (&mut self.phase, Context { piece: &self.piece, span, config: &self.config })
    }
}

impl Machine for Engine {
    fn handle(&mut self, input: Stamped<Input>, out: &mut Vec<Output>) {
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
            Input::Story(story) => {
                self.now = self.now.max(input.at);
                self.story(story, out);
            }
            Input::Gone => {
                self.now = self.now.max(input.at);
                if let Phase::Playing { attempt, .. } = &mut self.phase {
                    attempt.instrument_gone();
                }
            }
            Input::Deadline => self.now = self.now.max(input.at),
        }
    }

    fn next_deadline(&self) -> Option<Micros> {
        match &self.phase {
            Phase::Between { show: Show::SpanDone { until } | Show::Turn { until, .. } | Show::Done { rest: Some(until), .. }, .. } => {
                Some(*until)
            }
            Phase::Playing { attempt, .. } => {
                let run_over = (!self.span().is_drill()).then(|| self.last_note.unwrap_or(self.now) + RUN_OVER);
                [attempt.deadline(&self.context()), run_over].into_iter().flatten().min()
            }
            _ => None,
        }
    }

    fn view(&self) -> View<'_> {
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
                Show::Done { verdict, words, .. } => (None, None, Stage::RepDone { verdict: *verdict, words }),
                Show::Look { words, bar } => (None, Some(*bar), Stage::Look { words }),
                Show::Turn { verdict, words, .. } => (None, None, Stage::RepDone { verdict: *verdict, words }),
                Show::SpanDone { .. } => (None, None, Stage::SpanDone),
                Show::Places { places, is_last, .. } => (None, None, Stage::Places { places, is_last: *is_last }),
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
            seams: &span.seams,
            ask: self.stories.ask().filter(|_| matches!(stage, Stage::Look { .. } | Stage::Places { .. })),
            stage,
        }
    }

    fn played(&self) -> Option<Played> {
        Some(self.played_so_far())
    }

    fn drill(&self) -> Option<&Engine> {
        Some(self)
    }
}

impl Machine for Box<dyn Machine> {
    fn handle(&mut self, input: Stamped<Input>, out: &mut Vec<Output>) {
        self.as_mut().handle(input, out);
    }

    fn next_deadline(&self) -> Option<Micros> {
        self.as_ref().next_deadline()
    }

    fn view(&self) -> View<'_> {
        self.as_ref().view()
    }

    fn played(&self) -> Option<Played> {
        self.as_ref().played()
    }

    fn drill(&self) -> Option<&Engine> {
        self.as_ref().drill()
    }
}
