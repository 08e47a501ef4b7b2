//! Compressed MusicXML: a ZIP archive whose `META-INF/container.xml` names the score inside
//! (MusicXML 4.0, "Compressed .mxl files"). The tree work is [`super::musicxml`]'s.

use std::io::{Cursor, Read};

use roxmltree::{Document, ParsingOptions};
use zip::ZipArchive;

use super::{Error, Warning, musicxml};
use crate::score::Score;

/// The most entries an archive may list.
const ENTRIES_MAX: usize = 4096;
/// The most root files tried; an archive names one or two.
const ROOTS_MAX: usize = 8;
const CONTAINER: &str = "META-INF/container.xml";
const CONTAINER_BYTES_MAX: usize = 1 << 20;

type Archive<'b> = ZipArchive<Cursor<&'b [u8]>>;

/// Reads a `.mxl` archive: the first root file that is MusicXML.
///
/// # Errors
/// When the archive is damaged, holds no score, or inflates beyond the limit.
pub fn read(bytes: &[u8], file: &str) -> Result<(Score, Vec<Warning>), Error> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| Error::Broken {
        file: file.to_owned(),
        place: tr!("the archive's directory"),
        expected: tr!("a ZIP archive as compressed MusicXML is"),
        found: error.to_string(),
    })?;
    if archive.len() > ENTRIES_MAX {
        return Err(Error::TooLarge {
            file: file.to_owned(),
            what: tr!("{n} entries in the archive", n = archive.len()),
            limit: tr!("{n} entries", n = ENTRIES_MAX),
        });
    }
    let (roots, mut warnings) = root_files(&mut archive, file)?;
    let mut first_error = None;
    for (nth, root) in roots.iter().take(ROOTS_MAX).enumerate() {
        let inside = tr!("{file}, archive entry {name}", file, name = root);
        match entry(&mut archive, root, musicxml::TEXT_BYTES_MAX, file).and_then(|text| musicxml::read(&text, &inside)) {
            Ok((score, more)) => {
                if roots.len() > nth + 1 {
                    let what = tr!("the archive names more scores; only {name} is read", name = root);
                    warnings.push(Warning { bar: None, line: None, element: "<rootfile>".to_owned(), what });
                }
                warnings.extend(more);
                return Ok((score, warnings));
            }
            Err(error) => first_error = first_error.or(Some(error)),
        }
    }
    Err(first_error.unwrap_or_else(|| Error::Broken {
        file: file.to_owned(),
        place: tr!("archive entry {name}", name = CONTAINER),
        expected: tr!("a <rootfile> that is MusicXML"),
        found: tr!("none"),
    }))
}

/// Lists the entries that may be the score, best first: those the container names, else every XML file.
fn root_files(archive: &mut Archive, file: &str) -> Result<(Vec<String>, Vec<Warning>), Error> {
    if archive.index_for_name(CONTAINER).is_none() {
        let warning = Warning {
            bar: None,
            line: None,
            element: CONTAINER.to_owned(),
            what: tr!("is missing from the archive; the first MusicXML file in it is read"),
        };
        return Ok((xml_entries(archive), vec![warning]));
    }
    let bytes = entry(archive, CONTAINER, CONTAINER_BYTES_MAX, file)?;
    let text = String::from_utf8_lossy(bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(&bytes)).into_owned();
    let options = ParsingOptions { allow_dtd: true, nodes_limit: 100_000, ..ParsingOptions::default() };
    let document = Document::parse_with_options(&text, options).map_err(|error| Error::Broken {
        file: file.to_owned(),
        place: tr!("archive entry {name}, line {line}", name = CONTAINER, line = error.pos().row),
        expected: tr!("well-formed XML"),
        found: error.to_string(),
    })?;
    let is_score = |media: Option<&str>| media.is_none_or(|m| m.contains("musicxml") || m.ends_with("/xml"));
    let named = document
        .descendants()
        .filter(|n| n.tag_name().name() == "rootfile" && is_score(n.attribute("media-type")))
        .filter_map(|n| n.attribute("full-path"))
        .map(str::to_owned)
        .collect();
    Ok((named, Vec::new()))
}

fn xml_entries(archive: &Archive) -> Vec<String> {
    let is_xml = |name: &str| {
        let lower = name.to_ascii_lowercase();
        !lower.starts_with("meta-inf/") && !lower.starts_with("__macosx") && (lower.ends_with(".xml") || lower.ends_with(".musicxml"))
    };
    let names = archive.file_names().filter_map(Result::ok);
    names.filter(|name| is_xml(name)).map(|name| name.into_owned()).collect()
}

/// Inflates one entry, at most `limit` bytes of it.
fn entry(archive: &mut Archive, name: &str, limit: usize, file: &str) -> Result<Vec<u8>, Error> {
    let broken = |found: String| Error::Broken {
        file: file.to_owned(),
        place: tr!("archive entry {name}", name),
        expected: tr!("an entry that can be inflated"),
        found,
    };
    let inflated = archive.by_name(name).map_err(|error| broken(error.to_string()))?;
    let mut bytes = Vec::new();
    inflated.take(limit as u64 + 1).read_to_end(&mut bytes).map_err(|error| broken(error.to_string()))?;
    if bytes.len() > limit {
        return Err(Error::TooLarge { file: file.to_owned(), what: tr!("archive entry {name}", name), limit: tr!("{n} bytes", n = limit) });
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn an_entry_that_inflates_beyond_the_limit_is_refused() {
        let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
        writer.start_file("score.xml", zip::write::SimpleFileOptions::default()).unwrap();
        writer.write_all(&vec![b' '; 100_000]).unwrap();
        let bytes = writer.finish().unwrap().into_inner();
        assert!(bytes.len() < 1_000);
        let mut archive = ZipArchive::new(Cursor::new(&bytes[..])).unwrap();
        assert!(matches!(entry(&mut archive, "score.xml", 99_999, "a.mxl"), Err(Error::TooLarge { .. })));
        assert_eq!(entry(&mut archive, "score.xml", 100_000, "a.mxl").unwrap().len(), 100_000);
    }
}
