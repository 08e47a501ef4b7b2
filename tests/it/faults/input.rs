//! The instrument vanishes in the middle of a rep, and comes back.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::os::unix::fs::symlink;
use std::thread::sleep;
use std::time::Duration;

use catchword::journal::store::Store;
use portable_pty::{PtySize, native_pty_system};

use super::player::{BREATH, Piece, Plain, keys, keys_of, play, strike};

const GAP: Duration = Duration::from_millis(20);

/// What the journal has of the reps after a session: the keys of each take.
fn takes(piece: &Piece) -> Vec<Vec<u8>> {
    let store = Store::open(&piece.data()).unwrap();
    store.check().unwrap();
    piece.reps(&store).iter().map(|(id, _)| keys(&store.take(*id).unwrap().unwrap())).collect()
}

#[test]
fn a_rep_goes_on_where_it_was_when_the_writer_of_a_fifo_comes_back() {
    let piece = Piece::new(3);
    let mut plain = Plain::start(&piece);
    let writer = || OpenOptions::new().write(true).open(piece.fifo()).unwrap();
    let mut wire = writer();
    play(&mut wire, 0..5, GAP);
    // Half a message hangs in the wire when it breaks.
    wire.write_all(&[0x90, 60]).unwrap();
    drop(wire);
    plain.wait_for("instrument gone", 1);
    let mut wire = writer();
    play(&mut wire, 5..12, GAP);
    plain.wait_for("instrument back", 1);
    // Nothing was due for long enough to be missed: the rep is one, and clean.
    plain.wait_for_verdicts(1);
    plain.say("quit");
    assert!(plain.wait_for_end().0.success());
    assert_eq!(takes(&piece), [keys_of(12)]);
}

#[test]
fn a_rep_goes_on_where_it_was_when_a_device_is_plugged_in_again() {
    let piece = Piece::new(3);
    let pty = || {
        let pair = native_pty_system().openpty(PtySize::default()).unwrap();
        let path = pair.master.tty_name().unwrap();
        (pair, path)
    };
    let device = piece.path().join("device");
    let (pair, path) = pty();
    symlink(&path, &device).unwrap();
    let words = piece.arguments(&piece.data()).into_iter().map(|w| w.replace("keys.fifo", "device"));
    let mut plain = Plain::run(piece.path(), words, &[]);
    plain.wait_for("section up", 1);
    let send = |writer: &mut Box<dyn Write + Send>, beats: std::ops::Range<usize>| {
        for beat in beats {
            writer.write_all(&strike(beat)).unwrap();
            sleep(GAP);
        }
    };
    let mut writer = pair.master.take_writer().unwrap();
    // The program sets the line to raw bytes once it has opened it.
    sleep(BREATH);
    send(&mut writer, 0..7);
    // What a device has not yet handed over goes with it.
    sleep(BREATH);
    fs::remove_file(&device).unwrap();
    // A pty's writer sends a line end and an end of file as it is dropped: after a program change they are no note.
    writer.write_all(&[0xC0, 0]).unwrap();
    drop((writer, pair));
    plain.wait_for("instrument gone", 1);
    let (pair, path) = pty();
    symlink(&path, &device).unwrap();
    plain.wait_for("instrument back", 1);
    let mut writer = pair.master.take_writer().unwrap();
    sleep(BREATH);
    send(&mut writer, 7..12);
    // The silence was a stop, as far as the music goes; the rep is one.
    plain.wait_for_verdicts(1);
    plain.say("quit");
    assert!(plain.wait_for_end().0.success());
    assert_eq!(takes(&piece), [keys_of(12)]);
}

#[test]
fn a_replay_that_ends_in_mid_rep_leaves_its_take_and_a_torn_one_is_refused_with_its_line() {
    let piece = Piece::new(3);
    let file = piece.path().join("evening.jsonl");
    let notes: Vec<String> =
        keys_of(7).iter().enumerate().map(|(i, key)| format!("{{\"t\":{},\"pitch\":{key},\"velocity\":60}}\n", i as f64 * 0.02)).collect();
    fs::write(&file, notes.concat()).unwrap();
    let words = || {
        let wire = format!("stream:{}", piece.fifo().display());
        piece
            .arguments(&piece.data())
            .into_iter()
            .map(|w| if w == wire { format!("take:{}", file.display()) } else { w })
            .collect::<Vec<_>>()
    };
    let mut plain = Plain::run(piece.path(), words(), &[]);
    assert!(plain.wait_for_end().0.success());
    assert_eq!(takes(&piece), [keys_of(7)]);
    fs::write(&file, &notes.concat()[..notes.concat().len() - 9]).unwrap();
    let mut plain = Plain::run(piece.path(), words(), &[]);
    let (status, complaint) = plain.wait_for_end();
    assert_eq!(status.code(), Some(1));
    assert!(complaint.contains(&format!("evening.jsonl: line {}: expected", notes.len())), "{complaint}");
    assert_eq!(takes(&piece).len(), 1, "nothing was begun");
}
