//! The start screen on a real terminal, and a session of minutes in real time.

use std::fs::{self, File};
use std::path::Path;
use std::process::Command as Process;
use std::time::{Duration, Instant};

use portable_pty::CommandBuilder;

use super::flow::{Drill, piece};
use super::pty::{Pty, program};

/// A data directory with one piece, and settings that listen to a FIFO.
fn desk() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let steps = folder.path().join("pieces/steps");
    fs::create_dir_all(&steps).unwrap();
    piece(&steps);
    let fifo = folder.path().join("keys.fifo");
    assert!(Process::new("mkfifo").arg(&fifo).status().unwrap().success());
    fs::write(folder.path().join("config.toml"), format!("input = \"stream:{}\"\n", fifo.display())).unwrap();
    folder
}

fn start(data: &Path) -> Pty {
    let mut command = CommandBuilder::new(program());
    command.args(["--data", &data.to_string_lossy()]);
    command.env("TERM", "xterm-256color");
    Pty::start(command, 80, 24)
}

#[test]
fn from_the_list_one_key_leads_to_the_drill_and_no_key_is_lost() {
    let folder = desk();
    let mut pty = start(folder.path());
    pty.wait_for("what to practise");
    for words in ["Steps", "The Ferry at Low Water", "not played yet", "session: 25 minutes", "s session", "q close"] {
        assert!(pty.text().contains(words), "{words}: {}", pty.text());
    }
    pty.press("+");
    pty.wait_for("session: 30 minutes");
    while !pty.text().contains("> Steps") {
        pty.press_and_see("\x1b[B");
    }
    pty.press("d");
    let fifo = File::options().write(true).open(folder.path().join("keys.fifo")).unwrap();
    pty.wait_for("play, or press a key");
    // The first key is for the drill: nothing else still waits for keys.
    pty.press("\r");
    pty.wait_until("the caution to go", |screen| !screen.contents().contains("play, or press a key"));
    pty.press("l");
    pty.wait_for("play when you are ready");
    let mut drill = Drill { pty, fifo, folder };
    drill.play(0..12, |_, _| {});
    drill.pty.wait_for("clean, 1 of 3");
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());

    // What was practised last stands first, with what was played.
    let mut pty = start(drill.folder.path());
    pty.wait_for("> Steps");
    pty.wait_for("today: up, clean");
    pty.press("q");
    assert!(pty.wait_for_end().success());
}

#[test]
fn one_key_carries_out_the_plan_of_all_pieces_one_after_the_other() {
    let folder = desk();
    let stairs = folder.path().join("pieces/stairs");
    fs::create_dir_all(&stairs).unwrap();
    piece(&stairs);
    let toml = fs::read_to_string(stairs.join("piece.toml")).unwrap();
    fs::write(stairs.join("piece.toml"), toml.replace("\"Steps\"", "\"Stairs\"")).unwrap();
    let output = Process::new(program()).args(["plan", "--minutes", "25", "--json", "--data"]).arg(folder.path()).output().unwrap();
    let plan: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let planned: Vec<[String; 2]> = plan["days"][0]["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| ["piece", "name"].map(|key| step[key].as_str().unwrap().to_owned()))
        .collect();
    let of = |piece: &str| [[piece.to_owned(), "up".to_owned()], [piece.to_owned(), "down".to_owned()]];
    let (first, then) = if planned[0][0] == "steps" { ("steps", "Stairs") } else { ("stairs", "Steps") };
    assert_eq!(planned, [of(first), of(&then.to_lowercase())].concat());

    let mut pty = start(folder.path());
    pty.wait_for("today's plan");
    pty.press("p");
    let fifo = File::options().write(true).open(folder.path().join("keys.fifo")).unwrap();
    let mut drill = Drill { pty, fifo, folder };
    for part in 0..2 {
        drill.pty.wait_for("play, or press a key");
        drill.pty.press("\r");
        drill.pty.wait_until("the caution to go", |screen| !screen.contents().contains("play, or press a key"));
        drill.pty.press("l");
        drill.pty.wait_for("play when you are ready");
        drill.play(0..12, |_, _| {});
        drill.pty.wait_for("clean, 1 of 3");
        drill.pty.press("q");
        if part == 0 {
            // The list that the plan said, and nothing is asked of the player but a key.
            drill.pty.wait_for("Enter go on");
            for words in [then, "up, bars 1-3, 3 times", "down, bars 4-6, once"] {
                assert!(drill.pty.text().contains(words), "{words}: {}", drill.pty.text());
            }
            drill.pty.press("\r");
        }
    }
    assert!(drill.pty.wait_for_end().success());
    for piece in ["steps", "stairs"] {
        let output = Process::new(program()).args(["reps", piece, "--data"]).arg(drill.folder.path()).output().unwrap();
        let reps = String::from_utf8(output.stdout).unwrap();
        assert!(reps.lines().count() == 1 && reps.contains("up: clean"), "{piece}: {reps}");
    }
}

#[test]
fn without_an_instrument_the_list_stays_and_says_so() {
    let folder = desk();
    fs::write(folder.path().join("config.toml"), "input = \"take:not-there.mid\"\n").unwrap();
    let mut pty = start(folder.path());
    pty.wait_for("what to practise");
    pty.press("d");
    pty.wait_for("no instrument found: plug it in, or play unheard with --input keys");
    assert!(pty.text().contains("what to practise"));
    pty.press("q");
    assert!(pty.wait_for_end().success());
}

#[test]
fn where_output_is_no_terminal_the_pieces_are_lines() {
    let folder = desk();
    let output = Process::new(program()).arg("--data").arg(folder.path()).output().unwrap();
    let lines = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success());
    assert!(lines.contains("steps: Steps\n  not played yet\n") && lines.contains("--minutes 25"), "{lines}");
    // A directory that would not be looked at is refused.
    let output = Process::new(program()).args(["--data", "/nowhere", "ports"]).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn a_session_of_one_minute_comes_to_its_run_through_in_time() {
    let begun = Instant::now();
    let mut drill = Drill::start_as(&["drill", "--minutes", "1"], 80, 24);
    drill.pty.press("\rl");
    drill.pty.wait_for("play when you are ready");
    // The day's plan says what comes first.
    let beats = if drill.pty.text().contains("bars 1 to 3") { 0..12 } else { 12..24 };
    drill.play(beats, |_, _| {});
    drill.pty.wait_for("1 of ");
    // The piece takes 8 s; a fifth more and 20 s are kept for it.
    drill.pty.wait_for("whole piece");
    let at = begun.elapsed();
    assert!((Duration::from_secs(29)..Duration::from_secs(36)).contains(&at), "{at:?}");
    drill.play(0..24, |_, _| {});
    drill.pty.wait_for("1 of 1 rep clean");
    assert!(begun.elapsed() < Duration::from_secs(60));
    drill.pty.press("q");
    assert!(drill.pty.wait_for_end().success());
}
