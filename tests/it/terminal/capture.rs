//! From paper to a clean rep on a real terminal: played in against the click, then drilled.

use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::Command as Process;
use std::sync::mpsc::{Receiver, channel};
use std::thread::{sleep, spawn};
use std::time::{Duration, Instant};

use portable_pty::CommandBuilder;

use super::pty::{Pty, program};

/// Two bars of 4/4: a bass note a bar under quarters.
const TUNE: [u8; 8] = [72, 74, 76, 77, 79, 77, 76, 74];
const BASS: [u8; 2] = [48, 43];
/// 120 quarters a minute.
const QUARTER: Duration = Duration::from_millis(500);

fn start(args: &[&str], data: &Path, fifo: &Path) -> Pty {
    let mut command = CommandBuilder::new(program());
    command.args(args);
    command.args(["--input", &format!("stream:{}", fifo.display()), "--data", &data.to_string_lossy()]);
    command.env("TERM", "xterm-256color");
    Pty::start(command, 80, 24)
}

/// Plays the tune from a moment on, each quarter with its end, on an instrument whose strings make the octave above sound along.
fn play(fifo: &mut File, from: Instant) {
    for (beat, key) in TUNE.iter().enumerate() {
        sleep((from + QUARTER * beat as u32).saturating_duration_since(Instant::now()));
        let mut bytes = vec![0x90, *key, 70, *key + 12, 9];
        if beat % 4 == 0 {
            bytes.extend([BASS[beat / 4], 60]);
        }
        fifo.write_all(&bytes).and_then(|()| fifo.flush()).unwrap();
        sleep(QUARTER * 2 / 5);
        fifo.write_all(&[0x80, *key, 0]).and_then(|()| fifo.flush()).unwrap();
    }
}

fn pipe(dir: &Path, name: &str) -> PathBuf {
    let path = dir.join(name);
    assert!(Process::new("mkfifo").arg(&path).status().unwrap().success());
    path
}

/// Listens to a FIFO: every beginning of a note with the time at which it came.
fn listen(path: &Path) -> Receiver<(Instant, u8)> {
    // Opened for both ways, a FIFO waits for nobody, and who writes to it finds a reader.
    let mut wire = File::options().read(true).write(true).open(path).unwrap();
    let (send, heard) = channel();
    spawn(move || {
        let mut message = [0; 3];
        while wire.read_exact(&mut message).is_ok() {
            if message[0] == 0x90 && send.send((Instant::now(), message[1])).is_err() {
                return;
            }
        }
    });
    heard
}

#[test]
fn a_piece_on_paper_is_played_in_and_drilled() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("data");
    let path = pipe(dir.path(), "in.fifo");
    fs::create_dir_all(&data).unwrap();
    let set_up = |path: &Path| format!("[[instrument]]\nname = \"{}\"\nretrigger-ms = 70\n", path.display());
    fs::write(data.join("instruments.toml"), set_up(&path) + &set_up(&dir.path().join("drill.fifo"))).unwrap();
    let mut pty = start(&["capture", "paper", "--meter", "4/4", "--tempo", "120", "--bars", "2"], &data, &path);
    let mut fifo = File::options().write(true).open(&path).unwrap();
    pty.wait_for("from bar 1: Enter when you are ready");
    pty.press("\r");
    pty.wait_for("counting in");
    // The first click is seen; four of them are counted.
    play(&mut fifo, Instant::now() + QUARTER * 4);
    pty.wait_for("taken: bars 1 to 2");
    pty.wait_for("Once more from the beginning");
    pty.press("done\r");
    pty.wait_for("2 bars, 10 notes");
    assert!(pty.wait_for_end().success());
    drop(fifo);

    let path = pipe(dir.path(), "drill.fifo");
    let mut pty = start(&["drill", "paper", "--reps", "1"], &data, &path);
    let mut fifo = File::options().write(true).open(&path).unwrap();
    pty.wait_for("play, or press a key");
    pty.press("\rl");
    pty.wait_for("play when you are ready");
    play(&mut fifo, Instant::now());
    pty.wait_for("1 of 1");
    pty.press("q");
    assert!(pty.wait_for_end().success());
}

#[test]
fn the_click_goes_out_beat_by_beat_and_the_word_play_lets_bars_be_heard() {
    /// 240 quarters a minute.
    const BEAT: Duration = Duration::from_millis(250);
    const SOON: Duration = Duration::from_secs(20);
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("data");
    let (keys, tones) = (pipe(dir.path(), "keys.fifo"), pipe(dir.path(), "tones.fifo"));
    fs::create_dir_all(&data).unwrap();
    fs::write(data.join("config.toml"), format!("tone = \"stream:{}\"\n", tones.display())).unwrap();
    let heard = listen(&tones);
    let mut pty = start(&["capture", "air", "--meter", "2/4", "--tempo", "240", "--bars", "2"], &data, &keys);
    let mut keys = File::options().write(true).open(&keys).unwrap();
    pty.wait_for("from bar 1: Enter when you are ready");
    pty.press("\r");
    let first = heard.recv_timeout(SOON).expect("a first click");
    // A bar is counted in.
    for (beat, key) in [72, 74, 76, 77].into_iter().enumerate() {
        sleep((first.0 + BEAT * (2 + beat as u32)).saturating_duration_since(Instant::now()));
        keys.write_all(&[0x90, key, 70]).and_then(|()| keys.flush()).unwrap();
        sleep(BEAT / 2);
        keys.write_all(&[0x80, key, 0]).and_then(|()| keys.flush()).unwrap();
    }
    pty.wait_for("Once more from the beginning");
    let clicks: Vec<(Instant, u8)> = std::iter::once(first).chain(heard.try_iter()).collect();
    // The bar counted in, two bars, and on until the take ends; the first of each bar is higher.
    let pitches: Vec<u8> = clicks.iter().map(|(_, key)| *key).collect();
    assert!(pitches.len() >= 6, "{pitches:?}");
    assert!(pitches.iter().enumerate().all(|(beat, key)| *key == if beat % 2 == 0 { 96 } else { 84 }), "{pitches:?}");
    // A busy machine delays one or another: by most of them the beat can be set.
    let off = |(beat, (at, _)): (usize, &(Instant, u8))| at.duration_since(first.0).as_secs_f64() - BEAT.as_secs_f64() * beat as f64;
    let mut off: Vec<f64> = clicks.iter().enumerate().map(off).collect();
    off.sort_by(f64::total_cmp);
    let middle = &off[off.len() / 8..off.len() - off.len() / 8];
    assert!(middle[middle.len() - 1] - middle[0] < BEAT.as_secs_f64() / 4.0, "seconds off an even beat: {off:?}");

    pty.press("play 9\r");
    pty.wait_for("nothing is captured of bar 9");
    pty.press("play 2\r");
    let played: Vec<u8> = (0..2).map(|_| heard.recv_timeout(SOON).expect("a note of bar 2").1).collect();
    assert_eq!(played, [76, 77]);
    pty.press("done\r");
    pty.wait_for("2 bars, 4 notes");
    assert!(pty.wait_for_end().success());
    assert_eq!(heard.try_iter().count(), 0, "nothing but bar 2 was played back");
}
