//! Questions about the moves of levers and pedals: what moves at a place, and on from there with it moved.

use super::{Bank, N_BARS_MAX, N_ONSETS_MIN, Point};
use crate::journal::entry::QuestionKind;
use crate::practice::quiz::question::{Question, Source, Wanted};
use crate::practice::words::moves;
use crate::setting::{self, Together};
use crate::time::ScoreTime;

impl Bank<'_> {
    /// One question for each place at which anything moves; none for a keyboard.
    pub(super) fn changes(&self) -> Vec<Question> {
        let Some(harp) = &self.piece.harp else { return Vec::new() };
        let stretch = &self.whole.stretch;
        let plan = setting::plan(harp, &self.piece.score, self.piece.part(), stretch, self.piece.tempo);
        let standing = |from: ScoreTime| plan.before(from).words_at(from, harp);
        plan.together().iter().filter_map(|together| self.change(together, standing)).collect()
    }

    /// The answer leads in from the beginning of the bar, or of the one before where it moves on the first beat, and goes on to the end of the
    /// bar with the note that needs it.
    fn change(&self, together: &Together, standing: impl Fn(ScoreTime) -> String) -> Option<Question> {
        let (score, bars) = (&self.piece.score, &self.whole.stretch.bars);
        let at = bars.iter().rposition(|b| b.start <= together.played)?;
        let for_bar = bars.iter().rposition(|b| b.start <= together.needed)?;
        let first = if bars[at].start < together.played { at } else { at.saturating_sub(1) };
        let passage_to = |end: usize| self.passage(first..end.min(bars.len()), ScoreTime::ZERO);
        let mut end = for_bar + 1;
        let mut passage = passage_to(end)?;
        while passage.span.n_onsets() < N_ONSETS_MIN && end < first + N_BARS_MAX {
            end += 1;
            passage = passage_to(end)?;
        }
        let point = Point { place: together.place, played_bar: at, name: None, setting: None };
        let lead = self.bar_words(passage.span.place(passage.begin));
        let small = vec![tr!("lead in from {place}", place = lead), standing(bars[first].start), tr!("what moves, and on from there")];
        let words = (together.place.words(score), small);
        let mut question = self.question(QuestionKind::Change, Source::Spot, &point, words, Wanted::Passage(passage));
        question.name = moves(together, score);
        question.check = together.cue(score);
        Some(question)
    }
}
