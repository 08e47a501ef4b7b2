//! Where played notes come from: a system MIDI port, a raw byte stream, a recorded take, the built-in player.
//!
//! Every source stamps events at the moment they happen and sends the same [`Signal`]; what is
//! practised, and why, it does not know.

mod outbox;
pub mod player;
pub mod port;
pub mod replay;
mod spec;
pub mod stream;

use crossbeam_channel::Sender;

pub use spec::{Spec, open};

use outbox::Outbox;

use crate::clock::SessionClock;
use crate::import;
use crate::midi::MidiEvent;
use crate::time::Stamped;

/// What a source sends.
#[derive(Clone, PartialEq, Debug)]
pub enum Signal {
    Midi(Stamped<MidiEvent>),
    /// The instrument vanished; the source goes on looking for it.
    Gone {
        what: String,
    },
    /// The instrument is there again.
    Back {
        what: String,
    },
    /// Events that had to be dropped because the receiver was full, since the last such signal.
    Dropped {
        n_events: u64,
    },
    /// Nothing will follow.
    Ended,
}

/// One place that notes come from. Starting it gives a handle; dropping the handle stops it.
pub trait Source: Send {
    /// Returns the name shown to the player.
    fn name(&self) -> String;

    /// Starts sending into `out`, on a thread of its own.
    ///
    /// # Errors
    /// When the place cannot be opened now; the message says what to do.
    fn start(self: Box<Self>, clock: SessionClock, out: Sender<Signal>) -> Result<Running, Error>;
}

/// A started source; stops and joins its thread when dropped.
pub struct Running {
    stop: Option<Box<dyn FnOnce() + Send>>,
}

impl Running {
    pub fn new(stop: impl FnOnce() + Send + 'static) -> Self {
        Running { stop: Some(Box::new(stop)) }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        if let Some(stop) = self.stop.take() {
            stop();
        }
    }
}

/// Why a source could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A take that cannot be read.
    #[error(transparent)]
    Take(#[from] import::Error),
    #[error("{}", tr!("{doing} {name}: {what}; {remedy}", doing = tr!(doing), name, what, remedy))]
    Open { doing: &'static str, name: String, what: String, remedy: String },
}
