//! Scores made for following, as note lists: textures of keyboard and harp, seeded.

use std::fmt::Write as _;
use std::sync::Arc;

use catchword::follower::Line;
use catchword::import::notelist;
use catchword::score::{Score, Unfolded, unfold};
use fastrand::Rng;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Texture {
    /// Melody over bass and chord.
    Keyboard,
    /// Arpeggios over four octaves in semiquavers, up and down.
    Arpeggio,
    /// One note struck again and again under a moving bass.
    Repeated,
    /// Both hands on the same keys.
    Unison,
    /// Phrases that begin alike and part at the end.
    LookAlike,
    /// Three notes against four.
    Cross,
}

pub const TEXTURES: [Texture; 6] =
    [Texture::Keyboard, Texture::Arpeggio, Texture::Repeated, Texture::Unison, Texture::LookAlike, Texture::Cross];

/// A generated score of sixteen bars in 4/4, laid out for following.
pub struct Made {
    pub score: Score,
    pub stretch: Unfolded,
    pub line: Arc<Line>,
}

const N_BARS: usize = 16;
const SCALE: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];

fn degree(base: i32, d: i32) -> i32 {
    base + 12 * d.div_euclid(7) + SCALE[d.rem_euclid(7) as usize]
}

/// Notes of one bar: (twelfths of a quarter from its start, twelfths long, key, left hand).
type Bar = Vec<(i64, i64, i32, bool)>;

fn bar(texture: Texture, rng: &mut Rng) -> Bar {
    let root = rng.i32(-3..4);
    let mut out = Bar::new();
    match texture {
        Texture::Keyboard | Texture::LookAlike => {
            for beat in 0..4 {
                if beat % 2 == 0 {
                    out.push((12 * beat, 12, degree(48, root), true));
                } else {
                    out.extend([2, 4].map(|third| (12 * beat, 12, degree(48, root + third), true)));
                }
                out.extend([0, 6].map(|half| (12 * beat + half, 6, degree(72, root + rng.i32(-4..7)), false)));
            }
        }
        Texture::Arpeggio => {
            let chord = [0, 2, 4];
            for k in 0..16 {
                let up = if k < 8 { k } else { 15 - k };
                let d = root + chord[up % 3] + 7 * (up as i32 / 3);
                out.push((3 * k as i64, 3, degree(48, d), up < 4));
            }
        }
        Texture::Repeated => {
            for k in 0..8 {
                out.push((6 * k, 6, degree(72, root), false));
            }
            out.extend([0, 24].map(|at| (at, 24, degree(48, root + rng.i32(-3..4)), true)));
        }
        Texture::Unison => {
            for k in 0..4 {
                let key = degree(60, root + rng.i32(-3..4));
                out.extend([(12 * k, 12, key, true), (12 * k, 12, key, false)]);
            }
        }
        Texture::Cross => {
            let step = rng.i32(-2..3);
            out.extend((0..6).map(|k| (8 * k, 8, degree(72, root + step + [0, 2, 4, 5, 4, 2][k as usize]), false)));
            out.extend((0..8).map(|k| (6 * k, 6, degree(48, root + [0, 4, 2, 4, 7, 4, 2, 4][k as usize]), true)));
        }
    }
    out
}

/// Makes a score.
pub fn make(texture: Texture, seed: u64) -> Made {
    let rng = &mut Rng::with_seed(seed);
    let mut bars: Vec<Bar> = (0..N_BARS).map(|_| bar(texture, rng)).collect();
    if texture == Texture::LookAlike {
        for k in 4..7 {
            bars[k] = bars[k - 4].clone();
            bars[k + 8] = bars[k - 4].clone();
        }
    }
    let mut text = "onset_beats,duration_beats,pitch,hand,bar,meter\n".to_owned();
    for (n, bar) in bars.iter().enumerate() {
        for (at, length, key, left) in bar {
            let onset = 4.0 * n as f64 + *at as f64 / 12.0;
            let hand = if *left { "L" } else { "R" };
            let _ = writeln!(text, "{onset:.6},{:.6},{key},{hand},{},4/4", *length as f64 / 12.0, n + 1);
        }
    }
    let (score, _) = notelist::read(text.as_bytes(), "made.csv").expect("the list is well formed");
    of_score(score)
}

/// Lays a whole score out.
pub fn of_score(score: Score) -> Made {
    let bars = score.all_bars().expect("the score has bars");
    let stretch = unfold(&score, &score.parts[0], &bars);
    let line = Arc::new(Line::new(&score, &score.parts[0], &stretch, &[]).expect("the score has notes"));
    Made { score, stretch, line }
}
