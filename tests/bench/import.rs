//! How fast scores are read, beside the floor of parsing the same bytes as bare XML.
//!
//!     cargo bench --bench import
//!     CATCHWORD_SCORES=DIR cargo bench --bench import     also every .musicxml, .xml and .mxl below DIR
//!
//! The generated piece needs no file: two staves, chords, ties, slurs and fingering, laid out as notation
//! programs write it. Aim: 60 MB of XML a second, a typical piano piece (up to 0.9 MB) within 15 ms.

use std::fmt::Write;
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use catchword::import::read_score;
use divan::Bencher;
use divan::counter::BytesCount;
use roxmltree::{Document, ParsingOptions};

fn main() {
    divan::main();
    println!("\n{:<44} {:>8} {:>10} {:>10} {:>7}", "read as a score", "MB", "MB/s", "bare MB/s", "ratio");
    row("generated, 64 bars", &[generated(64)]);
    row("generated, 1024 bars", &[generated(1024)]);
    if let Some(folder) = std::env::var_os("CATCHWORD_SCORES") {
        real_scores(Path::new(&folder));
    }
}

#[divan::bench(args = [64, 1024])]
fn read_generated(bencher: Bencher, n_bars: usize) {
    let text = generated(n_bars);
    bencher.counter(BytesCount::of_str(&text)).bench(|| read_score(text.as_bytes(), "generated.musicxml"));
}

#[divan::bench(args = [64, 1024])]
fn bare_xml_of_generated(bencher: Bencher, n_bars: usize) {
    let text = generated(n_bars);
    bencher.counter(BytesCount::of_str(&text)).bench(|| bare(&text));
}

fn bare(text: &str) -> usize {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    Document::parse_with_options(text, options).map_or(0, |d| d.descendants().len())
}

/// Prints throughput over some texts, each timed as the best of five runs (a lone text: of forty), and the slowest single text.
fn row(name: &str, texts: &[String]) {
    let best = |work: &dyn Fn(&str)| -> Vec<Duration> {
        let time = |text: &str| {
            let start = Instant::now();
            work(text);
            start.elapsed()
        };
        let n_runs = if texts.len() == 1 { 40 } else { 5 };
        texts.iter().map(|t| (0..n_runs).map(|_| time(t)).min().unwrap_or_default()).collect()
    };
    let read = best(&|t| drop(std::hint::black_box(read_score(t.as_bytes(), "score.musicxml"))));
    let floor = best(&|t| {
        std::hint::black_box(bare(t));
    });
    let bytes = texts.iter().map(String::len).sum::<usize>() as f64 / 1e6;
    let rate = |times: &[Duration]| bytes / times.iter().sum::<Duration>().as_secs_f64();
    println!("{name:<44} {bytes:>8.2} {:>10.1} {:>10.1} {:>7.2}", rate(&read), rate(&floor), rate(&floor) / rate(&read));
    if let Some((slowest, text)) = read.iter().zip(texts).max() {
        println!("{:<44} {:>8.2} in {:.2} ms", "  the slowest of them", text.len() as f64 / 1e6, slowest.as_secs_f64() * 1e3);
    }
    let mut times = read.clone();
    times.sort();
    println!("{:<44} {:.2} ms of {} files", "  the median", times[times.len() / 2].as_secs_f64() * 1e3, times.len());
}

fn real_scores(folder: &Path) {
    let (mut all, mut two_staves) = (Vec::new(), Vec::new());
    for file in files_below(folder) {
        let Some(text) = text_of(&file) else { continue };
        if read_score(text.as_bytes(), "score.musicxml").is_err() {
            println!("refused: {}", file.display());
            continue;
        }
        if text.contains("<staves>2</staves>") {
            two_staves.push(text.clone());
        }
        all.push(text);
    }
    for (name, texts) in [("files given", &all), ("those with two staves", &two_staves)] {
        if !texts.is_empty() {
            row(name, texts);
        }
    }
}

fn files_below(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()) {
        if entry.is_dir() {
            files.extend(files_below(&entry));
        } else if entry.extension().is_some_and(|e| ["xml", "musicxml", "mxl"].iter().any(|known| e == *known)) {
            files.push(entry);
        }
    }
    files.sort();
    files
}

/// The XML of a score file as UTF-8, inflated where it is compressed; `None` when it is not a score.
fn text_of(file: &Path) -> Option<String> {
    let bytes = std::fs::read(file).ok()?;
    if !bytes.starts_with(b"PK") {
        return String::from_utf8(bytes).ok().filter(|t| t.contains("<score-"));
    }
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).ok()?;
    (0..archive.len()).find_map(|i| {
        let mut text = String::new();
        archive.by_index(i).ok()?.read_to_string(&mut text).ok()?;
        text.contains("<score-").then_some(text)
    })
}

fn generated(n_bars: usize) -> String {
    let mut xml = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<score-partwise version=\"4.0\">\n  <part-list>\n    <score-part id=\"P1\">\n      <part-name>Harp</part-name>\n    </score-part>\n  </part-list>\n  <part id=\"P1\">\n",
    );
    for bar in 1..=n_bars {
        writeln!(xml, "    <measure number=\"{bar}\" width=\"310.25\">").unwrap();
        if bar == 1 {
            xml.push_str("      <attributes>\n        <divisions>12</divisions>\n        <key>\n          <fifths>-3</fifths>\n        </key>\n        <time>\n          <beats>4</beats>\n          <beat-type>4</beat-type>\n        </time>\n        <staves>2</staves>\n        <clef number=\"1\">\n          <sign>G</sign>\n          <line>2</line>\n        </clef>\n        <clef number=\"2\">\n          <sign>F</sign>\n          <line>4</line>\n        </clef>\n      </attributes>\n");
        }
        for (staff, octave) in [(1, 4), (2, 2)] {
            for n in 0..8 {
                for (member, step) in ["C", "E", "G"].iter().enumerate().take(1 + n % 3) {
                    let chord = if member > 0 { "        <chord/>\n" } else { "" };
                    let tie = ["", "        <tie type=\"start\"/>\n", "        <tie type=\"stop\"/>\n"][n % 3];
                    write!(
                        xml,
                        "      <note default-x=\"{}.31\" default-y=\"-{}.00\">\n{chord}        <pitch>\n          <step>{step}</step>\n          <octave>{octave}</octave>\n        </pitch>\n        <duration>6</duration>\n{tie}        <voice>{}</voice>\n        <type>eighth</type>\n        <stem>up</stem>\n        <staff>{staff}</staff>\n        <beam number=\"1\">continue</beam>\n        <notations>\n          <technical>\n            <fingering>{}</fingering>\n          </technical>\n        </notations>\n      </note>\n",
                        40 + 30 * n, 10 + n, 4 * staff - 3, 1 + member
                    )
                    .unwrap();
                }
            }
            if staff == 1 {
                xml.push_str("      <backup>\n        <duration>48</duration>\n      </backup>\n");
            }
        }
        xml.push_str("    </measure>\n");
    }
    xml.push_str("  </part>\n</score-partwise>\n");
    xml
}
