//! Fits the follower's constants and scores it on cases of real performances.
//!
//!     cargo bench --bench train_follower -- --cases DIR [--outputs DIR]
//!
//! `DIR/clean` and `DIR/stress` hold a folder per case (`score.csv`, `take.jsonl`, `truth.json`). The
//! cases are not part of the project.

#[path = "train/case.rs"]
mod case;
#[path = "train/score.rs"]
mod score;

use std::fs;
use std::path::PathBuf;
use std::time::Instant;

use anyhow::{Context, Result};
use catchword::follower::{Begin, Constants, FollowerConfig};

use case::Case;
use score::Totals;

fn main() -> Result<()> {
    let args: Vec<String> = std::env::args().collect();
    let option = |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).map(PathBuf::from);
    let Some(dir) = option("--cases") else {
        // `cargo bench` runs every bench target: without cases there is nothing to do.
        println!("train_follower: give --cases DIR");
        return Ok(());
    };
    let constants = Constants::LEARNED;
    let mut columns: Vec<(String, Totals)> = Vec::new();
    for kind in ["clean", "stress"] {
        let cases = case::read_all(&dir.join(kind))?;
        let started = Instant::now();
        let mut n_notes = 0;
        for case in &cases {
            let run = score::run(case, config(constants));
            n_notes += case.take.len();
            let (piece, _) = case.piece_and_pianist();
            for name in [format!("{kind} {}", &piece[..6]), kind.to_owned()] {
                let column = match columns.iter().position(|(n, _)| *n == name) {
                    Some(i) => i,
                    None => {
                        columns.push((name, Totals::default()));
                        columns.len() - 1
                    }
                };
                score::tally(case, &run, &mut columns[column].1);
            }
            if let Some(out) = option("--outputs") {
                let folder = out.join(kind);
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
    columns.iter().for_each(|(name, _)| print!("{name:>18}"));
    println!();
    let figures: Vec<_> = columns.iter().map(|(_, t)| t.figures()).collect();
    for row in 0..figures[0].len() {
        print!("{:24}", figures[0][row].0);
        figures.iter().for_each(|f| print!("{:>18.4}", f[row].1));
        println!();
    }
}
