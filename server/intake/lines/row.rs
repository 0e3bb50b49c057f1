//! What was found in a line, as rows under their heading.

use super::LineReader;
use super::heading::Heading;
use super::remark::{is_of_a_service, is_only_of_days, is_remark};
use crate::context::{Context, unit_of_name};
use crate::draft::{Charge, Draft, DraftRow, wording};
use crate::parts::Part;
use crate::scan::Scan;
use crate::sheet::{Doubt, Place, Why};
use crate::vocabulary::{Use, VOCABULARY};

impl LineReader {
    pub(super) fn part(
        &mut self,
        part: Part,
        text: &str,
        place: &Place,
        charge: Charge,
        draft: &mut Draft<'_>,
    ) {
        // `Today: 7.65`, `Yesterday: 7.58` below a name.
        let part = match part.name.as_deref().filter(|_| self.heading.is_some()) {
            Some(name) if VOCABULARY.has(name, Use::Past) => {
                return draft.leave_out(text, place, Why::NoPrice);
            }
            Some(name) if VOCABULARY.has(name, Use::Present) => Part { name: None, ..part },
            _ => part,
        };
        let leaves = part.name.is_some() && self.leaves_the_list(text, place);
        let of_row = self.row_above.take();
        let (name, group, source, tier_above) = match (part.name, &mut self.heading) {
            // `Schede madri 2,50`, and below it `oltre 200 kg: 2,80`.
            (None, heading)
                if of_row.is_some()
                    && heading.as_ref().is_none_or(|heading| !heading.is_name)
                    && part.prices.iter().all(|(_, tier)| tier.is_some()) =>
            {
                let (name, group) = of_row.unwrap_or_default();
                let source = format!("{name} / {text}");
                (name, group, source, None)
            }
            (Some(name), heading) => {
                // A name that only its tiers stood below is over.
                let holds = |heading: &&Heading| !(heading.perhaps || heading.is_name && heading.may_be_name);
                let heading = heading.as_ref().filter(holds);
                let group = heading.and_then(|heading| heading.group.clone()).filter(|_| !leaves);
                (name, group, text.to_string(), heading.and_then(|heading| heading.tier))
            }
            // A line that holds only a price, or a tier and its price, belongs to the name above it.
            (None, Some(heading)) => {
                heading.is_name_after_all();
                let (name, tier) = heading.name_and_tier(draft.marks);
                let above = heading.above.clone().filter(|above| *above != name);
                (name, above, format!("{} / {text}", heading.source), tier)
            }
            (None, None) => return draft.leave_out(text, place, Why::NoName),
        };
        let Some(wording) = wording(&name) else {
            return draft.leave_out(text, place, Why::TooLong);
        };
        // `Over $25 paid by check` limits what is paid.
        if !wording.chars().any(char::is_alphanumeric) || VOCABULARY.has(&wording, Use::Limit) {
            return draft.leave_out(text, place, Why::NoName);
        }
        // `Ceny od 24.11 zl/kg`
        let of_a_service = part.note.as_ref().is_some_and(|note| is_of_a_service(&wording, note));
        let of_days = is_only_of_days(&Scan::of(&wording));
        if is_remark(&wording) || of_a_service || of_days || VOCABULARY.has(&wording, Use::Title) {
            draft.look_for_date(text);
            draft.whole_sheet(&Context::of(text, false), text);
            return draft.leave_out(text, place, Why::NoPrice);
        }
        let group = self.listing.as_ref().and_then(|listing| listing.goods.clone()).or(group);
        self.row_above = Some((wording.clone(), group.clone()));
        let named = Context { unit: unit_of_name(&Scan::of(&wording)), ..Context::default() };
        let said = named.within(&Context { unit: self.said, ..Context::default() });
        let listed = self.listing.as_ref().map_or(said.clone(), |listing| said.within(&listing.context));
        let context = self.heading.as_ref().map_or(listed.clone(), |heading| listed.within(&heading.context));
        let by_header = self.tiers.len() == part.prices.len() && part.prices.len() > 1;
        let mut doubts = part.doubts;
        doubts.extend(self.only_goods.contains(text).then_some(Doubt::BareNumber));
        for (i, (price, tier)) in part.prices.into_iter().enumerate() {
            // Of several prices, the first counts and those with a tier of their own.
            if i > 0 && tier.is_none() && !by_header {
                continue;
            }
            let tier = tier.or_else(|| by_header.then(|| self.tiers[i])).or(tier_above);
            draft.rows.push(DraftRow {
                wording: wording.clone(),
                whole: part.whole.clone(),
                group: group.clone(),
                price,
                tier,
                note: part.note.clone(),
                place: place.clone(),
                source: source.clone(),
                doubts: if by_header { Vec::new() } else { doubts.clone() },
                context: context.clone(),
                charge: charge.or(self.heading.as_ref().map_or(Charge::No, |heading| heading.charge)),
                in_cell: false,
            });
        }
    }

    /// `Barrettes mémoire : 26,00 €`, behind a list of `- mères de PC : 2,95 €` below “Cartes”: what has no dash as the others have
    /// stands below it no more.
    fn leaves_the_list(&mut self, text: &str, place: &Place) -> bool {
        let Some(heading) = self.heading.as_mut().filter(|heading| !heading.is_name) else { return false };
        if text.starts_with(['-', '–', '•', '·', '*']) {
            heading.dashed = Some(place.clone());
            return false;
        }
        heading.dashed.as_ref().is_some_and(|last| last != place)
    }
}
