//! Shares: who is owed what, how the partners share, and what they take out or put in.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use trade::cash::{Kind, Month, MonthOfBooks, Split, Standing, Way, standings};
use trade::duration::spelled;
use trade::money::Currency;

use super::in_home;
use super::new_entry::{FIRST_DAY, amount};
use crate::store::cash::{Document, DocumentKind, NewEntry};
use crate::store::new_id;
use crate::store::partners::PartnerRecord;
use crate::store::splits::{SplitFrom, WHOLE, split_for};
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::form::Form;
use crate::web::page::{Page, Screen, Visitor, html, unbroken};

const LONGEST_NOTE: usize = 200;

/// How a partner stands, in words.
pub struct StandingLine {
    pub id: String,
    pub name: String,
    pub share: String,
    pub paid_in: String,
    pub paid_out: String,
    /// Without its sign.
    pub owed: String,
    /// Whether it is the partner who owes.
    pub owes: bool,
}

/// How each partner stands to this day; nobody, where the book has nothing to share yet.
pub(super) async fn standing_lines(
    app: &App,
    visitor: &Visitor,
    people: &[PartnerRecord],
) -> Result<Vec<StandingLine>, Failure> {
    let shop_id = &visitor.shop.id;
    let mut months: BTreeMap<Month, MonthOfBooks> = BTreeMap::new();
    for (month, made) in app.store.cash_made(shop_id).await? {
        months.entry(month).or_default().made = made;
    }
    for (month, partner, moved) in app.store.cash_moved(shop_id).await? {
        months.entry(month).or_default().moved.push((partner, moved));
    }
    if months.is_empty() {
        return Ok(Vec::new());
    }
    for (month, partner, minutes) in app.store.hour_months(shop_id).await? {
        if let Some(month) = months.get_mut(&month) {
            month.minutes.insert(partner, u64::try_from(minutes).unwrap_or(0));
        }
    }
    let splits = app.store.splits(shop_id).await?;
    let alike = Split::Fixed(BTreeMap::new());
    let partners: Vec<String> = partners(people).map(|person| person.partner.id.clone()).collect();
    let shared = months.iter().map(|(month, books)| (books, split_for(&splits, *month).unwrap_or(&alike)));
    let stand = standings(&partners, shared);
    let named = people.iter().filter_map(|person| {
        let standing = stand.get(&person.partner.id)?;
        Some(StandingLine::of(person, *standing, visitor.home()))
    });
    Ok(named.collect())
}

/// Those who share: partners, also those who have left, for what was made while they were here.
fn partners(people: &[PartnerRecord]) -> impl Iterator<Item = &PartnerRecord> {
    people.iter().filter(|person| !person.partner.is_helper())
}

impl StandingLine {
    fn of(person: &PartnerRecord, standing: Standing, home: Currency) -> StandingLine {
        let owed = standing.owed();
        StandingLine {
            id: person.partner.id.clone(),
            name: person.partner.name.clone(),
            share: in_home(standing.share, home),
            paid_in: in_home(standing.paid_in, home),
            paid_out: in_home(standing.paid_out, home),
            owed: in_home(owed.abs(), home),
            owes: owed < 0,
        }
    }
}

#[derive(Template)]
#[template(path = "money/shares.html")]
struct SharesPage {
    page: Page,
    lines: Vec<StandingLine>,
    splits: Vec<(String, String)>,
    /// Partners who are here, as (id, name).
    partners: Vec<(String, String)>,
    /// The same with the shop in front, for who pays and who is paid.
    sides: Vec<(String, String)>,
    bases: Vec<(String, String)>,
    split: Form,
    payment: Form,
    /// Hours of this month, which decide where they share by hours.
    hours: Vec<(String, String)>,
}

impl SharesPage {
    fn part_field(&self, partner: &str) -> String {
        format!("part_{partner}")
    }
}

/// What stands for the shop where a side is chosen.
const SHOP: &str = "shop";

async fn shares_page(
    app: &App,
    visitor: &Visitor,
    split: Option<Form>,
    payment: Option<Form>,
) -> Result<Response, Failure> {
    let people = app.store.people(&visitor.shop.id).await?;
    let lines = standing_lines(app, visitor, &people).await?;
    let here: Vec<(String, String)> = partners(&people)
        .filter(|person| !person.has_left)
        .map(|person| (person.partner.id.clone(), person.partner.name.clone()))
        .collect();
    let splits = app.store.splits(&visitor.shop.id).await?;
    let month = Month::of(visitor.today());
    let split = split.unwrap_or_else(|| split_form(&splits, &here, month));
    let payment = payment.unwrap_or_else(|| {
        Form::filled([
            ("payment_id", new_id()),
            ("payer", SHOP.to_string()),
            ("paid", visitor.partner.id.clone()),
            ("currency", visitor.home().code().to_string()),
            ("day", visitor.today().to_string()),
        ])
    });
    let shop = (SHOP.to_string(), "the shop".to_string());
    let hours = app.store.hour_totals(&visitor.shop.id, month, month).await?;
    let of = |id: &str| hours.iter().filter(|total| total.partner_id == id).map(|total| total.minutes).sum();
    html(&SharesPage {
        page: visitor.page(Screen::Money, "Shares and payouts"),
        lines,
        splits: splits.iter().rev().map(|one| in_words(one, &people)).collect(),
        hours: here.iter().map(|(id, name)| (name.clone(), unbroken(&spelled(of(id))))).collect(),
        sides: [shop].into_iter().chain(here.iter().cloned()).collect(),
        partners: here,
        bases: vec![
            ("fixed".to_string(), "in fixed parts".to_string()),
            ("hours".to_string(), "by the hours of each month".to_string()),
        ],
        split,
        payment,
    })
}

fn split_form(splits: &[SplitFrom], here: &[(String, String)], month: Month) -> Form {
    let mut form = Form::filled([("split_id", new_id()), ("from", month.to_string())]);
    match split_for(splits, month) {
        Some(Split::Hours) => form.set("basis", "hours"),
        Some(Split::Fixed(parts)) => {
            form.set("basis", "fixed");
            for (id, part) in parts {
                form.set(&format!("part_{id}"), percent(*part).to_string());
            }
        }
        None => {
            form.set("basis", "fixed");
            let count = Decimal::from(here.len().max(1));
            let alike = (dec!(100) / count).round_dp(2).normalize();
            // What does not divide is the first one's.
            let first = dec!(100) - alike * (count - Decimal::ONE);
            for (nth, (id, _)) in here.iter().enumerate() {
                let part = if nth == 0 { first } else { alike };
                form.set(&format!("part_{id}"), part.normalize().to_string());
            }
        }
    }
    form
}

fn percent(part: u64) -> Decimal {
    (Decimal::from(part) / dec!(100)).normalize()
}

/// `from May 2026` and `Imke 60 %, Tobias 40 %`.
fn in_words(one: &SplitFrom, people: &[PartnerRecord]) -> (String, String) {
    let how = match &one.split {
        Split::Hours => "by hours".to_string(),
        Split::Fixed(parts) => {
            let named = people.iter().filter_map(|person| {
                let part = parts.get(&person.partner.id)?;
                Some(format!("{} {}\u{a0}%", person.partner.name, percent(*part)))
            });
            named.collect::<Vec<_>>().join(", ")
        }
    };
    (format!("from {} {}", one.month.name(), one.month.year()), how)
}

pub async fn show(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    shares_page(&app, &visitor, None, None).await
}

fn read_split(form: &mut Form, visitor: &Visitor, people: &[PartnerRecord]) -> Option<(Month, Split)> {
    let first = Month::of(FIRST_DAY);
    let last = Month::of(visitor.today());
    let from = form.read("from", |typed| {
        let month: Month =
            typed.trim().parse().map_err(|problem: trade::cash::NotAMonth| problem.to_string())?;
        if month < first || month > last {
            return Err(format!("It has to be between {first} and {last}."));
        }
        Ok(month)
    });
    let is_fixed = form.choice("basis", |basis| match basis {
        "fixed" => Some(true),
        "hours" => Some(false),
        _ => None,
    })?;
    if !is_fixed {
        return Some((from?, Split::Hours));
    }
    let mut parts = BTreeMap::new();
    for person in partners(people).filter(|person| !person.has_left) {
        let id = &person.partner.id;
        let share = form.percent(&format!("part_{id}"))?;
        parts.insert(id.clone(), (share.get() * Decimal::from(WHOLE)).to_u64().unwrap_or(0));
    }
    if parts.values().sum::<u64>() != WHOLE {
        form.refuse("form", "The parts have to add up to 100 %, with two decimals at most.");
        return None;
    }
    Some((from?, Split::Fixed(parts)))
}

/// Settles how the partners share from a month on.
pub async fn set_split(
    State(app): State<App>,
    visitor: Visitor,
    mut form: Form,
) -> Result<Response, Failure> {
    let id = form.once("split_id")?;
    let people = app.store.people(&visitor.shop.id).await?;
    let Some((from, split)) = read_split(&mut form, &visitor, &people) else {
        return shares_page(&app, &visitor, Some(form), None).await;
    };
    app.store.set_split(&visitor.by(), &id, from, &split).await?;
    Ok(Redirect::to("/money/shares").into_response())
}

/// The entries of a payment: one where the shop is a side, two where a partner pays another.
fn payment(form: &mut Form, id: &str, visitor: &Visitor, people: &[PartnerRecord]) -> Option<Vec<NewEntry>> {
    let side = |code: &str| {
        let known = partners(people).any(|person| person.partner.id == code);
        (code == SHOP || known).then(|| code.to_string())
    };
    let payer = form.choice("payer", side);
    let paid = form.choice("paid", side);
    let day = form.date("day", FIRST_DAY, visitor.today());
    let amount = amount(form, "amount", "currency");
    let note = form.optional_text("note", LONGEST_NOTE)?;
    let (payer, paid) = (payer?, paid?);
    if payer == paid {
        form.refuse("paid", "These have to be two different sides.");
        return None;
    }
    let (day, amount) = (day?, amount?);
    let entry = |id: String, kind, way: Way, partner: &str| NewEntry {
        partner_id: Some(partner.to_string()),
        note: note.clone(),
        ..NewEntry::new(id, day, kind, way.signed(amount))
    };
    Some(match (payer.as_str(), paid.as_str()) {
        (SHOP, partner) => vec![entry(id.to_string(), Kind::Payout, Way::Out, partner)],
        (partner, SHOP) => vec![entry(id.to_string(), Kind::PaidIn, Way::In, partner)],
        // As if it went through the shop: what one puts in, the other takes out.
        (from, to) => {
            let document = Document::new(DocumentKind::Transfer, id);
            let sides = [
                entry(document.entry_id("payer"), Kind::PaidIn, Way::In, from),
                entry(document.entry_id("paid"), Kind::Payout, Way::Out, to),
            ];
            sides.map(|entry| NewEntry { document: Some(document.clone()), ..entry }).to_vec()
        }
    })
}

/// Enters what a partner took out, put in, or paid another one.
pub async fn pay(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let id = form.once("payment_id")?;
    let people = app.store.people(&visitor.shop.id).await?;
    let Some(entries) = payment(&mut form, &id, &visitor, &people) else {
        return shares_page(&app, &visitor, None, Some(form)).await;
    };
    app.store.enter_cash(&visitor.by(), &entries).await?;
    Ok(Redirect::to("/money/shares").into_response())
}
