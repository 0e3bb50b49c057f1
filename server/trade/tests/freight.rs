//! Billable weights and charges against published examples of carriers and the trade press.
//!
//! The pages were read as stored copies. Examples whose own arithmetic is wrong are left out.

use iso_currency::Currency;
use rust_decimal::{Decimal, dec};
use trade::freight::{
    Dimensional, Divisor, FlatBox, Service, SideRounding, Surcharge, SurchargeWhen, WeightBreak,
};
use trade::mass::{Mass, MassUnit};
use trade::volume::{Size, Volume};

fn pounds(pounds: Decimal) -> Mass {
    Mass::of(pounds, MassUnit::Pound)
}

fn kilograms(kilograms: Decimal) -> Mass {
    Mass::of(kilograms, MassUnit::Kilogram)
}

fn service(divisor: Divisor, sides: SideRounding, step: Mass) -> Service {
    Service {
        name: "parcel".into(),
        currency: Currency::USD,
        dimensional: Some(Dimensional { divisor, sides, above: None }),
        step,
        fuel_percent: dec!(0),
        surcharges: vec![],
        breaks: vec![WeightBreak { up_to: step, charge: dec!(1) }],
        flat_boxes: vec![],
    }
}

/// A private carrier in the US at commercial rates: 139 in3/lb, billed by the pound.
fn private_us(sides: SideRounding) -> Service {
    service(Divisor::CubicInchesPerPound(dec!(139)), sides, pounds(dec!(1)))
}

fn inches(sides: [Decimal; 3]) -> Size {
    Size::inches(sides[0], sides[1], sides[2])
}

#[test]
fn published_examples_in_inches_and_pounds() {
    use SideRounding::{Nearest, Up};
    // (sides in inches, actual lb, side rounding, billed lb, source)
    let examples = [
        ([dec!(12), dec!(9), dec!(7)], dec!(4.2), Up, dec!(6), "jaygroup.com: 756 in3, 5.44"),
        ([dec!(12), dec!(9), dec!(7)], dec!(7.0), Up, dec!(7), "jaygroup.com: actual weight is greater"),
        ([dec!(11.1), dec!(8.1), dec!(4.1)], dec!(1), Up, dec!(4), "atlanticpkg.com: 12 × 9 × 5, 3.88"),
        ([dec!(11.1), dec!(8.1), dec!(4.1)], dec!(1), Nearest, dec!(3), "the same before 18 Aug 2025: 2.53"),
        ([dec!(11.1), dec!(8.5), dec!(6.2)], dec!(1), Up, dec!(6), "parcelindustry.com 6567: 12 × 9 × 7"),
        ([dec!(11.1), dec!(8.5), dec!(6.2)], dec!(1), Nearest, dec!(5), "the same, old rule: 594 in3, 4.27"),
        ([dec!(11), dec!(10), dec!(9)], dec!(1), Up, dec!(8), "parcelindustry.com 6567: 990 in3, 7.12"),
        ([dec!(24), dec!(24), dec!(24)], dec!(10), Up, dec!(100), "an explainer page: 13,824 in3, 99.45"),
        (
            [dec!(10), dec!(10.1), dec!(10.3)],
            dec!(1),
            Nearest,
            dec!(8),
            "sides of a logistics page: 1,000 in3",
        ),
        ([dec!(10), dec!(10.1), dec!(10.3)], dec!(1), Up, dec!(9), "the same, new rule: 1,210 in3, 8.71"),
    ];
    for (sides, actual, rounding, billed, source) in examples {
        let billable = private_us(rounding).billable(inches(sides), pounds(actual));
        assert_eq!(billable, pounds(billed), "{source}");
    }
}

#[test]
fn usps_bills_actual_weight_up_to_a_cubic_foot() {
    // DMM 604.7.1.3 as quoted by parcelindustry.com 6567: 11.1 × 10 × 6 in is 666 in3, under 1,728, so 3 lb stay 3 lb.
    let mut usps = service(Divisor::CubicInchesPerPound(dec!(166)), SideRounding::Nearest, pounds(dec!(1)));
    let cubic_foot = Volume::from_cm3(dec!(1728) * dec!(16.387064));
    usps.dimensional = usps.dimensional.map(|rule| Dimensional { above: Some(cubic_foot), ..rule });
    let three = pounds(dec!(3));
    assert_eq!(usps.billable(inches([dec!(11.1), dec!(10), dec!(6)]), three), three);
    // "Exceeds one cubic foot": exactly one does not, and rounding comes before the test.
    assert_eq!(usps.billable(inches([dec!(12.4), dec!(12), dec!(12)]), three), three);
    assert_eq!(usps.billable(inches([dec!(12.5), dec!(12), dec!(12)]), three), pounds(dec!(12)));
}

#[test]
fn published_examples_in_centimetres_and_kilograms() {
    let air = |step| service(Divisor::Cm3PerKilogram(dec!(6000)), SideRounding::Up, kilograms(step));
    // (sides in cm, actual kg, step in kg, billed kg, source)
    let examples = [
        ([30, 45, 65], dec!(14), dec!(0.5), dec!(15), "pengellys.co.nz, gtran.net: 87,750 cm3, 14.625"),
        ([50, 50, 50], dec!(80), dec!(0.5), dec!(80), "valueclearingandforwarding.co.za: 20.83 by volume"),
        ([40, 40, 40], dec!(1), dec!(1), dec!(11), "cbr-express.com: 10.67"),
        ([30, 30, 30], dec!(11), dec!(1), dec!(11), "cbr-express.com: 4.5 by volume"),
    ];
    for (sides, actual, step, billed, source) in examples {
        let [l, w, h] = sides.map(|cm: u32| Decimal::from(cm * 10));
        assert_eq!(air(step).billable(Size::mm(l, w, h), kilograms(actual)), kilograms(billed), "{source}");
    }
    // The same source: 8 boxes of 60 × 40 × 20 cm with 45 kg in all are billed as 64 kg, 8 each.
    let each = air(dec!(0.5)).billable(Size::mm(600, 400, 200), kilograms(dec!(5.625)));
    assert_eq!(each, kilograms(dec!(8)));
}

#[test]
fn published_lengths_plus_girth() {
    // (sides in inches, length + girth, source)
    let examples = [
        ([10, 8, 5], 36, "pe.usps.com QSG 201e"),
        ([24, 24, 12], 96, "a shop's blog of 2006: mailable"),
        ([102, 10, 3], 128, "the same: private carriers only"),
        ([40, 40, 40], 200, "the same: goes as freight"),
        ([30, 10, 15], 80, "a carrier's help page: girth 50"),
        ([30, 10, 10], 70, "the same"),
    ];
    for (sides, expected, source) in examples {
        let size = inches(sides.map(Decimal::from));
        assert_eq!(size.length_plus_girth(), Decimal::from(expected) * dec!(25.4), "{source}");
    }
}

/// No source beside the arithmetic of design 2.4: (table × fuel) + surcharges.
#[test]
fn charge_is_table_and_fuel_and_surcharges() {
    let surcharge = |name: &str, charge, when| Surcharge { name: name.into(), charge, when };
    let mut ground = private_us(SideRounding::Up);
    ground.fuel_percent = dec!(12.5);
    ground.breaks = [(dec!(1), dec!(8)), (dec!(5), dec!(10)), (dec!(70), dec!(40))]
        .map(|(lb, charge)| WeightBreak { up_to: pounds(lb), charge })
        .to_vec();
    ground.surcharges = vec![
        surcharge("residence", dec!(1.25), SurchargeWhen::Always),
        surcharge("handling by weight", dec!(6), SurchargeWhen::HeavierThan(pounds(dec!(50)))),
        surcharge("handling by length", dec!(7), SurchargeWhen::LongerThan(dec!(48) * dec!(25.4))),
        surcharge("large", dec!(90), SurchargeWhen::LengthPlusGirthOver(dec!(130) * dec!(25.4))),
    ];
    let total = |sides: [u32; 3], lb: Decimal| {
        ground.charge(inches(sides.map(Decimal::from)), pounds(lb)).map(|charge| charge.total)
    };
    // 125 in3 / 139 is under 1 lb: 8 × 1.125 + 1.25.
    assert_eq!(total([5, 5, 5], dec!(1)), Some(dec!(10.25)));
    // 1.01 lb is billed as 2, in the break to 5: 10 × 1.125 + 1.25.
    assert_eq!(total([5, 5, 5], dec!(1.01)), Some(dec!(12.5)));
    // 216 in3 / 139 = 1.55, so that 1 lb is billed as 2.
    assert_eq!(total([6, 6, 6], dec!(1)), Some(dec!(12.5)));
    // 40 × 1.125 + 1.25, and 6 only above 50 lb of actual weight.
    assert_eq!(total([5, 5, 5], dec!(50)), Some(dec!(46.25)));
    assert_eq!(total([5, 5, 5], dec!(51)), Some(dec!(52.25)));
    // Longer than 48 in: 49 in3 / 139, 8 × 1.125 + 1.25 + 7.
    assert_eq!(total([49, 1, 1], dec!(1)), Some(dec!(17.25)));
    // 49 + 2 × (40 + 1) = 131 in; 1,960 in3 / 139 = 14.1, 15 lb: 45 + 1.25 + 7 + 90.
    assert_eq!(total([49, 40, 1], dec!(1)), Some(dec!(143.25)));
    assert_eq!(total([5, 5, 5], dec!(70.1)), None);
}

#[test]
fn a_parcel_is_never_charged_more_than_a_heavier_one() {
    let mut ground = private_us(SideRounding::Up);
    ground.breaks = [(dec!(1), dec!(9)), (dec!(2), dec!(8)), (dec!(3), dec!(12))]
        .map(|(lb, charge)| WeightBreak { up_to: pounds(lb), charge })
        .to_vec();
    let small = inches([dec!(4), dec!(4), dec!(4)]);
    let charge = ground.charge(small, pounds(dec!(0.5))).unwrap();
    assert_eq!((charge.total, charge.billed), (dec!(8), pounds(dec!(2))));
    assert!(ground.problems().is_empty());
    assert_eq!(ground.warnings().len(), 1, "{:?}", ground.warnings());
}

#[test]
fn problems_name_the_row_and_what_to_do() {
    let row = |lb, charge| WeightBreak { up_to: pounds(lb), charge };
    let good = private_us(SideRounding::Up);
    assert_eq!(good.problems(), Vec::<String>::new());
    let check = |service: Service, expected: &str| {
        let problems = service.problems();
        assert!(problems.iter().any(|p| p.contains(expected)), "{expected:?} not in {problems:?}");
    };
    check(Service { breaks: vec![], ..good.clone() }, "The table is empty");
    check(
        Service { breaks: vec![row(dec!(5), dec!(9)), row(dec!(5), dec!(10))], ..good.clone() },
        "Row 2 is not heavier than row 1",
    );
    check(Service { breaks: vec![row(dec!(0), dec!(9))], ..good.clone() }, "Row 1 has no weight");
    check(Service { breaks: vec![row(dec!(1), dec!(-9))], ..good.clone() }, "Row 1 has a charge below zero");
    check(Service { step: Mass::ZERO, ..good.clone() }, "rounding step is missing");
    check(Service { fuel_percent: dec!(-1), ..good.clone() }, "fuel surcharge");
    let zero =
        Dimensional { divisor: Divisor::Cm3PerKilogram(dec!(0)), sides: SideRounding::Up, above: None };
    check(Service { dimensional: Some(zero), ..good.clone() }, "divisor");
    let flat =
        FlatBox { name: "small".into(), inner: Size::mm(0, 1, 1), limit: Mass::ZERO, charge: dec!(-1) };
    let with_flat = Service { flat_boxes: vec![flat], ..good.clone() };
    for expected in ["three sides", "no weight limit", "charge below zero"] {
        check(with_flat.clone(), expected);
    }
}

#[test]
fn a_row_left_out_is_noticed() {
    let rows = |weights: &[u32]| {
        let breaks = weights.iter().map(|&lb| WeightBreak { up_to: pounds(lb.into()), charge: lb.into() });
        Service { breaks: breaks.collect(), ..private_us(SideRounding::Up) }.warnings()
    };
    assert_eq!(rows(&[1, 2, 3, 5, 10, 20, 30]), Vec::<String>::new());
    assert_eq!(rows(&[1, 2, 3, 5, 6, 7]).len(), 1);
}

/// A thing weighed as 37 oz is kept as whole micrograms, which is a hair more than 37 oz. It is billed as 37 oz.
#[test]
fn what_the_ledger_rounds_is_not_billed() {
    let ounce = Mass::of(dec!(1), MassUnit::Ounce);
    let typed = Mass::of(dec!(37), MassUnit::Ounce);
    let kept = Mass::from_micrograms(typed.micrograms());
    assert!(kept > typed);
    let service = Service { step: ounce, dimensional: None, ..private_us(SideRounding::Up) };
    let parcel = Size::mm(100, 100, 100);
    assert_eq!(service.billable(parcel, kept), typed);
    assert_eq!(service.billable(parcel, typed + Mass::from_grams(dec!(0.1))), typed + ounce);
}
