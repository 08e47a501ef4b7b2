//! Plots of a progress page as SVG: one ink, marks that differ by shape, no colour that carries meaning.

use chrono::{Duration, NaiveDate};
use plotters::prelude::*;

use super::progress::{PlayedDay, RecallDay};
use crate::language::date::short;

/// The ink of marks and of lines behind them; `page_style.css` has others for the dark and for paper.
const INK_COLOUR: RGBColor = RGBColor(0x0b, 0x4f, 0x8a);
const GRID_COLOUR: RGBColor = RGBColor(0xc8, 0xcd, 0xd2);
/// Width and height of a plot, in units of which a letter is 15 high: for a page or sheet, and for a screen held in one hand.
pub const WIDE: (u32, u32) = (720, 180);
pub const NARROW: (u32, u32) = (360, 180);

type Failure = DrawingAreaErrorKind<std::io::Error>;

/// Draws recall time over days; nothing for fewer than two days.
pub fn recall(days: &[RecallDay], size: (u32, u32)) -> Option<String> {
    let (first, last) = (days.first()?.day, days.last()?.day);
    if first == last {
        return None;
    }
    let points: Vec<(f64, f64)> = days.iter().map(|d| (since(first, d.day), d.median_s)).collect();
    let top = days.iter().map(|d| d.median_s).fold(1.0, f64::max) * 1.1;
    drawn(size, |area| {
        let mut chart = chart(area, (0.0, since(first, last)), top)?;
        mesh(&mut chart, first, &tr!("seconds"), size)?;
        chart.draw_series(LineSeries::new(points.iter().copied(), INK_COLOUR.stroke_width(2)))?;
        chart.draw_series(points.iter().map(|p| Circle::new(*p, 4, INK_COLOUR.filled())))?;
        Ok(())
    })
}

/// Draws minutes of playing over days; nothing without days.
pub fn minutes(days: &[PlayedDay], today: NaiveDate, n_days: i64, size: (u32, u32)) -> Option<String> {
    let late: Vec<&PlayedDay> = days.iter().filter(|d| (0..n_days).contains(&(today - d.day).num_days())).collect();
    let first = late.first()?.day.min(today - Duration::days(13));
    let top = late.iter().map(|d| d.minutes).fold(1.0, f64::max) * 1.1;
    drawn(size, |area| {
        let mut chart = chart(area, (-0.5, since(first, today) + 0.5), top)?;
        mesh(&mut chart, first, &tr!("minutes"), size)?;
        let bar = |d: &&PlayedDay| {
            let x = since(first, d.day);
            Rectangle::new([(x - 0.35, 0.0), (x + 0.35, d.minutes)], INK_COLOUR.filled())
        };
        chart.draw_series(late.iter().map(bar))?;
        Ok(())
    })
}

fn since(first: NaiveDate, day: NaiveDate) -> f64 {
    (day - first).num_days() as f64
}

type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
type Plane<'a, 'b> =
    ChartContext<'a, SVGBackend<'b>, Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>>;

/// Returns what was drawn; nothing when the library refuses, as it does for numbers that are none.
fn drawn(size: (u32, u32), draw: impl FnOnce(&Area<'_>) -> Result<(), Failure>) -> Option<String> {
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        draw(&area).and_then(|()| area.present()).ok()?;
    }
    Some(svg)
}

fn chart<'a, 'b>(area: &'a Area<'b>, (from, to): (f64, f64), top: f64) -> Result<Plane<'a, 'b>, Failure> {
    ChartBuilder::on(area).margin(6).margin_right(28).x_label_area_size(28).y_label_area_size(52).build_cartesian_2d(from..to, 0.0..top)
}

fn mesh(chart: &mut Plane<'_, '_>, first: NaiveDate, what: &str, size: (u32, u32)) -> Result<(), Failure> {
    let font = ("sans-serif", 15).into_font();
    chart
        .configure_mesh()
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID_COLOUR)
        .axis_style(GRID_COLOUR)
        .label_style(font.clone())
        .axis_desc_style(font)
        .x_labels(size.0 as usize / 90)
        .y_labels(4)
        .x_label_formatter(&|x| if x.fract() == 0.0 { short(first + Duration::days(*x as i64)) } else { String::new() })
        .y_label_formatter(&|y| format!("{y}").replace('.', &tr!(".")))
        .y_desc(what)
        .draw()
}
