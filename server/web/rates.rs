//! Exchange rates: which applies, how old is it, and where is it from?

use askama::Template;
use axum::extract::multipart::{MultipartError, MultipartRejection};
use axum::extract::{Multipart, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use intake::rates::{LARGEST_LIST, RateList, Wanted, read as read_list};
use jiff::ToSpan;
use jiff::civil::{Date, date};
use rust_decimal::{Decimal, dec};
use trade::exchange::{LARGEST_RATE, LEAST_RATE, Rate};
use trade::money::Currency;

use super::App;
use super::failure::Failure;
use super::form::Form;
use super::page::{Page, Screen, Visitor, day, days_from, html};
use super::stale::STALE_RATE_DAYS;
use crate::store::rates::{RateRecord, save_rates};

/// How far back a list is read, in days: all sheets that are still compared, and a year's history.
const LIST_DAYS: i32 = 400;
/// The first day that a rate can be typed for. Long before any sheet, and it catches a slip in the year.
const FIRST_DAY: Date = date(2000, 1, 1);
/// Lines of a history, and slips and unknown columns of a list, that one page shows.
const MOST_LINES: usize = 120;
const MOST_SLIPS: usize = 10;
const MOST_COLUMNS: usize = 20;
/// What a typed rate has as its source.
const TYPED: &str = "typed";

/// A rate as a sentence, and how old it is.
struct Line {
    base: &'static str,
    quote: &'static str,
    sentence: String,
    turned_over: String,
    day: String,
    age: String,
    stale: bool,
    /// Where it came from and who brought it in; empty for a rate that was worked out from others.
    source: String,
}

impl Line {
    fn of(rate: &Rate, today: Date) -> Line {
        let age_days = (today - rate.date).get_days();
        Line {
            base: rate.base.code(),
            quote: rate.quote.code(),
            sentence: sentence(rate.base, rate.rate, rate.quote),
            turned_over: sentence(rate.quote, turned_over(rate.rate), rate.base),
            day: day(rate.date),
            age: days_from(today, rate.date),
            stale: age_days > STALE_RATE_DAYS,
            source: String::new(),
        }
    }

    fn on_file(record: &RateRecord, today: Date) -> Line {
        let source = format!("{}, {}", record.source, record.partner_name);
        Line { source, ..Line::of(&record.rate, today) }
    }
}

/// `1 USD = 1.36 CAD`, each amount on one line with its currency.
fn sentence(base: Currency, rate: Decimal, quote: Currency) -> String {
    format!("1\u{a0}{} = {}\u{a0}{}", base.code(), rate.normalize(), quote.code())
}

/// The rate the other way round, to the six figures that central banks publish at most.
fn turned_over(rate: Decimal) -> Decimal {
    let exact = Decimal::ONE / rate;
    exact.round_sf(6).unwrap_or(exact)
}

#[derive(Template)]
#[template(path = "rates/index.html")]
struct RatesPage {
    page: Page,
    visitor: Visitor,
    /// What each foreign currency of the shop is worth at home; `None` where no rate says so.
    applying: Vec<(Currency, Option<Line>)>,
    on_file: Vec<Line>,
}

pub async fn index(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let book = app.store.rate_book(&visitor.shop.id).await?;
    let today = visitor.today();
    let mut applying = Vec::new();
    for currency in app.store.foreign_currencies(&visitor.shop).await? {
        let line = book.mid(currency, visitor.home(), today).map(|mid| {
            let (rate, date) = (mid.rate.round_sf(6).unwrap_or(mid.rate), mid.date.unwrap_or(today));
            Line::of(&Rate { date, base: currency, quote: visitor.home(), rate }, today)
        });
        applying.push((currency, line));
    }
    let mut newest: Vec<RateRecord> = Vec::new();
    for record in app.store.rates(&visitor.shop.id).await? {
        let pair = (record.rate.base, record.rate.quote);
        if !newest.iter().any(|newer| (newer.rate.base, newer.rate.quote) == pair) {
            newest.push(record);
        }
    }
    let on_file = newest.iter().map(|record| Line::on_file(record, today)).collect();
    let page = visitor.page(Screen::Rates, "Exchange rates");
    html(&RatesPage { page, visitor, applying, on_file })
}

#[derive(Template)]
#[template(path = "rates/history.html")]
struct HistoryPage {
    page: Page,
    base: &'static str,
    quote: &'static str,
    lines: Vec<Line>,
    more: usize,
}

/// All rates of one pair, newest first.
pub async fn history(
    State(app): State<App>,
    visitor: Visitor,
    Path((base, quote)): Path<(String, String)>,
) -> Result<Response, Failure> {
    let pair = (Currency::from_code(&base), Currency::from_code(&quote));
    let (Some(base), Some(quote)) = pair else { return Err(Failure::missing("pair of currencies")) };
    let mut records = app.store.rates(&visitor.shop.id).await?;
    records.retain(|record| record.rate.base == base && record.rate.quote == quote);
    let today = visitor.today();
    let lines = records.iter().take(MOST_LINES).map(|record| Line::on_file(record, today)).collect();
    let more = records.len().saturating_sub(MOST_LINES);
    let page = visitor.page(Screen::Rates, format!("{} in {}", base.code(), quote.code()));
    html(&HistoryPage { page, base: base.code(), quote: quote.code(), lines, more })
}

#[derive(Template)]
#[template(path = "rates/new.html")]
struct NewPage {
    page: Page,
    form: Form,
}

/// The form for one rate, with whatever the address brings filled in.
pub async fn new(
    State(app): State<App>,
    visitor: Visitor,
    Query(query): Query<Vec<(String, String)>>,
) -> Result<Response, Failure> {
    let mut form = Form::filled(query.iter().map(|(name, value)| (name.as_str(), value.clone())));
    let foreign = app.store.foreign_currencies(&visitor.shop).await?;
    let defaults = [
        ("date", visitor.today().to_string()),
        ("base", visitor.home().code().to_string()),
        ("quote", foreign.first().map(|currency| currency.code().to_string()).unwrap_or_default()),
    ];
    for (name, value) in defaults {
        if !form.has(name) {
            form.set(name, value);
        }
    }
    new_page(&visitor, form)
}

fn new_page(visitor: &Visitor, form: Form) -> Result<Response, Failure> {
    html(&NewPage { page: visitor.page(Screen::Rates, "Type a rate"), form })
}

/// The rate that the form says, or the problem beside its field.
fn rate(form: &mut Form, visitor: &Visitor) -> Option<Rate> {
    let date = form.date("date", FIRST_DAY, visitor.today());
    let base = form.currency("base");
    let quote = form.currency("quote");
    let rate = form.decimal("rate", LEAST_RATE, LARGEST_RATE);
    if base.is_some() && base == quote {
        form.refuse("quote", "These have to be two different currencies.");
        return None;
    }
    Some(Rate { date: date?, base: base?, quote: quote?, rate: rate? })
}

#[derive(Template)]
#[template(path = "rates/echo.html")]
struct EchoPage {
    page: Page,
    form: Form,
    line: Line,
    /// The same figure between the same currencies, the other way round.
    swapped: String,
    surprise: Option<String>,
    replaces: Option<String>,
}

/// Reads the rate back, both ways round: nothing is saved yet. A rate that is turned over by mistake looks plausible.
pub async fn read(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let Some(rate) = rate(&mut form, &visitor) else { return new_page(&visitor, form) };
    let book = app.store.rate_book(&visitor.shop.id).await?;
    let surprise = book.mid(rate.base, rate.quote, rate.date).and_then(|mid| {
        let percent = ((rate.rate / mid.rate - Decimal::ONE) * dec!(100)).round();
        let on_file =
            format!("{} {}", mid.rate.round_sf(6).unwrap_or(mid.rate).normalize(), rate.quote.code());
        let from = day(mid.date.unwrap_or(rate.date));
        (percent.abs() > dec!(20)).then(|| {
            let direction = if percent.is_sign_negative() { "below" } else { "above" };
            format!("That is {} % {direction} the newest on file, {on_file} of {from}.", percent.abs())
        })
    });
    let records = app.store.rates(&visitor.shop.id).await?;
    let same = |old: &&RateRecord| {
        (old.rate.date, old.rate.base, old.rate.quote) == (rate.date, rate.base, rate.quote)
            && old.rate.rate != rate.rate
    };
    let replaces = records
        .iter()
        .find(same)
        .map(|old| format!("{} ({})", sentence(old.rate.base, old.rate.rate, old.rate.quote), old.source));
    let page = visitor.page(Screen::Rates, "Type a rate");
    let line = Line::of(&rate, visitor.today());
    let swapped = sentence(rate.quote, rate.rate, rate.base);
    html(&EchoPage { page, form, line, swapped, surprise, replaces })
}

/// Puts the rate on file. Sent twice it is stored once: there is one for each day and pair.
pub async fn create(State(app): State<App>, visitor: Visitor, mut form: Form) -> Result<Response, Failure> {
    let Some(rate) = rate(&mut form, &visitor) else { return new_page(&visitor, form) };
    save(&app, &visitor, &[rate], TYPED).await?;
    Ok(Redirect::to("/rates").into_response())
}

async fn save(app: &App, visitor: &Visitor, rates: &[Rate], source: &str) -> Result<(), Failure> {
    let mut tx = app.store.begin().await?;
    save_rates(&mut tx, &visitor.by(), rates, source).await?;
    tx.commit().await?;
    Ok(())
}

#[derive(Template)]
#[template(path = "rates/upload.html")]
struct UploadPage {
    page: Page,
    form: Form,
    days: i32,
}

pub async fn upload_form(visitor: Visitor) -> Result<Response, Failure> {
    upload_page(&visitor, Form::default())
}

fn upload_page(visitor: &Visitor, form: Form) -> Result<Response, Failure> {
    let page = visitor.page(Screen::Rates, "Upload a central bank’s list");
    html(&UploadPage { page, form, days: LIST_DAYS })
}

#[derive(Template)]
#[template(path = "rates/list.html")]
struct ListPage {
    page: Page,
    list: RateList,
    /// The newest rate of each pair that was kept.
    newest: Vec<Line>,
    since: String,
}

/// Reads a central bank's list and puts what the shop needs of it on file. What was left out is told on the page that
/// answers, so there is no redirect; the list sent again changes nothing.
pub async fn upload(
    State(app): State<App>,
    visitor: Visitor,
    multipart: Result<Multipart, MultipartRejection>,
) -> Result<Response, Failure> {
    let today = visitor.today();
    let mut currencies = app.store.foreign_currencies(&visitor.shop).await?;
    currencies.push(visitor.home());
    let first = today.saturating_sub(LIST_DAYS.days());
    let wanted = Wanted { currencies: &currencies, first, last: today };
    let bytes = match multipart {
        Ok(multipart) => file(multipart).await,
        Err(_) => Err("The file did not arrive whole. Choose it again.".to_string()),
    };
    let list = match bytes.and_then(|bytes| read_list(&bytes, &wanted).map_err(|error| error.to_string())) {
        Ok(list) => list,
        Err(problem) => {
            let mut form = Form::default();
            form.refuse("list", problem);
            return upload_page(&visitor, form);
        }
    };
    save(&app, &visitor, &list.rates, list.publication.name()).await?;
    let mut newest: Vec<&Rate> = Vec::new();
    for rate in list.rates.iter().rev() {
        if !newest.iter().any(|newer| (newer.base, newer.quote) == (rate.base, rate.quote)) {
            newest.push(rate);
        }
    }
    let newest = newest.into_iter().map(|rate| Line::of(rate, today)).collect();
    let page = visitor.page(Screen::Rates, "The list has been read");
    html(&ListPage { page, list, newest, since: day(first) })
}

/// The bytes of the uploaded file, or what is wrong with the upload.
async fn file(mut multipart: Multipart) -> Result<Vec<u8>, String> {
    let broken = |error: MultipartError| match error.status() {
        StatusCode::PAYLOAD_TOO_LARGE => {
            format!("The file is larger than {} MB. Download the list as CSV alone.", LARGEST_LIST >> 20)
        }
        _ => "The file did not arrive whole. Choose it again.".to_string(),
    };
    while let Some(field) = multipart.next_field().await.map_err(broken)? {
        if field.name() == Some("list") {
            let bytes = field.bytes().await.map_err(broken)?;
            return if bytes.is_empty() { Err("Choose a file first.".into()) } else { Ok(bytes.into()) };
        }
    }
    Err("Choose a file first.".into())
}
