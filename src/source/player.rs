//! The built-in player: plays a stretch of score the way a person does, seeded, slips and all.
//!
//! Pure: the same stretch, manner and seed give the same take. The demo listens to it, and tests
//! use it as their double. It plays struck notes; what a string sensor would make of them (ringing,
//! octaves, string numbers) would be a stage between [`Performed`] and its take.

mod script;
mod strings;
mod strokes;

use crate::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use crate::score::{Part, Unfolded};
use crate::theory::Hand;
use crate::time::{Micros, ScoreTime, Stamped, Tempo};

use script::Step;
use strokes::{Stroke, Surroundings};

/// How the player plays: speed, steadiness, rolls, and what goes wrong on purpose.
#[derive(Clone, PartialEq, Debug)]
pub struct Manner {
    pub tempo: Tempo,
    /// Spread (standard deviation) of the log ratio of played to written time between onsets
    /// (0 = a machine; 0.06 to 0.15 = people). Half of its variance is a slow drift of the tempo, half is loose
    /// from onset to onset; phrase ends slow down by as much again.
    pub timing_sd: f64,
    /// Usual time from the first to the last note of a three-note chord that is not rolled (people: about 30 ms; two
    /// notes take about half of it, five a third more). Zero strikes all notes at once.
    pub chord_spread: Micros,
    /// Length of a rolled chord from first to last note; shorter where the music leaves less room.
    pub roll: Micros,
    pub seed: u64,
    /// What happens on purpose, in any order. Each happens once, the first time its onset is reached.
    pub planned: Vec<Planned>,
}

impl Manner {
    /// Returns the manner of a fluent player with nothing planned.
    ///
    /// The figures are those measured on pianists: spread of the log ratio .04 to .08 in classical
    /// keyboard music, chords of three notes within 30 ms (public Vienna 4x22 and ASAP recordings).
    pub fn fluent(tempo: Tempo, seed: u64) -> Self {
        Manner { tempo, timing_sd: 0.06, chord_spread: Micros::from_millis(30), roll: Micros::from_millis(220), seed, planned: Vec::new() }
    }
}

/// One thing that happens on purpose; `at` is quarters from the start of the stretch.
///
/// Where no onset stands at `at`, or the hand has no note there, it happens at the first onset
/// after it where it can; when there is none it does not happen.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Planned {
    /// Silence before the onset at `at`, on top of its time.
    Pause { at: ScoreTime, length: Micros },
    /// The outer note of a hand is missed by a step.
    Wrong { at: ScoreTime, hand: Hand },
    /// The outer note of a hand is left out.
    Miss { at: ScoreTime, hand: Hand },
    /// After the onset at `at` and its time, goes back to the onset at `to` after `pause`. Without a pause, and to where a
    /// look-alike goes on, this and [`Planned::Jump`] are a wrong turn.
    Restart { at: ScoreTime, to: ScoreTime, pause: Micros },
    /// After the onset at `at` and its time, goes on at the later onset `to` after `pause`.
    Jump { at: ScoreTime, to: ScoreTime, pause: Micros },
    /// Stops for good after the onset at `at`.
    Stop { at: ScoreTime },
    /// From the onset at `at` on plays `share` times as fast as before: above 1 rushes, below 1 drags.
    Tempo { at: ScoreTime, share: f64 },
}

/// What was played, and what each note of it was meant to be.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Performed {
    pub take: Take,
    /// One for each note-on of the take, in its order.
    pub meant: Vec<Meant>,
    /// What of the planned came about, with the time of the onset it happened at (the first note
    /// after it for `Pause`, `Restart` and `Jump`), in that order.
    pub happened: Vec<(Micros, Planned)>,
}

/// What a struck note was meant to be; the index points into [`Unfolded::notes`].
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Meant {
    /// The note as written. Two notes of one onset on one key are one stroke, told by the lower index.
    Note(usize),
    /// A further stroke of an ornament: trill, tremolo, glissando.
    Free(usize),
    /// A slip instead of the note.
    Wrong(usize),
}

/// Plays a stretch of `part`; the first note comes at time zero, or after the pause planned before it.
pub fn perform(part: &Part, stretch: &Unfolded, manner: &Manner) -> Take {
    perform_told(part, stretch, manner).take
}

/// Plays a stretch of `part` and tells what each note was meant to be.
pub fn perform_told(part: &Part, stretch: &Unfolded, manner: &Manner) -> Performed {
    let onsets = script::onsets(stretch);
    let note = |n: usize| &part.notes[stretch.notes[n].note.0];
    let plan = script::write(stretch, &onsets, &manner.planned, |n| note(n).is_optional(), |n| note(n).fermata);
    let mut rng = Rng(fastrand::Rng::with_seed(manner.seed));
    let beats = beat_times(stretch, &onsets, &plan, manner, &mut rng);

    let leave_at = leaving(&plan, &beats);
    let mut struck: Vec<(f64, Stroke)> = Vec::new();
    let mut happened: Vec<(f64, Planned)> = Vec::new();
    for (k, step) in plan.iter().enumerate() {
        let beat = beats[k];
        let around = Surroundings {
            part,
            stretch,
            onsets: &onsets,
            spread: manner.chord_spread.secs_f64(),
            roll: manner.roll.secs_f64(),
            seconds_per_quarter: beat.seconds_per_quarter,
            before: if k == 0 { f64::INFINITY } else { beat.at - beats[k - 1].at },
            after: beats.get(k + 1).map_or(f64::INFINITY, |next| next.at - beat.at),
            until: leave_at[k] - beat.at,
        };
        happened.extend(step.happening.iter().map(|&p| (beat.at, p)));
        struck.extend(around.strokes(step, &mut rng).into_iter().map(|s| (beat.at + s.offset, s)));
    }
    let pause_before = plan.first().map_or(0.0, |step| step.pause.secs_f64().max(0.0));
    settle(struck, happened, pause_before)
}

/// When an onset is due and how fast the music goes there.
#[derive(Clone, Copy)]
struct Beat {
    /// Seconds; the first is zero.
    at: f64,
    seconds_per_quarter: f64,
}

/// Part of the local tempo's deviation that lasts to the next onset: a drift over about six onsets.
const DRIFT_KEPT: f64 = 0.85;
/// Deviations beyond this many standard deviations are not played: a longer wait would be a hesitation, which is planned or absent.
const DEVIATION_MAX: f64 = 2.5;
/// Bars after which a phrase is taken to end (common practice).
const PHRASE_BARS: usize = 4;
/// How far before a phrase end the slowing sets in.
const SLOWING_QUARTERS: f64 = 2.0;
/// A fermata's note lasts this much longer.
const FERMATA: f64 = 1.75;

/// Lays the onsets of the plan out in time.
///
/// Tempo drift is a first-order autoregression; onsets are displaced around it, so that neighbouring intervals compensate each
/// other (Wing & Kristofferson 1973, from memory). Phrase ends slow by a parabola (Repp 1992, J. Acoust. Soc. Am. 92:2546).
fn beat_times(stretch: &Unfolded, onsets: &[script::Onset], plan: &[Step], manner: &Manner, rng: &mut Rng) -> Vec<Beat> {
    let sd = manner.timing_sd.clamp(0.0, 0.5);
    let mut drift = rng.gauss() * sd / 2f64.sqrt();
    let mut at = 0.0;
    let mut beats = Vec::with_capacity(plan.len());
    let mut gaps = Vec::with_capacity(plan.len());
    let mut speed = 1.0;
    for step in plan {
        drift = DRIFT_KEPT * drift + (1.0 - DRIFT_KEPT * DRIFT_KEPT).sqrt() * rng.gauss() * sd / 2f64.sqrt();
        let local = manner.tempo.seconds_per_quarter() * drift.exp() * slowing(stretch, onsets[step.from].at, sd) / speed;
        let hold = if step.after_fermata && sd > 0.0 { FERMATA } else { 1.0 };
        let gap = step.gap.to_f64() * local * hold + step.pause.secs_f64().max(0.0);
        at += gap;
        beats.push(Beat { at, seconds_per_quarter: local });
        gaps.push(gap);
        speed *= step.speed_from_here();
    }
    // A note's length is that of the interval it stands in, which is known from the next onset's tempo on.
    for k in 1..beats.len() {
        beats[k - 1].seconds_per_quarter = beats[k].seconds_per_quarter;
    }
    for k in 1..beats.len() {
        let room = gaps[k].min(gaps.get(k + 1).copied().unwrap_or(gaps[k]));
        beats[k].at += (0.5 * sd * rng.gauss() * room).clamp(-0.3 * room, 0.3 * room);
    }
    beats
}

/// Returns how much slower than the tempo the music goes just after `at`: 1 or more.
fn slowing(stretch: &Unfolded, at: ScoreTime, sd: f64) -> f64 {
    let bar = stretch.bars.partition_point(|b| b.start <= at).saturating_sub(1);
    let end_bar = (bar / PHRASE_BARS + 1) * PHRASE_BARS;
    let (end, depth) = match stretch.bars.get(end_bar) {
        Some(next) => (next.start, sd),
        None => (stretch.total(), (3.0 * sd).min(0.3)),
    };
    let into = 1.0 - ((end - at).to_f64() / SLOWING_QUARTERS).clamp(0.0, 1.0);
    1.0 + depth * into * into
}

/// Returns for each step the time at which the hands next leave for another place, in seconds.
fn leaving(plan: &[Step], beats: &[Beat]) -> Vec<f64> {
    let mut leave = match plan.last() {
        Some(last) if last.happening.iter().any(|p| matches!(p, Planned::Stop { .. })) => {
            let beat = beats[plan.len() - 1];
            beat.at + beat.seconds_per_quarter
        }
        _ => f64::INFINITY,
    };
    let mut times = vec![leave; plan.len()];
    for k in (1..plan.len()).rev() {
        if plan[k].onset != plan[k - 1].onset + 1 {
            leave = beats[k].at - plan[k].pause.secs_f64().max(0.0);
        }
        times[k - 1] = leave;
    }
    times
}

/// Turns strokes into a take: note-offs added, time counted so that the first note comes at `first_at` seconds.
fn settle(mut struck: Vec<(f64, Stroke)>, happened: Vec<(f64, Planned)>, first_at: f64) -> Performed {
    struck.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some(origin) = struck.first().map(|s| s.0 - first_at) else { return Performed::default() };
    let micros = |seconds: f64| Micros::from_secs_f64(seconds - origin);
    // Time, then 0 for a note-off (so that a key comes up before it goes down again), then the stroke.
    let mut events: Vec<(Micros, u8, usize)> = Vec::with_capacity(struck.len() * 2);
    let mut struck_next: [Option<Micros>; 128] = [None; 128];
    for (i, (at, stroke)) in struck.iter().enumerate().rev() {
        let on = micros(*at);
        let next = struck_next[stroke.key.number() as usize].replace(on);
        let off = micros(at + stroke.length).min(next.unwrap_or(Micros::MAX)).max(on + Micros(1));
        events.push((on, 1, i));
        events.push((off, 0, i));
    }
    events.sort();
    let mut performed = Performed::default();
    for (at, is_on, i) in events {
        let stroke = &struck[i].1;
        let channel = Channel(0);
        let what = if is_on == 1 {
            performed.meant.push(stroke.meant);
            MidiEvent::NoteOn { channel, key: stroke.key, velocity: velocity(stroke.loudness) }
        } else {
            MidiEvent::NoteOff { channel, key: stroke.key }
        };
        performed.take.push(Stamped { at, what });
    }
    performed.happened = happened.into_iter().map(|(at, planned)| (micros(at).max(Micros::ZERO), planned)).collect();
    performed.happened.sort_by_key(|h| h.0);
    performed
}

fn velocity(loudness: f64) -> Velocity {
    Velocity(loudness.round().clamp(20.0, 115.0) as u8)
}

fn key(number: i32) -> Option<MidiKey> {
    MidiKey::try_new(number)
}

/// Seeded chance.
struct Rng(fastrand::Rng);

impl Rng {
    /// Returns a normal deviate with spread 1, cut off at [`DEVIATION_MAX`].
    fn gauss(&mut self) -> f64 {
        // Box and Muller's transform; 1 - u keeps the logarithm finite.
        let radius = (-2.0 * (1.0 - self.0.f64()).ln()).sqrt();
        (radius * (std::f64::consts::TAU * self.0.f64()).cos()).clamp(-DEVIATION_MAX, DEVIATION_MAX)
    }

    fn coin(&mut self) -> bool {
        self.0.bool()
    }
}

#[cfg(test)]
mod tests;
