//! What the printed page says at its head, as the player gives it: metre, key, pickup, how many bars, repeats.

use crate::score::{Bar, BarLabel, BarSigns};
use crate::theory::{KeySignature, Meter};
use crate::time::ScoreTime;

/// The page without its notes.
#[derive(Clone, PartialEq, Debug)]
pub struct Page {
    /// Metres with the printed number of the bar from which each holds; in order, the first from bar 1 (a pickup included).
    pub meters: Vec<(u32, Meter)>,
    /// Key signatures, as the metres.
    pub keys: Vec<(u32, KeySignature)>,
    /// Length of the pickup in quarters; zero without one. It is bar 0.
    pub pickup: ScoreTime,
    /// Bars that the page has, the pickup not counted; `None` for as many as were played.
    pub n_bars: Option<u32>,
    /// Repeated passages: printed numbers of the first and the last bar.
    pub repeats: Vec<(u32, u32)>,
}

/// What the page cannot say.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum PageError {
    #[error("{}", tr!("expected a pickup shorter than a bar of {meter}, found {pickup} quarters", meter, pickup))]
    Pickup { pickup: String, meter: String },
    #[error("{}", tr!("expected {what} in the order of their bars, the first from bar 1; found one from bar {bar} after one from bar {before}", what, bar, before))]
    Order { what: String, bar: u32, before: u32 },
    #[error("{}", tr!("expected a repeat of bars from first to last, found {first}-{last}", first, last))]
    Repeat { first: u32, last: u32 },
}

impl Page {
    /// Checks what the parts of the page say about each other.
    ///
    /// # Errors
    /// At the first thing that cannot be printed.
    pub fn check(&self) -> Result<(), PageError> {
        let first = self.meters.first().map_or(Meter::COMMON, |m| m.1);
        if self.pickup < ScoreTime::ZERO || self.pickup >= first.bar_length() {
            return Err(PageError::Pickup { pickup: self.pickup.to_string(), meter: first.to_string() });
        }
        let bars = |what, bars: Vec<u32>| bars.into_iter().map(move |bar| (what, bar));
        let meters = bars("metres", self.meters.iter().map(|m| m.0).collect());
        let keys = bars("keys", self.keys.iter().map(|k| k.0).collect());
        let mut last = ("", 0);
        for (what, bar) in meters.chain(keys) {
            let before = if last.0 == what { last.1 } else { 0 };
            if bar <= before || (before == 0 && bar != 1) {
                let what = if what == "keys" { tr!("music" => "keys") } else { tr!("music" => "metres") };
                return Err(PageError::Order { what, bar, before });
            }
            last = (what, bar);
        }
        match self.repeats.iter().find(|(first, last)| first > last) {
            Some(&(first, last)) => Err(PageError::Repeat { first, last }),
            None => Ok(()),
        }
    }

    /// Returns the metre of the bar with this printed number.
    pub fn meter_of(&self, number: u32) -> Meter {
        self.meters.iter().take_while(|(from, _)| *from <= number.max(1)).last().map_or(Meter::COMMON, |m| m.1)
    }

    /// Returns the key of the bar with this printed number.
    pub fn key_of(&self, number: u32) -> KeySignature {
        self.keys.iter().take_while(|(from, _)| *from <= number.max(1)).last().map_or(KeySignature::NONE, |k| k.1)
    }

    /// Returns where the bar with this printed number starts, in quarters from the start of the score.
    pub fn start_of(&self, number: u32) -> ScoreTime {
        let Some(full) = number.checked_sub(1) else { return ScoreTime::ZERO };
        (1..=full).map(|n| self.meter_of(n).bar_length()).fold(self.pickup, |at, length| at + length)
    }

    /// Returns the printed number of the bar in which a place stands.
    pub fn number_at(&self, at: ScoreTime) -> u32 {
        if at < self.pickup {
            return 0;
        }
        let (mut number, mut start) = (1, self.pickup);
        loop {
            start += self.meter_of(number).bar_length();
            if at < start {
                return number;
            }
            number += 1;
        }
    }

    /// Returns the bars from the first up to the last number, `last` at least 1.
    pub fn bars(&self, last: u32) -> Vec<Bar> {
        let first = u32::from(self.pickup.is_zero());
        let mut start = ScoreTime::ZERO;
        let bar = |number: u32| {
            let meter = self.meter_of(number);
            let length = if number == 0 { self.pickup } else { meter.bar_length() };
            let signs = BarSigns {
                repeat_start: number > 0 && self.repeats.iter().any(|r| r.0 == number && number > 1),
                repeat_end: self.repeats.iter().any(|r| r.1 == number).then_some(2),
                ..BarSigns::default()
            };
            let offset = meter.bar_length() - length;
            let bar = Bar { label: BarLabel(number.to_string()), start, length, offset, meter, key: self.key_of(number), signs };
            start += length;
            bar
        };
        (first..=last.max(1)).map(bar).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn page() -> Page {
        let meters = vec![(1, Meter { beats: 3, unit: 4 }), (3, Meter { beats: 6, unit: 8 }), (4, Meter { beats: 2, unit: 4 })];
        Page { meters, keys: vec![], pickup: ScoreTime::QUARTER, n_bars: None, repeats: vec![(1, 2)] }
    }

    #[test]
    fn bars_stand_where_pickup_and_metres_put_them() {
        let page = page();
        let bars = page.bars(5);
        let rows: Vec<(String, f64, f64, f64)> =
            bars.iter().map(|b| (b.label.to_string(), b.start.to_f64(), b.length.to_f64(), b.offset.to_f64())).collect();
        let expected = [
            ("0", 0.0, 1.0, 2.0),
            ("1", 1.0, 3.0, 0.0),
            ("2", 4.0, 3.0, 0.0),
            ("3", 7.0, 3.0, 0.0),
            ("4", 10.0, 2.0, 0.0),
            ("5", 12.0, 2.0, 0.0),
        ];
        assert_eq!(rows, expected.map(|(l, s, n, o)| (l.to_owned(), s, n, o)));
        for bar in &bars {
            let number: u32 = bar.label.0.parse().unwrap();
            assert_eq!(page.start_of(number), bar.start);
            assert_eq!(page.number_at(bar.start), number);
        }
        assert_eq!(bars[2].signs.repeat_end, Some(2));
    }

    #[test]
    fn a_page_that_cannot_be_printed_says_why() {
        let with = |change: fn(&mut Page)| {
            let mut page = page();
            change(&mut page);
            page.check().unwrap_err().to_string()
        };
        assert_eq!(page().check(), Ok(()));
        assert!(with(|p| p.pickup = ScoreTime::quarters(3)).starts_with("expected a pickup shorter than a bar of 3/4"));
        assert!(with(|p| p.meters[1].0 = 1).contains("from bar 1 after one from bar 1"));
        assert!(with(|p| p.repeats = vec![(5, 2)]).ends_with("found 5-2"));
    }
}
