//! Stories for slips: the places that failed wait for a line of story, and a line told becomes a cue at once.
//!
//! A place is on the list from the moment it failed until a line is told for it or the player wants none. Asking blocks
//! nothing: whoever plays on has put it off.

use std::sync::Arc;

use super::judge::Fault;
use super::phase::{Phase, Show};
use super::span::Span;
use super::view::Ask;
use super::words;
use super::{Engine, Output};
use crate::journal::entry::{Entry, Mode, Spot};
use crate::piece::edit::put_cue;
use crate::piece::{Cue, Piece};
use crate::score::{BarIdx, Place, unfold};
use crate::setting::{self, Stand, Together};
use crate::theory::Hand;
use crate::time::Micros;

/// Drafted lines offered for one place: as many as there are fingers to choose with at a glance.
const N_DRAFTS_MAX: usize = 3;
/// A line drafted for a run of bars stands at its first; it is offered this many bars further on.
const N_BARS_NEAR: usize = 2;

/// What the player, or the shell for them, says about the story.
#[derive(Clone, PartialEq, Debug)]
pub enum Story {
    /// A line in the player's own words for the place that is asked about.
    Told(String),
    /// One of the drafted lines offered for it, from 0.
    Picked(usize),
    /// Typing was broken off: what stands there is kept for when the place is asked about again.
    Typed(String),
    /// The cues of the piece as they are now in its file.
    Cues(Vec<Cue>),
}

/// A place that failed and has no line yet.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct OpenPlace {
    place: Place,
    hand: Option<Hand>,
    /// `bar 3, beat 2, left hand`.
    words: String,
    drafts: Vec<Cue>,
    draft_texts: Vec<String>,
    typed: String,
}

/// The places that wait for a line, in the order they were first met.
#[derive(Clone, PartialEq, Debug, Default)]
pub(super) struct Stories {
    /// Lines drafted from the score.
    drafted: Vec<Cue>,
    /// What levers and pedals do in the piece, in playing order.
    moves: Vec<Together>,
    open: Vec<OpenPlace>,
    /// Which of `open` is asked about.
    asked: Option<usize>,
}

impl Stories {
    pub fn ask(&self) -> Option<Ask<'_>> {
        let open = self.open.get(self.asked?)?;
        Some(Ask { place: &open.words, drafts: &open.draft_texts, typed: &open.typed })
    }

    pub fn ask_nothing(&mut self) {
        self.asked = None;
    }

    /// Returns the places without a line, in words.
    pub fn open_words(&self) -> impl Iterator<Item = &str> {
        self.open.iter().map(|o| o.words.as_str())
    }

    /// Puts a place on the list, where it is not yet; returns its index.
    fn open(&mut self, place: Place, hand: Option<Hand>, stand: Option<Stand>, piece: &Piece) -> usize {
        if let Some(known) = self.open.iter().position(|o| (o.place, o.hand) == (place, hand)) {
            return known;
        }
        let mut drafts: Vec<Cue> = self.of_a_move(place, stand, piece).into_iter().collect();
        // A line of its bar is told for the very place.
        drafts.extend(near(&self.drafted, place, hand, &piece.cues).into_iter().map(|draft| Cue { place, hand, ..draft }));
        drafts.truncate(N_DRAFTS_MAX);
        let draft_texts = drafts.iter().map(|d| d.text.clone()).collect();
        let words = words::place_of(place, hand, &piece.score);
        self.open.push(OpenPlace { place, hand, words, drafts, draft_texts, typed: String::new() });
        self.open.len() - 1
    }

    /// Returns the cue of what should have been moved: of the lever or pedal that stood wrong, or else of what moves on the way to the
    /// place. It is told where it moves, unless the player has a line there.
    fn of_a_move(&self, place: Place, stand: Option<Stand>, piece: &Piece) -> Option<Cue> {
        let moved = match stand {
            Some(stand) => {
                let is_it = |t: &&Together| t.place <= place && t.changes.iter().any(|c| c.what == stand.what && c.to == stand.alter);
                self.moves.iter().filter(is_it).max_by_key(|t| t.place)
            }
            None => self.moves.iter().filter(|t| (t.place..=t.for_place).contains(&place)).max_by_key(|t| t.place),
        }?;
        let text = moved.cue(&piece.score);
        let here = |cue: &&Cue| cue.place == moved.place;
        if piece.cues.iter().filter(here).any(|cue| cue.text == text) {
            return None;
        }
        let is_free = !piece.cues.iter().any(|cue| here(&cue));
        Some(Cue { place: if is_free { moved.place } else { place }, hand: None, text, more: Some(moved.words(&piece.score)) })
    }

    fn take_asked(&mut self) -> Option<OpenPlace> {
        self.asked.take().filter(|i| *i < self.open.len()).map(|i| self.open.remove(i))
    }
}

/// Chooses the drafted lines for a place: those of its bar before those that reach into it, those of its hand first. What is a
/// cue of the piece already says nothing new.
fn near(drafted: &[Cue], place: Place, hand: Option<Hand>, cues: &[Cue]) -> Vec<Cue> {
    let first = place.bar.0.saturating_sub(N_BARS_NEAR);
    let is_known = |draft: &Cue| cues.iter().any(|c| c.text == draft.text && (first..=place.bar.0).contains(&c.place.bar.0));
    let mut found: Vec<&Cue> = drafted.iter().filter(|d| (first..=place.bar.0).contains(&d.place.bar.0) && !is_known(d)).collect();
    // Stable: what is equally near stays in the order of its weight.
    found.sort_by_key(|d| (place.bar.0 - d.place.bar.0, d.hand.is_some() && d.hand != hand));
    let mut texts: Vec<&str> = Vec::new();
    found.retain(|d| {
        !texts.contains(&d.text.as_str()) && {
            texts.push(&d.text);
            true
        }
    });
    found.into_iter().take(N_DRAFTS_MAX).cloned().collect()
}

/// Tells whether a line of story is what helps against a fault.
pub(super) fn wants_line(fault: Fault) -> bool {
    !matches!(fault, Fault::Hesitation | Fault::TooSlow | Fault::TooFast | Fault::Abandoned | Fault::Gone)
}

impl Engine {
    /// Takes lines drafted from the score, to be offered where a place fails; of lines at one bar the weightiest first.
    #[must_use]
    pub fn with_drafts(mut self, drafted: Vec<Cue>) -> Self {
        self.stories.drafted = drafted;
        let (score, part) = (&self.piece.score, self.piece.part());
        if let Some((harp, bars)) = self.piece.harp.as_ref().zip(score.all_bars()) {
            self.stories.moves = setting::plan(harp, score, part, &unfold(score, part, &bars), self.piece.tempo).together();
        }
        self
    }

    /// Takes the places that earlier sessions left without a line. Call after [`Engine::with_drafts`].
    #[must_use]
    pub fn with_open_places(mut self, places: impl IntoIterator<Item = (Place, Option<Hand>)>) -> Self {
        for (place, hand) in places {
            self.stories.open(place, hand, None, &self.piece);
        }
        self
    }

    /// Takes what was typed for such places and not finished. Call after [`Engine::with_open_places`].
    #[must_use]
    pub fn with_unfinished_lines(mut self, lines: impl IntoIterator<Item = (Place, Option<Hand>, String)>) -> Self {
        for (place, hand, typed) in lines {
            let idx = self.stories.open(place, hand, None, &self.piece);
            self.stories.open[idx].typed = typed;
        }
        self
    }

    pub(super) fn story(&mut self, story: Story, out: &mut Vec<Output>) {
        match story {
            Story::Told(text) => self.tell(text, out),
            Story::Picked(n) => {
                let asked = self.stories.asked.and_then(|i| self.stories.open.get(i));
                if let Some(cue) = asked.and_then(|o| o.drafts.get(n)).cloned() {
                    self.put_line(cue, out);
                }
            }
            Story::Typed(text) => {
                let Some(open) = self.stories.asked.and_then(|i| self.stories.open.get_mut(i)) else { return };
                if open.typed != text {
                    open.typed = text;
                    let (place, hand) = (open.place, open.hand);
                    self.record_spot(place, hand, None, self.now, out);
                }
            }
            Story::Cues(cues) => self.use_cues(cues),
        }
    }

    /// A rep broke here: the place goes on the list, and a line is asked for.
    pub(super) fn open_place(&mut self, place: Place, hand: Option<Hand>, stand: Option<Stand>, at: Micros, out: &mut Vec<Output>) {
        let idx = self.stories.open(place, hand, stand, &self.piece);
        self.stories.asked = Some(idx);
        self.record_spot(place, hand, None, at, out);
    }

    /// Puts the question off: on the list at a span's end the next place is asked about.
    pub(super) fn later(&mut self) {
        let is_list = matches!(self.phase, Phase::Between { show: Show::Places { .. }, .. });
        if let Some(idx) = self.stories.asked.take().filter(|i| is_list && *i < self.stories.open.len()) {
            let open = self.stories.open.remove(idx);
            self.stories.open.push(open);
            self.show_places();
        }
    }

    /// The player wants no line for the place that is asked about.
    pub(super) fn no_line(&mut self, out: &mut Vec<Output>) {
        let Some(open) = self.stories.take_asked() else { return };
        self.record_spot(open.place, open.hand, Some(String::new()), self.now, out);
        self.after_story(None, out);
    }

    fn tell(&mut self, text: String, out: &mut Vec<Output>) {
        let Some(&OpenPlace { place, hand, .. }) = self.stories.asked.and_then(|i| self.stories.open.get(i)) else { return };
        self.put_line(Cue { place, hand, text, more: None }, out);
    }

    fn put_line(&mut self, cue: Cue, out: &mut Vec<Output>) {
        let text: String = cue.text.split_whitespace().collect::<Vec<_>>().join(" ");
        if text.is_empty() {
            return;
        }
        let cue = Cue { text, ..cue };
        let Some(OpenPlace { place, hand, .. }) = self.stories.take_asked() else { return };
        let mut cues = self.piece.cues.clone();
        put_cue(&mut cues, &cue);
        self.fading.forget(&cue);
        self.fade();
        self.use_cues(cues);
        self.record_spot(place, hand, Some(cue.text.clone()), self.now, out);
        out.push(Output::Story { at: self.now, cue });
        self.after_story(Some(place), out);
    }

    fn use_cues(&mut self, mut cues: Vec<Cue>) {
        cues.sort_by_key(|c| (c.place, c.hand));
        for span in self.spans.iter_mut().chain(&mut self.lead_in) {
            span.lay_cues(&cues);
        }
        Arc::make_mut(&mut self.piece).cues = cues;
    }

    fn record_spot(&self, place: Place, hand: Option<Hand>, text: Option<String>, at: Micros, out: &mut Vec<Output>) {
        let open = self.stories.open.iter().find(|o| (o.place, o.hand) == (place, hand));
        let typed = open.map(|o| o.typed.clone()).filter(|typed| text.is_none() && !typed.trim().is_empty());
        let hand = hand.map(|h| if h == Hand::Left { "left" } else { "right" });
        out.push(Output::Record(Entry::Spot(Spot { at, place: place.text(&self.piece.score), hand, text, typed })));
    }

    /// After a line was told (or refused) right after a slip, the next rep begins one bar before the place; on the list, the next place follows.
    fn after_story(&mut self, told: Option<Place>, out: &mut Vec<Output>) {
        let Phase::Between { show, .. } = &self.phase else { return };
        match (show, told) {
            // The loop around the slip stands on offer already.
            (Show::Look { .. }, Some(_)) if self.lead_in.is_some() && self.loop_left.is_some() => self.phase = Phase::between(Show::Ready),
            (Show::Look { bar, .. }, Some(place)) => {
                self.loop_left = None;
                let happened = self.lead_in.is_none().then_some(*bar);
                self.lead_in = lead_in(&self.piece, &self.spans[self.current], place, happened);
                self.phase = Phase::between(Show::Ready);
            }
            (Show::Places { .. }, _) => self.next_place(out),
            _ => {}
        }
    }

    fn next_place(&mut self, out: &mut Vec<Output>) {
        if !self.show_places() {
            self.leave_places(out);
        }
    }

    /// Shows the places of the span just done that have no line; tells whether there are any.
    pub(super) fn show_places(&mut self) -> bool {
        let Phase::Between { show: Show::Places { of, places, .. }, .. } = &mut self.phase else { return false };
        let span = &self.spans[*of];
        let here = |o: &&OpenPlace| span.stretch.bars.iter().any(|b| b.bar == o.place.bar);
        *places = self.stories.open.iter().filter(here).map(|o| o.words.clone()).collect();
        self.stories.asked = self.stories.open.iter().position(|o| here(&o));
        self.stories.asked.is_some()
    }

    /// Goes on from the list of places to the span that follows, which is on offer already, or to the end.
    pub(super) fn leave_places(&mut self, out: &mut Vec<Output>) {
        self.stories.ask_nothing();
        if let Phase::Between { show: Show::Places { is_last, .. }, .. } = self.phase {
            if is_last {
                return self.finish(self.now, out);
            }
            self.phase = Phase::between(Show::Ready);
        }
    }
}

/// Lays out the bar before a place, its own and the one after, in playing order; `happened` is the bar of the span it happened in.
/// None where that would begin where the span begins: its top is then the bar before.
fn lead_in(piece: &Piece, span: &Span, place: Place, happened: Option<usize>) -> Option<Span> {
    let of_span = |b: &usize| span.stretch.bars.get(*b).is_some_and(|p| p.bar == place.bar);
    let bar = happened.filter(of_span).or_else(|| span.stretch.bars.iter().position(|b| b.bar == place.bar));
    let stretch = match bar {
        Some(0) => {
            let whole = unfold(&piece.score, piece.part(), &piece.score.all_bars()?);
            let bar = whole.bars.iter().position(|b| b.bar == place.bar).filter(|b| *b > 0)?;
            whole.slice(bar - 1..bar + 2)
        }
        Some(1) => return None,
        Some(bar) => span.stretch.slice(bar - 1..bar + 2),
        // A place before the span, met in a lead-in to its first bar.
        None => return None,
    };
    let first: BarIdx = stretch.bars.first()?.bar;
    let name = tr!("from bar {bar}", bar = piece.score.bar(first).label);
    Span::of_stretch(piece, name, Mode::Drill, stretch, 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cue(bar: usize, hand: Option<Hand>, text: &str) -> Cue {
        Cue { place: Place::start_of(BarIdx(bar)), hand, text: text.to_owned(), more: None }
    }

    #[test]
    fn drafts_are_those_of_the_bar_first_then_those_that_reach_into_it_and_nothing_known() {
        let drafted = [
            cue(3, None, "four bars on home"),
            cue(4, Some(Hand::Right), "top climbs"),
            cue(5, Some(Hand::Right), "top falls"),
            cue(5, Some(Hand::Left), "root E"),
            cue(5, None, "root E"),
            cue(6, None, "too late"),
            cue(2, None, "too early"),
        ];
        let texts = |place: Place, hand, known: &[Cue]| near(&drafted, place, hand, known).into_iter().map(|c| c.text).collect::<Vec<_>>();
        let at = Place::start_of(BarIdx(5));
        assert_eq!(texts(at, Some(Hand::Left), &[]), ["root E", "top falls", "top climbs"]);
        assert_eq!(texts(at, Some(Hand::Left), &[cue(5, None, "root E")]), ["top falls", "top climbs", "four bars on home"]);
        assert_eq!(texts(Place::start_of(BarIdx(0)), None, &[]), [""; 0]);
    }
}
