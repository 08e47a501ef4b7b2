//! Signs on the page to bars as played, from file to order.

use catchword::score::{BarRange, unfold};

use super::{clean, read};

/// The printed labels in playing order.
fn order(name: &str) -> String {
    let (score, _) = read(name);
    let played = unfold(&score, &score.parts[0], &score.all_bars().unwrap());
    played.bars.iter().map(|b| score.bar(b.bar).label.to_string()).collect::<Vec<_>>().join(" ")
}

#[test]
fn repeats_and_jumps_are_played_in_order() {
    for (name, played) in [
        ("repeat_with_endings.musicxml", "1 2 3 1 2 3 1 4 5"),
        ("repeat_three_times.musicxml", "1 1 1 2"),
        ("endings_without_numbers.musicxml", "1 2 1 3"),
        ("tie_into_second_ending.musicxml", "1 2 3 1 2 4"),
        ("bar_split_by_repeat.musicxml", "0 1 2 0 1 2 X1 3 4 X1 3 4"),
        ("da_capo_al_fine.musicxml", "1 1 2 3 1 2"),
        ("dal_segno_al_coda_in_signs.musicxml", "1 2 3 4 2 3 5"),
        ("da_capo_a_bar_early.musicxml", "1 2 3 1"),
        ("to_coda_in_words.musicxml", "1 2 1 3"),
        ("repeat_after_jump.musicxml", "1 1 2 1 1 2"),
    ] {
        assert_eq!(order(name), played, "{name}");
    }
}

#[test]
fn each_played_bar_keeps_its_printed_bar_and_counts_its_passes() {
    let score = clean("repeat_with_endings.musicxml");
    let played = unfold(&score, &score.parts[0], &score.all_bars().unwrap());
    let passes: Vec<_> = played.bars.iter().map(|b| (b.bar.0, b.pass)).collect();
    assert_eq!(passes, [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1), (0, 2), (3, 0), (4, 0)]);
    let sixth = played.place(played.bars[5].start).unwrap();
    assert_eq!(sixth.words(&score), "bar 3, beat 1");
}

#[test]
fn a_grace_note_before_a_bar_line_leads_to_the_next_bar_played() {
    let score = clean("grace_before_bar_line.musicxml");
    let played = unfold(&score, &score.parts[0], &score.all_bars().unwrap());
    let notes: Vec<_> = played.notes.iter().map(|n| (n.onset.to_f64(), n.key.number(), n.played_bar)).collect();
    // B leads to C again, then to A; the last bar's G leads to nothing.
    assert_eq!(notes, [(0.0, 72, 0), (4.0, 71, 1), (4.0, 72, 1), (8.0, 69, 2), (8.0, 71, 2)]);
}

/// Takes a few seconds of files with `CATCHWORD_SCORES` set to a folder: every score below it is read and unfolded.
#[test]
fn scores_of_the_readers_choice_unfold_within_bounds() {
    let mut folders: Vec<std::path::PathBuf> = std::env::var_os("CATCHWORD_SCORES").into_iter().map(Into::into).collect();
    folders.push(super::path("cc0"));
    let mut n_read = 0;
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
            } else if entry.extension().is_some_and(|e| ["xml", "musicxml", "mxl"].iter().any(|known| e == *known)) {
                let Ok((score, _)) = catchword::import::read_score(&std::fs::read(&entry).unwrap(), &entry.display().to_string()) else {
                    continue;
                };
                for part in &score.parts {
                    let played = unfold(&score, part, &score.all_bars().unwrap());
                    assert!(played.bars.len() <= 6 * score.bars.len(), "{}: {} bars", entry.display(), played.bars.len());
                }
                n_read += 1;
            }
        }
    }
    assert!(n_read >= 4);
}

#[test]
fn unfolding_keeps_every_duration_and_places_every_note_in_its_bar() {
    for name in ["repeat_with_endings.musicxml", "da_capo_al_fine.musicxml", "cc0/home_sweet_home.mxl", "cc0/take_o_take.mxl"] {
        let (score, _) = read(name);
        for part in &score.parts {
            for start in 0..score.bars.len() {
                for end in [start + 1, start + 4, start + 9, score.bars.len()] {
                    let Some(run) = BarRange::try_new(start..end.min(score.bars.len())) else { continue };
                    let played = unfold(&score, part, &run);
                    let mut at = catchword::time::ScoreTime::ZERO;
                    for bar in &played.bars {
                        assert!(run.contains(bar.bar) && bar.start == at && bar.length == score.bar(bar.bar).length);
                        at += bar.length;
                    }
                    assert_eq!(at, played.total());
                    for note in &played.notes {
                        let (bar, printed) = (&played.bars[note.played_bar], &part.notes[note.note.0]);
                        let (into_bar, in_print) = (note.onset - bar.start, printed.onset - score.bar(printed.bar).start);
                        if printed.is_optional() && in_print == score.bar(printed.bar).length {
                            // Printed before the bar line, played with the bar it leads to.
                            assert!(into_bar.is_zero() && played.bars[note.played_bar - 1].bar == printed.bar);
                        } else {
                            assert_eq!((into_bar, bar.bar), (in_print, printed.bar));
                        }
                        assert_eq!(note.key, printed.key);
                    }
                    assert!(played.notes.windows(2).all(|w| (w[0].onset, w[0].key) <= (w[1].onset, w[1].key)));
                }
            }
        }
    }
}
