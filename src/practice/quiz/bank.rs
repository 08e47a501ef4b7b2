//! Everything that can be asked about a piece, in its playing order.

mod changes;
mod ways;

use std::collections::HashSet;
use std::ops::Range;

use super::harmony::Harmony;
use super::question::{Passage, Question, Source, Wanted};
use crate::analysis::Analysis;
use crate::follower::{Line, OnsetIdx};
use crate::journal::entry::{Mode, QuestionKind};
use crate::language::named::shown;
use crate::midi::MidiKey;
use crate::piece::Piece;
use crate::practice::span::Span;
use crate::score::{BarIdx, Place, Unfolded, unfold};
use crate::theory::Hand;
use crate::time::{Micros, ScoreTime};

/// An answer is two bars long; more while they pass in less than this, and one where two last longer than that.
const N_BARS: usize = 2;
const N_BARS_MAX: usize = 4;
const SHORT: Micros = Micros(5_000_000);
const LONG: Micros = Micros(12_000_000);
/// Fewer onsets would not tell one passage from another.
const N_ONSETS_MIN: usize = 3;

/// Returns the questions about a piece; empty when it has no notes. `failed` are places that failed in earlier practice.
pub fn questions(piece: &Piece, analysis: &Analysis, failed: &[Place]) -> Vec<Question> {
    let Some(bars) = piece.score.all_bars() else { return Vec::new() };
    let whole = unfold(&piece.score, piece.part(), &bars);
    let Some(whole) = Span::of_stretch(piece, String::new(), Mode::RunThrough, whole, 1) else { return Vec::new() };
    let bank = Bank { piece, analysis, whole };
    let mut out = Vec::new();
    let starts = bank.starts();
    for start in &starts {
        out.extend(bank.cold_start(start, Source::Start));
        out.extend(bank.go_on(start, Source::Start));
        out.extend(bank.jump(start));
    }
    out.extend(bank.switches());
    out.extend(bank.forks());
    let after = failed.iter().filter_map(|place| bank.bar_after(*place));
    for spot in after.collect::<HashSet<BarIdx>>().into_iter().filter_map(|bar| bank.bar(bar)) {
        out.extend(bank.cold_start(&spot, Source::Spot));
        out.extend(bank.go_on(&spot, Source::Spot));
    }
    let is_start = |place: Place| starts.iter().any(|s| s.place == place);
    for bar in bars.iter().filter_map(|bar| bank.bar(bar)) {
        if !is_start(bar.place) {
            out.extend(bank.cold_start(&bar, Source::Bar));
            out.extend(bank.go_on(&bar, Source::Bar));
        }
    }
    out.extend(bank.harmonies(is_start));
    out.extend(bank.changes());
    out.sort_by_key(|q| (q.order(), q.kind, q.source));
    out
}

struct Bank<'a> {
    piece: &'a Piece,
    analysis: &'a Analysis,
    /// The whole piece in playing order.
    whole: Span,
}

/// A place that can be asked for.
struct Point {
    place: Place,
    played_bar: usize,
    /// The player's name for it; bars have none.
    name: Option<String>,
    setting: Option<String>,
}

impl Bank<'_> {
    fn line(&self) -> &Line {
        &self.whole.line
    }

    fn point(&self, place: Place, name: Option<&str>, setting: Option<&String>) -> Option<Point> {
        let played_bar = self.whole.stretch.bars.iter().position(|b| b.bar == place.bar)?;
        Some(Point { place, played_bar, name: name.map(str::to_owned), setting: setting.cloned() })
    }

    /// Landmarks, and the starts of sections where no landmark stands.
    fn starts(&self) -> Vec<Point> {
        let mut starts: Vec<Point> =
            self.piece.landmarks.iter().filter_map(|l| self.point(l.place, Some(&l.name), l.setting.as_ref())).collect();
        for section in &self.piece.sections {
            let place = Place::start_of(section.bars.start);
            if !starts.iter().any(|s| s.place == place) {
                starts.extend(self.point(place, Some(&section.name), None));
            }
        }
        starts
    }

    fn bar(&self, bar: BarIdx) -> Option<Point> {
        self.point(Place::start_of(bar), None, None)
    }

    /// The bar that is played after the one of a place, for the first time.
    fn bar_after(&self, place: Place) -> Option<BarIdx> {
        let bars = &self.whole.stretch.bars;
        let here = bars.iter().position(|b| b.bar == place.bar)?;
        bars.get(here + 1).map(|b| b.bar)
    }

    fn cold_start(&self, point: &Point, source: Source) -> Option<Question> {
        let passage = self.passage_from(point, N_BARS_MAX)?;
        let small = [Some(self.whereabouts(point)), point.setting.clone()].into_iter().flatten().collect();
        Some(self.question(QuestionKind::ColdStart, source, point, (self.name(point), small), Wanted::Passage(passage)))
    }

    fn jump(&self, point: &Point) -> Option<Question> {
        let passage = self.passage_from(point, N_BARS_MAX)?;
        Some(self.question(
            QuestionKind::Jump,
            Source::Start,
            point,
            (tr!("to {landmark}", landmark = self.name(point)), vec![self.whereabouts(point)]),
            Wanted::Passage(passage),
        ))
    }

    /// Goes on from a bar after the cue of the one before it, where that has one.
    fn go_on(&self, point: &Point, source: Source) -> Option<Question> {
        if !point.place.into_bar.is_zero() {
            return None;
        }
        let before = point.played_bar.checked_sub(1)?;
        let passage = self.passage_from(point, N_BARS_MAX)?;
        let first = self.line().onsets.partition_point(|o| o.played_bar <= before);
        let cue = self.cue_before(first)?;
        let small = vec![tr!("that was bar {bar}", bar = self.label(self.whole.stretch.bars[before].bar)), tr!("go on from there")];
        Some(self.question(QuestionKind::GoOn, source, point, (cue, small), Wanted::Passage(passage)))
    }

    /// The harmonies that the left hand holds, one alone and no tune among them, and that are sure enough to be spoken of.
    fn harmonies(&self, is_start: impl Fn(Place) -> bool) -> Vec<Question> {
        let digests = &self.analysis.digests;
        let mut out = Vec::new();
        for (bar, digest) in digests.iter().enumerate() {
            let bar_end = self.analysis.material.bars[bar].end;
            for (nth, held) in digest.stated().iter().enumerate() {
                let Some(point) = self.point(self.analysis.place(held.at), None, None) else { continue };
                let until = digest.harmonies.get(nth + 1).map_or(bar_end, |next| next.at);
                let written: Vec<MidiKey> = self
                    .analysis
                    .material
                    .tones_of(bar)
                    .iter()
                    .filter(|t| t.hand == Hand::Left && (held.at..until).contains(&t.at))
                    .filter_map(|t| MidiKey::try_new(t.key.into()))
                    .collect();
                let before = match nth.checked_sub(1) {
                    Some(before) => digest.harmonies.get(before),
                    None => point.played_bar.checked_sub(1).and_then(|b| digests[self.whole.stretch.bars[b].bar.0].harmonies.last()),
                };
                let Some(harmony) = Harmony::of(held.chord, &written) else { continue };
                if before.is_none_or(|b| b.chord.root == held.chord.root) {
                    continue;
                }
                let first = self.first_onset(&point);
                let last_bar = first.checked_sub(1).map(|o| self.line().onsets[o].place.bar);
                let large = self.cue_before(first).or_else(|| last_bar.map(|bar| tr!("after bar {bar}", bar = self.label(bar))));
                let Some(large) = large else { continue };
                let small =
                    vec![tr!("left hand alone, {place}", place = point.place.words(&self.piece.score)), tr!("the next harmony only")];
                let source = if is_start(point.place) { Source::Start } else { Source::Bar };
                out.push(self.question(QuestionKind::WhatNext, source, &point, (large, small), Wanted::Harmony(harmony)));
            }
        }
        out
    }

    fn first_onset(&self, point: &Point) -> usize {
        let at = self.whole.stretch.bars[point.played_bar].start + point.place.into_bar;
        self.line().onsets.partition_point(|o| o.at < at)
    }

    /// Returns the words of the cue that speaks for what stands before an onset: of its bar or the one before.
    fn cue_before(&self, onset: usize) -> Option<String> {
        let cue = self.whole.cue_for(OnsetIdx(onset.checked_sub(1)?))?;
        Some(self.piece.cues[cue].text.clone())
    }

    fn passage(&self, bars: Range<usize>, from: ScoreTime) -> Option<Passage> {
        passage(self.piece, &self.whole.stretch, bars, from)
    }

    /// Lays out what is played from a place on, up to `n_bars_max` bars.
    fn passage_from(&self, point: &Point, n_bars_max: usize) -> Option<Passage> {
        let bars_after = |n: usize| self.passage(point.played_bar..(point.played_bar + n).min(self.whole.bars.len()), point.place.into_bar);
        let n_onsets = |p: &Passage| p.span.n_onsets() - p.begin.0;
        let mut passage = bars_after(N_BARS)?;
        for n in N_BARS + 1..=n_bars_max {
            if passage.length() >= SHORT && n_onsets(&passage) >= N_ONSETS_MIN {
                break;
            }
            passage = bars_after(n)?;
        }
        match bars_after(1) {
            Some(one) if passage.length() > LONG && n_onsets(&one) >= N_ONSETS_MIN => Some(one),
            _ => Some(passage),
        }
    }

    fn question(&self, kind: QuestionKind, source: Source, point: &Point, words: (String, Vec<String>), wanted: Wanted) -> Question {
        let score = &self.piece.score;
        let cue = self.whole.cue_for(OnsetIdx(self.first_onset(point).min(self.whole.n_onsets() - 1)));
        let cue = cue.map(|c| &self.piece.cues[c]).filter(|c| c.place.bar == point.place.bar);
        Question {
            kind,
            source,
            place: point.place,
            text: point.place.text(score),
            name: self.name(point),
            played_bar: point.played_bar,
            large: words.0,
            small: words.1,
            check: cue.map_or_else(|| self.bar_words(point.place), |c| c.text.clone()),
            wanted,
        }
    }

    /// What the player calls a place: its own name, or its bar.
    fn name(&self, point: &Point) -> String {
        point.name.as_deref().map_or_else(|| self.bar_words(point.place), shown)
    }

    fn section(&self, place: Place) -> Option<String> {
        self.piece.sections.iter().find(|s| s.bars.contains(place.bar)).map(|s| s.name.clone())
    }

    fn label(&self, bar: BarIdx) -> String {
        self.piece.score.bar(bar).label.to_string()
    }

    fn bar_words(&self, place: Place) -> String {
        if place.into_bar.is_zero() { tr!("bar {bar}", bar = self.label(place.bar)) } else { place.words(&self.piece.score) }
    }

    /// Says where a named place is, or to which section a bar belongs; and which time round is meant.
    fn whereabouts(&self, point: &Point) -> String {
        let section = self.section(point.place).filter(|s| Some(s) != point.name.as_ref()).map(|name| shown(&name));
        let mut words = match (&point.name, section) {
            (Some(_), Some(section)) => format!("{}, {section}", self.bar_words(point.place)),
            (None, Some(section)) => section,
            (_, None) => self.bar_words(point.place),
        };
        if self.whole.stretch.bars.iter().filter(|b| b.bar == point.place.bar).count() > 1 {
            words += &tr!(", the first time");
        }
        words
    }
}

/// Lays out a longer run from the place of a question, to be called away from.
pub fn run_from(piece: &Piece, question: &Question, n_bars: usize) -> Option<Passage> {
    let whole = unfold(&piece.score, piece.part(), &piece.score.all_bars()?);
    let bars = question.played_bar..(question.played_bar + n_bars).min(whole.bars.len());
    passage(piece, &whole, bars, question.place.into_bar)
}

/// Lays out bars in playing order, to be played from a moment of the first of them on. Nothing in a quiz is prompted,
/// as in a run-through.
fn passage(piece: &Piece, whole: &Unfolded, bars: Range<usize>, from: ScoreTime) -> Option<Passage> {
    let span = Span::of_stretch(piece, String::new(), Mode::RunThrough, whole.cut(bars), 1)?;
    let begin = OnsetIdx(span.line.onsets.partition_point(|o| o.at < from));
    (begin.0 < span.n_onsets()).then_some(Passage { span, begin })
}
