//! Time per note of the follower, by the length of the line.
//!
//! `cargo bench --bench follower` prints first the median and the 99th percentile of single notes, fluent and with a
//! restart or jump every 40 onsets, then divan's table of whole takes.
//!
//! Instructions per note, which other work on the machine does not blur: the difference between two runs of
//!
//!     valgrind --tool=callgrind BENCH --takes N [--onsets N]
//!
//! with N = 1 and N = 2 is one take of the 400-onset line with restarts; divide by the notes that it prints.

use std::sync::Arc;
use std::time::Instant;

use catchword::follower::{Begin, Follower, FollowerConfig, Line, LineNote, Onset, OnsetIdx};
use catchword::midi::{MidiKey, Velocity};
use catchword::score::{BarIdx, Place};
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime};
use fastrand::Rng;

const LENGTHS: [usize; 4] = [100, 400, 2_000, 20_000];
/// Onsets in a phrase; every third phrase comes back, so that there are look-alikes.
const PHRASE: usize = 32;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let number = |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).and_then(|v| v.parse::<usize>().ok());
    if let Some(n_takes) = number("--takes") {
        let line = Arc::new(line(number("--onsets").unwrap_or(400)));
        let take = take(&line, true, 2);
        for _ in 0..n_takes {
            let mut follower = Follower::new(line.clone(), FollowerConfig::learned(Begin::Anywhere));
            let mut findings = Vec::with_capacity(4_096);
            for &(at, key, velocity) in &take {
                divan::black_box(follower.note(at, key, velocity, &mut findings));
            }
        }
        println!("{} notes a take", take.len());
        return;
    }
    println!("{:>8} {:>10} {:>22} {:>22}", "onsets", "notes", "fluent med/p99 [us]", "restarts med/p99 [us]");
    for n in LENGTHS {
        let line = Arc::new(line(n));
        let (fluent, broken) = (take(&line, false, 1), take(&line, true, 2));
        let (a, b) = (percentiles(&line, &fluent), percentiles(&line, &broken));
        println!("{n:>8} {:>10} {:>12.2} /{:>8.2} {:>12.2} /{:>8.2}", fluent.len(), a.0, a.1, b.0, b.1);
    }
    divan::main();
}

/// A keyboard texture: a bass note and a chord in alternation under a melody, in quavers, phrases coming back.
fn line(n_onsets: usize) -> Line {
    let mut rng = Rng::with_seed(7);
    let mut phrases: Vec<Vec<Vec<u8>>> = Vec::new();
    let (mut onsets, mut notes) = (Vec::new(), Vec::new());
    for i in 0..n_onsets {
        let (phrase, within) = (i / PHRASE, i % PHRASE);
        if within == 0 {
            let fresh = (0..PHRASE).map(|k| chord(&mut rng, k)).collect();
            let again = phrases.get(phrase.wrapping_sub(2)).cloned().filter(|_| phrase % 3 == 2);
            phrases.push(again.unwrap_or(fresh));
        }
        let keys = &phrases[phrase][within];
        let start = notes.len();
        for &key in keys {
            notes.push(LineNote {
                onset: OnsetIdx(i),
                key: MidiKey::try_new(i32::from(key)).expect("keys of the texture lie on the keyboard"),
                hand: if key < 60 { Hand::Left } else { Hand::Right },
                duration: ScoreTime::new(1, 2),
                is_optional: false,
                is_free: false,
                free_keys: None,
                is_outer: false,
            });
        }
        onsets.push(Onset {
            at: ScoreTime::new(i as i64, 2),
            notes: start..notes.len(),
            place: Place { bar: BarIdx(i / 8), into_bar: ScoreTime::new((i % 8) as i64, 2) },
            played_bar: i / 8,
            starts_bar: i % 8 == 0,
            is_landmark: false,
            is_hold: false,
        });
    }
    Line { onsets, notes, total: ScoreTime::new(n_onsets as i64, 2), tempo: None }
}

fn chord(rng: &mut Rng, within: usize) -> Vec<u8> {
    const SCALE: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];
    let degree = |d: usize| (d / 7) as u8 * 12 + SCALE[d % 7];
    let root = rng.usize(0..7);
    let mut keys = match within % 2 {
        0 => vec![36 + degree(root)],
        _ => vec![48 + degree(root), 48 + degree(root + 2), 48 + degree(root + 4)],
    };
    keys.push(72 + degree(rng.usize(0..12)));
    keys.sort_unstable();
    keys.dedup();
    keys
}

/// Plays the line with human timing; `broken` adds a restart or a jump every 40 onsets, after a pause.
fn take(line: &Line, broken: bool, seed: u64) -> Vec<(Micros, MidiKey, Velocity)> {
    let mut rng = Rng::with_seed(seed);
    let (mut out, mut clock, mut at, mut since) = (Vec::new(), 0.0f64, 0usize, 0);
    let longest = line.onsets.len().min(4_000);
    for _ in 0..longest {
        if at >= line.onsets.len() {
            break;
        }
        for note in line.onsets[at].notes.clone() {
            out.push((Micros::from_secs_f64(clock + rng.f64() * 0.03), line.notes[note].key, Velocity(64)));
        }
        clock += 0.3 * (1.0 + 0.1 * (rng.f64() - 0.5));
        (at, since) = (at + 1, since + 1);
        if broken && since == 40 {
            since = 0;
            clock += 1.5;
            at = if rng.bool() { at / 8 * 8 } else { rng.usize(0..line.onsets.len()) / 8 * 8 };
        }
    }
    out.sort_by_key(|n| n.0);
    out
}

/// Median and 99th percentile of single notes, microseconds; the first take warms up.
fn percentiles(line: &Arc<Line>, take: &[(Micros, MidiKey, Velocity)]) -> (f64, f64) {
    let mut times = Vec::with_capacity(take.len());
    for _ in 0..2 {
        times.clear();
        let mut follower = Follower::new(line.clone(), FollowerConfig::learned(Begin::Anywhere));
        let mut findings = Vec::with_capacity(4_096);
        for &(at, key, velocity) in take {
            let started = Instant::now();
            divan::black_box(follower.note(at, key, velocity, &mut findings));
            divan::black_box(follower.hesitation_deadline());
            times.push(started.elapsed().as_secs_f64() * 1e6);
        }
    }
    times.sort_by(f64::total_cmp);
    (times[times.len() / 2], times[times.len() * 99 / 100])
}

#[divan::bench(args = LENGTHS, sample_count = 10)]
fn fluent(bencher: divan::Bencher, n_onsets: usize) {
    whole_take(bencher, n_onsets, false);
}

#[divan::bench(args = LENGTHS, sample_count = 10)]
fn with_restarts(bencher: divan::Bencher, n_onsets: usize) {
    whole_take(bencher, n_onsets, true);
}

fn whole_take(bencher: divan::Bencher, n_onsets: usize, broken: bool) {
    let line = Arc::new(line(n_onsets));
    let take = take(&line, broken, 1);
    bencher
        .counter(divan::counter::ItemsCount::new(take.len()))
        .with_inputs(|| Follower::new(line.clone(), FollowerConfig::learned(Begin::Anywhere)))
        .bench_local_values(|mut follower| {
            let mut findings = Vec::new();
            for &(at, key, velocity) in &take {
                divan::black_box(follower.note(at, key, velocity, &mut findings));
            }
        });
}
