//! Steering without a key: switches, signs, and silence at the end of a section.
//!
//! Pure: everything that happens goes through it on its way to practice. While a run-through is played it asks for nothing,
//! unless the player has set that it may.

use super::footswitch::{Footswitch, FootswitchConfig, Heard as FootHeard, Trigger};
use super::gesture::{GestureConfig, Gestures, Heard as HandHeard};
use super::view::{Quiz, Stage, View};
use super::{Command, Input};
use crate::journal::entry::{Mode, QuestionKind};
use crate::midi::{MidiEvent, MidiKey};
use crate::time::{Micros, Stamped};

/// What may be asked for without a key, and how.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct HandsFreeConfig {
    pub footswitch: FootswitchConfig,
    pub gestures: GestureConfig,
    /// Silence at the end of a section, where places wait for a line of story, until they are left for later: 4 s (a reasoned
    /// default). It counts only for a player who steers without keys. None: they wait.
    pub move_on: Option<Micros>,
    /// While a run-through is played, too.
    pub in_run_through: bool,
}

impl HandsFreeConfig {
    /// Returns every way to steer as the player knows it, with what it does, for the help screen.
    pub fn named(&self) -> Vec<(String, Option<Command>)> {
        let feet = self.footswitch.switches.iter().map(|s| (s.trigger.words(), Some(s.command)));
        let signs = self.gestures.signs.iter().map(|s| (s.name.clone(), Some(s.command)));
        let silence = self.move_on.map(|silence| (tr!("{} s of silence", silence.secs_f64()), None));
        feet.chain(signs).chain(silence).collect()
    }
}

/// What comes of an input, in order.
#[derive(Clone, PartialEq, Debug)]
pub enum Heard {
    /// Practice is to have it.
    Input(Stamped<Input>),
    /// The player asks for something without a key.
    Asked(Stamped<Command>),
}

/// The state of switches, signs and silence.
#[derive(Clone, Debug)]
pub struct HandsFree {
    config: HandsFreeConfig,
    feet: Footswitch,
    gestures: Gestures,
    /// The last thing asked for was asked for without a key.
    is_used: bool,
    last_note: Option<Micros>,
    /// Since when a list of places has stood there.
    list_since: Option<Micros>,
}

impl HandsFree {
    pub fn new(config: HandsFreeConfig) -> Self {
        HandsFree {
            feet: Footswitch::new(config.footswitch.clone()),
            gestures: Gestures::new(config.gestures.clone()),
            config,
            is_used: false,
            last_note: None,
            list_since: None,
        }
    }

    /// Takes what happens; `view` is how practice stands, `is_in_span` says whether a key is one of what is offered or played.
    pub fn input(&mut self, input: Stamped<Input>, view: &View<'_>, is_in_span: impl Fn(MidiKey) -> bool, out: &mut Vec<Heard>) {
        let at = input.at;
        let may_ask = self.config.in_run_through || !is_run_on(view);
        match input.what {
            Input::Midi(event) => {
                if matches!(event, MidiEvent::NoteOn { .. }) {
                    self.last_note = Some(at);
                }
                // A spare key that the music does have is music there.
                let is_music = matches!(Trigger::heard(&event).0, Trigger::Note(key) if is_in_span(key));
                let foot = if is_music { FootHeard::Other } else { self.feet.event(at, &event) };
                if let FootHeard::Press(_, command) = foot
                    && may_ask
                {
                    self.let_be_heard(out);
                    self.ask(at, command, out);
                }
                if matches!(foot, FootHeard::Press(Trigger::Note(_), _) | FootHeard::Quiet(Trigger::Note(_))) {
                    return;
                }
                let may_be_sign = |key| may_ask && !is_chord_due(view) && !is_in_span(key);
                let mut heard = Vec::new();
                self.gestures.event(Stamped { at, what: event }, may_be_sign, &mut heard);
                self.pass_on(at, heard, out);
            }
            Input::Deadline => {
                let mut heard = Vec::new();
                self.gestures.wait(at, &mut heard);
                self.pass_on(at, heard, out);
                if self.moves_on().is_some_and(|due| due <= at) {
                    self.list_since = None;
                    out.push(Heard::Asked(Stamped { at, what: Command::Skip }));
                }
                out.push(Heard::Input(input));
            }
            Input::Command(_) | Input::Story(_) | Input::Gone => {
                self.is_used = false;
                self.let_be_heard(out);
                out.push(Heard::Input(input));
            }
        }
    }

    /// Looks at how practice stands after what it was given.
    pub fn follow(&mut self, at: Micros, view: &View<'_>) {
        let is_list = matches!(view.stage, Stage::Places { .. });
        self.list_since = is_list.then(|| self.list_since.unwrap_or(at));
    }

    /// Returns when an [`Input::Deadline`] is wanted here, if nothing happens before.
    pub fn deadline(&self) -> Option<Micros> {
        [self.gestures.deadline(), self.moves_on()].into_iter().flatten().min()
    }

    fn moves_on(&self) -> Option<Micros> {
        let since = self.list_since.filter(|_| self.is_used)?;
        Some(self.last_note.map_or(since, |last| since.max(last)) + self.config.move_on?)
    }

    fn ask(&mut self, at: Micros, command: Command, out: &mut Vec<Heard>) {
        self.is_used = true;
        // Another place is asked about: it has its own time.
        self.list_since = self.list_since.map(|_| at);
        out.push(Heard::Asked(Stamped { at, what: command }));
    }

    fn let_be_heard(&mut self, out: &mut Vec<Heard>) {
        let mut heard = Vec::new();
        self.gestures.release(&mut heard);
        self.pass_on(Micros::ZERO, heard, out);
    }

    fn pass_on(&mut self, at: Micros, heard: Vec<HandHeard>, out: &mut Vec<Heard>) {
        for heard in heard {
            match heard {
                HandHeard::Played(Stamped { at, what }) => out.push(Heard::Input(Stamped { at, what: Input::Midi(what) })),
                HandHeard::Sign(command) => self.ask(at, command, out),
            }
        }
    }
}

fn is_run_on(view: &View<'_>) -> bool {
    view.mode == Mode::RunThrough && matches!(view.stage, Stage::Playing | Stage::Prompted { .. })
}

/// Tells whether a harmony is asked for, which any octave of it answers.
fn is_chord_due(view: &View<'_>) -> bool {
    matches!(view.stage, Stage::Quiz(Quiz::Asked { kind: QuestionKind::WhatNext, .. } | Quiz::Answering { kind: QuestionKind::WhatNext }))
}

#[cfg(test)]
mod tests {
    use super::super::footswitch::{Pressed, Switch};
    use super::super::gesture::Sign;
    use super::*;
    use crate::midi::{Channel, Velocity};

    fn view(mode: Mode, stage: Stage<'_>) -> View<'_> {
        View {
            piece: "",
            mode,
            span: "",
            span_idx: 0,
            n_spans: 1,
            bars: &[],
            bar: None,
            look_bar: None,
            n_clean: 0,
            target: 3,
            verdicts: &[],
            seams: &[],
            ask: None,
            stage,
        }
    }

    const LOW: i32 = 36;

    fn key(n: i32) -> MidiKey {
        MidiKey::try_new(n).unwrap()
    }

    fn hands(in_run_through: bool) -> HandsFree {
        let switch = |trigger, command| Switch { trigger, pressed: Pressed::From(1), command };
        let switches = vec![switch(Trigger::Controller(67), Command::Skip), switch(Trigger::Note(key(21)), Command::Later)];
        HandsFree::new(HandsFreeConfig {
            footswitch: FootswitchConfig { switches, debounce: Micros::from_millis(250) },
            gestures: GestureConfig {
                signs: vec![Sign { name: String::new(), keys: vec![key(LOW)], command: Command::Again }],
                within: Micros::from_millis(600),
            },
            move_on: Some(Micros(4_000_000)),
            in_run_through,
        })
    }

    fn on(n: i32) -> Input {
        Input::Midi(MidiEvent::NoteOn { channel: Channel(0), key: key(n), velocity: Velocity(64) })
    }

    fn soft_pedal() -> Input {
        Input::Midi(MidiEvent::Control { channel: Channel(0), controller: 67, value: 127 })
    }

    /// Gives inputs at their ms and returns what was asked for, and how many inputs practice had.
    fn asked(hands: &mut HandsFree, inputs: &[(i64, Input)], view: &View<'_>, span: &[i32]) -> (Vec<Command>, usize) {
        let mut out = Vec::new();
        for (ms, what) in inputs {
            let input = Stamped { at: Micros::from_millis(*ms), what: what.clone() };
            hands.input(input, view, |k| span.contains(&i32::from(k.number())), &mut out);
            hands.follow(Micros::from_millis(*ms), view);
        }
        let commands = out.iter().filter_map(|h| if let Heard::Asked(c) = h { Some(c.what) } else { None }).collect();
        (commands, out.iter().filter(|h| matches!(h, Heard::Input(_))).count())
    }

    #[test]
    fn a_run_through_is_left_alone_while_it_is_played_unless_asked() {
        let inputs = [(0, soft_pedal()), (2_000, on(LOW)), (2_300, on(LOW)), (4_000, on(21))];
        let all = vec![Command::Skip, Command::Again, Command::Later];
        for (in_run_through, mode, stage, expected) in [
            // A spare key is no note there either.
            (false, Mode::RunThrough, Stage::Playing, (vec![], 3)),
            (true, Mode::RunThrough, Stage::Playing, (all.clone(), 1)),
            (false, Mode::RunThrough, Stage::Waiting, (all.clone(), 1)),
            (false, Mode::Drill, Stage::Playing, (all.clone(), 1)),
        ] {
            let found = asked(&mut hands(in_run_through), &inputs, &view(mode, stage.clone()), &[]);
            assert_eq!(found, expected, "{mode:?} {stage:?}, in run-throughs: {in_run_through}");
        }
    }

    #[test]
    fn a_note_of_the_span_is_never_a_sign() {
        let inputs = [(0, on(LOW)), (300, on(LOW))];
        assert_eq!(asked(&mut hands(false), &inputs, &view(Mode::Drill, Stage::Waiting), &[LOW, 60]), (vec![], 2));
        // Nor is a spare key a switch where the music has it.
        assert_eq!(asked(&mut hands(false), &[(0, on(21))], &view(Mode::Drill, Stage::Waiting), &[21]), (vec![], 1));
        let chord = Stage::Quiz(Quiz::Asked { kind: QuestionKind::WhatNext, large: "", small: &[], is_told: false });
        assert_eq!(asked(&mut hands(false), &inputs, &view(Mode::Drill, chord), &[]), (vec![], 2));
    }

    #[test]
    fn a_first_stroke_goes_before_what_comes_after_it() {
        let mut hands = hands(false);
        let view = view(Mode::Drill, Stage::Waiting);
        let mut out = Vec::new();
        hands.input(Stamped { at: Micros(0), what: on(LOW) }, &view, |_| false, &mut out);
        assert!(out.is_empty());
        assert_eq!(hands.deadline(), Some(Micros(600_001)));
        hands.input(Stamped { at: Micros(100), what: Input::Command(Command::Pause) }, &view, |_| false, &mut out);
        assert_eq!(out[0], Heard::Input(Stamped { at: Micros(0), what: on(LOW) }));
        assert_eq!(out.len(), 2);
        assert_eq!(hands.deadline(), None);
    }

    #[test]
    fn silence_moves_on_from_a_list_for_whoever_steers_without_keys() {
        let places = ["bar 3".to_owned()];
        let list = view(Mode::Drill, Stage::Places { places: &places, is_last: false });
        let waiting = view(Mode::Drill, Stage::Waiting);
        let deadline = |ms| (ms, Input::Deadline);
        // With keys the list waits.
        let mut by_keys = hands(false);
        asked(&mut by_keys, &[(0, Input::Command(Command::Later))], &list, &[]);
        assert_eq!(by_keys.deadline(), None);
        // Without, four seconds after the list came up, or after the last note.
        let mut hands = hands(false);
        asked(&mut hands, &[(0, soft_pedal())], &waiting, &[]);
        asked(&mut hands, &[(1_000, on(60))], &list, &[]);
        assert_eq!(hands.deadline(), Some(Micros(5_000_000)));
        asked(&mut hands, &[(2_000, on(62))], &list, &[]);
        assert_eq!(hands.deadline(), Some(Micros(6_000_000)));
        assert_eq!(asked(&mut hands, &[deadline(5_000)], &list, &[]), (vec![], 1));
        assert_eq!(asked(&mut hands, &[deadline(6_000)], &list, &[]), (vec![Command::Skip], 1));
        asked(&mut hands, &[deadline(7_000)], &waiting, &[]);
        assert_eq!(hands.deadline(), None);
    }
}
