//! `catchword inspect`: what is read from a score file, counted over the parts as printed.

use std::path::PathBuf;

use anyhow::Context;
use clap::Args;
use serde::Serialize;

use crate::import::{self, Warning};
use crate::paths::{SCORE_BYTES_MAX, read_file};
use crate::score::{Bar, Ornament, Part, Score};
use crate::theory::{KeySignature, Mode};

#[derive(Args, Debug)]
pub struct InspectArgs {
    /// The score: MusicXML (.musicxml, .xml, .mxl), a MIDI file (.mid) or a note list (.csv)
    score: PathBuf,
    /// Print one JSON object instead of words
    #[arg(long)]
    json: bool,
    /// Count this part only: its name, identifier or number
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
}

pub fn run(args: InspectArgs) -> anyhow::Result<()> {
    let bytes = read_file(&args.score, SCORE_BYTES_MAX).with_context(|| tr!("reading {file}", file = args.score.display()))?;
    let (score, warnings) = import::read_score(&bytes, &args.score.display().to_string())?;
    let parts = match &args.part {
        Some(asked) => vec![score.choose_part(Some(asked))?],
        None => (0..score.parts.len()).collect(),
    };
    let report = Report::new(&score, &parts, &warnings);
    if args.json { super::print_lines([serde_json::to_string(&report)?]) } else { super::print_lines(report.lines()) }
}

/// What `inspect` says; the JSON form is this struct.
#[derive(Serialize, Debug)]
struct Report {
    title: Option<String>,
    composer: Option<String>,
    bars: usize,
    /// Printed heads, ties counted at both ends, grace notes left out.
    noteheads: u64,
    /// Notes with their ties joined, grace notes left out.
    sounding: u64,
    grace: u64,
    /// Sum of the written MIDI pitches over the heads.
    pitch_sum: i64,
    /// Heads of each written pitch class, from C.
    pitch_classes: [u64; 12],
    /// Length of the printed score, repeats not unfolded: that of the longest part.
    total_quarters: f64,
    parts: Vec<PartReport>,
    meters: Vec<Change>,
    keys: Vec<Change>,
    repeats: Vec<Change>,
    warnings: Vec<WarningReport>,
}

#[derive(Serialize, Debug)]
struct PartReport {
    id: String,
    name: String,
    staves: u8,
    notes: usize,
}

/// Something that is so from a printed bar on, or stands at it.
#[derive(Serialize, Debug)]
struct Change {
    bar: String,
    is: String,
}

#[derive(Serialize, Debug)]
struct WarningReport {
    bar: Option<String>,
    line: Option<u32>,
    element: String,
    what: String,
}

impl Report {
    fn new(score: &Score, parts: &[usize], warnings: &[Warning]) -> Report {
        let mut report = Report {
            title: score.title.clone(),
            composer: score.composer.clone(),
            bars: score.bars.len(),
            noteheads: 0,
            sounding: 0,
            grace: 0,
            pitch_sum: 0,
            pitch_classes: [0; 12],
            total_quarters: parts.iter().map(|&p| score.parts[p].held).max().filter(|t| !t.is_zero()).unwrap_or(score.total()).to_f64(),
            parts: Vec::new(),
            meters: changes(&score.bars, |b| b.meter.to_string()),
            keys: changes(&score.bars, |b| key_words(b.key)),
            repeats: score.bars.iter().filter_map(sign_words).collect(),
            warnings: warnings.iter().map(WarningReport::from).collect(),
        };
        for &part in parts {
            report.count(&score.parts[part]);
        }
        report
    }

    fn count(&mut self, part: &Part) {
        let Part { id, name, n_staves, notes, n_unpitched, .. } = part;
        self.parts.push(PartReport { id: id.clone(), name: name.clone(), staves: *n_staves, notes: notes.len() });
        // Heads without a pitch are heads that sound, but have nothing to sum.
        self.noteheads += *n_unpitched as u64;
        self.sounding += *n_unpitched as u64;
        for note in notes {
            if note.ornament == Ornament::Grace {
                self.grace += 1;
                continue;
            }
            let (heads, pitch) = (note.n_heads as u64, note.pitch.midi());
            self.noteheads += heads;
            self.sounding += (heads > 0) as u64;
            self.pitch_sum += heads as i64 * pitch as i64;
            self.pitch_classes[pitch.rem_euclid(12) as usize] += heads;
        }
    }

    fn lines(&self) -> Vec<String> {
        let mut lines = Vec::new();
        match (&self.title, &self.composer) {
            (Some(title), Some(composer)) => lines.push(format!("{title}, {composer}")),
            (Some(title), None) => lines.push(title.clone()),
            _ => {}
        }
        lines.push(tr!("{bars} bars, {quarters} quarters long as printed", bars = self.bars, quarters = self.total_quarters));
        for part in &self.parts {
            let name = if part.name.is_empty() { tr!("no name") } else { part.name.clone() };
            let staves = tr!("one staff" | "{n} staves" % part.staves);
            lines.push(tr!("part {id}: {name}, {staves}, {notes} notes", id = part.id, name, staves, notes = part.notes));
        }
        let grace = if self.grace > 0 { tr!(", {n} grace notes besides", n = self.grace) } else { String::new() };
        lines.push(tr!(
            "{heads} note heads, {notes} notes once ties are joined{grace}",
            heads = self.noteheads,
            notes = self.sounding,
            grace
        ));
        for (what, changes) in [(tr!("metre"), &self.meters), (tr!("key"), &self.keys), (tr!("signs"), &self.repeats)] {
            const N_SHOWN: usize = 12;
            for change in changes.iter().take(N_SHOWN) {
                lines.push(tr!("bar {bar}: {what} {is}", bar = change.bar, what, is = change.is));
            }
            if changes.len() > N_SHOWN {
                lines.push(tr!("and {n} more changes of {what}", n = changes.len() - N_SHOWN, what));
            }
        }
        for WarningReport { bar, line, element, what } in &self.warnings {
            let (bar, line, element) = (bar.clone(), *line, element.clone());
            lines.push(tr!("note: {}", Warning { bar, line, element, what: what.clone() }));
        }
        lines
    }
}

impl From<&Warning> for WarningReport {
    fn from(w: &Warning) -> Self {
        WarningReport { bar: w.bar.clone(), line: w.line, element: w.element.clone(), what: w.what.clone() }
    }
}

fn changes(bars: &[Bar], words: impl Fn(&Bar) -> String) -> Vec<Change> {
    let mut changes: Vec<Change> = Vec::new();
    for bar in bars {
        let is = words(bar);
        if changes.last().is_none_or(|c| c.is != is) {
            changes.push(Change { bar: bar.label.to_string(), is });
        }
    }
    changes
}

fn key_words(key: KeySignature) -> String {
    let signs = match key.fifths {
        0 => tr!("no sharps or flats"),
        n if n > 0 => tr!("1 sharp" | "{n} sharps" % n),
        n => tr!("1 flat" | "{n} flats" % -n),
    };
    match key.mode {
        Some(Mode::Major) => tr!("{signs}, major", signs),
        Some(Mode::Minor) => tr!("{signs}, minor", signs),
        None => signs,
    }
}

/// The signs at a bar that steer the order of playing, in words.
fn sign_words(bar: &Bar) -> Option<Change> {
    let signs = &bar.signs;
    let mut words = Vec::new();
    if !signs.endings.is_empty() {
        let numbers: Vec<String> = signs.endings.iter().map(u8::to_string).collect();
        words.push(tr!("ending {}", numbers.join(", ")));
    }
    for (is_there, word) in
        [(signs.repeat_start, tr!("repeat from here")), (signs.segno, "segno".to_owned()), (signs.coda, "coda".to_owned())]
    {
        if is_there {
            words.push(word);
        }
    }
    match signs.repeat_end {
        Some(2) => words.push(tr!("repeat")),
        Some(times) => words.push(tr!("repeat, {times} times in all", times)),
        None => {}
    }
    for (is_there, word) in [(signs.to_coda, "to coda"), (signs.fine, "fine"), (signs.da_capo, "D.C."), (signs.dal_segno, "D.S.")] {
        if is_there {
            words.push(word.to_owned());
        }
    }
    (!words.is_empty()).then(|| Change { bar: bar.label.to_string(), is: words.join(", ") })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report(name: &str, bytes: &[u8]) -> Report {
        let (score, warnings) = import::read_score(bytes, name).unwrap();
        Report::new(&score, &(0..score.parts.len()).collect::<Vec<_>>(), &warnings)
    }

    const TIED: &[u8] = include_bytes!("../../tests/data/musicxml/tie_over_bar.musicxml");
    const GRACE: &[u8] = include_bytes!("../../tests/data/musicxml/grace.musicxml");
    const ENDINGS: &[u8] = include_bytes!("../../tests/data/musicxml/repeat_with_endings.musicxml");

    #[test]
    fn heads_are_counted_at_both_ends_of_a_tie_and_grace_notes_apart() {
        let tied = report("tie.musicxml", TIED);
        assert_eq!((tied.bars, tied.noteheads, tied.sounding, tied.grace), (3, 4, 2, 0));
        assert_eq!((tied.pitch_sum, tied.pitch_classes, tied.total_quarters), (240, [4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0], 12.0));
        let grace = report("grace.musicxml", GRACE);
        assert_eq!((grace.noteheads, grace.grace, grace.pitch_sum), (2, 3, 60 + 65));
    }

    #[test]
    fn words_are_short_and_name_bars() {
        let lines = report("endings.musicxml", ENDINGS).lines();
        assert_eq!(
            lines,
            [
                "5 bars, 20 quarters long as printed",
                "part P1: Harp, one staff, 5 notes",
                "5 note heads, 5 notes once ties are joined",
                "bar 1: metre 4/4",
                "bar 1: key no sharps or flats",
                "bar 1: signs repeat from here",
                "bar 2: signs ending 1, 2",
                "bar 3: signs ending 1, 2, repeat",
                "bar 4: signs ending 3",
            ]
        );
    }
}
