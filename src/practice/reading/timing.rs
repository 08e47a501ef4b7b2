//! What one take tells of its player's timing, by places on the page, so that it serves every span that has them.

use super::super::config::PracticeConfig;
use super::super::listen::hear_out;
use super::super::rep::Context;
use super::super::run::lapsed;
use super::super::run::pace::Pace;
use super::super::run::path::Arrival;
use super::super::span::Span;
use crate::midi::Take;
use crate::piece::Piece;
use crate::score::Place;
use crate::time::Micros;

/// Steps from onset to onset, places gone on from after a move, and the length of bars, as one take has them.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Timed {
    /// Two places that follow each other, and the log of the time taken over what the local tempo gave.
    pub steps: Vec<(Place, Place, f64)>,
    pub landings: Vec<Place>,
    pub pace: Pace,
}

impl Timed {
    /// Hears a take of `span`, which may begin anywhere in it. A step within a lapse is no timing and left out.
    pub fn of(piece: &Piece, span: &Span, take: &Take, config: &PracticeConfig) -> Timed {
        let attempt = hear_out(&Context { piece, span, config }, take, &mut Vec::new());
        let path = &attempt.path;
        let ended = path.reached.last().map_or(Micros::ZERO, |r| r.at);
        let lapses = lapsed(path, span, ended);
        let mut timed = Timed { pace: Pace::of(path, span), ..Timed::default() };
        for pair in path.reached.windows(2) {
            let (before, here) = (pair[0], pair[1]);
            let is_lapse = lapses.iter().any(|(from, until)| before.at < *until && here.at > *from);
            match (here.arrival, here.log_ratio) {
                (Arrival::Step, Some(ratio)) if !is_lapse && here.onset.0 == before.onset.0 + 1 => {
                    timed.steps.push((span.place(before.onset), span.place(here.onset), ratio));
                }
                (Arrival::Moved { .. }, _) => timed.landings.push(span.place(here.onset)),
                _ => {}
            }
        }
        timed
    }
}
