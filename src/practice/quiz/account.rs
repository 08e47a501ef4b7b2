//! What a quiz came to, in a few lines and in counts.

use super::question::kind_words;
use crate::journal::entry::{Outcome, QuestionKind};
use crate::language::tenths;
use crate::time::Micros;

/// One answer, as far as the account tells of it.
#[derive(Clone, PartialEq, Debug)]
pub struct Answered {
    pub number: u32,
    pub kind: QuestionKind,
    /// What the player calls the place.
    pub name: String,
    pub outcome: Outcome,
    pub recall: Option<Micros>,
    /// For a wrong turn: the exit asked for and the one taken, in words.
    pub confused: Option<(String, String)>,
}

/// Starts that came at once are not told as slow.
const SLOW: Micros = Micros(1_500_000);
const N_SLOW: usize = 3;
const N_PLACES: usize = 6;

/// Returns the lines: by kind, by place, slowest starts, switches confused.
pub fn lines(answers: &[Answered]) -> Vec<String> {
    if answers.is_empty() {
        return vec![tr!("no question answered yet")];
    }
    let mut lines = vec![tr!("{held} of 1 answer held" | "{held} of {n} answers held" % answers.len(), held = n_held(answers.iter()))];
    let kinds = [
        QuestionKind::ColdStart,
        QuestionKind::GoOn,
        QuestionKind::WhatNext,
        QuestionKind::Switch,
        QuestionKind::Jump,
        QuestionKind::Change,
    ];
    for kind in kinds {
        let of_kind = || answers.iter().filter(|a| a.kind == kind);
        if of_kind().count() > 0 {
            lines.push(tr!("{kind}: {held} of {all}", kind = kind_words(kind), held = n_held(of_kind()), all = of_kind().count()));
        }
    }
    lines.extend(by_place(answers));
    lines.extend(slowest(answers));
    lines.extend(confused(answers));
    lines
}

fn n_held<'a>(answers: impl Iterator<Item = &'a Answered>) -> usize {
    answers.filter(|a| a.outcome == Outcome::Held).count()
}

/// Places that did not always hold, weakest first.
fn by_place(answers: &[Answered]) -> Option<String> {
    let mut places: Vec<(&str, usize, usize)> = Vec::new();
    for answer in answers {
        let held = usize::from(answer.outcome == Outcome::Held);
        match places.iter_mut().find(|p| p.0 == answer.name) {
            Some(place) => *place = (place.0, place.1 + held, place.2 + 1),
            None => places.push((&answer.name, held, 1)),
        }
    }
    places.retain(|(_, held, asked)| held < asked);
    places.sort_by_key(|(_, held, asked)| std::cmp::Reverse(asked - held));
    let told: Vec<String> =
        places.iter().take(N_PLACES).map(|(name, held, asked)| tr!("{name} {held} of {asked}", name, held, asked)).collect();
    (!told.is_empty()).then(|| tr!("to come back to: {}", told.join(&tr!("; "))))
}

fn slowest(answers: &[Answered]) -> Option<String> {
    let mut slow: Vec<(Micros, &str)> = Vec::new();
    for answer in answers {
        let Some(recall) = answer.recall.filter(|r| *r >= SLOW) else { continue };
        match slow.iter_mut().find(|s| s.1 == answer.name) {
            Some(known) => known.0 = known.0.max(recall),
            None => slow.push((recall, &answer.name)),
        }
    }
    slow.sort_by_key(|(recall, _)| std::cmp::Reverse(*recall));
    let told: Vec<String> = slow.iter().take(N_SLOW).map(|(recall, name)| format!("{name} {} s", tenths(recall.secs_f64()))).collect();
    (!told.is_empty()).then(|| tr!("slowest to come: {}", told.join(&tr!("; "))))
}

fn confused(answers: &[Answered]) -> Option<String> {
    let mut told: Vec<String> =
        answers.iter().filter_map(|a| a.confused.as_ref()).map(|(at, went)| tr!("{at} went the way of {went}", at, went)).collect();
    told.sort();
    told.dedup();
    (!told.is_empty()).then(|| tr!("switches confused: {}", told.join(&tr!("; "))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_account_counts_and_names_places() {
        let answer = |kind, name: &str, outcome, recall_ms: Option<i64>, confused: Option<(&str, &str)>| Answered {
            number: 0,
            kind,
            name: name.into(),
            outcome,
            recall: recall_ms.map(Micros::from_millis),
            confused: confused.map(|(a, b)| (a.into(), b.into())),
        };
        let answers = [
            answer(QuestionKind::ColdStart, "home again", Outcome::Held, Some(2_340), None),
            answer(QuestionKind::ColdStart, "first wave", Outcome::OutOfTime, None, None),
            answer(QuestionKind::ColdStart, "first wave", Outcome::Held, Some(4_100), None),
            answer(QuestionKind::Switch, "bar 21", Outcome::Failed, Some(900), Some(("bar 21", "bar 4"))),
            answer(QuestionKind::Jump, "home again", Outcome::Held, Some(800), None),
        ];
        assert_eq!(
            lines(&answers),
            [
                "3 of 5 answers held",
                "cold start: 2 of 3",
                "switch: 0 of 1",
                "jump: 1 of 1",
                "to come back to: first wave 1 of 2; bar 21 0 of 1",
                "slowest to come: first wave 4.1 s; home again 2.3 s",
                "switches confused: bar 21 went the way of bar 4",
            ]
        );
        assert_eq!(lines(&[]), ["no question answered yet"]);
    }
}
