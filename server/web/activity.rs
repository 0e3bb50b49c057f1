//! What was done in the shop, by whom and when.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::App;
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, html};
use crate::store::activity::{Activity, Noun, Wanted};
use crate::store::partners::PartnerRecord;
use crate::store::stamp;

/// Lines on one page.
const MOST: u32 = 100;

#[derive(Template)]
#[template(path = "activity/index.html")]
struct ActivityPage {
    page: Page,
    visitor: Visitor,
    people: Vec<PartnerRecord>,
    nouns: [Noun; Noun::ALL.len()],
    chosen: Chosen,
    days: Vec<Day>,
    /// The query of the page that goes on where this one ends.
    older: Option<String>,
}

/// The lines of one day, newest first.
struct Day {
    day: String,
    lines: Vec<Activity>,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Chosen {
    who: String,
    what: String,
    before: String,
}

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(chosen): Query<Chosen>,
) -> Result<Response, Failure> {
    let wanted = Wanted {
        partner_id: Some(chosen.who.as_str()).filter(|who| !who.is_empty()),
        noun: Noun::from_code(&chosen.what),
        before: chosen.before.split_once('_'),
    };
    let mut lines = app.store.activity(&visitor.shop.id, &wanted, MOST + 1).await?;
    let more = lines.len() > MOST as usize;
    lines.truncate(MOST as usize);
    let older = lines.last().filter(|_| more).map(|last| {
        form_urlencoded::Serializer::new(String::new())
            .append_pair("who", &chosen.who)
            .append_pair("what", &chosen.what)
            .append_pair("before", &format!("{}_{}", stamp(last.at), last.id))
            .finish()
    });
    let mut days: Vec<Day> = Vec::new();
    for line in lines {
        let day = visitor.day(visitor.day_of(line.at));
        match days.last_mut() {
            Some(last) if last.day == day => last.lines.push(line),
            _ => days.push(Day { day, lines: vec![line] }),
        }
    }
    let people = app.store.people(&visitor.shop.id).await?;
    let page = visitor.page(Screen::Activity, "Activity");
    html(&ActivityPage { page, visitor, people, nouns: Noun::ALL, chosen, days, older })
}

impl Noun {
    /// The word for it on a page.
    pub fn word(self) -> &'static str {
        match self {
            Noun::Lot => "lot",
            Noun::Container => "container",
            Noun::Grade => "grade",
            Noun::Outlet => "outlet",
            Noun::Service => "freight service",
            Noun::Carton => "box",
            Noun::Rate => "exchange rate",
            Noun::Draft => "sheet under review",
            Noun::Sheet => "price sheet",
            Noun::Plan => "sell plan",
            Noun::Shipment => "shipment",
            Noun::Settlement => "settlement",
            Noun::Shop => "shop",
            Noun::Partner => "people",
            Noun::Session => "phone",
            Noun::Scale => "scale",
        }
    }
}

impl Activity {
    /// The page of the thing; `None` for one that has none.
    fn address(&self) -> Option<String> {
        let id = &self.noun_id;
        Some(match self.noun {
            Noun::Lot => format!("/lots/{id}"),
            Noun::Container => format!("/containers/{id}/edit"),
            Noun::Grade => format!("/grades/{id}"),
            Noun::Outlet => format!("/outlets/{id}"),
            Noun::Service => format!("/freight/services/{id}"),
            Noun::Carton => format!("/freight/boxes/{id}"),
            Noun::Rate => format!("/rates/{id}"),
            Noun::Draft => return None,
            Noun::Sheet => format!("/sheets/{id}"),
            Noun::Plan => "/plan".to_string(),
            Noun::Shipment => format!("/shipments/{id}"),
            Noun::Settlement => format!("/settlements/{id}"),
            Noun::Shop => "/shop".to_string(),
            Noun::Partner => format!("/people/{id}"),
            Noun::Session => "/people#phones".to_string(),
            Noun::Scale => return None,
        })
    }

    /// What the thing is called on the page.
    fn called(&self) -> &str {
        self.name.as_deref().unwrap_or(match self.noun {
            Noun::Rate => &self.noun_id,
            other => other.word(),
        })
    }

    fn time(&self, visitor: &Visitor) -> String {
        self.at.to_zoned_datetime(visitor.shop.zone.clone()).strftime("%H:%M").to_string()
    }
}
