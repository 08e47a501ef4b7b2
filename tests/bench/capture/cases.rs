//! What was to be played, and what was played of it.

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use anyhow::{Context, Result, bail};
use catchword::capture::{Beats, Page, Struck};
use catchword::import::{read_score, smf};
use catchword::midi::{MidiKey, Velocity};
use catchword::score::{Ornament, Part, Roll, Score};
use catchword::theory::{Hand, KeySignature, Meter, SpelledPitch};
use catchword::time::{Micros, ScoreTime};
use fastrand::Rng;

/// A note of the page.
#[derive(Clone, Debug)]
pub struct Truth {
    /// Quarters from the start of the page's first bar.
    pub onset: ScoreTime,
    pub duration: ScoreTime,
    pub key: u8,
    pub hand: Hand,
    /// Where the score says it.
    pub name: Option<SpelledPitch>,
    pub is_grace: bool,
    pub roll: Option<Roll>,
    pub was_played: bool,
}

/// What a player reads.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub name: String,
    pub page: Page,
    /// Sorted by onset, then key.
    pub notes: Vec<Truth>,
}

/// A sheet as it was played, once or twice.
#[derive(Clone, Debug)]
pub struct Case {
    pub name: String,
    pub page: Page,
    pub truth: Vec<Truth>,
    pub passes: Vec<(Vec<Struck>, Beats)>,
}

/// The demo pieces and the scores among the test data that have two staves.
pub fn own_scores() -> Result<Vec<Sheet>> {
    let files = [
        "pieces/ferry/ferry.musicxml",
        "pieces/all-through-the-night/all-through-the-night.musicxml",
        "tests/data/musicxml/cc0/bitten.mxl",
        "tests/data/musicxml/cc0/home_sweet_home.mxl",
        "tests/data/musicxml/cc0/take_o_take.mxl",
    ];
    files.iter().map(|file| sheet_of_file(&Path::new(env!("CARGO_MANIFEST_DIR")).join(file))).collect()
}

/// Scores of the evaluation data: the note lists, and the two MusicXML files.
pub fn other_scores(dir: &Path) -> Result<Vec<Sheet>> {
    let mut sheets = Vec::new();
    let mut n_odd = 0;
    let mut folders: Vec<_> = fs::read_dir(dir.join("study"))?.collect::<Result<_, _>>()?;
    folders.sort_by_key(|f| f.file_name());
    for folder in folders {
        match note_list(&folder.path())? {
            Some(sheet) => sheets.push(sheet),
            None => n_odd += 1,
        }
    }
    println!("{n_odd} of {} note lists have bars that no metre explains, and are left out", n_odd + sheets.len());
    for file in ["Chopin_op38.musicxml", "Mozart_K331_1st-mov.musicxml"] {
        sheets.push(sheet_of_file(&dir.join("real").join(file))?);
    }
    Ok(sheets)
}

pub fn sheet_of_file(path: &Path) -> Result<Sheet> {
    let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let (score, _) = read_score(&fs::read(path).with_context(|| format!("reading {}", path.display()))?, &name)?;
    let part = score.choose_part(None)?;
    Ok(sheet(&name, &score, &score.parts[part]))
}

fn sheet(name: &str, score: &Score, part: &Part) -> Sheet {
    let first = score.bars.first().expect("a score has bars");
    let pickup = if first.offset.is_zero() { ScoreTime::ZERO } else { first.length };
    let base = usize::from(!pickup.is_zero());
    let mut meters: Vec<(u32, Meter)> = Vec::new();
    let mut keys: Vec<(u32, KeySignature)> = Vec::new();
    for (i, bar) in score.bars.iter().enumerate().skip(base) {
        let number = (i + 1 - base) as u32;
        // A bar cut short, as by a repeat sign, is a bar of its own metre here.
        let meter = if bar.length == bar.meter.bar_length() {
            bar.meter
        } else {
            let units = bar.length.scaled(i64::from(bar.meter.unit), 4);
            Meter { beats: units.to_f64().ceil() as u16, unit: bar.meter.unit }
        };
        if meters.last().is_none_or(|m| m.1 != meter) {
            meters.push((number, meter));
        }
        if keys.last().is_none_or(|k| k.1 != bar.key) {
            keys.push((number, bar.key));
        }
    }
    let n_bars = Some((score.bars.len() - base) as u32);
    let page = Page { meters, keys, pickup, n_bars, repeats: vec![] };
    let note = |n: &catchword::score::Note| Truth {
        onset: n.onset,
        duration: n.duration,
        key: n.key.number(),
        hand: n.hand,
        name: Some(n.pitch),
        is_grace: n.ornament == Ornament::Grace,
        roll: n.roll,
        was_played: false,
    };
    Sheet { name: name.to_owned(), page, notes: part.notes.iter().map(note).collect() }
}

/// Reads a note list with bars, metres and keys; `None` when its bars are not those of its metres.
fn note_list(folder: &Path) -> Result<Option<Sheet>> {
    let name = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let mut reader = csv::Reader::from_path(folder.join("score.csv"))?;
    let mut rows = Vec::new();
    for record in reader.records() {
        let r = record?;
        let meter = r[5].split_once('/').and_then(|(b, u)| Meter::try_new(b.parse().ok()?, u.parse().ok()?)).context("metre")?;
        let quarters = |text: &str| -> Result<ScoreTime> { ScoreTime::from_f64_lossy(text.parse()?).context("quarters") };
        rows.push((
            quarters(&r[0])?,
            quarters(&r[1])?,
            r[2].parse::<u8>()?,
            &r[3] == "L",
            r[4].parse::<i64>()?,
            meter,
            r[6].parse::<i8>()?,
        ));
    }
    let Some(first) = rows.first().cloned() else { bail!("{name}: no notes") };
    let pickup = if first.0 < ScoreTime::ZERO { -first.0 } else { ScoreTime::ZERO };
    let base = first.4 - i64::from(pickup.is_zero());
    let mut meters: Vec<(u32, Meter)> = Vec::new();
    let mut keys: Vec<(u32, KeySignature)> = Vec::new();
    for row in &rows {
        let number = (row.4 - base).max(1) as u32;
        let key = KeySignature::new(row.6, None);
        let is_later = |last: u32| number > last;
        if meters.is_empty() || meters.last().is_some_and(|m| m.1 != row.5 && is_later(m.0)) {
            meters.push((if meters.is_empty() { 1 } else { number }, row.5));
        }
        if keys.is_empty() || keys.last().is_some_and(|k| k.1 != key && is_later(k.0)) {
            keys.push((if keys.is_empty() { 1 } else { number }, key));
        }
    }
    let page = Page { meters, keys, pickup, n_bars: None, repeats: vec![] };
    if page.check().is_err() || rows.iter().any(|r| i64::from(page.number_at(r.0 + pickup)) != r.4 - base) {
        return Ok(None);
    }
    let mut notes: Vec<Truth> = rows
        .iter()
        .map(|r| Truth {
            onset: r.0 + pickup,
            duration: r.1,
            key: r.2,
            hand: if r.3 { Hand::Left } else { Hand::Right },
            name: None,
            is_grace: r.1.is_zero(),
            roll: None,
            was_played: false,
        })
        .collect();
    notes.sort_by_key(|n| (n.onset, n.key));
    // Two parts on one key are one stroke.
    notes.dedup_by_key(|n| (n.onset, n.key, n.is_grace));
    Ok(Some(Sheet { name, page, notes }))
}

/// Real performances; `per_click` eighths to a click.
pub fn real(dir: &Path, per_click: i64) -> Result<Vec<Case>> {
    let mut cases = Vec::new();
    let mut folders: Vec<_> = fs::read_dir(dir.join("follow/clean"))?.collect::<Result<_, _>>()?;
    folders.sort_by_key(|f| f.file_name());
    for folder in folders {
        cases.push(real_case(dir, &folder.path(), per_click)?);
    }
    Ok(cases)
}

fn real_case(dir: &Path, folder: &Path, per_click: i64) -> Result<Case> {
    let name = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let piece = name.split("_p").next().unwrap_or_default();
    let sheet = sheet_of_file(&dir.join("real").join(format!("{piece}.musicxml")))?;
    let names: HashMap<(ScoreTime, u8), SpelledPitch> = sheet.notes.iter().filter_map(|n| Some(((n.onset, n.key), n.name?))).collect();
    let page = Page { n_bars: None, ..sheet.page };
    let mut rows = Vec::new();
    let mut reader = csv::Reader::from_path(folder.join("score.csv"))?;
    for record in reader.records() {
        let r = record?;
        let quarters = |text: &str| -> Result<ScoreTime> { ScoreTime::from_f64_lossy(text.parse()?).context("quarters") };
        rows.push((quarters(&r[0])?, quarters(&r[1])?, r[2].parse::<u8>()?, &r[3] == "L"));
    }
    let shift = page.pickup;
    let mut truth: Vec<Truth> = rows
        .iter()
        .map(|&(onset, duration, key, left)| Truth {
            onset: onset + shift,
            duration,
            key,
            hand: if left { Hand::Left } else { Hand::Right },
            name: names.get(&(onset + shift, key)).copied(),
            is_grace: duration.is_zero(),
            roll: None,
            was_played: false,
        })
        .collect();
    let text = fs::read_to_string(folder.join("truth.json"))?;
    let aligned: serde_json::Value = serde_json::from_str(&text)?;
    // When keys came up is known for the performances that are there as recordings.
    let recording = dir.join("real").join(format!("{name}.mid"));
    let ends = if recording.exists() { ends_of(&recording)? } else { HashMap::new() };
    let mut struck = Vec::new();
    let mut at_onset: HashMap<ScoreTime, Vec<f64>> = HashMap::new();
    for (i, line) in fs::read_to_string(folder.join("take.jsonl"))?.lines().enumerate() {
        let note: serde_json::Value = serde_json::from_str(line)?;
        let seconds = note["t"].as_f64().context("t")?;
        let key = note["pitch"].as_i64().context("pitch")? as i32;
        // A moment before the first note, so that clicks before it have a time.
        let on = Micros::from_secs_f64(seconds + LEAD);
        let velocity = Velocity(u8::try_from(note["velocity"].as_u64().context("velocity")?)?);
        let length = ends.get(&(key as u8, (seconds * 100.0).round() as i64)).copied();
        let off = length.map(|l| on + Micros::from_secs_f64(l));
        struck.push(Struck { on, off, key: MidiKey::try_new(key).context("key")?, velocity });
        if let Some(row) = aligned["notes"][i].as_i64().filter(|&r| r >= 0).map(|r| r as usize) {
            truth[row].was_played = true;
            if !truth[row].is_grace {
                at_onset.entry(truth[row].onset).or_default().push(seconds + LEAD);
            }
        }
    }
    let beats = clicks(&at_onset, per_click, &name).context("too few beats")?;
    Ok(Case { name, page, truth, passes: vec![(struck, beats)] })
}

const LEAD: f64 = 5.0;

/// Lengths of the notes of a recording by key and hundredth of a second.
fn ends_of(path: &Path) -> Result<HashMap<(u8, i64), f64>> {
    let take = smf::read_take(&fs::read(path)?, "recording")?;
    let struck = catchword::capture::strokes(&take);
    let first = struck.first().map_or(0.0, |s| s.on.secs_f64());
    let row = |s: &Struck| {
        let on = s.on.secs_f64() - first;
        s.off.map(|off| ((s.key.number(), (on * 100.0).round() as i64), off.secs_f64() - s.on.secs_f64()))
    };
    Ok(struck.iter().filter_map(row).collect())
}

/// Times of the beats by the alignment, those without a note straight between their neighbours, with 10 ms of noise.
fn clicks(at_onset: &HashMap<ScoreTime, Vec<f64>>, per_click: i64, seed: &str) -> Option<Beats> {
    let mut known: Vec<(f64, f64)> =
        at_onset.iter().map(|(at, times)| (at.to_f64(), times.iter().sum::<f64>() / times.len() as f64)).collect();
    known.sort_by(|a, b| a.0.total_cmp(&b.0));
    let step = ScoreTime::new(per_click, 2);
    let (first, last) = (known.first()?.0, known.last()?.0);
    let mut rng = Rng::with_seed(seed.bytes().map(u64::from).sum());
    // Dotted quarters are counted from the bar lines: a pickup of two quarters begins an eighth into one.
    let mut at = ScoreTime::ZERO;
    if per_click == 3 && seed.starts_with("Chopin") {
        at = ScoreTime::new(1, 2);
    }
    let mut rows = Vec::new();
    while at.to_f64() <= last + step.to_f64() {
        let place = at.to_f64();
        let next = known.partition_point(|k| k.0 < place).clamp(1, known.len() - 1);
        let (a, b) = (known[next - 1], known[next]);
        let time = a.1 + (place - a.0) / (b.0 - a.0) * (b.1 - a.1);
        if place >= first {
            rows.push((Micros::from_secs_f64(time + 0.010 * crate::simulate::normal(&mut rng)), at));
        }
        at += step;
    }
    Beats::try_new(rows)
}
