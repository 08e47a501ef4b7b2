//! `catchword read`: the piece once from the page, to see whether it is ready to be learned from memory.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context as _;
use clap::Args;

use super::drill::{Circumstances, NO_NOTES, practise};
use crate::config::Config;
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

pub fn run(args: ReadArgs) -> anyhow::Result<ExitCode> {
    let paths = Paths::find(args.data.as_deref())?;
    let config = Config::load(&paths.config_file)?;
    let opened = open_piece(&args.piece, args.part.as_deref(), &paths.pieces)?;
    let span = Span::whole(&opened.piece, Mode::Reading).context(NO_NOTES)?;
    practise(
        opened,
        vec![span],
        Circumstances {
            paths: &paths,
            config: &config,
            input: args.input.as_deref(),
            part: args.part.as_deref(),
            plain: args.plain,
            minutes: None,
        },
    )
}
