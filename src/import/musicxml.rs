//! MusicXML 4.0 to a [`Score`]: partwise and timewise, plain text in any of its encodings.
//!
//! Reading goes in three steps: the text becomes a tree (roxmltree), each part's measures are walked
//! with a cursor in whole ticks ([`walk`]), and the raw notes of all parts are laid on common bars,
//! ties joined ([`assemble`]). Element names are those of the MusicXML 4.0 reference (W3C Music
//! Notation Community Group). Format words (divisions, ids) end here.
//!
//! Pitches in MusicXML stand as they sound at the part's own transposition: an `octave-shift` line
//! (8va) only moves the drawing, so it is not applied again; `<transpose>` is.

mod assemble;
mod grid;
mod header;
mod note;
mod page;
mod signs;
mod text;
mod walk;
mod warnings;

use roxmltree::{Document, Node, ParsingOptions};

use super::{Error, Warning};
use crate::score::Score;
use grid::Grid;
use page::Page;
use walk::Walk;
use warnings::Warnings;

/// The largest text read, in bytes: some twenty times a long piano sonata.
pub const TEXT_BYTES_MAX: usize = 64 << 20;
/// The largest tree built, in nodes (about 72 bytes each); a text of the largest size has half as many.
const NODES_MAX: u32 = 6_000_000;
/// The most bars read; a long opera act has a few thousand.
const BARS_MAX: usize = 100_000;

/// Reads a MusicXML file.
///
/// # Errors
/// When the text is not well-formed XML, declares entities, is beyond a limit, its root is not a score, or no part has a measure.
pub fn read(bytes: &[u8], file: &str) -> Result<(Score, Vec<Warning>), Error> {
    if bytes.len() > TEXT_BYTES_MAX {
        return Err(too_large(file, tr!("{n} bytes of text", n = bytes.len()), tr!("{n} bytes", n = TEXT_BYTES_MAX)));
    }
    let (text, text_warning) = text::decode(bytes, file)?;
    if let Some(at) = text.find("<!ENTITY") {
        // No MusicXML file declares any; a few that stand for one another make gigabytes of a line.
        return Err(Error::Broken {
            file: file.to_owned(),
            place: tr!("line {line}", line = 1 + text[..at].matches('\n').count()),
            expected: tr!("a score without entities of its own"),
            found: "<!ENTITY".to_owned(),
        });
    }
    let options = ParsingOptions { allow_dtd: true, nodes_limit: NODES_MAX, ..ParsingOptions::default() };
    let document = Document::parse_with_options(&text, options).map_err(|error| not_well_formed(&error, &text, file))?;
    let (score, mut warnings) = read_document(&document, file)?;
    warnings.splice(0..0, text_warning);
    Ok((score, warnings))
}

/// Reads a tree whose root is a score.
fn read_document(document: &Document, file: &str) -> Result<(Score, Vec<Warning>), Error> {
    let root = document.root_element();
    let broken = |node: Node, expected: &str, found: String| Error::Broken {
        file: file.to_owned(),
        place: tr!("line {line}", line = document.text_pos_at(node.range().start).row),
        expected: tr!(expected),
        found,
    };
    let mut warnings = Warnings::default();
    let parts = match root.tag_name().name() {
        "score-partwise" => partwise(root),
        "score-timewise" => timewise(root),
        other => return Err(broken(root, msgid!("<score-partwise> or <score-timewise>"), format!("<{other}>"))),
    };
    if parts.is_empty() {
        return Err(broken(root, msgid!("at least one <part>"), tr!("none")));
    }
    let n_bars = parts.iter().map(|p| p.measures.len()).max().unwrap_or(0);
    if n_bars == 0 {
        return Err(broken(root, msgid!("at least one <measure>"), tr!("none")));
    }
    if n_bars > BARS_MAX {
        return Err(too_large(file, tr!("{n} bars", n = n_bars), tr!("{n} bars", n = BARS_MAX)));
    }
    let header = header::read(root);
    let grid = Grid::of(parts.iter().flat_map(|p| p.measures.iter().filter_map(|m| m.content)));
    let mut page = Page::new(n_bars);
    let raw = parts.iter().map(|part| Walk::new(grid, &mut page, &mut warnings).part(part)).collect();
    let score = assemble::score(grid, page, raw, header, &mut warnings);
    Ok((score, warnings.finish()))
}

/// One part's measures in order, however the file nests them.
struct PartSource<'a, 'i> {
    id: &'a str,
    measures: Vec<Measure<'a, 'i>>,
}

/// A measure of one part.
#[derive(Clone, Copy)]
struct Measure<'a, 'i> {
    /// The element that carries `number` and `implicit`.
    element: Node<'a, 'i>,
    /// The element that holds the notes; absent where a timewise measure leaves the part out.
    content: Option<Node<'a, 'i>>,
}

fn partwise<'a, 'i>(root: Node<'a, 'i>) -> Vec<PartSource<'a, 'i>> {
    let parts = root.children().filter(|n| n.has_tag_name("part"));
    let measure = |element| Measure { element, content: Some(element) };
    parts
        .map(|part| PartSource {
            id: part.attribute("id").unwrap_or_default(),
            measures: part.children().filter(|n| n.has_tag_name("measure")).map(measure).collect(),
        })
        .collect()
}

fn timewise<'a, 'i>(root: Node<'a, 'i>) -> Vec<PartSource<'a, 'i>> {
    let mut parts: Vec<PartSource> = Vec::new();
    let mut elements = Vec::new();
    for element in root.children().filter(|n| n.has_tag_name("measure")) {
        for content in element.children().filter(|n| n.has_tag_name("part")) {
            let id = content.attribute("id").unwrap_or_default();
            let idx = parts.iter().position(|p| p.id == id).unwrap_or_else(|| {
                parts.push(PartSource { id, measures: Vec::new() });
                parts.len() - 1
            });
            let part = &mut parts[idx].measures;
            part.extend(elements[part.len().min(elements.len())..].iter().map(|&element| Measure { element, content: None }));
            if part.len() == elements.len() {
                part.push(Measure { element, content: Some(content) });
            }
        }
        elements.push(element);
    }
    parts
}

fn too_large(file: &str, what: String, limit: String) -> Error {
    Error::TooLarge { file: file.to_owned(), what, limit }
}

fn not_well_formed(error: &roxmltree::Error, text: &str, file: &str) -> Error {
    if matches!(error, roxmltree::Error::NodesLimitReached | roxmltree::Error::AttributesLimitReached) {
        return too_large(file, tr!("the number of XML elements"), format!("{NODES_MAX}"));
    }
    let at = error.pos();
    let (mut place, mut expected, mut found) =
        (tr!("line {line}, column {column}", line = at.row, column = at.col), tr!("well-formed XML"), error.to_string());
    match error {
        roxmltree::Error::UnexpectedCloseTag(open, close, _) => {
            (expected, found) = (format!("</{open}>"), format!("</{close}>"));
        }
        roxmltree::Error::UnclosedRootNode | roxmltree::Error::NoRootNode | roxmltree::Error::UnexpectedEndOfStream => {
            place = tr!("line {line}, the end of the file", line = 1 + text.bytes().filter(|&b| b == b'\n').count());
            (expected, found) = (tr!("the rest of the score"), tr!("nothing more"));
        }
        // The place is told apart from the reason.
        _ => {
            if let Some(reason) = found.strip_suffix(&format!(" at {at}")) {
                found = reason.to_owned();
            }
        }
    }
    Error::Broken { file: file.to_owned(), place, expected, found }
}
