//! What the analysis finds, on hand-made scores with the expected statement written out, on scores
//! into which facts were planted, and under transposition.

use catchword::analysis::facts::What;
use catchword::analysis::likeness::Alike;
use catchword::analysis::{Analysis, StoryConfig, analyse};
use catchword::import::read_score;
use catchword::piece::Instrument;
use catchword::piece_folder::open_piece;
use catchword::score::Score;
use catchword::theory::{Hand, Mode};

/// One note of a made bar: sixteenths from the bar's start, length in sixteenths, key, hand.
type Struck = (i64, i64, i32, Hand);

/// Makes a score of bars of 4/4 in a signature.
fn score_of(bars: &[Vec<Struck>], fifths: i8) -> Score {
    let mut text = String::from("onset_beats,duration_beats,pitch,hand,bar,meter,fifths\n");
    for (bar, notes) in bars.iter().enumerate() {
        for (at, length, key, hand) in notes {
            let onset = bar as f64 * 4.0 + *at as f64 / 4.0;
            text += &format!("{onset},{},{key},{},{},4/4,{fifths}\n", *length as f64 / 4.0, hand.letter(), bar + 1);
        }
    }
    read_score(text.as_bytes(), "made.csv").unwrap().0
}

fn studied(bars: &[Vec<Struck>], fifths: i8) -> Analysis {
    analyse(&score_of(bars, fifths), 0).unwrap()
}

fn moved(bar: &[Struck], by: i32) -> Vec<Struck> {
    bar.iter().map(|&(at, length, key, hand)| (at, length, key + by, hand)).collect()
}

/// A bar unlike any other: a random walk of both hands over wide ranges, with random lengths.
fn random_bar(rng: &mut fastrand::Rng) -> Vec<Struck> {
    let mut out = Vec::new();
    for (hand, keys) in [(Hand::Left, 36..60), (Hand::Right, 60..90)] {
        let mut at = 0;
        while at < 16 {
            let length = rng.i64(1..6).min(16 - at);
            out.push((at, length, rng.i32(keys.clone()), hand));
            at += length;
        }
    }
    out
}

/// The likenesses found: from, length, of, how; rhythm aside.
fn likenesses(analysis: &Analysis) -> Vec<(usize, usize, usize, Alike)> {
    let all = analysis.likeness.iter().filter(|l| l.how != Alike::Rhythm);
    all.map(|l| (l.from, l.end - l.from, l.of, l.how)).collect()
}

#[test]
fn every_planted_fact_is_found_and_none_invented_in_200_seeded_scores() {
    for seed in 0..200 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let mut bars: Vec<Vec<Struck>> = (0..12).map(|_| random_bar(&mut rng)).collect();
        let kind = seed % 8;
        let copied = [bars[1].clone(), bars[2].clone()];
        let mut expected = Vec::new();
        let mut switch = None;
        match kind {
            0 => {}
            // Two bars come back as they were; the bars before and after differ, so the ways on part after them.
            1 => {
                bars.splice(7..9, copied);
                expected.push((7, 2, 1, Alike::Exact));
                switch = Some([3, 9]);
            }
            2 => {
                bars.splice(7..9, copied.map(|b| moved(&b, 12)));
                expected.push((7, 2, 1, Alike::Octaves(1)));
            }
            3 => {
                bars.splice(7..9, copied.map(|b| moved(&b, 3)));
                expected.push((7, 2, 1, Alike::Chromatic(3, 0)));
            }
            // One note of the right hand is another.
            4 => {
                let mut bar = copied[0].clone();
                let nth = bar.iter().rposition(|n| n.3 == Hand::Right).unwrap();
                bar[nth].2 += 1;
                bars[7] = bar;
                expected.push((7, 1, 1, Alike::AllButOne(Hand::Right)));
            }
            // The rhythm alone is kept.
            5 => {
                let again = |b: &Vec<Struck>, rng: &mut fastrand::Rng| {
                    b.iter()
                        .map(|&(at, l, _, h)| (at, l, if h == Hand::Left { rng.i32(36..60) } else { rng.i32(60..90) }, h))
                        .collect::<Vec<_>>()
                };
                let new = [again(&copied[0], &mut rng), again(&copied[1], &mut rng)];
                bars.splice(7..9, new);
            }
            // The left hand comes back under another right hand, as it was or an octave higher.
            _ => {
                let left: Vec<Struck> = bars[1].iter().filter(|n| n.3 == Hand::Left).copied().collect();
                let left = if kind == 6 { left } else { moved(&left, 12) };
                bars[7].retain(|n| n.3 == Hand::Right);
                bars[7].extend(left);
                expected.push((7, 1, 1, if kind == 6 { Alike::OneHand(Hand::Left) } else { Alike::OneHandMoved(Hand::Left, 7) }));
            }
        }
        let found = studied(&bars, 0);
        let mut said = likenesses(&found);
        // How many strings a chromatic move spans depends on the spelling.
        for l in &mut said {
            if let Alike::Chromatic(by, _) = l.3 {
                l.3 = Alike::Chromatic(by, 0);
            }
        }
        assert_eq!(said, expected, "seed {seed}");
        let rhythm: Vec<_> = found.likeness.iter().filter(|l| l.how == Alike::Rhythm).map(|l| (l.from, l.end, l.of)).collect();
        assert_eq!(rhythm, if kind == 5 { vec![(7, 9, 1)] } else { vec![] }, "seed {seed}");
        let parts: Vec<Vec<usize>> = found.switches.iter().map(|s| s.places.iter().map(|at| found.place(*at).bar.0).collect()).collect();
        match kind {
            // With one note altered the halves before it are alike, and may part within the bar.
            4 => assert!(parts.iter().all(|p| p == &[1, 7] || p == &[2, 8]), "seed {seed}: {parts:?}"),
            _ => assert_eq!(parts, switch.map(|s| s.to_vec()).into_iter().collect::<Vec<_>>(), "seed {seed}"),
        }
        assert_eq!(found.sequences, [], "seed {seed}");
    }
}

/// Left hand 1-5-8 on a root, right hand a third and a fifth above an octave higher.
fn open_bar(root: i32, tops: [i32; 4]) -> Vec<Struck> {
    let left = [(0, 4, root, Hand::Left), (4, 4, root + 7, Hand::Left), (8, 8, root + 12, Hand::Left)];
    left.into_iter().chain(tops.iter().enumerate().map(|(n, t)| (4 * n as i64, 4, *t, Hand::Right))).collect()
}

#[test]
fn a_sequence_is_told_with_its_turns_and_its_step() {
    let in_c = |root: i32, t: i32| open_bar(root, [t, t + 3, t + 7, t + 3]);
    let bars = [in_c(45, 69), in_c(50, 74), in_c(43, 67)];
    // Down by step through white keys: A minor, G, F.
    let turn = |root: i32, tops: [i32; 4]| open_bar(root, tops);
    let seq = [turn(57, [69, 72, 76, 72]), turn(55, [67, 71, 74, 71]), turn(53, [65, 69, 72, 69])];
    let found = studied(&[bars.to_vec(), seq.to_vec()].concat(), 0);
    let [s] = found.sequences[..] else { panic!("{:?}", found.sequences) };
    assert_eq!((s.from, s.length, s.turns, s.by), (3, 1, 3, -1));
    let score = score_of(&[bars.to_vec(), seq.to_vec()].concat(), 0);
    let config = StoryConfig::of(Instrument::LeverHarp);
    assert_eq!(found.words(&score, &config).sequence(&s), "three times, each a step lower");
}

#[test]
fn an_added_second_and_an_open_shape_are_told() {
    let mut bars: Vec<Vec<Struck>> = vec![open_bar(48, [72, 76, 79, 76]), open_bar(43, [71, 74, 79, 74])];
    let mut last = open_bar(48, [72, 76, 79, 84]);
    last.push((12, 4, 50, Hand::Left));
    bars.push(last);
    let found = studied(&bars, 0);
    let shapes: Vec<(usize, String)> = found
        .facts
        .iter()
        .filter_map(|f| match &f.what {
            What::Shape { shape, .. } if f.hand == Some(Hand::Left) => Some((f.from, shape.to_string())),
            _ => None,
        })
        .collect();
    assert_eq!(shapes, [(0, "1-5-8".to_owned()), (2, "1-2-5-8".to_owned())]);
    let seconds: Vec<usize> = found.facts.iter().filter(|f| matches!(f.what, What::AddedSecond(_))).map(|f| f.from).collect();
    assert_eq!(seconds, [2]);
}

#[test]
fn plain_harmony_and_key_are_read_right() {
    // Tonic, subdominant, dominant, tonic (common practice), in every key of the harp's usual ones.
    for (tonic, fifths) in [(0, 0), (7, 1), (5, -1), (10, -2), (3, -3), (2, 2)] {
        let root = |above: i32| 40 + (tonic + above - 40).rem_euclid(12);
        let chord = |above: i32| {
            let r = root(above);
            open_bar(r, [r + 24, r + 28, r + 31, r + 28])
        };
        let bars = [chord(0), chord(5), chord(7), chord(0), chord(0), chord(5), chord(7), chord(0)];
        let found = studied(&bars, fifths);
        assert_eq!((found.key.tonic as i32, found.key.mode), (tonic, Mode::Major));
        for (bar, above) in [0, 5, 7, 0, 0, 5, 7, 0].into_iter().enumerate() {
            for beat in &found.harmony[4 * bar..4 * bar + 4] {
                assert_eq!(beat.chord.root as i32, (tonic + above) % 12, "bar {bar} in signature {fifths}");
            }
        }
    }
}

/// A piece with turns in it: random chords from a key, some bars again.
fn tonal_bars(rng: &mut fastrand::Rng) -> Vec<Vec<Struck>> {
    let roots = [48, 53, 55, 45, 50, 52];
    let mut bars: Vec<Vec<Struck>> = Vec::new();
    for bar in 0..16 {
        if bar > 5 && rng.u8(0..3) == 0 {
            let again = bars[rng.usize(0..bar)].clone();
            bars.push(again);
        } else {
            let root = roots[rng.usize(0..roots.len())];
            let scale = [60, 62, 64, 65, 67, 69, 71, 72, 74, 76];
            bars.push(open_bar(root, std::array::from_fn(|_| scale[rng.usize(0..scale.len())])));
        }
    }
    bars
}

#[test]
fn transposing_a_piece_transposes_every_statement_and_changes_no_weight() {
    for seed in 0..12 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let bars = tonal_bars(&mut rng);
        // Up a fourth: one flat more; down a step: two flats more.
        for (by, fifths) in [(5, -1), (-2, -2)] {
            let there: Vec<Vec<Struck>> = bars.iter().map(|b| moved(b, by)).collect();
            let (a, b) = (studied(&bars, 0), studied(&there, fifths));
            assert_eq!((a.key.tonic as i32 + by).rem_euclid(12), b.key.tonic as i32, "seed {seed}");
            for (x, y) in a.harmony.iter().zip(&b.harmony) {
                assert_eq!((x.chord.root as i32 + by).rem_euclid(12), y.chord.root as i32, "seed {seed}");
                assert_eq!((x.chord.quality, x.stated), (y.chord.quality, y.stated), "seed {seed}");
                assert!((x.confidence - y.confidence).abs() < 1e-3);
            }
            assert_eq!(
                a.sections.iter().map(|s| (s.from, s.end)).collect::<Vec<_>>(),
                b.sections.iter().map(|s| (s.from, s.end)).collect::<Vec<_>>()
            );
            let row = |a: &Analysis| {
                a.facts.iter().map(|f| (f.from, f.end, f.at, f.hand, f.what.kind(), (f.weight * 1e6) as i64)).collect::<Vec<_>>()
            };
            assert_eq!(row(&a), row(&b), "seed {seed}");
            assert_eq!((&a.likeness, &a.sequences, &a.switches), (&b.likeness, &b.sequences, &b.switches), "seed {seed}");
        }
    }
}

#[test]
fn the_order_of_notes_in_the_file_changes_nothing() {
    for seed in 0..8 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let bars = tonal_bars(&mut rng);
        let score = score_of(&bars, 0);
        let mut other = score.clone();
        for note in &mut other.parts[0].notes {
            note.voice = 5 - note.voice;
        }
        other.parts[0].notes.sort_by_key(|n| (n.onset, std::cmp::Reverse(n.key)));
        let (a, b) = (analyse(&score, 0).unwrap(), analyse(&other, 0).unwrap());
        assert_eq!((a.key, &a.harmony, &a.facts), (b.key, &b.harmony, &b.facts), "seed {seed}");
        let config = StoryConfig::of(Instrument::Keyboard);
        let ranges: Vec<(usize, usize)> = a.sections.iter().map(|s| (s.from, s.end)).collect();
        assert_eq!(a.story(&score, &config, &ranges), b.story(&other, &config, &ranges), "seed {seed}");
    }
}

fn demo_story(name: &str) -> Vec<(String, String)> {
    let piece = open_piece(name, None, &[]).unwrap().piece;
    let analysis = analyse(&piece.score, piece.part).unwrap();
    let ranges: Vec<(usize, usize)> = piece.sections.iter().map(|s| (s.bars.start.0, s.bars.end.0)).collect();
    let story = analysis.story(&piece.score, &StoryConfig::of(piece.instrument), &ranges);
    for section in &ranges {
        let lines: Vec<_> = story.iter().filter(|l| (section.0..section.1).contains(&l.bar)).collect();
        assert!(!lines.is_empty() && lines[0].bar == section.0, "{name}: the section from bar {} has no first line", section.0);
        assert!(lines.len() <= section.1 - section.0, "{name}: more lines than bars");
        assert!(lines[0].more.as_ref().is_some_and(|m| m.contains("hand")), "{name}: {:?} does not say where the hands start", lines[0]);
    }
    assert!(story.iter().all(|l| l.text.split_whitespace().count() <= 7), "{story:?}");
    story.into_iter().map(|l| (analysis.place(l.at).text(&piece.score), l.text)).collect()
}

#[test]
fn the_story_of_the_ferry_says_what_a_teacher_would() {
    // Read against the hand-written cues of the demo piece.
    let story = demo_story("ferry");
    for (place, text) in [
        ("1.1", "root B, one-five-ten"),
        ("2.1", "third down: G minor"),
        ("4.1", "step up: root F"),
        ("5.1", "as bars 1-2: root B"),
        ("7.1", "SWITCH: C minor"),
        ("15.1", "three times, each a step higher"),
        ("18.1", "as bars 1-3: root B"),
        ("21.1", "SWITCH: C minor"),
    ] {
        assert!(story.contains(&(place.to_owned(), text.to_owned())), "{place} {text} is not in {story:#?}");
    }
}

#[test]
fn the_story_of_all_through_the_night_has_its_doors() {
    let story = demo_story("all-through-the-night");
    for (place, text) in [("3.1", "two halves: B, then C"), ("9.1", "as bars 5-7: root F")] {
        assert!(story.contains(&(place.to_owned(), text.to_owned())), "{place} {text} is not in {story:#?}");
    }
    // With or without the third, which only the tune has.
    assert!(story.iter().any(|(at, text)| at == "2.1" && (text == "third down: root D" || text == "third down: D minor")), "{story:#?}");
    for place in ["12.1", "20.1"] {
        assert!(story.iter().any(|(at, text)| at == place && text.starts_with("SWITCH: ")), "{place} is a switch: {story:#?}");
    }
}

#[test]
fn an_empty_bar_a_single_note_and_no_part_are_no_trouble() {
    let one = score_of(&[vec![(0, 16, 60, Hand::Right)]], 0);
    let found = analyse(&one, 0).unwrap();
    assert_eq!(found.sections.len(), 1);
    assert!(analyse(&one, 1).is_none());
    let silent = Score { parts: vec![catchword::score::Part::default()], ..Score::default() };
    let found = analyse(&silent, 0).unwrap();
    assert!(found.facts.is_empty() && found.sections.is_empty());
    assert!(found.story(&silent, &StoryConfig::of(Instrument::Keyboard), &[]).is_empty());
}

fn printed(args: &[&str]) -> String {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_catchword")).args(args).output().expect("the program starts");
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn study_prints_every_fact_as_json_and_the_story_as_lines() {
    let said: serde_json::Value = serde_json::from_str(&printed(&["study", "ferry", "--json"])).unwrap();
    assert_eq!((said["key"]["tonic"].as_i64(), said["key"]["mode"].as_str()), (Some(10), Some("major")));
    assert_eq!(said["harmony"].as_array().unwrap().len(), 24 * 3, "one answer for every beat");
    for key in ["sections", "facts", "story", "keys"] {
        assert!(said[key].as_array().is_some_and(|a| !a.is_empty()), "{key}");
    }
    assert!(
        said["facts"].as_array().unwrap().iter().all(|f| f["weight"].as_f64().unwrap() >= 0.0 && f["phrase"].as_str().unwrap().len() > 2)
    );
    let lines = printed(&["study", "ferry"]);
    assert!(lines.contains("casting off, bars 1-4") && lines.contains("root B, one-five-ten"), "{lines}");
    let syllables = printed(&["study", "ferry", "--dialect", "solfege"]);
    assert!(syllables.contains("root si, one-five-ten") && syllables.contains("third down: sol minor"), "{syllables}");
    let names = printed(&["study", "ferry", "--dialect", "names"]);
    assert!(names.contains("root B flat, one-five-ten"), "{names}");
}

#[test]
fn an_added_score_is_a_piece_that_a_drill_can_start_on_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().display().to_string();
    let score = concat!(env!("CARGO_MANIFEST_DIR"), "/pieces/ferry/ferry.musicxml");
    let said = printed(&["add", score, "--name", "my crossing", "--data", &data]);
    assert!(said.contains("sections") && said.contains("catchword drill"), "{said}");
    let folder = dir.path().join("pieces/my crossing");
    let piece = open_piece(&folder.display().to_string(), None, &[]).unwrap().piece;
    assert!(piece.sections.len() >= 4 && piece.sections.iter().all(|s| (2..=8).contains(&s.bars.n_bars())), "{:?}", piece.sections);
    assert!(piece.cues.len() >= piece.sections.len() && piece.cues.len() <= piece.score.bars.len());
    assert_eq!(piece.landmarks.len(), piece.sections.len());
    assert!(piece.landmarks.iter().all(|l| l.setting.as_deref() == Some("A levers up, all others down")), "{:?}", piece.landmarks);
    let again = std::process::Command::new(env!("CARGO_BIN_EXE_catchword"))
        .args(["add", score, "--name", "my crossing", "--data", &data])
        .output()
        .unwrap();
    assert!(!again.status.success() && String::from_utf8_lossy(&again.stderr).contains("is there already"));
    for cc0 in ["bitten", "home_sweet_home", "take_o_take", "the_weeders"] {
        let path = format!("{}/tests/data/musicxml/cc0/{cc0}.mxl", env!("CARGO_MANIFEST_DIR"));
        printed(&["add", &path, "--data", &data]);
    }
}

#[test]
fn sections_are_proposed_in_the_lengths_that_are_asked_for() {
    let piece = open_piece("ferry", None, &[]).unwrap().piece;
    let mut analysis = analyse(&piece.score, piece.part).unwrap();
    let usual = analysis.sections.clone();
    for lengths in [2..=8, 1..=4, 4..=16] {
        analysis.cut(&lengths);
        let bars: Vec<usize> = analysis.sections.iter().map(|s| s.end - s.from).collect();
        assert!(bars.iter().all(|n| lengths.contains(n)), "{lengths:?}: {bars:?}");
        assert_eq!(bars.iter().sum::<usize>(), piece.score.bars.len());
    }
    analysis.cut(&catchword::analysis::sections::BARS);
    assert_eq!(analysis.sections, usual);
}
