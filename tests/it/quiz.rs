//! Quizzes with players of known behaviour: the program is to report just what each of them did.
//!
//! Where a figure comes from outside: a start has 5 s, a landmark called in mid-play is to be reached within 2 beats or 2 s, half of
//! the starts are section starts, a quarter switches, 15 % after spots that failed, 10 % any bar (reasoned defaults of this project,
//! after Chaffin & Imreh 2002 and Williamon & Valentine 2002; no study gives the shares themselves).

mod order;
mod overruled;
mod told;
mod ways;

use std::sync::Arc;

use catchword::analysis::analyse;
use catchword::journal::entry::{Answer, Entry, Outcome, QuestionKind, Verdict, Witness};
use catchword::journal::store::{NewSession, Store};
use catchword::midi::{Channel, MidiEvent, MidiKey, Velocity};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::quiz::{Doubt, Exit, Fit, Harmony, JournalDoubt, Passage, Question, Quiz, QuizConfig, Wanted, questions};
use catchword::practice::view::{self, Stage};
use catchword::practice::{Command, Input, Machine, Output, PracticeConfig};
use catchword::score::Place;
use catchword::source::player::{Manner, Planned, perform};
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime, Stamped, Tempo};

/// A quiz with a simulated player in front of it.
pub struct Sitting {
    pub quiz: Quiz,
    pub piece: Arc<Piece>,
    pub outputs: Vec<Output>,
    pub now: Micros,
    seed: u64,
}

/// Every question equally unsure, or only one kind of question worth asking.
pub struct Only(pub Option<QuestionKind>);

impl Doubt for Only {
    fn doubt(&self, kind: QuestionKind, _: &str) -> f64 {
        if self.0.is_none_or(|only| only == kind) { 1.0 } else { 0.0 }
    }
}

pub fn asked_of(name: &str) -> (Arc<Piece>, Vec<Question>) {
    let piece = open_piece(name, None, &[]).expect("the demo pieces open").piece;
    let analysis = analyse(&piece.score, piece.part).expect("it has its part");
    let failed = [Place::parse("7.1", &piece.score).unwrap(), Place::parse("15.1", &piece.score).unwrap()];
    let asked = questions(&piece, &analysis, &failed);
    (Arc::new(piece), asked)
}

fn secs(seconds: f64) -> Micros {
    Micros::from_secs_f64(seconds)
}

impl Sitting {
    /// Sits down to questions of the kinds named, all of them where none is.
    pub fn with(name: &str, kinds: &[QuestionKind], config: QuizConfig) -> Self {
        let (piece, mut asked) = asked_of(name);
        asked.retain(|q| kinds.is_empty() || kinds.contains(&q.kind));
        Sitting::of(piece, asked, config)
    }

    /// Sits down to these questions.
    pub fn of(piece: Arc<Piece>, asked: Vec<Question>, config: QuizConfig) -> Self {
        let seed = config.seed;
        let quiz =
            Quiz::try_new(Arc::clone(&piece), asked, &Only(None), PracticeConfig::standard(), config).expect("there is something to ask");
        let mut sitting = Sitting { quiz, piece, outputs: Vec::new(), now: Micros(1_000_000), seed };
        sitting.command(Command::Pause);
        sitting
    }

    pub fn input(&mut self, at: Micros, what: Input) {
        self.now = self.now.max(at);
        self.quiz.handle(Stamped { at, what }, &mut self.outputs);
    }

    pub fn command(&mut self, command: Command) {
        self.input(self.now, Input::Command(command));
    }

    /// Lets time pass until the next question stands; false when the quiz is over.
    pub fn next_question(&mut self) -> bool {
        loop {
            match self.quiz.view().stage {
                Stage::Quiz(view::Quiz::Asked { .. }) => return true,
                Stage::Finished { .. } => return false,
                _ => self.meet_deadline(),
            }
        }
    }

    pub fn meet_deadline(&mut self) {
        let due = self.quiz.next_deadline().expect("a quiz that is on waits for something");
        self.input(due, Input::Deadline);
    }

    /// Meets every deadline up to a time.
    fn pass_until(&mut self, until: Micros) {
        while self.quiz.next_deadline().is_some_and(|due| due <= until) {
            self.meet_deadline();
        }
    }

    pub fn answers(&self) -> Vec<&Answer> {
        self.outputs.iter().filter_map(|o| if let Output::Record(Entry::Answer(answer)) = o { Some(answer) } else { None }).collect()
    }

    pub fn last(&self) -> Answer {
        self.answers().last().copied().expect("there was an answer").clone()
    }

    fn is_called(&self) -> bool {
        matches!(self.quiz.view().stage, Stage::Quiz(view::Quiz::Called { .. }))
    }

    /// What the built-in player makes of a passage, from its beginning on.
    fn performed(&mut self, passage: &Passage, planned: Vec<Planned>) -> Vec<Stamped<MidiEvent>> {
        self.seed += 1;
        let line = &passage.span.line;
        let mut stretch = passage.span.stretch.clone();
        let from = line.onset(passage.begin).at;
        stretch.notes.retain(|n| n.onset >= from);
        let manner = Manner { planned, ..Manner::fluent(line.tempo.unwrap_or(Tempo::try_new(72.0).unwrap()), self.seed) };
        perform(self.piece.part(), &stretch, &manner).events().to_vec()
    }

    /// Plays until the answer is judged, or a landmark is called; the first note comes `after` the question.
    pub fn play(&mut self, passage: &Passage, planned: Vec<Planned>, after: Micros) {
        let (start, n_before) = (self.now + after, self.answers().len());
        for event in self.performed(passage, planned) {
            self.pass_until(start + event.at);
            if self.answers().len() > n_before || (self.is_called() && self.quiz.passage().is_some_and(|p| !same(p, passage))) {
                return;
            }
            self.input(start + event.at, Input::Midi(event.what));
            if self.answers().len() > n_before {
                return;
            }
        }
        while self.answers().len() == n_before && !self.is_called() && !self.is_over() {
            self.meet_deadline();
        }
    }

    fn is_over(&self) -> bool {
        matches!(self.quiz.view().stage, Stage::Finished { .. })
    }

    fn strike(&mut self, keys: &[MidiKey], after: Micros) {
        let start = self.now + after;
        for (n, key) in keys.iter().enumerate() {
            let what = MidiEvent::NoteOn { channel: Channel(0), key: *key, velocity: Velocity(70) };
            self.input(start + Micros::from_millis(120 * n as i64), Input::Midi(what));
        }
    }

    /// Answers what stands as a secure player does, and comes back with the answer; with none when time was over before the first note.
    pub fn answer_well(&mut self, after: Micros) -> Option<Answer> {
        let n_before = self.answers().len();
        let question = self.quiz.standing().expect("a question stands").0.clone();
        match (self.quiz.passage().cloned(), &question.wanted) {
            (Some(passage), _) => {
                self.play(&passage, vec![], after);
                if self.is_called() {
                    self.jump(after, 0);
                }
            }
            (None, Wanted::Harmony(harmony)) => {
                let keys = written(&self.piece, question.place, *harmony);
                self.strike(&keys, after);
                if !self.is_over() {
                    self.meet_deadline();
                }
            }
            (None, _) => unreachable!("an exit is a passage"),
        }
        (self.answers().len() > n_before).then(|| self.last())
    }

    /// Goes where the landmark was called to, after so many more notes of something else.
    fn jump(&mut self, after: Micros, n_more: usize) {
        let goal = self.quiz.passage().expect("a jump goes to a passage").clone();
        let call = self.quiz.standing().expect("it stands").1;
        for n in 0..n_more {
            // Below any note of the goal's first onset.
            let key = MidiKey::try_new(21 + n as i32).unwrap();
            let at = call + Micros(after.0 * (n as i64 + 1) / (n_more as i64 + 1));
            self.input(at, Input::Midi(MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(60) }));
        }
        let since = self.now - call;
        self.play(&goal, vec![], after - since);
    }
}

fn same(a: &Passage, b: &Passage) -> bool {
    Arc::ptr_eq(&a.span.line, &b.span.line)
}

/// The left hand's own notes of a harmony, as the score has them.
fn written(piece: &Piece, place: Place, harmony: Harmony) -> Vec<MidiKey> {
    let from = place.onset(&piece.score);
    let notes = piece.part().notes.iter().filter(|n| n.hand == Hand::Left && n.bar == place.bar && n.onset >= from);
    notes.map(|n| n.key).take_while(|key| harmony.fit(&[*key]) != Fit::Other).collect()
}

fn moved(keys: &[MidiKey], semitones: i32) -> Vec<MidiKey> {
    keys.iter().map(|k| MidiKey::try_new(i32::from(k.number()) + semitones).unwrap()).collect()
}

fn bar_start(passage: &Passage, label: &str) -> Option<ScoreTime> {
    let bar = passage.span.bars.iter().position(|b| b == label)?;
    let at = passage.span.stretch.bars[bar].start;
    (at >= passage.span.line.onset(passage.begin).at).then_some(at)
}

#[test]
fn a_secure_player_holds_every_kind_of_question_and_recall_is_exact() {
    for name in ["ferry", "all-through-the-night"] {
        let mut sitting = Sitting::with(name, &[], QuizConfig::standard(40, 5));
        let mut n = 0;
        while sitting.next_question() {
            let after = Micros(700_000 + 13_457 * (n % 90));
            let asked = sitting.quiz.standing().map(|(q, at)| (q.kind, q.text.clone(), at)).unwrap();
            let Some(answer) = sitting.answer_well(after) else { continue };
            n += 1;
            assert_eq!(answer.outcome, Outcome::Held, "{name}, question {n}, {asked:?}: {:?}", sitting.quiz.view().stage);
            assert_eq!(answer.first_right.map(|f| f - answer.asked), Some(after), "{name}, question {n}: {asked:?}");
            assert!(answer.happenings.is_empty() && answer.witness == Witness::Heard && !answer.take.is_empty());
            if answer.kind != QuestionKind::Jump {
                assert_eq!((answer.kind, &answer.place, answer.asked), (asked.0, &asked.1, asked.2));
            }
        }
        let kinds: std::collections::BTreeSet<QuestionKind> = sitting.answers().iter().map(|a| a.kind).collect();
        assert_eq!(kinds.len(), 5, "{name}: {kinds:?}");
        let numbers: Vec<u32> = sitting.answers().iter().map(|a| a.number).collect();
        assert_eq!(numbers, (0..numbers.len() as u32).collect::<Vec<_>>());
        let Stage::Finished { account } = sitting.quiz.view().stage else { panic!("it is over") };
        assert_eq!(account[0], format!("{n} of {n} answers held"));
        assert!(!account.iter().any(|line| line.starts_with("to come back to") || line.contains('%')), "{account:?}");
        println!("{name}: {n} questions; {account:?}");
    }
}

#[test]
fn a_lapse_in_one_bar_is_found_there_and_nowhere_else() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::ColdStart, QuestionKind::GoOn], QuizConfig::standard(30, 2));
    let (mut n_failed, mut n_held) = (0, 0);
    while sitting.next_question() {
        let passage = sitting.quiz.passage().unwrap().clone();
        let lapse = bar_start(&passage, "15");
        sitting.play(&passage, lapse.into_iter().map(|at| Planned::Wrong { at, hand: Hand::Left }).collect(), secs(1.0));
        if sitting.is_over() {
            break;
        }
        let answer = sitting.last();
        if lapse.is_some() {
            n_failed += 1;
            assert_eq!(answer.outcome, Outcome::Failed, "{answer:?}");
            assert_eq!(answer.happenings.last().map(|h| (h.kind, h.place.as_str(), h.hand)), Some(("wrong", "15.1", Some("left"))));
            let Stage::Quiz(view::Quiz::Told { is_held: false, large, small }) = sitting.quiz.view().stage else { panic!("it is told") };
            assert_eq!((large, small), ("look: bar 15, beat 1, left hand", "not what is written"));
        } else {
            n_held += 1;
            assert_eq!(answer.outcome, Outcome::Held, "{answer:?}");
        }
    }
    assert!(n_failed >= 3 && n_held >= 10, "{n_failed} failed, {n_held} held");
}

#[test]
fn the_other_way_out_of_a_switch_is_told_as_a_wrong_turn() {
    for (name, ways) in [("ferry", 2), ("all-through-the-night", 2)] {
        let mut sitting = Sitting::with(name, &[QuestionKind::Switch], QuizConfig::standard(10, 3));
        let mut seen = std::collections::BTreeSet::new();
        let mut n = 0;
        while sitting.next_question() {
            let question = sitting.quiz.standing().unwrap().0.clone();
            let Wanted::Exit { asked, others } = &question.wanted else { panic!("a switch has exits") };
            seen.insert(question.text.clone());
            n += 1;
            // In turn the right way and a wrong one.
            let took: &Exit = if n % 2 == 0 { asked } else { &others[n % others.len()] };
            sitting.play(&took.passage, vec![], secs(0.9));
            if sitting.is_over() {
                break;
            }
            let answer = sitting.last();
            assert_eq!(answer.first_right.map(|f| f - answer.asked), Some(secs(0.9)));
            if n % 2 == 0 {
                assert_eq!(answer.outcome, Outcome::Held, "{name}: {answer:?}");
            } else {
                let words = format!("{:?}", sitting.quiz.view().stage);
                assert_eq!(answer.outcome, Outcome::Failed, "{name}, {}: {words}", question.text);
                let told: Vec<(&str, &str)> = answer.happenings.iter().map(|h| (h.kind, h.place.as_str())).collect();
                assert_eq!(told, [("wrong-turn", question.text.as_str())], "{name}: {words}");
                assert!(words.contains("that way belongs to bar"), "{words}");
            }
        }
        assert!(n >= 10 && seen.len() >= ways, "{name}: {n} questions about {seen:?}");
        let Stage::Finished { account } = sitting.quiz.view().stage else { panic!("it is over") };
        assert!(account.iter().any(|l| l.starts_with("switches confused: bar ") && l.contains("went the way of bar")), "{account:?}");
    }
}

#[test]
fn a_player_who_freezes_for_four_seconds_starts_slowly_and_stops_in_the_middle() {
    let cold = [QuestionKind::ColdStart];
    let mut slow = Sitting::with("ferry", &cold, QuizConfig::standard(5, 8));
    while slow.next_question() {
        let Some(answer) = slow.answer_well(secs(4.0)) else { continue };
        assert_eq!((answer.outcome, answer.first_right.map(|f| f - answer.asked)), (Outcome::Held, Some(secs(4.0))));
    }
    let Stage::Finished { account } = slow.quiz.view().stage else { panic!("it is over") };
    assert!(account.iter().any(|l| l.starts_with("slowest to come: ") && l.contains("4.0 s")), "{account:?}");

    let mut frozen = Sitting::with("ferry", &cold, QuizConfig::standard(5, 8));
    let mut n = 0;
    while frozen.next_question() {
        let passage = frozen.quiz.passage().unwrap().clone();
        let bar = passage.span.stretch.bars.get(1).filter(|b| b.start < passage.span.line.onsets.last().unwrap().at);
        let Some(at) = bar.map(|b| b.start) else {
            frozen.command(Command::Skip);
            continue;
        };
        frozen.play(&passage, vec![Planned::Pause { at, length: secs(4.0) }], secs(1.0));
        if frozen.is_over() {
            break;
        }
        let answer = frozen.last();
        n += 1;
        assert_eq!(answer.outcome, Outcome::OutOfTime, "{answer:?}");
        let told: Vec<(&str, &str)> = answer.happenings.iter().map(|h| (h.kind, h.place.as_str())).collect();
        assert_eq!(told, [("hesitation", format!("{}.1", passage.span.bars[1]).as_str())]);
    }
    assert!(n >= 10);
}

#[test]
fn silence_runs_out_at_the_questions_own_clock() {
    let mut sitting = Sitting::with("ferry", &[], QuizConfig::standard(5, 4));
    while sitting.next_question() {
        let asked = sitting.quiz.standing().unwrap().1;
        sitting.meet_deadline();
        if sitting.answers().last().is_some_and(|a| a.asked == asked) {
            let answer = sitting.last();
            assert_eq!((answer.outcome, answer.first_right, answer.ended - answer.asked), (Outcome::OutOfTime, None, secs(5.0)));
            assert!(answer.take.is_empty());
        }
    }
    assert!(sitting.answers().len() > 30, "{}", sitting.answers().len());
    // What was not begun when time was over is not held against the player, and the end comes on time.
    assert_eq!(Some(sitting.now), sitting.quiz.ends());
}

#[test]
fn an_answer_begun_on_time_is_heard_to_its_end() {
    for seed in 0..20 {
        let mut sitting = Sitting::with("ferry", &[], QuizConfig::standard(1, seed));
        while sitting.next_question() {
            sitting.answer_well(secs(1.0));
        }
        let ends = sitting.quiz.ends().unwrap();
        let answers = sitting.answers();
        assert!(answers.iter().all(|a| a.outcome == Outcome::Held), "seed {seed}: none was cut short");
        assert!(answers.last().unwrap().ended < sitting.now && sitting.now >= ends);
        assert!(sitting.now - ends < secs(30.0), "seed {seed}: over by {:?}", sitting.now - ends);
    }
}

#[test]
fn any_voicing_and_octave_of_the_right_harmony_counts_and_another_does_not() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::WhatNext], QuizConfig::standard(20, 6));
    let mut n = 0;
    while sitting.next_question() {
        let question = sitting.quiz.standing().unwrap().0.clone();
        let Wanted::Harmony(harmony) = question.wanted else { panic!("a harmony is asked for") };
        let keys = written(&sitting.piece, question.place, harmony);
        n += 1;
        let (played, expected) = match n % 6 {
            0 => (keys.clone(), Outcome::Held),
            1 => (moved(&keys, 12), Outcome::Held),
            // Upper notes an octave higher and in another order, the root below.
            2 => ([&keys[..1], &moved(&keys[1..], 12).into_iter().rev().collect::<Vec<_>>()].concat(), Outcome::Held),
            3 => (moved(&keys, 2), Outcome::Failed),
            // Everything but what it stands on, lifted above the rest.
            4 => (
                keys.iter().map(|k| if k.pitch_class() == keys[0].pitch_class() { moved(&[*k], 36)[0] } else { *k }).collect(),
                Outcome::Failed,
            ),
            _ => (vec![keys[0]], if keys.len() == 1 { Outcome::Held } else { Outcome::Failed }),
        };
        sitting.strike(&played, secs(1.25));
        if sitting.is_over() {
            break;
        }
        if !matches!(sitting.quiz.view().stage, Stage::Quiz(view::Quiz::Told { .. })) {
            sitting.meet_deadline();
        }
        let answer = sitting.last();
        assert_eq!(answer.outcome, expected, "question {n}, {}: {keys:?} played as {played:?}", question.text);
        if expected == Outcome::Held {
            assert_eq!(answer.first_right.map(|f| f - answer.asked), Some(secs(1.25)));
        } else {
            assert_eq!(answer.first_right, None);
            let told: Vec<_> = answer.happenings.iter().map(|h| (h.kind, h.place.as_str(), h.hand)).collect();
            assert_eq!(told, [("wrong", question.text.as_str(), Some("left"))]);
        }
    }
    assert!(n >= 60, "{n}");
}

#[test]
fn jumps_are_measured_in_notes_and_seconds() {
    // (seconds until landing, notes before it, held): at 96 a minute two beats last 1.25 s, so two seconds decide.
    let rows = [(0.8, 0, true), (1.6, 2, true), (2.0, 1, true), (2.4, 3, false), (5.0, 0, false)];
    let mut sitting = Sitting::with("ferry", &[QuestionKind::Jump, QuestionKind::ColdStart], QuizConfig::standard(40, 9));
    let mut n_jumps = 0;
    while sitting.next_question() {
        let passage = sitting.quiz.passage().unwrap().clone();
        sitting.play(&passage, vec![], secs(0.7));
        if !sitting.is_called() {
            continue;
        }
        let landmark = &sitting.quiz.standing().unwrap().0.large;
        let mut called = sitting.outputs.iter().filter_map(|o| if let Output::Called { words, .. } = o { Some(words) } else { None });
        assert_eq!((called.clone().count(), called.next_back()), (n_jumps + 1, Some(&format!("go {landmark}"))));
        let (after, n_more, is_held) = rows[n_jumps % rows.len()];
        n_jumps += 1;
        sitting.jump(secs(after), n_more);
        let answer = sitting.last();
        assert_eq!(answer.kind, QuestionKind::Jump);
        assert_eq!(answer.outcome, if is_held { Outcome::Held } else { Outcome::OutOfTime }, "{after} s: {answer:?}");
        assert_eq!(answer.first_right.map(|f| f - answer.asked), Some(secs(after)), "to {}", answer.place);
        assert_eq!(answer.n_notes_between, Some(n_more as u32), "to {}", answer.place);
    }
    assert!(n_jumps >= 25, "{n_jumps}");
}

#[test]
fn a_player_who_plays_on_after_the_call_never_arrives() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::Jump, QuestionKind::ColdStart], QuizConfig::standard(10, 12));
    let mut n = 0;
    while sitting.next_question() {
        let passage = sitting.quiz.passage().unwrap().clone();
        let n_before = sitting.answers().len();
        let start = sitting.now + secs(0.7);
        for event in sitting.performed(&passage, vec![]) {
            if sitting.answers().len() == n_before {
                sitting.input(start + event.at, Input::Midi(event.what));
            }
        }
        while sitting.answers().len() == n_before && !sitting.is_over() {
            sitting.meet_deadline();
        }
        if sitting.is_over() {
            break;
        }
        let answer = sitting.last();
        if answer.kind == QuestionKind::Jump {
            n += 1;
            assert_eq!((answer.outcome, answer.first_right, answer.n_notes_between), (Outcome::OutOfTime, None, None), "{answer:?}");
            assert!(!answer.take.is_empty());
        }
    }
    assert!(n >= 5, "{n}");
}

#[test]
fn a_run_that_breaks_before_its_call_is_a_cold_start_that_failed() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::Jump, QuestionKind::ColdStart], QuizConfig::standard(10, 12));
    let mut n = 0;
    while sitting.next_question() {
        let is_jump = matches!(sitting.quiz.view().stage, Stage::Quiz(view::Quiz::Asked { kind: QuestionKind::Jump, .. }));
        let passage = sitting.quiz.passage().unwrap().clone();
        let from = sitting.quiz.standing().unwrap().0.text.clone();
        let at = passage.span.line.onset(passage.begin).at;
        sitting.play(&passage, vec![Planned::Wrong { at, hand: Hand::Left }], secs(0.7));
        if sitting.is_over() {
            break;
        }
        let answer = sitting.last();
        assert_eq!((answer.kind, answer.place, answer.outcome), (QuestionKind::ColdStart, from, Outcome::Failed));
        n += usize::from(is_jump);
    }
    assert!(n >= 5, "{n}");
}

#[test]
fn pausing_gives_its_time_back_and_leaving_keeps_what_was_played() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::ColdStart], QuizConfig::standard(5, 1));
    sitting.next_question();
    let ends = sitting.quiz.ends().unwrap();
    sitting.command(Command::Pause);
    assert_eq!(sitting.quiz.view().stage, Stage::Paused);
    assert!(sitting.answers().is_empty(), "nothing was played to it");
    sitting.input(sitting.now + secs(60.0), Input::Command(Command::Pause));
    assert_eq!(sitting.quiz.ends(), Some(ends + secs(60.0)));
    sitting.next_question();
    let passage = sitting.quiz.passage().unwrap().clone();
    let first: Vec<MidiKey> = passage.span.line.notes[passage.span.line.onset(passage.begin).notes.clone()].iter().map(|n| n.key).collect();
    sitting.strike(&first, secs(1.0));
    sitting.command(Command::Quit);
    let answer = sitting.last();
    assert_eq!((answer.outcome, answer.happenings.last().map(|h| h.kind)), (Outcome::OutOfTime, Some("abandoned")));
    assert_eq!(answer.take.events().len(), first.len());
    assert!(matches!(sitting.quiz.view().stage, Stage::Finished { .. }));
}

#[test]
fn an_answer_under_which_the_instrument_went_away_is_kept_and_counts_for_nothing() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::ColdStart], QuizConfig::standard(5, 1));
    sitting.next_question();
    sitting.answer_well(secs(1.0)).expect("there is time");
    sitting.next_question();
    let passage = sitting.quiz.passage().unwrap().clone();
    let first: Vec<MidiKey> = passage.span.line.notes[passage.span.line.onset(passage.begin).notes.clone()].iter().map(|n| n.key).collect();
    sitting.strike(&first, secs(1.0));
    let ends = sitting.quiz.ends().unwrap();
    sitting.input(sitting.now + secs(0.5), Input::Gone);
    assert_eq!(sitting.quiz.view().stage, Stage::Paused);
    let gone = sitting.last();
    assert_eq!(gone.happenings.last().map(|h| h.kind), Some("gone"));
    assert_eq!(gone.take.events().len(), first.len());
    assert_eq!((sitting.quiz.view().n_clean, sitting.quiz.view().target), (1, 1), "one answer counts");
    // The time without an instrument is given back, and what the player says next is of the answer that counts.
    sitting.input(sitting.now + secs(30.0), Input::Command(Command::Pause));
    assert_eq!(sitting.quiz.ends(), Some(ends + secs(30.0)));
    sitting.command(Command::Overrule(Verdict::Broken));
    assert!(
        matches!(sitting.outputs.last(), Some(Output::Record(Entry::AnswerOverruled { answer: 0, .. }))),
        "{:?}",
        sitting.outputs.last()
    );
    // Away before anything was played: nothing is written down.
    sitting.next_question();
    sitting.input(sitting.now + secs(0.5), Input::Gone);
    assert_eq!(sitting.answers().len(), 2);
    // The journal gives back what counts.
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session()).unwrap();
    for answer in sitting.answers() {
        store.append(session, &Entry::Answer(answer.clone())).unwrap();
    }
    assert_eq!(store.answers("ferry").unwrap().len(), 1);
}

#[test]
fn what_was_on_its_way_before_the_question_is_no_answer() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::ColdStart], QuizConfig::standard(5, 1));
    sitting.next_question();
    sitting.strike(&[MidiKey::try_new(30).unwrap()], Micros::from_millis(100));
    assert!(sitting.answers().is_empty());
    sitting.now = sitting.quiz.standing().unwrap().1;
    let answer = sitting.answer_well(secs(1.0)).expect("there is time");
    assert_eq!(answer.outcome, Outcome::Held);
}

#[test]
fn no_question_names_a_note_of_its_answer() {
    for name in ["ferry", "all-through-the-night"] {
        let (piece, asked) = asked_of(name);
        for question in &asked {
            if matches!(question.kind, QuestionKind::GoOn | QuestionKind::WhatNext) {
                // A cue is shown only where it speaks for what is behind the player; where there is none, the bar stands there.
                let cue = piece.cues.iter().filter(|c| c.text == question.large).map(|c| c.place).min();
                assert!(cue.map_or(question.large.starts_with("after bar"), |cue| cue < question.place), "{question:?}");
            } else {
                let section = piece.sections.iter().find(|s| s.bars.contains(question.place.bar)).map(|s| s.name.as_str());
                let time = question.large.starts_with("bar ") && question.large.ends_with(" time");
                assert!(time || question.large.ends_with(&question.name) || section == Some(&question.large), "{}", question.large);
            }
        }
    }
}

fn a_session() -> NewSession {
    NewSession {
        started: "2026-03-01T18:00:00+01:00".parse().unwrap(),
        piece_key: "ferry".into(),
        piece_title: "The Ferry".into(),
        program_version: "0".into(),
        seed: 5,
    }
}

#[test]
fn answers_come_back_from_the_journal_as_doubt() {
    let mut store = Store::open_in_memory().unwrap();
    let session = store.begin_session(&a_session()).unwrap();
    let mut sitting = Sitting::with("ferry", &[], QuizConfig::standard(4, 5));
    let mut n = 0;
    while sitting.next_question() {
        n += 1;
        if n % 3 == 0 {
            sitting.command(Command::Skip);
        } else {
            sitting.answer_well(secs(1.0));
        }
    }
    for output in &sitting.outputs {
        if let Output::Record(entry) = output {
            store.append(session, entry).unwrap();
        }
    }
    let answers = store.answers("ferry").unwrap();
    assert_eq!(answers.len(), sitting.answers().len());
    let doubt = JournalDoubt::new(&answers, &[]);
    for (stored, answer) in answers.iter().zip(sitting.answers()) {
        assert_eq!(
            (stored.kind, stored.outcome, stored.recall),
            (answer.kind, answer.outcome, answer.first_right.map(|f| f - answer.asked))
        );
        let last = answers.iter().rfind(|a| (a.kind, &a.place) == (stored.kind, &stored.place)).unwrap();
        let expected = if last.outcome == Outcome::Held { 0.0..0.91 } else { 0.9..1.01 };
        assert!(expected.contains(&doubt.doubt(stored.kind, &stored.place)), "{stored:?}");
    }
    store.check().unwrap();
}
