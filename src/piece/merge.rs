//! Two edits of one piece file brought together: the player's here, and one made meanwhile elsewhere.
//!
//! Both are set against the text that they began from, row by row (a section, a cue, a landmark). A
//! row that only one of them touched is taken from that one; the text, with its comments, is the one from elsewhere.

use super::check::Lists;
use super::edit::{self, Row, pairs};
use super::file::PieceFile;
use super::text::Error;
use crate::score::Score;

/// Why two edits cannot be brought together.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum Clash {
    /// Both changed the same, differently; each row in words.
    #[error("{}", tr!("both changed {}", .0.join(", ")))]
    Same(Vec<String>),
    /// One of the texts, or what would come of them, is no piece file of this score.
    #[error(transparent)]
    Refused(#[from] Error),
}

/// Returns `theirs` with what `mine` changed in `base`.
///
/// # Errors
/// When both changed the same row differently, when `mine` changed the head of the file, or when one of the texts, or the result, is refused.
pub fn merge(base: &str, mine: &str, theirs: &str, file_name: &str, score: &Score) -> Result<String, Clash> {
    if mine == base || mine == theirs {
        return Ok(theirs.to_owned());
    }
    if theirs == base {
        return Ok(mine.to_owned());
    }
    let read = |text: &str| {
        let file = PieceFile::parse(text, file_name)?;
        let lists = file.lists(score)?;
        Ok::<_, Error>((PieceFile { sections: Vec::new(), cues: Vec::new(), landmarks: Vec::new(), ..file }, lists))
    };
    let ((base_head, base), (my_head, mine), (their_head, theirs_lists)) = (read(base)?, read(mine)?, read(theirs)?);
    let mut clashes = Vec::new();
    if my_head != base_head && my_head != their_head {
        clashes.push(tr!("the head of the file").to_owned());
    }
    let merged = Lists {
        sections: rows(&base.sections, &mine.sections, &theirs_lists.sections, score, &mut clashes),
        cues: rows(&base.cues, &mine.cues, &theirs_lists.cues, score, &mut clashes),
        landmarks: rows(&base.landmarks, &mine.landmarks, &theirs_lists.landmarks, score, &mut clashes),
    };
    if !clashes.is_empty() {
        return Err(Clash::Same(clashes));
    }
    let text = edit::set_sections(theirs, file_name, score, &merged.sections)?;
    let text = edit::set_cues(&text, file_name, score, &merged.cues)?;
    Ok(edit::set_landmarks(&text, file_name, score, &merged.landmarks)?)
}

/// Merges one list; rows that clash are named and left as they are in `theirs`.
fn rows<R: Row>(base: &[R], mine: &[R], theirs: &[R], score: &Score, clashes: &mut Vec<String>) -> Vec<R> {
    let (my_pairs, their_pairs) = (pairs(base, mine), pairs(base, theirs));
    let mut out: Vec<Option<R>> = theirs.iter().cloned().map(Some).collect();
    for ((before, my_idx), their_idx) in base.iter().zip(&my_pairs).zip(&their_pairs) {
        let now = my_idx.map(|i| &mine[i]);
        let there = their_idx.map(|i| &theirs[i]);
        if now == Some(before) || now == there {
            continue;
        }
        match their_idx {
            Some(idx) if there == Some(before) => out[*idx] = now.cloned(),
            _ => clashes.push(before.words(score)),
        }
    }
    let is_new = |pairs: &[Option<usize>], idx: usize| !pairs.contains(&Some(idx));
    for (_, row) in mine.iter().enumerate().filter(|(idx, _)| is_new(&my_pairs, *idx)) {
        let standing = out.iter().flatten().find(|there| there.is_at(row) || row.name().is_some() && there.name() == row.name());
        match standing {
            None => out.push(Some(row.clone())),
            Some(there) if there == row => {}
            Some(_) => clashes.push(row.words(score)),
        }
    }
    let mut out: Vec<R> = out.into_iter().flatten().collect();
    out.sort_by_key(Row::start);
    out
}
