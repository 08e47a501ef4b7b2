//! Time to plan over a journal of 100,000 reps, and how the plan fares on virtual learners against two simpler ones.
//!
//! `cargo bench --bench plan` prints both and fails when planning takes more than 100 ms, or when the plan holds less often than the better
//! of the simple ones.

use std::time::Instant;

use catchword::journal::entry::{Mode, Verdict, Witness};
use catchword::journal::stats::DatedRep;
use catchword::memory::fit::fit;
use catchword::memory::item::{Layout, SectionAt};
use catchword::memory::pace::Pace;
use catchword::memory::piece_memory::{PieceFacts, PieceMemory, Played};
use catchword::memory::plan::{PlanConfig, plan};
use catchword::memory::simulate::{SimulateConfig, simulate, times_better};
use catchword::time::Micros;
use chrono::{DateTime, FixedOffset, TimeDelta};

const N_REPS: usize = 100_000;
const N_SECTIONS: usize = 100;

/// Years of practice: sections of four bars in turn, every sixth rep not clean.
fn played() -> Vec<Played> {
    let mut rng = fastrand::Rng::with_seed(5);
    let mut at: DateTime<FixedOffset> = "2020-01-01T18:00:00+01:00".parse().expect("a date");
    (0..N_REPS)
        .map(|n| {
            at += TimeDelta::seconds(if n % 50 == 49 { 86_000 } else { 30 });
            let section = rng.usize(0..N_SECTIONS);
            let is_clean = rng.u8(0..6) > 0;
            let verdict = if is_clean { Verdict::Clean } else { Verdict::Broken };
            let rep = DatedRep {
                at,
                mode: Mode::Drill,
                span: format!("part {section}"),
                bars: ((section * 4 + 1).to_string(), (section * 4 + 4).to_string()),
                length: Micros::from_millis(12_000),
                judged: verdict,
                verdict,
                witness: Witness::Heard,
                failed: (!is_clean).then(|| (format!("{}.2", section * 4 + 2), "wrong".to_owned())),
                n_notes_due: 30,
                n_notes_right: 30,
                tempo: None,
                is_held: None,
            };
            (rep, Vec::new())
        })
        .collect()
}

fn main() {
    let n_bars = N_SECTIONS * 4;
    let facts = PieceFacts {
        key: "long".into(),
        title: "A long piece".into(),
        perform_on: None,
        layout: Layout {
            labels: (1..=n_bars).map(|n| n.to_string()).collect(),
            sections: (0..N_SECTIONS).map(|s| SectionAt { name: format!("part {s}"), bars: s * 4..s * 4 + 4, target: 3 }).collect(),
            ..Layout::default()
        },
        bar_seconds: vec![3.0; n_bars],
    };
    let played = played();
    let today = played.last().expect("there are reps").0.at.date_naive() + chrono::Days::new(1);
    let best = (0..15)
        .map(|_| {
            let start = Instant::now();
            let mut piece = PieceMemory::new(facts.clone());
            piece.read(&played, &[]);
            let fitted = fit(&piece.graded());
            piece.remember(&fitted.weights);
            let found = plan(&[piece], &fitted.weights, &PlanConfig { today, minutes: 60.0, pace: Pace::default() });
            assert!(!found.steps.is_empty());
            start.elapsed().as_secs_f64() * 1e3
        })
        .fold(f64::MAX, f64::min);
    println!("plan over {N_REPS} reps: {best:.1} ms");
    assert!(best < 100.0, "planning over {N_REPS} reps took {best:.1} ms");

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
