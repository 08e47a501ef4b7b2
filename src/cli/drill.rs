//! `catchword drill`: the main job, section by section, then the whole piece.

use std::io::{BufReader, IsTerminal};
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use clap::Args;
use crossbeam_channel::{Receiver, bounded};

use super::habits::learn_from_journal;
use super::hearing::hear;
use super::plan::Known;
use super::plan::too_long;
use super::record::Record;
use super::session::Session;
use super::sitting::{Beginning, begin_as_planned, look_alikes, machine, past_reps, planned, quiz_for, reached_on};
use super::story_file::{StoryFile, drafted};
use super::voice::Voice;
use super::{N_SIGNALS_MAX, exit_code, print_account};
use crate::analysis::{Analysis, analyse};
use crate::clock::SessionClock;
use crate::config::Config;
use crate::journal::entry::Mode;
use crate::midi::MidiKey;
use crate::paths::Paths;
use crate::piece::Piece;
use crate::piece_folder::{OpenedPiece, piece_names};
use crate::practice::Span;
use crate::practice::hands_free::HandsFreeConfig;
use crate::practice::joins::{self, Chaining};
use crate::score::{Place, Score};
use crate::source::{Signal, open};
use crate::theory::Hand;
use crate::tone::Tone;
use crate::tui::{self, plain};

/// The inputs that are no instrument: the program plays by itself, or the player says how it went.
pub(super) const BUILT_IN_PLAYER: &str = "player";
pub(super) const KEYS: &str = "keys";
pub(super) const NO_NOTES: &str = msgid!("the piece has no notes to play");

#[derive(Args, Debug)]
pub struct DrillArgs {
    /// A piece: its name, its folder, or a score file; without it the pieces are listed
    piece: Option<String>,
    /// Begin with this section, by name or by bars (5-8)
    #[arg(long, value_name = "NAME|BARS")]
    section: Option<String>,
    /// Clean reps wanted of each section, 1 to 9
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=9))]
    reps: Option<u8>,
    /// A session of so many minutes: what today's plan has, joins, a quiz, and the run-through in time at its end
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=180))]
    minutes: Option<u32>,
    /// Begin with the last section and work towards the first
    #[arg(long)]
    from_the_end: bool,
    /// What to listen to: port:NAME, stream:PATH, take:FILE, part of a port's name; player, to watch the built-in one; or keys, to play unheard and say how it went
    #[arg(long, value_name = "INPUT")]
    input: Option<String>,
    #[command(flatten)]
    practice: PracticeArgs,
}

pub fn run(args: DrillArgs) -> anyhow::Result<ExitCode> {
    let paths = Paths::find(args.practice.data.as_deref())?;
    let config = super::settings(&paths)?;
    let Some(name) = &args.piece else {
        let names = piece_names(&paths.pieces).into_iter().map(|n| format!("  {n}"));
        let lines = [tr!("Pieces:")].into_iter().chain(names).chain([tr!("Drill one: catchword drill NAME")]);
        return super::print_lines(lines).map(|()| ExitCode::SUCCESS);
    };
    let opened = super::open_as_set(name, args.practice.part.as_deref(), &paths, &config)?;
    let spans = spans(&opened, &args)?;
    practise(
        opened,
        spans,
        Circumstances {
            paths: &paths,
            config: &config,
            input: args.input.as_deref(),
            part: args.practice.part.as_deref(),
            plain: args.practice.plain,
            minutes: args.minutes,
        },
    )
}

/// What every command of practice takes.
#[derive(Args, Debug, Default)]
pub struct PracticeArgs {
    /// The part to play, where the score has several
    #[arg(long, value_name = "NAME")]
    pub part: Option<String>,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Write plain lines and read commands as words, as where there is no screen
    #[arg(long)]
    pub plain: bool,
}

/// Where and how a piece is practised.
pub(super) struct Circumstances<'a> {
    pub paths: &'a Paths,
    pub config: &'a Config,
    /// As typed; the settings speak where nothing is.
    pub input: Option<&'a str>,
    pub part: Option<&'a str>,
    pub plain: bool,
    /// Length of the session; without it, it lasts as long as it lasts.
    pub minutes: Option<u32>,
}

/// Practises spans of a piece until the player closes the session.
pub(super) fn practise(mut opened: OpenedPiece, mut spans: Vec<Span>, circumstances: Circumstances<'_>) -> anyhow::Result<ExitCode> {
    let Circumstances { paths, config, input, part, plain, minutes } = circumstances;
    let (mut hands, keys) = (config.hands_free(&opened.piece), keys_of(&opened.piece));
    for span in &mut spans {
        *span = Some(config.overlap_bars).filter(|n| *n > 0).and_then(|n| span.run_on(&opened.piece, n)).unwrap_or_else(|| span.clone());
    }
    let stories = StoryFile::open(&opened, part)?;
    let analysis = analyse(&opened.piece.score, opened.piece.part);
    let drafts = analysis.as_ref().map_or_else(Vec::new, |analysis| drafted(&opened.piece, analysis));
    let clock = SessionClock::start();
    let (sender, signals) = bounded(N_SIGNALS_MAX);
    let input = input.or(config.input.as_deref()).unwrap_or_default();
    let (session, running) = if input == BUILT_IN_PLAYER {
        // What the built-in player does is nobody's practice: nothing of it is kept.
        let begin = Beginning { drafts, ..Beginning::default() };
        (Session::over(machine(opened.piece, spans, config, minutes, begin)?, None).directed(1), None)
    } else if input == KEYS {
        let record = Record::begin(super::open_journal(paths)?, &opened.key, &opened.piece.title, 0).judged_by(&config.judged_by());
        let begin = beginning(&record, &opened, analysis.as_ref(), config, minutes, &mut spans, true)?;
        (Session::over(machine(opened.piece, spans, config, minutes, begin)?, Some(record)), None)
    } else {
        let source = open(input)?;
        hear(&mut opened.piece, &source.name(), config, paths)?;
        spans.iter_mut().for_each(|span| span.hear_as(&opened.piece));
        // What the set-up of the instrument found to be its lowest and highest is known only now.
        hands = config.hands_free(&opened.piece);
        let store = super::open_journal(paths)?;
        let score = &opened.piece.score;
        let open =
            store.open_spots(&opened.key)?.into_iter().filter_map(|(place, hand)| open_place(&place, hand.as_deref(), score)).collect();
        let lines = store.unfinished_lines(&opened.key)?.into_iter();
        let line = |(place, hand, typed): (String, Option<String>, String)| {
            open_place(&place, hand.as_deref(), score).map(|(place, hand)| (place, hand, typed))
        };
        let unfinished = lines.filter_map(line).collect();
        let record = Record::begin(store, &opened.key, &opened.piece.title, 0).judged_by(&config.judged_by());
        learn_from_journal(record.store(), &opened.key, &opened.piece, record.began(), &config.practice(), &mut spans)?;
        let begin =
            Beginning { drafts, open, unfinished, ..beginning(&record, &opened, analysis.as_ref(), config, minutes, &mut spans, false)? };
        let machine = machine(opened.piece, spans, config, minutes, begin)?;
        (Session::over(machine, Some(record)).with_stories(stories), Some(source.start(clock, sender)?))
    };
    let too_long = minutes.and_then(|minutes| too_long(f64::from(minutes), &config.rules));
    let session = session
        .with_breaks(config.breaks())
        .with_notice(too_long)
        .with_voice(config.speak.clone().map(Voice::new))
        .with_tone(Tone::of_setting(config.tone.as_deref(), clock));
    let exit = play(session.with_hands_free(hands.clone(), keys), &signals, clock, (&hands, config.letters), plain)?;
    drop(running);
    Ok(exit)
}

/// Runs a session to its end, on the screen or in plain lines, and closes its record.
pub(super) fn play(
    mut session: Session,
    signals: &Receiver<Signal>,
    clock: SessionClock,
    (hands, letters): (&HandsFreeConfig, Option<usize>),
    is_plain: bool,
) -> anyhow::Result<ExitCode> {
    let exit = if is_plain || !std::io::stdout().is_terminal() {
        plain::run(&mut session, signals, clock, BufReader::new(std::io::stdin()), std::io::stdout().lock())?
    } else {
        let options = tui::Options { hands_free: hands.named(), smallest_letters: letters.unwrap_or(0), ..tui::Options::everyday() };
        let exit = tui::run(&mut session, signals, clock, options)?;
        print_account(exit, &session)?;
        exit
    };
    session.close()?;
    Ok(exit_code(exit))
}

/// The piece's spans, beginning with the section asked for; bars that are no section become a drill of their own.
fn spans(opened: &OpenedPiece, args: &DrillArgs) -> anyhow::Result<Vec<Span>> {
    let piece = &opened.piece;
    let mut spans = spans_of(piece, args.from_the_end);
    if let Some(wanted) = &args.section {
        let (name, bars) = piece.find_span(wanted)?;
        match spans.iter().position(|s| s.name == name) {
            Some(first) => drop(spans.drain(..first)),
            None => {
                let span = Span::drill(piece, name, &bars, piece.target_reps).with_context(|| tr!("there are no notes in these bars"))?;
                spans = vec![span];
            }
        }
    }
    if let Some(reps) = args.reps {
        spans.iter_mut().filter(|s| s.is_drill() && s.joined.is_empty()).for_each(|s| s.target = reps);
    }
    if spans.is_empty() {
        bail!(tr!(NO_NOTES));
    }
    Ok(spans)
}

/// Sections and joins in their order, then the run-through.
pub(super) fn spans_of(piece: &Piece, from_the_end: bool) -> Vec<Span> {
    let chaining = if from_the_end { Chaining::FromTheEnd } else { Chaining::FromTheTop };
    joins::spans(piece, chaining).into_iter().chain(Span::whole(piece, Mode::RunThrough)).collect()
}

/// A place put off in an earlier session; none where the score has it no more.
fn open_place(place: &str, hand: Option<&str>, score: &Score) -> Option<(Place, Option<Hand>)> {
    let hand = hand.map(|word| if word == "left" { Hand::Left } else { Hand::Right });
    Some((Place::parse(place, score).ok()?, hand))
}

/// The keys that a piece has.
pub(super) fn keys_of(piece: &Piece) -> Vec<MidiKey> {
    let mut keys: Vec<MidiKey> = piece.part().notes.iter().map(|note| note.key).collect();
    keys.sort();
    keys.dedup();
    keys
}

/// Reads what a drill is to know from the start; a session of some minutes begins with what is planned for today, and has a quiz.
fn beginning(
    record: &Record,
    opened: &OpenedPiece,
    analysis: Option<&Analysis>,
    config: &Config,
    minutes: Option<u32>,
    spans: &mut Vec<Span>,
    is_told: bool,
) -> anyhow::Result<Beginning> {
    let (store, today) = (record.store(), record.began().date_naive());
    let (reached_today, quiz) = match (minutes, analysis) {
        (Some(minutes), Some(analysis)) => {
            let known = Known::read_analysed(store, opened, analysis, config.rules)?;
            begin_as_planned(spans, &planned(&known, today, minutes));
            let quiz = quiz_for(store, opened, (analysis, &known), config, minutes, is_told)?;
            (reached_on(&opened.piece, &known.attempts[0], today), quiz)
        }
        _ => (reached_on(&opened.piece, &store.attempts(&opened.key)?, today), None),
    };
    let look_alikes = analysis.map_or_else(Vec::new, |analysis| look_alikes(&opened.piece, analysis));
    let past = match config.practice().ladder.hide_after {
        0 => Vec::new(),
        _ => past_reps(&opened.piece, &store.attempts(&opened.key)?),
    };
    Ok(Beginning { reached_today, look_alikes, past, quiz, is_told, ..Beginning::default() })
}
