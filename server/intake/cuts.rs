//! Texts of a document, each cut into tokens once, with what was found in it: most cells say what others have said.

use std::cell::{Cell, OnceCell, RefCell};
use std::collections::HashMap;
use std::rc::Rc;

use crate::context::Context;
use crate::number::Marks;
use crate::price::{self, PriceText, Strength, UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::table::{CellName, CellPrice};
use crate::vocabulary::Use;

/// So many tokens of texts are kept, which is those of any price sheet; a text of its own counts as a few more.
const MOST_KEPT: usize = 200_000;
const OWN: usize = 8;

/// A text, cut. What is asked of it is worked out when it is first asked, by the marks of its document.
#[derive(Debug)]
pub(crate) struct Cut<'t> {
    pub scan: Scan<'t>,
    prices: OnceCell<Vec<PriceText>>,
    // Each text is asked for one of these only.
    said: OnceCell<Box<Said>>,
    price: OnceCell<Box<CellPrice>>,
    name: OnceCell<Box<CellName>>,
}

/// What a cell of units or currencies says.
#[derive(Debug)]
pub(crate) struct Said {
    /// The unit that it begins with.
    pub unit: Option<UnitText>,
    pub context: Context,
}

impl<'t> Cut<'t> {
    pub fn of(text: &'t str) -> Cut<'t> {
        Cut {
            scan: Scan::of(text),
            prices: OnceCell::new(),
            said: OnceCell::new(),
            price: OnceCell::new(),
            name: OnceCell::new(),
        }
    }

    pub fn prices(&self, marks: Marks) -> &[PriceText] {
        self.prices.get_or_init(|| price::prices(&self.scan, marks))
    }

    pub fn said(&self) -> &Said {
        self.said.get_or_init(|| {
            Box::new(Said {
                unit: unit_words(&self.scan, 0).map(|(unit, _)| unit),
                context: Context::within_scan(&self.scan, true),
            })
        })
    }

    /// What it says as the name of a grade.
    pub fn name(&self, marks: Marks) -> &CellName {
        self.name.get_or_init(|| Box::new(CellName::of(&self.scan, marks)))
    }

    /// What it says in a column of prices.
    pub fn price(&self, marks: Marks) -> &CellPrice {
        self.price.get_or_init(|| Box::new(CellPrice::of_text(self, marks)))
    }

    /// How sure it is that the text is nothing but a price, with its currency and unit.
    pub fn strength(&self, marks: Marks) -> Option<Strength> {
        // Names begin with a word, and prices with none but a currency's.
        let named = self.scan.kind(0) == Some(Kind::Word) && !self.scan.is_currency(0);
        if named && !self.scan.is(0, Use::Negative) {
            return None;
        }
        let price = self.prices(marks).first()?;
        let rest = (0..price.first).chain(price.last..self.scan.tokens.len());
        let stray = rest.filter(|&i| matches!(self.scan.kind(i), Some(Kind::Word | Kind::Fact))).count();
        (stray == 0).then_some(price.strength)
    }

    /// Whether it is surely a price.
    pub fn is_price(&self, marks: Marks) -> bool {
        self.scan.text.contains(|c: char| c.is_ascii_digit()) && self.strength(marks) > Some(Strength::Weak)
    }
}

/// The texts that were cut so far.
#[derive(Debug)]
pub(crate) struct Cuts<'d> {
    cuts: RefCell<HashMap<&'d str, Rc<Cut<'d>>>>,
    left: Cell<usize>,
    nothing: Rc<Cut<'d>>,
}

impl<'d> Cuts<'d> {
    pub fn new() -> Self {
        Cuts { cuts: RefCell::default(), left: Cell::new(MOST_KEPT), nothing: Rc::new(Cut::of("")) }
    }

    pub fn of(&self, text: &'d str) -> Rc<Cut<'d>> {
        if text.is_empty() {
            return Rc::clone(&self.nothing);
        }
        if let Some(cut) = self.cuts.borrow().get(text) {
            return Rc::clone(cut);
        }
        let cut = Rc::new(Cut::of(text));
        if let Some(left) = self.left.get().checked_sub(cut.scan.tokens.len() + OWN) {
            self.left.set(left);
            self.cuts.borrow_mut().insert(text, Rc::clone(&cut));
        }
        cut
    }
}
