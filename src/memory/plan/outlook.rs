//! How the time stands before a performance, and what to drop when it is short, said plainly.

use chrono::NaiveDate;

use super::PlanConfig;
use super::choose::LEARNING_SHARE;
use crate::language::date::day_and_month;
use crate::language::named::shown;
use crate::memory::item::ItemKind;
use crate::memory::model::Weights;
use crate::memory::piece_memory::PieceMemory;

/// About how many days lie between tests of one item, over the weeks.
const USUAL_GAP_DAYS: f64 = 6.0;

/// Returns sentences on each piece with a performance to come, nearest first; `minutes` a day are shared evenly among them.
pub fn outlook(pieces: &[PieceMemory], weights: &Weights, config: &PlanConfig) -> Vec<String> {
    let mut coming: Vec<(NaiveDate, &PieceMemory)> =
        pieces.iter().filter_map(|p| p.facts.perform_on.filter(|on| *on >= config.today).map(|on| (on, p))).collect();
    coming.sort_by_key(|(on, _)| *on);
    let minutes = config.minutes / coming.len().max(1) as f64;
    coming.into_iter().flat_map(|(on, piece)| about(piece, on, weights, config, minutes)).collect()
}

fn about(piece: &PieceMemory, on: NaiveDate, weights: &Weights, config: &PlanConfig, minutes: f64) -> Vec<String> {
    let title = &piece.facts.title;
    let days = (on - config.today).num_days();
    let when = day_and_month(on);
    if days == 0 {
        return vec![tr!("{title} is today. Nothing new, no tests: play it through once if you like, and rest.", title)];
    }
    let sections: Vec<_> = piece.of_kind(ItemKind::Section).collect();
    let n_begun = sections.iter().filter(|s| piece.records[s.0].is_begun()).count();
    let n_secure = sections.iter().filter(|s| piece.security(**s, config.today, weights).is_secure()).count();
    let day_words = tr!("1 day" | "{n} days" % days);
    let mut said = vec![tr!(
        "{title}: {when}, in {days}; {n_begun} of {n_sections} sections begun, {n_secure} secure. Last full test from cold: {last}.",
        title,
        when,
        days = day_words,
        n_begun,
        n_sections = sections.len(),
        n_secure,
        last = day_and_month(on - chrono::Days::new(2))
    )];
    let unbegun: Vec<_> = sections.iter().filter(|s| !piece.records[s.0].is_begun()).collect();
    if unbegun.is_empty() {
        return said;
    }
    let pace = &config.pace;
    let test = |i: usize| pace.attempt_s(piece.seconds[i]) / 60.0;
    let keep_up = (0..piece.items.len()).map(test).sum::<f64>() / USUAL_GAP_DAYS;
    let learn = |i: usize| f64::from(piece.items[i].target) * pace.tries_per_clean * test(i);
    let learn_all: f64 = unbegun.iter().map(|s| learn(s.0)).sum();
    let learning_days = (days as f64 * LEARNING_SHARE).floor().max(1.0);
    let needed = keep_up + learn_all / learning_days;
    if needed <= minutes {
        return said;
    }
    // What the minutes do allow: in page order, until they are spent.
    let mut spent = 0.0;
    let n_fit = unbegun
        .iter()
        .take_while(|s| {
            spent += learn(s.0);
            spent <= (minutes - keep_up).max(0.0) * learning_days
        })
        .count();
    let dropped: Vec<String> = unbegun[n_fit..].iter().map(|s| shown(&piece.items[s.0].name)).collect();
    said.push(tr!(
        "Time is short: {minutes} minutes a day are not enough to have it all by heart by {when}; about {needed} would be. \
         With these minutes, play from the page: {dropped}. Drop these before you drop the tests of what you know.",
        minutes = format!("{minutes:.0}"),
        when,
        needed = needed.ceil(),
        dropped = dropped.join(", ")
    ));
    said
}
