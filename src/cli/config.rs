//! `catchword config`: the settings in force, and a settings file to begin with.

use clap::Args;
use std::path::PathBuf;

use super::print_lines;
use crate::config::{Config, REFERENCE, Shown, shown};
use crate::paths::Paths;

#[derive(Args, Debug)]
pub struct ConfigArgs {
    /// Print every setting that holds now, and where it comes from (the usual)
    #[arg(long, conflicts_with = "reference")]
    show: bool,
    /// Print a settings file with every key in it, explained
    #[arg(long)]
    reference: bool,
    /// Look for the settings in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub fn run(args: ConfigArgs) -> anyhow::Result<()> {
    if args.reference {
        return print_lines(REFERENCE.lines().map(str::to_owned));
    }
    let file = Paths::find(args.data.as_deref())?.config_file;
    let text = Config::read(&file)?;
    let name = file.display().to_string();
    let head = match &text {
        Some(_) => tr!("settings from {file}", file = name),
        None => tr!("no settings file; one at {file} would hold", file = name),
    };
    let settings = shown(text.as_deref().unwrap_or_default(), &name)?;
    let width = settings.iter().map(|s| s.key.len()).max().unwrap_or(0);
    print_lines([head].into_iter().chain(settings.iter().map(|s| line(s, width))))
}

fn line(Shown { key, value, line }: &Shown, width: usize) -> String {
    let value = value.clone().unwrap_or_else(|| tr!("none"));
    let from = line.map_or_else(|| tr!("usual"), |line| tr!("line {line}", line));
    format!("  {key:width$}  {value}  ({from})")
}
