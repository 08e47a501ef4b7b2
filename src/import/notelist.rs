//! A plain list of notes: CSV with the header `onset_beats,duration_beats,pitch,hand`.
//!
//! Times are quarter notes, pitches MIDI keys, hands `L` or `R`. Optional columns: `bar` (printed
//! label), `meter` (`3/4`), `fifths` (key signature, sharps positive). Onsets may lie below zero: a
//! pickup counted before the first bar line. The score then starts at zero all the same, and
//! [`Score::origin`] keeps what the file calls that moment. Rows sorted by onset and pitch keep
//! their order, unisons included: row `n` is note `n`.

use std::collections::HashMap;

use super::{Error, Warning};
use crate::midi::MidiKey;
use crate::score::{Bar, BarIdx, BarLabel, BarSigns, Note, Part, Score};
use crate::theory::{Hand, KeySignature, Meter, SpelledPitch};
use crate::time::ScoreTime;

const ROWS_MAX: usize = 1_000_000;
const BARS_MAX: usize = 100_000;
const COLUMNS: &str = "onset_beats,duration_beats,pitch,hand";

/// Reads a note list.
///
/// # Errors
/// When a column is missing, a row cannot be read (its line is named), or there are no rows.
pub fn read(bytes: &[u8], file: &str) -> Result<(Score, Vec<Warning>), Error> {
    let mut rows = rows(bytes, file)?;
    if rows.is_empty() {
        return Err(broken(file, 2, &tr!("at least one row of onset, duration, pitch and hand"), &tr!("none")));
    }
    rows.sort_by_key(|r| (r.onset, r.key));
    let layout = if rows.iter().any(|r| r.bar.is_some()) { labelled_bars(&rows) } else { counted_bars(&rows) };
    let Some(layout) = layout else {
        return Err(Error::TooLarge { file: file.to_owned(), what: tr!("the number of bars"), limit: tr!("{n} bars", n = BARS_MAX) });
    };
    let origin = layout[0].start;
    let note = |row: &Row| {
        let bar = layout.partition_point(|b| b.start <= row.onset).saturating_sub(1);
        let pitch = SpelledPitch::for_key(row.key.number(), layout[bar].fifths);
        Note::plain(row.onset - origin, row.duration, pitch, row.key, row.hand, BarIdx(bar))
    };
    let notes: Vec<Note> = rows.iter().map(note).collect();
    let bars = layout
        .iter()
        .map(|b| Bar {
            label: BarLabel(b.label.clone()),
            start: b.start - origin,
            length: b.length,
            offset: b.offset,
            meter: b.meter,
            key: KeySignature::new(b.fifths, None),
            signs: BarSigns::default(),
        })
        .collect();
    let part = Part { id: "P1".to_owned(), n_staves: 2, notes, ..Part::default() };
    Ok((Score { bars, parts: vec![part], origin, ..Score::default() }, Vec::new()))
}

struct Row {
    /// Quarters as the file counts them.
    onset: ScoreTime,
    duration: ScoreTime,
    key: MidiKey,
    hand: Hand,
    bar: Option<String>,
    meter: Option<Meter>,
    fifths: Option<i8>,
}

fn rows(bytes: &[u8], file: &str) -> Result<Vec<Row>, Error> {
    let bytes = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(bytes);
    let not_csv = |error: csv::Error| {
        let line = error.position().map_or(1, |p| p.line());
        broken(file, line, &tr!("comma-separated values in UTF-8"), &error.to_string())
    };
    let header = reader.headers().map_err(not_csv)?.clone();
    let column = |name: &str| header.iter().position(|h| h.eq_ignore_ascii_case(name));
    let needed = |name: &str| {
        let found = || header.iter().collect::<Vec<_>>().join(",");
        column(name)
            .ok_or_else(|| broken(file, 1, &tr!("a header with the columns {columns}", columns = COLUMNS), &format!("{:?}", found())))
    };
    let (onset, duration) = (needed("onset_beats")?, needed("duration_beats")?);
    let (pitch, hand) = (needed("pitch")?, needed("hand")?);
    let (bar, meter, fifths) = (column("bar"), column("meter"), column("fifths"));
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(not_csv)?;
        if record.iter().all(str::is_empty) {
            continue;
        }
        let line = record.position().map_or(0, |p| p.line());
        if rows.len() >= ROWS_MAX {
            return Err(Error::TooLarge { file: file.to_owned(), what: tr!("the number of rows"), limit: tr!("{n} rows", n = ROWS_MAX) });
        }
        let cell = |column: usize| record.get(column).unwrap_or_default();
        let optional = |column: Option<usize>| column.map(cell).filter(|t| !t.is_empty());
        let bad = |column: usize, expected: &str| {
            broken(
                file,
                line,
                &tr!("{expected} in column {name}", expected = tr!(expected), name = &header[column]),
                &format!("{:?}", cell(column)),
            )
        };
        let quarters = |column: usize| cell(column).parse().ok().and_then(ScoreTime::from_f64_lossy);
        rows.push(Row {
            onset: quarters(onset).ok_or_else(|| bad(onset, msgid!("a number of quarter notes")))?,
            duration: quarters(duration)
                .filter(|&d| d >= ScoreTime::ZERO)
                .ok_or_else(|| bad(duration, msgid!("a number of quarter notes from 0 up")))?,
            key: cell(pitch)
                .parse::<f64>()
                .ok()
                .filter(|p| p.fract() == 0.0)
                .and_then(|p| MidiKey::try_new(p as i32))
                .ok_or_else(|| bad(pitch, msgid!("a MIDI key from 0 to 127")))?,
            hand: match cell(hand).to_ascii_lowercase().as_str() {
                "l" | "left" => Hand::Left,
                "r" | "right" => Hand::Right,
                _ => return Err(bad(hand, msgid!("L or R"))),
            },
            bar: optional(bar).map(str::to_owned),
            meter: match optional(meter) {
                Some(text) => Some(parse_meter(text).ok_or_else(|| bad(meter.unwrap_or(0), msgid!("a metre such as 3/4")))?),
                None => None,
            },
            fifths: match optional(fifths) {
                Some(text) => {
                    let number = text.parse::<i8>().ok().filter(|f| (-14..=14).contains(f));
                    Some(number.ok_or_else(|| bad(fifths.unwrap_or(0), msgid!("a whole number of sharps (flats below 0)")))?)
                }
                None => None,
            },
        });
    }
    Ok(rows)
}

fn parse_meter(text: &str) -> Option<Meter> {
    let (beats, unit) = text.split_once('/')?;
    Meter::try_new(beats.trim().parse().ok()?, unit.trim().parse().ok().filter(|&u| u <= 1024)?)
}

/// A bar as laid out; times as the file counts them.
struct Laid {
    label: String,
    start: ScoreTime,
    length: ScoreTime,
    offset: ScoreTime,
    meter: Meter,
    fifths: i8,
}

/// What the rows of one label say.
struct Labelled<'r> {
    label: &'r str,
    first: ScoreTime,
    last: ScoreTime,
    end: ScoreTime,
    meter: Option<Meter>,
    fifths: Option<i8>,
}

/// Lays out bars by the `bar` column: each starts where the metre says when its notes allow it, else
/// at its first note. Numbers that are passed over become empty bars where there is room. `None`: too many.
fn labelled_bars(rows: &[Row]) -> Option<Vec<Laid>> {
    let groups = group_by_label(rows);
    let whole = usual_length(&groups);
    let guessed = meter_of(whole);
    let (mut meter, mut fifths) = (groups[0].meter.unwrap_or(guessed), 0);
    let mut bars: Vec<Laid> = Vec::with_capacity(groups.len());
    for (idx, group) in groups.iter().enumerate() {
        let length_before = meter.bar_length();
        meter = group.meter.unwrap_or(meter);
        fifths = group.fifths.unwrap_or(fifths);
        let start = match bars.last() {
            None => first_start(group, groups.get(1), meter.bar_length()),
            Some(before) => {
                let last_before = groups[idx - 1].last;
                let (mut due, from) = (before.start + length_before, before.start);
                // The file's zero is a bar line, whatever the metre makes of the pickup before it.
                if idx == 1 && from < ScoreTime::ZERO && last_before < ScoreTime::ZERO && group.first >= ScoreTime::ZERO {
                    due = ScoreTime::ZERO;
                }
                for number in passed_over(groups[idx - 1].label, group.label) {
                    if due <= last_before || due + length_before > group.first {
                        break;
                    }
                    bars.push(Laid::whole(number.to_string(), due, meter, fifths));
                    due += length_before;
                }
                if last_before < due && due <= group.first { due } else { group.first }
            }
        };
        bars.push(Laid::whole(group.label.to_owned(), start, meter, fifths));
        if bars.len() > BARS_MAX {
            return None;
        }
    }
    for idx in 1..bars.len() {
        bars[idx - 1].length = bars[idx].start - bars[idx - 1].start;
    }
    let first = &mut bars[0];
    let lacking = first.meter.bar_length() - first.length;
    if groups.len() > 1 && lacking > ScoreTime::ZERO {
        first.offset = lacking;
    }
    let pickup = if first.offset.is_zero() { ScoreTime::ZERO } else { first.length };
    let (last, end) = (bars.last_mut()?, groups.last()?.end);
    last.length = closing_length(end - last.start, last.meter.bar_length(), pickup);
    Some(bars)
}

fn group_by_label(rows: &[Row]) -> Vec<Labelled<'_>> {
    let mut groups: Vec<Labelled> = Vec::new();
    for row in rows {
        let label = row.bar.as_deref();
        match groups.last_mut() {
            Some(group) if label.is_none_or(|l| l == group.label) || row.onset == group.first => {
                group.last = row.onset;
                group.end = group.end.max(row.onset + row.duration);
                group.meter = group.meter.or(row.meter);
                group.fifths = group.fifths.or(row.fifths);
            }
            _ => groups.push(Labelled {
                label: label.unwrap_or("1"),
                first: row.onset,
                last: row.onset,
                end: row.onset + row.duration,
                meter: row.meter,
                fifths: row.fifths,
            }),
        }
    }
    groups
}

/// The commonest distance from one bar's first note to the next one's; 4 quarters when there is none.
fn usual_length(groups: &[Labelled]) -> ScoreTime {
    let mut counts: HashMap<ScoreTime, usize> = HashMap::new();
    for pair in groups.windows(2) {
        *counts.entry(pair[1].first - pair[0].first).or_default() += 1;
    }
    let commonest = counts.into_iter().max_by_key(|&(length, n)| (n, std::cmp::Reverse(length)));
    commonest.map_or(ScoreTime::quarters(4), |(length, _)| length)
}

/// The plainest metre of a length: quarters, else eighths, else sixteenths; 4/4 for anything odder.
fn meter_of(length: ScoreTime) -> Meter {
    let beats = |unit: i64| {
        (unit / 4 * length.numerator() % length.denominator() == 0).then(|| unit / 4 * length.numerator() / length.denominator())
    };
    let found = [4, 8, 16].into_iter().find_map(|unit| Meter::try_new(u16::try_from(beats(unit)?).ok()?, unit as u16));
    found.unwrap_or(Meter::COMMON)
}

/// Where the first bar starts: at its first note, or earlier (never before zero) when a rest fills the bar up.
fn first_start(first: &Labelled, second: Option<&Labelled>, whole: ScoreTime) -> ScoreTime {
    match second {
        _ if first.first <= ScoreTime::ZERO => first.first,
        Some(second) => (second.first - whole).max(ScoreTime::ZERO).min(first.first),
        None => ScoreTime::ZERO,
    }
}

/// The whole numbers between two labels, where both are numbers and rise.
fn passed_over(before: &str, label: &str) -> std::ops::Range<u32> {
    match (before.parse::<u32>(), label.parse::<u32>()) {
        (Ok(before), Ok(label)) if before < label => before + 1..label,
        _ => 0..0,
    }
}

/// The last bar is whole, or completes the pickup when its notes end by then, or holds what it holds.
fn closing_length(held: ScoreTime, whole: ScoreTime, pickup: ScoreTime) -> ScoreTime {
    let complement = whole - pickup;
    if held <= complement { complement } else { held.max(whole) }
}

/// Lays out bars by counting: bar 1 starts at the file's zero, what lies before is pickup `0`. `None`: too many.
fn counted_bars(rows: &[Row]) -> Option<Vec<Laid>> {
    let (mut meter, mut fifths) = (rows[0].meter.unwrap_or(Meter::COMMON), rows[0].fifths.unwrap_or(0));
    let end = rows.iter().map(|r| r.onset + r.duration).max()?.max(rows[rows.len() - 1].onset + ScoreTime::new(1, 64));
    if end.to_f64() - rows[0].onset.to_f64() > BARS_MAX as f64 * meter.bar_length().to_f64() {
        return None;
    }
    let mut bars = Vec::new();
    let mut start = rows[0].onset.min(ScoreTime::ZERO);
    let whole = meter.bar_length();
    // Bars that begin before the file's zero; the first of them is the pickup, and the last is bar 0.
    let n_before = (-start.to_f64() / whole.to_f64()).ceil() as i64;
    let pickup = -start - whole.scaled(n_before.max(1) - 1, 1);
    let mut number = 1 - n_before;
    let mut row = 0;
    while start < end {
        while row < rows.len() && rows[row].onset <= start {
            meter = rows[row].meter.unwrap_or(meter);
            fifths = rows[row].fifths.unwrap_or(fifths);
            row += 1;
        }
        let mut bar = Laid::whole(number.to_string(), start, meter, fifths);
        if bars.is_empty() && start < ScoreTime::ZERO {
            (bar.length, bar.offset) = (pickup, whole - pickup);
        }
        start += bar.length;
        number += 1;
        bars.push(bar);
        if bars.len() > BARS_MAX {
            return None;
        }
    }
    Some(bars)
}

impl Laid {
    fn whole(label: String, start: ScoreTime, meter: Meter, fifths: i8) -> Laid {
        Laid { label, start, length: meter.bar_length(), offset: ScoreTime::ZERO, meter, fifths }
    }
}

fn broken(file: &str, line: u64, expected: &str, found: &str) -> Error {
    Error::Broken { file: file.to_owned(), place: tr!("line {line}", line), expected: expected.to_owned(), found: found.to_owned() }
}
