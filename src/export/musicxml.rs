//! A [`Score`] as MusicXML 4.0, partwise: bars, staves, voices, ties, tuplets, rolled chords, repeats and jumps.
//!
//! Element names and their order are those of the MusicXML 4.0 schema (W3C Music Notation Community Group). Read back by
//! `import::musicxml` it gives the same bars and notes.
//!
//! Limitations: a glissando keeps its two notes and loses its line, a tremolo between two notes becomes two plain notes, a fermata on
//! a rest is lost, a part sounds as it is written, beams and stems are left to the program that opens the file, and an octave
//! below 0 is written though the schema ends there.

mod chords;
mod note;
mod shape;
mod xml;

use std::collections::HashMap;

use crate::score::{Bar, NoteIdx, Part, Score};
use crate::theory::harp::PedalSetting;
use crate::theory::{Hand, KeySignature, Mode};
use crate::time::ScoreTime;

use chords::{Head, Lane, lanes};
use note::{NoteElement, Written};
use shape::tuplets;
use xml::Xml;

/// Divisions of a quarter where the score asks for more than a file can count: 2^5 x 9 x 5 x 7.
const DIVISIONS_COARSE: i64 = 10_080;
const DIVISIONS_MAX: i64 = 1_000_000;

/// Returns the text of the file.
pub fn write(score: &Score) -> String {
    let mut xml = Xml::new(
        "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">",
    );
    xml.open("score-partwise", &[("version", "4.0")]);
    if let Some(title) = &score.title {
        xml.open("work", &[]);
        xml.leaf("work-title", &[], title);
        xml.close();
    }
    xml.open("identification", &[]);
    if let Some(composer) = &score.composer {
        xml.leaf("creator", &[("type", "composer")], composer);
    }
    xml.open("encoding", &[]);
    xml.leaf("software", &[], concat!("Catchword ", env!("CARGO_PKG_VERSION")));
    xml.close();
    xml.close();
    xml.open("part-list", &[]);
    for part in &score.parts {
        xml.open("score-part", &[("id", &part.id)]);
        xml.leaf("part-name", &[], &part.name);
        xml.close();
    }
    xml.close();
    for (nth, part) in score.parts.iter().enumerate() {
        PartWriter::new(score, part, nth == 0).write(&mut xml);
    }
    xml.close();
    xml.finish()
}

struct PartWriter<'s> {
    score: &'s Score,
    part: &'s Part,
    /// Marks that hold for all parts stand in the first.
    is_first: bool,
    divisions: i64,
    n_staves: u8,
}

impl<'s> PartWriter<'s> {
    fn new(score: &'s Score, part: &'s Part, is_first: bool) -> Self {
        let times = score.bars.iter().flat_map(|b| [b.start, b.length]);
        let times = times.chain(part.notes.iter().flat_map(|n| [n.onset, n.duration])).chain(score.tempos.iter().map(|t| t.0));
        let times = times.chain(part.pedal_diagrams.iter().map(|p| p.0));
        let divisions = times.map(ScoreTime::denominator).try_fold(1i64, |all, d| {
            let common = common_multiple(all, d);
            (common <= DIVISIONS_MAX).then_some(common)
        });
        let n_staves = part.notes.iter().map(|n| n.staff).max().unwrap_or(1).max(part.n_staves).max(1);
        PartWriter { score, part, is_first, divisions: divisions.unwrap_or(DIVISIONS_COARSE), n_staves }
    }

    fn write(&self, xml: &mut Xml) {
        xml.open("part", &[("id", &self.part.id)]);
        let mut lanes = lanes(self.score, self.part);
        let mut before: Option<&Bar> = None;
        for (idx, bar) in self.score.bars.iter().enumerate() {
            let mut attributes = vec![("number", bar.label.0.as_str())];
            if !bar.offset.is_zero() {
                attributes.push(("implicit", "yes"));
            }
            xml.open("measure", &attributes);
            if bar.signs.new_system {
                xml.leaf("print", &[("new-system", "yes")], "");
            }
            self.attributes(bar, before, xml);
            self.left_bar_line(idx, xml);
            self.directions(bar, xml);
            self.notes(bar, std::mem::take(&mut lanes[idx]), xml);
            self.jumps(bar, xml);
            self.right_bar_line(idx, xml);
            xml.close();
            before = Some(bar);
        }
        xml.close();
    }

    fn attributes(&self, bar: &Bar, before: Option<&Bar>, xml: &mut Xml) {
        let is_new_key = before.is_none_or(|b| b.key != bar.key);
        let is_new_meter = before.is_none_or(|b| b.meter != bar.meter);
        if !is_new_key && !is_new_meter {
            return;
        }
        xml.open("attributes", &[]);
        if before.is_none() {
            xml.leaf("divisions", &[], &self.divisions.to_string());
        }
        if is_new_key {
            self.key(bar.key, xml);
        }
        if is_new_meter {
            xml.open("time", &[]);
            xml.leaf("beats", &[], &bar.meter.beats.to_string());
            xml.leaf("beat-type", &[], &bar.meter.unit.to_string());
            xml.close();
        }
        if before.is_none() && self.n_staves > 1 {
            xml.leaf("staves", &[], &self.n_staves.to_string());
            for staff in 1..=self.n_staves {
                let (sign, line) = if staff == self.n_staves { ("F", "4") } else { ("G", "2") };
                xml.open("clef", &[("number", &staff.to_string())]);
                xml.leaf("sign", &[], sign);
                xml.leaf("line", &[], line);
                xml.close();
            }
        } else if before.is_none() {
            let is_low = self.part.notes.first().is_some_and(|n| n.hand == Hand::Left);
            let (sign, line) = if is_low { ("F", "4") } else { ("G", "2") };
            xml.open("clef", &[]);
            xml.leaf("sign", &[], sign);
            xml.leaf("line", &[], line);
            xml.close();
        }
        xml.close();
    }

    fn key(&self, key: KeySignature, xml: &mut Xml) {
        xml.open("key", &[]);
        xml.leaf("fifths", &[], &key.fifths.to_string());
        match key.mode {
            Some(Mode::Major) => xml.leaf("mode", &[], "major"),
            Some(Mode::Minor) => xml.leaf("mode", &[], "minor"),
            None => {}
        }
        xml.close();
    }

    fn left_bar_line(&self, idx: usize, xml: &mut Xml) {
        let signs = &self.score.bars[idx].signs;
        let begins = !signs.endings.is_empty() && self.endings_of(idx.checked_sub(1)) != Some(&signs.endings);
        if !self.is_first || !(begins || signs.repeat_start) {
            return;
        }
        xml.open("barline", &[("location", "left")]);
        if begins {
            xml.leaf("ending", &[("number", &numbers(&signs.endings)), ("type", "start")], "");
        }
        if signs.repeat_start {
            xml.leaf("repeat", &[("direction", "forward")], "");
        }
        xml.close();
    }

    fn right_bar_line(&self, idx: usize, xml: &mut Xml) {
        let signs = &self.score.bars[idx].signs;
        let ends = !signs.endings.is_empty() && self.endings_of(Some(idx + 1)) != Some(&signs.endings);
        if !self.is_first || !(ends || signs.double_bar || signs.repeat_end.is_some()) {
            return;
        }
        xml.open("barline", &[("location", "right")]);
        if signs.double_bar {
            let is_last = idx + 1 == self.score.bars.len() || signs.repeat_end.is_some();
            xml.leaf("bar-style", &[], if is_last { "light-heavy" } else { "light-light" });
        }
        if ends {
            xml.leaf("ending", &[("number", &numbers(&signs.endings)), ("type", "stop")], "");
        }
        if let Some(times) = signs.repeat_end {
            let times = times.to_string();
            let mut attributes = vec![("direction", "backward")];
            if times != "2" {
                attributes.push(("times", &times));
            }
            if signs.repeat_after_jump {
                attributes.push(("after-jump", "yes"));
            }
            xml.leaf("repeat", &attributes, "");
        }
        xml.close();
    }

    fn endings_of(&self, bar: Option<usize>) -> Option<&Vec<u8>> {
        self.score.bars.get(bar?).map(|b| &b.signs.endings)
    }

    /// Writes what stands above the bar: marks of form, tempos, pedal diagrams.
    fn directions(&self, bar: &Bar, xml: &mut Xml) {
        let within = |at: ScoreTime| at >= bar.start && at < bar.start + bar.length;
        for (at, setting) in self.part.pedal_diagrams.iter().filter(|p| within(p.0)) {
            self.shifted(*at - bar.start, xml, |xml| {
                xml.open("direction", &[]);
                xml.open("direction-type", &[]);
                xml.open("harp-pedals", &[]);
                for letter in PedalSetting::PRINTED_ORDER {
                    xml.open("pedal-tuning", &[]);
                    xml.leaf("pedal-step", &[], &letter.char().to_string());
                    xml.leaf("pedal-alter", &[], &setting.alter_of(letter).to_string());
                    xml.close();
                }
                (0..3).for_each(|_| xml.close());
            });
        }
        if !self.is_first {
            return;
        }
        if let Some(mark) = &bar.signs.rehearsal {
            direction(xml, |xml| xml.leaf("rehearsal", &[], mark), None);
        }
        if bar.signs.segno {
            direction(xml, |xml| xml.leaf("segno", &[], ""), Some(("segno", "segno")));
        }
        if bar.signs.coda {
            direction(xml, |xml| xml.leaf("coda", &[], ""), Some(("coda", "coda")));
        }
        for (at, tempo) in self.score.tempos.iter().filter(|t| within(t.0)) {
            let number = format!("{}", (tempo.quarters_per_minute() * 100.0).round() / 100.0);
            let metronome = |xml: &mut Xml| {
                xml.open("metronome", &[]);
                xml.leaf("beat-unit", &[], "quarter");
                xml.leaf("per-minute", &[], &number);
                xml.close();
            };
            let exact = tempo.quarters_per_minute().to_string();
            self.shifted(*at - bar.start, xml, |xml| direction(xml, metronome, Some(("tempo", &exact))));
        }
    }

    /// Writes what steers playing at the end of the bar.
    fn jumps(&self, bar: &Bar, xml: &mut Xml) {
        let signs = &bar.signs;
        let rows = [
            (signs.to_coda, "To Coda", ("tocoda", "coda")),
            (signs.fine, "Fine", ("fine", "yes")),
            (signs.da_capo, "D.C.", ("dacapo", "yes")),
            (signs.dal_segno, "D.S.", ("dalsegno", "segno")),
        ];
        for (_, words, sound) in rows.into_iter().filter(|row| row.0 && self.is_first) {
            direction(xml, |xml| xml.leaf("words", &[], words), Some(sound));
        }
    }

    /// Writes something that stands later in the bar, and comes back.
    fn shifted(&self, by: ScoreTime, xml: &mut Xml, what: impl FnOnce(&mut Xml)) {
        self.shift("forward", by, xml);
        what(xml);
        self.shift("backup", by, xml);
    }

    fn shift(&self, element: &str, by: ScoreTime, xml: &mut Xml) {
        if by > ScoreTime::ZERO {
            xml.open(element, &[]);
            xml.leaf("duration", &[], &self.ticks(by).to_string());
            xml.close();
        }
    }

    fn ticks(&self, length: ScoreTime) -> i64 {
        (length.numerator() as f64 * self.divisions as f64 / length.denominator() as f64).round() as i64
    }

    fn notes(&self, bar: &Bar, mut lanes: Vec<Lane>, xml: &mut Xml) {
        for staff in 1..=self.n_staves {
            if !lanes.iter().any(|lane| lane.staff == staff) {
                // A staff with nothing on it has a rest.
                lanes.push(Lane { staff, voice: 1 + 4 * (staff - 1), items: Vec::new() });
            }
        }
        lanes.sort_by_key(|lane| (lane.staff, lane.voice));
        let accidentals = self.accidentals(bar, &lanes);
        let mut staff_before = 0;
        let n_lanes = lanes.len();
        for (nth, lane) in lanes.into_iter().enumerate() {
            let is_main = lane.staff != staff_before;
            staff_before = lane.staff;
            let end = self.lane(bar, lane, is_main, &accidentals, xml);
            if nth + 1 < n_lanes {
                self.shift("backup", end, xml);
            }
        }
    }

    /// Returns the accidental that each printed head needs: what the signature and the bar so far do not already say.
    fn accidentals(&self, bar: &Bar, lanes: &[Lane]) -> Accidentals {
        let mut heads: Vec<(u8, ScoreTime, &Head)> = Vec::new();
        for lane in lanes {
            heads.extend(lane.items.iter().flat_map(|item| item.heads.iter().map(|h| (lane.staff, item.at, h))));
        }
        heads.sort_by_key(|(staff, at, head)| (*staff, *at, head.note));
        let mut said: HashMap<(u8, i32), i8> = HashMap::new();
        let mut out = HashMap::new();
        for (staff, at, head) in heads {
            let pitch = self.part.notes[head.note.0].pitch;
            let state = said.entry((staff, pitch.string_steps())).or_insert_with(|| bar.key.alter_of(pitch.letter));
            if *state != pitch.alter && !head.tie_stop {
                let name = match pitch.alter {
                    -2 => "flat-flat",
                    -1 => "flat",
                    0 => "natural",
                    1 => "sharp",
                    2 => "double-sharp",
                    _ => continue,
                };
                out.insert((head.note, at), name);
                *state = pitch.alter;
            }
        }
        out
    }

    /// Writes one voice of a bar; returns where it stops.
    fn lane(&self, bar: &Bar, lane: Lane, is_main: bool, accidentals: &Accidentals, xml: &mut Xml) -> ScoreTime {
        let lane = if is_main { lane.with_rests(bar.length) } else { lane };
        let staff = (self.n_staves > 1).then_some(lane.staff);
        let voice = lane.voice;
        let written: Vec<Written> = lane.items.into_iter().flat_map(Written::of).collect();
        let marks = tuplets(written.iter().map(|w| (w.length, w.shape)));
        let mut at = ScoreTime::ZERO;
        for (piece, tuplet) in written.iter().zip(marks) {
            if piece.at > at {
                self.shift("forward", piece.at - at, xml);
            }
            at = piece.at + piece.length;
            let ticks = self.ticks(piece.length);
            let element = NoteElement { piece, ticks, voice, staff, tuplet, is_whole_bar: piece.length == bar.length };
            if piece.heads.is_empty() {
                element.rest(xml);
            }
            for (nth, head) in piece.heads.iter().enumerate() {
                let accidental = accidentals.get(&(head.note, piece.at)).copied().filter(|_| piece.is_first);
                element.note(&self.part.notes[head.note.0], head, nth > 0, accidental, xml);
            }
        }
        at
    }
}

/// The accidentals of a bar by note and place.
type Accidentals = HashMap<(NoteIdx, ScoreTime), &'static str>;

fn direction(xml: &mut Xml, what: impl FnOnce(&mut Xml), sound: Option<(&str, &str)>) {
    xml.open("direction", &[]);
    xml.open("direction-type", &[]);
    what(xml);
    xml.close();
    if let Some(sound) = sound {
        xml.leaf("sound", &[sound], "");
    }
    xml.close();
}

fn numbers(endings: &[u8]) -> String {
    endings.iter().map(u8::to_string).collect::<Vec<_>>().join(", ")
}

/// Returns the least common multiple; saturates.
fn common_multiple(a: i64, b: i64) -> i64 {
    let (mut x, mut y) = (a, b);
    while y != 0 {
        (x, y) = (y, x % y);
    }
    (a / x).saturating_mul(b)
}
