//! One part's measures walked with a cursor, in ticks from the start of each bar.

use roxmltree::Node;

use crate::midi::MidiKey;
use crate::theory::harp::PedalSetting;
use crate::theory::{KeySignature, Letter, Meter, Mode, SpelledPitch};

use super::grid::{Divisions, Grid};
use super::note::{self, Marks, NoteElement, STAVES_MAX, Tie};
use super::page::{Page, PageMeter};
use super::warnings::Warnings;
use super::{Measure, PartSource};

/// Staves with a clef or a transposition of their own; those above share the last.
const N_STAVES_MAX: usize = 8;

/// A note with its place, before bars have a length and ties are joined.
#[derive(Clone)]
pub(super) struct RawNote {
    pub bar: usize,
    /// Ticks from the start of the bar.
    pub at: i64,
    pub duration: i64,
    pub pitch: SpelledPitch,
    /// The sounding key.
    pub key: MidiKey,
    pub staff: u8,
    pub voice: u8,
    pub clef: Clef,
    pub is_grace: bool,
    pub is_cue: bool,
    /// Printed as a head; false for the notes that a bar-repeat sign stands for.
    pub is_printed: bool,
    pub tie: Tie,
    pub marks: Marks,
}

/// What a clef says about the hand of a lone staff.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub(super) enum Clef {
    /// F: the left hand's.
    Bass,
    /// G or C: the right hand's.
    Treble,
    #[default]
    None,
}

/// A part as walked.
#[derive(Default)]
pub(super) struct RawPart {
    pub id: String,
    pub n_staves: u8,
    pub notes: Vec<RawNote>,
    pub n_unpitched: u32,
    /// Ticks that each bar of this part holds; 0 where nothing counts time.
    pub lengths: Vec<i64>,
    /// Bar, ticks into it, setting.
    pub pedals: Vec<(usize, i64, PedalSetting)>,
    /// Bar, ticks into it.
    pub fermatas: Vec<(usize, i64)>,
    /// Bars that a bar-repeat sign stands for: bar, how many bars back its music stands, staff (0: all).
    pub repeated: Vec<(usize, usize, u8)>,
}

/// The cursor and what is in force where it stands.
pub(super) struct Walk<'w> {
    pub grid: Grid,
    pub page: &'w mut Page,
    pub warnings: &'w mut Warnings,
    pub out: RawPart,
    /// Index of the current bar, and its printed label.
    pub bar: usize,
    pub label: String,
    pub divisions: Option<Divisions>,
    /// Ticks into the bar.
    pub at: i64,
    /// Onset of the last note that was not a chord member.
    onset: i64,
    /// The furthest the cursor or a note has reached in this bar.
    high: i64,
    clefs: [Clef; N_STAVES_MAX],
    /// Semitones from written to sounding, by staff.
    shifts: [i8; N_STAVES_MAX],
    /// Length of a whole bar in ticks, where a metre is in force.
    nominal: Option<i64>,
    /// A bar-repeat in force: bars back, staff.
    bar_repeat: Option<(usize, u8)>,
}

impl<'w> Walk<'w> {
    pub fn new(grid: Grid, page: &'w mut Page, warnings: &'w mut Warnings) -> Self {
        Walk {
            grid,
            page,
            warnings,
            out: RawPart::default(),
            bar: 0,
            label: String::new(),
            divisions: grid.divisions("1"),
            at: 0,
            onset: 0,
            high: 0,
            clefs: [Clef::None; N_STAVES_MAX],
            shifts: [0; N_STAVES_MAX],
            nominal: None,
            bar_repeat: None,
        }
    }

    /// Walks a part from its first measure to its last.
    pub fn part(mut self, source: &PartSource) -> RawPart {
        self.out.id = source.id.to_owned();
        self.out.n_staves = 1;
        for (bar, measure) in source.measures.iter().enumerate() {
            self.bar = bar;
            self.measure(measure);
            self.out.lengths.push(self.high);
        }
        self.out
    }

    /// Warns of something in the current bar.
    pub fn warn(&mut self, node: Node, element: &str, what: &'static str) {
        self.warnings.add(&self.label, Some(node), element, what);
    }

    fn measure(&mut self, measure: &Measure) {
        (self.at, self.onset, self.high) = (0, 0, 0);
        self.label.clear();
        match measure.element.attribute("number") {
            Some(number) => self.label.push_str(number.trim()),
            None => self.label = (self.bar + 1).to_string(),
        }
        let page_bar = &mut self.page.bars[self.bar];
        if page_bar.label.is_none() {
            page_bar.label = Some(self.label.clone());
        }
        page_bar.is_implicit |= measure.element.attribute("implicit") == Some("yes");
        let n_notes = self.out.notes.len();
        for child in measure.content.into_iter().flat_map(|content| content.children()) {
            match child.tag_name().name() {
                "note" => self.note(child),
                "backup" => self.shift(child, -1),
                "forward" => self.shift(child, 1),
                "attributes" => self.attributes(child),
                "direction" => self.direction(child),
                "sound" => self.sound(child, self.at),
                "barline" => self.barline(child),
                "print" => {
                    let breaks = ["new-system", "new-page"].iter().any(|name| child.attribute(*name) == Some("yes"));
                    self.page.signs(self.bar).new_system |= breaks;
                }
                "harmony" => self.warn(child, "harmony", msgid!("chord symbols are not read")),
                "figured-bass" => self.warn(child, "figured-bass", msgid!("figures are not read")),
                "" | "bookmark" | "grouping" | "link" | "listening" => {}
                other => self.warn(child, other, msgid!("unknown inside <measure>; skipped")),
            }
        }
        // The music under a bar-repeat sign "needs to be repeated within each measure" (MusicXML 4.0 reference,
        // measure-repeat); where a file only has the sign, the bar is filled later.
        if let Some((back, staff)) = self.bar_repeat
            && self.out.notes.len() == n_notes
            && self.bar >= back
        {
            self.out.repeated.push((self.bar, back, staff));
            let what = msgid!("a bar-repeat sign; the bar is filled with the notes it stands for");
            self.warnings.add(&self.label, measure.content, "measure-repeat", what);
        }
    }

    fn note(&mut self, node: Node) {
        let read = note::read(node, &self.label, self.warnings);
        let duration = if read.is_grace { 0 } else { self.duration(node, &read) };
        if !read.is_chord {
            self.onset = self.at;
            self.at = self.at.saturating_add(duration);
        }
        self.high = self.high.max(self.onset.saturating_add(duration));
        if read.marks.fermata {
            self.out.fermatas.push((self.bar, self.onset));
        }
        if read.staff > self.out.n_staves {
            self.out.n_staves = read.staff;
        }
        let Some(pitch) = read.pitch else {
            if read.is_unpitched {
                self.out.n_unpitched += !read.is_grace as u32;
                self.warn(node, "unpitched", msgid!("a note without a pitch; counted, but not followed"));
            }
            return;
        };
        if read.is_cue {
            self.warn(node, "cue", msgid!("a cue-sized note; kept, but nobody is expected to play it"));
        }
        if read.is_alter_guessed {
            self.warn(node, "accidental", msgid!("stands without an <alter>; the pitch is taken as printed"));
        }
        let staff = staff_idx(read.staff);
        let sounding = pitch.midi() + self.shifts[staff] as i32 + read.marks.harmonic_shift as i32;
        let Some(key) = MidiKey::try_new(sounding) else {
            self.warn(node, "pitch", msgid!("no MIDI key is that high or low; the note is skipped"));
            return;
        };
        self.out.notes.push(RawNote {
            bar: self.bar,
            at: self.onset,
            duration,
            pitch,
            key,
            staff: read.staff,
            voice: read.voice,
            clef: self.clefs[staff],
            is_grace: read.is_grace,
            is_cue: read.is_cue,
            is_printed: true,
            tie: read.tie,
            marks: read.marks,
        });
    }

    fn duration(&mut self, node: Node, read: &NoteElement) -> i64 {
        if let Some(text) = read.duration {
            if let Some(ticks) = self.divisions.and_then(|d| d.ticks(text)) {
                return ticks;
            }
            self.warn(node, "duration", msgid!("expected a number of divisions from 0 up; the printed note value is taken"));
        }
        if read.value_64ths > 0 {
            return self.grid.ticks(crate::time::ScoreTime::new(read.value_64ths, 64));
        }
        if read.is_rest {
            return self.nominal.unwrap_or(0);
        }
        self.warn(node, "note", msgid!("neither <duration> nor <type> says how long it lasts; taken as no time"));
        0
    }

    fn shift(&mut self, node: Node, sign: i64) {
        let text = node.children().find(|n| n.has_tag_name("duration")).and_then(|n| n.text()).unwrap_or_default();
        let Some(ticks) = self.divisions.and_then(|d| d.ticks(text)) else {
            let element = if sign < 0 { "backup" } else { "forward" };
            return self.warn(node, element, msgid!("expected a number of divisions from 0 up; skipped"));
        };
        self.at = self.at.saturating_add(sign * ticks);
        if self.at < 0 {
            self.at = 0;
            self.warn(node, "backup", msgid!("goes back beyond the bar line; taken to the bar's start"));
        }
        self.onset = self.at;
        self.high = self.high.max(self.at);
    }

    fn attributes(&mut self, node: Node) {
        // The schema puts <transpose> last, but <key> has to know it.
        for child in node.children().filter(|n| n.has_tag_name("transpose")) {
            self.transpose(child);
        }
        for child in node.children() {
            match child.tag_name().name() {
                "divisions" => match self.grid.divisions(child.text().unwrap_or_default()) {
                    Some(divisions) => self.divisions = Some(divisions),
                    None => self.warn(child, "divisions", msgid!("expected a number above 0; the one before stays")),
                },
                "key" => self.key(child),
                "time" => self.time(child),
                "staves" => {
                    let n = note::number(child).unwrap_or(1);
                    if n > STAVES_MAX {
                        self.warn(
                            child,
                            "staves",
                            msgid!("more staves than a part can have; what stands on those above 16 is taken to the 16th"),
                        );
                    }
                    self.out.n_staves = self.out.n_staves.max(n.min(STAVES_MAX));
                }
                "clef" => {
                    let sign = child.children().find(|n| n.has_tag_name("sign")).and_then(|n| n.text()).unwrap_or_default();
                    self.clefs[number_attribute(child).map_or(0, staff_idx)] = match sign.trim() {
                        "F" => Clef::Bass,
                        "G" | "C" => Clef::Treble,
                        _ => Clef::None,
                    };
                }
                "measure-style" => self.measure_style(child),
                "" | "directive" | "footnote" | "for-part" | "instruments" | "level" | "part-symbol" | "staff-details" | "transpose" => {}
                other => self.warn(child, other, msgid!("unknown inside <attributes>; skipped")),
            }
        }
    }

    /// The bar from which a metre or key given here holds: this one at its start, else the next.
    fn holds_from(&mut self, node: Node, element: &str) -> usize {
        if self.at == 0 {
            return self.bar;
        }
        if self.nominal.is_some_and(|n| self.at < n) {
            self.warn(node, element, msgid!("changes inside a bar; taken to change at the next bar"));
        }
        self.bar + 1
    }

    fn key(&mut self, node: Node) {
        let child = |name: &str| node.children().find(|n| n.has_tag_name(name)).and_then(|n| n.text()).map(str::trim);
        let fifths = child("fifths").and_then(|t| t.parse::<i8>().ok()).filter(|f| (-14..=14).contains(f));
        let Some(fifths) = fifths else {
            return self.warn(node, "key", msgid!("only key signatures by <fifths> are read; the one before stays"));
        };
        let mode = match child("mode") {
            Some("major") => Some(Mode::Major),
            Some("minor") => Some(Mode::Minor),
            _ => None,
        };
        // Transposing by c semitones moves the key 7c places round the circle of fifths.
        let moved = (self.shifts[0] as i32 * 7 + 5).rem_euclid(12) - 5;
        let sounding = fifths as i32 + moved;
        let sounding = if moved != 0 && sounding.abs() > 7 { sounding - 12 * sounding.signum() } else { sounding };
        let bar = self.holds_from(node, "key");
        if let Some(bar) = self.page.bars.get_mut(bar) {
            bar.key.get_or_insert(KeySignature::new(sounding as i8, mode));
        }
    }

    fn time(&mut self, node: Node) {
        let meter = if node.children().any(|n| n.has_tag_name("senza-misura")) {
            PageMeter::Free
        } else {
            match composite_meter(node) {
                Some(meter) => PageMeter::Metered(meter),
                None => {
                    return self.warn(node, "time", msgid!("expected <beats> such as 3 or 3+2 and a <beat-type>; the one before stays"));
                }
            }
        };
        let bar = self.holds_from(node, "time");
        self.nominal = match meter {
            PageMeter::Metered(meter) => Some(self.grid.ticks(meter.bar_length())),
            PageMeter::Free => None,
        };
        if let Some(bar) = self.page.bars.get_mut(bar) {
            bar.meter.get_or_insert(meter);
        }
    }

    fn transpose(&mut self, node: Node) {
        let child = |name: &str| node.children().find(|n| n.has_tag_name(name)).and_then(|n| n.text()).map_or(Some(0), parse_whole);
        let (Some(chromatic), Some(octaves)) = (child("chromatic"), child("octave-change")) else {
            return self.warn(node, "transpose", msgid!("expected whole numbers of semitones and octaves; not transposed"));
        };
        let Some(shift) = i8::try_from(chromatic + 12 * octaves).ok() else {
            return self.warn(node, "transpose", msgid!("further than any instrument transposes; not transposed"));
        };
        match number_attribute(node) {
            Some(staff) => self.shifts[staff_idx(staff)] = shift,
            None => self.shifts = [shift; N_STAVES_MAX],
        }
    }

    fn measure_style(&mut self, node: Node) {
        let Some(sign) = node.children().find(|n| n.has_tag_name("measure-repeat")) else { return };
        self.bar_repeat = match sign.attribute("type") {
            Some("stop") => None,
            _ => Some((note::number(sign).filter(|&n| n > 0).unwrap_or(1) as usize, number_attribute(node).unwrap_or(0))),
        };
    }

    /// Keeps a harp pedal diagram; pedals that it leaves out stand as in the diagram before.
    pub fn harp_pedals(&mut self, node: Node) {
        let mut setting = self.out.pedals.last().map(|(_, _, setting)| *setting).unwrap_or_default();
        for tuning in node.children().filter(|n| n.has_tag_name("pedal-tuning")) {
            let child = |name: &str| tuning.children().find(|n| n.has_tag_name(name)).and_then(|n| n.text()).map(str::trim);
            let letter = child("pedal-step").and_then(|t| t.chars().next()).and_then(Letter::from_char);
            let alter = child("pedal-alter").and_then(|t| t.parse::<f32>().ok()).filter(|a| a.abs() <= 1.0);
            match letter.zip(alter) {
                Some((letter, alter)) => setting.set(letter, alter as i8),
                None => self.warn(tuning, "pedal-tuning", msgid!("expected a <pedal-step> A to G and a <pedal-alter> -1, 0 or 1; skipped")),
            }
        }
        self.out.pedals.push((self.bar, self.at, setting));
    }
}

fn staff_idx(staff: u8) -> usize {
    (staff as usize).clamp(1, N_STAVES_MAX) - 1
}

fn number_attribute(node: Node) -> Option<u8> {
    node.attribute("number")?.trim().parse().ok()
}

fn parse_whole(text: &str) -> Option<i32> {
    text.trim().parse::<f64>().ok().filter(|n| n.fract() == 0.0 && n.abs() <= 127.0).map(|n| n as i32)
}

/// Sums the beats of a time signature over its parts: `3+2/8`, and `3/8 + 2/4` as 7/8.
fn composite_meter(node: Node) -> Option<Meter> {
    let (mut total, mut common) = (0u32, 1u32);
    let mut beats = None;
    for child in node.children() {
        let text = child.text().unwrap_or_default();
        match child.tag_name().name() {
            "beats" => beats = Some(text.split('+').map(|n| n.trim().parse::<u32>().ok().filter(|&n| n <= 256)).sum::<Option<u32>>()?),
            "beat-type" => {
                let unit = text.trim().parse::<u32>().ok().filter(|n| (1..=1024).contains(n))?;
                let beats = beats.take()?;
                // The finer of the two units counts both.
                let finer = if unit % common == 0 {
                    unit
                } else if common % unit == 0 {
                    common
                } else {
                    unit.checked_mul(common)?
                };
                total = (total * (finer / common)).checked_add(beats * (finer / unit))?;
                common = finer;
            }
            _ => {}
        }
    }
    Meter::try_new(u16::try_from(total).ok()?, u16::try_from(common).ok()?)
}
