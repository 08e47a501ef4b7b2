//! `catchword add`: makes a piece folder of a score, with sections, landmarks and a drafted story, so that a drill can start at once.

use std::fs;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context as _, bail};
use clap::Args;

use crate::analysis::draft::{Head, piece_text};
use crate::analysis::{StoryConfig, analyse};
use crate::import::read_score;
use crate::paths::{Paths, SCORE_BYTES_MAX, read_file, replace_file};
use crate::piece::{Piece, PieceFile};
use crate::piece_folder::PIECE_FILE;
use crate::score::Score;

#[derive(Args, Debug)]
pub struct AddArgs {
    /// The score: MusicXML (.musicxml, .xml, .mxl), a MIDI file (.mid) or a note list (.csv)
    score: PathBuf,
    /// Name of the piece's folder; without it that of the score file
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// The part to practise, where the score has several
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub fn run(args: AddArgs) -> anyhow::Result<()> {
    let shown = args.score.display().to_string();
    let bytes = read_file(&args.score, SCORE_BYTES_MAX).with_context(|| tr!("reading {file}", file = shown))?;
    let (score, _) = read_score(&bytes, &shown)?;
    let stem = args.score.file_stem().map_or_else(|| "piece".to_owned(), |s| s.to_string_lossy().into_owned());
    let score_file = args.score.file_name().with_context(|| tr!("the score has no file name"))?.to_string_lossy().into_owned();
    let name = match &args.name {
        Some(name) => name.trim().to_owned(),
        None => plain_name(&stem),
    };
    if !is_folder_name(&name) {
        bail!(tr!("expected a name for a folder, without / or \\, found {name}; give another with --name", name = format!("{name:?}")));
    }
    let part = score.choose_part(args.part.as_deref())?;
    let title = score.title.as_deref().map(str::trim).filter(|t| !t.is_empty()).unwrap_or(&stem).to_owned();
    let paths = Paths::find(args.data.as_deref())?;
    let section_bars = super::settings(&paths)?.section_bars();
    let (text, piece) = draft(Arc::new(score), part, &title, &score_file, &section_bars).with_context(|| shown.clone())?;
    let folder = paths.data.join("pieces").join(&name);
    make_folder(&folder, &score_file, &bytes, &text)?;
    let data = args.data.as_ref().map_or(String::new(), |d| format!(" --data {}", d.display()));
    super::print_lines([
        tr!(
            "{folder}: {sections} sections, {cues} cues, {landmarks} landmarks",
            folder = folder.display(),
            sections = piece.sections.len(),
            cues = piece.cues.len(),
            landmarks = piece.landmarks.len()
        ),
        tr!(
            "the story is a draft: read it with `catchword study {folder}`, and change {file} as you like",
            folder = folder.display(),
            file = PIECE_FILE
        ),
        tr!("drill it with `{command}`", command = format!("catchword drill {name}{data}")),
    ])
}

/// Makes the folder of a new piece, with its score and its piece file; never writes into one that is there.
pub fn make_folder(folder: &Path, score_file: &str, score: &[u8], text: &str) -> anyhow::Result<()> {
    if let Some(pieces) = folder.parent() {
        fs::create_dir_all(pieces).with_context(|| tr!("making {folder}", folder = pieces.display()))?;
    }
    if folder.exists() {
        bail!(tr!("{folder} is there already; give another name with --name, or remove it first", folder = folder.display()));
    }
    fs::create_dir(folder).with_context(|| tr!("making {folder}", folder = folder.display()))?;
    write(&folder.join(score_file), score)?;
    write(&folder.join(PIECE_FILE), text.as_bytes())
}

/// Drafts the piece file of a score, with sections of so many bars; returns its text and the piece that is read back from it.
pub(super) fn draft(
    score: Arc<Score>,
    part: usize,
    title: &str,
    score_file: &str,
    section_bars: &RangeInclusive<usize>,
) -> anyhow::Result<(String, Piece)> {
    let bare = Piece::of_score(score.clone(), part, title).with_context(|| tr!("expected a score with bars in it, found none"))?;
    let mut analysis = analyse(&score, part).with_context(|| tr!("the score has no such part"))?;
    analysis.cut(section_bars);
    let config = StoryConfig::of(bare.instrument);
    let asked = (score.parts.len() > 1).then(|| score.parts[part].id.clone());
    let text = piece_text(&score, &analysis, &config, &Head { title, score_file, part: asked.as_deref(), with_story: true });
    // What is written must be what is read back.
    let piece = PieceFile::parse(&text, PIECE_FILE)?.check(score, None)?;
    Ok((text, piece))
}

pub(super) fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    replace_file(path, bytes).with_context(|| tr!("writing {file}", file = path.display()))
}

/// Lower case, with dashes for all that is not a letter or digit.
pub fn plain_name(stem: &str) -> String {
    let mapped: String = stem.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let words: Vec<&str> = mapped.split('-').filter(|w| !w.is_empty()).collect();
    if words.is_empty() { "piece".to_owned() } else { words.join("-") }
}

pub(super) fn is_folder_name(name: &str) -> bool {
    !name.is_empty() && name != "." && name != ".." && !name.contains(['/', '\\', '\0'])
}
