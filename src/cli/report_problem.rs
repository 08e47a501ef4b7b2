//! `catchword report-problem`: what somebody needs to look into a problem, in one text file, shown before it is written.

use std::fs::File;
use std::io::{BufRead as _, Write as _};
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::Args;

use super::VERSION;
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::stats::DatedRep;
use crate::journal::store::{RepId, Store};
use crate::midi::Take;
use crate::paths::{Paths, TEXT_BYTES_MAX, read_file};
use crate::report::plain_text::counted;
use crate::source::replay::write_take_lines;

/// The latest sessions that are looked through for takes.
const N_SESSIONS: usize = 5;
/// Lines of the log, from its end.
const N_LOG_LINES: usize = 400;

#[derive(Args, Debug)]
pub struct ReportProblemArgs {
    /// Where the report goes; a name that no file has yet
    #[arg(long, value_name = "FILE", default_value = "catchword-problem.txt")]
    out: PathBuf,
    /// How many of the last takes go with it, 0 to 20
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u8).range(0..=20))]
    takes: u8,
    /// Write it without asking
    #[arg(long)]
    yes: bool,
    /// Keep journal, settings and pieces in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

pub fn run(args: &ReportProblemArgs) -> anyhow::Result<()> {
    let paths = Paths::find(args.data.as_deref())?;
    let mut parts = vec![program(), settings(&paths)];
    let (journal, takes) = journal(&paths, usize::from(args.takes));
    parts.push(journal);
    parts.extend(takes);
    parts.push(log(&paths));
    let home = std::env::home_dir().map(|home| home.display().to_string()).filter(|home| home.len() > 1);
    for part in &mut parts {
        if let Some(home) = &home {
            part.body = part.body.replace(home, "~");
        }
    }
    let shown = parts.iter().flat_map(|part| {
        let body = part.summary.clone().unwrap_or_else(|| part.body.clone());
        let body = body.lines().map(|line| format!("  {line}")).collect::<Vec<_>>();
        std::iter::once(part.head.clone()).chain(body)
    });
    super::print_lines([tr!("This is what the report has in it; nothing is sent anywhere."), String::new()].into_iter().chain(shown))?;
    let out = args.out.display();
    if !args.yes {
        super::print_lines([String::new(), tr!("Write all of it to {file}? Type y, or anything else to leave it.", file = out)])?;
        let mut answer = String::new();
        std::io::stdin().lock().read_line(&mut answer).with_context(|| tr!("reading the answer"))?;
        if !matches!(answer.trim().to_lowercase().as_str(), "y" | "yes") {
            return super::print_lines([tr!("nothing was written")]);
        }
    }
    let text: String = parts.iter().map(|part| format!("== {}\n{}\n\n", part.head, part.body.trim_end())).collect();
    let mut file = File::create_new(&args.out).with_context(|| tr!("cannot make {file}; give another name with --out", file = out))?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).with_context(|| tr!("writing {file}", file = out))?;
    super::print_lines([tr!("written to {file}: look through it, and attach it to your report", file = out)])
}

/// One part of the report.
struct Part {
    head: String,
    body: String,
    /// Shown in place of a body that says nothing to a reader.
    summary: Option<String>,
}

impl Part {
    fn new(head: impl Into<String>, body: String) -> Part {
        Part { head: head.into(), body, summary: None }
    }
}

fn program() -> Part {
    let of = |name: &str| std::env::var(name).unwrap_or_else(|_| "not set".to_owned());
    let size = crossterm::terminal::size().map_or_else(|_| "no terminal".to_owned(), |(columns, rows)| format!("{columns} x {rows}"));
    let system = format!("{} {}", std::env::consts::OS, std::env::consts::ARCH);
    let body = format!(
        "catchword {VERSION}\nsystem {system}\nterminal {size}, TERM {}, LANG {}, NO_COLOR {}\nwritten {}",
        of("TERM"),
        of("LANG"),
        of("NO_COLOR"),
        wall_now().format("%Y-%m-%d %H:%M %:z")
    );
    Part::new("program", body)
}

fn settings(paths: &Paths) -> Part {
    let name = paths.config_file.display();
    let body = match Config::read(&paths.config_file) {
        Ok(None) => format!("no file at {name}: the usual ones hold"),
        Ok(Some(text)) => match Config::parse(&text, &name.to_string()) {
            Ok(_) => text,
            Err(error) => format!("{error}\n{text}"),
        },
        Err(error) => format!("{:#}", anyhow::Error::from(error)),
    };
    Part::new("settings", body)
}

/// What the journal has, and its last takes. A journal that cannot be read is a problem to report, not to stop at.
fn journal(paths: &Paths, n_takes: usize) -> (Part, Vec<Part>) {
    let read = || -> anyhow::Result<(String, Vec<Part>)> {
        let store = Store::open(&paths.data)?;
        let sound = store.check().map_or_else(|error| format!("not sound: {error:#}"), |()| "sound".to_owned());
        let sessions = store.sessions()?;
        let mut keys: Vec<String> = sessions.iter().rev().take(N_SESSIONS).map(|s| s.opened.piece_key.clone()).collect();
        keys.sort();
        keys.dedup();
        let mut last: Vec<(String, RepId, DatedRep)> = Vec::new();
        for key in keys {
            last.extend(store.reps(&key)?.into_iter().map(|(id, rep)| (key.clone(), id, rep)));
        }
        last.sort_by_key(|(.., rep)| std::cmp::Reverse(rep.at));
        let mut parts = Vec::new();
        for (key, id, rep) in last {
            if parts.len() == n_takes {
                break;
            }
            if let Some(take) = store.take(id)? {
                parts.push(take_part(&key, &rep, &take));
            }
        }
        let cut_short = sessions.iter().filter(|s| s.ended.is_none()).count();
        Ok((format!("{}, {cut_short} cut short; {sound}", counted(sessions.len(), "session")), parts))
    };
    match read() {
        Ok((body, takes)) => (Part::new("journal", body), takes),
        Err(error) => (Part::new("journal", format!("cannot be read: {error:#}")), Vec::new()),
    }
}

fn take_part(key: &str, rep: &DatedRep, take: &Take) -> Part {
    let why = rep.failed.as_ref().map(|(place, kind)| format!("; {place} {kind}")).unwrap_or_default();
    let head = format!(
        "take of {key}, {}, bars {} to {}, {}: {}{why}",
        rep.span,
        rep.bars.0,
        rep.bars.1,
        rep.at.format("%Y-%m-%d %H:%M"),
        rep.verdict.words()
    );
    let summary = format!("{} of MIDI in {:.0} seconds", counted(take.events().len(), "event"), take.length().secs_f64());
    Part { head, body: write_take_lines(take), summary: Some(summary) }
}

fn log(paths: &Paths) -> Part {
    let set = Config::load(&paths.config_file).ok().and_then(|config| config.log).map(|file| paths.data.join(file));
    let file = crate::log::path().map(Path::to_owned).or(set);
    let body = match file {
        None => "off; log = \"FILE\" in the settings, or --log FILE, keeps one".to_owned(),
        // The end is what matters, and a log of years may be long.
        Some(file) => match read_file(&file, 64 * TEXT_BYTES_MAX) {
            Ok(bytes) => {
                let text = String::from_utf8_lossy(&bytes).into_owned();
                let lines: Vec<&str> = text.lines().collect();
                lines[lines.len().saturating_sub(N_LOG_LINES)..].join("\n")
            }
            Err(error) => format!("{} cannot be read: {error}", file.display()),
        },
    };
    Part::new("log", body)
}
