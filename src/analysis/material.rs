//! The notes of one part as analysis looks at them: whole ticks instead of fractions, beats laid out by the metre.
//!
//! Grace notes and cue-sized notes are left out: they decorate, and may be left out by the player too.

use crate::score::{Note, NoteIdx, Part, Score};
use crate::theory::{Hand, Meter};
use crate::time::ScoreTime;

/// Ticks of a quarter note: divisible by every note value down to the 256th and by 3, 5, 7 and 9.
pub const TICKS: i64 = 20_160;

/// Returns the nearest tick.
pub fn ticks(time: ScoreTime) -> i64 {
    if TICKS % time.denominator() == 0
        && let Some(exact) = time.numerator().checked_mul(TICKS / time.denominator())
    {
        return exact.clamp(-(1 << 60), 1 << 60);
    }
    let (n, d) = (time.numerator() as i128, time.denominator() as i128);
    let exact = (2 * n * TICKS as i128 + d).div_euclid(2 * d);
    exact.clamp(-(1 << 60), 1 << 60) as i64
}

/// A note that counts.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Tone {
    /// Ticks from the start of the printed score.
    pub at: i64,
    pub end: i64,
    /// The sounding key.
    pub key: u8,
    /// String number in steps from C0, and the accidental on it.
    pub steps: i32,
    pub alter: i8,
    pub hand: Hand,
    pub bar: usize,
    pub note: NoteIdx,
    pub finger: Option<u8>,
    pub is_rolled: bool,
}

impl Tone {
    /// Returns the sounding pitch class, `0..12` from C.
    pub fn pc(&self) -> usize {
        self.key as usize % 12
    }
}

/// A printed bar in ticks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct BarSpan {
    pub at: i64,
    pub end: i64,
    /// How far into the metre's bar it begins.
    pub offset: i64,
    pub meter: Meter,
    pub fifths: i8,
}

/// One beat as it is felt: three eighths in compound metres, a whole bar in 3/8.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Beat {
    pub at: i64,
    pub end: i64,
    pub bar: usize,
    /// 2: first of the bar, 1: the middle of a bar of four or more, 0: any other.
    pub strength: u8,
}

/// One part laid out for analysis.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Material {
    /// Sorted by start, then key, then hand.
    pub tones: Vec<Tone>,
    pub bars: Vec<BarSpan>,
    /// In order, without gaps inside a bar; at least one a bar that has a length.
    pub beats: Vec<Beat>,
    /// For each bar the first of its tones in `tones`; one more entry at the end.
    pub first_tone: Vec<usize>,
    /// For each bar the first of its beats; one more entry at the end.
    pub first_beat: Vec<usize>,
}

impl Material {
    /// Lays out a part. Cost: near-linear in its notes and beats.
    pub fn new(score: &Score, part: &Part) -> Material {
        let bar_span = |b: &crate::score::Bar| BarSpan {
            at: ticks(b.start),
            end: ticks(b.start + b.length),
            offset: ticks(b.offset),
            meter: b.meter,
            fifths: b.key.fifths,
        };
        let bars: Vec<BarSpan> = score.bars.iter().map(bar_span).collect();
        let mut tones: Vec<Tone> = part.notes.iter().enumerate().filter_map(|(idx, note)| tone(NoteIdx(idx), note)).collect();
        tones.sort_by_key(|t| (t.at, t.key, t.hand));
        let mut beats = Vec::new();
        let mut first_beat = Vec::with_capacity(bars.len() + 1);
        for (bar, span) in bars.iter().enumerate() {
            first_beat.push(beats.len());
            lay_beats(bar, span, &mut beats);
        }
        first_beat.push(beats.len());
        let first_tone = (0..=bars.len()).map(|bar| tones.partition_point(|t| t.bar < bar)).collect();
        Material { tones, bars, beats, first_tone, first_beat }
    }

    /// Returns the tones that begin in a bar.
    pub fn tones_of(&self, bar: usize) -> &[Tone] {
        &self.tones[self.first_tone[bar]..self.first_tone[bar + 1]]
    }

    /// Returns the index of the beat that holds a tick, the nearest one outside.
    pub fn beat_at(&self, at: i64) -> usize {
        self.beats.partition_point(|b| b.at <= at).saturating_sub(1)
    }
}

fn tone(idx: NoteIdx, note: &Note) -> Option<Tone> {
    (!note.is_optional()).then(|| Tone {
        at: ticks(note.onset),
        end: ticks(note.onset + note.duration).max(ticks(note.onset)),
        key: note.key.number(),
        steps: note.pitch.string_steps(),
        alter: note.pitch.alter,
        hand: note.hand,
        bar: note.bar.0,
        note: idx,
        finger: note.finger,
        is_rolled: matches!(note.roll, Some(crate::score::Roll::Up | crate::score::Roll::Down)),
    })
}

/// Returns the length of one felt beat in ticks.
pub fn beat_ticks(meter: Meter) -> i64 {
    let unit = ticks(meter.beat_length()).max(1);
    if meter.unit >= 8 && meter.beats.is_multiple_of(3) { 3 * unit } else { unit }
}

fn lay_beats(bar: usize, span: &BarSpan, beats: &mut Vec<Beat>) {
    /// No bar of music has more; a damaged file may.
    const BEATS_MAX: i64 = 64;
    let length = beat_ticks(span.meter).max((span.end - span.at) / BEATS_MAX + 1);
    let whole = ticks(span.meter.bar_length()).max(1);
    let mut at = span.at;
    while at < span.end {
        let into = at - span.at + span.offset;
        let end = (at + length - into.rem_euclid(length)).min(span.end);
        let strength = if into % whole == 0 {
            2
        } else if whole / length >= 4 && into * 2 == whole {
            1
        } else {
            0
        };
        beats.push(Beat { at, end, bar, strength });
        at = end;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beats_are_those_that_are_felt() {
        let meter = |beats, unit| Meter::try_new(beats, unit).unwrap();
        for (beats, unit, sixteenths) in [(4, 4, 4), (6, 8, 6), (3, 8, 6), (2, 2, 8), (2, 8, 2), (3, 4, 4), (12, 8, 6)] {
            assert_eq!(beat_ticks(meter(beats, unit)), sixteenths * TICKS / 4, "{beats}/{unit}");
        }
    }

    #[test]
    fn a_pickup_has_the_last_beats_of_its_bar() {
        let span = BarSpan { at: 0, end: TICKS * 3 / 2, offset: TICKS * 5 / 2, meter: Meter::COMMON, fifths: 0 };
        let mut beats = Vec::new();
        lay_beats(0, &span, &mut beats);
        assert_eq!(beats.iter().map(|b| (b.at, b.end, b.strength)).collect::<Vec<_>>(), [(0, TICKS / 2, 0), (TICKS / 2, TICKS * 3 / 2, 0)]);
    }
}
