//! `catchword report-problem`: what is in the report, and that it is shown and asked for before anything is written.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn run(dir: &Path, more: &[&str], answer: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_catchword"))
        .args(["report-problem", "--data", dir.to_str().unwrap(), "--out", dir.join("report.txt").to_str().unwrap()])
        .args(more)
        .env("HOME", dir)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that asks nothing may be gone already.
    let _ = child.stdin.take().unwrap().write_all(answer.as_bytes());
    child.wait_with_output().unwrap()
}

/// A data folder with settings, a log and one rep by the player without an instrument.
fn practised() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("config.toml"), "log = \"what-was-done.log\"\n[prompts]\ncue-s = 1.5\n").unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_catchword"))
        .args(["drill", "ferry", "--plain", "--input", "keys", "--data", dir.path().to_str().unwrap()])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"ready\nheld\nquit\n").unwrap();
    assert!(child.wait().unwrap().success());
    dir
}

#[test]
fn the_report_is_shown_first_and_written_only_on_a_yes() {
    let dir = practised();
    let report = dir.path().join("report.txt");
    for answer in ["", "n\n", "maybe\n"] {
        let output = run(dir.path(), &[], answer);
        let shown = String::from_utf8(output.stdout).unwrap();
        assert!(output.status.success() && !report.exists(), "{answer:?}: {shown}");
        assert!(shown.contains("nothing is sent anywhere") && shown.ends_with("nothing was written\n"), "{shown}");
        // What would be written has been seen.
        for words in [concat!("catchword ", env!("CARGO_PKG_VERSION")), "cue-s = 1.5", "1 session, 0 cut short; sound", "ended: "] {
            assert!(shown.contains(words), "{words}: {shown}");
        }
    }
    let output = run(dir.path(), &[], "y\n");
    assert!(output.status.success());
    let (shown, written) = (String::from_utf8(output.stdout).unwrap(), fs::read_to_string(&report).unwrap());
    for line in written.lines().filter(|l| !l.is_empty() && !l.starts_with("written ")) {
        assert!(shown.contains(line.trim_start_matches("== ")), "{line} was shown: {shown}");
    }
    assert!(!written.contains(dir.path().to_str().unwrap()), "the way to the player's home is left out: {written}");

    let again = run(dir.path(), &["--yes"], "");
    assert_eq!(again.status.code(), Some(1), "a report that is there is not written over");
    assert!(String::from_utf8(again.stderr).unwrap().contains("give another name with --out"));
}

#[test]
fn a_report_can_be_made_where_everything_is_broken() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("config.toml"), "imput = 1\n").unwrap();
    fs::write(dir.path().join("journal.db"), "not a journal").unwrap();
    let output = run(dir.path(), &["--yes"], "");
    let shown = String::from_utf8(output.stdout).unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(shown.contains("did you mean \"input\"?") && shown.contains("cannot be read: "), "{shown}");
    assert_eq!(fs::read_to_string(dir.path().join("journal.db")).unwrap(), "not a journal", "it is left as it is");
}

#[test]
fn there_is_no_log_unless_it_is_asked_for() {
    let dir = tempfile::tempdir().unwrap();
    let log = dir.path().join("own.log");
    let plan = |more: &[&str]| {
        let data = dir.path().to_str().unwrap();
        assert!(Command::new(env!("CARGO_BIN_EXE_catchword")).args(["plan", "--data", data]).args(more).output().unwrap().status.success());
    };
    plan(&[]);
    let files: Vec<_> = fs::read_dir(dir.path()).unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect();
    assert!(!files.iter().any(|name| name.ends_with(".log")), "{files:?}");
    plan(&["--log", log.to_str().unwrap()]);
    let text = fs::read_to_string(&log).unwrap();
    assert!(text.contains("\"plan\"") && text.contains("ended: "), "{text}");
}
