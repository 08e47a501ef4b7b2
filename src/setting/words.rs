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
            Moved::Pedal(letter) => format!("{}: {} {}", Foot::of(letter).words(), letter.char(), accidental(self.to)),
            Moved::Lever(string) => {
                let way = if self.to > self.from { "up" } else { "down" };
                format!("left hand: lever {way} on the {}", string.words())
            }
            Moved::Tuned(string) => format!("tune the {} to {}", string.words(), accidental(self.to)),
        }
    }
}

impl Trouble {
    pub fn words(self) -> &'static str {
        match self {
            Trouble::StillSounding => "the string still sounds: damp it first",
            Trouble::NoFreeBeat => "no free beat for this foot between the two notes",
            Trouble::HandBusy => "the left hand has little time for it",
        }
    }
}

impl Problem {
    /// Returns place and reason: `bar 7, beat 2: no string for this note`.
    pub fn words(&self, score: &Score, harp: &Harp) -> String {
        let letter = self.pitch.letter.char();
        let reason = match (self.kind, &harp.mechanism) {
            (ProblemKind::NoString, _) => "the harp has no string for this note".to_owned(),
            (ProblemKind::OutOfReach, Mechanism::Pedals { .. }) => format!("no pedal makes {letter} {}", accidental(self.pitch.alter)),
            (ProblemKind::OutOfReach, Mechanism::Levers(_)) => format!("no lever makes {letter} {}", accidental(self.pitch.alter)),
            (ProblemKind::Clash, _) => format!("{letter} is wanted in two settings at once"),
            (ProblemKind::TunedOtherwise, _) => format!("this {letter} is tuned before the piece, and was wanted otherwise earlier"),
        };
        format!("{}: {reason}", self.place.words(score))
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
                whole.push(letter.char().to_string());
            } else {
                single.extend(up.iter().map(|(string, _)| format!("the {}", string.words())));
            }
        }
        let whole = spoken(&whole);
        match (&whole[..], &spoken(&single)[..]) {
            ("", "") => "all levers down".to_owned(),
            (whole, "") => format!("{whole} levers up"),
            ("", single) => format!("levers up on {single}"),
            (whole, single) => format!("{whole} levers up, and {single}"),
        }
    }
}

pub(super) fn accidental(alter: i8) -> &'static str {
    match alter {
        -2 => "double flat",
        -1 => "flat",
        0 => "natural",
        1 => "sharp",
        2 => "double sharp",
        _ => "so far altered",
    }
}
