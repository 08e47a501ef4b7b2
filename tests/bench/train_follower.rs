//! Fits the follower's constants and scores it on cases of real performances.
//!
//!     cargo bench --bench train_follower -- --cases DIR [--outputs DIR] [--seeds N] [--only WORD] [--NAME VALUE]
//!
//! `DIR/clean` and `DIR/stress` hold a folder per case (`score.csv`, `take.jsonl`, `truth.json`). The
//! cases are not part of the project. `--scores DIR` takes made performances of other note lists instead, `--fit ROUNDS` fits
//! the constants (`--fit-wait` the floor of the wait alone), `--split` shows what was tuned on apart from what was held out,
//! `--habit own|others` gives the follower the timing habit of two other takes, `--told` tells it the truth up to each restart or
//! jump, `--list` prints every pause and every false hesitation with what was known there. `--seeds` adds that many stress
//! cases made from each clean one; `--NAME VALUE` sets one constant.

#[path = "train/calls.rs"]
mod calls;
#[path = "train/case.rs"]
mod case;
#[path = "train/fit.rs"]
mod fit;
#[path = "train/human.rs"]
mod human;
#[path = "train/score.rs"]
mod score;
#[path = "train/stress.rs"]
mod stress;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use anyhow::{Context, Result};
use catchword::follower::{Begin, Constants, FollowerConfig, TimingHabit};

use case::Case;
use fit::Training;
use score::Totals;

struct Options(Vec<String>);

impl Options {
    fn get(&self, name: &str) -> Option<&str> {
        self.0.iter().position(|a| a == name).and_then(|i| self.0.get(i + 1)).map(String::as_str)
    }

    fn has(&self, name: &str) -> bool {
        self.0.iter().any(|a| a == name)
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
    let other = match options.get("--scores") {
        Some(dir) => other_pieces(Path::new(dir))?,
        None => Vec::new(),
    };
    if options.has("--fit") || options.has("--fit-wait") {
        // Tuned on: the first half of the pianists in the first piece, and every fourth of the made performances.
        let clean: Vec<Case> = clean.into_iter().filter(is_tuned_on).collect();
        let stress = (101..=104).flat_map(|s| clean.iter().map(move |c| stress::stress(c, s))).collect();
        let made: Vec<Case> = other.into_iter().step_by(4).collect();
        let shaken = made.iter().map(|c| stress::stress(c, 101)).collect();
        let training = [Training { clean, stress, weight: 1.0 }, Training { clean: made, stress: shaken, weight: 0.5 }];
        constants = match options.get("--fit") {
            Some(rounds) => fit::fit(&training, &config, constants, rounds.parse()?),
            None => fit::fit_wait(&training[0], &config, constants),
        };
        println!("{constants:?}");
        return Ok(());
    }
    let mut sets = vec![("clean", clean.clone()), ("stress", given)];
    if seeds > 0 {
        sets.push(("made", (1..=seeds).flat_map(|s| sets[0].1.iter().map(move |c| stress::stress(c, s))).collect()));
    }
    if !other.is_empty() {
        let shaken = other.iter().map(|c| stress::stress(c, 1)).collect();
        sets = vec![("other", other), ("shaken", shaken)];
    }
    let by_split = options.has("--split");
    let mut columns: Vec<(String, Totals)> = Vec::new();
    for (kind, cases) in &sets {
        let started = Instant::now();
        let mut n_notes = 0;
        for case in cases {
            let timing = options.get("--habit").map(|whose| habit_of(case, whose, &clean, constants));
            let config = FollowerConfig { timing, ..config(constants) };
            let run = if options.has("--told") { score::run_told(case, &config) } else { score::run(case, config) };
            n_notes += case.take.len();
            if options.has("--list") {
                calls::list(kind, case, &run);
            }
            let (piece, _) = case.piece_and_pianist();
            let part = match (by_split, is_tuned_on(case)) {
                (false, _) => piece.get(..6).unwrap_or(piece),
                (true, true) => "tuned",
                (true, false) => "held",
            };
            for name in [format!("{kind} {part}"), (*kind).to_owned()] {
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

/// The timing habit that two other takes teach: of the same pianist (`own`: the clean take and a stress case made from it), or of two
/// other pianists (`others`: their clean takes).
fn habit_of(case: &Case, whose: &str, clean: &[Case], constants: Constants) -> TimingHabit {
    let (piece, pianist) = case.piece_and_pianist();
    let mut habit = TimingHabit::new(case.line.onsets.len());
    let same_piece: Vec<&Case> = clean.iter().filter(|c| c.piece_and_pianist().0 == piece).collect();
    let own = same_piece.iter().position(|c| c.piece_and_pianist().1 == pianist).unwrap_or(0);
    if whose == "own" {
        score::learn(same_piece[own], config(constants), &mut habit);
        score::learn(&stress::stress(same_piece[own], 500), config(constants), &mut habit);
    } else {
        for by in [1, 2] {
            score::learn(same_piece[(own + by) % same_piece.len()], config(constants), &mut habit);
        }
    }
    habit
}

/// The split by piece and by pianist: one piece, half of the pianists.
fn is_tuned_on(case: &Case) -> bool {
    let (piece, pianist) = case.piece_and_pianist();
    piece.starts_with("Chopin") && pianist <= "p11"
}

/// Made performances of every note list in a folder of folders.
fn other_pieces(dir: &Path) -> Result<Vec<Case>> {
    let mut folders: Vec<_> = fs::read_dir(dir)?.collect::<Result<Vec<_>, _>>()?;
    folders.sort_by_key(|e| e.file_name());
    let mut made = Vec::new();
    for (n, entry) in folders.iter().enumerate() {
        let path = entry.path().join("score.csv");
        let bytes = fs::read(&path).with_context(|| format!("reading {}", path.display()))?;
        let rows = Arc::new(case::read_rows(&bytes, &path)?);
        let laid_out = case::lay_out(&bytes, "score.csv")?;
        made.push(human::perform(&entry.file_name().to_string_lossy(), rows, laid_out, n as u64));
    }
    Ok(made)
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
