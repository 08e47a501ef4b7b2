//! Fits the follower's constants and scores it on cases of real performances.
//!
//!     cargo bench --bench train_follower -- --cases DIR [--outputs DIR] [--seeds N] [--only WORD] [--NAME VALUE]
//!
//! `DIR/clean` and `DIR/stress` hold a folder per case (`score.csv`, `take.jsonl`, `truth.json`). The
//! cases are not part of the project. `--seeds` adds that many stress cases made from each clean one;
//! `--NAME VALUE` sets one constant.

#[path = "train/case.rs"]
mod case;
#[path = "train/human.rs"]
mod human;
#[path = "train/score.rs"]
mod score;
#[path = "train/stress.rs"]
mod stress;

use std::fs;
use std::path::PathBuf;
use std::time::Instant;

use anyhow::{Context, Result};
use catchword::follower::{Begin, Constants, FollowerConfig};

use case::Case;
use score::Totals;

struct Options(Vec<String>);

impl Options {
    fn get(&self, name: &str) -> Option<&str> {
        self.0.iter().position(|a| a == name).and_then(|i| self.0.get(i + 1)).map(String::as_str)
    }
}

fn main() -> Result<()> {
    let options = Options(std::env::args().collect());
    let Some(dir) = options.get("--cases").map(PathBuf::from) else {
        // `cargo bench` runs every bench target: without cases there is nothing to do.
        println!("train_follower: give --cases DIR");
        return Ok(());
    };
    let mut constants = Constants::LEARNED;
    for (name, value) in constants.fields_mut() {
        if let Some(given) = options.get(&format!("--{name}")) {
            *value = given.parse()?;
        }
    }
    let seeds: u64 = options.get("--seeds").map_or(Ok(0), str::parse)?;
    let only = options.get("--only").unwrap_or("");
    let clean: Vec<Case> = case::read_all(&dir.join("clean"))?.into_iter().filter(|c| c.name.contains(only)).collect();
    let given: Vec<Case> = case::read_all(&dir.join("stress"))?.into_iter().filter(|c| c.name.contains(only)).collect();
    let mut sets = vec![("clean", clean), ("stress", given)];
    if seeds > 0 {
        sets.push(("made", (1..=seeds).flat_map(|s| sets[0].1.iter().map(move |c| stress::stress(c, s))).collect()));
    }
    if let Some(dir) = options.get("--scores") {
        let mut folders: Vec<_> = fs::read_dir(dir)?.collect::<Result<Vec<_>, _>>()?;
        folders.sort_by_key(|e| e.file_name());
        let mut made = Vec::new();
        for (n, entry) in folders.iter().enumerate() {
            let rows = std::sync::Arc::new(case::read_score(&entry.path().join("score.csv"))?);
            made.push(human::perform(&entry.file_name().to_string_lossy(), rows, n as u64));
        }
        let shaken = made.iter().map(|c| stress::stress(c, 1)).collect();
        sets = vec![("other", made), ("shaken", shaken)];
    }
    let mut columns: Vec<(String, Totals)> = Vec::new();
    for (kind, cases) in &sets {
        let started = Instant::now();
        let mut n_notes = 0;
        for case in cases {
            let run = score::run(case, config(constants));
            n_notes += case.take.len();
            let (piece, _) = case.piece_and_pianist();
            for name in [format!("{kind} {}", piece.get(..6).unwrap_or(piece)), (*kind).to_owned()] {
                let column = match columns.iter().position(|(n, _)| *n == name) {
                    Some(i) => i,
                    None => {
                        columns.push((name, Totals::default()));
                        columns.len() - 1
                    }
                };
                score::tally(case, &run, &mut columns[column].1);
            }
            if let Some(out) = options.get("--outputs").filter(|_| *kind != "made") {
                let folder = PathBuf::from(out).join(kind);
                fs::create_dir_all(&folder).with_context(|| format!("making {}", folder.display()))?;
                fs::write(folder.join(format!("{}.jsonl", case.name)), score::json_lines(case, &run))?;
            }
        }
        println!("{kind}: {:.2} us a note", started.elapsed().as_secs_f64() * 1e6 / n_notes as f64);
    }
    print_table(&columns);
    Ok(())
}

fn config(constants: Constants) -> FollowerConfig {
    FollowerConfig { constants, ..FollowerConfig::learned(Begin::Anywhere) }
}

fn print_table(columns: &[(String, Totals)]) {
    print!("{:24}", "");
    columns.iter().for_each(|(name, _)| print!("{name:>15}"));
    println!();
    let figures: Vec<_> = columns.iter().map(|(_, t)| t.figures()).collect();
    for row in 0..figures[0].len() {
        print!("{:24}", figures[0][row].0);
        figures.iter().for_each(|f| print!("{:>15.4}", f[row].1));
        println!();
    }
}
