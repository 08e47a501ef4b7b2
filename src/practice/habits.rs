//! What earlier takes of a span teach about its player: timing at each place, and where they start again.

use super::span::Span;
use crate::follower::{Begin, Finding, Follower, FollowerConfig, RestartHabit, TimingHabit};
use crate::midi::{MidiEvent, Take};

/// The habits of one player in one span; empty until a take is learned.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Habits {
    timing: Option<TimingHabit>,
    restarts: Option<RestartHabit>,
}

impl Habits {
    /// Learns from one more take of `span`. The take may begin anywhere in it and need not be clean: a step is learned
    /// where the follower saw one, and stops longer than any timing count as little as the habit's own bounds let them.
    pub fn learn(&mut self, span: &Span, take: &Take) {
        let mut follower = Follower::new(span.line.clone(), FollowerConfig::learned(Begin::Anywhere));
        let timing = self.timing.get_or_insert_with(|| TimingHabit::new(span.n_onsets()));
        let restarts = self.restarts.get_or_insert_with(RestartHabit::default);
        let mut findings = Vec::new();
        for event in take.events() {
            let MidiEvent::NoteOn { key, velocity, .. } = event.what else { continue };
            findings.clear();
            follower.note(event.at, key, velocity, &mut findings);
            if let Some(step) = follower.last_step() {
                timing.observe(step.from, step.log_ratio);
            }
            for finding in &findings {
                if let Finding::Restart { to, .. } | Finding::Jump { to, .. } = finding {
                    restarts.observe(*to);
                }
            }
        }
    }

    /// Returns how to follow this player.
    pub fn config(&self, begin: Begin) -> FollowerConfig {
        FollowerConfig { timing: self.timing.clone(), restarts: self.restarts.clone(), ..FollowerConfig::learned(begin) }
    }
}
