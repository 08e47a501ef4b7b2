//! Raw MIDI bytes to a path: a FIFO, a pty, a serial port, a rawmidi device, or a plain file that is added to.

use std::path::Path;

use super::Wire;
use crate::source::Error;

fn refused(path: &Path, what: String, remedy: &str) -> Error {
    Error::Open { doing: msgid!("opening the MIDI output"), name: path.display().to_string(), what, remedy: tr!(remedy) }
}

/// Opens a path that is there. Nothing is made: a path mistyped is told of, not written.
pub(super) fn open(path: &Path) -> Result<Box<dyn Wire>, Error> {
    system::open(path)
}

#[cfg(unix)]
mod system {
    use std::os::fd::OwnedFd;
    use std::path::Path;

    use rustix::fs::{Mode, OFlags, open as open_fd};
    use rustix::io::{Errno, write};
    use rustix::termios::{OptionalActions, isatty, tcgetattr, tcsetattr};

    use super::super::Wire;
    use super::refused;
    use crate::language::system;
    use crate::source::Error;

    struct Bytes {
        fd: OwnedFd,
        name: String,
    }

    impl Wire for Bytes {
        fn send(&mut self, message: &[u8]) -> Result<(), String> {
            match write(&self.fd, message) {
                // A message has three bytes, and a pipe takes so few whole or not at all. One that is full drops the note.
                Ok(_) | Err(Errno::AGAIN | Errno::INTR) => Ok(()),
                Err(errno) => Err(tr!("writing to {name}: {why}", name = self.name, why = system::said(&std::io::Error::from(errno)))),
            }
        }
    }

    pub(super) fn open(path: &Path) -> Result<Box<dyn Wire>, Error> {
        // Without NONBLOCK a FIFO would wait for its reader, and a full one would hold up the note.
        let flags = OFlags::WRONLY | OFlags::APPEND | OFlags::NONBLOCK | OFlags::NOCTTY | OFlags::CLOEXEC;
        let fd = open_fd(path, flags, Mode::empty()).map_err(|errno| explain(path, errno))?;
        if isatty(&fd)
            && let Ok(mut settings) = tcgetattr(&fd)
        {
            settings.make_raw();
            tcsetattr(&fd, OptionalActions::Now, &settings).map_err(|errno| explain(path, errno))?;
        }
        Ok(Box::new(Bytes { fd, name: path.display().to_string() }))
    }

    fn explain(path: &Path, errno: Errno) -> Error {
        let (what, remedy) = match errno {
            // What a FIFO without a reader answers.
            Errno::NXIO => (tr!("nothing reads it"), msgid!("start what is to sound first")),
            Errno::NOENT => (tr!("it is not there"), msgid!("plug the device in, make a FIFO there (mkfifo), or give another path")),
            Errno::ACCESS | Errno::PERM => (
                system::said(&std::io::Error::from(errno)),
                msgid!("get the right to write to it (on Linux often by joining the group audio)"),
            ),
            _ => (system::said(&std::io::Error::from(errno)), msgid!("give the path of a FIFO, a pty, a serial port or a rawmidi device")),
        };
        refused(path, what, remedy)
    }
}

#[cfg(not(unix))]
mod system {
    use std::fs::File;
    use std::io::Write;
    use std::path::Path;

    use super::super::Wire;
    use super::refused;
    use crate::language::system;
    use crate::source::Error;

    struct Bytes(File);

    impl Wire for Bytes {
        fn send(&mut self, message: &[u8]) -> Result<(), String> {
            self.0.write_all(message).map_err(|error| system::said(&error))
        }
    }

    pub(super) fn open(path: &Path) -> Result<Box<dyn Wire>, Error> {
        let file = File::options().append(true).open(path);
        file.map(|file| Box::new(Bytes(file)) as Box<dyn Wire>)
            .map_err(|error| refused(path, system::said(&error), msgid!("give the path of a file that is there")))
    }
}
