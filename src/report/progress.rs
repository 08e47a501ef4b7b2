//! How a piece stands: what its record of practice comes to, bar by bar and day by day.
//!
//! A *try* is the first attempt of a day at a bar or section from memory, as it was on coming back; what follows on the same day is
//! practice, and is counted apart. Reading takes are no tries. Pure: the records are handed in; [`super::progress_text`],
//! [`super::progress_page`] and [`super::progress_svg`] write what is found.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::NaiveDate;

use super::items_held::{ItemsHeld, set_wrong};
use super::plain_text::plain;
use crate::journal::attempts::{Attempt, Attempts, DatedPace, DatedRun, DatedSlip, Noted, RepRow};
use crate::journal::entry::{Mode, Outcome, QuestionKind, Verdict, Witness};
use crate::journal::stats::DatedAnswer;
use crate::memory::item::{ItemIdx, ItemKind};
use crate::memory::model::Weights;
use crate::memory::piece_memory::PieceMemory;
use crate::piece::{Piece, bars_words};

/// Tries that are looked back at.
pub const N_TRIES_MAX: usize = 6;
/// Tries that are shown.
pub const N_TRIES_SHOWN: usize = 3;
/// Run-throughs that are shown.
pub const N_RUNS_MAX: usize = 10;
/// A place that failed is remembered this long.
const STUBBORN_DAYS: i64 = 28;
/// Fewer days on which it failed are bad luck.
const N_STUBBORN_DAYS_MIN: usize = 2;
const N_STUBBORN_MAX: usize = 6;

/// How a bar or section was on one try.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub enum Held {
    Yes,
    /// With a cue.
    Cued,
    No,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Try {
    pub day: NaiveDate,
    pub held: Held,
    pub witness: Witness,
}

/// Whether the latest tries held more often than those before.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Trend {
    Better,
    Same,
    Worse,
}

/// The tries of a bar or section, oldest first, [`N_TRIES_MAX`] at most.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct Tries(pub Vec<Try>);

impl Tries {
    /// Returns the tries to show, oldest first.
    pub fn shown(&self) -> &[Try] {
        &self.0[self.0.len().saturating_sub(N_TRIES_SHOWN)..]
    }

    pub fn last(&self) -> Option<&Try> {
        self.0.last()
    }

    /// Compares the tries shown with those before them, or the last with the others when there are no more.
    pub fn trend(&self) -> Trend {
        let n_later = if self.0.len() > N_TRIES_SHOWN { N_TRIES_SHOWN } else { 1 };
        let (before, later) = self.0.split_at(self.0.len().saturating_sub(n_later));
        let (Some(before), Some(later)) = (failing(before), failing(later)) else { return Trend::Same };
        // As fractions of the same denominator, so that equal means equal.
        match (later.0 * before.1).cmp(&(before.0 * later.1)) {
            std::cmp::Ordering::Less => Trend::Better,
            std::cmp::Ordering::Equal => Trend::Same,
            std::cmp::Ordering::Greater => Trend::Worse,
        }
    }
}

/// How far a list of tries failed, a cue counting half, and out of how many.
fn failing(tries: &[Try]) -> Option<(usize, usize)> {
    let sum = tries.iter().map(|t| t.held as usize).sum();
    (!tries.is_empty()).then_some((sum, tries.len()))
}

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

/// The recall times of one day.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct RecallDay {
    pub day: NaiveDate,
    pub median_s: f64,
    pub n_answers: usize,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PlayedDay {
    pub day: NaiveDate,
    pub n_reps: usize,
    /// Time in reps and answers, without what lies between.
    pub minutes: f64,
}

/// A bar that keeps failing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Stubborn {
    pub label: String,
    pub n_days: usize,
    /// What it mostly was, as [`crate::journal::entry::Happening::kind`].
    pub kind: String,
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
            let name = |idx: ItemIdx| plain(&memory.items[idx.0].name);
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
                name: plain(&section.name),
                bars_words: plain(if words == section.name { "" } else { &words }),
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
                name: "bars in no section".to_owned(),
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

/// Something that happened on a day: a rep or an answer, by its index.
#[derive(Clone, Copy)]
enum Moment {
    Rep(usize),
    Answer(usize),
}

/// Groups reps and answers by the player's own day, each in the order of time.
fn by_day(attempts: &Attempts, answers: &[DatedAnswer]) -> BTreeMap<NaiveDate, Vec<Moment>> {
    let mut out: BTreeMap<NaiveDate, Vec<Moment>> = BTreeMap::new();
    let (mut reps, mut asked) = (attempts.all.iter().enumerate().peekable(), answers.iter().enumerate().peekable());
    // Most moments are of the day of the one before: the tree is asked once a day.
    let mut today: Option<(NaiveDate, Vec<Moment>)> = None;
    loop {
        let is_rep = match (reps.peek(), asked.peek()) {
            (Some((_, rep)), Some((_, answer))) => rep.at <= answer.at,
            (Some(_), None) => true,
            (None, Some(_)) => false,
            (None, None) => break,
        };
        let (day, moment) = if is_rep {
            let (nth, rep) = reps.next().expect("it was there");
            (rep.day, Moment::Rep(nth))
        } else {
            let (nth, answer) = asked.next().expect("it was there");
            (answer.at.date_naive(), Moment::Answer(nth))
        };
        match today.as_mut().filter(|(of, _)| *of == day) {
            Some((_, moments)) => moments.push(moment),
            None => {
                if let Some((of, moments)) = today.replace((day, vec![moment])) {
                    out.entry(of).or_default().extend(moments);
                }
            }
        }
    }
    if let Some((of, moments)) = today {
        out.entry(of).or_default().extend(moments);
    }
    out
}

/// Where played spans and places lie in the piece as it is now.
struct Layout {
    n_bars: usize,
    n_sections: usize,
    bar_of: HashMap<String, usize>,
    /// By [`PlayedSpan`](crate::journal::attempts::PlayedSpan): its bars, half-open; none when the piece no longer has them.
    spans: Vec<Option<(usize, usize)>>,
    /// By span: the sections that lie in it.
    sections_in: Vec<Vec<usize>>,
    /// By failure.
    failed_bar: Vec<Option<usize>>,
}

impl Layout {
    fn new(piece: &Piece, attempts: &Attempts) -> Layout {
        let mut bar_of = HashMap::new();
        for (idx, bar) in piece.score.bars.iter().enumerate() {
            bar_of.entry(bar.label.0.clone()).or_insert(idx);
        }
        let range = |bars: &(String, String)| {
            let (first, last) = (*bar_of.get(&bars.0)?, *bar_of.get(&bars.1)?);
            (first <= last).then_some((first, last + 1))
        };
        let spans: Vec<Option<(usize, usize)>> = attempts.spans.iter().map(|s| range(&s.bars)).collect();
        let within = |span: &Option<(usize, usize)>| {
            let Some((from, end)) = *span else { return Vec::new() };
            let is_in = |s: &crate::piece::Section| from <= s.bars.start.0 && s.bars.end.0 <= end;
            piece.sections.iter().enumerate().filter(|(_, s)| is_in(s)).map(|(nth, _)| nth).collect()
        };
        let sections_in = spans.iter().map(within).collect();
        let (n_bars, n_sections) = (piece.score.bars.len(), piece.sections.len());
        let mut layout = Layout { n_bars, n_sections, bar_of, spans, sections_in, failed_bar: Vec::new() };
        layout.failed_bar = attempts.failures.iter().map(|(place, _)| layout.bar(place)).collect();
        layout
    }

    /// Returns the bar of a `bar.beat`; a label may itself have a dot.
    fn bar(&self, place: &str) -> Option<usize> {
        let label = place.rsplit_once('.').map_or(place, |(label, _)| label);
        self.bar_of.get(label).or_else(|| self.bar_of.get(place)).copied()
    }

    /// Returns by section the days with a clean rep, and the clean and all reps of today.
    fn counts(&self, attempts: &Attempts, today: NaiveDate) -> Vec<(usize, usize, usize)> {
        let mut counts = vec![(0, 0, 0); self.n_sections];
        let mut last_clean: Vec<Option<NaiveDate>> = vec![None; self.n_sections];
        for attempt in attempts.all.iter().filter(|a| a.mode != Mode::Reading) {
            let day = attempt.day;
            let is_clean = attempt.verdict == Verdict::Clean;
            for &section in &self.sections_in[attempt.span] {
                let count = &mut counts[section];
                if is_clean && last_clean[section] != Some(day) {
                    last_clean[section] = Some(day);
                    count.0 += 1;
                }
                if day == today {
                    count.1 += usize::from(is_clean);
                    count.2 += 1;
                }
            }
        }
        counts
    }
}

/// The latest tries, newest first, while they are collected.
struct Latest {
    bars: Vec<Vec<Try>>,
    sections: Vec<Vec<Try>>,
}

impl Latest {
    fn new(layout: &Layout) -> Latest {
        Latest { bars: vec![Vec::new(); layout.n_bars], sections: vec![Vec::new(); layout.n_sections] }
    }

    #[expect(clippy::too_many_arguments, reason = "all of it is read, nothing kept")]
    fn look_at<E>(
        &mut self,
        day: NaiveDate,
        moments: &[Moment],
        layout: &Layout,
        piece: &Piece,
        attempts: &Attempts,
        answers: &[DatedAnswer],
        noted: &mut impl FnMut(RepRow) -> Result<Vec<Noted>, E>,
    ) -> Result<(), E> {
        let is_open = |tries: &Vec<Try>| tries.len() < N_TRIES_MAX && tries.last().is_none_or(|t| t.day != day);
        for moment in moments {
            match *moment {
                Moment::Answer(nth) => {
                    let answer = &answers[nth];
                    let Some(bar) = layout.bar(&answer.place).filter(|b| is_open(&self.bars[*b])) else { continue };
                    let held = if answer.outcome == Outcome::Held { Held::Yes } else { Held::No };
                    self.bars[bar].push(Try { day, held, witness: answer.witness });
                }
                Moment::Rep(nth) => {
                    let attempt = &attempts.all[nth];
                    let Some((from, end)) = layout.spans[attempt.span].filter(|_| attempt.mode != Mode::Reading) else { continue };
                    let sections = &layout.sections_in[attempt.span];
                    if !(from..end).any(|b| is_open(&self.bars[b])) && !sections.iter().any(|s| is_open(&self.sections[*s])) {
                        continue;
                    }
                    let held = outcome_by_bar(attempt, attempts, (from, end), layout, noted)?;
                    for (bar, held) in (from..end).zip(&held) {
                        if let Some(held) = held.filter(|_| is_open(&self.bars[bar])) {
                            self.bars[bar].push(Try { day, held, witness: attempt.witness });
                        }
                    }
                    for &section in sections.iter().filter(|s| is_open(&self.sections[**s])).collect::<Vec<_>>() {
                        let bars = &piece.sections[section].bars;
                        let own = &held[bars.start.0 - from..bars.end.0 - from];
                        let is_alone = (bars.start.0, bars.end.0) == (from, end);
                        if let Some(held) = outcome_of_section(own, attempt.verdict, is_alone) {
                            self.sections[section].push(Try { day, held, witness: attempt.witness });
                        }
                    }
                }
            }
        }
        Ok(())
    }

    fn oldest_first(self) -> (Vec<Tries>, Vec<Tries>) {
        let turned = |all: Vec<Vec<Try>>| all.into_iter().map(|tries| Tries(tries.into_iter().rev().collect())).collect();
        (turned(self.bars), turned(self.sections))
    }
}

/// Tells how each bar of an attempt was; nothing for a bar that was not reached, or of which nothing is known.
fn outcome_by_bar<E>(
    attempt: &Attempt,
    attempts: &Attempts,
    (from, end): (usize, usize),
    layout: &Layout,
    noted: &mut impl FnMut(RepRow) -> Result<Vec<Noted>, E>,
) -> Result<Vec<Option<Held>>, E> {
    if attempt.verdict == Verdict::Clean {
        return Ok(vec![Some(Held::Yes); end - from]);
    }
    let failure = attempt.failed.map(|f| (layout.failed_bar[f], attempts.failures[f].1.as_str()));
    let noted = noted(attempt.row)?;
    if failure.is_none() && noted.is_empty() {
        return Ok(vec![None; end - from]);
    }
    let mut out = vec![Some(Held::Yes); end - from];
    let prompted: HashSet<usize> = noted.iter().filter(|n| is_prompt(&n.kind)).filter_map(|n| layout.bar(&n.place)).collect();
    let events = noted.iter().filter_map(|n| Some((layout.bar(&n.place)?, n.kind.as_str())));
    for (bar, kind) in events.chain(failure.and_then(|(bar, kind)| Some((bar?, kind)))) {
        // A note too many, or another tempo, is no gap in memory; a halt that a cue ended is the cue's.
        let held = match kind {
            "extra" | "tempo" => Held::Yes,
            "hesitation" if prompted.contains(&bar) => Held::Cued,
            kind if is_prompt(kind) => Held::Cued,
            _ => Held::No,
        };
        if (from..end).contains(&bar) {
            let worst = &mut out[bar - from];
            *worst = (*worst).max(Some(held));
        }
    }
    // A slip stops a drill: the bars after it were not asked.
    if let Some((Some(bar), _)) = failure.filter(|(_, kind)| attempt.mode == Mode::Drill && stops_a_drill(kind)) {
        let first_unplayed = (bar + 1).clamp(from, end);
        out[first_unplayed - from..].fill(None);
    }
    Ok(out)
}

fn is_prompt(kind: &str) -> bool {
    kind.starts_with("prompt-")
}

fn stops_a_drill(kind: &str) -> bool {
    !is_prompt(kind) && !matches!(kind, "hesitation" | "tempo")
}

/// Tells how a section was from its bars; the verdict speaks where they do not and the attempt was at this section alone.
fn outcome_of_section(bars: &[Option<Held>], verdict: Verdict, is_alone: bool) -> Option<Held> {
    let worst = bars.iter().flatten().max().copied();
    if is_alone {
        let told = match verdict {
            Verdict::Clean => Held::Yes,
            Verdict::Prompted => Held::Cued,
            Verdict::Broken => Held::No,
        };
        return Some(told);
    }
    worst.filter(|held| *held == Held::No || bars.iter().all(Option::is_some))
}

/// Returns the median recall time of each day on which something was asked and heard.
fn recall(answers: &[DatedAnswer]) -> Vec<RecallDay> {
    let mut by_day: BTreeMap<NaiveDate, Vec<f64>> = BTreeMap::new();
    for answer in answers.iter().filter(|a| a.witness == Witness::Heard && a.kind != QuestionKind::WhatNext) {
        if let Some(recall) = answer.recall {
            by_day.entry(answer.at.date_naive()).or_default().push(recall.secs_f64());
        }
    }
    let median = |(day, mut times): (NaiveDate, Vec<f64>)| {
        times.sort_by(f64::total_cmp);
        let n = times.len();
        RecallDay { day, median_s: (times[(n - 1) / 2] + times[n / 2]) / 2.0, n_answers: n }
    };
    by_day.into_iter().map(median).collect()
}

fn played(days: &BTreeMap<NaiveDate, Vec<Moment>>, attempts: &Attempts, answers: &[DatedAnswer]) -> Vec<PlayedDay> {
    let one = |(day, moments): (&NaiveDate, &Vec<Moment>)| {
        let seconds: f64 = moments
            .iter()
            .map(|m| match *m {
                Moment::Rep(nth) => attempts.all[nth].length.secs_f64(),
                Moment::Answer(nth) => answers[nth].length.secs_f64(),
            })
            .sum();
        let n_reps = moments.iter().filter(|m| matches!(m, Moment::Rep(_))).count();
        PlayedDay { day: *day, n_reps, minutes: seconds / 60.0 }
    };
    days.iter().map(one).collect()
}

/// Returns the bars that failed on several days of late.
fn stubborn(last: NaiveDate, attempts: &Attempts, answers: &[DatedAnswer], layout: &Layout, piece: &Piece) -> Vec<Stubborn> {
    let is_late = |day: NaiveDate| (last - day).num_days() < STUBBORN_DAYS;
    let mut days: BTreeMap<usize, HashSet<NaiveDate>> = BTreeMap::new();
    let mut kinds: HashMap<usize, BTreeMap<&str, usize>> = HashMap::new();
    let mut add = |bar: usize, day: NaiveDate, kind| {
        days.entry(bar).or_default().insert(day);
        *kinds.entry(bar).or_default().entry(kind).or_insert(0) += 1;
    };
    for attempt in attempts.all.iter().rev().take_while(|a| is_late(a.day)).filter(|a| a.mode != Mode::Reading) {
        let Some(failed) = attempt.failed.filter(|_| attempt.verdict != Verdict::Clean) else { continue };
        if let Some(bar) = layout.failed_bar[failed] {
            add(bar, attempt.day, attempts.failures[failed].1.as_str());
        }
    }
    for answer in answers.iter().rev().take_while(|a| is_late(a.at.date_naive())).filter(|a| a.outcome != Outcome::Held) {
        if let Some(bar) = layout.bar(&answer.place) {
            add(bar, answer.at.date_naive(), "cold");
        }
    }
    let kind_of = |bar: &usize| kinds[bar].iter().max_by_key(|(_, n)| **n).map_or("", |(kind, _)| *kind).to_owned();
    let label = |bar: usize| plain(&piece.score.bars[bar].label.0);
    let mut out: Vec<Stubborn> =
        days.iter().map(|(bar, days)| Stubborn { label: label(*bar), n_days: days.len(), kind: kind_of(bar) }).collect();
    out.retain(|s| s.n_days >= N_STUBBORN_DAYS_MIN);
    out.sort_by_key(|s| std::cmp::Reverse(s.n_days));
    out.truncate(N_STUBBORN_MAX);
    out
}
