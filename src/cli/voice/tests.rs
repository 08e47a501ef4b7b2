//! A stand-in speaker writes down what it is given and goes on for half a minute: long enough to be stopped.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tempfile::TempDir;

use super::*;
use crate::analysis::analyse;
use crate::cli::session::Session;
use crate::piece::Piece;
use crate::piece_folder::open_piece;
use crate::practice::by_word::ByWord;
use crate::practice::quiz::{JournalDoubt, Quiz as QuizPart, QuizConfig, questions};
use crate::practice::{Command as Asked, Engine, Input, PracticeConfig, Span};
use crate::time::{Micros, Stamped};
use crate::tui::Practice;

struct StandIn {
    dir: TempDir,
}

/// What the stand-in wrote down: its own number, that of what it started, and its arguments.
struct Said {
    process: u32,
    started: u32,
    arguments: Vec<String>,
}

impl StandIn {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let script = "sleep 30 &\nprintf '%s|' \"$$\" \"$!\" \"$@\" >> \"${0%/*}/said\"\nprintf '\\n' >> \"${0%/*}/said\"\nwait\n";
        std::fs::write(dir.path().join("speak.sh"), script).unwrap();
        StandIn { dir }
    }

    fn voice(&self) -> Voice {
        voice(&format!("sh \"{}\" {{text}}", self.dir.path().join("speak.sh").display()))
    }

    fn all_said(&self) -> Vec<Said> {
        let text = std::fs::read_to_string(self.dir.path().join("said")).unwrap_or_default();
        let line = |line: &str| {
            let mut fields = line.trim_end_matches('|').split('|').map(str::to_owned);
            let mut number = || fields.next().unwrap().parse().unwrap();
            Said { process: number(), started: number(), arguments: fields.collect() }
        };
        text.split_inclusive('\n').filter(|l| l.ends_with('\n')).map(|l| line(l.trim_end())).collect()
    }

    /// Waits until so many texts have been said; returns the last.
    fn wait_for(&self, n: usize) -> Said {
        wait("the text to be said", || self.all_said().len() >= n);
        let mut all = self.all_said();
        assert_eq!(all.len(), n);
        all.pop().unwrap()
    }
}

impl Said {
    /// Waits until nothing of it runs, and its own process has been waited for.
    fn is_stopped(&self) {
        wait("the speaker to be gone, no zombie", || !process(self.process).exists());
        // Whatever it started is waited for by the system, in its own time.
        wait("what it started to be stopped", || {
            std::fs::read_to_string(process(self.started).join("stat")).is_ok_and(|stat| stat.contains(") Z "))
                || !process(self.started).exists()
        });
    }
}

fn voice(template: &str) -> Voice {
    Voice::new(Speak::try_new(template).unwrap())
}

fn process(number: u32) -> PathBuf {
    Path::new("/proc").join(number.to_string())
}

fn wait(what: &str, mut is_so: impl FnMut() -> bool) {
    for _ in 0..1_000 {
        if is_so() {
            return;
        }
        thread::sleep(Duration::from_millis(20));
    }
    panic!("waited in vain for {what}");
}

fn ferry() -> Arc<Piece> {
    Arc::new(open_piece("ferry", None, &[]).unwrap().piece)
}

/// One section and the whole piece, unheard: cues are asked for.
fn unheard() -> ByWord {
    let piece = ferry();
    let (drills, runs): (Vec<Span>, Vec<Span>) = Span::of_piece(&piece).into_iter().partition(Span::is_drill);
    let spans = drills.into_iter().take(1).chain(runs).collect();
    ByWord::try_new(piece, spans, PracticeConfig::standard()).unwrap()
}

fn ask(session: &mut Session, seconds: i64, command: Asked) {
    session.handle(Stamped { at: Micros::from_millis(seconds * 1_000), what: Input::Command(command) }).unwrap();
}

fn meet_deadline(session: &mut Session) -> bool {
    let Some(at) = session.next_deadline() else { return false };
    session.handle(Stamped { at, what: Input::Deadline }).unwrap();
    true
}

#[test]
fn a_text_is_one_argument_and_one_voice_speaks_at_a_time() {
    let stand_in = StandIn::new();
    let mut voice = stand_in.voice();
    let mut before: Option<Said> = None;
    let texts = [
        ("a third down, same shape", "a third down, same shape"),
        ("home; rm -rf $HOME `id` \"x\" 'y' > z", "home; rm -rf $HOME `id` \"x\" 'y' > z"),
        ("--help", "help"),
        ("- one\ntwo \u{1b}[31mred", "one two red"),
    ];
    for (n, (text, argument)) in texts.into_iter().enumerate() {
        voice.say(text);
        let said = stand_in.wait_for(n + 1);
        assert_eq!(said.arguments, [argument]);
        assert!(process(said.process).exists());
        if let Some(before) = before.replace(said) {
            before.is_stopped();
        }
    }
    drop(voice);
    before.unwrap().is_stopped();
}

#[test]
fn a_cue_is_spoken_until_the_right_note_and_a_run_through_is_silent() {
    let stand_in = StandIn::new();
    let piece = ferry();
    let (drills, runs): (Vec<Span>, Vec<Span>) = Span::of_piece(&piece).into_iter().partition(Span::is_drill);
    let spans = drills.into_iter().take(1).chain(runs).collect();
    let engine = Engine::try_new(piece, spans, PracticeConfig::standard()).unwrap();
    // The built-in player halts once.
    let mut session = Session::new(engine, None).directed(1).with_voice(Some(stand_in.voice()));
    let (mut n_said, mut speaking, mut has_run) = (0, None::<Said>, false);
    while meet_deadline(&mut session) {
        let view = session.view();
        has_run |= view.mode == Mode::RunThrough;
        match view.stage {
            Stage::Prompted { rung, text } if speaking.as_ref().is_none_or(|said| said.arguments != [text]) && rung < 3 => {
                n_said += 1;
                let said = stand_in.wait_for(n_said);
                assert_eq!(said.arguments, [text]);
                if let Some(before) = speaking.replace(said) {
                    before.is_stopped();
                }
            }
            Stage::Prompted { .. } => {}
            _ => {
                if let Some(said) = speaking.take() {
                    said.is_stopped();
                }
            }
        }
    }
    assert!(has_run && n_said >= 1);
    assert_eq!(stand_in.all_said().len(), n_said);
}

#[test]
fn a_cue_asked_for_in_a_run_through_is_shown_and_not_spoken() {
    let stand_in = StandIn::new();
    let mut session = Session::new(unheard(), None).with_voice(Some(stand_in.voice()));
    ask(&mut session, 1, Asked::Cue);
    let said = stand_in.wait_for(1);
    ask(&mut session, 2, Asked::Skip);
    said.is_stopped();
    ask(&mut session, 3, Asked::Cue);
    assert_eq!(session.view().mode, Mode::RunThrough);
    assert!(matches!(session.view().stage, Stage::Prompted { .. }));
    assert!(session.voice().utterance.is_none());
    assert_eq!(stand_in.all_said().len(), 1);
}

#[test]
fn the_last_rung_says_where_to_look_and_the_end_of_the_session_is_silent() {
    let prompted =
        |text: &str| words(&Output::Prompted { at: Micros::ZERO, rung: 3, onset: crate::follower::OnsetIdx(0), text: text.to_owned() });
    assert_eq!(prompted("look at the page: bar 7, beat 2").unwrap(), "look at the page: bar 7, beat 2");
    let stand_in = StandIn::new();
    let mut session = Session::new(unheard(), None).with_voice(Some(stand_in.voice()));
    ask(&mut session, 1, Asked::Cue);
    let said = stand_in.wait_for(1);
    session.close().unwrap();
    said.is_stopped();
}

#[test]
fn a_program_that_is_missing_is_said_once_and_practice_goes_on() {
    let mut session = Session::new(unheard(), None).with_voice(Some(voice("no-such-program-to-speak {text}")));
    ask(&mut session, 1, Asked::Cue);
    let notice = session.take_notice().unwrap();
    assert!(notice.contains("cannot run \"no-such-program-to-speak\""), "{notice}");
    let first = session.view().bar;
    ask(&mut session, 2, Asked::Cue);
    assert!(session.view().bar > first, "the next cue is shown");
    assert_eq!(session.take_notice(), None);
}

#[test]
fn a_speaker_that_ends_by_itself_leaves_nothing_behind() {
    let mut voice = voice("true {text}");
    voice.say("home");
    let number = lock(&voice.utterance.as_ref().unwrap().0).id();
    wait("the end of it, no zombie", || !process(number).exists());
}

#[test]
fn the_quiz_says_its_questions_and_calls_the_landmark_of_a_jump() {
    let stand_in = StandIn::new();
    let piece = ferry();
    let asked = questions(&piece, &analyse(&piece.score, piece.part).unwrap(), &[]);
    let config = QuizConfig { is_told: true, ..QuizConfig::standard(15, 7) };
    let quiz = QuizPart::try_new(piece, asked, &JournalDoubt::new(&[], &[]), PracticeConfig::standard(), config).unwrap();
    let mut session = Session::new(quiz, None).with_voice(Some(stand_in.voice()));
    ask(&mut session, 1, Asked::Pause);
    let mut n_said = 0;
    loop {
        assert!(meet_deadline(&mut session), "a landmark is called");
        match session.view().stage {
            Stage::Quiz(Quiz::Asked { large, small, .. }) => {
                n_said += 1;
                let (said, end) = (stand_in.wait_for(n_said), format!(": {large}; {}", small.join(", ")));
                assert!(said.arguments.len() == 1 && said.arguments[0].ends_with(&end), "{:?}: {end}", said.arguments);
            }
            Stage::Quiz(Quiz::Called { large, .. }) => {
                assert_eq!(stand_in.wait_for(n_said + 1).arguments, [format!("go {large}")]);
                return;
            }
            _ => assert!(session.voice().utterance.is_none(), "between questions it is silent"),
        }
    }
}

/// eSpeak NG writes a RIFF WAVE file, whose header is 44 bytes (IBM and Microsoft 1991, "Multimedia Programming Interface and Data
/// Specifications 1.0", chapter 3).
#[test]
fn a_real_speaker_makes_sound_of_a_cue() {
    if Command::new("espeak-ng").arg("--version").output().is_err() {
        eprintln!("skipped: espeak-ng is not installed");
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("cue of bar 3.wav");
    let mut voice = voice(&format!("espeak-ng -w \"{}\" {{text}}", file.display()));
    voice.say("--version; a third down, \"same shape\"");
    let number = lock(&voice.utterance.as_ref().unwrap().0).id();
    wait("espeak-ng to end", || !process(number).exists());
    let sound = std::fs::read(&file).unwrap();
    assert_eq!((&sound[..4], &sound[8..12]), (b"RIFF".as_slice(), b"WAVE".as_slice()));
    assert!(sound.len() > 44 + 8_000, "only {} bytes", sound.len());
}
