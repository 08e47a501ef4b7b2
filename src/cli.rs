//! The command line: one file a subcommand, each with its arguments as typed and one `run`.

mod add;
mod capture;
mod completions;
mod config;
mod demo;
mod director;
mod drill;
mod footswitch;
mod habits;
mod hearing;
mod help;
mod inspect;
mod journal;
pub mod plan;
mod ports;
mod progress;
mod quiz;
mod read;
mod record;
mod refusal;
mod report_problem;
mod reps;
mod session;
mod sight;
mod sitting;
mod start;
mod story;
mod story_file;
mod strings;
mod study;
mod trace;
mod voice;

use std::ffi::OsString;
use std::io::{BufRead as _, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use clap::error::ErrorKind;
use clap::{CommandFactory as _, FromArgMatches as _, Parser, Subcommand};
use crossbeam_channel::{Receiver, bounded};

use crate::config::Config;
use crate::journal::store::Store;
use crate::language::{Language, system};
use crate::log;
use crate::paths::Paths;
use crate::piece_folder::{self, OpenedPiece, open_piece};
use crate::report::plain_text::plain_lines;
use crate::tui;

use session::Session;

/// The number of this version and, where the build knew it, the commit.
pub const VERSION: &str = env!("CATCHWORD_VERSION");

/// Practise a piece from memory, with one cue when it is needed. Without a command the pieces are shown, to choose from.
#[derive(Parser, Debug)]
#[command(
    name = "catchword",
    version = VERSION,
    args_conflicts_with_subcommands = true,
    override_usage = help::USAGE
)]
struct Cli {
    /// Keep journal, settings and pieces in this directory (where no command is given)
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Write the pieces as plain lines (where no command is given)
    #[arg(long)]
    plain: bool,
    /// Write what the program does into this file, for the report of a problem
    #[arg(long, value_name = "FILE", global = true)]
    log: Option<PathBuf>,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Watch the built-in player drill a demo piece
    Demo(demo::DemoArgs),
    /// Drill a piece section by section, from memory
    Drill(drill::DrillArgs),
    /// Play a piece once from the page, to see what is ready to be learned from memory
    Read(read::ReadArgs),
    /// Be asked about a piece for some minutes: cold starts, what comes next, switches, jumps
    Quiz(quiz::QuizArgs),
    /// Make a piece of a score, with sections and a drafted story
    Add(add::AddArgs),
    /// Take in a piece that is only on paper by playing it from the page
    Capture(capture::CaptureArgs),
    /// Read a score as a musician reads it, and draft its story
    Study(study::StudyArgs),
    /// Say how the levers or pedals of a harp stand through a piece
    Strings(strings::StringsArgs),
    /// Say what to play today, over all pieces
    Plan(plan::PlanArgs),
    /// Show how a piece stands: bar by bar, over days, in run-throughs
    Progress(progress::ProgressArgs),
    /// Write the story of a piece as a sheet to print
    Story(story::StoryArgs),
    /// List what the journal has of a piece, and take recordings out of it
    Reps(reps::RepsArgs),
    /// Take the record of practice out, keep it safe, check it, join it with another machine's
    Journal(journal::JournalArgs),
    /// Follow a recorded take through a score and say what was heard
    Trace(trace::TraceArgs),
    /// Print what is read from a score file
    Inspect(inspect::InspectArgs),
    /// List the MIDI inputs of this machine, and set an instrument up
    Ports(ports::PortsArgs),
    /// Find out how small letters may be to be read from the stand
    Sight(sight::SightArgs),
    /// Print the settings in force and where each comes from
    Config(config::ConfigArgs),
    /// Put what is needed to look into a problem into one file, after showing it
    ReportProblem(report_problem::ReportProblemArgs),
    /// Print completions for a shell
    Completions(completions::CompletionsArgs),
    /// Write the manual pages into a directory
    Manual(completions::ManualArgs),
}

/// Runs the program on the arguments of the process. Exit code 0: done; 1: it failed, the reason is on
/// standard error; 2: the arguments are wrong; 128 and the number of the signal that ended it (common practice of shells).
pub fn run() -> ExitCode {
    language_of(std::env::args_os().skip(1)).speak();
    let Cli { data, plain, log: log_file, command } = match parse() {
        Ok(cli) => cli,
        Err(code) => return code,
    };
    let begun = log_file.map_or(Ok(()), |file| open_log(&file));
    let done = begun.and_then(|()| command.map_or_else(|| start::run(data.as_deref(), plain), run_command));
    log::note(|| match &done {
        Ok(code) => format!("ended: {code:?}"),
        Err(error) => format!("failed: {error:#}"),
    });
    match done {
        Ok(code) => code,
        Err(error) => {
            complain(&system::chain(error.as_ref()));
            ExitCode::FAILURE
        }
    }
}

/// Returns every text of the help of all commands.
pub fn help_texts() -> Vec<String> {
    help::texts(Cli::command())
}

/// Reads the arguments of the process. Help, and what is wrong with them, is said at once; it ends the program.
fn parse() -> Result<Cli, ExitCode> {
    if Language::spoken() == Language::English {
        return Ok(Cli::parse());
    }
    let read = help::translated(Cli::command()).try_get_matches().and_then(|matches| Cli::from_arg_matches(&matches));
    read.map_err(|error| match error.use_stderr() && error.kind() != ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        true => {
            complain(&refusal::of_arguments(&error));
            ExitCode::from(WRONG_ARGUMENTS)
        }
        false => error.exit(),
    })
}

/// The exit code where the arguments are wrong.
const WRONG_ARGUMENTS: u8 = 2;

/// Returns the language of the settings that these arguments point to. It is wanted before they are read, for the help of them; what
/// asks for a machine's format is answered in English, and so is whoever has no settings that can be read.
fn language_of(arguments: impl Iterator<Item = OsString>) -> Language {
    let arguments: Vec<OsString> = arguments.take_while(|argument| argument != "--").collect();
    if arguments.iter().any(|argument| argument == "--json" || argument == "--csv") {
        return Language::English;
    }
    let data = arguments.iter().enumerate().rev().find_map(|(nth, argument)| match argument.to_str()?.strip_prefix("--data")? {
        "" => arguments.get(nth + 1).map(PathBuf::from),
        value => value.strip_prefix('=').map(PathBuf::from),
    });
    let text = Paths::find(data.as_deref()).ok().and_then(|paths| Config::read(&paths.config_file).ok().flatten());
    text.and_then(|text| Config::language_of(&text)).unwrap_or_default()
}

fn run_command(command: Command) -> anyhow::Result<ExitCode> {
    match command {
        Command::Demo(args) => demo::run(args),
        Command::Drill(args) => drill::run(args),
        Command::Read(args) => read::run(args),
        Command::Quiz(args) => quiz::run(args),
        Command::Add(args) => add::run(args).map(|()| ExitCode::SUCCESS),
        Command::Strings(args) => strings::run(args).map(|()| ExitCode::SUCCESS),
        Command::Study(args) => study::run(args),
        Command::Capture(args) => capture::run(args),
        Command::Plan(args) => plan::run(args).map(|()| ExitCode::SUCCESS),
        Command::Progress(args) => progress::run(args),
        Command::Story(args) => story::run(args).map(|()| ExitCode::SUCCESS),
        Command::Reps(args) => reps::run(args).map(|()| ExitCode::SUCCESS),
        Command::Journal(args) => journal::run(args).map(|()| ExitCode::SUCCESS),
        Command::Trace(args) => trace::run(args).map(|()| ExitCode::SUCCESS),
        Command::Inspect(args) => inspect::run(args).map(|()| ExitCode::SUCCESS),
        Command::Ports(args) => ports::run(args).map(|()| ExitCode::SUCCESS),
        Command::Sight(args) => sight::run(args),
        Command::Config(args) => config::run(args).map(|()| ExitCode::SUCCESS),
        Command::ReportProblem(args) => report_problem::run(&args).map(|()| ExitCode::SUCCESS),
        Command::Completions(args) => completions::run(&args).map(|()| ExitCode::SUCCESS),
        Command::Manual(args) => completions::write_manual(&args).map(|()| ExitCode::SUCCESS),
    }
}

/// Opens the log and says in it what was started.
fn open_log(file: &Path) -> anyhow::Result<()> {
    log::open(file).with_context(|| tr!("opening the log {file}", file = file.display()))?;
    log::note(|| format!("catchword {VERSION}: {:?}", std::env::args().skip(1).collect::<Vec<_>>()));
    Ok(())
}

/// Reads the settings, and opens the log where they ask for one.
fn settings(paths: &Paths) -> anyhow::Result<Config> {
    let config = Config::load(&paths.config_file)?;
    if let Some(file) = config.log.as_ref().filter(|_| log::path().is_none()) {
        open_log(&paths.data.join(file))?;
    }
    Ok(config)
}

/// Reads the settings; on a machine without a home directory the usual ones hold.
fn settings_where_there_are(data: Option<&Path>) -> anyhow::Result<Config> {
    Paths::find(data).map_or_else(|_| Ok(Config::default()), |paths| settings(&paths))
}

/// Opens a piece, with what the settings say where it says nothing.
fn open_as_set(name: &str, part: Option<&str>, paths: &Paths, config: &Config) -> Result<OpenedPiece, piece_folder::Error> {
    let mut opened = open_piece(name, part, &paths.pieces)?;
    config.set_reps(&mut opened.piece);
    Ok(opened)
}

/// Says on standard error what went wrong. Names of files and what was found in them go through here, and steer no terminal.
fn complain(words: &str) {
    // Standard error may be gone with the terminal; the exit code still tells.
    let _ = writeln!(std::io::stderr(), "catchword: {}", plain_lines(words));
}

/// Signals that may wait between a source and the loop: some seconds of the densest playing.
const N_SIGNALS_MAX: usize = 4096;

/// Reads lines on a thread of its own, which ends with the process if nobody types.
fn read_words() -> Receiver<String> {
    let (sender, words) = bounded(16);
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { return };
            if sender.send(line).is_err() {
                return;
            }
        }
    });
    words
}

/// Returns where pieces are looked for by name. A machine without a home directory still has pieces given by path.
fn pieces_dirs() -> Vec<PathBuf> {
    Paths::find(None).map(|paths| paths.pieces).unwrap_or_default()
}

/// Opens the journal; says where an older one was kept before it was brought up to date, and what a session that was cut short had left.
fn open_journal(paths: &Paths) -> anyhow::Result<Store> {
    let store = Store::open(&paths.data)?;
    if let Some(old) = store.kept_old() {
        complain(&tr!("the journal was brought up to date; as it was before, it is kept in {file}", file = old.display()));
    }
    for line in store.recovered().lines() {
        let _ = writeln!(std::io::stderr(), "{line}");
    }
    Ok(store)
}

/// Writes a page to a file, and over an earlier page of its kind; any other file of that name is left as it is.
fn write_page(file: &Path, page: &str) -> anyhow::Result<()> {
    let beginning = &page.as_bytes()[..page.len().min(PAGE_BEGINNING)];
    match std::fs::read(file) {
        Ok(old) if !old.starts_with(beginning) => {
            bail!(tr!("{file} is there already and is no page of this kind; give another name", file = file.display()))
        }
        _ => std::fs::write(file, page).with_context(|| tr!("cannot write {file}", file = file.display())),
    }
}

/// Bytes that tell a page from other files.
const PAGE_BEGINNING: usize = 15;

/// Returns the exit code for the end of a session.
fn exit_code(exit: tui::Exit) -> ExitCode {
    match exit {
        tui::Exit::Quit | tui::Exit::Closed => ExitCode::SUCCESS,
        tui::Exit::Signal(signal) => ExitCode::from(u8::try_from(128 + signal).unwrap_or(u8::MAX)),
    }
}

/// Leaves the account of a session in the terminal that it was played in, if that is still there.
fn print_account(exit: tui::Exit, session: &Session) -> anyhow::Result<()> {
    match exit {
        tui::Exit::Quit => print_lines(session.account()),
        tui::Exit::Closed | tui::Exit::Signal(_) => Ok(()),
    }
}

/// Prints lines on standard output, without anything that would steer a terminal; a reader that went away is a quiet end.
fn print_lines(lines: impl IntoIterator<Item = String>) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    for line in lines {
        match writeln!(out, "{}", plain_lines(&line)) {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => return Ok(()),
            result => result?,
        }
    }
    Ok(())
}
