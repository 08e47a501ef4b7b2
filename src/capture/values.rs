//! Note values and voices: how long what was struck is written.
//!
//! When a key comes up says little on a keyboard and nothing on a harp. A note is written up to the next onset of its hand, or to
//! the bar line before it; longer or shorter only where the keys of this reading tell (they mostly come up about when the
//! next note of the hand goes down) and this one plainly says so. The rules are ours.

use crate::score::Bar;
use crate::theory::Hand;
use crate::time::ScoreTime;

/// A note on the grid.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Stroke {
    pub onset: ScoreTime,
    pub key: u8,
    pub hand: Hand,
    /// Quarters that the key was held, where that is known.
    pub held: Option<f64>,
}

/// A key held longer than this part of the way to the hand's next onset is held over it.
const HELD_OVER: f64 = 1.35;
/// Keys of a reading tell nothing when more than this part of them is held over.
const HELD_OVER_MAX: f64 = 0.35;
/// A key held less than this part of the way is let go early: a rest follows, if the way is longer than a beat.
const LET_GO: f64 = 0.4;
/// Bars that a note may be held, its own counted.
const N_BARS_HELD: usize = 3;

/// Returns the value of each note; notes are sorted by onset. None is zero.
pub(super) fn values(strokes: &[Stroke], bars: &[Bar]) -> Vec<ScoreTime> {
    let next: Vec<Option<ScoreTime>> = strokes
        .iter()
        .enumerate()
        .map(|(i, s)| strokes[i + 1..].iter().find(|n| n.hand == s.hand && n.onset > s.onset).map(|n| n.onset))
        .collect();
    let part = |i: usize| Some(strokes[i].held? / (next[i]? - strokes[i].onset).to_f64());
    let parts: Vec<f64> = (0..strokes.len()).filter_map(part).collect();
    let n_over = parts.iter().filter(|&&p| p > HELD_OVER).count();
    let keys_tell = n_over as f64 <= HELD_OVER_MAX * parts.len() as f64;
    let value = |i: usize| {
        let held = strokes[i].held.filter(|_| keys_tell);
        end_of(strokes, i, next[i], held, bars) - strokes[i].onset
    };
    (0..strokes.len()).map(value).collect()
}

fn end_of(strokes: &[Stroke], i: usize, next: Option<ScoreTime>, held: Option<f64>, bars: &[Bar]) -> ScoreTime {
    let Stroke { onset, key, hand, .. } = strokes[i];
    let bar = bars.partition_point(|b| b.start <= onset).saturating_sub(1);
    let bar_line = bars[bar].start + bars[bar].length;
    let usual = next.map_or(bar_line, |n| n.min(bar_line));
    let Some(held) = held else { return usual };
    let way = (usual - onset).to_f64();
    if held > HELD_OVER * way {
        let last = bars[(bar + N_BARS_HELD).min(bars.len()) - 1].clone();
        let again = strokes[i + 1..].iter().find(|n| n.key == key && n.onset > onset).map_or(last.start + last.length, |n| n.onset);
        let later = strokes[i + 1..].iter().take_while(|n| n.onset <= again).filter(|n| n.hand == hand && n.onset > onset).map(|n| n.onset);
        let lines = bars[bar..].iter().take(N_BARS_HELD).map(|b| b.start + b.length).filter(|&line| line <= again);
        let off = |end: ScoreTime| (held / (end - onset).to_f64()).ln().abs();
        return later.chain(lines).chain([usual]).min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap_or(usual);
    }
    let beat = bars[bar].meter.beat_length();
    if held < LET_GO * way && usual - onset > beat {
        let mut end = bars[bar].start;
        while end <= onset {
            end += beat;
        }
        while (end - onset).to_f64() < held {
            end += beat;
        }
        return end.min(usual);
    }
    usual
}

/// Gives each note a voice: notes of a hand that overlap without beginning and ending together stand in different ones.
/// The right hand has voices 1 to 4, the left 5 to 8 (common practice); what fits in none of them shares the last.
pub(super) fn voices(strokes: &[Stroke], values: &[ScoreTime]) -> Vec<u8> {
    const N_VOICES: usize = 4;
    let mut voices = vec![0; strokes.len()];
    for hand in [Hand::Right, Hand::Left] {
        let first = if hand == Hand::Right { 1 } else { 5 };
        // Onset and end of the chord that each voice holds.
        let mut held: Vec<(ScoreTime, ScoreTime)> = Vec::new();
        for (i, stroke) in strokes.iter().enumerate().filter(|(_, s)| s.hand == hand) {
            let (onset, end) = (stroke.onset, stroke.onset + values[i]);
            let fits = |h: &(ScoreTime, ScoreTime)| h.1 <= onset || *h == (onset, end);
            let voice = match held.iter().position(fits) {
                Some(voice) => voice,
                None if held.len() < N_VOICES => {
                    held.push((onset, end));
                    held.len() - 1
                }
                None => N_VOICES - 1,
            };
            held[voice] = (onset, end);
            voices[i] = first + voice as u8;
        }
    }
    voices
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::Page;
    use crate::theory::Meter;

    fn bars() -> Vec<Bar> {
        let meters = vec![(1, Meter { beats: 3, unit: 4 })];
        Page { meters, keys: vec![], pickup: ScoreTime::ZERO, n_bars: None, repeats: vec![] }.bars(4)
    }

    fn strokes(rows: &[(i64, u8, Option<f64>)]) -> Vec<Stroke> {
        rows.iter().map(|&(eighths, key, held)| Stroke { onset: ScoreTime::new(eighths, 2), key, hand: Hand::Right, held }).collect()
    }

    #[test]
    fn a_note_lasts_to_the_next_of_its_hand_or_to_the_bar_line() {
        let eighths =
            |rows: &[(i64, u8, Option<f64>)]| values(&strokes(rows), &bars()).iter().map(|v| v.to_f64() * 2.0).collect::<Vec<_>>();
        assert_eq!(eighths(&[(0, 60, None), (1, 62, None), (3, 64, None), (8, 60, None)]), [1.0, 2.0, 3.0, 4.0]);
        // Let go after a quarter of the way: a rest follows. Held over the next note: a second voice.
        assert_eq!(eighths(&[(0, 60, Some(0.6)), (6, 62, Some(0.5)), (7, 64, Some(0.5)), (8, 62, Some(0.5))]), [2.0, 1.0, 1.0, 2.0]);
        assert_eq!(
            eighths(&[(0, 60, Some(1.5)), (1, 62, Some(0.5)), (2, 64, Some(0.5)), (3, 62, Some(0.5)), (4, 62, Some(1.0))]),
            [3.0, 1.0, 1.0, 1.0, 2.0]
        );
        // Strings that ring on say nothing.
        assert_eq!(eighths(&[(0, 60, Some(3.0)), (1, 62, Some(3.0)), (2, 64, Some(3.0))]), [1.0, 1.0, 4.0]);
    }

    #[test]
    fn what_overlaps_stands_in_voices_of_its_own() {
        let notes = strokes(&[(0, 60, None), (0, 64, None), (2, 65, None)]);
        let quarters = [2, 1, 1].map(ScoreTime::quarters);
        assert_eq!(voices(&notes, &quarters), [1, 2, 2]);
    }
}
