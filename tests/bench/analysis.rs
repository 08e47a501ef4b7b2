//! Time to study a piece of 24, 2,000 and 20,000 bars, and how it grows.
//!
//!     cargo bench --bench analysis                # fails when a bound is broken
//!     cargo bench --bench analysis -- --stages    # where the time goes
//!
//! The pieces are made from a seed: four bars of chords and tune in a key, some of them again, for as long as it takes.

use std::time::{Duration, Instant};

use catchword::analysis::facts::{self, Found};
use catchword::analysis::material::Material;
use catchword::analysis::{analyse, digest, harmony, keys, likeness, novelty, sections, surprise, switches};
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

/// Bars of the pieces, and how often each is studied at least.
const SIZES: [(usize, usize); 3] = [(24, 60), (2_000, 12), (20_000, 6)];
/// Milliseconds that 24 and 2,000 bars may take, and how many times as long as 2,000 bars 20,000 may.
const MS_MAX: [f64; 2] = [5.0, 150.0];
const GROWTH_MAX: f64 = 12.0;
/// What else the machine does only ever adds to a time, and more to that of the larger piece, which does not fit the caches: where the growth
/// looks too fast both are studied again, in pairs, up to so many times. What truly grows too fast does so in every pair.
const N_PAIRS_MAX: usize = 30;

fn main() {
    let pieces = SIZES.map(|(n_bars, n_runs)| (n_bars, n_runs, made(n_bars)));
    if std::env::args().any(|a| a == "--stages") {
        return stages(&pieces[1].2, &pieces[2].2);
    }
    let mut best = [f64::MAX; 3];
    let mut n_studied = [0; 3];
    let mut study = |best: &mut [f64; 3], nth: usize| {
        let (n_bars, _, score) = &pieces[nth];
        let (took, found) = timed(|| analyse(score, 0).expect("the score has a part"));
        assert!(found.digests.len() == *n_bars);
        best[nth] = best[nth].min(took);
        n_studied[nth] += 1;
    };
    // In turns, so that what else the machine does meets all of them alike.
    for turn in 0..SIZES.iter().map(|s| s.1).max().unwrap_or(0) {
        (0..SIZES.len()).filter(|nth| turn < SIZES[*nth].1).for_each(|nth| study(&mut best, nth));
    }
    for _ in 0..N_PAIRS_MAX {
        if best[2] / best[1] <= GROWTH_MAX {
            break;
        }
        [1, 2].into_iter().for_each(|nth| study(&mut best, nth));
    }
    for (((n_bars, _, score), best), n_runs) in pieces.iter().zip(best).zip(n_studied) {
        println!("{n_bars:>6} bars, {:>7} notes: {best:>9.2} ms, the least of {n_runs}", score.parts[0].notes.len());
    }
    let growth = best[2] / best[1];
    println!(
        "20,000 bars take {growth:.1} times as long as 2,000 (at most {GROWTH_MAX}); 24 bars at most {} ms, 2,000 {} ms",
        MS_MAX[0], MS_MAX[1]
    );
    assert!(best[0] <= MS_MAX[0] && best[1] <= MS_MAX[1], "a piece takes longer to study than it may");
    assert!(growth <= GROWTH_MAX, "the time grows faster with the piece than it may");
}

/// Milliseconds that something took, and what came of it: of this thread on a processor where the system tells (Linux), else by the clock.
fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    // The first number is nanoseconds on a processor: Linux, Documentation/scheduler/sched-stats.rst.
    let on_processor = || -> Option<f64> {
        // The number is brought up to date when a thread gives its processor up.
        std::thread::sleep(Duration::from_micros(1));
        let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        text.split(' ').next()?.parse().ok()
    };
    let before = on_processor();
    let start = Instant::now();
    let out = std::hint::black_box(work());
    let by_clock = start.elapsed().as_secs_f64() * 1e3;
    let of_thread = before.zip(on_processor()).map(|(a, b)| (b - a) / 1e6);
    (of_thread.unwrap_or(by_clock), out)
}

/// Prints where the time goes, stage by stage, and how each grows.
fn stages(short: &Score, long: &Score) {
    let rows = [short, long].map(|score| {
        let part = &score.parts[0];
        let mut best: Vec<(&str, f64)> = Vec::new();
        for _ in 0..4 {
            let mut row = Vec::new();
            let mut note = |name: &'static str, took: f64| row.push((name, took));
            let (t, material) = timed(|| Material::new(score, part));
            note("material", t);
            let (t, harmony) = timed(|| harmony::harmony(&material));
            note("harmony", t);
            let (t, (key, _)) = timed(|| keys::piece_key(&material, &harmony));
            note("key", t);
            let (t, regions) = timed(|| keys::regions(&material, &harmony, key));
            note("regions", t);
            let (t, digests) = timed(|| digest::digests(&material, &harmony));
            note("digests", t);
            let (t, _) = timed(|| sections::cutting(score, &material, &harmony, &vec![false; score.bars.len()]).sections(&sections::BARS));
            note("sections", t);
            let (t, bits) = timed(|| surprise::bar_bits(&material));
            note("surprise", t);
            let (t, likeness) = timed(|| likeness::likeness(&material, &bits));
            note("likeness", t);
            let (t, sequences) = timed(|| likeness::sequences(&material));
            note("sequences", t);
            let (t, switches) = timed(|| switches::switches(&material));
            note("switches", t);
            let (t, novelties) = timed(|| novelty::novelties(&material, &digests));
            note("novelty", t);
            let found = Found {
                material: &material,
                digests: &digests,
                regions: &regions,
                home: key,
                bits: &bits,
                likeness: &likeness,
                sequences: &sequences,
                switches: &switches,
                novelties: &novelties,
            };
            note("facts", timed(|| facts::facts(&found)).0);
            if best.is_empty() {
                best = row;
            } else {
                best.iter_mut().zip(row).for_each(|(best, (_, took))| best.1 = best.1.min(took));
            }
        }
        best
    });
    for ((name, short), (_, long)) in rows[0].iter().zip(&rows[1]) {
        println!("{name:>10} {short:>8.2} ms {long:>9.2} ms, {:>5.1} times", long / short);
    }
}
