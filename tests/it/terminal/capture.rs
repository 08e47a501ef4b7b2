//! From paper to a clean rep on a real terminal: played in against the click, then drilled.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::Command as Process;
use std::thread::sleep;
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

#[test]
fn a_piece_on_paper_is_played_in_and_drilled() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("data");
    let pipe = |name: &str| {
        let path = dir.path().join(name);
        assert!(Process::new("mkfifo").arg(&path).status().unwrap().success());
        path
    };
    let path = pipe("in.fifo");
    std::fs::create_dir_all(&data).unwrap();
    let set_up = |path: &Path| format!("[[instrument]]\nname = \"{}\"\nretrigger-ms = 70\n", path.display());
    std::fs::write(data.join("instruments.toml"), set_up(&path) + &set_up(&dir.path().join("drill.fifo"))).unwrap();
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

    let path = pipe("drill.fifo");
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
