//! Bytes to text: byte order marks, UTF-16, and the old one-byte encodings some files still declare.

use std::borrow::Cow;

use crate::import::{Error, Warning};

/// Decodes an XML file. UTF-8 costs a check and no copy.
///
/// # Errors
/// When UTF-16 is broken; broken UTF-8 is read with replacement characters and a warning.
pub(super) fn decode<'b>(bytes: &'b [u8], file: &str) -> Result<(Cow<'b, str>, Option<Warning>), Error> {
    match bytes {
        [0xFE, 0xFF, rest @ ..] => utf16(rest, u16::from_be_bytes, file),
        [0xFF, 0xFE, rest @ ..] => utf16(rest, u16::from_le_bytes, file),
        [0, b'<', ..] => utf16(bytes, u16::from_be_bytes, file),
        [b'<', 0, ..] => utf16(bytes, u16::from_le_bytes, file),
        _ => Ok(one_byte_or_utf8(bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes))),
    }
}

fn one_byte_or_utf8(bytes: &[u8]) -> (Cow<'_, str>, Option<Warning>) {
    match std::str::from_utf8(bytes) {
        Ok(text) => (Cow::Borrowed(text), None),
        // ISO 8859-1 maps every byte to the code point of the same number (ISO/IEC 8859-1, table 1).
        Err(_) if declares_latin1(bytes) => (Cow::Owned(bytes.iter().map(|&b| b as char).collect()), None),
        Err(error) => {
            let line = 1 + bytes[..error.valid_up_to()].iter().filter(|&&b| b == b'\n').count() as u32;
            let what = tr!("some bytes are not UTF-8 and were replaced");
            let warning = Warning { bar: None, line: Some(line), element: tr!("text"), what };
            (String::from_utf8_lossy(bytes), Some(warning))
        }
    }
}

fn declares_latin1(bytes: &[u8]) -> bool {
    let head = String::from_utf8_lossy(&bytes[..bytes.len().min(200)]).to_ascii_lowercase();
    let declaration = head.split("?>").next().unwrap_or_default();
    ["iso-8859-1", "iso8859-1", "latin1", "latin-1", "windows-1252", "us-ascii"].iter().any(|name| declaration.contains(name))
}

fn utf16<'b>(bytes: &[u8], unit: fn([u8; 2]) -> u16, file: &str) -> Result<(Cow<'b, str>, Option<Warning>), Error> {
    let units = bytes.chunks_exact(2).map(|pair| unit([pair[0], pair[1]]));
    let mut text = String::with_capacity(bytes.len() / 2);
    for c in char::decode_utf16(units) {
        match c {
            Ok(c) => text.push(c),
            Err(bad) => {
                return Err(Error::Broken {
                    file: file.to_owned(),
                    place: tr!("line {line}", line = 1 + text.matches('\n').count()),
                    expected: tr!("UTF-16 text, as the first bytes announce"),
                    found: tr!("half a character, {code}", code = format!("{:#06x}", bad.unpaired_surrogate())),
                });
            }
        }
    }
    Ok((Cow::Owned(text), None))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_encoding_reads_as_the_same_text() {
        let text = "<a>é</a>";
        let be: Vec<u8> = [0xFE, 0xFF].into_iter().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect();
        let le: Vec<u8> = [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
        let with_mark = [b"\xEF\xBB\xBF", text.as_bytes()].concat();
        for bytes in [&be[..], &le[..], &be[2..], &with_mark[..], text.as_bytes()] {
            assert_eq!(decode(bytes, "a.xml").unwrap().0, text);
        }
        let latin1 = b"<?xml version='1.0' encoding='ISO-8859-1'?><a>\xE9</a>";
        assert!(decode(latin1, "a.xml").unwrap().0.ends_with(text));
        assert!(decode(b"<a>\n\xE9</a>", "a.xml").unwrap().1.is_some_and(|w| w.line == Some(2)));
        assert!(decode(&[0xFF, 0xFE, 0x00, 0xD8, b'<', 0], "a.xml").is_err());
    }
}
