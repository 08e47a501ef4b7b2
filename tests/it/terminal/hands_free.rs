//! A whole session with both hands on the instrument: footswitch, signs and silence, and not one key pressed after the start.

use std::fs::File;
use std::io::{BufRead, Read, Write};
use std::path::Path;
use std::process::{Command as Process, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use portable_pty::CommandBuilder;
use tempfile::TempDir;

use super::pty::{LONG, Pty, program};

/// Length of a quarter in the piece below: 240 a minute.
const QUARTER: Duration = Duration::from_millis(250);
const BEATS_A_BAR: usize = 4;
/// Two bars to a section.
const TUNE: [u8; 24] = [72, 74, 76, 77, 79, 77, 76, 74, 72, 76, 79, 84, 83, 81, 79, 77, 76, 79, 77, 74, 71, 74, 77, 72];
const BASS: [u8; 6] = [48, 43, 45, 41, 47, 36];
const N_BEATS_A_SECTION: usize = 8;

const AGAIN: u8 = 66;
const NEXT: u8 = 67;
const LATER: u8 = 4;
const START: u8 = 5;
const PAUSE: u8 = 11;
/// The outer keys of a piano, which the piece does not have: lowest twice is again, highest twice next.
const LOWEST: u8 = 21;
const HIGHEST: u8 = 108;

fn piece(folder: &Path) {
    let mut notes = "onset_beats,duration_beats,pitch,hand\n".to_owned();
    for (beat, pitch) in TUNE.iter().enumerate() {
        if beat % BEATS_A_BAR == 0 {
            notes += &format!("{beat},4,{},L\n", BASS[beat / BEATS_A_BAR]);
        }
        notes += &format!("{beat},1,{pitch},R\n");
    }
    std::fs::write(folder.join("steps.csv"), notes).unwrap();
    let sections: String = [("up", "1-2"), ("over", "3-4"), ("down", "5-6")]
        .iter()
        .map(|(n, b)| format!("[[section]]\nname = \"{n}\"\nbars = \"{b}\"\n"))
        .collect();
    let toml = format!("title = \"Steps\"\nscore = \"steps.csv\"\ninstrument = \"keyboard\"\ntempo = 240\nreps = 2\n{sections}");
    std::fs::write(folder.join("piece.toml"), toml).unwrap();
}

struct Session {
    pty: Pty,
    fifo: File,
    folder: TempDir,
}

impl Session {
    /// Starts a session of minutes, with a quiz and tones sent to a file.
    fn start(columns: u16, rows: u16) -> Session {
        let folder = tempfile::tempdir().unwrap();
        piece(folder.path());
        let at = |name: &str| folder.path().join(name);
        assert!(Process::new("mkfifo").arg(at("keys.fifo")).status().unwrap().success());
        std::fs::create_dir(at("data")).unwrap();
        std::fs::write(at("tones"), []).unwrap();
        let config = format!(
            "tone = \"stream:{}\"\n[[footswitch.learned]]\ncontroller = {LATER}\npressed-up-to = 60\ndoes = \"later\"\n\
             [[footswitch.learned]]\ncontroller = {START}\npressed-from = 20\ndoes = \"start\"\n\
             [[footswitch.learned]]\ncontroller = {PAUSE}\npressed-from = 64\ndoes = \"pause\"\n",
            at("tones").display()
        );
        std::fs::write(at("data/config.toml"), config).unwrap();
        let mut command = CommandBuilder::new(program());
        command.args(["drill", &folder.path().to_string_lossy(), "--minutes", "15"]);
        command.args(["--input", &format!("stream:{}", at("keys.fifo").display()), "--data", &at("data").to_string_lossy()]);
        command.env("TERM", "xterm-256color");
        let pty = Pty::start(command, columns, rows);
        let fifo = File::options().write(true).open(at("keys.fifo")).unwrap();
        pty.wait_for("play, or press a key");
        Session { pty, fifo, folder }
    }

    fn bytes(&mut self, bytes: &[u8]) {
        self.fifo.write_all(bytes).and_then(|()| self.fifo.flush()).unwrap();
    }

    /// Presses a pedal and lets it go, after longer than a bounce.
    fn press(&mut self, controller: u8) {
        let (down, up) = match controller {
            LATER => (0, 127),
            START => (39, 0),
            _ => (127, 0),
        };
        self.bytes(&[0xb0, controller, down]);
        sleep(Duration::from_millis(300));
        self.bytes(&[0xb0, controller, up]);
        sleep(Duration::from_millis(300));
    }

    /// Strikes a key of the instrument twice.
    fn twice(&mut self, key: u8) {
        sleep(Duration::from_millis(1_100));
        for _ in 0..2 {
            self.bytes(&[0x90, key, 70]);
            sleep(Duration::from_millis(250));
            self.bytes(&[0x80, key, 0]);
        }
    }

    /// Plays beats in time; at `slip` the bass is a semitone off.
    fn play(&mut self, beats: std::ops::Range<usize>, slip: Option<usize>) {
        let (begun, first) = (Instant::now(), beats.start);
        for beat in beats {
            sleep((QUARTER * (beat - first) as u32).saturating_sub(begun.elapsed()));
            let mut bytes = vec![0x90];
            if beat.is_multiple_of(BEATS_A_BAR) {
                bytes.extend([BASS[beat / BEATS_A_BAR] + u8::from(slip == Some(beat)), 60]);
            }
            bytes.extend([TUNE[beat], 72]);
            self.bytes(&bytes);
        }
    }

    fn section(&mut self, nth: usize, slip: Option<usize>) {
        sleep(Duration::from_millis(1_000));
        self.play(nth * N_BEATS_A_SECTION..(nth + 1) * N_BEATS_A_SECTION, slip);
    }

    /// Begins a section and breaks off after its first bar.
    fn section_begun(&mut self, nth: usize) {
        sleep(Duration::from_millis(1_000));
        self.play(nth * N_BEATS_A_SECTION..nth * N_BEATS_A_SECTION + 4, None);
    }

    fn tones(&self) -> Vec<u8> {
        std::fs::read(self.folder.path().join("tones")).unwrap()
    }
}

/// How often a note begins among bytes of MIDI that use no running status.
fn n_struck(bytes: &[u8], key: u8) -> usize {
    bytes.chunks(3).filter(|m| m[0] == 0x90 && m[1] == key).count()
}

/// The bar that the screen asks to begin at, from 1, where small words say it; large ones are no text.
fn asked_bar(screen: &str) -> Option<usize> {
    let number = |text: &str| text.split(|c: char| !c.is_ascii_digit()).next()?.parse::<usize>().ok();
    let bar_after = |words: &str| screen.lines().find_map(|line| line.trim().strip_prefix(words)).and_then(number);
    if screen.trim_start().starts_with("cold start") { bar_after("bar ") } else { bar_after("that was bar ").map(|bar| bar + 1) }
}

/// Tells whether a question of the quiz stands there and nothing is played to it yet.
fn is_question(screen: &str) -> bool {
    let kinds = ["cold start", "go on", "what comes next", "switch", "play until you are called away"];
    kinds.iter().any(|kind| screen.trim_start().starts_with(kind)) && screen.lines().filter(|l| !l.trim().is_empty()).count() > 2
}

/// Returns how many answers were given, which the head says: `1 of 3 held`.
fn n_answers(screen: &str) -> usize {
    let head = screen.lines().find(|l| l.trim_end().ends_with(" held")).unwrap_or_default();
    head.trim_end().trim_end_matches(" held").rsplit(' ').next().and_then(|n| n.parse().ok()).unwrap_or(0)
}

#[test]
fn a_whole_session_is_steered_by_footswitch_and_signs_alone() {
    let begun = Instant::now();
    let mut session = Session::start(80, 24);
    // The caution goes with the first press, which does nothing else.
    session.press(NEXT);
    session.pty.wait_for("bars 1 to 2");
    assert!(session.pty.text().contains("0 of 2"), "{}", session.pty.text());
    // Counted in, and played.
    session.press(START);
    session.section(0, None);
    session.pty.wait_for("1 of 2");
    assert_eq!((n_struck(&session.tones(), 96), n_struck(&session.tones(), 84)), (1, 3), "a bar of four is counted in");
    // A slip: its story is kept for later by foot.
    session.section(0, Some(4));
    session.pty.wait_for("k later");
    session.press(LATER);
    session.pty.wait_until("the question to go", |screen| !screen.contents().contains("k later"));
    // A rep is begun, and left by striking the lowest key twice.
    session.section_begun(0);
    session.twice(LOWEST);
    session.pty.wait_for("play when you are ready");
    session.section(0, None);
    // The section is done; the place that was kept is shown, and silence moves on.
    session.pty.wait_for("or play on: over");
    let listed = Instant::now();
    session.pty.wait_for("play when you are ready");
    assert!(listed.elapsed() >= Duration::from_millis(3_500), "{:?}", listed.elapsed());
    session.pty.wait_for("bars 3 to 4");
    for count in ["1 of 2", "bars 5 to 6"] {
        session.section(1, None);
        session.pty.wait_for(count);
    }
    session.section(2, None);
    session.pty.wait_for("1 of 2");
    // Again, before anything was played: nothing is lost by it.
    session.press(AGAIN);
    session.section(2, None);
    // The joins are passed over: one by striking the highest key twice.
    session.pty.wait_for("bars 1 to 4");
    session.twice(HIGHEST);
    session.pty.wait_for("bars 3 to 6");
    session.press(NEXT);

    session.pty.wait_for("to begin");
    session.press(START);
    let (mut n_passed, mut n_played) = (0, 0);
    while n_played < 1 || n_passed < 2 {
        assert!(begun.elapsed() < Duration::from_secs(240), "{}", session.pty.text());
        session.pty.wait_until("a question", |screen| is_question(&screen.contents()));
        let screen = session.pty.text();
        let before = n_answers(&screen);
        match asked_bar(&screen) {
            Some(bar) if n_played < 1 => {
                let first = (bar - 1) * BEATS_A_BAR;
                session.play(first..(first + 5 * BEATS_A_BAR).min(TUNE.len()), None);
                n_played += 1;
            }
            _ => {
                session.press(NEXT);
                n_passed += 1;
            }
        }
        session.pty.wait_until("the answer to count", |screen| n_answers(&screen.contents()) > before);
    }
    let n_asked = n_played + n_passed;
    assert!(session.pty.text().contains(&format!("1 of {n_asked} held")), "{}", session.pty.text());
    assert!(n_struck(&session.tones(), 72) >= n_asked, "the end of a question is heard");
    // In a pause, next is what comes after the quiz.
    session.press(PAUSE);
    session.pty.wait_for("space: go on");
    session.press(NEXT);

    session.pty.wait_for("run-through");
    let before = session.tones().len();
    session.press(START);
    sleep(Duration::from_millis(700));
    session.play(0..12, None);
    // While it is played nothing is asked for by accident.
    session.bytes(&[0xb0, NEXT, 127, 0xb0, NEXT, 0]);
    session.play(12..24, None);
    session.pty.wait_for("up: 2 of 3 reps clean");
    assert_eq!(session.tones().len(), before, "nothing sounds in a run-through");
    assert!(session.pty.text().contains("held, from the first bar to the last"), "{}", session.pty.text());
    // The account is put away by foot, too.
    session.bytes(&[0xb0, START, 39]);
    assert!(session.pty.wait_for_end().success());
    let (key, data) = (session.folder.path().file_name().unwrap(), session.folder.path().join("data"));
    let reps = Process::new(program()).arg("reps").arg(key).arg("--data").arg(data).output().unwrap();
    let reps = String::from_utf8_lossy(&reps.stdout).into_owned();
    for section in ["up", "over", "down"] {
        let clean = format!(" {section}: clean");
        assert_eq!(reps.lines().filter(|line| line.contains(&clean)).count(), 2, "{section} in {reps}");
    }
    println!("the session took {:?}", begun.elapsed());
}

#[test]
fn what_can_be_read_from_the_stand_is_said_by_foot_and_cues_are_set_no_smaller() {
    let folder = tempfile::tempdir().unwrap();
    let fifo = folder.path().join("keys.fifo");
    assert!(Process::new("mkfifo").arg(&fifo).status().unwrap().success());
    std::fs::write(folder.path().join("config.toml"), "# my own\n[footswitch.controllers]\n67 = \"next\"\n5 = \"start\"\n").unwrap();
    let mut command = CommandBuilder::new(program());
    command.args(["sight", "--distance", "2.5", "--ten-rows", "42", "--input", &format!("stream:{}", fifo.display()), "--data"]);
    command.arg(folder.path());
    command.env("TERM", "xterm-256color");
    let mut pty = Pty::start(command, 80, 24);
    let mut foot = File::options().write(true).open(&fifo).unwrap();
    // Capitals of twelve half rows, nine, seven.
    pty.wait_for("25 mm, 35 minutes of arc at 2.5 m");
    foot.write_all(&[0xb0, NEXT, 127]).unwrap();
    pty.wait_for("19 mm, 26 minutes of arc at 2.5 m");
    foot.write_all(&[0xb0, START, 127]).unwrap();
    assert!(pty.wait_for_end().success());
    assert!(pty.text().contains("kept: cues are not set smaller than 19 mm, 26 minutes of arc at 2.5 m"), "{}", pty.text());
    let config = std::fs::read_to_string(folder.path().join("config.toml")).unwrap();
    assert!(config.starts_with("# my own\n") && config.contains("[letters]\nsmallest = 9\n"), "{config}");
}

#[test]
fn a_switch_is_learned_by_pressing_it() {
    let folder = tempfile::tempdir().unwrap();
    let fifo = folder.path().join("keys.fifo");
    assert!(Process::new("mkfifo").arg(&fifo).status().unwrap().success());
    std::fs::write(folder.path().join("config.toml"), "# my own\ninput = \"harp\"\n").unwrap();
    let mut learning = Process::new(program())
        .args(["ports", "--footswitch", "--input", &format!("stream:{}", fifo.display()), "--data"])
        .arg(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut words = learning.stdin.take().unwrap();
    let lines = Lines::of(learning.stdout.take().unwrap());
    let mut foot = File::options().write(true).open(&fifo).unwrap();
    let mut send = |bytes: &[u8]| foot.write_all(bytes).unwrap();
    lines.wait_for("start: ");
    lines.wait_for("press the switch, and hold it");
    // A pedal that goes half way only, and sends its way there.
    send(&[0xb0, 4, 10, 0xb0, 4, 30, 0xb0, 4, 41]);
    lines.wait_for("let it go");
    send(&[0xb0, 4, 12, 0xb0, 4, 0]);
    lines.wait_for("kept: controller 4 is start, pressed from 21 up");
    lines.wait_for("again: ");
    words.write_all(b"\n").unwrap();
    lines.wait_for("was-clean: ");
    lines.wait_for("press the switch");
    // A spare key, tapped.
    send(&[0x90, 21, 50, 0x80, 21, 0]);
    lines.wait_for("kept: key 21 is was-clean");
    lines.wait_for("was-not: ");
    words.write_all(b"done\n").unwrap();
    assert!(learning.wait().unwrap().success());
    let config = std::fs::read_to_string(folder.path().join("config.toml")).unwrap();
    assert!(config.starts_with("# my own\ninput = \"harp\"\n"), "{config}");
    for line in ["controller = 4", "pressed-from = 21", "does = \"start\"", "key = 21", "does = \"was-clean\""] {
        assert!(config.contains(line), "{line} in {config}");
    }
}

/// The lines that a program has written so far.
struct Lines(std::sync::mpsc::Receiver<String>);

impl Lines {
    fn of(out: impl Read + Send + 'static) -> Lines {
        let (sender, lines) = std::sync::mpsc::channel();
        std::thread::spawn(move || std::io::BufReader::new(out).lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        Lines(lines)
    }

    /// Reads on to the line that has this in it.
    fn wait_for(&self, text: &str) {
        let mut seen = String::new();
        loop {
            match self.0.recv_timeout(LONG) {
                Ok(line) if line.contains(text) => return,
                Ok(line) => seen += &(line + "\n"),
                Err(error) => panic!("waiting for {text:?}: {error}; then came:\n{seen}"),
            }
        }
    }
}
