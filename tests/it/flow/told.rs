//! A session of some minutes without an instrument: sections, joins, quiz and run-through by the player's word.

use std::sync::Arc;

use catchword::analysis::analyse;
use catchword::journal::entry::{Answer, Entry, Mode, Rep, Verdict, Witness};
use catchword::piece_folder::open_piece;
use catchword::practice::by_word::ByWord;
use catchword::practice::joins::{Chaining, spans};
use catchword::practice::quiz::{JournalDoubt, Quiz, QuizConfig, questions};
use catchword::practice::sitting::{Part, Sitting, Times};
use catchword::practice::view;
use catchword::practice::{Command, Input, Machine, Output, PracticeConfig, Rests, Span, Stage};
use catchword::time::{Micros, Stamped};

const HELD: Command = Command::Overrule(Verdict::Clean);

fn minutes(n: f64) -> Micros {
    Micros::from_secs_f64(n * 60.0)
}

struct Desk {
    sitting: Sitting,
    now: Micros,
    outputs: Vec<Output>,
    n_rests: usize,
}

impl Desk {
    fn new(n_minutes: f64, quiz_minutes: u32) -> Desk {
        let piece = Arc::new(open_piece("ferry", None, &[]).unwrap().piece);
        let whole = Span::whole(&piece, Mode::RunThrough).unwrap();
        let times = Times::of(minutes(n_minutes), &whole, minutes(quiz_minutes.into()));
        let told = |spans| ByWord::try_new(Arc::clone(&piece), spans, PracticeConfig::standard()).unwrap();
        let asked = questions(&piece, &analyse(&piece.score, piece.part).unwrap(), &[]);
        let config = QuizConfig { is_told: true, ..QuizConfig::standard(quiz_minutes, 3) };
        let quiz = Quiz::try_new(Arc::clone(&piece), asked, &JournalDoubt::new(&[], &[]), PracticeConfig::standard(), config);
        let parts = vec![
            Part::work(told(spans(&piece, Chaining::FromTheTop)), times.work),
            Part::until(quiz.unwrap(), times.other),
            Part::whole(told(vec![whole])),
        ];
        Desk { sitting: Sitting::try_new(parts, Rests::standard()).unwrap(), now: Micros::ZERO, outputs: Vec::new(), n_rests: 0 }
    }

    fn after(&mut self, seconds: f64, what: Input) {
        self.now += Micros::from_secs_f64(seconds);
        self.sitting.handle(Stamped { at: self.now, what }, &mut self.outputs);
    }

    fn say(&mut self, seconds: f64, command: Command) {
        self.after(seconds, Input::Command(command));
    }

    fn reps(&self) -> Vec<&Rep> {
        self.outputs.iter().filter_map(|o| if let Output::Record(Entry::Rep(rep)) = o { Some(rep) } else { None }).collect()
    }

    fn answers(&self) -> Vec<&Answer> {
        self.outputs.iter().filter_map(|o| if let Output::Record(Entry::Answer(answer)) = o { Some(answer) } else { None }).collect()
    }

    /// Practises to the end; a rep takes so many seconds.
    fn practise(&mut self, seconds: f64) -> Vec<String> {
        for _ in 0..2_000 {
            match self.sitting.view().stage {
                Stage::Finished { account } => return account.to_vec(),
                Stage::Rest { .. } => {
                    self.n_rests += 1;
                    while matches!(self.sitting.view().stage, Stage::Rest { .. }) {
                        self.after(10.0, Input::Deadline);
                    }
                }
                Stage::Unheard | Stage::RepDone { .. } | Stage::Quiz(view::Quiz::Ready { .. }) => self.say(seconds, Command::Pause),
                Stage::Quiz(view::Quiz::Asked { .. } | view::Quiz::Called { .. }) => self.say(2.0, Command::Pause),
                Stage::Mark { .. } | Stage::Quiz(view::Quiz::Mark { .. }) => self.say(1.5, HELD),
                _ => self.after(1.0, Input::Deadline),
            }
        }
        panic!("the session does not end: {:?}", self.sitting.view().stage);
    }
}

#[test]
fn a_whole_session_goes_by_the_players_word() {
    let mut desk = Desk::new(30.0, 3);
    let account = desk.practise(9.0);
    let (reps, answers) = (desk.reps(), desk.answers());
    assert!(reps.iter().all(|r| r.witness == Witness::Told) && answers.iter().all(|a| a.witness == Witness::Told));
    assert!(reps.iter().enumerate().all(|(n, rep)| rep.number.0 as usize == n) && answers.len() > 10, "{}", answers.len());
    let of = |name: &str| reps.iter().filter(|r| r.span == name).count();
    assert_eq!([of("casting off"), of("casting off + to the far bank"), of("whole piece")], [3, 1, 1], "{account:?}");
    let last = reps.last().unwrap();
    assert_eq!((last.mode, last.verdict), (Mode::RunThrough, Verdict::Clean));
    // Sections, joins and run-through in one account, the quiz after it; minutes said once.
    for line in ["casting off: 3 of 3 reps clean", "from casting off into to the far bank: held 2 of 2", "whole piece: clean"] {
        assert!(account.iter().any(|l| l.starts_with(line)), "{line}: {account:?}");
    }
    assert_eq!(account.iter().filter(|l| l.ends_with("of playing")).count(), 1, "{account:?}");
    assert!(account.iter().any(|l| l.ends_with("answers held")), "{account:?}");
}

#[test]
fn a_rest_is_no_part_of_the_rep_after_it() {
    let mut desk = Desk::new(40.0, 0);
    desk.practise(20.0);
    assert_eq!(desk.n_rests, 1);
    let longest = desk.reps().iter().map(|r| r.ended - r.started).max().unwrap();
    assert!(longest < minutes(1.0), "{longest:?}");
}

#[test]
fn the_rep_that_may_be_on_is_not_cut_short_when_its_time_is_over() {
    let mut desk = Desk::new(10.0, 0);
    let whole = Span::whole(&open_piece("ferry", None, &[]).unwrap().piece, Mode::RunThrough).unwrap();
    let ends = Times::of(minutes(10.0), &whole, Micros::ZERO).work.ends;
    desk.say(ends.secs_f64() - 5.0, Command::Pause);
    desk.say(2.0, HELD);
    desk.after(6.0, Input::Deadline);
    assert_eq!(desk.sitting.view().mode, Mode::Drill, "another may be on since");
    desk.say(2.0, Command::Pause);
    assert_eq!(desk.sitting.view().mode, Mode::Drill, "it waits for its mark");
    desk.say(1.0, HELD);
    assert_eq!(desk.reps().len(), 2);
    assert!(!matches!(desk.sitting.view().stage, Stage::RepDone { .. }), "then the next part comes: {:?}", desk.sitting.view().stage);
}

#[test]
fn a_join_waits_until_its_sections_have_held_today() {
    let piece = Arc::new(open_piece("ferry", None, &[]).unwrap().piece);
    let order = |reached: &[&str]| {
        let told = ByWord::try_new(Arc::clone(&piece), spans(&piece, Chaining::FromTheTop), PracticeConfig::standard()).unwrap();
        let mut told = told.with_reached_today(reached.iter().map(|s| (*s).to_owned()).collect());
        let mut names = Vec::new();
        loop {
            let view = told.view();
            if matches!(view.stage, Stage::Finished { .. }) {
                return names;
            }
            names.push(view.span.to_owned());
            told.handle(Stamped { at: Micros(1), what: Input::Command(Command::Skip) }, &mut Vec::new());
        }
    };
    assert!(!order(&[]).iter().any(|name| name.contains(" + ")), "{:?}", order(&[]));
    let reached = order(&["casting off", "to the far bank"]);
    let joins: Vec<_> = reached.iter().filter(|name| name.contains(" + ")).collect();
    assert_eq!(joins, ["casting off + to the far bank"]);
}
