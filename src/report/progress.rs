//! How a piece stands: what its record of practice comes to, bar by bar and day by day.
//!
//! A *try* is the first attempt of a day at a bar or section from memory, as it was on coming back; what follows on the same day is
//! practice, and is counted apart. Reading takes are no tries. Pure: the records are handed in; [`super::progress_text`],
//! [`super::progress_page`] and [`super::progress_svg`] write what is found.

mod days;
mod layout;
mod stubborn;
mod tries;

pub use days::{PlayedDay, RecallDay};
pub use stubborn::Stubborn;
pub use tries::{Held, N_TRIES_MAX, N_TRIES_SHOWN, Trend, Tries, Try};

use chrono::NaiveDate;

use super::items_held::{ItemsHeld, set_wrong};
use super::plain_text::plain;
use crate::journal::attempts::{Attempts, DatedPace, DatedRun, DatedSlip, Noted, RepRow};
use crate::journal::entry::{Mode, Witness};
use crate::journal::stats::DatedAnswer;
use crate::language::named::shown;
use crate::memory::item::{ItemIdx, ItemKind};
use crate::memory::model::Weights;
use crate::memory::piece_memory::PieceMemory;
use crate::piece::{Piece, bars_words};
use days::{by_day, played, recall};
use layout::Layout;
use stubborn::stubborn;
use tries::Latest;

/// Run-throughs that are shown.
pub const N_RUNS_MAX: usize = 10;
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct BarHeld {
    pub label: String,
    pub tries: Tries,
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SectionHeld {
    /// False for the bars that are in no section.
    pub is_section: bool,
    pub name: String,
    /// `bars 1-4`; empty when the name says it.
    pub bars_words: String,
    pub bars: Vec<BarHeld>,
    pub tries: Tries,
    /// Days on which it was played clean at least once.
    pub n_clean_days: usize,
    /// Clean and all reps of today.
    pub today: (usize, usize),
    /// Clean often enough today: to be asked again on another day, and not yet secure.
    pub is_warm: bool,
    /// Tested over days as often as it takes, and lately.
    pub is_secure: bool,
}

/// All of it.
#[derive(Clone, PartialEq, Debug)]
pub struct Progress {
    pub title: String,
    pub today: NaiveDate,
    /// In page order; the last one may be bars outside every section.
    pub sections: Vec<SectionHeld>,
    /// Sections that held on the last day of practice and had not at the try before, and the other way.
    pub gained: Vec<String>,
    pub lost: Vec<String>,
    /// Sections that are secure and were not at the end of the last day of practice but one.
    pub secured: Vec<String>,
    /// Those that are so no more, each with how far it has come now.
    pub insecure: Vec<(String, String)>,
    /// Oldest first.
    pub recall: Vec<RecallDay>,
    pub days: Vec<PlayedDay>,
    pub runs: Vec<DatedRun>,
    /// How steady the latest run-through was.
    pub pace: Option<DatedPace>,
    /// Most days first.
    pub stubborn: Vec<Stubborn>,
    /// What is no section and can be forgotten by itself.
    pub items: Vec<ItemsHeld>,
    /// Levers and pedals that were heard to stand wrong, a line each.
    pub set_wrong: Vec<String>,
    pub n_readings: usize,
    pub n_told: usize,
}

/// The records that progress is made of.
pub struct Records<'a> {
    /// What is remembered of the piece, with the player's weights; without it nothing is said of what is secure.
    pub memory: Option<(&'a PieceMemory, &'a Weights)>,
    pub attempts: &'a Attempts,
    pub answers: &'a [DatedAnswer],
    pub runs: Vec<DatedRun>,
    pub pace: Option<DatedPace>,
    /// Levers and pedals that were heard to stand wrong, oldest first.
    pub slips: Vec<DatedSlip>,
}

impl Progress {
    /// Works it out for `today`. `noted` is asked what was noted in a few of the reps.
    ///
    /// # Errors
    /// When `noted` fails.
    pub fn of<E>(
        piece: &Piece,
        records: Records<'_>,
        today: NaiveDate,
        mut noted: impl FnMut(RepRow) -> Result<Vec<Noted>, E>,
    ) -> Result<Progress, E> {
        let Records { memory, attempts, answers, runs, pace, slips } = records;
        let changed = memory.map(|(memory, weights)| (memory, memory.changed(ItemKind::Section, today, weights)));
        let (mut secured, mut insecure) = (Vec::new(), Vec::new());
        if let Some((memory, changed)) = changed {
            let name = |idx: ItemIdx| plain(&shown(&memory.items[idx.0].name));
            secured.extend(changed.secured.into_iter().map(name));
            insecure.extend(changed.lost.into_iter().map(|(idx, now)| (name(idx), now.words())));
        }
        let is_secure = |bars: std::ops::Range<usize>| {
            memory.is_some_and(|(memory, weights)| {
                let item = memory.of_kind(ItemKind::Section).find(|idx| memory.items[idx.0].bars == bars);
                item.is_some_and(|idx| memory.security(idx, today, weights).is_secure())
            })
        };
        let layout = Layout::new(piece, attempts);
        let days = by_day(attempts, answers);
        let mut tries = Latest::new(&layout);
        for (day, moments) in days.iter().rev() {
            tries.look_at(*day, moments, &layout, piece, attempts, answers, &mut noted)?;
        }
        let (bar_tries, section_tries) = tries.oldest_first();
        let counts = layout.counts(attempts, today);
        let bar = |idx: usize| BarHeld { label: plain(&piece.score.bars[idx].label.0), tries: bar_tries[idx].clone() };
        let mut sections: Vec<SectionHeld> = Vec::new();
        for (nth, section) in piece.sections.iter().enumerate() {
            let words = bars_words(&section.bars, &piece.score);
            let (n_clean_days, n_clean, n_reps) = counts[nth];
            sections.push(SectionHeld {
                is_section: true,
                name: plain(&shown(&section.name)),
                bars_words: if words == section.name { String::new() } else { plain(&shown(&words)) },
                bars: section.bars.iter().map(|b| bar(b.0)).collect(),
                tries: section_tries[nth].clone(),
                n_clean_days,
                today: (n_clean, n_reps),
                is_warm: n_clean >= usize::from(section.target_reps.unwrap_or(piece.target_reps)),
                is_secure: is_secure(section.bars.start.0..section.bars.end.0),
            });
        }
        let outside: Vec<BarHeld> =
            (0..layout.n_bars).filter(|b| !piece.sections.iter().any(|s| s.bars.contains(crate::score::BarIdx(*b)))).map(bar).collect();
        let last_day = days.keys().next_back().copied();
        let changed = |from_held: bool| {
            let named = sections.iter().filter(|s| match &s.tries.0[..] {
                [.., before, last] => {
                    Some(last.day) == last_day && (before.held == Held::Yes) == from_held && (last.held == Held::Yes) != from_held
                }
                _ => false,
            });
            named.map(|s| s.name.clone()).collect()
        };
        let (gained, lost) = (changed(false), changed(true));
        if !outside.is_empty() {
            sections.push(SectionHeld {
                is_section: false,
                name: tr!("bars in no section"),
                bars_words: String::new(),
                bars: outside,
                tries: Tries::default(),
                n_clean_days: 0,
                today: (0, 0),
                is_warm: false,
                is_secure: false,
            });
        }
        Ok(Progress {
            title: plain(&piece.title),
            today,
            sections,
            gained,
            lost,
            secured,
            insecure,
            recall: recall(answers),
            days: played(&days, attempts, answers),
            stubborn: last_day.map_or_else(Vec::new, |last| stubborn(last, attempts, answers, &layout, piece)),
            runs,
            pace,
            items: memory.map_or_else(Vec::new, |(memory, _)| ItemsHeld::of(memory, today)),
            set_wrong: set_wrong(&slips),
            n_readings: attempts.all.iter().filter(|a| a.mode == Mode::Reading).count(),
            n_told: attempts.all.iter().filter(|a| a.witness == Witness::Told).count()
                + answers.iter().filter(|a| a.witness == Witness::Told).count(),
        })
    }
}
