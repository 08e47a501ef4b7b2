//! Progress as one page to keep or to send: no script, nothing fetched, light and dark, and good on paper.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::plots;
use super::progress::{Progress, SectionHeld};
use super::progress_svg::{cell, meanings};
use super::progress_words as words;
use super::steadiness;
use crate::language::Language;
use crate::language::date::short_with_year;

/// Days of practice that are drawn.
pub const N_DAYS_SHOWN: i64 = 56;

/// Returns the page.
pub fn page(progress: &Progress) -> String {
    html_page(&progress.title, "", body(progress))
}

/// Returns a page of the program's own look: `style` is added to it.
pub fn html_page(title: &str, style: &str, body: Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang=(Language::spoken().tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(include_str!("page_style.css"))) (PreEscaped(style)) }
            }
            body { (body) }
        }
    };
    page.into_string()
}

fn body(progress: &Progress) -> Markup {
    html! {
        h1 { (progress.title) }
        p.quiet { (tr!("How it holds from memory, {date}", date = short_with_year(progress.today))) }
        @if progress.days.is_empty() {
            p { (words::no_record()) }
        } @else {
            @for line in words::days(&progress.days, progress.today).iter().chain(&words::changes(progress)) { p { (line) } }
            h2 { (tr!("Bar by bar")) }
            p.quiet { (words::map()) }
            div.key { @for (mark, meaning) in meanings() { span { (mark) (meaning) } } }
            @for part in &progress.sections { (section(part)) }
            div.plots {
                @if let Some(line) = words::recall(&progress.recall) {
                    section.whole {
                        h2 { (tr!("Time to begin")) }
                        p { (line) }
                        (plot(|size| plots::recall(&progress.recall, size), &line))
                    }
                }
                section.whole {
                    h2 { (tr!("Minutes of playing")) }
                    (plot(|size| plots::minutes(&progress.days, progress.today, N_DAYS_SHOWN, size), &tr!("minutes of playing by day")))
                }
            }
            @if !progress.runs.is_empty() {
                h2 { (tr!("Run-throughs")) }
                table.dated {
                    @for run in progress.runs.iter().rev() {
                        tr { th scope="row" { (short_with_year(run.at.date_naive())) } td { (words::run(run)) } }
                    }
                }
                @if let Some(pace) = &progress.pace { p { (steadiness::words(pace)) } }
            }
            @if !progress.stubborn.is_empty() {
                h2 { (tr!("Stubborn places in the last four weeks")) }
                ul { @for place in &progress.stubborn { li { (words::stubborn(place)) } } }
            }
            @for items in &progress.items {
                h2 { (items.heading()) }
                ul { @for line in items.lines.iter().chain(&items.rest()) { li { (line) } } }
            }
            @if !progress.set_wrong.is_empty() {
                h2 { (words::set_wrong()) }
                ul { @for line in &progress.set_wrong { li { (line) } } }
            }
            @for line in words::notes(progress) { p.quiet { (line) } }
        }
    }
}

/// A section: what it is called, its counts, and its bars in rows as long as the page is wide.
fn section(section: &SectionHeld) -> Markup {
    html! {
        section.whole {
            div.head {
                h3 { (words::section_name(section)) }
                @if section.is_section { span { (words::section_counts(section)) } }
            }
            div.bars { @for bar in &section.bars { (cell(bar)) } }
        }
    }
}

/// Draws a plot wide and narrow; the style shows the one whose letters can be read.
fn plot(draw: impl Fn((u32, u32)) -> Option<String>, label: &str) -> Markup {
    html! {
        @for (class, size) in [("wide", plots::WIDE), ("narrow", plots::NARROW)] {
            @if let Some(svg) = draw(size) {
                // The library's own element has a fixed size: in another one with a view box it grows and shrinks with the page.
                figure class=(class) { svg viewBox={ "0 0 " (size.0) " " (size.1) } role="img" aria-label=(label) { (PreEscaped(svg)) } }
            }
        }
    }
}
