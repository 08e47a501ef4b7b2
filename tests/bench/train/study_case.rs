//! A score with an expert's labels, laid out for fitting.

use std::fs;
use std::path::Path;

use anyhow::{Context, Result};
use catchword::analysis::chord::{Chord, Quality};
use catchword::analysis::material::{Material, TICKS};
use catchword::analysis::net::Input;
use catchword::analysis::sounding;
use catchword::import::read_score;
use serde_json::Value;

pub struct StudyCase {
    pub name: String,
    /// Pieces of one work stand together on one side of a split.
    pub group: String,
    pub material: Material,
    pub inputs: Vec<Input>,
    /// For each beat of the material its label.
    pub labels: Vec<Option<Chord>>,
    /// Each labelled beat of the reference: beat of the material, root, triad, full quality.
    pub truth: Vec<(usize, u8, String, String)>,
    pub key: (u8, bool),
    /// Indices of bars in which a phrase starts.
    pub starts: Vec<usize>,
}

pub fn read(dir: &Path) -> Result<StudyCase> {
    let name = dir.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let (score, _) = read_score(&fs::read(dir.join("score.csv"))?, "score.csv")?;
    let truth: Value = serde_json::from_slice(&fs::read(dir.join("truth.json"))?)?;
    let material = Material::new(&score, score.parts.first().context("a part")?);
    let inputs = sounding::inputs(&material).collect();
    let mut labels = vec![None; material.beats.len()];
    let mut beats = Vec::new();
    let origin = score.origin.to_f64();
    for beat in truth["beats"].as_array().context("beats")? {
        let Some(triad) = beat[3].as_str() else { continue };
        let at = ((beat[0].as_f64().context("at")? - origin + 1e-3) * TICKS as f64) as i64;
        let root = beat[2].as_u64().context("pc")? as u8;
        let full = beat[4].as_str().context("quality")?;
        let idx = material.beat_at(at);
        beats.push((idx, root, triad.to_owned(), full.to_owned()));
        if labels[idx].is_none() {
            labels[idx] = Quality::from_symbol(full).map(|q| Chord::new(root, q));
        }
    }
    let opening = |p: &&Value| p["mark"].as_str().is_some_and(|m| m.contains('{'));
    let bar = |p: &Value| score.find_bar(&p["bar"].to_string()).map(|b| b.0);
    let mut starts: Vec<usize> = truth["phrases"].as_array().context("phrases")?.iter().filter(opening).filter_map(bar).collect();
    starts.sort_unstable();
    starts.dedup();
    let key = (truth["key"]["tonic"].as_u64().context("tonic")? as u8, truth["key"]["minor"] == true);
    let group = name.split('-').next().unwrap_or_default().split("_n").next().unwrap_or_default().to_owned();
    Ok(StudyCase { name, group, material, inputs, labels, truth: beats, key, starts })
}
