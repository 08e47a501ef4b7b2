//! `catchword journal`: the record of practice taken out, kept safe, checked, and joined with another machine's.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use clap::{Args, Subcommand};

use crate::journal::store::{FILE_NAME, Salvaged, Store};
use crate::paths::Paths;
use crate::report::rows::{CsvRows, JsonRows};

#[derive(Args, Debug)]
pub struct JournalArgs {
    #[command(subcommand)]
    command: Command,
    /// The directory that the journal is kept in
    #[arg(long, value_name = "DIR", global = true)]
    data: Option<PathBuf>,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Write everything in the journal as a table or as JSON
    Export(ExportArgs),
    /// Copy the whole journal to a new file, also while another program writes in it
    Backup {
        /// A name that no file has yet
        file: PathBuf,
    },
    /// Read the whole journal and say whether it is sound
    Check,
    /// Write what can still be read of a damaged journal to a new file; the damaged one stays as it is
    Recover {
        /// A name that no file has yet
        file: PathBuf,
    },
    /// Take in what another machine's journal, or a backup, has and this one has not
    Import {
        /// The other journal; it stays as it is
        file: PathBuf,
    },
}

#[derive(Args, Debug)]
struct ExportArgs {
    /// One table for a spreadsheet, a row a record
    #[arg(long, required_unless_present = "json", conflicts_with = "json")]
    csv: bool,
    /// One JSON object, an array a table
    #[arg(long)]
    json: bool,
    /// Of this piece only
    #[arg(long, value_name = "NAME")]
    piece: Option<String>,
    /// A name that no file has yet; without it, standard output
    file: Option<PathBuf>,
}

pub fn run(args: JournalArgs) -> anyhow::Result<()> {
    let paths = Paths::find(args.data.as_deref())?;
    if let Command::Recover { file } = &args.command {
        return recover(&paths.data, file);
    }
    let mut store = super::open_journal(&paths)?;
    match args.command {
        Command::Recover { .. } => unreachable!("done before the journal is opened"),
        Command::Export(args) => export(&store, &args),
        Command::Backup { file } => {
            store.backup(&file)?;
            let contents = contents(&store)?;
            super::print_lines([tr!("all of the journal is in {file}: {contents}", file = file.display(), contents)])
        }
        Command::Check => {
            store.check()?;
            let contents = contents(&store)?;
            super::print_lines([tr!("the journal is sound: {contents}", contents)])
        }
        Command::Import { file } => {
            let merged = store.merge(&file)?;
            let counts = [
                (merged.n_sessions, tr!("1 session" | "{n} sessions" % merged.n_sessions)),
                (merged.n_reps, tr!("1 rep" | "{n} reps" % merged.n_reps)),
                (merged.n_answers, tr!("1 answer" | "{n} answers" % merged.n_answers)),
            ];
            let words: Vec<String> = counts.into_iter().filter(|(n, _)| *n > 0).map(|(_, words)| words).collect();
            super::print_lines([match &words[..] {
                [] => tr!("nothing in {file} that is not here already", file = file.display()),
                _ => tr!("taken in from {file}: {what}", file = file.display(), what = words.join(", ")),
            }])
        }
    }
}

fn recover(data: &Path, file: &Path) -> anyhow::Result<()> {
    let Salvaged { n_rows, n_orphans, n_broken_tables } = Store::salvage(data, file)?;
    let lost = match n_broken_tables {
        0 => tr!("all of it could be read"),
        n => tr!(
            "{tables} could not be read whole, and {rows} with them",
            tables = tr!("1 table" | "{n} tables" % n),
            rows = tr!("1 row" | "{n} rows" % n_orphans)
        ),
    };
    super::print_lines([
        tr!("{rows} of the journal are in {file}; {lost}", rows = tr!("1 row" | "{n} rows" % n_rows), file = file.display(), lost),
        tr!(
            "next: move {journal} away, then: {command}",
            journal = data.join(FILE_NAME).display(),
            command = format!("catchword journal import {}", file.display())
        ),
    ])
}

fn contents(store: &Store) -> anyhow::Result<String> {
    let sessions = store.sessions()?;
    let n_reps: u32 = sessions.iter().map(|s| s.n_reps).sum();
    Ok(format!("{}, {}", tr!("1 session" | "{n} sessions" % sessions.len()), tr!("1 rep" | "{n} reps" % n_reps)))
}

fn export(store: &Store, args: &ExportArgs) -> anyhow::Result<()> {
    if let Some(piece) = &args.piece
        && !store.sessions()?.iter().any(|s| s.opened.piece_key == *piece)
    {
        bail!(tr!("there is nothing of {piece} in the journal", piece = format!("{piece:?}")));
    }
    let written = match &args.file {
        None => write(store, args, io::stdout().lock()),
        Some(path) => {
            let file = File::create_new(path)
                .with_context(|| tr!("cannot make {file}; give a name that no file has yet", file = path.display()))?;
            write(store, args, &file).and_then(|()| Ok(file.sync_all()?)).with_context(|| tr!("writing {file}", file = path.display()))
        }
    };
    match written {
        // A reader that went away is a quiet end.
        Err(error) if error.chain().any(|e| e.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)) => Ok(()),
        done => done,
    }
}

fn write(store: &Store, args: &ExportArgs, out: impl Write) -> anyhow::Result<()> {
    let tables = store.tables()?;
    let out = BufWriter::new(out);
    let piece = args.piece.as_deref();
    if args.json {
        let mut rows = JsonRows::begin(out, &tables)?;
        store.each_row(piece, |table, row| anyhow::Ok(rows.row(table, &row)?))?;
        Ok(rows.end()?)
    } else {
        let mut rows = CsvRows::begin(out, &tables)?;
        store.each_row(piece, |table, row| anyhow::Ok(rows.row(table, &row)?))?;
        Ok(rows.end()?)
    }
}
