//! Standard MIDI Files: scores in, recorded takes in and out.
//!
//! [`read`] lays a file out as a [`Score`], [`read_take`] and [`write_take`] keep what was played. Ticks,
//! chunks and tracks stay inside. Follows the Standard MIDI Files 1.0 specification (RP-001);
//! what that leaves open (hands, parts, pickups, spelling) is guessed and said in a warning.

mod bars;
mod file;
mod hands;
mod notes;
mod sounds;
mod take;
mod timeline;

pub use take::{read_take, write_take};

use crate::import::{Error, Warning};
use crate::score::{Bar, BarIdx, Note, Part, Score};
use crate::theory::{Hand, SpelledPitch};
use crate::time::ScoreTime;

use file::{File, What};
use notes::Struck;
use timeline::Timeline;

/// The longest score that is laid out, in quarters: more than a day of music. Damaged delta times ask for more.
const QUARTERS_MAX: i64 = 200_000;

/// Reads a file of format 0 or 1 as a score; of format 2 the first sequence with notes.
///
/// Onsets are the file's own, exact. Bars follow the time signatures; notes are spelled for the key signature; a file does
/// not say which hand plays what, so tracks are matched to hands by name or pitch, and a lone track is split by pitch.
///
/// # Errors
/// When the bytes are not a MIDI file, hold no note, or would fill more bars than any score has.
pub fn read(bytes: &[u8], file_name: &str) -> Result<(Score, Vec<Warning>), Error> {
    let mut file = file::read(bytes, file_name)?;
    let mut warnings = std::mem::take(&mut file.warnings);
    if file.format == 2 {
        keep_first_sequence(&mut file, &mut warnings);
    }
    let struck = notes::collect(&file, &mut warnings);
    if struck.is_empty() {
        return Err(file.damage.unwrap_or_else(|| Error::Broken {
            file: file_name.to_owned(),
            place: tr!("byte {n}", n = bytes.len()),
            expected: tr!("at least one note"),
            found: tr!("the end of the file"),
        }));
    }

    let timeline = Timeline::new(&file);
    let last_tick = struck.iter().map(|n| n.off).max().unwrap_or(0);
    if timeline.rough_quarters(last_tick) > QUARTERS_MAX as f64 {
        return Err(Error::TooLarge {
            file: file_name.to_owned(),
            what: tr!("the last note ends {n} quarters in", n = format!("{:.0}", timeline.rough_quarters(last_tick))),
            limit: tr!("{n} quarters", n = QUARTERS_MAX),
        });
    }
    if timeline.is_by_frames() {
        let what = tr!("time is counted in SMPTE frames; beats are laid out by the tempo given, 120 a minute where none is");
        warnings.push(warning(&tr!("header"), what));
    }
    warnings.extend(timeline.looks_performed(&struck).map(|what| warning(&tr!("notes"), what)));

    let bars = bars::lay_out(&file, &timeline, timeline.at(last_tick), file_name, &mut warnings)?;
    let parts = hands::parts(&file, &struck, &timeline, &mut warnings);
    let parts = parts.into_iter().enumerate().map(|(i, p)| part(i, p, &struck, &timeline, &bars)).collect();
    let score = Score { title: title(&file), composer: None, bars, parts, tempos: timeline.tempos(), ..Score::default() };
    Ok((score, warnings))
}

fn warning(element: &str, what: String) -> Warning {
    Warning { bar: None, line: None, element: element.to_owned(), what }
}

fn keep_first_sequence(file: &mut File, warnings: &mut Vec<Warning>) {
    let has_notes = |t: &file::Track| t.events.iter().any(|e| matches!(e.what, What::Midi(crate::midi::MidiEvent::NoteOn { .. })));
    if let Some(first) = file.tracks.iter().position(has_notes) {
        let track = file.tracks.swap_remove(first);
        if !file.tracks.is_empty() {
            let what = tr!(
                "the file holds {n} independent sequences (format 2); track {number} is used",
                n = file.tracks.len() + 1,
                number = track.number
            );
            warnings.push(warning(&tr!("header"), what));
        }
        file.tracks = vec![track];
    }
}

/// Returns the name of the sequence: that of the first track (RP-001, "Sequence/Track Name"), unless it names a hand or only says
/// what such a track is for.
fn title(file: &File) -> Option<String> {
    let first = file.tracks.first()?;
    let name = first.events.iter().find_map(|e| match &e.what {
        What::Name(name) => Some(name.clone()),
        _ => None,
    })?;
    let is_lone_or_silent = file.tracks.len() == 1 || !first.events.iter().any(|e| matches!(e.what, What::Midi(_)));
    let is_hand = hands::hand_of_name(&name).is_some_and(|named| named.is_sure);
    let is_role = ["conductor", "control track", "tempo track", "untitled"].contains(&name.to_lowercase().as_str());
    (is_lone_or_silent && !is_hand && !is_role).then_some(name)
}

/// Notes shorter than nothing are written as this: a note of length zero would mean a grace note.
const SHORTEST: (i64, i64) = (1, 8);

fn part(index: usize, planned: hands::Planned, struck: &[Struck], timeline: &Timeline, bars: &[Bar]) -> Part {
    let mut notes: Vec<Note> = planned.notes.iter().map(|&(i, hand, voice)| note(&struck[i], hand, voice, timeline, bars)).collect();
    notes.sort_by_key(|n| (n.onset, n.key, n.hand));
    let n_staves = if notes.iter().any(|n| n.hand != notes[0].hand) { 2 } else { 1 };
    if n_staves == 1 {
        notes.iter_mut().for_each(|n| n.staff = 1);
    }
    Part { id: format!("P{}", index + 1), name: planned.name, n_staves, notes, ..Part::default() }
}

fn note(struck: &Struck, hand: Hand, voice: u8, timeline: &Timeline, bars: &[Bar]) -> Note {
    let onset = timeline.at(struck.on);
    let duration = timeline.at(struck.off) - onset;
    let bar = bars.partition_point(|b| b.start <= onset).saturating_sub(1);
    let duration = if duration > ScoreTime::ZERO { duration } else { ScoreTime::new(SHORTEST.0, SHORTEST.1) };
    let pitch = SpelledPitch::for_key(struck.key.number(), bars[bar].key.fifths);
    Note { voice, ..Note::plain(onset, duration, pitch, struck.key, hand, BarIdx(bar)) }
}
