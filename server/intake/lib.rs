//! Reads a price sheet: bytes in, candidate quotes out, each beside its place in the source.
//!
//! [`detect`] says what kind of file it is, the file named after that format parses it into one model of tables and
//! lines (`document`), and `table` and `lines` adapt both to one kind of [`Row`]. [`Catalogue`] then proposes which
//! grade a row's wording means.
//!
//! [`rates`] reads the other list that comes from outside: a central bank's exchange rates.
//!
//! Pure: no clock, file or network. What could not be made sure is a [`Doubt`] of the row or a [`Problem`] of the
//! sheet, for a person to decide; only a file that cannot be read at all is an error.

#![cfg_attr(not(test), warn(clippy::unwrap_used))]

mod dashed;
mod format;
mod grade;
mod read;
mod sheet;
mod wording;
mod words;

mod delimited;
mod message;
mod pdf;
mod text;
mod web_page;
mod workbook;

mod columns;
mod cuts;
mod layout;
mod lines;
mod parts;
mod table;

mod decode;
mod document;
mod draft;
mod firm;
mod hints;

mod context;
mod date;
mod number;
mod paper;
mod price;
mod scan;
mod tier;
mod vocabulary;
mod wall;

pub mod photo;
pub mod rates;

pub use format::{Format, LARGEST_FILE, Unreadable, WorkbookKind, detect};
pub use grade::{Catalogue, Grade, How, Learned, PROPOSED_FROM, Proposal};
pub use hints::Hints;
pub use paper::{PaperRow, paper_rows};
pub use read::{read, read_alone};
pub use sheet::{Doubt, LeftOut, Place, Problem, Row, RowPrice, Sheet, Why};
pub use wording::normal_wording;
