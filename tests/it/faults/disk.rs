//! The journal refuses: a full disk, a folder that cannot be written, another program that holds it, a damaged page.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread::sleep;
use std::time::{Duration, Instant};

use catchword::journal::store::{FILE_NAME, Store};
use rusqlite::Connection;

use super::player::{BREATH, Piece, Plain, is_verdict, keys, keys_of, play, said};

const GAP: Duration = Duration::from_millis(10);

fn rep(piece: &Piece) {
    play(&mut piece.wire(), 0..piece.n_beats(), GAP);
    sleep(BREATH);
}

fn check_reps(piece: &Piece, data: &Path, n_reps: usize) {
    let (code, out, complaint) = said(&["journal", "check"], data);
    assert_eq!(code, Some(0), "{out}{complaint}");
    let store = Store::open(data).unwrap();
    let reps = piece.reps(&store);
    assert_eq!(reps.len(), n_reps);
    reps.iter().for_each(|(id, _)| assert_eq!(keys(&store.take(*id).unwrap().unwrap()), keys_of(piece.n_beats())));
}

#[test]
fn while_another_program_holds_the_journal_playing_goes_on_and_all_is_written_afterwards() {
    let piece = Piece::new(3);
    let mut plain = Plain::start(&piece);
    plain.wait_for("section up", 1);
    rep(&piece);
    plain.wait_for("clean, 1 of 9", 1);
    let other = Connection::open(piece.data().join(FILE_NAME)).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    for count in 2..=4 {
        let begun = Instant::now();
        rep(&piece);
        let told = plain.wait_for(&format!("clean, {count} of 9"), 1);
        // The rep lasts 0.12 s; the journal is waited for once in two seconds, for a tenth of one.
        assert!(told - begun < Duration::from_secs(3), "{:?}", told - begun);
    }
    plain.wait_for("not written down yet: the journal refuses (another program holds it; close that one)", 1);
    other.execute_batch("COMMIT").unwrap();
    plain.wait_for("all is written down now", 1);
    assert_eq!(plain.lines().iter().filter(|l| l.starts_with("not written")).count(), 1, "said once");
    rep(&piece);
    plain.wait_for("clean, 5 of 9", 1);
    plain.say("quit");
    assert!(plain.wait_for_end().0.success());
    check_reps(&piece, &piece.data(), 5);
}

#[test]
fn a_session_that_began_while_the_journal_was_held_and_was_killed_is_in_it_at_the_next_start() {
    let piece = Piece::new(3);
    drop(Store::open(&piece.data()).unwrap());
    let other = Connection::open(piece.data().join(FILE_NAME)).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let plain = Plain::start(&piece);
    plain.wait_for("not written down yet", 1);
    for count in 1..=2 {
        rep(&piece);
        plain.wait_for(&format!("clean, {count} of 9"), 1);
    }
    play(&mut piece.wire(), 0..4, GAP);
    piece.take_in_progress(5);
    plain.signal("KILL");
    drop(plain);
    other.execute_batch("COMMIT").unwrap();
    let (code, out, complaint) = said(&["journal", "check"], &piece.data());
    assert_eq!((code, out.as_str()), (Some(0), "the journal is sound: 1 session, 3 reps\n"));
    assert_eq!(
        complaint,
        "the program was cut short in a rep of up: its take of 5 notes is kept\nwhat the journal refused last time is in it now\n"
    );
    let names: Vec<String> = fs::read_dir(piece.data()).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    assert!(names.iter().all(|name| name.starts_with(FILE_NAME)), "{names:?}");
}

/// A small file system of its own, where this user may mount one.
pub struct Small(PathBuf);

impl Small {
    pub fn mount(dir: &Path, size: &str) -> Option<Small> {
        fs::create_dir_all(dir).unwrap();
        let done = Command::new("mount").args(["-t", "tmpfs", "-o", &format!("size={size}"), "tmpfs"]).arg(dir).output();
        if done.is_ok_and(|output| output.status.success()) {
            return Some(Small(dir.to_owned()));
        }
        println!("not tested here: mounting a small file system needs the right to mount");
        None
    }

    pub fn fill(&self) -> PathBuf {
        let ballast = self.0.join("ballast");
        // Ends with the error that is wanted.
        let _ = Command::new("dd").args(["if=/dev/zero", "bs=4096"]).arg(format!("of={}", ballast.display())).output();
        ballast
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).output();
    }
}

#[test]
fn on_a_full_disk_playing_goes_on_and_all_is_written_once_there_is_room() {
    let piece = Piece::new(3);
    let Some(small) = Small::mount(&piece.data(), "1m") else { return };
    let mut plain = Plain::start(&piece);
    plain.wait_for("section up", 1);
    rep(&piece);
    plain.wait_for("clean, 1 of 9", 1);
    let ballast = small.fill();
    for count in 2..=3 {
        rep(&piece);
        plain.wait_for(&format!("clean, {count} of 9"), 1);
    }
    plain.wait_for("not written down yet: the journal refuses (the disk is full)", 1);
    fs::remove_file(&ballast).unwrap();
    plain.wait_for("all is written down now", 1);
    // Full again, to the end: what was played is kept where the program was started.
    let ballast = small.fill();
    for count in 4..=5 {
        rep(&piece);
        plain.wait_for(&format!("clean, {count} of 9"), 1);
    }
    plain.say("quit");
    let (status, complaint) = plain.wait_for_end();
    assert_eq!(status.code(), Some(1));
    let rescued = complaint.trim().rsplit(' ').next().unwrap().to_owned();
    assert!(complaint.contains("the disk is full") && complaint.contains("take it in with: catchword journal import"), "{complaint}");
    assert!(rescued.starts_with(&*piece.path().to_string_lossy()), "{rescued}");
    assert_eq!(plain.lines().iter().filter(|line| is_verdict(line)).count(), 5);
    fs::remove_file(&ballast).unwrap();
    let (code, out, complaint) = said(&["journal", "import", &rescued], &piece.data());
    assert_eq!(code, Some(0), "{out}{complaint}");
    assert!(out.starts_with("taken in from") && out.contains(" reps"), "{out}");
    check_reps(&piece, &piece.data(), 5);
}

#[test]
fn a_data_folder_that_cannot_be_written_is_refused_before_anything_is_played() {
    let piece = Piece::new(3);
    let Some(_small) = Small::mount(&piece.data(), "1m") else { return };
    drop(Store::open(&piece.data()).unwrap());
    let done = Command::new("mount").args(["-o", "remount,ro"]).arg(piece.data()).status().unwrap();
    assert!(done.success());
    let mut plain = Plain::start(&piece);
    let (status, complaint) = plain.wait_for_end();
    assert_eq!(status.code(), Some(1));
    assert!(complaint.contains("its folder cannot be written; another place can be given with --data"), "{complaint}");
    assert!(!complaint.contains("panicked"));
}

#[test]
fn a_journal_with_a_damaged_page_is_told_of_and_what_can_be_read_of_it_is_taken_out() {
    let piece = Piece::new(3);
    let mut plain = Plain::start(&piece);
    plain.wait_for("section up", 1);
    for count in 1..=8 {
        rep(&piece);
        plain.wait_for(&format!("clean, {count} of 9"), 1);
    }
    plain.say("quit");
    assert!(plain.wait_for_end().0.success());
    let file = piece.data().join(FILE_NAME);
    let root = {
        let connection = Connection::open(&file).unwrap();
        connection.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
        connection.query_row("SELECT rootpage FROM sqlite_schema WHERE name = 'take'", [], |row| row.get::<_, u32>(0)).unwrap() as usize
    };
    let whole = fs::read(&file).unwrap();
    // Pages are numbered from 1 (SQLite, "Database File Format"), and have the size that bytes 16 and 17 of the file say.
    let size = usize::from(u16::from_be_bytes([whole[16], whole[17]]));
    let damaged = |first: usize| {
        let mut bytes = whole.clone();
        bytes[first..first + size].fill(0x5a);
        fs::write(&file, bytes).unwrap();
    };
    damaged((root - 1) * size);
    let (code, _, complaint) = said(&["journal", "check"], &piece.data());
    assert_eq!(code, Some(1));
    assert!(complaint.contains("is damaged") && complaint.contains("catchword journal recover FILE"), "{complaint}");
    let out = piece.path().join("whole.db");
    let (code, said_of_it, complaint) = said(&["journal", "recover", &out.to_string_lossy()], &piece.data());
    assert_eq!(code, Some(0), "{complaint}");
    assert!(said_of_it.contains("1 table could not be read whole"), "{said_of_it}");
    let anew = tempfile::tempdir().unwrap();
    let (code, taken, complaint) = said(&["journal", "import", &out.to_string_lossy()], anew.path());
    assert_eq!(code, Some(0), "{complaint}");
    assert!(taken.contains("1 session, 8 reps"), "only takes were on that page: {taken}");

    // Any page: the program says so or works, and never panics; all but the rows of the page come out.
    let mut n_told = 0;
    for page in 1..whole.len() / size {
        damaged(page * size);
        let (code, out, complaint) = said(&["journal", "check"], &piece.data());
        assert!(!complaint.contains("panicked"), "page {page}: {complaint}");
        // What is on an unused page is nobody's.
        assert!(code == Some(0) || (code == Some(1) && complaint.starts_with("catchword: ")), "page {page}: {out}{complaint}");
        n_told += usize::from(code == Some(1));
    }
    assert!(n_told > whole.len() / size / 2, "{n_told} of {} pages", whole.len() / size);
    // The first page gone: not a journal any more, and left alone.
    damaged(0);
    let before = fs::read(&file).unwrap();
    let mut plain = Plain::start(&piece);
    let (status, complaint) = plain.wait_for_end();
    assert_eq!(status.code(), Some(1));
    assert!(complaint.contains("is not a journal of this program; nothing was changed in it"), "{complaint}");
    assert_eq!(fs::read(&file).unwrap(), before);
}
