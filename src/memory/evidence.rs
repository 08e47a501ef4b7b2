//! Attempts at items, read out of what was played: dated reps, the lapses of run-throughs, answers of the quiz.
//!
//! Bars are matched as printed, so that the name of a section does not matter. What a rep over some
//! bars is evidence for:
//!
//! - the section it begins with, when it goes on to that section's end: a cold start. A section whose bounds were changed keeps the record of
//!   reps that have at least three quarters of their bars in common with it;
//! - the sections, joins and exits that it plays over on the way;
//! - the landmark it begins at;
//! - the changes of levers and pedals that it plays over, where the instrument tells how its strings are set: a slip of that setting from
//!   there on fails one, and so does a cue on the way to its note; another slip there shows nothing of it.
//!
//! A drill stops at its first slip: nothing after it was played, and everything before it held.

use std::collections::HashMap;
use std::ops::Range;

use super::item::{ChangeAt, Item, ItemIdx, ItemKind, Layout};
use super::{Attempt, Outcome, Way};
use crate::journal::attempts::{Attempt as Rep, Attempts, PlayedSpan, SettingSlip};
use crate::journal::entry::{self, Mode, QuestionKind, Recovery, Verdict, Witness};
use crate::journal::stats::{DatedAnswer, DatedLapse};
use crate::time::Micros;

/// Slower to the first right onset than this, a cold start that held counts as recovered (reasoned default; the cue would have come).
const SLOW: Micros = Micros(5_000_000);
/// Share of bars in common from which a rep of other bounds still counts for a section.
const COMMON_MIN: f64 = 0.75;

/// Reads attempts for the items of one piece.
#[derive(Clone, Debug)]
pub struct Reader<'a> {
    layout: &'a Layout,
    items: &'a [Item],
    bars: HashMap<&'a str, usize>,
}

/// Where the reps of one piece lie in it: what is the same for many of them is looked up once.
#[derive(Debug)]
pub struct Played<'a> {
    reader: &'a Reader<'a>,
    /// By span: the items that playing it is evidence for.
    touched: Vec<Vec<(ItemIdx, Way)>>,
    /// By failure: its bar, and what it was.
    failed: Vec<Option<(usize, &'a str)>>,
}

impl<'a> Played<'a> {
    pub fn new(reader: &'a Reader<'a>, attempts: &'a Attempts) -> Self {
        let items_of = |span: &PlayedSpan| match (reader.bars.get(span.bars.0.as_str()), reader.bars.get(span.bars.1.as_str())) {
            (Some(&first), Some(&last)) if first <= last => touched(reader.layout, reader.items, &(first..last + 1)),
            _ => Vec::new(),
        };
        let failed = |(place, kind): &'a (String, String)| Some((reader.place(place)?, kind.as_str()));
        Played { reader, touched: attempts.spans.iter().map(items_of).collect(), failed: attempts.failures.iter().map(failed).collect() }
    }

    /// Tells what one rep showed, item by item, to `tell`; `lapses` are those of a run-through, `slips` the levers
    /// and pedals that were heard to stand wrong. Reading takes, and bars that the score no longer has, show nothing.
    pub fn rep(&self, rep: &Rep, lapses: &[DatedLapse], slips: &[SettingSlip], mut tell: impl FnMut(ItemIdx, Attempt)) {
        if rep.mode == Mode::Reading {
            return;
        }
        let failed = rep.failed.and_then(|failed| self.failed[failed]);
        for &(idx, way) in &self.touched[rep.span] {
            let item = &self.reader.items[idx.0];
            let zone = &item.zone;
            let (way, told) = match rep.mode {
                Mode::RunThrough => (Way::RunThrough, run_shown(self.reader, rep, failed, lapses, zone)),
                _ => (way, shown(rep, failed, zone, way)),
            };
            let shown = match self.reader.layout.change_of(item) {
                Some(change) => change_shown(change, rep, failed, slips, zone, told),
                None => told,
            };
            let way = if rep.witness == Witness::Told { Way::Asked } else { way };
            if let Some(outcome) = shown {
                tell(idx, Attempt { day: rep.day, outcome, way, recall: None });
            }
        }
    }
}

impl<'a> Reader<'a> {
    /// `items` are those of `layout`.
    pub fn new(layout: &'a Layout, items: &'a [Item]) -> Self {
        let bars = layout.labels.iter().enumerate().rev().map(|(i, label)| (label.as_str(), i)).collect();
        Reader { layout, items, bars }
    }

    /// Tells what an answer showed. One harmony alone shows nothing of an item.
    pub fn answer(&self, answer: &DatedAnswer, mut tell: impl FnMut(ItemIdx, Attempt)) {
        let is_slow = answer.kind == QuestionKind::ColdStart && answer.recall.is_some_and(|r| r > SLOW);
        let outcome = match answer.outcome {
            entry::Outcome::Held if is_slow => Outcome::Recovered,
            entry::Outcome::Held => Outcome::Clean,
            entry::Outcome::Failed | entry::Outcome::OutOfTime => Outcome::Failed,
        };
        for idx in self.asked(answer.kind, &answer.place) {
            let item = &self.items[idx.0];
            let way = match item.kind {
                // Only the beginning was heard.
                _ if answer.witness == Witness::Told => Way::Asked,
                ItemKind::Section => Way::Asked,
                ItemKind::Landmark => Way::Cold,
                ItemKind::Join | ItemKind::Switch | ItemKind::Change => Way::Flow,
            };
            tell(idx, Attempt { day: answer.at.date_naive(), outcome, way, recall: answer.recall });
        }
    }

    /// Returns the items that a question of this kind about a place (`bar.beat`) asks for.
    pub fn asked(&self, kind: QuestionKind, place: &str) -> impl Iterator<Item = ItemIdx> {
        let wanted: &[ItemKind] = match kind {
            QuestionKind::ColdStart | QuestionKind::Jump => &[ItemKind::Section, ItemKind::Landmark],
            QuestionKind::GoOn => &[ItemKind::Join],
            QuestionKind::Switch => &[ItemKind::Switch],
            QuestionKind::Change => &[ItemKind::Change],
            QuestionKind::WhatNext => &[],
        };
        let bar = self.place(place);
        let is_it = move |item: &Item| match item.kind {
            ItemKind::Section => Some(item.bars.start) == bar,
            // The first bar after the seam.
            ItemKind::Join => bar.is_some_and(|bar| item.zone.end == bar + 1),
            ItemKind::Landmark | ItemKind::Switch | ItemKind::Change => {
                bar.is_some() && item.id.0.split_once(' ').is_some_and(|(_, at)| at == place)
            }
        };
        let items = self.items.iter().enumerate();
        items.filter(move |(_, i)| wanted.contains(&i.kind) && is_it(i)).map(|(idx, _)| ItemIdx(idx))
    }

    fn place(&self, place: &str) -> Option<usize> {
        self.bars.get(place.rsplit_once('.').map_or(place, |(label, _)| label)).copied()
    }
}

/// Returns the items that playing `span` is evidence for.
fn touched(layout: &Layout, items: &[Item], span: &Range<usize>) -> Vec<(ItemIdx, Way)> {
    let exact = layout.sections.iter().any(|s| s.bars.start == span.start && s.bars.end <= span.end);
    let common = |bars: &Range<usize>| {
        let shared = bars.end.min(span.end).saturating_sub(bars.start.max(span.start));
        shared as f64 / (bars.len() + span.len() - shared) as f64
    };
    let way = |item: &Item| {
        let covers = span.start <= item.zone.start && item.zone.end <= span.end;
        match item.kind {
            ItemKind::Section if covers && item.bars.start == span.start => Some(Way::Cold),
            ItemKind::Section if !exact && common(&item.bars) >= COMMON_MIN => Some(Way::Cold),
            ItemKind::Section | ItemKind::Join if covers => Some(Way::Flow),
            ItemKind::Landmark if item.bars.start == span.start => Some(Way::Cold),
            ItemKind::Switch if span.start <= item.bars.start && item.zone.start < span.end => Some(Way::Flow),
            ItemKind::Change if covers => Some(Way::Flow),
            _ => None,
        }
    };
    items.iter().enumerate().filter_map(|(i, item)| way(item).map(|w| (ItemIdx(i), w))).collect()
}

/// What a rep that is no run-through showed of the bars `zone`; none when it did not come to them.
fn shown(rep: &Rep, failed: Option<(usize, &str)>, zone: &Range<usize>, way: Way) -> Option<Outcome> {
    match (rep.verdict, failed) {
        (Verdict::Clean, _) => Some(Outcome::Clean),
        (_, Some((bar, _))) if bar >= zone.end => Some(Outcome::Clean),
        (_, Some((bar, kind))) if bar >= zone.start => match kind {
            "abandoned" => None,
            // It halted and went on, or all was right but for the tempo.
            "hesitation" | "tempo" | "extra" => Some(Outcome::Recovered),
            _ => Some(Outcome::Failed),
        },
        (_, Some(_)) => None,
        // The player's own word, without a place.
        (_, None) => (way == Way::Cold).then_some(Outcome::Failed),
    }
}

/// What a rep showed of a change whose move and first note lie in the bars `zone`, of which it `showed` so much; none when it tells nothing of it.
///
/// A slip of an older record is told by its place alone: where two levers moved at different places sound together, both are taken to have failed.
fn change_shown(
    change: &ChangeAt,
    rep: &Rep,
    failed: Option<(usize, &str)>,
    slips: &[SettingSlip],
    zone: &Range<usize>,
    showed: Option<Outcome>,
) -> Option<Outcome> {
    if change.heard_at.is_empty() {
        return None;
    }
    let is_of_it = |slip: &SettingSlip| {
        change.heard_at.contains(&slip.place) && slip.moved().is_none_or(|moved| change.moved.iter().any(|own| own == moved))
    };
    let is_overruled = rep.verdict == Verdict::Clean && rep.judged != Verdict::Clean;
    if !is_overruled && slips.iter().any(is_of_it) {
        return Some(Outcome::Failed);
    }
    // What else failed there says nothing of the lever: only a cue may have been the one for it, and a halt the search for it.
    let is_other = |(bar, kind): (usize, &str)| zone.contains(&bar) && !kind.starts_with("prompt") && kind != "hesitation";
    showed.filter(|_| rep.mode == Mode::RunThrough || rep.verdict == Verdict::Clean || !failed.is_some_and(is_other))
}

/// What a run-through showed of the bars `zone`; none when it ended before them.
fn run_shown(reader: &Reader<'_>, rep: &Rep, failed: Option<(usize, &str)>, lapses: &[DatedLapse], zone: &Range<usize>) -> Option<Outcome> {
    let bar = |place: &str| reader.place(place);
    let given_up = lapses.iter().find(|l| l.recovery == Recovery::NotRecovered).and_then(|l| bar(&l.place));
    let abandoned = failed.filter(|(_, kind)| *kind == "abandoned").map(|(bar, _)| bar);
    let mut worst = Outcome::Clean;
    for lapse in lapses {
        let Some(at) = bar(&lapse.place).filter(|at| zone.contains(at)) else { continue };
        let went_on = lapse.recovery == Recovery::WentOn && lapse.going_at.as_deref().and_then(bar).is_none_or(|to| to <= at + 1);
        worst = worst.min(if went_on { Outcome::Recovered } else { Outcome::Failed });
    }
    // Older records have no lapses, only the first thing that failed.
    if lapses.is_empty() && rep.verdict != Verdict::Clean && failed.is_some_and(|(bar, kind)| zone.contains(&bar) && kind != "abandoned") {
        worst = Outcome::Recovered;
    }
    let is_reached = given_up.into_iter().chain(abandoned).all(|end| zone.end <= end);
    // Overruled: the player's word that it held goes before what was heard.
    if rep.verdict == Verdict::Clean && rep.judged != Verdict::Clean {
        return is_reached.then_some(Outcome::Clean);
    }
    (worst != Outcome::Clean || is_reached).then_some(worst)
}

#[cfg(test)]
mod tests;
