//! Tones on a true ALSA port: what the program sends to a port of the virtual card snd-virmidi is read from that port's raw device.
//!
//! Needs that card and root: `tests/port_vm.sh` runs these in a virtual machine.

#![cfg(all(target_os = "linux", feature = "midi-port"))]

use std::fs::{self, File};
use std::io::Read;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use catchword::clock::SessionClock;
use catchword::import::smf;
use catchword::midi::decode::Decoder;
use catchword::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use catchword::time::{Micros, Stamped};
use catchword::tone::{Sound, Tone};

use super::player::{Piece, Plain, said, strike};
use super::port::{PORT, send, wait_until};

/// The second of the card's four ports, and its device.
const OUT: &str = "port:VirMIDI 0-1";
const DEVICE: &str = "/dev/snd/midiC0D1";

/// The other end of the wire: everything that arrives there.
struct Ears(Arc<Mutex<Vec<(Instant, MidiEvent)>>>);

impl Ears {
    /// Listens from now on, until the test is over.
    fn open() -> Ears {
        wait_until("the device", || Path::new(DEVICE).exists());
        let mut device = File::open(DEVICE).unwrap();
        let heard = Arc::default();
        let to: Arc<Mutex<Vec<(Instant, MidiEvent)>>> = Arc::clone(&heard);
        thread::spawn(move || {
            let (mut decoder, mut bytes) = (Decoder::default(), [0; 256]);
            while let Ok(n) = device.read(&mut bytes) {
                let now = Instant::now();
                decoder.feed(&bytes[..n], |event| to.lock().unwrap().push((now, event)));
            }
        });
        Ears(heard)
    }

    fn forget(&self) {
        self.0.lock().unwrap().clear();
    }

    /// The keys struck so far, and when.
    fn struck(&self) -> Vec<(Instant, u8)> {
        let begins = |(at, event): &(Instant, MidiEvent)| match event {
            MidiEvent::NoteOn { key, .. } => Some((*at, key.number())),
            _ => None,
        };
        self.0.lock().unwrap().iter().filter_map(begins).collect()
    }

    fn keys(&self) -> Vec<u8> {
        self.struck().into_iter().map(|(_, key)| key).collect()
    }

    /// Waits until these keys were struck, and nothing else, and all have been let go.
    fn wait_for(&self, keys: &[u8]) {
        let n_let_go = || self.0.lock().unwrap().iter().filter(|(_, event)| matches!(event, MidiEvent::NoteOff { .. })).count();
        wait_until(&format!("{keys:?}, not {:?}", self.keys()), || self.keys().len() >= keys.len() && n_let_go() >= keys.len());
        assert_eq!((self.keys(), n_let_go()), (keys.to_vec(), keys.len()));
    }
}

/// Key of a beat of the click, of the first of a bar, of the two notes of a call, of the end of a question.
const BEAT: u8 = 84;
const FIRST: u8 = 96;
const CALL: [u8; 2] = [79, 86];
const OVER: u8 = 72;

#[test]
#[ignore = "needs the virtual card snd-virmidi: tests/port_vm.sh"]
fn every_tone_goes_out_through_a_true_port_at_its_time_and_is_let_go() {
    let ears = Ears::open();
    let clock = SessionClock::start();
    let tone = Tone::open(OUT, clock).unwrap();
    let from = clock.now() + Micros::from_millis(300);
    let beat = Micros::from_millis(250);
    tone.play(from, Sound::count_in(4, beat));
    tone.play(from + Micros(5 * beat.0), Sound::call());
    tone.play(from + Micros(8 * beat.0), Sound::question_over());
    ears.wait_for(&[FIRST, BEAT, BEAT, BEAT, CALL[0], CALL[1], OVER]);
    let late = |nth: usize, beats: i64| ears.struck()[nth].0.saturating_duration_since(clock.instant(from + Micros(beats * beat.0)));
    let late: Vec<Duration> = [(0, 0), (1, 1), (2, 2), (3, 3), (4, 5), (6, 8)].map(|(nth, beats)| late(nth, beats)).into();
    println!("from a tone's time to the other end of the port: {late:?}");
    // The machine is emulated, and mostly not alone on its processors: the bound is for what is lost, not for what is felt.
    assert!(late.iter().all(|late| *late < Duration::from_secs(1)), "{late:?}");
    // What still sounds when the program ends is let go.
    ears.forget();
    tone.play(clock.now(), vec![Sound { length: Micros(60_000_000), ..Sound::question_over()[0] }]);
    wait_until("the tone", || ears.keys() == [OVER]);
    drop(tone);
    ears.wait_for(&[OVER]);
}

/// A data folder whose settings send tones to the port.
fn with_tones(piece: &Piece) {
    fs::create_dir_all(piece.data()).unwrap();
    fs::write(piece.data().join("config.toml"), format!("tone = \"{OUT}\"\n")).unwrap();
}

/// Runs a command that listens to the card's first port.
fn run(piece: &Piece, words: &[&str]) -> Plain {
    let data = piece.data().display().to_string();
    let words = words.iter().copied().chain(["--input", PORT, "--data", &data]);
    Plain::run(piece.path(), words.map(str::to_owned).collect::<Vec<_>>(), &[])
}

#[test]
#[ignore = "needs the virtual card snd-virmidi: tests/port_vm.sh"]
fn a_drill_counts_in_a_jump_is_called_and_questions_end_through_a_true_port() {
    let sections = "\n[[landmark]]\nat = \"1.1\"\nname = \"one\"\n[[landmark]]\nat = \"4.1\"\nname = \"two\"\n[[landmark]]\nat = \"7.1\"\nname = \"three\"\n";
    let piece = Piece::with(9, sections);
    with_tones(&piece);
    let (path, ears) = (piece.path().display().to_string(), Ears::open());
    let mut drill = run(&piece, &["drill", &path]);
    drill.wait_for("section up", 1);
    drill.say("start");
    ears.wait_for(&[FIRST, BEAT, BEAT, BEAT]);
    drill.say("quit");
    assert!(drill.wait_for_end().0.success());

    ears.forget();
    let mut quiz = run(&piece, &["quiz", &path, "--minutes", "5", "--seed", "3"]);
    quiz.wait_for("quiz: 5 minutes", 1);
    // Connecting takes a moment longer than the first line.
    sleep(Duration::from_secs(1));
    quiz.say("start");
    let bar = loop {
        sleep(Duration::from_millis(300));
        let last = quiz.lines().pop().unwrap_or_default();
        let begins = [("one", 0), ("two", 3), ("three", 6)].into_iter().find(|(name, _)| last.starts_with(&format!("jump: {name}")));
        match begins {
            Some((_, bar)) => break bar,
            None => quiz.say("next"),
        }
        assert!(quiz.lines().len() < 200, "no jump is asked:\n{}", quiz.lines().join("\n"));
    };
    assert!(ears.keys().iter().all(|key| *key == OVER) && !ears.keys().is_empty(), "each question passed over ends: {:?}", ears.keys());
    ears.forget();
    for beat in 4 * bar.. {
        if quiz.lines().last().is_some_and(|line| line.starts_with("go ")) {
            break;
        }
        assert!(beat < 4 * bar + 16, "nothing is called:\n{}", quiz.lines().join("\n"));
        send(&strike(beat));
        sleep(Duration::from_millis(400));
    }
    ears.wait_for(&CALL);
    quiz.say("quit");
    assert!(quiz.wait_for_end().0.success());
}

#[test]
#[ignore = "needs the virtual card snd-virmidi: tests/port_vm.sh"]
fn a_capture_clicks_and_plays_back_through_a_true_port() {
    let piece = Piece::new(3);
    with_tones(&piece);
    let channel = Channel(0);
    let mut notes = Vec::new();
    for (beat, key) in [60u8, 64, 67, 72].into_iter().enumerate() {
        let (at, key) = (Micros(500_000 * beat as i64), MidiKey::try_new(key.into()).unwrap());
        notes.push(Stamped { at, what: MidiEvent::NoteOn { channel, key, velocity: Velocity(70) } });
        notes.push(Stamped { at: at + Micros(450_000), what: MidiEvent::NoteOff { channel, key } });
    }
    let file = piece.path().join("take.mid");
    fs::write(&file, smf::write_take(&notes.into_iter().collect::<Take>())).unwrap();
    let (code, _, wrong) =
        said(&["capture", "air", "--meter", "4/4", "--tempo", "120", "--take", &file.display().to_string()], &piece.data());
    assert_eq!(code, Some(0), "{wrong}");
    let ears = Ears::open();
    let (code, _, wrong) = said(&["capture", "air", "--play", "1"], &piece.data());
    assert_eq!(code, Some(0), "{wrong}");
    ears.wait_for(&[60, 64, 67, 72]);

    ears.forget();
    let mut capture = run(&piece, &["capture", "paper", "--meter", "2/4", "--tempo", "120", "--bars", "1"]);
    capture.wait_for("from bar 1", 1);
    capture.say("");
    capture.wait_for("nothing was played", 1);
    let keys = ears.keys();
    // A bar counted in, and the bar itself; a click that a slow machine would bring too late is left out.
    assert!(keys.first() == Some(&FIRST) && keys.contains(&BEAT) && keys.iter().all(|key| [FIRST, BEAT].contains(key)), "{keys:?}");
    capture.say("done");
    // Not a second time either.
    capture.say("done");
    let (status, wrong) = capture.wait_for_end();
    assert!(status.success(), "{wrong}");
}
