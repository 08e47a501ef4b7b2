//! The whole plan of a day carried out, part after part: each opens its piece, and between them stands what comes next.

use std::process::ExitCode;

use anyhow::Context as _;

use super::{Known, opened, words};
use crate::cli::drill::{Circumstances, NO_NOTES, practise};
use crate::cli::{exit_code, open_as_set, open_journal};
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::entry::Mode;
use crate::memory::item::ItemKind;
use crate::memory::plan::{PlanConfig, PlannedStep, What, plan};
use crate::paths::Paths;
use crate::piece::{Piece, parse_bars};
use crate::practice::Span;
use crate::tui;
use crate::tui::between::{self, Between, Left};

/// Plays today's plan over all pieces; returns none when nothing is planned.
///
/// # Errors
/// When the journal, a piece or the instrument cannot be opened.
pub fn carry_out(paths: &Paths, config: &Config, minutes: u32) -> anyhow::Result<Option<ExitCode>> {
    let store = open_journal(paths)?;
    let mut pieces = opened(None, &store, paths, config)?;
    let known = Known::read(&store, &pieces, config.rules)?;
    drop(store);
    let today = wall_now().date_naive();
    let plan = plan(&known.pieces, &known.fitted.weights, &PlanConfig { today, minutes: minutes.into(), pace: known.pace });
    let parts = plan.parts();
    for (nth, part) in parts.iter().enumerate() {
        let piece = pieces.iter_mut().find(|p| p.key == part.piece).with_context(|| tr!("the plan has a piece that is not there"))?;
        if nth > 0 {
            let between = Between {
                rest_minutes: part.rest.map(|minutes| minutes.ceil() as u32),
                title: piece.piece.title.clone(),
                steps: part.steps.iter().map(|step| words::in_short(step)).collect(),
            };
            match between::run(&between, tui::Options::everyday().colour)? {
                Left::GoOn => {}
                Left::Ended(exit) => return Ok(Some(exit_code(exit))),
            }
            // Lines of story told in an earlier part stand in the file by now.
            let name = piece.file.as_ref().map_or_else(|| piece.key.clone(), |file| file.display().to_string());
            *piece = open_as_set(&name, None, paths, config)?;
        }
        let spans = part.steps.iter().map(|step| span(&piece.piece, step)).collect::<anyhow::Result<Vec<Span>>>()?;
        let circumstances = Circumstances { paths, config, input: None, part: None, plain: false, minutes: None };
        let code = practise(piece.clone(), spans, circumstances)?;
        if code != ExitCode::SUCCESS {
            return Ok(Some(code));
        }
    }
    Ok((!parts.is_empty()).then_some(ExitCode::SUCCESS))
}

/// Lays out what a step has to be played.
fn span(piece: &Piece, step: &PlannedStep) -> anyhow::Result<Span> {
    let span = match &step.what {
        What::RunThrough | What::Rest => Span::whole(piece, Mode::RunThrough),
        What::Item { bars: (first, last), name, kind, .. } => {
            let bars = parse_bars(&format!("{first}-{last}"), &piece.score).map_err(anyhow::Error::msg)?;
            // A join is called by what it joins, a section by its own name.
            let name = if *kind == ItemKind::Switch { format!("{name}, from bar {first}") } else { name.clone() };
            Span::drill(piece, name, &bars, step.reps.clamp(1, 9))
        }
    };
    span.with_context(|| tr!(NO_NOTES))
}
