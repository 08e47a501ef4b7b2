//! Fits the networks that tell hands apart, and scores the split on pieces that they have not seen.
//!
//!     cargo bench --bench train_hands -- --cases DIR [--scores DIR] [--without WORD] [--hold N] [--write FILE --origin TEXT]
//!
//! `--cases` holds a folder per piece with a note list (`score.csv`), `--scores` files of music for two staves. `--without` leaves out
//! pieces by name: those that are reported on elsewhere. `--hold N` keeps every Nth work from the fit, and only those are scored;
//! without it the fit's own pieces are. `--write` writes the table, with the command and the origin in its first lines:
//! `src/score/hands/learned.rs` is what its own first lines make. The pieces are not part of the project.

#[path = "train/hands_fit.rs"]
mod hands_fit;

use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use catchword::import::read_score;
use catchword::score::hands::{Row, Sounding, by_context, by_reach};
use catchword::theory::Hand;

use hands_fit::{Piece, fit, rounded, table};

const N_NETWORKS: u64 = 3;
/// Of its length a note is taken to be held.
const HELD: f64 = 0.8;

fn main() -> Result<()> {
    let args: Vec<String> = std::env::args().collect();
    let get = |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).cloned();
    let Some(cases) = get("--cases").map(PathBuf::from) else {
        // `cargo bench` runs every bench target: without cases there is nothing to do.
        println!("train_hands: give --cases DIR");
        return Ok(());
    };
    let without = get("--without");
    let is_wanted = |p: &PathBuf| without.as_ref().is_none_or(|word| !p.display().to_string().contains(word));
    let read_all = |dir: &Path, file: Option<&str>| -> Result<Vec<Piece>> {
        let mut paths: Vec<PathBuf> = std::fs::read_dir(dir)?.map(|e| e.map(|e| e.path())).collect::<Result<_, _>>()?;
        paths.sort();
        let paths = paths.iter().filter(|p| is_wanted(p)).map(|p| file.map_or(p.clone(), |f| p.join(f)));
        paths.map(|p| read(&p).with_context(|| p.display().to_string())).collect()
    };
    let mut all = read_all(&cases, Some("score.csv"))?;
    if let Some(dir) = get("--scores") {
        all.extend(read_all(Path::new(&dir), None)?);
    }
    // A large collection must not outvote the others: each counts by the square root of its size.
    let size = |of: &str| all.iter().filter(|p| collection(&p.name) == of).map(|p| p.rows.len()).sum::<usize>() as f64;
    let sizes: Vec<f64> = all.iter().map(|p| size(collection(&p.name))).collect();
    let largest = sizes.iter().copied().fold(0.0, f64::max);
    all.iter_mut().zip(&sizes).for_each(|(piece, own)| piece.times = (largest / own).sqrt().round() as usize);
    let hold = get("--hold").and_then(|n| n.parse::<usize>().ok());
    let mut works: Vec<&str> = all.iter().map(|p| work(&p.name)).collect();
    works.dedup();
    let nth = |p: &Piece| works.iter().position(|w| *w == work(&p.name));
    let is_held = |p: &&Piece| hold.is_some_and(|n| nth(p).is_some_and(|nth| nth.is_multiple_of(n)));
    let seen: Vec<&Piece> = all.iter().filter(|p| !is_held(p)).collect();
    let fitted = rounded(&(1..=N_NETWORKS).flat_map(|seed| fit(&seen, seed)).collect::<Vec<f32>>());
    if let Some(file) = get("--write") {
        let without = without.map_or(String::new(), |word| format!(" --without {word}"));
        let scores = if get("--scores").is_some() { " --scores DIR" } else { "" };
        let command = format!("cargo bench --bench train_hands -- --cases DIR{scores}{without} --write FILE --origin TEXT");
        std::fs::write(file, table(&fitted, &command, get("--origin").as_deref().unwrap_or("pieces not named")))?;
    }
    let weights = hands_fit::weights(&fitted);
    let (mut n, mut n_reach, mut n_split) = (0, 0, 0);
    for piece in all.iter().filter(|p| hold.is_none() || is_held(p)) {
        let right = |split: Vec<bool>| split.iter().zip(&piece.is_left).filter(|(a, b)| a == b).count();
        let reach = right(by_reach(&piece.rows));
        let whole = right(by_context(&piece.rows, &weights));
        println!("  {:>5} notes, {reach:>5} and {whole:>5} right: {}", piece.rows.len(), piece.name);
        (n, n_reach, n_split) = (n + piece.rows.len(), n_reach + reach, n_split + whole);
    }
    let part = |of: usize| 100.0 * of as f64 / n.max(1) as f64;
    let whose = if hold.is_some() { "held out of the fit" } else { "the fit's own, too" };
    println!("{n} notes, {whose}: by reach alone {:.2} %, with the notes around {:.2} %", part(n_reach), part(n_split));
    Ok(())
}

/// The work that a piece belongs to: movements of one sonata are one.
fn work(name: &str) -> &str {
    name.strip_suffix("/score.csv").and_then(|folder| folder.rsplit_once('-')).map_or(name, |(work, _)| work)
}

/// Note lists are collected by the first word of their folder, scores are one collection.
fn collection(name: &str) -> &str {
    let folder = name.strip_suffix("/score.csv").map(|folder| folder.rsplit('/').next().unwrap_or(folder));
    folder.map_or("scores", |folder| folder.split('_').next().unwrap_or(folder))
}

fn read(path: &Path) -> Result<Piece> {
    let name = path.display().to_string();
    let (score, _) = read_score(&std::fs::read(path)?, &name)?;
    // Songs and trios have other parts beside the one for two hands.
    let part = score.parts.iter().max_by_key(|p| (p.n_staves, p.notes.len())).context("a part")?;
    let mut notes: Vec<_> = part.notes.iter().filter(|n| !n.duration.is_zero()).collect();
    notes.sort_by_key(|n| (n.onset, n.key));
    notes.dedup_by_key(|n| (n.onset, n.key));
    let row = |n: &&catchword::score::Note| {
        let row = Row::of(&Sounding { onset: n.onset, end: n.onset + n.duration, key: n.key, velocity: None });
        Row { end: row.onset + HELD * (row.end - row.onset), ..row }
    };
    let is_left = notes.iter().map(|n| n.hand == Hand::Left).collect();
    Ok(Piece { name, rows: notes.iter().map(row).collect(), is_left, times: 1 })
}
