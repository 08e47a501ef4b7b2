//! A captured piece on disk: its folder has the score, the piece file, and `capture/` with every take and the record of them.

use std::fs;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context as _, bail};

use crate::capture::record::{Kept, Record};
use crate::capture::{Captured, Page, Stretch, score};
use crate::cli::add;
use crate::export::musicxml;
use crate::import::read_score;
use crate::midi::Take;
use crate::paths::{SCORE_BYTES_MAX, TEXT_BYTES_MAX, read_file, read_text};
use crate::piece::relabel;
use crate::piece_folder::PIECE_FILE;
use crate::score::Score;
use crate::source::replay::{read_take, write_take_lines};
use crate::theory::{KeySignature, Meter};
use crate::time::{ScoreTime, Tempo};

use super::USUAL_TEMPO;
use super::take_file::TakeFile;

const RECORD_FILE: &str = "capture.json";

pub struct Folder {
    pub dir: PathBuf,
    name: String,
    pub record: Record,
    /// How many bars a section has that is proposed for the piece.
    section_bars: RangeInclusive<usize>,
    /// Takes that are not on disk yet, or not whole.
    pub unwritten: Vec<TakeFile>,
}

impl Folder {
    /// Opens the capture of a piece, or begins one where there is no such folder.
    pub fn open(dir: &Path, name: &str, section_bars: RangeInclusive<usize>) -> anyhow::Result<Folder> {
        let file = dir.join("capture").join(RECORD_FILE);
        let record = if file.exists() {
            let shown = file.display().to_string();
            Record::parse(&read_text(&file, TEXT_BYTES_MAX).with_context(|| tr!("reading {file}", file = shown))?, &shown)?
        } else if dir.exists() {
            bail!(tr!("{folder} is there already and was not captured; take another name, or remove it first", folder = dir.display()));
        } else {
            let page = Page {
                meters: vec![(1, Meter::COMMON)],
                keys: vec![(1, KeySignature::NONE)],
                pickup: ScoreTime::ZERO,
                n_bars: None,
                repeats: Vec::new(),
            };
            Record { page, tempo: Tempo::try_new(USUAL_TEMPO).expect("the usual tempo is one"), stretches: Vec::new() }
        };
        Ok(Folder { dir: dir.to_owned(), name: name.to_owned(), record, section_bars, unwritten: Vec::new() })
    }

    fn score_file(&self) -> String {
        format!("{}.musicxml", self.name)
    }

    /// Returns the score as it was captured before.
    pub fn score(&self) -> anyhow::Result<Option<Score>> {
        let path = self.dir.join(self.score_file());
        if !path.exists() {
            return Ok(None);
        }
        let shown = path.display().to_string();
        let bytes = read_file(&path, SCORE_BYTES_MAX).with_context(|| tr!("reading {file}", file = shown))?;
        Ok(Some(read_score(&bytes, &shown)?.0))
    }

    /// Returns a name for the next take, and its path.
    pub fn next_take(&self) -> (String, PathBuf) {
        let dir = self.dir.join("capture");
        let is_free = |file: &String| !dir.join(file).exists() && self.unwritten.iter().all(|take| take.name != *file);
        let free = (1..).map(|n| format!("take-{n}.jsonl")).find(is_free).expect("numbers do not end");
        let path = dir.join(&free);
        (free, path)
    }

    /// Writes what is not on disk yet, and the record.
    ///
    /// # Errors
    /// When something still waits: the error of the first thing that does.
    pub fn catch_up(&mut self) -> anyhow::Result<()> {
        while let Some(take) = self.unwritten.first_mut() {
            take.write().with_context(|| tr!("writing the take"))?;
            self.unwritten.remove(0);
        }
        self.save_record()
    }

    /// Keeps the takes that are not on disk where there is room: where the program was started, else where the system keeps what is
    /// passing. Returns the files.
    ///
    /// # Errors
    /// When there is no room there either.
    pub fn rescue(&self) -> anyhow::Result<Vec<PathBuf>> {
        let dirs: Vec<PathBuf> = std::env::current_dir().ok().into_iter().chain([std::env::temp_dir()]).collect();
        let rescued = |take: &TakeFile| {
            let kept = dirs.iter().find_map(|dir| take.rescue(dir, &self.name).ok());
            kept.with_context(|| tr!("{take} cannot be written anywhere, and is lost", take = take.name))
        };
        self.unwritten.iter().map(rescued).collect()
    }

    pub fn keep_take(&self, take: &Take) -> anyhow::Result<String> {
        let (file, path) = self.next_take();
        path.parent().map_or(Ok(()), fs::create_dir_all).with_context(|| tr!("making {folder}", folder = path.display()))?;
        add::write(&path, write_take_lines(take).as_bytes())?;
        Ok(file)
    }

    pub fn save_record(&self) -> anyhow::Result<()> {
        let dir = self.dir.join("capture");
        fs::create_dir_all(&dir).with_context(|| tr!("making {folder}", folder = dir.display()))?;
        add::write(&self.dir.join("capture").join(RECORD_FILE), self.record.text().as_bytes())
    }

    /// Removes a folder in which nothing was kept.
    pub fn forget_if_empty(&self) {
        let dir = self.dir.join("capture");
        // A record of nothing; folders with anything else in them are not removed.
        let _ = fs::remove_file(dir.join(RECORD_FILE));
        for dir in [dir, self.dir.clone()] {
            let _ = fs::remove_dir(dir);
        }
    }

    pub fn read_take(&self, file: &str) -> anyhow::Result<Take> {
        if let Some(unwritten) = self.unwritten.iter().find(|take| take.name == file) {
            return Ok(unwritten.take.clone());
        }
        let path = self.dir.join("capture").join(file);
        let shown = path.display().to_string();
        Ok(read_take(&read_file(&path, SCORE_BYTES_MAX).with_context(|| tr!("reading {file}", file = shown))?, &shown)?)
    }

    /// Lays out the score from all that was played.
    pub fn lay_out(&self) -> anyhow::Result<Captured> {
        let stretch = |kept: &Kept| -> anyhow::Result<Stretch> { Ok(kept.stretch(&self.read_take(&kept.file)?, &self.record.page)?) };
        let stretches: Vec<Stretch> = self.record.stretches.iter().map(stretch).collect::<Result<_, _>>()?;
        Ok(score(&self.record.page, &stretches, Some(&self.name), Some(self.record.tempo)))
    }

    /// Writes the score, and the piece file: drafted where there is none, else with every place at the music it was at.
    pub fn write(&self, score: &Score, before: Option<&Score>) -> anyhow::Result<()> {
        self.save_record()?;
        let text = musicxml::write(score);
        let file = self.dir.join(PIECE_FILE);
        let shown = file.display().to_string();
        if let (Some(before), true) = (before, file.exists()) {
            let written = read_text(&file, TEXT_BYTES_MAX).with_context(|| tr!("reading {file}", file = shown))?;
            let moved = relabel(&written, &shown, before, score)?;
            add::write(&self.dir.join(self.score_file()), text.as_bytes())?;
            return if moved == written { Ok(()) } else { add::write(&file, moved.as_bytes()) };
        }
        // The piece is drafted from what will be read back.
        let (read, _) = read_score(text.as_bytes(), &self.score_file())?;
        let (draft, _) = add::draft(Arc::new(read), 0, &self.name, &self.score_file(), &self.section_bars)?;
        add::write(&self.dir.join(self.score_file()), text.as_bytes())?;
        add::write(&file, draft.as_bytes())
    }
}
