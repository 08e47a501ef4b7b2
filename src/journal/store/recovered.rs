//! What sessions that were cut short left beside the journal, taken in when it is next opened.

use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

use rusqlite::params;

use super::underway::{self, Begun};
use super::{Error, SessionId, Store, rescue};
use crate::journal::entry::{Entry, Happening, Reason, Rep, RepNumber, Verdict, Witness};
use crate::language::named::shown;
use crate::midi::{MidiEvent, Take};

/// What was taken in.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct Recovered {
    /// Reps that were on when the program ended: the name of the span and how many notes of it are kept.
    pub takes: Vec<(String, usize)>,
    /// Entries that the journal had refused.
    pub n_rescued: usize,
    /// Files that could not be taken in, or not whole, and where they are now; each with the reason.
    pub left: Vec<(PathBuf, String)>,
}

impl Recovered {
    /// Returns what to say of it, a line each; nothing when nothing was there.
    pub fn lines(&self) -> Vec<String> {
        let note = |n: usize| tr!("1 note" | "{n} notes" % n);
        let cut_short = |span: &String, n: usize| {
            tr!("the program was cut short in a rep of {span}: its take of {notes} is kept", span = shown(span), notes = note(n))
        };
        let takes = self.takes.iter().map(|(span, n)| cut_short(span, *n));
        let rescued = (self.n_rescued > 0).then(|| tr!("what the journal refused last time is in it now"));
        let left = self.left.iter().map(|(file, why)| tr!("{file} was left as it is: {why}", file = file.display(), why));
        takes.chain(rescued).chain(left).collect()
    }
}

impl Store {
    /// Returns what was taken in when the journal was opened.
    pub fn recovered(&self) -> &Recovered {
        &self.recovered
    }

    /// Takes in what sessions that are over left in `dir`. What cannot be taken in stays there; nothing of it keeps a journal from opening.
    pub(super) fn take_in_what_was_left(&mut self, dir: &Path) {
        let names = fs::read_dir(dir).map(|entries| entries.flatten().filter_map(|e| e.file_name().into_string().ok()).collect());
        let mut names: Vec<String> = names.unwrap_or_default();
        names.sort_unstable();
        // Rescued reps first: a take in progress may be that of one of them.
        for (name, session) in names.iter().filter_map(|name| Some((name, rescue::session_of(name)?))) {
            if !underway::is_on(dir, session) {
                let file = dir.join(name);
                let taken = self.merge(&file).map(|merged| self.recovered.n_rescued += merged.n_reps + merged.n_answers);
                self.settle(&file, taken);
            }
        }
        for (name, session) in names.iter().filter_map(|name| Some((name, underway::session_of(name)?))) {
            let path = dir.join(name);
            let Ok(mut file) = File::open(&path) else { continue };
            if underway::is_locked(&file) {
                continue;
            }
            let mut bytes = Vec::new();
            if file.read_to_end(&mut bytes).is_err() {
                continue;
            }
            let left = underway::read(&bytes);
            let taken = left.rep.map_or(Ok(()), |(begun, take)| self.take_in_rep(session, &begun, take));
            match (taken, left.is_torn) {
                // Put aside under another name, so that it is told of once.
                (Ok(()), true) => {
                    let aside = path.with_extension("torn");
                    let to = if fs::rename(&path, &aside).is_ok() { aside } else { path.clone() };
                    self.recovered.left.push((to, tr!("part of it cannot be read; the rest is in the journal")));
                }
                (taken, _) => self.settle(&path, taken),
            }
        }
    }

    /// A file that was taken in is not needed any more; one that was not is told of.
    fn settle(&mut self, file: &Path, taken: Result<(), Error>) {
        match taken {
            // What stays although it was taken in is taken in once more, which changes nothing.
            Ok(()) => drop(fs::remove_file(file)),
            Err(Error::Other { what, .. }) => self.recovered.left.push((file.to_owned(), what)),
            Err(error) => self.recovered.left.push((file.to_owned(), error.to_string())),
        }
    }

    /// Writes the rep that was on when its session was cut short. It counts for nothing, and its place is the beginning, because what was
    /// held in it has not been judged: its take is there to be listened to.
    fn take_in_rep(&mut self, session: SessionId, begun: &Begun, take: Take) -> Result<(), Error> {
        let sql =
            "SELECT (SELECT count(*) FROM session WHERE id = ?1), (SELECT count(*) FROM rep WHERE session_id = ?1 AND started_us = ?2),
                          (SELECT coalesce(max(number) + 1, 0) FROM rep WHERE session_id = ?1)";
        let found = self.connection.query_row(sql, params![session.0.to_string(), begun.started.0], |row| {
            Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?, row.get::<_, u32>(2)?))
        });
        let (n_sessions, n_same, number) = found.map_err(self.failed(msgid!("look for a session")))?;
        if n_sessions == 0 {
            return Err(Error::Unknown { file: self.file.clone() });
        }
        if n_same > 0 {
            return Ok(());
        }
        let ended = take.events().last().map_or(begun.started, |last| last.at);
        let place = format!("{}.1", begun.bars.0);
        let n_notes = take.events().iter().filter(|e| matches!(e.what, MidiEvent::NoteOn { .. })).count();
        let rep = Rep {
            number: RepNumber(number),
            mode: begun.mode,
            span: begun.span.clone(),
            bars: begun.bars.clone(),
            started: begun.started,
            ended,
            verdict: Verdict::Broken,
            witness: Witness::Heard,
            reason: Some(Reason { place: place.clone(), kind: "abandoned", words: "the program was cut short".to_owned() }),
            happenings: vec![Happening { at: ended, kind: "abandoned", place, hand: None, setting: None }],
            n_notes_due: 0,
            n_notes_right: 0,
            tempo: None,
            run: None,
            take,
        };
        self.append(session, &Entry::Rep(rep))?;
        self.recovered.takes.push((begun.span.clone(), n_notes));
        Ok(())
    }
}
