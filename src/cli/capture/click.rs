//! The click that a capture is played to.

use std::io::{self, IsTerminal as _, Write as _};

use anyhow::Context as _;

use crate::capture::Page;
use crate::time::{Micros, ScoreTime, Tempo};
use crate::tone::{Sound, Tone};

/// The click: a tone where the settings name one, else the terminal's bell, and the bar on a line that is written over.
pub(super) struct Click<'p> {
    pub page: &'p Page,
    /// When the next beat is due, and its place.
    pub next: Micros,
    /// Below `start` while counting in.
    pub place: ScoreTime,
    pub start: ScoreTime,
    pub tempo: Tempo,
    pub is_plain: bool,
    /// Sounds the beats in place of the bell, where it is on.
    pub tone: &'p Tone,
    /// The bar said last, where each has its line; none within is the bar counted in.
    pub said: Option<Option<u32>>,
}

impl Click<'_> {
    /// Sounds every beat that is due.
    pub fn sound(&mut self, now: Micros) -> anyhow::Result<()> {
        while self.next <= now {
            let number = if self.place < ScoreTime::ZERO { 1 } else { self.page.number_at(self.place.max(self.start)) };
            let beat = self.page.meter_of(number).beat_length();
            let mut out = io::stdout();
            let is_counting_in = self.place < self.start;
            let words = if is_counting_in { tr!("counting in") } else { tr!("bar {bar}", bar = number) };
            let written = if self.is_plain {
                // A line for each bar, and none for its beats.
                let bar = if is_counting_in { None } else { Some(number) };
                let is_news = self.said.replace(bar) != Some(bar);
                if is_news { writeln!(out, "{words}") } else { Ok(()) }
            } else if out.is_terminal() {
                let bell = if self.tone.is_on() { "" } else { "\x07" };
                write!(out, "{bell}\r{words:<12}")
            } else {
                Ok(())
            };
            written.and_then(|()| out.flush()).with_context(|| tr!("writing to the terminal"))?;
            self.place += beat;
            self.next += self.tempo.duration(beat);
            self.call();
        }
        Ok(())
    }

    /// Tells the tone of the next beat while there is still time for it.
    pub fn call(&self) {
        self.tone.play(self.next, vec![Sound::click(Micros::ZERO, self.is_first_of_bar())]);
    }

    fn is_first_of_bar(&self) -> bool {
        let number = self.page.number_at(self.place.max(self.start));
        let mut line = self.page.start_of(number.max(1));
        // Bars counted in are as long as the first.
        while line > self.place {
            line -= self.page.meter_of(number).bar_length();
        }
        line == self.place
    }

    pub fn rest(&self) -> anyhow::Result<()> {
        self.tone.hush();
        let mut out = io::stdout();
        if out.is_terminal() && !self.is_plain {
            write!(out, "\r{:<12}\r", "").with_context(|| tr!("writing to the terminal"))
        } else {
            Ok(())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_of_a_bar_is_known_while_counting_in_and_after_a_pickup() {
        let quarters = ScoreTime::quarters;
        for pickup in [0, 1] {
            let page = Page {
                meters: vec![(1, "3/4".parse().unwrap()), (2, "2/4".parse().unwrap())],
                keys: vec![(1, "C".parse().unwrap())],
                pickup: quarters(pickup),
                n_bars: None,
                repeats: vec![],
            };
            let (tempo, tone) = (Tempo::try_new(60.0).unwrap(), Tone::off());
            let first_of_bar = |at: i64| {
                let place = quarters(at + pickup);
                let click = Click {
                    page: &page,
                    next: Micros::ZERO,
                    place,
                    start: ScoreTime::ZERO,
                    tempo,
                    is_plain: true,
                    tone: &tone,
                    said: None,
                };
                click.is_first_of_bar()
            };
            let found: Vec<i64> = (-6..9).filter(|&at| first_of_bar(at)).collect();
            assert_eq!(found, [-6, -3, 0, 3, 5, 7], "counted from bar 1, pickup {pickup}");
        }
    }

    /// The time is only told, so that nothing here waits: in steps of 70 ms, which never meet a beat of 500 ms.
    #[test]
    fn every_beat_is_called_once_at_its_own_time_before_it_is_due() {
        let page = Page {
            meters: vec![(1, "3/4".parse().unwrap())],
            keys: vec![(1, "C".parse().unwrap())],
            pickup: ScoreTime::ZERO,
            n_bars: None,
            repeats: vec![],
        };
        let (tone, told) = Tone::told();
        let tempo = Tempo::try_new(120.0).unwrap();
        let (next, place, start) = (Micros::from_millis(800), ScoreTime::quarters(-3), ScoreTime::ZERO);
        let mut click = Click { page: &page, next, place, start, tempo, is_plain: true, said: None, tone: &tone };
        click.call();
        let mut called = told();
        for now in (0..4_000).step_by(70).map(Micros::from_millis) {
            click.sound(now).unwrap();
            called.extend(told().into_iter().inspect(|(at, _)| assert!(*at > now, "called at {now:?} for {at:?}")));
        }
        let heard: Vec<(i64, bool)> = called.iter().map(|(at, sound)| (at.0 / 1000, *sound == Sound::click(Micros::ZERO, true))).collect();
        let beats = [(800, true), (1300, false), (1800, false), (2300, true), (2800, false), (3300, false), (3800, true), (4300, false)];
        assert_eq!(heard, beats);
    }
}
