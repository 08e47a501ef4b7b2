//! One `<note>` element: its children stand in the order that the schema wants.

use crate::score::{Note, Ornament, Roll};
use crate::time::ScoreTime;

use super::chords::{Head, Item};
use super::shape::{Shape, pieces};
use super::xml::Xml;

/// One value as it is written: an item of a voice, or a part of one that no single value can say.
pub(super) struct Written {
    pub at: ScoreTime,
    pub length: ScoreTime,
    pub shape: Option<Shape>,
    pub heads: Vec<Head>,
    pub is_first: bool,
    pub is_last: bool,
}

impl Written {
    /// Cuts an item into values.
    pub fn of(item: Item) -> Vec<Written> {
        let values = if item.length.is_zero() { vec![(ScoreTime::ZERO, None)] } else { pieces(item.length) };
        let n = values.len();
        let mut at = item.at;
        let mut out = Vec::with_capacity(n);
        for (i, (length, shape)) in values.into_iter().enumerate() {
            out.push(Written { at, length, shape, heads: item.heads.clone(), is_first: i == 0, is_last: i + 1 == n });
            at += length;
        }
        out
    }
}

/// What the notes of one chord share.
pub(super) struct NoteElement<'w> {
    pub piece: &'w Written,
    pub ticks: i64,
    pub voice: u8,
    /// `None` in a part of one staff.
    pub staff: Option<u8>,
    /// `start` or `stop`.
    pub tuplet: Option<&'static str>,
    pub is_whole_bar: bool,
}

impl NoteElement<'_> {
    pub fn rest(&self, xml: &mut Xml) {
        xml.open("note", &[]);
        xml.leaf("rest", if self.is_whole_bar { &[("measure", "yes")] } else { &[] }, "");
        xml.leaf("duration", &[], &self.ticks.to_string());
        self.value(None, !self.is_whole_bar, xml);
        if let Some(mark) = self.tuplet {
            xml.open("notations", &[]);
            xml.leaf("tuplet", &[("type", mark)], "");
            xml.close();
        }
        xml.close();
    }

    pub fn note(&self, note: &Note, head: &Head, is_chord: bool, accidental: Option<&str>, xml: &mut Xml) {
        let is_grace = self.piece.length.is_zero();
        let is_cue = note.ornament == Ornament::Cue;
        let tie_stop = (head.tie_stop || !self.piece.is_first) && !is_grace;
        let tie_start = (head.tie_start || !self.piece.is_last) && !is_grace;
        let ties: Vec<&str> = [(tie_stop, "stop"), (tie_start, "start")].into_iter().filter(|t| t.0).map(|t| t.1).collect();
        xml.open("note", &[]);
        if is_grace {
            xml.leaf("grace", &[], "");
        } else if is_cue {
            xml.leaf("cue", &[], "");
        }
        if is_chord {
            xml.leaf("chord", &[], "");
        }
        xml.open("pitch", &[]);
        xml.leaf("step", &[], &note.pitch.letter.char().to_string());
        if note.pitch.alter != 0 {
            xml.leaf("alter", &[], &note.pitch.alter.to_string());
        }
        xml.leaf("octave", &[], &note.pitch.octave.to_string());
        xml.close();
        if !is_grace {
            xml.leaf("duration", &[], &self.ticks.to_string());
        }
        if !is_cue {
            ties.iter().for_each(|tie| xml.leaf("tie", &[("type", tie)], ""));
        }
        self.value(accidental, true, xml);
        self.notations(note, head, is_chord, &ties, xml);
        xml.close();
    }

    /// Writes voice, value, accidental, tuplet and staff.
    fn value(&self, accidental: Option<&str>, has_type: bool, xml: &mut Xml) {
        xml.leaf("voice", &[], &self.voice.to_string());
        let shape = self.piece.shape.filter(|_| has_type);
        if let Some(shape) = shape {
            xml.leaf("type", &[], shape.name);
            (0..shape.dots).for_each(|_| xml.leaf("dot", &[], ""));
        }
        if let Some(accidental) = accidental {
            xml.leaf("accidental", &[], accidental);
        }
        if let Some((actual, normal)) = shape.and_then(|s| s.ratio) {
            xml.open("time-modification", &[]);
            xml.leaf("actual-notes", &[], &actual.to_string());
            xml.leaf("normal-notes", &[], &normal.to_string());
            xml.close();
        }
        if let Some(staff) = self.staff {
            xml.leaf("staff", &[], &staff.to_string());
        }
    }

    fn notations(&self, note: &Note, head: &Head, is_chord: bool, ties: &[&str], xml: &mut Xml) {
        let tuplet = self.tuplet.filter(|_| !is_chord);
        let has_marks = head.is_first && self.piece.is_first;
        let ornament = if has_marks { note.ornament } else { Ornament::None };
        let (roll, finger) = if has_marks { (note.roll, note.finger) } else { (None, None) };
        let fermata = has_marks && note.fermata;
        let has_sign = matches!(ornament, Ornament::Shake | Ornament::Tremolo | Ornament::Harmonic);
        if ties.is_empty() && tuplet.is_none() && roll.is_none() && !has_sign && finger.is_none() && !fermata {
            return;
        }
        xml.open("notations", &[]);
        ties.iter().for_each(|tie| xml.leaf("tied", &[("type", tie)], ""));
        if let Some(mark) = tuplet {
            xml.leaf("tuplet", &[("type", mark)], "");
        }
        if let Ornament::Shake | Ornament::Tremolo = ornament {
            xml.open("ornaments", &[]);
            match ornament {
                Ornament::Shake => xml.leaf("trill-mark", &[], ""),
                _ => xml.leaf("tremolo", &[("type", "single")], "3"),
            }
            xml.close();
        }
        if finger.is_some() || ornament == Ornament::Harmonic {
            xml.open("technical", &[]);
            if let Some(finger) = finger {
                xml.leaf("fingering", &[], &finger.to_string());
            }
            if ornament == Ornament::Harmonic {
                xml.leaf("harmonic", &[], "");
            }
            xml.close();
        }
        if fermata {
            xml.leaf("fermata", &[], "");
        }
        match roll {
            Some(Roll::Up) => xml.leaf("arpeggiate", &[], ""),
            Some(Roll::Down) => xml.leaf("arpeggiate", &[("direction", "down")], ""),
            Some(Roll::Together) => xml.leaf("non-arpeggiate", &[("type", if is_chord { "top" } else { "bottom" })], ""),
            None => {}
        }
        xml.close();
    }
}
