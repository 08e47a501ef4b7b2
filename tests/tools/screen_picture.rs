//! Makes a picture of the real program's screen, for README and for looking at.
//!
//! ```text
//! cargo run --release --example screen_picture -- OUT.svg COLUMNSxROWS STEP... -- ARGUMENT...
//! ```
//!
//! Runs `catchword ARGUMENT...` in a terminal of that size and takes the steps in turn: `key=KEYS`
//! presses keys, `wait=TEXT` waits for text on the screen, `gone=TEXT` until it is not there,
//! `seconds=N` lets time pass. Then it waits for a quiet moment and writes the screen as an SVG.
//! README's picture:
//!
//! ```text
//! cargo build --release && cargo run --release --example screen_picture -- pieces/ferry/drill-screen.svg 80x24 \
//!     wait="press a key" key=l key=l wait="third down again" key=l seconds=0.4 -- demo
//! ```
//!
//! The program beside this tool is run, so build it first with the same profile. Large letters are
//! not text: press `l` for plain ones, wait, and press `l` again.

#[path = "pty.rs"]
#[allow(dead_code)]
mod pty;
mod svg;

use std::process::ExitCode;
use std::time::Duration;

use portable_pty::CommandBuilder;

const USAGE: &str = "usage: screen_picture OUT.svg COLUMNSxROWS [key=KEYS|wait=TEXT|gone=TEXT|seconds=N]... -- ARGUMENT...";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match picture(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(reason) => {
            eprintln!("screen_picture: {reason}\n{USAGE}");
            ExitCode::FAILURE
        }
    }
}

fn picture(arguments: &[String]) -> Result<(), String> {
    let split = arguments.iter().position(|argument| argument == "--").ok_or("no -- before the program's arguments")?;
    let (ours, programs) = (&arguments[..split], &arguments[split + 1..]);
    let [out, size, steps @ ..] = ours else { return Err("the file or the size is missing".to_owned()) };
    let (columns, rows) = size.split_once('x').ok_or("a size looks like 80x24")?;
    let number = |text: &str| text.parse::<u16>().map_err(|_| format!("{text:?} is not a number of cells"));
    let mut command = CommandBuilder::new(pty::program());
    command.args(programs);
    command.env("TERM", "xterm-256color");
    command.env_remove("NO_COLOR");
    command.cwd(std::env::current_dir().map_err(|error| error.to_string())?);
    let mut terminal = pty::Pty::start(command, number(columns)?, number(rows)?);
    for step in steps {
        match step.split_once('=') {
            Some(("key", keys)) => terminal.press(keys),
            Some(("wait", text)) => terminal.wait_for(text),
            Some(("gone", text)) => terminal.wait_until(&format!("{text:?} to go"), |screen| !screen.contents().contains(text)),
            Some(("seconds", text)) => {
                let seconds: f64 = text.parse().map_err(|_| format!("{text:?} is not a number of seconds"))?;
                std::thread::sleep(Duration::from_secs_f64(seconds.clamp(0.0, 600.0)));
            }
            _ => return Err(format!("unknown step {step:?}")),
        }
    }
    terminal.settle(Duration::from_millis(60));
    let title = format!("catchword {}", programs.join(" "));
    let drawing = terminal.look(|screen| svg::draw(screen, &title));
    std::fs::write(out, drawing).map_err(|error| format!("writing {out}: {error}"))
}
