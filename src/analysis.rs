//! Analysis: the score read as a musician reads it, drafted into a story.
//!
//! [`analyse`] looks at one part as printed and returns everything found; [`Analysis::story`] puts
//! the few facts that matter into words. Pure: knows no folder, no player, no screen. Lengths inside
//! are whole ticks ([`material::TICKS`] a quarter).

mod bar_words;
pub mod chord;
pub mod digest;
pub mod draft;
pub mod facts;
pub mod harmony;
pub mod keys;
pub mod learned;
pub mod likeness;
pub mod matches;
pub mod material;
pub mod motion;
pub mod net;
pub mod novelty;
mod parts;
pub mod phrases;
pub mod sections;
pub mod shapes;
pub mod sounding;
pub mod story;
pub mod surprise;
pub mod switches;
pub mod tokens;
mod ways;
pub mod wording;

use std::ops::RangeInclusive;

use crate::piece::Instrument;
use crate::score::{BarIdx, Place, Score};

use digest::Digest;
use facts::{Fact, Found};
use harmony::BeatChord;
use keys::{Key, Region};
use likeness::{Likeness, Sequence};
use material::Material;
use novelty::Novelty;
use sections::{Cutting, Proposed};
use shapes::ShapeNames;
use story::{Line, Teller};
use switches::Switch;
use wording::{Dialect, Words};

/// Everything found in one part of a score.
#[derive(Clone, PartialEq, Debug)]
pub struct Analysis {
    pub material: Material,
    /// The key of the whole piece, and the probability given to it.
    pub key: Key,
    pub key_confidence: f32,
    /// Keys in page order; they cover all bars.
    pub regions: Vec<Region>,
    /// One a beat of the material.
    pub harmony: Vec<BeatChord>,
    /// One a bar.
    pub digests: Vec<Digest>,
    /// In page order; they cover all bars.
    pub sections: Vec<Proposed>,
    cutting: Cutting,
    pub likeness: Vec<Likeness>,
    pub sequences: Vec<Sequence>,
    /// Riskiest first.
    pub switches: Vec<Switch>,
    pub novelties: Vec<Novelty>,
    /// In page order.
    pub facts: Vec<Fact>,
}

/// Reads one part of a score; `part` is an index into [`Score::parts`]. Returns `None` when there is no such part.
///
/// Cost: near-linear in the notes and beats.
pub fn analyse(score: &Score, part: usize) -> Option<Analysis> {
    let part = score.parts.get(part)?;
    let material = Material::new(score, part);
    let harmony = harmony::harmony(&material);
    let (key, key_confidence) = keys::piece_key(&material, &harmony);
    let regions = keys::regions(&material, &harmony, key);
    let digests = digest::digests(&material, &harmony);
    let mut fermatas = vec![false; score.bars.len()];
    for place in part.fermatas.iter().filter_map(|at| Place::at(score, *at)) {
        fermatas[place.bar.0] = true;
    }
    let cutting = sections::cutting(score, &material, &harmony, &fermatas);
    let sections = cutting.sections(&sections::BARS);
    let bits = surprise::bar_bits(&material);
    let likeness = likeness::likeness(&material, &bits);
    let sequences = likeness::sequences(&material);
    let switches = switches::switches(&material);
    let novelties = novelty::novelties(&material, &digests);
    let found = Found {
        material: &material,
        digests: &digests,
        regions: &regions,
        home: key,
        bits: &bits,
        likeness: &likeness,
        sequences: &sequences,
        switches: &switches,
        novelties: &novelties,
    };
    let facts = facts::facts(&found);
    Some(Analysis {
        material,
        key,
        key_confidence,
        regions,
        harmony,
        digests,
        sections,
        cutting,
        likeness,
        sequences,
        switches,
        novelties,
        facts,
    })
}

/// How a story is to be worded.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct StoryConfig {
    pub dialect: Dialect,
    pub names: ShapeNames,
    pub instrument: Instrument,
}

impl StoryConfig {
    /// Harps speak in string letters, keyboards in full names.
    pub fn of(instrument: Instrument) -> StoryConfig {
        let dialect = if instrument == Instrument::Keyboard { Dialect::Names } else { Dialect::Letters };
        StoryConfig { dialect, names: ShapeNames::default(), instrument }
    }
}

impl Analysis {
    /// Proposes sections of other lengths, in bars.
    pub fn cut(&mut self, lengths: &RangeInclusive<usize>) {
        self.sections = self.cutting.sections(lengths);
    }

    /// Returns the words for these findings; `score` is the one that was analysed.
    pub fn words<'a>(&'a self, score: &'a Score, config: &'a StoryConfig) -> Words<'a> {
        Words {
            score,
            material: &self.material,
            regions: &self.regions,
            home: self.key,
            dialect: config.dialect,
            names: &config.names,
            instrument: config.instrument,
            switches: &self.switches,
        }
    }

    /// Drafts the story of sections given as bars, half-open, in page order.
    pub fn story(&self, score: &Score, config: &StoryConfig, sections: &[(usize, usize)]) -> Vec<Line> {
        let bits = surprise::bar_bits(&self.material);
        let found = Found {
            material: &self.material,
            digests: &self.digests,
            regions: &self.regions,
            home: self.key,
            bits: &bits,
            likeness: &self.likeness,
            sequences: &self.sequences,
            switches: &self.switches,
            novelties: &self.novelties,
        };
        let words = self.words(score, config);
        story::story(&Teller { words: &words, found: &found, facts: &self.facts, harmony: &self.harmony }, sections)
    }

    /// Says how two look-alikes go on where they part, at two ticks that are the same moment of their bars: here, and there.
    /// Nothing where what differs has no words.
    pub fn both_ways(&self, score: &Score, config: &StoryConfig, here: i64, there: i64) -> Option<(String, String)> {
        ways::both_ways(&self.words(score, config), &self.harmony, &self.digests, here, there)
    }

    /// Returns the place on the page of a tick.
    pub fn place(&self, at: i64) -> Place {
        Place { bar: BarIdx(facts::bar_at(&self.material, at)), into_bar: wording::into_bar(&self.material, at) }
    }
}
