//! Notes as fast as a wire carries them, and an evening that does not end.

#![cfg(target_os = "linux")]

use std::io::Write;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use catchword::journal::store::Store;
use portable_pty::CommandBuilder;

use super::player::{Piece, keys, keys_of, resident, strike};
use crate::terminal::pty::{Pty, program};

/// Beats of the piece played over and over; its last bars are never reached, so that one take goes on and on.
const N_BEATS: usize = 40;
/// A note each millisecond: a note takes 0.96 ms on the wire (MIDI 1.0: 31,250 baud, three bytes of ten bits).
const NOTES_A_SECOND: u32 = 1_000;

fn on_screen(words: impl IntoIterator<Item = String>) -> Pty {
    let mut command = CommandBuilder::new(program());
    command.args(words);
    command.env("TERM", "xterm-256color");
    let mut pty = Pty::start(command, 80, 24);
    pty.wait_for("play, or press a key");
    pty.press("\r");
    pty
}

/// Plays at the speed of the wire until told to stop, with what else a wire carries (MIDI 1.0: timing clock 24 times a quarter, active
/// sensing within 300 ms) inside the messages. Returns how many notes were sent.
fn play_at_wire_speed(piece: &Piece, is_over: impl Fn() -> bool) -> u32 {
    let mut wire = piece.wire();
    let (begun, mut n_sent) = (Instant::now(), 0);
    for beat in (0..N_BEATS).cycle() {
        if is_over() {
            break;
        }
        let mut bytes = Vec::new();
        for byte in strike(beat) {
            bytes.push(byte);
            bytes.push(if bytes.len() % 7 == 0 { 0xFE } else { 0xF8 });
        }
        wire.write_all(&bytes).unwrap();
        n_sent += strike(beat).len() as u32 / 2;
        sleep((Duration::from_secs(1) * n_sent / NOTES_A_SECOND).saturating_sub(begun.elapsed()));
    }
    n_sent
}

/// What was sent in a while, in how long, and the memory that the program held meanwhile: bytes by time.
struct Played {
    n_sent: u32,
    sent_in: Duration,
    samples: Vec<(Duration, u64)>,
}

/// Plays at the speed of the wire for a while, then leaves the program.
fn play_for(length: Duration, piece: &Piece, mut pty: Pty) -> Played {
    let begun = Instant::now();
    let mut samples = Vec::new();
    let n_sent = thread::scope(|scope| {
        let playing = scope.spawn(|| play_at_wire_speed(piece, || begun.elapsed() >= length));
        while begun.elapsed() < length {
            sleep(Duration::from_millis(500));
            samples.push((begun.elapsed(), resident(pty.process_id())));
        }
        playing.join().unwrap()
    });
    let sent_in = begun.elapsed();
    // What waits in the wire is heard before the key.
    sleep(Duration::from_millis(500));
    pty.press("q");
    pty.wait_for_end();
    Played { n_sent, sent_in, samples }
}

/// Returns the most memory in the second and in the last tenth of the samples, in MB.
fn early_and_late(samples: &[u64]) -> (f64, f64) {
    let n = samples.len();
    let peak = |part: &[u64]| *part.iter().max().expect("samples") as f64 / 1e6;
    (peak(&samples[n / 10..n / 5]), peak(&samples[n - n / 10..]))
}

/// A take without an end, read from the page: going back to the beginning breaks nothing there.
fn check_one_long_take(length: Duration) {
    let piece = Piece::new(12);
    let mut words = piece.arguments(&piece.data());
    words[0] = "read".to_owned();
    let pty = on_screen(words);
    pty.wait_for("play when you are ready");
    let Played { n_sent, sent_in, samples } = play_for(length, &piece, pty);
    let store = Store::open(&piece.data()).unwrap();
    let reps = piece.reps(&store);
    assert_eq!(reps.len(), 1, "one take");
    let heard = keys(&store.take(reps[0].0).unwrap().unwrap());
    let (first, last) = (samples[samples.len() / 5], samples[samples.len() - 1]);
    let n_between = f64::from(n_sent) * (last.0 - first.0).as_secs_f64() / sent_in.as_secs_f64();
    let growth = last.1.saturating_sub(first.1) as f64;
    println!(
        "{n_sent} notes in {sent_in:.1?}, {} in the take; resident {:.1} MB after a fifth, {:.1} MB at the end: {:.0} bytes a note of the take",
        heard.len(),
        first.1 as f64 / 1e6,
        last.1 as f64 / 1e6,
        growth / n_between,
    );
    assert_eq!(heard.len(), n_sent as usize, "no note lost");
    let once = keys_of(N_BEATS);
    assert!(heard.iter().zip(once.iter().cycle()).all(|(heard, sent)| heard == sent), "in their order");
    // The take itself is held until it is written; nothing else may grow by the note.
    assert!(growth < 160.0 * n_between + 2e6, "{growth} bytes for {n_between} notes");
}

#[test]
fn at_the_speed_of_the_wire_no_note_is_lost() {
    check_one_long_take(Duration::from_secs(6));
}

/// A drill, where each going back to the beginning ends a rep: the journal is written some twenty times a second.
#[test]
fn at_the_speed_of_the_wire_the_screen_answers_keys() {
    let piece = Piece::new(12);
    let mut pty = on_screen(piece.arguments(&piece.data()));
    pty.wait_for("0 of 9");
    let is_over = AtomicBool::new(false);
    let mut delays = Vec::new();
    thread::scope(|scope| {
        scope.spawn(|| play_at_wire_speed(&piece, || is_over.load(Ordering::SeqCst)));
        sleep(Duration::from_secs(1));
        for _ in 0..10 {
            for (key, words) in [("-", "of 8"), ("+", "of 9")] {
                let pressed = Instant::now();
                pty.press(key);
                pty.wait_for(words);
                delays.push(pressed.elapsed());
                sleep(Duration::from_millis(100));
            }
        }
        is_over.store(true, Ordering::SeqCst);
    });
    pty.press("q");
    pty.wait_for_end();
    let store = Store::open(&piece.data()).unwrap();
    store.check().unwrap();
    delays.sort();
    println!(
        "key to screen at {NOTES_A_SECOND} notes a second: median {:?}, longest {:?}; {} reps kept",
        delays[10],
        delays[19],
        piece.reps(&store).len()
    );
    assert!(delays[19] < Duration::from_secs(5), "{delays:?}");
}

#[test]
#[ignore = "ten minutes"]
fn ten_minutes_at_the_speed_of_the_wire_lose_no_note() {
    check_one_long_take(Duration::from_secs(600));
}

/// Drills at the speed of the wire: what a rep held is given back, but for its line in the account of the session.
#[test]
#[ignore = "ten minutes"]
fn a_drill_of_ten_minutes_at_the_speed_of_the_wire_holds_no_notes_of_reps_gone_by() {
    let length = Duration::from_secs(600);
    let piece = Piece::new(12);
    let pty = on_screen(piece.arguments(&piece.data()));
    pty.wait_for("0 of 9");
    let Played { n_sent, samples, .. } = play_for(length, &piece, pty);
    let store = Store::open(&piece.data()).unwrap();
    store.check().unwrap();
    let n_reps = piece.reps(&store).len();
    let (second, last) = early_and_late(&samples.iter().map(|(_, bytes)| *bytes).collect::<Vec<_>>());
    let a_rep = 1e6 * (last - second) / (0.85 * n_reps as f64);
    println!(
        "{n_sent} notes in {length:.0?}, {n_reps} reps kept; resident {second:.1} MB in the second tenth, {last:.1} MB in the last: {a_rep:.0} bytes a rep"
    );
    // A rep is some hundred notes; its take alone would be several times this.
    assert!(a_rep < 1_500.0, "{a_rep} bytes a rep");
}

/// An evening of twelve hours: a section of 100 bars at 100 quarters a minute, over and over, every second rep broken off by a wrong
/// note; played from a recorded take a hundred times as fast, but for the breath between the reps, which is the player's own.
#[test]
#[ignore = "eight minutes"]
fn twelve_hours_at_a_hundredfold_keep_the_memory_as_it_was() {
    const N_BARS: usize = 100;
    const QUARTER_S: f64 = 0.6;
    const SPEED: f64 = 100.0;
    const HOURS: f64 = 12.0;
    // Two clean ones in a row never come, and so the section never ends.
    let piece = Piece::with(N_BARS, "[judging]\nin-a-row = true");
    let (mut lines, mut at, mut played_s, mut n_reps) = (String::new(), 0.0, 0.0, 0);
    while played_s < HOURS * 3_600.0 {
        let breaks_at = if n_reps % 2 == 1 { piece.n_beats() / 2 } else { usize::MAX };
        for beat in 0..piece.n_beats() {
            let notes = if beat == breaks_at { vec![0x90, 22, 70] } else { strike(beat) };
            for note in notes[1..].chunks(2) {
                lines += &format!(
                    "{{\"t\":{at:.6},\"pitch\":{},\"velocity\":{},\"duration\":{:.6}}}\n",
                    note[0],
                    note[1],
                    QUARTER_S / SPEED / 2.0
                );
            }
            (at, played_s) = (at + QUARTER_S / SPEED, played_s + QUARTER_S);
            if beat == breaks_at {
                break;
            }
        }
        (at, n_reps) = (at + 0.4, n_reps + 1);
    }
    let take = piece.path().join("evening.jsonl");
    std::fs::write(&take, lines).unwrap();
    let mut words = piece.arguments(&piece.data());
    words[3] = format!("take:{}", take.display());
    let mut command = CommandBuilder::new(program());
    command.args(words);
    command.env("TERM", "xterm-256color");
    let begun = Instant::now();
    let mut pty = Pty::start(command, 80, 24);
    pty.wait_for("1 of 9");
    let mut samples = Vec::new();
    let length = Duration::from_secs_f64(at);
    while begun.elapsed() + Duration::from_secs(3) < length {
        sleep(Duration::from_secs(2));
        samples.push(resident(pty.process_id()));
    }
    let (second, last) = early_and_late(&samples);
    sleep(Duration::from_secs(5));
    pty.signal("TERM");
    pty.wait_for_end();
    let store = Store::open(&piece.data()).unwrap();
    store.check().unwrap();
    let kept = piece.reps(&store).len();
    println!(
        "{played_s:.0} s of playing in {:.0?}: {n_reps} reps, {kept} in the journal; resident {second:.1} MB in the second tenth, {last:.1} MB in the last",
        begun.elapsed()
    );
    assert_eq!(kept, n_reps);
    assert!(last - second < 2.0, "memory grew by {} MB", last - second);
}
