//! `catchword read`: the piece once from the page, to see whether it is ready to be learned from memory.

use std::process::ExitCode;

use anyhow::Context as _;
use clap::Args;

use super::drill::{Circumstances, NO_NOTES, PracticeArgs, practise};
use crate::journal::entry::Mode;
use crate::paths::Paths;
use crate::piece_folder::open_piece;
use crate::practice::Span;

#[derive(Args, Debug)]
pub struct ReadArgs {
    /// A piece: its name, its folder, or a score file
    piece: String,
    /// What to listen to: port:NAME, stream:PATH, take:FILE, or part of a port's name
    #[arg(long, value_name = "INPUT")]
    input: Option<String>,
    #[command(flatten)]
    practice: PracticeArgs,
}

pub fn run(args: ReadArgs) -> anyhow::Result<ExitCode> {
    let paths = Paths::find(args.practice.data.as_deref())?;
    let config = super::settings(&paths)?;
    let opened = open_piece(&args.piece, args.practice.part.as_deref(), &paths.pieces)?;
    let span = Span::whole(&opened.piece, Mode::Reading).with_context(|| tr!(NO_NOTES))?;
    practise(
        opened,
        vec![span],
        Circumstances {
            paths: &paths,
            config: &config,
            input: args.input.as_deref(),
            part: args.practice.part.as_deref(),
            plain: args.practice.plain,
            minutes: None,
        },
    )
}
