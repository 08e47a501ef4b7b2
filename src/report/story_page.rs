//! The story sheet as a page to print: one sheet of paper where it fits.

use maud::{Markup, html};

use super::progress_page::html_page;
use super::story_sheet::{SheetSection, SheetSwitch, StorySheet, drafted, switches_head};

/// Two columns, and small enough that a piece of some thirty cues stands on one side of a sheet.
const STYLE: &str = "
.story { columns: 19rem 2; column-gap: 2rem; }
.story section { margin-bottom: .8rem; break-inside: avoid; }
.story { margin-top: .8rem; }
h2 { margin: .8rem 0 .2rem; font-size: 1.1em; border-bottom: 1px solid var(--line); }
.story h2 { margin-top: 0; }
.start { font-style: italic; }
dl { display: grid; grid-template-columns: minmax(2.6rem, max-content) 1fr; gap: .1rem .6rem; margin: .2rem 0; }
dl > div { display: contents; }
dt { color: var(--quiet); font-variant-numeric: tabular-nums; }
dd { margin: 0; break-inside: avoid; }
dd strong { font-weight: 600; }
dd small { display: block; color: var(--quiet); font-size: .85em; line-height: 1.3; }
.switches td { width: 50%; }
@page { margin: 11mm; }
@media print { body { font-size: 9.2pt; line-height: 1.3; } .story { columns: 2; } h1 { font-size: 14pt; } }
";

/// Returns the page.
pub fn page(sheet: &StorySheet) -> String {
    let body = html! {
        h1 { (sheet.title) }
        p.quiet { (sheet.about) @if sheet.is_draft { ". " (drafted()) } }
        @if let Some(setting) = &sheet.setting { p.start { (tr!("At every start: {setting}", setting)) } }
        div.story {
            @for part in &sheet.sections { (section(part)) }
        }
        @if !sheet.switches.is_empty() {
            h2 { (switches_head()) }
            table.switches { @for switch in &sheet.switches { (switch_row(switch)) } }
        }
    };
    html_page(&tr!("{}: the story", sheet.title), STYLE, body)
}

fn section(section: &SheetSection) -> Markup {
    html! {
        section {
            h2 { (section.heading()) }
            @for landmark in &section.landmarks { p.start { (tr!("start: {landmark}", landmark = landmark.words())) } }
            dl {
                @for line in &section.lines {
                    div {
                        dt { (line.place) }
                        dd { strong { (line.text) } @if let Some(more) = &line.more { small { (more) } } }
                    }
                }
            }
        }
    }
}

fn switch_row(switch: &SheetSwitch) -> Markup {
    html! { tr { @for (place, way) in &switch.ways { td { (tr!("{place}: {way}", place, way = "")) strong { (way) } } } } }
}
