//! What the journal knows of a player's timing, learned before they begin.

use crate::journal::entry::{Mode, Verdict};
use crate::journal::stats::DatedRep;
use crate::journal::store::{Error, RepId, Store};
use crate::piece::{Piece, parse_bars};
use crate::practice::{Span, Timed};
use crate::time::Timestamp;

/// Clean reps of the same bars that are learned from, and how many notes all together: what can be heard before a player notices the wait.
const N_REPS_MAX: usize = 12;
const N_NOTES_MAX: u32 = 3_000;

/// Teaches `spans` the timing of the piece's player: from the latest reading take, and from clean reps of any span, newest
/// first. Only what the journal had at `before` counts, so that a stored take can be judged again as it was.
///
/// # Errors
/// When the journal cannot be read.
pub fn learn_from_journal(store: &Store, key: &str, piece: &Piece, before: Timestamp, spans: &mut [Span]) -> Result<(), Error> {
    let reps: Vec<(RepId, DatedRep)> = store.reps(key)?.into_iter().filter(|(_, rep)| rep.at < before).collect();
    let reading = reps.iter().rev().find(|(_, rep)| rep.mode == Mode::Reading);
    let clean = reps.iter().rev().filter(|(_, rep)| rep.mode != Mode::Reading && rep.verdict == Verdict::Clean);
    let mut chosen: Vec<&(RepId, DatedRep)> = Vec::new();
    let mut n_notes = reading.map_or(0, |(_, rep)| rep.n_notes_due);
    for rep in clean {
        let n_alike = chosen.iter().filter(|(_, other)| other.bars == rep.1.bars).count();
        if n_alike < N_REPS_MAX && n_notes + rep.1.n_notes_due <= N_NOTES_MAX {
            n_notes += rep.1.n_notes_due;
            chosen.push(rep);
        }
    }
    let mut laid_out: Vec<Span> = Vec::new();
    for (id, rep) in reading.into_iter().chain(chosen) {
        let (Some(take), Some(span)) = (store.take(*id)?, played_span(piece, rep, &mut laid_out)) else { continue };
        let timed = Timed::of(piece, span, &take);
        for span in spans.iter_mut() {
            let mut habits = std::mem::take(&mut span.habits);
            habits.take_in(span, &timed);
            span.habits = habits;
            if rep.mode == Mode::Reading {
                span.pace = Some(timed.pace.clone());
            }
        }
    }
    Ok(())
}

/// Lays out the bars that a stored rep was of; `None` when the score has them no more.
fn played_span<'a>(piece: &Piece, rep: &DatedRep, laid_out: &'a mut Vec<Span>) -> Option<&'a Span> {
    if let Some(known) = laid_out.iter().position(|s| s.ends() == rep.bars) {
        return Some(&laid_out[known]);
    }
    laid_out.push(span_of(piece, rep)?);
    laid_out.last()
}

/// Returns the span of a stored rep, as it can be laid out from its printed bars.
pub fn span_of(piece: &Piece, rep: &DatedRep) -> Option<Span> {
    let bars = parse_bars(&format!("{}-{}", rep.bars.0, rep.bars.1), &piece.score).ok()?;
    Span::new(piece, rep.span.clone(), rep.mode, &bars, u8::MAX)
}
