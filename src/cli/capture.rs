//! `catchword capture`: a piece that is only on paper, taken in by playing it from the page.

mod click;
mod folder;
mod live;
mod playback;
mod take_file;

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, bail, ensure};
use clap::Args;

use crate::capture::record::{Kept, KeptBeats, Record};
use crate::capture::{Page, Pass, Question, Why, strokes};
use crate::clock::SessionClock;
use crate::midi::Take;
use crate::paths::{Paths, SCORE_BYTES_MAX, read_file};
use crate::score::{Place, Score};
use crate::source::replay::read_take;
use crate::theory::{KeySignature, Meter};
use crate::time::{Micros, ScoreTime, Tempo};
use crate::tone::Tone;

use folder::Folder;

#[derive(Args, Debug)]
pub struct CaptureArgs {
    /// Name of the piece's folder
    name: String,
    /// Metre, such as 3/4; from a later bar on as 9=6/8. A metre given again later moves the bar lines, and all cues stay at their music
    #[arg(long, value_name = "[BAR=]METRE")]
    meter: Vec<String>,
    /// Key, such as Eb or "F# minor"; from a later bar on as 17=Bb
    #[arg(long, value_name = "[BAR=]KEY")]
    key: Vec<String>,
    /// Speed of the click in quarter notes a minute
    #[arg(long, value_name = "QUARTERS")]
    tempo: Option<f64>,
    /// Bars on the page, a pickup not counted
    #[arg(long, value_name = "N")]
    bars: Option<u32>,
    /// Length of the pickup in beats of the metre
    #[arg(long, value_name = "BEATS")]
    pickup: Option<f64>,
    /// Bars between repeat signs, such as 1-8
    #[arg(long, value_name = "BARS")]
    repeat: Vec<String>,
    /// Play some bars again; what is played then counts
    #[arg(long, value_name = "BARS")]
    again: Option<String>,
    /// Play captured bars back over MIDI, such as 7-8, where the settings say `tone`; nothing is taken in
    #[arg(long, value_name = "BARS")]
    play: Option<String>,
    /// Bar and beat of the first note, where that is not the first beat, such as 1.2
    #[arg(long, value_name = "BAR.BEAT")]
    starts: Option<String>,
    /// Free of the click: tap the bar lines with the pedal of this controller (live also with Enter)
    #[arg(long, value_name = "CONTROLLER", num_args = 0..=1, default_missing_value = "66")]
    tapped: Option<u8>,
    /// Read recordings instead of listening: the first reading, then the second; their click is taken to start with the first note
    #[arg(long, value_name = "FILE")]
    take: Vec<PathBuf>,
    /// What to listen to: port:NAME, stream:PATH, take:FILE, or part of a port's name
    #[arg(long, value_name = "INPUT")]
    input: Option<String>,
    /// Write a line for each bar of the click, and nothing over another
    #[arg(long)]
    plain: bool,
    /// Keep pieces and settings in this directory
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

const USUAL_TEMPO: f64 = 60.0;

pub fn run(args: CaptureArgs) -> anyhow::Result<ExitCode> {
    let name = args.name.trim().to_owned();
    ensure!(
        super::add::is_folder_name(&name),
        tr!("expected a name for a folder, without / or \\, found {name}", name = format!("{name:?}"))
    );
    let paths = Paths::find(args.data.as_deref())?;
    let section_bars = super::settings(&paths)?.section_bars();
    let mut folder = Folder::open(&paths.data.join("pieces").join(&name), &name, section_bars)?;
    let before = folder.score()?;
    let is_new = before.is_none();
    if let Some(bars) = &args.play {
        let score = before.with_context(|| tr!("nothing of {name} is captured yet; play it from the page first", name))?;
        let (clock, config) = (SessionClock::start(), super::settings(&paths)?);
        let tone = Tone::of_setting(config.tone.as_deref(), clock);
        playback::play(&score, bar_numbers(bars)?, folder.record.tempo, &tone, clock)?;
        return Ok(ExitCode::SUCCESS);
    }
    turn_page(&args, &mut folder.record, is_new)?;
    let again = match &args.again {
        Some(bars) => Some(bar_numbers(bars)?),
        None => None,
    };
    ensure!(!is_new || again.is_none(), tr!("nothing of {name} is captured yet; play it once before a bar is played again", name));
    if !args.take.is_empty() {
        recorded(&args, &mut folder, again)?;
    } else if is_new || again.is_some() || !changes_the_page(&args) {
        live::play(&args, &paths, &mut folder, again)?;
    }
    if folder.record.stretches.is_empty() {
        folder.forget_if_empty();
        return super::print_lines([tr!("nothing was played; nothing is kept")]).map(|()| ExitCode::SUCCESS);
    }
    let captured = folder.lay_out()?;
    folder.write(&captured.score, before.as_ref())?;
    let data = args.data.as_ref().map_or(String::new(), |d| format!(" --data {}", d.display()));
    let score = &captured.score;
    let mut lines = vec![tr!(
        "{folder}: {bars} bars, {notes} notes",
        folder = folder.dir.display(),
        bars = score.bars.len(),
        notes = score.parts[0].notes.len()
    )];
    lines.extend(questions(&captured.questions, score, &name, &data));
    lines.push(tr!(
        "drill it with `{drill}`; play bars again with `{capture}`",
        drill = format!("catchword drill {name}{data}"),
        capture = format!("catchword capture {name} --again 7-8{data}")
    ));
    super::print_lines(lines).map(|()| ExitCode::SUCCESS)
}

/// What differs between two readings, bar by bar; no note is named.
fn questions(questions: &[Question], score: &Score, name: &str, data: &str) -> Vec<String> {
    let words = |q: &Question| match q.why {
        Why::Notes => tr!("{place}: your two readings differ in the notes", place = q.place.words(score)),
        Why::Rhythm => tr!("{place}: your two readings differ in the rhythm", place = q.place.words(score)),
    };
    let mut lines: Vec<String> = questions.iter().map(words).collect();
    if let Some(first) = questions.first() {
        let bar = &score.bar(first.place.bar).label;
        let command = format!("catchword capture {name} --again {bar}{data}");
        lines.push(tr!("play such a bar once more and that reading counts: `{command}`", command));
    }
    lines
}

fn changes_the_page(args: &CaptureArgs) -> bool {
    !args.meter.is_empty() || !args.key.is_empty() || !args.repeat.is_empty() || args.bars.is_some() || args.pickup.is_some()
}

/// Takes what the arguments say of the page into the record.
fn turn_page(args: &CaptureArgs, record: &mut Record, is_new: bool) -> anyhow::Result<()> {
    let mut page = record.page.clone();
    for text in &args.meter {
        let (bar, meter) = from_bar(text)?;
        set_from(&mut page.meters, bar, meter.parse::<Meter>()?);
    }
    for text in &args.key {
        let (bar, key) = from_bar(text)?;
        set_from(&mut page.keys, bar, key.parse::<KeySignature>()?);
    }
    if let Some(beats) = args.pickup {
        let quarters = beats * page.meter_of(1).beat_length().to_f64();
        page.pickup = ScoreTime::from_f64_lossy(quarters)
            .filter(|p| *p >= ScoreTime::ZERO)
            .with_context(|| tr!("expected a pickup in beats, such as 1"))?;
    }
    page.n_bars = args.bars.or(page.n_bars);
    for text in &args.repeat {
        let repeat = bar_numbers(text)?;
        if !page.repeats.contains(&repeat) {
            page.repeats.push(repeat);
        }
    }
    page.check()?;
    if let Some(tempo) = args.tempo {
        record.tempo = Tempo::try_new(tempo).with_context(|| tr!("expected a tempo of 1 to 2000 quarter notes a minute"))?;
    }
    match is_new {
        true => record.page = page,
        false => record.turn_to(page),
    }
    Ok(())
}

fn from_bar(text: &str) -> anyhow::Result<(u32, &str)> {
    match text.split_once('=') {
        Some((bar, what)) => Ok((
            bar.trim().parse().with_context(|| tr!("expected a bar number before =, found {text}", text = format!("{text:?}")))?,
            what.trim(),
        )),
        None => Ok((1, text.trim())),
    }
}

fn set_from<T>(list: &mut Vec<(u32, T)>, bar: u32, what: T) {
    list.retain(|(from, _)| *from != bar);
    list.push((bar, what));
    list.sort_by_key(|(from, _)| *from);
}

/// Reads `7` or `7-8`.
fn bar_numbers(text: &str) -> anyhow::Result<(u32, u32)> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let number = |t: &str| t.trim().parse::<u32>().ok();
    match number(first).zip(number(last)) {
        Some((first, last)) if first <= last => Ok((first, last)),
        _ => bail!(tr!("expected bars such as 7 or 7-8, found {text}", text = format!("{text:?}"))),
    }
}

/// Takes recordings in: the first and the second reading, or bars played again.
fn recorded(args: &CaptureArgs, folder: &mut Folder, again: Option<(u32, u32)>) -> anyhow::Result<()> {
    ensure!(args.take.len() <= 2, tr!("expected one or two takes, found {n}", n = args.take.len()));
    for (path, pass) in args.take.iter().zip([Pass::First, Pass::Second]) {
        let shown = path.display().to_string();
        let take = read_take(&read_file(path, SCORE_BYTES_MAX).with_context(|| tr!("reading {file}", file = shown))?, &shown)?;
        let first_note =
            strokes(&take).first().map(|s| s.on).with_context(|| tr!("{file}: expected at least one note, found none", file = shown))?;
        let page = &folder.record.page;
        let (first, last) = again.map_or((0, None), |(first, last)| (first, Some(last)));
        let beats = match args.tapped {
            Some(controller) => KeptBeats::Taps { controller },
            None => KeptBeats::Click { at: first_note, place: first_place(args, page, first)?, tempo: folder.record.tempo },
        };
        let pass = if again.is_some() { None } else { Some(pass) };
        let mut kept = Kept { file: shown, first, last, pass, beats };
        kept.stretch(&take, page)?;
        kept.file = folder.keep_take(&take)?;
        folder.record.stretches.push(kept);
        folder.save_record()?;
    }
    Ok(())
}

/// Returns the place of the first note: as asked for, else the first beat of the first bar.
fn first_place(args: &CaptureArgs, page: &Page, first: u32) -> anyhow::Result<ScoreTime> {
    let Some(text) = &args.starts else { return Ok(page.start_of(first)) };
    let last = text.split('.').next().and_then(|bar| bar.trim().parse().ok()).unwrap_or(1);
    let score = Score { bars: page.bars(last), ..Score::default() };
    Ok(Place::parse(text, &score)?.onset(&score))
}

/// Returns the number of the last bar that has a note of a take.
fn last_bar(take: &Take, kept: &Kept, page: &Page) -> Option<u32> {
    let stretch = kept.stretch(take, page).ok()?;
    let last = stretch.reading.struck.last()?;
    // A note a little before a bar line is the next bar's.
    let place = stretch.reading.beats.quarters(last.on + Micros::from_millis(80));
    Some(page.number_at(ScoreTime::from_f64_lossy(place.max(0.0))?))
}
