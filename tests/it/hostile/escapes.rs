//! Nothing that a file, a folder or a device is called, and nothing that is written in one, steers the terminal.

#![cfg(unix)]

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use portable_pty::CommandBuilder;
use tempfile::{TempDir, tempdir};

use crate::terminal::pty::{Pty, program};

/// Sets the window's title (OSC 0), clears the screen (CSI in one byte, ECMA-48 section 5.3), rings, and turns the direction of writing.
const HOSTILE: &str = "x\u{1b}]0;taken\u{7}\u{9b}2J\u{202e}y";
/// The same for a TOML or XML text, and as a name of a file.
const IN_TOML: &str = "x\\u001b]0;taken\\u0007\\u009b2J\\u202ey";

/// Panics where output has what only a hostile text can have brought.
fn assert_calm(what: &str, output: &[u8]) {
    let text = String::from_utf8_lossy(output);
    assert!(text.contains("taken"), "{what} shows the name at all: {text}");
    for bad in ["\u{1b}]", "\u{7}", "\u{9b}", "\u{202e}"] {
        assert!(!text.contains(bad), "{what} lets {bad:?} through: {text:?}");
    }
}

/// A data folder with one piece in which every text is hostile.
fn piece() -> (TempDir, PathBuf) {
    let dir = tempdir().unwrap();
    let folder = dir.path().join("pieces").join(HOSTILE.replace('/', ""));
    fs::create_dir_all(&folder).unwrap();
    fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry/ferry.musicxml"), folder.join("a.musicxml")).unwrap();
    let toml = format!(
        "title = \"{IN_TOML}\"\nscore = \"a.musicxml\"\n[[section]]\nname = \"s {IN_TOML}\"\nbars = \"1-4\"\n\
         [[cue]]\nat = \"1\"\ntext = \"c {IN_TOML}\"\nmore = \"m {IN_TOML}\"\n[[landmark]]\nat = \"1\"\nname = \"l {IN_TOML}\"\n"
    );
    fs::write(folder.join("piece.toml"), toml).unwrap();
    (dir, folder)
}

fn run(args: &[&str]) -> Vec<u8> {
    let mut child = Command::new(program()).args(args).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // What asks for nothing may be gone already.
    let _ = child.stdin.take().unwrap().write_all(b"ready\nheld\nready\nheld\nquit\n");
    let output = child.wait_with_output().unwrap();
    [output.stdout, output.stderr].concat()
}

#[test]
fn lines_and_errors_are_calm() {
    let (dir, folder) = piece();
    let (data, piece) = (dir.path().to_str().unwrap(), folder.to_str().unwrap());
    let score = dir.path().join(format!("{HOSTILE}.csv"));
    fs::write(&score, format!("onset_beats,duration_beats,pitch,hand\n0,1,{HOSTILE},R\n")).unwrap();
    let xml = dir.path().join("t.musicxml");
    fs::write(&xml, format!("<score-partwise><part id='P1'><measure><{HOSTILE}></measure></part></score-partwise>")).unwrap();
    let other = dir.path().join("other");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("config.toml"), format!("\"{IN_TOML}\" = 1\n")).unwrap();
    for args in [
        &["plan", "--data", data, "--minutes", "20"] as &[&str],
        &["progress", piece, "--data", data, "--plain"],
        &["story", piece],
        &["study", piece, "--data", data],
        &["reps", piece, "--data", data],
        &["inspect", score.to_str().unwrap()],
        &["inspect", HOSTILE],
        &["drill", HOSTILE, "--data", other.join("none").to_str().unwrap()],
        &["drill", piece, "--data", data, "--input", &format!("stream:/none/{HOSTILE}")],
        &["drill", piece, "--data", data, "--section", HOSTILE, "--input", "keys"],
        &["drill", piece, "--data", data, "--plain", "--input", "keys"],
        &["config", "--data", other.to_str().unwrap()],
        &["trace", piece, "--take", HOSTILE],
    ] {
        assert_calm(&format!("{args:?}"), &run(args));
    }
    let about_xml = String::from_utf8(run(&["inspect", xml.to_str().unwrap()])).unwrap();
    assert!(!about_xml.contains('\u{1b}') && about_xml.contains("line 1"), "{about_xml:?}");
}

#[test]
fn the_screens_are_calm() {
    let (dir, folder) = piece();
    let screens: [(&str, &[&str], &str); 4] = [
        ("the start screen", &[], ""),
        ("a drill", &["drill", folder.to_str().unwrap(), "--input", "keys"], "\r c"),
        ("a study", &["study", folder.to_str().unwrap()], "\t\t"),
        ("progress", &["progress", folder.to_str().unwrap()], ""),
    ];
    for (what, args, keys) in screens {
        let mut command = CommandBuilder::new(program());
        command.args(args);
        command.args(["--data", dir.path().to_str().unwrap()]);
        command.env("TERM", "xterm-256color");
        let mut pty = Pty::start(command, 120, 40);
        pty.settle(Duration::from_millis(500));
        for key in keys.chars() {
            pty.press(&key.to_string());
            pty.settle(Duration::from_millis(100));
        }
        pty.wait_for("taken");
        assert_calm(what, &pty.written());
        pty.press("q");
    }
}

#[test]
fn the_name_of_an_instrument_that_went_is_calm() {
    let dir = tempdir().unwrap();
    let fifo = dir.path().join(HOSTILE);
    assert!(Command::new("mkfifo").arg(&fifo).status().unwrap().success());
    let mut command = CommandBuilder::new(program());
    command.args(["drill", "ferry", "--input", &format!("stream:{}", fifo.display()), "--data", dir.path().to_str().unwrap()]);
    command.env("TERM", "xterm-256color");
    let pty = Pty::start(command, 120, 40);
    let mut writer = File::options().write(true).open(&fifo).unwrap();
    writer.write_all(&[0xfe]).unwrap();
    pty.wait_for("play, or press a key");
    drop(writer);
    pty.wait_for("taken");
    assert_calm("a notice", &pty.written());
}
