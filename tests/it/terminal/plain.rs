//! Plain mode in a real terminal: lines are only ever added, and nothing steers the terminal. For screen readers, and for logs.

use std::io::{Read, Write};
use std::path::Path;
use std::process::Command as Process;
use std::sync::{Arc, Mutex};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};

use super::flow::piece;
use super::pty::{LONG, program};

/// A program in a terminal, with every byte that it has written.
struct Raw {
    child: Box<dyn Child + Send + Sync>,
    writer: Box<dyn Write + Send>,
    written: Arc<Mutex<Vec<u8>>>,
    _master: Box<dyn MasterPty + Send>,
}

impl Raw {
    fn start(words: &[&str], data: &Path) -> Raw {
        let pair = native_pty_system().openpty(PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 }).unwrap();
        let mut command = CommandBuilder::new(program());
        command.args(words);
        command.args(["--data", &data.to_string_lossy()]);
        command.env("TERM", "xterm-256color");
        let child = pair.slave.spawn_command(command).unwrap();
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().unwrap();
        let writer = pair.master.take_writer().unwrap();
        let written = Arc::new(Mutex::new(Vec::new()));
        let to = Arc::clone(&written);
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(n) = reader.read(&mut buffer) {
                if n == 0 {
                    return;
                }
                to.lock().unwrap().extend(&buffer[..n]);
            }
        });
        Raw { child, writer, written, _master: pair.master }
    }

    fn text(&self) -> String {
        String::from_utf8(self.written.lock().unwrap().clone()).unwrap()
    }

    fn wait_for(&self, words: &str) {
        let begun = Instant::now();
        while !self.text().contains(words) {
            assert!(begun.elapsed() < LONG, "waiting for {words:?}:\n{}", self.text());
            sleep(Duration::from_millis(10));
        }
    }

    fn say(&mut self, line: &str) {
        self.writer.write_all(format!("{line}\n").as_bytes()).unwrap();
    }

    /// Waits for the end; returns what was written, found to be plain.
    fn end(mut self, what: &str) -> String {
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status;
            }
            assert!(begun.elapsed() < LONG, "{what} does not end:\n{}", self.text());
            sleep(Duration::from_millis(10));
        };
        // The last lines may still be on their way.
        sleep(Duration::from_millis(100));
        let text = self.text();
        assert!(status.success(), "{what}: {status:?}\n{text}");
        assert!(!text.trim().is_empty(), "{what} says nothing");
        // The terminal itself makes a line end of two bytes; any other return would go back over a line.
        let plain = text.replace("\r\n", "\n");
        let steering = plain.chars().find(|c| c.is_control() && *c != '\n');
        assert_eq!(steering, None, "{what} steers the terminal:\n{plain:?}");
        plain
    }
}

fn fifo(folder: &Path) -> String {
    let path = folder.join("keys.fifo");
    assert!(Process::new("mkfifo").arg(&path).status().unwrap().success());
    format!("stream:{}", path.display())
}

/// Every command that has a screen, and what it writes first with `--plain`. Commands that are not named here print lines at all
/// times (add, strings, story, reps, journal, trace, inspect, config, completions, manual), or are talked to in lines (below).
const PRINTED: [(&[&str], &str); 7] = [
    (&["--plain"], "all-through-the-night: "),
    (&["study", "{piece}", "--plain"], "Steps: "),
    (&["progress", "{piece}", "--plain"], "Steps"),
    (&["plan", "--plain"], ""),
    (&["sight", "--plain"], "enough: from 16 minutes of arc"),
    (&["ports", "--plain"], ""),
    (&["drill", "{piece}", "--plain", "--input", "take:{take}"], "before you play: "),
];

#[test]
fn what_is_printed_in_plain_mode_is_lines_and_nothing_else() {
    let data = tempfile::tempdir().unwrap();
    let folder = data.path().join("pieces").join("steps");
    std::fs::create_dir_all(&folder).unwrap();
    piece(&folder);
    let take = data.path().join("take.jsonl");
    std::fs::write(&take, "{\"t\":0,\"pitch\":72,\"velocity\":60,\"duration\":0.1}\n").unwrap();
    for (words, first) in PRINTED {
        let fill = |word: &&str| word.replace("{piece}", &folder.to_string_lossy()).replace("{take}", &take.to_string_lossy());
        let words: Vec<String> = words.iter().map(fill).collect();
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let what = words.join(" ");
        let text = Raw::start(&words, data.path()).end(&what);
        let begins = text.lines().find(|line| !line.is_empty()).unwrap_or_default();
        assert!(begins.starts_with(first), "{what}: {text}");
    }
}

#[test]
fn a_drill_and_a_quiz_are_talked_to_in_lines() {
    let folder = tempfile::tempdir().unwrap();
    piece(folder.path());
    let (data, piece) = (folder.path().join("data"), folder.path().to_string_lossy().into_owned());
    let mut drill = Raw::start(&["drill", &piece, "--plain", "--input", "keys"], &data);
    for (line, answer) in [
        ("", "before you play: Warm up."),
        ("", "section up, bars 1 to 3 (1 of 3)"),
        ("cue", "cue: top, then home"),
        ("ready", "mark: how did it go?"),
        ("was-not", "not clean, 0 of 3"),
        ("start", "say ready when it is played"),
    ] {
        if !line.is_empty() {
            drill.say(line);
        }
        drill.wait_for(answer);
    }
    drill.say("quit");
    let text = drill.end("drill");
    assert!(text.contains("up: 0 of 1 rep clean"), "{text}");

    let mut quiz = Raw::start(&["quiz", &piece, "--plain", "--input", "keys", "--minutes", "1", "--seed", "3"], &data);
    quiz.wait_for("quiz: 1 minute: ready to begin");
    quiz.say("start");
    // The first question of this seed.
    quiz.wait_for("cold start: up; bar 1");
    quiz.say("next");
    quiz.wait_for("passed over");
    quiz.say("pause");
    quiz.say("quit");
    quiz.end("quiz");
}

#[test]
fn reading_and_capturing_are_plain_lines_too() {
    let folder = tempfile::tempdir().unwrap();
    piece(folder.path());
    let input = fifo(folder.path());
    let (data, piece) = (folder.path().join("data"), folder.path().to_string_lossy().into_owned());
    let mut read = Raw::start(&["read", &piece, "--plain", "--input", &input], &data);
    let mut keys = std::fs::File::options().write(true).open(folder.path().join("keys.fifo")).unwrap();
    read.wait_for("from the page: whole piece, bars 1 to 6");
    keys.write_all(&[0x90, 72, 60, 48, 60]).unwrap();
    read.say("quit");
    drop(keys);
    read.end("read");

    let words = ["capture", "air", "--plain", "--meter", "2/4", "--tempo", "240", "--bars", "2", "--input", &input];
    let mut capture = Raw::start(&words, &data);
    let mut keys = std::fs::File::options().write(true).open(folder.path().join("keys.fifo")).unwrap();
    capture.wait_for("Enter when you are ready");
    capture.say("");
    capture.wait_for("counting in");
    capture.wait_for("bar 1");
    keys.write_all(&[0x90, 72, 60]).unwrap();
    sleep(Duration::from_millis(500));
    keys.write_all(&[0x90, 74, 60]).unwrap();
    capture.wait_for("bar 2");
    capture.wait_for("taken: bars 1 to");
    capture.say("done");
    capture.say("done");
    drop(keys);
    let text = capture.end("capture");
    assert_eq!(text.lines().filter(|line| *line == "counting in").count(), 1, "{text}");
}
