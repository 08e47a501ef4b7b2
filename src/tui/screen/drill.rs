//! The practice screen: empty while memory holds.
//!
//! While playing it shows the span's name, the ribbon and the count, and at most one cue; between
//! reps, one verdict or one place to look at on the page. Everything has its fixed place.

use ratatui::layout::{Alignment, Rect};
use ratatui::text::{Line, Text};
use ratatui::widgets::Paragraph;

use super::super::app::{App, rest_words};
use super::super::frame::Frame;
use super::super::keys;
use super::super::theme::Theme;
use super::super::widget::letters::Letters;
use super::super::widget::ribbon::Ribbon;
use super::{page, story};
use crate::journal::entry::{Mode, Verdict};
use crate::practice::view::Stage;
use crate::practice::{Command, View};

pub fn draw(app: &App, view: &View, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    if page.is_empty() {
        return;
    }
    head(view, theme, Rect { height: 1, ..page }, frame);
    // From below: the foot, and above it the ribbon with the word under it.
    let roomy = page.height >= 14;
    let ribbon_rows = if roomy { 2 } else { 1 };
    let below = ribbon_rows + 1;
    if page.height < below + 2 {
        return middle(app, said(view, theme), Rect { y: page.y + 1, height: page.height.saturating_sub(2), ..page }, frame);
    }
    let ribbon = Rect { y: page.bottom() - below, height: ribbon_rows, ..page };
    let look = tr!("look");
    frame.render_widget(
        Ribbon {
            bars: view.bars,
            here: view.bar,
            look: view.look_bar.map(|bar| (bar, look.as_str())),
            seams: view.seams,
            quiet: theme.quiet(),
            here_style: theme.here(),
            look_style: theme.page(),
        },
        ribbon,
    );
    let top = page.y + 1 + u16::from(page.height >= 28);
    let room = Rect { y: top, height: ribbon.y.saturating_sub(top), ..page };
    let room = view.ask.as_ref().map_or(room, |ask| story::draw(ask, app, theme, room, frame));
    middle(app, said(view, theme), room, frame);
}

/// The span's name at the left, the count of clean reps at the right.
fn head(view: &View, theme: Theme, row: Rect, frame: &mut Frame) {
    let count = match view.mode {
        Mode::Drill => count(view),
        Mode::Reading => tr!("from the page"),
        Mode::RunThrough => tr!("run-through"),
    };
    ends(view.span, count, theme, row, frame);
}

/// Sets a row with words at its left end and a count at its right.
pub fn ends(name: &str, count: String, theme: Theme, row: Rect, frame: &mut Frame) {
    let count_width = count.chars().count().min(usize::from(row.width)) as u16;
    let left = Rect { width: row.width.saturating_sub(count_width + 1), ..row };
    frame.render_widget(Line::styled(name, theme.quiet()), left);
    let right = Rect { x: row.right() - count_width, width: count_width, ..row };
    frame.render_widget(Line::styled(count, theme.strong()), right);
}

pub fn count(view: &View) -> String {
    tr!("{} of {}", view.n_clean, view.target)
}

/// What stands in the middle: large words, and small ones below them.
pub struct Said {
    pub large: String,
    pub small: Vec<String>,
    pub style: ratatui::style::Style,
}

/// Draws what is said, if anything, in the middle of an area.
pub fn middle(app: &App, said: Option<Said>, area: Rect, frame: &mut Frame) {
    let Some(said) = said else { return };
    if area.is_empty() {
        return;
    }
    let small: Vec<Line> = said
        .small
        .iter()
        .flat_map(|words| {
            let width = usize::from(area.width).min(60);
            super::super::widget::wrap::by_sense(words, width, 3).unwrap_or_else(|| vec![words.clone()])
        })
        .map(Line::from)
        .collect();
    let letters = Letters { text: &said.large, style: said.style, large: app.block_letters, smallest: app.options.smallest_letters };
    let below = if small.is_empty() || area.height < 3 { 0 } else { (small.len() as u16 + 1).min(area.height - 1) };
    let mut set = letters.set(Rect { height: area.height - below, ..area });
    // Where there is no room for both, the large words stay whole.
    let small_rows = if set.n_rows() > area.height - below { 0 } else { below };
    if small_rows < below {
        set = letters.set(area);
    }
    // Small words that end in the last row would stand on what is below.
    if small_rows > 0 && set.n_rows() + small_rows >= area.height && area.height > below + 1 {
        let smaller = letters.set(Rect { height: area.height - below - 1, ..area });
        // Unless they would be large letters no more.
        if 3 * smaller.n_rows() >= 2 * set.n_rows() {
            set = smaller;
        }
    }
    let height = set.n_rows().min(area.height - small_rows);
    let top = area.y + (area.height.saturating_sub(height + small_rows)) / 2;
    let letters_area = Rect { y: top, height, ..area };
    frame.render_widget(set, letters_area);
    if small_rows > 1 {
        let rows = Rect { y: letters_area.bottom() + 1, height: small_rows - 1, ..area };
        frame.render_widget(Paragraph::new(Text::from(small)).alignment(Alignment::Center), rows.intersection(area));
    }
}

fn said(view: &View, theme: Theme) -> Option<Said> {
    let said = |large: String, small: Vec<String>| Said { large, small, style: theme.strong() };
    let small = |words: &str| if words.is_empty() { vec![] } else { vec![words.to_owned()] };
    match view.stage {
        Stage::Playing | Stage::Finished { .. } | Stage::Quiz(_) => None,
        Stage::Waiting => Some(said(view.span.to_owned(), vec![bars(view), tr!("play when you are ready")])),
        Stage::Unheard => {
            let keys = [Command::Pause, Command::Cue].map(keys::label);
            Some(said(view.span.to_owned(), vec![bars(view), tr!("{} when it is played, {} for a cue", keys[0], keys[1])]))
        }
        Stage::Mark { question, choices } => Some(said(tr!(question), vec![marks(choices)])),
        Stage::Prompted { rung: 3.., text } => Some(Said { style: theme.page(), ..said(text.to_owned(), vec![]) }),
        Stage::Prompted { text, .. } => Some(Said { style: theme.here(), ..said(text.to_owned(), vec![]) }),
        Stage::Look { words } => {
            let (place, why) = words.split_once(": ").map_or((words, ""), |(place, why)| (place.trim_end(), why));
            Some(Said { style: theme.page(), ..said(tr!("look: {place}", place), small(why)) })
        }
        Stage::RepDone { verdict, words } => {
            let large = match verdict {
                Verdict::Clean => format!("{}, {}", verdict.words(), count(view)),
                Verdict::Prompted | Verdict::Broken => verdict.words(),
            };
            Some(said(large, small(words)))
        }
        Stage::SpanDone if view.mode != Mode::Drill => Some(said(tr!("to the end"), vec![])),
        Stage::SpanDone => Some(said(count(view), vec![warmth(view)])),
        Stage::Places { places, is_last } => {
            let heading = tr!("1 place to tell" | "{n} places to tell" % places.len());
            let others = places.iter().skip(1).map(String::as_str).collect::<Vec<_>>().join(&tr!("; "));
            let others = if others.is_empty() { others } else { tr!("then {others}", others) };
            let on = if is_last { tr!("n: leave them for later") } else { tr!("or play on: {}", view.span) };
            Some(said(heading, [others, on].into_iter().filter(|words| !words.is_empty()).collect()))
        }
        Stage::Rest { length } => Some(said(tr!("rest"), vec![rest_words(length), tr!("play, or press n, to go on")])),
        Stage::Paused => Some(said(tr!("paused"), vec![tr!("space: go on")])),
    }
}

/// Names the keys for what may be said of something that nobody heard.
pub fn marks(choices: &[(Command, &str)]) -> String {
    let marks: Vec<String> = choices.iter().map(|(command, words)| format!("{}: {}", keys::label(*command), tr!(words))).collect();
    marks.join(", ")
}

/// Says what a section has come to. Never more than was tested: three clean reps on one day make it warm.
fn warmth(view: &View) -> String {
    if view.n_clean >= 3 { tr!("{} is warm", view.span) } else { tr!("{} is done for now", view.span) }
}

fn bars(view: &View) -> String {
    match view.bars {
        [] => String::new(),
        [only] => tr!("bar {only}", only),
        [first, .., last] => tr!("bars {first} to {last}", first, last),
    }
}
