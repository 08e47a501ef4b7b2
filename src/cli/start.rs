//! `catchword` without a subcommand: the pieces, what was practised last, and one key to go on.

use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use chrono::NaiveDate;

use super::drill::{BUILT_IN_PLAYER, Circumstances, KEYS, NO_NOTES, practise, spans_of};
use super::exit_code;
use super::plan::{Known, carry_out};
use super::quiz::{self, QuizArgs};
use super::sitting::planned;
use super::study::{self, StudyArgs};
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::entry::Mode;
use crate::journal::store::Store;
use crate::language::named::shown;
use crate::midi::Take;
use crate::paths::Paths;
use crate::piece::Piece;
use crate::piece_folder::{open_piece, piece_names};
use crate::practice::reading::Readiness;
use crate::practice::{PracticeConfig, Span};
use crate::source::open;
use crate::tui::start::{Card, Doing, Left, Start};
use crate::tui::{self, start};

/// A session offered where nothing else was chosen: one block of work (common practice, 25 minutes and a break).
const MINUTES: u32 = 25;
/// Steps of the day's plan shown of a piece.
const N_PLANNED_MAX: usize = 3;

const NOTHING_TO_HEAR: &str = msgid!("no instrument found: plug it in, or play unheard with --input keys");

const NOTHING_PLANNED: &str = msgid!("nothing is due today: rest, or choose a piece");

pub fn run(data: Option<&Path>, is_plain: bool) -> anyhow::Result<ExitCode> {
    let paths = Paths::find(data)?;
    let config = super::settings(&paths)?;
    let store = super::open_journal(&paths)?;
    let cards = cards(&paths, &store, &config)?;
    if is_plain || !std::io::stdout().is_terminal() || !std::io::stdin().is_terminal() {
        return super::print_lines(plain(&cards)).map(|()| ExitCode::SUCCESS);
    }
    let mut shown = Start::new(cards, MINUTES);
    shown.said = store.recovered().lines().into_iter().next();
    drop(store);
    let (name, doing, minutes) = loop {
        match start::run(shown.clone(), tui::Options::everyday().colour)? {
            Left::Ended(exit) => return Ok(exit_code(exit)),
            // Without an instrument the list stays, and says so.
            Left::For(name, doing, minutes) if doing != Doing::Study && !can_listen(&config) => {
                shown.chosen = shown.cards.iter().position(|card| card.name == name).unwrap_or(0);
                shown.minutes = minutes;
                shown.said = Some(tr!(NOTHING_TO_HEAR));
            }
            Left::For(name, Doing::Plan, minutes) => match carry_out(&paths, &config, minutes)? {
                Some(code) => return Ok(code),
                None => {
                    shown.chosen = shown.cards.iter().position(|card| card.name == name).unwrap_or(0);
                    shown.minutes = minutes;
                    shown.said = Some(tr!(NOTHING_PLANNED));
                }
            },
            Left::For(name, doing, minutes) => break (name, doing, minutes),
        }
    };
    let data: Option<PathBuf> = data.map(Path::to_owned);
    match doing {
        Doing::Study => return study::run(StudyArgs::of(name, data)),
        Doing::Quiz => return quiz::run(QuizArgs::of(name, data)),
        Doing::Plan | Doing::Session | Doing::Drill | Doing::RunThrough | Doing::Reading => {}
    }
    let opened = open_piece(&name, None, &paths.pieces)?;
    let piece = &opened.piece;
    let whole = |mode| anyhow::Ok(vec![Span::whole(piece, mode).with_context(|| tr!(NO_NOTES))?]);
    let spans = match doing {
        Doing::RunThrough => whole(Mode::RunThrough)?,
        Doing::Reading => whole(Mode::Reading)?,
        _ => spans_of(piece, false),
    };
    let minutes = (doing == Doing::Session).then_some(minutes);
    practise(opened, spans, Circumstances { paths: &paths, config: &config, input: None, part: None, plain: false, minutes })
}

fn can_listen(config: &Config) -> bool {
    let input = config.input.as_deref().unwrap_or_default();
    [BUILT_IN_PLAYER, KEYS].contains(&input) || open(input).is_ok()
}

fn count(reps: u8) -> String {
    tr!("once" | "{n} times" % reps)
}

/// One card a piece, those practised last first.
fn cards(paths: &Paths, store: &Store, config: &Config) -> anyhow::Result<Vec<Card>> {
    let today = wall_now().date_naive();
    let mut cards = Vec::new();
    for name in piece_names(&paths.pieces) {
        let opened = match open_piece(&name, None, &paths.pieces) {
            Ok(opened) => opened,
            Err(error) => {
                let last = tr!("cannot be opened: {why}", why = error);
                cards.push((None, Card { title: name.clone(), name, last, state: String::new(), planned: vec![] }));
                continue;
            }
        };
        let known = Known::read(store, std::slice::from_ref(&opened), config.rules)?;
        let reps = &known.attempts[0];
        let latest = reps.all.last();
        let last = latest.map_or_else(
            || tr!("not played yet"),
            |rep| format!("{}: {}, {}", days_ago(rep.day, today), shown(&reps.spans[rep.span].name), rep.verdict.words()),
        );
        let reading = reps.all.iter().rev().find(|rep| rep.mode == Mode::Reading);
        let reading = match reading {
            Some(rep) => read_words(&opened.piece, store.take(store.rep_id(rep.row)?)?, &config.practice()),
            None => tr!("not read from the page yet"),
        };
        let n_open = store.open_spots(&opened.key)?.len();
        let places = match n_open {
            0 => String::new(),
            n => tr!("; 1 place without a line of story" | "; {n} places without a line of story" % n),
        };
        let planned = match latest {
            Some(_) => planned(&known, today, MINUTES),
            None => vec![],
        };
        let planned = planned.iter().take(N_PLANNED_MAX).map(|step| format!("{}, {}", shown(&step.section), count(step.reps)));
        let planned = planned.collect();
        let card = Card { name, title: opened.piece.title, last, state: format!("{reading}{places}"), planned };
        cards.push((latest.map(|rep| rep.at), card));
    }
    cards.sort_by_key(|(at, card)| (std::cmp::Reverse(*at), card.name.clone()));
    Ok(cards.into_iter().map(|(_, card)| card).collect())
}

fn read_words(piece: &Piece, take: Option<Take>, config: &PracticeConfig) -> String {
    let (readiness, mark) = (take.and_then(|take| Readiness::of_take(piece, &take, config)), config.ready);
    let Some(readiness) = readiness else { return tr!("read from the page") };
    let not_ready: Vec<String> = readiness.sections.iter().filter(|s| !s.is_ready(mark)).map(|s| shown(&s.name)).collect();
    match &not_ready[..] {
        [] => tr!("reads well: ready to be learned"),
        [one] => tr!("to read first: {section}", section = one),
        [first, ..] => tr!("to read first: {section}, and {n} more", section = first, n = not_ready.len() - 1),
    }
}

fn days_ago(day: NaiveDate, today: NaiveDate) -> String {
    match (today - day).num_days() {
        ..=0 => tr!("today"),
        1 => tr!("yesterday"),
        n => tr!("{n} days ago", n),
    }
}

/// The same as lines, with the commands that the keys stand for.
fn plain(cards: &[Card]) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for card in cards {
        lines.push(format!("{}: {}", card.name, card.title));
        lines.extend([&card.last, &card.state].into_iter().filter(|l| !l.is_empty()).map(|l| format!("  {l}")));
        lines.extend(card.planned.iter().map(|step| format!("  {}", tr!("today: {step}", step))));
    }
    lines.push(tr!(
        "practise one: catchword drill NAME --minutes {minutes}; also: quiz, read, study; all: catchword --help",
        minutes = MINUTES
    ));
    lines
}
