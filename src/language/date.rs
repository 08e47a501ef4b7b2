//! Days as they are written in the player's language.

use chrono::{Datelike, NaiveDate};

const WEEKDAYS: [&str; 7] =
    [msgid!("Monday"), msgid!("Tuesday"), msgid!("Wednesday"), msgid!("Thursday"), msgid!("Friday"), msgid!("Saturday"), msgid!("Sunday")];
const WEEKDAYS_SHORT: [&str; 7] = [msgid!("Mon"), msgid!("Tue"), msgid!("Wed"), msgid!("Thu"), msgid!("Fri"), msgid!("Sat"), msgid!("Sun")];
const MONTHS: [&str; 12] = [
    msgid!("January"),
    msgid!("February"),
    msgid!("March"),
    msgid!("April"),
    msgid!("May"),
    msgid!("June"),
    msgid!("July"),
    msgid!("August"),
    msgid!("September"),
    msgid!("October"),
    msgid!("November"),
    msgid!("December"),
];
const MONTHS_SHORT: [&str; 12] = [
    msgid!("Jan"),
    msgid!("Feb"),
    msgid!("Mar"),
    msgid!("Apr"),
    msgid!("May"),
    msgid!("Jun"),
    msgid!("Jul"),
    msgid!("Aug"),
    msgid!("Sep"),
    msgid!("Oct"),
    msgid!("Nov"),
    msgid!("Dec"),
];

/// Returns `Tuesday 9 February`.
pub fn day_in_full(day: NaiveDate) -> String {
    tr!("{weekday} {day}", weekday = weekday(&WEEKDAYS, day), day = day_and_month(day))
}

/// Returns `9 February`.
pub fn day_and_month(day: NaiveDate) -> String {
    of_month(day, &MONTHS)
}

/// Returns `Tue 9 Feb 2027`.
pub fn short_with_year(day: NaiveDate) -> String {
    tr!("{weekday} {day} {year}", weekday = weekday(&WEEKDAYS_SHORT, day), day = short(day), year = day.year())
}

/// Returns `9 Feb`.
pub fn short(day: NaiveDate) -> String {
    of_month(day, &MONTHS_SHORT)
}

/// Returns the short names of the days of a week, from Monday.
pub fn short_weekdays() -> [String; 7] {
    WEEKDAYS_SHORT.map(|name| tr!(name))
}

fn weekday(names: &[&'static str; 7], day: NaiveDate) -> String {
    let name = names[day.weekday().num_days_from_monday() as usize];
    tr!(name)
}

fn of_month(day: NaiveDate, names: &[&'static str; 12]) -> String {
    let name = names[day.month0() as usize];
    let month = tr!(name);
    // The first of a month is more than a number in some languages.
    if day.day() == 1 { tr!("1 {month}", month) } else { tr!("{nth} {month}", nth = day.day(), month) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_written_short_and_in_full() {
        let day = NaiveDate::from_ymd_opt(2027, 2, 9).unwrap();
        assert_eq!((day_in_full(day), day_and_month(day)), ("Tuesday 9 February".to_owned(), "9 February".to_owned()));
        assert_eq!((short_with_year(day), short(day)), ("Tue 9 Feb 2027".to_owned(), "9 Feb".to_owned()));
        let first = NaiveDate::from_ymd_opt(2027, 8, 1).unwrap();
        assert_eq!((short_with_year(first), day_in_full(first)), ("Sun 1 Aug 2027".to_owned(), "Sunday 1 August".to_owned()));
    }
}
