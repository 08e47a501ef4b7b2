//! The program in a terminal of its own: keys go in, and what a player would see is read back from an emulator.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, ExitStatus, MasterPty, PtySize, native_pty_system};
use vt100::{Parser, Screen};

/// Longer than anything here takes, on a busy machine too; a test that waits this long has failed.
pub const LONG: Duration = Duration::from_secs(60);

pub struct Pty {
    child: Box<dyn Child + Send + Sync>,
    master: Option<Box<dyn MasterPty + Send>>,
    writer: Box<dyn Write + Send>,
    seen: Arc<Seen>,
}

struct Seen {
    /// Written by the program so far.
    n_bytes: AtomicU64,
    inner: Mutex<Inner>,
    changed: Condvar,
}

struct Inner {
    parser: Parser,
    /// All that was written, byte for byte.
    bytes: Vec<u8>,
    last_change: Instant,
    ended: bool,
    /// Stop reading after the next bytes.
    stop: bool,
}

/// Returns the path of the built program.
pub fn program() -> PathBuf {
    match option_env!("CARGO_BIN_EXE_catchword") {
        Some(path) => path.into(),
        // An example is built beside the programs of its profile: target/release/examples/NAME.
        None => {
            let this = std::env::current_exe().expect("a running program has a path");
            this.parent().and_then(Path::parent).expect("examples lie two folders down").join("catchword")
        }
    }
}

impl Pty {
    /// Starts a command in a terminal of this size.
    pub fn start(command: CommandBuilder, columns: u16, rows: u16) -> Pty {
        let pair = native_pty_system().openpty(size(columns, rows)).expect("a pseudo-terminal");
        let child = pair.slave.spawn_command(command).expect("the program starts");
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let writer = pair.master.take_writer().expect("a writer");
        let inner =
            Inner { parser: Parser::new(rows, columns, 0), bytes: Vec::new(), last_change: Instant::now(), ended: false, stop: false };
        let seen = Arc::new(Seen { n_bytes: AtomicU64::new(0), inner: Mutex::new(inner), changed: Condvar::new() });
        let to = Arc::clone(&seen);
        thread::spawn(move || {
            let mut buffer = [0; 1 << 16];
            loop {
                let n_read = reader.read(&mut buffer).unwrap_or(0);
                let mut inner = to.inner.lock().unwrap();
                inner.parser.process(&buffer[..n_read]);
                inner.bytes.extend(&buffer[..n_read]);
                to.n_bytes.fetch_add(n_read as u64, Ordering::SeqCst);
                inner.last_change = Instant::now();
                inner.ended = n_read == 0 || inner.stop;
                if inner.ended {
                    // Closed before anybody hears of it.
                    drop(reader);
                    to.changed.notify_all();
                    return;
                }
                to.changed.notify_all();
            }
        });
        Pty { child, master: Some(pair.master), writer, seen }
    }

    /// Presses keys, as the bytes a terminal sends for them.
    pub fn press(&mut self, keys: &str) {
        self.writer.write_all(keys.as_bytes()).and_then(|()| self.writer.flush()).expect("the terminal takes keys");
    }

    /// Waits until the screen is as `test` wants it.
    ///
    /// # Panics
    /// After [`LONG`], or when the program has ended: with what was waited for and the screen as it is.
    pub fn wait_until(&self, what: &str, test: impl Fn(&Screen) -> bool) {
        let begun = Instant::now();
        let mut inner = self.seen.inner.lock().unwrap();
        loop {
            if test(inner.parser.screen()) {
                return;
            }
            if begun.elapsed() > LONG || inner.ended {
                let how = if inner.ended { "the program ended" } else { "it did not come" };
                panic!("waiting for {what}: {how}; the screen:\n{}", inner.parser.screen().contents());
            }
            inner = self.seen.changed.wait_timeout(inner, Duration::from_millis(200)).unwrap().0;
        }
    }

    /// Waits until `text` stands on the screen.
    pub fn wait_for(&self, text: &str) {
        self.wait_until(&format!("{text:?}"), |screen| screen.contents().contains(text));
    }

    /// Waits until nothing was written for a while.
    pub fn settle(&self, quiet: Duration) {
        let begun = Instant::now();
        let mut inner = self.seen.inner.lock().unwrap();
        while inner.last_change.elapsed() < quiet && begun.elapsed() < LONG {
            inner = self.seen.changed.wait_timeout(inner, quiet).unwrap().0;
        }
    }

    /// Presses keys and waits for the screen that follows.
    pub fn press_and_see(&mut self, keys: &str) {
        let before = self.n_bytes();
        self.press(keys);
        self.wait_until("something to be drawn", |_| self.n_bytes() > before);
        self.settle(Duration::from_millis(50));
    }

    /// Looks at the screen as it is.
    pub fn look<T>(&self, at: impl FnOnce(&Screen) -> T) -> T {
        at(self.seen.inner.lock().unwrap().parser.screen())
    }

    pub fn text(&self) -> String {
        self.look(Screen::contents)
    }

    /// Returns what the program has written so far.
    pub fn written(&self) -> Vec<u8> {
        self.seen.inner.lock().unwrap().bytes.clone()
    }

    /// Bytes the program has written so far.
    pub fn n_bytes(&self) -> u64 {
        self.seen.n_bytes.load(Ordering::SeqCst)
    }

    pub fn resize(&self, columns: u16, rows: u16) {
        // The emulator (vt100 0.16.2) cannot be very small without overflowing; what a tiny terminal shows is not read back.
        self.seen.inner.lock().unwrap().parser.screen_mut().set_size(rows.max(6), columns.max(20));
        self.master.as_ref().expect("open").resize(size(columns, rows)).expect("the terminal takes its size");
    }

    /// Returns the modes of the terminal (echo, line by line, signals), to be compared.
    #[cfg(unix)]
    pub fn modes(&self) -> String {
        format!("{:?}", self.master.as_ref().and_then(|master| master.get_termios()).expect("a terminal has modes"))
    }

    pub fn process_id(&self) -> u32 {
        self.child.process_id().expect("a running program has a number")
    }

    /// Sends a signal by its name, such as `TERM`.
    #[cfg(unix)]
    pub fn signal(&self, name: &str) {
        // The shell's own: a bare machine has no program of that name.
        let done = std::process::Command::new("sh").args(["-c", &format!("kill -s {name} {}", self.process_id())]).status();
        assert!(done.is_ok_and(|status| status.success()), "sending {name}");
    }

    /// Closes the terminal, as closing its window does. The program must draw when its size changes: the reader ends on that.
    pub fn close(&mut self) {
        let (rows, columns) = self.look(Screen::size);
        self.seen.inner.lock().unwrap().stop = true;
        self.resize(columns - 1, rows - 1);
        let begun = Instant::now();
        let mut inner = self.seen.inner.lock().unwrap();
        while !inner.ended {
            assert!(begun.elapsed() < LONG, "the program does not draw");
            inner = self.seen.changed.wait_timeout(inner, Duration::from_millis(100)).unwrap().0;
        }
        drop(inner);
        self.writer = Box::new(std::io::sink());
        self.master = None;
    }

    /// Waits for the end of the program and of its output.
    ///
    /// # Panics
    /// After [`LONG`].
    pub fn wait_for_end(&mut self) -> ExitStatus {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("asking for the end") {
                let mut inner = self.seen.inner.lock().unwrap();
                // What the program left running may hold the terminal open; its last words are short.
                while !inner.ended && begun.elapsed() < LONG && inner.last_change.elapsed() < Duration::from_secs(1) {
                    inner = self.seen.changed.wait_timeout(inner, Duration::from_millis(100)).unwrap().0;
                }
                return status;
            }
            assert!(begun.elapsed() < LONG, "the program did not end; the screen:\n{}", self.text());
            thread::sleep(Duration::from_millis(5));
        }
    }
}

impl Drop for Pty {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn size(columns: u16, rows: u16) -> PtySize {
    PtySize { rows, cols: columns, pixel_width: 0, pixel_height: 0 }
}
