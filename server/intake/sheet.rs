//! What a price sheet says, line by line, beside where it says it.

use std::fmt;

use jiff::civil::Date;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use trade::mass::Mass;
use trade::money::{Currency, PriceUnit};

/// A price sheet as it was read. Every line or row of the source that is not blank is among `rows` or `left_out`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    pub rows: Vec<Row>,
    pub left_out: Vec<LeftOut>,
    /// The day the sheet says its prices hold from.
    pub valid_from: Option<Date>,
    /// The one currency of all its prices; `None` where the sheet mixes or names none.
    pub currency: Option<Currency>,
    pub problems: Vec<Problem>,
}

/// One price for one wording: a line with three tiers makes three rows. What is not there is not written either: drafts
/// of long sheets are kept as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// The name of the grade as the outlet writes it, a part of `source`; a tier that stood in it is not.
    pub wording: String,
    /// The heading it stands under, which may complete the name: `Copper` above `No. 2`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub group: Option<String>,
    pub price: RowPrice,
    pub unit: Option<PriceUnit>,
    pub currency: Option<Currency>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tier_from: Option<Mass>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tier_to: Option<Mass>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    pub place: Place,
    /// The line, or the cells joined with ` | `, as they stood.
    pub source: String,
    /// What a person has to look at before this row counts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<Doubt>,
}

/// Amounts are in the major unit of the row's currency; negative where the outlet charges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RowPrice {
    Priced {
        low: Decimal,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        high: Option<Decimal>,
    },
    /// Call, POA, market, or left blank.
    OnRequest,
}

/// Where in the source something stands; lines, rows and columns count from 1.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    Line(u32),
    Cell {
        sheet: String,
        row: u32,
        column: u32,
    },
    /// Lines of a page count from its top.
    Page {
        page: u32,
        line: u32,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Line(line) => write!(f, "line {line}"),
            Place::Cell { sheet, row, .. } => write!(f, "{sheet} row {row}"),
            Place::Page { page, line } => write!(f, "page {page} line {line}"),
        }
    }
}

/// A line or row that gave no price.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    pub source: String,
    pub place: Place,
    pub why: Why,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// It names what the prices below it are for.
    Heading,
    /// It names the columns.
    ColumnNames,
    /// The line above goes on in it, and was read with it.
    GoesOn,
    /// A later line puts it right.
    Corrected,
    /// A title, a remark, an address: no price in it.
    NoPrice,
    Total,
    /// A price with nothing that names a grade.
    NoName,
    /// Longer than any name of a grade.
    TooLong,
    /// Larger than any price can be.
    TooLarge,
    /// The outlet does not take it, or it is what something else costs: an exchange's metal, a truck.
    NotBought,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Why::Heading => "a heading",
            Why::ColumnNames => "the names of the columns",
            Why::GoesOn => "read with the line above",
            Why::Corrected => "put right further down",
            Why::NoPrice => "no price in it",
            Why::Total => "a total",
            Why::NoName => "a price without a name",
            Why::TooLong => "too long to be the name of a grade",
            Why::TooLarge => "a number too large to be a price",
            Why::NotBought => "nothing that is paid for here",
        })
    }
}

/// Something about one row that a person has to decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Doubt {
    /// The sheet names no unit; the outlet's usual one was taken.
    UnitAssumed,
    /// The sheet names no unit, and the outlet has no usual one.
    UnitMissing,
    /// `ton` means three masses; the one usual for the currency was taken.
    TonUnclear,
    /// The sheet's currency sign is shared, or is not the outlet's.
    CurrencyUnclear,
    /// A minus or brackets that may only be decoration.
    SignUnclear,
    /// The marks of the number can be read in two ways.
    MarksUnclear,
    /// Others are in cents and this in whole money, or the other way round, and nothing in the line says so.
    CentsUnclear,
    /// More than one price stands in the line; the first was taken.
    SeveralPrices,
    /// Two prices of the line in two units do not agree.
    UnitsDisagree,
    /// A bare number without decimals, sign or unit.
    BareNumber,
    /// Nothing stands where the others have a price.
    Blank,
    /// A price of zero.
    Zero,
    /// A price of more than 100,000.
    Large,
    /// A price so small that nobody weighs by the ton for it, where the line itself does not say that it is by the ton.
    Small,
    /// It was read from a picture.
    FromPicture,
    /// It was read from a picture, and in only one of several ways of cleaning it.
    ReadOnce,
}

impl Doubt {
    /// Whether a person has to answer before the row counts. An assumed unit is only shown: it is what the outlet is
    /// known to use.
    pub const fn asks(self) -> bool {
        !matches!(self, Doubt::UnitAssumed)
    }
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Doubt::UnitAssumed => "The sheet names no unit, so this outlet's usual one was taken.",
            Doubt::UnitMissing => "The sheet names no unit: choose one.",
            Doubt::TonUnclear => "“Ton” can be short, metric or gross: check which one is meant.",
            Doubt::CurrencyUnclear => "The currency sign does not say which currency is meant: check it.",
            Doubt::SignUnclear => "This may be a charge, or only a dash or brackets: check the sign.",
            Doubt::MarksUnclear => {
                "The comma or point in this number can be read in two ways: check the price."
            }
            Doubt::CentsUnclear => {
                "This may be cents or whole money, and other prices are in both: check it, and change the price if it was read wrong."
            }
            Doubt::SeveralPrices => "More than one price stands here and the first was taken: check it.",
            Doubt::UnitsDisagree => {
                "Two prices in two units stand here and do not agree: check which is right."
            }
            Doubt::BareNumber => "A bare number was taken for the price: check it.",
            Doubt::Blank => "No price stands here; it was read as “on request”.",
            Doubt::Zero => "The price is zero: check whether they take it for nothing or do not buy it.",
            Doubt::FromPicture => "This was read from a picture: compare it.",
            Doubt::ReadOnce => {
                "This was hard to read in the picture: compare name and price letter by letter."
            }
            Doubt::Large => "An unusually large price: check the number and its unit.",
            Doubt::Small => "An unusually small price for a whole ton: check its unit.",
        })
    }
}

/// Something about the whole sheet that a person has to know.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Problem {
    /// No price was found in the whole sheet.
    NoPrices,
    /// Some numbers use a decimal point and some a decimal comma.
    MixedMarks,
    /// A quotation mark that is never closed; quotation marks were read as plain text.
    OpenQuote(Place),
    /// Only the first rows were read.
    RowsCut { read: u32 },
    /// Only the first columns were read.
    ColumnsCut { read: u32 },
    /// Some cells or lines were longer than this many characters, and were cut.
    CellsCut { characters: u32 },
    /// A sheet of the workbook that the workbook hides; it was not read.
    HiddenSheet(String),
    /// The date of the sheet can be read in two ways; this one was taken.
    DateUnclear(Date),
    /// The sheet says it holds from a day that is still to come.
    DateAhead(Date),
    /// Bytes that are no character of the file's encoding.
    Undecoded,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Problem::NoPrices => f.write_str(
                "No prices were found. A line is read when it has a name and a number like 1.10, $1.10/lb or 45¢.",
            ),
            Problem::MixedMarks => f.write_str(
                "Some numbers use a decimal point and some a decimal comma: check the lines that are marked.",
            ),
            Problem::OpenQuote(place) => {
                write!(f, "A quotation mark that opens at {place} is never closed; it was read as plain text.")
            }
            Problem::RowsCut { read } => {
                write!(f, "Only the first {read} rows were read. Split the file to read the rest.")
            }
            Problem::ColumnsCut { read } => {
                write!(f, "Only the first {read} columns were read. Delete the columns that hold no prices.")
            }
            Problem::CellsCut { characters } => {
                write!(f, "Some cells are longer than {characters} characters; only their beginning was read.")
            }
            Problem::HiddenSheet(name) => write!(
                f,
                "The workbook hides its sheet “{name}”, and it was not read. Unhide and save it if it counts."
            ),
            Problem::DateUnclear(date) => {
                write!(f, "The sheet's date can be read in two ways; it was read as {date}.")
            }
            Problem::DateAhead(date) => {
                write!(f, "The sheet says that it holds from {date}, which is still to come.")
            }
            Problem::Undecoded => {
                f.write_str("Some characters could not be read and show as �. Save the file as UTF-8.")
            }
        }
    }
}
