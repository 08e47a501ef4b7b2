//! What the program costs a player: note to screen, note to verdict, key to screen, idle, memory, start. Fails where a target is missed.
//!
//!     cargo bench --bench latency
//!
//! The real program runs on a terminal of 200x60 and hears a FIFO; what is measured is from the write of a MIDI byte (or a key) to
//! the first byte of the changed screen that can be read back. Each figure stands beside a floor from the same run: this program as its
//! own echo, which reads the FIFO and writes one byte to such a terminal. Machines have other things to do: of several rounds the best
//! counts, floor and figure alike. A MIDI note takes 960 us on its wire (MIDI 1.0: 3 bytes of 10 bits at 31,250 a second).

#[cfg(unix)]
fn main() -> std::process::ExitCode {
    unix::main()
}

#[cfg(not(unix))]
fn main() {
    println!("measured where there are FIFOs and terminal devices only");
}

#[cfg(unix)]
mod unix {
    use std::fs::{self, File, OpenOptions};
    use std::io::{Read, Write};
    use std::os::fd::OwnedFd;
    use std::path::Path;
    use std::process::{Child, Command, ExitCode, Stdio};
    use std::sync::Arc;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::thread::{self, sleep};
    use std::time::{Duration, Instant};

    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use rustix::termios::{Winsize, tcsetwinsize};
    use tempfile::TempDir;

    const N_ROUNDS: usize = 3;
    const N_BARS: usize = 8;
    /// Between notes: a brisk quarter, in bars of one quarter each, so that every note moves the ribbon.
    const STEP: Duration = Duration::from_millis(125);
    const LONG: Duration = Duration::from_secs(10);
    const TUNE: [u8; N_BARS] = [60, 64, 67, 72, 71, 67, 65, 62];

    /// A program on a terminal of its own, with a FIFO that it listens to.
    struct Seat {
        child: Child,
        master: OwnedFd,
        fifo: Option<File>,
    }

    impl Drop for Seat {
        fn drop(&mut self) {
            let _ = self.child.kill();
            let _ = self.child.wait();
        }
    }

    impl Seat {
        fn start(command: &mut Command, fifo: &Path) -> Seat {
            let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a terminal");
            grantpt(&master).and_then(|()| unlockpt(&master)).expect("a terminal");
            tcsetwinsize(&master, Winsize { ws_row: 60, ws_col: 200, ws_xpixel: 0, ws_ypixel: 0 }).expect("a size");
            let name = ptsname(&master, Vec::new()).expect("a name").into_string().expect("a name");
            let slave = || Stdio::from(OpenOptions::new().read(true).write(true).open(&name).expect("the terminal opens"));
            command.stdin(slave()).stdout(slave()).stderr(slave()).env("TERM", "xterm-256color");
            let child = command.spawn().expect("the program starts");
            let fifo = fifo.exists().then(|| OpenOptions::new().read(true).write(true).open(fifo).expect("the FIFO opens"));
            Seat { child, master, fifo }
        }

        /// Waits for output; tells whether it came in time.
        fn wait(&self, patience: Duration) -> bool {
            let patience = Timespec { tv_sec: patience.as_secs() as i64, tv_nsec: i64::from(patience.subsec_nanos()) };
            let mut fds = [PollFd::new(&self.master, PollFlags::IN)];
            poll(&mut fds, Some(&patience)).expect("the terminal can be polled") > 0
        }

        /// Reads all that comes until nothing has come for a while.
        fn drain(&self, quiet: Duration) -> Vec<u8> {
            let mut out = Vec::new();
            let mut buffer = [0; 1 << 16];
            while self.wait(quiet) {
                match rustix::io::read(&self.master, &mut buffer) {
                    Ok(0) | Err(_) => break,
                    Ok(n) => out.extend(&buffer[..n]),
                }
            }
            out
        }

        fn wait_for(&self, words: &str) -> Vec<u8> {
            let begun = Instant::now();
            let mut seen = Vec::new();
            while !String::from_utf8_lossy(&seen).contains(words) {
                assert!(begun.elapsed() < LONG, "waiting for {words:?}: {}", String::from_utf8_lossy(&seen));
                seen.extend(self.drain(Duration::from_millis(20)));
            }
            seen
        }

        fn notes(&mut self, bytes: &[u8]) {
            self.fifo.as_mut().expect("a FIFO").write_all(bytes).expect("the FIFO takes bytes");
        }

        fn keys(&mut self, bytes: &[u8]) {
            rustix::io::write(&self.master, bytes).expect("the terminal takes keys");
        }

        /// Time from a note to the first byte that comes of it, and what came.
        fn after_note(&mut self, bytes: &[u8]) -> (Option<Duration>, Vec<u8>) {
            self.drain(Duration::ZERO);
            let begun = Instant::now();
            self.notes(bytes);
            let came = self.wait(STEP / 2).then(|| begun.elapsed());
            (came, self.drain(Duration::from_millis(3)))
        }

        fn process(&self, file: &str) -> String {
            fs::read_to_string(format!("/proc/{}/{file}", self.child.id())).unwrap_or_default()
        }

        /// Resident memory in MB.
        fn resident_mb(&self) -> f64 {
            let status = self.process("status");
            let kb =
                status.lines().find_map(|l| l.strip_prefix("VmRSS:")).and_then(|l| l.trim().trim_end_matches(" kB").parse::<f64>().ok());
            kb.unwrap_or(f64::NAN) / 1024.0
        }

        /// Switches of all threads, and their time on the processor in ticks.
        fn spent(&self) -> (u64, u64) {
            let tasks = fs::read_dir(format!("/proc/{}/task", self.child.id())).into_iter().flatten().flatten();
            let switches = tasks.filter_map(|t| fs::read_to_string(t.path().join("status")).ok()).map(|status| {
                let count = |name: &str| status.lines().find_map(|l| l.strip_prefix(name)?.trim().parse::<u64>().ok()).unwrap_or(0);
                count("voluntary_ctxt_switches:") + count("nonvoluntary_ctxt_switches:")
            });
            let stat = self.process("stat");
            let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
            let ticks = fields.get(11..13).map_or(0, |f| f.iter().filter_map(|t| t.parse::<u64>().ok()).sum());
            (switches.sum(), ticks)
        }
    }

    /// A folder with a piece of `n_sections` sections, a FIFO and room for data.
    fn piece(n_sections: usize) -> TempDir {
        let dir = tempfile::tempdir().expect("a folder");
        let mut notes = "onset_beats,duration_beats,pitch,hand,meter\n".to_owned();
        let mut toml = "title = \"Steps\"\nscore = \"steps.csv\"\ninstrument = \"keyboard\"\nreps = 9\n".to_owned();
        for section in 0..n_sections {
            for (n, pitch) in TUNE.iter().enumerate() {
                notes += &format!("{},1,{pitch},R,1/4\n", section * N_BARS + n);
            }
            toml += &format!("[[section]]\nname = \"part {section}\"\nbars = \"{}-{}\"\n", section * N_BARS + 1, (section + 1) * N_BARS);
        }
        fs::write(dir.path().join("steps.csv"), notes).expect("a file");
        fs::write(dir.path().join("piece.toml"), toml).expect("a file");
        assert!(Command::new("mkfifo").arg(dir.path().join("notes.fifo")).status().expect("mkfifo").success());
        dir
    }

    fn drill(dir: &Path) -> Seat {
        let fifo = dir.join("notes.fifo");
        let mut command = Command::new(env!("CARGO_BIN_EXE_catchword"));
        command.arg("drill").arg(dir).arg("--input").arg(format!("stream:{}", fifo.display())).arg("--data").arg(dir.join("data"));
        let seat = Seat::start(&mut command, &fifo);
        seat.wait_for("play");
        seat
    }

    /// Echoes every byte of a FIFO to the terminal: the floor.
    fn echo(fifo: &str) -> ExitCode {
        let mut fifo = OpenOptions::new().read(true).write(true).open(fifo).expect("the FIFO opens");
        let mut out = std::io::stdout();
        out.write_all(b"ready").and_then(|()| out.flush()).expect("the terminal takes bytes");
        let mut buffer = [0; 64];
        while let Ok(n) = fifo.read(&mut buffer) {
            out.write_all(&buffer[..n.min(1)]).and_then(|()| out.flush()).expect("the terminal takes bytes");
        }
        ExitCode::SUCCESS
    }

    #[derive(Default)]
    struct Samples(Vec<Duration>);

    impl Samples {
        fn at(&mut self, share: f64) -> f64 {
            self.0.sort();
            let idx = ((self.0.len() as f64 * share).ceil() as usize).clamp(1, self.0.len().max(1)) - 1;
            self.0.get(idx).map_or(f64::NAN, |d| d.as_secs_f64() * 1e3)
        }
    }

    /// Plays reps of one section; every note but the last moves the ribbon, the last brings the verdict.
    fn play(seat: &mut Seat, n_reps: usize) -> (Samples, Samples, usize) {
        let (mut moved, mut judged, mut silent) = (Samples::default(), Samples::default(), 0);
        for _ in 0..n_reps {
            for (n, key) in TUNE.iter().enumerate() {
                let begun = Instant::now();
                let (came, written) = seat.after_note(&[0x90, *key, 70]);
                match came {
                    Some(time) if n + 1 < N_BARS => moved.0.push(time),
                    Some(time) => {
                        let words = String::from_utf8_lossy(&written).into_owned();
                        if words.contains("clean") {
                            judged.0.push(time);
                        }
                    }
                    None => silent += 1,
                }
                seat.notes(&[0x80, *key, 0]);
                sleep(STEP.saturating_sub(begun.elapsed()));
            }
            sleep(Duration::from_millis(1_000));
        }
        (moved, judged, silent)
    }

    /// Active sensing, clock and a slowly turned controller at the speed of the wire, in between.
    fn flood(fifo: &Path, stop: &Arc<AtomicBool>) -> thread::JoinHandle<()> {
        let mut fifo = OpenOptions::new().write(true).open(fifo).expect("the FIFO opens");
        let stop = Arc::clone(stop);
        thread::spawn(move || {
            let mut value = 0u8;
            while !stop.load(Ordering::Relaxed) {
                value = (value + 1) % 128;
                // 30 bytes every 10 ms is what a wire carries.
                let bytes: Vec<u8> = (0..6).flat_map(|_| [0xfe, 0xf8, 0xb0, 1, value]).collect();
                let _ = fifo.write_all(&bytes);
                sleep(Duration::from_millis(10));
            }
        })
    }

    struct Table {
        is_broken: bool,
    }

    impl Table {
        fn row(&mut self, what: &str, value: f64, unit: &str, floor: Option<f64>, target: Option<f64>) {
            let ratio = floor.map_or_else(String::new, |f| format!("floor {f:.3}, x{:.1}", value / f));
            let is_missed = target.is_some_and(|t| value.is_nan() || value > t);
            let wanted = target.map_or_else(String::new, |t| format!("{} at most {t}", if is_missed { "MISSED:" } else { "" }));
            println!("{what:<46} {value:>9.3} {unit:<3}  {ratio:<24} {wanted}");
            self.is_broken |= is_missed;
        }
    }

    fn min(values: impl IntoIterator<Item = f64>) -> f64 {
        values.into_iter().fold(f64::NAN, f64::min)
    }

    pub fn main() -> ExitCode {
        let args: Vec<String> = std::env::args().collect();
        if let Some(at) = args.iter().position(|a| a == "--echo") {
            return echo(&args[at + 1]);
        }
        let mut table = Table { is_broken: false };
        let dir = piece(2);
        let fifo = dir.path().join("notes.fifo");

        let mut floors = Vec::new();
        for _ in 0..N_ROUNDS {
            let mut command = Command::new(std::env::current_exe().expect("this program has a path"));
            let mut seat = Seat::start(command.arg("--echo").arg(&fifo), &fifo);
            seat.wait_for("ready");
            let mut echoed = Samples::default();
            for _ in 0..200 {
                echoed.0.extend(seat.after_note(&[0x90, 60, 70]).0);
                sleep(Duration::from_millis(5));
            }
            floors.push((echoed.at(0.5), echoed.at(0.99)));
        }
        let floor = (min(floors.iter().map(|f| f.0)), min(floors.iter().map(|f| f.1)));

        for (load, suffix) in [(false, "quiet"), (true, "the wire full of clock, sensing, controllers")] {
            let (mut moved, mut judged, mut silent, mut memory) = (Vec::new(), Vec::new(), Vec::new(), 0.0f64);
            for _ in 0..N_ROUNDS {
                let dir = piece(1);
                let mut seat = drill(dir.path());
                // The caution goes, and the verdict comes in letters that can be looked for.
                seat.keys(b"\rl");
                seat.drain(Duration::from_millis(300));
                let stop = Arc::new(AtomicBool::new(false));
                let flooding = load.then(|| flood(&dir.path().join("notes.fifo"), &stop));
                let (mut notes, mut verdicts, none) = play(&mut seat, 8);
                stop.store(true, Ordering::Relaxed);
                memory = memory.max(seat.resident_mb());
                drop(seat);
                flooding.map(thread::JoinHandle::join);
                silent.push(none as f64);
                moved.push((notes.at(0.5), notes.at(0.99)));
                judged.push(verdicts.at(1.0));
            }
            println!("-- {suffix}");
            table.row("note to changed screen, median", min(moved.iter().map(|m| m.0)), "ms", Some(floor.0), Some(0.4));
            table.row("note to changed screen, 99 %", min(moved.iter().map(|m| m.1)), "ms", Some(floor.1), Some(1.0));
            table.row("last note to the verdict on screen, slowest", min(judged), "ms", Some(floor.1), None);
            table.row("notes that changed nothing", min(silent), "", None, Some(0.0));
            table.row("resident memory in a drill", memory, "MB", None, Some(30.0));
        }
        println!("-- keys, idle, start");

        let mut seat = drill(dir.path());
        seat.keys(b"\r");
        seat.drain(Duration::from_millis(300));
        let rounds: Vec<_> = (0..N_ROUNDS)
            .map(|_| {
                let mut keys = Samples::default();
                for _ in 0..100 {
                    seat.drain(Duration::ZERO);
                    let begun = Instant::now();
                    seat.keys(b"?");
                    if seat.wait(STEP) {
                        keys.0.push(begun.elapsed());
                    }
                    seat.drain(Duration::from_millis(10));
                }
                (keys.at(0.5), keys.at(0.99))
            })
            .collect();
        table.row("key to changed screen, median", min(rounds.iter().map(|m| m.0)), "ms", Some(floor.0), None);
        table.row("key to changed screen, 99 %", min(rounds.iter().map(|m| m.1)), "ms", Some(floor.1), Some(1.0));

        sleep(Duration::from_secs(10));
        let idle: Vec<_> = (0..N_ROUNDS)
            .map(|_| {
                let before = seat.spent();
                sleep(Duration::from_secs(5));
                let after = seat.spent();
                ((after.0 - before.0) as f64 / 5.0, (after.1 - before.1) as f64 / 5.0)
            })
            .collect();
        table.row("idle: wake-ups a second, all threads", min(idle.iter().map(|i| i.0)), "", None, Some(2.0));
        table.row("idle: processor (ticks of 10 ms a second)", min(idle.iter().map(|i| i.1)), "%", None, Some(0.0));
        drop(seat);

        let starts = (0..10).map(|_| {
            let begun = Instant::now();
            let mut command = Command::new(env!("CARGO_BIN_EXE_catchword"));
            command.arg("drill").arg(dir.path()).arg("--input").arg(format!("stream:{}", fifo.display()));
            let seat = Seat::start(command.arg("--data").arg(dir.path().join("data")), &fifo);
            let mut seen: Vec<u8> = Vec::new();
            // The first words of the first frame, not the sequences that take the terminal over.
            while !seen.windows(4).any(|w| w == b"play") && begun.elapsed() < LONG {
                seat.wait(LONG);
                let mut buffer = [0; 1 << 16];
                let n = rustix::io::read(&seat.master, &mut buffer).unwrap_or(0);
                seen.extend(&buffer[..n]);
            }
            begun.elapsed().as_secs_f64() * 1e3
        });
        table.row("start to first frame, best of ten", min(starts), "ms", None, Some(40.0));

        let large = piece(2_000 / N_BARS);
        let seat = drill(large.path());
        table.row("resident memory with 2,000 bars", seat.resident_mb(), "MB", None, Some(60.0));
        drop(seat);
        let size = fs::metadata(env!("CARGO_BIN_EXE_catchword")).map_or(f64::NAN, |m| m.len() as f64 / 1e6);
        table.row("size of the program", size, "MB", None, Some(10.0));
        if table.is_broken { ExitCode::FAILURE } else { ExitCode::SUCCESS }
    }
}
