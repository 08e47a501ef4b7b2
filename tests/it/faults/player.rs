//! A player who never tires, and the program listening to them in plain lines.

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use catchword::journal::stats::DatedRep;
use catchword::journal::store::{RepId, Store};
use catchword::midi::{MidiEvent, Take};
use tempfile::TempDir;

use crate::terminal::pty::program;

/// Longer than anything here takes, on a busy machine too.
pub const LONG: Duration = Duration::from_secs(60);
/// A silence after which the next note may begin a rep.
pub const BREATH: Duration = Duration::from_millis(350);
/// Right hand, four notes to a bar; the left hand has one note a bar.
const TUNE: [u8; 12] = [72, 74, 76, 77, 79, 77, 76, 74, 72, 76, 79, 84];
const BASS: [u8; 3] = [48, 43, 45];

/// A piece of one section of `n_bars` bars; no tempo is set, so that any is right.
pub struct Piece {
    pub folder: TempDir,
    n_bars: usize,
}

impl Piece {
    pub fn new(n_bars: usize) -> Piece {
        Piece::with(n_bars, "")
    }

    /// As [`Piece::new`], with more lines in its file.
    pub fn with(n_bars: usize, more: &str) -> Piece {
        let folder = tempfile::tempdir().unwrap();
        let mut notes = "onset_beats,duration_beats,pitch,hand\n".to_owned();
        for beat in 0..4 * n_bars {
            if beat % 4 == 0 {
                notes += &format!("{beat},4,{},L\n", bass(beat));
            }
            notes += &format!("{beat},1,{},R\n", tune(beat));
        }
        std::fs::write(folder.path().join("steps.csv"), notes).unwrap();
        let toml = format!(
            "title = \"Steps\"\nscore = \"steps.csv\"\ninstrument = \"keyboard\"\nreps = 9\n{more}\n\
             [[section]]\nname = \"up\"\nbars = \"1-{n_bars}\"\n[[cue]]\nat = \"2.1\"\ntext = \"top, then home\"\n"
        );
        std::fs::write(folder.path().join("piece.toml"), toml).unwrap();
        assert!(Command::new("mkfifo").arg(folder.path().join("keys.fifo")).status().unwrap().success());
        Piece { folder, n_bars }
    }

    pub fn n_beats(&self) -> usize {
        4 * self.n_bars
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn data(&self) -> PathBuf {
        self.path().join("data")
    }

    /// Returns the file of the take in progress, once it has so many notes.
    pub fn take_in_progress(&self, n_notes: usize) -> PathBuf {
        let begun = Instant::now();
        loop {
            let mut files = std::fs::read_dir(self.data()).unwrap().map(|e| e.unwrap().path());
            let file = files.find(|p| p.extension().is_some_and(|e| e == "jsonl")).expect("a session is on");
            // The first line says whose take it is.
            if std::fs::read_to_string(&file).unwrap().lines().count() > n_notes {
                return file;
            }
            assert!(begun.elapsed() < LONG, "{n_notes} notes are not written");
            sleep(Duration::from_millis(5));
        }
    }

    pub fn fifo(&self) -> PathBuf {
        self.path().join("keys.fifo")
    }

    /// Returns the player's end of the wire. It stays open when the program ends and waits for nobody.
    pub fn wire(&self) -> File {
        OpenOptions::new().read(true).write(true).open(self.fifo()).unwrap()
    }

    /// The arguments of a drill that listens to the wire.
    pub fn arguments(&self, data: &Path) -> Vec<String> {
        let words = ["drill", &*self.path().to_string_lossy(), "--input", &format!("stream:{}", self.fifo().display())];
        let mut words: Vec<String> = words.iter().map(|w| (*w).to_owned()).collect();
        words.extend(["--data".to_owned(), data.display().to_string()]);
        words
    }

    /// Returns all reps of the piece, oldest first.
    pub fn reps(&self, store: &Store) -> Vec<(RepId, DatedRep)> {
        let keys: Vec<String> = store.sessions().unwrap().into_iter().map(|s| s.opened.piece_key).collect();
        keys.first().map_or_else(Vec::new, |key| store.reps(key).unwrap())
    }
}

/// After the first three bars it goes anywhere, so that no passage is like another.
fn tune(beat: usize) -> u8 {
    TUNE.get(beat).copied().unwrap_or_else(|| 62 + fastrand::Rng::with_seed(beat as u64).u8(0..27))
}

fn bass(beat: usize) -> u8 {
    BASS.get(beat / 4).copied().unwrap_or_else(|| 36 + fastrand::Rng::with_seed(!(beat as u64 / 4)).u8(0..20))
}

/// The bytes that strike what the score has at a beat.
pub fn strike(beat: usize) -> Vec<u8> {
    let mut bytes = vec![0x90];
    if beat.is_multiple_of(4) {
        bytes.extend([bass(beat), 60]);
    }
    bytes.extend([tune(beat), 72]);
    bytes
}

/// The keys struck in the beats of a rep up to `n_beats`, in their order.
pub fn keys_of(n_beats: usize) -> Vec<u8> {
    (0..n_beats).flat_map(|beat| strike(beat)[1..].chunks(2).map(|note| note[0]).collect::<Vec<_>>()).collect()
}

/// The keys struck in a take.
pub fn keys(take: &Take) -> Vec<u8> {
    let struck = |e: &catchword::time::Stamped<MidiEvent>| match e.what {
        MidiEvent::NoteOn { key, .. } => Some(key.number()),
        _ => None,
    };
    take.events().iter().filter_map(struck).collect()
}

/// Plays beats of the piece, one each `gap`.
pub fn play(wire: &mut File, beats: std::ops::Range<usize>, gap: Duration) {
    let (begun, first) = (Instant::now(), beats.start);
    for beat in beats {
        sleep((gap * (beat - first) as u32).saturating_sub(begun.elapsed()));
        wire.write_all(&strike(beat)).unwrap();
    }
}

/// The program with plain lines.
pub struct Plain {
    child: Child,
    lines: Arc<(Mutex<Lines>, Condvar)>,
    stderr: Option<thread::JoinHandle<String>>,
}

#[derive(Default)]
struct Lines {
    lines: Vec<(Instant, String)>,
    is_over: bool,
}

impl Plain {
    pub fn start(piece: &Piece) -> Plain {
        Plain::run(piece.path(), piece.arguments(&piece.data()), &[])
    }

    /// Runs the program in a directory with these words and more of an environment.
    pub fn run(dir: &Path, words: impl IntoIterator<Item = String>, environment: &[(&str, &str)]) -> Plain {
        let mut command = Command::new(program());
        command.args(words).arg("--plain").current_dir(dir).envs(environment.iter().copied());
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (stdout, mut stderr) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
        let lines = Arc::new((Mutex::new(Lines::default()), Condvar::new()));
        let to = Arc::clone(&lines);
        thread::spawn(move || {
            for line in BufReader::new(stdout).lines().map_while(Result::ok) {
                to.0.lock().unwrap().lines.push((Instant::now(), line));
                to.1.notify_all();
            }
            to.0.lock().unwrap().is_over = true;
            to.1.notify_all();
        });
        let stderr = thread::spawn(move || {
            let mut text = String::new();
            let _ = stderr.read_to_string(&mut text);
            text
        });
        Plain { child, lines, stderr: Some(stderr) }
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Types a line.
    pub fn say(&mut self, line: &str) {
        writeln!(self.child.stdin.as_mut().unwrap(), "{line}").unwrap();
    }

    /// Sends a signal by its name.
    pub fn signal(&self, name: &str) {
        send(self.id(), name);
    }

    pub fn lines(&self) -> Vec<String> {
        self.lines.0.lock().unwrap().lines.iter().map(|(_, line)| line.clone()).collect()
    }

    /// Waits for the `nth` line (from 1) that begins with `beginning`, and returns when it came.
    pub fn wait_for(&self, beginning: &str, nth: usize) -> Instant {
        let begun = Instant::now();
        let mut lines = self.lines.0.lock().unwrap();
        loop {
            if let Some((at, _)) = lines.lines.iter().filter(|(_, line)| line.starts_with(beginning)).nth(nth - 1) {
                return *at;
            }
            let said = || lines.lines.iter().map(|(_, line)| line.as_str()).collect::<Vec<_>>().join("\n");
            assert!(begun.elapsed() < LONG && !lines.is_over, "waiting for {nth} of {beginning:?}; it said:\n{}", said());
            lines = self.lines.1.wait_timeout(lines, Duration::from_millis(100)).unwrap().0;
        }
    }

    /// Waits until so many reps have a verdict.
    pub fn wait_for_verdicts(&self, n: usize) {
        let begun = Instant::now();
        while self.lines().iter().filter(|line| is_verdict(line)).count() < n {
            assert!(begun.elapsed() < LONG, "waiting for {n} verdicts; it said:\n{}", self.lines().join("\n"));
            sleep(Duration::from_millis(20));
        }
    }

    /// Waits for its end; returns how it ended and what it wrote to standard error.
    pub fn wait_for_end(&mut self) -> (ExitStatus, String) {
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status;
            }
            assert!(begun.elapsed() < LONG, "it does not end: {:?}", self.lines());
            sleep(Duration::from_millis(5));
        };
        let mut lines = self.lines.0.lock().unwrap();
        while !lines.is_over {
            lines = self.lines.1.wait_timeout(lines, Duration::from_millis(100)).unwrap().0;
        }
        drop(lines);
        (status, self.stderr.take().unwrap().join().unwrap())
    }
}

impl Drop for Plain {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Tells whether a line says how a rep ended.
pub fn is_verdict(line: &str) -> bool {
    ["clean,", "with a cue,", "not clean,", "look:"].iter().any(|word| line.starts_with(word))
}

pub fn send(process: u32, name: &str) {
    // The shell's own: a bare machine has no program of that name.
    let done = Command::new("sh").args(["-c", &format!("kill -s {name} {process}")]).status();
    assert!(done.is_ok_and(|status| status.success()), "sending {name}");
}

/// Runs a subcommand to its end: exit code, what it said, what it complained of.
pub fn said(words: &[&str], data: &Path) -> (Option<i32>, String, String) {
    let output = Command::new(program()).args(words).arg("--data").arg(data).stdin(Stdio::null()).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

/// Resident memory of a process, in bytes (proc_pid_status(5), `VmRSS`).
#[cfg(target_os = "linux")]
pub fn resident(process: u32) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).expect("a living process");
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() * 1024
}
