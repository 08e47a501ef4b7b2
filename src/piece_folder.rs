//! Pieces on disk: a folder with `piece.toml` and its score, or a bare score file.
//!
//! [`open_piece`] takes what a player types, a name or a path, and returns the checked piece. Three
//! pieces of knowledge live here only: where pieces are looked for, that a score may not stand
//! outside its folder, and which demo pieces are built into the program.

mod piece_text;

pub use piece_text::{PieceText, SaveError, Saved};

use std::fs;
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use crate::import::{self, read_score};
use crate::paths::{SCORE_BYTES_MAX, TEXT_BYTES_MAX, read_file};
use crate::piece::{self, Piece, PieceFile, text};
use crate::score::{ChoosePartError, Score};

/// A piece ready to practise, and where it came from.
#[derive(Clone, Debug)]
pub struct OpenedPiece {
    /// What the journal files the piece under: the name of its folder, or of the score file without its ending.
    pub key: String,
    pub piece: Piece,
    /// What had to be guessed in the score.
    pub warnings: Vec<import::Warning>,
    /// The `piece.toml`, where there is one on disk to write to.
    pub file: Option<PathBuf>,
}

/// Why a piece could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{}", tr!("cannot read {file}", file = path.display()))]
    Read { path: PathBuf, source: std::io::Error },
    #[error("{}", tr!("no piece {name}; {hint}", name = format!("{name:?}"), hint))]
    NotFound { name: String, hint: String },
    #[error(transparent)]
    Piece(#[from] piece::Error),
    #[error(transparent)]
    Score(#[from] import::Error),
    #[error("{}", tr!("cannot tell the part in {file}", file = path.display()))]
    Part { path: PathBuf, source: ChoosePartError },
    #[error("{}", tr!("{file}: expected a score with bars in it, found none", file = path.display()))]
    Empty { path: PathBuf },
}

/// The file of a piece's folder that describes it.
pub const PIECE_FILE: &str = "piece.toml";

/// A demo piece that is part of the program: its name, its piece file and its score.
pub struct Demo {
    pub name: &'static str,
    pub piece_toml: &'static str,
    pub score_name: &'static str,
    pub score: &'static str,
}

static DEMOS: [Demo; 2] = [
    Demo {
        name: "ferry",
        piece_toml: include_str!("../pieces/ferry/piece.toml"),
        score_name: "ferry.musicxml",
        score: include_str!("../pieces/ferry/ferry.musicxml"),
    },
    Demo {
        name: "all-through-the-night",
        piece_toml: include_str!("../pieces/all-through-the-night/piece.toml"),
        score_name: "all-through-the-night.musicxml",
        score: include_str!("../pieces/all-through-the-night/all-through-the-night.musicxml"),
    },
];

/// Opens a piece by what the player typed: the path of a piece's folder, of a `piece.toml` or of a
/// score file; or the name of a piece in one of `pieces_dirs`, first come first served; or the name of a demo piece.
///
/// A bare score becomes a piece with sections of four bars and no cues. `part` goes before the part that the file names.
///
/// # Errors
/// When nothing is found under that name (the message names the nearest), a file cannot be read, or it is refused.
pub fn open_piece(name_or_path: &str, part: Option<&str>, pieces_dirs: &[PathBuf]) -> Result<OpenedPiece, Error> {
    let path = Path::new(name_or_path);
    if path.is_dir() && path.join(PIECE_FILE).exists() {
        return open_folder(path, part);
    }
    if path.is_file() {
        let is_piece = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
        return if is_piece { open_file(path, part) } else { open_score(path, part) };
    }
    let is_name = matches!(path.components().collect::<Vec<_>>()[..], [Component::Normal(_)]);
    if is_name {
        if let Some(dir) = pieces_dirs.iter().map(|d| d.join(path)).find(|d| d.join(PIECE_FILE).exists()) {
            return open_folder(&dir, part);
        }
        if let Some(demo) = demo(name_or_path) {
            return open_demo(demo, part);
        }
    }
    Err(not_found(name_or_path, pieces_dirs))
}

/// Returns the demo piece of this name.
pub fn demo(name: &str) -> Option<&'static Demo> {
    DEMOS.iter().find(|d| d.name == name)
}

/// Lists the names of the pieces in `pieces_dirs` and of the demo pieces, sorted, without duplicates.
pub fn piece_names(pieces_dirs: &[PathBuf]) -> Vec<String> {
    let mut names: Vec<String> = DEMOS.iter().map(|d| d.name.to_owned()).collect();
    // A directory that is not there, or cannot be listed, has no pieces to offer.
    let entries = pieces_dirs.iter().filter_map(|dir| fs::read_dir(dir).ok()).flatten().flatten();
    names.extend(entries.filter(|e| e.path().join(PIECE_FILE).is_file()).map(|e| e.file_name().to_string_lossy().into_owned()));
    names.sort();
    names.dedup();
    names
}

fn not_found(name: &str, pieces_dirs: &[PathBuf]) -> Error {
    let path = Path::new(name);
    let hint = if path.is_dir() {
        tr!("the folder is there but has no {file}; give its score file, or write one", file = PIECE_FILE)
    } else {
        let names = piece_names(pieces_dirs);
        let known: Vec<&str> = names.iter().map(String::as_str).collect();
        tr!("{hint}; a path to a score file or to a piece's folder does as well", hint = text::did_you_mean(name, &known))
    };
    Error::NotFound { name: name.to_owned(), hint }
}

fn open_folder(dir: &Path, part: Option<&str>) -> Result<OpenedPiece, Error> {
    open_file(&dir.join(PIECE_FILE), part)
}

fn open_file(path: &Path, part: Option<&str>) -> Result<OpenedPiece, Error> {
    let shown = path.display().to_string();
    let content = read_text(path)?;
    let file = PieceFile::parse(&content, &shown)?;
    let dir = path.parent().unwrap_or(Path::new("."));
    let score_path = inside(dir, &file)?;
    let (score, mut warnings) = read_score(&read(&score_path, SCORE_BYTES_MAX)?, &score_path.display().to_string())?;
    let said = score.choose_part_saying(file.wanted_part(part)).ok().and_then(|chosen| chosen.said);
    warnings.extend(said.map(about_the_part));
    let piece = file.check(Arc::new(score), part)?;
    Ok(OpenedPiece { key: folder_name(dir), piece, warnings, file: Some(path.to_owned()) })
}

/// Returns the path of a piece's score, which must stand in the piece's folder or below: a piece
/// folder may come from anybody, and must not make the program read elsewhere.
fn inside(dir: &Path, file: &PieceFile) -> Result<PathBuf, Error> {
    let wanted = Path::new(&file.score.value);
    let refuse = |found: String| {
        piece::Error::new(&file.file_name, file.score.place, tr!("a score file inside the piece's folder"), found)
            .with_hint(tr!("copy the score into the folder and name it here"))
    };
    if !wanted.components().all(|c| matches!(c, Component::Normal(_) | Component::CurDir)) {
        return Err(refuse(format!("{:?}", file.score.value)).into());
    }
    let path = dir.join(wanted);
    if !path.exists() {
        return Err(refuse(tr!("{name}, which is not there", name = format!("{:?}", file.score.value))).into());
    }
    let canonical = |path: &Path| fs::canonicalize(path).map_err(|source| Error::Read { path: path.to_owned(), source });
    let base = if dir.as_os_str().is_empty() { Path::new(".") } else { dir };
    if !canonical(&path)?.starts_with(canonical(base)?) {
        return Err(refuse(tr!("{name}, a link that leads out of it", name = format!("{:?}", file.score.value))).into());
    }
    Ok(path)
}

fn open_score(path: &Path, part: Option<&str>) -> Result<OpenedPiece, Error> {
    let (score, mut warnings) = read_score(&read(path, SCORE_BYTES_MAX)?, &path.display().to_string())?;
    let chosen = score.choose_part_saying(part).map_err(|source| Error::Part { path: path.to_owned(), source })?;
    warnings.extend(chosen.said.map(about_the_part));
    let key = path.file_stem().map_or_else(|| "piece".to_owned(), |s| s.to_string_lossy().into_owned());
    let title = title_of(&score, &key);
    let piece = Piece::of_score(Arc::new(score), chosen.part, &title).ok_or_else(|| Error::Empty { path: path.to_owned() })?;
    Ok(OpenedPiece { key, piece, warnings, file: None })
}

fn open_demo(demo: &Demo, part: Option<&str>) -> Result<OpenedPiece, Error> {
    let file = PieceFile::parse(demo.piece_toml, &format!("{}/{PIECE_FILE}", demo.name))?;
    let (score, warnings) = read_score(demo.score.as_bytes(), demo.score_name)?;
    let piece = file.check(Arc::new(score), part)?;
    Ok(OpenedPiece { key: demo.name.to_owned(), piece, warnings, file: None })
}

fn about_the_part(said: String) -> import::Warning {
    import::Warning { bar: None, line: None, element: "part".to_owned(), what: said }
}

fn title_of(score: &Score, otherwise: &str) -> String {
    score.title.as_deref().map(str::trim).filter(|t| !t.is_empty()).unwrap_or(otherwise).to_owned()
}

fn folder_name(dir: &Path) -> String {
    let named = fs::canonicalize(dir).ok().and_then(|d| d.file_name().map(|n| n.to_string_lossy().into_owned()));
    named.unwrap_or_else(|| "piece".to_owned())
}

fn read_text(path: &Path) -> Result<String, Error> {
    let shown = path.display().to_string();
    String::from_utf8(read(path, TEXT_BYTES_MAX)?).map_err(|e| {
        let valid = String::from_utf8_lossy(&e.as_bytes()[..e.utf8_error().valid_up_to()]).into_owned();
        let place = text::Source::new(&shown, &valid).place(valid.len());
        piece::Error::new(&shown, place, tr!("text in UTF-8"), tr!("bytes that are not")).with_hint(tr!("save the file as UTF-8")).into()
    })
}

/// Reads a regular file; anything else (a device, a pipe) could block or never end.
fn read(path: &Path, limit: u64) -> Result<Vec<u8>, Error> {
    let fail = |source| Error::Read { path: path.to_owned(), source };
    if !fs::metadata(path).map_err(fail)?.is_file() {
        return Err(fail(std::io::Error::new(std::io::ErrorKind::InvalidInput, tr!("it is not a regular file"))));
    }
    read_file(path, limit).map_err(fail)
}
