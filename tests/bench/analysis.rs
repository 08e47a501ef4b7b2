//! Time to study a piece of 24, 2,000 and 20,000 bars, and how it grows.
//!
//!     cargo bench --bench analysis
//!
//! The pieces are made from a seed: four bars of chords and tune in a key, some of them again, for as long as it takes.

use std::time::Instant;

use catchword::analysis::analyse;
use catchword::import::read_score;
use catchword::score::Score;

/// Makes a piece of four quarters a bar: a broken chord under a line of eighths; every third bar or so is an earlier one.
fn made(n_bars: usize) -> Score {
    let mut rng = fastrand::Rng::with_seed(7);
    let roots = [48, 53, 55, 45, 50, 52];
    let scale = [60, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79];
    let mut bars: Vec<Vec<(i32, f64, f64, char)>> = Vec::new();
    for bar in 0..n_bars {
        if bar > 4 && rng.u8(0..3) == 0 {
            let again = bars[bar - 1 - rng.usize(0..bar.min(64))].clone();
            bars.push(again);
            continue;
        }
        let root = roots[rng.usize(0..roots.len())];
        let left = [0, 7, 12, 16].iter().enumerate().map(|(n, by)| (root + by, n as f64, 1.0, 'L'));
        let mut step = rng.usize(0..scale.len());
        let right: Vec<_> = (0..8)
            .map(|n| {
                step = (step + rng.usize(0..3)).saturating_sub(1).min(scale.len() - 1);
                (scale[step], n as f64 / 2.0, 0.5, 'R')
            })
            .collect();
        bars.push(left.chain(right).collect());
    }
    let mut text = String::from("onset_beats,duration_beats,pitch,hand,bar,meter,fifths\n");
    for (bar, notes) in bars.iter().enumerate() {
        for (key, at, length, hand) in notes {
            text += &format!("{},{length},{key},{hand},{},4/4,0\n", bar as f64 * 4.0 + at, bar + 1);
        }
    }
    read_score(text.as_bytes(), "made.csv").expect("the list is well formed").0
}

fn main() {
    let mut before: Option<(usize, f64)> = None;
    for (n_bars, n_runs) in [(24, 40), (2_000, 5), (20_000, 2)] {
        let score = made(n_bars);
        let best = (0..n_runs)
            .map(|_| {
                let start = Instant::now();
                let found = analyse(&score, 0).expect("the score has a part");
                let took = start.elapsed().as_secs_f64() * 1e3;
                assert!(found.digests.len() == n_bars);
                took
            })
            .fold(f64::MAX, f64::min);
        let growth = before.map_or(String::new(), |(n, t)| format!(", {:.1} times as long as {n} bars", best / t));
        println!("{n_bars:>6} bars, {:>7} notes: {best:>9.2} ms{growth}", score.parts[0].notes.len());
        before = Some((n_bars, best));
    }
}
