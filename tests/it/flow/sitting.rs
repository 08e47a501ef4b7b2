//! A session of some minutes, played through by simulated players on virtual time.

use catchword::journal::entry::{Entry, Mode, Rep, Verdict};
use catchword::midi::{Channel, MidiEvent, Velocity};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::joins::{Chaining, spans};
use catchword::practice::sitting::{Part, Sitting, Times};
use catchword::practice::{Command, Engine, Input, Machine, Output, PracticeConfig, Rests, Span, Stage};
use catchword::source::player::{Manner, Planned, perform};
use catchword::theory::Hand;
use catchword::time::{Micros, Stamped};

fn minutes(n: f64) -> Micros {
    Micros::from_secs_f64(n * 60.0)
}

struct Desk {
    sitting: Sitting,
    times: Times,
    now: Micros,
    seed: u64,
    /// Seconds before each rep.
    breath: f64,
    outputs: Vec<Output>,
    /// When each rest began.
    rests: Vec<Micros>,
}

impl Desk {
    fn new(n_minutes: f64) -> Desk {
        let piece: Piece = open_piece("ferry", None, &[]).unwrap().piece;
        let whole = Span::whole(&piece, Mode::RunThrough).unwrap();
        let times = Times::of(minutes(n_minutes), &whole, Micros::ZERO);
        let work = spans(&piece, Chaining::FromTheTop);
        let engine = |spans| Engine::try_new(piece.clone().into(), spans, PracticeConfig::standard()).unwrap();
        let parts = vec![Part::work(engine(work), times.work), Part::whole(engine(vec![whole]))];
        let sitting = Sitting::try_new(parts, Rests::standard()).unwrap();
        Desk { sitting, times, now: Micros::ZERO, seed: 5, breath: 2.0, outputs: vec![], rests: vec![] }
    }

    fn give(&mut self, at: Micros, what: Input) {
        self.now = self.now.max(at);
        self.sitting.handle(Stamped { at, what }, &mut self.outputs);
    }

    fn wait(&mut self, seconds: f64) {
        self.give(self.now + Micros::from_secs_f64(seconds), Input::Deadline);
    }

    fn stage(&self) -> Stage<'_> {
        self.sitting.view().stage
    }

    fn reps(&self) -> Vec<&Rep> {
        self.outputs.iter().filter_map(|o| if let Output::Record(Entry::Rep(rep)) = o { Some(rep) } else { None }).collect()
    }

    /// Plays what is on offer once, as far as it is heard.
    fn play(&mut self, slips: bool) {
        let engine = self.sitting.drill().unwrap();
        let span = engine.span();
        self.seed += 1;
        let bar = span.stretch.bars.get(1).map(|b| b.start);
        let planned = bar.filter(|_| slips && span.is_drill()).map(|at| Planned::Wrong { at, hand: Hand::Left });
        let manner = Manner { planned: planned.into_iter().collect(), ..Manner::fluent(span.line.tempo.unwrap(), self.seed) };
        let take = perform(engine.piece().part(), &span.stretch, &manner);
        let (start, mark) = (self.now, self.outputs.len());
        for event in take.events() {
            self.give(start + event.at, Input::Midi(event.what));
            let is_over = |o: &Output| matches!(o, Output::Record(Entry::Rep(_)) | Output::SpanBegan { .. });
            if self.outputs[mark..].iter().any(is_over) {
                break;
            }
        }
        self.wait(2.0);
    }

    /// Practises to the end of the session, as long as the player's patience lasts.
    fn practise(&mut self, slips: bool) {
        for _ in 0..2_000 {
            match self.stage() {
                Stage::Finished { .. } => return,
                Stage::Rest { .. } => {
                    self.rests.push(self.now);
                    while matches!(self.stage(), Stage::Rest { .. }) {
                        self.wait(10.0);
                    }
                }
                Stage::SpanDone => self.wait(3.0),
                _ => {
                    self.wait(self.breath);
                    self.play(slips);
                }
            }
        }
        panic!("the session does not end: {:?}", self.stage());
    }

    fn check_the_end(&self, length: Micros) {
        let reps = self.reps();
        let last = reps.last().expect("something was played");
        assert_eq!(last.mode, Mode::RunThrough);
        assert!(last.ended <= length, "the run-through ended at {:?} of {length:?}", last.ended);
        assert_eq!(reps.iter().filter(|r| r.mode == Mode::RunThrough).count(), 1);
        assert!(reps.iter().enumerate().all(|(i, r)| r.number.0 as usize == i), "numbered through all parts");
        assert_eq!(self.outputs.iter().filter(|o| matches!(o, Output::Finished { .. })).count(), 1);
        let Stage::Finished { account } = self.stage() else { panic!("{:?}", self.stage()) };
        assert_eq!(account.iter().filter(|l| l.ends_with("of playing")).count(), 1, "one account: {account:?}");
    }
}

#[test]
fn a_session_of_minutes_ends_with_the_run_through_in_time() {
    for n_minutes in [4.0, 6.0, 8.0] {
        let mut desk = Desk::new(n_minutes);
        desk.practise(false);
        desk.check_the_end(minutes(n_minutes));
        let last = desk.reps().last().unwrap().ended;
        assert!(last > minutes(n_minutes) - minutes(3.0), "and not much before: {last:?} of {n_minutes}");
    }
}

#[test]
fn a_player_to_whom_nothing_comes_clean_gets_the_run_through_all_the_same() {
    let mut desk = Desk::new(10.0);
    desk.practise(true);
    desk.check_the_end(minutes(10.0));
    let drilled: Vec<&Rep> = desk.reps().into_iter().filter(|r| r.mode == Mode::Drill).collect();
    assert!(drilled.len() > 20 && drilled.iter().all(|r| r.verdict != Verdict::Clean));
}

#[test]
fn the_rep_that_is_on_is_played_to_its_end_and_one_that_stops_is_broken_off_in_time() {
    let mut desk = Desk::new(10.0);
    desk.wait(desk.times.work.ends.secs_f64() - 3.0);
    desk.play(false);
    let rep = desk.reps()[0].clone();
    assert!(rep.verdict == Verdict::Clean && rep.ended > desk.times.work.ends);
    assert_eq!(desk.sitting.view().mode, Mode::RunThrough);

    let mut desk = Desk::new(10.0);
    desk.wait(desk.times.work.ends.secs_f64() - 1.0);
    // The first two onsets, all of them.
    let line = desk.sitting.drill().unwrap().span().line.clone();
    let (channel, velocity) = (Channel(0), Velocity(70));
    for (nth, onset) in line.onsets[..2].iter().enumerate() {
        for note in &line.notes[onset.notes.clone()] {
            let at = Micros::from_secs_f64(desk.times.work.ends.secs_f64() - 1.0 + 0.3 * nth as f64);
            desk.give(at, Input::Midi(MidiEvent::NoteOn { channel, key: note.key, velocity }));
        }
    }
    assert!(matches!(desk.stage(), Stage::Playing), "{:?}", desk.stage());
    desk.wait(desk.times.work.at_last.secs_f64() - desk.now.secs_f64() - 1.0);
    assert_eq!(desk.sitting.view().mode, Mode::Drill, "the player may still go on: {:?}, {:?}, {:?}", desk.times, desk.now, desk.reps());
    desk.wait(2.0);
    assert_eq!((desk.sitting.view().mode, desk.stage()), (Mode::RunThrough, Stage::Waiting));
    assert_eq!(desk.reps()[0].reason.as_ref().unwrap().kind, "abandoned");
}

#[test]
fn after_eight_minutes_of_new_work_a_rest_is_offered_once() {
    let mut desk = Desk { breath: 12.0, ..Desk::new(30.0) };
    desk.practise(false);
    assert_eq!(desk.rests.len(), 1);
    assert!((minutes(8.0)..minutes(11.0)).contains(&desk.rests[0]), "{:?}", desk.rests);
    desk.check_the_end(minutes(30.0));
    let during =
        desk.reps().iter().filter(|r| r.started > desk.rests[0] && r.started < desk.rests[0] + minutes(5.0) - minutes(0.2)).count();
    assert_eq!(during, 0);
    // In a short session there is no time for one.
    let mut short = Desk::new(14.0);
    short.practise(false);
    assert_eq!(short.rests, []);
}

#[test]
fn whoever_plays_in_a_rest_is_heard() {
    let mut desk = Desk::new(40.0);
    while !matches!(desk.stage(), Stage::Rest { .. }) {
        desk.wait(3.0);
        desk.play(true);
        assert!(desk.now < minutes(12.0));
    }
    let n = desk.reps().len();
    desk.play(false);
    assert_eq!(desk.reps().len(), n + 1);
    assert!(!matches!(desk.stage(), Stage::Rest { .. }));
}

#[test]
fn closing_a_session_early_closes_all_of_it() {
    let mut desk = Desk::new(10.0);
    desk.play(false);
    desk.give(desk.now, Input::Command(Command::Quit));
    let Stage::Finished { account } = desk.stage() else { panic!("{:?}", desk.stage()) };
    assert_eq!(account[0], "casting off: 1 of 1 rep clean");
    assert_eq!(desk.sitting.next_deadline(), None);
}
