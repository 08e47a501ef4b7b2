//! The order in which printed bars are played.
//!
//! The rules are common practice, told here because printed music leaves some of them unsaid:
//!
//! - A repeat goes back to the last repeat-start sign, or to just after the last finished repeat, or to the beginning.
//!   Repeats do not nest.
//! - It is played as often as its sign says (twice when silent). Under ending brackets the numbers decide instead
//!   (MusicXML 4.0 reference, repeat: `times` is for repeats that are not part of an ending):
//!   on each pass the bracket with that number is played, the others are passed over, and the passage ends with the
//!   highest number. A lone bracket with a repeat has its second time after it.
//! - D.C. and D.S. are taken once each, after the repeats of their bar. From then on repeats up to the bar of the jump
//!   are not retaken, unless the sign says so: the last ending is played. "Fine" and "to Coda" count only then; to Coda goes forward.
//! - A run of bars is a score of its own. A bracket that is cut off by the end of the run belongs to a passage
//!   whose later times are elsewhere: only the endings inside the run are played, and a run that ends within a
//!   first ending is played straight through once. A run that begins inside a bracket begins on that pass.

use super::{Bar, BarIdx, BarRange, Score};

/// Bars played at the most; beyond that (damaged files only) the run is played as printed, without repeats.
const PLAYED_BARS_MAX: usize = 50_000;

/// Returns the bars of a run in playing order; not empty.
pub(super) fn playing_order(score: &Score, run: &BarRange) -> Vec<BarIdx> {
    let first = run.start.0.min(score.bars.len());
    let bars = &score.bars[first..run.end.0.clamp(first, score.bars.len())];
    let is_cut = score.bars.get(run.end.0).is_some_and(|next| continues_bracket(bars.last(), next));
    let indices = Order::new(bars, is_cut).walk().unwrap_or_else(|| (0..bars.len()).collect());
    indices.into_iter().map(|i| BarIdx(first + i)).collect()
}

/// Tells whether a bar belongs to the same run of brackets as the bar before it.
fn continues_bracket(before: Option<&Bar>, bar: &Bar) -> bool {
    let (Some(before), here) = (before.map(|b| &b.signs.endings), &bar.signs.endings) else { return false };
    // Numbers that start again belong to the next passage.
    !before.is_empty() && !here.is_empty() && (before == here || here.iter().max() > before.iter().max())
}

/// A run of brackets side by side: the endings of one passage.
struct Brackets {
    end: usize,
    /// Passes over the passage in all.
    n_passes: u8,
}

struct Order<'s> {
    bars: &'s [Bar],
    /// For each bar the index of its [`Brackets`].
    bracket_of: Vec<Option<usize>>,
    brackets: Vec<Brackets>,
    played: Vec<usize>,
    /// Where the current passage began.
    passage: usize,
    /// The pass over it, from 1.
    pass: u8,
    /// Bars before this one have been played through to a D.C. or D.S.: their repeats are not retaken.
    retaken_end: usize,
    taken: Vec<bool>,
}

impl<'s> Order<'s> {
    fn new(bars: &'s [Bar], is_cut: bool) -> Self {
        let mut brackets: Vec<Brackets> = Vec::new();
        let mut bracket_of = vec![None; bars.len()];
        let mut start = 0;
        while start < bars.len() {
            if bars[start].signs.endings.is_empty() {
                start += 1;
                continue;
            }
            let end = (start + 1..bars.len()).find(|&i| !continues_bracket(Some(&bars[i - 1]), &bars[i])).unwrap_or(bars.len());
            let numbers = || bars[start..end].iter().map(|b| b.signs.endings.as_slice());
            let highest = numbers().flatten().copied().max().unwrap_or(1);
            let is_lone = numbers().all(|n| n == bars[start].signs.endings);
            let repeats = bars[start..end].iter().any(|b| b.signs.repeat_end.is_some());
            let is_cut = is_cut && end == bars.len();
            let n_passes = if is_lone && repeats && !is_cut { highest.saturating_add(1) } else { highest };
            bracket_of[start..end].fill(Some(brackets.len()));
            brackets.push(Brackets { end, n_passes });
            start = end;
        }
        let pass = bars.first().and_then(|b| b.signs.endings.first().copied()).unwrap_or(1);
        let taken = vec![false; bars.len()];
        Order { bars, bracket_of, brackets, played: Vec::new(), passage: 0, pass, retaken_end: 0, taken }
    }

    /// Plays from the first bar to the end; `None` when it grows beyond all music.
    fn walk(mut self) -> Option<Vec<usize>> {
        let mut at = 0;
        // Bars passed over are bounded too: each costs a step.
        for _ in 0..4 * PLAYED_BARS_MAX {
            let Some(bar) = self.bars.get(at) else { return Some(self.played) };
            if bar.signs.repeat_start && self.passage != at {
                (self.passage, self.pass) = (at, 1);
            }
            if self.is_passed_over(at) {
                at = self.leave_if_last(at);
                continue;
            }
            if self.played.len() >= PLAYED_BARS_MAX {
                return None;
            }
            self.played.push(at);
            match self.after(at) {
                Some(next) => at = next,
                None => return Some(self.played),
            }
        }
        None
    }

    fn is_passed_over(&self, at: usize) -> bool {
        let endings = &self.bars[at].signs.endings;
        let Some(bracket) = self.bracket_of[at] else { return false };
        let n_passes = self.brackets[bracket].n_passes;
        let pass = if self.is_retaken(at) { n_passes } else { self.pass };
        !endings.is_empty() && !endings.contains(&pass)
    }

    /// Tells whether the repeat around a bar has had its turn before a D.C. or D.S.
    fn is_retaken(&self, at: usize) -> bool {
        let end = self.bracket_of[at].map_or(at + 1, |b| self.brackets[b].end);
        end <= self.retaken_end && !self.bars[at].signs.repeat_after_jump
    }

    /// Steps over a bar; leaving the brackets ends the passage.
    fn leave_if_last(&mut self, at: usize) -> usize {
        if self.bracket_of[at].is_some_and(|b| self.brackets[b].end == at + 1) {
            (self.passage, self.pass) = (at + 1, 1);
        }
        at + 1
    }

    /// Returns the bar that follows a played one, or `None` at the end.
    fn after(&mut self, at: usize) -> Option<usize> {
        let signs = &self.bars[at].signs;
        if let Some(times) = signs.repeat_end {
            let n_passes = self.bracket_of[at].map_or(times, |b| self.brackets[b].n_passes);
            if self.pass < n_passes && !self.is_retaken(at) {
                self.pass += 1;
                return Some(self.passage);
            }
            (self.passage, self.pass) = (at + 1, 1);
        }
        let is_back = at < self.retaken_end;
        if is_back && signs.fine {
            return None;
        }
        if is_back
            && signs.to_coda
            && let Some(coda) = (at + 1..self.bars.len()).find(|&i| self.bars[i].signs.coda)
        {
            (self.passage, self.pass) = (coda, 1);
            return Some(coda);
        }
        if !self.taken[at]
            && let Some(target) = self.jump_target(at)
        {
            self.taken[at] = true;
            self.retaken_end = self.retaken_end.max(at + 1);
            (self.passage, self.pass) = (target, 1);
            return Some(target);
        }
        Some(self.leave_if_last(at))
    }

    /// Where a D.C. or D.S. at a bar leads, if it stands there and its sign is in the run.
    fn jump_target(&self, at: usize) -> Option<usize> {
        let signs = &self.bars[at].signs;
        if signs.dal_segno { (0..=at).rev().find(|&i| self.bars[i].signs.segno) } else { signs.da_capo.then_some(0) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::score::{BarLabel, BarSigns};
    use crate::theory::{KeySignature, Meter};
    use crate::time::ScoreTime;

    /// Bars from signs: `|:` repeat start, `:|` end, `:|3` three times, `:|!` also after a jump, `[1,2` ending, `S` segno, `C` coda,
    /// `>C` to coda, `F` fine, `DC`, `DS`; a dot is a plain bar.
    fn score(text: &str) -> Score {
        let bar = |(idx, signs_text): (usize, &str)| {
            let mut signs = BarSigns::default();
            for sign in signs_text.split('+') {
                match sign {
                    "." => {}
                    "|:" => signs.repeat_start = true,
                    "S" => signs.segno = true,
                    "C" => signs.coda = true,
                    ">C" => signs.to_coda = true,
                    "F" => signs.fine = true,
                    "DC" => signs.da_capo = true,
                    "DS" => signs.dal_segno = true,
                    other => match (other.strip_prefix(":|"), other.strip_prefix('[')) {
                        (Some(times), _) => {
                            signs.repeat_end = Some(times.parse().unwrap_or(2));
                            signs.repeat_after_jump = times == "!";
                        }
                        (_, Some(numbers)) => signs.endings = numbers.split(',').map(|n| n.parse().unwrap()).collect(),
                        _ => panic!("{other}"),
                    },
                }
            }
            let label = BarLabel((idx + 1).to_string());
            let (start, length) = (ScoreTime::quarters(4 * idx as i64), ScoreTime::quarters(4));
            Bar { label, start, length, offset: ScoreTime::ZERO, meter: Meter::COMMON, key: KeySignature::NONE, signs }
        };
        Score { bars: text.split_whitespace().enumerate().map(bar).collect(), ..Score::default() }
    }

    fn order(text: &str, run: std::ops::Range<usize>) -> String {
        let played = playing_order(&score(text), &BarRange::try_new(run).unwrap());
        played.iter().map(|b| (b.0 + 1).to_string()).collect::<Vec<_>>().join(" ")
    }

    fn check(rows: &[(&str, &str)]) {
        for &(text, played) in rows {
            let n = text.split_whitespace().count();
            assert_eq!(order(text, 0..n), played, "{text}");
        }
    }

    #[test]
    fn repeats_and_endings_are_played_as_common_practice_has_them() {
        check(&[
            (". . .", "1 2 3"),
            (". :| .", "1 2 1 2 3"),
            (". |: :| .", "1 2 3 2 3 4"),
            (". :|3", "1 2 1 2 1 2"),
            (":|1 .", "1 2"),
            // First and second ending, the second under a bracket or not.
            (". [1+:| [2 .", "1 2 1 3 4"),
            (". [1+:| . .", "1 2 1 3 4"),
            ("|: . [1,2+:| [3 |: :|", "1 2 3 1 2 3 1 2 4 5 6 5 6"),
            (". [1 [1+:| [2 [2 .", "1 2 3 1 4 5 6"),
            // A repeat sign on the last bracket leads nowhere further.
            (". [1+:| [2+:| .", "1 2 1 3 4"),
            // Two passages with endings, one after the other.
            (". [1+:| [2 . [1+:| [2 .", "1 2 1 3 4 5 4 6 7"),
            // Repeats do not nest: the second goes back to the end of the first.
            ("|: |: :| :|", "1 2 3 2 3 4 4"),
        ]);
    }

    #[test]
    fn da_capo_and_dal_segno_go_back_once_and_take_no_repeat_again() {
        check(&[
            (". F . DC", "1 2 3 4 1 2"),
            (". . DC", "1 2 3 1 2 3"),
            (":| F . DC", "1 1 2 3 4 1 2"),
            (". [1+:| [2+F . DC", "1 2 1 3 4 5 1 3"),
            (". S F . DS .", "1 2 3 4 5 2 3"),
            (". S >C . DS C .", "1 2 3 4 5 2 3 6 7"),
            ("S >C :| DS C :|", "1 2 3 1 2 3 4 1 2 5 6 5 6"),
            // A repeat that is marked to be taken again after the jump.
            (":| :|! F DC", "1 1 2 2 3 4 1 2 2 3"),
            // The D.C. waits for the repeat of its own bar.
            (". F :|+DC", "1 2 3 1 2 3 1 2"),
            // No sign to go to: not taken.
            (". . DS .", "1 2 3 4"),
            (". >C . .", "1 2 3 4"),
        ]);
    }

    #[test]
    fn a_run_is_a_score_of_its_own() {
        let text = ". |: . . [1 [1+:| [2 [2 . F DC";
        // The repeat begins before the run: back to the run's first bar.
        assert_eq!(order(text, 2..8), "3 4 5 6 3 4 7 8");
        // The run ends within the first ending: straight through.
        assert_eq!(order(text, 1..6), "2 3 4 5 6");
        assert_eq!(order(text, 1..5), "2 3 4 5");
        // It begins in a bracket: that pass.
        assert_eq!(order(text, 6..9), "7 8 9");
        assert_eq!(order(text, 4..9), "5 6 7 8 9");
        assert_eq!(order(text, 5..6), "6");
        // The D.C. inside goes to the run's start, as everything before is elsewhere.
        assert_eq!(order(text, 8..11), "9 10 11 9 10");
        assert_eq!(order(". [1,2+:| [3 .", 0..2), "1 2 1 2");
    }

    #[test]
    fn odd_signs_end_in_bounded_time_with_every_run_not_empty() {
        // Every combination of signs on three bars, a few thousand scores: none loops, none comes back empty.
        let signs = [".", "|:", ":|", ":|255", "[1", "[2+:|", "[7", "S", "C", ">C", "F", "DC", "DS", "DC+DS+:|+S+C+>C"];
        for a in signs {
            for b in signs {
                for c in signs {
                    let text = format!("{a} {b} {c}");
                    let played = playing_order(&score(&text), &BarRange::try_new(0..3).unwrap());
                    assert!(played.len() <= 3 * 520, "{text}: {}", played.len());
                    assert!(!played.is_empty(), "{text}");
                }
            }
        }
        let long = ":|255 ".repeat(1000);
        assert_eq!(playing_order(&score(&long), &BarRange::try_new(0..1000).unwrap()).len(), 1000);
    }
}
