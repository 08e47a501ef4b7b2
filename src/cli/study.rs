//! `catchword study`: what a score says to a musician, and the story drafted from it; on a screen, or printed.

mod desk;

use std::io::IsTerminal as _;
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context as _;
use clap::{Args, ValueEnum};
use serde_json::{Value, json};

use crate::analysis::material::TICKS;
use crate::analysis::wording::Dialect;
use crate::analysis::{Analysis, StoryConfig, analyse};
use crate::language::named::shown;
use crate::paths::Paths;
use crate::piece::{Piece, Section, bars_words};
use crate::piece_folder::{OpenedPiece, open_piece};
use crate::score::{BarRange, Score};
use crate::theory::{Hand, Mode};
use crate::tui;

use desk::Shelf;

#[derive(Args, Debug)]
pub struct StudyArgs {
    /// A piece: its name, its folder, or a score file
    piece: String,
    /// The part to study, where the score has several
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Print one JSON object with every fact
    #[arg(long)]
    json: bool,
    /// Name roots by string letters, by full names, or by strings in fixed-do solfege; without it harps by letters, keyboards by names
    #[arg(long, value_enum, value_name = "DIALECT")]
    dialect: Option<DialectArg>,
    /// Write plain lines, also where there is a screen; the story is then edited in the piece's file
    #[arg(long)]
    plain: bool,
    /// Look for pieces in this directory, and keep new ones there
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, ValueEnum)]
enum DialectArg {
    Letters,
    Names,
    Solfege,
}

impl StudyArgs {
    /// The study of a piece as it is without further words.
    pub(super) fn of(piece: String, data: Option<PathBuf>) -> Self {
        StudyArgs { piece, part: None, json: false, dialect: None, plain: false, data }
    }
}

pub fn run(args: StudyArgs) -> anyhow::Result<ExitCode> {
    // A machine without a home directory still has pieces given by path.
    let pieces = match &args.data {
        Some(dir) => Paths::find(Some(dir))?.pieces,
        None => super::pieces_dirs(),
    };
    let opened = open_piece(&args.piece, args.part.as_deref(), &pieces)?;
    let section_bars = super::settings_where_there_are(args.data.as_deref())?.section_bars();
    let dialect = args.dialect.map(|dialect| match dialect {
        DialectArg::Letters => Dialect::Letters,
        DialectArg::Names => Dialect::Names,
        DialectArg::Solfege => Dialect::Solfege,
    });
    if args.json || args.plain || !std::io::stdout().is_terminal() {
        return print(&args, opened, dialect, &section_bars).map(|()| ExitCode::SUCCESS);
    }
    let (mut shelf, text) = Shelf::open(&args.piece, args.data.as_deref(), &opened, &section_bars)?;
    let mut study = crate::study::Study::try_new(&text, &shelf.file_name(), opened.piece.score, args.part.as_deref(), dialect)?;
    study.propose(&section_bars);
    let exit = tui::study::run(study, &mut shelf, tui::Options::everyday().colour)?;
    Ok(super::exit_code(exit))
}

fn print(args: &StudyArgs, opened: OpenedPiece, dialect: Option<Dialect>, section_bars: &RangeInclusive<usize>) -> anyhow::Result<()> {
    let piece = opened.piece;
    let mut analysis = analyse(&piece.score, piece.part).with_context(|| tr!("the score has no such part"))?;
    analysis.cut(section_bars);
    let mut config = StoryConfig::of(piece.instrument);
    config.dialect = dialect.unwrap_or(config.dialect);
    // The player's own sections, where a piece file has them; else those proposed.
    let is_own = args.piece.ends_with(".toml") || opened.file.is_some() || !std::path::Path::new(&args.piece).is_file();
    let sections = if is_own { own_sections(&piece) } else { proposed_sections(&analysis, &piece.score) };
    let study = Study { piece: &piece, analysis: &analysis, config: &config, sections: &sections };
    if args.json { super::print_lines([study.json().to_string()]) } else { super::print_lines(study.lines()) }
}

fn own_sections(piece: &Piece) -> Vec<Section> {
    piece.sections.clone()
}

/// Returns the sections that the analysis proposes, named by their bars.
pub fn proposed_sections(analysis: &Analysis, score: &Score) -> Vec<Section> {
    let ranges = analysis.sections.iter().filter_map(|p| BarRange::try_new(p.from..p.end));
    ranges.map(|bars| Section { name: bars_words(&bars, score), bars, target_reps: None }).collect()
}

struct Study<'a> {
    piece: &'a Piece,
    analysis: &'a Analysis,
    config: &'a StoryConfig,
    sections: &'a [Section],
}

impl Study<'_> {
    fn ranges(&self) -> Vec<(usize, usize)> {
        self.sections.iter().map(|s| (s.bars.start.0, s.bars.end.0)).collect()
    }

    fn lines(&self) -> Vec<String> {
        let (score, analysis) = (&self.piece.score, self.analysis);
        let words = analysis.words(score, self.config);
        let story = analysis.story(score, self.config, &self.ranges());
        let mut out = vec![tr!("{name}: {words}", name = self.piece.title, words = words.key(analysis.key, 0))];
        for region in analysis.regions.iter().skip(usize::from(analysis.regions.first().is_some_and(|r| r.key == analysis.key))) {
            out.push(format!("{}: {}", words.bars(region.from, region.end), words.key(region.key, region.from)));
        }
        for (nth, section) in self.sections.iter().enumerate() {
            let why = analysis.sections.iter().find(|p| p.from == section.bars.start.0).map_or_else(String::new, |p| p.why.words());
            let (bars, name) = (shown(&bars_words(&section.bars, score)), shown(&section.name));
            let name = if name == bars { bars } else { format!("{name}, {bars}") };
            out.push(String::new());
            out.push(if why.is_empty() { name } else { format!("{name} ({why})") });
            let end = self.sections.get(nth + 1).map_or(section.bars.end.0, |next| next.bars.start.0.max(section.bars.start.0 + 1));
            for line in story.iter().filter(|l| (section.bars.start.0..end.max(section.bars.end.0)).contains(&l.bar) && l.bar < end) {
                out.push(format!("  {:>7}  {}", analysis.place(line.at).text(score), line.text));
                out.extend(line.more.iter().map(|m| format!("           {m}")));
                out.push(format!("           [{}]", line.reason));
            }
        }
        out
    }

    fn json(&self) -> Value {
        let (score, analysis) = (&self.piece.score, self.analysis);
        let words = analysis.words(score, self.config);
        let quarters = |at: i64| at as f64 / TICKS as f64 + score.origin.to_f64();
        let hand = |h: Option<Hand>| h.map(|h| if h == Hand::Left { "left" } else { "right" });
        let harmony: Vec<Value> = analysis
            .material
            .beats
            .iter()
            .zip(&analysis.harmony)
            .map(|(beat, said)| {
                json!({"at": quarters(beat.at), "bar": label(score, beat.bar), "pc": said.chord.root, "quality": said.chord.quality.symbol(),
                    "name": words.chord(said.chord, beat.bar), "bass": said.bass, "confidence": round(f64::from(said.root_confidence)), "stated": said.stated})
            })
            .collect();
        let sections: Vec<Value> = analysis
            .sections
            .iter()
            .map(|p| {
                // One may play on into the next section's first downbeat: the join.
                let join = (p.end < score.bars.len()).then(|| label(score, p.end));
                json!({"from_bar": label(score, p.from), "to_bar": label(score, p.end - 1), "join": join, "why": p.why.words(),
                    "confidence": round(f64::from(p.confidence)), "name": words.bars(p.from, p.end)})
            })
            .collect();
        let facts: Vec<Value> = analysis
            .facts
            .iter()
            .map(|f| {
                let place = analysis.place(f.at);
                json!({"kind": f.what.kind(), "at": quarters(f.at), "place": place.text(score), "from_bar": label(score, f.from), "to_bar": label(score, f.end.max(f.from + 1) - 1),
                    "hand": hand(f.hand), "weight": round(f.weight), "phrase": words.fact(f)})
            })
            .collect();
        let story: Vec<Value> = analysis
            .story(score, self.config, &self.ranges())
            .iter()
            .map(|l| {
                json!({"at": quarters(l.at), "place": analysis.place(l.at).text(score), "bar": label(score, l.bar), "hand": hand(l.hand), "text": l.text, "more": l.more,
                    "reason": l.reason, "weight": round(l.weight), "facts": l.facts})
            })
            .collect();
        let keys: Vec<Value> = analysis
            .regions
            .iter()
            .map(|r| json!({"from_bar": label(score, r.from), "to_bar": label(score, r.end - 1), "tonic": r.key.tonic, "mode": mode(r.key.mode), "name": words.key(r.key, r.from)}))
            .collect();
        json!({
            "title": self.piece.title,
            "key": {"tonic": analysis.key.tonic, "mode": mode(analysis.key.mode), "name": words.key(analysis.key, 0), "confidence": round(f64::from(analysis.key_confidence))},
            "keys": keys, "harmony": harmony, "sections": sections, "facts": facts, "story": story,
        })
    }
}

fn mode(mode: Mode) -> &'static str {
    if mode == Mode::Minor { "minor" } else { "major" }
}

/// A printed bar label: a number where it is one.
fn label(score: &Score, bar: usize) -> Value {
    let text = &score.bars[bar].label.0;
    text.parse::<i64>().map_or_else(|_| json!(text), |n| json!(n))
}

fn round(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}
