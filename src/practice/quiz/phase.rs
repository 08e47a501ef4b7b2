//! Where a quiz stands: a question asked, an answer to be marked, or what is shown between them.

use super::asking::Asking;
use crate::midi::Take;
use crate::time::Micros;

pub(super) enum Phase {
    Ready,
    Asked(Asking),
    /// Nobody heard the answer, or not all that matters of it: how was it?
    Mark {
        asking: Asking,
        /// When the player had it, and since when they are asked.
        had: Micros,
        since: Micros,
        /// What was played to it, where anything was heard.
        take: Take,
    },
    /// A breath before the next question, with the outcome of the last.
    Between {
        since: Micros,
        told: Option<Told>,
    },
    Paused {
        since: Micros,
    },
    Finished {
        account: Vec<String>,
    },
}

pub(super) struct Told {
    pub is_held: bool,
    pub large: String,
    pub small: String,
}
