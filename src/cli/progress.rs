//! `catchword progress`: how a piece stands, as text, as a page or as a picture.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::plan::Known;
use crate::clock::wall_now;
use crate::paths::Paths;
use crate::report::progress::{N_RUNS_MAX, Progress, Records};
use crate::report::{progress_page, progress_svg, progress_text};
use crate::tui;

#[derive(Args, Debug)]
pub struct ProgressArgs {
    /// A piece: its name, its folder, or a score file
    piece: String,
    /// Write one page to keep or to send
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write one picture with all of it
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Write plain lines, also where there is a screen
    #[arg(long)]
    plain: bool,
    /// The part, where the score has several
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub fn run(args: ProgressArgs) -> anyhow::Result<ExitCode> {
    let paths = Paths::find(args.data.as_deref())?;
    let config = super::settings(&paths)?;
    let opened = super::open_as_set(&args.piece, args.part.as_deref(), &paths, &config)?;
    let store = super::open_journal(&paths)?;
    let answers = store.answers(&opened.key)?;
    let known = Known::read(&store, std::slice::from_ref(&opened), config.rules)?;
    let memory = known.pieces.first().map(|piece| (piece, &known.fitted.weights));
    let (runs, pace) = (store.runs(&opened.key, N_RUNS_MAX)?, store.latest_pace(&opened.key)?);
    // Few pieces have levers to move, and the slips of all others need not be looked for.
    let slips = if opened.piece.harp.is_some() { store.dated_slips(&opened.key)? } else { Vec::new() };
    let records = Records { memory, attempts: &known.attempts[0], answers: &answers, runs, pace, slips };
    let progress = Progress::of(&opened.piece, records, wall_now().date_naive(), |rep| store.noted(rep))?;
    if let Some(file) = &args.html {
        super::write_page(file, &progress_page::page(&progress))?;
    }
    if let Some(file) = &args.svg {
        super::write_page(file, &progress_svg::sheet(&progress))?;
    }
    if args.html.is_none() && args.svg.is_none() {
        let lines = progress_text::lines(&progress);
        if std::io::stdout().is_terminal() && std::io::stdin().is_terminal() && !args.plain {
            return Ok(super::exit_code(tui::read(&lines, &tui::Options::everyday())?));
        }
        super::print_lines(lines)?;
    }
    Ok(ExitCode::SUCCESS)
}
