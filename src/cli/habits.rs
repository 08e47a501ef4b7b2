//! What the journal knows of a player's timing, learned before they begin.

use std::collections::HashMap;
use std::panic::resume_unwind;
use std::thread;

use crate::journal::attempts::{Attempt, PlayedSpan};
use crate::journal::entry::{Mode, Verdict};
use crate::journal::stats::DatedRep;
use crate::journal::store::{Error, Store};
use crate::midi::Take;
use crate::piece::{Piece, parse_bars};
use crate::practice::{Learned, PracticeConfig, Span, Timed, excerpt};
use crate::time::Timestamp;

/// Clean reps of the same bars that are learned from, and how many notes all together: what can be heard before a player notices the wait.
const N_REPS_MAX: usize = 12;
const N_NOTES_MAX: u32 = 1_500;

/// Teaches `spans` the timing of the piece's player, as [`learned`] has it.
///
/// # Errors
/// When the journal cannot be read.
pub fn learn_from_journal(
    store: &Store,
    key: &str,
    piece: &Piece,
    before: Timestamp,
    config: &PracticeConfig,
    spans: &mut [Span],
) -> Result<(), Error> {
    let learned = learned(store, key, piece, before, config)?;
    spans.iter_mut().for_each(|span| learned.teach(span));
    Ok(())
}

/// Returns the timing of the piece's player: from the latest reading take, and from clean reps of any span, newest
/// first, each heard by `config`. Only what the journal had at `before` counts, so that a stored take can be judged again as it was.
///
/// # Errors
/// When the journal cannot be read.
pub fn learned(store: &Store, key: &str, piece: &Piece, before: Timestamp, config: &PracticeConfig) -> Result<Learned, Error> {
    let reps = store.attempts(key)?;
    let all = &reps.all[..reps.all.partition_point(|rep| rep.at < before)];
    let mut notes_of: Vec<Option<u32>> = vec![None; reps.spans.len()];
    // The clean reps of a span all have as many notes due as its latest one.
    let mut n_due = |rep: &Attempt| match notes_of[rep.span] {
        Some(n) => Ok(n),
        None => store.n_notes_due(rep.row).inspect(|n| notes_of[rep.span] = Some(*n)),
    };
    let reading = all.iter().rev().find(|rep| rep.mode == Mode::Reading);
    let mut n_notes = reading.map_or(Ok(0), &mut n_due)?;
    let mut chosen: Vec<&Attempt> = Vec::new();
    let mut n_alike: HashMap<&(String, String), usize> = HashMap::new();
    for rep in all.iter().rev().filter(|rep| rep.mode != Mode::Reading && rep.verdict == Verdict::Clean) {
        let n_alike = n_alike.entry(&reps.spans[rep.span].bars).or_default();
        if *n_alike < N_REPS_MAX {
            let n = n_due(rep)?;
            if n_notes + n <= N_NOTES_MAX {
                n_notes += n;
                *n_alike += 1;
                chosen.push(rep);
            }
        }
    }
    let mut shelf = Shelf::default();
    let mut played: Vec<Played> = Vec::new();
    for rep in reading.into_iter().chain(chosen) {
        let Some(take) = store.take(store.rep_id(rep.row)?)? else { continue };
        let place = shelf.find(piece, &reps.spans[rep.span], rep.mode, &take);
        played.extend(place.map(|(piece, span)| Played { piece, span, take, mode: rep.mode }));
    }
    let mut learned = Learned::default();
    for (timed, played) in shelf.hear(&played, config).iter().zip(&played) {
        learned.add(timed, played.mode);
    }
    Ok(learned)
}

/// A stored take, and what it is of: indices into the [`Shelf`].
struct Played {
    piece: usize,
    span: usize,
    take: Take,
    mode: Mode,
}

/// The piece as each instrument of its takes was heard, and the spans that were played, each laid out once.
#[derive(Default)]
struct Shelf {
    pieces: Vec<Piece>,
    spans: Vec<Span>,
}

impl Shelf {
    /// Lays out what a stored rep was of; `None` when the score has its bars no more.
    fn find(&mut self, piece: &Piece, played: &PlayedSpan, mode: Mode, take: &Take) -> Option<(usize, usize)> {
        let hearing = take.hearing().clone();
        let piece_idx = self.pieces.iter().position(|p| p.hearing == hearing).unwrap_or_else(|| {
            self.pieces.push(Piece { hearing, ..piece.clone() });
            self.pieces.len() - 1
        });
        let piece = &self.pieces[piece_idx];
        let known = self.spans.iter().position(|s| s.ends(&piece.score) == played.bars && s.hearing == piece.hearing);
        if known.is_none() {
            self.spans.push(lay_out(piece, &played.name, mode, &played.bars)?);
        }
        Some((piece_idx, known.unwrap_or(self.spans.len() - 1)))
    }

    /// Hears the takes, all processors at once: somebody is waiting to play.
    fn hear(&self, played: &[Played], config: &PracticeConfig) -> Vec<Timed> {
        let n_workers = thread::available_parallelism().map_or(1, usize::from);
        let hear = |played: &Played| Timed::of(&self.pieces[played.piece], &self.spans[played.span], &played.take, config);
        thread::scope(|scope| {
            let shares = played.chunks(played.len().div_ceil(n_workers).max(1));
            let workers: Vec<_> = shares.map(|share| scope.spawn(move || share.iter().map(hear).collect::<Vec<_>>())).collect();
            workers.into_iter().flat_map(|worker| worker.join().unwrap_or_else(|cause| resume_unwind(cause))).collect()
        })
    }
}

/// Returns the span of a stored rep, as it can be laid out from its printed bars.
pub fn span_of(piece: &Piece, rep: &DatedRep, config: &PracticeConfig) -> Option<Span> {
    let of_bars = lay_out(piece, &rep.span, rep.mode, &rep.bars);
    // The beats around a slip begin and end in the middle of bars.
    of_bars.or_else(|| excerpt(piece, &rep.span, (&rep.bars.0, &rep.bars.1), &config.slips))
}

fn lay_out(piece: &Piece, name: &str, mode: Mode, (first, last): &(String, String)) -> Option<Span> {
    let bars = parse_bars(&format!("{first}-{last}"), &piece.score).ok()?;
    Span::new(piece, name.to_owned(), mode, &bars, u8::MAX)
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
    use crate::practice::{Output, listen};
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
        let timing = span.habits.config(PracticeConfig::standard().waits, Begin::Anywhere).timing;
        timing.map_or(0, |t| (0..span.n_onsets()).map(|o| t.n_takes(OnsetIdx(o))).max().unwrap_or(0))
    }

    #[test]
    fn every_span_learns_from_the_reading_and_from_the_reps_before_the_session() {
        let (store, piece) = journal(12, 2);
        let mut spans = Span::of_piece(&piece);
        learn_from_journal(&store, "study", &piece, wall_now(), &PracticeConfig::standard(), &mut spans).unwrap();
        assert_eq!(spans.iter().map(n_takes).collect::<Vec<_>>(), [3, 3, 3, 3], "the reading and two reps");
        assert!(spans.iter().all(|s| s.pace.is_some()));
        let mut spans = Span::of_piece(&piece);
        learn_from_journal(&store, "study", &piece, "2026-03-01T09:00:00+01:00".parse().unwrap(), &PracticeConfig::standard(), &mut spans)
            .unwrap();
        assert!(spans.iter().all(|s| n_takes(s) == 0 && s.pace.is_none()), "nothing of what came later");
        learn_from_journal(&store, "another", &piece, wall_now(), &PracticeConfig::standard(), &mut spans).unwrap();
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
            let learned = learned(&store, "study", &piece, wall_now(), &PracticeConfig::standard()).unwrap();
            let heard = begun.elapsed() - read;
            spans.iter_mut().for_each(|span| learned.teach(span));
            (begun.elapsed(), read, heard, reps.len())
        };
        let (took, read, heard, n_reps) = std::iter::repeat_with(learn).take(5).min().unwrap();
        println!("{n_reps} reps in the journal, learned in {took:?}: {read:?} to read it, {heard:?} to read and hear the takes");
        assert!(took.as_millis() < 40, "{took:?}");
    }
}
