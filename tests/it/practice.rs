//! Evenings at the instrument, told as stories: the built-in player plays, the engine judges, the outputs are read back.

use std::sync::Arc;

use catchword::follower::OnsetIdx;
use catchword::journal::entry::{Entry, Mode, Rep, Verdict};
use catchword::midi::{Channel, MidiEvent, MidiKey, Velocity};
use catchword::piece::Piece;
use catchword::piece_folder::open_piece;
use catchword::practice::{Command, Engine, Input, Machine, Output, PracticeConfig, Span, Stage};
use catchword::source::player::{Manner, Planned, perform};
use catchword::theory::Hand;
use catchword::time::{Micros, ScoreTime, Stamped, Tempo};

/// A session with the built-in player in front of it.
pub struct Evening {
    pub engine: Engine,
    pub outputs: Vec<Output>,
    pub now: Micros,
    seed: u64,
}

impl Evening {
    pub fn with(name: &str) -> Self {
        let piece = open_piece(name, None, &[]).expect("the demo pieces open").piece;
        Evening::over(piece)
    }

    pub fn over(piece: Piece) -> Self {
        let spans = Span::of_piece(&piece);
        Evening::at(Engine::try_new(Arc::new(piece), spans, PracticeConfig::standard()).expect("the piece has sections"))
    }

    pub fn at(engine: Engine) -> Self {
        Evening { engine, outputs: Vec::new(), now: Micros(1_000_000), seed: 7 }
    }

    pub fn input(&mut self, at: Micros, what: Input) {
        self.now = self.now.max(at);
        self.engine.handle(Stamped { at, what }, &mut self.outputs);
    }

    pub fn wait(&mut self, ms: i64) {
        let at = self.now + Micros::from_millis(ms);
        self.input(at, Input::Deadline);
    }

    pub fn command(&mut self, command: Command) {
        self.input(self.now, Input::Command(command));
    }

    /// Plays the span on offer once, with what is planned for it; returns the outputs that came of it.
    pub fn play(&mut self, planned: Vec<Planned>) -> Vec<Output> {
        self.seed += 1;
        let span = self.engine.span();
        let tempo = span.line.tempo.unwrap_or(Tempo::try_new(72.0).unwrap());
        let manner = Manner { planned, ..Manner::fluent(tempo, self.seed) };
        let take = perform(self.engine.piece().part(), &span.stretch, &manner);
        let (start, mark) = (self.now, self.outputs.len());
        for event in take.events() {
            self.input(start + event.at, Input::Midi(event.what));
        }
        self.wait(1_500);
        self.outputs[mark..].to_vec()
    }

    pub fn strike(&mut self, keys: &[u8], every_ms: i64) {
        for key in keys {
            let event = MidiEvent::NoteOn { channel: Channel(0), key: MidiKey::try_new((*key).into()).unwrap(), velocity: Velocity(70) };
            self.input(self.now + Micros::from_millis(every_ms), Input::Midi(event));
        }
    }

    pub fn bar_start(&self, bar: usize) -> ScoreTime {
        self.engine.span().stretch.bars[bar].start
    }

    pub fn stage(&self) -> Stage<'_> {
        self.engine.view().stage
    }
}

pub fn reps(outputs: &[Output]) -> Vec<&Rep> {
    outputs.iter().filter_map(|o| if let Output::Record(Entry::Rep(rep)) = o { Some(rep) } else { None }).collect()
}

pub fn verdicts(outputs: &[Output]) -> Vec<Verdict> {
    reps(outputs).iter().map(|r| r.verdict).collect()
}

#[test]
fn three_fluent_reps_reach_the_count_and_the_next_section_is_offered() {
    let mut evening = Evening::with("ferry");
    for n in 1..=3 {
        let outputs = evening.play(vec![]);
        assert_eq!(verdicts(&outputs), [Verdict::Clean], "rep {n}: {:?}", reps(&outputs)[0].reason);
        assert!(!outputs.iter().any(|o| matches!(o, Output::Prompted { .. } | Output::Hesitated { .. })), "the screen stayed empty");
        assert_eq!(evening.engine.view().n_clean, n);
    }
    assert_eq!(evening.stage(), Stage::SpanDone);
    evening.wait(3_000);
    assert_eq!(evening.engine.span_idx(), 1);
    assert_eq!(evening.stage(), Stage::Waiting);
    assert_eq!(evening.engine.view().n_clean, 0);
}

#[test]
fn a_long_silence_shows_the_cue_and_the_right_note_clears_it() {
    let mut evening = Evening::with("ferry");
    let at = evening.bar_start(2);
    let outputs = evening.play(vec![Planned::Pause { at, length: Micros::from_millis(3_000) }]);
    let prompts: Vec<(u8, &str)> = outputs
        .iter()
        .filter_map(|o| if let Output::Prompted { rung, text, .. } = o { Some((*rung, text.as_str())) } else { None })
        .collect();
    let cue = evening.engine.piece().cues.iter().find(|c| c.place.bar.0 == 2).expect("bar 3 has a cue");
    assert_eq!(prompts, [(1, cue.text.as_str())]);
    let position = |wanted: fn(&Output) -> bool| outputs.iter().position(wanted).expect("it is there");
    let hesitated = position(|o| matches!(o, Output::Hesitated { .. }));
    let prompted = position(|o| matches!(o, Output::Prompted { .. }));
    let cleared = position(|o| matches!(o, Output::PromptCleared { .. }));
    assert!(hesitated < prompted && prompted < cleared);
    assert_eq!(verdicts(&outputs), [Verdict::Prompted]);
    assert_eq!(evening.engine.view().n_clean, 0, "a prompted rep does not count");
}

#[test]
fn the_ladder_climbs_to_the_page_while_silence_lasts() {
    let mut evening = Evening::with("ferry");
    let at = evening.bar_start(2);
    let outputs = evening.play(vec![Planned::Pause { at, length: Micros::from_millis(12_000) }]);
    let rungs: Vec<(Micros, u8)> =
        outputs.iter().filter_map(|o| if let Output::Prompted { at, rung, .. } = o { Some((*at, *rung)) } else { None }).collect();
    assert_eq!(rungs.iter().map(|r| r.1).collect::<Vec<_>>(), [1, 2, 3]);
    assert_eq!(rungs[1].0 - rungs[0].0, Micros::from_millis(2_000));
    assert_eq!(rungs[2].0 - rungs[1].0, Micros::from_millis(3_000));
    let page = outputs.iter().find_map(|o| if let Output::Prompted { rung: 3, text, .. } = o { Some(text.clone()) } else { None });
    assert_eq!(page.as_deref(), Some("look at the page: bar 3, beat 1"));
}

#[test]
fn a_stop_too_short_for_a_cue_is_not_clean_and_not_prompted() {
    let mut evening = Evening::with("ferry");
    let at = evening.bar_start(2);
    let outputs = evening.play(vec![Planned::Pause { at, length: Micros::from_millis(900) }]);
    assert!(outputs.iter().any(|o| matches!(o, Output::Hesitated { .. })));
    assert!(!outputs.iter().any(|o| matches!(o, Output::Prompted { .. })));
    assert_eq!(verdicts(&outputs), [Verdict::Broken]);
    assert_eq!(reps(&outputs)[0].reason.as_ref().unwrap().kind, "hesitation");
}

#[test]
fn a_wrong_bass_note_breaks_the_rep_and_names_where_to_look() {
    let mut evening = Evening::with("ferry");
    let at = evening.bar_start(1);
    let outputs = evening.play(vec![Planned::Wrong { at, hand: Hand::Left }]);
    assert_eq!(verdicts(&outputs)[0], Verdict::Broken);
    let reason = reps(&outputs)[0].reason.clone().unwrap();
    assert_eq!((reason.place.as_str(), reason.kind), ("2.1", "wrong"));
    assert_eq!(reason.words, "bar 2, beat 1, left hand: not what is written");
    assert_eq!(evening.stage(), Stage::Look { words: &reason.words });
    assert_eq!(evening.engine.view().look_bar, Some(1));
}

#[test]
fn a_note_left_out_of_the_top_line_breaks_the_rep() {
    let mut evening = Evening::with("ferry");
    let at = evening.bar_start(1);
    let outputs = evening.play(vec![Planned::Miss { at, hand: Hand::Right }]);
    let rep = reps(&outputs)[0].clone();
    assert_eq!(rep.verdict, Verdict::Broken);
    let reason = rep.reason.unwrap();
    assert_eq!(reason.kind, "missed");
    assert!(reason.place.starts_with("2."), "{}", reason.place);
}

#[test]
fn trying_the_spot_with_the_page_open_is_no_rep() {
    let mut evening = Evening::with("ferry");
    let at = evening.bar_start(1);
    evening.play(vec![Planned::Wrong { at, hand: Hand::Left }]);
    let n_before = reps(&evening.outputs).len();
    // Bar 2 of the left hand, three times over, slowly.
    let span = &evening.engine.spans()[0];
    let keys: Vec<u8> = span
        .line
        .notes
        .iter()
        .filter(|n| n.hand == Hand::Left && span.line.onset(n.onset).played_bar == 1)
        .map(|n| n.key.number())
        .collect();
    evening.wait(3_000);
    for _ in 0..3 {
        evening.strike(&keys, 400);
        evening.wait(1_500);
    }
    assert_eq!(reps(&evening.outputs).len(), n_before);
    assert!(matches!(evening.stage(), Stage::Look { .. }), "the place still stands on the screen");
    let outputs = evening.play(vec![]);
    assert_eq!(verdicts(&outputs), [Verdict::Clean], "and the next rep counts");
}

#[test]
fn going_back_to_the_top_breaks_the_rep_and_begins_the_next() {
    let mut evening = Evening::with("ferry");
    let (at, to) = (evening.bar_start(2), ScoreTime::ZERO);
    let outputs = evening.play(vec![Planned::Restart { at, to, pause: Micros::from_millis(600) }]);
    assert_eq!(verdicts(&outputs), [Verdict::Broken, Verdict::Clean], "{:?}", reps(&outputs).iter().map(|r| &r.reason).collect::<Vec<_>>());
    assert_eq!(reps(&outputs)[0].reason.as_ref().unwrap().kind, "restart");
    assert_eq!(evening.engine.view().n_clean, 1);
}

#[test]
fn a_run_through_is_stopped_by_nothing_and_prompts_nothing() {
    let mut evening = Evening::with("ferry");
    while evening.engine.view().mode != Mode::RunThrough {
        evening.command(Command::Skip);
    }
    let (wrong, pause) = (evening.bar_start(6), evening.bar_start(12));
    let outputs = evening
        .play(vec![Planned::Wrong { at: wrong, hand: Hand::Left }, Planned::Pause { at: pause, length: Micros::from_millis(4_000) }]);
    assert!(!outputs.iter().any(|o| matches!(o, Output::Prompted { .. })));
    let rep = reps(&outputs)[0].clone();
    assert_eq!(reps(&outputs).len(), 1);
    assert!(rep.n_notes_due - rep.n_notes_right <= 1, "{} of {}", rep.n_notes_right, rep.n_notes_due);
    evening.wait(3_000);
    let Stage::Finished { account } = evening.stage() else { panic!("{:?}", evening.stage()) };
    let line = account.iter().find(|l| l.starts_with("whole piece")).expect("the run-through has its line");
    assert!(line.contains("1 slip") && line.contains("one lapse"), "{line}");
}

#[test]
fn the_last_verdict_can_be_overruled_both_ways() {
    let mut evening = Evening::with("ferry");
    evening.play(vec![]);
    evening.command(Command::Overrule(Verdict::Broken));
    assert_eq!(evening.engine.view().n_clean, 0);
    evening.command(Command::Overrule(Verdict::Clean));
    assert_eq!(evening.engine.view().n_clean, 1);
    let overruled: Vec<Verdict> = evening
        .outputs
        .iter()
        .filter_map(|o| if let Output::Record(Entry::Overruled { verdict, .. }) = o { Some(*verdict) } else { None })
        .collect();
    assert_eq!(overruled, [Verdict::Broken, Verdict::Clean]);
}

#[test]
fn overruling_the_rep_that_closed_a_section_goes_back_to_it() {
    let mut evening = Evening::with("ferry");
    for _ in 0..3 {
        evening.play(vec![]);
    }
    evening.wait(3_000);
    assert_eq!(evening.engine.span_idx(), 1);
    evening.command(Command::Overrule(Verdict::Broken));
    assert_eq!((evening.engine.span_idx(), evening.engine.view().n_clean), (0, 2));
}

#[test]
fn pause_keeps_what_was_played_and_counts_nothing() {
    let mut evening = Evening::with("ferry");
    let keys: Vec<u8> = evening.engine.spans()[0].line.notes.iter().take(4).map(|n| n.key.number()).collect();
    evening.strike(&keys, 300);
    assert_eq!(evening.stage(), Stage::Playing);
    evening.command(Command::Pause);
    assert_eq!(evening.stage(), Stage::Paused);
    let rep = reps(&evening.outputs)[0].clone();
    assert_eq!(rep.reason.unwrap().kind, "abandoned");
    assert_eq!(rep.take.events().len(), 4, "the take is not lost");
    assert!(evening.engine.view().verdicts.is_empty());
    evening.strike(&keys, 300);
    assert_eq!(evening.stage(), Stage::Paused, "nothing is heard in a pause");
    evening.command(Command::Pause);
    assert_eq!(evening.stage(), Stage::Waiting);
}

#[test]
fn the_count_can_be_changed_between_one_and_nine() {
    let mut evening = Evening::with("ferry");
    for _ in 0..12 {
        evening.command(Command::MoreReps);
    }
    assert_eq!(evening.engine.view().target, 9);
    for _ in 0..12 {
        evening.command(Command::FewerReps);
    }
    assert_eq!(evening.engine.view().target, 1);
    evening.play(vec![]);
    assert_eq!(evening.stage(), Stage::SpanDone);
}

#[test]
fn too_slow_for_the_tempo_set_is_said_and_not_clean() {
    let mut evening = Evening::with("ferry");
    let mut piece = evening.engine.piece().clone();
    piece.tempo = Tempo::try_new(96.0 / 0.8);
    let span_tempo = Tempo::try_new(96.0);
    let mut slow = Evening::over(piece);
    let span = slow.engine.spans()[0].clone();
    let take = perform(slow.engine.piece().part(), &span.stretch, &Manner::fluent(span_tempo.unwrap(), 3));
    for event in take.events() {
        slow.input(Micros(1_000_000) + event.at, Input::Midi(event.what));
    }
    slow.wait(1_500);
    let rep = reps(&slow.outputs)[0].clone();
    assert_eq!((rep.verdict, rep.reason.unwrap().words.as_str()), (Verdict::Broken, "slower than the tempo set"));
    // There is nothing to look up on the page.
    assert!(
        matches!(slow.engine.view().stage, Stage::RepDone { words: "slower than the tempo set", .. }),
        "{:?}",
        slow.engine.view().stage
    );
    evening.play(vec![]);
    assert_eq!(verdicts(&evening.outputs), [Verdict::Clean], "at the tempo set it is clean");
}

#[test]
fn the_same_evening_twice_gives_the_same_outputs() {
    let evening = || {
        let mut evening = Evening::with("ferry");
        let at = evening.bar_start(2);
        evening.play(vec![Planned::Pause { at, length: Micros::from_millis(5_000) }]);
        evening.play(vec![Planned::Wrong { at, hand: Hand::Right }]);
        evening.play(vec![]);
        evening.outputs
    };
    assert_eq!(evening(), evening());
}

#[test]
fn a_note_that_arrives_late_takes_its_hesitation_back() {
    let mut evening = Evening::with("ferry");
    let span = evening.engine.spans()[0].clone();
    let tempo = span.line.tempo.unwrap();
    let take = perform(evening.engine.piece().part(), &span.stretch, &Manner { timing_sd: 0.0, ..Manner::fluent(tempo, 1) });
    let start = evening.now;
    let half = take.events().len() / 2;
    let (before, after) = take.events().split_at(half);
    for event in before {
        evening.input(start + event.at, Input::Midi(event.what));
    }
    let deadline = evening.engine.next_deadline().expect("silence is watched in mid-rep");
    evening.input(deadline, Input::Deadline);
    assert!(evening.outputs.iter().any(|o| matches!(o, Output::Hesitated { .. })));
    for event in after {
        evening.input(start + event.at, Input::Midi(event.what));
    }
    evening.wait(1_500);
    assert_eq!(verdicts(&evening.outputs), [Verdict::Clean], "all notes came when they were due");
}

#[test]
fn a_position_never_leaves_the_span() {
    let mut evening = Evening::with("ferry");
    let at = evening.bar_start(1);
    evening.play(vec![Planned::Wrong { at, hand: Hand::Right }]);
    let n = OnsetIdx(evening.engine.spans()[0].line.onsets.len());
    let positions: Vec<OnsetIdx> =
        evening.outputs.iter().filter_map(|o| if let Output::Heard { note, .. } = o { Some(note.position.onset) } else { None }).collect();
    assert!(positions.len() > 5);
    assert!(positions.iter().all(|p| *p < n));
}

/// What may happen at an instrument and a keyboard, wise or not.
#[derive(Clone, Debug)]
enum Doing {
    Note {
        key: u8,
        wait_ms: i64,
    },
    /// The next notes of the span, as written, every so often.
    Right {
        n_notes: usize,
        every_ms: i64,
    },
    Wait(i64),
    Ask(usize),
    /// A stamp from before the last one.
    Late {
        key: u8,
    },
}

fn doing() -> impl proptest::strategy::Strategy<Value = Doing> {
    use proptest::prelude::*;
    prop_oneof![
        (20u8..110, 0i64..1_500).prop_map(|(key, wait_ms)| Doing::Note { key, wait_ms }),
        (1usize..60, 20i64..700).prop_map(|(n_notes, every_ms)| Doing::Right { n_notes, every_ms }),
        (0i64..30_000).prop_map(Doing::Wait),
        (0usize..Command::ALL.len() - 1).prop_map(Doing::Ask),
        (20u8..110).prop_map(|key| Doing::Late { key }),
    ]
}

proptest::proptest! {
    #![proptest_config(proptest::test_runner::Config { cases: 60, failure_persistence: None, ..Default::default() })]
    #[test]
    fn whatever_is_played_and_asked_the_state_stays_whole(doings in proptest::collection::vec(doing(), 1..25)) {
        let mut evening = Evening::with("ferry");
        for doing in doings {
            match doing {
                Doing::Note { key, wait_ms } => evening.strike(&[key], wait_ms),
                Doing::Right { n_notes, every_ms } => {
                    let line = &evening.engine.spans()[evening.engine.span_idx()].line;
                    let keys: Vec<u8> = line.notes.iter().take(n_notes).map(|n| n.key.number()).collect();
                    evening.strike(&keys, every_ms);
                }
                Doing::Wait(ms) => evening.wait(ms),
                Doing::Ask(n) => evening.command(Command::ALL[n]),
                Doing::Late { key } => {
                    let event = MidiEvent::NoteOn { channel: Channel(0), key: MidiKey::try_new(key.into()).unwrap(), velocity: Velocity(50) };
                    evening.engine.handle(Stamped { at: evening.now - Micros::from_millis(2_000), what: Input::Midi(event) }, &mut evening.outputs);
                }
            }
            let view = evening.engine.view();
            proptest::prop_assert!(view.span_idx < view.n_spans);
            proptest::prop_assert!(view.bar.is_none_or(|b| b < view.bars.len()) && view.look_bar.is_none_or(|b| b < view.bars.len()));
            proptest::prop_assert!(usize::from(view.n_clean) <= view.verdicts.len());
            proptest::prop_assert!((1..=9).contains(&view.target));
            proptest::prop_assert!(evening.engine.next_deadline().is_none_or(|d| d > evening.now - Micros::from_millis(2_001)));
            if view.mode == Mode::RunThrough {
                let speaks = matches!(view.stage, Stage::Prompted { .. } | Stage::Look { .. });
                proptest::prop_assert!(!speaks, "a run-through is left alone");
            }
        }
        let numbers: Vec<u32> = reps(&evening.outputs).iter().map(|r| r.number.0).collect();
        proptest::prop_assert!(numbers.iter().enumerate().all(|(i, n)| *n == i as u32), "reps are numbered without gaps: {:?}", numbers);
        proptest::prop_assert!(reps(&evening.outputs).iter().all(|r| r.started <= r.ended && r.n_notes_right <= r.n_notes_due));
    }
}

#[test]
fn a_clean_rep_of_every_section_of_both_demo_pieces_is_judged_clean() {
    for name in ["ferry", "all-through-the-night"] {
        let mut evening = Evening::with(name);
        for seed in [11, 222, 3_333, 44_444, 555_555, 6_666_666] {
            evening.seed = seed;
            for span_idx in 0..evening.engine.spans().len() - 1 {
                while evening.engine.span_idx() < span_idx {
                    evening.command(Command::Skip);
                }
                let outputs = evening.play(vec![]);
                let rep = reps(&outputs)[0];
                assert_eq!(rep.verdict, Verdict::Clean, "{name}, {}, seed {seed}: {:?}", rep.span, rep.reason);
                assert_eq!(rep.n_notes_right, rep.n_notes_due, "{name}, {}, seed {seed}", rep.span);
            }
            while evening.engine.span_idx() > 0 {
                evening.command(Command::Back);
            }
        }
    }
}

#[test]
fn every_planned_slip_in_every_section_breaks_its_rep_at_its_bar() {
    for name in ["ferry", "all-through-the-night"] {
        let mut evening = Evening::with(name);
        for span_idx in 0..evening.engine.spans().len() - 1 {
            for bar in 1..evening.engine.spans()[span_idx].bars.len() {
                for hand in [Hand::Left, Hand::Right] {
                    while evening.engine.span_idx() > span_idx {
                        evening.command(Command::Back);
                    }
                    let at = evening.bar_start(bar);
                    let outputs = evening.play(vec![Planned::Wrong { at, hand }]);
                    let rep = reps(&outputs)[0];
                    let where_it_was = format!("{name}, {}, bar {} of the span, {hand:?}: {:?}", rep.span, bar + 1, rep.reason);
                    assert_eq!(rep.verdict, Verdict::Broken, "{where_it_was}");
                    let label = evening.engine.spans()[span_idx].bars[bar].clone();
                    let place = &rep.reason.as_ref().unwrap().place;
                    assert_eq!(place.split('.').next(), Some(label.as_str()), "{where_it_was}");
                    evening.wait(3_000);
                }
            }
            evening.command(Command::Skip);
        }
    }
}

#[test]
fn a_silence_of_an_instrument_that_went_away_is_not_the_players() {
    // Unplugged before bar 3 of the section and back after four seconds: one rep, no cue, and its reason says what happened.
    for gone in [true, false] {
        let mut evening = Evening::with("ferry");
        let span = evening.engine.span().clone();
        let at = evening.bar_start(2);
        let planned = vec![Planned::Pause { at, length: Micros::from_millis(4_000) }];
        let take =
            perform(evening.engine.piece().part(), &span.stretch, &Manner { planned, ..Manner::fluent(span.line.tempo.unwrap(), 5) });
        let mut last = Micros::ZERO;
        for event in take.events() {
            if gone && event.at - last > Micros::from_millis(2_000) {
                evening.input(Micros(1_000_000) + last + Micros::from_millis(100), Input::Gone);
            }
            last = event.at;
            evening.input(Micros(1_000_000) + event.at, Input::Midi(event.what));
        }
        evening.wait(1_500);
        let reps = reps(&evening.outputs);
        assert_eq!(reps.len(), 1);
        let reason = reps[0].reason.as_ref().unwrap();
        let is_prompted = evening.outputs.iter().any(|o| matches!(o, Output::Prompted { .. } | Output::Hesitated { .. }));
        if gone {
            assert_eq!((reps[0].verdict, reason.words.as_str(), reason.kind), (Verdict::Broken, "the instrument went away", "abandoned"));
            assert!(!is_prompted, "nobody is asked for a note that cannot be heard");
            assert_eq!(reps[0].n_notes_right, reps[0].n_notes_due, "the rep went on where it was");
            assert_eq!(evening.stage(), Stage::RepDone { verdict: Verdict::Broken, words: "the instrument went away" });
        } else {
            assert!(is_prompted && reps[0].verdict == Verdict::Prompted);
        }
    }
}

#[test]
fn notes_played_while_the_instrument_was_away_are_no_slips() {
    let mut evening = Evening::with("ferry");
    let span = evening.engine.span().clone();
    let take = perform(evening.engine.piece().part(), &span.stretch, &Manner::fluent(span.line.tempo.unwrap(), 5));
    let (from, to) = (take.length().0 / 3, take.length().0 * 2 / 3);
    for event in take.events() {
        if event.at.0 < from || event.at.0 > to {
            evening.input(Micros(1_000_000) + event.at, Input::Midi(event.what));
        } else if evening.now < Micros(1_000_000 + from) {
            evening.input(Micros(1_000_000 + from), Input::Gone);
        }
    }
    evening.wait(1_500);
    let first = reps(&evening.outputs)[0];
    assert_eq!(first.reason.as_ref().map(|r| r.words.as_str()), Some("the instrument went away"), "{first:?}");
}
