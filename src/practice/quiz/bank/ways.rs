//! Questions about the ways out of a passage: of look-alikes that part, and of a bar that is not followed by the same each time.

use super::{Bank, Point};
use crate::follower::OnsetIdx;
use crate::journal::entry::QuestionKind;
use crate::practice::quiz::question::{Exit, Question, Source, Wanted};
use crate::score::{BarIdx, Place};
use crate::time::ScoreTime;

/// A lead-in to look-alikes goes back to the bar before at most. One to a fork may go two bars back: what it leads through is the
/// same bars in any case.
const N_BARS_BEFORE: usize = 1;
const N_BARS_BEFORE_A_FORK: usize = 2;
/// Ways out that are alike for longer are not told apart in one answer.
const N_BARS_ALIKE_MAX: usize = 2;

impl Bank<'_> {
    /// Both (or all) exits of every switch that is one in playing order too.
    pub(super) fn switches(&self) -> Vec<Question> {
        let mut out: Vec<Question> = Vec::new();
        for switch in &self.analysis.switches {
            let points: Vec<Point> = switch.places.iter().filter_map(|at| self.point(self.analysis.place(*at), None, None)).collect();
            for (point, wanted) in self.exits(points, N_BARS_BEFORE) {
                if out.iter().any(|q| q.place == point.place) {
                    continue;
                }
                let small = vec![self.lead_words(&wanted), tr!("and on through {place}", place = self.bar_words(point.place))];
                let section = self.section(point.place).unwrap_or_else(|| self.bar_words(point.place));
                out.push(self.question(QuestionKind::Switch, Source::Switch, &point, (section, small), wanted));
            }
        }
        out
    }

    /// Every way on from a bar that is not followed by the same bar each time it is played: first and second endings, repeats, and
    /// signs that send back or ahead. What is asked is which time it is; where that leads is the answer.
    pub(super) fn forks(&self) -> Vec<Question> {
        let bars = &self.whole.stretch.bars;
        let mut forks: Vec<(BarIdx, Vec<Point>)> = Vec::new();
        for (nth, pair) in bars.windows(2).enumerate() {
            let (here, next) = (pair[0].bar, Point { place: Place::start_of(pair[1].bar), played_bar: nth + 1, name: None, setting: None });
            match forks.iter_mut().find(|(bar, _)| *bar == here) {
                None => forks.push((here, vec![next])),
                Some((_, ways)) => match ways.iter_mut().find(|way| way.place == next.place) {
                    None => ways.push(next),
                    // What the piece begins with has nothing before it to lead in.
                    Some(way) if way.played_bar == 1 => *way = next,
                    Some(_) => {}
                },
            }
        }
        let mut out = Vec::new();
        for (bar, ways) in forks.into_iter().filter(|(_, ways)| ways.len() > 1) {
            for (point, wanted) in self.exits(ways, N_BARS_BEFORE_A_FORK) {
                let time = bars[..point.played_bar].iter().filter(|b| b.bar == bar).count();
                let large = tr!("bar {bar}, {ordinal} time", bar = self.label(bar), ordinal = ordinal(time));
                let small = vec![self.lead_words(&wanted), tr!("and on as the {ordinal} time", ordinal = ordinal(time))];
                out.push(self.question(QuestionKind::Switch, Source::Switch, &point, (large, small), wanted));
            }
        }
        out
    }

    /// Lays out the exits that begin alike, note for note and for long enough to lead in; empty when there are not two.
    fn exits(&self, points: Vec<Point>, n_bars_before: usize) -> Vec<(Point, Wanted)> {
        let Some(first) = points.first().map(|point| self.first_onset(point)) else { return Vec::new() };
        let beat = self.piece.score.bar(self.line().onsets.get(first).map_or(BarIdx(0), |o| o.place.bar)).meter.beat_length();
        let alike: Vec<(Point, usize)> = points
            .into_iter()
            .map(|point| {
                let here = self.first_onset(&point);
                let n = if here == first { usize::MAX } else { self.n_alike_before(first, here) };
                (point, n)
            })
            .filter(|(_, n)| *n >= 2 && self.lead(first, *n) >= beat.scaled(3, 2))
            .collect();
        let Some(n_alike) = alike.iter().map(|(_, n)| *n).min().filter(|_| alike.len() > 1) else { return Vec::new() };
        let bar = self.line().onsets[first].played_bar;
        let from = self.line().onsets.partition_point(|o| o.played_bar + n_bars_before < bar);
        let n_lead = n_alike.min(first - from);
        let starts: Vec<usize> = alike.iter().map(|(point, _)| self.first_onset(point)).collect();
        let pairs = starts.iter().enumerate().flat_map(|(nth, a)| starts[..nth].iter().map(move |b| (*a, *b)));
        let n_after = pairs.map(|(a, b)| self.n_alike_after(a, b)).max().unwrap_or(0);
        let exits: Vec<Exit> = alike.iter().filter_map(|(point, _)| self.exit(point, n_lead, n_after)).collect();
        if exits.len() < alike.len() || n_lead < 2 {
            return Vec::new();
        }
        let ways = alike.into_iter().enumerate().map(|(nth, (point, _))| {
            let mut others = exits.clone();
            let asked = others.remove(nth);
            (point, Wanted::Exit { asked, others })
        });
        ways.collect()
    }

    /// Lays out one way out: its lead-in, what is alike after it, and the bar in which it parts.
    fn exit(&self, point: &Point, n_lead: usize, n_after: usize) -> Option<Exit> {
        let start = self.first_onset(point);
        let begin = &self.line().onsets[start.checked_sub(n_lead)?];
        let to = self.line().onsets.get(start + n_after)?;
        if to.played_bar > point.played_bar + N_BARS_ALIKE_MAX {
            return None;
        }
        let end = to.played_bar + if to.starts_bar { 1 } else { 2 };
        let passage = self.passage(begin.played_bar..end.min(self.whole.bars.len()), begin.place.into_bar)?;
        Some(Exit { parting: OnsetIdx(passage.begin.0 + n_lead + n_after), passage, place: point.place })
    }

    /// Tells how many onsets before two onsets are the same, note for note and wait for wait.
    fn n_alike_before(&self, a: usize, b: usize) -> usize {
        let alike = |n: &usize| self.wait(a - n, a) == self.wait(b - n, b) && self.is_alike(a - n, b - n);
        (1..=a.min(b)).take_while(alike).count()
    }

    /// Tells how many onsets from two onsets on are the same.
    fn n_alike_after(&self, a: usize, b: usize) -> usize {
        let n_left = self.line().onsets.len() - a.max(b);
        (0..n_left).take_while(|n| self.wait(a, a + n) == self.wait(b, b + n) && self.is_alike(a + n, b + n)).count()
    }

    fn is_alike(&self, a: usize, b: usize) -> bool {
        let line = self.line();
        let keys = |o: usize| line.notes[line.onsets[o].notes.clone()].iter().map(|n| (n.key, n.hand));
        keys(a).eq(keys(b))
    }

    fn wait(&self, from: usize, to: usize) -> ScoreTime {
        self.line().onsets[to].at - self.line().onsets[from].at
    }

    fn lead(&self, onset: usize, n_before: usize) -> ScoreTime {
        self.wait(onset.saturating_sub(n_before), onset)
    }

    fn lead_words(&self, wanted: &Wanted) -> String {
        let Wanted::Exit { asked, .. } = wanted else { return String::new() };
        tr!("lead in from {place}", place = self.bar_words(asked.passage.span.place(asked.passage.begin)))
    }
}

fn ordinal(n: usize) -> String {
    match n {
        1 => tr!("first"),
        2 => tr!("second"),
        3 => tr!("third"),
        n => tr!("{n}th", n),
    }
}
