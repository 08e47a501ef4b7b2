//! The catalogue of words: every text inside `tr!` and every text of the help has its translation, none is left over, and their blanks
//! agree.

#[cfg(unix)]
mod shown;
#[cfg(unix)]
mod source;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// One text of the code, as `tr!` has it: singular, and plural where it counts something.
type Text = (String, Option<String>);

#[test]
fn every_text_of_the_screens_and_of_the_help_is_in_the_catalogue_and_nothing_else_is() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut texts = texts_of(&root.join("src"));
    assert!(texts.len() > 100, "the texts of the code were not found: {}", texts.len());
    let help = catchword::cli::help_texts();
    assert!(help.len() > 100, "the texts of the help were not found: {}", help.len());
    texts.extend(help.into_iter().map(|text| ((text, None), PathBuf::from("the help of a command or an option"))));
    let entries = catalogue(&std::fs::read_to_string(root.join("src/language/fr.po")).unwrap());
    let missing: Vec<String> =
        texts.iter().filter(|(text, _)| !entries.contains_key(*text)).map(|(text, file)| format!("{}: {text:?}", file.display())).collect();
    assert!(missing.is_empty(), "not in the catalogue:\n{}", missing.join("\n"));
    // As gettext has it: a text is known by its singular.
    let mut ones: Vec<&String> = entries.keys().map(|(one, _)| one).collect();
    let n_entries = ones.len();
    ones.dedup();
    assert_eq!(ones.len(), n_entries, "a text has two entries, one of them with a plural");
    let dead: Vec<&Text> = entries.keys().filter(|text| !texts.contains_key(*text)).collect();
    assert!(dead.is_empty(), "in the catalogue, but not in the code: {dead:#?}");
}

#[test]
fn a_translation_has_the_blanks_of_its_text_and_is_none_of_them_empty() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for ((one, many), said) in catalogue(&std::fs::read_to_string(root.join("src/language/fr.po")).unwrap()) {
        let wanted = if many.is_some() { 2 } else { 1 };
        assert_eq!(said.len(), wanted, "{one:?}");
        for translation in &said {
            assert!(!translation.is_empty(), "{one:?} has no translation");
            let source = many.as_ref().unwrap_or(&one);
            assert_eq!(blanks(translation), blanks(source), "{source:?} and {translation:?}");
        }
    }
}

#[test]
fn gettext_marks_and_escapes_are_read() {
    let texts = texts_in(
        r#"let a = tr!("bar {bar}", bar); tr!( "1 \"place\"" | "{n} places" % n); str!("no"); tr!("a \u{2013} b"); tr!("hand" => "left")"#,
    );
    let expected = [("bar {bar}", None), ("1 \"place\"", Some("{n} places")), ("a \u{2013} b", None), ("hand\u{4}left", None)];
    assert_eq!(texts, expected.map(|(one, many)| (one.to_owned(), many.map(str::to_owned))));
    let entries = catalogue(
        "msgid \"\"\nmsgstr \"\"\n\"Language: fr\\n\"\n\nmsgid \"a \\\"b\\\"\"\nmsgstr \"c\"\n\nmsgid \"1 x\"\nmsgid_plural \"{n} x\"\nmsgstr[0] \"y\"\nmsgstr[1] \"ys\"\n",
    );
    assert_eq!(entries.len(), 2);
    assert_eq!(entries[&("1 x".to_owned(), Some("{n} x".to_owned()))], ["y", "ys"]);
}

#[test]
fn the_command_line_speaks_the_language_of_the_settings() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("config.toml"), "language = \"fr\"\n").unwrap();
    let said = |args: &[&str]| {
        let Output { stdout, stderr, .. } = run(args, dir.path());
        let text = String::from_utf8([stdout, stderr].concat()).unwrap();
        // As one line: help is broken where the screen ends.
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let texts = catalogue(&std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/language/fr.po")).unwrap());
    let english: Vec<String> = texts.iter().flat_map(|((one, many), said)| english_of(one, many.as_deref(), said)).collect();
    assert!(english.len() > 500, "{}", english.len());
    for (args, wanted) in [
        (&["--help"] as &[&str], "Utilisation : catchword [--data DOSSIER] [--plain] | catchword COMMANDE Commandes : demo"),
        (&["drill", "--help"], "-h, --help Afficher l'aide"),
        (&["quiz", "--help"], "écoutée jusqu'au bout [par défaut : 5]"),
        (&["study", "--help"], "[valeurs possibles : letters, names, solfege]"),
        (&["journal", "--help"], "check Lire tout le journal et dire s'il est sain"),
        (&["journal", "chekc"], "catchword: il n'y a pas de commande chekc vouliez-vous dire check ?"),
        (&["quiz", "ferry", "--minutes", "99"], "attendu : de 1 à 60 pour --minutes <N> ; trouvé : 99"),
        (&["add", "no/such.musicxml"], "catchword: lecture de no/such.musicxml : aucun fichier ni dossier de ce nom (os error 2)"),
        (&["drill", "fery"], "catchword: pas de morceau \"fery\" ; vouliez-vous dire \"ferry\" ? ; le chemin"),
        (&["config"], "input aucun (ordinaire)"),
        (&["plan"], "Rien à prévoir encore. Pour faire un morceau d'une partition : catchword add PARTITION"),
        (&["journal", "check"], "le journal est sain : 0 séance, 0 essai"),
    ] {
        let said = said(args);
        assert!(said.contains(wanted), "{args:?}: {said}");
        let left: Vec<&String> = english.iter().filter(|text| said.contains(*text)).collect();
        assert!(left.is_empty(), "{args:?} has English in it: {left:?}\n{said}");
    }
}

#[test]
fn programs_are_answered_in_english_and_so_is_whoever_has_no_settings_that_can_be_read() {
    let [french, broken, none] = [(); 3].map(|()| tempfile::tempdir().unwrap());
    std::fs::write(french.path().join("config.toml"), "language = \"fr\"\n").unwrap();
    std::fs::write(broken.path().join("config.toml"), "language = \"fr\"\n[\n").unwrap();
    let help = |dir: &tempfile::TempDir| String::from_utf8(run(&["drill", "--help"], dir.path()).stdout).unwrap();
    assert!(help(&none).contains("\nUsage: catchword drill [OPTIONS] [PIECE]\n"));
    assert_eq!(help(&broken), help(&none));
    assert_ne!(help(&french), help(&none));
    let study = |dir: &tempfile::TempDir| run(&["study", "ferry", "--json"], dir.path()).stdout;
    assert!(study(&none).starts_with(b"{"));
    assert_eq!(study(&french), study(&none));
}

fn run(args: &[&str], data: &Path) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_catchword"));
    program.args(args).arg("--data").arg(data).output().expect("the program starts")
}

/// Returns the stretches of an English text that are told from its translation: those between blanks, of two words at least, that the
/// translation has not.
fn english_of(one: &str, many: Option<&str>, said: &[String]) -> Vec<String> {
    let texts = [Some(one), many].into_iter().flatten();
    let stretches = texts.flat_map(|text| text.split('{').map(|part| part.split_once('}').map_or(part, |(_, after)| after)));
    let whole = stretches.map(|part| part.split_whitespace().collect::<Vec<_>>().join(" "));
    whole.filter(|part| part.contains(' ') && part.len() > 8 && !said.iter().any(|said| said.contains(part))).collect()
}

/// Returns every text of the code with a file that has it.
fn texts_of(dir: &Path) -> BTreeMap<Text, PathBuf> {
    let mut texts = BTreeMap::new();
    let mut dirs = vec![dir.to_owned()];
    while let Some(dir) = dirs.pop() {
        for entry in std::fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                dirs.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                texts.extend(texts_in(&std::fs::read_to_string(&path).unwrap()).into_iter().map(|text| (text, path.clone())));
            }
        }
    }
    texts
}

/// Returns the texts inside `tr!` and `msgid!` in Rust source.
fn texts_in(source: &str) -> Vec<Text> {
    let mut texts = Vec::new();
    let marks = ["tr!(", "msgid!("].into_iter().flat_map(|mark| source.match_indices(mark));
    for (at, mark) in marks {
        if source[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '`') {
            continue;
        }
        let Some((mut one, mut rest)) = literal(source[at + mark.len()..].trim_start()) else { continue };
        if let Some(after) = rest.trim_start().strip_prefix("=>") {
            // A text that is not written there is one of a list that is.
            let Some((text, after)) = literal(after.trim_start()) else { continue };
            (one, rest) = (in_context(&one, &text), after);
        }
        let many = rest.trim_start().strip_prefix('|').and_then(|rest| literal(rest.trim_start())).map(|(many, _)| many);
        texts.push((one, many));
    }
    texts
}

/// A text that means one thing here and another elsewhere, as gettext keeps it: `hand`, and then `left`.
fn in_context(context: &str, text: &str) -> String {
    format!("{context}\u{4}{text}")
}

/// Reads a string literal at the beginning of `source`; returns it and what follows.
fn literal(source: &str) -> Option<(String, &str)> {
    let mut rest = source.strip_prefix('"')?;
    let mut text = String::new();
    loop {
        let c = rest.chars().next()?;
        rest = &rest[c.len_utf8()..];
        match c {
            '"' => return Some((text, rest)),
            '\\' => {
                let escaped = rest.chars().next()?;
                rest = &rest[escaped.len_utf8()..];
                match escaped {
                    'n' => text.push('\n'),
                    'u' => {
                        let (code, after) = rest.strip_prefix('{')?.split_once('}')?;
                        text.push(char::from_u32(u32::from_str_radix(code, 16).ok()?)?);
                        rest = after;
                    }
                    // A line of the source that goes on in the next.
                    '\n' => rest = rest.trim_start(),
                    other => text.push(other),
                }
            }
            c => text.push(c),
        }
    }
}

/// Reads a PO file: its texts, and for each what it is in the other language (one, or one for each plural form).
fn catalogue(text: &str) -> BTreeMap<Text, Vec<String>> {
    let mut entries = BTreeMap::new();
    for block in text.split("\n\n") {
        let (mut one, mut many, mut said) = (String::new(), None, Vec::<String>::new());
        let mut context = None;
        for line in block.lines().filter(|line| !line.starts_with('#')) {
            let (key, quoted) = line.split_at(line.find('"').unwrap_or(line.len()));
            let Some((value, _)) = literal(quoted) else { continue };
            match key.trim() {
                "msgctxt" => context = Some(value),
                "msgid" => one = value,
                "msgid_plural" => many = Some(value),
                "" => said.last_mut().expect("a line goes on from one before").push_str(&value),
                _ => said.push(value),
            }
        }
        if !one.is_empty() {
            let before = entries.insert((context.map_or(one.clone(), |context| in_context(&context, &one)), many), said);
            assert!(before.is_none(), "{one:?} stands twice in the catalogue");
        }
    }
    entries
}

/// Returns the blanks of a text in order of their names: `{bar}`, `{}`.
fn blanks(text: &str) -> Vec<&str> {
    let mut blanks: Vec<&str> = text.split('{').skip(1).filter_map(|rest| rest.split('}').next()).collect();
    blanks.sort_unstable();
    blanks
}
