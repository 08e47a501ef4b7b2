//! `catchword drill`: the main job, section by section, then the whole piece.

use std::io::{BufReader, IsTerminal};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::{Context as _, bail};
use chrono::NaiveDate;
use clap::Args;
use crossbeam_channel::{Receiver, bounded};

use super::habits::learn_from_journal;
use super::session::{Keep, Session};
use super::story_file::{StoryFile, drafted};
use super::{N_SIGNALS_MAX, exit_code, print_account};
use crate::clock::{SessionClock, wall_now};
use crate::config::Config;
use crate::journal::entry::{Entry, Mode, Verdict};
use crate::journal::stats::DatedRep;
use crate::journal::store::{NewSession, SessionId, Store};
use crate::paths::Paths;
use crate::piece::{Cue, Piece, Section};
use crate::piece_folder::{OpenedPiece, open_piece, piece_names};
use crate::practice::by_word::ByWord;
use crate::practice::footswitch::{Footswitch, FootswitchConfig};
use crate::practice::joins::{self, Chaining};
use crate::practice::sitting::{self, BREATH, Part, Times};
use crate::practice::{Engine, Machine, PracticeConfig, Span};
use crate::score::{Place, Score};
use crate::source::{Signal, open};
use crate::theory::Hand;
use crate::time::{Micros, Timestamp};
use crate::tui::{self, plain};

/// The inputs that are no instrument: the program plays by itself, or the player says how it went.
const BUILT_IN_PLAYER: &str = "player";
pub(super) const KEYS: &str = "keys";
pub(super) const NO_NOTES: &str = "the piece has no notes to play";

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
    /// A session of so many minutes: sections, joins, and the run-through in time at its end
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=180))]
    minutes: Option<u32>,
    /// Begin with the last section and work towards the first
    #[arg(long)]
    from_the_end: bool,
    /// What to listen to: port:NAME, stream:PATH, take:FILE, part of a port's name; player, to watch the built-in one; or keys, to play unheard and say how it went
    #[arg(long, value_name = "INPUT")]
    input: Option<String>,
    /// The part to play, where the score has several
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Write plain lines and read commands as words, as where there is no screen
    #[arg(long)]
    plain: bool,
}

pub fn run(args: DrillArgs) -> anyhow::Result<ExitCode> {
    let paths = Paths::find(args.data.as_deref())?;
    let config = Config::load(&paths.config_file)?;
    let Some(name) = &args.piece else {
        let names = piece_names(&paths.pieces).into_iter().map(|n| format!("  {n}"));
        let lines = ["Pieces:".to_owned()].into_iter().chain(names).chain(["Drill one: catchword drill NAME".to_owned()]);
        return super::print_lines(lines).map(|()| ExitCode::SUCCESS);
    };
    let opened = open_piece(name, args.part.as_deref(), &paths.pieces)?;
    let spans = spans(&opened, &args)?;
    practise(
        opened,
        spans,
        Sitting {
            paths: &paths,
            config: &config,
            input: args.input.as_deref(),
            part: args.part.as_deref(),
            plain: args.plain,
            minutes: args.minutes,
        },
    )
}

/// Where and how a piece is practised.
pub(super) struct Sitting<'a> {
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
pub(super) fn practise(opened: OpenedPiece, mut spans: Vec<Span>, sitting: Sitting<'_>) -> anyhow::Result<ExitCode> {
    let Sitting { paths, config, input, part, plain, minutes } = sitting;
    let feet = config.footswitch(opened.piece.instrument);
    let stories = StoryFile::open(&opened, part)?;
    let drafts = drafted(&opened.piece);
    let clock = SessionClock::start();
    let (sender, signals) = bounded(N_SIGNALS_MAX);
    let input = input.or(config.input.as_deref()).unwrap_or_default();
    let (session, running) = if input == BUILT_IN_PLAYER {
        // What the built-in player does is nobody's practice: nothing of it is kept.
        let begin = Beginning { drafts, ..Beginning::default() };
        (Session::over(machine(opened.piece, spans, config, minutes, begin)?, None).directed(1), None)
    } else if input == KEYS {
        let journal = Journal::begin(super::open_journal(paths)?, &opened, 0)?;
        let told = ByWord::try_new(Arc::new(opened.piece), spans, config.practice()).context(NO_NOTES)?;
        (Session::new(told, Some(Box::new(journal))), None)
    } else {
        let source = open(input)?;
        let store = super::open_journal(paths)?;
        let open = open_places(&store.open_spots(&opened.key)?, &opened.piece.score);
        let journal = Journal::begin(store, &opened, 0)?;
        learn_from_journal(&journal.store, &opened.key, &opened.piece, journal.began, &mut spans)?;
        let reps: Vec<DatedRep> = journal.store.reps(&opened.key)?.into_iter().map(|(_, rep)| rep).collect();
        let reached_today = reached_on(&opened.piece, &reps, journal.began.date_naive());
        if minutes.is_some() {
            begin_with_oldest(&mut spans, &reps);
        }
        let machine = machine(opened.piece, spans, config, minutes, Beginning { drafts, open, reached_today })?;
        (Session::over(machine, Some(Box::new(journal))).with_stories(stories), Some(source.start(clock, sender)?))
    };
    let exit = play(session, &signals, clock, &feet, plain)?;
    drop(running);
    Ok(exit)
}

/// Runs a session to its end, on the screen or in plain lines, and closes its record.
pub(super) fn play(
    session: Session,
    signals: &Receiver<Signal>,
    clock: SessionClock,
    feet: &FootswitchConfig,
    is_plain: bool,
) -> anyhow::Result<ExitCode> {
    let mut session = session.with_footswitch(Footswitch::new(feet.clone()));
    let exit = if is_plain || !std::io::stdout().is_terminal() {
        plain::run(&mut session, signals, clock, BufReader::new(std::io::stdin()), std::io::stdout().lock())?
    } else {
        let options = tui::Options { footswitches: named(feet), ..tui::Options::everyday() };
        let exit = tui::run(&mut session, signals, clock, options)?;
        print_account(exit, &session)?;
        exit
    };
    session.close()?;
    Ok(exit_code(exit))
}

/// What a drill knows from the start.
#[derive(Default)]
struct Beginning {
    drafts: Vec<Cue>,
    open: Vec<(Place, Option<Hand>)>,
    reached_today: Vec<String>,
}

/// One drill over all spans, or a session of some minutes with the run-through at its end.
fn machine(piece: Piece, spans: Vec<Span>, config: &Config, minutes: Option<u32>, begin: Beginning) -> anyhow::Result<Box<dyn Machine>> {
    let piece = Arc::new(piece);
    let engine = |spans: Vec<Span>, practice: PracticeConfig| Engine::try_new(Arc::clone(&piece), spans, practice).context(NO_NOTES);
    let open = |engine: Engine| engine.with_drafts(begin.drafts).with_open_places(begin.open).with_reached_today(begin.reached_today);
    let Some(minutes) = minutes else { return Ok(Box::new(open(engine(spans, config.practice())?))) };
    let (work, mut run): (Vec<Span>, Vec<Span>) = spans.into_iter().partition(Span::is_drill);
    let whole = match run.pop() {
        Some(run) => run,
        None => Span::whole(&piece, Mode::RunThrough).context(NO_NOTES)?,
    };
    let times = Times::of(Micros(i64::from(minutes) * 60_000_000), &whole, Micros::ZERO);
    let mut parts = Vec::new();
    if !work.is_empty() && times.work_ends > Micros::ZERO {
        let practice = PracticeConfig { rest: Some(BREATH), ..config.practice() };
        parts.push(Part::work(open(engine(work, practice)?), times));
    }
    parts.push(Part::whole(engine(vec![whole], config.practice())?));
    Ok(Box::new(sitting::Sitting::try_new(parts).expect("the run-through is a part")))
}

/// The sections that reached their target on a day.
fn reached_on(piece: &Piece, reps: &[DatedRep], day: NaiveDate) -> Vec<String> {
    let of_day = |name: &str| reps.iter().filter(|r| r.span == name && r.at.date_naive() == day && r.verdict == Verdict::Clean).count();
    let is_reached = |s: &&Section| of_day(&s.name) >= usize::from(s.target_reps.unwrap_or(piece.target_reps));
    piece.sections.iter().filter(is_reached).map(|s| s.name.clone()).collect()
}

/// Lets the sections whose last clean rep is longest ago go first, those never clean before all; in what follows the order stays.
fn begin_with_oldest(spans: &mut [Span], reps: &[DatedRep]) {
    let last_clean = |span: &Span| reps.iter().filter(|r| r.span == span.name && r.verdict == Verdict::Clean).map(|r| r.at).max();
    let sections = spans.iter().enumerate().filter(|(_, s)| s.is_drill() && s.joined.is_empty());
    if let Some((first, _)) = sections.min_by_key(|(_, span)| last_clean(span)) {
        let n_drills = spans.iter().filter(|s| s.is_drill()).count();
        spans[..n_drills].rotate_left(first);
    }
}

/// The piece's spans, beginning with the section asked for; bars that are no section become a drill of their own.
fn spans(opened: &OpenedPiece, args: &DrillArgs) -> anyhow::Result<Vec<Span>> {
    let piece = &opened.piece;
    let chaining = if args.from_the_end { Chaining::FromTheEnd } else { Chaining::FromTheTop };
    let mut spans = joins::spans(piece, chaining);
    spans.extend(Span::whole(piece, Mode::RunThrough));
    if let Some(wanted) = &args.section {
        let (name, bars) = piece.find_span(wanted)?;
        match spans.iter().position(|s| s.name == name) {
            Some(first) => drop(spans.drain(..first)),
            None => {
                let span = Span::drill(piece, name, &bars, piece.target_reps).context("there are no notes in these bars")?;
                spans = vec![span];
            }
        }
    }
    if let Some(reps) = args.reps {
        spans.iter_mut().filter(|s| s.is_drill() && s.joined.is_empty()).for_each(|s| s.target = reps);
    }
    if spans.is_empty() {
        bail!(NO_NOTES);
    }
    Ok(spans)
}

/// The places put off in earlier sessions, as far as the score still has them.
fn open_places(spots: &[(String, Option<String>)], score: &Score) -> Vec<(Place, Option<Hand>)> {
    let hand = |word: &Option<String>| word.as_deref().map(|w| if w == "left" { Hand::Left } else { Hand::Right });
    spots.iter().filter_map(|(place, word)| Some((Place::parse(place, score).ok()?, hand(word)))).collect()
}

/// The pedals as the help screen names them.
fn named(feet: &FootswitchConfig) -> Vec<(String, crate::practice::Command)> {
    let name = |controller: u8| match controller {
        64 => "damper pedal".to_owned(),
        66 => "sostenuto pedal".to_owned(),
        67 => "soft pedal".to_owned(),
        other => format!("controller {other}"),
    };
    feet.commands.iter().map(|(controller, command)| (name(*controller), *command)).collect()
}

/// The journal of one session.
pub(super) struct Journal {
    store: Store,
    session: SessionId,
    began: Timestamp,
}

impl Journal {
    pub(super) fn begin(mut store: Store, opened: &OpenedPiece, seed: u64) -> anyhow::Result<Self> {
        let began = wall_now();
        let session = store.begin_session(&NewSession {
            started: began,
            piece_key: opened.key.clone(),
            piece_title: opened.piece.title.clone(),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            seed,
        })?;
        Ok(Journal { store, session, began })
    }
}

impl Keep for Journal {
    fn keep(&mut self, entry: &Entry) -> anyhow::Result<()> {
        Ok(self.store.append(self.session, entry)?)
    }

    fn close(&mut self) -> anyhow::Result<()> {
        Ok(self.store.end_session(self.session, wall_now())?)
    }
}
