//! What a screen may know of a study.

use super::map::MapBar;
use super::{Standing, Study, hand_word};
use crate::analysis::wording::Dialect;
use crate::language::named::shown;
use crate::piece::bars_words;
use crate::score::{BarIdx, Place};

/// The three ways to look at a piece.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Room {
    Story,
    Map,
    Sections,
}

impl Room {
    pub const ALL: [Room; 3] = [Room::Story, Room::Map, Room::Sections];

    pub fn word(self) -> String {
        match self {
            Room::Story => tr!("story"),
            Room::Map => tr!("map"),
            Room::Sections => tr!("sections"),
        }
    }

    pub fn next(self) -> Room {
        match self {
            Room::Story => Room::Map,
            Room::Map => Room::Sections,
            Room::Sections => Room::Story,
        }
    }
}

/// Everything to be seen.
#[derive(Clone, PartialEq, Debug)]
pub struct View<'a> {
    pub title: &'a str,
    /// The key of the piece in words.
    pub key: String,
    pub dialect: Dialect,
    pub room: Room,
    pub is_saved: bool,
    pub can_undo: bool,
    /// Lines by how they stand: drafted, kept, the player's own.
    pub n_lines: [usize; 3],
    pub sections: Vec<SectionView<'a>>,
    /// In page order.
    pub lines: Vec<LineView<'a>>,
    /// Index of the line chosen; meaningless without lines.
    pub line: usize,
    /// One a bar.
    pub bars: &'a [MapBar],
    /// Index of the bar chosen.
    pub bar: usize,
    /// What the map says of the bar chosen.
    pub bar_words: Vec<String>,
}

#[derive(Clone, PartialEq, Debug)]
pub struct SectionView<'a> {
    /// As it stands in the file.
    pub name: &'a str,
    /// As it is shown.
    pub shown: String,
    /// `bars 5-8`.
    pub bars: String,
    /// Indices of its bars, half-open.
    pub from: usize,
    pub end: usize,
    /// Why analysis would begin a section here; nothing where it would not.
    pub why: Option<String>,
    /// The landmark at its start, with the setting of levers or pedals.
    pub landmark: Option<String>,
    /// Bars inside it at which analysis would begin another, each with the reason.
    pub proposed: Vec<(String, String)>,
}

#[derive(Clone, PartialEq, Debug)]
pub struct LineView<'a> {
    /// `5.1`
    pub place: String,
    pub bar: usize,
    /// `left`, `right` or nothing.
    pub hand: String,
    pub text: &'a str,
    pub more: Option<&'a str>,
    pub standing: Standing,
    /// Why the line was drafted; nothing for one that has no draft.
    pub reason: Option<&'a str>,
    /// The drafted words, where the line has others.
    pub draft: Option<&'a str>,
    /// Index of its section.
    pub section: Option<usize>,
}

impl Study {
    pub fn view(&self) -> View<'_> {
        let words = self.analysis.words(&self.score, &self.config);
        let count = |standing| self.entries.iter().filter(|e| e.standing == standing).count();
        let lines = self.entries.iter().map(|entry| {
            let draft = entry.draft.map(|nth| &self.drafts[nth]);
            LineView {
                place: entry.place.text(&self.score),
                bar: entry.place.bar.0,
                hand: hand_word(entry.hand),
                text: &entry.text,
                more: entry.more.as_deref(),
                standing: entry.standing,
                reason: draft.map(|d| d.reason.as_str()),
                draft: draft.map(|d| d.text.as_str()).filter(|text| *text != entry.text),
                section: self.section_at(entry.place.bar.0),
            }
        });
        let sections = self.sections.iter().enumerate().map(|(idx, section)| {
            let (from, end) = (section.bars.start.0, section.bars.end.0);
            let proposed = |from: usize| self.analysis.sections.iter().find(|p| p.from == from);
            let landmark = self.landmarks.iter().find(|l| l.place == Place::start_of(section.bars.start));
            let next = self.sections.get(idx + 1).map_or(end, |s| s.bars.start.0);
            let label = |bar: usize| self.score.bar(BarIdx(bar)).label.to_string();
            SectionView {
                name: &section.name,
                shown: shown(&section.name),
                bars: shown(&bars_words(&section.bars, &self.score)),
                from,
                end,
                why: proposed(from).map(|p| p.why.words()),
                landmark: landmark.map(|l| match &l.setting {
                    Some(setting) => tr!("{name}: {setting}", name = shown(&l.name), setting),
                    None => shown(&l.name),
                }),
                proposed: (from + 1..end.min(next)).filter_map(proposed).map(|p| (label(p.from), p.why.words())).collect(),
            }
        });
        View {
            title: &self.title,
            key: words.key(self.analysis.key, 0),
            dialect: self.config.dialect,
            room: self.room,
            is_saved: self.is_saved(),
            can_undo: self.history.can_undo(),
            n_lines: [count(Standing::Draft), count(Standing::Kept), count(Standing::Own)],
            sections: sections.collect(),
            lines: lines.collect(),
            line: self.line,
            bars: &self.map.bars,
            bar: self.bar,
            bar_words: if self.room == Room::Map {
                self.map.words(self.bar, &self.analysis, &self.score, &self.config)
            } else {
                Vec::new()
            },
        }
    }
}
