//! Scores made for following: textures of keyboard and harp, seeded.

use std::fmt::Write as _;
use std::sync::Arc;

use catchword::follower::Line;
use catchword::import::notelist;
use catchword::midi::MidiKey;
use catchword::score::{Ornament, Score, Unfolded, unfold};
use catchword::time::ScoreTime;
use fastrand::Rng;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Texture {
    /// Melody over bass and chord.
    Keyboard,
    /// Arpeggios over four octaves in semiquavers, up and down.
    Arpeggio,
    /// An arpeggio over five octaves, one bar up and one bar down, the hands crossing over each other.
    LongArpeggio,
    /// One note struck again and again under a moving bass.
    Repeated,
    /// Both hands on the same keys.
    Unison,
    /// Two strings tuned to one sound, plucked in turn under a melody.
    Enharmonic,
    /// Tremolo between strings, and on one string, over a bass.
    Tremolo,
    /// Glissandi up and down between chords.
    Glissando,
    /// Harmonics, an octave above the string that is plucked, over broken chords.
    Harmonics,
    /// Phrases that begin alike and part at the end.
    LookAlike,
    /// Three notes against four.
    Cross,
}

pub const TEXTURES: [Texture; 11] = [
    Texture::Keyboard,
    Texture::Arpeggio,
    Texture::LongArpeggio,
    Texture::Repeated,
    Texture::Unison,
    Texture::Enharmonic,
    Texture::Tremolo,
    Texture::Glissando,
    Texture::Harmonics,
    Texture::LookAlike,
    Texture::Cross,
];

/// A generated score of sixteen bars in 4/4, laid out for following.
pub struct Made {
    pub score: Score,
    pub stretch: Unfolded,
    pub line: Arc<Line>,
}

impl Made {
    /// Tells whether a bar (from 0) stands elsewhere note for note, with the bar after it where there is one.
    pub fn stands_elsewhere(&self, bar: usize) -> bool {
        let keys = |bar: usize| -> Vec<(ScoreTime, MidiKey)> {
            let start = ScoreTime::quarters(4 * bar as i64);
            let of_bar = self.stretch.notes.iter().filter(|n| n.played_bar == bar);
            of_bar.map(|n| (n.onset - start, n.key)).collect()
        };
        let same =
            |other: usize| keys(other) == keys(bar) && (bar + 1 == N_BARS || other + 1 == N_BARS || keys(other + 1) == keys(bar + 1));
        (0..N_BARS).any(|other| other != bar && same(other))
    }
}

const N_BARS: usize = 16;
const SCALE: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
const CHORD: [i32; 3] = [0, 2, 4];

fn degree(base: i32, d: i32) -> i32 {
    base + 12 * d.div_euclid(7) + SCALE[d.rem_euclid(7) as usize]
}

/// One note of a bar; times in twelfths of a quarter.
#[derive(Clone, Copy)]
struct Written {
    at: i64,
    length: i64,
    key: i32,
    left: bool,
    ornament: Ornament,
}

fn note(at: i64, length: i64, key: i32, left: bool) -> Written {
    Written { at, length, key, left, ornament: Ornament::None }
}

fn key(number: i32) -> MidiKey {
    MidiKey::try_new(number).expect("the textures stay on the keyboard")
}

fn bar(texture: Texture, n: usize, rng: &mut Rng) -> Vec<Written> {
    let root = rng.i32(-3..4);
    let mut out = Vec::new();
    match texture {
        Texture::Keyboard | Texture::LookAlike => {
            for beat in 0..4 {
                if beat % 2 == 0 {
                    out.push(note(12 * beat, 12, degree(48, root), true));
                } else {
                    out.extend([2, 4].map(|third| note(12 * beat, 12, degree(48, root + third), true)));
                }
                out.extend([0, 6].map(|half| note(12 * beat + half, 6, degree(72, root + rng.i32(-4..7)), false)));
            }
        }
        Texture::Arpeggio => {
            for k in 0..16 {
                let up = if k < 8 { k } else { 15 - k };
                let d = root + CHORD[up % 3] + 7 * (up as i32 / 3);
                out.push(note(3 * k as i64, 3, degree(48, d), up < 4));
            }
        }
        Texture::LongArpeggio => {
            for k in 0..16usize {
                let up = if n.is_multiple_of(2) { k } else { 15 - k };
                let d = root + CHORD[up % 3] + 7 * (up as i32 / 3);
                out.push(note(3 * k as i64, 3, degree(36, d), up / 4 % 2 == 0));
            }
        }
        Texture::Repeated => {
            for k in 0..8 {
                out.push(note(6 * k, 6, degree(72, root), false));
            }
            out.extend([0, 24].map(|at| note(at, 24, degree(48, root + rng.i32(-3..4)), true)));
        }
        Texture::Unison => {
            for k in 0..4 {
                let key = degree(60, root + rng.i32(-3..4));
                out.extend([note(12 * k, 12, key, true), note(12 * k, 12, key, false)]);
            }
        }
        Texture::Enharmonic => {
            let string = degree(60, root);
            out.extend((0..16).map(|k| note(3 * k, 3, string, k % 2 == 0)));
            out.extend((0..4).map(|k| note(12 * k, 12, degree(72, root + rng.i32(1..7)), false)));
        }
        Texture::Tremolo => {
            let (low, high) = (root, root + rng.i32(2..5));
            let end = |at, d| Written { ornament: Ornament::TremoloPair, ..note(at, 12, degree(72, d), false) };
            out.extend([end(0, low), end(12, high)]);
            out.push(Written { ornament: Ornament::Tremolo, ..note(24, 24, degree(72, root + rng.i32(-2..3)), false) });
            out.extend((0..4).map(|k| note(12 * k, 12, degree(48, root + CHORD[k as usize % 3]), true)));
        }
        Texture::Glissando => {
            let (from, to) = if n.is_multiple_of(2) { (root, root + 14) } else { (root + 14, root) };
            let target = key(degree(60, to));
            out.push(Written { ornament: Ornament::GlissandoTo(target), ..note(0, 24, degree(60, from), false) });
            out.push(Written { ornament: Ornament::GlissandoEnd, ..note(24, 12, degree(60, to), false) });
            out.extend([2, 4].map(|third| note(36, 12, degree(60, root + third), false)));
            out.extend([0, 36].map(|at| note(at, 12, degree(36, root), true)));
        }
        Texture::Harmonics => {
            let harmonic = |k: i64, d| Written { ornament: Ornament::Harmonic, ..note(12 * k, 12, degree(72, d), false) };
            out.extend((0..4).map(|k| harmonic(k, root + rng.i32(-2..5))));
            out.extend((0..8).map(|k| note(6 * k, 6, degree(48, root + [0, 2, 4, 2, 4, 2, 4, 2][k as usize]), true)));
        }
        Texture::Cross => {
            let step = rng.i32(-2..3);
            out.extend((0..6).map(|k| note(8 * k, 8, degree(72, root + step + [0, 2, 4, 5, 4, 2][k as usize]), false)));
            out.extend((0..8).map(|k| note(6 * k, 6, degree(48, root + [0, 4, 2, 4, 7, 4, 2, 4][k as usize]), true)));
        }
    }
    out
}

/// Makes a score.
pub fn make(texture: Texture, seed: u64) -> Made {
    let rng = &mut Rng::with_seed(seed);
    let mut bars: Vec<Vec<Written>> = (0..N_BARS).map(|n| bar(texture, n, rng)).collect();
    if texture == Texture::LookAlike {
        for k in 4..7 {
            bars[k] = bars[k - 4].clone();
            bars[k + 8] = bars[k - 4].clone();
        }
    }
    of_bars(&bars)
}

/// A phrase of about four bars that comes twice, each time with its own continuation.
pub struct Switch {
    pub made: Made,
    /// Quarters from the start: where the first part goes its own way, and where the second does.
    pub switch: (ScoreTime, ScoreTime),
}

/// Makes a score with a switch `into` quarters (2 or 4) into the fourth bar of its phrase.
pub fn make_switch(seed: u64, into: i64) -> Switch {
    let rng = &mut Rng::with_seed(seed);
    let mut bars: Vec<Vec<Written>> = (0..N_BARS).map(|n| bar(Texture::Keyboard, n, rng)).collect();
    for k in 0..3 {
        bars[k + 8] = bars[k].clone();
    }
    let (first, second) = bars.split_at_mut(8);
    second[3].retain(|w| w.at >= 12 * into);
    second[3].extend(first[3].iter().filter(|w| w.at < 12 * into));
    // The first note after the switch tells the two apart.
    for (n, d) in [(3, -2), (11, 3)] {
        let (n, at) = (n + (into / 4) as usize, 12 * (into % 4));
        bars[n].retain(|w| w.at != at);
        bars[n].extend([note(at, 12, degree(48, d), true), note(at, 6, degree(72, d + 2), false)]);
    }
    let switch = |n: i64| ScoreTime::quarters(4 * n + into);
    Switch { made: of_bars(&bars), switch: (switch(3), switch(11)) }
}

fn of_bars(bars: &[Vec<Written>]) -> Made {
    let mut written: Vec<(i64, usize, Written)> =
        bars.iter().enumerate().flat_map(|(n, bar)| bar.iter().map(move |w| (48 * n as i64 + w.at, n, *w))).collect();
    written.sort_by_key(|(at, _, w)| (*at, w.key));
    let mut text = "onset_beats,duration_beats,pitch,hand,bar,meter\n".to_owned();
    for (at, bar, w) in &written {
        let hand = if w.left { "L" } else { "R" };
        let _ = writeln!(text, "{:.6},{:.6},{},{hand},{},4/4", *at as f64 / 12.0, w.length as f64 / 12.0, w.key, bar + 1);
    }
    let (mut score, _) = notelist::read(text.as_bytes(), "made.csv").expect("the list is well formed");
    for (read, (_, _, w)) in score.parts[0].notes.iter_mut().zip(&written) {
        read.ornament = w.ornament;
        if w.ornament == Ornament::Harmonic {
            read.key = key(w.key + 12);
        }
    }
    let bars = score.all_bars().expect("the score has bars");
    let stretch = unfold(&score, &score.parts[0], &bars);
    let line = Arc::new(Line::new(&score, &score.parts[0], &stretch, &[]).expect("the score has notes"));
    Made { score, stretch, line }
}
