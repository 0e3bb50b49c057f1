//! One line of a sheet under review: how it is shown, and the fields that put it right.

use std::collections::BTreeSet;

use intake::{Doubt, How, Sheet};
use rust_decimal::Decimal;
use trade::ids::GradeId;
use trade::mass::MassUnit;
use trade::money::{LARGEST_AMOUNT, PriceUnit};

use crate::review::{
    Answers, GradeAnswer, Line, LineGrade, LinePrice, PriceAnswer, Question, Remark, Review, Slip,
};
use crate::store::grades::Grade;
use crate::web::form::Form;
use crate::web::page::Visitor;

/// Codes of a grade field besides the slugs, which never begin with a dash.
const NONE_OF_OURS: &str = "-none";
const NOT_THIS_TIME: &str = "-later";

/// Grades in use by family, for a grade field.
pub struct Families(Vec<(String, Vec<(GradeId, String)>)>);

impl Families {
    pub fn of(grades: &[Grade]) -> Families {
        let mut families: Vec<(String, Vec<(GradeId, String)>)> = Vec::new();
        for grade in grades.iter().filter(|grade| !grade.retired) {
            let entry = (grade.id.clone(), grade.details.name.clone());
            match families.last_mut().filter(|(family, _)| *family == grade.details.family) {
                Some((_, of_family)) => of_family.push(entry),
                None => families.push((grade.details.family.clone(), vec![entry])),
            }
        }
        Families(families)
    }

    pub fn iter(&self) -> impl Iterator<Item = &(String, Vec<(GradeId, String)>)> {
        self.0.iter()
    }

    fn name(&self, grade: &GradeId) -> String {
        let all = self.0.iter().flat_map(|(_, grades)| grades);
        all.into_iter()
            .find(|(id, _)| id == grade)
            .map_or_else(|| grade.to_string(), |(_, name)| name.clone())
    }
}

/// A line as its page shows it.
pub struct LineView {
    pub id: usize,
    pub wording: String,
    pub group: Option<String>,
    pub grade: Option<String>,
    /// How the grade was found.
    pub how: &'static str,
    /// The likely grade of a line that is asked about, with its code.
    pub likely: Option<(GradeId, String)>,
    pub prices: Vec<PriceView>,
    pub asks_for_grade: bool,
    pub asks_about_prices: bool,
    /// There is something to tick as right.
    pub has_questions: bool,
    /// The fields of its grade and prices are shown at once, because one of them has something to say.
    pub is_open: bool,
    pub grade_field: String,
    pub right_field: String,
}

/// A price of a line as its page shows it.
pub struct PriceView {
    pub source: String,
    pub place: String,
    pub price: String,
    pub from: Option<String>,
    pub note: Option<String>,
    pub is_charge: bool,
    pub questions: Vec<QuestionView>,
    pub remarks: Vec<Remark>,
    pub low_field: String,
    pub high_field: String,
    pub unit_field: String,
    pub currency_field: String,
}

pub struct QuestionView {
    pub words: String,
    /// The button that takes its likely reason for true: code and words.
    pub put_right: Option<(String, String)>,
}

impl LineView {
    pub fn of(line: &Line, families: &Families, visitor: &Visitor, form: &Form) -> LineView {
        let prices: Vec<PriceView> = line.prices.iter().map(|price| PriceView::of(price, visitor)).collect();
        let grade_field = grade_field(line.id);
        let has_word = |field: &String| form.problem(field).or(form.stored(field)).is_some();
        let is_open = prices.iter().flat_map(PriceView::fields).chain([&grade_field]).any(has_word);
        let likely = match &line.grade {
            LineGrade::Asked(Some(grade)) => Some((grade.clone(), families.name(grade))),
            _ => None,
        };
        LineView {
            id: line.id,
            wording: line.wording.clone(),
            group: line.group.clone(),
            grade: line.grade().map(|grade| families.name(grade)),
            how: how(&line.grade),
            likely,
            is_open,
            prices,
            asks_for_grade: matches!(line.grade, LineGrade::Asked(_)),
            asks_about_prices: line.grade().is_some() && line.asks_about_prices(),
            has_questions: line.prices.iter().any(|price| !price.questions.is_empty()),
            grade_field,
            right_field: right_field(line.id),
        }
    }
}

impl PriceView {
    fn of(price: &LinePrice, visitor: &Visitor) -> PriceView {
        let words = match (price.price(), price.high()) {
            (Some(low), Some(high)) => format!("{low} to {high}"),
            (Some(low), None) => low.to_string(),
            (None, _) => "on request".to_string(),
        };
        PriceView {
            source: price.source.clone(),
            place: price.place.clone(),
            price: words,
            from: visitor.tier(price.from),
            note: price.note.clone(),
            is_charge: price.amounts.is_some_and(|(low, _)| low < Decimal::ZERO),
            questions: price.questions.iter().map(|question| QuestionView::of(question, price.row)).collect(),
            remarks: price.remarks.clone(),
            low_field: price_field("low", price.row),
            high_field: price_field("high", price.row),
            unit_field: price_field("unit", price.row),
            currency_field: price_field("currency", price.row),
        }
    }
}

impl PriceView {
    fn fields(&self) -> [&String; 4] {
        [&self.low_field, &self.high_field, &self.unit_field, &self.currency_field]
    }
}

impl QuestionView {
    fn of(question: &Question, row: usize) -> QuestionView {
        let likely = match question {
            Question::Flag(flag) => flag.likely(),
            Question::Doubt(_) | Question::PaysIn(_) => None,
        };
        let put_right = likely.map(|slip| {
            let (code, words) = match slip {
                Slip::Unit(unit) => (unit.code(), format!("Take it per {unit}")),
                Slip::Cents => (CENTS, "Take it as cents".to_string()),
                Slip::NotCents => (NOT_CENTS, "Take it a hundredfold".to_string()),
            };
            (format!("put-right:{row}:{code}"), words)
        });
        QuestionView { words: question.to_string(), put_right }
    }
}

const CENTS: &str = "cents";
const NOT_CENTS: &str = "not-cents";

pub fn slip_from(code: &str) -> Option<Slip> {
    match code {
        CENTS => Some(Slip::Cents),
        NOT_CENTS => Some(Slip::NotCents),
        unit => MassUnit::from_code(unit).map(Slip::Unit),
    }
}

fn how(grade: &LineGrade) -> &'static str {
    match grade {
        LineGrade::Chosen(_) => "chosen in this review",
        LineGrade::Proposed(_, How::Learned) => "as this outlet meant it before",
        LineGrade::Proposed(_, How::Exact) => "by its exact name",
        LineGrade::Proposed(_, How::CodeWord) => "by the trade circular's code word",
        LineGrade::Proposed(_, How::Scored | How::LearnedIgnored) => "by the closest name",
        LineGrade::Asked(_) => "not known",
        LineGrade::NoneOfOurs { before: true } => "none of ours, as said before",
        LineGrade::NoneOfOurs { before: false } => "none of ours",
        LineGrade::NotThisTime => "left out this time",
    }
}

/// Prices for which the sheet names no unit.
pub fn without_unit(sheet: &Sheet) -> usize {
    let names_none = |doubt: &Doubt| matches!(doubt, Doubt::UnitAssumed | Doubt::UnitMissing);
    sheet.rows.iter().filter(|row| row.doubts.iter().any(names_none)).count()
}

/// Units that prices are quoted per, the usual ones first.
pub fn unit_options() -> Vec<(String, String)> {
    use MassUnit::*;
    let masses = [
        Pound,
        Kilogram,
        Hundredweight,
        HundredKilograms,
        ShortTon,
        Tonne,
        GrossTon,
        Ounce,
        TroyOunce,
        Gram,
        Pennyweight,
        Grain,
    ];
    let units = masses.into_iter().map(PriceUnit::Mass).chain([PriceUnit::Each]);
    units.map(|unit| (unit.code().to_string(), unit.label().to_string())).collect()
}

fn grade_field(line: usize) -> String {
    format!("grade-{line}")
}

fn right_field(line: usize) -> String {
    format!("right-{line}")
}

fn price_field(part: &str, row: usize) -> String {
    format!("{part}-{row}")
}

fn grade_code(grade: &LineGrade) -> &str {
    match grade {
        LineGrade::Chosen(grade) | LineGrade::Proposed(grade, _) => grade.as_str(),
        LineGrade::Asked(_) => "",
        LineGrade::NoneOfOurs { .. } => NONE_OF_OURS,
        LineGrade::NotThisTime => NOT_THIS_TIME,
    }
}

fn amount_text(amount: Option<Decimal>) -> String {
    amount.map(|amount| amount.normalize().to_string()).unwrap_or_default()
}

/// Fills in the fields of these lines as the review has them.
pub fn fill(form: &mut Form, review: &Review, lines: &[usize]) {
    for line in review.lines.iter().filter(|line| lines.contains(&line.id)) {
        form.set(&grade_field(line.id), grade_code(&line.grade));
        if line.right {
            form.set(&right_field(line.id), "yes");
        }
        for price in &line.prices {
            let (low, high) = (price.amounts.map(|(low, _)| low), price.amounts.and_then(|(_, high)| high));
            form.set(&price_field("low", price.row), amount_text(low));
            form.set(&price_field("high", price.row), amount_text(high));
            form.set(&price_field("unit", price.row), price.unit.code());
            form.set(&price_field("currency", price.row), price.currency.code());
        }
    }
}

/// Takes into `answers` what was changed in the fields of these lines; what was left as it was shown is no answer.
pub fn take_lines(
    form: &mut Form,
    review: &Review,
    lines: &[usize],
    grades_in_use: &BTreeSet<&str>,
    answers: &mut Answers,
) {
    for line in review.lines.iter().filter(|line| lines.contains(&line.id)) {
        take_grade(form, line, grades_in_use, answers);
        if line.right || line.prices.iter().any(|price| !price.questions.is_empty()) {
            let right = form.value(&right_field(line.id)) == "yes";
            if right != line.right {
                answers.lines.entry(line.id).or_default().right = right;
            }
        }
        for price in &line.prices {
            if let Some(answer) = take_price(form, price)
                && answer != price.answer()
            {
                answers.prices.insert(price.row, answer);
            }
        }
    }
}

fn take_grade(form: &mut Form, line: &Line, in_use: &BTreeSet<&str>, answers: &mut Answers) {
    let field = grade_field(line.id);
    let code = form.value(&field).to_string();
    if !form.has(&field) || code == grade_code(&line.grade) {
        return;
    }
    let answer = match code.as_str() {
        "" => None,
        NONE_OF_OURS => Some(GradeAnswer::NoneOfOurs),
        NOT_THIS_TIME => Some(GradeAnswer::NotThisTime),
        slug if in_use.contains(slug) => Some(GradeAnswer::Is(GradeId::from(slug))),
        _ => {
            form.refuse(&field, "That grade has been retired meanwhile. Choose another.");
            return;
        }
    };
    answers.lines.entry(line.id).or_default().grade = answer;
}

/// The price in the fields; `None` where they did not come, or with a problem beside the one that cannot be read.
fn take_price(form: &mut Form, price: &LinePrice) -> Option<PriceAnswer> {
    let [low_field, high_field, unit_field, currency_field] =
        ["low", "high", "unit", "currency"].map(|part| price_field(part, price.row));
    if !form.has(&low_field) {
        return None;
    }
    let mut amount = |field: &str| match form.value(field).trim() {
        "" => Some(None),
        _ => form.decimal(field, -LARGEST_AMOUNT, LARGEST_AMOUNT).map(Some),
    };
    let (low, high) = (amount(&low_field), amount(&high_field));
    let unit = form.choice(&unit_field, PriceUnit::from_code);
    let currency = form.currency(&currency_field);
    let (low, high, unit, currency) = (low?, high?, unit?, currency?);
    let amounts = match (low, high) {
        (Some(low), Some(high)) if high < low => {
            form.refuse(&high_field, "The upper end of a range cannot be below its lower end.");
            return None;
        }
        (Some(low), high) => Some((low, high.filter(|high| *high != low))),
        (None, Some(_)) => {
            form.refuse(&low_field, "The lower end of the range is missing.");
            return None;
        }
        (None, None) => None,
    };
    Some(PriceAnswer { amounts, unit, currency })
}
