//! Price sheets, read and reviewed as uploads are, one after the other in the order in which they came. What a partner
//! would be asked about has to be answered in the outlet's `sheets.toml`: a line that is left open is an error, never
//! left out.

use std::collections::{BTreeMap, BTreeSet};

use intake::{Catalogue, Grade, Hints, Learned, Sheet, Why, detect, read};
use jiff::civil::Date;
use serde::Deserialize;
use trade::exchange::RateBook;
use trade::ids::GradeId;

use super::outlets::OutletEntry;
use super::scenario::Moment;
use super::{DemoError, Loader, files};
use crate::catalogue::GRADES;
use crate::review::{Answers, Facts, GradeAnswer, Known, Line, LineAnswer, LineGrade, Review, Standing};
use crate::store::files::{add_file, sha256};
use crate::store::new_id;
use crate::store::outlets::Outlet;
use crate::store::quotes::quotes_in_force;
use crate::store::sheets::add_sheet;
use crate::store::wordings::learn;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SheetsFile {
    sheet: Vec<SheetEntry>,
    #[serde(default)]
    wording: Vec<WordingEntry>,
}

/// One sheet, and what was confirmed when it came in.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SheetEntry {
    file: String,
    /// The day that its prices hold from; it was confirmed on that day.
    confirmed: Moment,
    /// Wordings whose prices were asked about and are right.
    #[serde(default)]
    right: BTreeSet<String>,
}

/// What a partner said a wording means.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WordingEntry {
    wording: String,
    /// Left out where it is none of the shop's grades.
    grade: Option<GradeId>,
}

/// An outlet's sheets, and what has been learned of its wordings so far.
struct Reader {
    outlet: Outlet,
    folder: String,
    answers: BTreeMap<String, GradeAnswer>,
    learned: BTreeMap<String, Option<GradeId>>,
}

/// What is the same for all sheets.
struct Shop {
    catalogue: Catalogue,
    grades: BTreeSet<GradeId>,
    rates: RateBook,
}

impl Shop {
    /// With the grades that every new shop starts with.
    fn new(rates: RateBook) -> Shop {
        let catalogue = Catalogue::new(GRADES.iter().map(|grade| Grade {
            id: grade.slug.clone(),
            name: grade.details.name.clone(),
            family: grade.details.family.clone(),
        }));
        Shop { catalogue, grades: GRADES.iter().map(|grade| grade.slug.clone()).collect(), rates }
    }
}

impl Loader<'_> {
    pub(super) async fn sheets(&mut self) -> Result<(), DemoError> {
        let shop = Shop::new(self.rates());
        let mut sheets: Vec<(usize, SheetEntry)> = Vec::new();
        let mut readers: Vec<Reader> = Vec::new();
        for entry in &self.scenario.outlets {
            let file: SheetsFile = files::toml(&entry.sheets_file())?;
            readers.push(Reader {
                outlet: self.outlet(&entry.sheets_file(), &entry.name)?.clone(),
                folder: entry.sheets_folder(),
                answers: file.wording.into_iter().map(WordingEntry::answer).collect(),
                learned: BTreeMap::new(),
            });
            sheets.extend(file.sheet.into_iter().map(|sheet| (readers.len() - 1, sheet)));
        }
        sheets.sort_by_key(|(_, sheet)| (std::cmp::Reverse(sheet.confirmed.ago), sheet.confirmed.at));
        for (reader, sheet) in &sheets {
            self.sheet(&shop, &mut readers[*reader], sheet).await?;
        }
        Ok(())
    }

    async fn sheet(&mut self, shop: &Shop, reader: &mut Reader, entry: &SheetEntry) -> Result<(), DemoError> {
        let file = format!("{}/{}", reader.folder, entry.file);
        let bytes = files::bytes(&file)?;
        let (valid_from, by) = (self.day(entry.confirmed.ago), self.by(&entry.confirmed)?);
        let details = &reader.outlet.details;
        let hints = Hints { currency: details.currency, unit: Some(details.usual_unit), today: valid_from };
        let sheet = detect(&entry.file, bytes).and_then(|format| read(format, bytes, &hints));
        let sheet = sheet.map_err(|problem| DemoError::of(&file, problem))?;

        let known = self.known(shop, &reader.outlet, valid_from).await?;
        let mut answers = Answers::new(valid_from);
        reader.answer(&sheet, entry, &mut answers, shop, &known);
        let review = reader.review(&sheet, &answers, shop, &known);
        let open = open(&sheet, &review);
        if !open.is_empty() {
            return Err(DemoError::of(&file, open.join("\n  ")));
        }

        let sha256 = sha256(bytes);
        add_file(&mut self.tx, &by, &sha256, &entry.file, bytes).await?;
        let new = review.new_sheet(&new_id(), &reader.outlet.id, &sha256, &answers);
        add_sheet(&mut self.tx, &by, &new).await?;
        let learned = review.learned();
        learn(&mut self.tx, &by, &reader.outlet.id, &learned).await?;
        reader.learned.extend(learned);
        Ok(())
    }

    /// What the outlet and the others paid up to the sheet's day.
    async fn known(&mut self, shop: &Shop, outlet: &Outlet, date: Date) -> Result<Known, DemoError> {
        let mut current = quotes_in_force(&mut *self.tx, &self.shop_id, date, None).await?;
        let before = current.remove(&outlet.id).map(|sheet| sheet.quotes).unwrap_or_default();
        let others = current.into_values().map(|sheet| sheet.quotes).collect();
        Ok(Known { before, others, rates: shop.rates.clone(), date })
    }
}

impl Reader {
    fn review(&self, sheet: &Sheet, answers: &Answers, shop: &Shop, known: &Known) -> Review {
        let facts = Facts {
            catalogue: &shop.catalogue,
            grades: &shop.grades,
            learned: &Learned::new(self.learned.clone()),
            pays_in: self.outlet.details.currency,
            usual_unit: self.outlet.details.usual_unit,
            known,
        };
        Review::new(sheet, answers, &facts)
    }

    /// Answers what the review asks, as far as the file does: first which grades are meant, then whether the prices are
    /// right, which is only asked of lines with a grade.
    fn answer(&self, sheet: &Sheet, entry: &SheetEntry, answers: &mut Answers, shop: &Shop, known: &Known) {
        for line in self.review(sheet, answers, shop, known).lines {
            let asked = matches!(line.grade, LineGrade::Asked(_));
            let grade = self.answers.get(&line.wording).filter(|_| asked).cloned();
            let right = entry.right.contains(&line.wording);
            answers.lines.insert(line.id, LineAnswer { grade, right });
        }
    }
}

/// What is left open, line by line.
fn open(sheet: &Sheet, review: &Review) -> Vec<String> {
    let mut open: Vec<String> = sheet.problems.iter().map(ToString::to_string).collect();
    let lost = sheet.left_out.iter().filter(|l| matches!(l.why, Why::NoName | Why::TooLong | Why::TooLarge));
    open.extend(lost.map(|l| format!("{}: {}: {}", l.place, l.why, l.source)));
    open.extend(review.in_standing(Standing::ToConfirm).map(asks));
    open
}

fn asks(line: &Line) -> String {
    let place = line.prices.first().map_or("", |price| &price.place);
    let mut questions: Vec<String> =
        line.prices.iter().flat_map(|price| price.questions.iter().map(ToString::to_string)).collect();
    if let LineGrade::Asked(likely) = &line.grade {
        questions.insert(
            0,
            match likely {
                Some(grade) => format!("is it {grade}?"),
                None => "which grade is it?".to_string(),
            },
        );
    }
    format!("{place}: {}: {}", line.wording, questions.join(" "))
}

impl WordingEntry {
    fn answer(self) -> (String, GradeAnswer) {
        (self.wording, self.grade.map_or(GradeAnswer::NoneOfOurs, GradeAnswer::Is))
    }
}

impl OutletEntry {
    fn sheets_folder(&self) -> String {
        format!("sheets/{}", self.sheets)
    }

    /// The file that names its sheets.
    fn sheets_file(&self) -> String {
        format!("{}/sheets.toml", self.sheets_folder())
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use trade::money::{Currency, PriceUnit};

    use super::*;

    /// What is left open of pasted lines, with one wording answered in the file.
    fn left_open(text: &str) -> Vec<String> {
        let hints =
            Hints { currency: Currency::USD, unit: PriceUnit::from_code("lb"), today: date(2026, 5, 11) };
        let sheet = read(intake::Format::Text, text.as_bytes(), &hints).unwrap();
        let scenario = super::super::scenario::Scenario::read().unwrap();
        let shop = Shop::new(RateBook::default());
        let known = Known {
            before: BTreeMap::new(),
            others: Vec::new(),
            rates: RateBook::default(),
            date: hints.today,
        };
        let reader = Reader {
            outlet: Outlet {
                id: trade::ids::OutletId::new("yard"),
                details: scenario.outlets[0].details(&[]).unwrap(),
                closed_at: None,
                version: 1,
            },
            folder: String::new(),
            answers: BTreeMap::from([("Glimmer".to_string(), GradeAnswer::NoneOfOurs)]),
            learned: BTreeMap::new(),
        };
        let entry: SheetEntry =
            toml::from_str("file = 'x.txt'\nconfirmed = { ago = 1, at = '09:00', by = 'Imke' }").unwrap();
        let mut answers = Answers::new(hints.today);
        reader.answer(&sheet, &entry, &mut answers, &shop, &known);
        open(&sheet, &reader.review(&sheet, &answers, &shop, &known))
    }

    #[test]
    fn a_line_that_nobody_answered_for_is_told_and_not_left_out() {
        let none: [&str; 0] = [];
        assert_eq!(left_open("#2 copper $3.60/lb\nGlimmer $1.00/lb\n"), none);
        assert_eq!(
            left_open("#2 copper $3.60/lb\nMoon dust $1.00/lb\n"),
            ["line 2: Moon dust: which grade is it?"]
        );
    }
}
