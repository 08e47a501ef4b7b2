//! The thread that plays: what is due goes out at its time, and every note that sounds is let go.

use std::collections::{BTreeMap, HashMap};
use std::sync::Mutex;

use crossbeam_channel::{Receiver, at, never, select};

use super::{Sound, Wire, Word, note};
use crate::clock::SessionClock;
use crate::source::Error;
use crate::time::Micros;

/// A note that would come later than this is left out: late, it would only mislead.
const LATE: Micros = Micros(250_000);

/// What is due at a time: ends before beginnings, and otherwise as told.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct When {
    at: Micros,
    is_beginning: bool,
    nth: u64,
}

/// Channel and key.
type Place = (u8, u8);

/// Time between two tries to open an output that vanished, and between two looks at one that does not tell by itself.
const AGAIN: Micros = Micros(2_000_000);

/// Opens the output anew.
type Opener<'a> = &'a dyn Fn() -> Result<Box<dyn Wire>, Error>;

struct Player<'a> {
    /// None while the output is gone.
    wire: Option<Box<dyn Wire>>,
    open: Opener<'a>,
    /// When it is tried to be opened again, or looked whether it is there.
    next_look: Micros,
    trouble: &'a Mutex<Option<String>>,
    due: BTreeMap<When, Sound>,
    /// Each key that sounds, with the number of the note that it was struck for.
    sounding: HashMap<Place, u64>,
    n_notes: u64,
}

/// Plays until nobody is left to say anything, then lets go of all that sounds.
pub(super) fn run((wire, open): (Box<dyn Wire>, Opener<'_>), clock: SessionClock, words: &Receiver<Word>, trouble: &Mutex<Option<String>>) {
    let (due, sounding) = (BTreeMap::new(), HashMap::new());
    let mut player = Player { wire: Some(wire), open, next_look: clock.now() + AGAIN, trouble, due, sounding, n_notes: 0 };
    loop {
        player.sound(clock.now());
        player.look(clock.now());
        let first = player.due.first_key_value().map(|(when, _)| when.at);
        let again = player.wire.is_none().then_some(player.next_look);
        let next = [first, again].into_iter().flatten().min().map_or_else(never, |due| at(clock.instant(due)));
        select! {
            recv(words) -> word => match word {
                Ok(Word::Play { at, sounds }) => {
                    player.check(clock.now());
                    player.take(at, &sounds, clock.now());
                }
                Ok(Word::Hush) => player.hush(),
                Err(_) => return player.hush(),
            },
            recv(next) -> _ => {}
        }
    }
}

impl Player<'_> {
    fn take(&mut self, from: Micros, sounds: &[Sound], now: Micros) {
        for sound in sounds {
            let at = from + Micros(sound.after.0.max(0));
            if now - at > LATE {
                continue;
            }
            let nth = self.n_notes;
            self.n_notes += 1;
            self.due.insert(When { at, is_beginning: true, nth }, *sound);
            self.due.insert(When { at: at + Micros(sound.length.0.max(1)), is_beginning: false, nth }, *sound);
        }
    }

    /// Sends all that is due.
    fn sound(&mut self, now: Micros) {
        while let Some(first) = self.due.first_entry().filter(|e| e.key().at <= now) {
            let (When { is_beginning, nth, .. }, sound) = first.remove_entry();
            let place = (sound.channel.0 & 0x0f, sound.key.number());
            if is_beginning {
                if self.sounding.contains_key(&place) {
                    self.let_go(place);
                }
                self.sounding.insert(place, nth);
                self.send(&[0x90 | place.0, place.1, sound.velocity.0.clamp(1, 127)]);
            } else if self.sounding.get(&place) == Some(&nth) {
                self.let_go(place);
            }
        }
    }

    fn let_go(&mut self, place: Place) {
        self.sounding.remove(&place);
        // With the velocity of a release that is not measured (MIDI 1.0, note-off).
        self.send(&[0x80 | place.0, place.1, 64]);
    }

    fn hush(&mut self) {
        self.due.clear();
        let places: Vec<Place> = self.sounding.keys().copied().collect();
        places.into_iter().for_each(|place| self.let_go(place));
    }

    /// Tries to open an output that vanished, when it is time.
    fn look(&mut self, now: Micros) {
        if self.wire.is_some() || now < self.next_look {
            return;
        }
        self.next_look = now + AGAIN;
        if let Ok(wire) = (self.open)() {
            self.wire = Some(wire);
            note(self.trouble, tr!("tones can be heard again"));
        }
    }

    /// Before something is played: looks whether the output is there, where it would not tell.
    fn check(&mut self, now: Micros) {
        if now >= self.next_look && self.wire.as_ref().is_some_and(|wire| !wire.is_there()) {
            self.lose(&tr!("it is not there any more"));
        } else if self.wire.is_some() && now >= self.next_look {
            self.next_look = now + AGAIN;
        }
    }

    /// The output is gone: said once, as it is not lost again before it is back.
    fn lose(&mut self, why: &str) {
        self.wire = None;
        self.sounding.clear();
        note(self.trouble, tr!("no tones: {why}", why));
    }

    fn send(&mut self, message: &[u8]) {
        if let Some(Err(why)) = self.wire.as_mut().map(|wire| wire.send(message)) {
            self.lose(&why);
        }
    }
}
