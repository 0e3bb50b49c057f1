//! The heading that lines stand under.

use trade::money::PriceUnit;

use crate::context::{Context, heading_name, names_goods};
use crate::draft::Charge;
use crate::firm::{is_firm, may_be_firm};
use crate::number::Marks;
use crate::parts::charge;
use crate::price::{UnitText, unit_words};
use crate::scan::{Kind, Scan};
use crate::sheet::Place;
use crate::tier::{TierText, Within};
use crate::vocabulary::{Use, VOCABULARY};

#[derive(Debug, Clone, Default)]
pub(super) struct Heading {
    pub name: String,
    pub source: String,
    pub context: Context,
    pub charge: Charge,
    /// It may be a title: it names only tiers that stand right below it.
    pub perhaps: bool,
    /// Prices without a name stood right below it, so it is a name itself.
    pub is_name: bool,
    /// The heading that stood before it, which this one may complete: `Copper`, then `Bare bright`, then tiers.
    pub above: Option<String>,
    /// What that heading says of prices; it holds for a name below it, but not for another group.
    pub context_above: Context,
    /// What it says from which mass on names below it have their prices, and whether it says nothing else: `Over 500 lb`.
    pub tier: Option<TierText>,
    pub is_tier: bool,
    /// What names below it are completed by.
    pub group: Option<String>,
    /// It may be the name of a grade rather than of a group.
    pub may_be_name: bool,
    /// It stands at the head of the sheet and has a word that may be the yard's name.
    pub may_be_firm: bool,
    /// The last line below it that begins with a dash or the like.
    pub dashed: Option<Place>,
}

/// `*** E-SCRAP – EACH ***`
fn each_behind_a_mark(scan: &Scan<'_>) -> Option<UnitText> {
    let last = (0..scan.tokens.len()).rfind(|&at| scan.kind(at) == Some(Kind::Word))?;
    // `Boards – PC`
    let computer = scan.word(last).eq_ignore_ascii_case("pc");
    let marked = last > 1 && scan.kind(last - 1) == Some(Kind::Dash) && !computer;
    let each = UnitText::Unit(PriceUnit::Each);
    unit_words(scan, last).map(|(unit, _)| unit).filter(|unit| marked && *unit == each)
}

impl Heading {
    /// The heading that a line is, below the one `before` it; `opens` where no price has been read yet.
    pub fn below(
        before: Option<Heading>,
        text: &str,
        scan: &Scan<'_>,
        tier: Option<(Within, bool)>,
        opens: bool,
    ) -> Heading {
        let name = heading_name(text);
        let is_tier = tier.is_some_and(|(_, is_all)| is_all);
        // Before the first price, a title looks like a heading; only the trade's words, or marks, make it one.
        let marked = text.ends_with(':') || text.starts_with(['=', '*', '#', '-']);
        let known = names_goods(name);
        // At the head of a sheet, the yard's name has words of the trade, too.
        let at_head = opens && before.as_ref().is_none_or(|heading| heading.perhaps);
        let firm = at_head && !text.ends_with(':') && is_firm(text);
        let mut context = Context::of(text, false);
        context.unit = context.unit.or_else(|| each_behind_a_mark(scan));
        // `but in pounds:` and `verstehen sich netto in EUR/t:` are the ends of sentences.
        let of_prices = !context.is_empty() && !known && name.starts_with(char::is_lowercase);
        let mut charge = charge(text);
        // A tier alone stands below the heading before it.
        if let Some(before) = before.as_ref().filter(|before| is_tier && !before.perhaps) {
            context = context.within(&before.context);
            charge = charge.or(before.charge);
        }
        let (above, context_above) = Heading::group_above(before);
        let bare = tier.and_then(|(within, _)| within.cut_from(scan, name));
        let single = VOCABULARY.has_within(name, Use::Group) && name.split_whitespace().count() == 1;
        Heading {
            group: match (is_tier, of_prices) {
                (true, _) => above.clone(),
                (_, true) => None,
                _ => Some(bare.unwrap_or_else(|| name.to_string())),
            },
            name: name.to_string(),
            source: text.to_string(),
            context,
            charge,
            perhaps: firm || !(known || marked || is_tier || !opens),
            is_name: false,
            above,
            context_above,
            tier: tier.map(|(within, _)| within.tier),
            is_tier,
            may_be_firm: at_head && may_be_firm(text),
            may_be_name: !marked && !single,
            dashed: None,
        }
    }

    /// A line that names nothing, and says what the prices below it are in: `In EUR/kg vergüten wir:`.
    pub fn of_prices(text: &str, context: Context) -> Heading {
        Heading { source: text.to_string(), context, ..Heading::default() }
    }

    /// The heading that a name right below this one stands under, and what it says of prices.
    pub fn group_above(before: Option<Heading>) -> (Option<String>, Context) {
        match before {
            Some(before) if before.is_name || before.is_tier => (before.above, before.context_above),
            Some(before) if !before.perhaps => (before.group, before.context),
            _ => (None, Context::default()),
        }
    }

    /// Whether it names what stands below it, and not only how that is priced.
    pub fn is_of_goods(&self) -> bool {
        VOCABULARY.has_within(&self.name, Use::Group)
    }

    /// Prices without a name stand right below it, so it is a name itself.
    pub fn is_name_after_all(&mut self) {
        self.is_name = true;
        self.context = self.context.within(&self.context_above);
    }

    /// The name of a price that stands on a line of its own.
    pub fn name_of_a_price(name: &str, before: Option<Heading>) -> Heading {
        let (above, context_above) = Heading::group_above(before);
        Heading {
            name: name.to_string(),
            source: name.to_string(),
            charge: charge(name),
            group: above.clone(),
            above,
            context_above,
            may_be_name: true,
            ..Heading::default()
        }
    }

    /// As the name of prices below it: `Copper (500+ lb)` is copper, from 500 lb on.
    pub fn name_and_tier(&self, marks: Marks) -> (String, Option<TierText>) {
        if let (true, Some(above)) = (self.is_tier, &self.above) {
            return (above.clone(), self.tier);
        }
        let scan = Scan::of(&self.source);
        let within = Within::find(&scan, marks, 0, scan.tokens.len())
            .filter(|within| !within.is_of_a_piece(&scan) && within.cut_from(&scan, &self.source).is_some());
        let name = within.and_then(|within| within.cut_from(&scan, &self.name));
        (name.unwrap_or_else(|| self.name.clone()), within.map(|within| within.tier))
    }
}
