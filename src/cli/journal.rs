//! `catchword journal`: the record of practice taken out, kept safe, checked, and joined with another machine's.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use clap::{Args, Subcommand};

use crate::journal::store::{FILE_NAME, Salvaged, Store};
use crate::paths::Paths;
use crate::report::plain_text::counted;
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
            super::print_lines([format!("all of the journal is in {}: {}", file.display(), contents(&store)?)])
        }
        Command::Check => {
            store.check()?;
            super::print_lines([format!("the journal is sound: {}", contents(&store)?)])
        }
        Command::Import { file } => {
            let merged = store.merge(&file)?;
            let counts = [(merged.n_sessions, "session"), (merged.n_reps, "rep"), (merged.n_answers, "answer")];
            let words: Vec<String> = counts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| counted(*n, what)).collect();
            super::print_lines([match &words[..] {
                [] => format!("nothing in {} that is not here already", file.display()),
                _ => format!("taken in from {}: {}", file.display(), words.join(", ")),
            }])
        }
    }
}

fn recover(data: &Path, file: &Path) -> anyhow::Result<()> {
    let Salvaged { n_rows, n_orphans, n_broken_tables } = Store::salvage(data, file)?;
    let lost = match n_broken_tables {
        0 => "all of it could be read".to_owned(),
        n => format!("{} could not be read whole, and {} with them", counted(n, "table"), counted(n_orphans, "row")),
    };
    super::print_lines([
        format!("{} of the journal are in {}; {lost}", counted(n_rows, "row"), file.display()),
        format!("next: move {} away, then: catchword journal import {}", data.join(FILE_NAME).display(), file.display()),
    ])
}

fn contents(store: &Store) -> anyhow::Result<String> {
    let sessions = store.sessions()?;
    let n_reps: u32 = sessions.iter().map(|s| s.n_reps).sum();
    Ok(format!("{}, {}", counted(sessions.len(), "session"), counted(n_reps as usize, "rep")))
}

fn export(store: &Store, args: &ExportArgs) -> anyhow::Result<()> {
    if let Some(piece) = &args.piece
        && !store.sessions()?.iter().any(|s| s.opened.piece_key == *piece)
    {
        bail!("there is nothing of {piece:?} in the journal");
    }
    let written = match &args.file {
        None => write(store, args, io::stdout().lock()),
        Some(path) => {
            let file =
                File::create_new(path).with_context(|| format!("cannot make {}; give a name that no file has yet", path.display()))?;
            write(store, args, &file).and_then(|()| Ok(file.sync_all()?)).with_context(|| format!("writing {}", path.display()))
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
