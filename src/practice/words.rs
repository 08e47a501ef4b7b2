//! What is said to the player, in a player's words: where, and what kind of thing; never which note.

use super::judge::{Fault, Found};
use super::span::Span;
use crate::score::{Place, Score};
use crate::setting::Moved;
use crate::theory::Hand;

/// What stands before the place on the last rung of the prompt ladder.
pub const LOOK_AT_THE_PAGE: &str = "look at the page: ";

/// Says where a fault is on the page: `bar 3, beat 2, left hand`.
pub fn place(found: &Found, span: &Span, score: &Score) -> String {
    place_of(span.place(found.onset), found.hand, score)
}

/// Says a place on the page, and the hand meant there.
pub fn place_of(place: Place, hand: Option<Hand>, score: &Score) -> String {
    let place = place.words(score);
    match hand {
        Some(hand) => format!("{place}, {}", hand.words()),
        None => place,
    }
}

/// Says what a rep failed on, and where.
pub fn fault(found: &Found, span: &Span, score: &Score) -> String {
    let place = place(found, span, score);
    match found.fault {
        Fault::Wrong => format!("{place}: not what is written"),
        Fault::Missed => format!("{place}: a note left out"),
        Fault::Extra => format!("{place}: more than is written"),
        Fault::WrongTurn => format!("{place}: that way belongs to the look-alike"),
        Fault::Setting(moved) => format!("{place}: {}", moved.map_or("the right string, check its setting".to_owned(), setting)),
        Fault::Restart => format!("{place}: went back from here"),
        Fault::Jump => format!("{place}: left out what follows"),
        Fault::Hesitation => format!("{place}: a stop before it"),
        Fault::Prompt(_) => format!("{place}: needed its cue"),
        Fault::TooSlow => "slower than the tempo set".to_owned(),
        Fault::TooFast => "faster than the tempo set".to_owned(),
        Fault::Abandoned => format!("left at {place}"),
    }
}

/// Says which lever or pedal is meant: `lever on F`.
pub fn setting(moved: Moved) -> String {
    match moved {
        Moved::Pedal(letter) => format!("pedal on {}", letter.char()),
        Moved::Lever(string) => format!("lever on {}", string.letter().char()),
        Moved::Tuned(string) => format!("tuning of {}", string.letter().char()),
    }
}

/// Says a recorded place: `bar 7, beat 2`.
pub fn spoken(place: &str) -> String {
    match place.rsplit_once('.') {
        Some((bar, "1")) => format!("bar {bar}"),
        Some((bar, beat)) => format!("bar {bar}, beat {beat}"),
        None => place.to_owned(),
    }
}

/// Says a count of things: `1 rep`, `3 reps`.
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
