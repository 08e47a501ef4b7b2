//! Run-throughs by players who are known: what is reported is what they did, and nothing else.

pub mod stress;

use std::sync::Arc;

use catchword::follower::OnsetIdx;
use catchword::journal::entry::{Entry, Lapse, Mode, Recovery, Rep, Run};
use catchword::midi::{Channel, MidiEvent, MidiKey, Take, Velocity};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::{Command, Engine, Input, Machine, Output, PassMark, PracticeConfig, Span, Stage, Timed, listen};
use catchword::source::player::{Manner, Planned, perform};
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime, Stamped, Tempo};

const PIECES: [&str; 2] = ["ferry", "all-through-the-night"];
const SEEDS: [u64; 5] = [3, 41, 592, 6_535, 89_793];

/// A piece laid out as a whole, and what is played of it.
struct Hall {
    piece: Arc<Piece>,
    span: Span,
}

/// What came of one playing.
struct Told {
    rep: Rep,
    outputs: Vec<Output>,
    account: Vec<String>,
}

impl Hall {
    fn with(name: &str, mode: Mode) -> Self {
        let piece = open_piece(name, None, &[]).expect("the demo pieces open").piece;
        let span = Span::whole(&piece, mode).expect("it has notes");
        Hall { piece: Arc::new(piece), span }
    }

    fn tempo(&self) -> Tempo {
        self.span.line.tempo.or(Tempo::try_new(72.0)).unwrap()
    }

    fn perform(&self, seed: u64, planned: Vec<Planned>) -> Take {
        perform(self.piece.part(), &self.span.stretch, &Manner { planned, ..Manner::fluent(self.tempo(), seed) })
    }

    /// Start of a bar in playing order, from 1.
    fn bar(&self, nth: usize) -> ScoreTime {
        self.span.stretch.bars[nth - 1].start
    }

    /// The printed label of a bar in playing order, from 1.
    fn label(&self, nth: usize) -> &str {
        &self.span.bars[nth - 1]
    }

    fn n_bars(&self) -> usize {
        self.span.bars.len()
    }

    fn hear(&self, take: &Take) -> Told {
        self.hear_and(take, |_, _, _| ())
    }

    /// Lets the engine hear a take, then does something more, then waits until it is over.
    fn hear_and(&self, take: &Take, more: impl FnOnce(&mut Engine, Micros, &mut Vec<Output>)) -> Told {
        let mut engine = Engine::try_new(self.piece.clone(), vec![self.span.clone()], PracticeConfig::standard()).unwrap();
        let mut outputs = Vec::new();
        let start = Micros(2_000_000);
        for event in take.events() {
            engine.handle(Stamped { at: start + event.at, what: Input::Midi(event.what) }, &mut outputs);
        }
        let end = start + take.length();
        more(&mut engine, end, &mut outputs);
        engine.handle(Stamped { at: end + Micros(40_000_000), what: Input::Deadline }, &mut outputs);
        engine.handle(Stamped { at: end + Micros(41_000_000), what: Input::Command(Command::Quit) }, &mut outputs);
        let rep = |o: &Output| if let Output::Record(Entry::Rep(rep)) = o { Some(rep.clone()) } else { None };
        let reps: Vec<Rep> = outputs.iter().filter_map(rep).collect();
        assert_eq!(reps.len(), 1, "one playing is one rep");
        let Stage::Finished { account } = engine.view().stage else { panic!("{:?}", engine.view().stage) };
        Told { rep: reps[0].clone(), account: account.to_vec(), outputs }
    }

    fn play(&self, seed: u64, planned: Vec<Planned>) -> Told {
        self.hear(&self.perform(seed, planned))
    }
}

impl Told {
    fn run(&self) -> &Run {
        self.rep.run.as_ref().expect("a run-through has its run")
    }

    fn account(&self) -> String {
        self.account.join("\n")
    }

    /// The one lapse.
    fn lapse(&self) -> &Lapse {
        let lapses = &self.run().lapses;
        assert_eq!(lapses.len(), 1, "{lapses:#?}\n{}", self.account());
        &lapses[0]
    }
}

fn bar_of(place: &str) -> &str {
    place.rsplit_once('.').expect("bar.beat").0
}

fn ms(ms: i64) -> Micros {
    Micros::from_millis(ms)
}

fn near(lost: Micros, expected_s: f64, within_s: f64) -> bool {
    (lost.secs_f64() - expected_s).abs() <= within_s
}

#[test]
fn a_secure_player_holds_the_piece_without_a_lapse() {
    let mut n_drifts = 0;
    for name in PIECES {
        let stage = Hall::with(name, Mode::RunThrough);
        for seed in 0..20 {
            let told = stage.play(seed, vec![]);
            let run = told.run();
            assert!(run.is_held && run.lapses.is_empty(), "{name}, seed {seed}: {run:#?}");
            assert_eq!(run.n_bars as usize, stage.n_bars());
            assert_eq!(run.n_bars_played, run.n_bars, "{name}, seed {seed}");
            assert!(told.account[0].starts_with("whole piece: held, from the first bar to the last without a lapse"), "{}", told.account());
            n_drifts += usize::from(told.account().contains("tempo:"));
        }
    }
    // A person's tempo does drift: now and then it is worth a word.
    assert!(n_drifts <= 3, "{n_drifts} of 40");
}

#[test]
fn nothing_is_prompted_and_nothing_is_stopped() {
    let stage = Hall::with("ferry", Mode::RunThrough);
    let planned = vec![
        Planned::Wrong { at: stage.bar(4), hand: Hand::Left },
        Planned::Pause { at: stage.bar(9), length: ms(9_000) },
        Planned::Restart { at: stage.bar(14), to: stage.bar(13), pause: ms(900) },
    ];
    let told = stage.play(5, planned);
    assert!(!told.outputs.iter().any(|o| matches!(o, Output::Prompted { .. })));
    assert!(told.run().is_held, "{:#?}", told.run());
}

#[test]
fn single_slips_that_halt_nobody_are_no_lapses() {
    for name in PIECES {
        let stage = Hall::with(name, Mode::RunThrough);
        for seed in SEEDS {
            let planned = vec![
                Planned::Wrong { at: stage.bar(3), hand: Hand::Left },
                Planned::Miss { at: stage.bar(6), hand: Hand::Right },
                Planned::Wrong { at: stage.bar(stage.n_bars() - 3), hand: Hand::Right },
            ];
            let told = stage.play(seed, planned);
            assert!(told.run().is_held && told.run().lapses.is_empty(), "{name}, seed {seed}: {:#?}", told.run());
            assert!(told.account[0].contains("3 slips"), "{name}, seed {seed}: {}", told.account());
        }
    }
}

#[test]
fn a_freeze_of_four_seconds_is_one_lapse_that_went_on() {
    for name in PIECES {
        let stage = Hall::with(name, Mode::RunThrough);
        for seed in SEEDS {
            for bar in [3, 7, stage.n_bars() - 2] {
                let told = stage.play(seed, vec![Planned::Pause { at: stage.bar(bar), length: ms(4_000) }]);
                let lapse = told.lapse();
                let said = format!("{name}, seed {seed}, bar {bar}: {lapse:?}\n{}", told.account());
                assert_eq!(
                    (lapse.kind, lapse.recovery, bar_of(&lapse.place)),
                    ("hesitation", Recovery::WentOn, stage.label(bar)),
                    "{said}"
                );
                assert_eq!(lapse.going_at.as_deref(), Some(lapse.place.as_str()), "{said}");
                assert!(near(lapse.lost, 4.0, 0.4), "{said}");
                assert!(told.run().is_held, "{said}");
                assert!(told.account[0].contains("one lapse, and you found the way back"), "{said}");
                assert!(told.account[1].starts_with(&format!("bar {}: a stop; you went on, 4 seconds lost", stage.label(bar))), "{said}");
            }
        }
    }
}

#[test]
fn a_jump_to_a_landmark_is_a_lapse_recovered_there() {
    let stage = Hall::with("ferry", Mode::RunThrough);
    // Bar 12 on the page to bar 18, where a section begins: the 19th bar played to the 25th.
    let (from, to) = (19, 25);
    assert_eq!((stage.label(from), stage.label(to)), ("12", "18"));
    for seed in SEEDS {
        for pause in [0, 1_500, 4_000] {
            let told = stage.play(seed, vec![Planned::Jump { at: stage.bar(from), to: stage.bar(to), pause: ms(pause) }]);
            let lapse = told.lapse();
            let said = format!("seed {seed}, pause {pause}: {lapse:?}\n{}", told.account());
            assert_eq!((lapse.recovery, lapse.going_at.as_deref()), (Recovery::Landmark, Some("18.1")), "{said}");
            assert_eq!(bar_of(&lapse.place), "12", "{said}");
            assert_eq!(lapse.kind, if pause == 0 { "jump" } else { "hesitation" }, "{said}");
            assert!(near(lapse.lost, pause as f64 / 1_000.0, 0.4), "{said}");
            assert!(told.run().is_held, "{said}");
            assert_eq!(told.run().n_bars_played as usize, stage.n_bars() - 6, "{said}");
        }
    }
}

#[test]
fn a_restart_is_a_lapse_with_the_place_gone_back_to() {
    for name in PIECES {
        let stage = Hall::with(name, Mode::RunThrough);
        let bar = stage.n_bars() - 5;
        for seed in SEEDS {
            for (to, pause) in [(bar, 1_200), (bar - 1, 2_500), (bar - 1, 300)] {
                let told = stage.play(seed, vec![Planned::Restart { at: stage.bar(bar), to: stage.bar(to), pause: ms(pause) }]);
                let lapse = told.lapse();
                let said = format!("{name}, seed {seed}, to {to}, pause {pause}: {lapse:?}\n{}", told.account());
                let going = lapse.going_at.as_deref().map(bar_of);
                assert_eq!(
                    (lapse.recovery, going, bar_of(&lapse.place)),
                    (Recovery::Restarted, Some(stage.label(to)), stage.label(bar)),
                    "{said}"
                );
                assert!(near(lapse.lost, pause as f64 / 1_000.0, 0.5), "{said}");
                assert!(told.run().is_held && told.run().n_bars_played == told.run().n_bars, "{said}");
            }
        }
    }
}

#[test]
fn one_who_stops_for_good_is_told_where_it_ended() {
    for name in PIECES {
        let stage = Hall::with(name, Mode::RunThrough);
        let bar = 8;
        for seed in SEEDS {
            let told = stage.play(seed, vec![Planned::Stop { at: stage.bar(bar) }]);
            let (lapse, run) = (told.lapse(), told.run());
            let said = format!("{name}, seed {seed}: {lapse:?}\n{}", told.account());
            assert_eq!((lapse.recovery, lapse.going_at.as_deref(), lapse.lost), (Recovery::NotRecovered, None, Micros::ZERO), "{said}");
            assert!(bar_of(&lapse.place) == stage.label(bar), "{said}");
            assert!(!run.is_held && (bar as u32 - 1..=bar as u32).contains(&run.n_bars_played), "{said}");
            assert!(told.account[0].contains(&format!("{} of {} bars played", run.n_bars_played, stage.n_bars())), "{said}");
            assert!(told.account[1].ends_with("it ended there"), "{said}");
        }
    }
}

#[test]
fn a_run_that_is_closed_while_going_has_no_lapse_and_is_not_held() {
    let stage = Hall::with("ferry", Mode::RunThrough);
    let take = stage.perform(8, vec![]);
    let half: Take = take.events().iter().take(take.events().len() / 2).copied().collect();
    let told = stage.hear_and(&half, |engine, at, out| engine.handle(Stamped { at, what: Input::Command(Command::Quit) }, out));
    assert!(told.run().lapses.is_empty() && !told.run().is_held, "{:#?}", told.run());
    assert!(told.account[0].contains("of 31 bars played"), "{}", told.account());
}

#[test]
fn a_run_may_begin_late() {
    let stage = Hall::with("ferry", Mode::RunThrough);
    for seed in SEEDS {
        let whole = stage.perform(seed, vec![]);
        // From the 17th bar played on, which is bar 10 on the page.
        let from = Micros::from_secs_f64(stage.bar(17).to_f64() * stage.tempo().seconds_per_quarter());
        let late: Take = whole.events().iter().filter(|e| e.at + ms(150) >= from).copied().collect();
        let told = stage.hear(&late);
        let said = format!("seed {seed}: {:#?}\n{}", told.run(), told.account());
        assert!(told.run().lapses.is_empty() && !told.run().is_held, "{said}");
        assert!((14..=16).contains(&told.run().n_bars_played), "{said}");
    }
}

#[test]
fn one_who_rushes_from_a_bar_on_is_told_from_which() {
    for name in PIECES {
        let stage = Hall::with(name, Mode::RunThrough);
        let from = stage.n_bars() / 2;
        for seed in SEEDS {
            for (share, word) in [(1.25, "faster"), (0.78, "slower")] {
                let told = stage.play(seed, vec![Planned::Tempo { at: stage.bar(from), share }]);
                let said = format!("{name}, seed {seed}, {word}, from bar {}:\n{}", stage.label(from), told.account());
                assert!(told.run().is_held && told.run().lapses.is_empty(), "{said}{:#?}", told.run());
                let lines: Vec<&String> = told.account.iter().filter(|l| l.starts_with("tempo:")).collect();
                assert_eq!(lines.len(), 1, "{said}");
                assert!(lines[0].contains(word) && lines[0].contains("to the end"), "{said}");
                let named = lines[0].split("from bar ").nth(1).unwrap().split(' ').next().unwrap();
                assert!((from - 1..=from + 1).any(|bar| stage.label(bar) == named), "{said}");
                let percent: f64 = lines[0].split("about ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
                assert!((percent - (share - 1.0).abs() * 100.0).abs() <= 12.0, "{said}");
            }
        }
    }
}

#[test]
fn steadiness_is_told_against_the_players_own_reading() {
    let mut stage = Hall::with("ferry", Mode::RunThrough);
    // One who reads the last section broadly, and plays it so again: nothing to say.
    let broad = vec![Planned::Tempo { at: stage.bar(25), share: 0.8 }];
    let reading = stage.perform(1, broad.clone());
    let span = Span::whole(&stage.piece, Mode::Reading).unwrap();
    stage.span.pace = Some(Timed::of(&stage.piece, &span, &reading, &PracticeConfig::standard()).pace);
    let told = stage.play(2, broad);
    assert!(!told.account().contains("tempo:"), "{}", told.account());
    // In strict time it is faster than it was read.
    let told = stage.play(3, vec![]);
    assert!(told.account().contains("faster than you read it"), "{}", told.account());
}

/// Two copies of one phrase that part: bars 1 to 3 as bars 9 to 11, then bar 4 against bar 12.
pub fn piece_with_a_switch(dir: &std::path::Path) -> String {
    let tune = [
        [72, 74, 76, 77],
        [79, 77, 76, 74],
        [72, 76, 79, 84],
        [83, 81, 79, 77],
        [76, 79, 77, 74],
        [71, 74, 77, 72],
        [69, 72, 76, 81],
        [79, 76, 74, 71],
        [72, 74, 76, 77],
        [79, 77, 76, 74],
        [72, 76, 79, 84],
        [86, 84, 81, 78],
        [79, 83, 86, 81],
        [78, 74, 69, 66],
        [67, 71, 74, 79],
        [78, 79, 74, 67],
    ];
    let bass = [48, 43, 45, 41, 47, 36, 53, 43, 48, 43, 45, 50, 43, 50, 55, 43];
    let mut notes = "onset_beats,duration_beats,pitch,hand\n".to_owned();
    for (bar, keys) in tune.iter().enumerate() {
        notes += &format!("{},4,{},L\n", 4 * bar, bass[bar]);
        for (beat, key) in keys.iter().enumerate() {
            notes += &format!("{},1,{key},R\n", 4 * bar + beat);
        }
    }
    std::fs::write(dir.join("fork.csv"), notes).unwrap();
    std::fs::write(dir.join("piece.toml"), "title = \"Fork\"\nscore = \"fork.csv\"\ninstrument = \"keyboard\"\ntempo = 120\n").unwrap();
    dir.to_string_lossy().into_owned()
}

fn fork() -> Hall {
    let dir = tempfile::tempdir().unwrap();
    let piece = open_piece(&piece_with_a_switch(dir.path()), None, &[]).unwrap().piece;
    let span = Span::whole(&piece, Mode::RunThrough).unwrap();
    Hall { piece: Arc::new(piece), span }
}

#[test]
fn a_wrong_turn_at_a_switch_is_told_with_the_place_of_the_switch() {
    let stage = fork();
    let last_beat = |bar: usize| stage.bar(bar) + ScoreTime::quarters(3);
    for seed in SEEDS {
        // After bar 3 the way of bar 12 is taken, and gone on: nine bars are left out.
        let told = stage.play(seed, vec![Planned::Jump { at: last_beat(3), to: stage.bar(12), pause: Micros::ZERO }]);
        let lapse = told.lapse();
        let said = format!("seed {seed}: {lapse:?}\n{}", told.account());
        assert_eq!((lapse.place.as_str(), lapse.recovery), ("4.1", Recovery::Landmark), "{said}");
        assert_eq!(lapse.going_at.as_deref().map(bar_of), Some("12"), "{said}");
        assert!(lapse.lost < ms(500), "{said}");
        // After bar 11 the way of bar 4, which leads round again.
        let told = stage.play(seed, vec![Planned::Restart { at: last_beat(11), to: stage.bar(4), pause: Micros::ZERO }]);
        let lapse = told.lapse();
        let said = format!("seed {seed}: {lapse:?}\n{}", told.account());
        assert_eq!((lapse.place.as_str(), lapse.recovery), ("12.1", Recovery::Restarted), "{said}");
        assert!(told.run().is_held, "{said}");
    }
}

#[test]
fn a_wrong_turn_that_is_put_right_is_one_lapse() {
    let stage = fork();
    let last_beat = |bar: usize| stage.bar(bar) + ScoreTime::quarters(3);
    for seed in SEEDS {
        // The way of bar 12, heard to be wrong after two bars, and back to bar 4 after a breath.
        let planned = vec![
            Planned::Jump { at: last_beat(3), to: stage.bar(12), pause: Micros::ZERO },
            Planned::Restart { at: last_beat(13), to: stage.bar(4), pause: ms(1_500) },
        ];
        let told = stage.play(seed, planned);
        let said = format!("seed {seed}: {:#?}\n{}", told.run(), told.account());
        let first = &told.run().lapses[0];
        assert_eq!((first.place.as_str(), told.run().is_held), ("4.1", true), "{said}");
        assert_eq!(told.run().n_bars_played, told.run().n_bars, "{said}");
    }
}

#[test]
fn the_same_run_twice_is_told_the_same() {
    let stage = Hall::with("ferry", Mode::RunThrough);
    let tell = || stage.play(9, vec![Planned::Pause { at: stage.bar(5), length: ms(3_000) }]);
    let (once, again) = (tell(), tell());
    assert_eq!((once.rep, once.account), (again.rep, again.account));
}

#[test]
fn noise_is_told_without_a_panic_and_never_as_held() {
    let stage = Hall::with("ferry", Mode::RunThrough);
    let first: Vec<MidiKey> = stage.span.line.notes.iter().filter(|n| n.onset == OnsetIdx(0)).map(|n| n.key).collect();
    let mut take = Take::default();
    let on = |key| MidiEvent::NoteOn { channel: Channel(0), key, velocity: Velocity(70) };
    first.iter().for_each(|key| take.push(Stamped { at: Micros::ZERO, what: on(*key) }));
    let mut rng = fastrand::Rng::with_seed(4);
    for n in 1..400 {
        take.push(Stamped { at: ms(170 * n), what: on(MidiKey::try_new(rng.i32(30..100)).unwrap()) });
    }
    let told = stage.hear(&take);
    assert!(!told.run().is_held, "{:#?}", told.run());
}

#[test]
fn a_run_can_be_held_to_no_stop_no_way_back_and_few_hesitations() {
    let hall = Hall::with("ferry", Mode::RunThrough);
    let strict = PracticeConfig { pass: Some(PassMark::STANDARD), ..PracticeConfig::standard() };
    let halt = |bar: usize, seconds: i64| Planned::Pause { at: hall.bar(bar), length: ms(1_000 * seconds) };
    let back = Planned::Restart { at: hall.bar(7), to: hall.bar(6), pause: ms(1_500) };
    // Usually every run that came through is held; by the mark, one hesitation in three minutes is, and more is not.
    for (planned, is_held) in
        [(vec![], true), (vec![halt(6, 2)], true), (vec![halt(6, 6)], false), (vec![halt(6, 2), halt(15, 2)], false), (vec![back], false)]
    {
        let take = hall.perform(3, planned.clone());
        let run = |config: &PracticeConfig| {
            let outputs = listen(&hall.piece, &hall.span, config, &take);
            let Some(Output::Record(Entry::Rep(rep))) = outputs.last() else { panic!() };
            rep.run.clone().unwrap()
        };
        assert!(run(&PracticeConfig::standard()).is_held, "{planned:?}");
        assert_eq!(run(&strict).is_held, is_held, "{planned:?}: {:?}", run(&strict).lapses);
    }
    // More time for a hesitation, or a longer stop, lets more pass.
    let patient = PassMark { stop: ms(10_000), a_hesitation: ms(10_000) };
    let take = hall.perform(3, vec![halt(6, 6), halt(15, 2)]);
    let outputs = listen(&hall.piece, &hall.span, &PracticeConfig { pass: Some(patient), ..PracticeConfig::standard() }, &take);
    let Some(Output::Record(Entry::Rep(rep))) = outputs.last() else { panic!() };
    assert!(rep.run.as_ref().unwrap().is_held);
}
