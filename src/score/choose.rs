//! Which part is the player's: by number, identifier or name, or the only one that can be meant.

use super::{Part, Score};
use crate::theory::Hand;

/// The part that was settled on.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ChosenPart {
    /// Index into [`Score::parts`].
    pub part: usize,
    /// What to tell the player when the part was taken without being asked for.
    pub said: Option<String>,
}

/// Why no part could be settled on; each message names the parts there are.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum ChoosePartError {
    #[error("{}", tr!("the score has no part"))]
    Empty,
    #[error("{}", tr!("the score has {n} parts; say which is yours with --part NAME: {parts}", n = parts.len(), parts = parts.join(", ")))]
    Several { parts: Vec<String> },
    #[error("{}", tr!("no part is called {asked}; the score has: {parts}", asked = format!("{asked:?}"), parts = parts.join(", ")))]
    Unknown { asked: String, parts: Vec<String> },
    #[error("{}", tr!("{asked} could be any of: {parts}", asked = format!("{asked:?}"), parts = parts.join(", ")))]
    Ambiguous { asked: String, parts: Vec<String> },
}

impl Score {
    /// Settles on the player's part.
    ///
    /// `asked` is a part's number from 1, its identifier, its name, or a piece of its name that
    /// only one part has; case does not matter. Without it the only part is taken, or else the only
    /// one on two staves or more, with a word said. An index into [`Score::parts`] comes back.
    ///
    /// # Errors
    /// When the choice is not clear; the message names the parts.
    pub fn choose_part(&self, asked: Option<&str>) -> Result<usize, ChoosePartError> {
        self.choose_part_saying(asked).map(|chosen| chosen.part)
    }

    /// As [`Score::choose_part`], with what should be said to the player about the choice.
    ///
    /// # Errors
    /// When the choice is not clear; the message names the parts.
    pub fn choose_part_saying(&self, asked: Option<&str>) -> Result<ChosenPart, ChoosePartError> {
        let Some(asked) = asked else { return self.choose_unasked() };
        let wanted = asked.trim().to_lowercase();
        let exactly = |part: &Part| part.id.to_lowercase() == wanted || part.name.to_lowercase() == wanted;
        let partly = |part: &Part| !wanted.is_empty() && part.name.to_lowercase().contains(&wanted);
        let found = |test: &dyn Fn(&Part) -> bool| (0..self.parts.len()).filter(|&i| test(&self.parts[i])).collect::<Vec<_>>();
        let mut hits = found(&exactly);
        if hits.is_empty() {
            hits = wanted.parse::<usize>().ok().and_then(|n| n.checked_sub(1)).filter(|&i| i < self.parts.len()).into_iter().collect();
        }
        if hits.is_empty() {
            hits = found(&partly);
        }
        match hits[..] {
            [part] => Ok(ChosenPart { part, said: None }),
            [] => Err(ChoosePartError::Unknown { asked: asked.to_owned(), parts: self.part_list() }),
            _ => Err(ChoosePartError::Ambiguous { asked: asked.to_owned(), parts: hits.iter().map(|&i| self.part_label(i)).collect() }),
        }
    }

    /// Adds a part made of two others, one a hand, for music printed as two parts of one staff each.
    ///
    /// Returns the new part's index, or `None` when either index is not a part.
    pub fn join_hands(&mut self, right: usize, left: usize) -> Option<usize> {
        let (upper, lower) = (self.parts.get(right)?, self.parts.get(left)?);
        let mut tagged: Vec<(bool, super::Note)> = Vec::with_capacity(upper.notes.len() + lower.notes.len());
        for (part, hand, staff) in [(upper, Hand::Right, 1), (lower, Hand::Left, 2)] {
            let held = |i: usize| part.held_over.binary_search(&super::NoteIdx(i)).is_ok();
            tagged.extend(part.notes.iter().enumerate().map(|(i, note)| (held(i), super::Note { hand, staff, ..note.clone() })));
        }
        tagged.sort_by_key(|(_, note)| (note.onset, note.key, note.hand));
        let held_over = (0..tagged.len()).filter(|&i| tagged[i].0).map(super::NoteIdx).collect();
        let mut pedal_diagrams = [&upper.pedal_diagrams[..], &lower.pedal_diagrams[..]].concat();
        pedal_diagrams.sort_by_key(|(at, _)| *at);
        pedal_diagrams.dedup();
        let mut fermatas = [&upper.fermatas[..], &lower.fermatas[..]].concat();
        fermatas.sort();
        fermatas.dedup();
        let joined = Part {
            id: format!("{}+{}", upper.id, lower.id),
            name: format!("{} and {}", upper.name, lower.name),
            n_staves: 2,
            notes: tagged.into_iter().map(|(_, note)| note).collect(),
            pedal_diagrams,
            fermatas,
            held_over,
            held: upper.held.max(lower.held),
            n_unpitched: upper.n_unpitched + lower.n_unpitched,
        };
        self.parts.push(joined);
        Some(self.parts.len() - 1)
    }

    fn choose_unasked(&self) -> Result<ChosenPart, ChoosePartError> {
        let two_staves: Vec<usize> = (0..self.parts.len()).filter(|&i| self.parts[i].n_staves >= 2).collect();
        match (self.parts.len(), &two_staves[..]) {
            (0, _) => Err(ChoosePartError::Empty),
            (1, _) => Ok(ChosenPart { part: 0, said: None }),
            (_, &[part]) => Ok(ChosenPart {
                part,
                said: Some(tr!("taking the part on two staves, {part}; --part NAME takes another", part = self.part_label(part))),
            }),
            _ => Err(ChoosePartError::Several { parts: self.part_list() }),
        }
    }

    fn part_list(&self) -> Vec<String> {
        (0..self.parts.len()).map(|i| self.part_label(i)).collect()
    }

    fn part_label(&self, part: usize) -> String {
        let Part { id, name, .. } = &self.parts[part];
        if name.is_empty() { id.clone() } else { format!("{name} ({id})") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn score(parts: &[(&str, &str, u8)]) -> Score {
        let part = |&(id, name, n_staves): &(&str, &str, u8)| Part { id: id.into(), name: name.into(), n_staves, ..Part::default() };
        Score { parts: parts.iter().map(part).collect(), ..Score::default() }
    }

    #[test]
    fn a_part_is_found_by_name_identifier_number_or_piece_of_a_name() {
        let score = score(&[("P1", "Flute", 1), ("P2", "Harp", 2), ("P3", "Alto flute", 1)]);
        for (asked, part) in [("harp", 1), ("P3", 2), ("2", 1), ("Flute", 0), ("alto", 2)] {
            assert_eq!(score.choose_part(Some(asked)), Ok(part), "{asked}");
        }
        assert!(matches!(score.choose_part(Some("lute")), Err(ChoosePartError::Ambiguous { .. })));
        let error = score.choose_part(Some("oboe")).unwrap_err().to_string();
        assert!(error.contains("Harp (P2)"), "{error}");
    }

    #[test]
    fn unasked_the_only_part_on_two_staves_is_taken_and_said() {
        let song = score(&[("P1", "Voice", 1), ("P2", "Piano", 2)]);
        let chosen = song.choose_part_saying(None).unwrap();
        assert_eq!(chosen.part, 1);
        assert!(chosen.said.unwrap().contains("Piano"));
        let duo = score(&[("P1", "Harp 1", 2), ("P2", "Harp 2", 2)]);
        assert_eq!(duo.choose_part(None), Err(ChoosePartError::Several { parts: vec!["Harp 1 (P1)".into(), "Harp 2 (P2)".into()] }));
        assert_eq!(Score::default().choose_part(None), Err(ChoosePartError::Empty));
    }
}
