//! `import`: price sheets from the command line, read by the same code as uploads.
//!
//! With `--dry-run` nothing is saved and no record is needed: the rows are printed, as lines for a person or as JSON for
//! a program, one object a file. Without it each file becomes a draft of the outlet's, to be reviewed on its page.

use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use clap::Args;
use intake::{Catalogue, Grade, Hints, Learned, Row, RowPrice, Sheet, detect};
use jiff::civil::Date;
use jiff::{Timestamp, ZonedDateTime};
use rust_decimal::Decimal;
use serde::Serialize;
use trade::mass::{Mass, MassUnit};
use trade::money::{Currency, PriceUnit};

use crate::catalogue::GRADES;
use crate::reader::{self, ReadError};
use crate::review::Answers;
use crate::store::activity::By;
use crate::store::drafts::NewDraft;
use crate::store::files::sha256;
use crate::store::outlets::Outlet;
use crate::store::{Place, Store, StoreError, new_id};

#[derive(Debug, Args)]
pub struct ImportArgs {
    /// The price sheets; - is text from the standard input.
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// Save nothing, and print what was read.
    #[arg(long)]
    dry_run: bool,
    /// Print JSON, one object a file.
    #[arg(long)]
    json: bool,
    /// Whose prices they are, by the outlet's name in the record: its currency, its usual unit and what its wordings
    /// were confirmed to mean then count. Without it the sheet itself has to show them.
    #[arg(long, required_unless_present = "dry_run")]
    outlet: Option<String>,
    /// What a sheet that names no currency is in, as a code of ISO 4217.
    #[arg(long, conflicts_with = "outlet")]
    currency: Option<String>,
    /// What a sheet that names no unit is per: lb, kg, tonne, short_ton, gross_ton, cwt, 100kg, each, oz, ozt or g.
    #[arg(long, requires = "currency")]
    unit: Option<String>,
    /// The day to read dates without a year from; today where it is left out.
    #[arg(long)]
    today: Option<Date>,
}

/// Why nothing, or not all, was read.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("{0} cannot be opened: {1}")]
    File(String, io::Error),
    #[error("the output cannot be written: {0}")]
    Output(io::Error),
    #[error("this program cannot find itself to read files with: {0}")]
    Program(io::Error),
    #[error("“{0}” is no currency code of ISO 4217")]
    NoCurrency(String),
    #[error("“{0}” is no unit that prices are quoted per")]
    NoUnit(String),
    #[error("the record has no shop yet: set it up in the browser first")]
    NoShop,
    #[error("the record has no outlet “{0}”; it has: {1}")]
    NoOutlet(String, String),
    #[error("{0} of the files could not be read")]
    SomeUnread(usize),
}

/// What a file's rows are read and matched with.
struct Desk {
    program: PathBuf,
    today: Date,
    hints: Option<Hints>,
    catalogue: Catalogue,
    learned: Learned,
    /// Where drafts are kept; `None` where nothing is saved.
    record: Option<Record>,
}

struct Record {
    store: Store,
    shop_id: String,
    partner_id: String,
    outlet: Outlet,
}

/// Reads the files one after the other.
pub async fn run(args: &ImportArgs, place: &Place) -> Result<(), ImportError> {
    let desk = Desk::open(args, place).await?;
    let mut unread = 0;
    for path in &args.files {
        let (name, bytes) = match load(path) {
            Ok(loaded) => loaded,
            // As with one that cannot be read: the others still are.
            Err(error) => {
                unread += 1;
                let (mut out, file) = (io::stdout().lock(), &*path.to_string_lossy());
                let written = match args.json {
                    true => print_json(&mut out, &Unread { file, error: error.to_string() }),
                    false => writeln!(out, "{error}"),
                };
                written.map_err(ImportError::Output)?;
                continue;
            }
        };
        let read = desk.read(&name, &bytes).await;
        let mut out = io::stdout().lock();
        let written = match (&read, args.json) {
            (Ok(sheet), true) => print_json(&mut out, &desk.report(&name, sheet)),
            (Ok(sheet), false) => print_lines(&mut out, &desk.report(&name, sheet)),
            (Err(error), true) => print_json(&mut out, &Unread { file: &name, error: error.to_string() }),
            (Err(error), false) => writeln!(out, "{name}: {error}"),
        };
        drop(out);
        written.map_err(ImportError::Output)?;
        match read {
            Ok(_) if args.dry_run => {}
            Ok(sheet) if !sheet.rows.is_empty() => desk.keep(&name, &bytes, &sheet).await?,
            // There is nothing to review.
            Ok(_) => unread += 1,
            Err(_) => unread += 1,
        }
    }
    if let Some(record) = desk.record {
        record.store.close().await;
    }
    if unread > 0 { Err(ImportError::SomeUnread(unread)) } else { Ok(()) }
}

fn load(path: &Path) -> Result<(String, Vec<u8>), ImportError> {
    let most = intake::LARGEST_FILE as u64 + 1;
    let mut bytes = Vec::new();
    if path == Path::new("-") {
        let read = io::stdin().lock().take(most).read_to_end(&mut bytes);
        read.map_err(|error| ImportError::File("the standard input".into(), error))?;
        return Ok(("pasted.txt".into(), bytes));
    }
    let shown = || path.display().to_string();
    let file = std::fs::File::open(path).map_err(|error| ImportError::File(shown(), error))?;
    file.take(most).read_to_end(&mut bytes).map_err(|error| ImportError::File(shown(), error))?;
    let name = path.file_name().map_or_else(shown, |name| name.to_string_lossy().into_owned());
    Ok((name, bytes))
}

impl Desk {
    async fn open(args: &ImportArgs, place: &Place) -> Result<Desk, ImportError> {
        let program = std::env::current_exe().map_err(ImportError::Program)?;
        let today = args.today.unwrap_or_else(|| ZonedDateTime::now().date());
        let mut desk = Desk {
            program,
            today,
            hints: None,
            catalogue: seed_catalogue(),
            learned: Learned::default(),
            record: None,
        };
        if let Some(name) = &args.outlet {
            desk.of_outlet(name, args.today, place).await?;
        } else if let Some(code) = &args.currency {
            let currency = Currency::from_code(&code.to_uppercase())
                .ok_or_else(|| ImportError::NoCurrency(code.clone()))?;
            let unit = match &args.unit {
                Some(unit) => {
                    Some(PriceUnit::from_code(unit).ok_or_else(|| ImportError::NoUnit(unit.clone()))?)
                }
                None => None,
            };
            desk.hints = Some(Hints { currency, unit, today });
        }
        Ok(desk)
    }

    /// Takes in what the record knows of the outlet. Today is the shop's: the box may be in another zone.
    async fn of_outlet(&mut self, name: &str, today: Option<Date>, place: &Place) -> Result<(), ImportError> {
        let store = Store::open(place).await?;
        let wanted = intake::normal_wording(name);
        let mut names = Vec::new();
        let mut found = None;
        for shop in store.shops().await? {
            for outlet in store.outlets(&shop.id).await? {
                names.push(outlet.details.name.clone());
                if found.is_none() && intake::normal_wording(&outlet.details.name) == wanted {
                    found = Some((shop.clone(), outlet));
                }
            }
        }
        let (shop, outlet) =
            found.ok_or_else(|| ImportError::NoOutlet(name.to_string(), names.join(", ")))?;
        self.today = today.unwrap_or_else(|| Timestamp::now().to_zoned_datetime(shop.zone.clone()).date());
        self.learned = Learned::new(store.meanings(&shop.id, &outlet.id).await?);
        let grades = store.grades(&shop.id).await?;
        self.catalogue =
            Catalogue::new(grades.into_iter().filter(|grade| !grade.retired).map(|grade| Grade {
                id: grade.id,
                name: grade.details.name,
                family: grade.details.family,
            }));
        self.hints = Some(Hints {
            currency: outlet.details.currency,
            unit: Some(outlet.details.usual_unit),
            today: self.today,
        });
        let people = store.people(&shop.id).await?;
        let partner = people.into_iter().find(|person| !person.has_left).ok_or(ImportError::NoShop)?;
        self.record = Some(Record { store, shop_id: shop.id, partner_id: partner.partner.id, outlet });
        Ok(())
    }

    async fn read(&self, name: &str, bytes: &[u8]) -> Result<Sheet, ReadError> {
        let format = detect(name, bytes)?;
        match &self.hints {
            Some(hints) => reader::read(&self.program, format, bytes, hints).await,
            None => reader::read_alone(&self.program, format, bytes, self.today).await,
        }
    }

    /// Keeps the sheet as a draft, as an upload does; the same file is under review for an outlet once.
    async fn keep(&self, name: &str, bytes: &[u8], sheet: &Sheet) -> Result<(), ImportError> {
        let Some(record) = &self.record else { return Ok(()) };
        let (store, shop) = (&record.store, &record.shop_id);
        let hash = sha256(bytes);
        let outlet = &record.outlet.details.name;
        for before in store.sheets_of_file(shop, &hash).await? {
            let day = before.at.strftime("%Y-%m-%d");
            eprintln!("{name} was read before, on {day}, for {}: /sheets/{}", before.outlet_name, before.id);
        }
        let drafts = store.drafts(shop).await?;
        if let Some(draft) = drafts.iter().find(|draft| draft.sha256 == hash && draft.outlet_name == *outlet)
        {
            eprintln!("{name} waits for review already, at /sheets/drafts/{}", draft.id);
            return Ok(());
        }
        let valid_from = sheet.valid_from.unwrap_or(self.today);
        let to_json = |error: serde_json::Error| ImportError::Output(error.into());
        let id = new_id();
        let draft = NewDraft {
            id: &id,
            outlet_id: &record.outlet.id,
            sha256: &hash,
            file_name: name,
            bytes,
            reading: &serde_json::to_string(sheet).map_err(to_json)?,
            answers: &serde_json::to_string(&Answers::new(valid_from)).map_err(to_json)?,
        };
        let by = By { shop_id: shop.clone(), partner_id: record.partner_id.clone(), at: Timestamp::now() };
        store.add_draft(&by, &draft).await?;
        eprintln!("{name} waits for review at /sheets/drafts/{id}");
        Ok(())
    }

    fn report<'s>(&self, file: &'s str, sheet: &'s Sheet) -> Report<'s> {
        Report {
            file,
            valid_from: sheet.valid_from,
            currency: sheet.currency.map(|currency| currency.code()),
            rows: sheet.rows.iter().map(|row| self.row(row)).collect(),
            left_out: sheet
                .left_out
                .iter()
                .map(|left| LeftOut {
                    place: left.place.to_string(),
                    why: left.why.to_string(),
                    source: &left.source,
                })
                .collect(),
            problems: sheet.problems.iter().map(ToString::to_string).collect(),
        }
    }

    fn row<'s>(&self, row: &'s Row) -> ReportRow<'s> {
        let proposal = self.catalogue.propose(&self.learned, &row.wording, row.group.as_deref());
        let sure = proposal.is_sure();
        let grade = proposal.grade.map(|grade| grade.to_string());
        let (price, price_high) = match row.price {
            RowPrice::Priced { low, high } => (Some(plain(low)), high.map(plain)),
            RowPrice::OnRequest => (None, None),
        };
        let tiered = row.tier_from.is_some() || row.tier_to.is_some();
        let unit = tiered.then(|| tier_unit(row));
        let tier =
            |mass: Option<Mass>| mass.zip(unit).map(|(mass, unit)| plain(mass.in_unit(unit).round_dp(3)));
        ReportRow {
            name: &row.wording,
            price,
            price_high,
            unit: row.unit.map(PriceUnit::code),
            currency: row.currency.map(|currency| currency.code()),
            tier_min: tiered.then(|| tier(Some(row.tier_from.unwrap_or(Mass::ZERO)))).flatten(),
            tier_max: tier(row.tier_to),
            tier_unit: unit.map(MassUnit::code),
            likely: grade.clone().filter(|_| !sure),
            grade: grade.filter(|_| sure),
            score: proposal.score,
            note: row.note.as_deref(),
            group: row.group.as_deref(),
            place: row.place.to_string(),
            source: &row.source,
            doubts: row.doubts.iter().filter(|doubt| doubt.asks()).map(ToString::to_string).collect(),
        }
    }
}

/// The grades that a shop starts with.
fn seed_catalogue() -> Catalogue {
    Catalogue::new(GRADES.iter().map(|grade| Grade {
        id: grade.slug.clone(),
        name: grade.details.name.clone(),
        family: grade.details.family.clone(),
    }))
}

fn plain(amount: Decimal) -> String {
    amount.normalize().to_string()
}

/// The unit in which the tier's masses are round numbers: that of the price, or else the first that is.
fn tier_unit(row: &Row) -> MassUnit {
    let of_price = match row.unit {
        Some(PriceUnit::Mass(unit)) => Some(unit),
        _ => None,
    };
    let others =
        [MassUnit::Pound, MassUnit::Kilogram, MassUnit::Tonne, MassUnit::ShortTon, MassUnit::GrossTon];
    let masses = [row.tier_from, row.tier_to];
    let round = |unit: &MassUnit| {
        masses.iter().flatten().all(|mass| {
            let number = mass.in_unit(*unit).round_dp(6).normalize();
            number.scale() == 0 && (number.is_zero() || number >= Decimal::ONE)
        })
    };
    of_price.into_iter().chain(others).find(round).or(of_price).unwrap_or(MassUnit::Kilogram)
}

/// What was read of one file.
#[derive(Debug, Serialize)]
struct Report<'s> {
    file: &'s str,
    valid_from: Option<Date>,
    currency: Option<&'static str>,
    rows: Vec<ReportRow<'s>>,
    left_out: Vec<LeftOut<'s>>,
    problems: Vec<String>,
}

/// Prices are decimal strings in the major unit of the currency; a grade stands only where it would be proposed, and
/// one that would be asked about is only `likely`.
#[derive(Debug, Serialize)]
struct ReportRow<'s> {
    name: &'s str,
    price: Option<String>,
    price_high: Option<String>,
    unit: Option<&'static str>,
    currency: Option<&'static str>,
    tier_min: Option<String>,
    tier_max: Option<String>,
    tier_unit: Option<&'static str>,
    grade: Option<String>,
    score: u8,
    likely: Option<String>,
    note: Option<&'s str>,
    group: Option<&'s str>,
    place: String,
    source: &'s str,
    /// What a person would be asked about the price.
    doubts: Vec<String>,
}

#[derive(Debug, Serialize)]
struct LeftOut<'s> {
    place: String,
    why: String,
    source: &'s str,
}

#[derive(Debug, Serialize)]
struct Unread<'s> {
    file: &'s str,
    error: String,
}

fn print_json(out: &mut impl Write, report: &impl Serialize) -> io::Result<()> {
    serde_json::to_writer(&mut *out, report)?;
    writeln!(out)
}

fn print_lines(out: &mut impl Write, report: &Report<'_>) -> io::Result<()> {
    let date = report.valid_from.map_or("no date".to_string(), |date| format!("from {date}"));
    writeln!(out, "{}: {} prices, {date}", report.file, report.rows.len())?;
    for problem in &report.problems {
        writeln!(out, "  {problem}")?;
    }
    for row in &report.rows {
        let price = row.price.as_deref().unwrap_or("on request");
        let high = row.price_high.as_ref().map(|high| format!(" to {high}")).unwrap_or_default();
        let per = format!("{}/{}", row.currency.unwrap_or("?"), row.unit.unwrap_or("?"));
        let tier = match (&row.tier_min, row.tier_unit) {
            (Some(from), Some(unit)) => format!(" from {from} {unit}"),
            _ => String::new(),
        };
        let grade = match (&row.grade, &row.likely) {
            (Some(grade), _) => grade.clone(),
            (None, Some(likely)) => format!("{likely}?"),
            (None, None) => "?".to_string(),
        };
        let group = row.group.map(|group| format!(" ({group})")).unwrap_or_default();
        writeln!(out, "  {}: {}{group}  {price}{high} {per}{tier}  = {grade}", row.place, row.name)?;
        for doubt in &row.doubts {
            writeln!(out, "      {doubt}")?;
        }
    }
    for left in &report.left_out {
        writeln!(out, "  left out, {}: {} ({})", left.why, left.source, left.place)?;
    }
    Ok(())
}
