//! `catchword demo`: the main job, with the built-in player at the instrument.

use std::cell::RefCell;
use std::io::IsTerminal;
use std::process::ExitCode;
use std::rc::Rc;
use std::sync::Arc;

use anyhow::Context as _;
use clap::Args;
use crossbeam_channel::bounded;

use super::session::Session;
use super::story_file::drafted;
use super::{N_SIGNALS_MAX, exit_code, pieces_dirs, print_account};
use crate::analysis::analyse;
use crate::clock::SessionClock;
use crate::journal::entry::Mode;
use crate::piece::Piece;
use crate::piece_folder::open_piece;
use crate::practice::{Engine, Span};
use crate::source::open;
use crate::tui::{self, plain};

/// The piece that is shown when none is named.
const PIECE: &str = "ferry";
/// Sections shown before the run-through, so that the demo takes about two minutes.
const N_SECTIONS: usize = 2;
/// Clean reps wanted of every section but the first.
const SHORT_TARGET: u8 = 1;

#[derive(Args, Debug)]
pub struct DemoArgs {
    /// The piece to show
    #[arg(default_value = PIECE)]
    piece: String,
    /// What to listen to once you take over: port:NAME, stream:PATH, or part of a port's name
    #[arg(long, value_name = "INPUT")]
    input: Option<String>,
    /// Vary the playing
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Write plain lines, as where output is not a terminal: faster than real time
    #[arg(long)]
    plain: bool,
}

pub fn run(args: DemoArgs) -> anyhow::Result<ExitCode> {
    let config = super::settings_where_there_are(None)?;
    let piece = open_piece(&args.piece, None, &pieces_dirs())?.piece;
    let drafts = analyse(&piece.score, piece.part).map_or_else(Vec::new, |analysis| drafted(&piece, &analysis));
    let spans = spans(&piece);
    let engine =
        Engine::try_new(Arc::new(piece), spans, config.practice()).with_context(|| tr!("the piece has no notes"))?.with_drafts(drafts);
    let mut session = Session::new(engine, None).directed(args.seed);
    if args.plain || !std::io::stdout().is_terminal() {
        return Ok(exit_code(plain::race(&mut session, std::io::stdout().lock())?));
    }
    let clock = SessionClock::start();
    let (sender, signals) = bounded(N_SIGNALS_MAX);
    let running = Rc::new(RefCell::new(None));
    let heir = Rc::clone(&running);
    let mut session = session.with_heir(move || {
        let source = open(args.input.as_deref().unwrap_or_default())?;
        let name = source.name();
        *heir.borrow_mut() = Some(source.start(clock, sender.clone())?);
        Ok(name)
    });
    let options = tui::Options { can_hand_over: true, ..tui::Options::everyday() };
    let exit = tui::run(&mut session, &signals, clock, options)?;
    print_account(exit, &session)?;
    Ok(exit_code(exit))
}

/// The first section to its count, the next once, and the run-through.
fn spans(piece: &Piece) -> Vec<Span> {
    let all = Span::of_piece(piece);
    let (drills, runs): (Vec<Span>, Vec<Span>) = all.into_iter().partition(|s| s.mode == Mode::Drill);
    let shown = drills.into_iter().take(N_SECTIONS).enumerate().map(|(i, mut span)| {
        if i > 0 {
            span.target = SHORT_TARGET;
        }
        span
    });
    shown.chain(runs).collect()
}
