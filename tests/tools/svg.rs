//! A terminal screen as an SVG picture: letters as text, blocks and lines as shapes, so that it looks the same in every viewer.

use std::fmt::Write;

use vt100::{Cell, Color, Screen};

const CELL_WIDTH: f64 = 9.0;
const CELL_HEIGHT: f64 = 18.0;
const MARGIN: f64 = 14.0;
const PAPER: &str = "#14161a";
const INK: &str = "#e8e6e1";

pub fn draw(screen: &Screen, title: &str) -> String {
    let (n_rows, n_columns) = screen.size();
    let (width, height) = (f64::from(n_columns) * CELL_WIDTH + 2.0 * MARGIN, f64::from(n_rows) * CELL_HEIGHT + 2.0 * MARGIN);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" \
         font-family=\"DejaVu Sans Mono, Menlo, Consolas, monospace\" font-size=\"15\">\n<title>{}</title>\n\
         <rect width=\"{width}\" height=\"{height}\" rx=\"8\" fill=\"{PAPER}\"/>\n",
        escape(title)
    );
    for row in 0..n_rows {
        let cells: Vec<&Cell> = (0..n_columns).filter_map(|column| screen.cell(row, column)).collect();
        let mut column = 0;
        while column < cells.len() {
            let look = Look::of(cells[column]);
            let end = (column..cells.len()).find(|&other| Look::of(cells[other]) != look).unwrap_or(cells.len());
            run(&mut svg, &cells[column..end], &look, column, row);
            column = end;
        }
    }
    svg.push_str("</svg>\n");
    svg
}

/// How a run of cells is drawn.
#[derive(Clone, PartialEq)]
struct Look {
    ink: String,
    paper: Option<String>,
    bold: bool,
    dim: bool,
    shape: bool,
}

impl Look {
    fn of(cell: &Cell) -> Look {
        let (mut ink, mut paper) = (colour(cell.fgcolor()), colour(cell.bgcolor()));
        if cell.inverse() {
            (ink, paper) = (Some(paper.unwrap_or_else(|| PAPER.to_owned())), Some(ink.unwrap_or_else(|| INK.to_owned())));
        }
        let shape = cell.contents().chars().next().is_some_and(|c| !parts(c).is_empty());
        Look { ink: ink.unwrap_or_else(|| INK.to_owned()), paper, bold: cell.bold(), dim: cell.dim(), shape }
    }
}

fn run(svg: &mut String, cells: &[&Cell], look: &Look, column: usize, row: u16) {
    let (x, y) = (MARGIN + column as f64 * CELL_WIDTH, MARGIN + f64::from(row) * CELL_HEIGHT);
    let width = cells.len() as f64 * CELL_WIDTH;
    if let Some(paper) = &look.paper {
        let _ = writeln!(svg, "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{CELL_HEIGHT}\" fill=\"{paper}\"/>");
    }
    let opacity = if look.dim { " opacity=\"0.62\"" } else { "" };
    if look.shape {
        let mut path = String::new();
        for (idx, cell) in cells.iter().enumerate() {
            for [left, top, right, bottom] in cell.contents().chars().next().map(parts).unwrap_or_default() {
                let (x0, x1) = (x + (idx as f64 + left) * CELL_WIDTH, x + (idx as f64 + right) * CELL_WIDTH);
                let (y0, y1) = (y + top * CELL_HEIGHT, y + bottom * CELL_HEIGHT);
                let _ = write!(path, "M{x0:.2} {y0:.2}H{x1:.2}V{y1:.2}H{x0:.2}z");
            }
        }
        // Crisp edges keep neighbouring cells from showing a seam.
        let _ = writeln!(svg, "<path d=\"{path}\" fill=\"{}\"{opacity} shape-rendering=\"crispEdges\"/>", look.ink);
        return;
    }
    let text: String = cells.iter().map(|cell| if cell.has_contents() { cell.contents() } else { " " }).collect();
    if text.trim().is_empty() {
        return;
    }
    let weight = if look.bold { " font-weight=\"bold\"" } else { "" };
    let lead = text.len() - text.trim_start().len();
    let (x, n_letters) = (x + lead as f64 * CELL_WIDTH, text.trim().chars().count() as f64);
    let _ = writeln!(
        svg,
        "<text x=\"{x}\" y=\"{}\" textLength=\"{}\" fill=\"{}\"{weight}{opacity} xml:space=\"preserve\">{}</text>",
        y + CELL_HEIGHT * 0.76,
        n_letters * CELL_WIDTH,
        look.ink,
        escape(text.trim())
    );
}

/// Returns the rectangles of a character that is drawn as a shape: left, top, right, bottom in parts of the cell.
fn parts(c: char) -> Vec<[f64; 4]> {
    const TOP_LEFT: [f64; 4] = [0.0, 0.0, 0.5, 0.5];
    const TOP_RIGHT: [f64; 4] = [0.5, 0.0, 1.0, 0.5];
    const BOTTOM_LEFT: [f64; 4] = [0.0, 0.5, 0.5, 1.0];
    const BOTTOM_RIGHT: [f64; 4] = [0.5, 0.5, 1.0, 1.0];
    match c {
        '█' => vec![[0.0, 0.0, 1.0, 1.0]],
        '▀' => vec![TOP_LEFT, TOP_RIGHT],
        '▄' => vec![BOTTOM_LEFT, BOTTOM_RIGHT],
        '▌' => vec![TOP_LEFT, BOTTOM_LEFT],
        '▐' => vec![TOP_RIGHT, BOTTOM_RIGHT],
        '▘' => vec![TOP_LEFT],
        '▝' => vec![TOP_RIGHT],
        '▖' => vec![BOTTOM_LEFT],
        '▗' => vec![BOTTOM_RIGHT],
        '▚' => vec![TOP_LEFT, BOTTOM_RIGHT],
        '▞' => vec![TOP_RIGHT, BOTTOM_LEFT],
        '▛' => vec![TOP_LEFT, TOP_RIGHT, BOTTOM_LEFT],
        '▜' => vec![TOP_LEFT, TOP_RIGHT, BOTTOM_RIGHT],
        '▙' => vec![TOP_LEFT, BOTTOM_LEFT, BOTTOM_RIGHT],
        '▟' => vec![TOP_RIGHT, BOTTOM_LEFT, BOTTOM_RIGHT],
        '─' => vec![[0.0, 0.47, 1.0, 0.53]],
        '╌' => vec![[0.1, 0.47, 0.4, 0.53], [0.6, 0.47, 0.9, 0.53]],
        '═' => vec![[0.0, 0.39, 1.0, 0.45], [0.0, 0.55, 1.0, 0.61]],
        '▬' => vec![[0.0, 0.36, 1.0, 0.64]],
        _ => vec![],
    }
}

/// Returns a colour of the terminal's palette; none for its default.
fn colour(colour: Color) -> Option<String> {
    const BASE: [&str; 16] = [
        "#000000", "#cd3131", "#0dbc79", "#e5e510", "#2472c8", "#bc3fbc", "#11a8cd", "#e5e5e5", "#666666", "#f14c4c", "#23d18b", "#f5f543",
        "#3b8eea", "#d670d6", "#29b8db", "#ffffff",
    ];
    match colour {
        Color::Default => None,
        Color::Rgb(r, g, b) => Some(format!("#{r:02x}{g:02x}{b:02x}")),
        Color::Idx(idx @ 0..=15) => Some(BASE[usize::from(idx)].to_owned()),
        // The 6 x 6 x 6 cube and the grey ramp of xterm's 256 colours.
        Color::Idx(idx @ 16..=231) => {
            let level = |n: u8| if n == 0 { 0 } else { 55 + 40 * n };
            let idx = idx - 16;
            Some(format!("#{:02x}{:02x}{:02x}", level(idx / 36), level(idx / 6 % 6), level(idx % 6)))
        }
        Color::Idx(idx) => {
            let grey = 8 + 10 * (idx - 232);
            Some(format!("#{grey:02x}{grey:02x}{grey:02x}"))
        }
    }
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
