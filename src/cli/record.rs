//! The record of one session: the take in progress beside the journal, entries into it, and what becomes of them while it refuses.
//!
//! Nothing here stops a player. What the journal refuses (a full disk, another program that holds it) is kept in memory and, at once,
//! in a small journal of its own; it is tried again every two seconds and at the end, and taken in when the program is next started.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::time::Duration;

use uuid::Uuid;

use crate::clock::wall_now;
use crate::journal::entry::Entry;
use crate::journal::store::{Begun, EntryId, Error, NewSession, SessionId, Store, TakeInProgress, rescue_path};
use crate::midi::MidiEvent;
use crate::practice::View;
use crate::time::{Micros, Stamped, Timestamp};

/// How long a write waits for another program while somebody plays, and at the end.
const PATIENCE: Duration = Duration::from_millis(100);
const PATIENCE_AT_THE_END: Duration = Duration::from_secs(10);
/// Time between two attempts at a journal that refuses.
const AGAIN: Micros = Micros(2_000_000);
/// Events kept from before a rep is known to be one; no rep takes more to be known.
const N_HEARD: usize = 256;

/// A session being written down.
pub struct Record {
    store: Store,
    session: SessionId,
    opened: NewSession,
    is_begun: bool,
    take: Option<TakeInProgress>,
    heard: VecDeque<Stamped<MidiEvent>>,
    /// Entries that are not in the journal yet, oldest first.
    unwritten: VecDeque<(EntryId, Entry)>,
    refusal: Option<Refusal>,
    news: Option<String>,
}

/// The journal refuses.
struct Refusal {
    /// For the foot of the screen.
    words: String,
    next_try: Micros,
    /// Where what is unwritten is kept meanwhile; none where nothing can be written.
    rescued: Option<PathBuf>,
}

impl Record {
    /// Begins a session now. A journal that refuses to be written keeps nobody from playing.
    pub fn begin(store: Store, piece_key: &str, piece_title: &str, seed: u64) -> Self {
        let opened = NewSession {
            started: wall_now(),
            piece_key: piece_key.to_owned(),
            piece_title: piece_title.to_owned(),
            program_version: super::VERSION.to_owned(),
            seed,
        };
        let session = SessionId(Uuid::now_v7());
        let take = store.dir().and_then(|dir| TakeInProgress::create(dir, session).ok());
        let (heard, unwritten) = (VecDeque::with_capacity(N_HEARD), VecDeque::new());
        let news = store.recovered().lines().into_iter().next();
        let mut record = Record { store, session, opened, is_begun: false, take, heard, unwritten, refusal: None, news };
        record.wait_for_others(PATIENCE);
        record.write(Micros::ZERO);
        record
    }

    /// Notes what the player has set of the numbers that reps are judged by; nothing where all are usual.
    #[must_use]
    pub fn judged_by(mut self, settings: &str) -> Self {
        if !settings.is_empty() {
            self.keep(Micros::ZERO, &Entry::JudgedBy { settings: settings.to_owned(), at: Micros::ZERO });
        }
        self
    }

    pub fn store(&self) -> &Store {
        &self.store
    }

    /// Returns when the session began.
    pub fn began(&self) -> Timestamp {
        self.opened.started
    }

    /// Hears what is played, before anything is made of it.
    pub fn hear(&mut self, event: Stamped<MidiEvent>) {
        if self.heard.len() == N_HEARD {
            self.heard.pop_front();
        }
        self.heard.push_back(event);
        if let Some(take) = &mut self.take {
            take.push(event);
        }
    }

    /// A rep is on since `started`; `view` says of what.
    pub fn begin_rep(&mut self, started: Micros, view: &View<'_>) {
        let end = |label: Option<&String>| label.cloned().unwrap_or_default();
        let rep = Begun { mode: view.mode, span: view.span.to_owned(), bars: (end(view.bars.first()), end(view.bars.last())), started };
        if let Some(take) = &mut self.take {
            take.begin(&rep, self.heard.iter().filter(|e| e.at >= started).copied());
        }
    }

    /// Writes an entry, or keeps it for later.
    pub fn keep(&mut self, at: Micros, entry: &Entry) {
        self.unwritten.push_back((EntryId::new(), entry.clone()));
        match &self.refusal {
            Some(refusal) if at < refusal.next_try => self.rescue(),
            _ => self.write(at),
        }
        let is_kept = self.refusal.as_ref().is_none_or(|r| r.rescued.is_some());
        if let (Entry::Rep(_), true, Some(take)) = (entry, is_kept, &mut self.take) {
            take.clear();
        }
    }

    /// Returns when a journal that refuses is to be tried again.
    pub fn next_try(&self) -> Option<Micros> {
        self.refusal.as_ref().map(|r| r.next_try)
    }

    /// Tries again what is due.
    pub fn try_again(&mut self, now: Micros) {
        if self.next_try().is_some_and(|due| due <= now) {
            self.write(now);
        }
    }

    /// Returns why the journal refuses, while it does.
    pub fn trouble(&self) -> Option<&str> {
        self.refusal.as_ref().map(|r| r.words.as_str())
    }

    /// Returns something new to say, once.
    pub fn take_news(&mut self) -> Option<String> {
        self.news.take()
    }

    /// Ends the session.
    ///
    /// # Errors
    /// When the journal refuses to the last; the message says where what was played is kept.
    pub fn close(mut self) -> anyhow::Result<()> {
        self.wait_for_others(PATIENCE_AT_THE_END);
        self.write(Micros::ZERO);
        let Some(refusal) = &self.refusal else {
            self.store.end_session(self.session, wall_now())?;
            if let Some(take) = self.take {
                take.remove();
            }
            return Ok(());
        };
        let n = self.unwritten.len();
        match &refusal.rescued {
            Some(file) => anyhow::bail!(tr!(
                "{why}; what was played is kept in {file}: take it in with: {command}",
                why = refusal.words,
                file = file.display(),
                command = format!("catchword journal import {}", file.display())
            )),
            None => {
                anyhow::bail!(tr!("{why}, nor can any other file be written: {n} records of this session are lost", why = refusal.words, n))
            }
        }
    }

    fn wait_for_others(&self, patience: Duration) {
        // Without it the patience stays what it was.
        let _ = self.store.set_patience(patience);
    }

    /// Writes what is not written yet, in order; stops at the first that fails and keeps the rest.
    fn write(&mut self, at: Micros) {
        if let Err(error) = self.write_all() {
            let words = tr!("not written down yet: the journal refuses ({why})", why = error.why());
            if self.refusal.is_none() {
                self.news = Some(words.clone());
            }
            let rescued = self.refusal.take().and_then(|r| r.rescued);
            self.refusal = Some(Refusal { words, next_try: at + AGAIN, rescued });
            self.rescue();
        } else if let Some(Refusal { rescued, .. }) = self.refusal.take() {
            self.news = Some(tr!("all is written down now"));
            rescued.into_iter().for_each(|file| drop(std::fs::remove_file(file)));
        }
    }

    fn write_all(&mut self) -> Result<(), Error> {
        if !self.is_begun {
            self.store.begin_session_as(self.session, &self.opened)?;
            self.is_begun = true;
        }
        while let Some((id, entry)) = self.unwritten.front() {
            self.store.append_as(*id, self.session, entry)?;
            self.unwritten.pop_front();
        }
        Ok(())
    }

    /// Keeps what is unwritten in a file: beside the journal, else where the program was started, else where the system keeps what is passing.
    fn rescue(&mut self) {
        let Some(refusal) = &mut self.refusal else { return };
        let here = std::env::current_dir().ok();
        let dirs = self.store.dir().map(PathBuf::from).into_iter().chain(here).chain([std::env::temp_dir()]);
        let before = refusal.rescued.take();
        refusal.rescued = dirs
            .map(|dir| rescue_path(&dir, self.session))
            .find(|file| self.store.rescue(self.session, &self.opened, &self.unwritten, file).is_ok());
        // An earlier file is of no use once all of it is in another one.
        if let (Some(old), Some(new)) = (before, &refusal.rescued)
            && old != *new
        {
            let _ = std::fs::remove_file(old);
        }
    }
}
