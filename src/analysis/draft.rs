//! A piece file drafted from an analysis: sections, landmarks and cues as the text of a `piece.toml`.

use std::fmt::Write as _;

use super::novelty::setting_at;
use super::story::Line;
use super::wording::full_name;
use super::{Analysis, StoryConfig};
use crate::piece::{Instrument, bars_text, bars_words, parse_bars};
use crate::score::{BarIdx, BarRange, Place, Score};
use crate::theory::harp::{Harp, Mechanism, PedalSetting, spoken};
use crate::theory::{Hand, Letter};

/// What stands at the head of the file.
pub struct Head<'a> {
    pub title: &'a str,
    /// Name of the score file in the piece's folder.
    pub score_file: &'a str,
    pub part: Option<&'a str>,
    /// The story goes into the file as cues.
    pub with_story: bool,
}

/// Returns the text of a `piece.toml` with the proposed sections, a landmark at each, and the story as cues where it is wanted.
///
/// Where bars share a printed label, what cannot be named without doubt is left out.
pub fn piece_text(score: &Score, analysis: &Analysis, config: &StoryConfig, head: &Head<'_>) -> String {
    let instrument = match config.instrument {
        Instrument::LeverHarp => "lever-harp",
        Instrument::PedalHarp => "pedal-harp",
        Instrument::Keyboard => "keyboard",
    };
    let mut out = String::from("# Drafted by Catchword. Sections, cues and landmarks are proposals: put them into your own words.\n\n");
    let _ = writeln!(out, "title = {}\nscore = {}", quoted(head.title), quoted(head.score_file));
    if let Some(part) = head.part {
        let _ = writeln!(out, "part = {}", quoted(part));
    }
    let _ = writeln!(out, "instrument = \"{instrument}\"\nreps = 3");
    let ranges: Vec<BarRange> = analysis.sections.iter().filter_map(|p| BarRange::try_new(p.from..p.end)).collect();
    for (range, proposed) in ranges.iter().zip(&analysis.sections) {
        let bars = bars_text(range, score);
        if parse_bars(&bars, score).ok().as_ref() == Some(range) {
            let name = bars_words(range, score);
            let _ = writeln!(out, "\n[[section]] # {}\nname = {}\nbars = {}", proposed.why.words(), quoted(&name), quoted(&bars));
        }
    }
    let sections: Vec<(usize, usize)> = ranges.iter().map(|r| (r.start.0, r.end.0)).collect();
    let story = if head.with_story { analysis.story(score, config, &sections) } else { Vec::new() };
    for Line { at, hand, text, more, .. } in story {
        if let Some(place) = named(analysis.place(at), score) {
            let _ = write!(out, "\n[[cue]]\nat = {}\n", quoted(&place));
            if let Some(hand) = hand {
                let _ = writeln!(out, "hand = \"{}\"", if hand == Hand::Left { "left" } else { "right" });
            }
            let _ = writeln!(out, "text = {}", quoted(&text));
            if let Some(more) = more {
                let _ = writeln!(out, "more = {}", quoted(&more));
            }
        }
    }
    let harp = config.instrument.usual_harp();
    for range in &ranges {
        if let Some(place) = named(Place::start_of(range.start), score) {
            let _ = write!(out, "\n[[landmark]]\nat = {}\nname = {}\n", quoted(&place), quoted(&bars_words(range, score)));
            if let Some(setting) = setting_words(analysis, range.start, harp.as_ref()) {
                let _ = writeln!(out, "setting = {}", quoted(&setting));
            }
        }
    }
    out
}

/// Returns the text of a place when it is read back as the same place.
fn named(place: Place, score: &Score) -> Option<String> {
    let text = place.text(score);
    (Place::parse(&text, score) == Ok(place)).then_some(text)
}

fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

/// Returns the levers or pedals of a harp at a bar's start, in words; nothing where there is none.
pub fn setting_words(analysis: &Analysis, bar: BarIdx, harp: Option<&Harp>) -> Option<String> {
    let setting = setting_at(&analysis.material, bar.0);
    let open = match &harp?.mechanism {
        Mechanism::Pedals { .. } => return Some(PedalSetting(setting.map(|a| a.clamp(-1, 1))).to_string()),
        Mechanism::Levers(tuning) => tuning.open,
    };
    // How far a letter is from where its strings are tuned; a lever raises by one.
    let raised = |l: &Letter| setting[*l as usize] - open.alter_of(*l);
    let named = |wanted: &dyn Fn(i8) -> bool, name: &dyn Fn(Letter) -> String| -> Vec<String> {
        Letter::ALL.into_iter().filter(|l| wanted(raised(l))).map(name).collect()
    };
    let odd = named(&|by| !(0..=1).contains(&by), &|l| full_name(l, setting[l as usize]));
    if !odd.is_empty() {
        return Some(if odd.len() == 1 {
            tr!("tune {strings} by hand: no lever gives it", strings = spoken(&odd))
        } else {
            tr!("tune {strings} by hand: no lever gives them", strings = spoken(&odd))
        });
    }
    let up = named(&|by| by == 1, &|l| l.spoken());
    Some(if up.is_empty() { tr!("all levers down") } else { tr!("{strings} levers up, all others down", strings = spoken(&up)) })
}
