//! Hearing a take from its first note to its last, whatever was played: nothing is stopped, nothing is prompted.

use super::Output;
use super::config::PracticeConfig;
use super::rep::{Attempt, Context};
use super::span::Span;
use crate::follower::Begin;
use crate::journal::entry::{Entry, RepNumber};
use crate::midi::{MidiEvent, Take};
use crate::piece::Piece;
use crate::time::Micros;

/// Follows a whole take through a span, as one rep that may begin anywhere. The last output is the rep.
///
/// Silence after the last note means nothing: the recording simply ends there.
pub fn listen(piece: &Piece, span: &Span, config: &PracticeConfig, take: &Take) -> Vec<Output> {
    let cx = Context { piece, span, config };
    let mut out = Vec::new();
    let attempt = hear_out(&cx, take, &mut out);
    let last = take.events().iter().rfind(|e| matches!(e.what, MidiEvent::NoteOn { .. })).map_or(Micros::ZERO, |e| e.at);
    let (rep, _) = attempt.end(RepNumber(0), last, &cx);
    out.push(Output::Record(Entry::Rep(rep)));
    out
}

/// Hears a take to its last event, and leaves the attempt open.
pub(super) fn hear_out(cx: &Context<'_>, take: &Take, out: &mut Vec<Output>) -> Attempt {
    let mut attempt = Attempt::new(cx.span, cx.config, Begin::Anywhere);
    for event in take.events() {
        while let Some(due) = attempt.deadline(cx).filter(|d| *d < event.at) {
            attempt.silence(due, cx, out);
        }
        attempt.record(*event);
        if let MidiEvent::NoteOn { key, velocity, .. } = event.what {
            attempt.note(event.at, key, velocity, cx, out);
        }
    }
    attempt
}
