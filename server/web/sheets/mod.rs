//! Price sheets: what was read and confirmed, kept as history with the file it came in.

mod desk;
mod draft;
mod effect;
mod line;
mod upload;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use trade::ids::OutletId;

use super::App;
use super::failure::Failure;
use super::page::{Page, Screen, Visitor, html};
use crate::store::drafts::DraftHead;
use crate::store::outlets::Outlet;
use crate::store::quotes::SheetQuote;
use crate::store::sheets::PriceSheet;

pub use draft::{discard, show as show_draft, update as update_draft};
pub use line::unit_options;
pub use upload::{create, new};

/// Sheets in one page of the history.
const SHEETS_SHOWN: usize = 60;
/// Lines of one sheet in one page.
const LINES_SHOWN: usize = 200;

#[derive(Deserialize)]
pub struct Filter {
    #[serde(default)]
    outlet: String,
    #[serde(default)]
    from: usize,
    /// Somebody came back to the review of a sheet that had been confirmed.
    already: Option<String>,
}

#[derive(Template)]
#[template(path = "sheets/index.html")]
struct IndexPage {
    page: Page,
    visitor: Visitor,
    drafts: Vec<DraftHead>,
    outlets: Vec<Outlet>,
    outlet: String,
    sheets: Vec<PriceSheet>,
    in_force: Vec<String>,
    slice: Slice,
}

/// Which part of a long list a page shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Slice {
    from: usize,
    size: usize,
    all: usize,
}

impl Slice {
    /// The part of `size` that begins at `from`, or the last part where the list has become shorter.
    fn of(all: usize, from: usize, size: usize) -> Slice {
        let last = all.saturating_sub(1) / size * size;
        Slice { from: (from / size * size).min(last), size, all }
    }

    fn range(self) -> std::ops::Range<usize> {
        self.from..(self.from + self.size).min(self.all)
    }

    fn previous(self) -> Option<usize> {
        self.from.checked_sub(self.size)
    }

    fn next(self) -> Option<usize> {
        (self.from + self.size < self.all).then_some(self.from + self.size)
    }

    /// `26 to 50 of 120`.
    fn words(self) -> String {
        format!("{} to {} of {}", self.from + 1, self.range().end, self.all)
    }
}

/// Sheets under review, and those that were confirmed.
pub async fn index(
    State(app): State<App>,
    visitor: Visitor,
    Query(filter): Query<Filter>,
) -> Result<Response, Failure> {
    let shop = &visitor.shop.id;
    let outlet = (!filter.outlet.is_empty()).then(|| OutletId::new(filter.outlet.clone()));
    let mut sheets = app.store.sheets(shop, outlet.as_ref()).await?;
    let slice = Slice::of(sheets.len(), filter.from, SHEETS_SHOWN);
    sheets = sheets.drain(slice.range()).collect();
    let current = app.store.current_quotes(shop, visitor.today(), None).await?;
    let in_force = current.into_values().map(|sheet| sheet.sheet_id).collect();
    let drafts = app.store.drafts(shop).await?;
    let outlets = app.store.outlets(shop).await?;
    let page = visitor.page(Screen::Prices, "Price sheets");
    html(&IndexPage { page, visitor, drafts, outlets, outlet: filter.outlet, sheets, in_force, slice })
}

#[derive(Template)]
#[template(path = "sheets/show.html")]
struct SheetPage {
    page: Page,
    visitor: Visitor,
    sheet: PriceSheet,
    force: Force,
    quotes: Vec<SheetQuote>,
    slice: Slice,
    confirmed_before: bool,
}

/// Whether a stored sheet counts.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Force {
    Current,
    /// Its day has not come.
    Ahead,
    /// A newer one has taken its place.
    History {
        newer: PriceSheet,
    },
    /// The outlet has been closed.
    OutletClosed,
}

/// A stored sheet, line by line.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
    Query(filter): Query<Filter>,
) -> Result<Response, Failure> {
    let sheet = app.store.sheet(&visitor.shop.id, &id).await?;
    let force = force(&app, &visitor, &sheet).await?;
    let mut quotes = app.store.sheet_quotes(&visitor.shop.id, &id).await?;
    let slice = Slice::of(quotes.len(), filter.from, LINES_SHOWN);
    quotes = quotes.drain(slice.range()).collect();
    let page =
        visitor.page(Screen::Prices, format!("{}, {}", sheet.outlet_name, visitor.day(sheet.valid_from)));
    let confirmed_before = filter.already.is_some();
    html(&SheetPage { page, visitor, sheet, force, quotes, slice, confirmed_before })
}

async fn force(app: &App, visitor: &Visitor, sheet: &PriceSheet) -> Result<Force, Failure> {
    if sheet.valid_from > visitor.today() {
        return Ok(Force::Ahead);
    }
    let current = app.store.current_quotes(&visitor.shop.id, visitor.today(), None).await?;
    match current.get(&sheet.outlet_id) {
        Some(current) if current.sheet_id == sheet.id => Ok(Force::Current),
        Some(current) => {
            Ok(Force::History { newer: app.store.sheet(&visitor.shop.id, &current.sheet_id).await? })
        }
        None => Ok(Force::OutletClosed),
    }
}

/// The file a sheet was read from, as it came. It is whatever somebody uploaded, so no browser may open it in place.
pub async fn file(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let sheet = app.store.sheet(&visitor.shop.id, &id).await?;
    let file = app.store.file(&visitor.shop.id, &sheet.sha256).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/octet-stream".to_string()),
        (header::CONTENT_DISPOSITION, attachment(&file.name)),
    ];
    Ok((headers, file.bytes).into_response())
}

/// The header that saves a download under `name` (RFC 6266), with what no file system or header takes replaced.
pub fn attachment(name: &str) -> String {
    let plain: String = name
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_' | ' ') { c } else { '_' })
        .collect();
    // A name that starts with a dot is hidden where it is saved.
    let plain = plain.trim_start_matches(['.', ' ']);
    format!("attachment; filename=\"{}\"", if plain.is_empty() { "sheet" } else { plain })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_download_is_saved_under_a_harmless_name() {
        for (name, header) in [
            ("May prices.csv", "attachment; filename=\"May prices.csv\""),
            ("../../etc/passwd", "attachment; filename=\"_.._etc_passwd\""),
            ("a\"; filename=\"b.html\r\nX: y", "attachment; filename=\"a__ filename__b.html__X_ y\""),
            ("prix août.xlsx", "attachment; filename=\"prix ao_t.xlsx\""),
            ("...", "attachment; filename=\"sheet\""),
        ] {
            assert_eq!(attachment(name), header, "{name}");
        }
    }

    #[test]
    fn a_long_list_is_cut_into_pages() {
        let pages = |all, from| {
            let slice = Slice::of(all, from, 25);
            (slice.range(), slice.previous(), slice.next())
        };
        assert_eq!(pages(60, 0), (0..25, None, Some(25)));
        assert_eq!(pages(60, 30), (25..50, Some(0), Some(50)));
        assert_eq!(pages(60, 50), (50..60, Some(25), None));
        // The list has become shorter since the link was made.
        assert_eq!(pages(60, 500), (50..60, Some(25), None));
        assert_eq!(pages(0, 0), (0..0, None, None));
    }
}
