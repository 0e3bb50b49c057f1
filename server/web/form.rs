//! Forms: what was typed, turned into types field by field, with a problem beside each field that could not be.
//!
//! A form that is sent with something wrong is shown again with everything still in it. A form that changes a thing
//! carries the version it was opened with; when somebody else changed the thing meanwhile, it is shown again with what
//! is stored now beside what was typed.

use std::collections::BTreeMap;

use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use axum::response::IntoResponse;
use axum_extra::extract::Form as Pairs;
use jiff::civil::Date;
use rust_decimal::{Decimal, dec};
use trade::mass::Mass;
use trade::money::{Currency, LARGEST_AMOUNT, Share};
use trade::reading::{self, Reading};

use super::failure::Failure;
use super::form_token;
use super::page::day;
use crate::store::{StoreError, is_id};

/// The values of a form by field name, and what is wrong with them.
#[derive(Debug, Clone, Default)]
pub struct Form {
    values: Vec<(String, String)>,
    problems: BTreeMap<String, String>,
    stored: BTreeMap<String, String>,
}

impl Form {
    /// A form as it opens.
    pub fn filled<'a>(values: impl IntoIterator<Item = (&'a str, String)>) -> Self {
        let values = values.into_iter().map(|(name, value)| (name.to_string(), value)).collect();
        Form { values, ..Form::default() }
    }

    /// What stands in a field, as typed.
    pub fn value(&self, name: &str) -> &str {
        self.values.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.as_str())
    }

    /// Every field with what stands in it.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        self.values.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// All values of a field that may come several times.
    pub fn values<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.values.iter().filter(move |(field, _)| field == name).map(|(_, value)| value.as_str())
    }

    /// All fields whose name starts with `prefix`, as (rest of the name, value).
    pub fn starting<'a>(&'a self, prefix: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.values.iter().filter_map(move |(name, value)| Some((name.strip_prefix(prefix)?, value.as_str())))
    }

    pub fn has(&self, name: &str) -> bool {
        self.values.iter().any(|(field, _)| field == name)
    }

    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        self.values.retain(|(field, _)| field != name);
        self.values.push((name.to_string(), value.into()));
    }

    pub fn problem(&self, name: &str) -> Option<&str> {
        self.problems.get(name).map(String::as_str)
    }

    /// Every problem, by its field.
    pub fn problems(&self) -> BTreeMap<String, String> {
        self.problems.clone()
    }

    /// What is stored now, where it differs from what was typed and somebody else stored it.
    pub fn stored(&self, name: &str) -> Option<&str> {
        self.stored.get(name).map(String::as_str)
    }

    /// The same of a field that chooses one of `options` (code, words), in words.
    pub fn stored_choice<'a>(&'a self, name: &str, options: &'a [(String, String)]) -> Option<&'a str> {
        let stored = self.stored(name)?;
        let chosen = options.iter().find(|(code, _)| code == stored);
        Some(chosen.map_or(stored, |(_, words)| words.as_str()))
    }

    pub fn refuse(&mut self, name: &str, problem: impl Into<String>) {
        self.problems.entry(name.to_string()).or_insert_with(|| problem.into());
    }

    /// Says beside the name that it is taken, where that is what the store refused; anything else is a failure of its own.
    pub fn refuse_taken_name(&mut self, error: StoreError, problem: &str) -> Result<(), Failure> {
        match error {
            StoreError::Duplicate => self.refuse("name", problem),
            other => return Err(other.into()),
        }
        Ok(())
    }

    pub fn is_good(&self) -> bool {
        self.problems.is_empty()
    }

    /// Whether somebody else changed the thing meanwhile.
    pub fn is_stale(&self) -> bool {
        !self.stored.is_empty()
    }

    /// Marks the form as overtaken: `now` is the form as it would open now. Fields that differ show both, and the
    /// version moves on, so that sending it once more is a choice made with both in view.
    pub fn overtaken_by(&mut self, now: &Form) {
        for (name, value) in &now.values {
            if name == "version" {
                continue;
            }
            if self.value(name) != value {
                self.stored
                    .insert(name.clone(), if value.is_empty() { "(empty)".into() } else { value.clone() });
            }
        }
        self.set("version", now.value("version").to_string());
        self.stored.entry("version".into()).or_default();
    }

    /// A text that must be there, of at most `longest` characters. Control characters become spaces.
    pub fn text(&mut self, name: &str, longest: usize) -> Option<String> {
        let text = self.optional_text(name, longest)?;
        if text.is_empty() {
            self.refuse(name, "This is needed.");
            return None;
        }
        Some(text)
    }

    /// A text of one line that may stay empty.
    pub fn optional_text(&mut self, name: &str, longest: usize) -> Option<String> {
        self.bounded_text(name, longest, |c| c.is_control())
    }

    /// A text that may stay empty and keeps its line ends.
    pub fn optional_lines(&mut self, name: &str, longest: usize) -> Option<String> {
        self.bounded_text(name, longest, |c| c.is_control() && c != '\n')
    }

    fn bounded_text(&mut self, name: &str, longest: usize, blank: impl Fn(char) -> bool) -> Option<String> {
        let clean: String = self.value(name).chars().map(|c| if blank(c) { ' ' } else { c }).collect();
        let text = clean.trim().to_string();
        let length = text.chars().count();
        if length > longest {
            self.refuse(name, format!("That is {length} characters long; {longest} is the most."));
            return None;
        }
        Some(text)
    }

    /// A text area with an entry a line: at most `most` of them, of at most `longest` characters each. Empty lines are
    /// left out, in the form too, so that what stands in it compares with what is stored.
    pub fn lines(&mut self, name: &str, most: usize, longest: usize) -> Option<Vec<String>> {
        let clean =
            |line: &str| line.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>();
        let lines: Vec<String> =
            self.value(name).lines().map(|line| clean(line).trim().to_string()).collect();
        let lines: Vec<String> = lines.into_iter().filter(|line| !line.is_empty()).collect();
        self.set(name, lines.join("\n"));
        if lines.len() > most {
            self.refuse(name, format!("Those are {} lines; {most} are the most.", lines.len()));
            return None;
        }
        if let Some(at) = lines.iter().position(|line| line.chars().count() > longest) {
            self.refuse(name, format!("Line {} is longer than {longest} characters.", at + 1));
            return None;
        }
        Some(lines)
    }

    /// A number with a point or a comma before its decimals, within `least..=most`.
    pub fn decimal(&mut self, name: &str, least: Decimal, most: Decimal) -> Option<Decimal> {
        let typed = self.value(name).trim().to_string();
        let Some(number) = decimal(&typed) else {
            let problem = if typed.is_empty() {
                "A number is needed.".into()
            } else {
                format!("“{typed}” is not a number.")
            };
            self.refuse(name, problem);
            return None;
        };
        if number < least || number > most {
            self.refuse(name, format!("It has to be between {least} and {most}."));
            return None;
        }
        Some(number)
    }

    /// An amount of money from zero up; empty is zero.
    pub fn amount(&mut self, name: &str) -> Option<Decimal> {
        if self.value(name).trim().is_empty() {
            return Some(Decimal::ZERO);
        }
        self.decimal(name, Decimal::ZERO, LARGEST_AMOUNT)
    }

    /// A share typed in percent; empty is zero.
    pub fn percent(&mut self, name: &str) -> Option<Share> {
        if self.value(name).trim().is_empty() {
            return Some(Share::ZERO);
        }
        let percent = self.decimal(name, Decimal::ZERO, dec!(100))?;
        Share::percent(percent).ok()
    }

    /// A whole number within `0..=most`; empty is zero.
    pub fn count(&mut self, name: &str, most: u32) -> Option<u32> {
        let typed = self.value(name).trim().to_string();
        if typed.is_empty() {
            return Some(0);
        }
        match typed.parse::<u32>() {
            Ok(count) if count <= most => Some(count),
            Ok(_) => {
                self.refuse(name, format!("{most} is the most."));
                None
            }
            Err(_) => {
                self.refuse(name, format!("“{typed}” is not a whole number."));
                None
            }
        }
    }

    /// A mass where there is nobody to ask: it has to name its unit. Empty is zero.
    pub fn mass(&mut self, name: &str) -> Option<Mass> {
        let typed = self.value(name).trim().to_string();
        if typed.is_empty() || typed == "0" {
            return Some(Mass::ZERO);
        }
        match reading::read(&typed) {
            Ok(Reading::Sure { meaning, .. }) => Some(meaning.mass),
            Ok(Reading::Ask { why, meanings }) => {
                let ways: Vec<_> = meanings.iter().map(|meaning| meaning.spelled.as_str()).collect();
                self.refuse(name, format!("{why} Type {}.", ways.join(" or ")));
                None
            }
            Err(reading::ReadingError::Zero) => Some(Mass::ZERO),
            Err(problem) => {
                self.refuse(name, problem.to_string());
                None
            }
        }
    }

    pub fn currency(&mut self, name: &str) -> Option<Currency> {
        let code = self.value(name).trim().to_uppercase();
        let currency = Currency::from_code(&code);
        if currency.is_none() {
            self.refuse(name, format!("“{code}” is not a currency code of ISO 4217, like USD or CAD."));
        }
        currency
    }

    /// A day within `first..=last`.
    pub fn date(&mut self, name: &str, first: Date, last: Date) -> Option<Date> {
        let typed = self.value(name).trim().to_string();
        let Ok(date) = typed.parse::<Date>() else {
            let problem = if typed.is_empty() {
                "A date is needed.".into()
            } else {
                format!("“{typed}” is not a date like 2026-05-12.")
            };
            self.refuse(name, problem);
            return None;
        };
        if date > last {
            self.refuse(name, format!("{} is still to come; {} is the last.", day(date), day(last)));
            return None;
        }
        if date < first {
            self.refuse(name, format!("That is too long ago; {} is the first.", day(first)));
            return None;
        }
        Some(date)
    }

    /// What `read` makes of the field, or its words for what is wrong.
    pub fn read<T>(&mut self, name: &str, read: impl Fn(&str) -> Result<T, String>) -> Option<T> {
        let typed = self.value(name);
        if typed.trim().is_empty() {
            self.refuse(name, "This is needed.");
            return None;
        }
        read(typed).map_err(|problem| self.refuse(name, problem)).ok()
    }

    /// One of a closed set, by its code.
    pub fn choice<T>(&mut self, name: &str, from_code: impl Fn(&str) -> Option<T>) -> Option<T> {
        let choice = from_code(self.value(name));
        if choice.is_none() {
            self.refuse(name, "Choose one.");
        }
        choice
    }

    /// The once-only id that the page put into the form.
    pub fn once(&self, name: &str) -> Result<String, Failure> {
        let id = self.value(name);
        if is_id(id) {
            return Ok(id.to_string());
        }
        Err(Failure::refused(
            StatusCode::BAD_REQUEST,
            "The form was cut short",
            "It came without its own number, so nothing was saved. Go back, reload the page and send it again.",
        ))
    }

    /// The version of the thing that the form was opened with.
    pub fn version(&self) -> i64 {
        self.value("version").parse().unwrap_or(0)
    }
}

/// Reads a number typed by a person: `1234.5`, `1234,5`, `1,234.5`, `-2`.
pub fn decimal(typed: &str) -> Option<Decimal> {
    let typed = typed.trim().replace('−', "-").replace([' ', '\u{a0}', '\''], "");
    if typed.is_empty() || typed.len() > 24 {
        return None;
    }
    let plain = match (typed.matches(',').count(), typed.contains('.')) {
        (0, _) => typed,
        (1, false) => typed.replace(',', "."),
        (_, true) if typed.rfind(',') < typed.find('.') => typed.replace(',', ""),
        _ => return None,
    };
    // The parser also takes `1e9` and `1_000`, which are slips where a person types.
    let is_plain = plain.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
    plain.parse().ok().filter(|_| is_plain)
}

impl<S: Send + Sync> FromRequest<S> for Form {
    type Rejection = Failure;

    async fn from_request(request: Request, state: &S) -> Result<Self, Failure> {
        let Pairs(values) =
            Pairs::<Vec<(String, String)>>::from_request(request, state).await.map_err(|rejection| {
                match rejection.into_response().status() {
                    StatusCode::PAYLOAD_TOO_LARGE => Failure::too_large(),
                    _ => Failure::cut_short(),
                }
            })?;
        // Browsers send line ends as CR LF. Postgres holds no text with a zero byte in it, and nobody types one.
        let clean =
            |(name, value): (String, String)| (name, value.replace("\r\n", "\n").replace('\0', "\u{fffd}"));
        let values = values.into_iter().filter(|(name, _)| name != form_token::FIELD).map(clean);
        Ok(Form { values: values.collect(), ..Form::default() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_in_either_habit() {
        for (typed, number) in [
            ("1.5", dec!(1.5)),
            ("1,5", dec!(1.5)),
            ("1,234.5", dec!(1234.5)),
            (" −2 ", dec!(-2)),
            ("1 000", dec!(1000)),
        ] {
            assert_eq!(decimal(typed), Some(number), "{typed}");
        }
        for typed in ["", "1.2.3", "1.234,5", "abc", "1e9", "1e9999", "1_000", &"9".repeat(40)] {
            assert_eq!(decimal(typed), None, "{typed}");
        }
    }

    #[test]
    fn an_overtaken_form_keeps_what_was_typed_and_shows_what_is_stored() {
        let mut typed =
            Form::filled([("name", "Mine".into()), ("note", "same".into()), ("version", "3".into())]);
        let now = Form::filled([("name", "Theirs".into()), ("note", "same".into()), ("version", "4".into())]);
        typed.overtaken_by(&now);
        assert_eq!((typed.value("name"), typed.stored("name")), ("Mine", Some("Theirs")));
        assert_eq!(typed.stored("note"), None);
        assert_eq!(typed.version(), 4);
        assert!(typed.is_stale());
    }
}
