//! The sending end of a source: never waits with a played note, never loses word of the instrument.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crossbeam_channel::{SendTimeoutError, Sender, TrySendError};

use super::Signal;

/// How long a full receiver is waited for before looking whether to stop.
const PATIENCE: Duration = Duration::from_millis(50);

/// Sends signals and counts those it had to drop.
pub(super) struct Outbox {
    out: Sender<Signal>,
    n_dropped: u64,
    stopping: Stopping,
}

/// Tells the outbox that nobody waits for it any more.
#[derive(Clone, Default)]
pub(super) struct Stopping(Arc<AtomicBool>);

impl Stopping {
    pub fn stop(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    pub fn is_stopped(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

impl Outbox {
    pub fn new(out: Sender<Signal>) -> Self {
        Outbox { out, n_dropped: 0, stopping: Stopping::default() }
    }

    pub fn stopping(&self) -> Stopping {
        self.stopping.clone()
    }

    #[cfg(unix)]
    pub fn is_stopped(&self) -> bool {
        self.stopping.is_stopped()
    }

    /// Sends without waiting; what does not fit is dropped and told of with the next signal that does. Returns whether anybody listens.
    pub fn offer(&mut self, signal: Signal) -> bool {
        if self.n_dropped > 0 {
            match self.out.try_send(Signal::Dropped { n_events: self.n_dropped }) {
                Ok(()) => self.n_dropped = 0,
                Err(TrySendError::Full(_)) => {
                    self.n_dropped += 1;
                    return true;
                }
                Err(TrySendError::Disconnected(_)) => return false,
            }
        }
        match self.out.try_send(signal) {
            Ok(()) => true,
            Err(TrySendError::Full(_)) => {
                self.n_dropped += 1;
                true
            }
            Err(TrySendError::Disconnected(_)) => false,
        }
    }

    /// Sends, waiting for room as long as the source runs; what was dropped before is told first. Returns whether anybody listens.
    pub fn insist(&mut self, signal: Signal) -> bool {
        let stopping = self.stopping();
        self.insist_until(signal, || stopping.is_stopped())
    }

    /// As [`Outbox::insist`], for a source that is told to stop in its own way.
    pub fn insist_until(&mut self, signal: Signal, is_stopped: impl Fn() -> bool) -> bool {
        let dropped = std::mem::take(&mut self.n_dropped);
        let told = (dropped > 0).then_some(Signal::Dropped { n_events: dropped });
        for mut signal in told.into_iter().chain([signal]) {
            loop {
                match self.out.send_timeout(signal, PATIENCE) {
                    Ok(()) => break,
                    Err(SendTimeoutError::Timeout(back)) if !is_stopped() => signal = back,
                    Err(_) => return false,
                }
            }
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::{Channel, MidiEvent};
    use crate::time::{Micros, Stamped};

    fn note(at: i64) -> Signal {
        Signal::Midi(Stamped { at: Micros(at), what: MidiEvent::Control { channel: Channel(0), controller: 64, value: 0 } })
    }

    #[test]
    fn what_does_not_fit_is_counted_and_told() {
        let (out, received) = crossbeam_channel::bounded(2);
        let mut outbox = Outbox::new(out);
        for at in 0..5 {
            assert!(outbox.offer(note(at)));
        }
        assert_eq!([received.recv().unwrap(), received.recv().unwrap()], [note(0), note(1)]);
        outbox.offer(note(5));
        assert_eq!([received.recv().unwrap(), received.recv().unwrap()], [Signal::Dropped { n_events: 3 }, note(5)]);
        drop(received);
        assert!(!outbox.offer(note(6)), "nobody listens");
    }

    #[test]
    fn word_of_the_instrument_waits_for_room_but_not_after_the_stop() {
        let (out, received) = crossbeam_channel::bounded(1);
        let mut outbox = Outbox::new(out);
        outbox.offer(note(0));
        outbox.offer(note(1));
        let stopping = outbox.stopping();
        let sender = std::thread::spawn(move || {
            let sent = outbox.insist(Signal::Gone { what: "harp".into() });
            (sent, outbox.insist(Signal::Ended))
        });
        assert_eq!(received.recv().unwrap(), note(0));
        assert_eq!(received.recv().unwrap(), Signal::Dropped { n_events: 1 });
        // `Gone` now fills the channel; `Ended` waits until the stop.
        std::thread::sleep(2 * PATIENCE);
        stopping.stop();
        assert_eq!(sender.join().unwrap(), (true, false));
        assert_eq!(received.recv().unwrap(), Signal::Gone { what: "harp".into() });
    }
}
