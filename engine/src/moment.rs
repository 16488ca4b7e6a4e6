//! A device's clock, as text. Times are shown, never trusted for order.

/// `2026-11-25T10:42:07Z` from milliseconds since 1970; the page shows it in the tablet's own zone.
pub fn iso(at_ms: i64) -> String {
    let (days, ms) = (at_ms.div_euclid(86_400_000), at_ms.rem_euclid(86_400_000));
    let (year, month, day) = civil(days);
    let s = ms / 1000;
    format!("{year:04}-{month:02}-{day:02}T{:02}:{:02}:{:02}Z", s / 3600, s / 60 % 60, s % 60)
}

/// Year, month and day of the proleptic Gregorian calendar from days since 1970-01-01.
/// Source: H. Hinnant, "chrono-Compatible Low-Level Date Algorithms", civil_from_days.
fn civil(days: i64) -> (i64, i64, i64) {
    let z = days + 719_468;
    let era = z.div_euclid(146_097);
    let doe = z.rem_euclid(146_097);
    let yoe = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
    let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
    let mp = (5 * doy + 2) / 153;
    let day = doy - (153 * mp + 2) / 5 + 1;
    let month = if mp < 10 { mp + 3 } else { mp - 9 };
    (yoe + era * 400 + i64::from(month <= 2), month, day)
}

#[cfg(test)]
mod tests {
    use super::iso;

    #[test]
    fn known_moments_read_as_their_dates() {
        for (ms, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (951_782_400_000, "2000-02-29T00:00:00Z"),
            (1_795_603_327_000, "2026-11-25T10:42:07Z"),
            (-1, "1969-12-31T23:59:59Z"),
        ] {
            assert_eq!(iso(ms), text);
        }
    }
}
