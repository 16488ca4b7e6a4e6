//! Calendar days, without zones or times. A ruleset cannot ask for today: a date is always handed in.

use serde::Serialize;
use std::fmt;
use std::str::FromStr;

/// A day of the Gregorian calendar, `2026-03-01`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

/// Why a text is not a date.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is not a date; write year-month-day, like 2026-03-01")]
pub struct DateError {
    /// What was given.
    pub text: String,
}

impl Date {
    /// The day, if the calendar has it; years 1 to 9999.
    pub fn new(year: u16, month: u8, day: u8) -> Option<Date> {
        let leap = (year.is_multiple_of(4) && !year.is_multiple_of(100)) || year.is_multiple_of(400);
        let days = match month {
            1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
            4 | 6 | 9 | 11 => 30,
            2 if leap => 29,
            2 => 28,
            _ => return None,
        };
        ((1..=9999).contains(&year) && (1..=days).contains(&day)).then_some(Date { year, month, day })
    }

    /// Days since 0000-03-01, for comparing and subtracting.
    pub fn number(self) -> i32 {
        // Howard Hinnant's days_from_civil, years counted from March so that the leap day comes last.
        let year = i32::from(self.year) - i32::from(self.month <= 2);
        let era_year = year.rem_euclid(400);
        let month = (i32::from(self.month) + 9) % 12;
        let day_of_year = (153 * month + 2) / 5 + i32::from(self.day) - 1;
        year.div_euclid(400) * 146_097 + era_year * 365 + era_year / 4 - era_year / 100 + day_of_year
    }

    /// The day of that number, if it lies in years 1 to 9999.
    pub fn from_number(number: i32) -> Option<Date> {
        let era = number.div_euclid(146_097);
        let day_of_era = number.rem_euclid(146_097);
        let era_year = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * era_year + era_year / 4 - era_year / 100);
        let month = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * month + 2) / 5 + 1;
        let month = if month < 10 { month + 3 } else { month - 9 };
        let year = era.checked_mul(400)?.checked_add(era_year)?.checked_add(i32::from(month <= 2))?;
        Date::new(u16::try_from(year).ok()?, u8::try_from(month).ok()?, u8::try_from(day).ok()?)
    }
}

impl FromStr for Date {
    type Err = DateError;

    fn from_str(text: &str) -> Result<Date, DateError> {
        let fault = || DateError { text: text.to_owned() };
        let bytes = text.as_bytes();
        let shape = bytes.len() == 10
            && bytes
                .iter()
                .enumerate()
                .all(|(i, b)| if i == 4 || i == 7 { *b == b'-' } else { b.is_ascii_digit() });
        if !shape {
            return Err(fault());
        }
        let part = |range: std::ops::Range<usize>| text.get(range).and_then(|t| t.parse::<u16>().ok());
        let (Some(year), Some(month), Some(day)) = (part(0..4), part(5..7), part(8..10)) else {
            return Err(fault());
        };
        Date::new(year, month as u8, day as u8).ok_or_else(fault)
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

impl Serialize for Date {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_number_without_gaps_and_back() {
        let mut last = Date::new(1999, 12, 31).unwrap().number();
        for number in last + 1..last + 2000 {
            let day = Date::from_number(number).unwrap();
            assert_eq!(day.number(), last + 1, "{day}");
            assert_eq!(day.to_string().parse::<Date>().unwrap(), day);
            last = day.number();
        }
    }

    #[test]
    fn days_the_calendar_lacks_are_refused() {
        for text in ["2026-02-29", "2026-13-01", "2026-00-10", "26-01-01", "2026-1-1", "", "2026-01-0\u{e9}"]
        {
            assert!(text.parse::<Date>().is_err(), "{text}");
        }
        assert!("2028-02-29".parse::<Date>().is_ok());
    }
}
