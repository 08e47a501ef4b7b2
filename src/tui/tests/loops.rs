use std::sync::mpsc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, unbounded};
use crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers};
use ratatui::backend::TestBackend;

use super::super::app::App;
use super::super::canvas::Canvas;
use super::super::plain;
use super::super::run::{Host, Session, Wake};
use super::super::terminal::Hold;
use super::super::{Error, Exit, Failure, Options, Practice};
use super::{bars, view};
use crate::clock::SessionClock;
use crate::journal::entry::Verdict;
use crate::midi::{Channel, MidiEvent, MidiKey, Velocity};
use crate::practice::view::Stage;
use crate::practice::{Command, Input, View};
use crate::source::Signal;
use crate::time::{Micros, Stamped};

/// Practice that writes down what it is given, and shows a cue at its deadline.
struct Script {
    bars: Vec<String>,
    account: Vec<String>,
    heard: Vec<Stamped<Input>>,
    tell: mpsc::Sender<Input>,
    deadline: Option<Micros>,
    stage: &'static str,
    fail_on: Option<Command>,
}

impl Script {
    fn new() -> (Self, mpsc::Receiver<Input>) {
        let (tell, told) = mpsc::channel();
        let account = vec!["1 of 3 clean".to_owned()];
        (Script { bars: bars(4), account, heard: vec![], tell, deadline: None, stage: "waiting", fail_on: None }, told)
    }
}

impl Practice for Script {
    fn handle(&mut self, input: Stamped<Input>) -> Result<(), Failure> {
        if let (Input::Command(command), Some(fail_on)) = (&input.what, self.fail_on)
            && *command == fail_on
        {
            return Err("no space left on the device".into());
        }
        match &input.what {
            Input::Midi(_) => self.stage = "playing",
            Input::Deadline => {
                self.stage = "prompted";
                self.deadline = None;
            }
            Input::Story(_) | Input::Gone => {}
            Input::Command(Command::Pause) => self.stage = "paused",
            Input::Command(Command::Quit) => self.stage = "finished",
            Input::Command(_) => self.stage = "waiting",
        }
        let _ = self.tell.send(input.what.clone());
        self.heard.push(input);
        Ok(())
    }

    fn next_deadline(&self) -> Option<Micros> {
        self.deadline
    }

    fn view(&self) -> View<'_> {
        view(
            &self.bars,
            match self.stage {
                "playing" => Stage::Playing,
                "prompted" => Stage::Prompted { rung: 1, text: "E flat" },
                "paused" => Stage::Paused,
                "finished" => Stage::Finished { account: &self.account },
                _ => Stage::Waiting,
            },
        )
    }

    fn hand_over(&mut self, _at: Micros) -> Result<Option<String>, Failure> {
        Ok(Some("your turn".to_owned()))
    }
}

#[derive(Default)]
struct Host0 {
    closed: bool,
    suspended: usize,
}

impl Host<TestBackend> for Host0 {
    fn is_open(&self) -> bool {
        !self.closed
    }

    fn hold(&self) -> Option<Hold> {
        Some(Hold::free())
    }

    fn suspend(&mut self, _: &mut Canvas<TestBackend>) -> std::io::Result<()> {
        self.suspended += 1;
        Ok(())
    }

    fn take_again(&mut self, _: &mut Canvas<TestBackend>) -> std::io::Result<()> {
        Ok(())
    }
}

fn key(c: char) -> Wake {
    Wake::Terminal(Event::Key(KeyEvent::new(KeyCode::Char(c), KeyModifiers::NONE)))
}

fn note(at: Micros) -> Signal {
    let what = MidiEvent::NoteOn { channel: Channel(0), key: MidiKey::try_new(60).unwrap(), velocity: Velocity(64) };
    Signal::Midi(Stamped { at, what })
}

fn options() -> Options {
    Options { colour: false, caution: false, can_hand_over: true, hands_free: vec![], smallest_letters: 0 }
}

/// Runs the loop over what was put into its channels; they stay open until it ends by itself.
fn run(
    practice: &mut Script,
    host: &mut Host0,
    wakes: &Receiver<Wake>,
    notes: &Receiver<Signal>,
    clock: SessionClock,
) -> Result<Exit, Error> {
    let mut terminal = Canvas::new(TestBackend::new(80, 24)).unwrap();
    Session { practice, app: App::new(options()), clock, is_closed: false }.run(&mut terminal, wakes, notes, host)
}

fn channels() -> (Sender<Wake>, Receiver<Wake>, Sender<Signal>, Receiver<Signal>) {
    let (wake, wakes) = unbounded();
    let (play, notes) = unbounded();
    (wake, wakes, play, notes)
}

fn commands(practice: &Script) -> Vec<Command> {
    practice.heard.iter().filter_map(|input| if let Input::Command(command) = input.what { Some(command) } else { None }).collect()
}

#[test]
fn keys_become_commands_and_q_ends_with_quit() {
    let (mut practice, _told) = Script::new();
    let (wake, wakes, _play, notes) = channels();
    for c in [' ', 'n', 'y', '+', '!', 'q', 'b'] {
        wake.send(key(c)).unwrap();
    }
    let exit = run(&mut practice, &mut Host0::default(), &wakes, &notes, SessionClock::start()).unwrap();
    assert_eq!(exit, Exit::Quit);
    assert_eq!(commands(&practice), [Command::Pause, Command::Skip, Command::Overrule(Verdict::Clean), Command::MoreReps, Command::Quit]);
}

#[test]
fn every_kind_of_end_gives_practice_the_quit_command() {
    for (wake_up, expected) in [
        (Wake::Closed, Exit::Closed),
        (Wake::Signal(15), Exit::Signal(15)),
        (Wake::Terminal(Event::Key(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL))), Exit::Quit),
    ] {
        let (mut practice, _told) = Script::new();
        let (wake, wakes, _play, notes) = channels();
        wake.send(wake_up).unwrap();
        assert_eq!(run(&mut practice, &mut Host0::default(), &wakes, &notes, SessionClock::start()).unwrap(), expected);
        assert_eq!(commands(&practice), [Command::Quit]);
    }
}

#[test]
fn a_terminal_that_vanished_without_a_signal_ends_the_session_at_the_next_second() {
    let (mut practice, _told) = Script::new();
    let (_wake, wakes, _play, notes) = channels();
    let begun = Instant::now();
    let mut host = Host0 { closed: true, ..Host0::default() };
    assert_eq!(run(&mut practice, &mut host, &wakes, &notes, SessionClock::start()).unwrap(), Exit::Closed);
    assert!(begun.elapsed() < Duration::from_secs(10));
}

#[test]
fn a_note_is_heard_before_the_deadline_it_was_played_ahead_of_and_after_the_one_it_missed() {
    for (note_at, expected_first) in [(Micros(500), "note"), (Micros(1_500), "deadline")] {
        let (mut practice, _told) = Script::new();
        practice.deadline = Some(Micros(1_000));
        let (wake, wakes, play, notes) = channels();
        play.send(note(note_at)).unwrap();
        let clock = SessionClock::start();
        // Both are long due when the loop begins; only their stamps can tell.
        while clock.now() < Micros(5_000) {
            std::hint::spin_loop();
        }
        wake.send(key('q')).unwrap();
        run(&mut practice, &mut Host0::default(), &wakes, &notes, clock).unwrap();
        let first = &practice.heard[0];
        assert_eq!(matches!(first.what, Input::Midi(_)), expected_first == "note", "{:?}", practice.heard);
        let deadline = practice.heard.iter().find(|input| input.what == Input::Deadline).unwrap();
        assert_eq!(deadline.at, Micros(1_000), "a deadline is stamped with its own time");
    }
}

#[test]
fn a_deadline_wakes_the_loop_when_nothing_else_happens() {
    let (mut practice, told) = Script::new();
    practice.deadline = Some(Micros(30_000));
    let (wake, wakes, _play, notes) = channels();
    let waiter = std::thread::spawn(move || {
        let first = told.recv_timeout(Duration::from_secs(10)).unwrap();
        wake.send(key('q')).unwrap();
        (first, wake)
    });
    run(&mut practice, &mut Host0::default(), &wakes, &notes, SessionClock::start()).unwrap();
    assert_eq!(waiter.join().unwrap().0, Input::Deadline);
}

#[test]
fn going_back_to_the_shell_pauses_once() {
    let (mut practice, _told) = Script::new();
    let (wake, wakes, _play, notes) = channels();
    for _ in 0..2 {
        wake.send(Wake::Terminal(Event::Key(KeyEvent::new(KeyCode::Char('z'), KeyModifiers::CONTROL)))).unwrap();
    }
    wake.send(key('q')).unwrap();
    let mut host = Host0::default();
    run(&mut practice, &mut host, &wakes, &notes, SessionClock::start()).unwrap();
    assert_eq!((host.suspended, commands(&practice)), (2, vec![Command::Pause, Command::Quit]));
}

#[test]
fn a_journal_that_cannot_be_written_ends_the_session_with_its_reason() {
    let (mut practice, _told) = Script::new();
    practice.fail_on = Some(Command::Skip);
    let (wake, wakes, _play, notes) = channels();
    wake.send(key('n')).unwrap();
    let error = run(&mut practice, &mut Host0::default(), &wakes, &notes, SessionClock::start()).unwrap_err();
    assert!(matches!(&error, Error::Practice(cause) if cause.to_string().contains("no space left")), "{error:?}");
}

#[test]
fn a_panic_on_another_thread_ends_the_session_with_an_error() {
    let (mut practice, _told) = Script::new();
    let (wake, wakes, _play, notes) = channels();
    wake.send(Wake::Panicked).unwrap();
    assert!(matches!(run(&mut practice, &mut Host0::default(), &wakes, &notes, SessionClock::start()), Err(Error::Panicked)));
}

#[test]
fn the_first_note_or_any_key_puts_the_caution_away_and_the_key_does_nothing_else() {
    let options = Options { caution: true, ..options() };
    let mut by_note = App::new(options.clone());
    by_note.note_struck(Micros(1));
    assert!(by_note.caution.is_none());
    let (mut practice, _told) = Script::new();
    let (wake, wakes, _play, notes) = channels();
    wake.send(key('n')).unwrap();
    wake.send(key('q')).unwrap();
    let mut terminal = Canvas::new(TestBackend::new(80, 24)).unwrap();
    let mut session = Session { practice: &mut practice, app: App::new(options), clock: SessionClock::start(), is_closed: false };
    session.run(&mut terminal, &wakes, &notes, &mut Host0::default()).unwrap();
    assert_eq!(commands(&practice), [Command::Quit]);
}

#[test]
fn a_break_is_suggested_after_25_minutes_between_reps_and_a_real_break_starts_the_count_anew() {
    let minutes = |n: i64| Micros(n * 60_000_000);
    let bars = bars(4);
    let waiting = view(&bars, Stage::Waiting);
    let playing = view(&bars, Stage::Playing);
    let mut app = App::new(Options { caution: true, ..options() });
    app.dismiss();
    for minute in 0..=25 {
        app.note_struck(minutes(minute));
    }
    assert!(!app.tick(&playing, minutes(25)), "never during a rep");
    assert!(app.tick(&waiting, minutes(25)) && app.caution.is_some());
    app.note_struck(minutes(25) + Micros::from_millis(500));
    assert!(app.caution.is_none());
    assert!(app.tick(&waiting, minutes(26)), "wiped away unread: shown again");
    app.note_struck(minutes(27));
    assert!(!app.tick(&waiting, minutes(27)), "read and played on: not shown again at once");

    let mut app = App::new(Options { caution: true, ..options() });
    for minute in (0..=20).chain(26..=40) {
        app.note_struck(minutes(minute));
        assert!(!app.tick(&waiting, minutes(minute)), "the silence from 20 to 26 was a break");
    }
}

#[test]
fn plain_lines_are_added_only_when_something_is_new() {
    let bars = bars(4);
    let account = ["the lift: 2 of 3".to_owned()];
    let mut out = Vec::new();
    let mut plain = plain::Plain::new(&mut out);
    let cue = || view(&bars, Stage::Prompted { rung: 1, text: "E flat" });
    let two = [Verdict::Broken, Verdict::Clean, Verdict::Clean];
    for view in [
        view(&bars, Stage::Waiting),
        view(&bars, Stage::Playing),
        cue(),
        cue(),
        view(&bars, Stage::Playing),
        cue(),
        view(&bars, Stage::Look { words: "bar 2, beat 1" }),
        View { span: "from bar 1", bars: &bars[..3], ..view(&bars, Stage::Waiting) },
        view(&bars, Stage::Playing),
        View { n_clean: 2, verdicts: &two, ..view(&bars, Stage::RepDone { verdict: Verdict::Clean, words: "" }) },
        View { span: "coda", span_idx: 2, ..view(&bars, Stage::Waiting) },
        view(&bars, Stage::Finished { account: &account }),
    ] {
        plain.show(&view).unwrap();
    }
    assert_eq!(
        String::from_utf8(out).unwrap(),
        "section the lift, bars 1 to 4 (2 of 6)\ncue: E flat\non: playing again\ncue: E flat\nlook: bar 2, beat 1\n\
         next: from bar 1, bars 1 to 3\nnext: the lift, bars 1 to 4\nclean, 2 of 3\nsection coda, bars 1 to 4 (3 of 6)\nthe lift: 2 of 3\n"
    );
}

#[test]
fn a_race_follows_the_deadlines_without_waiting() {
    let (mut practice, _told) = Script::new();
    practice.deadline = Some(Micros(3_600_000_000));
    let begun = Instant::now();
    let mut out = Vec::new();
    assert_eq!(plain::race(&mut practice, &mut out).unwrap(), Exit::Quit);
    assert!(begun.elapsed() < Duration::from_secs(10));
    assert!(String::from_utf8(out).unwrap().contains("cue: E flat"));
}

#[test]
fn commands_can_be_typed_as_words_where_there_is_no_screen() {
    let (mut practice, _told) = Script::new();
    let (_play, notes) = unbounded();
    let typed = std::io::Cursor::new("next\nhop\n\nstory: up and over\nquit\n");
    let mut out = Vec::new();
    assert_eq!(plain::run(&mut practice, &notes, SessionClock::start(), typed, &mut out).unwrap(), Exit::Quit);
    let out = String::from_utf8(out).unwrap();
    assert_eq!(commands(&practice), [Command::Skip, Command::Quit]);
    assert!(out.contains("unknown word \"hop\"; known are start, pause, again, next") && out.ends_with("1 of 3 clean\n"), "{out}");
    assert!(out.contains("no line is asked for\n"), "{out}");
}
