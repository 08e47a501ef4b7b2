//! Progress as a picture: the map of bars by itself, and a sheet with everything on it.
//!
//! Marks are told apart by shape first (disc, half disc, cross, dot), by lightness next, by colour last: blue, amber and brown, which
//! people with any of the usual deficiencies tell apart, and a black-and-white printer too.

use maud::{Markup, PreEscaped, html};

use super::plain_text::wrapped;
use super::plots;
use super::progress::{BarHeld, Held, Progress, SectionHeld, Trend, Try};
use super::progress_words as words;
use super::steadiness;
use crate::journal::entry::Witness;
use crate::language::date::short_with_year;

const WIDTH: usize = 760;
const CELL: (usize, usize) = (48, 42);
const GAP: usize = 5;
const N_COLUMNS: usize = (WIDTH + GAP) / (CELL.0 + GAP);
/// Characters of the sheet's text that fit its width.
const N_CHARS: usize = 104;
const LINE: usize = 19;

/// A part of a picture and its height.
struct Drawn {
    height: usize,
    markup: Markup,
}

/// Draws all sections below each other.
fn map(sections: &[SectionHeld]) -> Drawn {
    let mut y = 0;
    let parts: Vec<Markup> = sections
        .iter()
        .map(|section| {
            let drawn = section_map(section);
            let at = y;
            y += drawn.height + 14;
            html! { g transform={ "translate(0 " (at) ")" } { (drawn.markup) } }
        })
        .collect();
    Drawn { height: y, markup: html! { @for part in &parts { (part) } } }
}

fn section_map(section: &SectionHeld) -> Drawn {
    let name: String = words::section_name(section).chars().take(80).collect();
    let counts = if section.is_section { words::section_counts(section) } else { String::new() };
    // Widths of usual letters of 15 and 13 units, a little on the wide side.
    let is_one_line = 90 * name.chars().count() + 66 * counts.chars().count() <= 10 * WIDTH;
    let head = if is_one_line { 24 } else { 42 };
    let n_rows = section.bars.len().div_ceil(N_COLUMNS);
    let cell = |nth: usize| ((nth % N_COLUMNS) * (CELL.0 + GAP), head + (nth / N_COLUMNS) * (CELL.1 + GAP));
    let markup = html! {
        text x="0" y="14" font-size="15" font-weight="bold" fill="currentColor" { (name) }
        @if is_one_line {
            text x=(WIDTH) y="14" text-anchor="end" font-size="13" fill="currentColor" { (counts) }
        } @else {
            text x="0" y="33" font-size="13" fill="currentColor" { (counts) }
        }
        @for (nth, bar) in section.bars.iter().enumerate() {
            @let (x, y) = cell(nth);
            g transform={ "translate(" (x) " " (y) ")" } { (bar_cell(bar)) }
        }
    };
    Drawn { height: head + n_rows * (CELL.1 + GAP), markup }
}

fn bar_cell(bar: &BarHeld) -> Markup {
    let tries = bar.tries.shown();
    let last = bar.tries.last();
    let (fill, ink) = colours(last.map(|t| t.held));
    let is_told = last.is_some_and(|t| t.witness == Witness::Told);
    let told: Vec<String> = tries.iter().map(|t| words::held(Some(t.held))).collect();
    let told = if told.is_empty() { words::held(None) } else { told.join(", ") };
    let title = tr!("bar {bar}: {tries}", bar = bar.label, tries = told);
    let label: String = bar.label.chars().take(5).collect();
    let trend = match bar.tries.trend() {
        Trend::Better => Some(BETTER),
        Trend::Same => None,
        Trend::Worse => Some(WORSE),
    };
    html! {
        title { (title) }
        rect width=(CELL.0) height=(CELL.1) rx="4" style={ "fill:" (fill) ";stroke:#4a5560" } {}
        @if is_told { (told_frame(CELL, ink)) }
        text x="5" y="14" font-size="12" style={ "fill:" (ink) } { (label) }
        @if let Some(trend) = trend { path d=(trend) transform="translate(37 6)" style={ "fill:" (ink) } {} }
        @for (nth, one) in earlier(tries).iter().enumerate() {
            (mark(8.0 + 11.0 * nth as f64, 29.0, 3.5, one.map(|t| t.held), ink))
        }
        (mark(36.0, 28.0, 7.0, last.map(|t| t.held), ink))
    }
}

/// Draws the dashes of what nobody heard: inside the edge, so that they are seen on a dark page as well.
fn told_frame(size: (usize, usize), ink: &str) -> Markup {
    let style = format!("fill:none;stroke:{ink}");
    html! { rect x="2" y="2" width=(size.0 - 4) height=(size.1 - 4) rx="2" stroke-dasharray="4 3" style=(style) {} }
}

/// The two tries before the last, the older first.
fn earlier(tries: &[Try]) -> [Option<Try>; 2] {
    let back = |n: usize| tries.len().checked_sub(n).map(|idx| tries[idx]);
    [back(3), back(2)]
}

/// Ground and ink of a cell.
fn colours(held: Option<Held>) -> (&'static str, &'static str) {
    match held {
        Some(Held::Yes) => ("#dceaf7", "#0b3f70"),
        Some(Held::Cued) => ("#f2b866", "#3d2200"),
        Some(Held::No) => ("#7a2e00", "#ffffff"),
        None => ("#ffffff", "#5a646e"),
    }
}

fn mark(x: f64, y: f64, r: f64, held: Option<Held>, ink: &str) -> Markup {
    let half = format!("M{x} {} a{r} {r} 0 0 1 0 {} z", y - r, 2.0 * r);
    let cross = format!("M{} {} L{} {} M{} {} L{} {}", x - r, y - r, x + r, y + r, x - r, y + r, x + r, y - r);
    let line = format!("fill:none;stroke:{ink};stroke-width:{}", if r > 5.0 { 3.0 } else { 1.5 });
    html! {
        @match held {
            Some(Held::Yes) => circle cx=(x) cy=(y) r=(r) style={ "fill:" (ink) } {},
            Some(Held::Cued) => {
                circle cx=(x) cy=(y) r=(r) style={ "fill:none;stroke:" (ink) ";stroke-width:1.5" } {}
                path d=(half) style={ "fill:" (ink) } {}
            },
            Some(Held::No) => path d=(cross) style=(line) {},
            None => circle cx=(x) cy=(y) r="1.5" style={ "fill:" (ink) } {},
        }
    }
}

/// A mark whose meaning is told.
#[derive(Clone, Copy)]
enum Sign {
    Cell(Option<Held>),
    /// Nothing was heard.
    Told,
    Trend(&'static str),
}

/// What the marks mean, and where they stand in two rows of a sheet.
const KEY: [(Sign, &str, (usize, usize)); 7] = [
    (Sign::Cell(Some(Held::Yes)), msgid!("held"), (0, 0)),
    (Sign::Cell(Some(Held::Cued)), msgid!("with a cue"), (90, 0)),
    (Sign::Cell(Some(Held::No)), msgid!("did not hold"), (220, 0)),
    (Sign::Cell(None), msgid!("not tried yet"), (360, 0)),
    (Sign::Told, msgid!("the player's own word"), (510, 0)),
    (Sign::Trend(BETTER), msgid!("holds more often than before"), (0, 30)),
    (Sign::Trend(WORSE), msgid!("less often"), (260, 30)),
];
const BETTER: &str = "M0 7 l4 -7 l4 7 z";
const WORSE: &str = "M0 0 l4 7 l4 -7 z";

impl Sign {
    fn width(self) -> usize {
        if let Sign::Trend(_) = self { 8 } else { 24 }
    }

    fn draw(self) -> Markup {
        let square = |fill: &str| html! { rect width="24" height="24" rx="4" style={ "fill:" (fill) ";stroke:#4a5560" } {} };
        match self {
            Sign::Cell(held) => {
                let (fill, ink) = colours(held);
                html! { (square(fill)) (mark(12.0, 12.0, 7.0, held, ink)) }
            }
            Sign::Told => {
                let (fill, ink) = colours(None);
                html! { (square(fill)) (told_frame((24, 24), ink)) }
            }
            Sign::Trend(path) => html! { path d=(path) transform="translate(0 9)" fill="currentColor" {} },
        }
    }
}

/// Draws what the marks mean, in two rows.
fn legend() -> Drawn {
    // Longer words than those that the places are for push what follows them aside.
    let mut end = (0, 0);
    let placed = KEY.map(|(sign, meaning, (x, y))| {
        let meaning = tr!(meaning);
        let x = if y == end.1 { x.max(end.0) } else { x };
        end = (x + sign.width() + 24 + 7 * meaning.chars().count(), y);
        (sign, meaning, (x, y))
    });
    let markup = html! {
        @for (sign, meaning, (x, y)) in &placed {
            g transform={ "translate(" (x) " " (y) ")" } {
                (sign.draw())
                text x=(sign.width() + 6) y="17" font-size="13" fill="currentColor" { (meaning) }
            }
        }
    };
    Drawn { height: 62, markup }
}

/// Returns the cell of one bar as an `svg` element to stand in a page.
pub fn cell(bar: &BarHeld) -> Markup {
    html! { svg width=(CELL.0 + 2) height=(CELL.1 + 2) viewBox={ "-1 -1 " (CELL.0 + 2) " " (CELL.1 + 2) } role="img" font-family="sans-serif" { (bar_cell(bar)) } }
}

/// Returns each mark as an `svg` element with what it means.
pub fn meanings() -> Vec<(Markup, String)> {
    let drawn = |width: usize, markup: Markup| html! { svg width=(width) height="26" viewBox={ "-1 -1 " (width) " 26" } aria-hidden="true" { (markup) } };
    KEY.map(|(sign, meaning, _)| (drawn(sign.width() + 2, sign.draw()), tr!(meaning))).into()
}

/// Draws everything on one sheet: an SVG file of its own.
pub fn sheet(progress: &Progress) -> String {
    let mut sheet = Sheet { y: 0, parts: Vec::new() };
    sheet.heading(&progress.title, 24);
    sheet.text(&short_with_year(progress.today));
    if progress.days.is_empty() {
        sheet.text(&words::no_record());
    } else {
        words::days(&progress.days, progress.today).iter().for_each(|line| sheet.text(line));
        words::changes(progress).iter().for_each(|line| sheet.text(line));
        sheet.heading(&tr!("Bar by bar"), 18);
        sheet.text(&words::map());
        sheet.part(legend());
        sheet.part(map(&progress.sections));
        if let Some(line) = words::recall(&progress.recall) {
            sheet.heading(&tr!("Time to begin"), 18);
            sheet.text(&line);
            sheet.plot(plots::recall(&progress.recall, plots::WIDE));
        }
        sheet.heading(&tr!("Minutes of playing"), 18);
        sheet.plot(plots::minutes(&progress.days, progress.today, super::progress_page::N_DAYS_SHOWN, plots::WIDE));
        if !progress.runs.is_empty() {
            sheet.heading(&tr!("Run-throughs"), 18);
            progress
                .runs
                .iter()
                .rev()
                .for_each(|run| sheet.text(&tr!("{day}: {run}", day = short_with_year(run.at.date_naive()), run = words::run(run))));
            progress.pace.iter().for_each(|pace| sheet.text(&steadiness::words(pace)));
        }
        if !progress.stubborn.is_empty() {
            sheet.heading(&tr!("Stubborn places in the last four weeks"), 18);
            progress.stubborn.iter().for_each(|place| sheet.text(&words::stubborn(place)));
        }
        for items in &progress.items {
            sheet.heading(&items.heading(), 18);
            items.lines.iter().chain(&items.rest()).for_each(|line| sheet.text(line));
        }
        if !progress.set_wrong.is_empty() {
            sheet.heading(&words::set_wrong(), 18);
            progress.set_wrong.iter().for_each(|line| sheet.text(line));
        }
        sheet.y += LINE / 2;
        words::notes(progress).iter().for_each(|line| sheet.text(line));
    }
    const MARGIN: usize = 30;
    let (width, height) = (WIDTH + 2 * MARGIN, sheet.y + 2 * MARGIN);
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(width) height=(height) viewBox={ "0 0 " (width) " " (height) } font-family="sans-serif" color="#000000" {
            title { (progress.title) }
            rect width="100%" height="100%" fill="#ffffff" {}
            g transform={ "translate(" (MARGIN) " " (MARGIN) ")" } { @for part in &sheet.parts { (part) } }
        }
    };
    markup.into_string()
}

/// A sheet while it is filled from the top.
struct Sheet {
    y: usize,
    parts: Vec<Markup>,
}

impl Sheet {
    fn heading(&mut self, text: &str, size: usize) {
        self.y += 10;
        for line in wrapped(text, N_CHARS * 11 / size, "") {
            self.y += size + 6;
            self.parts.push(html! { text x="0" y=(self.y) font-size=(size) font-weight="bold" { (line) } });
        }
        self.y += 4;
    }

    fn text(&mut self, text: &str) {
        for line in wrapped(text, N_CHARS, "   ") {
            self.y += LINE;
            self.parts.push(html! { text x="0" y=(self.y) font-size="14" xml:space="preserve" { (line) } });
        }
    }

    fn part(&mut self, drawn: Drawn) {
        self.y += 12;
        self.parts.push(html! { g transform={ "translate(0 " (self.y) ")" } { (drawn.markup) } });
        self.y += drawn.height;
    }

    fn plot(&mut self, svg: Option<String>) {
        if let Some(svg) = svg {
            self.y += 8;
            self.parts.push(html! { g transform={ "translate(0 " (self.y) ")" } { (PreEscaped(svg)) } });
            self.y += plots::WIDE.1 as usize;
        }
    }
}
