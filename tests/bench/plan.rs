//! Time to plan over a journal of 100,000 reps, and how the plan fares on virtual learners against two simpler ones.
//!
//! `cargo bench --bench plan` prints both and fails when planning takes more than 100 ms, or when the plan holds less often than the better
//! of the simple ones.

#[path = "../it/made_journal.rs"]
mod made_journal;

use std::time::Instant;

use catchword::cli::plan::Known;
use catchword::journal::store::{FILE_NAME, Store};
use catchword::memory::plan::{PlanConfig, plan};
use catchword::memory::rules::Rules;
use catchword::memory::simulate::{SimulateConfig, simulate, times_better};
use catchword::piece_folder::open_piece;
use chrono::NaiveDate;
use made_journal::Life;

/// Time from opening a journal of so many reps of one piece to the plan of a day.
fn over_a_journal() {
    let opened = open_piece("ferry", None, &[]).expect("the demo piece opens");
    let first_day = NaiveDate::from_ymd_opt(2025, 1, 6).expect("a day");
    let today = first_day + chrono::Duration::days(725);
    let dir = tempfile::tempdir().expect("a directory");
    let mut made = Store::open_in_memory().expect("memory");
    Life { piece: &opened.piece, key: "ferry", first_day, n_days: 725, n_reps: 33, seed: 11 }.live(&mut made);
    made.backup(&dir.path().join(FILE_NAME)).expect("a file");
    drop(made);
    let n_reps = Store::open(dir.path()).expect("the journal opens").attempts("ferry").expect("attempts").all.len();
    let best = (0..15)
        .map(|_| {
            let start = Instant::now();
            let store = Store::open(dir.path()).expect("the journal opens");
            let known = Known::read(&store, std::slice::from_ref(&opened), Rules::standard()).expect("records");
            let found = plan(&known.pieces, &known.fitted.weights, &PlanConfig { today, minutes: 60.0, pace: known.pace });
            assert!(!found.steps.is_empty());
            start.elapsed().as_secs_f64() * 1e3
        })
        .fold(f64::MAX, f64::min);
    println!("plan over {n_reps} reps, the journal read: {best:.1} ms");
    assert!(best < 100.0, "planning over {n_reps} reps took {best:.1} ms");
}

fn main() {
    over_a_journal();
    let config = SimulateConfig { n_learners: 16, minutes: vec![8.0, 12.0, 20.0], ..SimulateConfig::usual(1) };
    let rows = simulate(&config, |_, _| {});
    for row in &rows {
        println!(
            "{:>4.0} minutes a day, {:<20} holds {:>5.1} of 100, {:>5.0} minutes spent",
            row.minutes_a_day,
            row.policy.words(),
            100.0 * row.hold,
            row.minutes_spent
        );
    }
    for (minutes, times) in times_better(&rows) {
        println!("{minutes:>4.0} minutes a day: {times:.2} times as often as the better simple plan");
        assert!(times > 1.0, "the plan is worth nothing with {minutes} minutes a day");
    }
}
