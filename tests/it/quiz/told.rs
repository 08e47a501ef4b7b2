//! Without an instrument: the player answers unheard and says how it went, in the quiz and in the drill.

use std::sync::Arc;

use catchword::journal::entry::{Entry, Mode, Outcome, QuestionKind, Rep, Verdict, Witness};
use catchword::piece_folder::open_piece;
use catchword::practice::by_word::ByWord;
use catchword::practice::quiz::QuizConfig;
use catchword::practice::view::{self, Stage};
use catchword::practice::{Command, Input, Machine, Output, PracticeConfig, Span};
use catchword::time::{Micros, Stamped};

use super::{Sitting, secs};

fn told(minutes: u32, seed: u64) -> QuizConfig {
    QuizConfig { is_told: true, ..QuizConfig::standard(minutes, seed) }
}

#[test]
fn a_quiz_by_keys_times_the_answer_and_takes_the_players_word() {
    let mut sitting = Sitting::with("ferry", &[], told(15, 7));
    let mut n = 0;
    while sitting.next_question() {
        n += 1;
        let is_jump = matches!(sitting.quiz.view().stage, Stage::Quiz(view::Quiz::Asked { kind: QuestionKind::Jump, .. }));
        if is_jump {
            sitting.command(Command::Pause);
            assert!(matches!(sitting.quiz.view().stage, Stage::Quiz(view::Quiz::Asked { .. })), "there is nothing to have before the call");
            sitting.meet_deadline();
            assert!(sitting.is_called());
        }
        let (question, asked) = sitting.quiz.standing().map(|(q, at)| (q.clone(), at)).unwrap();
        let had = asked + Micros(1_234_567 + i64::from(n));
        sitting.input(had, Input::Command(Command::Pause));
        assert!(matches!(sitting.quiz.view().stage, Stage::Quiz(view::Quiz::Mark { .. })));
        let (verdict, outcome) = if n % 4 == 0 { (Verdict::Broken, Outcome::Failed) } else { (Verdict::Clean, Outcome::Held) };
        sitting.input(had + secs(3.0), Input::Command(Command::Overrule(verdict)));
        let answer = sitting.last();
        assert_eq!((answer.kind, &answer.place, answer.outcome, answer.witness), (question.kind, &question.text, outcome, Witness::Told));
        assert_eq!(answer.first_right, Some(had), "what is timed is until it was had, not until it was marked");
        assert!(answer.take.is_empty());
    }
    assert!(n > 40, "{n}");
}

#[test]
fn what_is_not_had_in_time_and_what_is_never_marked() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::ColdStart], told(5, 7));
    sitting.next_question();
    sitting.meet_deadline();
    let answer = sitting.last();
    assert_eq!((answer.outcome, answer.first_right, answer.ended - answer.asked), (Outcome::OutOfTime, None, secs(10.0)));
    sitting.next_question();
    sitting.command(Command::Pause);
    sitting.meet_deadline();
    assert_eq!(sitting.answers().len(), 1, "nobody knows how it went");
    assert!(matches!(sitting.quiz.view().stage, Stage::Quiz(view::Quiz::Asked { .. })));
}

struct Drilled {
    drill: ByWord,
    outputs: Vec<Output>,
    now: Micros,
}

impl Drilled {
    fn new() -> Self {
        let piece = open_piece("ferry", None, &[]).unwrap().piece;
        let spans = Span::of_piece(&piece);
        let drill = ByWord::try_new(Arc::new(piece), spans, PracticeConfig::standard()).unwrap();
        Drilled { drill, outputs: Vec::new(), now: Micros::ZERO }
    }

    fn after(&mut self, seconds: f64, command: Command) {
        self.now += secs(seconds);
        self.drill.handle(Stamped { at: self.now, what: Input::Command(command) }, &mut self.outputs);
    }

    fn reps(&self) -> Vec<&Rep> {
        self.outputs.iter().filter_map(|o| if let Output::Record(Entry::Rep(rep)) = o { Some(rep) } else { None }).collect()
    }
}

const CLEAN: Command = Command::Overrule(Verdict::Clean);
const NOT: Command = Command::Overrule(Verdict::Broken);

#[test]
fn reps_are_counted_by_the_players_word() {
    let mut drilled = Drilled::new();
    assert_eq!(drilled.drill.view().stage, Stage::Unheard);
    for (mark, n_clean) in [(CLEAN, 1), (NOT, 1), (CLEAN, 2)] {
        drilled.after(9.0, Command::Pause);
        assert!(matches!(drilled.drill.view().stage, Stage::Mark { .. }));
        drilled.after(1.0, mark);
        assert_eq!(drilled.drill.view().n_clean, n_clean);
    }
    drilled.after(9.0, Command::Pause);
    drilled.after(1.0, CLEAN);
    assert_eq!(drilled.drill.view().stage, Stage::SpanDone);
    drilled.after(3.0, Command::Cue);
    assert_eq!(drilled.drill.view().span_idx, 1);
    let verdicts: Vec<Verdict> = drilled.reps().iter().map(|r| r.verdict).collect();
    assert_eq!(verdicts, [Verdict::Clean, Verdict::Broken, Verdict::Clean, Verdict::Clean]);
    assert!(drilled.reps().iter().all(|r| r.witness == Witness::Told && r.take.is_empty() && r.ended - r.started >= secs(9.0)));
}

#[test]
fn a_cue_that_was_asked_for_makes_the_rep_one_with_a_cue() {
    let mut drilled = Drilled::new();
    drilled.after(3.0, Command::Cue);
    assert_eq!(drilled.drill.view().stage, Stage::Prompted { rung: 1, text: "rock on home: root B" });
    drilled.after(3.0, Command::Cue);
    assert_eq!(drilled.drill.view().stage, Stage::Prompted { rung: 1, text: "a third down: root G" });
    assert_eq!(drilled.drill.view().bar, Some(1));
    drilled.after(3.0, Command::Pause);
    drilled.after(1.0, CLEAN);
    let rep = drilled.reps()[0].clone();
    assert_eq!(rep.verdict, Verdict::Prompted);
    let shown: Vec<_> = rep.happenings.iter().map(|h| (h.at, h.kind, h.place.as_str())).collect();
    assert_eq!(shown, [(secs(3.0), "prompt-1", "1.1"), (secs(6.0), "prompt-1", "2.1")]);
    assert_eq!(drilled.drill.view().n_clean, 0);
    // Said to have needed a cue, though none was asked for here.
    drilled.after(9.0, Command::Pause);
    drilled.after(1.0, Command::Cue);
    assert_eq!(drilled.reps()[1].verdict, Verdict::Prompted);
    // Changed while it stands.
    drilled.after(1.0, CLEAN);
    assert_eq!(drilled.drill.view().n_clean, 1);
    assert!(matches!(drilled.outputs.last(), Some(Output::Record(Entry::Overruled { verdict: Verdict::Clean, .. }))));
}

#[test]
fn the_session_goes_through_all_sections_and_the_account_says_what_was_said() {
    let mut drilled = Drilled::new();
    while drilled.drill.view().mode == Mode::Drill {
        drilled.after(1.0, Command::Skip);
    }
    drilled.after(60.0, Command::Pause);
    drilled.after(1.0, NOT);
    drilled.after(9.0, Command::Quit);
    let Stage::Finished { account } = drilled.drill.view().stage else { panic!("it is over") };
    assert!(account.contains(&"whole piece: not clean".to_owned()), "{account:?}");
}
