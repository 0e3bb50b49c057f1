//! Price sheets, read as uploads are. What a partner would be asked about has to be answered in the outlet's
//! `sheets.toml`: a row that is left open is an error, never left out.

use intake::{Catalogue, Doubt, Grade, Hints, How, Learned, Row, RowPrice, Sheet, Why, detect, read};
use jiff::civil::Date;
use serde::Deserialize;
use trade::ids::GradeId;
use trade::mass::Mass;
use trade::money::{Currency, PriceUnit};

use super::scenario::{Moment, OutletEntry};
use super::{DemoError, Loader, files};
use crate::catalogue::GRADES;
use crate::store::files::{add_file, sha256};
use crate::store::new_id;
use crate::store::sheets::{NewQuote, NewSheet, add_sheet};
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
    /// Doubts about its rows that the partner has looked at and let stand.
    #[serde(default)]
    looked_at: Vec<Doubt>,
}

/// What a partner said a wording means.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WordingEntry {
    wording: String,
    /// The heading it stands under, where that matters.
    under: Option<String>,
    /// Left out where it is none of the shop's grades.
    grade: Option<GradeId>,
}

impl OutletEntry {
    /// The file that names its sheets.
    fn sheets_file(&self) -> String {
        format!("sheets/{}/sheets.toml", self.sheets)
    }

    fn file_of(&self, sheet: &SheetEntry) -> String {
        format!("sheets/{}/{}", self.sheets, sheet.file)
    }

    /// What the sheet says, as an upload of it would be read on `day`.
    fn quotes(
        &self,
        sheet: &SheetEntry,
        day: Date,
        catalogue: &Catalogue,
        learned: &Learned,
    ) -> Result<Vec<NewQuote>, DemoError> {
        let file = self.file_of(sheet);
        let bytes = files::bytes(&file)?;
        let hints = Hints { currency: self.currency, unit: Some(self.usual_unit), today: day };
        let read = detect(&sheet.file, bytes).and_then(|format| read(format, bytes, &hints));
        let read = read.map_err(|problem| DemoError::of(&file, problem))?;
        confirm(&read, &sheet.looked_at, catalogue, learned).map_err(|open| DemoError::of(&file, open))
    }
}

impl SheetsFile {
    fn learned(&self) -> Learned {
        Learned::new(self.wording.iter().map(|entry| (entry.key(), entry.grade.clone())))
    }
}

impl WordingEntry {
    fn key(&self) -> String {
        Learned::key(&self.wording, self.under.as_deref())
    }
}

/// The grades that a new shop starts with, ready to be compared with wordings.
fn catalogue() -> Catalogue {
    Catalogue::new(GRADES.iter().map(|grade| Grade {
        id: grade.slug.clone(),
        name: grade.details.name.clone(),
        family: grade.details.family.clone(),
    }))
}

impl Loader<'_> {
    pub(super) async fn sheets(&mut self) -> Result<(), DemoError> {
        let catalogue = catalogue();
        for entry in &self.scenario.outlets {
            self.sheets_of(entry, &catalogue).await?;
        }
        Ok(())
    }

    async fn sheets_of(&mut self, entry: &OutletEntry, catalogue: &Catalogue) -> Result<(), DemoError> {
        let name = entry.sheets_file();
        let of_outlet: SheetsFile = files::toml(&name)?;
        let outlet_id = self.outlet(&name, &entry.name)?.id.clone();
        let learned = of_outlet.learned();
        for (nth, sheet) in of_outlet.sheet.iter().enumerate() {
            let (valid_from, at) = (self.day(sheet.confirmed.ago), self.moment(&sheet.confirmed)?);
            let partner = self.partner(&sheet.confirmed)?;
            let quotes = entry.quotes(sheet, valid_from, catalogue, &learned)?;
            let bytes = files::bytes(&entry.file_of(sheet))?;
            let sha256 = sha256(bytes);
            add_file(&mut self.tx, &self.shop_id, &sha256, &sheet.file, bytes, at).await?;
            let new = NewSheet { id: new_id(), outlet_id: outlet_id.clone(), valid_from, sha256, quotes };
            add_sheet(&mut self.tx, &self.shop_id, &new, &partner, at).await?;
            // A partner answers when the first sheet comes in; later ones are not asked about again.
            for wording in of_outlet.wording.iter().filter(|_| nth == 0) {
                let (key, grade) = (wording.key(), wording.grade.as_ref());
                learn(&mut self.tx, &self.shop_id, &outlet_id, &key, grade, &partner, at).await?;
            }
        }
        Ok(())
    }
}

/// The sheet's quotes, if nothing about it is left open; else what is, line by line.
fn confirm(
    sheet: &Sheet,
    looked_at: &[Doubt],
    catalogue: &Catalogue,
    learned: &Learned,
) -> Result<Vec<NewQuote>, String> {
    let mut open: Vec<String> = sheet.problems.iter().map(ToString::to_string).collect();
    let lost = sheet.left_out.iter().filter(|l| matches!(l.why, Why::NoName | Why::TooLong | Why::TooLarge));
    open.extend(lost.map(|l| format!("{}: {}: {}", l.place, l.why, l.source)));
    let mut quotes = Vec::new();
    for row in &sheet.rows {
        match quote(row, looked_at, catalogue, learned) {
            Ok(quote) => quotes.push(quote),
            Err(why) => open.push(format!("{}: {}: {why}", row.place, row.source)),
        }
    }
    if open.is_empty() { Ok(quotes) } else { Err(open.join("\n  ")) }
}

fn quote(
    row: &Row,
    looked_at: &[Doubt],
    catalogue: &Catalogue,
    learned: &Learned,
) -> Result<NewQuote, String> {
    if let Some(doubt) = row.doubts.iter().find(|doubt| !looked_at.contains(doubt)) {
        return Err(doubt.to_string());
    }
    let proposal = catalogue.propose(learned, &row.wording, row.group.as_deref());
    if !proposal.is_sure() && proposal.why != How::LearnedIgnored {
        return Err(format!("no grade is sure for it (at best {:?})", proposal.grade));
    }
    let (currency, unit): (Option<Currency>, Option<PriceUnit>) = (row.currency, row.unit);
    Ok(NewQuote {
        wording: row.wording.clone(),
        grade_id: proposal.grade,
        price: match row.price {
            RowPrice::Priced { low, high } => Some((low, high)),
            RowPrice::OnRequest => None,
        },
        currency: currency.ok_or("it has no currency")?,
        unit: unit.ok_or("it has no unit")?,
        from: row.tier_from.unwrap_or(Mass::ZERO),
        source: row.source.clone(),
        place: row.place.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::super::scenario::Scenario;
    use super::*;

    /// Loading stops at the first open row; here all of them are told at once.
    #[test]
    fn every_row_of_every_sheet_is_resolved() {
        let catalogue = catalogue();
        let mut open = Vec::new();
        for outlet in Scenario::read().unwrap().outlets {
            let of_outlet: SheetsFile = files::toml(&outlet.sheets_file()).unwrap();
            assert!((3..=8).contains(&of_outlet.sheet.len()), "{}", outlet.name);
            for sheet in &of_outlet.sheet {
                match outlet.quotes(sheet, date(2026, 5, 11), &catalogue, &of_outlet.learned()) {
                    Ok(quotes) => {
                        for q in &quotes {
                            eprintln!(
                                "{} | {} -> {:?} {:?} {} {} from {}",
                                sheet.file,
                                q.wording,
                                q.grade_id.as_ref().map(|g| g.as_str()),
                                q.price,
                                q.currency.code(),
                                q.unit.code(),
                                q.from.grams()
                            );
                        }
                    }
                    Err(problem) => open.push(problem.to_string()),
                }
            }
        }
        assert!(open.is_empty(), "{}", open.join("\n"));
    }
}
