//! Capturing while the disk is full: playing goes on, and all of it is written once there is room.

use std::fs::{self, OpenOptions};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread::{sleep, spawn};
use std::time::{Duration, Instant};

use catchword::midi::MidiEvent;
use catchword::source::replay::read_take;

use super::disk::Small;

const KEYS: [u8; 6] = [60, 64, 67, 65, 69, 72];

/// A capture being played, its lines as they come.
struct Capture {
    child: Child,
    words: Option<ChildStdin>,
    lines: Receiver<String>,
    said: Vec<String>,
    fifo: PathBuf,
}

impl Capture {
    fn start(dir: &Path, data: &Path) -> Capture {
        let fifo = dir.join("keys.fifo");
        assert!(Command::new("mkfifo").arg(&fifo).status().unwrap().success());
        let mut child = Command::new(env!("CARGO_BIN_EXE_catchword"))
            .args(["capture", "waltz", "--meter", "3/4", "--tempo", "240", "--plain", "--input"])
            .arg(format!("stream:{}", fifo.display()))
            .arg("--data")
            .arg(data)
            .current_dir(dir)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (sender, lines) = channel();
        let out = child.stdout.take().unwrap();
        spawn(move || BufReader::new(out).lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        let words = child.stdin.take();
        Capture { child, words, lines, said: Vec::new(), fifo }
    }

    fn say(&mut self, word: &str) {
        writeln!(self.words.as_mut().unwrap(), "{word}").unwrap();
    }

    fn wait_for(&mut self, words: &str) {
        let until = Instant::now() + Duration::from_secs(60);
        while let Ok(line) = self.lines.recv_timeout(until.saturating_duration_since(Instant::now())) {
            self.said.push(line);
            if self.said.last().unwrap().contains(words) {
                return;
            }
        }
        panic!("{words:?} was not said: {:#?}", self.said);
    }

    /// Plays all keys into the stretch that is on, after its bar of click.
    fn play(&self) {
        let mut wire = OpenOptions::new().write(true).open(&self.fifo).unwrap();
        sleep(Duration::from_millis(1_700));
        for key in KEYS {
            wire.write_all(&[0x90, key, 64]).unwrap();
            sleep(Duration::from_millis(100));
            wire.write_all(&[0x80, key, 64]).unwrap();
            sleep(Duration::from_millis(100));
        }
        // The wire stays whole until all of it was heard.
        sleep(Duration::from_millis(300));
    }

    fn end(mut self) -> (ExitStatus, String) {
        drop(self.words.take());
        let status = self.child.wait().unwrap();
        let mut complaint = String::new();
        self.child.stderr.take().unwrap().read_to_string(&mut complaint).unwrap();
        (status, complaint)
    }
}

fn keys(file: &Path) -> Vec<u8> {
    let take = read_take(&fs::read(file).unwrap(), "take").unwrap();
    let on = |event: &MidiEvent| if let MidiEvent::NoteOn { key, .. } = event { Some(key.number()) } else { None };
    take.events().iter().filter_map(|e| on(&e.what)).collect()
}

/// Plays one stretch on a full disk, up to where room is asked for.
fn played_on_a_full_disk(dir: &Path) -> Option<(Capture, Small, PathBuf)> {
    let data = dir.join("data");
    let small = Small::mount(&data, "1m")?;
    let mut capture = Capture::start(dir, &data);
    capture.wait_for("from bar 1: Enter when you are ready");
    let ballast = small.fill();
    capture.say("");
    capture.wait_for("not written down yet (");
    capture.play();
    capture.say("");
    capture.wait_for("taken: bars 1 to ");
    capture.say("done");
    capture.wait_for("Once more from the beginning");
    capture.say("done");
    capture.wait_for("not all that was played is on disk: make room, then Enter");
    assert_eq!(capture.said.iter().filter(|line| line.starts_with("not written down yet")).count(), 1, "said once: {:#?}", capture.said);
    Some((capture, small, ballast))
}

#[test]
fn what_is_captured_on_a_full_disk_is_written_once_there_is_room() {
    let dir = tempfile::tempdir().unwrap();
    let Some((mut capture, _small, ballast)) = played_on_a_full_disk(dir.path()) else { return };
    fs::remove_file(ballast).unwrap();
    capture.say("");
    let (status, complaint) = capture.end();
    assert!(status.success(), "{complaint}");
    let folder = dir.path().join("data/pieces/waltz");
    assert_eq!(keys(&folder.join("capture/take-1.jsonl")), KEYS);
    assert!(folder.join("waltz.musicxml").exists() && folder.join("capture/capture.json").exists());
}

#[test]
fn a_capture_that_is_left_on_a_full_disk_says_where_its_takes_are() {
    let dir = tempfile::tempdir().unwrap();
    let Some((capture, _small, _)) = played_on_a_full_disk(dir.path()) else { return };
    let (status, complaint) = capture.end();
    assert_eq!(status.code(), Some(1));
    assert!(complaint.contains("there is no room for all that was played; the takes are kept in "), "{complaint}");
    let kept = PathBuf::from(complaint.trim().rsplit(' ').next().unwrap());
    assert!(kept.starts_with(dir.path().canonicalize().unwrap()) || kept.starts_with(dir.path()), "{kept:?}");
    assert_eq!(keys(&kept), KEYS);
}
