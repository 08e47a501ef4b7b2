//! What is kept of a capture, so that any bar of it can be played again and the whole be laid out anew: the page as it was given,
//! and every stretch that was played, with the beats it was played to. Text in, text out; the playing itself stands in files beside it.

use serde::{Deserialize, Serialize};

use crate::midi::{Matching, MidiEvent, Take};
use crate::theory::{KeySignature, Meter, Mode};
use crate::time::{Micros, ScoreTime, Tempo};

use super::{Beats, Page, Pass, Reading, Stretch, strokes};

/// A capture as it is kept.
#[derive(Clone, PartialEq, Debug)]
pub struct Record {
    pub page: Page,
    pub tempo: Tempo,
    pub stretches: Vec<Kept>,
}

/// One stretch: where its playing is, and how it is to be read.
#[derive(Clone, PartialEq, Debug)]
pub struct Kept {
    /// Name of the take's file.
    pub file: String,
    pub first: u32,
    pub last: Option<u32>,
    pub pass: Option<Pass>,
    pub beats: KeptBeats,
}

/// How the beats of a stretch are known.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum KeptBeats {
    /// A click: the time of one moment, in microseconds of the take, the place of that moment, and the tempo.
    Click { at: Micros, place: ScoreTime, tempo: Tempo },
    /// Bar lines tapped with a foot pedal of this controller number, the first at the start of the stretch's first whole bar.
    Taps { controller: u8 },
}

/// Why a record or a stretch could not be read.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    #[error("{}", tr!("{file}: expected the record of a capture: {what}", file, what))]
    Text { file: String, what: String },
    #[error("{}", tr!("{file}: expected at least two bar lines tapped with controller {controller}, found {n}; tap one at the start of each bar", file, controller, n))]
    Taps { file: String, controller: u8, n: usize },
}

impl Kept {
    /// Reads a stretch from its take.
    ///
    /// # Errors
    /// When bar lines were to be tapped and were not.
    pub fn stretch(&self, take: &Take, page: &Page) -> Result<Stretch, RecordError> {
        let beats = match self.beats {
            KeptBeats::Click { at, place, tempo } => Beats::even(at, place, tempo),
            KeptBeats::Taps { controller } => {
                let taps = taps(take, controller);
                let bars = (self.first.max(1)..).map(|number| page.start_of(number));
                let rows: Vec<(Micros, ScoreTime)> = taps.into_iter().zip(bars).collect();
                let n = rows.len();
                Beats::try_new(rows).ok_or_else(|| RecordError::Taps { file: self.file.clone(), controller, n })?
            }
        };
        let mut struck = strokes(take);
        if let Matching::Strings { .. } = take.hearing().matching {
            // As the strings stand in the key of the page: what a lever or pedal does beyond it, no string tells.
            for note in &mut struck {
                let place = ScoreTime::from_f64_lossy(beats.quarters(note.on).max(0.0));
                let key = page.key_of(place.map_or(1, |place| page.number_at(place)));
                note.key = take.hearing().matching.sounding(note.key, key);
            }
        }
        let reading = Reading { struck, beats };
        Ok(Stretch { reading, first: self.first, last: self.last, pass: self.pass })
    }
}

/// Shorter than this, two presses are one: contacts bounce, and no bar is that short.
const TAP_MIN: Micros = Micros(250_000);

fn taps(take: &Take, pedal: u8) -> Vec<Micros> {
    let mut taps: Vec<Micros> = Vec::new();
    let mut is_down = false;
    for event in take.events() {
        if let MidiEvent::Control { controller, value, .. } = event.what
            && controller == pedal
        {
            if value >= 64 && !is_down && taps.last().is_none_or(|&last| event.at - last >= TAP_MIN) {
                taps.push(event.at);
            }
            is_down = value >= 64;
        }
    }
    taps
}

impl Record {
    /// Changes the page; what was played stays at its time, and each stretch keeps the bars that it was played for.
    pub fn turn_to(&mut self, page: Page) {
        for kept in &mut self.stretches {
            let end = kept.last.map(|last| self.page.start_of(last + 1));
            kept.first = page.number_at(self.page.start_of(kept.first));
            kept.last = end.map(|end| page.number_at(end - ScoreTime::new(1, 64)));
        }
        self.page = page;
    }

    /// Returns the text that [`Record::parse`] reads.
    pub fn text(&self) -> String {
        let mut text = serde_json::to_string_pretty(&File::of(self)).expect("a record has text for every part");
        text.push('\n');
        text
    }

    /// Reads a record; `file` serves messages.
    ///
    /// # Errors
    /// When it is none.
    pub fn parse(text: &str, file: &str) -> Result<Record, RecordError> {
        let fail = |what: String| RecordError::Text { file: file.to_owned(), what };
        let read: File = serde_json::from_str(text).map_err(|e| fail(e.to_string()))?;
        read.record().map_err(fail)
    }
}

/// The text's own form.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    /// Printed bar from which each holds, and the metre.
    meters: Vec<(u32, String)>,
    /// Printed bar, sharps (flats below zero), and `major` or `minor`.
    keys: Vec<(u32, i8, Option<String>)>,
    /// Quarters, as numerator and denominator.
    pickup: (i64, i64),
    bars: Option<u32>,
    repeats: Vec<(u32, u32)>,
    /// Quarters a minute.
    tempo: f64,
    stretches: Vec<StretchLine>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct StretchLine {
    file: String,
    first: u32,
    last: Option<u32>,
    /// 1 or 2; nothing where it settles a question.
    pass: Option<u8>,
    click: Option<Click>,
    tapped: Option<u8>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Click {
    at_micros: i64,
    place: (i64, i64),
    tempo: f64,
}

impl File {
    fn of(record: &Record) -> File {
        let fraction = |t: ScoreTime| (t.numerator(), t.denominator());
        let mode = |m: Mode| if m == Mode::Major { "major" } else { "minor" }.to_owned();
        let line = |kept: &Kept| StretchLine {
            file: kept.file.clone(),
            first: kept.first,
            last: kept.last,
            pass: kept.pass.map(|p| if p == Pass::First { 1 } else { 2 }),
            click: match kept.beats {
                KeptBeats::Click { at, place, tempo } => {
                    Some(Click { at_micros: at.0, place: fraction(place), tempo: tempo.quarters_per_minute() })
                }
                KeptBeats::Taps { .. } => None,
            },
            tapped: match kept.beats {
                KeptBeats::Taps { controller } => Some(controller),
                KeptBeats::Click { .. } => None,
            },
        };
        let page = &record.page;
        File {
            meters: page.meters.iter().map(|(bar, meter)| (*bar, meter.to_string())).collect(),
            keys: page.keys.iter().map(|(bar, key)| (*bar, key.fifths, key.mode.map(mode))).collect(),
            pickup: fraction(page.pickup),
            bars: page.n_bars,
            repeats: page.repeats.clone(),
            tempo: record.tempo.quarters_per_minute(),
            stretches: record.stretches.iter().map(line).collect(),
        }
    }

    fn record(self) -> Result<Record, String> {
        let fraction = |(n, d): (i64, i64)| {
            if d > 0 { Ok(ScoreTime::new(n, d)) } else { Err(tr!("{fraction} is no fraction", fraction = format!("{n}/{d}"))) }
        };
        let tempo = |t: f64| Tempo::try_new(t).ok_or_else(|| tr!("a tempo of {t} quarters a minute", t));
        let meter = |(bar, text): (u32, String)| text.parse::<Meter>().map(|m| (bar, m)).map_err(|e| e.to_string());
        let key = |(bar, fifths, mode): (u32, i8, Option<String>)| {
            let mode = mode.map(|m| if m == "minor" { Mode::Minor } else { Mode::Major });
            (bar, KeySignature::new(fifths, mode))
        };
        let kept = |line: StretchLine| {
            let beats = match (line.click, line.tapped) {
                (Some(c), None) => KeptBeats::Click { at: Micros(c.at_micros), place: fraction(c.place)?, tempo: tempo(c.tempo)? },
                (None, Some(controller)) => KeptBeats::Taps { controller },
                _ => return Err(tr!("{file} has either a click or taps", file = line.file)),
            };
            let pass = match line.pass {
                None => None,
                Some(1) => Some(Pass::First),
                Some(2) => Some(Pass::Second),
                Some(n) => return Err(tr!("there is no pass {n}", n)),
            };
            // The record may come from anybody, and must not make the program read elsewhere.
            if line.file.contains(['/', '\\']) || line.file.starts_with('.') {
                return Err(tr!("a take beside the record, found {name}", name = format!("{:?}", line.file)));
            }
            Ok(Kept { file: line.file, first: line.first, last: line.last, pass, beats })
        };
        let page = Page {
            meters: self.meters.into_iter().map(meter).collect::<Result<_, _>>()?,
            keys: self.keys.into_iter().map(key).collect(),
            pickup: fraction(self.pickup)?,
            n_bars: self.bars,
            repeats: self.repeats,
        };
        page.check().map_err(|e| e.to_string())?;
        let stretches = self.stretches.into_iter().map(kept).collect::<Result<_, String>>()?;
        Ok(Record { page, tempo: tempo(self.tempo)?, stretches })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::midi::{Channel, MidiKey, Velocity};
    use crate::time::Stamped;

    fn record() -> Record {
        let tempo = Tempo::try_new(60.0).unwrap();
        let page = Page {
            meters: vec![(1, Meter { beats: 3, unit: 4 })],
            keys: vec![(1, KeySignature::new(-3, Some(Mode::Major)))],
            pickup: ScoreTime::QUARTER,
            n_bars: Some(8),
            repeats: vec![(1, 4)],
        };
        let click = KeptBeats::Click { at: Micros(5), place: ScoreTime::QUARTER, tempo };
        let kept = |first, last, pass, beats| Kept { file: "take-1.jsonl".into(), first, last, pass, beats };
        let stretches = vec![kept(0, Some(4), Some(Pass::First), click), kept(5, None, None, KeptBeats::Taps { controller: 66 })];
        Record { page, tempo, stretches }
    }

    #[test]
    fn a_record_reads_back_as_it_was_written() {
        let record = record();
        assert_eq!(Record::parse(&record.text(), "capture.json").unwrap(), record);
        let error = Record::parse("{\"meters\":[]}", "capture.json").unwrap_err().to_string();
        assert!(error.starts_with("capture.json: expected the record of a capture: missing field"), "{error}");
    }

    #[test]
    fn a_change_of_metre_keeps_what_was_played_for_its_music() {
        let mut record = record();
        // From bar 3 on two in a bar: bars 3 and 4 (six quarters) are bars 3 to 5 now, and bar 5 is bar 6.
        let page = Page { meters: vec![(1, Meter { beats: 3, unit: 4 }), (3, Meter { beats: 2, unit: 4 })], ..record.page.clone() };
        record.turn_to(page);
        let bars: Vec<_> = record.stretches.iter().map(|k| (k.first, k.last)).collect();
        assert_eq!(bars, [(0, Some(5)), (6, None)]);
    }

    #[test]
    fn tapped_bar_lines_are_the_beats() {
        let channel = Channel(0);
        let pedal = |value| MidiEvent::Control { channel, controller: 66, value };
        let note = MidiEvent::NoteOn { channel, key: MidiKey::try_new(60).unwrap(), velocity: Velocity(70) };
        let rows = [
            (1_000, pedal(127)),
            (1_050, pedal(0)),
            (1_080, pedal(127)),
            (1_100, pedal(0)),
            (2_500, note),
            (4_000, pedal(127)),
            (4_100, pedal(0)),
        ];
        let take: Take = rows.into_iter().map(|(ms, what)| Stamped { at: Micros::from_millis(ms), what }).collect();
        let record = record();
        let stretch = record.stretches[1].stretch(&take, &record.page).unwrap();
        // Halfway between the bar lines of bars 5 and 6 of 3/4, after a pickup of a quarter.
        let at = stretch.reading.beats.quarters(stretch.reading.struck[0].on);
        assert!((at - 14.5).abs() < 1e-9, "{at}");
        let none = record.stretches[1].stretch(&Take::default(), &record.page).unwrap_err().to_string();
        assert!(none.contains("at least two bar lines"), "{none}");
    }
}
