//! Progress as plain text of 80 columns, for a terminal, a file, or a reader of screens.

use chrono::{Datelike, Duration, NaiveDate};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::symbols::Marker;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType, Widget};

use super::plain_text::wrapped;
use super::progress::{BarHeld, Held, N_TRIES_SHOWN, PlayedDay, Progress, RecallDay, Trend};
use super::progress_words as words;
use super::steadiness;
use crate::journal::entry::Witness;
use crate::language::date::{short, short_weekdays, short_with_year};

const WIDTH: usize = 80;
const PLOT: Rect = Rect { x: 0, y: 0, width: 74, height: 10 };
/// Weeks of practice that are listed.
const N_WEEKS: i64 = 8;

/// Returns the lines.
pub fn lines(progress: &Progress) -> Vec<String> {
    let mut out = Vec::new();
    let mut say = |text: &str, indent: &str| out.extend(wrapped(text, WIDTH, indent));
    say(&progress.title, "");
    if progress.days.is_empty() {
        say(&words::no_record(), "");
        return out;
    }
    words::days(&progress.days, progress.today).iter().for_each(|line| say(line, ""));
    words::changes(progress).iter().for_each(|line| say(line, "  "));
    say("", "");
    say(&words::map(), "");
    say(&tr!("= held   ~ with a cue   x did not hold   . not tried   ' the player's own word"), "");
    say(&tr!("+ holds more often than before   - less often"), "");
    for section in &progress.sections {
        say("", "");
        say(&words::section_name(section), "  ");
        if section.is_section {
            say(&format!("  {}", words::section_counts(section)), "  ");
        }
        map(&section.bars).iter().for_each(|line| say(line, "  "));
    }
    if let Some(line) = words::recall(&progress.recall) {
        say("", "");
        say(&line, "  ");
        plot(&progress.recall).iter().for_each(|line| say(line, ""));
    }
    say("", "");
    say(&tr!("Reps and minutes of playing, by week:"), "");
    weeks(&progress.days, progress.today).iter().for_each(|line| say(line, ""));
    if !progress.runs.is_empty() {
        say("", "");
        say(&tr!("Run-throughs:"), "");
        progress
            .runs
            .iter()
            .rev()
            .for_each(|run| say(&tr!("  {day}: {run}", day = short_with_year(run.at.date_naive()), run = words::run(run)), "    "));
        progress.pace.iter().for_each(|pace| say(&format!("  {}", steadiness::words(pace)), "    "));
    }
    if !progress.stubborn.is_empty() {
        say("", "");
        say(&tr!("Stubborn places in the last four weeks:"), "");
        progress.stubborn.iter().for_each(|place| say(&format!("  {}", words::stubborn(place)), "    "));
    }
    for items in &progress.items {
        say("", "");
        say(&tr!("{}:", items.heading()), "");
        items.lines.iter().chain(&items.rest()).for_each(|line| say(&format!("  {line}"), "    "));
    }
    if !progress.set_wrong.is_empty() {
        say("", "");
        say(&tr!("{}:", words::set_wrong()), "");
        progress.set_wrong.iter().for_each(|line| say(&format!("  {line}"), "    "));
    }
    let notes = words::notes(progress);
    if !notes.is_empty() {
        say("", "");
        notes.iter().for_each(|line| say(line, "  "));
    }
    out
}

/// Lays bars out in columns: label, marks, trend.
fn map(bars: &[BarHeld]) -> Vec<String> {
    let label_width = bars.iter().map(|b| b.label.chars().count()).max().unwrap_or(0).clamp(2, 12);
    let cell = |bar: &BarHeld| {
        let tries = bar.tries.shown();
        let mut marks = ".".repeat(N_TRIES_SHOWN - tries.len());
        marks.extend(tries.iter().map(|t| mark(t.held)));
        let told = if tries.last().is_some_and(|t| t.witness == Witness::Told) { '\'' } else { ' ' };
        let trend = match bar.tries.trend() {
            Trend::Better => '+',
            Trend::Same => ' ',
            Trend::Worse => '-',
        };
        let label: String = bar.label.chars().take(12).collect();
        format!("  {label:>label_width$} {marks}{told}{trend}")
    };
    let n_columns = ((WIDTH - 2) / (label_width + 8)).max(1);
    bars.chunks(n_columns).map(|row| format!("  {}", row.iter().map(cell).collect::<String>()).trim_end().to_owned()).collect()
}

fn mark(held: Held) -> char {
    match held {
        Held::Yes => '=',
        Held::Cued => '~',
        Held::No => 'x',
    }
}

/// Draws recall time over days with one dot a day; nothing for a single day.
fn plot(days: &[RecallDay]) -> Vec<String> {
    let (Some(first), Some(last)) = (days.first(), days.last()) else { return Vec::new() };
    if first.day == last.day {
        return Vec::new();
    }
    let x = |day: NaiveDate| (day - first.day).num_days() as f64;
    let points: Vec<(f64, f64)> = days.iter().map(|d| (x(d.day), d.median_s)).collect();
    let top = days.iter().map(|d| d.median_s).fold(1.0, f64::max).ceil();
    let chart = Chart::new(vec![Dataset::default().marker(Marker::Dot).graph_type(GraphType::Scatter).data(&points)])
        .x_axis(Axis::default().bounds([0.0, x(last.day)]).labels([short(first.day), short(last.day)]))
        .y_axis(Axis::default().bounds([0.0, top]).labels(["0 s".to_owned(), format!("{:.0} s", top / 2.0), format!("{top:.0} s")]));
    let mut buffer = Buffer::empty(PLOT);
    chart.render(PLOT, &mut buffer);
    let row = |y: u16| (0..PLOT.width).map(|x| buffer[(x, y)].symbol()).collect::<String>();
    (0..PLOT.height).map(|y| format!("  {}", row(y)).trim_end().to_owned()).collect()
}

/// Lists the last weeks, a day a column: reps and minutes.
fn weeks(days: &[PlayedDay], today: NaiveDate) -> Vec<String> {
    let monday = today - Duration::days(i64::from(today.weekday().num_days_from_monday()));
    let first = (0..N_WEEKS).rev().map(|n| monday - Duration::days(7 * n));
    let used = first.filter(|m| days.iter().any(|d| (0..7).contains(&(d.day - *m).num_days())));
    let weeks: Vec<(NaiveDate, String)> = used.map(|monday| (monday, short(monday))).collect();
    let width = weeks.iter().map(|(_, label)| label.chars().count()).max().unwrap_or(0).max(6);
    let names: String = short_weekdays().iter().map(|name| format!("{name:>9}")).collect();
    let mut out = vec![format!("{:width$}{names}", "")];
    for (monday, label) in weeks {
        let cell = |n: i64| {
            let day = days.iter().find(|d| d.day == monday + Duration::days(n));
            day.map_or_else(|| ".".to_owned(), |d| tr!("{n_reps}/{minutes}m", n_reps = d.n_reps, minutes = d.minutes.ceil()))
        };
        let cells: String = (0..7).map(|n| format!("{:>9}", cell(n))).collect();
        out.push(format!("  {label:>width$}{cells}").trim_end().to_owned());
    }
    out
}
