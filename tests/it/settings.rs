//! The settings file: what the player may set, its usual value and its range.

use catchword::config::number::NUMBERS;
use catchword::config::{Config, REFERENCE, shown};

/// What each behaviour rests on is said beside its default in the code; ranges are those that the sources and common practice leave
/// open: (what it changes, table, key, usual value, least, most).
const BEHAVIOURS: [(&str, &str, &str, f64, f64, f64); 32] = [
    ("hesitation: seconds beyond the time to the next note", "hesitation", "floor-s", 0.37, 0.35, 1.0),
    ("hesitation: times that time", "hesitation", "factor", 1.25, 1.0, 2.5),
    ("hesitation: allowance at the end of a phrase", "hesitation", "phrase-factor", 1.1, 1.0, 3.0),
    ("cue latency: the cue", "prompts", "cue-s", 0.7, 0.0, 3.0),
    ("cue latency: its fuller words", "prompts", "more-s", 2.0, 0.0, 60.0),
    ("cue latency: the page", "prompts", "page-s", 3.0, 0.0, 60.0),
    ("reading take: share of the notes", "ready", "notes", 0.95, 0.5, 1.0),
    ("reading take: longest stop, bars", "ready", "stop-bars", 1.0, 0.25, 4.0),
    ("clean: slowest tempo, percent", "judging", "slowest", 85.0, 50.0, 100.0),
    ("clean: fastest tempo, percent", "judging", "fastest", 115.0, 100.0, 200.0),
    ("rest between massed reps", "session", "breath-s", 8.0, 3.0, 30.0),
    ("new work before its rest", "session", "new-work-minutes", 8.0, 5.0, 15.0),
    ("the rest in new work", "session", "new-work-rest-minutes", 5.0, 3.0, 15.0),
    ("session: minutes before a rest", "session", "block-minutes", 25.0, 15.0, 45.0),
    ("session: minutes of a rest", "session", "rest-minutes", 5.0, 3.0, 15.0),
    ("cold start: seconds to the first note", "quiz", "first-s", 5.0, 3.0, 10.0),
    ("recovery drill: seconds to the landmark", "quiz", "jump-s", 2.0, 1.0, 4.0),
    ("choice of cold starts: section starts", "quiz", "starts", 50.0, 1.0, 100.0),
    ("choice of cold starts: switches", "quiz", "switches", 25.0, 0.0, 100.0),
    ("choice of cold starts: after spots that failed", "quiz", "spots", 15.0, 0.0, 100.0),
    ("choice of cold starts: any bar", "quiz", "bars", 10.0, 0.0, 100.0),
    ("reps, later days", "plan", "later-reps", 1.0, 1.0, 2.0),
    ("days of tests: growth of a gap", "plan", "gap-growth", 2.5, 1.2, 2.5),
    ("days of tests: longest gap", "plan", "gap-days", 21.0, 1.0, 21.0),
    ("days of tests: share of the days left, percent", "plan", "gap-share", 20.0, 1.0, 20.0),
    ("days of tests: the last days", "plan", "last-days", 14.0, 0.0, 28.0),
    ("days of tests: chance to hold asked for in them", "plan", "last-recall", 0.95, 0.90, 0.97),
    ("days of tests: the full test from cold", "plan", "full-test-days-before", 2.0, 1.0, 7.0),
    ("secure: first tries from cold", "secure", "tries", 3.0, 2.0, 5.0),
    ("secure: days between the last two", "secure", "gap-days", 7.0, 1.0, 21.0),
    ("secure: joins clean", "secure", "joins", 2.0, 1.0, 5.0),
    ("secure: run-throughs without a mark", "secure", "run-throughs", 2.0, 0.0, 5.0),
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
