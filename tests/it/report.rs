//! Progress and the story sheet: what they say of a record, and that their pages stand alone and survive hostile names.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use catchword::analysis::analyse;
use catchword::journal::entry::{Answer, Entry, Happening, Mode, Outcome, QuestionKind, Reason, Rep, RepNumber, Verdict, Witness};
use catchword::journal::store::{NewSession, Store};
use catchword::midi::Take;
use catchword::piece::{Cue, Landmark, Piece};
use catchword::piece_folder::open_piece;
use catchword::report::progress::{Held, N_RUNS_MAX, Progress, Records, Trend};
use catchword::report::story_sheet::StorySheet;
use catchword::report::{progress_page, progress_svg, progress_text, story_page};
use catchword::score::{BarIdx, Place};
use catchword::time::{Micros, ScoreTime};
use chrono::{Duration, NaiveDate};

use crate::made_journal::Life;

fn piece(name: &str) -> Piece {
    open_piece(name, None, &[]).unwrap().piece
}

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, month, day).unwrap()
}

fn progress(store: &Store, piece: &Piece, today: NaiveDate) -> Progress {
    let (attempts, answers) = (store.attempts("ferry").unwrap(), store.answers("ferry").unwrap());
    let (runs, pace) = (store.runs("ferry", N_RUNS_MAX).unwrap(), store.latest_pace("ferry").unwrap());
    let records = Records { memory: None, attempts: &attempts, answers: &answers, runs, pace, slips: store.dated_slips("ferry").unwrap() };
    Progress::of(piece, records, today, |rep| store.noted(rep)).unwrap()
}

/// Five weeks of a made player.
fn lived(piece: &Piece) -> Progress {
    lived_days(piece, 36)
}

fn lived_days(piece: &Piece, n_days: u32) -> Progress {
    let mut store = Store::open_in_memory().unwrap();
    Life { piece, key: "ferry", first_day: day(1, 4), n_days, n_reps: 3, seed: 7 }.live(&mut store);
    progress(&store, piece, day(1, 3) + Duration::days(i64::from(n_days)))
}

/// A rep of the first section on a day of March; slips are `kind` at `place`.
struct Played {
    day: u32,
    mode: Mode,
    span: &'static str,
    bars: (&'static str, &'static str),
    verdict: Verdict,
    witness: Witness,
    noted: &'static [(&'static str, &'static str)],
}

const FIRST: Played = Played {
    day: 1,
    mode: Mode::Drill,
    span: "casting off",
    bars: ("1", "4"),
    verdict: Verdict::Clean,
    witness: Witness::Heard,
    noted: &[],
};

fn journal(reps: &[Played]) -> Store {
    let mut store = Store::open_in_memory().unwrap();
    for (nth, played) in reps.iter().enumerate() {
        let started = format!("2027-03-{:02}T18:{:02}:00+01:00", played.day, nth).parse().unwrap();
        let opened = NewSession { started, piece_key: "ferry".into(), piece_title: "x".into(), program_version: "0.1.0".into(), seed: 1 };
        let session = store.begin_session(&opened).unwrap();
        let reason = played.noted.last().map(|(kind, place)| Reason { place: (*place).into(), kind, words: "there".into() });
        let happening = |(kind, place): &(&'static str, &'static str)| Happening {
            at: Micros(2),
            kind,
            place: (*place).into(),
            hand: None,
            setting: None,
        };
        let rep = Rep {
            number: RepNumber(0),
            mode: played.mode,
            span: played.span.into(),
            bars: (played.bars.0.into(), played.bars.1.into()),
            started: Micros(1),
            ended: Micros(30_000_001),
            verdict: played.verdict,
            witness: played.witness,
            reason,
            happenings: played.noted.iter().map(happening).collect(),
            n_notes_due: 20,
            n_notes_right: 20,
            tempo: None,
            run: None,
            take: Take::default(),
        };
        store.append(session, &Entry::Rep(rep)).unwrap();
    }
    store
}

/// The tries of bars 1 to 4 as marks, oldest first.
fn marks(progress: &Progress) -> Vec<String> {
    let mark = |held: Held| match held {
        Held::Yes => '=',
        Held::Cued => '~',
        Held::No => 'x',
    };
    progress.sections[0].bars.iter().map(|b| b.tries.0.iter().map(|t| mark(t.held)).collect()).collect()
}

#[test]
fn each_day_counts_by_its_first_try_and_a_slip_leaves_the_bars_after_it_untried() {
    use Verdict::{Broken, Prompted};
    let store = journal(&[
        // The slip in bar 2 stops the first rep; bars 3 and 4 are first tried by the second, which halts in 4.
        Played { verdict: Broken, noted: &[("wrong", "2.1")], ..FIRST },
        Played { verdict: Broken, noted: &[("hesitation", "4.1")], ..FIRST },
        Played { ..FIRST },
        Played { day: 2, verdict: Prompted, noted: &[("hesitation", "2.1"), ("prompt-1", "2.1")], ..FIRST },
        Played { day: 2, ..FIRST },
        Played { day: 4, ..FIRST },
        Played { day: 4, ..FIRST },
        Played { day: 4, ..FIRST },
    ]);
    let progress = progress(&store, &piece("ferry"), day(3, 4));
    assert_eq!(marks(&progress), ["===", "x~=", "===", "x=="]);
    let section = &progress.sections[0];
    assert_eq!(section.tries.0.iter().map(|t| t.held).collect::<Vec<_>>(), [Held::No, Held::Cued, Held::Yes]);
    assert_eq!((section.n_clean_days, section.today, section.is_warm), (3, (3, 3), true));
    assert_eq!(section.bars[1].tries.trend(), Trend::Better);
    assert_eq!(section.bars[0].tries.trend(), Trend::Same);
    assert_eq!((&progress.gained, &progress.lost), (&vec!["casting off".to_owned()], &vec![]));
    assert!(progress.sections[1].tries.0.is_empty());
    assert_eq!(progress.stubborn.iter().map(|s| (s.label.as_str(), s.n_days)).collect::<Vec<_>>(), [("2", 2)]);
    let text = progress_text::lines(&progress).join("\n");
    assert!(text.contains("  1 of 3 first tries held; clean on 3 days; today 3 of 3 clean: warm"), "{text}");
    assert!(text.contains("     1 ===     2 x~= +   3 ===     4 x== +"), "{text}");
    assert!(text.contains("Held last time, and had not before: casting off."), "{text}");
}

#[test]
fn what_is_read_from_the_page_is_no_memory_and_what_is_told_is_marked() {
    let store = journal(&[
        Played { mode: Mode::Reading, bars: ("1", "24"), span: "whole piece", ..FIRST },
        Played { day: 2, witness: Witness::Told, ..FIRST },
        Played { day: 3, witness: Witness::Told, verdict: Verdict::Broken, ..FIRST },
    ]);
    let progress = progress(&store, &piece("ferry"), day(3, 3));
    // The player said that it did not hold, and not where.
    assert_eq!(marks(&progress), ["=", "=", "=", "="]);
    let section = &progress.sections[0];
    assert_eq!(section.tries.0.iter().map(|t| t.held).collect::<Vec<_>>(), [Held::Yes, Held::No]);
    assert_eq!((section.n_clean_days, progress.n_readings, progress.n_told), (1, 1, 2));
    assert_eq!(progress.lost, ["casting off"]);
    let text = progress_text::lines(&progress).join("\n");
    assert!(text.contains("1 ..='") && text.contains("by the player's word") && text.contains("Played from the page once"), "{text}");
    assert!(progress_page::page(&progress).contains("stroke-dasharray"));
}

#[test]
fn a_joined_span_tries_its_sections_and_an_answer_its_bar() {
    let mut store =
        journal(&[Played { bars: ("1", "9"), span: "both", verdict: Verdict::Broken, noted: &[("wrong-turn", "6.1")], ..FIRST }]);
    let session = store.sessions().unwrap()[0].id;
    let answer = |number, place: &str, outcome| {
        let recall = if outcome == Outcome::Held { Some(Micros(63_000_000)) } else { None };
        Entry::Answer(Answer {
            number,
            kind: QuestionKind::ColdStart,
            place: place.into(),
            asked: Micros(60_000_000),
            first_right: recall,
            ended: Micros(70_000_000),
            outcome,
            witness: Witness::Heard,
            n_notes_between: None,
            happenings: vec![],
            take: Take::default(),
        })
    };
    store.append(session, &answer(0, "10.1", Outcome::Held)).unwrap();
    store.append(session, &answer(1, "14.1", Outcome::OutOfTime)).unwrap();
    let progress = progress(&store, &piece("ferry"), day(3, 1));
    assert_eq!(marks(&progress), ["=", "=", "=", "="]);
    let held = |section: usize| progress.sections[section].tries.last().map(|t| t.held);
    assert_eq!((held(0), held(1), held(2)), (Some(Held::Yes), Some(Held::No), None));
    let bar = |section: usize, bar: usize| progress.sections[section].bars[bar].tries.last().map(|t| t.held);
    assert_eq!((bar(1, 1), bar(1, 2), bar(2, 0), bar(3, 0)), (Some(Held::No), None, Some(Held::Yes), Some(Held::No)));
    assert_eq!((progress.recall[0].median_s, progress.recall[0].n_answers), (3.0, 1));
}

#[test]
fn a_piece_without_a_record_says_so_and_a_shorter_score_than_was_played_is_no_trouble() {
    let ferry = piece("ferry");
    let empty = progress(&Store::open_in_memory().unwrap(), &ferry, day(3, 1));
    assert_eq!(progress_text::lines(&empty), ["The Ferry at Low Water", "Nothing of this piece has been played from memory yet."]);
    assert!(progress_page::page(&empty).contains("Nothing of this piece"));
    let store = journal(&[Played { bars: ("90", "95"), verdict: Verdict::Broken, noted: &[("wrong", "91.1")], ..FIRST }]);
    let progress = progress(&store, &ferry, day(3, 1));
    assert!(progress.sections.iter().all(|s| s.tries.0.is_empty()));
    assert!(progress_text::lines(&progress).len() > 10);
}

#[test]
fn weeks_of_practice_fit_eighty_columns_and_say_counts_only() {
    let progress = lived(&piece("ferry"));
    let lines = progress_text::lines(&progress);
    for line in &lines {
        assert!(line.chars().count() <= 80, "{line:?}");
    }
    let text = lines.join("\n");
    for part in ["casting off, bars 1-4", "Run-throughs:", "Stubborn places", "From question to first note:", "Mon      Tue", "•"] {
        assert!(text.contains(part), "{part} is not in\n{text}");
    }
    // As the made player took the latest run-through: bars 3 and 21 and those beside them hurried, the last bar broad.
    let steadiness = "of 8 Feb, set against the reading: a tenth or more faster in bars 2-4, bars 20-22; a tenth or more slower in bar 24.";
    assert!(progress.pace.is_some());
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for page in [flat(&text), progress_page::page(&progress)] {
        assert!(page.contains(steadiness), "{page}");
    }
    for (name, page) in [("text", text.clone()), ("page", progress_page::page(&progress))] {
        let shown: String = page.split("</style>").last().unwrap().split('<').filter_map(|part| part.split('>').next_back()).collect();
        assert!(!shown.contains('%'), "{name}: counts, never a bare percentage");
        for word in ["score", "streak", "level", "point", "star "] {
            assert!(!shown.to_lowercase().contains(word), "{name}: {word}");
        }
    }
}

/// Returns what a page would fetch or run.
fn reaches_out(page: &str) -> Vec<&'static str> {
    let suspects = ["<script", "http://", "https://", "url(", "@import", "<link", "<img", "<iframe", "onload", "javascript:"];
    let page = page.replace("http://www.w3.org/2000/svg", "");
    suspects.into_iter().filter(|s| page.to_lowercase().contains(s)).collect()
}

const HOSTILE: &str = "<script>alert('x')</script>\" onload=\"y & \u{1b}[31m\u{0}\u{202e}</svg></style>";

#[test]
fn pages_stand_alone_and_hostile_names_stay_text() {
    let mut piece = piece("ferry");
    piece.title = HOSTILE.to_owned();
    piece.sections[0].name = HOSTILE.to_owned();
    let place = Place { bar: BarIdx(0), into_bar: ScoreTime::ZERO };
    piece.cues.insert(0, Cue { place, hand: None, text: HOSTILE.to_owned(), more: Some(HOSTILE.to_owned()) });
    piece.landmarks[0] = Landmark { place, name: HOSTILE.to_owned(), setting: Some(HOSTILE.to_owned()) };
    let mut score = (*piece.score).clone();
    score.bars[1].label.0 = HOSTILE.to_owned();
    piece.score = Arc::new(score);
    let progress = lived(&piece);
    let sheet = StorySheet::of(&piece, analyse(&piece.score, piece.part).as_ref());
    let text = [progress_text::lines(&progress), sheet.lines()].concat().join("\n");
    assert!(!text.chars().any(|c| c.is_control() && c != '\n'), "nothing that steers a terminal");
    let svg = progress_svg::sheet(&progress);
    let parsed = roxmltree::Document::parse(&svg).expect("well-formed XML");
    assert!(parsed.descendants().filter_map(|n| n.text()).any(|t| t.contains("<script>")), "the name is there, as text");
    for (name, page) in [("progress", progress_page::page(&progress)), ("svg", svg.clone()), ("story", story_page::page(&sheet))] {
        // What is left once quoted marks are text again would run; as written it must not.
        assert!(page.contains("&lt;script&gt;"), "{name}");
        assert!(!page.contains("<script") && !page.contains("\" onload=\""), "{name}");
        assert!(!page.chars().any(|c| c.is_control() && c != '\n'), "{name}");
        let without_name = page.replace("onload", "");
        assert_eq!(reaches_out(&without_name), Vec::<&str>::new(), "{name}");
    }
    // The SVG inside the page is balanced as well.
    let page = progress_page::page(&progress);
    assert_eq!(page.matches("<svg").count(), page.matches("</svg>").count());
}

#[test]
fn the_story_sheet_has_every_section_line_and_switch_of_the_piece() {
    let ferry = piece("ferry");
    let sheet = StorySheet::of(&ferry, analyse(&ferry.score, ferry.part).as_ref());
    let text = sheet.lines().join("\n");
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let (text, page) = (flat(&text), flat(&story_page::page(&sheet)));
    for section in &ferry.sections {
        assert!(text.contains(&section.name) && page.contains(&section.name), "{}", section.name);
    }
    for cue in &ferry.cues {
        assert!(text.contains(&flat(&cue.text)) && text.contains(&flat(cue.more.as_deref().unwrap_or_default())), "{}", cue.text);
    }
    assert_eq!(text.matches("A levers up, all others down").count(), 1, "a setting that all landmarks share is said once");
    assert!(!sheet.is_draft);
    // The demo's own story has the switch of bars 4 and 21 (pieces/ferry/piece.toml): the analysis must find it by itself.
    let bars: Vec<[&str; 2]> = sheet.switches.iter().map(|s| [s.ways[0].0.as_str(), s.ways[1].0.as_str()]).collect();
    assert!(bars.contains(&["bar 4, beat 1", "bar 21, beat 1"]), "{bars:?}");
    let [(_, there), (_, here)] = &sheet.switches.iter().find(|s| s.ways[1].0 == "bar 21, beat 1").unwrap().ways;
    assert_ne!(there, here);
    for line in sheet.lines() {
        assert!(line.chars().count() <= 80, "{line:?}");
    }
}

#[test]
fn a_bare_score_gets_a_drafted_story_that_says_so() {
    let ferry = piece("ferry");
    let bare = Piece { cues: vec![], landmarks: vec![], ..ferry };
    let sheet = StorySheet::of(&bare, analyse(&bare.score, bare.part).as_ref());
    assert!(sheet.is_draft && sheet.sections.iter().map(|s| s.lines.len()).sum::<usize>() > 10);
    assert!(story_page::page(&sheet).contains("Drafted from the score"));
    assert!(StorySheet::of(&bare, None).switches.is_empty());
}

#[test]
fn a_page_is_written_over_its_own_kind_only() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().display().to_string();
    let run = |args: &[&str]| Command::new(env!("CARGO_BIN_EXE_catchword")).args(args).args(["--data", &data]).output().unwrap();
    let file = |name: &str| dir.path().join(name).display().to_string();
    let (page, picture, own) = (file("page.html"), file("page.svg"), file("piece.toml"));
    fs::write(&own, "title = \"mine\"").unwrap();
    for _ in 0..2 {
        assert!(run(&["story", "ferry", "--html", &page]).status.success());
        assert!(run(&["progress", "ferry", "--html", &page, "--svg", &picture]).status.success());
    }
    assert!(fs::read_to_string(&page).unwrap().starts_with("<!DOCTYPE html>") && fs::read_to_string(&picture).unwrap().starts_with("<svg"));
    for command in ["story", "progress"] {
        let refused = run(&[command, "ferry", "--html", &own]);
        assert!(String::from_utf8_lossy(&refused.stderr).contains("give another name"), "{command}");
        assert_eq!(fs::read_to_string(&own).unwrap(), "title = \"mine\"");
    }
    let said = run(&["progress", "ferry"]);
    assert_eq!(String::from_utf8(said.stdout).unwrap().lines().count(), 2, "to a pipe, plain lines");
}

/// Writes the pages of a made player into `target/tmp/pages`, to be looked at in a browser:
/// `cargo test --test it report::pages -- --ignored`.
#[test]
#[ignore = "writes pages to look at"]
fn pages_to_look_at() {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("pages");
    fs::create_dir_all(&dir).unwrap();
    for name in ["ferry", "all-through-the-night"] {
        let piece = piece(name);
        let (progress, early) = (lived(&piece), lived_days(&piece, 10));
        let sheet = StorySheet::of(&piece, analyse(&piece.score, piece.part).as_ref());
        let write = |ending: &str, text: String| fs::write(dir.join(format!("{name}-{ending}")), text).unwrap();
        write("progress.html", progress_page::page(&progress));
        write("early.html", progress_page::page(&early));
        write("early.svg", progress_svg::sheet(&early));
        write("early.txt", progress_text::lines(&early).join("\n"));
        write("progress.svg", progress_svg::sheet(&progress));
        write("progress.txt", progress_text::lines(&progress).join("\n"));
        write("story.html", story_page::page(&sheet));
        write("story.txt", sheet.lines().join("\n"));
    }
}
