//! The story of a piece on a sheet of paper: sections, places to start from with their levers or pedals, the lines, the switches.
//!
//! For study away from the instrument and for the bag on the day. It names no notes: only what the cues and landmarks of the piece say,
//! and how look-alike places go on.

use super::plain_text::{plain, wrapped};
use crate::analysis::facts::What;
use crate::analysis::{Analysis, StoryConfig};
use crate::language::named::shown;
use crate::piece::{Instrument, Piece, bars_words};
use crate::score::{BarIdx, Place, Score};
use crate::theory::Hand;

const WIDTH: usize = 80;

/// What stands on the sheet. All texts are fit to be shown.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct StorySheet {
    pub title: String,
    /// `lever harp; E flat major`.
    pub about: String,
    /// The piece has no cues of its own: these are drafted.
    pub is_draft: bool,
    /// One setting that all landmarks have, said once.
    pub setting: Option<String>,
    /// In page order; the last one may be lines outside every section.
    pub sections: Vec<SheetSection>,
    pub switches: Vec<SheetSwitch>,
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SheetSection {
    pub name: String,
    pub bars: String,
    pub landmarks: Vec<SheetLandmark>,
    pub lines: Vec<SheetLine>,
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SheetLandmark {
    /// `bar 5, beat 1`.
    pub place: String,
    pub name: String,
    /// Where it is not [`StorySheet::setting`].
    pub setting: Option<String>,
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SheetLine {
    /// `bar.beat`, and the hand where one is meant.
    pub place: String,
    pub text: String,
    pub more: Option<String>,
}

/// Two places that are alike up to a point, and how each goes on.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SheetSwitch {
    /// Place and way on: the earlier place, then the later.
    pub ways: [(String, String); 2],
}

impl StorySheet {
    /// Collects the sheet of a piece; without `analysis` there are no switches, and no lines where the piece has none.
    pub fn of(piece: &Piece, analysis: Option<&Analysis>) -> StorySheet {
        let score = &*piece.score;
        let config = StoryConfig::of(piece.instrument);
        let ranges: Vec<(usize, usize)> = piece.sections.iter().map(|s| (s.bars.start.0, s.bars.end.0)).collect();
        let drafted = analysis.map(|a| a.story(score, &config, &ranges)).unwrap_or_default();
        let mut lines: Vec<(BarIdx, SheetLine)> =
            piece.cues.iter().map(|c| (c.place.bar, line(c.place, c.hand, &c.text, c.more.as_deref(), score))).collect();
        let is_draft = lines.is_empty() && !drafted.is_empty();
        if let (true, Some(analysis)) = (is_draft, analysis) {
            lines =
                drafted.iter().map(|l| (BarIdx(l.bar), line(analysis.place(l.at), l.hand, &l.text, l.more.as_deref(), score))).collect();
        }
        let settings: Vec<Option<String>> = piece.landmarks.iter().map(|l| l.setting.as_deref().map(plain)).collect();
        let setting =
            settings.first().cloned().flatten().filter(|first| settings.len() > 1 && settings.iter().all(|s| s.as_ref() == Some(first)));
        let landmarks: Vec<(BarIdx, SheetLandmark)> = piece
            .landmarks
            .iter()
            .zip(settings)
            .map(|(l, own)| {
                let own = own.filter(|own| Some(own) != setting.as_ref());
                (l.place.bar, SheetLandmark { place: plain(&l.place.words(score)), name: plain(&shown(&l.name)), setting: own })
            })
            .collect();
        let section_of = |bar: BarIdx| piece.sections.iter().rposition(|s| s.bars.contains(bar));
        let mut sections: Vec<SheetSection> = Vec::new();
        for nth in (0..piece.sections.len()).map(Some).chain([None]) {
            let own_lines = lines.iter().filter(|(bar, _)| section_of(*bar) == nth).map(|(_, line)| line.clone()).collect();
            let own_landmarks = landmarks.iter().filter(|(bar, _)| section_of(*bar) == nth).map(|(_, l)| l.clone()).collect();
            let (name, bars) = match nth {
                Some(nth) => {
                    let section = &piece.sections[nth];
                    let words = bars_words(&section.bars, score);
                    (plain(&shown(&section.name)), if words == section.name { String::new() } else { plain(&shown(&words)) })
                }
                None => (tr!("elsewhere"), String::new()),
            };
            let section = SheetSection { name, bars, landmarks: own_landmarks, lines: own_lines };
            if nth.is_some() || !section.lines.is_empty() || !section.landmarks.is_empty() {
                sections.push(section);
            }
        }
        let switches = analysis.map_or_else(Vec::new, |a| switches(a, score, &config, &drafted));
        StorySheet { title: plain(&piece.title), about: about(piece, analysis, &config), is_draft, setting, sections, switches }
    }

    /// Returns the sheet as plain text of 80 columns.
    pub fn lines(&self) -> Vec<String> {
        let mut out = Vec::new();
        let mut say = |text: &str, indent: &str| out.extend(wrapped(text, WIDTH, indent));
        say(&self.title, "");
        say(&self.about, "");
        if self.is_draft {
            say(&drafted(), "");
        }
        if let Some(setting) = &self.setting {
            say(&tr!("At every start: {setting}", setting), "");
        }
        for section in &self.sections {
            say("", "");
            say(&section.heading(), "");
            for landmark in &section.landmarks {
                say(&format!("  {}", tr!("start: {landmark}", landmark = landmark.words())), "         ");
            }
            for line in &section.lines {
                say(&format!("  {:<8} {}", line.place, line.text), "           ");
                if let Some(more) = &line.more {
                    say(&format!("           {more}"), "           ");
                }
            }
        }
        if !self.switches.is_empty() {
            say("", "");
            say(&switches_head(), "");
            for SheetSwitch { ways: [(here, way), (there, other)] } in &self.switches {
                say(&format!("  {}", tr!("{place}: {way}", place = here, way)), "      ");
                say(&format!("  {}", tr!("{place}: {way}", place = there, way = other)), "      ");
                say("", "");
            }
            out.pop();
        }
        out
    }
}

/// Says that the lines are nobody's yet.
pub fn drafted() -> String {
    tr!("Drafted from the score; put it into your own words in the piece file.")
}

/// Says what the list of switches is.
pub fn switches_head() -> String {
    tr!("Switches: alike up to here, and then")
}

impl SheetSection {
    pub fn heading(&self) -> String {
        if self.bars.is_empty() { self.name.clone() } else { format!("{}, {}", self.name, self.bars) }
    }
}

impl SheetLandmark {
    pub fn words(&self) -> String {
        let setting = self.setting.as_ref().map_or_else(String::new, |s| format!("; {s}"));
        format!("{}, {}{setting}", self.name, self.place)
    }
}

fn line(place: Place, hand: Option<Hand>, text: &str, more: Option<&str>, score: &Score) -> SheetLine {
    let hand = hand.map_or_else(String::new, |h| format!(" {}", hand_letter(h)));
    SheetLine { place: plain(&format!("{}{hand}", place.text(score))), text: plain(text), more: more.map(plain) }
}

/// The hand as short as it can be said.
fn hand_letter(hand: Hand) -> String {
    match hand {
        Hand::Left => tr!("L"),
        Hand::Right => tr!("R"),
    }
}

fn about(piece: &Piece, analysis: Option<&Analysis>, config: &StoryConfig) -> String {
    let instrument = match piece.instrument {
        Instrument::LeverHarp => tr!("lever harp"),
        Instrument::PedalHarp => tr!("pedal harp"),
        Instrument::Keyboard => tr!("keyboard"),
    };
    let key = analysis.map(|a| a.words(&piece.score, config).key(a.key, 0));
    [Some(instrument), key].into_iter().flatten().collect::<Vec<_>>().join(&tr!("; "))
}

/// Returns the switches that the drafted story tells, in page order of their later place.
fn switches(analysis: &Analysis, score: &Score, config: &StoryConfig, story: &[crate::analysis::story::Line]) -> Vec<SheetSwitch> {
    let facts = story.iter().flat_map(|l| &l.facts).map(|fact| &analysis.facts[*fact].what);
    let mut pairs: Vec<(i64, i64)> = facts
        .filter_map(|what| match what {
            What::Switch(switch, nth) => {
                let places = &analysis.switches[*switch].places;
                Some((*places.get(nth.checked_sub(1)?)?, *places.get(*nth)?))
            }
            _ => None,
        })
        .collect();
    pairs.sort_unstable_by_key(|(earlier, later)| (*later, *earlier));
    pairs.dedup();
    let side = |at: i64, way: String| (plain(&analysis.place(at).words(score)), plain(&way));
    let both = |(earlier, later)| {
        let (here, there) = analysis.both_ways(score, config, later, earlier)?;
        Some(SheetSwitch { ways: [side(earlier, there), side(later, here)] })
    };
    pairs.into_iter().filter_map(both).collect()
}
