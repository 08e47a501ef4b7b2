//! What the loudness of an inner note says of its hand.
//!
//! The tune is brought out, and what goes with it is softer (common practice): an inner note about as loud as the highest is likely in
//! the hand of the highest, and one as soft as the lowest, where the highest stands out, tells little.

use super::Row;

/// Log odds of the left hand, for each step of velocity that a note is nearer to the highest note of its chord than to the lowest, and for
/// each that the highest is louder than the lowest. Fitted by `tests/bench/loudness_fit.py` on the inner notes of 44 performances of the
/// Vienna 4x22 corpus: on Mozart's K. 331 by itself (-1.97, -0.82) / 16, on Chopin's op. 38 by itself (-2.12, -1.18) / 16; each takes the
/// log-likelihood of the other's notes from -.693 to -.54 and -.57. Between the two:
const NEARER: f32 = -2.05 / 16.0;
const LOUDER: f32 = -1.0 / 16.0;

/// A key that is struck again soon stays in its hand: of inner notes in the pieces that hands were learned from, 99 % within half a
/// quarter, 96 % within one, 93 % within two. Quarters after which what the one stroke says counts less for the other by the factor e.
const FADE: f32 = 2.0;
/// Quarters, and notes, that are looked through on either side.
const REACH: f64 = 4.0;
const N_NOTES_MAX: usize = 60;

/// Returns for each note the log odds of the left hand by the loudness of its key now and a little before and after.
pub fn log_odds(rows: &[Row]) -> Vec<f32> {
    let alone = alone(rows);
    let around = |i: usize| {
        let before = (0..i).rev().take(N_NOTES_MAX).take_while(move |&j| rows[i].onset - rows[j].onset <= REACH);
        let after = (i + 1..rows.len()).take(N_NOTES_MAX).take_while(move |&j| rows[j].onset - rows[i].onset <= REACH);
        before.chain(after).filter(move |&j| rows[j].key == rows[i].key)
    };
    let fades = |i: usize, j: usize| (-((rows[j].onset - rows[i].onset).abs() as f32) / FADE).exp();
    (0..rows.len()).map(|i| alone[i] + around(i).map(|j| fades(i, j) * alone[j]).sum::<f32>()).collect()
}

/// Returns what each stroke says by itself; nothing for the outer notes of a chord, or where loudness is not known.
fn alone(rows: &[Row]) -> Vec<f32> {
    let mut all = vec![0.0; rows.len()];
    let mut first = 0;
    for chord in rows.chunk_by(|a, b| a.onset == b.onset) {
        if let [lowest, inner @ .., highest] = chord
            && let (Some(low), Some(high)) = (lowest.velocity, highest.velocity)
        {
            for (odds, note) in all[first + 1..].iter_mut().zip(inner) {
                let nearer = |velocity: f32| (velocity - low).abs() - (velocity - high).abs();
                *odds = note.velocity.map_or(0.0, |velocity| NEARER * nearer(velocity) + LOUDER * (high - low));
            }
        }
        first += chord.len();
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(onset: f64, key: f64, velocity: f32) -> Row {
        Row { onset, end: onset, key, velocity: (velocity > 0.0).then_some(velocity) }
    }

    #[test]
    fn an_inner_note_goes_with_the_outer_one_that_is_as_loud_and_its_key_when_struck_again_with_it() {
        let soft = log_odds(&[row(0.0, 48.0, 50.0), row(0.0, 60.0, 50.0), row(0.0, 72.0, 80.0)]);
        let loud = log_odds(&[row(0.0, 48.0, 50.0), row(0.0, 60.0, 80.0), row(0.0, 72.0, 80.0)]);
        assert!(soft[1] > 1.5 && loud[1] < -4.0, "{soft:?} {loud:?}");
        assert_eq!((soft[0], soft[2]), (0.0, 0.0), "the outer notes are told by nothing here");
        // One quarter later the same key by itself, and another key.
        let again =
            log_odds(&[row(0.0, 48.0, 50.0), row(0.0, 60.0, 50.0), row(0.0, 72.0, 80.0), row(1.0, 59.0, 60.0), row(1.0, 60.0, 60.0)]);
        assert!(again[4] > 0.5 * soft[1] && again[4] < soft[1] && again[3] == 0.0, "{again:?}");
        // All alike, or not known: nothing is said.
        for velocity in [64.0, 0.0] {
            assert_eq!(log_odds(&[48.0, 60.0, 72.0].map(|key| row(0.0, key, velocity))), [0.0; 3]);
        }
    }
}
