//! The thread that plays: what is due goes out at its time, and every note that sounds is let go.

use std::collections::{BTreeMap, HashMap};
use std::sync::Mutex;

use crossbeam_channel::{Receiver, at, never, select};

use super::{Sound, Wire, Word, note};
use crate::clock::SessionClock;
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

struct Player<'a> {
    wire: Box<dyn Wire>,
    trouble: &'a Mutex<Option<String>>,
    /// It has been said that the wire does not take what is sent.
    has_failed: bool,
    due: BTreeMap<When, Sound>,
    /// Each key that sounds, with the number of the note that it was struck for.
    sounding: HashMap<Place, u64>,
    n_notes: u64,
}

/// Plays until nobody is left to say anything, then lets go of all that sounds.
pub(super) fn run(wire: Box<dyn Wire>, clock: SessionClock, words: &Receiver<Word>, trouble: &Mutex<Option<String>>) {
    let mut player = Player { wire, trouble, has_failed: false, due: BTreeMap::new(), sounding: HashMap::new(), n_notes: 0 };
    loop {
        player.sound(clock.now());
        let next = player.due.first_key_value().map_or_else(never, |(when, _)| at(clock.instant(when.at)));
        select! {
            recv(words) -> word => match word {
                Ok(Word::Play { at, sounds }) => player.take(at, &sounds, clock.now()),
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

    fn send(&mut self, message: &[u8]) {
        if let Err(why) = self.wire.send(message)
            && !std::mem::replace(&mut self.has_failed, true)
        {
            note(self.trouble, tr!("no tones: {why}", why));
        }
    }
}
