//! The only place that reads a clock.

use std::time::Instant;

use crate::time::{Micros, Timestamp};

/// The session's own clock: microseconds since it was made, never going back.
#[derive(Clone, Copy, Debug)]
pub struct SessionClock {
    origin: Instant,
}

impl SessionClock {
    pub fn start() -> Self {
        SessionClock { origin: Instant::now() }
    }

    pub fn now(&self) -> Micros {
        Micros(i64::try_from(self.origin.elapsed().as_micros()).unwrap_or(i64::MAX))
    }

    /// Returns the instant at which this clock shows `at`.
    pub fn instant(&self, at: Micros) -> Instant {
        self.origin + std::time::Duration::from_micros(at.0.max(0) as u64)
    }
}

/// Reads the time of day.
pub fn wall_now() -> Timestamp {
    chrono::Local::now().fixed_offset()
}
