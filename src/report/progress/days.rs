//! What was done on each day: reps and answers in the order of time, minutes, recall times.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::journal::attempts::Attempts;
use crate::journal::entry::{QuestionKind, Witness};
use crate::journal::stats::DatedAnswer;

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

/// Something that happened on a day: a rep or an answer, by its index.
#[derive(Clone, Copy)]
pub enum Moment {
    Rep(usize),
    Answer(usize),
}

/// Groups reps and answers by the player's own day, each in the order of time.
pub fn by_day(attempts: &Attempts, answers: &[DatedAnswer]) -> BTreeMap<NaiveDate, Vec<Moment>> {
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

/// Returns the median recall time of each day on which something was asked and heard.
pub fn recall(answers: &[DatedAnswer]) -> Vec<RecallDay> {
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

pub fn played(days: &BTreeMap<NaiveDate, Vec<Moment>>, attempts: &Attempts, answers: &[DatedAnswer]) -> Vec<PlayedDay> {
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
