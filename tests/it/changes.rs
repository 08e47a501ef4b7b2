//! Changes of levers and pedals as things to remember: asked by keys and by notes, prompted, planned, kept in the journal.
//!
//! The piece is made: eight bars in C on both kinds of harp, with F natural in bar 1, F sharp in bars 4 and 6, F natural again in bar 8.

use std::sync::Arc;

use catchword::analysis::analyse;
use catchword::export::musicxml;
use catchword::journal::attempts::SettingSlip;
use catchword::journal::entry::{Answer, Entry, Outcome, QuestionKind, Verdict, Witness};
use catchword::journal::store::{FILE_NAME, NewSession, Store};
use catchword::midi::{Channel, Hearing, Matching, MidiEvent, MidiKey, Take, Velocity};
use catchword::piece::{Cue, Instrument, Piece};
use catchword::practice::quiz::{Question, QuizConfig, questions};
use catchword::practice::view::{self, Stage};
use catchword::practice::{Command, Engine, Input, Machine, Output, PracticeConfig, Span, Story, listen};
use catchword::report::take_account;
use catchword::score::{Bar, BarIdx, BarLabel, BarRange, BarSigns, Note, Part, Place, Score};
use catchword::theory::{Hand, KeySignature, Meter, SpelledPitch};
use catchword::time::{Micros, ScoreTime, Stamped, Tempo};

use crate::quiz::Sitting;

const TUNE: [&str; 32] = [
    "C5", "D5", "F5", "G5", "E5", "D5", "C5", "E5", "G5", "E5", "D5", "C5", "F#5", "G5", "D5", "E5", // bars 1 to 4
    "D5", "C5", "G4", "C5", "F#5", "G5", "C5", "E5", "D5", "C5", "D5", "E5", "F5", "E5", "D5", "C5",
];
const BASS: [&str; 8] = ["C3", "G3", "C3", "D3", "G3", "D3", "G3", "C3"];

fn score() -> Score {
    let bars = (0..8).map(|bar| Bar {
        label: BarLabel((bar + 1).to_string()),
        start: ScoreTime::quarters(4 * bar),
        length: ScoreTime::quarters(4),
        offset: ScoreTime::ZERO,
        meter: Meter::COMMON,
        key: KeySignature::NONE,
        signs: BarSigns::default(),
    });
    let note = |beat: i64, quarters: i64, pitch: &str, hand: Hand| {
        let pitch: SpelledPitch = pitch.parse().unwrap();
        let key = MidiKey::try_new(pitch.midi()).unwrap();
        Note::plain(ScoreTime::quarters(beat), ScoreTime::quarters(quarters), pitch, key, hand, BarIdx(beat as usize / 4))
    };
    let mut notes: Vec<Note> = TUNE.iter().zip(0..).map(|(pitch, beat)| note(beat, 1, pitch, Hand::Right)).collect();
    notes.extend(BASS.iter().zip(0..).map(|(pitch, bar)| note(4 * bar, 4, pitch, Hand::Left)));
    notes.sort_by_key(|n| (n.onset, n.key));
    Score { bars: bars.collect(), parts: vec![Part { name: "Harp".into(), notes, ..Part::default() }], ..Score::default() }
}

fn piece(instrument: Instrument, matching: Matching) -> Piece {
    let hearing = Hearing { matching, sensor: None }.into();
    let tempo = Tempo::try_new(100.0);
    Piece { instrument, harp: instrument.usual_harp(), hearing, tempo, ..Piece::of_score(score().into(), 0, "Study").unwrap() }
}

fn asked(piece: &Piece) -> Vec<Question> {
    let all = questions(piece, &analyse(&piece.score, piece.part).unwrap(), &[]);
    all.into_iter().filter(|q| q.kind == QuestionKind::Change).collect()
}

fn sitting(instrument: Instrument, matching: Matching, is_told: bool) -> Sitting {
    let piece = piece(instrument, matching);
    let asked = asked(&piece);
    let mut sitting = Sitting::of(Arc::new(piece), asked, QuizConfig { is_told, ..QuizConfig::standard(5, 3) });
    assert!(sitting.next_question());
    sitting
}

const HARPS: [Instrument; 2] = [Instrument::LeverHarp, Instrument::PedalHarp];

fn secs(seconds: f64) -> Micros {
    Micros::from_secs_f64(seconds)
}

/// Plays the passage that is asked for as `sent` says what each of its keys comes as.
fn play(sitting: &mut Sitting, sent: impl Fn(MidiKey) -> MidiKey) -> Option<Answer> {
    let passage = sitting.quiz.passage().unwrap().clone();
    let start = sitting.now + secs(1.0);
    for note in &passage.span.line.notes {
        let at = start + secs(passage.span.line.onset(note.onset).at.to_f64() * 0.6);
        while sitting.quiz.next_deadline().is_some_and(|due| due <= at) {
            sitting.meet_deadline();
        }
        let key = sent(note.key);
        sitting.input(at, Input::Midi(MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(70) }));
    }
    let is_open = |sitting: &Sitting| sitting.answers().is_empty() && sitting.quiz.passage().is_some();
    while is_open(sitting) {
        sitting.meet_deadline();
    }
    sitting.answers().first().map(|answer| (*answer).clone())
}

fn sharp_as_natural(key: MidiKey) -> MidiKey {
    let is_f_sharp = key.number() % 12 == 6;
    MidiKey::try_new(i32::from(key.number()) - i32::from(is_f_sharp)).unwrap()
}

/// As a sensor names the strings of a harp tuned in E flat.
fn open_string(key: MidiKey) -> MidiKey {
    let by = i32::from([4, 6, 9, 11].contains(&(key.number() % 12)));
    MidiKey::try_new(i32::from(key.number()) - by).unwrap()
}

#[test]
fn each_place_where_something_moves_is_one_question_and_a_keyboard_has_none() {
    let told = |instrument| {
        let asked = asked(&piece(instrument, Matching::Sounding));
        asked.iter().map(|q| (q.text.clone(), q.name.clone(), q.check.clone())).collect::<Vec<_>>()
    };
    let row = |place: &str, name: &str, cue: &str| (place.to_owned(), name.to_owned(), cue.to_owned());
    assert_eq!(
        told(Instrument::LeverHarp),
        [
            row("3.2", "lever on F before bar 4", "L: F 2nd octave up, beat 2"),
            row("7.2", "lever on F before bar 8", "L: F 2nd octave down, beat 2"),
        ]
    );
    assert_eq!(
        told(Instrument::PedalHarp),
        [row("3.4", "pedal on F before bar 4", "R: F sharp, beat 4"), row("7.4", "pedal on F before bar 8", "R: F natural, beat 4")]
    );
    assert_eq!(told(Instrument::Keyboard), []);
    // What stands before is said, what is to move is not.
    let asked = asked(&piece(Instrument::PedalHarp, Matching::Sounding));
    assert_eq!(asked[0].large, "bar 3, beat 4");
    assert_eq!(asked[0].small, ["lead in from bar 3", "D C B | E F G A", "what moves, and on from there"]);
    assert_eq!(asked[1].small[1], "D C B | E F# G A");
}

#[test]
fn by_keys_the_player_says_it_and_marks_it_against_the_words_of_the_change() {
    for instrument in HARPS {
        for (verdict, outcome) in [(Verdict::Clean, Outcome::Held), (Verdict::Broken, Outcome::Failed)] {
            let mut sitting = sitting(instrument, Matching::Sounding, true);
            let question = sitting.quiz.standing().unwrap().0.clone();
            sitting.input(sitting.now + secs(2.0), Input::Command(Command::Pause));
            let Stage::Quiz(view::Quiz::Mark { question: words, .. }) = sitting.quiz.view().stage else { panic!("it is to be marked") };
            assert_eq!(words, question.check);
            sitting.input(sitting.now + secs(2.0), Input::Command(Command::Overrule(verdict)));
            let answer = sitting.last();
            assert_eq!((answer.kind, answer.outcome, answer.witness), (QuestionKind::Change, outcome, Witness::Told));
            assert_eq!(answer.place, question.text);
            if verdict == Verdict::Clean {
                let Stage::Quiz(view::Quiz::Told { small, .. }) = sitting.quiz.view().stage else { panic!("it is told") };
                assert_eq!(small, question.name);
            }
        }
    }
}

#[test]
fn by_notes_the_right_passage_holds_and_what_was_not_moved_is_heard() {
    for (instrument, moved) in [(Instrument::LeverHarp, "lever on F"), (Instrument::PedalHarp, "pedal on F")] {
        let mut well = sitting(instrument, Matching::Sounding, false);
        let answer = play(&mut well, |key| key).expect("it is answered");
        assert_eq!((answer.outcome, answer.witness, answer.kind), (Outcome::Held, Witness::Heard, QuestionKind::Change));
        let mut forgotten = sitting(instrument, Matching::Sounding, false);
        let is_first = forgotten.quiz.standing().unwrap().0.text.starts_with('3');
        let natural_as_sharp = |key: MidiKey| if key.number() == 77 { MidiKey::try_new(78).unwrap() } else { key };
        let answer = play(&mut forgotten, |key| if is_first { sharp_as_natural(key) } else { natural_as_sharp(key) }).unwrap();
        assert_eq!(answer.outcome, Outcome::Failed);
        assert!(answer.happenings.iter().any(|h| h.kind == "setting" && h.place == if is_first { "4.1" } else { "8.1" }), "{answer:?}");
        let Stage::Quiz(view::Quiz::Told { small, .. }) = forgotten.quiz.view().stage else { panic!("it is told") };
        assert_eq!(small, moved);
    }
}

#[test]
fn an_instrument_that_sends_strings_leaves_the_levers_to_the_players_word() {
    // Known beforehand: the question is answered as without an instrument.
    let mut known = sitting(Instrument::LeverHarp, Matching::Strings { open: -3 }, false);
    assert!(matches!(known.quiz.view().stage, Stage::Quiz(view::Quiz::Asked { is_told: true, .. })));
    known.input(known.now + secs(1.0), Input::Command(Command::Pause));
    known.input(known.now + secs(1.0), Input::Command(Command::Overrule(Verdict::Broken)));
    assert_eq!((known.last().outcome, known.last().witness), (Outcome::Failed, Witness::Told));
    // Found out in the playing: all strings were right, and the player says whether they were set so. What was played is kept.
    let mut found = sitting(Instrument::LeverHarp, Matching::Automatic { open: -3 }, false);
    assert_eq!(play(&mut found, open_string), None, "nobody knows yet");
    assert!(matches!(found.quiz.view().stage, Stage::Quiz(view::Quiz::Mark { .. })));
    found.input(found.now + secs(1.0), Input::Command(Command::Overrule(Verdict::Clean)));
    let answer = found.last();
    assert_eq!((answer.outcome, answer.witness), (Outcome::Held, Witness::Told));
    assert!(!answer.take.is_empty());
    // Where a string sounded as it is set, keys are pitches, and the lever is heard.
    let mut heard = sitting(Instrument::LeverHarp, Matching::Automatic { open: -3 }, false);
    assert_eq!(play(&mut heard, |key| key).map(|a| (a.outcome, a.witness)), Some((Outcome::Held, Witness::Heard)));
}

/// The prompts of a drill whose player waits before the first note of bar 4, and when they came after the note before.
fn prompts(piece: &Piece, wait: f64) -> (Vec<String>, Option<f64>) {
    let span = Span::drill(piece, "all".into(), &piece.score.all_bars().unwrap(), 1).unwrap();
    let at = |note: &Note| secs(note.onset.to_f64() * 0.6 + if note.bar.0 >= 3 { wait } else { 0.0 });
    let mut notes: Vec<_> = piece.part().notes.iter().map(|n| (at(n), n.key)).collect();
    notes.sort();
    let on = |(at, key)| Stamped { at, what: MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(70) } };
    let take: Take = notes.into_iter().map(on).collect();
    let out = listen(piece, &span, &PracticeConfig::standard(), &take);
    let texts = out.iter().filter_map(|o| if let Output::Prompted { text, .. } = o { Some(text.clone()) } else { None }).collect();
    let first = out.iter().find_map(|o| if let Output::Hesitated { at, .. } = o { Some(at.secs_f64() - 11.0 * 0.6) } else { None });
    (texts, first)
}

#[test]
fn a_change_prompts_with_a_drafted_cue_unless_the_piece_has_its_own() {
    let ladder = |instrument| prompts(&piece(instrument, Matching::Sounding), 30.0).0;
    assert_eq!(
        ladder(Instrument::LeverHarp),
        [
            "L: F 2nd octave up, beat 2",
            "left hand: lever up on the F in the 2nd octave, for bar 4, beat 1",
            "look at the page: bar 4, beat 1"
        ]
    );
    assert_eq!(
        ladder(Instrument::PedalHarp),
        ["R: F sharp, beat 4", "right foot: F sharp, for bar 4, beat 1", "look at the page: bar 4, beat 1"]
    );
    assert_eq!(ladder(Instrument::Keyboard), ["look at the page: bar 4, beat 1"]);
    let mut own = piece(Instrument::PedalHarp, Matching::Sounding);
    let place = Place::parse("3.4", &own.score).unwrap();
    own.cues = vec![Cue { place, hand: None, text: "foot, then the bright one".into(), more: None }];
    assert_eq!(prompts(&own, 30.0).0[0], "foot, then the bright one");
}

/// The allowance A of 2 against 1: at 0.6 s a note the factor 1.75 becomes 3.5, unless the floor is longer.
#[test]
fn silence_around_a_change_is_given_longer() {
    let halted = |instrument| prompts(&piece(instrument, Matching::Sounding), 30.0).1.expect("thirty seconds are a halt");
    let (keys, pedals) = (halted(Instrument::Keyboard), halted(Instrument::PedalHarp));
    assert!(pedals > keys + 0.3, "{keys} {pedals}");
    assert_eq!(prompts(&piece(Instrument::PedalHarp, Matching::Sounding), (keys + pedals) / 2.0 - 0.6).1, None);
    assert!(prompts(&piece(Instrument::Keyboard, Matching::Sounding), (keys + pedals) / 2.0 - 0.6).1.is_some());
}

fn a_session(started: &str) -> NewSession {
    NewSession {
        started: started.parse().unwrap(),
        piece_key: "study".into(),
        piece_title: "Study".into(),
        program_version: "0.1.0".into(),
        seed: 0,
    }
}

fn an_answer(outcome: Outcome) -> Entry {
    Entry::Answer(Answer {
        number: 0,
        kind: QuestionKind::Change,
        place: "7.2".into(),
        asked: Micros(60_000_000),
        first_right: Some(Micros(62_500_000)),
        ended: Micros(66_000_000),
        outcome,
        witness: Witness::Told,
        n_notes_between: None,
        happenings: vec![],
        take: Take::default(),
    })
}

/// The first half drilled, with every key sent as `sent` says; as the program writes it down.
fn a_rep(sent: impl Fn(MidiKey) -> MidiKey) -> Entry {
    let (out, _) = half(sent);
    let Some(Output::Record(rep)) = out.last() else { panic!("the last output is the rep") };
    rep.clone()
}

/// The same as all that the engine put out, and as the account of the take has it.
fn half(sent: impl Fn(MidiKey) -> MidiKey) -> (Vec<Output>, String) {
    let piece = piece(Instrument::LeverHarp, Matching::Sounding);
    let bars = BarRange::try_new(0..4).unwrap();
    let span = Span::drill(&piece, "first half".into(), &bars, 1).unwrap();
    let notes = piece.part().notes.iter().filter(|n| n.bar.0 < 4);
    let mut notes: Vec<_> = notes.map(|n| (secs(1.0 + n.onset.to_f64() * 0.6), sent(n.key))).collect();
    notes.sort();
    let on = |(at, key)| Stamped { at, what: MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(70) } };
    let out = listen(&piece, &span, &PracticeConfig::standard(), &notes.into_iter().map(on).collect());
    let account = take_account::lines(&out, &span, &piece.score).join("\n");
    (out, account)
}

#[test]
fn the_account_of_a_take_says_which_lever_stood_wrong_and_how_the_page_has_it() {
    let (_, account) = half(sharp_as_natural);
    assert!(account.contains("bar 4, right hand, lever on F, written sharp"), "{account}");
    let (_, account) = half(|key| key);
    assert!(!account.contains("lever"), "{account}");
}

fn verdict(rep: &Entry) -> Verdict {
    let Entry::Rep(rep) = rep else { panic!("it is a rep") };
    rep.verdict
}

fn catchword(data: &std::path::Path, args: &[&str]) -> String {
    let command = std::process::Command::new(env!("CARGO_BIN_EXE_catchword")).args(args).arg("--data").arg(data).current_dir(data).output();
    let output = command.unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn the_plan_names_each_change_and_brings_back_the_one_that_failed() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("pieces/study");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("study.musicxml"), musicxml::write(&score())).unwrap();
    let section = |name: &str, bars: &str| format!("\n[[section]]\nname = \"{name}\"\nbars = \"{bars}\"\n");
    let head = "title = \"Study\"\nscore = \"study.musicxml\"\ninstrument = \"lever-harp\"\ntempo = 100\n";
    std::fs::write(folder.join("piece.toml"), format!("{head}{}{}", section("first half", "1-4"), section("second half", "5-8"))).unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let session = store.begin_session(&a_session("2026-03-01T18:00:00+01:00")).unwrap();
    let forgotten = a_rep(sharp_as_natural);
    assert_eq!(verdict(&forgotten), Verdict::Broken);
    store.append(session, &forgotten).unwrap();
    store.append(session, &an_answer(Outcome::Held)).unwrap();
    let today = catchword(dir.path(), &["plan", "study", "--on", "2026-03-02"]);
    assert!(today.contains("lever on F before bar 4, bars 2-4") && today.contains("set wrong, or a halt, yesterday"), "{today}");
    assert!(!today.contains("lever on F before bar 8, bars"), "what held is tested by what is played over it:\n{today}");
    let standing = |name: &str, plan: &str| {
        plan.lines().find_map(|line| line.trim().strip_prefix(name).map(|rest| rest.trim().to_owned())).unwrap_or_default()
    };
    let last = |plan: &str| ["lever on F before bar 4  ", "lever on F before bar 8  "].map(|name| standing(name, plan));
    assert_eq!(last(&today), ["did not hold yesterday", "held yesterday"], "{today}");
    let later = store.begin_session(&a_session("2026-03-02T18:00:00+01:00")).unwrap();
    let clean = a_rep(|key| key);
    assert_eq!(verdict(&clean), Verdict::Clean);
    store.append(later, &clean).unwrap();
    let next = catchword(dir.path(), &["plan", "study", "--on", "2026-03-03"]);
    assert_eq!(last(&next), ["held yesterday", "held 2 days ago"], "{next}");
    assert!(!next.contains("bars 2-4"), "{next}");
    let progress = catchword(dir.path(), &["progress", "study", "--plain"]);
    let part = progress.split_once("\nLevers and pedals:\n").map(|(_, part)| part).unwrap_or_default();
    let lines: Vec<&str> = part.lines().map(str::trim).filter(|line| !line.is_empty()).take(4).collect();
    let [first, second, heading, wrong] = lines[..] else { panic!("{progress}") };
    assert!(first.starts_with("lever on F before bar 4, bar 3, beat 2: held"), "{progress}");
    assert!(second.starts_with("lever on F before bar 8, bar 7, beat 2: held"), "{progress}");
    assert_eq!((heading, wrong), ("Levers and pedals heard to stand wrong:", "lever on F, 2nd octave: once on 1 day, last in bar 4"));
    for (option, file) in [("--html", "study.html"), ("--svg", "study.svg")] {
        catchword(dir.path(), &["progress", "study", option, file]);
        let page = std::fs::read_to_string(dir.path().join(file)).unwrap();
        for line in [first, second, heading.trim_end_matches(':'), wrong] {
            assert!(page.contains(line), "{line}\n{page}");
        }
    }
}

/// Stops after a rep of the first four bars in which every F sharp came as `sent` says, and returns the lines offered and what was told
/// when the first was picked.
fn offered(cues: Vec<Cue>, sent: impl Fn(MidiKey) -> MidiKey) -> (Vec<String>, Cue) {
    let piece = Piece { cues, ..piece(Instrument::LeverHarp, Matching::Sounding) };
    let span = Span::drill(&piece, "first half".into(), &BarRange::try_new(0..4).unwrap(), 3).unwrap();
    let notes: Vec<(Micros, MidiKey)> =
        span.line.notes.iter().map(|n| (secs(1.0 + span.line.onset(n.onset).at.to_f64() * 0.6), sent(n.key))).collect();
    let line = Cue { place: Place::start_of(BarIdx(3)), hand: None, text: "the bright one".into(), more: None };
    let engine = Engine::try_new(Arc::new(piece), vec![span], PracticeConfig::standard()).unwrap();
    let mut engine = engine.with_drafts(vec![line]);
    let mut out = Vec::new();
    for (at, key) in notes {
        let what = Input::Midi(MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(70) });
        engine.handle(Stamped { at, what }, &mut out);
    }
    let drafts = engine.view().ask.expect("a line is asked for").drafts.to_vec();
    engine.handle(Stamped { at: secs(60.0), what: Input::Story(Story::Picked(0)) }, &mut out);
    let told = out.iter().find_map(|o| if let Output::Story { cue, .. } = o { Some(cue.clone()) } else { None });
    (drafts, told.expect("it is told"))
}

#[test]
fn where_a_lever_was_forgotten_its_own_cue_is_offered_first_and_told_where_it_moves() {
    let at = |text: &str| Place::parse(text, &score()).unwrap();
    let moved = ("L: F 2nd octave up, beat 2", "left hand: lever up on the F in the 2nd octave, for bar 4, beat 1");
    let told = |place: &str| Cue { place: at(place), hand: None, text: moved.0.into(), more: Some(moved.1.into()) };
    let (drafts, cue) = offered(vec![], sharp_as_natural);
    assert_eq!((drafts, cue), (vec![moved.0.to_owned(), "the bright one".to_owned()], told("3.2")));
    // A wrong string where it is needed: the search for the lever may have been it.
    let another = |key: MidiKey| if key.number() == 78 { MidiKey::try_new(81).unwrap() } else { key };
    assert_eq!(offered(vec![], another).0[0], moved.0);
    // A line of the player's own stays where it is.
    let own = Cue { place: at("3.2"), hand: None, text: "foot, then the bright one".into(), more: None };
    assert_eq!(offered(vec![own], sharp_as_natural).1, told("4.1"));
    // The cue is there already.
    let cue = told("3.2");
    assert_eq!(offered(vec![cue], sharp_as_natural).0, ["the bright one"]);
}

#[test]
fn answers_about_changes_go_out_of_one_journal_and_into_another() {
    let (from, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let mut store = Store::open(from.path()).unwrap();
    let session = store.begin_session(&a_session("2026-03-01T18:00:00+01:00")).unwrap();
    store.append(session, &an_answer(Outcome::Failed)).unwrap();
    store.append(session, &a_rep(sharp_as_natural)).unwrap();
    drop(store);
    let backup = from.path().join(FILE_NAME).display().to_string();
    catchword(to.path(), &["journal", "import", &backup]);
    let json = catchword(to.path(), &["journal", "export", "--json", "--piece", "study"]);
    assert!(json.contains("\"change\"") && json.contains("7.2"), "{json}");
    let store = Store::open(to.path()).unwrap();
    let answers = store.answers("study").unwrap();
    assert_eq!(
        answers.iter().map(|a| (a.kind, a.place.as_str(), a.outcome)).collect::<Vec<_>>(),
        [(QuestionKind::Change, "7.2", Outcome::Failed)]
    );
    let slips = store.setting_slips("study").unwrap().into_values().collect::<Vec<_>>();
    assert_eq!(slips, [[SettingSlip { place: "4.1".into(), setting: Some("lever F5 sharp".into()) }]]);
    assert!(json.contains("lever F5 sharp"), "{json}");
}
