//! Memory over days: how likely each part of a piece is to hold, and what to play today.
//!
//! [`item`] cuts a piece into what can be forgotten by itself; [`evidence`] reads attempts at those
//! items out of dated reps and answers; [`record`] keeps what they come to, by the forgetting model in
//! [`model`], within the [`rules`]; [`secure`] says what may be called secure; [`doubt`] weighs questions; [`plan`] spends the minutes of a day;
//! [`simulate`] sets that plan against simpler ones on learners who forget by another law. Numbers
//! in, numbers out: knows no piece file, no journal on disk, no screen and no clock.

pub mod calibration;
pub mod doubt;
pub mod evidence;
pub mod fit;
pub mod gap;
pub mod item;
pub mod load;
pub mod model;
pub mod pace;
pub mod piece_memory;
pub mod plan;
pub mod record;
pub mod rules;
pub mod secure;
pub mod simulate;

use crate::time::Micros;
use chrono::NaiveDate;

/// What one attempt at an item showed.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Outcome {
    /// A cue, a stop, the wrong exit, or not begun in time.
    Failed,
    /// It halted or slipped, and went on by itself within a bar; or it was right but slow to come.
    Recovered,
    Clean,
}

/// One attempt at one item. The first of a day grades it, those after are the same day's practice.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Attempt {
    /// The player's own day.
    pub day: NaiveDate,
    pub outcome: Outcome,
    pub way: Way,
    /// From the question to the first right onset, where one was asked.
    pub recall: Option<Micros>,
}

/// How an item was come to.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Way {
    /// Begun there, with no run-up.
    Cold,
    /// Played into.
    Flow,
    /// Played into in a run-through.
    RunThrough,
    /// Only its beginning was heard, or nothing: it grades, and shows nothing for "secure".
    Asked,
}
