//! Kinds beside each other: which is worth more, and what decides it.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use rust_decimal::Decimal;
use trade::ids::{GradeId, KindId};
use trade::teardown::{Beyond, Comparison, Decides, Depth, LearnedKind, Side, compare as compared};

use super::{Bench, asked, labour_rate, minutes};
use crate::catalogue::kinds::{CatalogueKind, KINDS, grades_of, kind as kind_of};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html};

/// As many beside each other as a laptop shows.
const MOST: usize = 4;

/// One side as it is shown.
struct ShownSide {
    kind: &'static CatalogueKind,
    is_best: bool,
    whole: Decimal,
    opened: Option<Decimal>,
    value: Decimal,
    pays: bool,
    minutes: String,
    per_unit: Option<Decimal>,
    per_hour: Option<Decimal>,
    beyond: Vec<ShownBeyond>,
}

struct ShownBeyond {
    grade: String,
    mass: String,
    amount: Decimal,
}

#[derive(Template)]
#[template(path = "bench/compare.html")]
struct ComparePage {
    page: Page,
    visitor: Visitor,
    form: Form,
    options: Vec<(String, String)>,
    /// What is chosen in each of the fields.
    chosen: Vec<String>,
    sides: Vec<ShownSide>,
    common: Vec<ShownBeyond>,
    says: String,
    /// Names of grades that nobody prices.
    unpriced: Vec<String>,
}

impl ComparePage {
    fn home(&self) -> &'static str {
        self.visitor.home().code()
    }
}

pub async fn compare(
    State(app): State<App>,
    visitor: Visitor,
    Query(values): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let mut form = asked(values);
    let rate = labour_rate(&mut form, &visitor);
    let mut kinds: Vec<&'static CatalogueKind> = Vec::new();
    for kind in form.values("kind").filter_map(|id| kind_of(&KindId::new(id))) {
        if kinds.iter().all(|known| known.id != kind.id) && kinds.len() < MOST {
            kinds.push(kind);
        }
    }
    let bench = Bench::load(&app, &visitor).await?;
    let learned: Vec<LearnedKind> = kinds.iter().map(|kind| bench.learned(kind)).collect();
    let depths: Vec<Depth> = learned.iter().map(|learned| bench.depth(&learned.tree, rate)).collect();
    let sides: Vec<Side<'_>> = kinds
        .iter()
        .zip(&learned)
        .zip(&depths)
        .map(|((kind, learned), depth)| Side { kind: &kind.id, tree: &learned.tree, depth })
        .collect();
    let comparison = compared(&sides, &bench.nets);
    // What is left on as waste is of no grade.
    let shown_beyond = |beyond: &Beyond| {
        bench.shelf.grades.contains_key(&beyond.grade).then(|| ShownBeyond {
            grade: bench.grade_name(&beyond.grade),
            mass: visitor.mass(beyond.mass),
            amount: beyond.amount,
        })
    };
    let order: Vec<usize> =
        comparison.as_ref().map_or_else(|| (0..kinds.len()).collect(), |comparison| comparison.order.clone());
    let shown = order.iter().enumerate().map(|(nth, &at)| ShownSide {
        kind: kinds[at],
        is_best: nth == 0 && comparison.as_ref().is_some_and(|comparison| !comparison.lead.is_zero()),
        whole: depths[at].whole,
        opened: depths[at].opened,
        value: depths[at].value(),
        pays: depths[at].pays_to_open(),
        minutes: minutes(depths[at].minutes()),
        per_unit: sides[at].per_gram().map(|net| net * visitor.style().unit().grams()),
        per_hour: depths[at].per_hour(),
        beyond: comparison.as_ref().map_or_else(Vec::new, |comparison| {
            comparison.beyond[at].iter().filter_map(shown_beyond).collect()
        }),
    });
    let says =
        comparison.as_ref().map_or_else(String::new, |found| in_words(found, &kinds, &bench, &visitor));
    let unpriced: BTreeSet<&GradeId> = learned
        .iter()
        .zip(&depths)
        .flat_map(|(learned, depth)| {
            grades_of(&learned.tree).into_iter().filter(|grade| depth.unpriced.contains(*grade))
        })
        .collect();
    let unpriced = unpriced.into_iter().map(|grade| bench.grade_name(grade)).collect();
    let mut options = vec![(String::new(), "Choose a kind".to_string())];
    options.extend(KINDS.iter().map(|kind| (kind.id.to_string(), kind.name.clone())));
    let mut chosen: Vec<String> = kinds.iter().map(|kind| kind.id.to_string()).collect();
    chosen.resize((kinds.len() + 1).clamp(2, MOST), String::new());
    let page = visitor.page(Screen::Bench, "Compare kinds");
    html(&ComparePage {
        page,
        form,
        options,
        chosen,
        sides: shown.collect(),
        common: comparison
            .as_ref()
            .map_or_else(Vec::new, |found| found.common.iter().filter_map(shown_beyond).collect()),
        says,
        unpriced,
        visitor,
    })
}

/// One sentence on what decides between the best two.
fn in_words(found: &Comparison, kinds: &[&CatalogueKind], bench: &Bench, visitor: &Visitor) -> String {
    let [first, second, ..] = found.order.as_slice() else { return String::new() };
    let (better, worse) = (&kinds[*first].name, &kinds[*second].name);
    let lead = visitor.money(found.lead);
    let why = match &found.decides {
        Decides::Nothing => return format!("{better} and {worse} leave the same, at their best."),
        Decides::Minutes { minutes: less, amount } => {
            format!("it takes {} less, which are {}", minutes(*less), visitor.money(*amount))
        }
        Decides::Grade { grade, mass, amount, .. } => {
            let grade = bench.grade_name(grade);
            if mass.is_negative() {
                format!(
                    "it has {} less of {grade}, which costs money: {}",
                    visitor.mass(-*mass),
                    visitor.money(*amount)
                )
            } else if mass.is_zero() {
                format!("of {grade}, {}", visitor.money(*amount))
            } else {
                format!(
                    "it has {} more of {grade}, which are {}",
                    visitor.mass(*mass),
                    visitor.money(*amount)
                )
            }
        }
    };
    format!("{better} leaves {lead} more than {worse}, mostly because {why}.")
}
