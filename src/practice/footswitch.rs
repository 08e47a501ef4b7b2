//! A foot pedal, a button or a spare key as a switch: one command for each time it is pressed.
//!
//! Pure: told every event with its time. Controllers 64 damper, 66 sostenuto and 67 soft pedal are switches: values of 64 and
//! above mean "on", below "off" (MIDI 1.0, table of controllers). A press is the change from off to on. Contacts bounce, when
//! pressed and when let go, and pedals that send half values waver around the middle: a change that comes too soon after the one
//! before it is not a press. What a switch that is not like that sends is found out by [`learn`].

pub mod learn;

use super::Command;
use crate::midi::{MidiEvent, MidiKey};
use crate::time::Micros;

/// What the switches do.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FootswitchConfig {
    /// Each trigger once.
    pub switches: Vec<Switch>,
    /// Changes closer together than this are bounces.
    pub debounce: Micros,
}

/// One switch and what a press of it asks for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Switch {
    pub trigger: Trigger,
    pub pressed: Pressed,
    pub command: Command,
}

/// What a switch sends.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Trigger {
    /// The number of a controller, `0..120`.
    Controller(u8),
    /// A key that is no part of the music; it sends its velocity, and 0 when it is let go.
    Note(MidiKey),
}

/// Which of its values mean that a switch is pressed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Pressed {
    /// This value and all above it.
    From(u8),
    /// This value and all below it: the pedal sends "on" when it is let go.
    UpTo(u8),
    /// Any: it sends only when it is pressed, or changes its value with every press.
    Each,
}

impl Pressed {
    /// "On" as MIDI 1.0 has it.
    pub const ON: Pressed = Pressed::From(64);
    pub const REVERSED: Pressed = Pressed::UpTo(63);

    fn is(self, value: u8) -> bool {
        match self {
            Pressed::From(least) => value >= least,
            Pressed::UpTo(most) => value <= most,
            Pressed::Each => true,
        }
    }
}

impl Trigger {
    /// Returns what an event says of a trigger: which one, and its value.
    pub fn heard(event: &MidiEvent) -> (Trigger, u8) {
        match *event {
            MidiEvent::Control { controller, value, .. } => (Trigger::Controller(controller), value),
            MidiEvent::NoteOn { key, velocity, .. } => (Trigger::Note(key), velocity.0),
            MidiEvent::NoteOff { key, .. } => (Trigger::Note(key), 0),
        }
    }

    /// Returns how a player may know it.
    pub fn words(self) -> String {
        match self {
            Trigger::Controller(64) => tr!("damper pedal"),
            Trigger::Controller(66) => tr!("sostenuto pedal"),
            Trigger::Controller(67) => tr!("soft pedal"),
            Trigger::Controller(other) => tr!("controller {}", other),
            Trigger::Note(key) => tr!("key {}", key.number()),
        }
    }
}

/// The switches of one instrument, each up until heard of.
#[derive(Clone, Debug)]
pub struct Footswitch {
    config: FootswitchConfig,
    /// Of each switch: is it pressed, and when did that last change.
    states: Vec<State>,
}

#[derive(Clone, Copy, Debug, Default)]
struct State {
    is_down: bool,
    changed: Option<Micros>,
}

/// What an event was to the switches.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Heard {
    /// None of theirs.
    Other,
    /// Of a switch, and no press: it was let go, or bounced.
    Quiet(Trigger),
    Press(Trigger, Command),
}

impl Footswitch {
    pub fn new(config: FootswitchConfig) -> Self {
        let states = vec![State::default(); config.switches.len()];
        Footswitch { config, states }
    }

    /// Takes one event and says what it was.
    ///
    /// ```
    /// # use catchword::midi::{Channel, MidiEvent};
    /// # use catchword::practice::{Command, footswitch::*};
    /// # use catchword::time::Micros;
    /// let soft = Switch { trigger: Trigger::Controller(67), pressed: Pressed::ON, command: Command::Skip };
    /// let mut feet = Footswitch::new(FootswitchConfig { switches: vec![soft], debounce: Micros::from_millis(250) });
    /// let soft = |value| MidiEvent::Control { channel: Channel(0), controller: 67, value };
    /// assert_eq!(feet.event(Micros(0), &soft(127)), Heard::Press(Trigger::Controller(67), Command::Skip));
    /// assert_eq!(feet.event(Micros::from_millis(90), &soft(0)), Heard::Quiet(Trigger::Controller(67)));
    /// ```
    pub fn event(&mut self, at: Micros, event: &MidiEvent) -> Heard {
        let (trigger, value) = Trigger::heard(event);
        let Some(idx) = self.config.switches.iter().position(|s| s.trigger == trigger) else { return Heard::Other };
        let (switch, state) = (&self.config.switches[idx], &mut self.states[idx]);
        let is_down = switch.pressed.is(value);
        let is_news = is_down != state.is_down || switch.pressed == Pressed::Each;
        if !is_news {
            return Heard::Quiet(trigger);
        }
        // A stamp that goes back counts as no time gone.
        let is_bounce = state.changed.is_some_and(|before| at - before < self.config.debounce);
        *state = State { is_down, changed: Some(state.changed.map_or(at, |before| before.max(at))) };
        if is_down && !is_bounce { Heard::Press(trigger, switch.command) } else { Heard::Quiet(trigger) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::{Channel, Velocity};

    fn presses_of(switches: Vec<Switch>, events: &[(i64, MidiEvent)]) -> Vec<(i64, Command)> {
        let mut feet = Footswitch::new(FootswitchConfig { switches, debounce: Micros::from_millis(250) });
        let press = |(ms, event): &(i64, MidiEvent)| match feet.event(Micros::from_millis(*ms), event) {
            Heard::Press(_, command) => Some((*ms, command)),
            _ => None,
        };
        events.iter().filter_map(press).collect()
    }

    fn presses(pressed: Pressed, messages: &[(i64, u8, u8)]) -> Vec<(i64, Command)> {
        let switch = |controller, command| Switch { trigger: Trigger::Controller(controller), pressed, command };
        let events: Vec<_> = messages
            .iter()
            .map(|(ms, controller, value)| (*ms, MidiEvent::Control { channel: Channel(0), controller: *controller, value: *value }))
            .collect();
        presses_of(vec![switch(66, Command::Again), switch(67, Command::Skip)], &events)
    }

    #[test]
    fn a_press_counts_once_when_it_goes_down() {
        assert_eq!(presses(Pressed::ON, &[(0, 67, 127), (400, 67, 0), (900, 67, 127)]), [(0, Command::Skip), (900, Command::Skip)]);
    }

    #[test]
    fn sixty_four_is_down_and_sixty_three_is_up() {
        assert_eq!(presses(Pressed::ON, &[(0, 67, 63), (300, 67, 64)]), [(300, Command::Skip)]);
    }

    #[test]
    fn contacts_may_bounce_when_pressed_and_when_let_go() {
        let messages = [(0, 66, 127), (4, 66, 0), (9, 66, 127), (1500, 66, 0), (1504, 66, 127), (1509, 66, 0), (2000, 66, 127)];
        assert_eq!(presses(Pressed::ON, &messages), [(0, Command::Again), (2000, Command::Again)]);
    }

    #[test]
    fn a_pedal_that_sweeps_through_half_values_presses_once() {
        let sweep: Vec<_> =
            [0, 20, 50, 66, 62, 65, 90, 127, 90, 65, 63, 64, 20, 0].iter().zip(0..).map(|(v, n)| (n * 20, 67, *v)).collect();
        assert_eq!(presses(Pressed::ON, &sweep), [(60, Command::Skip)]);
        // One that comes only half way is pressed where it was learned to be.
        let half: Vec<_> = [0, 12, 30, 44, 44, 20, 0].iter().zip(0..).map(|(v, n)| (n * 100, 67, *v)).collect();
        assert_eq!(presses(Pressed::ON, &half), []);
        assert_eq!(presses(Pressed::From(22), &half), [(200, Command::Skip)]);
    }

    #[test]
    fn a_reversed_pedal_presses_when_it_sends_off() {
        assert_eq!(presses(Pressed::REVERSED, &[(0, 67, 127), (500, 67, 0), (900, 67, 127)]), [(500, Command::Skip)]);
    }

    #[test]
    fn a_switch_that_never_tells_of_being_let_go_presses_with_every_message() {
        let each = presses(Pressed::Each, &[(0, 67, 127), (60, 67, 127), (900, 67, 0), (1800, 67, 127)]);
        assert_eq!(each, [(0, Command::Skip), (900, Command::Skip), (1800, Command::Skip)]);
    }

    #[test]
    fn a_spare_key_is_a_switch_however_softly_it_is_struck() {
        let key = MidiKey::try_new(21).unwrap();
        let on = |velocity| MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(velocity) };
        let off = MidiEvent::NoteOff { channel: Channel(0), key };
        let switch = Switch { trigger: Trigger::Note(key), pressed: Pressed::From(1), command: Command::Later };
        let events = [(0, on(3)), (300, off), (900, on(90))];
        assert_eq!(presses_of(vec![switch], &events), [(0, Command::Later), (900, Command::Later)]);
    }

    #[test]
    fn two_switches_do_not_hold_each_other_back_and_others_are_not_heard() {
        assert_eq!(presses(Pressed::ON, &[(0, 66, 127), (10, 67, 127), (20, 64, 127)]), [(0, Command::Again), (10, Command::Skip)]);
    }

    #[test]
    fn a_stamp_that_goes_back_is_no_press() {
        assert_eq!(presses(Pressed::ON, &[(1000, 67, 127), (1400, 67, 0), (900, 67, 127)]), [(1000, Command::Skip)]);
    }
}
