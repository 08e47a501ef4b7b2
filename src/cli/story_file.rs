//! Where a line of story goes: the `piece.toml` of the piece, with all else in it as the player wrote it.

use std::sync::Arc;

use crate::analysis::{Analysis, StoryConfig};
use crate::piece::{Cue, Piece, PieceFile, edit};
use crate::piece_folder::{OpenedPiece, PIECE_FILE, PieceText, SaveError, Saved};

/// Phrases longer than this many words are not offered as lines.
const N_WORDS_MAX: usize = 8;

/// The piece file that lines are put into, where the piece has one on disk.
pub struct StoryFile {
    text: Option<PieceText>,
    /// Name of the piece, and the chosen part where one was asked for.
    key: String,
    part: Option<String>,
    piece: Piece,
}

/// What keeping a line came to.
pub struct Kept {
    /// For the player.
    pub words: String,
    /// All cues of the file, where it was changed meanwhile elsewhere.
    pub cues: Option<Vec<Cue>>,
}

impl StoryFile {
    /// Reads the piece's file as it is at the start of the session: what is changed in it later is told from that.
    ///
    /// # Errors
    /// When the file cannot be read.
    pub fn open(opened: &OpenedPiece, part: Option<&str>) -> anyhow::Result<Self> {
        let text = opened.file.as_ref().map(|file| PieceText::open(file, Arc::clone(&opened.piece.score))).transpose()?;
        Ok(StoryFile { text, key: opened.key.clone(), part: part.map(str::to_owned), piece: opened.piece.clone() })
    }

    /// Puts a line into the file and on disk.
    pub fn keep(&mut self, cue: &Cue) -> Kept {
        let Some(text) = &mut self.text else {
            let words = tr!("kept for this session: {piece} has no {file} of its own to keep it in", piece = self.key, file = PIECE_FILE);
            return Kept { words, cues: None };
        };
        if let Err(error) = text.apply(|text, file, score| edit::add_cue(text, file, score, cue)) {
            return Kept { words: tr!("kept for this session only: {why}", why = error), cues: None };
        }
        match text.save() {
            Ok(Saved::Merged) => {
                let words = tr!("kept in {file}, beside what was changed there meanwhile", file = PIECE_FILE);
                Kept { words, cues: self.cues() }
            }
            Ok(Saved::Written | Saved::Unchanged) => Kept { words: tr!("kept in {file}", file = PIECE_FILE), cues: None },
            Err(error @ SaveError::Conflict { .. }) => Kept { words: error.to_string(), cues: None },
            Err(error) => Kept { words: format!("{:#}", anyhow::Error::new(error)), cues: None },
        }
    }

    fn cues(&self) -> Option<Vec<Cue>> {
        let text = self.text.as_ref()?.text();
        let file = PieceFile::parse(text, PIECE_FILE).ok()?;
        file.check(Arc::clone(&self.piece.score), self.part.as_deref()).ok().map(|piece| piece.cues)
    }
}

/// Drafts lines for every place of a piece from its score: the story of its sections first, then single facts, weightiest first.
pub fn drafted(piece: &Piece, analysis: &Analysis) -> Vec<Cue> {
    let config = StoryConfig::of(piece.instrument);
    let sections: Vec<(usize, usize)> = piece.sections.iter().map(|s| (s.bars.start.0, s.bars.end.0)).collect();
    let words = analysis.words(&piece.score, &config);
    let story = analysis.story(&piece.score, &config, &sections).into_iter();
    let lines = story.map(|l| Cue { place: analysis.place(l.at), hand: l.hand, text: l.text, more: l.more });
    let mut facts: Vec<_> = analysis.facts.iter().collect();
    facts.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let phrases = facts.into_iter().map(|f| Cue { place: analysis.place(f.at), hand: f.hand, text: words.fact(f), more: None });
    lines.chain(phrases.filter(|p| p.text.split_whitespace().count() <= N_WORDS_MAX)).collect()
}
