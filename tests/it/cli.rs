//! The program as a command: one run a subcommand, what it prints, how it ends.

use std::path::Path;
use std::process::{Command, Output};

use catchword::midi::Take;
use catchword::piece_folder::open_piece;
use catchword::practice::Span;
use catchword::source::player::{Manner, Planned, perform};
use catchword::source::replay::write_take_lines;
use catchword::theory::Hand;
use catchword::time::{Micros, Stamped, Tempo};

/// Fast enough for a test that plays in real time; the piece below sets no tempo.
pub const QUICK: f64 = 260.0;

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_catchword")).args(args).output().expect("the program starts")
}

fn printed(args: &[&str]) -> String {
    let output = run(args);
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn complaint(args: &[&str], code: i32) -> String {
    let output = run(args);
    assert_eq!(output.status.code(), Some(code), "{args:?}");
    assert!(output.stdout.is_empty());
    String::from_utf8(output.stderr).unwrap()
}

/// A copy of the demo piece without a tempo of its own, so that it may be played at any speed.
pub fn quick_piece(dir: &Path) -> String {
    let ferry = Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry");
    let text = std::fs::read_to_string(ferry.join("piece.toml")).unwrap();
    let text: String = text.lines().filter(|l| !l.starts_with("tempo")).flat_map(|l| [l, "\n"]).collect();
    let score = std::fs::read_to_string(ferry.join("ferry.musicxml")).unwrap();
    let folder = dir.join("pieces/crossing");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("piece.toml"), text).unwrap();
    std::fs::write(folder.join("ferry.musicxml"), score.replace("<sound tempo=\"96\"/>", &format!("<sound tempo=\"{QUICK}\"/>"))).unwrap();
    folder.display().to_string()
}

/// Reps of the first section one after the other, a rest after each.
fn evening(piece: &str, reps: &[Vec<Planned>]) -> Take {
    let piece = open_piece(piece, None, &[]).unwrap().piece;
    let span = Span::of_piece(&piece).remove(0);
    let mut at = Micros::ZERO;
    let mut take = Take::default();
    for (n, planned) in reps.iter().enumerate() {
        let manner =
            Manner { planned: planned.clone(), roll: Micros::from_millis(90), ..Manner::fluent(Tempo::try_new(QUICK).unwrap(), n as u64) };
        let rep = perform(piece.part(), &span.stretch, &manner);
        for event in rep.events() {
            take.push(Stamped { at: at + event.at, what: event.what });
        }
        at = at + rep.length() + Micros::from_millis(1_500);
    }
    take
}

#[test]
fn a_demo_without_a_terminal_prints_the_whole_job_and_the_same_each_time() {
    let first = printed(&["demo"]);
    let wanted = [
        "section casting off, bars 1 to 4 (1 of 3)",
        "clean, 1 of 3",
        "cue: ",
        "on: playing again",
        "look: bar 2, beat 1, left hand: not what is written",
        "clean, 2 of 3",
        "done: casting off, 3 of 3",
        "section to the far bank, bars 5 to 9 (2 of 3)",
        "run-through: whole piece, bars 1 to 24",
        "casting off: 3 of 5 reps clean, 1 with a cue",
    ];
    let mut rest = first.as_str();
    for line in wanted {
        let at = rest.find(line).unwrap_or_else(|| panic!("{line:?} is missing, or out of order, in\n{first}"));
        rest = &rest[at + line.len()..];
    }
    assert_eq!(printed(&["demo"]), first);
}

#[test]
fn what_was_drilled_is_in_the_journal_and_its_takes_trace_to_the_same_verdicts() {
    let dir = tempfile::tempdir().unwrap();
    let (data, piece) = (dir.path().display().to_string(), quick_piece(dir.path()));
    let bar = |n: i64| catchword::time::ScoreTime::quarters(3 * n);
    let take = evening(
        &piece,
        &[
            vec![],
            vec![Planned::Pause { at: bar(2), length: Micros::from_millis(2_400) }],
            vec![Planned::Wrong { at: bar(1), hand: Hand::Left }],
            vec![],
        ],
    );
    let recording = dir.path().join("evening.jsonl");
    std::fs::write(&recording, write_take_lines(&take)).unwrap();
    let input = format!("take:{}", recording.display());
    let drilled = printed(&["drill", "crossing", "--plain", "--data", &data, "--input", &input]);
    for line in ["clean, 1 of 3", "cue: ", "look: bar 2, beat 1, left hand", "clean, 2 of 3"] {
        assert!(drilled.contains(line), "{line:?} is not in\n{drilled}");
    }
    let reps = printed(&["reps", "crossing", "--data", &data]);
    let verdict_of = |line: &str| {
        let words = line.split(": ").nth(1).unwrap_or_default();
        words.split(';').next().unwrap_or_default().to_owned()
    };
    let verdicts: Vec<String> = reps.lines().map(verdict_of).collect();
    assert_eq!(verdicts, ["clean", "with a cue", "not clean", "clean"], "{reps}");
    for (n, verdict) in verdicts.iter().enumerate() {
        let file = dir.path().join(format!("rep{n}.mid")).display().to_string();
        printed(&["reps", "crossing", "--data", &data, "--take", &(n + 1).to_string(), "--out", &file]);
        let traced = printed(&["trace", &piece, "--take", &file, "--span", "casting off", "--json"]);
        let rep = traced.lines().find(|l| l.contains("\"kind\":\"rep\"")).unwrap_or_else(|| panic!("no rep in\n{traced}"));
        let word = match verdict.as_str() {
            "clean" => "clean",
            "with a cue" => "prompted",
            _ => "broken",
        };
        assert!(rep.contains(&format!("\"verdict\":\"{word}\"")), "rep {n} was {verdict}: {rep}");
    }
}

/// The whole piece at the quick tempo, as one take of JSON lines.
fn whole_take(piece: &str, planned: Vec<Planned>, seed: u64, file: &Path) -> String {
    let piece = open_piece(piece, None, &[]).unwrap().piece;
    let whole = Span::of_piece(&piece).pop().unwrap();
    let manner = Manner { planned, roll: Micros::from_millis(90), ..Manner::fluent(Tempo::try_new(QUICK).unwrap(), seed) };
    std::fs::write(file, write_take_lines(&perform(piece.part(), &whole.stretch, &manner))).unwrap();
    format!("take:{}", file.display())
}

#[test]
fn a_reading_take_says_what_is_ready_and_its_timing_is_known_from_then_on() {
    let dir = tempfile::tempdir().unwrap();
    let (data, piece) = (dir.path().display().to_string(), quick_piece(dir.path()));
    let whole = Span::of_piece(&open_piece(&piece, None, &[]).unwrap().piece).pop().unwrap();
    // The 26th bar played is bar 19 on the page, in "back in sight"; before its second beat the reader takes three bars to find the notes.
    // In bar 2 they breathe for half a second, both times: that is theirs, and no hesitation.
    let bar = |nth: usize| whole.stretch.bars[nth - 1].start;
    let breath = Micros::from_millis(550);
    let beat_2 = |nth: usize| bar(nth) + catchword::time::ScoreTime::quarters(1);
    let breaths = || vec![Planned::Pause { at: beat_2(2), length: breath }, Planned::Pause { at: beat_2(10), length: breath }];
    let mut planned = breaths();
    planned.push(Planned::Pause { at: bar(26), length: Micros::from_millis(3_000) });
    let input = whole_take(&piece, planned, 4, &dir.path().join("reading.jsonl"));
    let read = printed(&["read", "crossing", "--plain", "--data", &data, "--input", &input]);
    assert!(read.contains("from the page: whole piece, bars 1 to 24"), "{read}");
    assert!(read.contains("not ready yet: 5 of 6 sections read well; read these first"), "{read}");
    assert!(read.contains("bars 18-21 (back in sight): "), "{read}");
    assert!(read.contains("before bar 19"), "{read}");
    assert!(!read.contains("cue: ") && !read.contains("look: "), "{read}");

    // The drill that follows knows the breath; one that knows nothing of the player takes it for a hesitation.
    let piece_value = open_piece(&piece, None, &[]).unwrap().piece;
    let span = Span::of_piece(&piece_value).remove(0);
    let planned = vec![Planned::Pause { at: beat_2(2), length: breath }];
    let manner = Manner { planned, roll: Micros::from_millis(90), ..Manner::fluent(Tempo::try_new(QUICK).unwrap(), 11) };
    let file = dir.path().join("rep.jsonl");
    std::fs::write(&file, write_take_lines(&perform(piece_value.part(), &span.stretch, &manner))).unwrap();
    let input = format!("take:{}", file.display());
    let drilled = printed(&["drill", "crossing", "--plain", "--data", &data, "--input", &input]);
    assert!(drilled.contains("clean, 1 of 3"), "{drilled}");
    let unknown = printed(&["trace", &piece, "--take", &file.display().to_string(), "--span", "casting off"]);
    assert!(unknown.contains("not clean") || unknown.contains("Stops"), "{unknown}");

    // The journal's rep is judged again as it was.
    let reps = printed(&["reps", "crossing", "--data", &data]);
    assert_eq!(reps.lines().count(), 2, "{reps}");
    let traced = printed(&["trace", "crossing", "--rep", "2", "--data", &data, "--json"]);
    assert!(traced.contains("\"verdict\":\"clean\""), "{traced}");
    assert!(complaint(&["trace", "crossing", "--rep", "3", "--data", &data], 1).contains("there is no rep 3"));
}

#[test]
fn a_stored_rep_is_judged_by_the_numbers_of_its_session_and_says_so_where_others_are_set_now() {
    let dir = tempfile::tempdir().unwrap();
    let (data, piece) = (dir.path().display().to_string(), quick_piece(dir.path()));
    let settings = |text: &str| std::fs::write(dir.path().join("config.toml"), text).unwrap();
    let pause = Planned::Pause { at: catchword::time::ScoreTime::quarters(6), length: Micros::from_millis(700) };
    let recording = dir.path().join("rep.jsonl");
    std::fs::write(&recording, write_take_lines(&evening(&piece, &[vec![pause]]))).unwrap();
    let input = format!("take:{}", recording.display());
    let drill = || printed(&["drill", "crossing", "--plain", "--data", &data, "--input", &input]);
    let trace = |n: &str, format: &[&str]| printed(&[&["trace", "crossing", "--rep", n, "--data", &data], format].concat());

    let drilled = drill();
    assert!(drilled.contains("a stop before it"), "{drilled}");
    // A patient player: a silence of 0.7 s is no hesitation to them.
    settings("language = \"en\"\n[hesitation]\nfloor-s = 1.0\nfactor = 2.5\n");
    let drilled = drill();
    assert!(drilled.contains("clean, 1 of 3"), "{drilled}");
    let same = trace("2", &["--json"]);
    assert!(same.contains("\"verdict\":\"clean\"") && !same.contains("\"kind\":\"settings\""), "{same}");
    assert!(trace("1", &[]).starts_with("Judged by the usual numbers, as in its session; others are set now.\n"));
    let usual = trace("1", &["--json"]);
    assert!(usual.starts_with("{\"kind\":\"settings\",\"text\":\"\"}\n") && usual.contains("\"verdict\":\"broken\""), "{usual}");

    settings("");
    let then = trace("2", &["--json"]);
    assert!(then.contains("\"verdict\":\"clean\""), "{then}");
    assert!(then.starts_with("{\"kind\":\"settings\",\"text\":\"hesitation.floor-s = 1.0\\nhesitation.factor = 2.5\\n\"}"), "{then}");
    let then = trace("2", &[]);
    let wanted = "Judged by the numbers of its session, not by those set now: hesitation.floor-s = 1.0, hesitation.factor = 2.5.\n";
    assert!(then.starts_with(wanted), "{then}");
    let same = trace("1", &["--json"]);
    assert!(same.contains("\"verdict\":\"broken\"") && !same.contains("\"kind\":\"settings\""), "{same}");
    // A take that no session had is judged by what is set.
    settings("[hesitation]\nfloor-s = 1.0\nfactor = 2.5\n");
    let given = recording.display().to_string();
    let traced = printed(&["trace", "crossing", "--take", &given, "--span", "casting off", "--data", &data, "--json"]);
    assert!(traced.contains("\"verdict\":\"clean\""), "{traced}");
}

#[test]
fn a_run_through_of_the_whole_piece_is_told_by_trace() {
    let dir = tempfile::tempdir().unwrap();
    let piece = quick_piece(dir.path());
    let whole = Span::of_piece(&open_piece(&piece, None, &[]).unwrap().piece).pop().unwrap();
    let at = whole.stretch.bars[13].start;
    whole_take(&piece, vec![Planned::Pause { at, length: Micros::from_millis(4_000) }], 6, &dir.path().join("run.jsonl"));
    let take = dir.path().join("run.jsonl").display().to_string();
    let traced = printed(&["trace", &piece, "--take", &take, "--json"]);
    let rep: serde_json::Value = traced.lines().last().map(|l| serde_json::from_str(l).unwrap()).unwrap();
    let run = &rep["run"];
    assert_eq!((run["held"].as_bool(), run["bars"].as_u64(), run["bars_played"].as_u64()), (Some(true), Some(31), Some(31)), "{rep}");
    assert_eq!(run["lapses"].as_array().map(Vec::len), Some(1), "{rep}");
    assert_eq!(run["lapses"][0]["recovery"], "went-on", "{rep}");
}

#[test]
fn a_trace_is_the_same_byte_for_byte_each_time() {
    let dir = tempfile::tempdir().unwrap();
    let piece = quick_piece(dir.path());
    let bar = catchword::time::ScoreTime::quarters(3);
    let take = evening(&piece, &[vec![Planned::Wrong { at: bar, hand: Hand::Right }], vec![]]);
    let recording = dir.path().join("take.jsonl").display().to_string();
    std::fs::write(&recording, write_take_lines(&take)).unwrap();
    for args in [&["--json"][..], &["--json", "--span", "1-4"], &[]] {
        let args: Vec<&str> = ["trace", &piece, "--take", &recording].into_iter().chain(args.iter().copied()).collect();
        let once = run(&args).stdout;
        assert!(!once.is_empty());
        assert_eq!(run(&args).stdout, once, "{args:?}");
    }
}

#[test]
fn every_performed_note_of_a_trace_has_its_line() {
    let dir = tempfile::tempdir().unwrap();
    let piece = quick_piece(dir.path());
    let take = evening(&piece, &[vec![], vec![]]);
    let n_notes = take.events().iter().filter(|e| matches!(e.what, catchword::midi::MidiEvent::NoteOn { .. })).count();
    let recording = dir.path().join("take.jsonl").display().to_string();
    std::fs::write(&recording, write_take_lines(&take)).unwrap();
    for span in [&[][..], &["--span", "casting off"]] {
        let args: Vec<&str> = ["trace", &piece, "--take", &recording, "--json"].into_iter().chain(span.iter().copied()).collect();
        let lines = printed(&args);
        let notes: Vec<serde_json::Value> =
            lines.lines().map(|l| serde_json::from_str(l).unwrap()).filter(|v: &serde_json::Value| v["kind"] == "note").collect();
        assert_eq!(notes.len(), n_notes, "{args:?}");
        assert!(notes.iter().all(|n| n["beat"].is_number() && n["t"].is_number() && n["heard"].is_string()));
        let right = notes.iter().filter(|n| n["heard"] == "expected" && n["score_note"].is_number()).count();
        assert!(right * 10 > n_notes * 4, "{right} of {n_notes} notes are of the score");
    }
}

#[test]
fn the_account_of_a_take_says_what_holds_and_where_to_look() {
    let dir = tempfile::tempdir().unwrap();
    let folder = quick_piece(dir.path());
    let piece = open_piece(&folder, None, &[]).unwrap().piece;
    let whole = Span::of_piece(&piece).pop().unwrap();
    let bar = |n: usize| whole.stretch.bars[n].start;
    let planned = vec![
        Planned::Wrong { at: bar(2), hand: Hand::Left },
        Planned::Restart { at: bar(18), to: bar(17), pause: Micros::from_millis(2_500) },
        Planned::Pause { at: bar(28), length: Micros::from_millis(3_000) },
    ];
    let manner = Manner { planned, roll: Micros::from_millis(90), ..Manner::fluent(Tempo::try_new(QUICK).unwrap(), 5) };
    let recording = dir.path().join("whole.jsonl").display().to_string();
    std::fs::write(&recording, write_take_lines(&perform(piece.part(), &whole.stretch, &manner))).unwrap();
    let account = printed(&["trace", &folder, "--take", &recording]);
    let lines: Vec<&str> = account.lines().collect();
    assert!(lines[0].starts_with("The Ferry at Low Water, bars 1 to 24: 206 of 207 notes in their place, about 2"), "{account}");
    assert!(lines.contains(&"Slips: bar 3, left hand, not what is written."), "{account}");
    let stops = lines.iter().find(|l| l.starts_with("Stops: ")).unwrap_or_else(|| panic!("no stops in\n{account}"));
    // The 19th bar played is bar 12 on the page, the 29th is bar 22: bars 1 to 7 come twice, bar 8 gives way to bar 9.
    assert!(stops.contains("began again from bar 11") && stops.contains("before bar 22"), "{account}");
    assert!(lines.iter().any(|l| l.starts_with("Bars ") && l.ends_with(" hold.")), "{account}");
    assert!(lines.last().unwrap().starts_with("Look first at bars 3, "), "{account}");
    assert!(lines.len() <= 5, "an account is short:\n{account}");
}

#[test]
fn complaints_say_what_is_wrong_and_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().display().to_string();
    for (args, code, words) in [
        (&["drill", "fery", "--data", &data][..], 1, "did you mean \"ferry\"?"),
        (&["drill", "ferry", "--section", "castin off", "--data", &data], 1, "casting off"),
        (&["drill", "ferry", "--input", "stream:/nowhere/at/all", "--data", &data, "--plain"], 1, "/nowhere/at/all"),
        (&["trace", "ferry", "--take", "no-such-take.mid"], 1, "no-such-take.mid"),
        (&["inspect", "Cargo.toml"], 1, "Cargo.toml"),
        (&["drill", "ferry", "--reps", "0"], 2, "1..=9"),
        (&["practise"], 2, "unrecognized subcommand"),
    ] {
        let said = complaint(args, code);
        assert!(said.contains(words), "{args:?} said {said:?}");
    }
}

#[test]
fn the_built_in_player_can_be_an_input_and_leaves_no_record() {
    let dir = tempfile::tempdir().unwrap();
    let (data, piece) = (dir.path().display().to_string(), quick_piece(dir.path()));
    let lines = printed(&["drill", &piece, "--input", "player", "--section", "1-2", "--reps", "1", "--plain", "--data", &data]);
    assert!(lines.contains("clean"), "{lines}");
    let kept = printed(&["reps", "crossing", "--data", &data]);
    assert!(kept.starts_with("no reps of crossing"), "{kept}");
}

#[test]
fn without_a_piece_drill_lists_what_there_is() {
    let dir = tempfile::tempdir().unwrap();
    let listed = printed(&["drill", "--data", &dir.path().display().to_string()]);
    assert!(listed.contains("ferry") && listed.contains("all-through-the-night"), "{listed}");
}

#[test]
fn the_strings_of_a_harp_are_told_with_what_cannot_be_played() {
    let dir = tempfile::tempdir().unwrap();
    let piece = quick_piece(dir.path());
    let told = printed(&["strings", &piece]);
    assert_eq!(
        told,
        "lever harp: 36 strings, C2 to C7 (C4 is middle C), tuned in Eb; with levers on every string it reaches Eb, Bb, F, C, G, D, A, E\n\
         at the start: A levers up\nnothing moves\n",
        "two flats: the A levers of an E flat tuning are up"
    );
    let file = Path::new(&piece).join("piece.toml");
    let toml = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, format!("{toml}\n[harp]\ntuning = \"C\"\nhighest = \"A4\"\n")).unwrap();
    let told = printed(&["strings", &piece]);
    assert!(told.starts_with("lever harp: 20 strings, C2 to A4 (C4 is middle C), tuned in C;"), "{told}");
    assert!(told.contains(": no lever makes B flat\n") && told.contains(": the harp has no string for this note\n"), "{told}");
}

#[test]
fn the_settings_in_force_are_shown_with_where_they_come_from() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().display().to_string();
    let shown = printed(&["config", "--show", "--data", &data]);
    assert!(shown.starts_with("no settings file; one at ") && shown.contains("0.7  (usual)\n"), "{shown}");
    std::fs::write(dir.path().join("config.toml"), "\n[prompts]\ncue-s = 1.5\n").unwrap();
    let shown = printed(&["config", "--show", "--data", &data]);
    assert!(shown.starts_with("settings from ") && shown.contains("1.5  (line 3)\n"), "{shown}");
    std::fs::write(dir.path().join("config.toml"), "[prompt]\n").unwrap();
    let complaint = complaint(&["config", "--data", &data], 1);
    assert!(
        complaint.contains("config.toml:1:2: expected a key of the settings, found \"prompt\"; did you mean \"prompts\"?"),
        "{complaint}"
    );
}

#[test]
fn completions_and_manual_know_every_command() {
    let dir = tempfile::tempdir().unwrap();
    let help = printed(&["--help"]);
    // Rows of commands begin two columns in; what a long description runs over into begins further right.
    let rows = help.lines().filter_map(|l| l.strip_prefix("  ").filter(|row| !row.starts_with(' ')));
    let commands = rows.filter_map(|row| row.split_whitespace().next()).filter(|w| w.chars().all(|c| c.is_ascii_lowercase()));
    let commands: Vec<String> = commands.filter(|w| *w != "help").map(str::to_owned).collect();
    assert!(commands.len() >= 10 && commands.contains(&"drill".to_owned()), "{commands:?}");
    printed(&["manual", &dir.path().display().to_string()]);
    let script = printed(&["completions", "bash"]);
    for command in commands {
        let page = std::fs::read_to_string(dir.path().join(format!("catchword-{command}.1"))).unwrap();
        assert!(page.contains(".TH"), "{command}");
        assert!(
            script.contains(&format!("catchword__{command}")) || script.contains(&format!("catchword__subcmd__{command}")),
            "{command}"
        );
    }
}
