//! `catchword trace`: follows a recorded take through a score, as fast as possible, and says what was heard.

use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::Args;

use crate::journal::entry::Mode;
use crate::midi::Take;
use crate::piece::Piece;
use crate::piece_folder::open_piece;
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
    /// A score file, or a piece: its folder or its name
    piece: String,
    /// The take: a MIDI file, or JSON lines of {"t": seconds, "pitch": n, "velocity": n}
    #[arg(long, value_name = "FILE")]
    take: PathBuf,
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
}

pub fn run(args: TraceArgs) -> anyhow::Result<()> {
    let piece = open_piece(&args.piece, args.part.as_deref(), &super::pieces_dirs())?.piece;
    let take = read_take(&args.take)?;
    let earlier = args.learn.iter().map(|file| read_take(file)).collect::<anyhow::Result<Vec<Take>>>()?;
    let learn = |span: &mut Span| {
        let mut habits = Habits::default();
        earlier.iter().for_each(|take| habits.learn(span, take));
        span.habits = habits;
    };
    let config = PracticeConfig::standard();
    let (span, outputs) = match &args.span {
        Some(span) => {
            let (name, bars) = piece.find_span(span)?;
            let mut span = Span::drill(&piece, name, &bars, NO_TARGET).context("there are no notes in these bars")?;
            learn(&mut span);
            let outputs = drilled(&piece, span.clone(), config, &take);
            (span, outputs)
        }
        None => {
            let bars = piece.score.all_bars().context("the score has no bars")?;
            let mut span = Span::new(&piece, piece.title.clone(), Mode::RunThrough, &bars, 1).context("the score has no notes")?;
            learn(&mut span);
            let outputs = listen(&piece, &span, &config, &take);
            (span, outputs)
        }
    };
    let lines: Vec<String> = if args.json {
        outputs.iter().filter_map(|o| take_lines::line(o, &span, &piece.score)).collect()
    } else {
        take_account::lines(&outputs, &span, &piece.score)
    };
    super::print_lines(lines)
}

fn read_take(file: &Path) -> anyhow::Result<Take> {
    let name = file.display().to_string();
    let bytes = std::fs::read(file).with_context(|| format!("reading the take {name}"))?;
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
