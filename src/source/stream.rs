//! Raw MIDI bytes from a path: a FIFO, a pty, a serial port, a rawmidi device, or a plain file of such bytes.
//!
//! The thread stamps bytes as they arrive and hands on the events in them. When the writer goes it says so and opens
//! the path again until someone writes; a plain file ends at its end. A terminal device (pty, serial) is set to raw
//! mode so that no byte is taken for a line end or an interrupt; its speed is left as it was set.

use std::path::PathBuf;

use crossbeam_channel::Sender;

use super::{Error, Running, Signal, Source};
use crate::clock::SessionClock;

/// A source that reads raw MIDI bytes from a path.
pub struct Stream {
    path: PathBuf,
}

impl Stream {
    pub fn new(path: impl Into<PathBuf>) -> Self {
        Stream { path: path.into() }
    }
}

impl Source for Stream {
    fn name(&self) -> String {
        self.path.display().to_string()
    }

    fn start(self: Box<Self>, clock: SessionClock, out: Sender<Signal>) -> Result<Running, Error> {
        system::start(self.path, clock, out)
    }
}

fn refused(path: &std::path::Path, what: String, remedy: &str) -> Error {
    Error::Open { doing: msgid!("opening the MIDI stream"), name: path.display().to_string(), what, remedy: tr!(remedy) }
}

const MISSING: &str = msgid!("make a FIFO there (mkfifo), plug the device in, or give another path");

#[cfg(unix)]
mod system {
    use std::io::{Read, Write};
    use std::os::fd::{AsFd, OwnedFd};
    use std::os::unix::net::UnixStream;
    use std::path::{Path, PathBuf};
    use std::thread;
    use std::time::Duration;

    use crossbeam_channel::Sender;
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    use rustix::fs::{FileType, Mode, OFlags, fstat, open};
    use rustix::io::{Errno, read};
    use rustix::termios::{OptionalActions, isatty, tcgetattr, tcsetattr};

    use super::super::{Error, Outbox, Running, Signal};
    use super::{MISSING, refused};
    use crate::clock::SessionClock;
    use crate::language::system;
    use crate::midi::decode::Decoder;
    use crate::time::Stamped;

    /// How long to wait before a path that could not be opened is tried again, and how often an
    /// absent writer is looked for.
    const LOOK_AGAIN: Duration = Duration::from_millis(250);
    /// Wait after an end of file that came without any byte, so that a writer coming and going costs nothing.
    const BREATH: Duration = Duration::from_millis(20);
    /// Wait where the system cannot poll a device (some on macOS).
    const UNPOLLED: Duration = Duration::from_millis(3);

    pub(super) fn start(path: PathBuf, clock: SessionClock, out: Sender<Signal>) -> Result<Running, Error> {
        let opened = Opened::new(&path).map_err(|errno| explain(&path, errno))?;
        let cannot = |error: std::io::Error| refused(&path, system::said(&error), msgid!("close other programs and try again"));
        let (stop, stopped) = UnixStream::pair().map_err(cannot)?;
        stopped.set_nonblocking(true).map_err(cannot)?;
        let outbox = Outbox::new(out);
        let stopping = outbox.stopping();
        let reader = Reader { name: path.display().to_string(), path, clock, outbox, stopped, is_present: false, was_gone: false };
        let thread = thread::spawn(move || reader.run(opened));
        Ok(Running::new(move || {
            stopping.stop();
            // The thread watches the other end; should that be gone, so is the thread.
            let _ = (&stop).write_all(&[0]);
            let _ = thread.join();
        }))
    }

    fn explain(path: &Path, errno: Errno) -> Error {
        let remedy = match errno {
            Errno::NOENT => MISSING,
            Errno::ACCESS | Errno::PERM => msgid!("get the right to read it (on Linux often by joining the group audio or dialout)"),
            Errno::BUSY => msgid!("close the program that uses it"),
            _ => msgid!("give the path of a FIFO, a pty, a serial port or a rawmidi device"),
        };
        refused(path, system::said(&std::io::Error::from(errno)), remedy)
    }

    /// An open path and what kind of thing it is.
    struct Opened {
        fd: OwnedFd,
        /// A plain file: its end is the end.
        is_file: bool,
    }

    impl Opened {
        fn new(path: &Path) -> Result<Self, Errno> {
            // Without NONBLOCK a FIFO would wait for its writer; without NOCTTY a pty could become our terminal.
            let fd = open(path, OFlags::RDONLY | OFlags::NONBLOCK | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
            let kind = FileType::from_raw_mode(fstat(&fd)?.st_mode);
            if kind == FileType::Directory {
                return Err(Errno::ISDIR);
            }
            if isatty(&fd) {
                let mut settings = tcgetattr(&fd)?;
                settings.make_raw();
                tcsetattr(&fd, OptionalActions::Now, &settings)?;
            }
            Ok(Opened { fd, is_file: kind == FileType::RegularFile })
        }
    }

    /// What came of one attempt to read.
    enum Got {
        Bytes(usize),
        /// The writer is there and silent.
        Nothing,
        /// No writer, or the device failed.
        End,
    }

    struct Reader {
        path: PathBuf,
        name: String,
        clock: SessionClock,
        outbox: Outbox,
        stopped: UnixStream,
        is_present: bool,
        was_gone: bool,
    }

    impl Reader {
        fn run(mut self, mut opened: Opened) {
            let mut decoder = Decoder::default();
            let mut buffer = [0u8; 4096];
            while !self.outbox.is_stopped() {
                let got = match read(&opened.fd, &mut buffer) {
                    Ok(0) => Got::End,
                    Ok(n) => Got::Bytes(n),
                    Err(Errno::AGAIN) => Got::Nothing,
                    Err(Errno::INTR) => continue,
                    Err(_) => Got::End,
                };
                let at = self.clock.now();
                let goes_on = match got {
                    Got::Bytes(n) => {
                        let mut goes_on = self.note_presence(true);
                        decoder.feed(&buffer[..n], |what| {
                            let signal = Signal::Midi(Stamped { at, what });
                            // A file can wait for the receiver, a player cannot.
                            goes_on &= if opened.is_file { self.outbox.insist(signal) } else { self.outbox.offer(signal) };
                        });
                        // After bytes there may be more; only silence is worth waiting for.
                        if goes_on {
                            continue;
                        }
                        false
                    }
                    Got::Nothing => self.note_presence(true) && self.wait(Some(&opened)),
                    Got::End if opened.is_file => {
                        self.outbox.insist(Signal::Ended);
                        false
                    }
                    Got::End => {
                        decoder.reset();
                        let was_present = self.is_present;
                        self.note_presence(false)
                            && self.reopen(&mut opened)
                            && (was_present || self.pause(BREATH))
                            && self.wait(Some(&opened))
                    }
                };
                if !goes_on {
                    return;
                }
            }
        }

        /// Tells the receiver when the writer came back or went. Returns whether to go on.
        fn note_presence(&mut self, is_present: bool) -> bool {
            let what = self.name.clone();
            match (std::mem::replace(&mut self.is_present, is_present), is_present) {
                (false, true) if self.was_gone => self.outbox.insist(Signal::Back { what }),
                (true, false) => {
                    self.was_gone = true;
                    self.outbox.insist(Signal::Gone { what })
                }
                _ => true,
            }
        }

        /// Opens the path anew, as long as it takes. The old one is let go only then, so that a
        /// FIFO is never without a reader. Returns whether to go on.
        fn reopen(&mut self, opened: &mut Opened) -> bool {
            loop {
                match Opened::new(&self.path) {
                    Ok(new) => {
                        *opened = new;
                        return true;
                    }
                    Err(_) if self.pause(LOOK_AGAIN) => {}
                    Err(_) => return false,
                }
            }
        }

        fn pause(&mut self, length: Duration) -> bool {
            self.wait_for(None, Some(length))
        }

        /// Waits for bytes; while there is no writer, only for a while. Returns whether to go on.
        fn wait(&mut self, opened: Option<&Opened>) -> bool {
            self.wait_for(opened, (!self.is_present).then_some(LOOK_AGAIN))
        }

        fn wait_for(&mut self, opened: Option<&Opened>, limit: Option<Duration>) -> bool {
            let timespec = |limit: Duration| Timespec { tv_sec: limit.as_secs() as i64, tv_nsec: i64::from(limit.subsec_nanos()) as _ };
            let limit = limit.map(timespec);
            let mut fds = vec![PollFd::new(&self.stopped, PollFlags::IN)];
            fds.extend(opened.map(|o| PollFd::from_borrowed_fd(o.fd.as_fd(), PollFlags::IN)));
            let polled = poll(&mut fds, limit.as_ref());
            let cannot_poll = fds.get(1).is_some_and(|fd| fd.revents().contains(PollFlags::NVAL));
            drop(fds);
            match polled {
                Ok(_) | Err(Errno::INTR) => {}
                Err(_) => thread::sleep(UNPOLLED),
            }
            if cannot_poll {
                thread::sleep(UNPOLLED);
            }
            let mut byte = [0];
            // Nothing to read there is the one sign to go on; a byte or the end of it is the stop.
            (&self.stopped).read(&mut byte).is_err_and(|error| error.kind() == std::io::ErrorKind::WouldBlock)
        }
    }
}

#[cfg(not(unix))]
mod system {
    use std::fs::File;
    use std::io::Read;
    use std::path::PathBuf;
    use std::thread;
    use std::time::Duration;

    use crossbeam_channel::Sender;

    use super::super::{Error, Outbox, Running, Signal};
    use super::{MISSING, refused};
    use crate::clock::SessionClock;
    use crate::language::system;
    use crate::midi::decode::Decoder;
    use crate::time::Stamped;

    const LOOK_AGAIN: Duration = Duration::from_millis(250);

    /// Reads with plain blocking calls: a COM port or a file. A read in progress cannot be broken off, so stopping
    /// does not wait for the thread, which ends with its next byte.
    pub(super) fn start(path: PathBuf, clock: SessionClock, out: Sender<Signal>) -> Result<Running, Error> {
        let mut file = File::open(&path).map_err(|error| refused(&path, system::said(&error), MISSING))?;
        let is_file = file.metadata().is_ok_and(|m| m.is_file());
        let mut outbox = Outbox::new(out);
        let stopping = outbox.stopping();
        let stopped = stopping.clone();
        thread::spawn(move || {
            let name = path.display().to_string();
            let mut decoder = Decoder::default();
            let mut buffer = [0u8; 4096];
            while !stopped.is_stopped() {
                match file.read(&mut buffer) {
                    Ok(n) if n > 0 => {
                        let at = clock.now();
                        let mut goes_on = true;
                        decoder.feed(&buffer[..n], |what| goes_on &= outbox.offer(Signal::Midi(Stamped { at, what })));
                        if !goes_on {
                            return;
                        }
                    }
                    Ok(_) if is_file => {
                        outbox.insist(Signal::Ended);
                        return;
                    }
                    _ => {
                        decoder.reset();
                        if !outbox.insist(Signal::Gone { what: name.clone() }) {
                            return;
                        }
                        file = loop {
                            thread::sleep(LOOK_AGAIN);
                            match File::open(&path) {
                                Ok(file) => break file,
                                Err(_) if stopped.is_stopped() => return,
                                Err(_) => {}
                            }
                        };
                        if !outbox.insist(Signal::Back { what: name.clone() }) {
                            return;
                        }
                    }
                }
            }
        });
        Ok(Running::new(move || stopping.stop()))
    }
}
