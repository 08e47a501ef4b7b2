//! What the real program shows in French: the screens of a study, the pages, the plan; no English text of the code is on any of them.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use catchword::journal::store::Store;
use catchword::piece_folder::open_piece;
use chrono::NaiveDate;
use portable_pty::CommandBuilder;
use tempfile::TempDir;

use super::catalogue;
use super::source::{Literal, literals_of};
use crate::made_journal::Life;
use crate::terminal::pty::{Pty, program};

/// The rooms whose texts a player reads on these screens and pages.
const ROOMS: [&str; 16] = [
    "analysis",
    "cli/plan/words.rs",
    "memory",
    "memory.rs",
    "practice",
    "practice.rs",
    "report",
    "report.rs",
    "score",
    "setting",
    "setting.rs",
    "study",
    "study.rs",
    "theory",
    "tui",
    "tui.rs",
];

/// Texts that look like English and are none, or that no player reads: where they stand, how they begin, and why.
const ALLOWED: [(&str, &str, &str); 8] = [
    ("analysis/draft.rs", "# Drafted by", "a comment in a file"),
    ("analysis/facts.rs", "added second", "a kind, for JSON"),
    ("memory/item.rs", "the parting in bar", "a name of the journal; language::named shows it"),
    ("memory/simulate.rs", "A made piece", "the title of a piece that nobody sees"),
    ("practice/span.rs", "whole piece", "a name of the journal; language::named shows it"),
    ("setting/stand.rs", "double flat", "a word of the journal"),
    ("setting/stand.rs", "double sharp", "a word of the journal"),
    ("report/story_page.rs", "\n.story {", "style of a page"),
];

#[test]
fn every_english_text_of_these_rooms_is_in_the_catalogue() {
    let left = literals_of(&ROOMS).into_iter().filter(|literal| !literal.is_settled() && is_sentence(&literal.text));
    let left: Vec<Literal> = left.collect();
    let is_allowed = |literal: &&Literal| ALLOWED.iter().any(|(file, begins, _)| literal.file == *file && literal.text.starts_with(begins));
    let said: Vec<String> = left.iter().filter(|l| !is_allowed(l)).map(|l| format!("src/{}:{}: {:?}", l.file, l.line, l.text)).collect();
    assert!(said.is_empty(), "neither in tr! nor in msgid!:\n{}", said.join("\n"));
    for (file, begins, _) in ALLOWED {
        assert!(left.iter().any(|l| l.file == file && l.text.starts_with(begins)), "{file} has no {begins:?} any more");
    }
}

/// Tells whether a text has two words or more beside its blanks.
fn is_sentence(text: &str) -> bool {
    let is_word = |word: &&str| word.chars().count() > 1 && word.chars().all(|c| c.is_alphabetic() || "'-".contains(c));
    let words = |part: &str| part.split_whitespace().map(|w| w.trim_matches(|c| ",.;:()?".contains(c)).to_owned()).collect::<Vec<_>>();
    outside_blanks(text).iter().any(|part| words(part).iter().map(String::as_str).filter(is_word).count() > 1)
}

/// Returns the parts of a text between its blanks.
fn outside_blanks(text: &str) -> Vec<String> {
    let mut parts = vec![String::new()];
    let mut depth = 0;
    for c in text.chars() {
        match c {
            '{' => depth += 1,
            '}' => {
                depth -= 1;
                parts.push(String::new());
            }
            c if depth == 0 => parts.last_mut().unwrap().push(c),
            _ => {}
        }
    }
    parts
}

/// A player who speaks French, with a piece whose story nobody has written, and five weeks of practice.
fn player() -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("config.toml"), "language = \"fr\"\n").unwrap();
    let folder = dir.path().join("pieces/traversée");
    fs::create_dir_all(&folder).unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("pieces/ferry");
    fs::copy(demo.join("ferry.musicxml"), folder.join("ferry.musicxml")).unwrap();
    let section = |bars: &str| format!("[[section]]\nname = \"bars {bars}\"\nbars = \"{bars}\"\n\n");
    let landmark = "[[landmark]]\nat = \"10.1\"\nname = \"bars 10-17\"\n";
    let head = "title = \"La traversée\"\nscore = \"ferry.musicxml\"\ninstrument = \"lever-harp\"\nperform_on = 2030-06-01\n\n";
    fs::write(folder.join("piece.toml"), [head, &section("1-9"), &section("10-17"), &section("18-24"), landmark].concat()).unwrap();
    let opened = open_piece(&folder.to_string_lossy(), None, &[]).unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let first_day = NaiveDate::from_ymd_opt(2027, 1, 4).unwrap();
    Life { piece: &opened.piece, key: &opened.key, first_day, n_days: 36, n_reps: 3, seed: 7 }.live(&mut store);
    dir
}

fn printed(dir: &Path, args: &[&str]) -> String {
    let said = Command::new(program()).args(args).args(["--data".as_ref(), dir.as_os_str()]).output().unwrap();
    assert!(said.status.success(), "{args:?}: {}", String::from_utf8_lossy(&said.stderr));
    String::from_utf8(said.stdout).unwrap()
}

/// Returns what a page shows: its text, and what is told of a mark that is pointed at.
fn text_of_page(page: &str) -> String {
    let body = page.split_once("</style>").map_or(page, |(_, body)| body);
    let labels = body.split("aria-label=\"").skip(1).filter_map(|rest| rest.split('"').next());
    let texts = body.split('>').filter_map(|part| part.split('<').next());
    texts.chain(labels).collect::<Vec<_>>().join("\n").replace("&#39;", "'").replace("&quot;", "\"")
}

/// Opens the study and goes through all its screens.
fn studied(dir: &Path) -> Vec<(String, String)> {
    let mut command = CommandBuilder::new(program());
    command.args(["study", "traversée", "--data", &dir.to_string_lossy()]);
    command.env("TERM", "xterm-256color");
    let mut pty = Pty::start(command, 80, 24);
    pty.wait_for("[récit]");
    pty.wait_for("q fermer");
    let mut seen = vec![("story".to_owned(), pty.text())];
    let mut see = |name: &str, keys: &str, expected: &str| {
        pty.press(keys);
        pty.wait_for(expected);
        seen.push((name.to_owned(), pty.text()));
    };
    see("kept", "a", "gardées 1");
    see("kept again", "\x1b[Aa", "déjà gardée");
    see("rewording", "e", "dans vos mots :");
    see("reworded", "\x15vers la rive\r", "à vous 1");
    see("fuller", "f", "plus complet");
    see("left", "\x1b", "Tab vues");
    see("asked for a place", "n", "où (mesure.temps");
    see("no such place", "\x15nulle part\r", "nulle part");
    see("a place", "\x1512.1 gauche\r", "à 12.1 gauche :");
    see("a new line", "tenir\r", "à vous 2");
    see("dropped", "x", "à vous 1");
    see("dialect", "d", "ébauches en");
    see("map", "2", "[carte]");
    for _ in 0..24 {
        see("a bar of the map", "\x1b[C", "[carte]");
    }
    see("sections", "3", "[sections]");
    see("a bar to split at", "\x1b[H\x1b[C\x1b[C", "[3]");
    see("split", "s", "commence à la mesure 3");
    see("merged", "m", "va jusqu'à la mesure");
    see("not to be moved", "\x1b[H[", "commence avec le morceau");
    see("as proposed", "p", "comme proposé");
    see("undone", "u", "annulé");
    see("done again", "U", "refait");
    see("name", "e", "nom de la section :");
    see("no name", "\x15\r", "besoin d'un nom");
    see("left", "\x1b", "Tab vues");
    see("help", "?", "une touche : retour");
    see("closing", "?q", "non enregistré : w");
    see("saved", "\x1bw", "enregistré");
    pty.press("q");
    assert!(pty.wait_for_end().success());
    seen
}

#[test]
fn nothing_english_is_left_on_the_screens_and_pages_of_a_french_player() {
    let dir = player();
    let dir = dir.path();
    let mut shown = studied(dir);
    for args in [
        &["progress", "traversée", "--plain"][..],
        &["story", "traversée"],
        &["study", "traversée", "--plain"],
        &["plan", "--on", "2027-02-09", "--days", "3", "--calibration"],
        &["plan", "traversée", "--on", "2030-05-20", "--minutes", "5"],
        &["plan", "traversée", "--on", "2030-06-01"],
        &["trace", "traversée", "--rep", "3"],
    ] {
        shown.push((args.join(" "), printed(dir, args)));
    }
    for (command, option, file) in [("progress", "--html", "a.html"), ("progress", "--svg", "a.svg"), ("story", "--html", "b.html")] {
        let file = dir.join(file);
        printed(dir, &[command, "traversée", option, &file.to_string_lossy()]);
        let page = fs::read_to_string(&file).unwrap();
        assert!(!page.contains("<html") || page.contains("<html lang=\"fr\">"), "{command} {option}");
        shown.push((format!("{command} {option}"), text_of_page(&page)));
    }
    let english = english();
    let mut left = BTreeSet::new();
    for (name, text) in &shown {
        let words = format!(" {} ", text.split_whitespace().collect::<Vec<_>>().join(" "));
        left.extend(english.iter().filter(|part| is_in(part, &words)).map(|part| format!("{name}: {part:?}")));
    }
    assert!(left.is_empty(), "{left:#?}\n{}", shown.iter().map(|(name, text)| format!("--- {name}\n{text}\n")).collect::<String>());
    // What is drawn is what was meant.
    let shown_as = |name: &str| &shown.iter().find(|(known, _)| known == name).unwrap().1;
    insta::assert_snapshot!("study_story_in_french_80x24", shown_as("story"));
    insta::assert_snapshot!("story_sheet_in_french", shown_as("story traversée"));
}

/// Tells whether a part stands in a text as words of their own.
fn is_in(part: &str, text: &str) -> bool {
    text.match_indices(part).any(|(at, _)| {
        let is_letter = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '-' || c == '_' || c == '.' || c == '/');
        !is_letter(text[..at].chars().next_back()) && !is_letter(text[at + part.len()..].chars().next())
    })
}

/// Returns every English text of the code that could be seen, in parts between its blanks: those of the catalogue, and the others.
fn english() -> BTreeSet<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let entries = catalogue(&fs::read_to_string(root.join("src/language/fr.po")).unwrap());
    let one_or_more = |said: &String| [said.clone(), said.replace("{n}", "1")];
    let french: Vec<String> = entries.values().flatten().flat_map(one_or_more).map(|said| format!(" {} ", plain(&said))).collect();
    let of_catalogue = entries.keys().flat_map(|(one, many)| std::iter::once(one).chain(many));
    let of_catalogue = of_catalogue.map(|text| text.split('\u{4}').next_back().unwrap_or_default().to_owned());
    let others = literals_of(&ROOMS).into_iter().filter(|l| !l.is_settled()).map(|l| l.text);
    let parts = of_catalogue.chain(others).flat_map(|text| outside_blanks(&text)).map(|part| plain(&part));
    parts
        .filter(|part| part.chars().filter(|c| c.is_alphabetic()).count() > 3)
        // What French says in the same words is no English.
        .filter(|part| !french.iter().any(|said| is_in(part, said)))
        .collect()
}

/// Returns the words of a text with single spaces between, without marks and figures at its ends.
fn plain(text: &str) -> String {
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    words.trim_matches(|c: char| !c.is_alphabetic()).to_owned()
}

#[test]
fn what_other_programs_read_is_the_same_in_every_language() {
    let dir = player();
    let dir = dir.path();
    let all = |dir: &Path| {
        [&["study", "traversée", "--json"][..], &["plan", "--on", "2027-02-09", "--json"], &["trace", "traversée", "--rep", "3", "--json"]]
            .map(|args| printed(dir, args))
    };
    let french = all(dir);
    fs::write(dir.join("config.toml"), "language = \"en\"\n").unwrap();
    assert_eq!(french, all(dir));
    assert!(french[0].contains("\"the beginning\""), "the words of JSON are English");
}
