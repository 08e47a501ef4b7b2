//! Captured bars played back over MIDI, to be heard against the page. The screen still shows no note.

use std::thread;
use std::time::Duration;

use anyhow::{Context as _, ensure};

use crate::clock::SessionClock;
use crate::midi::{Channel, Velocity};
use crate::score::Score;
use crate::time::{Micros, Tempo};
use crate::tone::{Sound, Tone};

/// From the word to the first note, and after the last.
const BREATH: Micros = Micros(300_000);
/// Notes are let go a little early, so that a key struck again is heard again.
const HELD: f64 = 0.95;
/// Shorter than this no note sounds; grace notes last as long.
const SHORTEST: Micros = Micros(60_000);
const VELOCITY: Velocity = Velocity(72);

/// Returns the notes of printed bars, counted from the beginning of the first.
///
/// # Errors
/// When the score has no such bars.
pub fn sounds(score: &Score, (first, last): (u32, u32), tempo: Tempo) -> anyhow::Result<Vec<Sound>> {
    let bar = |number: u32| score.find_bar(&number.to_string()).with_context(|| tr!("nothing is captured of bar {bar}", bar = number));
    let (first, last) = (bar(first)?, bar(last)?);
    let start = score.bar(first).start;
    let notes = score.parts.iter().flat_map(|part| &part.notes).filter(|note| (first..=last).contains(&note.bar));
    let sound = |note: &crate::score::Note| Sound {
        after: tempo.duration(note.onset - start),
        channel: Channel(0),
        key: note.key,
        velocity: VELOCITY,
        length: Micros((tempo.duration(note.duration).0 as f64 * HELD) as i64).max(SHORTEST),
    };
    Ok(notes.map(sound).collect())
}

/// Plays bars and returns when the last note has ended.
///
/// # Errors
/// When the score has no such bars, or nothing sounds here.
pub fn play(score: &Score, bars: (u32, u32), tempo: Tempo, tone: &Tone, clock: SessionClock) -> anyhow::Result<()> {
    let sounds = sounds(score, bars, tempo)?;
    if let Some(trouble) = tone.take_trouble() {
        anyhow::bail!(trouble);
    }
    ensure!(
        tone.is_on(),
        tr!("expected somewhere to play bars back: set `tone` in the settings file to a MIDI output, such as tone = \"synth\"")
    );
    let end = sounds.iter().map(|s| s.after + s.length).max().unwrap_or(Micros::ZERO);
    tone.play(clock.now() + BREATH, sounds);
    thread::sleep(Duration::from_micros((BREATH + end + BREATH).0 as u64));
    tone.take_trouble().map_or(Ok(()), |trouble| Err(anyhow::anyhow!(trouble)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::import::read_score;

    #[test]
    fn bars_sound_from_their_own_beginning_at_the_tempo_of_the_click() {
        let list = "onset_beats,duration_beats,pitch,hand,bar,meter,fifths\n0,2,48,L,1,2/4,0\n0,1,60,R,1,2/4,0\n2,1,62,R,2,2/4,0\n3,1,64,R,2,2/4,0\n4,2,65,R,3,2/4,0\n";
        let (score, _) = read_score(list.as_bytes(), "list.csv").unwrap();
        let tempo = Tempo::try_new(60.0).unwrap();
        let heard = |bars| -> Vec<(i64, u8, i64)> {
            sounds(&score, bars, tempo).unwrap().iter().map(|s| (s.after.0 / 1000, s.key.number(), s.length.0 / 1000)).collect()
        };
        assert_eq!(heard((2, 2)), [(0, 62, 950), (1000, 64, 950)]);
        assert_eq!(heard((2, 3)), [(0, 62, 950), (1000, 64, 950), (2000, 65, 1900)]);
        assert_eq!(sounds(&score, (3, 4), tempo).unwrap_err().to_string(), "nothing is captured of bar 4");
    }
}
