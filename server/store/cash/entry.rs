//! An entry as it is made, and the document that it belongs to.

use jiff::civil::Date;
use rust_decimal::Decimal;
use sha2::{Digest, Sha256};
use trade::cash::Kind;
use trade::ids::{GradeId, OutletId};
use trade::money::{LARGEST_AMOUNT, Money};
use uuid::Builder;

/// What an amount or an hour was written down for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DocumentKind {
    Settlement,
    Shipment,
    Run,
    Pickup,
    /// One partner paid another: two entries that belong together.
    Transfer,
    /// What was paid for a shipment that was lost or broken, under the shipment's id.
    Claim,
}

impl DocumentKind {
    pub const ALL: [DocumentKind; 6] = [
        DocumentKind::Settlement,
        DocumentKind::Shipment,
        DocumentKind::Run,
        DocumentKind::Pickup,
        DocumentKind::Transfer,
        DocumentKind::Claim,
    ];

    pub const fn code(self) -> &'static str {
        match self {
            DocumentKind::Settlement => "settlement",
            DocumentKind::Shipment => "shipment",
            DocumentKind::Run => "run",
            DocumentKind::Pickup => "pickup",
            DocumentKind::Transfer => "transfer",
            DocumentKind::Claim => "claim",
        }
    }

    /// Whether its entries are made by hand, one by one, and so are undone.
    pub const fn is_by_hand(self) -> bool {
        matches!(self, DocumentKind::Transfer | DocumentKind::Claim)
    }

    pub fn from_code(code: &str) -> Option<DocumentKind> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }
}

/// The document that an entry belongs to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Document {
    pub kind: DocumentKind,
    pub id: String,
}

impl Document {
    pub fn new(kind: DocumentKind, id: impl Into<String>) -> Document {
        Document { kind, id: id.into() }
    }

    /// The id of one of the document's entries, always the same for the same `part` (`freight`, `line 3`): entered twice,
    /// it is in the book once.
    pub fn entry_id(&self, part: &str) -> String {
        let digest = Sha256::digest(format!("{} {} {part}", self.kind.code(), self.id));
        let mut bytes = [0; 16];
        bytes.copy_from_slice(&digest[..16]);
        Builder::from_custom_bytes(bytes).into_uuid().to_string()
    }
}

/// The rate by which an entry counts in home currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RateUsed {
    /// So much home currency was got for one of the amount's.
    Got(Decimal),
    /// The newest on file that is not after the entry's day. Where there is none, the entry waits for one.
    #[default]
    OnFile,
}

/// An entry to be made. Whatever is not its own business is left as [`NewEntry::new`] has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewEntry {
    /// Made by the page, or by [`Document::entry_id`].
    pub id: String,
    pub day: Date,
    pub kind: Kind,
    /// Above zero where it came in, below where it went out; see [`trade::cash::Way::signed`].
    pub amount: Money,
    pub rate: RateUsed,
    pub document: Option<Document>,
    pub outlet_id: Option<OutletId>,
    pub grade_id: Option<GradeId>,
    /// The pickup that it came from or went for.
    pub source_id: Option<String>,
    pub partner_id: Option<String>,
    pub note: String,
}

impl NewEntry {
    pub fn new(id: impl Into<String>, day: Date, kind: Kind, amount: Money) -> NewEntry {
        NewEntry {
            id: id.into(),
            day,
            kind,
            amount,
            rate: RateUsed::OnFile,
            document: None,
            outlet_id: None,
            grade_id: None,
            source_id: None,
            partner_id: None,
            note: String::new(),
        }
    }
}

/// Why the book takes no such entry. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CashRefusal {
    #[error("That is more than a book takes: {LARGEST_AMOUNT} is the most.")]
    TooLarge,
    #[error("A payout or a payment names the partner, and nothing else does. Choose the partner.")]
    Partner,
    #[error("It has been undone already. Look at the entry that undid it.")]
    Reversed,
    #[error("It only undoes or values another entry. Change that one instead.")]
    NoEntryOfItsOwn,
    #[error("It is in home currency already, so there is nothing to exchange.")]
    HomeCurrency,
    #[error("It belongs to a document. Correct it there, so that the two stay the same.")]
    OfDocument,
}

/// What became of an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Entered {
    New,
    /// It was in the book under this id, and is as it was.
    Before,
    /// An amount that rounds to nothing is no entry.
    Nothing,
}
