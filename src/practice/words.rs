//! What is said to the player, in a player's words: where, and what kind of thing; never which note.

use super::judge::{Fault, Found};
use super::span::Span;
use super::turn::whose;
use crate::piece::Piece;
use crate::score::{Place, Score};
use crate::setting::{Moved, Stand, Together};
use crate::theory::Hand;

/// Says the last rung of the prompt ladder: where to look.
pub fn look_at_the_page(place: &str) -> String {
    tr!("look at the page: {place}", place)
}

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
pub fn fault(found: &Found, span: &Span, piece: &Piece) -> String {
    let place = place(found, span, &piece.score);
    match found.fault {
        Fault::Wrong => tr!("{place}: not what is written", place),
        Fault::Missed => tr!("{place}: a note left out", place),
        Fault::Extra => tr!("{place}: more than is written", place),
        Fault::WrongTurn(None) => tr!("{place}: that way belongs to the look-alike", place),
        Fault::WrongTurn(Some(to)) => tr!("{place}: that way belongs to {other}", place, other = whose(to, piece)),
        Fault::Setting(None) => tr!("{place}: the right string, check its setting", place),
        Fault::Setting(Some(stand)) => format!("{place}: {}", setting(stand.what)),
        Fault::Restart => tr!("{place}: went back from here", place),
        Fault::Jump => tr!("{place}: left out what follows", place),
        Fault::Hesitation => tr!("{place}: a stop before it", place),
        Fault::Prompt(_) => tr!("{place}: needed its cue", place),
        Fault::TooSlow => tr!("slower than the tempo set"),
        Fault::TooFast => tr!("faster than the tempo set"),
        Fault::Abandoned => tr!("left at {place}", place),
        Fault::Gone => tr!("the instrument went away"),
    }
}

/// Says which lever or pedal is meant: `lever on F`.
pub fn setting(moved: Moved) -> String {
    match moved {
        Moved::Pedal(letter) => tr!("pedal on {}", letter.spoken()),
        Moved::Lever(string) => tr!("lever on {}", string.letter().spoken()),
        Moved::Tuned(string) => tr!("tuning of {}", string.letter().spoken()),
    }
}

/// Says the same and how the page has it: `lever on F, written sharp`.
pub fn stand(stand: Stand) -> String {
    let moved = setting(stand.what);
    match stand.alter {
        -1 => tr!("{moved}, written flat", moved),
        0 => tr!("{moved}, written natural", moved),
        1 => tr!("{moved}, written sharp", moved),
        _ => moved,
    }
}

/// Says what moves at one place, and before what: `lever on F before bar 12`.
pub fn moves(together: &Together, score: &Score) -> String {
    let mut moved: Vec<String> = together.changes.iter().map(|change| setting(change.what)).collect();
    moved.dedup();
    let place = together.for_place;
    let place = if place.into_bar.is_zero() { tr!("bar {bar}", bar = score.bar(place.bar).label) } else { place.words(score) };
    tr!("{moved} before {place}", moved = moved.join(", "), place)
}

/// Says a recorded place: `bar 7, beat 2`.
pub fn spoken(place: &str) -> String {
    match place.rsplit_once('.') {
        Some((bar, "1")) => tr!("bar {bar}", bar),
        Some((bar, beat)) => tr!("bar {bar}, {beat}", bar, beat = tr!("beat {beat}", beat)),
        None => place.to_owned(),
    }
}
