//! What each notation becomes, one small file a feature.

use catchword::midi::MidiKey;
use catchword::score::{Ornament, Roll, Score};
use catchword::theory::{Hand, KeySignature, Letter, Meter, Mode};
use catchword::time::ScoreTime;

use super::{check, clean, each, notes, read};

fn key(number: i32) -> MidiKey {
    MidiKey::try_new(number).unwrap()
}

#[test]
fn chords_share_one_onset() {
    check("chord.musicxml", "0 C4 2, 0 E4 2, 0 G4 2, 2 D4 2");
}

#[test]
fn tied_heads_are_one_note_with_one_onset() {
    check("tie_over_bar.musicxml", "2 C4 7, 9 C4 3");
    let score = clean("tie_over_bar.musicxml");
    assert_eq!(each(&score.parts[0], |n| (n.n_heads, n.bar.0)), "(3, 0) (1, 2)");
    check("tie_across_voices.musicxml", "0 A3 4, 0 C4 8, 4 E4 4");
    check("tie_in_chord.musicxml", "0 C4 2, 0 E4 4, 2 D4 2");
    check("tied_without_tie.musicxml", "0 C4 4");
}

#[test]
fn let_ring_joins_nothing() {
    check("let_ring.musicxml", "0 C4 2, 2 C4 2");
}

#[test]
fn a_tie_into_both_endings_is_struck_in_neither() {
    let score = clean("tie_into_second_ending.musicxml");
    let part = &score.parts[0];
    assert_eq!(notes(part), "0 G4 4, 4 C4 6, 10 D4 2, 12 C4 3, 15 E4 1");
    assert_eq!(part.held_over, [catchword::score::NoteIdx(3)]);
    // Played on: the second time the C of bar 2 sounds through into bar 4.
    let played = catchword::score::unfold(&score, part, &score.all_bars().unwrap());
    let line: Vec<String> = played.notes.iter().map(|n| format!("{} {} {}", n.onset, n.key.number(), n.duration)).collect();
    assert_eq!(line.join(", "), "0 67 4, 4 60 6, 10 62 2, 12 67 4, 16 60 7, 23 64 1");
}

#[test]
fn grace_notes_take_the_onset_of_the_note_they_lead_to_and_no_time() {
    check("grace.musicxml", "0 C4 2, 2 D4 0, 2 E4 0, 2 F4 2, 2 G4 0");
    let score = clean("grace.musicxml");
    assert_eq!(each(&score.parts[0], |n| n.is_optional()), "false true true false true");
}

#[test]
fn voices_go_back_and_forth_over_one_bar() {
    check("voices.musicxml", "0 C5 2, 1 E4 3, 2 B4 2");
    assert_eq!(each(&clean("voices.musicxml").parts[0], |n| n.voice), "1 2 1");
}

#[test]
fn the_upper_of_two_staves_is_the_right_hand() {
    let score = clean("two_staves.musicxml");
    assert_eq!(score.parts[0].n_staves, 2);
    assert_eq!(each(&score.parts[0], |n| (n.pitch.to_string(), n.hand.letter())), r#"("C3", 'R') ("C5", 'L')"#);
    // Of three, the first is the right hand's, the last the left's, the middle one goes by its clef.
    assert_eq!(each(&clean("three_staves.musicxml").parts[0], |n| n.hand.letter()), "'L' 'L' 'R'");
}

#[test]
fn a_lone_staff_goes_by_its_clef_and_without_one_by_middle_c() {
    assert_eq!(each(&clean("one_staff_by_clef.musicxml").parts[0], |n| (n.pitch.to_string(), n.hand)), r#"("C5", Left) ("C3", Right)"#);
    assert_eq!(
        each(&clean("one_staff_without_clef.musicxml").parts[0], |n| (n.pitch.to_string(), n.hand)),
        r#"("B3", Left) ("C4", Right)"#
    );
}

#[test]
fn two_parts_can_be_joined_as_two_hands() {
    let mut score = clean("hands_in_two_parts.musicxml");
    assert!(score.choose_part(None).unwrap_err().to_string().contains("Harp, right hand (P1), Harp, left hand (P2)"));
    let joined = score.join_hands(0, 1).unwrap();
    assert_eq!(
        each(&score.parts[joined], |n| (n.pitch.to_string(), n.hand, n.staff)),
        r#"("C3", Left, 2) ("C5", Left, 2) ("C5", Right, 1)"#
            .replace(r#"("C5", Left, 2) ("C5", Right, 1)"#, r#"("C5", Right, 1) ("C5", Left, 2)"#)
    );
    assert_eq!(score.choose_part(None), Ok(joined), "the joined part is the only one on two staves");
}

#[test]
fn a_pickup_is_the_end_of_a_bar() {
    for (name, label) in [("pickup_implicit.musicxml", "0"), ("pickup_unmarked.musicxml", "1")] {
        let score = clean(name);
        assert_eq!(score.bars[0].label.0, label);
        assert_eq!((score.bars[0].length, score.bars[0].offset), (ScoreTime::quarters(1), ScoreTime::quarters(2)), "{name}");
        assert_eq!((score.bars[1].start, score.bars[1].offset), (ScoreTime::quarters(1), ScoreTime::ZERO), "{name}");
    }
    // Its last bar is short too, but leads nowhere.
    assert_eq!(clean("pickup_implicit.musicxml").bars[2].offset, ScoreTime::ZERO);
}

fn offsets(score: &Score) -> Vec<(&str, ScoreTime, ScoreTime)> {
    score.bars.iter().map(|b| (b.label.0.as_str(), b.length, b.offset)).collect()
}

#[test]
fn a_bar_cut_in_two_by_a_repeat_counts_its_beats_on() {
    let q = ScoreTime::quarters;
    let score = clean("bar_split_by_repeat.musicxml");
    let bars = [("0", q(1), q(2)), ("1", q(3), q(0)), ("2", q(2), q(0)), ("X1", q(1), q(2)), ("3", q(3), q(0)), ("4", q(2), q(0))];
    assert_eq!(offsets(&score), bars);
    let score = clean("bar_split_unmarked.musicxml");
    assert_eq!(offsets(&score), [("1", q(4), q(0)), ("2", q(3), q(0)), ("3", q(1), q(3)), ("4", q(4), q(0))]);
}

#[test]
fn metre_and_key_hold_from_the_bar_that_brings_them() {
    let score = clean("meter_and_key_change.musicxml");
    let bars: Vec<_> = score.bars.iter().map(|b| (b.meter.to_string(), b.key)).collect();
    let key = KeySignature::new;
    assert_eq!(
        bars,
        [("4/4".to_owned(), key(-3, Some(Mode::Minor))), ("6/8".to_owned(), key(2, None)), ("6/8".to_owned(), key(0, Some(Mode::Major)))]
    );
    assert_eq!(notes(&score.parts[0]), "0 C4 4, 4 C4 3, 7 C4 3");
}

#[test]
fn composite_metres_are_summed() {
    let score = clean("composite_meter.musicxml");
    assert_eq!(score.bars[0].meter, Meter { beats: 5, unit: 8 });
    assert_eq!(score.bars[1].meter, Meter { beats: 7, unit: 8 });
    assert!(score.bars.iter().all(|b| b.length == b.meter.bar_length()));
}

#[test]
fn music_without_a_metre_has_bars_as_long_as_what_they_hold() {
    let score = clean("senza_misura.musicxml");
    assert_eq!(offsets(&score), [("1", ScoreTime::quarters(7), ScoreTime::ZERO), ("2", ScoreTime::quarters(2), ScoreTime::ZERO)]);
}

#[test]
fn an_empty_bar_lasts_as_long_as_its_metre_says() {
    check("empty_bar.musicxml", "0 C4 3, 6 D4 3");
    check("many_bars_rest.musicxml", "8 C4 4");
}

#[test]
fn tuplets_are_exact() {
    check("tuplets.musicxml", "0 C4 1/3, 1/3 D4 1/3, 2/3 E4 1/3, 1 F4 1/5, 6/5 G4 1/5, 7/5 A4 1/5, 8/5 B4 1/5, 9/5 C5 1/5, 2 C4 2");
    check("divisions_change.musicxml", "0 C4 1, 1 D4 1/3, 4/3 E4 1/3, 5/3 F4 1/3, 2 G4 2");
    check("decimal_duration.musicxml", "0 C4 3/4, 3/4 D4 1/4, 1 E4 3");
    check("missing_duration.musicxml", "0 C4 3, 3 D4 1");
}

#[test]
fn rolled_chords_keep_their_direction() {
    let score = clean("rolled_chords.musicxml");
    let rolls = each(&score.parts[0], |n| {
        n.roll.map_or('-', |r| {
            if r == Roll::Up {
                '^'
            } else if r == Roll::Down {
                'v'
            } else {
                '['
            }
        })
    });
    assert_eq!(rolls, "'^' '^' '^' 'v' 'v' '[' '[' '^' '^'");
}

#[test]
fn a_glissando_runs_from_its_first_note_to_its_last() {
    let (score, warnings) = read("glissando.musicxml");
    let ornaments: Vec<Ornament> = score.parts[0].notes.iter().map(|n| n.ornament).collect();
    use Ornament::*;
    assert_eq!(ornaments, [GlissandoTo(key(84)), GlissandoEnd, GlissandoTo(key(67)), GlissandoEnd, None]);
    assert_eq!(warnings.len(), 1);
    assert_eq!((warnings[0].bar.as_deref(), warnings[0].element.as_str()), (Some("2"), "<glissando>"));
}

#[test]
fn tremolos_and_shakes_are_kept_as_what_they_leave_free() {
    assert_eq!(each(&clean("tremolo.musicxml").parts[0], |n| n.ornament), "Tremolo Tremolo TremoloPair TremoloPair");
    let score = clean("shakes.musicxml");
    let (last, shakes) = score.parts[0].notes.split_last().unwrap();
    assert_eq!(shakes.len(), 12);
    assert!(shakes.iter().all(|n| n.ornament == Ornament::Shake));
    assert_eq!(last.ornament, Ornament::None);
}

#[test]
fn a_harmonic_sounds_an_octave_above_its_string() {
    // Common practice on the harp: the string is written, its octave sounds. A file that writes the sounding pitch says so.
    let score = clean("harmonics.musicxml");
    let sounds = each(&score.parts[0], |n| (n.pitch.to_string(), n.key.number(), n.ornament == Ornament::Harmonic));
    assert_eq!(sounds, r#"("C4", 72, true) ("D4", 74, true) ("E5", 76, true) ("F4", 65, false)"#);
}

#[test]
fn a_transposed_part_sounds_where_its_instrument_sounds() {
    let score = clean("transposition.musicxml");
    assert_eq!(each(&score.parts[0], |n| (n.pitch.to_string(), n.key.number())), r#"("D4", 60) ("D4", 50)"#);
    assert_eq!(score.bars[0].key.fifths, 0, "D major written for B flat sounds in C");
}

#[test]
fn pitches_under_an_octave_line_are_already_as_they_sound() {
    // MusicXML 4.0, octave-shift: the pitch elements are at sounding pitch, the line only moves the drawing.
    assert_eq!(each(&clean("octave_shift.musicxml").parts[0], |n| n.key.number()), "84 72");
}

#[test]
fn pedal_diagrams_are_read_and_single_pedals_move_them() {
    // The first setting is that of the example printed with the harp-pedals element of the MusicXML reference.
    let score = clean("harp_pedals.musicxml");
    let diagrams: Vec<_> = score.parts[0].pedal_diagrams.iter().map(|(at, d)| (at.to_f64(), d.to_string())).collect();
    assert_eq!(diagrams, [(0.0, "Db C# Bb | E Fb G A#".to_owned()), (6.0, "Db C# Bb | E F# G A#".to_owned())]);
    assert_eq!(score.parts[0].pedal_diagrams[1].1.alter_of(Letter::F), 1);
}

#[test]
fn fingers_are_kept_where_they_are_numbers() {
    assert_eq!(each(&clean("fingering.musicxml").parts[0], |n| n.finger), "Some(4) Some(2) None None");
}

#[test]
fn a_fermata_holds_both_hands() {
    let score = clean("fermata.musicxml");
    assert_eq!(score.parts[0].fermatas, [ScoreTime::quarters(2), ScoreTime::quarters(6)]);
    let held: Vec<_> = score.parts[0].notes.iter().filter(|n| n.fermata).map(|n| (n.onset.to_f64(), n.hand)).collect();
    assert_eq!(held, [(2.0, Hand::Left), (2.0, Hand::Right), (6.0, Hand::Right)]);
}

#[test]
fn tempo_marks_count_quarters() {
    let score = clean("tempo.musicxml");
    let tempos: Vec<_> = score.tempos.iter().map(|(at, t)| (at.to_f64(), t.quarters_per_minute())).collect();
    assert_eq!(tempos, [(0.0, 90.0), (3.0, 120.0), (4.0, 66.5)]);
}

#[test]
fn form_marks_stand_at_their_bars() {
    let score = clean("form_marks.musicxml");
    let signs: Vec<_> = score.bars.iter().map(|b| (b.signs.double_bar, b.signs.new_system, b.signs.rehearsal.as_deref())).collect();
    assert_eq!(signs, [(true, false, None), (false, true, Some("A")), (true, true, None)]);
}

#[test]
fn title_composer_and_part_names_are_read() {
    let score = clean("header.musicxml");
    assert_eq!(score.title.as_deref(), Some("Three Brook Songs: The Mill"));
    assert_eq!(score.composer.as_deref(), Some("A. Weir"));
    let names: Vec<_> = score.parts.iter().map(|p| (p.id.as_str(), p.name.as_str())).collect();
    assert_eq!(names, [("P1", "Flute"), ("P2", "Harp")]);
}

#[test]
fn unpitched_heads_are_counted_and_cue_notes_optional() {
    let (score, warnings) = read("unpitched.musicxml");
    assert_eq!((score.parts[0].n_unpitched, notes(&score.parts[0])), (1, "2 C4 2".to_owned()));
    assert_eq!(warnings[0].element, "<unpitched>");
    let (score, _) = read("cue.musicxml");
    assert_eq!(each(&score.parts[0], |n| (n.is_optional(), n.duration)), "(true, 2q) (false, 2q)");
}

#[test]
fn a_bar_repeat_sign_stands_for_the_notes_before_it() {
    let (score, warnings) = read("bar_repeat.musicxml");
    assert_eq!(notes(&score.parts[0]), "0 C4 2, 2 E4 2, 4 C4 2, 6 E4 2, 8 C4 2, 10 E4 2");
    assert_eq!(each(&score.parts[0], |n| n.n_heads), "1 1 0 0 0 0");
    assert_eq!((warnings[0].bar.as_deref(), warnings[0].element.as_str()), (Some("2"), "<measure-repeat>"));
}

#[test]
fn a_bar_repeat_sign_brings_the_length_of_what_it_stands_for() {
    // A bar of 3/4 left empty after one of 4/4: what it stands for lasts four quarters.
    let text = String::from_utf8(super::bytes("bar_repeat.musicxml")).unwrap();
    let text =
        text.replacen("<attributes><measure-style>", "<attributes><time><beats>3</beats><beat-type>4</beat-type></time><measure-style>", 1);
    let text = text.replacen(
        "<rest measure=\"yes\"/>\n        <duration>4</duration>",
        "<rest measure=\"yes\"/>\n        <duration>3</duration>",
        1,
    );
    let (score, _) = catchword::import::read_score(text.as_bytes(), "a.musicxml").unwrap();
    assert_eq!(score.bars[1].length, ScoreTime::quarters(4));
    assert_eq!(notes(&score.parts[0]), "0 C4 2, 2 E4 2, 4 C4 2, 6 E4 2, 8 C4 2, 10 E4 2");
}

#[test]
fn a_bar_that_one_part_makes_longer_tears_no_tie_of_another() {
    let (score, warnings) = read("parts_disagree.musicxml");
    assert_eq!(score.bars[1].length, ScoreTime::quarters(6));
    assert_eq!(notes(&score.parts[0]), "0 C4 4, 4 C4 8");
    assert_eq!((score.parts[0].held, score.parts[1].held), (ScoreTime::quarters(12), ScoreTime::quarters(14)));
    assert_eq!(warnings[0].bar.as_deref(), Some("2"));
}

#[test]
fn an_accidental_without_alter_is_played_as_printed() {
    // Both music21 10.5.1 and partitura 1.9.0 read the accidental too (suite file 32c).
    let (score, warnings) = read("accidental_without_alter.musicxml");
    assert_eq!(notes(&score.parts[0]), "0 A#4 2, 2 B4 2");
    assert_eq!(warnings[0].element, "<accidental>");
}

#[test]
fn quarter_tones_are_brought_to_the_key_towards_the_natural() {
    check("microtones.musicxml", "0 C4 2, 2 Db4 2");
}

#[test]
fn what_is_not_known_is_skipped_with_a_warning_that_names_bar_and_element() {
    let (score, warnings) = read("unknown_elements.musicxml");
    assert_eq!(notes(&score.parts[0]), "0 C4 2, 2 D4 2, 4 C4 4");
    let said: Vec<String> = warnings.iter().map(ToString::to_string).collect();
    assert_eq!(said[0], "bar 1: <hologram>: unknown inside <measure>; skipped (line 14)");
    assert_eq!(said[1], "bar 1: <sparkle>: unknown inside <note>; skipped; 1 more like it (line 18)");
    assert!(said[2].starts_with("bar 2: <harmony>: "), "{}", said[2]);
}

#[test]
fn timewise_scores_read_as_partwise_ones_even_with_parts_left_out_of_bars() {
    let score = clean("timewise.musicxml");
    assert_eq!(score.bars.len(), 3);
    assert_eq!(notes(&score.parts[0]), "0 C5 4, 8 D5 4");
    assert_eq!(notes(&score.parts[1]), "0 C3 2, 2 G3 2, 4 E3 4");
}

#[test]
fn every_text_encoding_reads_as_the_same_score() {
    for name in ["utf16_big_endian.musicxml", "utf16_little_endian.musicxml", "byte_order_mark.musicxml", "latin1.musicxml"] {
        let score = clean(name);
        assert_eq!((score.title.as_deref(), notes(&score.parts[0]).as_str()), (Some("Étude"), "0 C4 4"), "{name}");
    }
    let score = clean("doctype_and_single_quotes.musicxml");
    assert_eq!(score.title.as_deref(), Some("Song of the brook"));
    assert_eq!(notes(&score.parts[0]), "0 C4 4");
}
