//! Fits the networks that tell hands apart, and scores the split on pieces that they have not seen.
//!
//!     cargo bench --bench train_hands -- --cases DIR [--scores DIR] [--without WORD] [--hold N] [--write FILE --origin TEXT]
//!
//! `--cases` holds a folder per piece with a note list (`score.csv`), `--scores` files of music for two staves, each of which is shown
//! twice. `--without` leaves out pieces by name: those that are reported on elsewhere. `--hold N` keeps every Nth case from the fit;
//! what is printed is the split that the program has now, so write first, then build and score again. The pieces are not part of the project.

#[path = "train/hands_fit.rs"]
mod hands_fit;

use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use catchword::import::read_score;
use catchword::score::hands::{Row, Sounding, by_reach, split_hands};
use catchword::theory::Hand;

use hands_fit::{Piece, fit, table};

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
    let read_all = |dir: &Path, file: Option<&str>, times: usize| -> Result<Vec<(Piece, Vec<Sounding>)>> {
        let mut paths: Vec<PathBuf> = std::fs::read_dir(dir)?.map(|e| e.map(|e| e.path())).collect::<Result<_, _>>()?;
        paths.sort();
        let paths = paths.iter().filter(|p| is_wanted(p)).map(|p| file.map_or(p.clone(), |f| p.join(f)));
        paths.map(|p| read(&p, times).with_context(|| p.display().to_string())).collect()
    };
    let own = read_all(&cases, Some("score.csv"), 1)?;
    let others = get("--scores").map(|dir| read_all(Path::new(&dir), None, 2)).transpose()?.unwrap_or_default();
    let hold = get("--hold").and_then(|n| n.parse::<usize>().ok());
    let is_held = |nth: usize| hold.is_some_and(|n| nth.is_multiple_of(n));
    let seen = own.iter().enumerate().filter(|(nth, _)| !is_held(*nth)).map(|(_, p)| p).chain(&others);
    let pieces: Vec<&Piece> = seen.map(|(piece, _)| piece).collect();
    if let Some(file) = get("--write") {
        let weights: Vec<f32> = (1..=N_NETWORKS).flat_map(|seed| fit(&pieces, seed)).collect();
        std::fs::write(file, table(&weights, get("--origin").as_deref().unwrap_or("pieces not named")))?;
    }
    let (mut n, mut n_reach, mut n_split) = (0, 0, 0);
    for (piece, notes) in own.iter().enumerate().filter(|(nth, _)| hold.is_none() || is_held(*nth)).map(|(_, p)| p) {
        let right = |split: Vec<bool>| split.iter().zip(&piece.is_left).filter(|(a, b)| a == b).count();
        let reach = right(by_reach(&piece.rows));
        let whole = right(split_hands(notes).iter().map(|hand| *hand == Hand::Left).collect());
        println!("  {:>5} notes, {reach:>5} and {whole:>5} right: {}", notes.len(), piece.name);
        (n, n_reach, n_split) = (n + notes.len(), n_reach + reach, n_split + whole);
    }
    let part = |of: usize| 100.0 * of as f64 / n.max(1) as f64;
    let whose = if hold.is_some() { "held out of the fit" } else { "the fit's own, too" };
    println!("{n} notes, {whose}: by reach alone {:.2} %, with the notes around {:.2} %", part(n_reach), part(n_split));
    Ok(())
}

fn read(path: &Path, times: usize) -> Result<(Piece, Vec<Sounding>)> {
    let name = path.display().to_string();
    let (score, _) = read_score(&std::fs::read(path)?, &name)?;
    // Songs and trios have other parts beside the one for two hands.
    let part = score.parts.iter().max_by_key(|p| (p.n_staves, p.notes.len())).context("a part")?;
    let mut notes: Vec<_> = part.notes.iter().filter(|n| !n.duration.is_zero()).collect();
    notes.sort_by_key(|n| (n.onset, n.key));
    notes.dedup_by_key(|n| (n.onset, n.key));
    let sounding = |n: &&catchword::score::Note| Sounding { onset: n.onset, end: n.onset + n.duration, key: n.key };
    let sounding: Vec<Sounding> = notes.iter().map(sounding).collect();
    let row = |s: &Sounding| {
        let row = Row::of(s);
        Row { end: row.onset + HELD * (row.end - row.onset), ..row }
    };
    let is_left = notes.iter().map(|n| n.hand == Hand::Left).collect();
    Ok((Piece { name, rows: sounding.iter().map(row).collect(), is_left, times }, sounding))
}
