//! Rolled chords: 30 to 400 ms, up and down, before the beat or from it, hands apart by up to 80 ms. Clean stays clean.

use std::collections::BTreeMap;

use catchword::journal::entry::Verdict;
use catchword::midi::sensor::Sensor;
use catchword::midi::{Channel, Hearing, Matching, MidiEvent, MidiKey, Take, Velocity};
use catchword::piece::Piece;
use catchword::score::Unfolded;
use catchword::source::player::{Manner, Meant, perform_told};
use catchword::theory::Hand;
use catchword::time::{Micros, Stamped, Tempo};
use fastrand::Rng;

use super::{judged, pieces, whole};

/// How the chords of one take are rolled.
#[derive(Clone, Copy, Debug)]
struct Rolling {
    length: Micros,
    is_down: bool,
    /// The last note comes on the beat; else the first.
    ends_on_beat: bool,
    /// Both hands in one roll; else each its own.
    is_one: bool,
    /// The most by which one hand comes after the other.
    apart: Micros,
    /// Share of the time to the neighbouring onset that a roll may take.
    room: f64,
}

fn rolled(piece: &Piece, stretch: &Unfolded, rolling: Rolling, seed: u64) -> Take {
    let rng = &mut Rng::with_seed(seed);
    let tempo = piece.tempo.or(Tempo::try_new(80.0)).unwrap();
    let together = Manner { chord_spread: Micros::ZERO, roll: Micros::ZERO, ..Manner::fluent(tempo, seed) };
    let performed = perform_told(piece.part(), stretch, &together);
    let strokes = performed.take.events().iter().filter_map(|e| match e.what {
        MidiEvent::NoteOn { key, velocity, .. } => Some((e.at, key, velocity)),
        _ => None,
    });
    let mut onsets: BTreeMap<_, Vec<(Micros, MidiKey, Velocity, Hand)>> = BTreeMap::new();
    for ((at, key, velocity), meant) in strokes.zip(&performed.meant) {
        let (Meant::Note(n) | Meant::Free(n) | Meant::Wrong(n)) = *meant;
        onsets.entry(stretch.notes[n].onset).or_default().push((at, key, velocity, stretch.notes[n].hand));
    }
    let beats: Vec<Micros> = onsets.values().map(|notes| notes.iter().map(|n| n.0).min().unwrap()).collect();
    let mut events: Vec<Stamped<MidiEvent>> = Vec::new();
    for (nth, notes) in onsets.values().enumerate() {
        let before = nth.checked_sub(1).map_or(Micros(1_000_000), |b| beats[nth] - beats[b]);
        let after = beats.get(nth + 1).map_or(Micros(1_000_000), |next| *next - beats[nth]);
        let room = (rolling.room * if rolling.ends_on_beat { before } else { after }.0 as f64) as i64;
        let late = Micros(rng.i64(0..=rolling.apart.0.min(room / 3)));
        let late_hand = if rng.bool() { Hand::Left } else { Hand::Right };
        let groups: Vec<Vec<_>> = if rolling.is_one {
            vec![notes.clone()]
        } else {
            [Hand::Left, Hand::Right].map(|hand| notes.iter().filter(|n| n.3 == hand).copied().collect()).to_vec()
        };
        for mut group in groups {
            group.sort_by_key(|n| n.1);
            if rolling.is_down {
                group.reverse();
            }
            let n_gaps = group.len().saturating_sub(1) as i64;
            let length = rolling.length.0.min(room);
            for (k, (_, key, velocity, hand)) in group.into_iter().enumerate() {
                let into = if n_gaps == 0 { 0 } else { length * k as i64 / n_gaps };
                let from = if rolling.ends_on_beat && n_gaps > 0 { -length } else { 0 };
                let by_hand = if hand == late_hand && !rolling.is_one { late } else { Micros::ZERO };
                let at = beats[nth] + Micros(from + into) + by_hand + Micros(1_000_000);
                events.push(Stamped { at, what: MidiEvent::NoteOn { channel: Channel(0), key, velocity } });
            }
        }
    }
    events.sort_by_key(|e| e.at);
    events.into_iter().collect()
}

/// Rolls every chord of both pieces in takes of 30 to 400 ms, up and down, each hand or both in one, to the beat and from it; returns
/// how many takes there were, and those that were not clean.
fn rolled_takes(room: f64, first_seed: u64) -> (usize, Vec<String>) {
    let hearing = Hearing { matching: Matching::Sounding, sensor: Some(Sensor::usual()) };
    let mut failed = Vec::new();
    let mut n = 0;
    for piece in pieces(&hearing) {
        let span = whole(&piece);
        for (nth, ms) in [30, 60, 100, 150, 200, 250, 300, 350, 400].into_iter().enumerate() {
            for way in 0..8u64 {
                let rolling = Rolling {
                    length: Micros::from_millis(ms),
                    is_down: way & 1 > 0,
                    ends_on_beat: way & 2 == 0,
                    is_one: way & 4 > 0,
                    apart: Micros::from_millis(80),
                    room,
                };
                let seed = first_seed + 10 * nth as u64 + way;
                let judged = judged(&piece, &rolled(&piece, &span.stretch, rolling, seed));
                n += 1;
                if judged.rep.verdict != Verdict::Clean || !judged.slips.is_empty() {
                    let why = judged.rep.reason.map(|r| r.words);
                    failed.push(format!("{}, seed {seed}, {rolling:?}: {why:?}, {:?}", piece.title, judged.slips));
                }
            }
        }
    }
    (n, failed)
}

#[test]
fn rolled_chords_of_any_length_and_way_leave_a_clean_take_clean() {
    let (n, failed) = rolled_takes(0.6, 0);
    assert!(failed.is_empty(), "{} of {n} takes:\n{}", failed.len(), failed.join("\n"));
}

#[test]
#[ignore = "a measurement over a thousand more seeds: cargo test --test it rolls:: -- --ignored --nocapture"]
fn rolled_chords_over_many_seeds() {
    for room in [0.6, 0.8] {
        let (mut n, mut failed) = (0, Vec::new());
        for first_seed in 1..8 {
            let (more, not_clean) = rolled_takes(room, 1_000 * first_seed);
            n += more;
            failed.extend(not_clean);
        }
        println!("{room}: {} of {n} takes were not clean\n{}", failed.len(), failed.join("\n"));
        assert!((failed.len() as f64) < if room < 0.7 { 0.01 } else { 0.04 } * n as f64);
    }
}

/// Where a roll begins so soon after the onset before it that it overtakes the hand that is late there, three takes of 144 were not
/// clean when this was written.
#[test]
fn rolls_that_overtake_the_other_hand_are_mostly_followed() {
    let (n, failed) = rolled_takes(0.8, 0);
    assert!(n == 144 && failed.len() <= 3, "{} of {n} takes:\n{}", failed.len(), failed.join("\n"));
}
