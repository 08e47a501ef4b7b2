//! A wrong turn out of what is drilled: the slip that broke a rep was what a look-alike elsewhere in the piece goes on with.
//!
//! The look-alike need not be in the span. It is looked for in the whole piece, and only once a rep is broken: a place that the same notes
//! lead to, for as long as analysis wants of a switch, and that has the key which was struck.

use std::ops::Range;

use super::judge::{Fault, Found};
use super::span::Span;
use crate::follower::OnsetIdx;
use crate::midi::MidiKey;
use crate::piece::Piece;
use crate::score::{Place, Unfolded, unfold};
use crate::time::ScoreTime;

/// Onsets, and beats as a fraction, that have to be alike before the parting.
const N_ALIKE_MIN: usize = 2;
const BEATS_ALIKE_MIN: (i64, i64) = (3, 2);

/// Returns a fault as a wrong turn where it was one; `key` is what was struck. Only a wrong note, or one too many, can be.
pub fn turned(found: &Found, key: MidiKey, span: &Span, piece: &Piece) -> Option<Found> {
    let parting = match found.fault {
        Fault::Wrong => found.onset,
        // It came after the last right onset, in the place of the next.
        Fault::Extra => OnsetIdx(found.onset.0 + 1),
        _ => return None,
    };
    let at = span.line.onsets.get(parting.0)?.at;
    let (own, whole) = (Moments::of(span.stretch.clone()), unfold(&piece.score, piece.part(), &piece.score.all_bars()?));
    let whole = Moments::of(whole);
    let here = own.starts.iter().position(|start| *start == at)?;
    if own.has(here, key) {
        return None;
    }
    let place = span.place(parting);
    let beat = piece.score.bar(place.bar).meter.beat_length().scaled(BEATS_ALIKE_MIN.0, BEATS_ALIKE_MIN.1);
    let leads = (0..whole.starts.len()).filter(|there| whole.has(*there, key)).filter_map(|there| {
        let n = own.n_alike_before(here, &whole, there);
        let is_long = n >= N_ALIKE_MIN && at - own.starts[here - n] >= beat;
        let to = whole.stretch.place(whole.starts[there]).filter(|to| is_long && *to != place)?;
        Some((n, to))
    });
    // Of several the one that is alike for longest; of equals the first.
    let (_, to) = leads.reduce(|best, next| if next.0 > best.0 { next } else { best })?;
    Some(Found { fault: Fault::WrongTurn(Some(to)), onset: parting, hand: None, ..*found })
}

/// Says whose way it was: `bar 14`, or with the landmark or section that begins there or stands before it: `bar 14, home again`.
pub fn whose(to: Place, piece: &Piece) -> String {
    let bar = tr!("bar {bar}", bar = piece.score.bar(to.bar).label);
    let landmarks = piece.landmarks.iter().map(|l| (l.place, l.name.as_str()));
    let sections = piece.sections.iter().map(|s| (Place::start_of(s.bars.start), s.name.as_str()));
    let nearest = sections.chain(landmarks).filter(|(place, _)| *place <= to).max_by_key(|(place, _)| *place);
    match nearest.map(|(_, name)| name).filter(|name| *name != bar) {
        Some(name) => format!("{bar}, {name}"),
        None => bar,
    }
}

/// A stretch by its onsets.
struct Moments {
    stretch: Unfolded,
    starts: Vec<ScoreTime>,
    notes: Vec<Range<usize>>,
}

impl Moments {
    fn of(mut stretch: Unfolded) -> Moments {
        stretch.notes.sort_by_key(|n| (n.onset, n.key, n.hand));
        let (mut starts, mut notes): (Vec<ScoreTime>, Vec<Range<usize>>) = (Vec::new(), Vec::new());
        for (nth, note) in stretch.notes.iter().enumerate() {
            match notes.last_mut().filter(|_| starts.last() == Some(&note.onset)) {
                Some(same) => same.end = nth + 1,
                None => {
                    starts.push(note.onset);
                    notes.push(nth..nth + 1);
                }
            }
        }
        Moments { stretch, starts, notes }
    }

    fn has(&self, nth: usize, key: MidiKey) -> bool {
        self.stretch.notes[self.notes[nth].clone()].iter().any(|n| n.key == key)
    }

    /// Tells how many onsets before two onsets are the same, note for note and wait for wait.
    fn n_alike_before(&self, here: usize, other: &Moments, there: usize) -> usize {
        let keys = |of: &Moments, nth: usize| of.stretch.notes[of.notes[nth].clone()].iter().map(|n| (n.key, n.hand)).collect::<Vec<_>>();
        let is_alike = |n: &usize| {
            self.starts[here] - self.starts[here - n] == other.starts[there] - other.starts[there - n]
                && keys(self, here - n) == keys(other, there - n)
        };
        (1..=here.min(there)).take_while(is_alike).count()
    }
}
