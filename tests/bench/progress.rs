//! Time from opening a journal of 100,000 reps of one piece to the lines of its progress, and what it is to a plain scan.
//!
//! `cargo bench --bench progress` prints it and fails above 100 ms, best of several runs.

#[path = "../it/made_journal.rs"]
mod made_journal;

use std::time::Instant;

use catchword::cli::plan::Known;
use catchword::journal::store::{FILE_NAME, Store};
use catchword::memory::rules::Rules;
use catchword::piece_folder::open_piece;
use catchword::report::progress::{N_RUNS_MAX, Progress, Records};
use catchword::report::{progress_page, progress_text};
use chrono::NaiveDate;
use made_journal::Life;

const N_RUNS: usize = 15;
const MS_MAX: f64 = 100.0;

fn best<T>(mut run: impl FnMut() -> T) -> f64 {
    let times = (0..N_RUNS).map(|_| {
        let start = Instant::now();
        std::hint::black_box(run());
        start.elapsed().as_secs_f64() * 1e3
    });
    times.fold(f64::MAX, f64::min)
}

fn main() {
    let opened = open_piece("ferry", None, &[]).expect("the demo piece opens");
    let piece = &opened.piece;
    let first_day = NaiveDate::from_ymd_opt(2025, 1, 6).expect("a day");
    let today = first_day + chrono::Duration::days(725);
    let dir = tempfile::tempdir().expect("a directory");
    let mut made = Store::open_in_memory().expect("memory");
    Life { piece, key: "ferry", first_day, n_days: 725, n_reps: 33, seed: 11 }.live(&mut made);
    made.backup(&dir.path().join(FILE_NAME)).expect("a file");
    drop(made);
    // Opened once, so that the journal is in the state of everyday.
    drop(Store::open(dir.path()).expect("the journal opens"));

    let connection = rusqlite::Connection::open(dir.path().join(FILE_NAME)).expect("the file opens");
    let count = || connection.query_row("SELECT count(*) FROM rep NOT INDEXED", [], |row| row.get::<_, i64>(0)).expect("a count");
    let n_reps = count();
    let scan = best(count);
    let progress = || {
        let store = Store::open(dir.path()).expect("the journal opens");
        let known = Known::read(&store, std::slice::from_ref(&opened), Rules::standard()).expect("records");
        let (answers, runs) = (store.answers("ferry").expect("answers"), store.runs("ferry", N_RUNS_MAX).expect("runs"));
        let pace = store.latest_pace("ferry").expect("the pace");
        let memory = Some((&known.pieces[0], &known.fitted.weights));
        let records = Records { memory, attempts: &known.attempts[0], answers: &answers, runs, pace, slips: Vec::new() };
        Progress::of(piece, records, today, |rep| store.noted(rep)).expect("progress")
    };
    let store = Store::open(dir.path()).expect("the journal opens");
    let read = best(|| store.attempts("ferry").expect("attempts").all.len());
    let known = best(|| Known::read(&store, std::slice::from_ref(&opened), Rules::standard()).expect("records").pieces.len());
    let text = best(|| progress_text::lines(&progress()).len());
    let page = best(|| progress_page::page(&progress()).len());
    println!("{n_reps} reps; best of {N_RUNS} runs");
    for (what, time) in [
        ("SELECT count(*), all rows", scan),
        ("attempts read", read),
        ("what is remembered", known),
        ("progress as text", text),
        ("progress as a page", page),
    ] {
        println!("{what:>26}: {time:>8.1} ms, {:>5.1} scans", time / scan);
    }
    assert!(text < MS_MAX && page < MS_MAX, "progress over {n_reps} reps took {text:.1} and {page:.1} ms");
}
