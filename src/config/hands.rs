//! Settings of what is asked for without a key: `[footswitch]` and `[hands-free]`, and learned switches written back.

use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, value};

use crate::midi::MidiKey;
use crate::midi::sensor::Sensor;
use crate::piece::text::{At, Error as TextError, Keys};
use crate::piece::{Instrument, Piece};
use crate::practice::Command;
use crate::practice::footswitch::{FootswitchConfig, Pressed, Switch, Trigger};
use crate::practice::gesture::{GestureConfig, Sign};
use crate::practice::hands_free::HandsFreeConfig;
use crate::theory::SpelledPitch;
use crate::time::Micros;

/// Lowest and highest key of a piano of 88 keys (common practice).
const KEYBOARD: (i32, i32) = (21, 108);

/// What the settings file says of it.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Hands {
    /// What the player's own table says; none: the usual ones for the instrument.
    controllers: Option<Vec<(u8, Command)>>,
    learned: Vec<Switch>,
    debounce: Micros,
    is_reversed: bool,
    lowest_twice: Option<Command>,
    highest_twice: Option<Command>,
    lowest: Option<i32>,
    highest: Option<i32>,
    within: Micros,
    move_on: Option<Micros>,
    in_run_through: bool,
}

impl Default for Hands {
    fn default() -> Self {
        Hands {
            controllers: None,
            learned: Vec::new(),
            debounce: Micros::from_millis(250),
            is_reversed: false,
            lowest_twice: Some(Command::Again),
            highest_twice: Some(Command::Skip),
            lowest: None,
            highest: None,
            within: Micros::from_millis(600),
            move_on: Some(Micros::from_millis(4_000)),
            in_run_through: false,
        }
    }
}

impl Hands {
    /// Reads both tables from the root of the settings.
    pub fn read(root: &Keys<'_, '_>, file_name: &str) -> Result<Hands, TextError> {
        let mut hands = Hands::default();
        if let Some(keys) = root.table("footswitch", "[footswitch]", &["debounce-ms", "reversed", "controllers", "learned"])? {
            if let Some(ms) = keys.integer("debounce-ms", 0..=2000)? {
                hands.debounce = Micros::from_millis(ms.value);
            }
            if let Some(reversed) = keys.boolean("reversed")? {
                hands.is_reversed = reversed.value;
            }
            hands.controllers =
                keys.open_table("controllers", "[footswitch.controllers]")?.map(|c| controllers(&c, file_name)).transpose()?;
            let known = &["controller", "key", "pressed-from", "pressed-up-to", "does"];
            for switch in keys.tables("learned", "[[footswitch.learned]]", known)? {
                hands.learned.push(learned(&switch, file_name)?);
            }
        }
        let known = &["lowest-twice", "highest-twice", "lowest", "highest", "within-ms", "move-on-s", "in-run-through"];
        if let Some(keys) = root.table("hands-free", "[hands-free]", known)? {
            let words: Vec<(&str, Option<Command>)> = Command::ALL.iter().map(|c| (c.word(), Some(*c))).chain([(NOTHING, None)]).collect();
            let sign = |key: &str, set: &mut Option<Command>| -> Result<(), TextError> {
                if let Some(command) = keys.word(key, &words)? {
                    *set = command.value;
                }
                Ok(())
            };
            sign("lowest-twice", &mut hands.lowest_twice)?;
            sign("highest-twice", &mut hands.highest_twice)?;
            hands.lowest = pitch(&keys, "lowest", file_name)?;
            hands.highest = pitch(&keys, "highest", file_name)?;
            if let Some(ms) = keys.integer("within-ms", 200..=2000)? {
                hands.within = Micros::from_millis(ms.value);
            }
            if let Some(seconds) = keys.number("move-on-s", 0.0..=60.0)? {
                hands.move_on = (seconds.value > 0.0).then(|| Micros::from_secs_f64(seconds.value));
            }
            if let Some(also) = keys.boolean("in-run-through")? {
                hands.in_run_through = also.value;
            }
        }
        Ok(hands)
    }

    /// Leaves out the table of controllers, which the reference shows with what usually holds.
    #[cfg(test)]
    pub fn without_controllers(self) -> Hands {
        Hands { controllers: None, ..self }
    }

    pub fn footswitch(&self, instrument: Instrument) -> FootswitchConfig {
        let usual = || {
            let damper = (instrument != Instrument::Keyboard).then_some((64, Command::Pause));
            damper.into_iter().chain([(66, Command::Again), (67, Command::Skip)]).collect()
        };
        let pressed = if self.is_reversed { Pressed::REVERSED } else { Pressed::ON };
        let controllers = self.controllers.clone().unwrap_or_else(usual);
        let plain = controllers.into_iter().map(|(n, command)| Switch { trigger: Trigger::Controller(n), pressed, command });
        let is_learned = |switch: &Switch| self.learned.iter().any(|l| l.trigger == switch.trigger);
        let switches = plain.filter(|switch| !is_learned(switch)).chain(self.learned.iter().copied()).collect();
        FootswitchConfig { switches, debounce: self.debounce }
    }

    fn signs(&self, piece: &Piece) -> Vec<Sign> {
        // A lever or a pedal may have moved the string by a semitone either way.
        let moved = |key: i32| (key - 1..=key + 1).collect::<Vec<_>>();
        let found = piece.hearing.sensor.as_ref().and_then(Sensor::ends).map(|(low, high)| (low.number().into(), high.number().into()));
        let (low, high) = match (&piece.harp, found) {
            (Some(_), Some((low, high))) => (moved(low), moved(high)),
            (Some(harp), None) => (moved(harp.strings.lowest().midi(0)), moved(harp.strings.highest().midi(0))),
            (None, found) => {
                let (low, high) = found.unwrap_or(KEYBOARD);
                (vec![low], vec![high])
            }
        };
        let own = |set: Option<i32>, usual: Vec<i32>| set.map_or(usual, |key| vec![key]);
        let sign = |name: String, keys: Vec<i32>, command: Option<Command>| {
            let keys = keys.into_iter().filter_map(MidiKey::try_new).collect();
            command.map(|command| Sign { name, keys, command })
        };
        [
            sign(tr!("lowest twice"), own(self.lowest, low), self.lowest_twice),
            sign(tr!("highest twice"), own(self.highest, high), self.highest_twice),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// Returns what may be asked for without a key where this piece is played.
    pub fn config(&self, piece: &Piece) -> HandsFreeConfig {
        HandsFreeConfig {
            footswitch: self.footswitch(piece.instrument),
            gestures: GestureConfig { signs: self.signs(piece), within: self.within },
            move_on: self.move_on,
            in_run_through: self.in_run_through,
        }
    }
}

/// Says that a sign asks for nothing.
const NOTHING: &str = "nothing";

fn command_words() -> Vec<(&'static str, Command)> {
    Command::ALL.iter().map(|c| (c.word(), *c)).collect()
}

fn controllers(keys: &Keys<'_, '_>, file_name: &str) -> Result<Vec<(u8, Command)>, TextError> {
    let words = command_words();
    let mut controllers = Vec::new();
    for At { value: key, place } in keys.names() {
        // 120 to 127 are channel mode messages, not controllers (MIDI 1.0).
        let number = key.parse::<u8>().ok().filter(|n| *n < 120 && n.to_string() == key).ok_or_else(|| {
            TextError::new(file_name, place, tr!("the number of a MIDI controller, 0 to 119"), format!("{key:?}"))
                .with_hint(tr!("the usual foot pedals are 64, 66 and 67"))
        })?;
        if let Some(command) = keys.word(&key, &words)? {
            controllers.push((number, command.value));
        }
    }
    Ok(controllers)
}

fn learned(keys: &Keys<'_, '_>, file_name: &str) -> Result<Switch, TextError> {
    let missing = |expected: String| TextError::new(file_name, keys.place(), expected, tr!("none"));
    let byte = |at: At<i64>| u8::try_from(at.value).expect("the range was checked");
    let (controller, key) = (keys.integer("controller", 0..=119)?, keys.integer("key", 0..=127)?);
    let trigger = match (controller, key) {
        (Some(number), _) => Trigger::Controller(byte(number)),
        (None, Some(key)) => MidiKey::try_new(i32::from(byte(key))).map(Trigger::Note).expect("the range was checked"),
        (None, None) => return Err(missing(tr!("\"controller\" or \"key\" in [[footswitch.learned]]"))),
    };
    let pressed = match (keys.integer("pressed-from", 0..=127)?, keys.integer("pressed-up-to", 0..=127)?) {
        (Some(least), _) => Pressed::From(byte(least)),
        (None, Some(most)) => Pressed::UpTo(byte(most)),
        (None, None) => Pressed::Each,
    };
    let command = keys.word("does", &command_words())?.ok_or_else(|| missing(tr!("\"does\" in [[footswitch.learned]]")))?;
    Ok(Switch { trigger, pressed, command: command.value })
}

fn pitch(keys: &Keys<'_, '_>, key: &str, file_name: &str) -> Result<Option<i32>, TextError> {
    let Some(At { value: text, place }) = keys.optional_string(key)? else { return Ok(None) };
    let midi = text.parse::<SpelledPitch>().ok().map(SpelledPitch::midi).filter(|midi| MidiKey::try_new(*midi).is_some());
    let expected = || TextError::new(file_name, place, tr!("a pitch such as \"C2\" (C4 is middle C)"), format!("{text:?}"));
    midi.map(Some).ok_or_else(expected)
}

/// Puts a learned switch into the text of a settings file, in the place of an earlier one of the same trigger or for the same
/// command. All else, comments too, stays as it is.
///
/// # Errors
/// When the text is no TOML, or has something else where switches belong.
pub fn put_switch(text: &str, switch: &Switch) -> Result<String, String> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| error.message().to_owned())?;
    let feet = document.entry("footswitch").or_insert_with(|| Item::Table(Table::new()));
    let feet = feet.as_table_mut().ok_or_else(|| tr!("\"footswitch\" is no table written as [footswitch]"))?;
    let learned = feet.entry("learned").or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new()));
    let learned =
        learned.as_array_of_tables_mut().ok_or_else(|| tr!("\"learned\" is no list of tables written as [[footswitch.learned]]"))?;
    let (key, number) = match switch.trigger {
        Trigger::Controller(number) => ("controller", i64::from(number)),
        Trigger::Note(note) => ("key", i64::from(note.number())),
    };
    let does = switch.command.word();
    learned.retain(|table| {
        let is_same = table.get(key).and_then(Item::as_integer) == Some(number);
        !is_same && table.get("does").and_then(Item::as_str) != Some(does)
    });
    let mut table = Table::new();
    table.insert(key, value(number));
    match switch.pressed {
        Pressed::From(least) => drop(table.insert("pressed-from", value(i64::from(least)))),
        Pressed::UpTo(most) => drop(table.insert("pressed-up-to", value(i64::from(most)))),
        Pressed::Each => {}
    }
    table.insert("does", value(does));
    learned.push(table);
    Ok(document.to_string())
}
