//! What the program is given out with: its version, the licences of all that is in it, the toolchain that it needs.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// Licences that ask for no more than to be named, by their SPDX identifiers.
const ALLOWED: [&str; 16] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "OFL-1.1",
    "Unicode-3.0",
    "Unicode-DFS-2016",
    "Unlicense",
    "WTFPL",
    "Zlib",
    "blessing",
];

fn project() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn output(program: &str, args: &[&str]) -> String {
    let output = Command::new(program).args(args).current_dir(project()).output().unwrap();
    assert!(output.status.success(), "{program} {args:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// Name and licence of every library that the program is built with here, without those of tests and benches.
fn libraries() -> BTreeSet<(String, String)> {
    let host = output("rustc", &["-vV"]);
    let host = host.lines().find_map(|l| l.strip_prefix("host: ")).unwrap();
    let text = output(env!("CARGO"), &["metadata", "--format-version", "1", "--offline", "--locked", "--filter-platform", host]);
    let metadata: Value = serde_json::from_str(&text).unwrap();
    let nodes = metadata["resolve"]["nodes"].as_array().unwrap();
    let root = metadata["resolve"]["root"].as_str().unwrap();
    let mut wanted = vec![root.to_owned()];
    let mut ids = Vec::new();
    while let Some(id) = wanted.pop() {
        let node = nodes.iter().find(|n| n["id"] == id.as_str()).unwrap();
        for dep in node["deps"].as_array().unwrap() {
            let is_built_in = dep["dep_kinds"].as_array().unwrap().iter().any(|kind| kind["kind"].is_null());
            let id = dep["pkg"].as_str().unwrap().to_owned();
            if is_built_in && !ids.contains(&id) {
                ids.push(id.clone());
                wanted.push(id);
            }
        }
    }
    let of = |id: &String| {
        let package = metadata["packages"].as_array().unwrap().iter().find(|p| p["id"] == id.as_str()).unwrap();
        let licence = package["license"].as_str().unwrap_or("none stated");
        (package["name"].as_str().unwrap().to_owned(), licence.to_owned())
    };
    ids.iter().map(of).collect()
}

/// Tells whether an SPDX expression (version 2.3, annex D) can be met: `OR` and the older `/` choose, `AND` asks for both.
fn is_allowed(expression: &str) -> bool {
    let tokens = expression.replace('(', " ( ").replace(')', " ) ").replace('/', " OR ");
    let tokens: Vec<&str> = tokens.split_whitespace().collect();
    fn either(tokens: &[&str], at: &mut usize) -> bool {
        let mut is_met = both(tokens, at);
        while tokens.get(*at) == Some(&"OR") {
            *at += 1;
            is_met |= both(tokens, at);
        }
        is_met
    }
    fn both(tokens: &[&str], at: &mut usize) -> bool {
        let mut is_met = one(tokens, at);
        while tokens.get(*at) == Some(&"AND") {
            *at += 1;
            is_met &= one(tokens, at);
        }
        is_met
    }
    fn one(tokens: &[&str], at: &mut usize) -> bool {
        let Some(token) = tokens.get(*at) else { return false };
        *at += 1;
        if *token == "(" {
            let is_met = either(tokens, at);
            *at += 1;
            return is_met;
        }
        // An exception only allows more.
        if tokens.get(*at) == Some(&"WITH") {
            *at += 2;
        }
        ALLOWED.contains(token)
    }
    let mut at = 0;
    either(&tokens, &mut at) && at == tokens.len()
}

fn listed(libraries: &BTreeSet<(String, String)>) -> String {
    libraries.iter().map(|(name, licence)| format!("{name}: {licence}\n")).collect()
}

#[test]
fn expressions_of_licences_are_understood() {
    for allowed in [
        "MIT",
        "MIT OR Apache-2.0",
        "MIT/GPL-3.0",
        "(MIT OR GPL-3.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception",
        "GPL-3.0 OR (MIT AND ISC)",
    ] {
        assert!(is_allowed(allowed), "{allowed}");
    }
    for refused in ["GPL-3.0", "MIT AND GPL-3.0", "none stated", "", "(MIT OR ISC) AND GPL-2.0", "MIT GPL-2.0"] {
        assert!(!is_allowed(refused), "{refused}");
    }
}

#[test]
fn every_library_has_a_licence_that_allows_this_use_and_is_listed_with_it() {
    let libraries = libraries();
    assert!(libraries.len() > 50, "the list is that of the program: {libraries:?}");
    for (name, licence) in &libraries {
        assert!(is_allowed(licence), "{name} is under {licence}");
    }
    let kept = std::fs::read_to_string(project().join("packaging/licences.txt")).unwrap();
    for line in listed(&libraries).lines() {
        assert!(
            kept.lines().any(|l| l == line),
            "{line} is not in packaging/licences.txt; cargo test --test it packaging -- --ignored writes it"
        );
    }
}

#[test]
#[ignore = "writes packaging/licences.txt; what other systems need stays in it"]
fn write_the_list_of_licences() {
    let path = project().join("packaging/licences.txt");
    let kept = std::fs::read_to_string(&path).unwrap_or_default();
    let mut all: BTreeSet<(String, String)> =
        kept.lines().filter_map(|l| l.split_once(": ")).map(|(n, l)| (n.to_owned(), l.to_owned())).collect();
    all.extend(libraries());
    std::fs::write(path, listed(&all)).unwrap();
}

#[test]
fn the_version_says_its_number_and_where_known_its_commit() {
    let said = output(env!("CARGO_BIN_EXE_catchword"), &["--version"]);
    let rest = said.trim_end().strip_prefix(concat!("catchword ", env!("CARGO_PKG_VERSION"))).unwrap_or_else(|| panic!("{said}"));
    assert!(rest.is_empty() || (rest.starts_with(" (") && rest.ends_with(')')), "{said}");
}

#[test]
fn the_toolchain_that_is_stated_is_one_number_everywhere() {
    let read = |file: &str| std::fs::read_to_string(project().join(file)).unwrap();
    let stated =
        read("Cargo.toml").lines().find_map(|l| l.strip_prefix("rust-version = ").map(|v| v.trim_matches('"').to_owned())).unwrap();
    assert!(
        read("README.md").contains(&format!("Rust {stated} or\nnewer")) || read("README.md").contains(&format!("Rust {stated} or newer")),
        "{stated}"
    );
    assert!(read(".ci/run").contains(&format!("+{stated}")), "the stated toolchain is what .ci/run checks with");
}
