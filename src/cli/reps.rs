//! `catchword reps`: what the journal has of a piece, rep by rep, and the takes in it.

use std::path::PathBuf;

use anyhow::Context as _;
use clap::Args;

use crate::journal::stats::DatedRep;
use crate::journal::store::RepId;
use crate::language::named::shown;
use crate::paths::Paths;
use crate::report::progress_words::failed;

#[derive(Args, Debug)]
pub struct RepsArgs {
    /// The piece, by the name it is practised under
    piece: String,
    /// Write the take of rep N (as numbered here) as a MIDI file, for `catchword trace`
    #[arg(long, value_name = "N", requires = "out")]
    take: Option<usize>,
    /// Where the take goes
    #[arg(long, value_name = "FILE", requires = "take")]
    out: Option<PathBuf>,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub fn run(args: RepsArgs) -> anyhow::Result<()> {
    let paths = Paths::find(args.data.as_deref())?;
    let store = super::open_journal(&paths)?;
    let reps = store.reps(&args.piece)?;
    if let (Some(n), Some(out)) = (args.take, &args.out) {
        let (id, _) = nth_rep(reps, n, &args.piece)?;
        let take = store.take_smf(id)?.with_context(|| tr!("no take was kept for rep {n}", n))?;
        return std::fs::write(out, take).with_context(|| tr!("writing the take to {file}", file = out.display()));
    }
    if reps.is_empty() {
        return super::print_lines([tr!("no reps of {piece} in the journal yet", piece = args.piece)]);
    }
    let lines = reps.iter().enumerate().map(|(i, (_, rep))| {
        let why = rep.failed.as_ref().map(|(place, kind)| format!("; {place} {}", failed(kind))).unwrap_or_default();
        format!("{:4}  {}  {}: {}{why}", i + 1, rep.at.format("%Y-%m-%d %H:%M"), shown(&rep.span), rep.verdict.words())
    });
    super::print_lines(lines)
}

/// Picks a rep by its number, counted from 1 as they are listed.
pub fn nth_rep(mut reps: Vec<(RepId, DatedRep)>, n: usize, piece: &str) -> anyhow::Result<(RepId, DatedRep)> {
    let n_reps = reps.len();
    let nth = n.checked_sub(1).filter(|i| *i < n_reps);
    Ok(reps.swap_remove(nth.with_context(|| tr!("{piece} has {n_reps} reps in the journal; there is no rep {n}", piece, n_reps, n))?))
}
