//! How well whole sheets are read, counted against labels that were written by hand beside them.
//!
//! Of each form: rows found (recall) and rows that are none (precision), and of those found how often price, unit,
//! currency, tier and grade are right; a grade proposed with confidence that is wrong, and a price or unit wrong without
//! a doubt being raised, count as wrong without asking. `SCORES=1` prints every difference, and `SCORES_FOLDER` scores
//! another folder of labelled sheets: how well new ones are read shows only before anybody has looked at them.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::labels::{Label, Labels};
use intake::{Catalogue, Learned, Row, RowPrice, detect, normal_wording, read_alone};
use jiff::civil::date;
use rust_decimal::Decimal;

#[derive(Debug, Default, Clone)]
struct Score {
    labels: usize,
    rows: usize,
    found: usize,
    price: usize,
    sign: usize,
    unit: usize,
    currency: usize,
    tier: usize,
    /// Labels with a grade of the shop, those proposed right, and all proposals that are wrong.
    graded: usize,
    grade: usize,
    grade_wrong: usize,
    wrong_unasked: usize,
    dates: usize,
    date: usize,
}

impl Score {
    fn add(&mut self, other: &Score) {
        for (sum, more) in [
            (&mut self.labels, other.labels),
            (&mut self.rows, other.rows),
            (&mut self.found, other.found),
            (&mut self.price, other.price),
            (&mut self.sign, other.sign),
            (&mut self.unit, other.unit),
            (&mut self.currency, other.currency),
            (&mut self.tier, other.tier),
            (&mut self.graded, other.graded),
            (&mut self.grade, other.grade),
            (&mut self.grade_wrong, other.grade_wrong),
            (&mut self.wrong_unasked, other.wrong_unasked),
            (&mut self.dates, other.dates),
            (&mut self.date, other.date),
        ] {
            *sum += more;
        }
    }

    fn line(&self) -> String {
        let share = |part: usize, of: usize| if of == 0 { 1.0 } else { part as f64 / of as f64 };
        format!(
            "{:4} rows  recall {:.3}  precision {:.3}  price {:.3}  unit {:.3}  currency {:.3}  tier {:.3}  grade {:.3}  \
             grade wrong {:.3}  wrong unasked {:.3}  signs wrong {}  dates {}/{}",
            self.labels,
            share(self.found, self.labels),
            share(self.found, self.rows),
            share(self.price, self.found),
            share(self.unit, self.found),
            share(self.currency, self.found),
            share(self.tier, self.found),
            share(self.grade, self.graded),
            share(self.grade_wrong, self.found.max(1)),
            share(self.wrong_unasked, self.rows.max(1)),
            self.sign,
            self.date,
            self.dates,
        )
    }
}

/// Scores one sheet, and tells each difference.
fn score(path: &Path, catalogue: &Catalogue) -> (Score, Vec<String>) {
    let name = path.file_name().unwrap().to_str().unwrap();
    let labels = Labels::read(&path.with_file_name(format!("{name}.labels")));
    let bytes = std::fs::read(path).unwrap();
    let mut score =
        Score { labels: labels.rows.len(), dates: usize::from(labels.valid.is_some()), ..Score::default() };
    let mut told = Vec::new();
    let sheet = match detect(name, &bytes).and_then(|format| read_alone(format, &bytes, date(2026, 11, 26))) {
        Ok(sheet) => sheet,
        Err(unreadable) => return (score, vec![unreadable.to_string()]),
    };
    score.rows = sheet.rows.len();
    score.date = usize::from(labels.valid.is_some() && labels.valid == sheet.valid_from);
    if labels.valid.is_some() && labels.valid != sheet.valid_from {
        told.push(format!("date {:?} instead of {:?}", sheet.valid_from, labels.valid));
    }
    let mut free: Vec<&Row> = sheet.rows.iter().collect();
    for label in &labels.rows {
        // Of the rows with this name, the one that agrees best.
        let fits = |row: &&Row| {
            let (low, high) = amounts(row);
            (low == label.low, tier_fits(row, label), high == label.high)
        };
        let named = (0..free.len())
            .filter(|&at| is_named(free[at], label))
            .max_by_key(|&at| (fits(&free[at]), std::cmp::Reverse(at)));
        let Some(at) = named else {
            told.push(format!("missing: {} {:?}", label.name, label.low));
            continue;
        };
        let row = free.remove(at);
        compare(row, label, catalogue, &mut score, &mut told);
    }
    for row in free {
        score.wrong_unasked +=
            usize::from(row.doubts.iter().all(|doubt| !doubt.asks()) && proposed(row, catalogue).is_some());
        told.push(format!("too many: {} < {:?} {:?} ({})", row.wording, row.group, row.price, row.source));
    }
    (score, told)
}

fn compare(row: &Row, label: &Label, catalogue: &Catalogue, score: &mut Score, told: &mut Vec<String>) {
    let (low, high) = amounts(row);
    let price = low == label.low && high == label.high;
    let unit = label.unit.is_none()
        || row.unit.map(|unit| unit.code()) == label.unit.as_deref()
        || label.low.is_none();
    let currency =
        row.currency.map(|currency| currency.code().to_string()) == label.currency || label.low.is_none();
    let tier = tier_fits(row, label);
    score.found += 1;
    score.price += usize::from(price);
    score.unit += usize::from(unit);
    score.currency += usize::from(currency);
    score.tier += usize::from(tier);
    let signs =
        low.zip(label.low).is_some_and(|(read, meant)| (read < Decimal::ZERO) != (meant < Decimal::ZERO));
    score.sign += usize::from(signs);
    let grade = proposed(row, catalogue);
    let known = label.grade.as_deref();
    let right = grade.as_deref() == known;
    score.graded += usize::from(known.is_some());
    score.grade += usize::from(known.is_some() && right);
    let grade_wrong = !label.any_grade && grade.is_some() && !right;
    score.grade_wrong += usize::from(grade_wrong);
    let unasked = row.doubts.iter().all(|doubt| !doubt.asks()) && grade.is_some();
    score.wrong_unasked += usize::from(unasked && (grade_wrong || !price || !unit || !currency));
    if !(price && unit && currency && tier && (right || label.any_grade)) {
        let likely = catalogue.propose(&Learned::default(), &row.wording, row.group.as_deref());
        let mut what = String::new();
        if !price {
            what += &format!(" price {low:?}..{high:?} not {:?}..{:?}", label.low, label.high);
        }
        if !(unit && currency) {
            what +=
                &format!(" per {:?} not {:?}/{:?}", row.unit.map(|u| u.code()), label.currency, label.unit);
        }
        if !tier {
            what += &format!(" tier {:?} not {:?}", row.tier_from, label.from_grams);
        }
        if !right && !label.any_grade {
            let likely = likely.grade.map(|grade| (grade.as_str().to_string(), likely.score));
            what += &format!(" grade {grade:?} {likely:?} not {known:?}");
        }
        told.push(format!("{} < {:?}:{what} {:?}", row.wording, row.group, row.doubts));
    }
}

fn amounts(row: &Row) -> (Option<Decimal>, Option<Decimal>) {
    match row.price {
        RowPrice::OnRequest => (None, None),
        RowPrice::Priced { low, high } => (Some(low), high),
    }
}

fn tier_fits(row: &Row, label: &Label) -> bool {
    let from = row.tier_from.map(|mass| mass.grams()).filter(|from| !from.is_zero());
    let meant = label.from_grams.filter(|from| !from.is_zero());
    from.zip(meant).map_or(from == meant, |(a, b)| (a - b).abs() <= Decimal::ONE)
}

fn proposed(row: &Row, catalogue: &Catalogue) -> Option<String> {
    let proposal = catalogue.propose(&Learned::default(), &row.wording, row.group.as_deref());
    let sure = proposal.is_sure();
    proposal.grade.filter(|_| sure).map(|grade| grade.as_str().to_string())
}

/// Whether the row's name is the label's: the same words, or nearly, with or without its heading.
fn is_named(row: &Row, label: &Label) -> bool {
    let meant = normal_wording(&label.name);
    let own = normal_wording(&row.wording);
    let whole = row.group.as_ref().map(|group| normal_wording(&format!("{group} {}", row.wording)));
    own == meant || whole.as_ref() == Some(&meant) || alike(&own, &meant)
}

/// At least six in ten of all words are in both.
fn alike(one: &str, other: &str) -> bool {
    let (a, b): (Vec<&str>, Vec<&str>) = (one.split(' ').collect(), other.split(' ').collect());
    let both = a.iter().filter(|word| b.contains(word)).count();
    both * 10 >= (a.len() + b.len() - both) * 6
}

fn form(path: &Path) -> &'static str {
    match path.extension().and_then(|end| end.to_str()) {
        Some("csv" | "tsv") => "csv",
        Some("xlsx" | "xls" | "ods") => "workbook",
        Some("html") => "html",
        Some("pdf") => "pdf",
        _ => "text",
    }
}

fn all(folder: &Path) -> BTreeMap<&'static str, Score> {
    let catalogue = Catalogue::new(super::seed::grades());
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.retain(|path| path.extension().is_none_or(|end| end != "labels"));
    paths.sort();
    let tell = std::env::var_os("SCORES").is_some();
    let mut scores: BTreeMap<&'static str, Score> = BTreeMap::new();
    for path in &paths {
        let (one, told) = score(path, &catalogue);
        if tell && !told.is_empty() {
            println!("{}\n    {}", path.file_name().unwrap().display(), told.join("\n    "));
        }
        for form in [form(path), "all"] {
            scores.entry(form).or_default().add(&one);
        }
    }
    for (form, score) in &scores {
        println!("{form:8} {}", score.line());
    }
    scores
}

/// What every form must reach on sheets that the reader was made on; the floors for sheets that it was not are lower.
#[test]
fn labelled_sheets() {
    if let Some(folder) = std::env::var_os("SCORES_FOLDER") {
        all(Path::new(&folder));
        return;
    }
    let scores = all(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/data/sheets/labelled"));
    for (form, score) in scores {
        let least = |part: usize, of: usize, share: f64| part as f64 >= of as f64 * share;
        assert!(score.labels >= 100, "only {} labels of {form}", score.labels);
        assert!(least(score.found, score.labels, 0.99), "{form}: recall");
        assert!(least(score.found, score.rows, 0.99), "{form}: precision");
        assert!(least(score.price, score.found, 0.995), "{form}: prices");
        assert!(
            least(score.unit, score.found, 0.995) && least(score.currency, score.found, 0.995),
            "{form}: units"
        );
        assert!(least(score.tier, score.found, 0.99), "{form}: tiers");
        assert!(least(score.grade, score.graded, 0.96), "{form}: grades");
        assert_eq!((score.grade_wrong, score.sign), (0, 0), "{form}: wrong grades and wrong signs");
        assert!(least(score.rows - score.wrong_unasked, score.rows, 0.995), "{form}: wrong without asking");
    }
}
