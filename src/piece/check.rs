//! A piece file set against its score: labels become bars, `bar.beat` becomes a place.

use std::sync::Arc;

use super::file::{CueKeys, HarpKeys, LandmarkKeys, PieceFile, SectionKeys};
use super::text::{At, Error};
use super::{Cue, Instrument, Landmark, Piece, Section, four_bar_sections, parse_bars};
use crate::score::{Place, Score};
use crate::theory::KeySignature;
use crate::theory::harp::{Harp, HarpString, Mechanism, Strings};
use crate::time::Tempo;

/// The lists of a piece file, in the order of the text.
#[derive(Clone, PartialEq, Debug)]
pub struct Lists {
    /// Empty where the file has none.
    pub sections: Vec<Section>,
    pub cues: Vec<Cue>,
    pub landmarks: Vec<Landmark>,
}

impl PieceFile {
    /// Checks the file against its score. `part` is the part asked for elsewhere (on the command
    /// line), as [`Score::choose_part`] takes it; it goes before the file's own.
    ///
    /// Sections stand in page order; a section may share one bar with the next (playing on into the
    /// next downbeat is good practice), no more. Bars outside every section are allowed.
    ///
    /// # Errors
    /// At the first thing in the file that is not in the score.
    pub fn check(&self, score: Arc<Score>, part: Option<&str>) -> Result<Piece, Error> {
        let part = self.find_part(&score, part)?;
        if score.bars.is_empty() {
            return Err(self.error(&self.score, tr!("a score with bars in it"), tr!("none")));
        }
        let Lists { mut sections, mut cues, mut landmarks } = self.lists(&score)?;
        if sections.is_empty() {
            sections = four_bar_sections(&score);
        }
        cues.sort_by_key(|c| (c.place, c.hand));
        landmarks.sort_by_key(|l| l.place);
        let instrument = self.instrument.map_or(Instrument::Keyboard, |i| i.value);
        Ok(Piece {
            title: self.title.value.clone(),
            part,
            instrument,
            harp: self.check_harp(instrument)?,
            manner: self.harp.manner(),
            hearing: Arc::default(),
            tempo: self.tempo.and_then(|t| Tempo::try_new(t.value)),
            target_reps: self.reps.map_or(Piece::TARGET_REPS, |r| r.value),
            says_reps: self.reps.is_some(),
            perform_on: self.perform_on.map(|d| d.value),
            judging: self.judging.rules(),
            sections,
            cues,
            landmarks,
            score,
        })
    }

    /// Checks what stands in lists against the score, each list in the order of the text.
    ///
    /// # Errors
    /// As [`check`](Self::check).
    pub fn lists(&self, score: &Score) -> Result<Lists, Error> {
        let sections = self.check_sections(score)?;
        let mut cues: Vec<(Cue, &CueKeys)> = Vec::new();
        for keys in &self.cues {
            let cue = Cue {
                place: self.place(&keys.at, score)?,
                hand: keys.hand.map(|h| h.value),
                text: keys.text.value.clone(),
                more: keys.more.as_ref().map(|m| m.value.clone()),
            };
            if let Some((_, other)) = cues.iter().find(|(c, _)| c.place == cue.place && c.hand == cue.hand) {
                let found = tr!("a second one at {place} (the first is on line {line})", place = keys.at.value, line = other.at.place.line);
                return Err(self.error(&keys.at, tr!("one cue for a place and hand"), found));
            }
            cues.push((cue, keys));
        }
        let mut landmarks: Vec<(Landmark, &LandmarkKeys)> = Vec::new();
        for keys in &self.landmarks {
            let landmark = Landmark {
                place: self.place(&keys.at, score)?,
                name: keys.name.value.clone(),
                setting: keys.setting.as_ref().map(|s| s.value.clone()),
            };
            if let Some((_, other)) = landmarks.iter().find(|(l, _)| l.place == landmark.place || l.name == landmark.name) {
                let found =
                    tr!("a second one for {place} (the first is on line {line})", place = keys.at.value, line = other.at.place.line);
                return Err(self.error(&keys.at, tr!("one landmark for a place, each with a name of its own"), found));
            }
            landmarks.push((landmark, keys));
        }
        let cues = cues.into_iter().map(|(c, _)| c).collect();
        Ok(Lists { sections, cues, landmarks: landmarks.into_iter().map(|(l, _)| l).collect() })
    }

    /// The harp that the file describes, or the usual one where it describes none.
    fn check_harp(&self, instrument: Instrument) -> Result<Option<Harp>, Error> {
        let HarpKeys { lowest, highest, tuning, fixed, matching, roll_ms, roll_anchor } = &self.harp;
        let Some(mut harp) = instrument.usual_harp() else {
            let words =
                [tuning.map(|at| at.place), matching.map(|at| at.place), roll_ms.map(|at| at.place), roll_anchor.map(|at| at.place)];
            let places = [lowest, highest, fixed].into_iter().flatten().map(|at| at.place).chain(words.into_iter().flatten());
            return match places.min() {
                None => Ok(None),
                Some(place) => Err(Error::new(&self.file_name, place, tr!("no [harp] for a keyboard"), tr!("one"))
                    .with_hint(tr!("add instrument = \"lever-harp\" or \"pedal-harp\" above"))),
            };
        };
        let ends = [(lowest, harp.strings.lowest()), (highest, harp.strings.highest())];
        let [low, high] = ends.map(|(at, usual)| at.as_ref().map_or(Ok(usual), |at| self.string(at, &at.value)));
        let (low, high) = (low?, high?);
        harp.strings = match (Strings::try_new(low, high), highest.as_ref().or(lowest.as_ref())) {
            (Some(strings), _) => strings,
            (None, Some(at)) => return Err(self.error(at, tr!("the lowest string below the highest"), tr!("{low} to {high}", low, high))),
            (None, None) => unreachable!("the usual harps have their strings in order"),
        };
        let mut unmoved = Vec::new();
        for name in fixed.iter().flat_map(|at| at.value.split_whitespace()) {
            unmoved.push(self.string(fixed.as_ref().expect("its words are being read"), name)?);
        }
        unmoved.sort_unstable();
        match (&mut harp.mechanism, tuning) {
            (Mechanism::Pedals { .. }, Some(at)) => {
                return Err(self.error(at, tr!("no tuning for a pedal harp"), tr!("one")));
            }
            (Mechanism::Pedals { unmoved: usual }, None) if fixed.is_some() => *usual = unmoved,
            (Mechanism::Pedals { .. }, None) => {}
            (Mechanism::Levers(levers), tuning) => {
                levers.without = unmoved;
                if let Some(at) = tuning {
                    levers.open = KeySignature::new(at.value, None);
                }
            }
        }
        Ok(Some(harp))
    }

    fn string(&self, at: &At<String>, name: &str) -> Result<HarpString, Error> {
        name.parse().map_err(|_| self.error(at, tr!("a string as letter and octave such as C4 (middle C)"), format!("{name:?}")))
    }

    fn error<T>(&self, at: &At<T>, expected: impl Into<String>, found: impl Into<String>) -> Error {
        Error::new(&self.file_name, at.place, expected, found)
    }

    fn place(&self, at: &At<String>, score: &Score) -> Result<Place, Error> {
        Place::parse(&at.value, score)
            .map_err(|e| self.error(at, tr!("a place in the score, bar.beat"), format!("{:?}", at.value)).with_hint(e.to_string()))
    }

    /// Returns the part asked for: elsewhere, or else in the file.
    pub fn wanted_part<'p>(&'p self, asked: Option<&'p str>) -> Option<&'p str> {
        asked.or(self.part.as_ref().map(|p| p.value.as_str()))
    }

    fn find_part(&self, score: &Score, asked: Option<&str>) -> Result<usize, Error> {
        let wanted = self.wanted_part(asked);
        score.choose_part(wanted).map_err(|e| {
            let (at, found) = match (wanted, &self.part) {
                (Some(wanted), Some(part)) if asked.is_none() => (part, format!("{wanted:?}")),
                (Some(wanted), _) => (&self.score, format!("{wanted:?}")),
                (None, _) => (&self.score, tr!("none named (part = \"…\")")),
            };
            self.error(at, tr!("a part of the score"), found).with_hint(e.to_string())
        })
    }

    fn check_sections(&self, score: &Score) -> Result<Vec<Section>, Error> {
        let mut sections: Vec<(Section, &SectionKeys)> = Vec::new();
        for keys in &self.sections {
            let bars = parse_bars(&keys.bars.value, score).map_err(|hint| {
                self.error(&keys.bars, tr!("printed bars such as \"5-8\" or \"5\""), format!("{:?}", keys.bars.value)).with_hint(hint)
            })?;
            if let Some((_, other)) = sections.iter().find(|(s, _)| s.name == keys.name.value) {
                let found = tr!(
                    "a second {name} (the first is on line {line})",
                    name = format!("{:?}", keys.name.value),
                    line = other.name.place.line
                );
                return Err(self.error(&keys.name, tr!("a name that no other section has"), found));
            }
            if let Some((before, _)) = sections.last() {
                let (found, name) = (format!("{:?}", keys.bars.value), format!("{:?}", before.name));
                if bars.start <= before.bars.start || bars.end <= before.bars.end {
                    let error = self.error(
                        &keys.bars,
                        tr!("sections in page order"),
                        tr!("{found}, which does not go on past {name} before it", found, name),
                    );
                    return Err(error.with_hint(tr!("move the section up, or change its bars")));
                }
                if bars.start.0 + 1 < before.bars.end.0 {
                    let shared = before.bars.end.0 - bars.start.0;
                    let found = tr!("{found}, which shares {shared} with {name} before it", found, shared, name);
                    let error = self.error(&keys.bars, tr!("at most one bar shared by neighbours"), found);
                    return Err(error.with_hint(tr!("start it later, or end the one before earlier")));
                }
            }
            let section = Section { name: keys.name.value.clone(), bars, target_reps: keys.reps.map(|r| r.value) };
            sections.push((section, keys));
        }
        Ok(sections.into_iter().map(|(s, _)| s).collect())
    }
}
