//! A settlement against two papers worked by hand, and its law on random ones: the differences add up.

use std::collections::BTreeMap;

use iso_currency::Currency::{self, CAD, JPY, KWD, USD};
use jiff::civil::date;
use proptest::prelude::*;
use rust_decimal::{Decimal, dec};
use trade::history::Range;
use trade::ids::{GradeId, LotId};
use trade::mass::{Mass, MassUnit};
use trade::money::{Price, PriceUnit, Share, places};
use trade::settlement::{
    Charge, ChargeKind, Comparison, Counted, Doubt, Kind, Paper, PaperLine, Payment, Promise, Sent,
    Tolerance, Why, compare, doubts,
};

fn pounds(pounds: Decimal) -> Mass {
    Mass::of(pounds, MassUnit::Pound)
}

fn per_pound(amount: Decimal, currency: Currency) -> Price {
    Price::new(amount, currency, PriceUnit::Mass(MassUnit::Pound))
}

fn percent(percent: Decimal) -> Share {
    Share::percent(percent).expect("a share")
}

fn sent(lot: &str, grade: &str, mass: Mass, price: Price) -> Sent {
    Sent { lot: LotId::new(lot), grade: GradeId::new(grade), mass, pieces: 0, price }
}

fn line(grade: &str, mass: Mass, price: Price, amount: Decimal, pays_for: &[&str]) -> PaperLine {
    PaperLine {
        wording: grade.to_string(),
        grade: Some(GradeId::new(grade)),
        mass: Some(mass),
        pieces: None,
        price: Some(price),
        amount,
        pays_for: pays_for.iter().map(|lot| LotId::new(*lot)).collect(),
    }
}

/// Two bags of boards and one of memory to a buyer in CAD, who takes 2 % for moisture and 3 % of what pays.
fn promise() -> Promise {
    Promise {
        currency: CAD,
        sent: vec![
            sent("bag 1", "boards-high", pounds(dec!(30)), per_pound(dec!(5), CAD)),
            sent("bag 2", "boards-high", pounds(dec!(20)), per_pound(dec!(5), CAD)),
            sent("bag 3", "memory", pounds(dec!(4)), per_pound(dec!(20), CAD)),
        ],
        weight_deduction: percent(dec!(2)),
        percent_fee: percent(dec!(3)),
        flat_fee: dec!(10),
        days_to_pay: 14,
        counted: Counted { home: USD, rate: dec!(0.7), payout_fee: dec!(15) },
    }
}

fn tolerance() -> Tolerance {
    Tolerance {
        resolution: Mass::of(dec!(0.1), MassUnit::Ounce),
        weight: percent(dec!(0.5)),
        usual: BTreeMap::new(),
        exchange: percent(dec!(1)),
    }
}

/// What settlements have taught of an outlet's scale takes the place of what is usual anywhere.
#[test]
fn a_scale_that_is_known_is_held_to_what_it_usually_finds() {
    let promise = Promise { sent: promise().sent[..1].to_vec(), ..promise() };
    let sent = &promise.sent[0];
    let counted = promise.counted_mass(sent);
    let asked = |ratio: Decimal, usual: Option<(Decimal, Decimal)>| {
        let line = PaperLine {
            grade: Some(sent.grade.clone()),
            mass: Some(counted.times(ratio)),
            price: Some(sent.price),
            amount: dec!(1),
            pays_for: vec![sent.lot.clone()],
            ..PaperLine::default()
        };
        let usual = usual.map(|(low, high)| (sent.grade.clone(), Range { low, high }));
        let tolerance = Tolerance { usual: usual.into_iter().collect(), ..tolerance() };
        let comparison = compare(&promise, &paper(vec![line], Vec::new(), dec!(1)), &tolerance);
        let weight = comparison.differences.iter().find(|one| matches!(one.why, Why::Weight { .. }));
        weight.is_some_and(|weight| weight.is_beyond)
    };
    // Two in a hundred are more than half of one; not of a buyer that usually finds three less, nor is a full weight there.
    let finds_less = Some((dec!(0.955), dec!(0.985)));
    assert_eq!((asked(dec!(0.98), None), asked(dec!(0.98), finds_less)), (true, false));
    assert!(asked(dec!(0.94), finds_less) && !asked(dec!(1), finds_less) && asked(dec!(1.02), finds_less));
    // A scale that has always agreed is asked about sooner.
    let agrees = Some((dec!(0.999), dec!(1.001)));
    assert_eq!((asked(dec!(0.996), None), asked(dec!(0.996), agrees)), (false, true));
}

fn paper(lines: Vec<PaperLine>, charges: Vec<Charge>, paid: Decimal) -> Paper {
    Paper { currency: CAD, lines, charges, paid, dated: None, payment: Payment::default() }
}

fn of(comparison: &Comparison, kind: Kind) -> Vec<(Decimal, Decimal, bool)> {
    comparison
        .differences
        .iter()
        .filter(|difference| difference.why.kind() == kind)
        .map(|difference| (difference.amount, difference.home, difference.is_beyond))
        .collect()
}

#[test]
fn every_cent_of_a_short_payment_has_its_reason() {
    let promise = promise();
    // By hand: boards 50 lb − 2 % = 49 lb at 5 = 245.00; memory 3.92 lb at 20 = 78.40; 323.40 in all, of it 3 % = 9.702,
    // and 10 flat: fees 19.70. Paid out 303.70, at 0.7 212.59, less 15 = 197.59.
    assert_eq!(promise.fees(), dec!(19.70));
    assert_eq!(promise.payout(), dec!(303.70));
    assert_eq!(promise.at_home(), dec!(197.59));
    let of_lots: Vec<Decimal> = promise.lots().iter().map(|(_, amount)| *amount).collect();
    assert_eq!(of_lots, [dec!(147), dec!(98), dec!(78.40)]);

    // The buyer found 48 lb of boards, 38 as sent and 10 of a lower grade at 3; memory as promised but at 19; took 25 for
    // handling and 4.48 for steel; and paid out 263.00. The bank gave 0.69 and took 12.
    let boards_high =
        line("boards-high", pounds(dec!(38)), per_pound(dec!(5), CAD), dec!(190), &["bag 1", "bag 2"]);
    let boards_low =
        line("boards-low", pounds(dec!(10)), per_pound(dec!(3), CAD), dec!(30), &["bag 1", "bag 2"]);
    let memory = line("memory", pounds(dec!(3.92)), per_pound(dec!(19), CAD), dec!(74.48), &["bag 3"]);
    let charges = vec![
        Charge { kind: ChargeKind::Fee, wording: "handling".into(), amount: dec!(25) },
        Charge { kind: ChargeKind::Deduction, wording: "steel".into(), amount: dec!(4.48) },
    ];
    let mut paper = paper(vec![boards_high, boards_low, memory], charges, dec!(263));
    paper.payment = Payment {
        day: Some(date(2026, 5, 20)),
        arrived: Some(dec!(263) * dec!(0.69) - dec!(12)),
        bank_fee: dec!(12),
    };
    let comparison = compare(&promise, &paper, &tolerance());

    // Weight 1 lb × 5; ten pounds 2 below; memory 3.92 × 1 below; fees 25 for 19.70; the sums are 2.00 off:
    // 190 + 30 + 74.48 − 25 − 4.48 = 265.00.
    let amounts = |kind| of(&comparison, kind).iter().map(|(amount, ..)| *amount).collect::<Vec<_>>();
    assert_eq!(amounts(Kind::Weight), [dec!(-5)]);
    assert_eq!(amounts(Kind::Downgrade), [dec!(-20)]);
    assert_eq!(amounts(Kind::Price), [dec!(-3.92)]);
    assert_eq!(amounts(Kind::Fees), [dec!(-5.30)]);
    assert_eq!(amounts(Kind::Deductions), [dec!(-4.48)]);
    assert_eq!(amounts(Kind::Sums), [dec!(-2)]);
    assert_eq!(
        dec!(-5) - dec!(20) - dec!(3.92) - dec!(5.30) - dec!(4.48) - dec!(2),
        dec!(263) - dec!(303.70)
    );
    // 263 at 0.7 is 184.10; 181.47 came of it, 2.63 less, within a hundredth and a cent of it? 1.84 + 0.01: beyond.
    assert_eq!(of(&comparison, Kind::Exchange), [(dec!(0), dec!(-2.63), true)]);
    assert_eq!(of(&comparison, Kind::BankFee), [(dec!(0), dec!(3), true)]);
    let home: Decimal = comparison.differences.iter().map(|difference| difference.home).sum();
    assert_eq!(home, dec!(169.47) - dec!(197.59));
    // One pound in 49 is more than a half per cent and two tenths of an ounce.
    assert!(of(&comparison, Kind::Weight)[0].2);
}

#[test]
fn what_scales_explain_is_not_beyond() {
    let promise = promise();
    // 49 lb less 0.5 % less two tenths of an ounce is 48.7425 lb; a little more than that is within.
    let found = |boards: Decimal| {
        let amount = (boards * dec!(5)).round_dp(2);
        let lines = vec![
            line("boards-high", pounds(boards), per_pound(dec!(5), CAD), amount, &["bag 1", "bag 2"]),
            line("memory", pounds(dec!(3.92)), per_pound(dec!(20), CAD), dec!(78.40), &["bag 3"]),
        ];
        let fees = Charge { kind: ChargeKind::Fee, wording: String::new(), amount: dec!(19.70) };
        let paid = amount + dec!(78.40) - dec!(19.70);
        compare(&promise, &paper(lines, vec![fees], paid), &tolerance())
    };
    assert_eq!(of(&found(dec!(48.743)), Kind::Weight).len(), 1);
    assert!(!of(&found(dec!(48.743)), Kind::Weight)[0].2);
    assert!(of(&found(dec!(48.742)), Kind::Weight)[0].2);
    // Just as promised: nothing to say at all.
    assert_eq!(found(dec!(49)).differences, []);
}

#[test]
fn lots_without_a_line_and_lines_without_a_lot() {
    let promise = promise();
    // Bag 2 and the memory are not on the paper; a disposal charge is.
    let lines = vec![
        line("boards-high", pounds(dec!(29.4)), per_pound(dec!(5), CAD), dec!(147), &["bag 1"]),
        PaperLine { wording: "disposal".into(), amount: dec!(-12), ..PaperLine::default() },
    ];
    let fees = Charge { kind: ChargeKind::Fee, wording: String::new(), amount: dec!(19.70) };
    let comparison = compare(&promise, &paper(lines, vec![fees], dec!(115.30)), &tolerance());
    assert_eq!(comparison.strays, [1]);
    assert_eq!(comparison.groups[0].unpaid, [LotId::new("bag 2")]);
    assert_eq!(comparison.groups[1].unpaid, [LotId::new("bag 3")]);
    let unpaid: Vec<Decimal> = of(&comparison, Kind::Unpaid).iter().map(|(amount, ..)| *amount).collect();
    assert_eq!(unpaid, [dec!(-98), dec!(-78.40)]);
    assert_eq!(of(&comparison, Kind::Stray)[0].0, dec!(-12));
    assert_eq!(of(&comparison, Kind::Weight), []);
}

#[test]
fn two_grades_that_were_weighed_as_one() {
    let promise = promise();
    // All 54 lb as the lower grade at 2: its portions fall to the bags by what they weighed.
    let all = line(
        "boards-low",
        pounds(dec!(54)),
        per_pound(dec!(2), CAD),
        dec!(108),
        &["bag 1", "bag 2", "bag 3"],
    );
    let portions = promise.portions(&all, CAD);
    let masses: Vec<Option<Mass>> = portions.iter().map(|portion| portion.mass).collect();
    assert_eq!(masses.iter().copied().sum::<Option<Mass>>(), Some(pounds(dec!(54)).as_kept()));
    let amounts: Vec<Decimal> = portions.iter().map(|portion| portion.amount).collect();
    assert_eq!(amounts, [dec!(60), dec!(40), dec!(8)]);
    let comparison = compare(&promise, &paper(vec![all], Vec::new(), dec!(108)), &tolerance());
    // Boards: 50 lb at 3 less; memory: 4 lb at 18 less.
    let downgrades: Vec<Decimal> =
        of(&comparison, Kind::Downgrade).iter().map(|(amount, ..)| *amount).collect();
    assert_eq!(downgrades, [dec!(-150), dec!(-72)]);
}

#[test]
fn a_line_without_a_weight_is_not_taken_apart() {
    let promise = promise();
    let bare = PaperLine {
        amount: dec!(200),
        pays_for: vec![LotId::new("bag 1"), LotId::new("bag 2")],
        ..PaperLine::default()
    };
    let comparison = compare(&promise, &paper(vec![bare], Vec::new(), dec!(200)), &tolerance());
    assert_eq!(of(&comparison, Kind::Untold)[0].0, dec!(200) - dec!(245));
    assert_eq!(comparison.groups[0].found, None);
    assert_eq!(of(&comparison, Kind::Weight), []);
}

#[test]
fn what_wants_a_second_look() {
    let promise = promise();
    let heavy =
        line("boards-high", pounds(dec!(51)), per_pound(dec!(5), CAD), dec!(255), &["bag 1", "bag 2"]);
    let mut paper = paper(vec![heavy], Vec::new(), dec!(-3));
    paper.dated = Some(date(2026, 4, 30));
    paper.payment.day = Some(date(2026, 4, 29));
    let comparison = compare(&promise, &paper, &tolerance());
    let (sent, today) = (Some(date(2026, 5, 1)), date(2026, 5, 20));
    let found = doubts(&promise, USD, &paper, &comparison, &tolerance(), sent, today);
    let heavier = Doubt::Heavier {
        grade: GradeId::new("boards-high"),
        sent: pounds(dec!(50)),
        found: pounds(dec!(51)).as_kept(),
    };
    assert_eq!(
        found,
        [
            Doubt::OtherCurrency { promised: USD, paper: CAD },
            heavier,
            Doubt::DatedBeforeSending { dated: date(2026, 4, 30), sent: date(2026, 5, 1) },
            Doubt::PaidBeforeSending { paid: date(2026, 4, 29), sent: date(2026, 5, 1) },
            Doubt::Charges,
            Doubt::RateMissing,
        ]
    );
    paper.lines[0].pays_for.clear();
    let comparison = compare(&promise, &paper, &tolerance());
    let found = doubts(&promise, CAD, &paper, &comparison, &tolerance(), None, today);
    assert!(found.contains(&Doubt::NothingMatches));
}

/// A promise of up to five lots in three grades, and a paper of up to six lines about them, about nothing, or about several.
fn any_settlement() -> impl Strategy<Value = (Promise, Paper)> {
    let currency = prop::sample::select(vec![CAD, USD, JPY, KWD]);
    let lot = (0..3_usize, 1..50_000_000_i64, 0..500_u32);
    // The same price for the same grade, as one sheet has it.
    let price = (-20_000..500_000_i64, any::<bool>());
    let line = (
        prop::option::of(0..3_usize),
        prop::option::of(0..60_000_000_i64),
        prop::option::of(0..600_u32),
        prop::option::of((-20_000..500_000_i64, any::<bool>())),
        -10_000_000..10_000_000_i64,
        prop::collection::vec(0..5_usize, 0..4),
    );
    let charge = (any::<bool>(), -100_000..100_000_i64);
    (
        (currency, prop::collection::vec(lot, 0..6), prop::array::uniform3(price)),
        prop::collection::vec(line, 0..7),
        prop::collection::vec(charge, 0..4),
        (-10_000_000..10_000_000_i64, prop::option::of(-10_000_000..10_000_000_i64), 0..5_000_i64),
        (0..100_u32, 0..100_u32, 0..10_000_i64, 1..3_000_000_i64, 0..5_000_i64),
    )
        .prop_map(|((currency, lots, prices), lines, charges, (paid, arrived, bank_fee), terms)| {
            let minor = |units: i64| Decimal::new(units, places(currency));
            let price = |(amount, is_each): (i64, bool)| {
                let per = if is_each { PriceUnit::Each } else { PriceUnit::Mass(MassUnit::Pound) };
                Price::new(Decimal::new(amount, 4), currency, per)
            };
            let grades = ["a", "b", "c"];
            let (deduction, fee, flat, rate, payout_fee) = terms;
            let sent = |(index, (grade, mass, pieces)): (usize, (usize, i64, u32))| Sent {
                lot: LotId::new(format!("lot {index}")),
                grade: GradeId::new(grades[grade]),
                mass: Mass::from_micrograms(mass * 1_000),
                pieces,
                price: price(prices[grade]),
            };
            let promise = Promise {
                currency,
                sent: lots.into_iter().enumerate().map(sent).collect(),
                weight_deduction: percent(Decimal::from(deduction)),
                percent_fee: percent(Decimal::from(fee)),
                flat_fee: Decimal::new(flat, 3),
                days_to_pay: 10,
                counted: Counted {
                    home: USD,
                    rate: Decimal::new(rate, 6),
                    payout_fee: Decimal::new(payout_fee, 3),
                },
            };
            let line = |(grade, mass, pieces, paid, amount, lots): (
                Option<usize>,
                Option<i64>,
                _,
                _,
                i64,
                Vec<usize>,
            )| {
                PaperLine {
                    wording: String::new(),
                    grade: grade.map(|grade| GradeId::new(grades[grade])),
                    mass: mass.map(|mass| Mass::from_micrograms(mass * 1_000)),
                    pieces,
                    price: Option::map(paid, price),
                    amount: minor(amount),
                    pays_for: lots.iter().map(|lot| LotId::new(format!("lot {lot}"))).collect(),
                }
            };
            let charge = |(is_fee, amount)| Charge {
                kind: if is_fee { ChargeKind::Fee } else { ChargeKind::Deduction },
                wording: String::new(),
                amount: minor(amount),
            };
            let paper = Paper {
                currency,
                lines: lines.into_iter().map(line).collect(),
                charges: charges.into_iter().map(charge).collect(),
                paid: minor(paid),
                dated: None,
                payment: Payment {
                    day: None,
                    arrived: arrived.map(|arrived| Decimal::new(arrived, 2)),
                    bank_fee: Decimal::new(bank_fee, 2),
                },
            };
            (promise, paper)
        })
}

proptest! {
    #[test]
    fn differences_add_up_to_the_last_minor_unit((promise, paper) in any_settlement()) {
        let comparison = compare(&promise, &paper, &tolerance());
        let sum: Decimal = comparison.differences.iter().map(|difference| difference.amount).sum();
        prop_assert_eq!(sum, paper.paid - promise.payout());
        prop_assert!(comparison.differences.iter().all(|d| d.amount.normalize().scale() <= places(paper.currency)));
        let home: Decimal = comparison.differences.iter().map(|difference| difference.home).sum();
        if let Some(arrived) = paper.payment.arrived {
            prop_assert_eq!(home, arrived - promise.at_home());
        }
        // Every line is one of a grade's, or a stray.
        let mut lines: Vec<usize> = comparison.groups.iter().flat_map(|group| group.lines.clone()).collect();
        lines.extend(&comparison.strays);
        lines.sort_unstable();
        lines.dedup();
        prop_assert_eq!(lines, (0..paper.lines.len()).collect::<Vec<_>>());
    }

    #[test]
    fn portions_add_up_to_their_line((promise, paper) in any_settlement()) {
        for line in &paper.lines {
            let portions = promise.portions(line, paper.currency);
            if portions.is_empty() {
                continue;
            }
            prop_assert_eq!(portions.iter().map(|p| p.amount).sum::<Decimal>(), line.amount);
            prop_assert_eq!(portions.iter().map(|p| p.mass).sum::<Option<Mass>>(), line.mass);
            prop_assert_eq!(portions.iter().map(|p| p.pieces).sum::<Option<u32>>(), line.pieces);
        }
        let lots: Decimal = promise.lots().iter().map(|(_, amount)| *amount).sum();
        prop_assert_eq!(lots - promise.fees(), promise.payout());
    }

    /// Paid exactly as promised, there is nothing to say.
    #[test]
    fn the_promise_kept_has_no_differences((promise, _) in any_settlement()) {
        let mut lines = Vec::new();
        for (sent, amount) in promise.lots() {
            lines.push(PaperLine {
                wording: String::new(),
                grade: Some(sent.grade.clone()),
                mass: Some(promise.counted_mass(sent)),
                pieces: Some(sent.pieces),
                price: Some(sent.price),
                amount,
                pays_for: vec![sent.lot.clone()],
            });
        }
        let fees = Charge { kind: ChargeKind::Fee, wording: String::new(), amount: promise.fees() };
        let paper = Paper {
            currency: promise.currency,
            lines,
            charges: vec![fees],
            paid: promise.payout(),
            dated: None,
            payment: Payment::default(),
        };
        let comparison = compare(&promise, &paper, &tolerance());
        prop_assert!(comparison.differences.iter().all(|difference| !difference.is_beyond), "{:?}", comparison.differences);
    }
}
