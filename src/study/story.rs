//! The lines of the story: which stand in the piece file, which are only drafted, and what can be done with one.

use std::collections::BTreeSet;

use super::history::Step;
use super::{Said, Study};
use crate::piece::{Cue, edit};
use crate::score::Place;
use crate::theory::Hand;

/// How a line stands.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Standing {
    /// Proposed, not in the piece file.
    Draft,
    /// In the piece file, in the words that were proposed.
    Kept,
    /// In the piece file, in the player's own words.
    Own,
    /// Proposed, and not wanted.
    Dropped,
}

impl Standing {
    pub fn word(self) -> String {
        match self {
            Standing::Draft => tr!("draft"),
            Standing::Kept => tr!("kept"),
            Standing::Own => tr!("yours"),
            Standing::Dropped => tr!("dropped"),
        }
    }

    /// A shape that says the same.
    pub fn sign(self) -> char {
        match self {
            Standing::Draft => '\u{25cb}',
            Standing::Kept => '\u{25cf}',
            Standing::Own => '\u{25c6}',
            Standing::Dropped => '\u{00d7}',
        }
    }
}

/// One line of the list.
#[derive(Clone, PartialEq, Debug)]
pub struct Entry {
    pub place: Place,
    pub hand: Option<Hand>,
    pub text: String,
    pub more: Option<String>,
    pub standing: Standing,
    /// Index of the draft for this place.
    pub draft: Option<usize>,
}

/// Lists the lines in page order: the cues of the file, and the drafts for places that have none.
pub fn entries(study: &Study) -> Vec<Entry> {
    let places: Vec<Place> = study.drafts.iter().map(|l| study.analysis.place(l.at)).collect();
    let mut out: Vec<Entry> = Vec::new();
    for cue in &study.cues {
        let nth = |is_meant: &dyn Fn(usize) -> bool| (0..places.len()).find(|&i| places[i] == cue.place && is_meant(i));
        let draft = nth(&|i| study.drafts[i].hand == cue.hand).or_else(|| nth(&|_| true));
        let standing = if study.known.contains(&(cue.place, cue.text.clone())) { Standing::Kept } else { Standing::Own };
        out.push(Entry { place: cue.place, hand: cue.hand, text: cue.text.clone(), more: cue.more.clone(), standing, draft });
    }
    for (nth, (line, place)) in study.drafts.iter().zip(&places).enumerate() {
        if study.cues.iter().any(|c| c.place == *place) {
            continue;
        }
        let is_dropped = study.history.now().dropped.contains(&(*place, line.hand));
        let standing = if is_dropped { Standing::Dropped } else { Standing::Draft };
        out.push(Entry { place: *place, hand: line.hand, text: line.text.clone(), more: line.more.clone(), standing, draft: Some(nth) });
    }
    out.sort_by_key(|e| (e.place, e.hand));
    out
}

impl Study {
    fn chosen(&self) -> Result<&Entry, Said> {
        self.entries.get(self.line).ok_or_else(|| tr!("there is no line yet: n writes one"))
    }

    /// Makes the cues of the file these, and the dropped drafts those.
    fn set_story(&mut self, cues: &[Cue], dropped: BTreeSet<(Place, Option<Hand>)>) -> Result<(), Said> {
        let text = edit::set_cues(self.text(), &self.file_name, &self.score, cues).map_err(|e| e.to_string())?;
        self.push(Step { text, dropped, bar: self.bar, room: self.room })
    }

    fn put(&mut self, entries: &[Entry]) -> Result<(), Said> {
        let (mut cues, mut dropped) = (self.cues.clone(), self.history.now().dropped.clone());
        for entry in entries {
            let cue = Cue { place: entry.place, hand: entry.hand, text: entry.text.clone(), more: entry.more.clone() };
            dropped.remove(&(entry.place, entry.hand));
            match cues.iter_mut().find(|c| (c.place, c.hand) == (cue.place, cue.hand)) {
                Some(standing) => *standing = cue,
                None => cues.push(cue),
            }
        }
        self.set_story(&cues, dropped)
    }

    pub(super) fn accept(&mut self) -> Result<Option<Said>, Said> {
        let entry = self.chosen()?.clone();
        match entry.standing {
            Standing::Kept => return Err(tr!("kept already")),
            Standing::Own => return Err(tr!("your own words stand here; x, then a, takes the draft instead")),
            Standing::Draft | Standing::Dropped => self.put(&[entry])?,
        }
        self.go(&super::Action::Down);
        Ok(None)
    }

    pub(super) fn accept_section(&mut self) -> Result<Option<Said>, Said> {
        let section = self.section_at(self.chosen()?.place.bar.0);
        let is_meant = |e: &&Entry| e.standing == Standing::Draft && self.section_at(e.place.bar.0) == section;
        let entries: Vec<Entry> = self.entries.iter().filter(is_meant).cloned().collect();
        if entries.is_empty() {
            return Err(tr!("no drafted line is left in this section"));
        }
        self.put(&entries)?;
        Ok(Some(tr!("1 line kept" | "{n} lines kept" % entries.len())))
    }

    pub(super) fn drop_line(&mut self) -> Result<Option<Said>, Said> {
        let entry = self.chosen()?.clone();
        if entry.standing == Standing::Dropped {
            return Err(tr!("dropped already; a takes it back"));
        }
        let mut dropped = self.history.now().dropped.clone();
        dropped.extend(entry.draft.map(|nth| (entry.place, self.drafts[nth].hand)));
        let mut cues = self.cues.clone();
        cues.retain(|c| (c.place, c.hand) != (entry.place, entry.hand));
        self.set_story(&cues, dropped)?;
        Ok(None)
    }

    pub(super) fn reword(&mut self, text: &str) -> Result<Option<Said>, Said> {
        let text = words(text).ok_or_else(|| tr!("a line needs some words; x drops it"))?;
        let entry = self.chosen()?.clone();
        self.put(&[Entry { text, ..entry }])?;
        Ok(None)
    }

    pub(super) fn reword_more(&mut self, more: &str) -> Result<Option<Said>, Said> {
        let entry = self.chosen()?.clone();
        self.put(&[Entry { more: words(more), ..entry }])?;
        Ok(None)
    }

    pub(super) fn add(&mut self, at: &str, text: &str) -> Result<Option<Said>, Said> {
        let (place, hand) = self.read_place(at)?;
        let text = words(text).ok_or_else(|| tr!("a line needs some words"))?;
        if self.cues.iter().any(|c| (c.place, c.hand) == (place, hand)) {
            return Err(tr!("a line stands at {place} already; e puts it into other words", place = place.text(&self.score)));
        }
        let draft = None;
        self.bar = place.bar.0;
        self.put(&[Entry { place, hand, text, more: None, standing: Standing::Own, draft }])?;
        self.line = self.entries.iter().position(|e| (e.place, e.hand) == (place, hand)).unwrap_or(self.line);
        Ok(None)
    }

    /// Reads where a new line goes: `5.1`, or `5.1 left`.
    ///
    /// # Errors
    /// What would have been right.
    pub fn read_place(&self, at: &str) -> Result<(Place, Option<Hand>), Said> {
        let at = at.trim();
        let (place, hand) = match at.rsplit_once(' ') {
            Some((place, word)) if is_hand(word, Hand::Left) => (place, Some(Hand::Left)),
            Some((place, word)) if is_hand(word, Hand::Right) => (place, Some(Hand::Right)),
            _ => (at, None),
        };
        let place = Place::parse(place, &self.score).map_err(|e| e.to_string())?;
        if Place::parse(&place.text(&self.score), &self.score) != Ok(place) {
            return Err(tr!("two bars of the page have this number: a line cannot be told from another there"));
        }
        Ok((place, hand))
    }
}

/// Tells whether a word, or the beginning of one, means this hand: in English as in piece files, or as the screen says it.
fn is_hand(word: &str, hand: Hand) -> bool {
    let english = if hand == Hand::Left { "left" } else { "right" };
    !word.is_empty() && (english.starts_with(word) || super::hand_word(Some(hand)).starts_with(word))
}

/// The words without blanks around them; nothing when there are none.
fn words(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}
