//! What a string sensor makes of playing, seeded.

use catchword::midi::{Channel, Matching, MidiEvent, MidiKey, Take, Velocity};
use catchword::piece::Piece;
use catchword::score::Unfolded;
use catchword::setting::Moved;
use catchword::source::player::{Manner, Meant, perform_told};
use catchword::theory::harp::HarpString;
use catchword::theory::{KeySignature, SpelledPitch};
use catchword::time::{Micros, Stamped, Tempo};
use fastrand::Rng;

/// A sensor and what stands wrong on the harp.
pub struct StringSensor {
    /// Keys are pitches, or names of strings.
    pub sends: Matching,
    /// Share of strokes that trigger twice, and that make another string ring along.
    pub p_double: f64,
    pub p_along: f64,
    /// A lever or pedal that stands wrong throughout, and the accidental it gives.
    pub set_wrong: Option<(Moved, i8)>,
}

impl StringSensor {
    pub fn noisy(sends: Matching) -> Self {
        StringSensor { sends, p_double: 0.08, p_along: 0.12, set_wrong: None }
    }

    /// Plays a stretch fluently on a harp with this sensor.
    pub fn take(&self, piece: &Piece, stretch: &Unfolded, seed: u64) -> Take {
        let tempo = piece.tempo.or(Tempo::try_new(80.0)).unwrap();
        self.take_of(piece, stretch, &Manner::fluent(tempo, seed))
    }

    /// As [`StringSensor::take`], in a manner of its own.
    pub fn take_of(&self, piece: &Piece, stretch: &Unfolded, manner: &Manner) -> Take {
        let seed = manner.seed;
        let rng = &mut Rng::with_seed(seed ^ 0x005e_450b);
        let performed = perform_told(piece.part(), stretch, manner);
        let mut out: Vec<(Micros, MidiKey, u8)> = Vec::new();
        let strokes = performed.take.events().iter().filter_map(|e| match e.what {
            MidiEvent::NoteOn { key, velocity, .. } => Some((e.at, key, velocity.0)),
            _ => None,
        });
        for ((at, key, velocity), meant) in strokes.zip(&performed.meant) {
            let (Meant::Note(n) | Meant::Free(n) | Meant::Wrong(n)) = *meant;
            let note = &piece.part().notes[stretch.notes[n].note.0];
            let harp = piece.harp.as_ref().unwrap();
            // A stroke of an ornament is named by the signature; the note itself as it is written.
            let signature = piece.score.bar(note.bar).key;
            let pitch = if note.key == key { note.pitch } else { spelled(key, signature) };
            let moved = Moved::of(harp, HarpString::of(pitch));
            let alter = self.set_wrong.filter(|(wrong, _)| *wrong == moved).map_or(pitch.alter, |(_, alter)| alter);
            let sent = |pitch: SpelledPitch| match self.sends {
                Matching::Strings { open } => HarpString::of(pitch).midi(KeySignature::new(open, None).alter_of(pitch.letter)),
                _ => pitch.midi(),
            };
            let sounding = SpelledPitch { alter, ..pitch };
            let key = MidiKey::try_new(sent(sounding)).unwrap();
            out.push((at, key, velocity));
            if rng.f64() < self.p_double {
                out.push((at + Micros(rng.i64(8_000..58_000)), key, (f64::from(velocity) * rng.f64()).max(1.0) as u8));
            }
            // What stands out of tune makes nothing ring.
            if rng.f64() < self.p_along && alter == pitch.alter {
                // Mostly the octave, else the twelfth or the string beside (Le Carrou, Gautier & Badeau 2009).
                let steps = *rng.choice([7, 7, 7, -7, -7, 11, -11, 1, -1].iter()).unwrap();
                let string = pitch.string_steps() + steps;
                let letter = catchword::theory::Letter::from_steps(string);
                let along = SpelledPitch::new(letter, signature.alter_of(letter), string.div_euclid(7) as i8);
                if let Some(key) = MidiKey::try_new(sent(along)).filter(|_| harp.strings.contains(HarpString::of(along))) {
                    out.push((at + Micros(rng.i64(2_000..48_000)), key, (f64::from(velocity) * rng.f64() * 0.33).max(1.0) as u8));
                }
            }
        }
        out.sort_by_key(|(at, ..)| *at);
        let on = |(at, key, velocity)| Stamped { at, what: MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(velocity) } };
        out.into_iter().map(on).collect()
    }
}

/// A key as the signature spells it, or with the next sharp.
fn spelled(key: MidiKey, signature: KeySignature) -> SpelledPitch {
    let octave = (key.number() / 12) as i8 - 1;
    let spellings = (-1..=1).flat_map(|by| catchword::theory::Letter::ALL.map(|letter| (letter, signature.alter_of(letter) + by)));
    let found = spellings.flat_map(|(letter, alter)| [-1, 0, 1].map(|o| SpelledPitch::new(letter, alter, octave + o)));
    let mut fits: Vec<SpelledPitch> = found.filter(|p| p.midi() == i32::from(key.number())).collect();
    fits.sort_by_key(|p| (p.alter - signature.alter_of(p.letter)).abs());
    fits[0]
}
