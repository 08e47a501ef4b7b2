//! Cases of the follower bench: a score, a take, and what is true of it.

use std::fs;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, Result};
use catchword::follower::{Line, OnsetIdx};
use catchword::import::notelist;
use catchword::journal::entry::Mode;
use catchword::piece::Piece;
use catchword::practice::Span;

/// One row of `score.csv`.
#[derive(Clone, Debug)]
pub struct Row {
    pub onset: f64,
    pub duration: f64,
    pub pitch: u8,
    pub left: bool,
    pub bar: i64,
}

/// One note of a take with its truth.
#[derive(Clone, Debug)]
pub struct Played {
    pub t: f64,
    pub pitch: u8,
    pub velocity: u8,
    /// Row of the score, or -1.
    pub row: i64,
    pub label: Label,
    /// Score onset that the note belongs to or stands by.
    pub near: f64,
    /// Row that a wrong note stood for.
    pub wanted: Option<usize>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Label {
    Right,
    Wrong,
    Extra,
    Ghost,
}

#[derive(Clone, Debug)]
pub struct Pause {
    pub start: f64,
    pub end: f64,
}

#[derive(Clone, Debug)]
pub struct Case {
    pub name: String,
    pub rows: Arc<Vec<Row>>,
    pub line: Arc<Line>,
    /// Beat of each onset of the line.
    pub beats: Arc<Vec<f64>>,
    pub take: Vec<Played>,
    /// Time and destination of restarts and jumps.
    pub events: Vec<(f64, f64)>,
    pub pauses: Vec<Pause>,
    pub seconds: f64,
    /// Rows missed although the player passed them, with their time, when known.
    pub missed: Option<Vec<(f64, usize)>>,
}

impl Case {
    /// Name of the piece and of the pianist: `Chopin_op38`, `p07`.
    pub fn piece_and_pianist(&self) -> (&str, &str) {
        let base = self.name.split("_p").next().unwrap_or(&self.name);
        let rest = &self.name[base.len()..];
        (base, rest.get(1..4).unwrap_or(""))
    }
}

pub fn read_all(dir: &Path) -> Result<Vec<Case>> {
    let mut names: Vec<_> = fs::read_dir(dir).with_context(|| format!("reading {}", dir.display()))?.collect::<Result<Vec<_>, _>>()?;
    names.sort_by_key(|e| e.file_name());
    let mut cases: Vec<Case> = Vec::new();
    for entry in names {
        cases.push(read(&entry.path())?);
    }
    Ok(cases)
}

pub fn read_rows(bytes: &[u8], path: &Path) -> Result<Vec<Row>> {
    let mut reader = csv::Reader::from_reader(bytes);
    let header = reader.headers()?.clone();
    let column = |name: &str| header.iter().position(|h| h == name).with_context(|| format!("{}: no column {name}", path.display()));
    let (onset, duration, pitch, hand, bar) =
        (column("onset_beats")?, column("duration_beats")?, column("pitch")?, column("hand")?, column("bar")?);
    let mut rows = Vec::new();
    for record in reader.records() {
        let r = record?;
        rows.push(Row {
            onset: r[onset].parse()?,
            duration: r[duration].parse()?,
            pitch: r[pitch].parse()?,
            left: &r[hand] == "L",
            bar: r[bar].parse()?,
        });
    }
    Ok(rows)
}

fn read(dir: &Path) -> Result<Case> {
    let path = dir.join("score.csv");
    let bytes = fs::read(&path).with_context(|| format!("reading {}", path.display()))?;
    let rows = read_rows(&bytes, &path)?;
    let (line, beats) = lay_out(&bytes, "score.csv")?;
    let truth: serde_json::Value = serde_json::from_str(&fs::read_to_string(dir.join("truth.json"))?)?;
    let mut take = Vec::new();
    for (i, text) in fs::read_to_string(dir.join("take.jsonl"))?.lines().enumerate() {
        let v: serde_json::Value = serde_json::from_str(text)?;
        let label = match truth["labels"][i].as_str() {
            Some("right") => Label::Right,
            Some("wrong") => Label::Wrong,
            Some("ghost") => Label::Ghost,
            _ => Label::Extra,
        };
        take.push(Played {
            t: v["t"].as_f64().context("t")?,
            pitch: v["pitch"].as_u64().context("pitch")? as u8,
            velocity: v["velocity"].as_u64().context("velocity")? as u8,
            row: truth["notes"][i].as_i64().context("notes")?,
            label,
            near: 0.0,
            wanted: None,
        });
    }
    let list = |key: &str| truth[key].as_array().cloned().unwrap_or_default();
    Ok(Case {
        name: dir.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        line,
        beats,
        rows: Arc::new(rows),
        take,
        events: list("events").iter().map(|e| (e["t"].as_f64().unwrap_or(0.0), e["to"].as_f64().unwrap_or(0.0))).collect(),
        pauses: list("pauses")
            .iter()
            .map(|p| Pause { start: p["start"].as_f64().unwrap_or(0.0), end: p["end"].as_f64().unwrap_or(0.0) })
            .collect(),
        seconds: truth["seconds"].as_f64().context("seconds")?,
        missed: None,
    })
}

/// Lays a note list out as the program does for a bare score: its line, and the beat of each onset in the list's own counting.
pub fn lay_out(bytes: &[u8], name: &str) -> Result<(Arc<Line>, Arc<Vec<f64>>)> {
    let (score, _) = notelist::read(bytes, name)?;
    let piece = Piece::of_score(Arc::new(score), 0, name).context("the score has no bars")?;
    let bars = piece.score.all_bars().context("the score has no bars")?;
    let span = Span::new(&piece, name.to_owned(), Mode::RunThrough, &bars, 1).context("the score has no notes")?;
    let beat = |o| (span.place(OnsetIdx(o)).onset(&piece.score) + piece.score.origin).to_f64();
    let beats = (0..span.line.onsets.len()).map(beat).collect();
    Ok((span.line.clone(), Arc::new(beats)))
}
