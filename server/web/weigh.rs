//! Weigh in: put a scale reading on a lot. Read it back first, in both forms; only then does it count.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use trade::ids::PartId;
use trade::mass::Mass;
use trade::reading::{self, Meaning, Reading};
use trade::teardown::Progress;

use super::App;
use super::bag;
use super::failure::{self, Failure};
use super::form::Form;
use super::gauge::Gauge;
use super::page::{Anyone, Folds, Page, Screen, Visitor, html};
use super::teardowns::keep_first;
use crate::catalogue::kinds::kind as kind_of;
use crate::shelf::Depth;
use crate::store::lots::{Lot, LotState};
use crate::store::reservations::Reservation;
use crate::store::scale_readings::ScaleReading;
use crate::store::teardowns::{FromTeardown, Teardown, TeardownState};
use crate::store::weighings::{NewWeighing, WeighedIn, Weighing, WeighingKind};
use crate::store::{By, StoreError, is_id, new_id};

/// The most pieces one weighing may count.
const MOST_PIECES: u32 = 100_000;

/// No reading is longer, so what was typed is kept whole; what no page sends is cut.
const LONGEST_TYPED: usize = 40;

#[derive(Deserialize)]
pub struct Find {
    #[serde(default)]
    find: String,
    /// A part of a unit on the bench that wants a bag.
    #[serde(default)]
    teardown: String,
    #[serde(default)]
    part: String,
    #[serde(flatten)]
    folds: Folds,
}

#[derive(Template)]
#[template(path = "weigh/choose.html")]
struct ChoosePage {
    teardown: String,
    part: String,
    page: Page,
    visitor: Visitor,
    find: String,
    families: Vec<Family>,
    all_open: bool,
}

impl ChoosePage {
    fn along(&self) -> String {
        along(&self.teardown, &self.part)
    }
}

/// What goes along to the lot that a part of a unit on the bench is weighed in on; nothing for a weighing of its own.
pub fn along(teardown: &str, part: &str) -> String {
    if teardown.is_empty() {
        return String::new();
    }
    let mut query = form_urlencoded::Serializer::new(String::new());
    format!("?{}", query.append_pair("teardown", teardown).append_pair("part", part).finish())
}

struct Family {
    name: String,
    lots: Vec<Lot>,
}

/// Which bag?
pub async fn choose(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    Query(Find { find, teardown, part, folds }): Query<Find>,
) -> Result<Response, Failure> {
    let mut lots = app.store.open_lots(&visitor.shop.id).await?;
    let wanted = find.trim().to_lowercase();
    lots.retain(|lot| {
        lot.state == LotState::Open
            && [&lot.container_label, &lot.grade_name, &lot.family]
                .iter()
                .any(|text| text.to_lowercase().contains(&wanted))
    });
    let all_open = !wanted.is_empty() || folds.all_open(lots.len());
    let mut families: Vec<Family> = Vec::new();
    for lot in lots {
        match families.last_mut().filter(|last| last.name == lot.family) {
            Some(last) => last.lots.push(lot),
            None => families.push(Family { name: lot.family.clone(), lots: vec![lot] }),
        }
    }
    let page = visitor.page(Screen::Weigh, "Weigh in");
    html(&ChoosePage { teardown, part, page, visitor, find: find.trim().to_string(), families, all_open })
}

#[derive(Template)]
#[template(path = "weigh/show.html")]
struct WeighPage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    form: Form,
    tare_hint: String,
    /// What the shop's scales show.
    scales: Vec<ScaleReading>,
    part: Option<PartOff>,
}

impl WeighPage {
    /// How old a reading is, in seconds.
    fn age(&self, reading: &ScaleReading) -> i64 {
        self.visitor.now.duration_since(reading.at).as_secs().max(0)
    }
}

/// The field for the reading.
pub async fn show(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    Path(lot): Path<String>,
    Query(values): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    let form = Form::filled(values.iter().map(|(name, value)| (name.as_str(), value.clone())));
    form_page(&app, visitor, lot, form).await
}

async fn form_page(app: &App, visitor: Visitor, lot: Lot, form: Form) -> Result<Response, Failure> {
    let scales = app.store.scale_readings(&visitor.shop.id, visitor.now).await?;
    let kind = lot.container_kind.code();
    let tare = if lot.container_tare.is_zero() {
        "its tare is not known yet".to_string()
    } else {
        format!("it weighs {} empty", visitor.mass(lot.container_tare))
    };
    let tare_hint = format!(
        "Left empty: nothing for what goes in now; the {kind} itself when all of it is on the scale ({tare})."
    );
    let part = PartOff::of(app, &visitor, &form, &lot).await?;
    let page = visitor.page(Screen::Weigh, format!("Weigh in on {}", lot.container_label));
    html(&WeighPage { page, visitor, lot, form, tare_hint, scales, part })
}

/// The part of a unit on the bench that is weighed in.
struct PartOff {
    teardown: Teardown,
    name: String,
    /// What was weighed of it before.
    before: Mass,
    times: u32,
    /// Whether there is no more of it in the unit.
    is_all: bool,
    /// What is in it still that ought to be kept back before it goes.
    keep_first: Vec<String>,
    /// Whether it is to be kept back itself, and the lot is of another grade.
    is_astray: bool,
}

impl PartOff {
    /// `None` where the form is about no teardown.
    async fn of(app: &App, visitor: &Visitor, form: &Form, lot: &Lot) -> Result<Option<PartOff>, Failure> {
        let (id, part) = (form.value("teardown"), PartId::new(form.value("part")));
        if id.is_empty() {
            return Ok(None);
        }
        let teardown = app.store.teardown(&visitor.shop.id, id).await?;
        let log = app.store.teardown_log(&visitor.shop.id, id).await?;
        let standing: Vec<_> =
            log.into_iter().filter(|entry| !entry.is_taken_back).map(|entry| entry.entry).collect();
        let progress = Progress::of(&standing);
        let weighed = progress.parts.get(&part).copied().unwrap_or_default();
        let tree = &teardown.expected.tree;
        let piece = tree.piece(&part);
        let kind = kind_of(&teardown.kind_id);
        let is_kept_back = kind.and_then(|kind| kind.note(&part)).is_some_and(|note| note.kept_back);
        Ok(Some(PartOff {
            name: match piece {
                Some((0, _)) => "The rest".into(),
                Some((_, piece)) => piece.name.clone(),
                None => "A part that it does not have".into(),
            },
            before: weighed.mass,
            times: weighed.times,
            is_all: piece.is_some_and(|(at, _)| at > 0 && weighed.times >= tree.in_unit(at)),
            keep_first: piece.map_or_else(Vec::new, |(at, _)| keep_first(tree, kind, &progress, at)),
            is_astray: is_kept_back
                && piece.is_some_and(|(_, piece)| piece.grade.as_ref() != Some(&lot.grade_id)),
            teardown,
        }))
    }

    fn is_open(&self) -> bool {
        self.teardown.state == TeardownState::Open
    }
}

/// What a weighing would do to the lot.
struct Put {
    gross: Mass,
    tare: Mass,
    added: Mass,
    total: Mass,
}

/// Works out tare, net and the new total, or writes the problem into the form.
fn put(form: &mut Form, lot: &Lot, gross: Mass) -> Option<Put> {
    let whole = form.value("holds") == "container";
    let tare = if form.value("tare").trim().is_empty() && whole {
        Some(lot.container_tare)
    } else {
        form.mass("tare")
    };
    let pieces = form.count("pieces", MOST_PIECES);
    let tare = tare?;
    pieces?;
    if tare > gross {
        form.refuse(
            "tare",
            "The tare is above what the scale shows, so the net would be below zero. Check both readings.",
        );
        return None;
    }
    let net = gross - tare;
    let added = if whole { net - lot.net } else { net };
    if added.is_zero() {
        form.refuse(
            "reading",
            "After the tare that adds nothing to the bag. Check the reading and the tare.",
        );
        return None;
    }
    Some(Put { gross, tare, added, total: lot.net + added })
}

#[derive(Template)]
#[template(path = "weigh/echo.html")]
struct EchoPage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    form: Form,
    notice: String,
    both: [String; 2],
    put: Put,
    else_meant: Vec<Meaning>,
    id: String,
    part: Option<PartOff>,
}

#[derive(Template)]
#[template(path = "weigh/ask.html")]
struct AskPage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    form: Form,
    why: String,
    meanings: Vec<Meaning>,
}

/// Reads the reading back: nothing is saved yet.
pub async fn read(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    Path(lot): Path<String>,
    mut form: Form,
) -> Result<Response, Failure> {
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    if form.has("scale") && !form.has("typed") {
        let scales = app.store.scale_readings(&visitor.shop.id, visitor.now).await?;
        let Some(shown) = scales.into_iter().find(|shown| shown.id == form.value("scale")) else {
            form.set("scale", String::new());
            form.refuse(
                "reading",
                "The scale shows something else by now. Take over what it shows, or type it.",
            );
            return form_page(&app, visitor, lot, form).await;
        };
        form.set("typed", format!("{} on {}", shown.reading, shown.scale));
        form.set("reading", shown.reading);
    }
    echo(&app, visitor, lot, form, String::new()).await
}

async fn echo(
    app: &App,
    visitor: Visitor,
    lot: Lot,
    mut form: Form,
    notice: String,
) -> Result<Response, Failure> {
    if !form.has("typed") {
        form.set("typed", form.value("reading").to_string());
    }
    if let Some(problem) = cannot_take(&lot) {
        form.refuse("form", problem);
    }
    let page = visitor.page(Screen::Weigh, format!("Weigh in on {}", lot.container_label));
    let (meaning, else_meant) = match reading::read(form.value("reading")) {
        Ok(Reading::Sure { meaning, else_meant }) => (meaning, else_meant),
        Ok(Reading::Ask { why, meanings }) => {
            return html(&AskPage { page, visitor, lot, form, why, meanings });
        }
        Err(problem) => {
            form.refuse("reading", problem.to_string());
            return form_page(app, visitor, lot, form).await;
        }
    };
    let put = put(&mut form, &lot, meaning.mass);
    let Some(put) = put.filter(|_| form.is_good()) else {
        return form_page(app, visitor, lot, form).await;
    };
    // A reading that was chosen among several is not asked about again.
    let else_meant = if form.value("typed") == form.value("reading") { else_meant } else { Vec::new() };
    form.set("reading", meaning.spelled.clone());
    let both = meaning.both_forms();
    let part = PartOff::of(app, &visitor, &form, &lot).await?;
    html(&EchoPage { page, visitor, lot, form, notice, both, put, else_meant, id: new_id(), part })
}

fn cannot_take(lot: &Lot) -> Option<String> {
    use crate::store::lots::LotRefusal;
    match lot.state {
        LotState::Open if lot.grade_retired => Some(LotRefusal::GradeRetired.to_string()),
        LotState::Open => None,
        LotState::Reserved { by: Reservation::Shipment(_) } => Some(LotRefusal::Reserved.to_string()),
        LotState::Reserved { by: Reservation::Run(_) } => Some(LotRefusal::OnRun.to_string()),
        LotState::Closed { .. } => Some(LotRefusal::Closed.to_string()),
    }
}

/// What became of a weighing that was sent.
pub enum Sent {
    /// It is on the lot, now with so much of it or since it was sent before.
    Stored { added: Mass, done: WeighedIn },
    /// The reading means more than one thing, or nothing that a scale shows: it has to be looked at once more.
    Unsure(Form),
    /// Something in the form cannot be.
    Refused(Form),
    /// The lot holds something else than when the whole container was weighed.
    Overtaken(Form),
}

/// Puts what the form says on the lot, under `id` and once, as done by `by`.
pub async fn put_on(app: &App, by: &By, lot: &Lot, id: &str, mut form: Form) -> Result<Sent, StoreError> {
    let Ok(Reading::Sure { meaning, .. }) = reading::read(form.value("reading")) else {
        return Ok(Sent::Unsure(form));
    };
    let put = put(&mut form, lot, meaning.mass);
    let Some(put) = put.filter(|_| form.is_good()) else { return Ok(Sent::Refused(form)) };
    let seen = form.value("seen").parse().map(Mass::from_micrograms).unwrap_or(lot.net);
    let typed: String = form.value("typed").trim().chars().take(LONGEST_TYPED).collect();
    let weighing = NewWeighing {
        id: id.into(),
        lot_id: lot.id.as_str(),
        kind: WeighingKind::WeighIn,
        net: put.added,
        gross: put.gross,
        tare: put.tare,
        pieces: form.value("pieces").trim().parse().unwrap_or(0),
        typed: &typed,
        // With the whole bag on the scale, what it adds depends on what was in it.
        expects: (form.value("holds") == "container").then_some(seen),
        reverses_id: None,
        other_lot_id: None,
        scale_reading: Some(form.value("scale")).filter(|id| is_id(id)),
    };
    let part = PartId::new(form.value("part"));
    let from = Some(form.value("teardown"))
        .filter(|id| !id.is_empty())
        .map(|teardown_id| FromTeardown { teardown_id, part: &part });
    let weighed = match from {
        Some(from) => app.store.weigh_part_in(by, &weighing, from).await,
        None => app.store.weigh_in(by, &weighing).await,
    };
    match weighed {
        Ok(done) => Ok(Sent::Stored { added: put.added, done }),
        Err(StoreError::Stale) => Ok(Sent::Overtaken(form)),
        Err(StoreError::Lot(refusal)) => {
            form.refuse("form", refusal.to_string());
            Ok(Sent::Refused(form))
        }
        Err(StoreError::Teardown(refusal)) => {
            form.refuse("form", refusal.to_string());
            Ok(Sent::Refused(form))
        }
        Err(other) => Err(other),
    }
}

/// What to say when a lot holds something else than when its whole container was weighed.
pub fn overtaken(visitor: &Visitor, lot: &Lot) -> String {
    format!(
        "Somebody put something on {} while you were weighing: it now holds {}. Is your reading of the whole {} from \
         before or after that? If before, weigh it again.",
        lot.container_label,
        visitor.mass(lot.net),
        lot.container_kind.code()
    )
}

/// Where a weighing leads: who takes a unit apart goes back to it.
fn back(form: &Form, weighing: &str) -> String {
    let part: String =
        form.value("part").chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
    match form.value("teardown") {
        teardown if is_id(teardown) => format!("/teardowns/{teardown}#part-{part}"),
        _ => format!("/weighings/{weighing}"),
    }
}

/// Puts it on the lot.
pub async fn create(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    Path(lot): Path<String>,
    form: Form,
) -> Result<Response, Failure> {
    let id = form.once("id")?;
    let receipt = back(&form, &id);
    if app.store.weighing(&visitor.shop.id, &id).await.is_ok() {
        // Sent twice: the first one counted.
        return Ok(Redirect::to(&receipt).into_response());
    }
    let lot = app.store.lot(&visitor.shop.id, &lot).await?;
    match put_on(&app, &visitor.by(), &lot, &id, form).await? {
        Sent::Stored { .. } => Ok(Redirect::to(&receipt).into_response()),
        Sent::Unsure(form) => echo(&app, visitor, lot, form, String::new()).await,
        Sent::Refused(mut form) => {
            form.set("reading", form.value("typed").to_string());
            form_page(&app, visitor, lot, form).await
        }
        Sent::Overtaken(form) => {
            let lot = app.store.lot(&visitor.shop.id, lot.id.as_str()).await?;
            let notice = overtaken(&visitor, &lot);
            echo(&app, visitor, lot, form, notice).await
        }
    }
}

#[derive(Template)]
#[template(path = "weigh/receipt.html")]
struct ReceiptPage {
    page: Page,
    visitor: Visitor,
    lot: Lot,
    weighing: Weighing,
    gauge: Option<Gauge>,
}

/// What was put on, and what the bag holds now.
pub async fn receipt(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    Path(weighing): Path<String>,
) -> Result<Response, Failure> {
    let weighing = app.store.weighing(&visitor.shop.id, &weighing).await?;
    let lot = app.store.lot(&visitor.shop.id, &weighing.lot_id).await?;
    let shelf = app.shelf(&visitor).await?;
    // How near a bag is to being shipped is the partners' business.
    let gauge = if visitor.partner.is_helper() { None } else { bag::gauge_of(&shelf, &lot.id, &visitor) };
    // What the weighing changed is worked out while the next one is typed.
    app.answers.prepare(&visitor.shop.id, &shelf, Depth::Margins).await;
    let page = visitor.page(Screen::Weigh, format!("Weighed in on {}", lot.container_label));
    html(&ReceiptPage { page, visitor, lot, weighing, gauge })
}

/// Takes it off again, by an entry that names it. A helper may take back what they put on themselves.
pub async fn undo(
    State(app): State<App>,
    Anyone(visitor): Anyone,
    Path(weighing): Path<String>,
) -> Result<Response, Failure> {
    let put = app.store.weighing(&visitor.shop.id, &weighing).await?;
    if visitor.partner.is_helper() && put.partner_id != visitor.partner.id {
        return Err(failure::for_partners());
    }
    app.store.undo_weighing(&visitor.by(), &weighing).await?;
    Ok(Redirect::to(&format!("/weighings/{weighing}")).into_response())
}
