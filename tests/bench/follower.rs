//! Time per note of the follower, by the length of the line.
//!
//! `cargo bench --bench follower` prints first the median and the 99th percentile of single notes, fluent and with a
//! restart or jump every 40 onsets, then divan's table of whole takes.
//!
//! Two modes fail when a bound is passed, and print what they measured:
//!
//!     cargo bench --bench follower -- --instructions   (skipped where valgrind is missing)
//!     cargo bench --bench follower -- --memory
//!
//! Instructions per note are those of a second take, counted by callgrind as the difference between a run of two takes and one of one
//! take: other work on the machine does not blur them. Memory is what one follower holds after a take, its line apart.

use std::alloc::{GlobalAlloc, Layout, System};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
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

/// Instructions a note that are not to be passed, with restarts, by onsets of the line: a quarter above what was measured when they were set.
const INSTRUCTIONS_MAX: [(usize, u64); 2] = [(400, 13_500), (20_000, 96_000)];
/// Bytes that a follower of 20,000 onsets may hold.
const BYTES_MAX: usize = 20_000_000;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let has = |name: &str| args.iter().any(|a| a == name);
    let number = |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).and_then(|v| v.parse::<usize>().ok());
    if let (Some(n_takes), Some(n_onsets)) = (number("--takes"), number("--onsets")) {
        return follow_takes(n_onsets, n_takes);
    }
    if has("--instructions") {
        return instructions();
    }
    if has("--memory") {
        return memory();
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

/// What callgrind watches: the same take with restarts, so many times.
fn follow_takes(n_onsets: usize, n_takes: usize) {
    let line = Arc::new(line(n_onsets));
    let take = take(&line, true, 2);
    for _ in 0..n_takes {
        follow(&line, &take);
    }
    println!("{}", take.len());
}

fn follow(line: &Arc<Line>, take: &[(Micros, MidiKey, Velocity)]) -> Follower {
    let mut follower = Follower::new(line.clone(), FollowerConfig::learned(Begin::Anywhere));
    let mut findings = Vec::with_capacity(4_096);
    for &(at, key, velocity) in take {
        divan::black_box(follower.note(at, key, velocity, &mut findings));
    }
    follower
}

/// Counts instructions a note under callgrind, against the bounds.
fn instructions() {
    let this = std::env::current_exe().expect("a running program has a file");
    let run = |n_onsets: usize, n_takes: usize| {
        let numbers = [n_onsets, n_takes].map(|n| n.to_string());
        let watched = Command::new("valgrind")
            .args(["--tool=callgrind", "--callgrind-out-file=/dev/null"])
            .arg(&this)
            .args(["--onsets", &numbers[0], "--takes", &numbers[1]])
            .output();
        watched.ok().filter(|out| out.status.success()).map(|out| {
            let text = String::from_utf8_lossy(&out.stderr).into_owned();
            let counted = text.lines().find_map(|l| l.split("Collected :").nth(1)).and_then(|n| n.trim().parse::<u64>().ok());
            let n_notes = String::from_utf8_lossy(&out.stdout).trim().parse::<u64>().ok();
            (counted.expect("callgrind prints what it collected"), n_notes.expect("the number of notes is printed"))
        })
    };
    for (n_onsets, most) in INSTRUCTIONS_MAX {
        let (Some((one, n_notes)), Some((two, _))) = (run(n_onsets, 1), run(n_onsets, 2)) else {
            println!("instructions: skipped, valgrind is not there or does not run");
            return;
        };
        let a_note = (two - one) / n_notes;
        println!("{n_onsets} onsets: {a_note} instructions a note (at most {most})");
        assert!(a_note <= most, "the hot path has grown");
    }
}

/// Counts the bytes that a follower holds after a take.
fn memory() {
    for n_onsets in LENGTHS {
        let line = Arc::new(line(n_onsets));
        let take = take(&line, true, 2);
        let before = HELD.load(Ordering::Relaxed);
        let follower = follow(&line, &take);
        let held = HELD.load(Ordering::Relaxed) - before + size_of_val(&follower);
        println!("{n_onsets} onsets: {:.2} MB (at most {:.0})", held as f64 / 1e6, BYTES_MAX as f64 / 1e6);
        assert!(held <= BYTES_MAX, "the follower holds more than it may");
        drop(divan::black_box(follower));
    }
}

/// Bytes allocated and not yet freed.
static HELD: AtomicUsize = AtomicUsize::new(0);

struct Counting;

// SAFETY: hands everything on to the system's allocator unchanged; the count beside it touches no memory of the caller's.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        HELD.fetch_add(layout.size(), Ordering::Relaxed);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        HELD.fetch_sub(layout.size(), Ordering::Relaxed);
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

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
                others: Vec::new(),
                setting: None,
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
            mark: None,
        });
    }
    Line { onsets, notes, total: ScoreTime::new(n_onsets as i64, 2), tempo: None, ends_piece: true, rolling: None, moves: Vec::new() }
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
