//! Progress as one page to keep or to send: no script, nothing fetched, light and dark, and good on paper.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::plots;
use super::progress::Progress;
use super::progress_svg::{inline, legend, map};
use super::progress_words as words;

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
        html lang="en" {
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
        p.quiet { "How it holds from memory, " (words::date(progress.today)) }
        @if progress.days.is_empty() {
            p { (words::NO_RECORD) }
        } @else {
            @for line in words::days(&progress.days, progress.today).iter().chain(&words::changes(progress)) { p { (line) } }
            h2 { "Bar by bar" }
            p.quiet { (words::MAP) }
            figure { (inline(&legend(), "what the marks mean")) }
            @for section in &progress.sections {
                figure { (inline(&map(std::slice::from_ref(section)), &words::section_name(section))) }
            }
            @if let Some(line) = words::recall(&progress.recall) {
                section.whole {
                    h2 { "Time to begin" }
                    p { (line) }
                    (plot(plots::recall(&progress.recall), &line))
                }
            }
            section.whole {
                h2 { "Minutes of playing" }
                (plot(plots::minutes(&progress.days, progress.today, N_DAYS_SHOWN), "minutes of playing by day"))
            }
            @if !progress.runs.is_empty() {
                h2 { "Run-throughs" }
                table {
                    @for run in progress.runs.iter().rev() {
                        tr { th scope="row" { (words::date(run.at.date_naive())) } td { (words::run(run)) } }
                    }
                }
            }
            @if !progress.stubborn.is_empty() {
                h2 { "Stubborn places in the last four weeks" }
                ul { @for place in &progress.stubborn { li { (words::stubborn(place)) } } }
            }
            @for line in words::notes(progress) { p.quiet { (line) } }
        }
    }
}

fn plot(svg: Option<String>, label: &str) -> Markup {
    let (width, height) = plots::SIZE;
    html! {
        @if let Some(svg) = svg {
            // The library's own element has a fixed size: in another one with a view box it grows and shrinks with the page.
            figure { svg viewBox={ "0 0 " (width) " " (height) } role="img" aria-label=(label) { (PreEscaped(svg)) } }
        }
    }
}
