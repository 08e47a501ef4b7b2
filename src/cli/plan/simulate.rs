//! `catchword plan --simulate`: progress while it runs, then the table and a picture of it in letters.

use std::io::{IsTerminal, Write};

use serde_json::json;

use crate::memory::simulate::{Policy, Row, SimulateConfig, simulate, times_better};

/// Rows of the picture, and columns for each number of minutes.
const HEIGHT: usize = 10;
const COLUMN: usize = 8;

pub fn run(seed: u64, is_json: bool) -> Vec<String> {
    let config = SimulateConfig::usual(seed);
    let mut err = std::io::stderr();
    let is_seen = err.is_terminal();
    let mut told = 0;
    let rows = simulate(&config, |done, of| {
        let percent = 100 * done / of;
        if is_seen && percent > told {
            told = percent;
            // Progress is a courtesy: a closed terminal must not end the run.
            let _ = write!(err, "\r{}", tr!("{done} of {of} learners' three months played", done, of));
        }
    });
    if is_seen {
        let _ = write!(err, "\r{:60}\r", "");
    }
    if is_json {
        let row = |r: &Row| json!({"plan": r.policy.words(), "minutes_a_day": r.minutes_a_day, "minutes_spent": r.minutes_spent, "hold": r.hold, "standard_error": r.hold_se, "items_held": r.items_held});
        return vec![
            json!({"seed": seed, "learners": config.n_learners, "days": config.n_days, "sections": config.n_sections,
            "rows": rows.iter().map(row).collect::<Vec<_>>()})
            .to_string(),
        ];
    }
    lines(&config, &rows)
}

fn name(policy: Policy) -> String {
    let words = policy.words();
    tr!(words)
}

fn lines(config: &SimulateConfig, rows: &[Row]) -> Vec<String> {
    let mut out = vec![
        tr!(
            "{learners} virtual learners, {days} days, a piece of {sections} sections; they forget by another law than the plan reckons with.",
            learners = config.n_learners,
            days = config.n_days,
            sections = config.n_sections
        ),
        tr!("How often the whole piece holds on the day (of 100 times, give or take), and the minutes that were spent:"),
        String::new(),
        format!("  {:>7}  {:>24} {:>24} {:>24}", tr!("minutes"), name(Policy::Plan), name(Policy::AllDaily), name(Policy::ThreeTimes)),
    ];
    for &minutes in &config.minutes {
        let cells: Vec<String> = Policy::ALL
            .iter()
            .filter_map(|p| rows.iter().find(|r| r.policy == *p && r.minutes_a_day == minutes))
            .map(|r| {
                format!(
                    "{:>3.0} +-{:>2.0} {}",
                    100.0 * r.hold,
                    100.0 * r.hold_se,
                    tr!("in {minutes} min", minutes = format!("{:>5.0}", r.minutes_spent))
                )
            })
            .map(|cell| format!("{cell:>24}"))
            .collect();
        out.push(format!("  {minutes:>7.0}  {}", cells.join(" ")));
    }
    out.push(String::new());
    out.extend(picture(config, rows));
    out.push(String::new());
    for (minutes, times) in times_better(rows) {
        let minutes = format!("{minutes:>3.0}");
        out.push(if times.is_finite() && times < 100.0 {
            let times = format!("{times:.1}");
            tr!("  {minutes} minutes a day: the plan holds {times} times as often as the better simple plan", minutes, times)
        } else {
            tr!("  {minutes} minutes a day: the plan holds where the simple plans all but never hold", minutes)
        });
    }
    out.push(String::new());
    let said = tr!("The gain is least where one playing of the whole takes about half of a day's minutes: every plan has that, it comes\n\
         back to everything, and little time is left to choose. The learners are made, after a published law of forgetting\n\
         (Pavlik & Anderson 2005); they compare plans and promise nothing.");
    out.extend(said.lines().map(str::to_owned));
    out
}

/// Draws the share of times that the whole held against the minutes a day: P this plan, A all daily, T three times.
fn picture(config: &SimulateConfig, rows: &[Row]) -> Vec<String> {
    let mut grid = vec![vec![' '; config.minutes.len() * COLUMN]; HEIGHT + 1];
    for (nth, &minutes) in config.minutes.iter().enumerate() {
        for (letter, policy, shift) in [('T', Policy::ThreeTimes, 5), ('A', Policy::AllDaily, 4), ('P', Policy::Plan, 3)] {
            let Some(row) = rows.iter().find(|r| r.policy == policy && r.minutes_a_day == minutes) else { continue };
            let height = (row.hold * HEIGHT as f64).round() as usize;
            grid[HEIGHT - height.min(HEIGHT)][nth * COLUMN + shift] = letter;
        }
    }
    let label = |row: usize| format!("  {:>3} |", 100 - row * 100 / HEIGHT);
    let mut out: Vec<String> =
        grid.iter().enumerate().map(|(row, cells)| format!("{}{}", label(row), cells.iter().collect::<String>().trim_end())).collect();
    out.push(format!("      +{}", "-".repeat(config.minutes.len() * COLUMN)));
    let axis: String = config.minutes.iter().map(|m| format!("{m:>5.0}{}", " ".repeat(COLUMN - 5))).collect();
    out.push(format!("       {}", tr!("{minutes} minutes a day", minutes = axis.trim_end())));
    out.push(format!("       P {}, A {}, T {}", name(Policy::Plan), name(Policy::AllDaily), name(Policy::ThreeTimes)));
    out
}
