//! A central bank's published list of exchange rates: bytes in, rates out.
//!
//! Two layouts are known, told apart by their header line. Both have a day a line and a currency a column.
//!
//! - European Central Bank, euro foreign exchange reference rates (`eurofxref.csv`, `eurofxref-hist.csv`): the header
//!   `Date,USD,JPY,…`, units of the currency for one euro, `N/A` where there was none, often a comma at the end; days
//!   as `2026-05-12` in the history and `12 May 2026` in the daily file.
//! - Bank of Canada, Valet observations as CSV: a few sections of words, then the header `"date","FXUSDCAD",…`, each
//!   column named by its pair: Canadian dollars for one US dollar; an empty cell where there was none.

use std::collections::BTreeMap;

use encoding_rs::UTF_8;
use iso_currency::Currency;
use jiff::civil::Date;
use rust_decimal::Decimal;
use trade::exchange::{LARGEST_RATE, LEAST_RATE, Rate};

/// The largest list that is read, in bytes. The European history, some 7,000 days of 41 currencies, is near 2 MB and
/// grows by a twentieth of that a year.
pub const LARGEST_LIST: usize = 4 * 1024 * 1024;

/// What of a list is wanted: these currencies against the bank's own, on days from `first` to `last`.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    pub currencies: &'a [Currency],
    pub first: Date,
    /// Today: a rate of a later day is a slip.
    pub last: Date,
}

/// What a list says, and what of it could not be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RateList {
    pub publication: Publication,
    /// By day, oldest first; one for each day and pair.
    pub rates: Vec<Rate>,
    /// Lines from before the first day that is wanted.
    pub older: usize,
    /// Column heads that name no currency of ISO 4217 as it stands today.
    pub unknown: Vec<String>,
    /// Wanted currencies that the list does not quote.
    pub absent: Vec<Currency>,
    /// Lines that are wrong, with their number in the file.
    pub slips: Vec<(u64, Slip)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Publication {
    EuropeanCentralBank,
    BankOfCanada,
}

impl Publication {
    pub const fn name(self) -> &'static str {
        match self {
            Publication::EuropeanCentralBank => "European Central Bank, euro reference rates",
            Publication::BankOfCanada => "Bank of Canada, Valet",
        }
    }

    /// The currency that the bank quotes the others against.
    pub const fn own(self) -> Currency {
        match self {
            Publication::EuropeanCentralBank => Currency::EUR,
            Publication::BankOfCanada => Currency::CAD,
        }
    }
}

/// What is wrong with a line. All of the line is left out, except where a cell is named: then the cell is.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Slip {
    #[error("“{0}” is not a date")]
    Date(String),
    #[error("{0} is still to come")]
    Future(Date),
    #[error("it has {found} cells where the header has {expected}")]
    Cells { found: usize, expected: usize },
    #[error("“{text}” under {head} is not a rate")]
    Rate { head: String, text: String },
    #[error("{date} stood above already; the later line counts")]
    Again { date: Date },
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RateListError {
    #[error("The file is larger than 4 MB, which is more than either bank's whole history.")]
    TooLarge,
    #[error("The file is empty.")]
    Empty,
    #[error(
        "No line in it is the header of a list that is known here: “Date,USD,JPY,…” of the European Central Bank, or \
         “date,FXUSDCAD,…” of the Bank of Canada. Download the list as CSV and choose that file, unpacked."
    )]
    NoHeader,
    #[error("The header names {0} twice, so it is not clear which column holds.")]
    Twice(String),
}

/// How far into a file its header is looked for, in lines: above it stand a few words for each series.
const HEADER_WITHIN: usize = 500;

/// Reads a list. What cannot be read of it is counted and named; only a file that is no such list is an error.
pub fn read(bytes: &[u8], wanted: &Wanted<'_>) -> Result<RateList, RateListError> {
    if bytes.len() > LARGEST_LIST {
        return Err(RateListError::TooLarge);
    }
    // Both lists are plain ASCII; a byte order mark of UTF-8 or UTF-16 from a spreadsheet is minded.
    let (text, _, _) = UTF_8.decode(bytes);
    if text.trim().is_empty() {
        return Err(RateListError::Empty);
    }
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    // Text that has been decoded has no bytes left to fail on.
    let mut lines = reader.records().map_while(Result::ok);
    let header = lines.by_ref().take(HEADER_WITHIN).find_map(|line| Header::read(&line));
    let header = header.ok_or(RateListError::NoHeader)?;
    if let Some(head) = header.twice() {
        return Err(RateListError::Twice(head));
    }
    let mut body = Body::default();
    let columns = header.wanted(wanted);
    for line in lines {
        let number = line.position().map_or(0, csv::Position::line);
        if let Err(slip) = body.add(&line, number, &header, &columns, wanted) {
            body.slips.push((number, slip));
        }
    }
    let rates = body
        .rates
        .into_iter()
        .map(|((date, column), rate)| Rate {
            date,
            base: columns[column].base,
            quote: columns[column].quote,
            rate,
        })
        .collect();
    Ok(RateList {
        publication: header.publication,
        rates,
        older: body.older,
        unknown: header.unknown(),
        absent: header.absent(wanted),
        slips: body.slips,
    })
}

/// The header line: which bank's it is, and what stands in each column after the date.
struct Header {
    publication: Publication,
    heads: Vec<Head>,
}

/// The head of a column, and its pair if it names one: units of `quote` for one of `base`.
struct Head {
    text: String,
    pair: Option<(Currency, Currency)>,
}

/// A column that is wanted.
struct Column {
    index: usize,
    base: Currency,
    quote: Currency,
}

impl Header {
    fn read(line: &csv::StringRecord) -> Option<Header> {
        let mut cells = line.iter();
        if !cells.next()?.eq_ignore_ascii_case("date") {
            return None;
        }
        let mut texts: Vec<&str> = cells.collect();
        // The comma at the end of a line makes an empty cell.
        while texts.last().is_some_and(|text| text.is_empty()) {
            texts.pop();
        }
        let capitals =
            |text: &str, length| text.len() == length && text.bytes().all(|b| b.is_ascii_uppercase());
        let publication = if texts.iter().any(|text| text.starts_with("FX") && capitals(text, 8)) {
            Publication::BankOfCanada
        } else if texts.iter().any(|text| capitals(text, 3)) {
            Publication::EuropeanCentralBank
        } else {
            return None;
        };
        let pair = |text: &str| match publication {
            Publication::EuropeanCentralBank => Some((Currency::EUR, Currency::from_code(text)?)),
            Publication::BankOfCanada => {
                let codes = text.strip_prefix("FX").filter(|codes| capitals(codes, 6))?;
                let (base, quote) = codes.split_at(3);
                Some((Currency::from_code(base)?, Currency::from_code(quote)?))
            }
        };
        let heads = texts.iter().map(|text| Head { text: shortened(text), pair: pair(text) }).collect();
        Some(Header { publication, heads })
    }

    fn twice(&self) -> Option<String> {
        self.heads.iter().enumerate().find_map(|(index, head)| {
            let again = self.heads[..index].iter().any(|earlier| earlier.pair == head.pair);
            (head.pair.is_some() && again).then(|| head.text.clone())
        })
    }

    fn unknown(&self) -> Vec<String> {
        self.heads.iter().filter(|head| head.pair.is_none()).map(|head| head.text.clone()).collect()
    }

    /// The other currency of a pair with the bank's own.
    fn other(&self, (base, quote): (Currency, Currency)) -> Currency {
        if base == self.publication.own() { quote } else { base }
    }

    fn wanted(&self, wanted: &Wanted<'_>) -> Vec<Column> {
        let pairs = self.heads.iter().enumerate().filter_map(|(index, head)| Some((index, head.pair?)));
        pairs
            .filter(|(_, pair)| wanted.currencies.contains(&self.other(*pair)))
            .map(|(index, (base, quote))| Column { index, base, quote })
            .collect()
    }

    fn absent(&self, wanted: &Wanted<'_>) -> Vec<Currency> {
        let quoted: Vec<_> = self.heads.iter().filter_map(|head| Some(self.other(head.pair?))).collect();
        let is_absent =
            |currency: &Currency| *currency != self.publication.own() && !quoted.contains(currency);
        wanted.currencies.iter().copied().filter(is_absent).collect()
    }
}

#[derive(Default)]
struct Body {
    /// By day and position among the wanted columns.
    rates: BTreeMap<(Date, usize), Decimal>,
    older: usize,
    slips: Vec<(u64, Slip)>,
}

impl Body {
    /// Takes in one line. An error leaves the whole line out.
    fn add(
        &mut self,
        line: &csv::StringRecord,
        number: u64,
        header: &Header,
        columns: &[Column],
        wanted: &Wanted<'_>,
    ) -> Result<(), Slip> {
        let mut cells = line.iter();
        let first = cells.next().unwrap_or_default();
        let date = date(first).ok_or_else(|| Slip::Date(shortened(first)))?;
        let cells: Vec<&str> = cells.collect();
        let expected = header.heads.len();
        // With a cell too few or too many, a rate may stand under the wrong head.
        if cells.len() < expected || cells[expected..].iter().any(|cell| !cell.is_empty()) {
            return Err(Slip::Cells { found: cells.len() + 1, expected: expected + 1 });
        }
        if date < wanted.first {
            self.older += 1;
            return Ok(());
        }
        if date > wanted.last {
            return Err(Slip::Future(date));
        }
        let mut again = false;
        for (at, column) in columns.iter().enumerate() {
            let text = cells[column.index];
            if text.is_empty() || text.eq_ignore_ascii_case("n/a") {
                continue;
            }
            match text.parse::<Decimal>().ok().filter(|rate| (LEAST_RATE..=LARGEST_RATE).contains(rate)) {
                Some(rate) => again |= self.rates.insert((date, at), rate).is_some(),
                None => {
                    let head = header.heads[column.index].text.clone();
                    self.slips.push((number, Slip::Rate { head, text: shortened(text) }));
                }
            }
        }
        if again { Err(Slip::Again { date }) } else { Ok(()) }
    }
}

/// `2026-05-12` or `12 May 2026`.
fn date(text: &str) -> Option<Date> {
    text.parse().or_else(|_| Date::strptime("%d %B %Y", text)).ok()
}

/// A piece of the file to show: a cell can be as long as the file.
fn shortened(text: &str) -> String {
    match text.char_indices().nth(24) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;
    use proptest::prelude::*;
    use rust_decimal::dec;

    const SHOP: [Currency; 2] = [Currency::USD, Currency::CAD];

    fn list(text: &str) -> Result<RateList, RateListError> {
        read(text.as_bytes(), &Wanted { currencies: &SHOP, first: date(2026, 1, 1), last: date(2026, 5, 13) })
    }

    fn rates(list: &RateList) -> Vec<String> {
        let show = |r: &Rate| format!("{} 1 {} = {} {}", r.date, r.base.code(), r.rate, r.quote.code());
        list.rates.iter().map(show).collect()
    }

    // Layout: European Central Bank, euro foreign exchange reference rates, file eurofxref-hist.csv (header from
    // `Date,USD,JPY,BGN,CYP,…`, gaps `N/A`, a comma at the end of each line), seen in several public readers of that
    // file. The figures are invented.
    #[test]
    fn the_european_history_is_read() {
        let list = list(
            "Date,USD,JPY,CYP,CAD,TRL,\n\
             2026-05-12,1.25,150.5,N/A,1.50,N/A,\n\
             2026-05-11,1.24,150.4,N/A,N/A,N/A,\n\
             2025-12-31,1.10,140.0,N/A,1.40,N/A,\n",
        )
        .unwrap();
        assert_eq!(list.publication, Publication::EuropeanCentralBank);
        assert_eq!(
            rates(&list),
            ["2026-05-11 1 EUR = 1.24 USD", "2026-05-12 1 EUR = 1.25 USD", "2026-05-12 1 EUR = 1.50 CAD"]
        );
        assert_eq!((list.older, list.unknown, list.absent), (1, vec!["CYP".into(), "TRL".into()], vec![]));
        assert_eq!(list.slips, []);
    }

    // Layout: the same bank's eurofxref.csv of one day: a blank after each comma, the month in words. Seen likewise.
    #[test]
    fn the_european_list_of_one_day_is_read() {
        let list = list("Date, USD, JPY, CAD, \n12 May 2026, 1.25, 150.5, 1.50, \n").unwrap();
        assert_eq!(rates(&list), ["2026-05-12 1 EUR = 1.25 USD", "2026-05-12 1 EUR = 1.50 CAD"]);
        assert_eq!(list.slips, []);
    }

    // Layout: Bank of Canada, Valet web service, /observations/group/FX_RATES_DAILY/csv: the sections TERMS AND
    // CONDITIONS, SERIES and OBSERVATIONS with every cell in quotes, seen in public readers of that service. An empty
    // cell for a missing rate is from memory. The figures are invented.
    #[test]
    fn the_canadian_list_is_read() {
        let list = list(concat!(
            "\"TERMS AND CONDITIONS\"\n\"https://www.bankofcanada.ca/terms/\"\n\n\"SERIES\"\n",
            "\"id\",\"label\",\"description\"\n\"FXEURCAD\",\"EUR/CAD\",\"Euro to Canadian dollar\"\n",
            "\"FXUSDCAD\",\"USD/CAD\",\"US dollar to Canadian dollar\"\n\n\"OBSERVATIONS\"\n",
            "\"date\",\"FXEURCAD\",\"FXUSDCAD\"\n",
            "\"2026-05-11\",\"1.51\",\"\"\n",
            "\"2026-05-12\",\"1.50\",\"1.20\"\n",
        ))
        .unwrap();
        assert_eq!(list.publication, Publication::BankOfCanada);
        assert_eq!(rates(&list), ["2026-05-12 1 USD = 1.20 CAD"]);
        assert_eq!((list.absent, list.slips), (vec![], vec![]));
    }

    #[test]
    fn slips_are_named_by_line_and_the_rest_is_kept() {
        let list = list(
            "Date,USD,CAD,\n\
             2026-05-12,1.25,1.50,\n\
             12/05/2026,1.25,1.50,\n\
             2026-05-11,1.25\n\
             2026-05-10,1.25,1.50,9,\n\
             2026-05-14,1.25,1.50,\n\
             2026-05-09,-1.25,1.50,\n\
             2026-05-08,abc,1.49,\n\
             2026-05-08,1.24,1.48,\n\
             2026-02-30,1.24,1.48,\n",
        )
        .unwrap();
        let slips: Vec<_> = list.slips.iter().map(|(line, slip)| format!("{line}: {slip}")).collect();
        assert_eq!(
            slips,
            [
                "3: “12/05/2026” is not a date",
                "4: it has 2 cells where the header has 3",
                "5: it has 5 cells where the header has 3",
                "6: 2026-05-14 is still to come",
                "7: “-1.25” under USD is not a rate",
                "8: “abc” under USD is not a rate",
                "9: 2026-05-08 stood above already; the later line counts",
                "10: “2026-02-30” is not a date",
            ]
        );
        assert_eq!(
            rates(&list),
            [
                "2026-05-08 1 EUR = 1.24 USD",
                "2026-05-08 1 EUR = 1.48 CAD",
                "2026-05-09 1 EUR = 1.50 CAD",
                "2026-05-12 1 EUR = 1.25 USD",
                "2026-05-12 1 EUR = 1.50 CAD",
            ]
        );
    }

    #[test]
    fn other_files_are_refused_with_the_reason() {
        for (text, error) in [
            ("", RateListError::Empty),
            ("\n \n", RateListError::Empty),
            ("Grade,Price\nNo. 1 copper,3.10\n", RateListError::NoHeader),
            ("Date,Price\n2026-05-12,3.10\n", RateListError::NoHeader),
            ("Date,USD,CAD,USD\n", RateListError::Twice("USD".into())),
            ("date,FXUSDCAD,FXUSDCAD\n", RateListError::Twice("FXUSDCAD".into())),
        ] {
            assert_eq!(list(text), Err(error), "{text}");
        }
        assert_eq!(list(&"x".repeat(LARGEST_LIST + 1)), Err(RateListError::TooLarge));
        let absent = list("Date,JPY,USD\n2026-05-12,150,1.25\n").unwrap().absent;
        assert_eq!(absent, [Currency::CAD]);
    }

    #[test]
    fn a_list_saved_by_a_spreadsheet_as_utf_16_is_read() {
        let text = "\u{feff}Date,USD\r\n2026-05-12,1.25\r\n";
        let bytes: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let wanted = Wanted { currencies: &SHOP, first: date(2026, 1, 1), last: date(2026, 5, 13) };
        assert_eq!(read(&bytes, &wanted).unwrap().rates[0].rate, dec!(1.25));
    }

    /// A line as it could go wrong: days around both ends, cells that are rates, gaps, signs and rubbish.
    fn line() -> impl Strategy<Value = String> {
        let cell = prop_oneof![
            "[0-9]{1,9}",
            "-?[0-9]{0,3}\\.[0-9]{1,30}",
            Just("N/A".to_string()),
            "[\"a-z, ]{0,4}",
        ];
        ("202[5-7]-[01][0-9]-[0-3][0-9]", prop::collection::vec(cell, 1..4))
            .prop_map(|(day, cells)| format!("{day},{}\n", cells.join(",")))
    }

    proptest! {
        /// Whatever the file holds, what comes out is a rate within bounds on a day that was asked for.
        #[test]
        fn nothing_impossible_comes_out(lines in prop::collection::vec(line(), 0..12)) {
            let list = list(&format!("Date,USD,CAD\n{}", lines.concat())).unwrap();
            for rate in &list.rates {
                prop_assert!(rate.rate >= LEAST_RATE && rate.rate <= LARGEST_RATE);
                prop_assert!(rate.date >= date(2026, 1, 1) && rate.date <= date(2026, 5, 13));
                prop_assert_eq!(rate.base, Currency::EUR);
            }
        }
    }
}
