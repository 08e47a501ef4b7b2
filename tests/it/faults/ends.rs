//! Signals at seeded moments of a session: every finished rep is in the journal, and of the one in progress its take.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use catchword::journal::store::Store;
use portable_pty::CommandBuilder;

use super::player::{BREATH, LONG, Piece, Plain, is_verdict, keys, keys_of, play, said, send};
use crate::terminal::pty::{Pty, program};

const SIGNALS: [&str; 4] = ["KILL", "TERM", "INT", "HUP"];

/// What came of one moment.
#[derive(Default)]
struct Counts {
    n_finished: AtomicUsize,
    n_recovered: AtomicUsize,
    n_notes_recovered: AtomicUsize,
}

/// Ends the session of `nth` somewhere, and looks at what is left.
fn end_at(nth: u64, piece: &Piece, counts: &Counts) {
    let mut rng = fastrand::Rng::with_seed(nth);
    let name = SIGNALS[nth as usize % SIGNALS.len()];
    let is_on_screen = nth / SIGNALS.len() as u64 % 2 == 1;
    let (after, gap) = (Duration::from_millis(rng.u64(0..2_500)), Duration::from_millis(rng.u64(1..40)));
    let context = format!("seed {nth}: SIG{name} after {after:?}, {gap:?} a beat, screen {is_on_screen}");
    let n_before = Store::open(&piece.data()).map_or(0, |store| piece.reps(&store).len());
    let is_over = AtomicBool::new(false);
    let n_seen = thread::scope(|scope| {
        let played = |wait: Box<dyn Fn(usize) -> bool + '_>| {
            let mut wire = piece.wire();
            let mut n_seen = 0;
            while !is_over.load(Ordering::SeqCst) {
                for beat in 0..piece.n_beats() {
                    if is_over.load(Ordering::SeqCst) {
                        return n_seen;
                    }
                    play(&mut wire, beat..beat + 1, gap);
                    sleep(gap);
                }
                sleep(BREATH);
                if wait(n_seen + 1) {
                    n_seen += 1;
                }
            }
            n_seen
        };
        let end = |process| {
            let is_over = &is_over;
            scope.spawn(move || {
                sleep(after);
                send(process, name);
                is_over.store(true, Ordering::SeqCst);
            })
        };
        if is_on_screen {
            let mut command = CommandBuilder::new(program());
            command.args(piece.arguments(&piece.data()));
            command.env("TERM", "xterm-256color");
            let mut pty = Pty::start(command, 80, 24);
            pty.wait_for("play, or press a key");
            pty.press("\r");
            let screen = &pty;
            let ending = end(pty.process_id());
            let n_seen = played(Box::new(|count| {
                let begun = Instant::now();
                while begun.elapsed() < LONG {
                    if screen.text().contains(&format!("clean, {count} of 9")) {
                        return true;
                    }
                    if is_over.load(Ordering::SeqCst) {
                        return false;
                    }
                    sleep(Duration::from_millis(2));
                }
                panic!("{context}: rep {count} was not seen:\n{}", screen.text());
            }));
            ending.join().unwrap();
            pty.wait_for_end();
            n_seen
        } else {
            let mut plain = Plain::start(piece);
            plain.wait_for("section up", 1);
            let ending = end(plain.id());
            played(Box::new(|_| true));
            ending.join().unwrap();
            plain.wait_for_end();
            plain.lines().iter().filter(|line| is_verdict(line)).count()
        }
    });
    let (code, out, complaint) = said(&["journal", "check"], &piece.data());
    assert_eq!(code, Some(0), "{context}: {out}{complaint}");
    let store = Store::open(&piece.data()).unwrap();
    let reps = piece.reps(&store);
    let new = &reps[n_before..];
    let is_cut = |rep: &catchword::journal::stats::DatedRep| rep.failed.as_ref().is_some_and(|(_, kind)| kind == "abandoned");
    let (cut, finished): (Vec<_>, Vec<_>) = new.iter().partition(|(_, rep)| is_cut(rep));
    // A rep is in the journal before it is on the screen: there may be one more.
    assert!((n_seen..=n_seen + 1).contains(&finished.len()), "{context}: {n_seen} seen, {} in the journal", finished.len());
    assert!(cut.len() <= 1, "{context}");
    for (id, _) in &finished {
        assert_eq!(keys(&store.take(*id).unwrap().expect("a take")), keys_of(piece.n_beats()), "{context}");
    }
    for (id, _) in &cut {
        let struck = keys(&store.take(*id).unwrap().expect("the take so far"));
        assert!(!struck.is_empty() && keys_of(piece.n_beats()).starts_with(&struck), "{context}: {struck:?}");
        counts.n_notes_recovered.fetch_add(struck.len(), Ordering::SeqCst);
    }
    assert_eq!(complaint.contains("cut short"), name == "KILL" && !cut.is_empty(), "{context}: {complaint}");
    counts.n_finished.fetch_add(finished.len(), Ordering::SeqCst);
    counts.n_recovered.fetch_add(cut.len(), Ordering::SeqCst);
    let left: Vec<_> = std::fs::read_dir(piece.data()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert!(left.iter().all(|name| name.to_string_lossy().starts_with("journal.db")), "{context}: {left:?}");
}

/// Ends sessions at moments of these seeds, a few at a time, each lane in a journal of its own that grows.
fn end_at_moments(n_moments: u64) {
    const N_LANES: u64 = 3;
    let counts = Counts::default();
    thread::scope(|scope| {
        for lane in 0..N_LANES {
            let counts = &counts;
            scope.spawn(move || {
                let piece = Piece::new(6);
                (lane..n_moments).step_by(N_LANES as usize).for_each(|nth| end_at(nth, &piece, counts));
            });
        }
    });
    let Counts { n_finished, n_recovered, n_notes_recovered } = counts;
    let (n_finished, n_recovered) = (n_finished.into_inner(), n_recovered.into_inner());
    println!(
        "{n_moments} ends: {n_finished} finished reps all kept, {n_recovered} in progress kept with {} notes",
        n_notes_recovered.into_inner()
    );
    assert!(n_finished as u64 > n_moments / 2 && n_recovered as u64 > n_moments / 8, "the moments were worth it");
}

#[test]
fn a_session_ended_by_a_signal_anywhere_keeps_every_finished_rep_and_the_take_of_the_one_in_progress() {
    end_at_moments(24);
}

#[test]
#[ignore = "200 moments take some minutes"]
fn a_session_ended_by_a_signal_at_200_moments_keeps_all() {
    end_at_moments(200);
}

#[test]
fn a_session_that_is_on_is_not_taken_for_one_that_was_cut_short() {
    let piece = Piece::new(3);
    let plain = Plain::start(&piece);
    plain.wait_for("section up", 1);
    let mut wire = piece.wire();
    play(&mut wire, 0..5, Duration::from_millis(20));
    sleep(Duration::from_millis(300));
    // Another look into the journal, in the middle of a rep.
    let (code, _, complaint) = said(&["journal", "check"], &piece.data());
    assert_eq!((code, complaint.as_str()), (Some(0), ""));
    play(&mut wire, 5..12, Duration::from_millis(20));
    plain.wait_for("clean, 1 of 9", 1);
    plain.signal("KILL");
    drop(plain);
    let (_, out, complaint) = said(&["journal", "check"], &piece.data());
    assert_eq!((out.as_str(), complaint.as_str()), ("the journal is sound: 1 session, 1 rep\n", ""), "between two reps nothing is lost");
}

#[test]
fn a_take_in_progress_is_taken_in_once_and_counts_for_nothing() {
    let piece = Piece::new(3);
    let plain = Plain::start(&piece);
    plain.wait_for("section up", 1);
    play(&mut piece.wire(), 0..7, Duration::from_millis(20));
    // Seven beats are nine notes.
    let file = piece.take_in_progress(9);
    plain.signal("KILL");
    drop(plain);
    let left = std::fs::read(&file).unwrap();
    // The machine stopped in the middle of a line.
    std::fs::write(&file, &left[..left.len() - 4]).unwrap();
    let (code, _, complaint) = said(&["journal", "check"], &piece.data());
    assert_eq!((code, complaint.as_str()), (Some(0), "the program was cut short in a rep of up: its take of 8 notes is kept\n"));
    // The same file once more, as if it could not be taken away.
    std::fs::write(&file, &left).unwrap();
    let (code, out, complaint) = said(&["journal", "check"], &piece.data());
    assert_eq!((code, out.as_str(), complaint.as_str()), (Some(0), "the journal is sound: 1 session, 1 rep\n", ""));
    // Garbage in its middle: what is whole is kept, and so is the file.
    let other = Piece::new(3);
    std::fs::create_dir_all(other.data()).unwrap();
    std::fs::copy(piece.data().join("journal.db"), other.data().join("journal.db")).unwrap();
    let torn = String::from_utf8(left).unwrap().replace("\"started_us\":", "\"started_us\":1").replacen("144,76", "1\u{0}44,76", 1);
    std::fs::write(other.data().join(file.file_name().unwrap()), torn).unwrap();
    let (code, _, complaint) = said(&["journal", "check"], &other.data());
    assert_eq!(code, Some(0));
    assert!(
        complaint.contains("its take of 8 notes is kept") && complaint.contains(".torn was left as it is: part of it cannot be read"),
        "{complaint}"
    );

    let store = Store::open(&piece.data()).unwrap();
    let (id, rep) = &piece.reps(&store)[0];
    assert_eq!(rep.failed, Some(("1.1".to_owned(), "abandoned".to_owned())));
    assert_eq!(keys(&store.take(*id).unwrap().unwrap()), keys_of(7)[..8]);
    let (code, out, complaint) =
        said(&["reps", "--take", "1", "--out", &file.with_extension("mid").to_string_lossy(), &key(&store)], &piece.data());
    assert_eq!(code, Some(0), "{out}{complaint}");
}

fn key(store: &Store) -> String {
    store.sessions().unwrap()[0].opened.piece_key.clone()
}
