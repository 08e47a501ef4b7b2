//! The player's word on an answer goes before what was heard of it.

use catchword::journal::entry::{Entry, Outcome, QuestionKind, Verdict};
use catchword::practice::quiz::{Deck, Mix, QuizConfig};
use catchword::practice::view::{self, Stage};
use catchword::practice::{Command, Input, Machine, Output};
use catchword::source::player::Planned;
use catchword::theory::Hand;

use super::{Only, Sitting, asked_of, secs};

const HELD: Command = Command::Overrule(Verdict::Clean);
const DID_NOT: Command = Command::Overrule(Verdict::Broken);

fn words(sitting: &Sitting) -> Vec<(u32, Outcome)> {
    let word = |o: &Output| match o {
        Output::Record(Entry::AnswerOverruled { answer, outcome, .. }) => Some((*answer, *outcome)),
        _ => None,
    };
    sitting.outputs.iter().filter_map(word).collect()
}

/// Fails the question that stands in its first bar.
fn fail(sitting: &mut Sitting) {
    let passage = sitting.quiz.passage().unwrap().clone();
    let at = passage.span.line.onset(passage.begin).at;
    sitting.play(&passage, vec![Planned::Wrong { at, hand: Hand::Left }], secs(0.8));
    assert_eq!(sitting.last().outcome, Outcome::Failed);
}

#[test]
fn an_answer_is_overruled_while_it_stands_and_before_the_next_is_begun() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::ColdStart], QuizConfig::standard(10, 4));
    sitting.next_question();
    sitting.command(HELD);
    assert_eq!(words(&sitting), [], "there is no answer yet");
    fail(&mut sitting);
    sitting.command(DID_NOT);
    assert_eq!(words(&sitting), [], "it says so already");
    sitting.command(HELD);
    let Stage::Quiz(view::Quiz::Told { is_held: true, large, small }) = sitting.quiz.view().stage else { panic!("it stands as held") };
    assert!(large == "held" && small.ends_with(", as you say"), "{large}; {small}");
    assert_eq!((sitting.quiz.view().n_clean, sitting.quiz.view().target), (1, 1));
    sitting.next_question();
    sitting.command(DID_NOT);
    assert_eq!(words(&sitting), [(0, Outcome::Held), (0, Outcome::Failed)], "the next stands, and is not begun");
    let passage = sitting.quiz.passage().unwrap().clone();
    let first = sitting.performed(&passage, vec![])[0];
    sitting.input(sitting.now + secs(0.5), Input::Midi(first.what));
    sitting.command(HELD);
    assert_eq!(words(&sitting).len(), 2, "begun: nothing is to be said of the last one any more");
}

#[test]
fn the_account_and_the_doubt_go_by_the_players_word() {
    let mut sitting = Sitting::with("ferry", &[QuestionKind::ColdStart], QuizConfig::standard(10, 4));
    sitting.next_question();
    fail(&mut sitting);
    sitting.command(HELD);
    sitting.command(Command::Quit);
    let Stage::Finished { account } = sitting.quiz.view().stage else { panic!("it is over") };
    assert_eq!(account, ["1 of 1 answer held", "cold start: 1 of 1"]);

    // Of two decks that draw alike the one that was told an answer held goes on as if it had.
    let (_, asked) = asked_of("ferry");
    let drawn = |outcome: Outcome, word: Option<Outcome>| {
        let mut deck = Deck::new(&asked, &Only(None), Mix::standard(), 9);
        let mut all = Vec::new();
        for _ in 0..200 {
            let question = deck.draw(&asked).unwrap();
            deck.answered(question, outcome, Some(secs(1.0)));
            word.into_iter().for_each(|word| deck.overruled(word, Some(secs(1.0))));
            all.push(question);
        }
        all
    };
    assert_eq!(drawn(Outcome::Failed, Some(Outcome::Held)), drawn(Outcome::Held, None));
    assert_ne!(drawn(Outcome::Failed, Some(Outcome::Held)), drawn(Outcome::Failed, None));
}
