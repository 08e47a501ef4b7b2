//! What wakes the loop beside notes and deadlines: the terminal, the system, a panic elsewhere.

use std::io;
use std::panic;
use std::sync::{Mutex, PoisonError};
use std::thread;

use crossbeam_channel::{Receiver, Sender, bounded};
use crossterm::event::{self, Event};

use super::super::{Error, terminal};

#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Wake {
    /// A key, or a new size.
    Terminal(Event),
    /// No more keys will come.
    Closed,
    /// The system asks for the end.
    Signal(i32),
    /// The process goes on after it was stopped.
    Continued,
    /// Some thread panicked; the terminal has been given back already.
    Panicked,
}

/// The terminal taken over, with what wakes a loop on it; gives the terminal back when dropped.
pub struct Opened {
    pub taken: terminal::Taken,
    pub wakes: Receiver<Wake>,
    _watch: Watch,
}

impl Opened {
    /// # Errors
    /// When signals cannot be watched or the terminal cannot be taken.
    pub fn try_new() -> Result<Opened, Error> {
        let (sender, wakes) = bounded(256);
        on_panic(sender.clone());
        let watch = watch_signals(sender.clone()).map_err(Error::Signals)?;
        let taken = terminal::take().map_err(|source| Error::Terminal { doing: msgid!("opening"), source })?;
        read_terminal(sender);
        Ok(Opened { taken, wakes, _watch: watch })
    }
}

/// Who gets the keys now.
static LISTENER: Mutex<Option<Sender<Wake>>> = Mutex::new(None);

/// Reads the terminal on a thread of its own, which waits without using the processor. It ends with the process: a loop that
/// follows another takes the keys over from it, and none is lost to a reader left behind.
fn read_terminal(wakes: Sender<Wake>) {
    let is_read = LISTENER.lock().unwrap_or_else(PoisonError::into_inner).replace(wakes).is_some();
    if is_read {
        return;
    }
    thread::spawn(|| {
        loop {
            let wake = event::read().map_or(Wake::Closed, Wake::Terminal);
            let last = wake == Wake::Closed;
            let listener = LISTENER.lock().unwrap_or_else(PoisonError::into_inner).clone();
            // Between two loops nobody listens: a key pressed then means nothing.
            let _ = listener.map(|wakes| wakes.send(wake));
            if last {
                *LISTENER.lock().unwrap_or_else(PoisonError::into_inner) = None;
                return;
            }
        }
    });
}

/// Gives the terminal back before a panic of any thread is told, then lets the loop know.
fn on_panic(wakes: Sender<Wake>) {
    let previous = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        terminal::give_back();
        previous(info);
        let _ = wakes.try_send(Wake::Panicked);
    }));
}

/// Watches for signals until dropped.
pub struct Watch {
    #[cfg(unix)]
    handle: signal_hook::iterator::Handle,
}

#[cfg(unix)]
pub fn watch_signals(wakes: Sender<Wake>) -> io::Result<Watch> {
    use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGTERM};
    let mut signals = signal_hook::iterator::Signals::new([SIGTERM, SIGHUP, SIGINT, SIGCONT])?;
    let handle = signals.handle();
    thread::spawn(move || {
        for signal in signals.forever() {
            let wake = match signal {
                SIGCONT => Wake::Continued,
                SIGHUP => Wake::Closed,
                signal => Wake::Signal(signal),
            };
            if wakes.send(wake).is_err() {
                return;
            }
        }
    });
    Ok(Watch { handle })
}

/// Windows ends console programs without asking, except for Ctrl-C, which arrives as a key.
#[cfg(not(unix))]
pub fn watch_signals(_wakes: Sender<Wake>) -> io::Result<Watch> {
    Ok(Watch {})
}

impl Drop for Watch {
    fn drop(&mut self) {
        #[cfg(unix)]
        self.handle.close();
    }
}
