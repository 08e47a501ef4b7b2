//! What the journal knows of a player's timing, learned before they begin.

use crate::journal::entry::{Mode, Verdict};
use crate::journal::stats::DatedRep;
use crate::journal::store::{Error, RepId, Store};
use crate::piece::{Piece, parse_bars};
use crate::practice::{Learned, Span, Timed};
use crate::time::Timestamp;

/// Clean reps of the same bars that are learned from, and how many notes all together: what can be heard before a player notices the wait.
const N_REPS_MAX: usize = 12;
const N_NOTES_MAX: u32 = 1_500;

/// Teaches `spans` the timing of the piece's player, as [`learned`] has it.
///
/// # Errors
/// When the journal cannot be read.
pub fn learn_from_journal(store: &Store, key: &str, piece: &Piece, before: Timestamp, spans: &mut [Span]) -> Result<(), Error> {
    let learned = learned(store, key, piece, before)?;
    spans.iter_mut().for_each(|span| learned.teach(span));
    Ok(())
}

/// Returns the timing of the piece's player: from the latest reading take, and from clean reps of any span, newest
/// first. Only what the journal had at `before` counts, so that a stored take can be judged again as it was.
///
/// # Errors
/// When the journal cannot be read.
pub fn learned(store: &Store, key: &str, piece: &Piece, before: Timestamp) -> Result<Learned, Error> {
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
    let mut learned = Learned::default();
    for (id, rep) in reading.into_iter().chain(chosen) {
        let Some(take) = store.take(*id)? else { continue };
        let played = Piece { hearing: take.hearing().clone().into(), ..piece.clone() };
        let Some(span) = played_span(&played, rep, &mut laid_out) else { continue };
        learned.add(&Timed::of(&played, span, &take), rep.mode);
    }
    Ok(learned)
}

/// Lays out the bars that a stored rep was of; `None` when the score has them no more.
fn played_span<'a>(piece: &Piece, rep: &DatedRep, laid_out: &'a mut Vec<Span>) -> Option<&'a Span> {
    if let Some(known) = laid_out.iter().position(|s| s.ends() == rep.bars && s.hearing == piece.hearing) {
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

#[cfg(test)]
mod tests {
    use std::time::Instant;

    use super::*;
    use crate::clock::wall_now;
    use crate::follower::{Begin, OnsetIdx};
    use crate::journal::entry::Entry;
    use crate::journal::store::NewSession;
    use crate::piece_folder::open_piece;
    use crate::practice::{Output, PracticeConfig, listen};
    use crate::source::player::{Manner, perform};
    use crate::time::Tempo;

    /// A journal with a reading of the piece and `n` clean reps of each section, and the piece of `n_bars` bars of four quarters.
    fn journal(n_bars: usize, n: u64) -> (Store, Piece) {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("study.csv");
        let mut notes = "onset_beats,duration_beats,pitch,hand\n".to_owned();
        for beat in 0..4 * n_bars {
            notes += &format!("{beat},0.5,{},R\n{beat}.5,0.5,{},R\n", 60 + (beat * 7) % 24, 62 + (beat * 11) % 24);
            if beat % 4 == 0 {
                notes += &format!("{beat},4,{},L\n", 36 + (beat * 5) % 12);
            }
        }
        std::fs::write(&file, notes).unwrap();
        let piece = open_piece(&file.display().to_string(), None, &[]).unwrap().piece;
        let mut store = Store::open_in_memory().unwrap();
        let opened = NewSession {
            started: "2026-03-01T10:00:00+01:00".parse().unwrap(),
            piece_key: "study".to_owned(),
            piece_title: "Study".to_owned(),
            program_version: "0".to_owned(),
            seed: 0,
        };
        let session = store.begin_session(&opened).unwrap();
        let tempo = Tempo::try_new(100.0).unwrap();
        let mut number = 0;
        for span in Span::of_piece(&piece) {
            let span = if span.is_drill() { span } else { Span::whole(&piece, Mode::Reading).unwrap() };
            for seed in 0..if span.is_drill() { n } else { 1 } {
                let take = perform(piece.part(), &span.stretch, &Manner::fluent(tempo, seed));
                let Some(Output::Record(Entry::Rep(mut rep))) = listen(&piece, &span, &PracticeConfig::standard(), &take).pop() else {
                    panic!()
                };
                rep.number.0 = number;
                number += 1;
                rep.verdict = Verdict::Clean;
                store.append(session, &Entry::Rep(rep)).unwrap();
            }
        }
        (store, piece)
    }

    fn n_takes(span: &Span) -> usize {
        let timing = span.habits.config(Begin::Anywhere).timing;
        timing.map_or(0, |t| (0..span.n_onsets()).map(|o| t.n_takes(OnsetIdx(o))).max().unwrap_or(0))
    }

    #[test]
    fn every_span_learns_from_the_reading_and_from_the_reps_before_the_session() {
        let (store, piece) = journal(12, 2);
        let mut spans = Span::of_piece(&piece);
        learn_from_journal(&store, "study", &piece, wall_now(), &mut spans).unwrap();
        assert_eq!(spans.iter().map(n_takes).collect::<Vec<_>>(), [3, 3, 3, 3], "the reading and two reps");
        assert!(spans.iter().all(|s| s.pace.is_some()));
        let mut spans = Span::of_piece(&piece);
        learn_from_journal(&store, "study", &piece, "2026-03-01T09:00:00+01:00".parse().unwrap(), &mut spans).unwrap();
        assert!(spans.iter().all(|s| n_takes(s) == 0 && s.pace.is_none()), "nothing of what came later");
        learn_from_journal(&store, "another", &piece, wall_now(), &mut spans).unwrap();
        assert!(spans.iter().all(|s| n_takes(s) == 0), "nothing of another piece");
    }

    #[test]
    #[ignore = "a measurement: cargo test --release --lib cli::habits -- --ignored --nocapture"]
    fn a_hundred_bars_are_learned_before_the_player_waits() {
        let (store, piece) = journal(100, 12);
        let mut spans = Span::of_piece(&piece);
        let learn = || {
            let begun = Instant::now();
            let reps = store.reps("study").unwrap();
            let read = begun.elapsed();
            let learned = learned(&store, "study", &piece, wall_now()).unwrap();
            let heard = begun.elapsed() - read;
            spans.iter_mut().for_each(|span| learned.teach(span));
            (begun.elapsed(), read, heard, reps.len())
        };
        let (took, read, heard, n_reps) = std::iter::repeat_with(learn).take(5).min().unwrap();
        println!("{n_reps} reps in the journal, learned in {took:?}: {read:?} to read it, {heard:?} to read and hear the takes");
        assert!(took.as_millis() < 40, "{took:?}");
    }
}
