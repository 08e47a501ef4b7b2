//! Which notes belong together, and which hand plays them: by names where the file has them, else by pitch.

use super::file::{Event, File, What};
use super::notes::Struck;
use super::sounds;
use super::timeline::Timeline;
use super::warning;
use crate::import::Warning;
use crate::midi::Channel;
use crate::theory::Hand;
use crate::time::ScoreTime;

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
                        let what = "the file does not say which hand plays what; the notes are split by pitch".to_owned();
                        warnings.push(warning(&one.place, what));
                        split(&one.notes, struck, timeline)
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
                let place = format!("track {}, channel {}", track.number, note.channel.0 + 1);
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
            said.push(format!("{} to the {}", stream.place, hand.words()));
        }
        let voice = &mut n_voices[hand as usize];
        *voice = voice.saturating_add(1);
        notes.extend(stream.notes.iter().map(|&n| (n, hand, *voice)));
    }
    if !said.is_empty() {
        warnings.push(warning("hands", format!("the file does not name them; by pitch {}", said.join(", "))));
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

/// Lowest and highest key that the split may lie at, and where it lies when nothing speaks for another.
const SPLIT_MIN: i32 = 40;
const SPLIT_MAX: i32 = 80;
const SPLIT_USUAL: f64 = 60.0;
/// Semitones that a hand spans without trouble: an octave and a bit.
const REACH: i32 = 14;
/// Fingers of a hand.
const FINGERS: usize = 5;
/// Weights of the split's costs, set on piano scores whose staves are the truth (Mozart sonata movements and Schumann op. 15 of the
/// DCML corpora, two scores of Vienna 4x22; 108,857 notes poured into one track): 94.5 % of notes go to the hand of their
/// staff, where a fixed split at middle C gives 78.1 %.
const PER_SEMITONE_BEYOND_REACH: f64 = 1.0;
const PER_FINGER_TOO_MANY: f64 = 2.0;
const PER_SPREAD: f64 = 0.03;
const PER_SEMITONE_MOVED: f64 = 0.1;
const PER_SEMITONE_FROM_USUAL: f64 = 0.001;

/// Splits one stream between the hands: a split point that moves with the music, found by dynamic programming over onsets.
///
/// A place of the split costs by what it asks of the hands (reach, fingers), by how mixed the notes around are on either side, by how far
/// it moved and by its distance from middle C. Time grows with onsets times split points.
fn split(notes: &[usize], struck: &[Struck], timeline: &Timeline) -> Vec<Hand> {
    let rows: Vec<Row> = rows(notes, struck, timeline);
    let points: Vec<i32> = (SPLIT_MIN..=SPLIT_MAX).collect();
    let mut costs: Vec<f64> = vec![0.0; points.len()];
    let mut came_from: Vec<Vec<usize>> = Vec::with_capacity(rows.len());
    for row in &rows {
        let mut from: Vec<usize> = (0..points.len()).collect();
        // The price of moving grows with the distance, so the cheapest way to each point is found from its neighbours, upward and back.
        for (to, next) in (1..points.len()).map(|i| (i, i - 1)).chain((1..points.len()).rev().map(|i| (i - 1, i))) {
            if costs[next] + PER_SEMITONE_MOVED < costs[to] {
                costs[to] = costs[next] + PER_SEMITONE_MOVED;
                from[to] = from[next];
            }
        }
        costs.iter_mut().zip(&points).for_each(|(cost, &point)| *cost += row.cost(point));
        came_from.push(from);
    }
    let mut at = (0..points.len()).min_by(|&a, &b| costs[a].total_cmp(&costs[b])).unwrap_or(0);
    let mut chosen = vec![0; rows.len()];
    for (row, from) in came_from.iter().enumerate().rev() {
        chosen[row] = points[at];
        at = from[at];
    }
    let mut hands = vec![Hand::Right; notes.len()];
    for (row, point) in rows.iter().zip(chosen) {
        for i in row.first..row.end {
            hands[i] = if i32::from(struck[notes[i]].key.number()) >= point { Hand::Right } else { Hand::Left };
        }
    }
    hands
}

/// One onset as the split sees it.
struct Row {
    /// Its notes, as positions in the stream.
    first: usize,
    end: usize,
    /// Keys down at the onset: its own and those held.
    down: Vec<i32>,
    /// Keys within a quarter before and after.
    around: Vec<i32>,
}

impl Row {
    fn cost(&self, point: i32) -> f64 {
        let mut cost = PER_SEMITONE_FROM_USUAL * (f64::from(point) - SPLIT_USUAL).abs();
        for is_right in [false, true] {
            let side = || self.down.iter().copied().filter(|&k| (k >= point) == is_right);
            let span = side().max().unwrap_or(0) - side().min().unwrap_or(0);
            cost += PER_SEMITONE_BEYOND_REACH * f64::from((span - REACH).max(0));
            cost += PER_FINGER_TOO_MANY * side().count().saturating_sub(FINGERS) as f64;
            let around = || self.around.iter().copied().filter(|&k| (k >= point) == is_right).map(f64::from);
            let n = around().count() as f64;
            if n > 0.0 {
                let mean = around().sum::<f64>() / n;
                cost += PER_SPREAD * around().map(|k| (k - mean).powi(2)).sum::<f64>() / self.around.len() as f64;
            }
        }
        cost
    }
}

fn rows(notes: &[usize], struck: &[Struck], timeline: &Timeline) -> Vec<Row> {
    let onset: Vec<ScoreTime> = notes.iter().map(|&n| timeline.at(struck[n].on)).collect();
    let end: Vec<ScoreTime> = notes.iter().map(|&n| timeline.at(struck[n].off)).collect();
    let key = |i: usize| i32::from(struck[notes[i]].key.number());
    let mut rows = Vec::new();
    let mut first = 0;
    while first < notes.len() {
        let at = onset[first];
        let last = onset.partition_point(|&o| o <= at);
        let near = onset.partition_point(|&o| o < at - ScoreTime::QUARTER)..onset.partition_point(|&o| o <= at + ScoreTime::QUARTER);
        // A pedal makes notes last longer than any hand holds them: those of the last two quarters count.
        let held_from = onset.partition_point(|&o| o < at - ScoreTime::quarters(2));
        let down = (held_from..last).filter(|&i| i >= first || end[i] > at).map(key).collect();
        rows.push(Row { first, end: last, down, around: near.map(key).collect() });
        first = last;
    }
    rows
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
