//! The order of questions: reproducible, interleaved, never the same place twice running, weighted by doubt.

use std::collections::HashMap;

use catchword::journal::entry::{Outcome, QuestionKind};
use catchword::practice::quiz::{Deck, Doubt, Mix, Question, QuizConfig, Source, Wanted, keep_switches, questions};
use catchword::practice::{Command, Input, Machine};
use catchword::time::Micros;
use proptest::prelude::*;

use super::{Only, Sitting, asked_of};

fn drawn(questions: &[Question], doubt: &dyn Doubt, seed: u64, n: usize) -> Vec<usize> {
    let mut deck = Deck::new(questions, doubt, Mix::standard(), seed);
    (0..n).map(|_| deck.draw(questions).expect("there is something to ask")).collect()
}

#[test]
fn questions_come_in_the_mix_that_was_meant() {
    const N: usize = 4_000;
    for name in ["ferry", "all-through-the-night"] {
        let (_, questions) = asked_of(name);
        let order = drawn(&questions, &Only(None), 11, N);
        let share = |source| order.iter().filter(|i| questions[**i].source == source).count() as f64 / N as f64;
        let shares = [Source::Start, Source::Switch, Source::Spot, Source::Bar].map(share);
        println!("{name}: {} questions, shares {shares:?}", questions.len());
        // Five standard deviations of a share of a half are .04; where the place or the direction rules something out, others come in.
        for (share, meant) in shares.iter().zip([0.5, 0.25, 0.15, 0.1]) {
            assert!((share - meant).abs() < 0.06, "{name}: {shares:?}");
        }
    }
}

#[test]
fn what_is_doubtful_is_asked_more_than_what_holds() {
    struct Weak;
    impl Doubt for Weak {
        fn doubt(&self, kind: QuestionKind, place: &str) -> f64 {
            if kind == QuestionKind::ColdStart && place == "14.1" { 1.0 } else { 0.2 }
        }
    }
    let (_, questions) = asked_of("ferry");
    let order = drawn(&questions, &Weak, 4, 3_000);
    let mut n_of: HashMap<&str, usize> = HashMap::new();
    for question in order.iter().map(|i| &questions[*i]).filter(|q| q.kind == QuestionKind::ColdStart && q.source == Source::Start) {
        *n_of.entry(&question.text).or_default() += 1;
    }
    let weak = n_of["14.1"];
    assert!(n_of.iter().all(|(place, n)| *place == "14.1" || weak > 3 * n), "{n_of:?}");
    assert!(n_of.len() == 7, "what holds is asked as well: {n_of:?}");
}

#[test]
fn a_failed_answer_comes_back_sooner_than_a_held_one() {
    let (_, questions) = asked_of("ferry");
    let n_again = |outcome| {
        let mut deck = Deck::new(&questions, &Only(None), Mix::standard(), 3);
        let weak = questions.iter().position(|q| q.kind == QuestionKind::ColdStart && q.text == "10.1").unwrap();
        for i in 0..questions.len() {
            deck.answered(i, if i == weak { outcome } else { Outcome::Held }, Some(Micros(900_000)));
        }
        (0..1_000).filter(|_| deck.draw(&questions) == Some(weak)).count()
    };
    let (failed, held) = (n_again(Outcome::Failed), n_again(Outcome::Held));
    assert!(failed > held * 3 / 2, "{failed} after failing, {held} after holding");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..Default::default() })]

    #[test]
    fn the_order_is_reproducible_and_never_the_same_place_twice_nor_up_the_page(seed in any::<u64>(), name in 0usize..2) {
        let (_, questions) = asked_of(["ferry", "all-through-the-night"][name]);
        let order = drawn(&questions, &Only(None), seed, 120);
        prop_assert_eq!(&order, &drawn(&questions, &Only(None), seed, 120));
        prop_assert_ne!(&order, &drawn(&questions, &Only(None), seed.wrapping_add(1), 120));
        for pair in order.windows(2) {
            prop_assert_ne!(questions[pair[0]].place, questions[pair[1]].place);
        }
        for three in order.windows(3) {
            let [a, b, c] = [three[0], three[1], three[2]].map(|i| questions[i].order());
            prop_assert!(!(a < b && b < c), "up the page three times running");
        }
    }

    #[test]
    fn few_places_are_still_asked_about_in_turn(seed in any::<u64>(), n in 1usize..6) {
        let (_, mut questions) = asked_of("ferry");
        questions.truncate(n);
        let places: std::collections::HashSet<_> = questions.iter().map(|q| q.place).collect();
        let order = drawn(&questions, &Only(None), seed, 50);
        if places.len() > 1 {
            prop_assert!(order.windows(2).all(|p| questions[p[0]].place != questions[p[1]].place));
        }
    }

}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, failure_persistence: None, ..Default::default() })]

    #[test]
    fn a_whole_quiz_is_reproducible_asks_no_place_twice_running_and_ends_on_time(seed in 0u64..1_000_000, after_ms in 300i64..6_000) {
        let sit = || {
            let mut sitting = Sitting::with("ferry", &[], QuizConfig::standard(2, seed));
            let mut places = Vec::new();
            while sitting.next_question() {
                places.push(sitting.quiz.standing().unwrap().0.place);
                // In turn nothing, what is asked for, and one note of nowhere.
                match places.len() % 3 {
                    0 => sitting.meet_deadline(),
                    1 if sitting.quiz.passage().is_some() => {
                        sitting.answer_well(Micros::from_millis(after_ms.min(4_900)));
                    }
                    _ => sitting.strike(&[catchword::midi::MidiKey::try_new(24).unwrap()], Micros::from_millis(after_ms)),
                }
            }
            let ends = sitting.quiz.ends().unwrap();
            (places, sitting.outputs, sitting.now - ends)
        };
        let (places, outputs, over) = sit();
        prop_assert!(places.len() > 4);
        prop_assert!(places.windows(2).all(|p| p[0] != p[1]), "{:?}", places);
        prop_assert!(over < Micros(30_000_000) && over >= Micros::ZERO, "over by {:?}", over);
        let again = sit();
        prop_assert_eq!((places, outputs), (again.0, again.1));
    }
}

/// What may happen at an instrument and a keyboard, wise or not.
fn doing() -> impl Strategy<Value = Doing> {
    prop_oneof![
        (20u8..110, 0i64..1_500).prop_map(|(key, wait_ms)| Doing::Note { key, wait_ms }),
        (300i64..4_900).prop_map(Doing::Well),
        (0i64..30_000).prop_map(Doing::Wait),
        (0usize..Command::ALL.len() - 1).prop_map(Doing::Ask),
    ]
}

#[derive(Clone, Debug)]
enum Doing {
    Note { key: u8, wait_ms: i64 },
    Well(i64),
    Wait(i64),
    Ask(usize),
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..Default::default() })]

    #[test]
    fn whatever_is_played_and_asked_the_quiz_stays_whole(seed in 0u64..1_000, is_told in any::<bool>(), doings in prop::collection::vec(doing(), 1..40)) {
        let mut sitting = Sitting::with("ferry", &[], QuizConfig { is_told, ..QuizConfig::standard(3, seed) });
        for doing in doings {
            match doing {
                Doing::Note { key, wait_ms } => sitting.strike(&[catchword::midi::MidiKey::try_new(key.into()).unwrap()], Micros::from_millis(wait_ms)),
                Doing::Well(after_ms) if !is_told && matches!(sitting.quiz.view().stage, catchword::practice::Stage::Quiz(catchword::practice::view::Quiz::Asked { .. })) => {
                    let now = sitting.now;
                    if sitting.quiz.standing().is_some_and(|(_, asked)| asked == now) {
                        sitting.answer_well(Micros::from_millis(after_ms));
                    }
                }
                Doing::Well(_) => {}
                Doing::Wait(ms) => sitting.input(sitting.now + Micros::from_millis(ms), Input::Deadline),
                Doing::Ask(n) => sitting.command(Command::ALL[n]),
            }
            prop_assert!(sitting.quiz.next_deadline().is_none_or(|due| due >= sitting.now), "no deadline lies behind");
        }
        sitting.command(Command::Quit);
        let answers = sitting.answers();
        prop_assert!(answers.iter().enumerate().all(|(i, a)| a.number == i as u32), "numbered without gaps");
        for a in answers {
            prop_assert!(a.asked <= a.ended && a.first_right.is_none_or(|f| a.asked <= f && f <= a.ended), "{:?}", a);
            prop_assert!(a.outcome != Outcome::Held || a.first_right.is_some(), "what held came at some time: {:?}", a);
        }
    }
}

#[test]
fn a_switch_is_asked_once_both_its_sides_are_known() {
    let piece = catchword::piece_folder::open_piece("ferry", None, &[]).unwrap().piece;
    let analysis = catchword::analysis::analyse(&piece.score, piece.part).unwrap();
    let asked = questions(&piece, &analysis, &[]);
    let n_switches = |known: &dyn Fn(usize) -> bool| {
        let mut left = asked.clone();
        let nth = |section: &catchword::piece::Section| piece.sections.iter().position(|s| s == section).unwrap();
        keep_switches(&mut left, &piece, |section| known(nth(section)));
        let is_switch = |q: &&Question| matches!(q.wanted, Wanted::Exit { .. });
        assert_eq!(
            left.len() - left.iter().filter(is_switch).count(),
            asked.len() - asked.iter().filter(is_switch).count(),
            "all else stays"
        );
        left.iter().filter(is_switch).count()
    };
    let all = n_switches(&|_| true);
    assert!(all > 0);
    assert_eq!(n_switches(&|_| false), 0);
    assert!(n_switches(&|nth| nth < 2) < all);
}
