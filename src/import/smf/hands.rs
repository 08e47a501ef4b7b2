//! Which notes belong together, and which hand plays them: by names where the file has them, else by pitch.

use super::file::{Event, File, What};
use super::notes::Struck;
use super::sounds;
use super::timeline::Timeline;
use super::warning;
use crate::import::Warning;
use crate::midi::Channel;
use crate::score::hands::{Sounding, split_hands};
use crate::theory::Hand;

/// A part to be made.
pub(super) struct Planned {
    pub name: String,
    /// Index of the note, its hand, and its voice from 1.
    pub notes: Vec<(usize, Hand, u8)>,
}

/// The notes of one channel in one track.
struct Stream {
    track: usize,
    channel: Channel,
    /// Where it stands in the file, for warnings.
    place: String,
    name: Option<String>,
    /// The hand that the name gives.
    hand: Option<Hand>,
    program: Option<u8>,
    notes: Vec<usize>,
    mean_key: f64,
}

/// Sorts notes into parts and hands. Never empty when there are notes.
pub(super) fn parts(file: &File, struck: &[Struck], timeline: &Timeline, warnings: &mut Vec<Warning>) -> Vec<Planned> {
    let streams = streams(file, struck);
    let mut parts = Vec::new();
    for group in groups(&streams) {
        let sound = group.iter().find_map(|s| s.program).map(|p| sounds::name(p).to_owned());
        let name = group.iter().find_map(|s| bare_name(s)).or(sound).unwrap_or_else(|| format!("Part {}", parts.len() + 1));
        let notes = match group[..] {
            [one] => {
                let hands = match one.hand {
                    Some(hand) => vec![hand; one.notes.len()],
                    None => {
                        let what = tr!("the file does not say which hand plays what; the notes are split by pitch");
                        warnings.push(warning(&one.place, what));
                        let sounding = |&n: &usize| {
                            let Struck { on, off, key, velocity, .. } = struck[n];
                            Sounding { onset: timeline.at(on), end: timeline.at(off), key, velocity: Some(velocity) }
                        };
                        split_hands(&one.notes.iter().map(sounding).collect::<Vec<_>>())
                    }
                };
                one.notes.iter().zip(hands).map(|(&n, hand)| (n, hand, 1)).collect()
            }
            _ => by_stream(&group, warnings),
        };
        parts.push(Planned { name, notes });
    }
    parts
}

fn streams(file: &File, struck: &[Struck]) -> Vec<Stream> {
    let mut streams: Vec<Stream> = Vec::new();
    for (i, note) in struck.iter().enumerate() {
        match streams.iter_mut().find(|s| (s.track, s.channel) == (note.track, note.channel)) {
            Some(stream) => stream.notes.push(i),
            None => {
                let track = &file.tracks[note.track];
                let name = track.events.iter().find_map(|e| match &e.what {
                    What::Name(name) => Some(name.clone()),
                    _ => None,
                });
                let program = |events: &[Event]| {
                    events.iter().find_map(|e| match e.what {
                        What::Program { channel, program } if channel == note.channel => Some(program),
                        _ => None,
                    })
                };
                let program = program(&track.events).or_else(|| file.tracks.iter().find_map(|t| program(&t.events)));
                let place = tr!("track {number}, channel {channel}", number = track.number, channel = note.channel.0 + 1);
                streams.push(Stream {
                    track: note.track,
                    channel: note.channel,
                    place,
                    name,
                    hand: None,
                    program,
                    notes: vec![i],
                    mean_key: 0.0,
                });
            }
        }
    }
    for stream in &mut streams {
        let sum: f64 = stream.notes.iter().map(|&n| f64::from(struck[n].key.number())).sum();
        stream.mean_key = sum / stream.notes.len() as f64;
    }
    streams.sort_by_key(|s| (s.track, s.channel.0));
    // "Left" alone may stand in a title; beside a track named "right" it is a hand.
    let named: Vec<Option<Named>> = streams.iter().map(|s| s.name.as_deref().and_then(hand_of_name)).collect();
    for (stream, given) in streams.iter_mut().zip(&named) {
        stream.hand = given.filter(|g| g.is_sure || named.iter().flatten().any(|other| other.hand != g.hand)).map(|g| g.hand);
    }
    streams
}

/// Puts streams of one player together: neighbours of one name and sound, or the only two there are when they do not have different sounds.
fn groups(streams: &[Stream]) -> Vec<Vec<&Stream>> {
    let same_sound = |a: &Stream, b: &Stream| a.program.is_none() || b.program.is_none() || a.program == b.program;
    if let [a, b] = streams
        && same_sound(a, b)
        && (a.hand.is_none() || a.hand != b.hand)
    {
        return vec![vec![a, b]];
    }
    let mut groups: Vec<Vec<&Stream>> = Vec::new();
    for stream in streams {
        match groups.last_mut() {
            Some(group)
                if group.iter().all(|other| {
                    same_sound(other, stream)
                        && bare_name(other) == bare_name(stream)
                        && (stream.hand.is_none() || other.hand != stream.hand)
                }) =>
            {
                group.push(stream);
            }
            _ => groups.push(vec![stream]),
        }
    }
    groups
}

/// Gives each stream of a player one hand: by its name, else the streams above the widest gap in mean pitch to the right.
fn by_stream(group: &[&Stream], warnings: &mut Vec<Warning>) -> Vec<(usize, Hand, u8)> {
    let mut by_pitch: Vec<&&Stream> = group.iter().collect();
    by_pitch.sort_by(|a, b| a.mean_key.total_cmp(&b.mean_key));
    let gap = |i: usize| by_pitch[i].mean_key - by_pitch[i - 1].mean_key;
    let cut = (1..by_pitch.len()).max_by(|&a, &b| gap(a).total_cmp(&gap(b))).unwrap_or(0);
    let named: Vec<Option<Hand>> = group.iter().map(|s| s.hand).collect();
    let other_named = named.iter().flatten().next().map(|h| if *h == Hand::Left { Hand::Right } else { Hand::Left });
    let mut n_voices = [0u8; 2];
    let mut notes = Vec::new();
    let mut said = Vec::new();
    for (stream, named) in group.iter().zip(&named) {
        let is_high = by_pitch[cut..].iter().any(|s| (s.track, s.channel) == (stream.track, stream.channel));
        let by_pitch = if is_high { Hand::Right } else { Hand::Left };
        let hand = named.or(other_named.filter(|_| group.len() == 2)).unwrap_or(by_pitch);
        if named.is_none() {
            said.push(match hand {
                Hand::Left => tr!("{place} to the left hand", place = stream.place),
                Hand::Right => tr!("{place} to the right hand", place = stream.place),
            });
        }
        let voice = &mut n_voices[hand as usize];
        *voice = voice.saturating_add(1);
        notes.extend(stream.notes.iter().map(|&n| (n, hand, *voice)));
    }
    if !said.is_empty() {
        warnings.push(warning(&tr!("hands"), tr!("the file does not name them; by pitch {}", said.join(", "))));
    }
    notes
}

/// The hand that a name gives.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Named {
    pub hand: Hand,
    /// The name says so by itself (`Right hand`, `L.H.`); other words (`up`, `lower`, `left`) need their counterpart beside them.
    pub is_sure: bool,
}

/// Returns the hand that a track's name gives, if any.
pub(super) fn hand_of_name(name: &str) -> Option<Named> {
    let words = hand_words(name);
    let (i, hand) = words.iter().enumerate().find_map(|(i, &(_, hand))| hand.map(|h| (i, h)))?;
    let is_short = words[i].0.to_lowercase().replace('.', "").ends_with('h');
    let is_sure = is_short || words.get(i + 1).is_some_and(|w| w.0.eq_ignore_ascii_case("hand"));
    Some(Named { hand, is_sure })
}

/// Cuts a name into words, each with the hand it stands for.
fn hand_words(name: &str) -> Vec<(&str, Option<Hand>)> {
    let words = name.split(|c: char| !c.is_alphanumeric() && c != '.').filter(|w| !w.is_empty());
    let hand = |word: &str| match word.to_lowercase().replace('.', "").as_str() {
        "right" | "rh" | "treble" | "upper" | "up" => Some(Hand::Right),
        "left" | "lh" | "lower" | "down" => Some(Hand::Left),
        _ => None,
    };
    words.map(|w| (w, hand(w))).collect()
}

/// Returns a stream's name without words for hands; nothing when no more is left.
fn bare_name(stream: &Stream) -> Option<String> {
    let name = stream.name.as_deref()?;
    if stream.hand.is_none() {
        return Some(name.to_owned());
    }
    let words = hand_words(name);
    let kept: Vec<&str> = words.iter().filter(|(w, hand)| hand.is_none() && !w.eq_ignore_ascii_case("hand")).map(|w| w.0).collect();
    (!kept.is_empty()).then(|| kept.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_give_hands_surely_or_beside_their_counterpart() {
        for (name, hand, is_sure) in [
            ("Right hand", Hand::Right, true),
            ("Harp, left hand", Hand::Left, true),
            ("Piano RH", Hand::Right, true),
            ("L.H.", Hand::Left, true),
            ("up:", Hand::Right, false),
            ("Lower", Hand::Left, false),
            ("The Left Bank", Hand::Left, false),
        ] {
            assert_eq!(hand_of_name(name), Some(Named { hand, is_sure }), "{name}");
        }
        for name in ["Harp", "Bright", "Leftover", "Upright piano", ""] {
            assert_eq!(hand_of_name(name), None, "{name}");
        }
    }
}
