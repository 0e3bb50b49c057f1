//! What is asked, what is remembered and what is stored.

use super::*;
use intake::{Format, Grade, Hints};
use jiff::civil::{Date, date};
use rust_decimal::dec;
use trade::exchange::RateBook;
use trade::mass::MassUnit;
use trade::quote::{Quote, Quotes};

const TODAY: Date = date(2026, 5, 12);
const POUND: PriceUnit = PriceUnit::Mass(MassUnit::Pound);

fn grades() -> Vec<Grade> {
    let grade = |id: &str, name: &str, family: &str| Grade {
        id: GradeId::from(id),
        name: name.into(),
        family: family.into(),
    };
    vec![
        grade("copper-1", "No. 1 copper", "copper"),
        grade("copper-2", "No. 2 copper", "copper"),
        grade("brass-yellow", "Yellow brass", "brass"),
    ]
}

fn paid(amount: Decimal) -> BTreeMap<GradeId, Quotes> {
    let quotes = Quotes::new([Quote::flat(Price::new(amount, Currency::USD, POUND))]);
    quotes.map(|quotes| (GradeId::from("copper-2"), quotes)).into_iter().collect()
}

/// Reads pasted lines and reviews them, against a last sheet that paid 3.60 for No. 2 copper.
fn review(text: &str, answers: &Answers, learned: &Learned) -> Review {
    let hints = Hints { currency: Currency::USD, unit: Some(POUND), today: TODAY };
    let sheet = intake::read(Format::Text, text.as_bytes(), &hints).unwrap();
    let (catalogue, grades) = (Catalogue::new(grades()), grades().into_iter().map(|g| g.id).collect());
    let known = Known { before: paid(dec!(3.60)), others: vec![], rates: RateBook::default(), date: TODAY };
    let facts = Facts {
        catalogue: &catalogue,
        grades: &grades,
        learned,
        pays_in: Currency::USD,
        usual_unit: POUND,
        known: &known,
    };
    Review::new(&sheet, answers, &facts)
}

fn standings(review: &Review) -> Vec<Standing> {
    review.lines.iter().map(Line::standing).collect()
}

fn answered(line: usize, grade: GradeAnswer) -> Answers {
    let mut answers = Answers::new(TODAY);
    answers.lines.insert(line, LineAnswer { grade: Some(grade), right: false });
    answers
}

#[test]
fn each_line_stands_where_its_grade_and_prices_put_it() {
    let text = "No. 2 copper 3.55/lb\nNo. 2 copper 8.00/lb\nMoon rock 1.00/lb\nYellow brass 2.20/lb\n";
    let read = review(text, &Answers::new(TODAY), &Learned::default());
    // The two prices of one wording make one line; the second moved by more than a quarter.
    assert_eq!(standings(&read), [Standing::ToConfirm, Standing::ToConfirm, Standing::Matched]);
    assert_eq!(read.lines[0].prices[0].questions, []);
    assert_eq!(read.lines[0].prices[1].questions.len(), 1);

    let mut answers = answered(2, GradeAnswer::NoneOfOurs);
    answers.lines.insert(0, LineAnswer { grade: None, right: true });
    let read = review(text, &answers, &Learned::default());
    assert_eq!(standings(&read), [Standing::Matched, Standing::LeftOut, Standing::Matched]);
}

#[test]
fn a_retired_grade_is_asked_for_anew() {
    let answers = answered(0, GradeAnswer::Is(GradeId::from("copper-light")));
    let read = review("Moon rock 1.00/lb\n", &answers, &Learned::default());
    assert_eq!(standings(&read), [Standing::ToConfirm]);
}

#[test]
fn what_is_confirmed_is_learned_once_and_what_is_put_off_is_not() {
    let text = "Moon rock 1.00/lb\nRed dust 2.00/lb\nOld pots 3.00/lb\nNo. 2 copper 3.60/lb\n";
    let mut answers = answered(0, GradeAnswer::Is(GradeId::from("brass-yellow")));
    for (line, grade) in [(1, GradeAnswer::NoneOfOurs), (2, GradeAnswer::NotThisTime)] {
        answers.lines.insert(line, LineAnswer { grade: Some(grade), right: false });
    }
    let read = review(text, &answers, &Learned::default());
    let grade = |slug: &str| Some(GradeId::from(slug));
    let expect =
        [("Moon rock", grade("brass-yellow")), ("No. 2 copper", grade("copper-2")), ("Red dust", None)];
    let mut expect = expect.map(|(wording, grade)| (Learned::key(wording, None), grade));
    expect.sort();
    assert_eq!(read.learned(), expect);

    let known = Learned::new(read.learned());
    let again = review(text, &Answers::new(TODAY), &known);
    assert_eq!(again.learned(), [], "it is known already");
    let (matched, open, out) = (Standing::Matched, Standing::ToConfirm, Standing::LeftOut);
    assert_eq!(standings(&again), [matched, out, open, matched]);
}

#[test]
fn two_lines_for_one_grade_say_that_the_lower_price_counts() {
    let answers = answered(1, GradeAnswer::Is(GradeId::from("copper-2")));
    let text = "No. 2 copper 3.60/lb\nPlumbers' pipe 3.40/lb\nYellow brass 2.20/lb\n";
    let read = review(text, &answers, &Learned::default());
    let twice: Vec<bool> =
        read.lines.iter().map(|line| line.prices[0].remarks.contains(&Remark::Twice)).collect();
    assert_eq!(twice, [true, true, false]);
}

#[test]
fn the_sheet_is_stored_in_its_order_with_every_line() {
    let text = "No. 2 copper 3.60/lb\nMoon rock 1.00/lb\nNo. 2 copper 3.50/lb\n";
    let mut answers = Answers::new(TODAY);
    answers.rest_left_out = true;
    let put_right = PriceAnswer { amounts: Some((dec!(3.45), None)), unit: POUND, currency: Currency::USD };
    answers.prices.insert(2, put_right);
    let sheet =
        review(text, &answers, &Learned::default()).new_sheet("s", &OutletId::from("o"), "hash", &answers);
    let stored: Vec<_> = sheet
        .quotes
        .iter()
        .map(|quote| (quote.place.as_str(), quote.grade_id.as_ref().map(GradeId::as_str), quote.price))
        .collect();
    assert_eq!(
        stored,
        [
            ("line 1", Some("copper-2"), Some((dec!(3.60), None))),
            ("line 2", None, Some((dec!(1.00), None))),
            ("line 3", Some("copper-2"), Some((dec!(3.45), None))),
        ]
    );
}

#[test]
fn a_wording_that_comes_without_end_makes_lines_that_fit_a_page() {
    let text = "No. 2 copper 3.60/lb\n".repeat(100);
    let read = review(&text, &Answers::new(TODAY), &Learned::default());
    assert!(read.lines.iter().all(|line| line.prices.len() <= MOST_PRICES));
    assert_eq!(read.lines.iter().map(|line| line.prices.len()).sum::<usize>(), 100);
}
