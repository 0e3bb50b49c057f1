//! The heading that rows of a table stand under.

use crate::context::{Context, heading_name};
use crate::draft::Charge;
use crate::number::Marks;
use crate::parts::charge;
use crate::scan::Scan;
use crate::tier::{TierText, of_heading};

#[derive(Debug, Clone)]
pub(super) struct Heading {
    pub name: Option<String>,
    pub context: Context,
    /// It stands beneath the names of the columns, and so knows better than they.
    pub beneath: bool,
    pub charge: Charge,
    /// From which mass on the names below it have their prices.
    pub tier: Option<TierText>,
}

impl Heading {
    pub fn of(name: Option<&str>, context: Context) -> Heading {
        Heading {
            name: name.map(str::to_string),
            context,
            beneath: false,
            charge: name.map_or(Charge::No, charge),
            tier: None,
        }
    }

    /// The heading that stands below this one, or beneath the names of the columns.
    pub fn then(&self, text: &str, marks: Marks) -> Heading {
        let scan = Scan::of(text);
        let beneath = Heading::of(Some(heading_name(text)), Context::of(text, false));
        let heading = Heading { beneath: true, ..beneath };
        match of_heading(&scan, marks) {
            // `Over 500 lb` completes the heading above it.
            Some((within, true)) => Heading { tier: Some(within.tier), ..self.clone() },
            Some((within, false)) => {
                let bare = within.cut_from(&scan, heading_name(text));
                Heading { tier: Some(within.tier), name: bare.or(heading.name), ..heading }
            }
            None => heading,
        }
    }

    /// What holds for a row of this heading, in a column whose name says `of_column`.
    pub fn around(&self, of_column: &Context) -> Context {
        match self.beneath {
            true => self.context.within(of_column),
            false => of_column.within(&self.context),
        }
    }

    pub fn none() -> Heading {
        Heading::of(None, Context::default())
    }
}
