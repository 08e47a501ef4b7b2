//! The command line: one file a subcommand, each with its arguments as typed and one `run`.

mod demo;
mod director;
mod drill;
mod inspect;
mod ports;
mod reps;
mod session;
mod trace;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Practise a piece from memory, with one cue when it is needed.
#[derive(Parser, Debug)]
#[command(name = "catchword", version, about)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Watch the built-in player drill a demo piece
    Demo(demo::DemoArgs),
    /// Drill a piece section by section, from memory
    Drill(drill::DrillArgs),
    /// List what the journal has of a piece, and take recordings out of it
    Reps(reps::RepsArgs),
    /// Follow a recorded take through a score and say what was heard
    Trace(trace::TraceArgs),
    /// Print what is read from a score file
    Inspect(inspect::InspectArgs),
    /// List the MIDI inputs of this machine
    Ports(ports::PortsArgs),
}

/// Runs the program on the arguments of the process. Exit code 0: done; 1: it failed, the reason is on standard error; 2: the arguments are wrong.
pub fn run() -> ExitCode {
    let result = match Cli::parse().command {
        Command::Demo(args) => demo::run(args),
        Command::Drill(args) => drill::run(args),
        Command::Reps(args) => reps::run(args),
        Command::Trace(args) => trace::run(args),
        Command::Inspect(args) => inspect::run(args),
        Command::Ports(args) => ports::run(args),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("catchword: {error:#}");
            ExitCode::FAILURE
        }
    }
}

/// Prints lines on standard output; a reader that went away is a quiet end.
fn print_lines(lines: impl IntoIterator<Item = String>) -> anyhow::Result<()> {
    use std::io::Write;
    let mut out = std::io::stdout().lock();
    for line in lines {
        match writeln!(out, "{line}") {
            Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => return Ok(()),
            result => result?,
        }
    }
    Ok(())
}
