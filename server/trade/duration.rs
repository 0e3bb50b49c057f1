//! A stretch of work as people write it down: `1:30`, `1 h 30`, `90 min`, `1.5`.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};

/// The most that is read as one stretch, in minutes: a day and a night.
pub const LONGEST: u32 = 24 * 60;

/// Why a stretch cannot be read. The text says what to type instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DurationError {
    #[error("“{0}” is no stretch of work. Type hours, like 1:30 or 1.5, or minutes, like 90 min.")]
    Unreadable(String),
    #[error("Sixty minutes are an hour: {0} cannot stand behind the colon.")]
    Sixty(u32),
    #[error("That is nothing. Type how long it was.")]
    Nothing,
    #[error("That is more than a day and a night. Write it down day by day.")]
    TooLong,
}

/// Whole minutes of a stretch as it was typed. A bare number is hours; what is not a whole minute is rounded, half up.
pub fn minutes(typed: &str) -> Result<u32, DurationError> {
    let unreadable = || DurationError::Unreadable(typed.trim().to_string());
    let text = typed.trim().to_lowercase().replace(',', ".");
    let (hours, minutes) = if let Some((hours, minutes)) = text.split_once(':') {
        let minutes: u32 = whole(minutes).filter(|_| minutes.len() == 2).ok_or_else(unreadable)?;
        if minutes > 59 {
            return Err(DurationError::Sixty(minutes));
        }
        (Decimal::from(whole(hours).ok_or_else(unreadable)?), Decimal::from(minutes))
    } else {
        parts(&text).ok_or_else(unreadable)?
    };
    let all = (hours * dec!(60) + minutes)
        .round_dp_with_strategy(0, rust_decimal::RoundingStrategy::MidpointAwayFromZero);
    match all.to_u32() {
        Some(0) => Err(DurationError::Nothing),
        Some(minutes) if minutes <= LONGEST => Ok(minutes),
        _ => Err(DurationError::TooLong),
    }
}

/// Hours and minutes of `1.5`, `2 h`, `90 min` or `1 h 30 min`.
fn parts(text: &str) -> Option<(Decimal, Decimal)> {
    let (number, rest) = number(text)?;
    let minute = |unit: &str| matches!(unit, "m" | "min" | "mins" | "minute" | "minutes");
    match rest {
        "" => Some((number, Decimal::ZERO)),
        unit if minute(unit) => Some((Decimal::ZERO, number)),
        rest => {
            let after =
                ["hours", "hour", "hrs", "hr", "h"].iter().find_map(|unit| rest.strip_prefix(unit))?;
            if after.trim().is_empty() {
                return Some((number, Decimal::ZERO));
            }
            let (minutes, unit) = self::number(after.trim())?;
            (unit.is_empty() || minute(unit)).then_some((number, minutes))
        }
    }
}

/// A number and what stands behind it.
fn number(text: &str) -> Option<(Decimal, &str)> {
    let end = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let number = text.get(..end).filter(|digits| digits.len() <= 8)?.parse().ok()?;
    Some((number, text[end..].trim()))
}

fn whole(text: &str) -> Option<u32> {
    text.parse().ok().filter(|_| text.bytes().all(|byte| byte.is_ascii_digit()) && text.len() <= 4)
}

/// `1 h 30 min`, `45 min`, `2 h`; below zero with a true minus sign.
pub fn spelled(minutes: i64) -> String {
    let sign = if minutes < 0 { "−" } else { "" };
    let all = minutes.unsigned_abs();
    match (all / 60, all % 60) {
        (0, minutes) => format!("{sign}{minutes} min"),
        (hours, 0) => format!("{sign}{hours} h"),
        (hours, minutes) => format!("{sign}{hours} h {minutes} min"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_stretch_is_read_as_it_is_written() {
        for (typed, read) in [
            ("1:30", 90),
            ("0:05", 5),
            ("1.5", 90),
            ("1,5", 90),
            (" 2 ", 120),
            ("2h", 120),
            ("2 hours", 120),
            ("1 h 30", 90),
            ("1h30m", 90),
            ("1 hr 5 min", 65),
            ("90 min", 90),
            ("45m", 45),
            ("24", 1440),
            ("0.01", 1),
        ] {
            assert_eq!(minutes(typed), Ok(read), "{typed}");
        }
    }

    #[test]
    fn what_is_no_stretch_is_refused_with_a_reason() {
        let unreadable = |typed: &str| DurationError::Unreadable(typed.into());
        for (typed, why) in [
            ("", unreadable("")),
            ("a while", unreadable("a while")),
            ("-1", unreadable("-1")),
            ("1:5", unreadable("1:5")),
            ("1:30:00", unreadable("1:30:00")),
            ("1.2.3", unreadable("1.2.3")),
            ("9999999999999999999999", unreadable("9999999999999999999999")),
            ("1 h x", unreadable("1 h x")),
            ("1:60", DurationError::Sixty(60)),
            ("0", DurationError::Nothing),
            ("0:00", DurationError::Nothing),
            ("25", DurationError::TooLong),
            ("1441 min", DurationError::TooLong),
        ] {
            assert_eq!(minutes(typed), Err(why), "{typed}");
        }
    }

    proptest! {
        #[test]
        fn what_is_spelled_is_read_back(stretch in 1_u32..=LONGEST) {
            prop_assert_eq!(minutes(&spelled(i64::from(stretch))), Ok(stretch));
        }

        #[test]
        fn nothing_that_is_typed_breaks_it(typed in "\\PC{0,24}") {
            let _ = minutes(&typed);
        }
    }
}
