//! Captured notes compared with the page, and the same for the baseline.

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use anyhow::{Context, Result, ensure};
use catchword::capture::{Pass, Reading, Stretch, score};
use catchword::export::musicxml;
use catchword::theory::{Hand, SpelledPitch};
use serde_json::json;

use super::cases::{Case, Truth};

/// A note as captured.
struct Got {
    onset: f64,
    duration: f64,
    key: u8,
    hand: Hand,
    name: Option<SpelledPitch>,
    bar: u32,
    is_grace: bool,
}

#[derive(Clone, Default, Debug)]
pub struct Counts {
    /// Notes of the page that were played, grace notes aside.
    pub n: usize,
    n_found: usize,
    n_bar: usize,
    n_grid: usize,
    n_hand: usize,
    n_named: usize,
    n_name: usize,
    n_value: usize,
    n_extra: usize,
    n_questions: usize,
}

impl Counts {
    pub const HEADER: &'static str = "  found    bar   grid   hand   name  value  extra  asked";

    pub fn add(&mut self, other: &Counts) {
        self.n += other.n;
        self.n_found += other.n_found;
        self.n_bar += other.n_bar;
        self.n_grid += other.n_grid;
        self.n_hand += other.n_hand;
        self.n_named += other.n_named;
        self.n_name += other.n_name;
        self.n_value += other.n_value;
        self.n_extra += other.n_extra;
        self.n_questions += other.n_questions;
    }

    /// Found, in the right bar and on the right point in per cent of notes; hand and value of those found, names of those with a name.
    pub fn row(&self) -> String {
        let part = |n: usize, of: usize| if of == 0 { "     -".to_owned() } else { format!("{:6.2}", 100.0 * n as f64 / of as f64) };
        let of_all = [self.n_found, self.n_bar, self.n_grid].map(|n| part(n, self.n)).join(" ");
        let rest = [part(self.n_hand, self.n_found), part(self.n_name, self.n_named), part(self.n_value, self.n_found)].join(" ");
        format!(" {of_all} {rest} {:>6} {:>6}", self.n_extra, self.n_questions)
    }
}

/// Captures a case, and writes the score into `write` where that is asked for.
pub fn capture(case: &Case, write: Option<&Path>) -> Result<Counts> {
    let stretches: Vec<Stretch> = case
        .passes
        .iter()
        .zip([Pass::First, Pass::Second])
        .map(|((struck, beats), pass)| Stretch {
            reading: Reading { struck: struck.clone(), beats: beats.clone() },
            first: 0,
            last: None,
            pass: Some(pass),
        })
        .collect();
    let captured = score(&case.page, &stretches, None, None);
    if let Some(dir) = write {
        std::fs::write(dir.join(format!("{}.musicxml", case.name)), musicxml::write(&captured.score))?;
    }
    let notes = &captured.score.parts[0].notes;
    let got: Vec<Got> = notes
        .iter()
        .map(|n| Got {
            onset: n.onset.to_f64(),
            duration: n.duration.to_f64(),
            key: n.key.number(),
            hand: n.hand,
            name: Some(n.pitch),
            bar: captured.score.bar(n.bar).label.0.parse().unwrap_or(0),
            is_grace: n.duration.is_zero(),
        })
        .collect();
    Ok(Counts { n_questions: captured.questions.len(), ..compare(case, &got) })
}

/// Farther from its place than this, in quarters, a note is another note.
const APART_MAX: f64 = 1.5;

fn compare(case: &Case, got: &[Got]) -> Counts {
    let mut counts = Counts::default();
    let mut n_paired = 0;
    for key in 0..128u8 {
        let wanted: Vec<&Truth> = case.truth.iter().filter(|t| t.key == key && t.was_played && !t.is_grace).collect();
        let graces = case.truth.iter().filter(|t| t.key == key && t.is_grace).count();
        let own: Vec<&Got> = got.iter().filter(|g| g.key == key && !g.is_grace).collect();
        counts.n += wanted.len();
        counts.n_extra += own.len().saturating_sub(wanted.len() + graces);
        for (i, j) in pairs(&wanted, &own) {
            let (truth, got) = (wanted[i], own[j]);
            n_paired += 1;
            counts.n_bar += usize::from(got.bar == case.page.number_at(truth.onset));
            counts.n_grid += usize::from((got.onset - truth.onset.to_f64()).abs() < 1e-4);
            counts.n_hand += usize::from(got.hand == truth.hand);
            if let Some(name) = truth.name {
                counts.n_named += 1;
                counts.n_name += usize::from(got.name == Some(name));
            }
            counts.n_value += usize::from((got.duration - truth.duration.to_f64()).abs() < 1e-4);
        }
    }
    counts.n_found = n_paired;
    counts
}

/// Pairs notes of one key in order with the least sum of distances; leaving out costs more than any distance allowed.
fn pairs(wanted: &[&Truth], got: &[&Got]) -> Vec<(usize, usize)> {
    let (n, m) = (wanted.len(), got.len());
    let apart = |i: usize, j: usize| (wanted[i].onset.to_f64() - got[j].onset).abs();
    let mut cost = vec![vec![0.0; m + 1]; n + 1];
    for i in (0..=n).rev() {
        for j in (0..=m).rev() {
            let mut least = f64::INFINITY;
            if i < n {
                least = least.min(cost[i + 1][j] + APART_MAX);
            }
            if j < m {
                least = least.min(cost[i][j + 1] + APART_MAX);
            }
            if i < n && j < m && apart(i, j) < APART_MAX {
                least = least.min(cost[i + 1][j + 1] + apart(i, j));
            }
            cost[i][j] = if i == n && j == m { 0.0 } else { least };
        }
    }
    let (mut i, mut j, mut out) = (0, 0, Vec::new());
    while i < n && j < m {
        if apart(i, j) < APART_MAX && cost[i][j] == cost[i + 1][j + 1] + apart(i, j) {
            out.push((i, j));
            (i, j) = (i + 1, j + 1);
        } else if cost[i][j] == cost[i + 1][j] + APART_MAX {
            i += 1;
        } else {
            j += 1;
        }
    }
    out
}

/// Runs the reference libraries on the first pass of each case.
pub fn baseline<'c>(python: &str, cases: impl Iterator<Item = &'c Case>) -> Result<Vec<Counts>> {
    let cases: Vec<&Case> = cases.collect();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bench/capture_baseline.py");
    let mut child =
        Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().context("starting the baseline")?;
    let mut input = child.stdin.take().context("standard input")?;
    let lines: Vec<String> = cases
        .iter()
        .map(|case| {
            let (struck, beats) = &case.passes[0];
            let row = |s: &catchword::capture::Struck| {
                let at = beats.quarters(s.on);
                let end = s.off.map_or(at + 0.5, |off| beats.quarters(off));
                json!([at, end - at, s.key.number()])
            };
            json!({ "notes": struck.iter().map(row).collect::<Vec<_>>() }).to_string()
        })
        .collect();
    let writer = std::thread::spawn(move || lines.iter().try_for_each(|line| writeln!(input, "{line}")));
    let output = child.wait_with_output()?;
    ensure!(output.status.success(), "the baseline failed");
    let _ = writer.join();
    let text = String::from_utf8(output.stdout)?;
    let mut all = Vec::new();
    for (case, line) in cases.iter().zip(text.lines()) {
        let answer: serde_json::Value = serde_json::from_str(line)?;
        let (struck, _) = &case.passes[0];
        let got: Vec<Got> = struck
            .iter()
            .enumerate()
            .map(|(i, s)| {
                let onset = answer["onset"][i].as_f64().unwrap_or(f64::NAN);
                let key = s.key.number();
                Got {
                    onset,
                    duration: answer["duration"][i].as_f64().unwrap_or(f64::NAN),
                    key,
                    hand: if key >= 60 { Hand::Right } else { Hand::Left },
                    name: answer["name"][i].as_str().and_then(|n| n.parse().ok()),
                    bar: case.page.number_at(catchword::time::ScoreTime::from_f64_lossy(onset).unwrap_or_default()),
                    is_grace: false,
                }
            })
            .collect();
        all.push(compare(case, &got));
    }
    ensure!(all.len() == cases.len(), "the baseline answered {} of {} cases", all.len(), cases.len());
    Ok(all)
}
