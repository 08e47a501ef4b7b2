//! Players who are known, in front of every way of practising: what is told is what each of them did.
//!
//! The players are a secure one, one with a wrong note at a given bar, one who takes the way of a look-alike, one who freezes for four
//! seconds, one who goes ahead to a landmark, and one who rushes. Where a figure comes from outside: in fluent playing no two onsets of a
//! piece in quarters stand four seconds apart (Drake & Palmer 2000; Repp 1996: stops and steps back are what tells a failure from
//! expression); a reading is ready at 95 % of its notes with no stop longer than a bar (common practice); a clean rep keeps within 85 to 115 % of
//! the tempo set (a reasoned default of this project).

use std::sync::Arc;

use catchword::analysis::analyse;
use catchword::journal::entry::{Answer, Entry, Mode, Outcome, QuestionKind, Recovery, Rep};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::joins::{Chaining, spans};
use catchword::practice::quiz::{Passage, QuizConfig, Wanted, questions};
use catchword::practice::sitting::{Part, Sitting, Times};
use catchword::practice::{Command, Engine, Input, Machine, Output, PracticeConfig, Rests, Span, Stage};
use catchword::source::player::{Manner, Meant, Planned, perform, perform_told};
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime, Stamped, Tempo};

use super::quiz::Sitting as Questions;
use super::run_through::piece_with_a_switch;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Player {
    Secure,
    /// A wrong note in the left hand at the start of the third bar.
    Lapse,
    WrongTurn,
    /// Four seconds before the third bar.
    Freeze,
    /// From the second bar to the fourth; in the whole piece from the second bar to the start of the fourth section.
    Ahead,
    /// Half as fast again from the second bar on, in the whole piece from the seventh.
    Rush,
}

const PLAYERS: [Player; 6] = [Player::Secure, Player::Lapse, Player::WrongTurn, Player::Freeze, Player::Ahead, Player::Rush];
const SEEDS: [u64; 3] = [5, 17, 4_711];
const FREEZE: Micros = Micros(4_000_000);

/// The piece, and two places of it that begin alike and part: the section that the first of them stands in has a lead-in to it.
struct Studio {
    piece: Arc<Piece>,
    whole: Span,
    asked: (ScoreTime, String),
    other: ScoreTime,
    section: usize,
}

impl Studio {
    fn new() -> Studio {
        let dir = tempfile::tempdir().unwrap();
        let piece = open_piece(&piece_with_a_switch(dir.path()), None, &[]).unwrap().piece;
        let whole = Span::whole(&piece, Mode::RunThrough).unwrap();
        let bar_of = |place: catchword::score::Place| whole.stretch.bars.iter().find(|b| b.bar == place.bar).unwrap();
        let all = questions(&piece, &analyse(&piece.score, piece.part).unwrap(), &[]);
        let found = all.iter().find_map(|question| {
            let Wanted::Exit { asked, others } = &question.wanted else { return None };
            let section = piece.sections.iter().position(|s| s.bars.contains(asked.place.bar) && s.bars.start < asked.place.bar)?;
            let at = |place: catchword::score::Place| bar_of(place).start + place.into_bar;
            let is_switch = !question.large.ends_with(" time") && !piece.sections[section].bars.contains(others[0].place.bar);
            is_switch.then(|| ((at(asked.place), question.text.clone()), at(others[0].place), section))
        });
        let (asked, other, section) = found.expect("the piece has a switch within a section");
        Studio { piece: Arc::new(piece), whole, asked, other, section }
    }

    fn drill(&self) -> Span {
        let section = &self.piece.sections[self.section];
        Span::drill(&self.piece, section.name.clone(), &section.bars, 1).unwrap()
    }

    fn join(&self) -> Span {
        let all = spans(&self.piece, Chaining::FromTheTop);
        all.into_iter().find(|s| s.joined.contains(&self.section) && s.joined.len() == 2).expect("it is joined to a neighbour")
    }

    /// What a player makes of a span, the first note at time zero.
    fn play(&self, player: Player, span: &Span, seed: u64) -> Vec<Stamped<catchword::midi::MidiEvent>> {
        let bar = |nth: usize| span.stretch.bars[nth].start;
        let onset_of = |at: ScoreTime| self.whole.line.onsets.iter().rfind(|o| o.at < at).unwrap().at;
        let planned = match player {
            Player::Secure => vec![],
            Player::Lapse => vec![Planned::Wrong { at: bar(2), hand: Hand::Left }],
            Player::Freeze => vec![Planned::Pause { at: bar(2), length: FREEZE }],
            Player::Ahead => {
                let at = span.line.onsets.iter().rfind(|o| o.at < bar(2)).unwrap().at;
                let to = if span.is_drill() { bar(3) } else { self.landmark().0 };
                vec![Planned::Jump { at, to, pause: Micros::ZERO }]
            }
            Player::Rush => vec![Planned::Tempo { at: bar(if span.is_drill() { 1 } else { 6 }), share: 1.5 }],
            Player::WrongTurn => {
                let (at, to) = (onset_of(self.asked.0), self.other);
                let gone =
                    if to > at { Planned::Jump { at, to, pause: Micros::ZERO } } else { Planned::Restart { at, to, pause: Micros::ZERO } };
                return self.cut(span, gone, seed);
            }
        };
        perform(self.piece.part(), &span.stretch, &self.manner(planned, seed)).events().to_vec()
    }

    /// Plays the whole piece, and keeps what is played from the beginning of a span on.
    fn cut(&self, span: &Span, planned: Planned, seed: u64) -> Vec<Stamped<catchword::midi::MidiEvent>> {
        let told = perform_told(self.piece.part(), &self.whole.stretch, &self.manner(vec![planned], seed));
        let first = span.line.onsets[0].place;
        let begin = self.whole.line.onsets.iter().find(|o| o.place == first).unwrap().at;
        let strikes = told.take.events().iter().filter(|e| matches!(e.what, catchword::midi::MidiEvent::NoteOn { .. }));
        let is_first = |meant: &Meant| matches!(meant, Meant::Note(n) if self.whole.stretch.notes[*n].onset >= begin);
        let from = strikes.zip(&told.meant).find(|(_, meant)| is_first(meant)).unwrap().0.at;
        told.take.events().iter().filter(|e| e.at >= from).map(|e| Stamped { at: e.at - from, what: e.what }).collect()
    }

    fn manner(&self, planned: Vec<Planned>, seed: u64) -> Manner {
        Manner { planned, ..Manner::fluent(self.whole.line.tempo.unwrap_or(Tempo::USUAL), seed) }
    }

    /// The start of the fourth section, in playing order and by its bar.
    fn landmark(&self) -> (ScoreTime, String) {
        let bar = self.piece.sections[3].bars.start;
        let played = self.whole.stretch.bars.iter().position(|b| b.bar == bar).unwrap();
        (self.whole.stretch.bars[played].start, self.whole.bars[played].clone())
    }
}

/// Plays to a machine until it has judged a rep, or heard all.
fn play(machine: &mut dyn Machine, events: &[Stamped<catchword::midi::MidiEvent>], from: Micros, out: &mut Vec<Output>) -> Micros {
    let mark = out.len();
    let mut last = from;
    for event in events {
        last = from + event.at;
        machine.handle(Stamped { at: last, what: Input::Midi(event.what) }, out);
        if reps(&out[mark..]).len() == 1 {
            return last;
        }
    }
    // Shorter than what ends a run-through, longer than what ends a section.
    last += Micros(4_000_000);
    machine.handle(Stamped { at: last, what: Input::Deadline }, out);
    last
}

fn reps(out: &[Output]) -> Vec<Rep> {
    out.iter().filter_map(|o| if let Output::Record(Entry::Rep(rep)) = o { Some(rep.clone()) } else { None }).collect()
}

fn account(machine: &mut dyn Machine, at: Micros, out: &mut Vec<Output>) -> String {
    machine.handle(Stamped { at: at + Micros(60_000_000), what: Input::Command(Command::Quit) }, out);
    let Stage::Finished { account } = machine.view().stage else { panic!("it is over") };
    account.join("\n")
}

/// Says a rep in a few words: `clean`, `not clean, wrong at 3.1`.
fn said(rep: &Rep) -> String {
    let reason = rep.reason.as_ref().map(|r| format!(", {} at {}", r.kind, r.place)).unwrap_or_default();
    format!("{}{reason}", rep.verdict.words())
}

/// What is to be said of one rep of a section or a join, by this player.
fn of_a_rep(studio: &Studio, span: &Span, player: Player) -> Vec<String> {
    let third = format!("{}.1", span.bars[2]);
    let last = span.line.onsets.last().unwrap();
    match player {
        Player::Secure => vec!["clean".to_owned()],
        Player::Lapse => vec![format!("not clean, wrong at {third}")],
        // What the look-alike goes on with is no way of these bars, and is known from the first note of it.
        Player::WrongTurn => vec![format!("not clean, wrong-turn at {}", studio.asked.1)],
        // There is no cue of these bars: what is shown is the place on the page.
        Player::Freeze => vec![format!("with a cue, prompt-3 at {third}")],
        Player::Ahead => {
            vec![format!("not clean, jump at {third}"), format!("not clean, wrong at {third}"), format!("not clean, missed at {third}")]
        }
        Player::Rush => vec!["clean".to_owned(), format!("not clean, tempo at {}", last.place.text(&studio.piece.score))],
    }
}

fn check_rep(studio: &Studio, span: &Span, player: Player, rep: &Rep, seed: u64) {
    let expected = of_a_rep(studio, span, player);
    assert!(expected.contains(&said(rep)), "{player:?} in {}, seed {seed}: {} for {expected:?}", span.name, said(rep));
}

#[test]
fn a_wrong_turn_out_of_a_section_names_the_place_that_it_belongs_to_and_a_wrong_note_there_does_not() {
    let studio = Studio::new();
    let span = studio.drill();
    let rep = |events: &[Stamped<catchword::midi::MidiEvent>]| {
        let mut engine = Engine::try_new(Arc::clone(&studio.piece), vec![span.clone()], PracticeConfig::standard()).unwrap();
        let mut out = Vec::new();
        play(&mut engine, events, Micros(1_000_000), &mut out);
        reps(&out).remove(0)
    };
    let turned = rep(&studio.play(Player::WrongTurn, &span, 5));
    let to = studio.whole.line.onsets.iter().find(|o| o.at == studio.other).unwrap().place;
    let section = studio.piece.sections.iter().rfind(|s| s.bars.start <= to.bar).unwrap();
    let bar = &studio.piece.score.bar(to.bar).label;
    let words = &turned.reason.as_ref().unwrap().words;
    assert!(words.ends_with(&format!("that way belongs to bar {bar}, {}", section.name)), "{words}");
    assert!(turned.happenings.iter().any(|h| h.kind == "wrong-turn" && h.place == studio.asked.1), "{:?}", turned.happenings);
    // A slip at the same place that is no way of the piece.
    let at = span.line.onsets.iter().find(|o| o.place.text(&studio.piece.score) == studio.asked.1).unwrap().at;
    let planned = vec![Planned::Wrong { at, hand: Hand::Right }];
    let slipped = rep(perform(studio.piece.part(), &span.stretch, &studio.manner(planned, 5)).events());
    assert_eq!(said(&slipped), format!("not clean, wrong at {}", studio.asked.1));
}

#[test]
fn in_a_section_and_in_a_join() {
    let studio = Studio::new();
    for span in [studio.drill(), studio.join()] {
        for player in PLAYERS {
            for seed in SEEDS {
                let engine = Engine::try_new(Arc::clone(&studio.piece), vec![span.clone()], PracticeConfig::standard()).unwrap();
                let mut engine = engine.with_reached_today(studio.piece.sections.iter().map(|s| s.name.clone()).collect());
                let mut out = Vec::new();
                play(&mut engine, &studio.play(player, &span, seed), Micros(1_000_000), &mut out);
                check_rep(&studio, &span, player, &reps(&out)[0], seed);
            }
        }
    }
}

/// Says what is to be said of a run-through, given its run and its account.
fn check_run(studio: &Studio, player: Player, rep: &Rep, account: &str, seed: u64) {
    let run = rep.run.as_ref().expect("a run-through has its run");
    let lapses: Vec<(&str, &str, Recovery)> = run.lapses.iter().map(|l| (l.kind, l.place.as_str(), l.recovery)).collect();
    let third = format!("{}.1", studio.whole.bars[2]);
    let landmark = format!("{}.1", studio.landmark().1);
    let context = format!("{player:?}, seed {seed}: {run:#?}\n{account}");
    match player {
        Player::Secure | Player::Lapse | Player::Rush => assert!(lapses.is_empty() && run.is_held, "{context}"),
        Player::Freeze => assert!(run.is_held && lapses == [("hesitation", third.as_str(), Recovery::WentOn)], "{context}"),
        Player::Ahead => {
            assert!(run.is_held && lapses == [("jump", third.as_str(), Recovery::Landmark)], "{context}");
            assert_eq!(run.lapses[0].going_at.as_ref(), Some(&landmark), "{context}");
            assert!(run.n_bars_played < run.n_bars, "{context}");
        }
        Player::WrongTurn => assert!(lapses.len() == 1 && lapses[0].0 == "wrong-turn" && lapses[0].1 == studio.asked.1, "{context}"),
    }
    let wrong: Vec<&str> = rep.happenings.iter().filter(|h| h.kind == "wrong").map(|h| h.place.as_str()).collect();
    assert_eq!(wrong, if player == Player::Lapse { vec![third.as_str()] } else { vec![] }, "{context}");
    let drift = format!("tempo: from bar {} to the end faster", studio.whole.bars[6]);
    assert_eq!(account.contains(&drift), player == Player::Rush, "{drift}: {context}");
    assert!(player == Player::Rush || !account.contains("tempo: from"), "{context}");
}

#[test]
fn in_a_run_through() {
    let studio = Studio::new();
    for player in PLAYERS {
        for seed in SEEDS {
            let mut engine = Engine::try_new(Arc::clone(&studio.piece), vec![studio.whole.clone()], PracticeConfig::standard()).unwrap();
            let mut out = Vec::new();
            let at = play(&mut engine, &studio.play(player, &studio.whole, seed), Micros(1_000_000), &mut out);
            let account = account(&mut engine, at, &mut out);
            assert!(!out.iter().any(|o| matches!(o, Output::Prompted { .. })));
            check_run(&studio, player, &reps(&out)[0], &account, seed);
        }
    }
}

#[test]
fn in_a_reading() {
    let studio = Studio::new();
    let span = Span::whole(&studio.piece, Mode::Reading).unwrap();
    for player in PLAYERS {
        for seed in SEEDS {
            let mut engine = Engine::try_new(Arc::clone(&studio.piece), vec![span.clone()], PracticeConfig::standard()).unwrap();
            let mut out = Vec::new();
            let at = play(&mut engine, &studio.play(player, &span, seed), Micros(1_000_000), &mut out);
            let account = account(&mut engine, at, &mut out);
            let context = format!("{player:?}, seed {seed}:\n{account}");
            let has_stop = |bar: &str| account.contains(" bars before bar ") && account.contains(&format!("before bar {bar}"));
            match player {
                Player::Secure | Player::Lapse | Player::Rush => assert!(account.contains("ready to learn from memory"), "{context}"),
                Player::Freeze => assert!(account.contains("not ready yet: 3 of 4 sections") && has_stop(&span.bars[2]), "{context}"),
                Player::Ahead => {
                    let skipped = &studio.piece.sections[2].name;
                    assert!(account.contains(&format!("{skipped}: not read yet")), "{context}");
                }
                Player::WrongTurn => {
                    assert!(account.contains("bars 5-8: not read yet"), "{context}");
                }
            }
            assert!(!out.iter().any(|o| matches!(o, Output::Prompted { .. })));
        }
    }
}

#[test]
fn in_a_session_of_some_minutes() {
    let studio = Studio::new();
    for player in PLAYERS {
        let seed = 29;
        let times = Times::of(Micros(20 * 60_000_000), &studio.whole, Micros::ZERO);
        let engine = |span: Span| Engine::try_new(Arc::clone(&studio.piece), vec![span], PracticeConfig::standard()).unwrap();
        let parts = vec![Part::work(engine(studio.drill()), times.work), Part::whole(engine(studio.whole.clone()))];
        let mut sitting = Sitting::try_new(parts, Rests::standard()).unwrap();
        let mut out = Vec::new();
        let mut at = play(&mut sitting, &studio.play(player, &studio.drill(), seed), Micros(1_000_000), &mut out);
        check_rep(&studio, &studio.drill(), player, &reps(&out)[0], seed);
        at += Micros(5_000_000);
        sitting.handle(Stamped { at, what: Input::Deadline }, &mut out);
        if sitting.view().mode == Mode::Drill {
            sitting.handle(Stamped { at, what: Input::Command(Command::Skip) }, &mut out);
        }
        let n_before = reps(&out).len();
        let mut after = Vec::new();
        at = play(&mut sitting, &studio.play(player, &studio.whole, seed), at + Micros(3_000_000), &mut after);
        let account = account(&mut sitting, at, &mut after);
        let run = reps(&after)[0].clone();
        assert_eq!(run.number.0 as usize, n_before, "numbered through all parts");
        check_run(&studio, player, &run, &account, seed);
    }
}

/// Says an answer in a few words: `held`, `failed, wrong at 15.1`.
fn answered(answer: &Answer) -> String {
    let outcome = match answer.outcome {
        Outcome::Held => "held",
        Outcome::Failed => "failed",
        Outcome::OutOfTime => "out of time",
    };
    let what = answer.happenings.last().map(|h| format!(", {} at {}", h.kind, h.place)).unwrap_or_default();
    format!("{outcome}{what}")
}

#[test]
fn in_a_quiz() {
    for player in PLAYERS {
        let kind = match player {
            Player::WrongTurn => QuestionKind::Switch,
            Player::Ahead => QuestionKind::Jump,
            _ => QuestionKind::ColdStart,
        };
        let kinds: &[QuestionKind] = if kind == QuestionKind::Jump { &[QuestionKind::Jump, QuestionKind::ColdStart] } else { &[kind] };
        let mut quiz = Questions::with("ferry", kinds, QuizConfig::standard(8, 6));
        let mut seen = 0;
        while quiz.next_question() {
            let question = quiz.quiz.standing().unwrap().0.clone();
            let n_before = quiz.answers().len();
            let passage = quiz.quiz.passage().unwrap().clone();
            let first = passage.span.line.onset(passage.begin).at;
            let second_bar = passage.span.stretch.bars.get(1).map(|b| b.start).filter(|at| *at > first);
            let named = |at: ScoreTime| passage.span.line.onsets.iter().find(|o| o.at >= at).map(|o| o.place.text(&quiz.piece.score));
            let (take, planned, expected): (Passage, Vec<Planned>, String) = match (player, second_bar) {
                (Player::Secure | Player::Ahead, _) => (passage.clone(), vec![], "held".to_owned()),
                (Player::Lapse, _) => {
                    let planned = vec![Planned::Wrong { at: first, hand: Hand::Left }];
                    (passage.clone(), planned, format!("failed, wrong at {}", question.text))
                }
                (Player::Freeze, Some(at)) => {
                    let expected = format!("out of time, hesitation at {}", named(at).unwrap());
                    (passage.clone(), vec![Planned::Pause { at, length: FREEZE }], expected)
                }
                (Player::Rush, Some(at)) => (passage.clone(), vec![Planned::Tempo { at, share: 1.5 }], "held".to_owned()),
                (Player::Freeze | Player::Rush, None) => {
                    quiz.command(Command::Skip);
                    continue;
                }
                (Player::WrongTurn, _) => {
                    let Wanted::Exit { others, .. } = &question.wanted else { panic!("a switch has exits") };
                    (others[0].passage.clone(), vec![], format!("failed, wrong-turn at {}", question.text))
                }
            };
            if player == Player::Ahead {
                quiz.answer_well(Micros(900_000));
            } else {
                quiz.play(&take, planned, Micros(900_000));
            }
            if quiz.answers().len() == n_before {
                break;
            }
            let answer = quiz.last();
            // Before a chord that is held for long, four seconds are a halt and not yet a stop.
            let is_it = |said: &str| said == expected || (player == Player::Freeze && said == expected.replace("out of time", "held"));
            assert!(is_it(&answered(&answer)), "{player:?}: {} {}: {} for {expected}", question.large, question.text, answered(&answer));
            if answer.kind == QuestionKind::Jump {
                assert_eq!(answer.n_notes_between, Some(0));
            }
            seen += usize::from(answer.kind == kind);
        }
        assert!(seen >= 5, "{player:?}: {seen}");
    }
}
