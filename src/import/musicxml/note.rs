//! One `<note>` element: what it says by itself, before it has a place in time.

use roxmltree::Node;

use crate::score::{Ornament, Roll};
use crate::theory::{Letter, SpelledPitch};

use super::warnings::Warnings;

/// Staves of one part; what names a higher one stands on the last.
pub(super) const STAVES_MAX: u8 = 16;

/// A `<note>` as read.
#[derive(Default)]
pub(super) struct NoteElement<'a> {
    pub pitch: Option<SpelledPitch>,
    /// The pitch has no `<alter>`; the printed accidental gave it.
    pub is_alter_guessed: bool,
    pub is_unpitched: bool,
    pub is_rest: bool,
    pub is_whole_bar_rest: bool,
    pub is_chord: bool,
    pub is_grace: bool,
    pub is_cue: bool,
    pub duration: Option<&'a str>,
    /// Length in quarters of the printed note value with its dots, for notes without `<duration>`.
    pub value_64ths: i64,
    pub staff: u8,
    pub voice: u8,
    pub tie: Tie,
    pub marks: Marks,
}

/// The tie signs on one note head.
#[derive(Clone, Copy, Default, PartialEq)]
pub(super) struct Tie {
    pub starts: bool,
    pub stops: bool,
}

/// What is printed on a note beyond its pitch and length.
#[derive(Clone, Copy, Default)]
pub(super) struct Marks {
    pub ornament: Ornament,
    pub roll: Option<Roll>,
    pub finger: Option<u8>,
    pub fermata: bool,
    /// Line identity of a glissando or slide that starts or stops here.
    pub glissando_start: Option<(bool, u8)>,
    pub glissando_stop: Option<(bool, u8)>,
    /// Semitones from the written to the sounding pitch of a harmonic.
    pub harmonic_shift: i8,
}

/// Reads a `<note>`; children it does not know are warned of, those without a bearing on playing are passed over.
pub(super) fn read<'a>(node: Node<'a, '_>, bar: &str, warnings: &mut Warnings) -> NoteElement<'a> {
    let mut note = NoteElement { staff: 1, voice: 1, ..NoteElement::default() };
    let (mut has_tie, mut tied, mut dots, mut value) = (false, Tie::default(), 0, 0);
    let (mut has_alter, mut accidental) = (false, 0);
    for child in node.children() {
        match child.tag_name().name() {
            "accidental" => accidental = child.text().map_or(0, |t| accidental_alter(t.trim())),
            "pitch" => {
                (note.pitch, has_alter) = pitch(child);
                if note.pitch.is_none() {
                    warnings.add(
                        bar,
                        Some(child),
                        "pitch",
                        msgid!("a pitch needs a step A to G and an octave 0 to 9; the note is skipped"),
                    );
                }
            }
            "duration" => note.duration = child.text(),
            "voice" => note.voice = number(child).unwrap_or(1),
            "staff" => note.staff = number(child).filter(|&n| n > 0).unwrap_or(1).min(STAVES_MAX),
            "type" => value = value_64ths(child.text().unwrap_or_default().trim()),
            "dot" => dots += 1,
            "chord" => note.is_chord = true,
            "rest" => {
                note.is_rest = true;
                note.is_whole_bar_rest = child.attribute("measure") == Some("yes");
            }
            "grace" => note.is_grace = true,
            "cue" => note.is_cue = true,
            "unpitched" => note.is_unpitched = true,
            "tie" => {
                has_tie = true;
                set_tie(&mut note.tie, child);
            }
            "notations" => notations(child, &mut note.marks, &mut tied, bar, warnings),
            "" | "beam" | "footnote" | "instrument" | "level" | "listen" | "lyric" | "notehead" | "notehead-text" | "play" | "stem"
            | "time-modification" => {}
            other => warnings.add(bar, Some(child), other, msgid!("unknown inside <note>; skipped")),
        }
    }
    if !has_tie {
        note.tie = tied;
    }
    if let (Some(pitch), false, true) = (&mut note.pitch, has_alter, accidental != 0) {
        pitch.alter = accidental;
        note.is_alter_guessed = true;
    }
    // Each dot adds half of what the one before added (common practice).
    note.value_64ths = if dots < 6 { 2 * value - (value >> dots) } else { value };
    note
}

/// Reads a `<pitch>`, and whether it has an `<alter>`.
fn pitch(node: Node) -> (Option<SpelledPitch>, bool) {
    let (mut letter, mut alter, mut octave) = (None, None, None);
    for child in node.children() {
        let text = child.text().unwrap_or_default().trim();
        match child.tag_name().name() {
            "step" => letter = text.chars().next().filter(|c| c.is_ascii_uppercase()).and_then(Letter::from_char),
            // Quarter tones are rounded to the semitone towards the natural: no key is between two keys.
            "alter" => alter = text.parse::<f32>().ok().filter(|a| a.abs() <= 12.0).map(|a| a.trunc() as i8),
            "octave" => octave = text.parse::<i8>().ok().filter(|o| (-2..=12).contains(o)),
            _ => {}
        }
    }
    let pitch = letter.zip(octave).map(|(letter, octave)| SpelledPitch::new(letter, alter.unwrap_or(0), octave));
    (pitch, alter.is_some())
}

/// Returns the semitones of a printed accidental; 0 for a natural and for signs of other kinds.
fn accidental_alter(name: &str) -> i8 {
    match name {
        "sharp" | "natural-sharp" => 1,
        "flat" | "natural-flat" => -1,
        "double-sharp" | "sharp-sharp" => 2,
        "flat-flat" => -2,
        _ => 0,
    }
}

fn notations(node: Node, marks: &mut Marks, tied: &mut Tie, bar: &str, warnings: &mut Warnings) {
    for child in node.children() {
        match child.tag_name().name() {
            "tied" => set_tie(tied, child),
            "fermata" => marks.fermata = true,
            "arpeggiate" => marks.roll = Some(if child.attribute("direction") == Some("down") { Roll::Down } else { Roll::Up }),
            "non-arpeggiate" => marks.roll = Some(Roll::Together),
            name @ ("glissando" | "slide") => {
                let id = (name == "slide", child.attribute("number").and_then(|n| n.trim().parse().ok()).unwrap_or(1));
                match child.attribute("type") {
                    Some("start") => marks.glissando_start = Some(id),
                    Some("stop") => marks.glissando_stop = Some(id),
                    _ => warnings.add(bar, Some(child), name, msgid!("needs a type of start or stop; skipped")),
                }
            }
            "ornaments" => ornaments(child, marks, bar, warnings),
            "technical" => technical(child, marks),
            "" | "accidental-mark" | "articulations" | "dynamics" | "footnote" | "level" | "other-notation" | "slur" | "tuplet" => {}
            other => warnings.add(bar, Some(child), other, msgid!("unknown inside <notations>; skipped")),
        }
    }
}

fn ornaments(node: Node, marks: &mut Marks, bar: &str, warnings: &mut Warnings) {
    for child in node.children() {
        match child.tag_name().name() {
            "trill-mark"
            | "mordent"
            | "inverted-mordent"
            | "turn"
            | "inverted-turn"
            | "delayed-turn"
            | "delayed-inverted-turn"
            | "vertical-turn"
            | "inverted-vertical-turn"
            | "shake"
            | "schleifer"
            | "haydn" => marks.ornament = Ornament::Shake,
            "wavy-line" if child.attribute("type") == Some("start") && marks.ornament == Ornament::None => {
                marks.ornament = Ornament::Shake;
            }
            "tremolo" => {
                marks.ornament = match child.attribute("type") {
                    Some("start" | "stop") => Ornament::TremoloPair,
                    _ => Ornament::Tremolo,
                }
            }
            "" | "wavy-line" | "accidental-mark" => {}
            other => warnings.add(bar, Some(child), other, msgid!("an ornament this program does not know; the note is kept plain")),
        }
    }
}

fn technical(node: Node, marks: &mut Marks) {
    for child in node.children() {
        match child.tag_name().name() {
            "fingering" if marks.finger.is_none() => marks.finger = number(child).filter(|n| (1..=5).contains(n)),
            "harmonic" => {
                marks.ornament = Ornament::Harmonic;
                let says = |name: &str| child.children().any(|c| c.has_tag_name(name));
                // On a harp the string is written and its octave sounds (common practice); a file that
                // writes the sounding or the touched pitch says so, and then nothing is to be added.
                marks.harmonic_shift = if says("sounding-pitch") || says("touching-pitch") { 0 } else { 12 };
            }
            _ => {}
        }
    }
}

fn set_tie(tie: &mut Tie, node: Node) {
    // `let-ring` and `continue` join no two note heads.
    match node.attribute("type") {
        Some("start") => tie.starts = true,
        Some("stop") => tie.stops = true,
        _ => {}
    }
}

/// Returns a small number in an element's text; larger or other text gives `None`.
pub(super) fn number(node: Node) -> Option<u8> {
    node.text()?.trim().parse().ok()
}

/// Returns the length of a note value in 64ths of a quarter; 0 when it is not one.
fn value_64ths(name: &str) -> i64 {
    match name {
        "maxima" => 2048,
        "long" => 1024,
        "breve" => 512,
        "whole" => 256,
        "half" => 128,
        "quarter" => 64,
        "eighth" => 32,
        "16th" => 16,
        "32nd" => 8,
        "64th" => 4,
        "128th" => 2,
        "256th" => 1,
        _ => 0,
    }
}

/// Returns quarters of a beat unit with its dots, as metronome marks name it; `None` for other names.
pub(super) fn beat_unit_quarters(name: &str, dots: u32) -> Option<f64> {
    let value = value_64ths(name.trim());
    (value > 0 && dots < 6).then(|| value as f64 / 64.0 * (2.0 - 0.5f64.powi(dots as i32)))
}
