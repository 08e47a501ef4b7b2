//! `catchword trace`: follows a recorded take through a score, as fast as possible, and says what was heard.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context as _, bail};
use clap::Args;
use serde_json::json;

use super::habits::{learn_from_journal, span_of};
use super::reps::nth_rep;
use crate::config::Config;
use crate::journal::entry::Mode;
use crate::midi::Take;
use crate::paths::{Paths, SCORE_BYTES_MAX, read_file};
use crate::piece::Piece;
use crate::piece_folder::{OpenedPiece, open_piece};
use crate::practice::{Command, Engine, Habits, Input, Machine, Output, PracticeConfig, Span, listen};
use crate::report::{take_account, take_lines};
use crate::source::replay;
use crate::time::{Micros, Stamped};

/// Clean reps that a traced take may hold before its drill would be over.
const NO_TARGET: u8 = u8::MAX;
/// How long the end of a take is listened to, so that the last chord is judged as in a drill.
const END_OF_TAKE: Micros = Micros(1_500_000);

#[derive(Args, Debug)]
pub struct TraceArgs {
    /// A piece: its name, its folder, or a score file
    piece: String,
    /// The take: a MIDI file, or JSON lines of {"t": seconds, "pitch": n, "velocity": n}
    #[arg(long, value_name = "FILE", required_unless_present = "rep")]
    take: Option<PathBuf>,
    /// Rep N of the journal in place of a file, as numbered by `catchword reps`: judged with what was known of the player then
    #[arg(long, value_name = "N", conflicts_with_all = ["take", "span", "learn"])]
    rep: Option<usize>,
    /// Judge reps of one section, by name or by bars (5-8); without it the whole piece is heard from first note to last
    #[arg(long, value_name = "NAME|BARS")]
    span: Option<String>,
    /// Earlier takes of the same player to learn their timing from, as often as there are takes
    #[arg(long, value_name = "FILE")]
    learn: Vec<PathBuf>,
    /// The part to follow, where the score has several
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Print one JSON object a line
    #[arg(long)]
    json: bool,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub fn run(args: TraceArgs) -> anyhow::Result<()> {
    let paths = Paths::find(args.data.as_deref()).ok();
    let pieces = paths.as_ref().map(|p| p.pieces.clone()).unwrap_or_default();
    let mut opened = open_piece(&args.piece, args.part.as_deref(), &pieces)?;
    let config = paths.as_ref().map_or_else(|| Ok(Config::default()), super::settings)?;
    let mut by_then = None;
    let (span, take, config) = match (&args.take, args.rep) {
        (Some(file), _) => {
            let take = read_take(file)?;
            opened.piece.hearing = Arc::clone(take.hearing());
            opened.piece.manner = opened.piece.manner.or(config.harp);
            (given_span(&opened.piece, &args)?, take, config.practice())
        }
        (None, Some(n)) => {
            let paths = paths.with_context(|| tr!("there is no home directory; say with --data where the journal is"))?;
            let stored = StoredRep::open(&mut opened, n, &paths)?;
            by_then = Some(stored.config.judged_by()).filter(|then| *then != config.judged_by());
            (stored.span, stored.take, stored.config.practice())
        }
        (None, None) => bail!(tr!("expected --take FILE or --rep N")),
    };
    let piece = &opened.piece;
    let outputs = if span.is_drill() { drilled(piece, span.clone(), config, &take) } else { listen(piece, &span, &config, &take) };
    let lines: Vec<String> = if args.json {
        let settings = by_then.map(|then| json!({ "kind": "settings", "text": then }).to_string());
        settings.into_iter().chain(outputs.iter().filter_map(|o| take_lines::line(o, &span, &piece.score))).collect()
    } else {
        by_then.map(|then| then_words(&then)).into_iter().chain(take_account::lines(&outputs, &span, &piece.score)).collect()
    };
    super::print_lines(lines)
}

/// The section asked for, or the whole piece; with the timing of earlier takes, where some are given.
fn given_span(piece: &Piece, args: &TraceArgs) -> anyhow::Result<Span> {
    let mut span = match &args.span {
        Some(span) => {
            let (name, bars) = piece.find_span(span)?;
            Span::drill(piece, name, &bars, NO_TARGET).with_context(|| tr!("there are no notes in these bars"))?
        }
        None => {
            let bars = piece.score.all_bars().with_context(|| tr!("the score has no bars"))?;
            Span::new(piece, piece.title.clone(), Mode::RunThrough, &bars, 1).with_context(|| tr!("the score has no notes"))?
        }
    };
    let mut habits = Habits::default();
    for file in &args.learn {
        habits.learn(&span, &read_take(file)?);
    }
    span.habits = habits;
    Ok(span)
}

/// Says that a rep is judged by other numbers than those set now.
fn then_words(then: &str) -> String {
    match then.lines().collect::<Vec<_>>()[..] {
        [] => tr!("Judged by the usual numbers, as in its session; others are set now."),
        ref set => tr!("Judged by the numbers of its session, not by those set now: {numbers}.", numbers = set.join(", ")),
    }
}

/// A rep of the journal: its span, knowing what its session knew, its take, and the settings that its session had.
struct StoredRep {
    span: Span,
    take: Take,
    config: Config,
}

impl StoredRep {
    fn open(opened: &mut OpenedPiece, n: usize, paths: &Paths) -> anyhow::Result<StoredRep> {
        let store = super::open_journal(paths)?;
        let (id, rep) = nth_rep(store.reps(&opened.key)?, n, &opened.key)?;
        let take = store.take(id)?.with_context(|| tr!("no take was kept for rep {n}", n))?;
        let config = Config::parse(&store.judged_by(id)?, &tr!("the settings of its session"))?;
        opened.piece.hearing = Arc::clone(take.hearing());
        opened.piece.manner = opened.piece.manner.or(config.harp);
        let sessions = store.sessions()?;
        let began = sessions.iter().map(|s| &s.opened).rfind(|s| s.piece_key == opened.key && s.started <= rep.at).map(|s| s.started);
        let gone = || tr!("the score has no bars {first} to {last} any more", first = rep.bars.0, last = rep.bars.1);
        let mut span = [span_of(&opened.piece, &rep, &config.practice()).with_context(gone)?];
        learn_from_journal(&store, &opened.key, &opened.piece, began.unwrap_or(rep.at), &config.practice(), &mut span)?;
        let [span] = span;
        Ok(StoredRep { span, take, config })
    }
}

fn read_take(file: &Path) -> anyhow::Result<Take> {
    let name = file.display().to_string();
    let bytes = read_file(file, SCORE_BYTES_MAX).with_context(|| tr!("reading the take {file}", file = name))?;
    Ok(replay::read_take(&bytes, &name)?)
}

/// Puts a take through the engine of the drill, on the take's own time.
fn drilled(piece: &Piece, span: Span, config: PracticeConfig, take: &Take) -> Vec<Output> {
    let mut out = Vec::new();
    let Some(mut engine) = Engine::try_new(piece.clone().into(), vec![span], config) else { return out };
    for event in take.events() {
        engine.handle(Stamped { at: event.at, what: Input::Midi(event.what) }, &mut out);
    }
    let last = take.events().last().map_or(Micros::ZERO, |e| e.at);
    let end = if engine.is_on_last_onset() { last + END_OF_TAKE } else { last };
    engine.handle(Stamped { at: end, what: Input::Deadline }, &mut out);
    engine.handle(Stamped { at: end, what: Input::Command(Command::Quit) }, &mut out);
    out
}
