//! Memory over days from the outside: the plan as a command, and virtual learners.

use std::process::Command;

use catchword::journal::entry::{Entry, Mode, Rep, RepNumber, Verdict, Witness};
use catchword::journal::store::{NewSession, Store};
use catchword::memory::simulate::{Policy, SimulateConfig, simulate, times_better};
use catchword::midi::Take;
use catchword::time::Micros;

#[test]
fn virtual_learners_hold_more_with_the_plan_than_with_simpler_ones() {
    let config = SimulateConfig { n_learners: 4, n_days: 45, n_sections: 12, minutes: vec![8.0], seed: 3 };
    let rows = simulate(&config, |_, _| {});
    assert_eq!(rows.len(), 3);
    for row in &rows {
        assert!((0.0..=1.0).contains(&row.hold) && row.minutes_spent <= 1.15 * 8.0 * 45.0, "{row:?}");
    }
    assert!(rows[0].policy == Policy::Plan && rows[0].minutes_spent <= 1.02 * rows[1].minutes_spent, "no more minutes: {rows:?}");
    let (_, times) = times_better(&rows)[0];
    assert!(times > 1.0, "{rows:?}");
    assert_eq!(simulate(&config, |_, _| {}), rows, "the same seed, the same rows");
}

fn plan(data: &std::path::Path, args: &[&str]) -> String {
    let output =
        Command::new(env!("CARGO_BIN_EXE_catchword")).arg("plan").args(args).arg("--data").arg(data).current_dir(data).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn rep(number: u32, bars: (&str, &str), verdict: Verdict) -> Entry {
    Entry::Rep(Rep {
        number: RepNumber(number),
        mode: Mode::Drill,
        span: "as it was called then".into(),
        bars: (bars.0.into(), bars.1.into()),
        started: Micros::from_millis(30_000 * i64::from(number)),
        ended: Micros::from_millis(30_000 * i64::from(number) + 11_000),
        verdict,
        witness: Witness::Heard,
        reason: None,
        happenings: vec![],
        n_notes_due: 20,
        n_notes_right: 20,
        tempo: None,
        run: None,
        take: Take::default(),
    })
}

#[test]
fn the_command_plans_from_the_journal() {
    let dir = tempfile::tempdir().unwrap();
    assert!(plan(dir.path(), &[]).starts_with("Nothing to plan yet."));
    let mut store = Store::open(dir.path()).unwrap();
    let session = store
        .begin_session(&NewSession {
            started: "2026-03-01T18:00:00+01:00".parse().unwrap(),
            piece_key: "ferry".into(),
            piece_title: "The Ferry at Low Water".into(),
            program_version: "0.1.0".into(),
            seed: 0,
        })
        .unwrap();
    (0..3).for_each(|n| store.append(session, &rep(n, ("1", "4"), Verdict::Clean)).unwrap());
    store.append(session, &rep(3, ("10", "13"), Verdict::Broken)).unwrap();
    let today = plan(dir.path(), &["--on", "2026-03-02", "--minutes", "20"]);
    let at = |what: &str| today.find(what).unwrap_or_else(|| panic!("no {what:?} in\n{today}"));
    assert!(at("the deep channel, bars 10-13") < at("casting off, bars 1-4"), "the weakest first:\n{today}");
    assert!(at("casting off, bars 1-4") < at("new: 3 clean from memory"), "{today}");
    assert!(today.contains("it did not hold yesterday") && today.contains("Reckoned with usual figures"), "{today}");
    let one = plan(dir.path(), &["ferry", "--on", "2026-03-02", "--calibration"]);
    assert!(one.contains("cold 1 of 3, joins 0 of 1, run-throughs 0 of 2") && one.contains("no test on a later day yet"), "{one}");
    assert!(!one.contains('%'), "counts, never a bare percentage");
    let json: serde_json::Value =
        serde_json::from_str(&plan(dir.path(), &["--on", "2026-03-02", "--days", "3", "--json"])).expect("one object");
    assert_eq!(json["days"].as_array().map(Vec::len), Some(3));
    let first = &json["days"][0]["steps"][0];
    assert_eq!(
        (first["kind"].as_str(), first["id"].as_str(), first["piece"].as_str()),
        (Some("section"), Some("section 10-13"), Some("ferry"))
    );
}

#[test]
fn a_sitting_longer_than_is_set_is_told_to_be_long() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir(dir.path().join("pieces")).unwrap();
    let ferry = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry").display().to_string();
    let long = "100 minutes are long for one sitting: with more than 90, two with hours between them are easier on the hands.";
    assert!(plan(dir.path(), &[&ferry, "--minutes", "100"]).contains(long));
    assert!(!plan(dir.path(), &[&ferry, "--minutes", "90"]).contains("long for one sitting"));
    std::fs::write(dir.path().join("config.toml"), "[session]\nlongest-minutes = 30\n").unwrap();
    assert!(plan(dir.path(), &[&ferry, "--minutes", "40"]).contains("with more than 30, two"));
}
