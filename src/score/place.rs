//! A place on the page: bar and beat, as players say it.

use std::fmt;

use super::{BarIdx, Score};
use crate::time::ScoreTime;

/// A position inside a printed bar, written `bar.beat` or `bar.beat+n/d`.
///
/// Beats count from 1 in the lower number of the time signature; a pickup counts as the end of a
/// full bar would (its last quarter in 3/4 is beat 3).
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub struct Place {
    pub bar: BarIdx,
    /// Quarters from the start of the bar as it stands, so zero is its first moment.
    pub into_bar: ScoreTime,
}

/// Why a text is not a place in this score.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum PlaceError {
    #[error("{}", tr!("expected bar.beat such as 5.1 or 12.2+1/2, found {found}", found = format!("{:?}", .0)))]
    Form(String),
    #[error("{}", tr!("there is no bar {label}; the score has bars {first} to {last}", label, first, last))]
    NoBar { label: String, first: String, last: String },
    #[error("{}", tr!("bar {bar} has no beat {beat}; its beats run from {first} to {last}", bar, beat, first, last))]
    NoBeat { bar: String, beat: String, first: String, last: String },
}

impl Place {
    pub fn start_of(bar: BarIdx) -> Self {
        Place { bar, into_bar: ScoreTime::ZERO }
    }

    /// Returns the place of a written position, or `None` outside the score.
    pub fn at(score: &Score, onset: ScoreTime) -> Option<Self> {
        let after = score.bars.partition_point(|b| b.start <= onset);
        let bar = after.checked_sub(1)?;
        (onset < score.total()).then(|| Place { bar: BarIdx(bar), into_bar: onset - score.bars[bar].start })
    }

    /// Returns quarters from the start of the printed score.
    pub fn onset(self, score: &Score) -> ScoreTime {
        score.bar(self.bar).start + self.into_bar
    }

    /// Reads `bar.beat` or `bar.beat+n/d`; a bare bar means its first moment.
    pub fn parse(text: &str, score: &Score) -> Result<Self, PlaceError> {
        let form = || PlaceError::Form(text.to_owned());
        let (label, beat_text) = match text.rsplit_once('.') {
            Some((label, beat)) => (label.trim(), Some(beat.trim())),
            None => (text.trim(), None),
        };
        if label.is_empty() {
            return Err(form());
        }
        let bar_idx = score.find_bar(label).ok_or_else(|| PlaceError::NoBar {
            label: label.to_owned(),
            first: score.bars.first().map_or_else(|| tr!("none"), |b| b.label.to_string()),
            last: score.bars.last().map_or_else(|| tr!("none"), |b| b.label.to_string()),
        })?;
        let Some(beat_text) = beat_text else { return Ok(Place::start_of(bar_idx)) };
        let (whole, fraction) = match beat_text.split_once('+') {
            Some((whole, fraction)) => (whole, Some(fraction)),
            None => (beat_text, None),
        };
        let whole: i64 = whole.trim().parse().ok().filter(|n| (1..=1000).contains(n)).ok_or_else(form)?;
        let mut beats = ScoreTime::quarters(whole - 1);
        if let Some(fraction) = fraction {
            let (n, d) = fraction.split_once('/').ok_or_else(form)?;
            let n: i64 = n.trim().parse().map_err(|_| form())?;
            let d: i64 = d.trim().parse().map_err(|_| form())?;
            if !(1..=1000).contains(&d) || !(0..d).contains(&n) {
                return Err(form());
            }
            beats += ScoreTime::new(n, d);
        }
        let bar = score.bar(bar_idx);
        let into_bar = beats.scaled(4, bar.meter.unit as i64) - bar.offset;
        if into_bar < ScoreTime::ZERO || into_bar >= bar.length {
            let last = bar.offset + bar.length;
            return Err(PlaceError::NoBeat {
                bar: label.to_owned(),
                beat: beat_text.to_owned(),
                first: beat_words(bar.offset, bar.meter.unit),
                last: ((last.scaled(bar.meter.unit as i64, 4)).to_f64().ceil() as i64).to_string(),
            });
        }
        Ok(Place { bar: bar_idx, into_bar })
    }

    /// Returns the beat within the bar from 1, with its fraction: `2` or `2+1/2`.
    pub fn beat(self, score: &Score) -> String {
        let bar = score.bar(self.bar);
        beat_words(bar.offset + self.into_bar, bar.meter.unit)
    }

    /// Returns the place as it is written in a piece file: `12.2+1/2`.
    pub fn text(self, score: &Score) -> String {
        format!("{}.{}", score.bar(self.bar).label, self.beat(score))
    }

    /// Returns the beat as it is said: `beat 2`, `beat 2½`; a part of a beat that has no sign of its own is `just after beat 2`.
    pub fn spoken_beat(self, score: &Score) -> String {
        let beat = self.beat(score);
        let Some((whole, fraction)) = beat.split_once('+') else { return tr!("beat {beat}", beat) };
        let sign = match fraction {
            "1/2" => "½",
            "1/3" => "⅓",
            "2/3" => "⅔",
            "1/4" => "¼",
            "3/4" => "¾",
            _ => return tr!("just after beat {beat}", beat = whole),
        };
        tr!("beat {beat}", beat = format!("{whole}{sign}"))
    }

    /// Returns the place as it is said: `bar 12, beat 2`.
    pub fn words(self, score: &Score) -> String {
        tr!("bar {bar}, {beat}", bar = score.bar(self.bar).label, beat = self.spoken_beat(score))
    }
}

fn beat_words(into_meter_bar: ScoreTime, unit: u16) -> String {
    struct Beat(ScoreTime);
    impl fmt::Display for Beat {
        fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            let (n, d) = (self.0.numerator(), self.0.denominator());
            write!(f, "{}", n.div_euclid(d) + 1)?;
            match n.rem_euclid(d) {
                0 => Ok(()),
                rest => write!(f, "+{rest}/{d}"),
            }
        }
    }
    Beat(into_meter_bar.scaled(unit as i64, 4)).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::{Bar, BarLabel, BarSigns};
    use crate::theory::{KeySignature, Meter};

    /// A pickup of one quarter in 3/4, two bars of 3/4, one of 6/8.
    fn score() -> Score {
        let (three_four, six_eight) = (Meter { beats: 3, unit: 4 }, Meter { beats: 6, unit: 8 });
        let mut start = ScoreTime::ZERO;
        let rows = [("0", three_four, 1), ("1", three_four, 3), ("2", three_four, 3), ("3", six_eight, 3)];
        let bars = rows.map(|(label, meter, quarters)| {
            let length = ScoreTime::quarters(quarters);
            let offset = meter.bar_length() - length;
            let bar = Bar {
                label: BarLabel(label.to_owned()),
                start,
                length,
                offset,
                meter,
                key: KeySignature::NONE,
                signs: BarSigns::default(),
            };
            start += length;
            bar
        });
        Score { bars: bars.to_vec(), ..Score::default() }
    }

    #[test]
    fn places_read_back_as_they_are_written() {
        let score = score();
        for (text, quarters) in [("0.3", (0, 1)), ("1.1", (1, 1)), ("1.3+1/2", (7, 2)), ("3.4", (17, 2)), ("3.6+1/3", (58, 6))] {
            let place = Place::parse(text, &score).unwrap();
            assert_eq!(place.onset(&score), ScoreTime::new(quarters.0, quarters.1), "{text}");
            assert_eq!(place.text(&score), text);
            assert_eq!(Place::at(&score, place.onset(&score)), Some(place));
        }
        assert_eq!(Place::parse("2", &score).unwrap().words(&score), "bar 2, beat 1");
        assert_eq!(Place::parse("2.1+1/2", &score).unwrap().words(&score), "bar 2, beat 1½");
        assert_eq!(Place::parse("2.1+3/8", &score).unwrap().words(&score), "bar 2, just after beat 1");
        assert_eq!(Place::parse("0", &score).unwrap().text(&score), "0.3", "a pickup counts as the end of a bar");
        assert_eq!(Place::at(&score, score.total()), None);
    }

    #[test]
    fn a_text_that_is_no_place_says_what_would_be() {
        let score = score();
        for (text, message) in [
            ("0.1", "bar 0 has no beat 1; its beats run from 3 to 3"),
            ("1.4", "bar 1 has no beat 4; its beats run from 1 to 3"),
            ("3.7", "bar 3 has no beat 7; its beats run from 1 to 6"),
            ("9.1", "there is no bar 9; the score has bars 0 to 3"),
            ("1.x", "expected bar.beat such as 5.1 or 12.2+1/2, found \"1.x\""),
            ("1.2+3/2", "expected bar.beat such as 5.1 or 12.2+1/2, found \"1.2+3/2\""),
            ("", "expected bar.beat such as 5.1 or 12.2+1/2, found \"\""),
        ] {
            assert_eq!(Place::parse(text, &score).unwrap_err().to_string(), message, "{text}");
        }
    }
}
