//! Names for sounds, where a file names none.

/// Returns the family of a General MIDI program (`0..128`), and the harp by its own name (General MIDI level 1 sound set, families in
/// eights; from memory).
pub(super) fn name(program: u8) -> &'static str {
    const HARP: u8 = 46;
    const FAMILIES: [&str; 16] = [
        "Piano",
        "Chromatic percussion",
        "Organ",
        "Guitar",
        "Bass",
        "Strings",
        "Ensemble",
        "Brass",
        "Reed",
        "Pipe",
        "Synth lead",
        "Synth pad",
        "Synth effects",
        "Ethnic",
        "Percussive",
        "Sound effects",
    ];
    if program == HARP { "Harp" } else { FAMILIES[usize::from(program / 8).min(15)] }
}
