//! The set-up through a real FIFO: three tasks played, what is kept, and a session that hears by it.
#![cfg(unix)]

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

/// The set-up, run by this test in the place of a player.
struct Tuning {
    child: Child,
    /// Enter.
    keys: ChildStdin,
    lines: std::sync::mpsc::Receiver<String>,
    wire: File,
    said: Vec<String>,
}

impl Tuning {
    fn begin(fifo: &Path, data: &Path) -> Tuning {
        let input = format!("stream:{}", fifo.display());
        let mut child = Command::new(env!("CARGO_BIN_EXE_catchword"))
            .args(["ports", "--tune", "--input", &input, "--data", &data.display().to_string()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (keys, printed) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        let (sender, lines) = std::sync::mpsc::channel();
        std::thread::spawn(move || BufReader::new(printed).lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        let wire = OpenOptions::new().write(true).open(fifo).unwrap();
        Tuning { child, keys, lines, wire, said: Vec::new() }
    }

    /// Waits for a line that begins so.
    fn wait(&mut self, beginning: &str) {
        loop {
            let line =
                self.lines.recv_timeout(Duration::from_secs(20)).unwrap_or_else(|_| panic!("{beginning:?} comes after {:?}", self.said));
            self.said.push(line.clone());
            if line.starts_with(beginning) {
                return;
            }
        }
    }

    fn send(&mut self, bytes: &[u8]) {
        self.wire.write_all(bytes).unwrap();
    }

    fn enter(&mut self) {
        self.keys.write_all(b"\n").unwrap();
    }

    fn end(mut self) -> Vec<String> {
        while let Ok(line) = self.lines.recv_timeout(Duration::from_secs(20)) {
            self.said.push(line);
        }
        assert!(self.child.wait().unwrap().success(), "{:?}", self.said);
        self.said
    }
}

fn printed(args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_catchword")).args(args).output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_minute_at_the_instrument_is_kept_listed_and_heard_by() {
    let dir = tempfile::tempdir().unwrap();
    let (fifo, data) = (dir.path().join("harp"), dir.path().join("data"));
    assert!(Command::new("mkfifo").arg(&fifo).status().unwrap().success());
    let mut tuning = Tuning::begin(&fifo, &data);
    tuning.wait("1 of 3: ");
    // Twelve strings from E flat 3 up; the second triggers twice, the third makes its octave ring along.
    let scale = [51u8, 53, 55, 56, 58, 60, 62, 63, 65, 67, 68, 70];
    for (n, key) in scale.into_iter().enumerate() {
        tuning.send(&[0x90, key, 40]);
        match n {
            1 => {
                sleep(Duration::from_millis(40));
                tuning.send(&[0x90, key, 20]);
            }
            2 => tuning.send(&[0x90, key + 12, 9]),
            _ => {}
        }
        sleep(Duration::from_millis(320));
    }
    tuning.wait("12 strings so far");
    tuning.enter();
    tuning.wait("2 of 3: ");
    for length in [200, 1_200] {
        tuning.send(&[0x90, 51, 60]);
        sleep(Duration::from_millis(length));
        tuning.send(&[0x80, 51, 64]);
        sleep(Duration::from_millis(500));
    }
    tuning.wait("3 of 3: ");
    tuning.send(&[0x90, 56, 60]);
    sleep(Duration::from_millis(500));
    // The lever is up, and the key is the same: it sends strings.
    tuning.send(&[0x90, 56, 60]);
    let said = tuning.end();
    let has = |wanted: &str| assert!(said.iter().any(|l| l.contains(wanted)), "{wanted:?} is not in {said:#?}");
    has("12 strings heard");
    has("12 strings, Eb3 to Bb4");
    has("(1 double trigger, 1 ghost in the walk)");
    has("it sends strings: levers and pedals are not heard");
    has("the end of a note says when the string is damped");
    has("kept for ");

    let kept = std::fs::read_to_string(data.join("instruments.toml")).unwrap();
    assert!(kept.contains("match = \"string\"\nnames = -3\n") && kept.contains("ends = \"damping\"\n"), "{kept}");
    assert!(kept.contains("soft = \"51:40 53:40"), "{kept}");
    let data = data.display().to_string();
    let listed = printed(&["ports", "--data", &data]);
    let line = format!("Set up:\n  {}: 12 strings, Eb3 to Bb4; sends strings", fifo.display());
    assert!(listed.contains(&line), "{line:?} is not in {listed}");
    let json: serde_json::Value = serde_json::from_str(&printed(&["ports", "--json", "--data", &data])).unwrap();
    assert_eq!(json["set_up"][0]["name"], fifo.display().to_string());
}

#[test]
fn without_a_walk_nothing_is_kept() {
    let dir = tempfile::tempdir().unwrap();
    let fifo = dir.path().join("harp");
    assert!(Command::new("mkfifo").arg(&fifo).status().unwrap().success());
    let mut tuning = Tuning::begin(&fifo, dir.path());
    for task in ["1 of 3: ", "2 of 3: ", "3 of 3: "] {
        tuning.wait(task);
        tuning.enter();
    }
    let status = tuning.child.wait().unwrap();
    assert_eq!(status.code(), Some(1));
    assert!(!dir.path().join("instruments.toml").exists());
}
