//! Fits the learned tables of the analysis and scores them on pieces they have not seen.
//!
//!     cargo bench --bench train_analysis -- --cases DIR [--folds N] [--epochs N] [--write FILE]
//!
//! `DIR` holds a folder per piece (`score.csv`, `truth.json`). The cases are not part of the project.
//! `--folds` splits by work, besides the split by composer; `--write` fits on all pieces and writes the tables.

#[path = "train/crf.rs"]
mod crf;
#[path = "train/cuts.rs"]
mod cuts;
#[path = "train/key_fit.rs"]
mod key_fit;
#[path = "train/study_case.rs"]
mod study_case;
#[path = "train/tables.rs"]
mod write;

use std::path::PathBuf;

use anyhow::{Context, Result};
use catchword::analysis::harmony::{self, BeatChord};
use catchword::analysis::net::Net;
use catchword::analysis::sections::{BARS, choose, worth};
use catchword::analysis::{keys, learned, phrases};

use cuts::Lines;
use study_case::StudyCase;

pub struct Options(Vec<String>);

impl Options {
    pub fn get(&self, name: &str) -> Option<&str> {
        self.0.iter().position(|a| a == name).and_then(|i| self.0.get(i + 1)).map(String::as_str)
    }

    pub fn number(&self, name: &str, default: f64) -> f64 {
        self.get(name).and_then(|t| t.parse().ok()).unwrap_or(default)
    }
}

fn main() -> Result<()> {
    let options = Options(std::env::args().collect());
    let Some(dir) = options.get("--cases").map(PathBuf::from) else {
        // `cargo bench` runs every bench target: without cases there is nothing to do.
        println!("train_analysis: give --cases DIR");
        return Ok(());
    };
    let mut dirs: Vec<PathBuf> = std::fs::read_dir(&dir)?.map(|e| e.map(|e| e.path())).collect::<Result<_, _>>()?;
    dirs.sort();
    let cases: Vec<StudyCase> =
        dirs.iter().filter(|d| d.is_dir()).map(|d| study_case::read(d).with_context(|| d.display().to_string())).collect::<Result<_>>()?;
    let how = crf::Fit {
        epochs: options.number("--epochs", 16.0) as usize,
        rate: options.number("--rate", 0.003) as f32,
        decay: options.number("--decay", 0.01) as f32,
        drop_hidden: options.number("--drop-hidden", 0.2) as f32,
        drop_input: options.number("--drop-input", 0.1) as f32,
        seed: options.number("--seed", 1.0) as u64,
    };
    let folds = options.number("--folds", 4.0) as usize;
    let mut groups: Vec<&str> = cases.iter().map(|c| c.group.as_str()).collect();
    groups.dedup();
    let fold_of = |c: &StudyCase| groups.iter().position(|g| *g == c.group).unwrap_or(0) % folds.max(1);
    let only = options.get("--fold").and_then(|t| t.parse::<usize>().ok());
    let how_cuts = cuts::Fit {
        epochs: options.number("--cut-epochs", 80.0) as usize,
        rate: options.number("--cut-rate", 0.003) as f32,
        decay: options.number("--cut-decay", 0.5) as f32,
        drop: options.number("--cut-drop", 0.3) as f32,
        seed: how.seed,
    };
    let mut all = Split::default();
    for fold in 0..folds {
        if only.is_some_and(|o| o != fold) {
            continue;
        }
        let (test, train): (Vec<&StudyCase>, Vec<&StudyCase>) = cases.iter().partition(|c| fold_of(c) == fold);
        let split = Split::new(&train, &test, &how, &how_cuts);
        println!("fold {fold}: {split:?}");
        all.add(split);
    }
    if folds > 0 {
        println!("by work, unseen: {all:?}");
    }
    if options.get("--composer").is_some() {
        let (test, train): (Vec<&StudyCase>, Vec<&StudyCase>) = cases.iter().partition(|c| c.name.starts_with("kinder"));
        println!("Schumann, fitted on Mozart: {:?}", Split::new(&train, &test, &how, &how_cuts));
    }
    if let Some(file) = options.get("--write") {
        let every: Vec<&StudyCase> = cases.iter().collect();
        let net = crf::fit(&every, &how);
        let said: Vec<Vec<BeatChord>> = cases.iter().map(|c| harmony::decode(&net, &c.inputs)).collect();
        let lines: Vec<Lines> = cases.iter().zip(&said).map(|(c, h)| lines(c, h)).collect();
        let refs: Vec<&Lines> = lines.iter().collect();
        let weights = cuts::fit(&refs, &how_cuts);
        // The price was chosen on pieces that the weights had not seen.
        let price = if folds > 0 { cuts::best_price(&all.cuts()) } else { learned::SECTION_PRICE };
        let keys: Vec<(key_fit::Signs, usize)> =
            cases.iter().zip(&said).map(|(c, h)| (keys::signs(&c.material, h), key_index(c))).collect();
        let stated = options.number("--stated", learned::STATED_MIN);
        let origin = options.get("--origin").unwrap_or("pieces not named");
        std::fs::write(file, write::tables(&net, &weights, price, &key_fit::fit(&keys), stated, origin))?;
    }
    Ok(())
}

fn lines(case: &StudyCase, harmony: &[BeatChord]) -> Lines {
    Lines { inputs: phrases::inputs(&case.material, harmony), starts: case.starts.clone() }
}

fn key_index(case: &StudyCase) -> usize {
    case.key.0 as usize + if case.key.1 { 12 } else { 0 }
}

/// What was found on pieces that the weights have not seen.
#[derive(Default)]
struct Split {
    tally: Tally,
    keys: (usize, usize),
    missed: Vec<String>,
    lines: Vec<(Lines, Vec<f64>)>,
    cut: [Vec<(usize, usize)>; 2],
}

impl Split {
    fn new(train: &[&StudyCase], test: &[&StudyCase], how: &crf::Fit, how_cuts: &cuts::Fit) -> Split {
        let net = crf::fit(train, how);
        let tally = score(&net, test);
        let said = |c: &StudyCase| harmony::decode(&net, &c.inputs);
        let seen: Vec<Lines> = train.iter().map(|c| lines(c, &said(c))).collect();
        let refs: Vec<&Lines> = seen.iter().collect();
        let weights = cuts::fit(&refs, how_cuts);
        let fitted: Vec<(&Lines, Vec<f64>)> = seen.iter().map(|l| (l, cuts::probabilities(&weights, l))).collect();
        let price = cuts::best_price(&fitted);
        let key_weights = key_fit::fit(&train.iter().map(|c| (keys::signs(&c.material, &said(c)), key_index(c))).collect::<Vec<_>>());
        let mut split = Split { tally, ..Split::default() };
        for case in test {
            let harmony = said(case);
            let key = keys::choose(&key_weights, &keys::signs(&case.material, &harmony)).0;
            split.keys.1 += 1;
            if key.index() == key_index(case) {
                split.keys.0 += 1;
            } else {
                split.missed.push(format!("{} said {key:?}", case.name));
            }
            let l = lines(case, &harmony);
            let p = cuts::probabilities(&weights, &l);
            let starts: Vec<usize> = choose(&worth(&p, price), &BARS).into_iter().filter(|s| *s > 0).collect();
            let truth: Vec<usize> = l.starts.iter().copied().filter(|s| *s > l.starts[0]).collect();
            for slack in [0, 1] {
                split.cut[slack].push((2 * cuts::hits(&starts, &truth, slack), starts.len() + truth.len()));
            }
            split.lines.push((l, p));
        }
        split
    }

    fn cuts(&self) -> Vec<(&Lines, Vec<f64>)> {
        self.lines.iter().map(|(l, p)| (l, p.clone())).collect()
    }

    fn add(&mut self, other: Split) {
        self.tally.add(&other.tally);
        self.keys = (self.keys.0 + other.keys.0, self.keys.1 + other.keys.1);
        self.missed.extend(other.missed);
        self.lines.extend(other.lines);
        for slack in [0, 1] {
            self.cut[slack].extend(&other.cut[slack]);
        }
    }
}

impl std::fmt::Debug for Split {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let share = |slack: usize| {
            let (hits, all) = self.cut[slack].iter().fold((0, 0), |sum, x| (sum.0 + x.0, sum.1 + x.1));
            hits as f64 / all.max(1) as f64
        };
        let best = cuts::best_price(&self.cuts());
        write!(f, "{:?}\n  key {}/{} {:?}\n  starts {:.4} / {:.4}", self.tally, self.keys.0, self.keys.1, self.missed, share(0), share(1))?;
        write!(f, " (with {best:?}, chosen here: {:.4?})", cuts::score(&self.cuts(), best))
    }
}

#[derive(Default)]
struct Tally {
    n: usize,
    root: usize,
    triad: usize,
    full: usize,
    /// Confidence in the root, and whether it was right.
    sure: Vec<(f32, bool)>,
}

impl Tally {
    fn add(&mut self, other: &Tally) {
        self.n += other.n;
        self.root += other.root;
        self.triad += other.triad;
        self.full += other.full;
        self.sure.extend(&other.sure);
    }
}

impl std::fmt::Debug for Tally {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let share = |n: usize| n as f64 / self.n.max(1) as f64;
        write!(f, "{} beats, root {:.4} triad {:.4} full {:.4}", self.n, share(self.root), share(self.triad), share(self.full))?;
        let mut sure = self.sure.clone();
        sure.sort_by(|a, b| b.0.total_cmp(&a.0));
        for part in [0.7, 0.75, 0.8] {
            let kept = &sure[..(sure.len() as f64 * part) as usize];
            let right = kept.iter().filter(|(_, r)| *r).count() as f64 / kept.len().max(1) as f64;
            write!(f, "; surest {part}: {right:.4} (from {:.3})", kept.last().map_or(0.0, |k| k.0))?;
        }
        Ok(())
    }
}

fn score(net: &Net, cases: &[&StudyCase]) -> Tally {
    let mut tally = Tally::default();
    for case in cases {
        let said = harmony::decode(net, &case.inputs);
        for (beat, root, triad, full) in &case.truth {
            let x = said[*beat];
            let is_root = x.chord.root == *root;
            let symbol = x.chord.quality.symbol();
            let said_triad = match symbol {
                "7" | "maj7" => "maj",
                "min7" => "min",
                "dim7" | "hdim7" => "dim",
                other => other,
            };
            tally.n += 1;
            tally.root += usize::from(is_root);
            tally.triad += usize::from(is_root && said_triad == triad);
            tally.full += usize::from(is_root && symbol == full);
            tally.sure.push((x.root_confidence, is_root));
        }
    }
    tally
}
