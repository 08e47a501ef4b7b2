//! The terminal itself: taken over, and given back as it was whatever happens.

use std::io::{self, BufWriter, Stdout, Write};
use std::mem::ManuallyDrop;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError, TryLockError};
use std::time::Duration;

use crossterm::cursor::{Hide, Show};
use crossterm::execute;
use crossterm::terminal::{EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode, window_size};

use super::canvas::Canvas;
use super::gate::Gate;

/// True while the terminal is ours; lets a panic on any thread give it back exactly once.
static OURS: AtomicBool = AtomicBool::new(false);

/// Held while drawing, so that a panic on another thread does not give the terminal back in the middle of it.
static DRAWING: Mutex<()> = Mutex::new(());
/// Milliseconds a drawing is waited for.
const N_WAITS_MAX: usize = 200;

/// Enough for a full repaint of a large screen in one write.
const BUFFER: usize = 1 << 16;

pub type FullScreen = Canvas<Gate<BufWriter<Stdout>>>;

/// Holds the terminal; gives it back when dropped.
pub struct Taken {
    /// Never dropped itself: what a drawing cut short has not written yet would follow after the terminal was given back.
    pub screen: ManuallyDrop<FullScreen>,
}

impl Drop for Taken {
    fn drop(&mut self) {
        give_back();
    }
}

/// Takes the terminal over: raw keys, a screen of its own, no cursor.
///
/// # Errors
/// When there is no terminal, or it refuses.
pub fn take() -> io::Result<Taken> {
    let backend = Gate::new(BufWriter::with_capacity(BUFFER, io::stdout()));
    let taken = Taken { screen: ManuallyDrop::new(Canvas::new(backend)?) };
    enter()?;
    Ok(taken)
}

fn enter() -> io::Result<()> {
    enable_raw_mode()?;
    OURS.store(true, Ordering::SeqCst);
    execute!(io::stdout(), EnterAlternateScreen, Hide)
}

/// Gives the terminal back; does nothing when it is not ours. Errors are left aside: a terminal that is gone needs nothing back.
pub fn give_back() {
    // A drawing under way on another thread ends first; one that this thread panicked in never will.
    let mut n_waits = 0;
    let _drawing = loop {
        match DRAWING.try_lock() {
            Ok(hold) => break Some(hold),
            Err(TryLockError::Poisoned(hold)) => break Some(hold.into_inner()),
            Err(TryLockError::WouldBlock) if n_waits == N_WAITS_MAX => break None,
            Err(TryLockError::WouldBlock) => std::thread::sleep(Duration::from_millis(1)),
        }
        n_waits += 1;
    };
    if OURS.swap(false, Ordering::SeqCst) {
        let mut out = io::stdout();
        let _ = execute!(out, LeaveAlternateScreen, Show);
        let _ = out.flush();
        let _ = disable_raw_mode();
    }
}

/// The right to draw, while it is held.
pub struct Hold(#[expect(dead_code, reason = "held, not looked at")] Option<MutexGuard<'static, ()>>);

impl Hold {
    /// A right to draw on something that nobody takes away.
    #[cfg(test)]
    pub fn free() -> Self {
        Hold(None)
    }
}

/// Returns the right to draw, or nothing once the terminal has been given back.
pub fn hold() -> Option<Hold> {
    let drawing = DRAWING.lock().unwrap_or_else(PoisonError::into_inner);
    OURS.load(Ordering::SeqCst).then_some(Hold(Some(drawing)))
}

/// Takes the terminal again after another program had it.
///
/// # Errors
/// As for [`take`].
pub fn take_again(screen: &mut FullScreen) -> io::Result<()> {
    give_back();
    enter()?;
    screen.draw_anew()
}

/// Gives the terminal back, stops this process as Ctrl-Z does, and takes the terminal again when the shell lets it go on.
///
/// Where there is no shell to go back to (a terminal window with nothing else in it) the system ignores the stop.
///
/// # Errors
/// As for [`take`].
pub fn suspend(screen: &mut FullScreen) -> io::Result<()> {
    give_back();
    #[cfg(unix)]
    signal_hook::low_level::raise(signal_hook::consts::SIGTSTP)?;
    take_again(screen)
}

/// Returns whether the terminal is still there: reading keys does not notice its end (crossterm 0.29 reads on).
pub fn is_open() -> bool {
    window_size().is_ok()
}

/// Returns the height of a row in pixels, from a terminal that says so.
pub fn cell_height() -> Option<f64> {
    let size = window_size().ok().filter(|size| size.height > 0 && size.rows > 0)?;
    Some(f64::from(size.height) / f64::from(size.rows))
}

/// Returns whether a failed write means that the terminal was closed, which is an ordinary end.
pub fn is_closing(error: &(dyn std::error::Error + 'static)) -> bool {
    /// `EIO` and `ENXIO`: what writing to a terminal without its other end gives.
    const GONE: [i32; 2] = [5, 6];
    error.downcast_ref::<io::Error>().is_some_and(|error| {
        error.kind() == io::ErrorKind::BrokenPipe || (cfg!(unix) && error.raw_os_error().is_some_and(|code| GONE.contains(&code)))
    })
}
