//! A terminal that changes its size a thousand times while somebody plays.

use std::thread::{self, sleep};
use std::time::Duration;

use catchword::journal::store::Store;
use portable_pty::CommandBuilder;

use super::player::{Piece, keys, keys_of, play};
use crate::terminal::pty::{Pty, program};

#[test]
fn a_thousand_changes_of_size_lose_no_note_and_leave_the_screen_right() {
    const N_CHANGES: u64 = 1_000;
    // As many notes as keep a player busy for as long.
    let piece = Piece::new(75);
    let mut command = CommandBuilder::new(program());
    command.args(piece.arguments(&piece.data()));
    command.env("TERM", "xterm-256color");
    let mut pty = Pty::start(command, 80, 24);
    pty.wait_for("play, or press a key");
    pty.press("\r");
    pty.wait_for("play when you are ready");
    thread::scope(|scope| {
        let playing = scope.spawn(|| {
            let mut wire = piece.wire();
            play(&mut wire, 0..piece.n_beats(), Duration::from_millis(20));
        });
        let mut rng = fastrand::Rng::with_seed(6);
        for change in 0..N_CHANGES / 2 {
            pty.resize(20, 6);
            // Sometimes it changes again before it was drawn, sometimes after.
            sleep(Duration::from_millis(rng.u64(0..12)));
            let (columns, rows) = if change % 50 == 7 { (200, 60) } else { (80, 24) };
            pty.resize(columns, rows);
            sleep(Duration::from_millis(rng.u64(0..12)));
        }
        playing.join().unwrap();
    });
    pty.resize(80, 24);
    pty.wait_for("1 of 9");
    pty.settle(Duration::from_millis(200));
    let after = pty.text();
    // The same state drawn anew on a cleared screen: by another size and back, after all is quiet.
    pty.resize(79, 24);
    pty.settle(Duration::from_millis(200));
    pty.resize(80, 24);
    pty.settle(Duration::from_millis(200));
    assert_eq!(pty.text(), after);
    assert!(after.contains("up") && after.contains("1 of 9"), "{after}");
    pty.press("q");
    assert!(pty.wait_for_end().success());
    let store = Store::open(&piece.data()).unwrap();
    let reps = piece.reps(&store);
    assert_eq!(keys(&store.take(reps[0].0).unwrap().unwrap()), keys_of(piece.n_beats()), "every note of it");
    println!("{N_CHANGES} changes of size, {} notes, none lost", keys_of(piece.n_beats()).len());
}
