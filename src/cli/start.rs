//! `catchword` without a subcommand: the pieces, what was practised last, and one key to go on.

use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use chrono::NaiveDate;

use super::drill::{BUILT_IN_PLAYER, Circumstances, KEYS, NO_NOTES, practise, spans_of};
use super::plan::{Known, carry_out};
use super::quiz::{self, QuizArgs};
use super::sitting::planned;
use super::study::{self, StudyArgs};
use super::{exit_code, open_as_set};
use crate::clock::wall_now;
use crate::config::Config;
use crate::journal::attempts::Latest;
use crate::journal::entry::Mode;
use crate::journal::store::Store;
use crate::language::named::shown;
use crate::midi::Take;
use crate::paths::Paths;
use crate::piece::Piece;
use crate::piece_folder::{self, OpenedPiece, open_piece, piece_names};
use crate::practice::reading::Readiness;
use crate::practice::{PracticeConfig, Span};
use crate::source::open;
use crate::time::Timestamp;
use crate::tui::start::{Card, Doing, Left, Settle, Start};
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
    let desk = desk(&paths);
    if is_plain || !std::io::stdout().is_terminal() || !std::io::stdin().is_terminal() {
        return super::print_lines(plain(&cards(&desk, &store, &config)?)).map(|()| ExitCode::SUCCESS);
    }
    let mut shown = Start::new(first_cards(&desk, &store)?, MINUTES);
    shown.said = store.recovered().lines().into_iter().next();
    // Reading years of practice takes longer than the first screen may, and needs the journal no longer than that.
    let mut settle: Option<Settle> = Some(Box::new(|| {
        let cards = cards(&desk, &store, &config)?;
        drop(store);
        Ok(cards)
    }));
    let (name, doing, minutes) = loop {
        match start::run(&mut shown, settle.take(), tui::Options::everyday().colour)? {
            Left::Ended(exit) => return Ok(exit_code(exit)),
            // Without an instrument the list stays, and says so.
            Left::For(_, doing, _) if doing != Doing::Study && !can_listen(&config) => shown.said = Some(tr!(NOTHING_TO_HEAR)),
            Left::For(_, Doing::Plan, minutes) => match carry_out(&paths, &config, minutes)? {
                Some(code) => return Ok(code),
                None => shown.said = Some(tr!(NOTHING_PLANNED)),
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
    let opened = open_as_set(&name, None, &paths, &config)?;
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
    if reps == 1 { tr!("once") } else { tr!("{n} times", n = reps) }
}

/// A piece by its name, or why it cannot be opened.
type OnDesk = (String, Result<OpenedPiece, piece_folder::Error>);

fn desk(paths: &Paths) -> Vec<OnDesk> {
    let open = |name: String| (open_piece(&name, None, &paths.pieces), name);
    piece_names(&paths.pieces).into_iter().map(open).map(|(opened, name)| (name, opened)).collect()
}

/// One card a piece, those practised last first, with what can be told of it at once.
fn first_cards(desk: &[OnDesk], store: &Store) -> anyhow::Result<Vec<Card>> {
    let today = wall_now().date_naive();
    arranged(desk, |opened, card| {
        let latest = store.latest(&opened.key)?;
        card.last = last_words(latest.as_ref(), today);
        Ok(latest.map(|rep| rep.at))
    })
}

/// One card a piece, those practised last first.
fn cards(desk: &[OnDesk], store: &Store, config: &Config) -> anyhow::Result<Vec<Card>> {
    let today = wall_now().date_naive();
    arranged(desk, |opened, card| {
        let known = Known::read(store, std::slice::from_ref(opened), config.rules)?;
        let reps = &known.attempts[0];
        let latest = reps.all.last();
        let latest = latest.map(|rep| Latest { at: rep.at, span: reps.spans[rep.span].name.clone(), verdict: rep.verdict });
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
        card.planned = planned.collect();
        card.last = last_words(latest.as_ref(), today);
        card.state = format!("{reading}{places}");
        Ok(latest.map(|rep| rep.at))
    })
}

/// Lays out a card for each piece; `fill` writes what it says, and tells when the piece was last played.
fn arranged(
    desk: &[OnDesk],
    mut fill: impl FnMut(&OpenedPiece, &mut Card) -> anyhow::Result<Option<Timestamp>>,
) -> anyhow::Result<Vec<Card>> {
    let mut cards = Vec::new();
    for (name, opened) in desk {
        let mut card = Card { name: name.clone(), title: name.clone(), last: String::new(), state: String::new(), planned: vec![] };
        let at = match opened {
            Ok(opened) => {
                card.title = opened.piece.title.clone();
                fill(opened, &mut card)?
            }
            Err(error) => {
                card.last = tr!("cannot be opened: {why}", why = error);
                None
            }
        };
        cards.push((at, card));
    }
    cards.sort_by_key(|(at, card)| (std::cmp::Reverse(*at), card.name.clone()));
    Ok(cards.into_iter().map(|(_, card)| card).collect())
}

fn last_words(latest: Option<&Latest>, today: NaiveDate) -> String {
    latest.map_or_else(
        || tr!("not played yet"),
        |rep| format!("{}: {}, {}", days_ago(rep.at.date_naive(), today), shown(&rep.span), rep.verdict.words()),
    )
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::entry::{Entry, Rep, RepNumber, Verdict, Witness};
    use crate::journal::store::NewSession;
    use crate::time::Micros;

    fn rep(number: u32, span: &str, minute: i64) -> Entry {
        let started = Micros::from_millis(minute * 60_000);
        Entry::Rep(Rep {
            number: RepNumber(number),
            mode: Mode::Drill,
            span: span.to_owned(),
            bars: ("1".to_owned(), "4".to_owned()),
            started,
            ended: started + Micros::from_millis(9_000),
            verdict: Verdict::Clean,
            witness: Witness::Heard,
            reason: None,
            happenings: vec![],
            n_notes_due: 20,
            n_notes_right: 20,
            tempo: None,
            run: None,
            take: Take::default(),
        })
    }

    #[test]
    fn the_first_cards_say_of_each_piece_what_the_whole_ones_say_of_when_it_was_last_played() {
        let dir = tempfile::tempdir().unwrap();
        let paths = Paths::find(Some(dir.path())).unwrap();
        std::fs::create_dir_all(dir.path().join("pieces/torn")).unwrap();
        std::fs::write(dir.path().join("pieces/torn/piece.toml"), "title = ").unwrap();
        let mut store = Store::open_in_memory().unwrap();
        let sessions = [
            ("ferry", "2026-03-01T10:00:00+01:00", "casting off"),
            ("all-through-the-night", "2026-03-02T10:00:00+01:00", "first wave"),
            ("ferry", "2026-03-03T23:30:00+01:00", "made fast"),
        ];
        for (key, started, span) in sessions {
            let started = started.parse().unwrap();
            let (piece_key, program_version) = (key.to_owned(), "0".to_owned());
            let opened = NewSession { started, piece_title: piece_key.clone(), piece_key, program_version, seed: 0 };
            let session = store.begin_session(&opened).unwrap();
            store.append(session, &rep(1, "before", 1)).unwrap();
            // Past midnight, in a session of the day before.
            store.append(session, &rep(2, span, 45)).unwrap();
            let [first, last] = [Verdict::Prompted, Verdict::Broken];
            for (verdict, seconds) in [(first, 2_800), (last, 2_900)] {
                let at = Micros::from_millis(seconds * 1_000);
                store.append(session, &Entry::Overruled { rep: RepNumber(2), verdict, at }).unwrap();
            }
        }
        let desk = desk(&paths);
        let said = |cards: Vec<Card>| -> Vec<_> { cards.into_iter().map(|card| (card.name, card.title, card.last)).collect() };
        let whole = said(cards(&desk, &store, &super::super::settings(&paths).unwrap()).unwrap());
        assert_eq!(said(first_cards(&desk, &store).unwrap()), whole);
        let names: Vec<&str> = whole.iter().map(|(name, ..)| name.as_str()).collect();
        assert_eq!(names[..2], ["ferry", "all-through-the-night"]);
        assert!(names.contains(&"torn") && whole[0].2.contains("made fast, not clean"), "{whole:?}");
    }
}
