//! `catchword completions` and `catchword manual`: made of the command definitions, for shells and for `man`.

use std::io::Write as _;
use std::path::PathBuf;

use anyhow::Context as _;
use clap::{Args, CommandFactory as _};
use clap_complete::Shell;

use super::Cli;

#[derive(Args, Debug)]
pub struct CompletionsArgs {
    /// The shell to complete in
    shell: Shell,
}

#[derive(Args, Debug)]
pub struct ManualArgs {
    /// The directory to write the pages to; it is made where it is missing
    directory: PathBuf,
}

pub fn run(args: &CompletionsArgs) -> anyhow::Result<()> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "catchword", &mut script);
    std::io::stdout().lock().write_all(&script).with_context(|| tr!("cannot write the completions"))
}

/// Writes one page for the program and one for each subcommand.
pub fn write_manual(args: &ManualArgs) -> anyhow::Result<()> {
    let dir = &args.directory;
    std::fs::create_dir_all(dir).with_context(|| tr!("cannot make the directory {folder}", folder = dir.display()))?;
    clap_mangen::generate_to(Cli::command(), dir).with_context(|| tr!("cannot write the manual to {folder}", folder = dir.display()))
}
