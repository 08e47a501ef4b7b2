//! What is known of an instrument, in a player's words.

use crate::midi::profile::{Ends, Profile};
use crate::midi::{MatchMode, MidiKey};
use crate::theory::SpelledPitch;

/// Returns what was found, a line each.
pub fn profile_lines(profile: &Profile) -> Vec<String> {
    let sensor = &profile.sensor;
    let mut lines: Vec<String> = strings(profile).into_iter().collect();
    let doubled = tr!("1 double trigger" | "{n} double triggers" % sensor.n_doubled);
    let ghosts = tr!("1 ghost" | "{n} ghosts" % sensor.n_along);
    let by_itself = [(sensor.n_doubled, doubled), (sensor.n_along, ghosts)];
    let heard: Vec<String> = by_itself.into_iter().filter(|(n, _)| *n > 0).map(|(_, words)| words).collect();
    let heard = if heard.is_empty() { String::new() } else { tr!(" ({what} in the walk)", what = heard.join(", ")) };
    lines.push(tr!("the same string within {ms} ms is one stroke{heard}", ms = sensor.retrigger.0 / 1_000, heard));
    lines.push(tr!("it {sends}", sends = matching(profile.matching)));
    lines.push(match profile.ends {
        Ends::None => tr!("it does not say when a string ends"),
        Ends::Ringing => tr!("the end of a note says when the string has stopped ringing, not when it is damped"),
        Ends::Damping => tr!("the end of a note says when the string is damped"),
    });
    lines
}

/// Returns the same in one line, for a list.
pub fn profile_line(profile: &Profile) -> String {
    strings(profile).into_iter().chain([matching(profile.matching)]).collect::<Vec<_>>().join(&tr!("; "))
}

/// How many strings there are, and from which to which.
fn strings(profile: &Profile) -> Option<String> {
    let (low, high) = profile.sensor.ends()?;
    let name = |key: MidiKey| SpelledPitch::for_key(key.number(), profile.names.unwrap_or(0)).to_string();
    Some(tr!("1 string, {low} to {high}" | "{n} strings, {low} to {high}" % profile.sensor.soft.len(), low = name(low), high = name(high)))
}

fn matching(mode: Option<MatchMode>) -> String {
    match mode {
        Some(MatchMode::Strings) => tr!("sends strings: levers and pedals are not heard"),
        Some(MatchMode::Sounding) => tr!("sends the pitch that sounds, levers and pedals with it"),
        Some(MatchMode::Automatic) | None => tr!("sends strings or pitches: the playing is to show which"),
    }
}
