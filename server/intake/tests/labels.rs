//! Labels as they are written by hand: `name | price [currency/unit] | grade | tier`, one a line.
//!
//! `default USD/lb` says what prices without a currency and unit are in, `valid 2026-11-03` the day of the sheet. A price
//! is `1.10`, `1.10..1.20` or `call`; a unit `?` may be any. A grade is a slug, `-` for none of the shop's, `?` for one
//! that people disagree on. A tier is `100-500 lb` or `500 lb`.

use std::path::Path;
use std::str::FromStr;

use jiff::civil::Date;
use rust_decimal::Decimal;
use trade::mass::{Mass, MassUnit};

#[derive(Debug)]
pub struct Labels {
    pub valid: Option<Date>,
    pub rows: Vec<Label>,
}

#[derive(Debug)]
pub struct Label {
    pub name: String,
    pub low: Option<Decimal>,
    pub high: Option<Decimal>,
    pub currency: Option<String>,
    pub unit: Option<String>,
    pub grade: Option<String>,
    pub any_grade: bool,
    pub from_grams: Option<Decimal>,
}

impl Labels {
    pub fn read(path: &Path) -> Labels {
        let text =
            std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let mut labels = Labels { valid: None, rows: Vec::new() };
        let mut usual = "";
        for line in text.lines().filter(|line| !line.trim().is_empty()) {
            if let Some(measure) = line.strip_prefix("default ") {
                usual = measure.trim();
            } else if let Some(date) = line.strip_prefix("valid ") {
                labels.valid = Some(date.trim().parse().unwrap());
            } else {
                labels.rows.push(Label::read(line, usual));
            }
        }
        labels
    }
}

impl Label {
    fn read(line: &str, usual: &str) -> Label {
        let parts: Vec<&str> = line.split(" | ").map(str::trim).collect();
        assert!(parts.len() >= 3, "no label: {line}");
        let (price, measure) = parts[1].split_once(' ').unwrap_or((parts[1], usual));
        let (currency, unit) = measure.split_once('/').unwrap();
        let (low, high) = match price.split_once("..") {
            Some((low, high)) => (Some(decimal(low)), Some(decimal(high))),
            None if price == "call" => (None, None),
            None => (Some(decimal(price)), None),
        };
        Label {
            name: parts[0].to_string(),
            low,
            high,
            currency: Some(currency.to_string()),
            unit: Some(unit.to_string()).filter(|unit| unit != "?"),
            grade: Some(parts[2].to_string()).filter(|grade| !matches!(grade.as_str(), "-" | "?")),
            any_grade: parts[2] == "?",
            from_grams: parts.get(3).map(|tier| from(tier)),
        }
    }
}

fn decimal(text: &str) -> Decimal {
    Decimal::from_str(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

fn from(tier: &str) -> Decimal {
    let (span, unit) = tier.split_once(' ').unwrap();
    let from = span.split('-').next().unwrap();
    Mass::of(decimal(from), MassUnit::from_word(unit).unwrap()).grams()
}
