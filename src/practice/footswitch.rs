//! A foot pedal as a switch: one command for each time it is pressed.
//!
//! Pure: told every controller message with its time. Controllers 64 damper, 66 sostenuto and 67
//! soft pedal are switches: values of 64 and above mean "on", below "off" (MIDI 1.0, table of
//! controllers). A press is the change from off to on. Contacts bounce, when pressed and when let
//! go, and pedals that send half values waver around the middle: a change that comes too soon after
//! the one before it is not a press.

use super::Command;
use crate::time::Micros;

/// What the switches do.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FootswitchConfig {
    /// Controller number, `0..128`, and what a press of it asks for; each number once.
    pub commands: Vec<(u8, Command)>,
    /// Changes closer together than this are bounces.
    pub debounce: Micros,
    /// The pedal sends "on" when it is let go.
    pub is_reversed: bool,
}

/// The switches of one instrument, each up until heard of.
#[derive(Clone, Debug)]
pub struct Footswitch {
    config: FootswitchConfig,
    /// Of each entry of `commands`: is it pressed, and when did that last change.
    switches: Vec<Switch>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Switch {
    is_down: bool,
    changed: Option<Micros>,
}

impl Footswitch {
    pub fn new(config: FootswitchConfig) -> Self {
        let switches = vec![Switch::default(); config.commands.len()];
        Footswitch { config, switches }
    }

    /// Takes one controller message and returns the command when it is a press.
    ///
    /// ```
    /// # use catchword::practice::{Command, footswitch::{Footswitch, FootswitchConfig}};
    /// # use catchword::time::Micros;
    /// let config = FootswitchConfig { commands: vec![(67, Command::Skip)], debounce: Micros::from_millis(250), is_reversed: false };
    /// let mut feet = Footswitch::new(config);
    /// assert_eq!(feet.event(Micros(0), 67, 127), Some(Command::Skip));
    /// assert_eq!(feet.event(Micros::from_millis(90), 67, 0), None);
    /// ```
    pub fn event(&mut self, at: Micros, controller: u8, value: u8) -> Option<Command> {
        let idx = self.config.commands.iter().position(|(number, _)| *number == controller)?;
        let switch = &mut self.switches[idx];
        let is_down = (value >= 64) != self.config.is_reversed;
        if is_down == switch.is_down {
            return None;
        }
        // A stamp that goes back counts as no time gone.
        let is_bounce = switch.changed.is_some_and(|before| at - before < self.config.debounce);
        *switch = Switch { is_down, changed: Some(switch.changed.map_or(at, |before| before.max(at))) };
        (is_down && !is_bounce).then_some(self.config.commands[idx].1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn presses(is_reversed: bool, messages: &[(i64, u8, u8)]) -> Vec<(i64, Command)> {
        let commands = vec![(66, Command::Again), (67, Command::Skip)];
        let mut feet = Footswitch::new(FootswitchConfig { commands, debounce: Micros::from_millis(250), is_reversed });
        let press = |&(ms, controller, value): &(i64, u8, u8)| feet.event(Micros::from_millis(ms), controller, value).map(|c| (ms, c));
        messages.iter().filter_map(press).collect()
    }

    #[test]
    fn a_press_counts_once_when_it_goes_down() {
        assert_eq!(presses(false, &[(0, 67, 127), (400, 67, 0), (900, 67, 127)]), [(0, Command::Skip), (900, Command::Skip)]);
    }

    #[test]
    fn sixty_four_is_down_and_sixty_three_is_up() {
        assert_eq!(presses(false, &[(0, 67, 63), (300, 67, 64)]), [(300, Command::Skip)]);
    }

    #[test]
    fn contacts_may_bounce_when_pressed_and_when_let_go() {
        let messages = [(0, 66, 127), (4, 66, 0), (9, 66, 127), (1500, 66, 0), (1504, 66, 127), (1509, 66, 0), (2000, 66, 127)];
        assert_eq!(presses(false, &messages), [(0, Command::Again), (2000, Command::Again)]);
    }

    #[test]
    fn a_pedal_that_sweeps_through_half_values_presses_once() {
        let sweep: Vec<_> =
            [0, 20, 50, 66, 62, 65, 90, 127, 90, 65, 63, 64, 20, 0].iter().zip(0..).map(|(v, n)| (n * 20, 67, *v)).collect();
        assert_eq!(presses(false, &sweep), [(60, Command::Skip)]);
    }

    #[test]
    fn a_reversed_pedal_presses_when_it_sends_off() {
        assert_eq!(presses(true, &[(0, 67, 127), (500, 67, 0), (900, 67, 127)]), [(500, Command::Skip)]);
    }

    #[test]
    fn two_switches_do_not_hold_each_other_back_and_others_are_not_heard() {
        assert_eq!(presses(false, &[(0, 66, 127), (10, 67, 127), (20, 64, 127)]), [(0, Command::Again), (10, Command::Skip)]);
    }

    #[test]
    fn a_stamp_that_goes_back_is_no_press() {
        assert_eq!(presses(false, &[(1000, 67, 127), (1400, 67, 0), (900, 67, 127)]), [(1000, Command::Skip)]);
    }
}
