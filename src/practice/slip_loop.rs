//! The loop around a slip: the beats around it, slowly, a few times clean, and then the section from its top.
//!
//! The pianists who learned fastest stopped at an error at once, went over just that spot in another tempo until it was stable, and
//! played on only then (Duke, Simmons & Cash 2009, J. Res. Music Educ. 56:310-321). Off unless it is asked for.

use super::Engine;
use super::phase::{Phase, Show};
use super::span::Span;
use crate::follower::OnsetIdx;
use crate::journal::entry::{Mode, Verdict};
use crate::piece::Piece;
use crate::score::Place;
use crate::time::{Micros, ScoreTime, Tempo};

/// What follows a slip, and when a player is told that too much goes wrong.
#[derive(Clone, PartialEq, Debug)]
pub struct SlipsConfig {
    /// Clean times through the beats around it; 0: there is no loop.
    pub n_clean: u8,
    /// Beats before and after the slip.
    pub n_beats: u8,
    /// Slowest and fastest tempo of the loop, as a share of the one set.
    pub tempo_share: (f64, f64),
    /// Share of the latest reps of a span below which it is said that fewer bars, or a slower tempo, would do more; 0: it never is.
    pub clean_share_min: f64,
    /// How many reps that looks back at.
    pub n_reps: usize,
}

impl SlipsConfig {
    /// Returns the defaults: no loop; a word when fewer than 7 of the last 10 were clean. Of the trials of those pianists, the share that
    /// was right went with the result of the next day (r = -.71 with the rank), and their number did not; the figures are reasoned.
    pub const fn standard() -> Self {
        SlipsConfig { n_clean: 0, n_beats: 1, tempo_share: (0.6, 0.8), clean_share_min: 0.7, n_reps: 10 }
    }
}

/// The fewest onsets that make a loop: two would be no music to begin and to end with.
const N_ONSETS_MIN: usize = 3;

impl Engine {
    /// Offers the beats around a slip of the span that is on; returns the index of the first bar offered in it.
    pub(super) fn begin_loop(&mut self, onset: OnsetIdx) -> Option<usize> {
        self.loop_left = None;
        let span = &self.spans[self.current];
        let (around, first_bar) = around(&self.piece, span, onset, &self.config.slips)?;
        self.lead_in = Some(around);
        self.loop_left = Some(self.config.slips.n_clean);
        Some(first_bar)
    }

    /// The loop was played through; tells whether it is to be played again.
    pub(super) fn loop_again(&mut self, verdict: Verdict, words: String, at: Micros) -> bool {
        let Some(left) = &mut self.loop_left else { return false };
        *left = left.saturating_sub(u8::from(verdict == Verdict::Clean));
        let left = *left;
        if left == 0 {
            self.loop_left = None;
            return false;
        }
        let words =
            if verdict == Verdict::Clean { tr!("once more like that" | "{n} times more like that" % usize::from(left)) } else { words };
        self.phase = Phase::between(Show::Done { verdict, words, rest: self.config.rest.map(|rest| at + rest) });
        true
    }

    /// Returns what is said of a span in which too little is clean; once a session.
    pub(super) fn advice(&mut self) -> Option<String> {
        let (share, n) = (self.config.slips.clean_share_min, self.config.slips.n_reps);
        let tally = &mut self.tallies[self.current];
        let latest = &tally.verdicts[tally.verdicts.len().checked_sub(n)?..];
        let n_clean = latest.iter().filter(|verdict| **verdict == Verdict::Clean).count();
        if n_clean as f64 >= share * n as f64 || std::mem::replace(&mut tally.is_warned, true) {
            return None;
        }
        Some(tr!("{n_clean} of the last {all} were clean: fewer bars at a time, or slower", n_clean, all = n))
    }
}

/// Lays out the beats around an onset of a span, and says which of its bars they begin in; none where they are all of the span.
fn around(piece: &Piece, span: &Span, onset: OnsetIdx, config: &SlipsConfig) -> Option<(Span, usize)> {
    let onsets = &span.line.onsets;
    let bar = span.stretch.bars.get(span.line.onset(onset).played_bar)?.bar;
    let beat = piece.score.bar(bar).meter.beat_length();
    let reach: ScoreTime = (0..config.n_beats).fold(ScoreTime::ZERO, |sum, _| sum + beat);
    let at = span.line.onset(onset).at;
    let mut first = onsets.partition_point(|o| o.at + reach < at);
    let mut end = onsets.partition_point(|o| o.at <= at + reach);
    while end - first < N_ONSETS_MIN && (first > 0 || end < onsets.len()) {
        first = first.saturating_sub(1);
        end = (end + 1).min(onsets.len());
    }
    if (first, end) == (0, onsets.len()) {
        return None;
    }
    let first_bar = onsets[first].played_bar;
    let stretch = span.stretch.between(onsets[first].at, onsets[end - 1].at);
    let name = tr!("around {place}", place = span.place(onset).words(&piece.score));
    let around = Span::of_stretch(piece, name, Mode::Drill, stretch, 1)?;
    Some((slow(around, config), first_bar))
}

/// Lets an excerpt be played slowly: that is asked for, and no hesitation.
fn slow(mut span: Span, config: &SlipsConfig) -> Span {
    let (slowest, fastest) = config.tempo_share;
    span.is_excerpt = true;
    span.tempo_share = Some((slowest.min(fastest), fastest.max(slowest)));
    let middle = f64::midpoint(slowest, fastest);
    span.set_tempo(span.line.tempo.and_then(|tempo| Tempo::try_new(tempo.quarters_per_minute() * middle)));
    span
}

/// Lays out an excerpt by the places of its first and last onset; none where the score does not have them one after the other.
pub fn excerpt(piece: &Piece, name: &str, (first, last): (&str, &str), config: &SlipsConfig) -> Option<Span> {
    let place = |text: &str| Place::parse(text, &piece.score).ok();
    let (first, last) = (place(first)?, place(last)?);
    let bars = crate::score::BarRange::try_new(first.bar.0..last.bar.0 + 1)?;
    let whole = Span::drill(piece, name.to_owned(), &bars, u8::MAX)?;
    let at = |place: Place| whole.line.onsets.iter().find(|o| o.place == place).map(|o| o.at);
    let span = Span::of_stretch(piece, name.to_owned(), Mode::Drill, whole.stretch.between(at(first)?, at(last)?), u8::MAX)?;
    Some(slow(span, config))
}
