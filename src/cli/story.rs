//! `catchword story`: the story of a piece as a sheet to print.

use std::path::PathBuf;

use clap::Args;

use crate::analysis::analyse;
use crate::paths::Paths;
use crate::piece_folder::open_piece;
use crate::report::story_page;
use crate::report::story_sheet::StorySheet;

#[derive(Args, Debug)]
pub struct StoryArgs {
    /// A piece: its name, its folder, or a score file
    piece: String,
    /// Write a page to print
    #[arg(long, value_name = "FILE", conflicts_with = "text")]
    html: Option<PathBuf>,
    /// Print it as plain text, as without any option
    #[arg(long)]
    text: bool,
    /// The part, where the score has several
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Look for pieces in this directory first
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub fn run(args: StoryArgs) -> anyhow::Result<()> {
    let paths = Paths::find(args.data.as_deref())?;
    let piece = open_piece(&args.piece, args.part.as_deref(), &paths.pieces)?.piece;
    let sheet = StorySheet::of(&piece, analyse(&piece.score, piece.part).as_ref());
    match &args.html {
        Some(file) => super::write_page(file, &story_page::page(&sheet)),
        None => super::print_lines(sheet.lines()),
    }
}
