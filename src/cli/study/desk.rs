//! Where a study is kept: in the piece's own file, or, for a bare score or a demo piece, in a folder made with the first saving.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context as _;

use super::super::add::{make_folder, plain_name};
use crate::analysis::draft::{Head, piece_text};
use crate::analysis::{StoryConfig, analyse};
use crate::paths::{Paths, SCORE_BYTES_MAX, read_file};
use crate::piece_folder::{OpenedPiece, PIECE_FILE, PieceText, Saved, demo};
use crate::score::Score;
use crate::tui::Failure;
use crate::tui::study::{Desk, Kept};

pub enum Shelf {
    File(Box<PieceText>),
    New(New),
}

/// A piece that has no file yet.
pub struct New {
    folder: PathBuf,
    score_file: String,
    bytes: Vec<u8>,
    score: Arc<Score>,
}

impl Shelf {
    /// Finds the place for a piece opened as `typed`, and the text to begin with.
    pub fn open(
        typed: &str,
        data: Option<&Path>,
        opened: &OpenedPiece,
        section_bars: &RangeInclusive<usize>,
    ) -> anyhow::Result<(Shelf, String)> {
        let piece = &opened.piece;
        if let Some(file) = &opened.file {
            let text = PieceText::open(file, piece.score.clone())?;
            let begin = text.text().to_owned();
            return Ok((Shelf::File(Box::new(text)), begin));
        }
        let new = |name: &str, score_file: String, bytes: Vec<u8>| {
            let folder = Paths::find(data)?.data.join("pieces").join(name);
            anyhow::Ok(Shelf::New(New { folder, score_file, bytes, score: piece.score.clone() }))
        };
        if let Some(demo) = demo(typed).filter(|_| !Path::new(typed).is_file()) {
            let shelf = new(demo.name, demo.score_name.to_owned(), demo.score.as_bytes().to_vec())?;
            return Ok((shelf, demo.piece_toml.to_owned()));
        }
        let bytes = read_file(Path::new(typed), SCORE_BYTES_MAX).with_context(|| tr!("reading {file}", file = typed))?;
        let score_file = Path::new(typed).file_name().with_context(|| tr!("the score has no file name"))?.to_string_lossy().into_owned();
        let mut analysis = analyse(&piece.score, piece.part).with_context(|| tr!("the score has no such part"))?;
        analysis.cut(section_bars);
        let part = (piece.score.parts.len() > 1).then(|| piece.part().id.as_str());
        // Every line is offered, and none is the player's yet.
        let head = Head { title: &piece.title, score_file: &score_file, part, with_story: false };
        let text = piece_text(&piece.score, &analysis, &StoryConfig::of(piece.instrument), &head);
        Ok((new(&plain_name(&opened.key), score_file, bytes)?, text))
    }

    /// The name of the piece file for messages.
    pub fn file_name(&self) -> String {
        match self {
            Shelf::File(_) => PIECE_FILE.to_owned(),
            Shelf::New(new) => new.folder.join(PIECE_FILE).display().to_string(),
        }
    }
}

impl Desk for Shelf {
    fn save(&mut self, text: &str) -> Result<Kept, Failure> {
        let (kept, words) = match self {
            Shelf::File(file) => {
                file.set_text(text);
                let words = match file.save()? {
                    Saved::Unchanged => tr!("nothing to save"),
                    Saved::Written => tr!("saved to {file}", file = PIECE_FILE),
                    Saved::Merged => {
                        tr!("saved; {file} was changed meanwhile at other places, and both edits are in it", file = PIECE_FILE)
                    }
                };
                (file.text().to_owned(), words)
            }
            Shelf::New(new) => {
                let folder = free(&new.folder);
                make_folder(&folder, &new.score_file, &new.bytes, text)?;
                let words = tr!("saved as a piece of your own: {folder}", folder = folder.display());
                let file = PieceText::open(folder.join(PIECE_FILE), new.score.clone())?;
                *self = Shelf::File(Box::new(file));
                (text.to_owned(), words)
            }
        };
        Ok(Kept { text: kept, words })
    }
}

/// The folder, or the first of `ferry-2`, `ferry-3` … that is not there: what was written is never refused for want of a name.
fn free(folder: &Path) -> PathBuf {
    let name = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let numbered = (2..).map(|nth| folder.with_file_name(format!("{name}-{nth}")));
    std::iter::once(folder.to_owned()).chain(numbered).find(|f| !f.exists()).expect("some number is free")
}
