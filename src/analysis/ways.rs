//! How a passage goes on from a place, and in what it goes on differently from another: the words of a switch.

use super::digest::Digest;
use super::facts::bar_at;
use super::harmony::BeatChord;
use super::material::{Material, Tone, beat_ticks};
use super::motion::Move;
use super::wording::Words;
use crate::theory::Hand;

/// What can be said of the way on, the most useful first; all are compared one by one.
///
/// Each with what it is compared by: the same root with another quality is no other way.
fn ways(words: &Words<'_>, harmony: &[BeatChord], digests: &[Digest], at: i64) -> Vec<Option<(String, String)>> {
    let material = words.material;
    let bar = bar_at(material, at);
    let beat = material.beat_at(at);
    let chord = |beat: usize| {
        let said = harmony.get(beat).filter(|c| c.stated)?;
        Some((words.root_or_chord(said.chord, material.beats[beat].bar), said.chord.root.to_string()))
    };
    let plain = |text: String| (text.clone(), text);
    let end = at + beat_ticks(material.bars[bar].meter);
    let ahead = window(material, at, end);
    let is_rolled = ahead.iter().take_while(|t| t.at == at).any(|t| t.is_rolled);
    let left = &digests[bar].left;
    let is_bar_start = at == material.bars[bar].at;
    vec![
        chord(beat),
        Some(plain(if is_rolled { tr!("roll") } else { tr!("no roll") })),
        step_of(material, at, Hand::Left).map(|by| (tr!("bass {step}", step = line_step(by)), by.to_string())),
        step_of(material, at, Hand::Right).map(|by| (tr!("top line {step}", step = line_step(by)), by.to_string())),
        chord(beat + 1).map(|(c, root)| (tr!("then {chord}", chord = c), root)),
        left.shape.as_ref().filter(|_| is_bar_start).map(|s| plain(tr!("{hand} {text}", hand = Hand::Left.words(), text = words.shape(s)))),
        Some(plain(tr!("{hand} {text}", hand = Hand::Right.words(), text = digests[bar].right.texture.words()))),
    ]
}

/// Says how an outer line goes: `third up`, or that it stays.
fn line_step(by: i32) -> String {
    let step = Move::between(0, by);
    if step.0 == 0 { tr!("stays") } else { step.short() }
}

/// Returns what is different about the ways on from two places, in words: here, and there.
/// Both places are the same moment of their bars.
pub fn both_ways(words: &Words<'_>, harmony: &[BeatChord], digests: &[Digest], here: i64, there: i64) -> Option<(String, String)> {
    let (a, b) = (ways(words, harmony, digests, here), ways(words, harmony, digests, there));
    let mut pairs = a.into_iter().zip(b).enumerate().filter_map(|(nth, (a, b))| Some((nth, a?, b?)));
    let (nth, a, b) = pairs.find(|(_, a, b)| a.1 != b.1)?;
    if a.0 != b.0 {
        return Some((a.0, b.0));
    }
    // The same step but for the octave.
    let hand = if nth == 2 { Hand::Left } else { Hand::Right }.words();
    let is_higher = a.1.parse::<i32>().ok()? > b.1.parse::<i32>().ok()?;
    let (high, low) = (tr!("{hand} {text}", hand, text = Move(7).compared()), tr!("{hand} {text}", hand, text = Move(-7).compared()));
    Some(if is_higher { (high, low) } else { (low, high) })
}

fn window(material: &Material, from: i64, end: i64) -> &[Tone] {
    let place = |at: i64| material.tones.partition_point(|t| t.at < at);
    &material.tones[place(from)..place(end)]
}

/// How a hand's outer line moves into a place: the left hand's lowest, the right hand's highest.
fn step_of(material: &Material, at: i64, hand: Hand) -> Option<i32> {
    let place = material.tones.partition_point(|t| t.at < at);
    let outer = |tones: &[&Tone]| {
        let steps = tones.iter().map(|t| t.steps);
        if hand == Hand::Left { steps.min() } else { steps.max() }
    };
    let here: Vec<&Tone> = material.tones[place..].iter().take_while(|t| t.at == at).filter(|t| t.hand == hand).collect();
    // A hand is looked back at for a bar's notes at most.
    const BACK: usize = 64;
    let last = material.tones[place.saturating_sub(BACK)..place].iter().rev().find(|t| t.hand == hand)?.at;
    let before: Vec<&Tone> = material.tones[place.saturating_sub(BACK)..place].iter().filter(|t| t.hand == hand && t.at == last).collect();
    Some(outer(&here)? - outer(&before)?)
}
