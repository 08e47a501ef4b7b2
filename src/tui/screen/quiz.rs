//! The quiz: the question in large letters, nothing while it is answered, and what it was at a glance.
//!
//! No clock is shown: a countdown beside the words would be read instead of them.

use ratatui::layout::Rect;

use super::super::app::App;
use super::super::frame::Frame;
use super::super::keys;
use super::super::theme::Theme;
use super::drill::{self, Said};
use super::page;
use crate::journal::entry::QuestionKind;
use crate::practice::quiz::{kind_words, until_called};
use crate::practice::view::Quiz;
use crate::practice::{Command, View};

pub fn draw(stage: &Quiz, app: &App, view: &View, theme: Theme, frame: &mut Frame) {
    let page = page(frame.area());
    if page.is_empty() {
        return;
    }
    let held = tr!("{} held", drill::count(view));
    drill::ends(&heading(stage), held, theme, Rect { height: 1, ..page }, frame);
    let room = Rect { y: page.y + 1, height: page.height.saturating_sub(2), ..page };
    drill::middle(app, said(stage, theme), room, frame);
}

fn heading(stage: &Quiz) -> String {
    match stage {
        Quiz::Asked { kind: QuestionKind::Jump, .. } => until_called(),
        Quiz::Asked { kind, .. } | Quiz::Answering { kind } => kind_words(*kind),
        Quiz::Called { .. } => kind_words(QuestionKind::Jump),
        Quiz::Ready { .. } | Quiz::Told { .. } | Quiz::Mark { .. } => tr!("quiz"),
    }
}

fn said(stage: &Quiz, theme: Theme) -> Option<Said> {
    let said = |large: &str, small: Vec<String>| Said { large: large.to_owned(), small, style: theme.strong() };
    match stage {
        Quiz::Ready { length, is_told } => {
            let begin = keys::label(Command::Pause);
            let how = if *is_told { tr!("{key} to begin", key = begin) } else { tr!("any note, or {key}, to begin", key = begin) };
            Some(said(&tr!("quiz"), vec![format!("{length}: {how}")]))
        }
        Quiz::Asked { large, small, is_told, .. } => {
            let hint = is_told.then(|| tr!("{} when you have it", keys::label(Command::Pause)));
            Some(said(large, small.iter().cloned().chain(hint).collect()))
        }
        Quiz::Answering { .. } => None,
        Quiz::Mark { question, choices } => Some(said(question, vec![tr!("how did it go?"), drill::marks(choices)])),
        Quiz::Called { large, small } => Some(Said { style: theme.here(), ..said(large, small.to_vec()) }),
        Quiz::Told { is_held, large, small } => {
            let style = if *is_held { theme.strong() } else { theme.page() };
            Some(Said { style, ..said(large, vec![(*small).to_owned()]) })
        }
    }
}
