//! A draft on the desk: what was read, what was answered, and the review that follows from both and from what the shop
//! knows now.

use std::collections::{BTreeMap, BTreeSet};

use intake::{Learned, LeftOut, Sheet};
use serde::Serialize;
use serde::de::DeserializeOwned;
use trade::ids::GradeId;
use trade::quote::Quotes;

use crate::review::{Answers, Changes, Facts, Known, Line, Review, Standing};
use crate::store::drafts::SheetDraft;
use crate::store::grades::Grade;
use crate::store::outlets::Outlet;
use crate::store::{RowError, StoreError};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::page::Visitor;

/// A draft with all that its review is worked out from.
pub struct Desk {
    pub draft: SheetDraft,
    /// What the sheet pays that this one takes the place of.
    before: BTreeMap<GradeId, Quotes>,
    pub sheet: Sheet,
    pub answers: Answers,
    pub outlet: Outlet,
    pub grades: Vec<Grade>,
    pub review: Review,
}

impl Desk {
    /// `None` where the draft is no longer there.
    pub async fn open(app: &App, visitor: &Visitor, id: &str) -> Result<Option<Desk>, Failure> {
        let draft = match app.store.draft(&visitor.shop.id, id).await {
            Ok(draft) => draft,
            Err(StoreError::Missing) => return Ok(None),
            Err(other) => return Err(other.into()),
        };
        let sheet: Sheet = from_json("reading", &draft.reading)?;
        let answers: Answers = from_json("answers", &draft.answers)?;
        let shop = &visitor.shop.id;
        let mut desk = Desk {
            outlet: app.store.outlet(shop, draft.outlet_id.as_str()).await?,
            grades: app.store.grades(shop).await?,
            review: Review::default(),
            before: BTreeMap::new(),
            draft,
            sheet,
            answers,
        };
        desk.work_out(app, visitor).await?;
        Ok(Some(desk))
    }

    /// Works the review out from the answers as they are now.
    pub async fn work_out(&mut self, app: &App, visitor: &Visitor) -> Result<(), Failure> {
        let shop = &visitor.shop.id;
        let wordings = Learned::keys(&self.sheet);
        let learned = Learned::new(app.store.meanings_of(shop, &self.outlet.id, &wordings).await?);
        let in_use = self.grades.iter().filter(|grade| !grade.retired);
        let grades: BTreeSet<GradeId> = in_use.map(|grade| grade.id.clone()).collect();
        let catalogue = app.matchers.of(shop, &self.grades);
        let known = self.known(app, visitor).await?;
        let facts = Facts {
            catalogue: &catalogue,
            grades: &grades,
            learned: &learned,
            pays_in: self.outlet.details.currency,
            usual_unit: self.outlet.details.usual_unit,
            known: &known,
        };
        self.review = Review::new(&self.sheet, &self.answers, &facts);
        self.before = known.before;
        Ok(())
    }

    /// What the outlet and the others paid up to the sheet's day.
    async fn known(&self, app: &App, visitor: &Visitor) -> Result<Known, Failure> {
        let date = self.answers.valid_from;
        let mut current = app.store.current_quotes(&visitor.shop.id, date, None).await?;
        let before = current.remove(&self.outlet.id).map(|sheet| sheet.quotes).unwrap_or_default();
        let others = current.into_values().map(|sheet| sheet.quotes).collect();
        let rates = app.store.rate_book(&visitor.shop.id).await?;
        Ok(Known { before, others, rates, date })
    }

    /// Names of the grades that would have a price no longer. Lines that still ask for their grade may be any of them.
    pub fn no_longer(&self) -> Vec<String> {
        let still: BTreeSet<&GradeId> = self.review.lines.iter().filter_map(Line::grade).collect();
        let gone = |grade: &&Grade| self.before.contains_key(&grade.id) && !still.contains(&grade.id);
        self.grades.iter().filter(gone).map(|grade| grade.details.name.clone()).collect()
    }

    /// What the outlet would pay with the sheet saved as it stands.
    pub fn quotes(&self) -> BTreeMap<GradeId, Quotes> {
        self.review.quotes(self.outlet.details.currency, &self.before)
    }

    /// What that changes against what it pays now.
    pub fn changes(&self) -> Changes {
        Changes::between(&self.before, &self.quotes())
    }

    pub fn grade_name(&self, id: &GradeId) -> String {
        let grade = self.grades.iter().find(|grade| grade.id == *id);
        grade.map_or_else(|| id.to_string(), |grade| grade.details.name.clone())
    }

    /// The lines and left-out rows of a part.
    pub fn items(&self, part: Standing) -> Vec<Item> {
        let lines = self.review.in_standing(part).map(|line| Item::Line(line.id));
        let out = self.review.left_out.iter().cloned().map(Item::Out);
        lines.chain(out.filter(|_| part == Standing::LeftOut)).collect()
    }
}

/// Something in a part of the review.
pub enum Item {
    /// A line, by its id.
    Line(usize),
    /// A row without a price.
    Out(LeftOut),
}

pub fn to_json(value: &impl Serialize) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|cause| StoreError::Encode(cause.to_string()))
}

fn from_json<T: DeserializeOwned>(column: &'static str, json: &str) -> Result<T, StoreError> {
    serde_json::from_str(json).map_err(|cause| {
        StoreError::Row(RowError { table: "sheet_drafts", column, value: cause.to_string() })
    })
}
