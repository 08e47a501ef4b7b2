//! The settings file: what the player may set, its usual value and its range.

use catchword::config::number::NUMBERS;
use catchword::config::{Config, REFERENCE, shown};
use catchword::piece_folder::open_piece;
use catchword::practice::PassMark;
use catchword::time::Micros;

/// What each behaviour rests on is said beside its default in the code; ranges are those that the sources and common practice leave
/// open: (what it changes, table, key, usual value, least, most).
const BEHAVIOURS: [(&str, &str, &str, f64, f64, f64); 54] = [
    ("hesitation: seconds beyond the time to the next note", "hesitation", "floor-s", 0.37, 0.35, 1.0),
    ("hesitation: times that time", "hesitation", "factor", 1.25, 1.0, 2.5),
    ("hesitation: allowance at the end of a phrase", "hesitation", "phrase-factor", 1.1, 1.0, 3.0),
    ("cue latency: the cue", "prompts", "cue-s", 0.7, 0.0, 3.0),
    ("cue latency: its fuller words", "prompts", "more-s", 2.0, 0.0, 60.0),
    ("cue latency: the page", "prompts", "page-s", 3.0, 0.0, 60.0),
    ("cues fade: times without it", "prompts", "hide-after", 0.0, 0.0, 5.0),
    ("reading take: share of the notes", "ready", "notes", 0.95, 0.5, 1.0),
    ("reading take: longest stop, bars", "ready", "stop-bars", 1.0, 0.25, 4.0),
    ("clean: slowest tempo, percent", "judging", "slowest", 85.0, 50.0, 100.0),
    ("clean: fastest tempo, percent", "judging", "fastest", 115.0, 100.0, 200.0),
    ("run-through: the longest halt", "run-through", "stop-s", 3.0, 1.0, 10.0),
    ("run-through: minutes for a hesitation", "run-through", "hesitation-minutes", 3.0, 1.0, 15.0),
    ("reps, first day", "drill", "reps", 3.0, 1.0, 5.0),
    ("section length: overlap", "drill", "overlap-bars", 0.0, 0.0, 2.0),
    ("interleave: clean reps before", "drill", "interleave-after", 0.0, 0.0, 3.0),
    ("interleave: sections", "drill", "interleave-sections", 3.0, 2.0, 5.0),
    ("interleave: minutes", "drill", "interleave-minutes", 2.5, 1.0, 5.0),
    ("reps, later days: once more after", "drill", "again-minutes", 0.0, 0.0, 30.0),
    ("error response: clean times through the loop", "slips", "loop-clean", 0.0, 0.0, 3.0),
    ("error response: beats around it", "slips", "loop-beats", 1.0, 1.0, 4.0),
    ("error response: slowest, percent", "slips", "loop-slowest", 60.0, 40.0, 100.0),
    ("error response: fastest, percent", "slips", "loop-fastest", 80.0, 40.0, 100.0),
    ("error response: warn below, percent", "slips", "warn-below", 70.0, 0.0, 95.0),
    ("error response: of so many reps", "slips", "warn-reps", 10.0, 5.0, 20.0),
    ("section length: fewest bars", "sections", "bars-least", 2.0, 1.0, 4.0),
    ("section length: most bars", "sections", "bars-most", 8.0, 4.0, 16.0),
    ("rest between massed reps", "session", "breath-s", 8.0, 3.0, 30.0),
    ("new work before its rest", "session", "new-work-minutes", 8.0, 5.0, 15.0),
    ("the rest in new work", "session", "new-work-rest-minutes", 5.0, 3.0, 15.0),
    ("session: minutes before a rest", "session", "block-minutes", 25.0, 15.0, 45.0),
    ("session: minutes of a rest", "session", "rest-minutes", 5.0, 3.0, 15.0),
    ("session: the longest sitting", "session", "longest-minutes", 90.0, 30.0, 180.0),
    ("session: growth of a week, percent", "session", "week-growth", 15.0, 0.0, 50.0),
    ("cold start: seconds to the first note", "quiz", "first-s", 5.0, 3.0, 10.0),
    ("recovery drill: seconds to the landmark", "quiz", "jump-s", 2.0, 1.0, 4.0),
    ("choice of cold starts: section starts", "quiz", "starts", 50.0, 1.0, 100.0),
    ("choice of cold starts: switches", "quiz", "switches", 25.0, 0.0, 100.0),
    ("choice of cold starts: after spots that failed", "quiz", "spots", 15.0, 0.0, 100.0),
    ("choice of cold starts: any bar", "quiz", "bars", 10.0, 0.0, 100.0),
    ("interleave: days before a switch is asked", "quiz", "switch-days", 0.0, 0.0, 7.0),
    ("reps, later days", "plan", "later-reps", 1.0, 1.0, 2.0),
    ("days of tests: growth of a gap", "plan", "gap-growth", 2.5, 1.2, 2.5),
    ("days of tests: longest gap", "plan", "gap-days", 21.0, 1.0, 21.0),
    ("days of tests: share of the days left, percent", "plan", "gap-share", 20.0, 1.0, 20.0),
    ("days of tests: the last days", "plan", "last-days", 14.0, 0.0, 28.0),
    ("days of tests: chance to hold asked for in them", "plan", "last-recall", 0.95, 0.90, 0.97),
    ("days of tests: the full test from cold", "plan", "full-test-days-before", 2.0, 1.0, 7.0),
    ("run-through: one elsewhere of so many", "plan", "run-elsewhere-every", 0.0, 0.0, 9.0),
    ("secure: first tries from cold", "secure", "tries", 3.0, 2.0, 5.0),
    ("secure: days between the last two", "secure", "gap-days", 7.0, 1.0, 21.0),
    ("secure: joins clean", "secure", "joins", 2.0, 1.0, 5.0),
    ("secure: run-throughs without a mark", "secure", "run-throughs", 2.0, 0.0, 5.0),
    ("secure: expires below", "secure", "recall", 0.9, 0.8, 0.97),
];

#[test]
fn every_number_of_the_behaviours_can_be_set_within_its_range_and_no_further() {
    assert_eq!(NUMBERS.len(), BEHAVIOURS.len(), "no number is outside this table");
    let usual = shown("", "config.toml").unwrap();
    for (what, table, key, default, least, most) in BEHAVIOURS {
        let number = NUMBERS.iter().find(|n| n.table == format!("[{table}]") && n.key == key).unwrap_or_else(|| panic!("{what}"));
        assert_eq!((number.least, number.most), (least, most), "{what}");
        let shown_usual = usual.iter().find(|s| s.key == format!("{table}.{key}")).unwrap_or_else(|| panic!("{what} is in the reference"));
        assert_eq!(shown_usual.value.as_deref().unwrap().parse::<f64>().unwrap(), default, "{what}");
        let with = |value: f64| {
            let text = if number.is_whole { format!("{value:.0}") } else { format!("{value:?}") };
            Config::parse(&format!("[{table}]\n{key} = {text}\n"), "config.toml")
        };
        // The usual value changes nothing; each end of the range that is not the usual value changes something.
        assert_eq!(with(default).unwrap(), Config::default(), "{what}");
        for end in [least, most].into_iter().filter(|end| *end != default) {
            assert_ne!(with(end).unwrap(), Config::default(), "{what}: {end}");
        }
        let step = if number.is_whole { 1.0 } else { 0.01 };
        for beyond in [least - step, most + step] {
            let error = with(beyond).unwrap_err().to_string();
            let range = format!("from {least} to {most} for \"{key}\"");
            assert!(
                error.starts_with(&format!("config.toml:2:{}: expected a ", key.len() + 4)) && error.contains(&range),
                "{what}: {error}"
            );
        }
    }
}

#[test]
fn a_key_of_a_slip_of_the_pen_is_answered_with_the_nearest() {
    for number in NUMBERS {
        let slip = format!("{}x", number.key);
        let error = Config::parse(&format!("{}\n{slip} = 1\n", number.table), "config.toml").unwrap_err().to_string();
        let wanted = format!("config.toml:2:1: expected a key of {}, found {slip:?}; did you mean {:?}?", number.table, number.key);
        assert_eq!(error, wanted);
    }
}

#[test]
fn the_reference_says_the_range_of_every_number() {
    for number in NUMBERS {
        // The comment may speak of several keys that follow it.
        let table = &REFERENCE[REFERENCE.find(&format!("\n{}\n", number.table)).unwrap()..];
        let head = &table[..table.find(&format!("\n{} = ", number.key)).unwrap()];
        let range = |n: f64| head.contains(&format!("{n}"));
        assert!(range(number.least) && range(number.most), "{} {}", number.table, number.key);
    }
}

#[test]
fn a_run_through_can_be_held_to_a_mark_and_tests_to_days_of_ones_own() {
    assert_eq!(Config::default().practice().pass, None);
    let strict = Config::parse("[run-through]\nstrict = true\nstop-s = 2\n", "config.toml").unwrap();
    let mark = strict.practice().pass.expect("it was asked for");
    assert_eq!((mark.stop, mark.a_hesitation), (Micros::from_millis(2_000), PassMark::STANDARD.a_hesitation));
    assert_eq!(strict.judged_by(), "run-through.strict = true\nrun-through.stop-s = 2\n");
    assert_eq!(Config::parse(&strict.judged_by(), "then").unwrap(), strict, "what is recorded reads back");

    let days = REFERENCE.replace("# test-days", "test-days");
    let set = Config::parse(&days, "config.toml").unwrap().rules.test_days;
    assert_eq!([1, 2, 3, 4, 5, 9].map(|nth| set.gap_after(nth)), [1, 2, 4, 7, 14, 14].map(Some));
    for wrong in ["[]", "[3, 1]", "[0]", "[1, 366]", "[1, 2, 3, 4, 5, 6, 7, 8, 9]", "7", "[1.5]"] {
        let error = Config::parse(&format!("[plan]\ntest-days = {wrong}\n"), "config.toml").unwrap_err().to_string();
        let wanted = "config.toml:2:13: expected 1 to 8 whole numbers from 1 to 365, each larger than the one before, for \"test-days\"";
        assert!(error.starts_with(wanted), "{error}");
    }
}

#[test]
fn a_piece_that_says_no_reps_has_those_that_are_set_and_one_that_does_keeps_its_own() {
    let five = Config::parse("[drill]\nreps = 5\n", "config.toml").unwrap();
    let mut piece = open_piece("ferry", None, &[]).unwrap().piece;
    for (says_reps, wanted) in [(true, 3), (false, 5)] {
        piece.says_reps = says_reps;
        five.set_reps(&mut piece);
        assert_eq!(piece.target_reps, wanted);
    }
}
