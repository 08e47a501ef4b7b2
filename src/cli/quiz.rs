//! `catchword quiz`: cold starts, what comes next, switches, changes of levers and pedals, and jumps, for so many minutes.

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use chrono::Days;
use clap::Args;
use crossbeam_channel::bounded;

use super::N_SIGNALS_MAX;
use super::drill::{KEYS, NO_NOTES, PracticeArgs, keys_of, play};
use super::habits::learned;
use super::hearing::hear;
use super::plan::Known;
use super::record::Record;
use super::session::Session;
use super::voice::Voice;
use crate::analysis::{Analysis, analyse};
use crate::clock::{SessionClock, wall_now};
use crate::config::Config;
use crate::journal::attempts::PlayedSpan;
use crate::journal::store::Store;
use crate::memory::doubt::MemoryDoubt;
use crate::paths::Paths;
use crate::piece::Section;
use crate::piece_folder::{OpenedPiece, open_piece};
use crate::practice::Learned;
use crate::practice::quiz::{JournalDoubt, Quiz, QuizConfig, TodaysDoubt, keep_switches, questions};
use crate::score::Place;
use crate::source::open;
use crate::time::Micros;
use crate::tone::Tone;

#[derive(Args, Debug)]
pub struct QuizArgs {
    /// A piece: its name, its folder, or a score file
    piece: String,
    /// How long to ask; an answer begun by then is heard to its end
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=60))]
    minutes: u32,
    /// Ask in the order that this number gives; without it every session has its own
    #[arg(long, value_name = "S")]
    seed: Option<u64>,
    /// What to listen to: port:NAME, stream:PATH, take:FILE, part of a port's name; or keys, to answer unheard and say how it went
    #[arg(long, value_name = "INPUT")]
    input: Option<String>,
    /// Seconds from a question to the first note, 3 to 10 (as set, or else 5)
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(3..=10))]
    first: Option<u32>,
    /// Seconds from the call of a landmark to going on there, 1 to 4 (as set, or else 2); two beats where they last longer
    #[arg(long, value_name = "SECONDS", value_parser = clap::value_parser!(u32).range(1..=4))]
    jump: Option<u32>,
    #[command(flatten)]
    practice: PracticeArgs,
}

pub fn run(args: QuizArgs) -> anyhow::Result<ExitCode> {
    let paths = Paths::find(args.practice.data.as_deref())?;
    let config = super::settings(&paths)?;
    let mut opened = open_piece(&args.piece, args.practice.part.as_deref(), &paths.pieces)?;
    let input = args.input.as_deref().or(config.input.as_deref()).unwrap_or_default();
    // Opened before the journal: without an instrument there is no session to record.
    let source = if input == KEYS { None } else { Some(open(input)?) };
    if let Some(source) = &source {
        hear(&mut opened.piece, &source.name(), &config, &paths)?;
    }
    let store = super::open_journal(&paths)?;
    let seed = args.seed.unwrap_or_else(|| wall_now().timestamp_micros().cast_unsigned());
    let usual = config.quiz(args.minutes, seed);
    let seconds = |n: u32| Micros::from_millis(i64::from(n) * 1_000);
    let quiz_config = QuizConfig {
        first_onset: args.first.map_or(usual.first_onset, seconds),
        jump: args.jump.map_or(usual.jump, seconds),
        is_told: source.is_none(),
        ..usual
    };
    let analysis = analyse(&opened.piece.score, opened.piece.part).with_context(|| tr!(NO_NOTES))?;
    let known = Known::read_analysed(&store, &opened, &analysis, config.rules)?;
    let quiz = over(&store, &opened, (&analysis, &known), &config, quiz_config)?.with_context(|| tr!(NO_NOTES))?;
    let (hands, keys) = (config.hands_free(&opened.piece), keys_of(&opened.piece));
    let record = Record::begin(store, &opened.key, &opened.piece.title, seed);
    let session = Session::new(quiz, Some(record)).with_voice(config.speak.clone().map(Voice::new));
    let clock = SessionClock::start();
    let session = session.with_hands_free(hands.clone(), keys).with_tone(Tone::of_setting(config.tone.as_deref(), clock));
    let (sender, signals) = bounded(N_SIGNALS_MAX);
    let running = source.map(|source| source.start(clock, sender)).transpose()?;
    let exit = play(session, &signals, clock, (&hands, config.letters), args.practice.plain)?;
    drop(running);
    Ok(exit)
}

/// Makes a quiz over a piece from its analysis and from what the journal knows of it; `None` when there is nothing to ask.
pub(super) fn over(
    store: &Store,
    opened: &OpenedPiece,
    (analysis, known): (&Analysis, &Known),
    config: &Config,
    quiz_config: QuizConfig,
) -> anyhow::Result<Option<Quiz>> {
    let now = wall_now();
    let answers = store.answers(&opened.key)?;
    let reps: Vec<_> = store.reps(&opened.key)?.into_iter().map(|(_, rep)| rep).collect();
    let put_off = store.open_spots(&opened.key)?.into_iter().map(|(place, _)| place);
    let failed = reps.iter().filter_map(|r| r.failed.as_ref().map(|(place, _)| place.clone())).chain(put_off);
    // Places of a score that has changed since may be gone.
    let failed: Vec<Place> = failed.filter_map(|place| Place::parse(&place, &opened.piece.score).ok()).collect();
    let mut asked = questions(&opened.piece, analysis, &failed);
    if config.switch_days > 0 {
        let since = now.date_naive() - Days::new(config.switch_days);
        let is_known = |section: &Section| {
            let name = |s: &&PlayedSpan| s.name == section.name;
            let attempts = &known.attempts[0];
            attempts.all.iter().any(|rep| rep.day <= since && attempts.spans.get(rep.span).filter(name).is_some())
        };
        keep_switches(&mut asked, &opened.piece, is_known);
    }
    let memory = known.pieces.first().map(|piece| MemoryDoubt::new(piece, &known.fitted.weights, now.date_naive()));
    let doubt = TodaysDoubt { memory, journal: JournalDoubt::new(&answers, &reps) };
    let practice = config.practice();
    let learned = if quiz_config.is_told { Learned::default() } else { learned(store, &opened.key, &opened.piece, now, &practice)? };
    let quiz = Quiz::try_new(Arc::new(opened.piece.clone()), asked, &doubt, practice, quiz_config);
    Ok(quiz.map(|quiz| quiz.with_learned(learned)))
}

impl QuizArgs {
    /// The quiz as it is without further words.
    pub(super) fn of(piece: String, data: Option<PathBuf>) -> Self {
        let practice = PracticeArgs { data, ..PracticeArgs::default() };
        QuizArgs { piece, minutes: 5, seed: None, input: None, first: None, jump: None, practice }
    }
}
