//! Shipments: what is packed, and what is out?

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::ToSpan;
use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::Deserialize;
use trade::ids::{GradeId, LotId, OutletId};
use trade::mass::Mass;
use trade::money::Currency;
use trade::net::{Load, deliver};
use trade::outlet::{Terms, Way};
use trade::settlement::Promise;

use super::App;
use super::bag::{self, Refused};
use super::claims;
use super::failure::Failure;
use super::form::Form;
use super::not_made::NotMade;
use super::offer::Seen;
use super::page::{Page, Screen, Visitor, counted, html, unbroken};
use super::stepped::stepped;
use crate::store::cash::CashEntry;
use crate::store::outlets::{OutletDetails, OutletKind};
use crate::store::settlement_drafts::SettlementDraft;
use crate::store::settlements::{Delivery, SettlementHead};
use crate::store::shipments::{NewShipment, Shipment, ShipmentLot, ShipmentState, Waybill};
use crate::store::{StoreError, new_id};

#[derive(Template)]
#[template(path = "shipments/index.html")]
struct ShipmentsPage {
    page: Page,
    visitor: Visitor,
    /// Those that something is still to be done about, and the others; each with its heading.
    parts: Vec<(&'static str, Vec<Shipment>)>,
    /// The last of the page, where there are more.
    more: Option<String>,
    is_first: bool,
}

#[derive(Deserialize)]
pub struct Before {
    before: Option<String>,
}

/// Past shipments in one page.
const SHIPMENTS_SHOWN: u32 = 40;

pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(Before { before }): Query<Before>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let open = match before {
        Some(_) => Vec::new(),
        None => app.store.open_shipments(shop).await?,
    };
    let done = app.store.done_shipments(shop, before.as_deref(), SHIPMENTS_SHOWN).await?;
    let is_full = done.len() == SHIPMENTS_SHOWN as usize;
    let more = done.last().filter(|_| is_full).map(|shipment| shipment.id.clone());
    let page = visitor.page(Screen::Shipments, "Shipments");
    let mut parts = vec![("Still open", open), ("Done", done)];
    parts.retain(|(_, shipments)| !shipments.is_empty());
    html(&ShipmentsPage { page, visitor, parts, more, is_first: before.is_none() })
}

/// Makes a shipment: prices it as it stands, reserves its lots, all or nothing. Where anything is not as it stood on the
/// bag's page, that page comes back and says so.
pub async fn create(State(app): State<App>, visitor: Visitor, form: Form) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let wanted = Wanted {
        outlet: OutletId::new(form.value("outlet")),
        ticked: form.values("lot").map(LotId::new).collect(),
        seen: Seen::from_form(&form)?,
    };
    let reasons = match make(&app, &visitor, &wanted, &id).await {
        Ok(()) => return Ok(made(&id)),
        Err(NotMade::Failed(failure)) => Err(failure),
        Err(NotMade::Because(reasons)) => Ok(reasons),
    };
    // Sent twice: the first one made it, be it a moment ago, and then its lots are not free for the second.
    if app.store.shipment(&visitor.shop.id, &id).await.is_ok() {
        return Ok(made(&id));
    }
    let Wanted { outlet, ticked, .. } = wanted;
    let refused = Refused { outlet, ticked, reasons: reasons? };
    match app.store.lot(&visitor.shop.id, form.value("bag")).await {
        Ok(lot) => bag::refused(&app, visitor, lot, refused).await,
        Err(_) => Err(not_made(&refused.reasons)),
    }
}

fn made(id: &str) -> Response {
    Redirect::to(&format!("/shipments/{id}")).into_response()
}

/// What the form asks for.
struct Wanted {
    outlet: OutletId,
    ticked: BTreeSet<LotId>,
    seen: Seen,
}

async fn make(app: &App, visitor: &Visitor, wanted: &Wanted, id: &str) -> Result<(), NotMade> {
    let shelf = app.shelf(visitor).await?;
    let Some(outlet) = shelf.outlet(&wanted.outlet) else {
        return Err(NotMade::because("The outlet has been closed meanwhile. Choose another buyer."));
    };
    if matches!(outlet.way, Way::Drive(_)) {
        return Err(NotMade::because(format!("{} takes no parcels: it is a yard.", outlet.name)));
    }
    if wanted.ticked.is_empty() {
        return Err(NotMade::because("No lot was chosen. Tick what goes in it."));
    }
    let changes = wanted.seen.changes(&wanted.ticked, outlet, &shelf);
    if !changes.is_empty() {
        return Err(NotMade::Because(changes));
    }
    let loads: Vec<Load> = wanted.ticked.iter().filter_map(|lot| shelf.load_of(lot)).collect();
    let ladder = deliver(outlet, &loads, &shelf.facts).map_err(|closed| {
        NotMade::because(format!("{} does not take it: {}.", outlet.name, shelf.closed_in_words(&closed)))
    })?;
    let promise = Promise::of(&ladder, &loads, &outlet.terms, shelf.facts.costs.home);
    let shipment =
        NewShipment { id, outlet_id: &wanted.outlet, loads: &loads, ladder: &ladder, promise: &promise };
    Ok(app.store.make_shipment(&visitor.by(), &shipment).await?)
}

fn not_made(reasons: &[String]) -> Failure {
    Failure::refused(
        StatusCode::CONFLICT,
        "The shipment was not made",
        format!("{} Nothing was reserved.", reasons.join(" ")),
    )
}

#[derive(Template)]
#[template(path = "shipments/show.html")]
struct ShipmentPage {
    page: Page,
    visitor: Visitor,
    shipment: Shipment,
    lots: Vec<ShipmentLot>,
    total: Mass,
    parcels: Vec<Parcel>,
    lines: Vec<Line>,
    /// Where the buyer is, as far as it is on record.
    place: String,
    /// The buyer's own conditions, to remind them.
    terms: String,
    crosses_border: bool,
    has_batteries: bool,
    /// The one that counts first.
    waybills: Vec<Waybill>,
    /// All settlements that were ever saved about it, the newest first.
    settlements: Vec<SettlementHead>,
    drafts: Vec<SettlementDraft>,
    /// Of the draft that is begun next.
    draft_id: String,
    /// What a carrier or an insurer has paid for it.
    claims: Vec<CashEntry>,
    /// When the buyer's terms have it paid.
    due: Option<Date>,
    is_overdue: bool,
}

impl ShipmentPage {
    fn is_lost(&self) -> bool {
        matches!(self.shipment.state, ShipmentState::Lost { .. })
    }

    /// The containers that its lots are in, each once.
    fn containers(&self) -> Vec<&ShipmentLot> {
        let mut seen = BTreeSet::new();
        self.lots.iter().filter(|lot| seen.insert(&lot.container_id)).collect()
    }

    fn is_written_off(&self) -> bool {
        matches!(self.shipment.state, ShipmentState::Lost { written_off: Some(_), .. })
    }
}

/// What one grade of it is expected to fetch.
struct Line {
    grade_name: String,
    mass: Mass,
    pieces: u32,
    price: String,
    amount: String,
}

/// One box of the packing list.
struct Parcel {
    number: usize,
    box_name: String,
    contents: Mass,
    gross: Mass,
    /// As the shop's scale has it, packed.
    weighed: Option<Mass>,
}

/// One shipment; printed, it is the packing list.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let shipment = app.store.shipment(&visitor.shop.id, &id).await?;
    let lots = app.store.shipment_lots(&visitor.shop.id, &id).await?;
    let outlet = app.store.outlet(&visitor.shop.id, shipment.outlet_id.as_str()).await?;
    let waybills = app.store.waybills(&visitor.shop.id, &id).await?;
    let weighed = |index: usize| waybills.first()?.boxes.get(index).map(|packed| packed.gross);
    let mut parcels: Vec<Parcel> = shipment
        .expected
        .parcels
        .iter()
        .flat_map(|parcels| (0..parcels.count).map(move |_| parcels))
        .enumerate()
        .map(|(index, parcels)| Parcel {
            number: index + 1,
            box_name: parcels.box_name.clone(),
            contents: parcels.contents,
            gross: parcels.gross,
            weighed: weighed(index),
        })
        .collect();
    // It may have taken more boxes than were planned.
    for (index, packed) in waybills.iter().take(1).flat_map(|waybill| waybill.boxes.iter().enumerate()) {
        if index >= parcels.len() {
            parcels.push(Parcel {
                number: index + 1,
                box_name: packed.name.clone(),
                contents: Mass::ZERO,
                gross: packed.gross,
                weighed: Some(packed.gross),
            });
        }
    }
    let grades = app.store.grades(&visitor.shop.id).await?;
    let grade = |id: &GradeId| grades.iter().find(|grade| grade.id == *id);
    let has_batteries =
        lots.iter().any(|lot| grade(&lot.grade_id).is_some_and(|grade| grade.details.is_of_batteries()));
    let lines = shipment.expected.lines.iter().map(|line| Line {
        grade_name: grade(&line.grade)
            .map_or_else(|| line.grade.to_string(), |grade| grade.details.name.clone()),
        mass: line.mass,
        pieces: line.pieces,
        price: line.price.clone(),
        amount: line.amount.clone(),
    });
    let delivery = Delivery::Shipment(id.clone());
    let settlements = app.store.settlements_of(&visitor.shop.id, &delivery).await?;
    let drafts = app.store.settlement_drafts_of(&visitor.shop.id, &delivery).await?;
    let claims = claims::paid_for(&app, &visitor, &id).await?;
    let due = due(&shipment, outlet.details.terms.days_to_pay, &visitor);
    let page = visitor.page(Screen::Shipments, format!("Shipment to {}", shipment.outlet_name));
    html(&ShipmentPage {
        page,
        total: lots.iter().map(|lot| lot.net).sum(),
        crosses_border: crosses_border(&outlet.details, visitor.home()),
        terms: terms_of(&outlet.details.terms, &visitor),
        place: outlet.details.place,
        has_batteries,
        parcels,
        lines: lines.collect(),
        is_overdue: due.is_some_and(|due| due < visitor.today()),
        due,
        settlements,
        claims,
        drafts,
        draft_id: new_id(),
        waybills,
        lots,
        shipment,
        visitor,
    })
}

/// When a shipment that is out is to be paid: so many days after it left as were promised then.
pub fn due(shipment: &Shipment, days_to_pay: u32, visitor: &Visitor) -> Option<Date> {
    let sent = shipment.sent_at.filter(|_| shipment.state.is_out())?;
    let promised = shipment.expected.promise.as_ref().map_or(days_to_pay, |promise| promise.days_to_pay);
    visitor.day_of(sent).checked_add(i64::from(promised).days()).ok()
}

/// The buyer's conditions that bear on what is in the box, without an amount of money and without what the shop thinks of
/// the buyer.
fn terms_of(terms: &Terms, visitor: &Visitor) -> String {
    let from = |what: &str, least: Mass| {
        (!least.is_zero()).then(|| format!("{what} from {} up", visitor.mass(least)))
    };
    let deducted = (!terms.weight_deduction.is_zero()).then(|| {
        format!(
            "{} of the weight taken off for tare and moisture",
            unbroken(&terms.weight_deduction.to_string())
        )
    });
    let paid =
        (terms.days_to_pay > 0).then(|| format!("paid within {}", counted(terms.days_to_pay, "day", "days")));
    let conditions =
        [from("deliveries", terms.minimum_delivery), from("each grade", terms.minimum_grade), deducted, paid];
    conditions.into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// A buyer pays in another currency or its shipments cost paperwork: a border lies between.
fn crosses_border(outlet: &OutletDetails, home: Currency) -> bool {
    let paperwork = match &outlet.kind {
        OutletKind::Yard(_) => Decimal::ZERO,
        OutletKind::MailIn(post) => post.border,
    };
    outlet.currency != home || !paperwork.is_zero()
}

/// The parcels have been handed over.
///
/// A bag mostly goes into the parcel with what is in it, and one that is gone should not be offered for the next lot; but a
/// shop that pours its boards into the carton keeps the bag. So the page asks, with bags ticked and drums, boxes and crates
/// not, and what is ticked is out of use from then on. A yard empties what it is brought, so a yard run asks nothing.
pub async fn send(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let gone: Vec<String> =
        form.values("gone").filter(|id| crate::store::is_id(id)).map(str::to_string).collect();
    let sent = app.store.send_shipment_with(&visitor.by(), &id, form.version(), &gone).await;
    moved_on(&app, &visitor, &id, sent, |state| matches!(state, ShipmentState::Sent { .. })).await
}

/// Takes it apart again before it has left.
pub async fn cancel(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let cancelled = app.store.cancel_shipment(&visitor.by(), &id, form.version()).await;
    moved_on(&app, &visitor, &id, cancelled, |state| matches!(state, ShipmentState::Cancelled { .. })).await
}

/// The buyer has it.
pub async fn receive(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let received = app.store.receive_shipment(&visitor.by(), &id, form.version()).await;
    moved_on(&app, &visitor, &id, received, |state| matches!(state, ShipmentState::Received { .. })).await
}

/// The carrier has lost it.
pub async fn lose(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let lost = app.store.lose_shipment(&visitor.by(), &id, form.version()).await;
    moved_on(&app, &visitor, &id, lost, |state| matches!(state, ShipmentState::Lost { .. })).await
}

/// What was lost has turned up.
pub async fn find(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let found = app.store.find_shipment(&visitor.by(), &id, form.version()).await;
    moved_on(&app, &visitor, &id, found, |state| state.is_out()).await
}

/// What was lost is given up: nothing more will come for it. Or it is waited for after all.
pub async fn write_off(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let gives_up = form.value("do") != "end";
    let done = app.store.write_off_shipment(&visitor.by(), &id, form.version(), gives_up).await;
    let wanted: fn(&ShipmentState) -> bool = if gives_up {
        |state| matches!(state, ShipmentState::Lost { written_off: Some(_), .. })
    } else {
        |state| matches!(state, ShipmentState::Lost { written_off: None, .. })
    };
    moved_on(&app, &visitor, &id, done, wanted).await
}

/// The shop does not agree with the settlement, or does again.
pub async fn dispute(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let opens = form.value("do") != "end";
    let disputed = app.store.dispute_shipment(&visitor.by(), &id, form.version(), opens).await;
    let wanted: fn(&ShipmentState) -> bool = if opens {
        |state| matches!(state, ShipmentState::Disputed { .. })
    } else {
        |state| matches!(state, ShipmentState::Settled { .. })
    };
    moved_on(&app, &visitor, &id, disputed, wanted).await
}

/// Where a step on a shipment leads.
async fn moved_on(
    app: &App,
    visitor: &Visitor,
    id: &str,
    step: Result<(), StoreError>,
    wanted: fn(&ShipmentState) -> bool,
) -> Result<Response, Failure> {
    let stands_there = async { Ok(wanted(&app.store.shipment(&visitor.shop.id, id).await?.state)) };
    stepped(step, stands_there, "shipment", &format!("/shipments/{id}")).await
}
