//! What is known of an instrument, in a player's words.

use crate::midi::profile::{Ends, Profile};
use crate::midi::{MatchMode, MidiKey};
use crate::report::plain_text::counted;
use crate::theory::SpelledPitch;

/// Returns what was found, a line each.
pub fn profile_lines(profile: &Profile) -> Vec<String> {
    let sensor = &profile.sensor;
    let mut lines: Vec<String> = strings(profile).into_iter().collect();
    let by_itself = [(sensor.n_doubled, "double trigger"), (sensor.n_along, "ghost")];
    let heard: Vec<String> = by_itself.into_iter().filter(|(n, _)| *n > 0).map(|(n, what)| counted(n as usize, what)).collect();
    let heard = if heard.is_empty() { String::new() } else { format!(" ({} in the walk)", heard.join(", ")) };
    lines.push(format!("the same string within {} ms is one stroke{heard}", sensor.retrigger.0 / 1_000));
    lines.push(format!("it {}", matching(profile.matching)));
    lines.push(
        match profile.ends {
            Ends::None => "it does not say when a string ends",
            Ends::Ringing => "the end of a note says when the string has stopped ringing, not when it is damped",
            Ends::Damping => "the end of a note says when the string is damped",
        }
        .to_owned(),
    );
    lines
}

/// Returns the same in one line, for a list.
pub fn profile_line(profile: &Profile) -> String {
    strings(profile).into_iter().chain([matching(profile.matching).to_owned()]).collect::<Vec<_>>().join("; ")
}

/// How many strings there are, and from which to which.
fn strings(profile: &Profile) -> Option<String> {
    let (low, high) = profile.sensor.ends()?;
    let name = |key: MidiKey| SpelledPitch::for_key(key.number(), profile.names.unwrap_or(0)).to_string();
    Some(format!("{}, {} to {}", counted(profile.sensor.soft.len(), "string"), name(low), name(high)))
}

fn matching(mode: Option<MatchMode>) -> &'static str {
    match mode {
        Some(MatchMode::Strings) => "sends strings: levers and pedals are not heard",
        Some(MatchMode::Sounding) => "sends the pitch that sounds, levers and pedals with it",
        Some(MatchMode::Automatic) | None => "sends strings or pitches: the playing is to show which",
    }
}
