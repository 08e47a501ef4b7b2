//! The main job on a true ALSA port: the real program, with the virtual card snd-virmidi in the place of an instrument. What is written
//! to its raw device comes out of its port; unbinding its driver is pulling the plug.
//!
//! Needs that card and root: `tests/port_vm.sh` runs these in a virtual machine, and `.ci/run` runs that.

#![cfg(all(target_os = "linux", feature = "midi-port"))]

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

use catchword::clock::SessionClock;
use catchword::journal::store::Store;
use catchword::piece_folder::open_piece;
use catchword::practice::{Engine, Input, Machine, Output, PracticeConfig, Span};
use catchword::source::{Signal, open};
use catchword::time::Stamped;
use crossbeam_channel::bounded;

use super::player::{BREATH, LONG, Piece, Plain, keys, keys_of, strike};
use crate::terminal::pty::program;

const DEVICE: &str = "/dev/snd/midiC0D0";
const DRIVER: &str = "/sys/bus/platform/drivers/snd_virmidi";
pub const PORT: &str = "VirMIDI 0-0";

pub fn plug(is_in: bool) {
    fs::write(format!("{DRIVER}/{}", if is_in { "bind" } else { "unbind" }), "snd_virmidi.0").unwrap();
}

pub fn wait_until(what: &str, test: impl Fn() -> bool) {
    let begun = Instant::now();
    while !test() {
        assert!(begun.elapsed() < LONG, "waiting for {what}");
        sleep(Duration::from_millis(20));
    }
}

pub fn send(bytes: &[u8]) {
    // The device file appears a moment after its driver.
    wait_until("the device", || Path::new(DEVICE).exists());
    OpenOptions::new().write(true).open(DEVICE).unwrap().write_all(bytes).unwrap();
}

fn play(beats: std::ops::Range<usize>) {
    for beat in beats {
        send(&strike(beat));
        sleep(Duration::from_millis(30));
    }
}

fn listening(piece: &Piece) -> Plain {
    let wire = format!("stream:{}", piece.fifo().display());
    let words = piece.arguments(&piece.data()).into_iter().map(|w| if w == wire { PORT.to_owned() } else { w });
    let plain = Plain::run(piece.path(), words.collect::<Vec<_>>(), &[]);
    plain.wait_for("section up", 1);
    // Connecting takes a moment longer than the first line.
    sleep(Duration::from_secs(1));
    plain
}

fn check_takes(piece: &Piece, n_reps: usize) {
    let store = Store::open(&piece.data()).unwrap();
    store.check().unwrap();
    let reps = piece.reps(&store);
    assert_eq!(reps.len(), n_reps);
    reps.iter().for_each(|(id, _)| assert_eq!(keys(&store.take(*id).unwrap().unwrap()), keys_of(piece.n_beats()), "no note lost"));
}

#[test]
#[ignore = "needs the virtual card snd-virmidi: tests/port_vm.sh"]
fn a_drill_is_followed_through_a_true_port_and_the_plug_pulled_in_mid_rep() {
    let piece = Piece::new(3);
    let listed = Command::new(program()).arg("ports").output().unwrap();
    assert!(listed.status.success() && String::from_utf8_lossy(&listed.stdout).contains(PORT), "{listed:?}");
    let mut plain = listening(&piece);
    let mut to_line = Vec::new();
    for count in 1..=3 {
        play(0..11);
        let struck = Instant::now();
        send(&strike(11));
        to_line.push(plain.wait_for(&format!("clean, {count} of 9"), 1) - struck);
        sleep(BREATH);
    }
    to_line.sort();
    println!("from the last note written to the device to the verdict's line: median {:?}", to_line[1]);
    for (nth, away) in [Duration::from_secs(2), Duration::ZERO].into_iter().enumerate() {
        play(0..6);
        plug(false);
        sleep(away);
        plug(true);
        plain.wait_for("instrument gone", nth + 1);
        plain.wait_for("instrument back", nth + 1);
        play(6..12);
        plain.wait_for_verdicts(4 + nth);
        sleep(BREATH);
    }
    plain.say("quit");
    assert!(plain.wait_for_end().0.success());
    check_takes(&piece, 5);
}

fn modules(words: &[&str]) -> bool {
    let output = Command::new(words[0]).args(&words[1..]).output().unwrap();
    output.status.success()
}

#[test]
#[ignore = "needs the virtual card snd-virmidi: tests/port_vm.sh"]
fn a_drill_outlives_the_drivers_of_midi_being_taken_out_and_loaded_again() {
    let piece = Piece::new(3);
    let mut plain = listening(&piece);
    play(0..6);
    plug(false);
    plain.wait_for("instrument gone", 1);
    // Whoever listens holds the sequencer itself: the system does not let it go.
    assert!(!modules(&["rmmod", "snd_seq"]), "the sequencer is in use");
    for module in ["snd_virmidi", "snd_seq_virmidi"] {
        assert!(modules(&["rmmod", module]), "{module}");
    }
    for module in ["snd-seq-virmidi", "snd-virmidi"] {
        assert!(modules(&["insmod", &format!("/modules/{module}.ko")]), "{module}");
    }
    plain.wait_for("instrument back", 1);
    play(6..12);
    plain.wait_for_verdicts(1);
    plain.say("quit");
    assert!(plain.wait_for_end().0.success());
    check_takes(&piece, 1);
}

#[test]
#[ignore = "needs the virtual card snd-virmidi: tests/port_vm.sh"]
fn time_from_the_wire_to_the_verdict_on_each_note() {
    const N_BARS: usize = 100;
    let folder = Piece::new(N_BARS);
    let piece = open_piece(&folder.path().to_string_lossy(), None, &[]).unwrap().piece;
    let (name, bars) = piece.find_span("up").unwrap();
    let span = Span::drill(&piece, name, &bars, 9).unwrap();
    let mut engine = Engine::try_new(piece.into(), vec![span], PracticeConfig::standard()).unwrap();
    let clock = SessionClock::start();
    let (out, received) = bounded(256);
    let running = open(PORT).unwrap().start(clock, out).unwrap();
    sleep(Duration::from_secs(1));
    let (mut delays, mut outputs) = (Vec::new(), Vec::new());
    for beat in 0..folder.n_beats() {
        let written = clock.now();
        send(&strike(beat));
        for _ in 0..strike(beat).len() / 2 {
            let Ok(Signal::Midi(Stamped { at, what })) = received.recv_timeout(LONG) else { panic!("no note") };
            outputs.clear();
            engine.handle(Stamped { at, what: Input::Midi(what) }, &mut outputs);
            if outputs.iter().any(|o| matches!(o, Output::Heard { .. })) {
                delays.push((clock.now() - written).0);
            }
        }
        sleep(Duration::from_millis(5));
    }
    drop(running);
    let n = delays.len();
    assert!(n >= folder.n_beats(), "a verdict on each note: {n}");
    delays.sort_unstable();
    println!("from the wire to the verdict on a note: median {} us, p99 {} us, of {n}", delays[n / 2], delays[n * 99 / 100]);
}
