//! Capturing while it is played: a click, stretch after stretch, with every note on disk as it comes.
//!
//! The dialogue is lines in and lines out, so that it works on any terminal and with hands busy: Enter goes on.

use std::io::{self, Write};
use std::sync::Arc;

use anyhow::{Context as _, bail};
use crossbeam_channel::{Receiver, after, at, bounded, never, select};

use crate::capture::Pass;
use crate::capture::record::{Kept, KeptBeats};
use crate::cli::hearing::of_capture;
use crate::cli::{N_SIGNALS_MAX, read_words};
use crate::clock::SessionClock;
use crate::midi::{Channel, Hearing, MidiEvent};
use crate::paths::Paths;
use crate::report::plain_text::{plain_lines, wrapped};
use crate::source::{Signal, open};
use crate::time::{Micros, Stamped};
use crate::tone::Tone;

use super::click::Click;
use super::folder::Folder;
use super::take_file::TakeFile;
use super::{CaptureArgs, bar_numbers, last_bar, playback};

/// Columns that every terminal has.
const WIDTH: usize = 79;
/// From Enter to the first click.
const BREATH: Micros = Micros(800_000);
/// After the last bar that was asked for, a take goes on for this long.
const AFTER_LAST: Micros = Micros(1_500_000);
/// A pedal tapped with Enter is written down as this channel's.
const ENTER: Channel = Channel(15);

/// What the player said after a stretch.
enum Answer {
    GoOn,
    Again,
    From(u32),
    Done,
}

/// Plays stretches until the player is done.
pub fn play(args: &CaptureArgs, paths: &Paths, folder: &mut Folder, again: Option<(u32, u32)>) -> anyhow::Result<()> {
    let config = crate::cli::settings(paths)?;
    let input = args.input.as_deref().or(config.input.as_deref()).unwrap_or_default();
    let clock = SessionClock::start();
    let (sender, signals) = bounded(N_SIGNALS_MAX);
    let source = open(input)?;
    let hearing = of_capture(&source.name(), &config, paths)?.into();
    let _running = source.start(clock, sender)?;
    let tone = Tone::of_setting(config.tone.as_deref(), clock);
    let mut room = Room { signals, words: read_words(), clock, tapped: args.tapped, is_plain: args.plain, tone, hearing };
    if let Some(trouble) = room.tone.take_trouble() {
        room.say(&trouble)?;
    }
    if let Some((first, last)) = again {
        room.say(&tr!("bars {first} to {last}, once more. Enter when you are ready", first, last))?;
        if room.wait()? {
            room.stretch(folder, first, Some(last), None)?;
        }
    } else {
        room.passes(folder)?;
    }
    room.write_all(folder)
}

/// Returns the bar after the last one of a pass, or the first of the page.
fn next_bar(folder: &Folder, pass: Pass) -> anyhow::Result<u32> {
    let page = &folder.record.page;
    let reached = folder.record.stretches.iter().filter(|k| k.pass == Some(pass)).filter_map(|k| k.last).max();
    Ok(reached.map_or(u32::from(page.pickup.is_zero()), |bar| bar + 1))
}

struct Room {
    signals: Receiver<Signal>,
    words: Receiver<String>,
    clock: SessionClock,
    tapped: Option<u8>,
    /// No bell, and no line written over.
    is_plain: bool,
    /// Where the click sounds and bars are played back.
    tone: Tone,
    /// How the instrument is heard; each take says so itself.
    hearing: Arc<Hearing>,
}

impl Room {
    /// Takes stretch after stretch: the first reading, and the second where it is wanted.
    fn passes(&mut self, folder: &mut Folder) -> anyhow::Result<()> {
        let mut pass = Pass::First;
        let mut first = next_bar(folder, pass)?;
        self.say(&tr!(
            "Play from the page, slowly. After each stretch: Enter goes on, `again` takes it once more, `from 5` goes to a bar, `play 7-8` lets you \
             hear bars as they were taken, `done` ends."
        ))?;
        loop {
            self.say(&tr!("from bar {bar}: Enter when you are ready, Enter again to stop", bar = first))?;
            if !self.wait()? {
                return Ok(());
            }
            let reached = self.stretch(folder, first, None, Some(pass))?;
            let is_whole = folder.record.page.n_bars.is_some_and(|n| reached.is_some_and(|bar| bar >= n));
            match reached {
                Some(bar) => self.say(&tr!("taken: bars {first} to {last}", first, last = bar))?,
                None => self.say(&tr!("nothing was played"))?,
            }
            match if is_whole { Answer::Done } else { self.answer(folder)? } {
                Answer::GoOn => first = reached.map_or(first, |bar| bar + 1),
                Answer::Again => {}
                Answer::From(bar) => first = bar,
                Answer::Done if pass == Pass::First => {
                    self.say(&tr!(
                        "Once more from the beginning, so that slips of reading show? Enter: yes; `done`: no; `again`: the last stretch once more"
                    ))?;
                    match self.answer(folder)? {
                        Answer::GoOn => (pass, first) = (Pass::Second, next_bar(folder, Pass::Second)?),
                        Answer::Again => {}
                        Answer::From(bar) => first = bar,
                        Answer::Done => return Ok(()),
                    }
                }
                Answer::Done => return Ok(()),
            }
        }
    }

    fn say(&self, line: &str) -> anyhow::Result<()> {
        // A reader of the screen takes a line as it comes; on a terminal no word is broken at the edge.
        let lines = if self.is_plain { vec![line.to_owned()] } else { wrapped(line, WIDTH, "") };
        let write = |line: &String| writeln!(io::stdout(), "{}", plain_lines(line));
        lines.iter().try_for_each(write).with_context(|| tr!("writing to the terminal"))
    }

    /// Waits for Enter; false when nobody is there any more, or says that it is done.
    fn wait(&self) -> anyhow::Result<bool> {
        Ok(self.words.recv().is_ok_and(|word| word.trim() != "done"))
    }

    fn answer(&self, folder: &Folder) -> anyhow::Result<Answer> {
        loop {
            let Ok(word) = self.words.recv() else { return Ok(Answer::Done) };
            match word.trim() {
                "" => return Ok(Answer::GoOn),
                "again" => return Ok(Answer::Again),
                "done" => return Ok(Answer::Done),
                other => {
                    let (word, rest) = other.split_once(' ').unwrap_or((other, ""));
                    match (word, rest.trim().parse(), bar_numbers(rest)) {
                        ("from", Ok(bar), _) => return Ok(Answer::From(bar)),
                        ("play", _, Ok(bars)) => self.play_back(folder, bars)?,
                        _ => self.say(&tr!("expected Enter, `again`, `from 5`, `play 7-8` or `done`"))?,
                    }
                }
            }
        }
    }

    /// Plays bars back; what keeps them from sounding is said, and nothing else stops for it.
    fn play_back(&self, folder: &Folder, bars: (u32, u32)) -> anyhow::Result<()> {
        let played = folder.lay_out().and_then(|taken| playback::play(&taken.score, bars, folder.record.tempo, &self.tone, self.clock));
        played.or_else(|why| self.say(&format!("{why:#}")))
    }

    /// Takes one stretch; returns the last bar that was reached. Its notes are on disk before the next comes.
    fn stretch(&mut self, folder: &mut Folder, first: u32, last: Option<u32>, pass: Option<Pass>) -> anyhow::Result<Option<u32>> {
        let page = folder.record.page.clone();
        let tempo = folder.record.tempo;
        let (file, path) = folder.next_take();
        let mut out = TakeFile::new(file.clone(), path, self.hearing.clone());
        // What was played before belongs to nothing.
        while self.signals.try_recv().is_ok() {}
        let count_in = if first == 0 {
            page.meter_of(1).bar_length() + page.meter_of(1).bar_length() - page.pickup
        } else {
            page.meter_of(first).bar_length()
        };
        let from = self.clock.now() + BREATH;
        let start = page.start_of(first);
        let begin = from + tempo.duration(count_in);
        let beats = match self.tapped {
            Some(controller) => KeptBeats::Taps { controller },
            None => KeptBeats::Click { at: begin, place: start, tempo },
        };
        folder.record.stretches.push(Kept { file, first, last, pass, beats });
        // A disk that is full keeps nobody from playing.
        let mut refused = folder.catch_up().err().map(|error| format!("{error:#}"));
        if let Some(why) = &refused {
            self.say(&not_yet(why))?;
        }
        let end = match (self.tapped, last.or(page.n_bars)) {
            (None, Some(last)) => Some(begin + tempo.duration(page.start_of(last + 1) - start) + AFTER_LAST),
            _ => None,
        };
        let mut click =
            Click { page: &page, next: from, place: start - count_in, start, tempo, is_plain: self.is_plain, said: None, tone: &self.tone };
        if self.tapped.is_none() {
            click.call();
        }
        loop {
            let now = self.clock.now();
            if end.is_some_and(|end| now >= end) {
                break;
            }
            let wake = [if self.tapped.is_none() { Some(click.next) } else { None }, end].into_iter().flatten().min();
            let deadline = wake.map_or_else(never, |due| at(self.clock.instant(due)));
            let mut event = None;
            select! {
                recv(self.signals) -> signal => match signal {
                    Ok(Signal::Midi(played)) => event = Some(played),
                    Ok(Signal::Gone { what }) => self.say(&tr!("instrument gone: {what}", what))?,
                    Ok(Signal::Back { what }) => self.say(&tr!("instrument back: {what}", what))?,
                    Ok(Signal::Dropped { n_events }) => self.say(&tr!("1 note came too fast to be heard" | "{n} notes came too fast to be heard" % n_events))?,
                    Ok(Signal::Ended) | Err(_) => break,
                },
                recv(self.words) -> word => match (word, self.tapped) {
                    // Free playing: Enter is a bar line; a word ends the stretch.
                    (Ok(word), Some(controller)) if word.trim().is_empty() => {
                        let what = MidiEvent::Control { channel: ENTER, controller, value: 127 };
                        self.keep(&mut out, Stamped { at: now, what }, &mut refused)?;
                        event = Some(Stamped { at: now, what: MidiEvent::Control { channel: ENTER, controller, value: 0 } });
                    }
                    _ => break,
                },
                recv(deadline) -> _ => if self.tapped.is_none() { click.sound(self.clock.now())? },
            }
            if let Some(event) = event {
                self.keep(&mut out, event, &mut refused)?;
            }
        }
        click.rest()?;
        // Notes on their way when the stretch ended still belong to it.
        let quiet = after(std::time::Duration::from_millis(30));
        loop {
            select! {
                recv(self.signals) -> signal => match signal {
                    Ok(Signal::Midi(played)) => self.keep(&mut out, played, &mut refused)?,
                    Ok(_) => {}
                    Err(_) => break,
                },
                recv(quiet) -> _ => break,
            }
        }
        let kept = folder.record.stretches.last_mut().expect("the stretch was written down");
        let reached = last_bar(&out.take, kept, &page);
        kept.last = last.or(reached);
        if reached.is_none() {
            // Nothing to lay out: its line in the record goes.
            folder.record.stretches.pop();
        }
        if !out.take.is_empty() {
            folder.unwritten.push(out);
        }
        match (folder.catch_up(), refused) {
            (Ok(()), Some(_)) => self.say(&tr!("all is written down now"))?,
            (Err(error), None) => self.say(&not_yet(&format!("{error:#}")))?,
            (Ok(()), None) | (Err(_), Some(_)) => {}
        }
        Ok(reached)
    }

    /// Takes an event in, and says once when it cannot be written yet.
    fn keep(&self, out: &mut TakeFile, event: Stamped<MidiEvent>, refused: &mut Option<String>) -> anyhow::Result<()> {
        if let Err(error) = out.push(event)
            && refused.is_none()
        {
            let why = error.to_string();
            self.say(&not_yet(&why))?;
            *refused = Some(why);
        }
        Ok(())
    }

    /// Writes what is not on disk when the playing is over: waits for room as long as somebody is there to make it.
    fn write_all(&self, folder: &mut Folder) -> anyhow::Result<()> {
        while let Err(error) = folder.catch_up() {
            self.say(&format!("{error:#}"))?;
            self.say(&tr!("not all that was played is on disk: make room, then Enter"))?;
            if self.words.recv().is_err() {
                let files: Vec<String> = folder.rescue()?.iter().map(|file| file.display().to_string()).collect();
                let files = files.join(", ");
                bail!(tr!("there is no room for all that was played; the takes are kept in {files}", files));
            }
        }
        Ok(())
    }
}

fn not_yet(why: &str) -> String {
    tr!("not written down yet ({why}); play on, it is kept in memory until there is room", why)
}
