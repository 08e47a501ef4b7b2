//! What a drill is made of: one machine over all spans, or the parts of a session of some minutes.

use std::sync::Arc;

use anyhow::Context as _;
use chrono::NaiveDate;

use super::drill::NO_NOTES;
use super::plan::Known;
use super::quiz;
use crate::analysis::Analysis;
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::attempts::{Attempt, Attempts};
use crate::journal::entry::{Mode, Verdict, Witness};
use crate::journal::store::Store;
use crate::memory::item::ItemKind;
use crate::memory::plan::{PlanConfig, What, plan};
use crate::piece::{Cue, Piece, Section};
use crate::piece_folder::OpenedPiece;
use crate::practice::by_word::ByWord;
use crate::practice::quiz::{Quiz, QuizConfig};
use crate::practice::sitting::{Part, Sitting, Times};
use crate::practice::{Engine, Machine, PastRep, PracticeConfig, Span};
use crate::score::{BarRange, Place};
use crate::theory::Hand;
use crate::time::Micros;

/// A session of fewer minutes has no quiz; a longer one gives it a fifth of its time, up to the most.
const MINUTES_FOR_QUIZ: u32 = 15;
const QUIZ_SHARE: u32 = 5;
const QUIZ_MINUTES_MAX: u32 = 6;

/// What a drill knows from the start.
#[derive(Default)]
pub struct Beginning {
    pub drafts: Vec<Cue>,
    pub open: Vec<(Place, Option<Hand>)>,
    /// Lines of story that were begun for such places.
    pub unfinished: Vec<(Place, Option<Hand>, String)>,
    pub reached_today: Vec<String>,
    /// Sections that are not in turns with each other.
    pub look_alikes: Vec<(String, String)>,
    /// What earlier sessions tell of cues, where cues fade.
    pub past: Vec<PastRep>,
    pub quiz: Option<Quiz>,
    /// Nothing is heard: the player says how each rep went.
    pub is_told: bool,
}

/// A section that the day's plan has, with the clean reps it wants.
pub struct Planned {
    pub section: String,
    pub reps: u8,
}

/// Returns one drill over all spans, or a session of some minutes with the quiz and the run-through at its end.
pub fn machine(
    piece: Piece,
    spans: Vec<Span>,
    config: &Config,
    minutes: Option<u32>,
    begin: Beginning,
) -> anyhow::Result<Box<dyn Machine>> {
    let Beginning { drafts, open, unfinished, reached_today, look_alikes, past, quiz, is_told } = begin;
    let piece = Arc::new(piece);
    let engine =
        |spans: Vec<Span>, practice: PracticeConfig| Engine::try_new(Arc::clone(&piece), spans, practice).with_context(|| tr!(NO_NOTES));
    let by_word = |spans: Vec<Span>| ByWord::try_new(Arc::clone(&piece), spans, config.practice()).with_context(|| tr!(NO_NOTES));
    let drill = |spans: Vec<Span>, practice: PracticeConfig| -> anyhow::Result<Box<dyn Machine>> {
        if is_told {
            return Ok(Box::new(by_word(spans)?.with_reached_today(reached_today)));
        }
        let knowing = engine(spans, practice)?.with_drafts(drafts).with_open_places(open).with_unfinished_lines(unfinished);
        Ok(Box::new(knowing.with_reached_today(reached_today).with_look_alikes(look_alikes).with_past(&past)))
    };
    let Some(minutes) = minutes else { return drill(spans, config.practice()) };
    let (work, mut run): (Vec<Span>, Vec<Span>) = spans.into_iter().partition(Span::is_drill);
    let whole = match run.pop() {
        Some(run) => run,
        None => Span::whole(&piece, Mode::RunThrough).with_context(|| tr!(NO_NOTES))?,
    };
    let for_quiz = if quiz.is_some() { minutes_of_quiz(minutes) } else { 0 };
    let length = |minutes: u32| Micros(i64::from(minutes) * 60_000_000);
    let times = Times::of(length(minutes), &whole, length(for_quiz));
    let mut parts = Vec::new();
    if !work.is_empty() && times.work.ends > Micros::ZERO {
        let practice = PracticeConfig { rest: Some(config.breath), ..config.practice() };
        parts.push(Part::work(drill(work, practice)?, times.work));
    }
    parts.extend(quiz.map(|quiz| Part::until(quiz, times.other)));
    let run: Box<dyn Machine> = if is_told { Box::new(by_word(vec![whole])?) } else { Box::new(engine(vec![whole], config.practice())?) };
    parts.push(Part::whole(run));
    Ok(Box::new(Sitting::try_new(parts, config.rests).expect("the run-through is a part")))
}

fn minutes_of_quiz(minutes: u32) -> u32 {
    if minutes < MINUTES_FOR_QUIZ { 0 } else { (minutes / QUIZ_SHARE).min(QUIZ_MINUTES_MAX) }
}

/// Makes the quiz of a session, where the session is long enough for one.
pub fn quiz_for(
    store: &Store,
    opened: &OpenedPiece,
    read: (&Analysis, &Known),
    config: &Config,
    minutes: u32,
    is_told: bool,
) -> anyhow::Result<Option<Quiz>> {
    let minutes = minutes_of_quiz(minutes);
    if minutes == 0 {
        return Ok(None);
    }
    let seed = wall_now().timestamp_micros().cast_unsigned();
    quiz::over(store, opened, read, config, QuizConfig { is_told, ..config.quiz(minutes, seed) })
}

/// Returns the pairs of sections that exits of one switch lie in.
pub fn look_alikes(piece: &Piece, analysis: &Analysis) -> Vec<(String, String)> {
    let section_at = |at: Place| piece.sections.iter().position(|s| (s.bars.start..s.bars.end).contains(&at.bar));
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    for switch in &analysis.switches {
        let sections: Vec<usize> = switch.places.iter().filter_map(|at| section_at(analysis.place(*at))).collect();
        for (nth, one) in sections.iter().enumerate() {
            let others = sections[nth + 1..].iter().filter(|other| *other != one);
            pairs.extend(others.map(|other| (*one.min(other), *one.max(other))));
        }
    }
    pairs.sort_unstable();
    pairs.dedup();
    pairs.into_iter().map(|(one, other)| (piece.sections[one].name.clone(), piece.sections[other].name.clone())).collect()
}

/// Returns what was heard of a piece in earlier sessions, as far as it tells of cues.
pub fn past_reps(piece: &Piece, reps: &Attempts) -> Vec<PastRep> {
    let bar = |label: &str| piece.score.find_bar(label);
    let past = |rep: &Attempt| {
        let (first, last) = &reps.spans[rep.span].bars;
        let bars = BarRange::try_new(bar(first)?.0..bar(last)?.0 + 1)?;
        let failed = rep.failed.and_then(|failed| Place::parse(&reps.failures[failed].0, &piece.score).ok());
        Some(PastRep { bars, verdict: rep.verdict, failed })
    };
    reps.all.iter().filter(|rep| rep.witness == Witness::Heard && rep.mode == Mode::Drill).filter_map(past).collect()
}

/// Returns the sections that reached their target on a day.
pub fn reached_on(piece: &Piece, reps: &Attempts, day: NaiveDate) -> Vec<String> {
    let of_day = |name: &str| {
        let late = reps.all.iter().rev().take_while(|r| r.day >= day);
        late.filter(|r| r.day == day && r.verdict == Verdict::Clean && reps.spans[r.span].name == name).count()
    };
    let is_reached = |s: &&Section| of_day(&s.name) >= usize::from(s.target_reps.unwrap_or(piece.target_reps));
    piece.sections.iter().filter(is_reached).map(|s| s.name.clone()).collect()
}

/// Returns the sections of the day's plan for what is known of one piece, in its order.
pub fn planned(known: &Known, today: NaiveDate, minutes: u32) -> Vec<Planned> {
    let config = PlanConfig { today, minutes: minutes.into(), pace: known.pace };
    let steps = plan(&known.pieces, &known.fitted.weights, &config).steps.into_iter();
    let section = |what: What| match what {
        What::Item { kind: ItemKind::Section, name, .. } => Some(name),
        _ => None,
    };
    steps.filter_map(|step| Some(Planned { section: section(step.what)?, reps: step.reps.clamp(1, 9) })).collect()
}

/// Puts the planned sections first, in the order of the plan; the others and the joins keep theirs.
pub fn begin_as_planned(spans: &mut Vec<Span>, planned: &[Planned]) {
    let mut first = Vec::new();
    for step in planned {
        let is_it = |s: &Span| s.is_drill() && s.joined.is_empty() && s.name == step.section;
        if let Some(at) = spans.iter().position(is_it) {
            let mut span = spans.remove(at);
            span.target = step.reps;
            first.push(span);
        }
    }
    spans.splice(0..0, first);
}
