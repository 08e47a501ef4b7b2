//! Every number that the player may set, in one table: where it stands in the settings file, its range, and what it changes.

use super::Config;
use crate::memory::rules::TestDays;
use crate::piece::text::{Error, Keys};
use crate::time::Micros;

/// A number in the settings file.
#[derive(Clone, Copy, Debug)]
pub struct Number {
    /// As written: `[prompts]`.
    pub table: &'static str,
    pub key: &'static str,
    pub least: f64,
    pub most: f64,
    pub is_whole: bool,
    set: fn(&mut Config, f64),
}

const fn number(table: &'static str, key: &'static str, least: f64, most: f64, set: fn(&mut Config, f64)) -> Number {
    Number { table, key, least, most, is_whole: false, set }
}

const fn whole(table: &'static str, key: &'static str, least: i32, most: i32, set: fn(&mut Config, f64)) -> Number {
    Number { table, key, least: least as f64, most: most as f64, is_whole: true, set }
}

fn seconds(s: f64) -> Micros {
    Micros::from_secs_f64(s)
}

fn minutes(m: f64) -> Micros {
    Micros::from_secs_f64(m * 60.0)
}

/// All of them, in the order of the reference.
pub const NUMBERS: [Number; 54] = [
    number("[hesitation]", "floor-s", 0.35, 1.0, |c, v| c.practice.waits.floor_s = v),
    number("[hesitation]", "factor", 1.0, 2.5, |c, v| c.practice.waits.factor = v),
    number("[hesitation]", "phrase-factor", 1.0, 3.0, |c, v| c.practice.waits.phrase = v),
    number("[prompts]", "cue-s", 0.0, 3.0, |c, v| c.practice.ladder.first_cue = seconds(v)),
    number("[prompts]", "more-s", 0.0, 60.0, |c, v| c.practice.ladder.fuller_cue = seconds(v)),
    number("[prompts]", "page-s", 0.0, 60.0, |c, v| c.practice.ladder.page = seconds(v)),
    whole("[prompts]", "hide-after", 0, 5, |c, v| c.practice.ladder.hide_after = v as u8),
    number("[ready]", "notes", 0.5, 1.0, |c, v| c.practice.ready.notes_min = v),
    number("[ready]", "stop-bars", 0.25, 4.0, |c, v| c.practice.ready.stop_bars_max = v),
    whole("[judging]", "slowest", 50, 100, |c, v| c.practice.tempo_share.0 = v / 100.0),
    whole("[judging]", "fastest", 100, 200, |c, v| c.practice.tempo_share.1 = v / 100.0),
    whole("[run-through]", "stop-s", 1, 10, |c, v| c.pass.stop = seconds(v)),
    number("[run-through]", "hesitation-minutes", 1.0, 15.0, |c, v| c.pass.a_hesitation = minutes(v)),
    whole("[drill]", "reps", 1, 5, |c, v| c.reps = v as u8),
    whole("[drill]", "overlap-bars", 0, 2, |c, v| c.overlap_bars = v as usize),
    whole("[drill]", "interleave-after", 0, 3, |c, v| c.practice.turns.after_clean = v as u8),
    whole("[drill]", "interleave-sections", 2, 5, |c, v| c.practice.turns.n_sections = v as usize),
    number("[drill]", "interleave-minutes", 1.0, 5.0, |c, v| c.practice.turns.length = minutes(v)),
    number("[drill]", "again-minutes", 0.0, 30.0, |c, v| c.practice.turns.again_after = (v > 0.0).then(|| minutes(v))),
    whole("[slips]", "loop-clean", 0, 3, |c, v| c.practice.slips.n_clean = v as u8),
    whole("[slips]", "loop-beats", 1, 4, |c, v| c.practice.slips.n_beats = v as u8),
    whole("[slips]", "loop-slowest", 40, 100, |c, v| c.practice.slips.tempo_share.0 = v / 100.0),
    whole("[slips]", "loop-fastest", 40, 100, |c, v| c.practice.slips.tempo_share.1 = v / 100.0),
    whole("[slips]", "warn-below", 0, 95, |c, v| c.practice.slips.clean_share_min = v / 100.0),
    whole("[slips]", "warn-reps", 5, 20, |c, v| c.practice.slips.n_reps = v as usize),
    whole("[sections]", "bars-least", 1, 4, |c, v| c.section_bars.0 = v as usize),
    whole("[sections]", "bars-most", 4, 16, |c, v| c.section_bars.1 = v as usize),
    number("[session]", "breath-s", 3.0, 30.0, |c, v| c.breath = seconds(v)),
    number("[session]", "new-work-minutes", 5.0, 15.0, |c, v| c.rests.work = minutes(v)),
    number("[session]", "new-work-rest-minutes", 3.0, 15.0, |c, v| c.rests.length = minutes(v)),
    number("[session]", "block-minutes", 15.0, 45.0, |c, v| c.rules.block_minutes = v),
    number("[session]", "rest-minutes", 3.0, 15.0, |c, v| c.rules.rest_minutes = v),
    number("[session]", "longest-minutes", 30.0, 180.0, |c, v| c.rules.sitting_minutes_max = v),
    whole("[session]", "week-growth", 0, 50, |c, v| c.rules.week_growth_max = v / 100.0),
    number("[quiz]", "first-s", 3.0, 10.0, |c, v| c.first_onset = seconds(v)),
    number("[quiz]", "jump-s", 1.0, 4.0, |c, v| c.jump = seconds(v)),
    whole("[quiz]", "starts", 1, 100, |c, v| c.mix.starts = v),
    whole("[quiz]", "switches", 0, 100, |c, v| c.mix.switches = v),
    whole("[quiz]", "spots", 0, 100, |c, v| c.mix.spots = v),
    whole("[quiz]", "bars", 0, 100, |c, v| c.mix.bars = v),
    whole("[quiz]", "switch-days", 0, 7, |c, v| c.switch_days = v as u64),
    whole("[plan]", "later-reps", 1, 2, |c, v| c.rules.later_reps = v as u8),
    number("[plan]", "gap-growth", 1.2, 2.5, |c, v| c.rules.gap_growth_max = v),
    whole("[plan]", "gap-days", 1, 21, |c, v| c.rules.gap_days_max = v as i64),
    whole("[plan]", "gap-share", 1, 20, |c, v| c.rules.gap_share_max = v / 100.0),
    whole("[plan]", "last-days", 0, 28, |c, v| c.rules.last_days = v as i64),
    number("[plan]", "last-recall", 0.90, 0.97, |c, v| c.rules.last_recall = v),
    whole("[plan]", "full-test-days-before", 1, 7, |c, v| c.rules.full_test_days_before = v as i64),
    whole("[plan]", "run-elsewhere-every", 0, 9, |c, v| c.rules.run_elsewhere_every = v as u32),
    whole("[secure]", "tries", 2, 5, |c, v| c.rules.secure_tries = v as usize),
    whole("[secure]", "gap-days", 1, 21, |c, v| c.rules.secure_gap_days = v as i64),
    whole("[secure]", "joins", 1, 5, |c, v| c.rules.secure_joins = v as u32),
    whole("[secure]", "run-throughs", 0, 5, |c, v| c.rules.secure_runs = v as u32),
    number("[secure]", "recall", 0.80, 0.97, |c, v| c.rules.secure_recall = v),
];

/// The tables that hold them.
pub const TABLES: [&str; 12] =
    ["hesitation", "prompts", "ready", "judging", "run-through", "drill", "slips", "sections", "session", "quiz", "plan", "secure"];
/// What else stands in them: table and key.
const OTHERS: [(&str, &str); 2] = [("run-through", "strict"), ("plan", "test-days")];

/// Those of them by whose numbers a rep is judged.
const JUDGING: [&str; 5] = ["hesitation", "prompts", "judging", "run-through", "slips"];

/// Sets what the settings file has of them.
///
/// # Errors
/// When a key is unknown, or a value of the wrong kind or out of its range.
pub fn read(keys: &Keys<'_, '_>, config: &mut Config) -> Result<(), Error> {
    for table in TABLES {
        let of_table = |n: &&Number| n.table.trim_matches(['[', ']']) == table;
        let name = NUMBERS.iter().find(of_table).expect("every table has a number").table;
        let others = OTHERS.iter().filter(|(of, _)| *of == table).map(|(_, key)| *key);
        let known: Vec<&str> = NUMBERS.iter().filter(of_table).map(|n| n.key).chain(others).collect();
        let Some(keys) = keys.table(table, name, &known)? else { continue };
        if table == "run-through"
            && let Some(strict) = keys.boolean("strict")?
        {
            config.is_strict = strict.value;
            config.judged_by.extend(strict.value.then(|| "run-through.strict = true".to_owned()));
        }
        if table == "plan"
            && let Some(days) = keys.rising("test-days", 1..=365, TestDays::N_MAX)?
        {
            config.rules.test_days = TestDays::new(&days.value);
        }
        for number in NUMBERS.iter().filter(of_table) {
            let value = if number.is_whole {
                keys.integer(number.key, number.least as i64..=number.most as i64)?.map(|v| v.value as f64)
            } else {
                keys.number(number.key, number.least..=number.most)?.map(|v| v.value)
            };
            if let Some(value) = value {
                let usual = config.clone();
                (number.set)(config, value);
                if JUDGING.contains(&table) && *config != usual {
                    let value = if number.is_whole { format!("{value:.0}") } else { format!("{value:?}") };
                    config.judged_by.push(format!("{table}.{} = {value}", number.key));
                }
            }
        }
    }
    Ok(())
}
