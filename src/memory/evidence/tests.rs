use super::*;
use crate::journal::attempts::RepRow;
use crate::memory::item::{ChangeAt, PlaceAt, SectionAt};

/// Three sections of four bars; a landmark in bar 6; the passages of bars 3 and 11 part there.
fn layout() -> Layout {
    let section = |name: &str, bars| SectionAt { name: name.into(), bars, target: 3 };
    let place = |bar: usize| PlaceAt { text: format!("{}.1", bar + 1), bar };
    Layout {
        labels: (1..=12).map(|n| n.to_string()).collect(),
        sections: vec![section("a", 0..4), section("b", 4..8), section("c", 8..12)],
        landmarks: vec![("roll".into(), place(5))],
        switches: vec![vec![place(2), place(10)]],
        changes: Vec::new(),
    }
}

/// One rep and all that is needed to read it.
fn rep(mode: Mode, bars: (&str, &str), verdict: Verdict, failed: Option<(&str, &str)>) -> Attempts {
    let at = "2026-03-02T20:00:00+01:00".parse::<crate::time::Timestamp>().unwrap();
    let rep = Rep {
        row: RepRow(1),
        at,
        day: at.date_naive(),
        length: Micros::from_millis(8000),
        span: 0,
        mode,
        judged: verdict,
        verdict,
        witness: Witness::Heard,
        failed: failed.map(|_| 0),
    };
    Attempts {
        spans: vec![PlayedSpan { name: "named anyhow".into(), bars: (bars.0.into(), bars.1.into()) }],
        failures: failed.iter().map(|(place, kind)| ((*place).into(), (*kind).into())).collect(),
        all: vec![rep],
    }
}

fn said_in(layout: &Layout, reps: &Attempts, lapses: &[DatedLapse]) -> Vec<String> {
    let items = layout.items();
    let reader = Reader::new(layout, &items);
    let mut said = Vec::new();
    Played::new(&reader, reps)
        .rep(&reps.all[0], lapses, &[], |idx, a| said.push(format!("{}: {:?} {:?}", items[idx.0].id, a.outcome, a.way)));
    said
}

fn drill(bars: (&str, &str), verdict: Verdict, failed: Option<(&str, &str)>) -> Vec<String> {
    said_in(&layout(), &rep(Mode::Drill, bars, verdict, failed), &[])
}

#[test]
fn a_drill_grades_the_section_it_begins_with_and_the_exits_in_it() {
    assert_eq!(drill(("1", "4"), Verdict::Clean, None), ["section 1-4: Clean Cold", "switch 3.1: Clean Flow"]);
    assert_eq!(drill(("5", "8"), Verdict::Clean, None), ["section 5-8: Clean Cold"]);
    assert_eq!(drill(("5", "8"), Verdict::Prompted, Some(("6.2", "prompt-1"))), ["section 5-8: Failed Cold"], "any cue");
    assert_eq!(drill(("5", "8"), Verdict::Broken, Some(("6.2", "hesitation"))), ["section 5-8: Recovered Cold"]);
    assert_eq!(
        drill(("1", "4"), Verdict::Broken, Some(("3.2", "wrong-turn"))),
        ["section 1-4: Failed Cold", "switch 3.1: Failed Flow"],
        "the wrong exit"
    );
    assert_eq!(drill(("1", "4"), Verdict::Broken, Some(("1.3", "wrong"))), ["section 1-4: Failed Cold"], "the exit was not come to");
    assert_eq!(drill(("5", "8"), Verdict::Broken, Some(("6.2", "abandoned"))), [] as [&str; 0], "leaving shows nothing");
}

#[test]
fn a_longer_span_shows_the_joins_and_what_came_before_the_slip() {
    assert_eq!(
        drill(("1", "8"), Verdict::Broken, Some(("7.1", "wrong"))),
        ["section 1-4: Clean Cold", "section 5-8: Failed Flow", "join 4/5: Clean Flow", "switch 3.1: Clean Flow"]
    );
    assert_eq!(drill(("3", "6"), Verdict::Clean, None), ["join 4/5: Clean Flow"], "a join by itself");
    assert_eq!(drill(("6", "7"), Verdict::Clean, None), ["landmark 6.1: Clean Cold"]);
}

#[test]
fn a_renamed_section_keeps_its_record_and_a_little_moved_one_too() {
    let mut moved = layout();
    moved.sections[1].name = "the reply".into();
    moved.sections[1].bars = 4..9;
    moved.sections[2].bars = 9..12;
    let old = rep(Mode::Drill, ("5", "8"), Verdict::Clean, None);
    assert_eq!(said_in(&moved, &old, &[]), ["section 5-9: Clean Cold"], "four of five bars");
    moved.sections[1].bars = 4..11;
    moved.sections[2].bars = 11..12;
    assert_eq!(said_in(&moved, &old, &[]), [] as [&str; 0], "four of seven");
    // A section cut in two: the first half was begun cold, the second was played into.
    let mut cut = layout();
    let half = |name: &str, bars| SectionAt { name: name.into(), bars, target: 3 };
    cut.sections.splice(1..2, [half("b1", 4..6), half("b2", 6..8)]);
    assert_eq!(said_in(&cut, &old, &[]), ["section 5-6: Clean Cold", "section 7-8: Clean Flow", "join 6/7: Clean Flow"]);
}

#[test]
fn a_run_through_marks_where_it_lapsed_and_counts_no_further_than_it_came() {
    let run = |lapses: &[DatedLapse], failed| said_in(&layout(), &rep(Mode::RunThrough, ("1", "12"), Verdict::Broken, failed), lapses);
    let lapse = |place: &str, recovery, to: Option<&str>| DatedLapse { place: place.into(), recovery, going_at: to.map(str::to_owned) };
    let went_on = run(&[lapse("6.1", Recovery::WentOn, Some("6.3"))], Some(("6.1", "hesitation")));
    assert!(
        went_on.contains(&"section 5-8: Recovered RunThrough".into()) && went_on.contains(&"section 1-4: Clean RunThrough".into()),
        "{went_on:?}"
    );
    let jumped = run(&[lapse("6.1", Recovery::Landmark, Some("9.1"))], Some(("6.1", "jump")));
    assert!(jumped.contains(&"section 5-8: Failed RunThrough".into()), "{jumped:?}");
    let lost = run(&[lapse("6.1", Recovery::NotRecovered, None)], Some(("6.1", "hesitation")));
    assert_eq!(
        lost,
        ["section 1-4: Clean RunThrough", "section 5-8: Failed RunThrough", "join 4/5: Clean RunThrough", "switch 3.1: Clean RunThrough"]
    );
}

#[test]
fn reading_and_bars_that_are_gone_show_nothing_and_the_players_word_holds() {
    assert_eq!(said_in(&layout(), &rep(Mode::Reading, ("1", "4"), Verdict::Clean, None), &[]), [] as [&str; 0]);
    assert_eq!(drill(("1", "40"), Verdict::Clean, None), [] as [&str; 0]);
    let mut overruled = rep(Mode::Drill, ("5", "8"), Verdict::Broken, Some(("5.1", "wrong")));
    overruled.all[0].verdict = Verdict::Clean;
    assert_eq!(said_in(&layout(), &overruled, &[]), ["section 5-8: Clean Cold"]);
    let mut told = rep(Mode::Drill, ("5", "8"), Verdict::Clean, None);
    told.all[0].witness = Witness::Told;
    assert_eq!(said_in(&layout(), &told, &[]), ["section 5-8: Clean Asked"]);
}

#[test]
fn answers_of_the_quiz_grade_what_was_asked() {
    let answer = |kind, place: &str, recall_ms: Option<i64>, outcome| {
        let layout = layout();
        let items = layout.items();
        let mut said = Vec::new();
        let at = "2026-03-02T20:00:00+01:00".parse().unwrap();
        let recall = recall_ms.map(Micros::from_millis);
        let answer = DatedAnswer {
            at,
            kind,
            place: place.into(),
            recall,
            length: Micros::from_millis(9000),
            outcome,
            witness: Witness::Heard,
            n_notes_between: None,
        };
        Reader::new(&layout, &items).answer(&answer, |idx, a| said.push(format!("{}: {:?} {:?}", items[idx.0].id, a.outcome, a.way)));
        said
    };
    use entry::Outcome::{Failed, Held, OutOfTime};
    assert_eq!(answer(QuestionKind::ColdStart, "5.1", Some(1200), Held), ["section 5-8: Clean Asked"]);
    assert_eq!(answer(QuestionKind::ColdStart, "5.1", Some(5100), Held), ["section 5-8: Recovered Asked"], "slow");
    assert_eq!(answer(QuestionKind::Jump, "6.1", Some(1200), Failed), ["landmark 6.1: Failed Cold"]);
    assert_eq!(answer(QuestionKind::GoOn, "5.1", None, OutOfTime), ["join 4/5: Failed Flow"]);
    assert_eq!(answer(QuestionKind::Switch, "11.1", Some(900), Held), ["switch 11.1: Clean Flow"]);
    assert_eq!(answer(QuestionKind::WhatNext, "5.1", Some(900), Held), [] as [&str; 0]);
}

/// A lever moved in bar 2 for a note of bar 3, and heard there and in bar 6.
fn with_change() -> Layout {
    let heard_at = vec!["3.1".to_owned(), "6.2".to_owned()];
    let place = PlaceAt { text: "2.3".into(), bar: 1 };
    Layout {
        changes: vec![ChangeAt { name: "lever on F before bar 3".into(), place, for_bar: 2, moved: vec!["lever F4".into()], heard_at }],
        ..layout()
    }
}

fn of_the_change(layout: &Layout, reps: &Attempts, slips: &[&str]) -> Option<String> {
    let items = layout.items();
    let reader = Reader::new(layout, &items);
    let slip = |text: &&str| {
        let (place, setting) = text.split_once(' ').map_or((*text, None), |(place, setting)| (place, Some(setting.to_owned())));
        SettingSlip { place: place.to_owned(), setting }
    };
    let slips: Vec<SettingSlip> = slips.iter().map(slip).collect();
    let mut said = None;
    Played::new(&reader, reps).rep(&reps.all[0], &[], &slips, |idx, a| {
        if items[idx.0].kind == ItemKind::Change {
            said = Some(format!("{:?} {:?}", a.outcome, a.way));
        }
    });
    said
}

#[test]
fn a_change_is_held_by_a_clean_rep_and_failed_by_a_slip_of_its_setting_from_there_on() {
    let layout = with_change();
    let of = |bars, verdict, failed, slips: &[&str]| of_the_change(&layout, &rep(Mode::Drill, bars, verdict, failed), slips);
    let (clean, flow, lost) = (Some("Clean Flow".to_owned()), "Recovered Flow".to_owned(), Some("Failed Flow".to_owned()));
    assert_eq!(of(("1", "4"), Verdict::Clean, None, &[]), clean);
    assert_eq!(of(("5", "8"), Verdict::Clean, None, &[]), None, "it is not played over");
    assert_eq!(of(("3", "4"), Verdict::Clean, None, &[]), None, "it was set before");
    assert_eq!(of(("1", "4"), Verdict::Broken, Some(("3.1", "setting")), &["3.1"]), lost);
    assert_eq!(of(("1", "8"), Verdict::Broken, Some(("6.2", "setting")), &["6.2"]), lost, "heard later");
    assert_eq!(of(("1", "4"), Verdict::Clean, None, &["3.1"]), lost, "an inner note, within the allowance");
    assert_eq!(of(("1", "8"), Verdict::Broken, Some(("7.1", "setting")), &["7.1"]), clean, "another lever");
    assert_eq!(of(("1", "4"), Verdict::Broken, Some(("3.1", "setting")), &["3.1 lever F4 sharp"]), lost);
    assert_eq!(of(("1", "4"), Verdict::Clean, None, &["3.1 lever F3 sharp"]), clean, "another lever, heard at the same place");
    assert_eq!(of(("1", "4"), Verdict::Broken, Some(("3.1", "wrong")), &[]), None, "a wrong string says nothing of the lever");
    assert_eq!(of(("1", "4"), Verdict::Prompted, Some(("3.1", "prompt-1")), &[]), lost, "a cue on the way to its note");
    assert_eq!(of(("1", "4"), Verdict::Broken, Some(("3.1", "hesitation")), &[]), Some(flow));
    assert_eq!(of(("1", "4"), Verdict::Broken, Some(("1.3", "wrong")), &[]), None, "it was not come to");
    let mut overruled = rep(Mode::Drill, ("1", "4"), Verdict::Broken, Some(("3.1", "setting")));
    overruled.all[0].verdict = Verdict::Clean;
    assert_eq!(of_the_change(&layout, &overruled, &["3.1"]), clean, "the player's word goes before what was heard");
    let run = rep(Mode::RunThrough, ("1", "12"), Verdict::Clean, None);
    assert_eq!(of_the_change(&layout, &run, &["6.2"]).as_deref(), Some("Failed RunThrough"));
    assert_eq!(of_the_change(&layout, &run, &["9.1"]).as_deref(), Some("Clean RunThrough"));
}

#[test]
fn where_the_instrument_does_not_tell_its_levers_no_rep_shows_anything_of_a_change() {
    let mut layout = with_change();
    layout.changes[0].heard_at.clear();
    assert_eq!(of_the_change(&layout, &rep(Mode::Drill, ("1", "4"), Verdict::Clean, None), &[]), None);
    let items = layout.items();
    let mut said = Vec::new();
    let answer = DatedAnswer {
        at: "2026-03-02T20:00:00+01:00".parse().unwrap(),
        kind: QuestionKind::Change,
        place: "2.3".into(),
        recall: Some(Micros::from_millis(1200)),
        length: Micros::from_millis(9000),
        outcome: entry::Outcome::Failed,
        witness: Witness::Told,
        n_notes_between: None,
    };
    Reader::new(&layout, &items).answer(&answer, |idx, a| said.push(format!("{}: {:?} {:?}", items[idx.0].id, a.outcome, a.way)));
    assert_eq!(said, ["change 2.3: Failed Asked"], "an answer does");
}
