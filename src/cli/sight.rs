//! `catchword sight`: how small letters may be and still be read from the stand, kept for the drill.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::ensure;
use clap::Args;
use crossbeam_channel::{bounded, never};

use super::N_SIGNALS_MAX;
use crate::clock::{SessionClock, wall_now};
use crate::config::{Config, put_letters};
use crate::paths::Paths;
use crate::source::open;
use crate::tui;
use crate::tui::sight::angle::{LEAST, PREFERRED, Sighting};
use crate::tui::sight::{Read, said};

#[derive(Args, Debug)]
pub struct SightArgs {
    /// From your eyes to the screen, in metres, 0.3 to 6
    #[arg(long, value_name = "METRES", default_value_t = 2.0)]
    distance: f64,
    /// Height of ten rows of this terminal in millimetres, measured on the screen; without it the size is worked out from the
    /// terminal's pixels, or assumed
    #[arg(long, value_name = "MM")]
    ten_rows: Option<f64>,
    /// Answer by footswitch: what to listen to, port:NAME, stream:PATH, or part of a port's name
    #[arg(long, value_name = "INPUT")]
    input: Option<String>,
    /// Keep this as the answer, in half rows, without the reading test
    #[arg(long, value_name = "HALF-ROWS", value_parser = clap::value_parser!(u8).range(7..=60))]
    smallest: Option<u8>,
    /// Write plain lines: what letters come to at this distance
    #[arg(long)]
    plain: bool,
    /// Keep the answer in the settings of this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

/// A pixel of a screen that says nothing of its size: 96 to the inch (the reference pixel of CSS 2.1, section 4.3.2).
const PIXEL: f64 = 25.4 / 96.0;
/// A row of more pixels than this is one of a fine screen, whose pixels are halved or more (common practice).
const PIXELS_MAX: f64 = 26.0;
/// A row of a terminal that says nothing at all: 16 such pixels (common practice).
const ROW: f64 = 16.0 * PIXEL;

pub fn run(args: SightArgs) -> anyhow::Result<ExitCode> {
    ensure!((0.3..=6.0).contains(&args.distance), tr!("expected a distance of 0.3 to 6 metres, found {}", args.distance));
    let ten_rows = args.ten_rows.filter(|mm| !(10.0..=500.0).contains(mm));
    ensure!(ten_rows.is_none(), tr!("expected ten rows of 10 to 500 mm, found {}", ten_rows.unwrap_or_default()));
    let paths = Paths::find(args.data.as_deref())?;
    let config = super::settings(&paths)?;
    let (row, how) = row_height(args.ten_rows, tui::cell_height());
    let sighting = Sighting { distance: args.distance * 1000.0, row, is_measured: args.ten_rows.is_some() };
    let read = if let Some(half_rows) = args.smallest {
        Read::Capital(half_rows.into())
    } else if args.plain || !std::io::stdout().is_terminal() {
        return super::print_lines(lines(sighting, &how, config.letters)).map(|()| ExitCode::SUCCESS);
    } else {
        let clock = SessionClock::start();
        let (sender, signals) = bounded(N_SIGNALS_MAX);
        let running = args.input.as_deref().map(|input| anyhow::Ok(open(input)?.start(clock, sender)?)).transpose()?;
        let notes = if running.is_some() { signals } else { never() };
        let nth = usize::try_from(wall_now().timestamp().rem_euclid(12)).unwrap_or(0);
        let (read, exit) = tui::sight::run(sighting, config.switches(), &notes, nth, &tui::Options::everyday())?;
        if exit != tui::Exit::Quit {
            return Ok(super::exit_code(exit));
        }
        read
    };
    let Read::Capital(capital) = read else { return super::print_lines([tr!("nothing is changed")]).map(|()| ExitCode::SUCCESS) };
    let smallest = capital.max(sighting.least());
    Config::change(&paths.config_file, |text| put_letters(text, smallest))?;
    let why = if smallest > capital {
        tr!("; what you read is under {minutes} minutes, too small to be read at a glance", minutes = format!("{LEAST:.0}"))
    } else {
        String::new()
    };
    super::print_lines([
        tr!("kept: cues are not set smaller than {size}{why}", size = said(smallest, sighting), why),
        how,
        tr!("it stands in {file}", file = paths.config_file.display()),
    ])
    .map(|()| ExitCode::SUCCESS)
}

/// Returns the height of a row in millimetres, and how it is known.
fn row_height(ten_rows: Option<f64>, pixels: Option<f64>) -> (f64, String) {
    match (ten_rows, pixels) {
        (Some(mm), _) => (mm / 10.0, tr!("a row is {mm} mm high, as measured", mm = format!("{:.1}", mm / 10.0))),
        (None, Some(pixels)) => {
            // On a fine screen several pixels are as one; too large a row would call small letters large.
            let row = pixels / (pixels / PIXELS_MAX).ceil() * PIXEL;
            let (pixels, mm) = (format!("{pixels:.0}"), format!("{row:.1}"));
            (row, tr!("a row is {pixels} pixels high, taken for {mm} mm; measure ten rows and say --ten-rows MM", pixels, mm))
        }
        (None, None) => {
            let mm = format!("{ROW:.1}");
            (ROW, tr!("a row is assumed to be {mm} mm high, as the terminal does not say; measure ten rows and say --ten-rows MM", mm))
        }
    }
}

/// Says what letters come to, from the smallest block letters up.
fn lines(sighting: Sighting, how: &str, kept: Option<usize>) -> Vec<String> {
    let line = |half_rows: usize| tr!("{n} half rows: {size}", n = half_rows, size = said(half_rows, sighting));
    let kept = match kept {
        Some(half_rows) => tr!("kept: {}", line(half_rows)),
        None => tr!("kept: nothing yet; --smallest HALF-ROWS keeps what you can read"),
    };
    let head = [
        tr!("enough: from {least} minutes of arc, better {better}", least = format!("{LEAST:.0}"), better = format!("{PREFERRED:.0}")),
        how.to_owned(),
    ];
    head.into_iter().chain([7, 9, 12, 16, 21].map(line)).chain([kept]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_high_a_row_is_is_measured_told_by_the_terminal_or_assumed_and_said() {
        for (ten_rows, pixels, row, word) in [
            (Some(45.0), Some(20.0), 4.5, "as measured"),
            (None, Some(20.0), 5.29, "20 pixels"),
            (None, Some(32.0), 4.23, "32 pixels"),
            (None, None, 4.23, "assumed"),
        ] {
            let (found, how) = row_height(ten_rows, pixels);
            assert!((found - row).abs() < 0.01 && how.contains(word), "{found} {how}");
        }
    }

    #[test]
    fn letters_too_small_for_the_distance_are_said_to_be() {
        let far = lines(Sighting { distance: 4000.0, row: 4.2, is_measured: true }, "", None);
        assert!(far.iter().any(|l| l == "7 half rows: 15 mm, 13 minutes of arc at 4 m; under 16, too small"), "{far:?}");
        let near = lines(Sighting { distance: 2000.0, row: 4.2, is_measured: true }, "", Some(9));
        assert!(near.iter().all(|l| !l.contains("too small")), "{near:?}");
        assert_eq!(near.last().unwrap(), "kept: 9 half rows: 19 mm, 32 minutes of arc at 2 m");
    }
}
