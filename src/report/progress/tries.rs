//! How a bar or section was on the first attempt of a day, and the latest of these tries.

use std::collections::HashSet;

use chrono::NaiveDate;

use super::days::Moment;
use super::layout::Layout;
use crate::journal::attempts::{Attempt, Attempts, Noted, RepRow};
use crate::journal::entry::{Mode, Outcome, Verdict, Witness};
use crate::journal::stats::DatedAnswer;
use crate::piece::Piece;

/// Tries that are looked back at.
pub const N_TRIES_MAX: usize = 6;
/// Tries that are shown.
pub const N_TRIES_SHOWN: usize = 3;

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

/// The latest tries, newest first, while they are collected.
pub struct Latest {
    bars: Vec<Vec<Try>>,
    sections: Vec<Vec<Try>>,
}

impl Latest {
    pub fn new(layout: &Layout) -> Latest {
        Latest { bars: vec![Vec::new(); layout.n_bars], sections: vec![Vec::new(); layout.n_sections] }
    }

    #[expect(clippy::too_many_arguments, reason = "all of it is read, nothing kept")]
    pub fn look_at<E>(
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

    pub fn oldest_first(self) -> (Vec<Tries>, Vec<Tries>) {
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
