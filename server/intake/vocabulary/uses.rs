//! What words can do in a line, and what columns hold.

use serde::Deserialize;

/// What a word can do in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Use {
    Per,
    Ton,
    /// Behind a name, and no part of it.
    Aside,
    OnRequest,
    Charge,
    Free,
    /// A heading with it stands above what the outlet pays for.
    Pays,
    Total,
    /// It may say that prices hold from the day behind it.
    ValidFrom,
    /// It says so, and nothing else.
    Announces,
    /// The title of a sheet.
    Title,
    /// Between these and their day.
    BeforeDay,
    /// Of a language that writes no days with dots alone.
    NoDottedDay,
    /// It is about when the outlet is open.
    Opening,
    ValidUntil,
    WholeSheet,
    Label,
    Measure,
    MeasureAttached,
    Remark,
    Sentence,
    Filler,
    Group,
    TierFrom,
    TierTo,
    Range,
    /// Behind a price: it holds beyond the mass that the one before holds up to.
    Beyond,
    /// In front of, and between, the two masses of a span.
    SpanFrom,
    SpanTo,
    /// A heavy thing, of which a small mass is one piece's.
    HeavyPiece,
    /// The least that the outlet takes at all.
    Least,
    Change,
    Cents,
    AnyTier,
    /// All masses, as a cell says it.
    AnyMass,
    /// It speaks of the first of the numbers behind each name,
    FirstNumber,
    /// or of the second.
    SecondNumber,
    /// Between a price and the name behind it, in a sentence.
    For,
    /// In front of a name, in a sentence.
    Lead,
    /// Between a name and the price behind it, in a sentence.
    BeforePrice,
    /// In front of what has to be so for the price behind it: `si me juntan 500 kg $6.20`.
    If,
    /// In a sentence, a word for what the outlet does.
    Paying,
    /// In what is spoken, it stands around names and is part of none: `uh, he said the eighty percent wire`.
    Spoken,
    /// A number that is spoken, of those that prices are.
    NumberWord,
    /// It greets somebody.
    Greeting,
    /// A large lot that has a price of its own.
    Bulk,
    NoPriceBehind,
    Market,
    /// What an exchange quotes, in whatever words around it.
    Quoted,
    /// Behind an amount: it is for what the yard lends or brings.
    Lent,
    /// A unit behind a number, and elsewhere another word.
    Counted,
    /// Beside what another outlet pays.
    Elsewhere,
    /// A metal that is quoted by the ounce on exchanges.
    Precious,
    Pence,
    PhoneLabel,
    /// It tells of a price paid before.
    Past,
    /// In the name of a column of prices: those before.
    Former,
    /// Told of what was paid before, and of nothing else.
    WasPaid,
    /// The whole name of a day of the week.
    Weekday,
    /// In the place of a price: it is not taken.
    Refused,
    /// It tells of a price paid now.
    Present,
    /// Around times of a day.
    Hours,
    /// In front of a week's number.
    Week,
    /// A word for a minus.
    Negative,
    /// It says that something is not there, behind it,
    Absent,
    /// or before it.
    Removed,
    /// It says what comes along.
    Beside,
    /// Something that the outlet sells, and no scrap.
    Service,
    /// Whose messages in a chat are the shop's own.
    Oneself,
    /// What stands behind it puts right what was said before.
    Correction,
    /// Around a ruled line: the message below is an older one.
    OlderMessage,
    /// At the end of a line above an older message.
    Wrote,
    /// The name of a month.
    Month,
    /// A unit's name begins with it.
    UnitStart,
    /// Several words that have a use together begin with it.
    Starts,
    /// Right before a price that was paid before.
    Was,
    /// Between two prices of one thing.
    Otherwise,
    /// Before an amount that limits what is paid or taken.
    Limit,
    /// In the name of a firm.
    Firm,
    /// Before the number of a page,
    Page,
    /// and at the beginning of a line only.
    Leaf,
    /// As a word of plain letters, it can mean a currency.
    Currency,
}

/// All that a word can do, as a set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Uses(u128);

impl Uses {
    pub fn has(self, is: Use) -> bool {
        self.0 & (1 << is as u32) != 0
    }

    pub fn and(self, other: Uses) -> Uses {
        Uses(self.0 | other.0)
    }
}

impl From<Use> for Uses {
    fn from(is: Use) -> Uses {
        Uses(1 << is as u32)
    }
}

/// What a column of a table holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Column {
    Wording,
    Group,
    Price,
    Charge,
    Low,
    High,
    Unit,
    Currency,
    TierFrom,
    TierTo,
    Note,
    /// The day the row's price holds from.
    Date,
    /// Last week's price, an item number, a quantity: nothing that is read.
    Other,
}
