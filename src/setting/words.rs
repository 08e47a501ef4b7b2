//! Settings, changes and problems in a player's words.

use super::{Change, Moved, Plan, Problem, ProblemKind, Trouble};
use crate::score::Score;
use crate::theory::Letter;
use crate::theory::harp::{Foot, Harp, Mechanism, spoken};
use crate::time::ScoreTime;

impl Change {
    /// Returns what is done: `right foot: F sharp`, `left hand: lever up on the F in the 4th octave`.
    pub fn words(&self) -> String {
        match self.what {
            Moved::Pedal(letter) => tr!("{foot}: {string}", foot = Foot::of(letter).words(), string = altered(letter, self.to)),
            Moved::Lever(string) => {
                let string = string.words();
                if self.to > self.from {
                    tr!("left hand: lever up on the {string}", string)
                } else {
                    tr!("left hand: lever down on the {string}", string)
                }
            }
            Moved::Tuned(string) => tr!("tune the {string} to {accidental}", string = string.words(), accidental = accidental(self.to)),
        }
    }
}

impl Trouble {
    pub fn words(self) -> String {
        match self {
            Trouble::StillSounding => tr!("the string still sounds: damp it first"),
            Trouble::NoFreeBeat => tr!("no free beat for this foot between the two notes"),
            Trouble::HandBusy => tr!("the left hand has little time for it"),
        }
    }
}

impl Problem {
    /// Returns place and reason: `bar 7, beat 2: no string for this note`.
    pub fn words(&self, score: &Score, harp: &Harp) -> String {
        let letter = self.pitch.letter.spoken();
        let string = altered(self.pitch.letter, self.pitch.alter);
        let reason = match (self.kind, &harp.mechanism) {
            (ProblemKind::NoString, _) => tr!("the harp has no string for this note"),
            (ProblemKind::OutOfReach, Mechanism::Pedals { .. }) => tr!("no pedal makes {string}", string),
            (ProblemKind::OutOfReach, Mechanism::Levers(_)) => tr!("no lever makes {string}", string),
            (ProblemKind::Clash, _) => tr!("{letter} is wanted in two settings at once", letter),
            (ProblemKind::TunedOtherwise, _) => tr!("this {letter} is tuned before the piece, and was wanted otherwise earlier", letter),
        };
        tr!("{place}: {why}", place = self.place.words(score), why = reason)
    }
}

impl Plan {
    /// Returns how the harp stands at a played position: the pedal diagram, or which levers are up among the strings that
    /// the stretch uses: `B, E and A levers up, and the F in the 4th octave`.
    pub fn words_at(&self, played: ScoreTime, harp: &Harp) -> String {
        let Mechanism::Levers(tuning) = &harp.mechanism else { return self.pedals_at(played).to_string() };
        let standing = self.at(played);
        let mut whole = Vec::new();
        let mut single = Vec::new();
        for letter in Letter::ALL {
            let of_letter = standing.iter().filter_map(|(moved, alter)| match moved {
                Moved::Lever(string) if string.letter() == letter => Some((*string, *alter > tuning.open.alter_of(letter))),
                _ => None,
            });
            let (up, down): (Vec<_>, Vec<_>) = of_letter.partition(|(_, is_up)| *is_up);
            if down.is_empty() && !up.is_empty() {
                whole.push(letter.spoken());
            } else {
                single.extend(up.iter().map(|(string, _)| tr!("the {string}", string = string.words())));
            }
        }
        let whole = spoken(&whole);
        match (&whole[..], &spoken(&single)[..]) {
            ("", "") => tr!("all levers down"),
            (whole, "") => tr!("{strings} levers up", strings = whole),
            ("", single) => tr!("levers up on {strings}", strings = single),
            (whole, single) => tr!("{strings} levers up, and {single}", strings = whole, single),
        }
    }
}

/// Returns a string with its accidental, a natural said as well: `F natural`.
pub(super) fn altered(letter: Letter, alter: i8) -> String {
    tr!("{letter} {accidental}", letter = letter.spoken(), accidental = accidental(alter))
}

fn accidental(alter: i8) -> String {
    match alter {
        -2 => tr!("double flat"),
        -1 => tr!("flat"),
        0 => tr!("natural"),
        1 => tr!("sharp"),
        2 => tr!("double sharp"),
        _ => tr!("so far altered"),
    }
}
