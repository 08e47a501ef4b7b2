//! `catchword plan`: what to play today, over all pieces; and how that plan fares on virtual learners.

mod carry_out;
mod simulate;
mod words;

pub use carry_out::carry_out;

use std::collections::HashSet;

use chrono::NaiveDate;
use clap::Args;

use crate::analysis::switches::Switch;
use crate::analysis::{Analysis, analyse};
use crate::cli::open_as_set;
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::attempts::{Attempt, Attempts};
use crate::journal::store::Store;
use crate::memory::fit::{Fitted, fit};
use crate::memory::item::{ChangeAt, Layout, PlaceAt, SectionAt};
use crate::memory::load;
use crate::memory::pace::{N_LATEST, Pace};
use crate::memory::piece_memory::{PieceFacts, PieceMemory, SettingSlips};
use crate::memory::plan::outlook::outlook;
use crate::memory::plan::{DayPlan, PlanConfig, plan_days};
use crate::memory::rules::Rules;
use crate::midi::Matching;
use crate::paths::Paths;
use crate::piece::Piece;
use crate::piece_folder::{OpenedPiece, piece_names};
use crate::practice::words::moves;
use crate::score::{Place, Score, unfold};
use crate::setting::{self, Together};
use crate::time::Tempo;

/// Quarters a minute where neither piece nor score has a tempo; only expected minutes rest on it.
const TEMPO: f64 = 80.0;
/// Switches that become items: one for every two sections at most, the riskiest, and so many exits of each.
const SECTIONS_A_SWITCH: usize = 2;
const EXITS_MAX: usize = 4;

#[derive(Args, Debug)]
pub struct PlanArgs {
    /// One piece only, by name or path; without it all that you practise
    piece: Option<String>,
    /// The time there is, rests included
    #[arg(long, value_name = "N", default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=480))]
    minutes: u16,
    /// Show so many days, as if all that is planned were played and held
    #[arg(long, value_name = "D", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=90))]
    days: u16,
    /// Plan from this day instead of today
    #[arg(long, value_name = "YYYY-MM-DD")]
    on: Option<NaiveDate>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
    /// Show what was expected to hold against what held
    #[arg(long)]
    calibration: bool,
    /// Try the plan against two simpler ones on virtual learners
    #[arg(long, conflicts_with_all = ["piece", "minutes", "days", "on", "calibration"])]
    simulate: bool,
    /// Which learners are met
    #[arg(long, value_name = "N", default_value_t = 1, requires = "simulate")]
    seed: u64,
    /// Write plain lines, as a plan always is
    #[arg(long, conflicts_with = "json")]
    plain: bool,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<std::path::PathBuf>,
}

pub fn run(args: PlanArgs) -> anyhow::Result<()> {
    if args.simulate {
        return super::print_lines(simulate::run(args.seed, args.json));
    }
    let paths = Paths::find(args.data.as_deref())?;
    let config = super::settings(&paths)?;
    let store = super::open_journal(&paths)?;
    let today = args.on.unwrap_or_else(|| wall_now().date_naive());
    let known = Known::read(&store, &opened(args.piece.as_deref(), &store, &paths, &config)?, config.rules)?;
    if known.pieces.is_empty() {
        return super::print_lines([
            tr!("Nothing to plan yet. Make a piece of a score with: catchword add SCORE"),
            tr!("or play one of the demo pieces: catchword drill ferry"),
        ]);
    }
    let day = PlanConfig { today, minutes: args.minutes.into(), pace: known.pace };
    let plans = plan_days(&known.pieces, &known.fitted.weights, &day, args.days.into());
    let said = outlook(&known.pieces, &known.fitted.weights, &day);
    if args.json {
        return super::print_lines([words::json(&known, &plans, &said, today).to_string()]);
    }
    let mut lines: Vec<String> = plans.iter().flat_map(|plan| words::day(&known, plan, args.minutes)).collect();
    lines.extend(too_long(f64::from(args.minutes), &config.rules));
    // The days after today are not planned to be carried out as they stand.
    lines.extend(plans.first().and_then(|plan| too_much(&known, plan, today, &config.rules)));
    lines.extend(words::after(&known, &said, today, args.piece.is_some()));
    if args.calibration {
        lines.extend(words::calibration_lines(&known));
    }
    super::print_lines(lines)
}

/// Says that a sitting is longer than is good for the hands.
pub fn too_long(minutes: f64, rules: &Rules) -> Option<String> {
    let most = rules.sitting_minutes_max;
    let said = || {
        tr!(
            "{n} minutes are long for one sitting: with more than {most}, two with hours between them are easier on the hands.",
            n = minutes.round(),
            most
        )
    };
    (minutes > most).then(said)
}

/// Says that a week comes to much more than is usual; what is planned counts without its rests.
fn too_much(known: &Known, plan: &DayPlan, today: NaiveDate, rules: &Rules) -> Option<String> {
    let minutes = |rep: &Attempt| (rep.day, rep.length.secs_f64() / 60.0);
    let played = known.attempts.iter().flat_map(|attempts| attempts.all.iter().map(minutes));
    let planned = plan.steps.iter().filter(|step| step.piece.is_some()).map(|step| step.minutes).sum();
    load::too_much(played, planned, today, rules.week_growth_max).map(|load| load.words())
}

/// All that is remembered of the pieces that are practised.
pub struct Known {
    pub pieces: Vec<PieceMemory>,
    /// All attempts at each of them.
    pub attempts: Vec<Attempts>,
    pub fitted: Fitted,
    pub pace: Pace,
}

impl Known {
    /// Reads the records of the pieces given and fits the model to them.
    pub fn read(store: &Store, opened: &[OpenedPiece], rules: Rules) -> anyhow::Result<Known> {
        Known::read_items(store, opened, rules, |piece| switches(piece, analyse(&piece.score, piece.part).as_ref()))
    }

    /// Reads the records of one piece that is analysed already.
    pub fn read_analysed(store: &Store, opened: &OpenedPiece, analysis: &Analysis, rules: Rules) -> anyhow::Result<Known> {
        Known::read_items(store, std::slice::from_ref(opened), rules, |piece| switches(piece, Some(analysis)))
    }

    fn read_items(
        store: &Store,
        opened: &[OpenedPiece],
        rules: Rules,
        exits: impl Fn(&Piece) -> Vec<Vec<PlaceAt>>,
    ) -> anyhow::Result<Known> {
        let (mut pieces, mut all) = (Vec::new(), Vec::new());
        let mut latest: Vec<Attempt> = Vec::new();
        for piece in opened {
            let mut memory = PieceMemory::new(facts(piece, exits(&piece.piece)));
            let attempts = store.attempts(&piece.key)?;
            // Few pieces have levers to move, and the slips of all others need not be looked for.
            let is_set = memory.facts.layout.changes.iter().any(|change| !change.heard_at.is_empty());
            let slips = if is_set { store.setting_slips(&piece.key)? } else { SettingSlips::default() };
            memory.read(&attempts, &store.lapses(&piece.key)?, &slips, &store.answers(&piece.key)?);
            latest.extend(&attempts.all[attempts.all.len().saturating_sub(N_LATEST)..]);
            pieces.push(memory);
            all.push(attempts);
        }
        latest.sort_by_key(|rep| rep.at);
        let histories: Vec<_> = pieces.iter().flat_map(PieceMemory::graded).collect();
        let mut fitted = fit(&histories);
        fitted.weights.rules = rules;
        pieces.iter_mut().for_each(|p| p.remember(&fitted.weights));
        Ok(Known { pieces, attempts: all, fitted, pace: Pace::of(&latest) })
    }
}

/// Opens the piece named, or all that are practised: those with something in the journal, those in the player's own
/// directory, and those with a day of performance. Pieces that cannot be opened are left out of the whole, and named on standard error.
pub fn opened(named: Option<&str>, store: &Store, paths: &Paths, config: &Config) -> anyhow::Result<Vec<OpenedPiece>> {
    if let Some(name) = named {
        return Ok(vec![open_as_set(name, None, paths, config)?]);
    }
    let practised: HashSet<String> = store.sessions()?.into_iter().filter(|s| s.n_reps > 0).map(|s| s.opened.piece_key).collect();
    let mut out = Vec::new();
    for name in piece_names(&paths.pieces) {
        match open_as_set(&name, None, paths, config) {
            Ok(piece) => {
                let is_own = piece.file.as_ref().is_some_and(|file| file.starts_with(&paths.data));
                if is_own || practised.contains(&piece.key) || piece.piece.perform_on.is_some() {
                    out.push(piece);
                }
            }
            Err(error) => {
                super::complain(&tr!("{name} is left out of the plan: {why}", name, why = crate::language::system::chain(&error)))
            }
        }
    }
    Ok(out)
}

/// Returns the exits of each switch that becomes an item.
fn switches(piece: &Piece, analysis: Option<&Analysis>) -> Vec<Vec<PlaceAt>> {
    let Some(analysis) = analysis else { return Vec::new() };
    let n_max = piece.sections.len().div_ceil(SECTIONS_A_SWITCH);
    let exits = |s: &Switch| s.places.iter().take(EXITS_MAX).map(|at| place_at(analysis.place(*at), &piece.score)).collect();
    analysis.switches.iter().take(n_max).map(exits).collect()
}

fn place_at(place: Place, score: &Score) -> PlaceAt {
    PlaceAt { text: place.text(score), bar: place.bar.0 }
}

/// Turns a checked piece and what its analysis finds into plain places.
fn facts(opened: &OpenedPiece, switches: Vec<Vec<PlaceAt>>) -> PieceFacts {
    let piece = &opened.piece;
    let score = &piece.score;
    let sections = piece.sections.iter().map(|s| SectionAt {
        name: s.name.clone(),
        bars: s.bars.start.0..s.bars.end.0,
        target: s.target_reps.unwrap_or(piece.target_reps),
    });
    PieceFacts {
        key: opened.key.clone(),
        title: piece.title.clone(),
        perform_on: piece.perform_on,
        layout: Layout {
            labels: score.bars.iter().map(|b| b.label.to_string()).collect(),
            sections: sections.collect(),
            landmarks: piece.landmarks.iter().map(|l| (l.name.clone(), place_at(l.place, score))).collect(),
            switches,
            changes: changes(piece),
        },
        bar_seconds: bar_seconds(piece),
    }
}

/// Where levers or pedals of a harp's piece move.
fn changes(piece: &Piece) -> Vec<ChangeAt> {
    let Some((harp, bars)) = piece.harp.as_ref().zip(piece.score.all_bars()) else { return Vec::new() };
    let (score, part) = (&piece.score, piece.part());
    let stretch = unfold(score, part, &bars);
    let plan = setting::plan(harp, score, part, &stretch, piece.tempo);
    let is_heard = !matches!(piece.hearing.matching, Matching::Strings { .. });
    let text = |place: &Place| place.text(score);
    let change = |together: Together| ChangeAt {
        name: moves(&together, score),
        place: PlaceAt { text: text(&together.place), bar: together.place.bar.0 },
        for_bar: together.for_place.bar.0,
        moved: together.changes.iter().map(|change| change.what.to_string()).collect(),
        heard_at: if is_heard { together.heard_at(&plan, harp, part, &stretch).iter().map(text).collect() } else { Vec::new() },
    };
    let mut changes: Vec<ChangeAt> = plan.together().into_iter().map(change).collect();
    changes.sort_by_key(|change| change.place.bar);
    changes
}

/// Returns how long each printed bar takes in the whole piece, all times through.
fn bar_seconds(piece: &Piece) -> Vec<f64> {
    let score = &piece.score;
    let mut seconds = vec![0.0; score.bars.len()];
    let Some(all) = score.all_bars() else { return seconds };
    for played in unfold(score, piece.part(), &all).bars {
        let bar = score.bar(played.bar);
        let tempo = piece.tempo.or(score.tempo_at(bar.start)).map_or(TEMPO, Tempo::quarters_per_minute);
        seconds[played.bar.0] += bar.length.to_f64() * 60.0 / tempo;
    }
    seconds
}
