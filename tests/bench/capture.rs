//! How well a piece is taken in: what is captured of performances, compared with the scores that were played.
//!
//!     cargo bench --bench capture -- [--cases DIR] [--baseline PYTHON] [--only WORD] [--each] [--write DIR]
//!
//! Without `--cases` the scores that ship with the project are played by a simulated slow reader. `DIR` adds real performances with
//! aligned scores (`DIR/follow/clean`, names of notes from `DIR/real`) and more scores to simulate (`DIR/study`, `DIR/real`); they are not
//! part of the project. A real performance is captured from its notes, metre, key and a click: the played time of each beat by
//! the alignment, between beats without a note straight on, with 10 ms of noise. `--baseline PYTHON` runs
//! `tests/bench/capture_baseline.py` on the same notes: music21's quantiser and partitura's spelling, hands split at middle C.
//! `--write DIR` keeps the scores as MusicXML.
//!
//! Measured (per cent; `--only _p0` is where the grid's costs were set, `_p1` is held out; no network learned from any of these): own
//! scores, two passes: bar 99.6, grid 98.9, hand 97.5, name 99.9; real, a click on each eighth: bar 99.6, grid 99.0 and 99.0, hand 97.8 and
//! 97.1, name 100; a click on each dotted quarter: grid 97.9 and 97.1. Of the hands in the real ones loudness tells: with its weights
//! fitted on the other of the two pieces 97.2 of all are right, without loudness 96.4.
//!
//! The 49 scores that `--write` keeps (the own ones, and `--only _p`) are valid by xmllint (libxml2 2.9.14, the schema of MusicXML 4.0 in
//! `tests/data/musicxml_schema`), and so are the same read by our importer and written again. Both compared with music21 10.5.1
//! (`tests/tools/musicxml_same.py --against`), all of their 28,604 notes are the same: onset, length, name, octave and staff.

#[path = "capture/cases.rs"]
mod cases;
#[path = "capture/measure.rs"]
mod measure;
#[path = "capture/simulate.rs"]
mod simulate;

use std::path::PathBuf;

use anyhow::Result;

use cases::Case;
use measure::{Counts, baseline, capture};

fn main() -> Result<()> {
    let args: Vec<String> = std::env::args().collect();
    let get = |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).cloned();
    let each = args.iter().any(|a| a == "--each");
    let only = get("--only").unwrap_or_default();
    let dir = get("--cases").map(PathBuf::from);
    let python = get("--baseline");
    let write = get("--write").map(PathBuf::from);
    let mut sets: Vec<(&str, Vec<Case>)> = Vec::new();
    let own = cases::own_scores()?;
    sets.push(("simulated: own scores, two passes", simulate::all(&own, 2)));
    sets.push(("simulated: own scores, one pass", simulate::all(&own, 1)));
    if let Some(dir) = &dir {
        let others = cases::other_scores(dir)?;
        sets.push(("simulated: other scores, two passes", simulate::all(&others, 2)));
        sets.push(("simulated: other scores, one pass", simulate::all(&others, 1)));
        sets.push(("real: a click on each eighth", cases::real(dir, 1)?));
        sets.push(("real: a click on each dotted quarter", cases::real(dir, 3)?));
    }
    println!("{:<44} {:>6} {}", "", "notes", Counts::HEADER);
    for (name, cases) in sets {
        let mut ours = Counts::default();
        let mut theirs = Counts::default();
        for case in cases.iter().filter(|c| c.name.contains(&only)) {
            let counts = capture(case, write.as_deref())?;
            if each {
                println!("  {:<42} {:>6} {}", case.name, counts.n, counts.row());
            }
            ours.add(&counts);
        }
        println!("{name:<44} {:>6} {}", ours.n, ours.row());
        if let Some(python) = &python {
            for counts in baseline(python, cases.iter().filter(|c| c.name.contains(&only)))? {
                theirs.add(&counts);
            }
            println!("{:<44} {:>6} {}", "  music21, partitura, middle C", theirs.n, theirs.row());
        }
    }
    Ok(())
}
