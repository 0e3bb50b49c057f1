//! The book as a journal for plain-text accounting.
//!
//! It is in Beancount's format, because its checker is published for everybody and strict: every transaction has to balance
//! in every currency, every account has to be opened, and the balances at its end have to be what its entries add up to.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use axum::extract::State;
use axum::response::Response;
use futures_util::{StreamExt, stream};
use iso_currency::Currency;
use jiff::civil::Date;
use trade::cash::{Account, Kind};
use trade::money::Money;

use super::{attachment, pieces, streamed};
use crate::store::cash::CashEntry;
use crate::store::partners::PartnerRecord;
use crate::web::App;
use crate::web::failure::Failure;
use crate::web::page::Visitor;

/// The book as a journal.
pub async fn journal(State(app): State<App>, visitor: Visitor) -> Result<Response, Failure> {
    let shop_id = &visitor.shop.id;
    let last = app.store.cash_count(shop_id).await?;
    let people = app.store.people(shop_id).await?;
    let first = app.store.cash_piece(shop_id, None, last, 1).await?.first().map(|entry| entry.day);
    let accounts = Accounts::new(&people);
    let head = accounts.opened(&visitor.shop.name, visitor.home(), first.unwrap_or(visitor.today()));
    let home = visitor.home();
    let pieces = pieces(app.store.clone(), shop_id.clone(), last);
    let sums = Sums { by_currency: BTreeMap::new(), last: first };
    let body = stream::try_unfold((Box::pin(pieces), sums, accounts, false), move |state| async move {
        let (mut pieces, mut sums, accounts, ended) = state;
        if ended {
            return Ok(None);
        }
        let Some(piece) = pieces.next().await.transpose()? else {
            let end = sums.balances();
            return Ok(Some((end.into_bytes(), (pieces, sums, accounts, true))));
        };
        let mut text = String::new();
        for entry in piece.iter().filter(|entry| entry.values_id.is_none()) {
            sums.add(entry);
            accounts.write(&mut text, entry, home);
        }
        Ok(Some((text.into_bytes(), (pieces, sums, accounts, false))))
    });
    let body = stream::once(async move { Ok(head.into_bytes()) }).chain(body);
    Ok(attachment(&visitor, "text/plain; charset=utf-8", "beancount", streamed(body)))
}

/// What the journal's entries add up to.
struct Sums {
    by_currency: BTreeMap<&'static str, i64>,
    last: Option<Date>,
}

impl Sums {
    fn add(&mut self, entry: &CashEntry) {
        *self.by_currency.entry(entry.amount.currency.code()).or_default() += entry.amount.minor_units();
        self.last = Some(entry.day);
    }

    /// What is in the till in the morning after the last entry: the checker adds up again.
    fn balances(&self) -> String {
        let mut text = String::new();
        let Some(day) = self.last.and_then(|day| day.tomorrow().ok()) else { return text };
        for (code, units) in &self.by_currency {
            if let Some(currency) = Currency::from_code(code) {
                let amount = Money::from_minor_units(*units, currency).amount;
                let _ = writeln!(text, "{day} balance Assets:Cash  {amount} {code}");
            }
        }
        text
    }
}

/// The journal's accounts.
struct Accounts {
    /// A partner's account by their id.
    partners: BTreeMap<String, String>,
}

impl Accounts {
    fn new(people: &[PartnerRecord]) -> Accounts {
        let mut taken = BTreeSet::new();
        let mut partners = BTreeMap::new();
        for person in people {
            let plain = account_name(&person.partner.name);
            let name = (1..)
                .map(|nth| if nth == 1 { plain.clone() } else { format!("{plain}-{nth}") })
                .find(|name| !taken.contains(name))
                .unwrap_or_default();
            taken.insert(name.clone());
            partners.insert(person.partner.id.clone(), format!("Equity:Partners:{name}"));
        }
        Accounts { partners }
    }

    fn of(&self, entry: &CashEntry) -> &str {
        let partner = entry.partner.as_ref().and_then(|(id, _)| self.partners.get(id));
        match (entry.kind.account(), partner) {
            (Account::Partners, Some(account)) => account,
            (Account::Partners, None) => "Equity:Partners",
            _ => trade_account(entry.kind),
        }
    }

    fn opened(&self, shop: &str, home: Currency, day: Date) -> String {
        let mut text = format!(
            "option \"title\" {}\noption \"operating_currency\" \"{}\"\n\n",
            quoted(&format!("{shop}: cash book")),
            home.code()
        );
        let mut accounts = vec!["Assets:Cash", "Equity:Partners"];
        for kind in Kind::ALL.into_iter().filter(|kind| kind.is_trade()) {
            accounts.push(trade_account(kind));
        }
        accounts.extend(self.partners.values().map(String::as_str));
        for account in accounts {
            let _ = writeln!(text, "{day} open {account}");
        }
        text
    }

    /// A transaction: cash on one side, what it was for on the other. What had to be exchanged carries what it is worth.
    fn write(&self, text: &mut String, entry: &CashEntry, home: Currency) {
        let code = entry.amount.currency.code();
        let payee = entry.outlet.as_ref().map(|(_, name)| name.as_str());
        let payee = payee.or(entry.partner.as_ref().map(|(_, name)| name.as_str())).unwrap_or_default();
        let mut about = vec![entry.kind.label()];
        about.extend(entry.grade.as_ref().map(|(_, name)| name.as_str()));
        about.extend(Some(entry.note.as_str()).filter(|note| !note.is_empty()));
        let worth = match entry.worth {
            Some(units) if entry.amount.currency != home => {
                let worth = Money::from_minor_units(units, home).amount.abs();
                format!(" @@ {worth} {}", home.code())
            }
            _ => String::new(),
        };
        let _ = writeln!(text, "\n{} * {} {}", entry.day, quoted(payee), quoted(&about.join(", ")));
        let _ = writeln!(text, "  number: {}", entry.n);
        if let Some(document) = &entry.document {
            let _ = writeln!(
                text,
                "  document: {}",
                quoted(&format!("{} {}", document.kind.code(), document.id))
            );
        }
        if let Some(source) = &entry.source_id {
            let _ = writeln!(text, "  source: {}", quoted(source));
        }
        let amount = entry.amount.amount;
        let _ = writeln!(text, "  Assets:Cash  {amount} {code}{worth}");
        let _ = writeln!(text, "  {}  {} {code}{worth}", self.of(entry), -amount);
    }
}

fn trade_account(kind: Kind) -> &'static str {
    match kind {
        Kind::Sale => "Income:Sales",
        Kind::Purchase => "Expenses:Purchases",
        Kind::Fee => "Expenses:Fees",
        Kind::Freight => "Expenses:Freight",
        Kind::Box => "Expenses:Boxes",
        Kind::Trip => "Expenses:Trips",
        Kind::Labour => "Expenses:Wages",
        Kind::Border => "Expenses:Border",
        Kind::Claim => "Income:Claims",
        Kind::Other => "Expenses:Other",
        Kind::Payout | Kind::PaidIn => "Equity:Partners",
    }
}

/// A name as a part of an account: capital letters, small ones, digits and dashes.
fn account_name(name: &str) -> String {
    let plain: String = name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let mut letters = plain.trim_matches('-').chars();
    match letters.next() {
        Some(first) => first.to_ascii_uppercase().to_string() + letters.as_str(),
        None => "Partner".to_string(),
    }
}

/// A text in quotation marks, on one line.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_accounts_and_texts_stay_on_a_line() {
        assert_eq!(account_name("imke de Vries"), "Imke-de-Vries");
        assert_eq!(account_name("Łukasz"), "Ukasz");
        assert_eq!(account_name("株式"), "Partner");
        assert_eq!(quoted("a \"b\" \\ c\nd"), "\"a \\\"b\\\" \\\\ c d\"");
    }
}
