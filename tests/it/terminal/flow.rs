//! The main job on a real terminal: what is played goes in as bytes, by keys and by the built-in player; the screen is read back.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::Command as Process;
use std::thread::sleep;
use std::time::{Duration, Instant};

use portable_pty::CommandBuilder;
use tempfile::TempDir;

use super::pty::{Pty, program};

/// Length of a quarter in the piece below: 180 a minute.
pub const QUARTER: Duration = Duration::from_micros(60_000_000 / 180);
/// Right hand a quarter each, three bars of four to a section; left hand one note a bar.
pub const TUNE: [u8; 24] = [72, 74, 76, 77, 79, 77, 76, 74, 72, 76, 79, 84, 83, 81, 79, 77, 76, 79, 77, 74, 71, 74, 77, 72];
pub const BASS: [u8; 6] = [48, 43, 45, 41, 47, 36];
const BEATS_A_BAR: usize = 4;

/// Writes a piece of two sections: `up` (bars 1 to 3, three reps) and `down` (bars 4 to 6, one rep).
pub(super) fn piece(folder: &Path) {
    let mut notes = "onset_beats,duration_beats,pitch,hand\n".to_owned();
    for (beat, pitch) in TUNE.iter().enumerate() {
        if beat % BEATS_A_BAR == 0 {
            notes += &format!("{beat},4,{},L\n", BASS[beat / BEATS_A_BAR]);
        }
        notes += &format!("{beat},1,{pitch},R\n");
    }
    std::fs::write(folder.join("steps.csv"), notes).unwrap();
    let toml = "title = \"Steps\"\nscore = \"steps.csv\"\ninstrument = \"keyboard\"\ntempo = 180\nreps = 3\n\
        [[section]]\nname = \"up\"\nbars = \"1-3\"\n[[section]]\nname = \"down\"\nbars = \"4-6\"\nreps = 1\n\
        [[cue]]\nat = \"2.1\"\ntext = \"top, then home\"\n[[cue]]\nat = \"3.1\"\ntext = \"leap away\"\n\
        [[cue]]\nat = \"5.1\"\ntext = \"lean back\"\n";
    std::fs::write(folder.join("piece.toml"), toml).unwrap();
}

/// The program drilling the piece, listening to a FIFO.
pub struct Drill {
    pub pty: Pty,
    pub fifo: File,
    pub folder: TempDir,
}

impl Drill {
    pub fn start(columns: u16, rows: u16) -> Drill {
        Drill::start_as(&["drill"], columns, rows)
    }

    /// Starts a subcommand on the piece, with what else is to be said to it.
    pub fn start_as(words: &[&str], columns: u16, rows: u16) -> Drill {
        let folder = tempfile::tempdir().unwrap();
        piece(folder.path());
        assert!(Process::new("mkfifo").arg(folder.path().join("keys.fifo")).status().unwrap().success());
        Drill::start_in(folder, words, columns, rows)
    }

    /// Starts it on a piece that is there already.
    pub fn start_in(folder: TempDir, words: &[&str], columns: u16, rows: u16) -> Drill {
        let path = folder.path().join("keys.fifo");
        let mut command = CommandBuilder::new(program());
        command.args(words);
        command.args([&*folder.path().to_string_lossy(), "--input", &format!("stream:{}", path.display())]);
        command.args(["--data", &folder.path().join("data").to_string_lossy()]);
        command.env("TERM", "xterm-256color");
        let pty = Pty::start(command, columns, rows);
        // Opening waits for the program to open its end.
        let fifo = File::options().write(true).open(path).unwrap();
        pty.wait_for("play, or press a key");
        Drill { pty, fifo, folder }
    }

    pub fn bytes(&mut self, bytes: &[u8]) {
        self.fifo.write_all(bytes).and_then(|()| self.fifo.flush()).unwrap();
    }

    /// Strikes what the score has at a beat, with running status between the hands.
    fn strike(&mut self, beat: usize) {
        let mut bytes = vec![0x90];
        if beat.is_multiple_of(BEATS_A_BAR) {
            bytes.extend([BASS[beat / BEATS_A_BAR], 60]);
        }
        bytes.extend([TUNE[beat], 72]);
        self.bytes(&bytes);
    }

    /// Plays beats in time; `each` looks on after each of them.
    pub fn play(&mut self, beats: std::ops::Range<usize>, each: impl FnMut(&Pty, usize)) {
        self.play_in(QUARTER, beats, each);
    }

    /// Plays beats of another length.
    pub fn play_in(&mut self, quarter: Duration, beats: std::ops::Range<usize>, mut each: impl FnMut(&Pty, usize)) {
        let (begun, first) = (Instant::now(), beats.start);
        for beat in beats {
            sleep((quarter * (beat - first) as u32).saturating_sub(begun.elapsed()));
            self.strike(beat);
            each(&self.pty, beat);
        }
    }

    /// A breath between reps.
    pub fn rest(&self) {
        sleep(Duration::from_millis(1_000));
    }
}

/// Rows of the screen with anything on them but the ribbon.
pub(super) fn said(pty: &Pty) -> Vec<String> {
    let ribbon = |line: &str| line.trim().chars().all(|c| "─╌▬═ ".contains(c));
    pty.text().lines().map(|line| line.trim().to_owned()).filter(|line| !ribbon(line)).collect()
}

#[test]
fn a_piece_is_drilled_from_a_raw_midi_stream() {
    let mut drill = Drill::start(80, 24);
    // Large letters are not text, so the test reads plain ones; how large ones look is tested elsewhere.
    drill.pty.press("\rl");
    drill.pty.wait_for("play when you are ready");
    assert!(drill.pty.text().contains("bars 1 to 3") && drill.pty.text().contains("0 of 3"));

    // Fluent: the screen has the name, the count and the ribbon, and nothing else.
    drill.play(0..12, |pty, beat| {
        if beat > 1 && beat < 11 {
            let said = said(pty);
            assert!(said.len() == 1 && said[0].starts_with("up") && said[0].ends_with("0 of 3"), "beat {beat}: {said:?}");
        }
    });
    drill.pty.wait_for("clean, 1 of 3");
    drill.rest();

    // A hesitation before bar 2 is answered with its cue, which goes with the right note.
    drill.play(0..4, |_, _| {});
    let stopped = Instant::now();
    drill.pty.wait_for("top, then home");
    assert!(stopped.elapsed() > Duration::from_millis(1_000), "no cue while a player might only breathe");
    drill.strike(4);
    drill.pty.wait_until("the cue to go", |screen| !screen.contents().contains("top, then home"));
    sleep(QUARTER);
    drill.play(5..12, |_, _| {});
    drill.pty.wait_for("with a cue");
    assert!(drill.pty.text().contains("1 of 3"), "a prompted rep does not count");
    drill.rest();

    // A wrong bass note is answered with its place on the page, and no note is named.
    drill.play(0..8, |_, _| {});
    sleep(QUARTER);
    drill.bytes(&[0x90, BASS[2] + 1, 60, TUNE[8], 72]);
    sleep(QUARTER);
    drill.play(9..12, |_, _| {});
    drill.pty.wait_for("look: bar 3, beat 1, left hand");
    assert!(drill.pty.text().contains("1 of 3"));
    drill.rest();
    drill.rest();

    for count in ["clean, 2 of 3", "3 of 3"] {
        drill.play(0..12, |_, _| {});
        drill.pty.wait_for(count);
        drill.rest();
    }
    // The place that failed waits for a line of story, and holds nobody up.
    drill.pty.wait_for("a line of story for bar 3, beat 1, left hand");
    drill.pty.press("d");
    drill.pty.wait_for("bars 4 to 6");
    drill.play(12..24, |_, _| {});
    drill.pty.wait_for("1 of 1");
    drill.pty.wait_for("whole piece");
    drill.rest();

    // The run-through: no stopping, no cue, and a slip changes nothing on the screen.
    drill.play(0..24, |pty, beat| {
        if beat > 1 && beat < 23 {
            let said = said(pty);
            assert!(said.len() == 1 && said[0].ends_with("run-through"), "beat {beat}: {said:?}");
        }
    });
    drill.pty.wait_for("to the end");
    drill.pty.wait_for("up: 3 of 5 reps clean, 1 with a cue");
    drill.pty.press("q");
    let status = drill.pty.wait_for_end();
    assert!(status.success(), "{status:?}");
    assert!(!drill.pty.look(vt100::Screen::alternate_screen));
    assert!(drill.folder.path().join("data").read_dir().unwrap().next().is_some(), "the journal is there");
}

#[test]
fn keys_move_between_sections_and_change_the_count() {
    let mut drill = Drill::start(120, 40);
    drill.pty.press("\rl");
    drill.pty.wait_for("bars 1 to 3");
    for (key, expected) in [
        ("n", "bars 4 to 6"),
        ("n", "run-through"),
        ("b", "bars 4 to 6"),
        ("b", "bars 1 to 3"),
        ("+", "0 of 4"),
        ("-", "0 of 3"),
        (" ", "paused"),
        (" ", "play when you are ready"),
        ("r", "play when you are ready"),
        ("?", "the last rep was not clean"),
        ("\r", "play when you are ready"),
    ] {
        drill.pty.press(key);
        drill.pty.wait_for(expected);
    }
    // A rep is judged, and judged otherwise by the player.
    drill.play(0..12, |_, _| {});
    drill.pty.wait_for("clean, 1 of 3");
    drill.pty.press("x");
    drill.pty.wait_for("not clean");
    drill.pty.wait_for("0 of 3");
    drill.pty.press("y");
    drill.pty.wait_for("clean, 1 of 3");
    drill.pty.press("\u{3}");
    assert!(drill.pty.wait_for_end().success());
}

#[test]
fn an_instrument_that_goes_away_is_noticed_and_taken_up_again() {
    let mut drill = Drill::start(80, 24);
    drill.pty.press("\rl");
    drill.pty.wait_for("play when you are ready");
    // Nobody writes any more: as if the cable were pulled.
    drill.fifo = File::open("/dev/null").unwrap();
    drill.pty.wait_for("instrument gone");
    drill.fifo = File::options().write(true).open(drill.folder.path().join("keys.fifo")).unwrap();
    drill.pty.wait_for("instrument back");
    drill.play(0..12, |_, _| {});
    drill.pty.wait_for("clean, 1 of 3");
}

#[test]
fn a_terminal_closed_in_the_middle_of_a_rep_leaves_the_rep_before_it_on_disk() {
    let mut drill = Drill::start(80, 24);
    drill.pty.press("\rl");
    drill.play(0..12, |_, _| {});
    drill.pty.wait_for("clean, 1 of 3");
    drill.rest();
    drill.play(0..6, |_, _| {});
    drill.pty.close();
    assert!(drill.pty.wait_for_end().success());
    // A piece is filed under the name of its folder.
    let key = drill.folder.path().file_name().unwrap();
    let reps = Process::new(program()).arg("reps").arg(key).arg("--data").arg(drill.folder.path().join("data")).output().unwrap();
    let said = String::from_utf8_lossy(&reps.stdout).into_owned();
    let lines: Vec<&str> = said.lines().collect();
    assert!(lines.len() == 2 && lines[0].ends_with("up: clean") && lines[1].contains("up: not clean"), "{said}");
}

/// Runs the demo on the short piece, or on the one it shows by itself.
fn demo(piece_folder: Option<&Path>, columns: u16, rows: u16) -> Pty {
    let mut command = CommandBuilder::new(program());
    command.arg("demo");
    command.args(piece_folder.map(|folder| folder.to_string_lossy().into_owned()));
    command.env("TERM", "xterm-256color");
    Pty::start(command, columns, rows)
}

#[test]
fn the_demo_shows_the_job_from_first_rep_to_account() {
    let folder = tempfile::tempdir().unwrap();
    piece(folder.path());
    let mut pty = demo(Some(folder.path()), 80, 24);
    pty.wait_for("play, or press a key");
    pty.press("\rl");
    for step in [
        "play when you are ready",
        "clean, 1 of 3",
        "leap away",
        "with a cue",
        "look: bar 2, beat 1, left hand",
        "clean, 2 of 3",
        "3 of 3",
        "bars 4 to 6",
        "1 of 1",
        "run-through",
        "to the end",
        "up: 3 of 5 reps clean, 1 with a cue",
    ] {
        pty.wait_for(step);
    }
    pty.press("q");
    assert!(pty.wait_for_end().success());
}

#[test]
fn the_demo_hands_over_to_the_player() {
    let folder = tempfile::tempdir().unwrap();
    piece(folder.path());
    let path = folder.path().join("keys.fifo");
    assert!(Process::new("mkfifo").arg(&path).status().unwrap().success());
    let mut command = CommandBuilder::new(program());
    command.args(["demo", &folder.path().to_string_lossy(), "--input", &format!("stream:{}", path.display())]);
    command.env("TERM", "xterm-256color");
    let mut pty = Pty::start(command, 80, 24);
    pty.wait_for("play, or press a key");
    pty.press("\rl");
    pty.wait_for("the built-in player is playing");
    pty.press("p");
    let fifo = File::options().write(true).open(&path).unwrap();
    pty.wait_for("over to you");
    let mut drill = Drill { pty, fifo, folder };
    drill.play(0..12, |_, _| {});
    drill.pty.wait_for("clean, 1 of 3");
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());
}

#[test]
#[ignore = "takes the two minutes that the demo takes"]
fn the_shipped_demo_is_watched_in_about_two_minutes() {
    let begun = Instant::now();
    let mut pty = demo(None, 80, 24);
    pty.wait_for("play, or press a key");
    pty.press("\rl");
    // Each step has as long as any wait here; the whole is measured.
    for step in ["clean, 1 of 3", "with a cue", "look: bar", "clean, 2 of 3", "3 of 3", "1 of 1", "run-through"] {
        pty.wait_for(step);
    }
    while !pty.text().contains("minutes of playing") {
        assert!(begun.elapsed() < Duration::from_secs(200), "{}", pty.text());
        sleep(Duration::from_millis(200));
    }
    println!("the demo took {:?}", begun.elapsed());
    assert!((90..150).contains(&begun.elapsed().as_secs()), "{:?}", begun.elapsed());
    pty.press("q");
    assert!(pty.wait_for_end().success());
}

#[test]
fn where_output_is_no_terminal_the_demo_is_plain_lines_faster_than_real_time() {
    let begun = Instant::now();
    let output = Process::new(program()).arg("demo").output().unwrap();
    assert!(output.status.success());
    assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", begun.elapsed());
    let lines = String::from_utf8(output.stdout).unwrap();
    for word in ["section", "clean, 1 of 3", "cue:", "with a cue", "look:", "done:", "run-through:"] {
        assert!(lines.lines().any(|line| line.starts_with(word)), "{word} in {lines}");
    }
    assert!(lines.bytes().all(|byte| byte != 0x1b), "no terminal control");
}
