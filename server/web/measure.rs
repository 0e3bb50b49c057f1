//! Weights, lengths, sizes and distances as a person types them, and spelled so that reading them again gives the same.
//!
//! Where a number alone could mean two things, its unit has to be typed. Whatever is refused is refused with the words
//! for it.

use rust_decimal::{Decimal, dec};
use trade::mass::{Mass, MassStyle, MassUnit};
use trade::reading::{self, Reading};
use trade::volume::{MM_PER_INCH, Size, Volume};

use super::form::decimal;
use crate::store::typed_mass;

/// Kilometres in a mile, exactly (NIST Handbook 44 Appendix C).
pub const KM_PER_MILE: Decimal = dec!(1.609344);

/// Cubic centimetres in a cubic inch, exactly: 2.54 cubed.
const CM3_PER_CUBIC_INCH: Decimal = dec!(16.387064);

/// Half of the way around the earth: no yard is farther.
const FARTHEST_KM: Decimal = dec!(20_000);

/// No side of a box is longer.
const LONGEST_MM: Decimal = dec!(10_000);

/// Reads a weight that is above zero and names its unit.
pub fn mass(typed: &str) -> Result<Mass, String> {
    match reading::read(typed) {
        // A reading is rounded as the ledger keeps it; what a table says is kept as exactly as it was typed.
        Ok(Reading::Sure { meaning, .. }) => Ok(typed_mass(meaning.mass.micrograms())),
        Ok(Reading::Ask { why, meanings }) => {
            let ways: Vec<_> = meanings.iter().map(|meaning| meaning.spelled.as_str()).collect();
            Err(format!("{why} Type {}.", ways.join(" or ")))
        }
        Err(reading::ReadingError::Zero | reading::ReadingError::Negative) => {
            Err("It has to be above zero.".into())
        }
        Err(problem) => Err(problem.to_string()),
    }
}

/// `2 lb 8 oz`, `12.5 oz`, `30 kg`, `85 g`: exactly, in the unit that it comes out short in.
pub fn spell_mass(mass: Mass) -> String {
    let plain = |number: Decimal| number.normalize().to_string();
    if let Some(ounces) = whole_steps(mass.grams(), MassUnit::Ounce.grams(), 3) {
        let pounds = (ounces / dec!(16)).trunc();
        let rest = ounces - pounds * dec!(16);
        return match (pounds.is_zero(), rest.is_zero()) {
            (true, _) => format!("{} oz", plain(rest)),
            (false, true) => format!("{} lb", plain(pounds)),
            (false, false) => format!("{} lb {} oz", plain(pounds), plain(rest)),
        };
    }
    if mass.grams() < dec!(1000) {
        format!("{} g", plain(mass.grams()))
    } else {
        format!("{} kg", plain(mass.in_unit(MassUnit::Kilogram)))
    }
}

/// A unit of length as it is written behind a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum LengthUnit {
    Millimetre,
    Centimetre,
    Metre,
    Inch,
    Foot,
}

impl LengthUnit {
    fn from_word(word: &str) -> Option<LengthUnit> {
        Some(match word.trim().trim_end_matches('.').to_lowercase().as_str() {
            "mm" => LengthUnit::Millimetre,
            "cm" => LengthUnit::Centimetre,
            "m" => LengthUnit::Metre,
            "in" | "inch" | "inches" | "\"" | "”" | "″" => LengthUnit::Inch,
            "ft" | "foot" | "feet" | "'" | "’" | "′" => LengthUnit::Foot,
            _ => return None,
        })
    }

    fn millimetres(self) -> Decimal {
        match self {
            LengthUnit::Millimetre => dec!(1),
            LengthUnit::Centimetre => dec!(10),
            LengthUnit::Metre => dec!(1000),
            LengthUnit::Inch => MM_PER_INCH,
            LengthUnit::Foot => MM_PER_INCH * dec!(12),
        }
    }
}

/// Reads a length like `48 in`, `11 1/4 in` or `120 cm`, in millimetres.
pub fn length(typed: &str) -> Result<Decimal, String> {
    let (number, unit) = side(typed)?;
    let unit = unit.ok_or_else(|| format!("“{typed}” has no unit. Type it as 48 in or 120 cm."))?;
    in_millimetres(number, unit)
}

/// Reads three sides like `12 x 9 x 6 in`, `30x23x15 cm` or `11 1/4 × 8 3/4 × 6 in`; the last unit is that of the
/// sides without one.
pub fn size(typed: &str) -> Result<Size, String> {
    let typed = typed.trim();
    let sides: Vec<&str> = typed.split(['x', 'X', '×', '*']).collect();
    let [length, width, height] = sides[..] else {
        return Err(format!(
            "“{}” is not three sides. Type them as 12 x 9 x 6 in or 30 x 23 x 15 cm.",
            short(typed)
        ));
    };
    let [length, width, height] = [side(length)?, side(width)?, side(height)?];
    let last = height.1.ok_or_else(|| {
        format!("“{}” has no unit. Type it as 12 x 9 x 6 in or 30 x 23 x 15 cm.", short(typed))
    })?;
    let mm = |(number, unit): (Decimal, Option<LengthUnit>)| in_millimetres(number, unit.unwrap_or(last));
    Ok(Size { length: mm(length)?, width: mm(width)?, height: mm(height)? })
}

fn side(typed: &str) -> Result<(Decimal, Option<LengthUnit>), String> {
    let typed = typed.trim();
    let not_a_length =
        || format!("“{}” is not a length. Type it as 12 in, 11 1/4 in or 30 cm.", short(typed));
    let end = typed.rfind(|c: char| c.is_ascii_digit()).ok_or_else(not_a_length)? + 1;
    let (number, word) = typed.split_at(end);
    let number = with_fraction(number).ok_or_else(not_a_length)?;
    let unit = match word.trim() {
        "" => None,
        word => Some(LengthUnit::from_word(word).ok_or_else(not_a_length)?),
    };
    Ok((number, unit))
}

/// Reads `11`, `11.25`, `11 1/4` or `3/4`; the parts of a fraction are those on a ruler.
fn with_fraction(typed: &str) -> Option<Decimal> {
    let Some((before, bottom)) = typed.split_once('/') else { return decimal(typed) };
    let bottom = bottom.trim().parse::<u32>().ok().filter(|bottom| [2, 4, 8, 16, 32].contains(bottom))?;
    let (whole, top) = before.trim().rsplit_once([' ', '-']).unwrap_or(("0", before.trim()));
    let whole = whole.trim().parse::<u32>().ok()?;
    let top = top.parse::<u32>().ok().filter(|top| *top < bottom)?;
    Some(Decimal::from(whole) + Decimal::from(top) / Decimal::from(bottom))
}

fn in_millimetres(number: Decimal, unit: LengthUnit) -> Result<Decimal, String> {
    if number <= Decimal::ZERO {
        return Err("A length has to be above zero.".into());
    }
    // Bounded before the multiplication, so that no typed number can overflow it.
    if number > LONGEST_MM || number * unit.millimetres() > LONGEST_MM {
        return Err("That is longer than 10 m. Check the unit and the decimal point.".into());
    }
    Ok((number * unit.millimetres()).normalize())
}

/// `48 in` or `120 cm`, exactly.
pub fn spell_length(mm: Decimal) -> String {
    match whole_steps(mm, MM_PER_INCH, 5) {
        Some(inches) => format!("{} in", inches.normalize()),
        None => format!("{} cm", (mm / dec!(10)).normalize()),
    }
}

/// `12 x 9 x 6 in` or `30 x 23 x 15 cm`, exactly, in the order of the sides as typed.
pub fn spell_size(size: Size) -> String {
    let sides = [size.length, size.width, size.height];
    let inches = sides.map(|mm| whole_steps(mm, MM_PER_INCH, 5));
    let (numbers, unit) = match inches {
        [Some(length), Some(width), Some(height)] => ([length, width, height], "in"),
        _ => (sides.map(|mm| mm / dec!(10)), "cm"),
    };
    let [length, width, height] = numbers.map(|number| number.normalize());
    format!("{length} x {width} x {height} {unit}")
}

/// Reads a volume like `1728 in3`, `1 ft3` or `28 L`.
pub fn volume(typed: &str) -> Result<Volume, String> {
    let typed = typed.trim();
    let not_a_volume = || format!("“{}” is not a volume. Type it as 1728 in3, 1 ft3 or 28 L.", short(typed));
    let end = typed.find(|c: char| c.is_alphabetic()).ok_or_else(not_a_volume)?;
    let (number, word) = typed.split_at(end);
    let per_unit = match word.to_lowercase().replace([' ', '.', '^'], "").replace('³', "3").as_str() {
        "in3" | "cuin" => CM3_PER_CUBIC_INCH,
        "ft3" | "cuft" => CM3_PER_CUBIC_INCH * dec!(1728),
        "cm3" | "ccm" | "cc" => dec!(1),
        "l" | "litre" | "litres" | "liter" | "liters" => dec!(1000),
        _ => return Err(not_a_volume()),
    };
    let number = decimal(number).ok_or_else(not_a_volume)?;
    if number <= Decimal::ZERO || number > dec!(10_000_000) {
        return Err("A volume has to be above zero and not above ten million. Check the unit.".into());
    }
    Ok(Volume::from_cm3((number * per_unit).normalize()))
}

/// `1728 in3` or `28000 cm3`, exactly.
pub fn spell_volume(volume: Volume) -> String {
    match whole_steps(volume.cm3(), CM3_PER_CUBIC_INCH, 3) {
        Some(cubic_inches) => format!("{} in3", cubic_inches.normalize()),
        None => format!("{} cm3", volume.cm3().normalize()),
    }
}

/// Reads a distance like `12 mi` or `19 km`, in kilometres; zero is next door.
pub fn distance(typed: &str) -> Result<Decimal, String> {
    let typed = typed.trim();
    if typed == "0" {
        return Ok(Decimal::ZERO);
    }
    let not_a_distance = || format!("“{}” is not a distance. Type it as 12 mi or 19 km.", short(typed));
    let end = typed.rfind(|c: char| c.is_ascii_digit()).ok_or_else(not_a_distance)? + 1;
    let (number, word) = typed.split_at(end);
    let number = decimal(number).ok_or_else(not_a_distance)?;
    let per_unit = match word.trim().trim_end_matches('.').to_lowercase().as_str() {
        "km" | "kilometre" | "kilometres" | "kilometer" | "kilometers" => dec!(1),
        "mi" | "mile" | "miles" => KM_PER_MILE,
        "" => return Err(format!("{number} miles or kilometres? Type {number} mi or {number} km.")),
        _ => return Err(not_a_distance()),
    };
    if number < Decimal::ZERO {
        return Err("A distance cannot be below zero.".into());
    }
    if number > FARTHEST_KM || number * per_unit > FARTHEST_KM {
        return Err("That is farther than anything on earth. Check the unit and the decimal point.".into());
    }
    Ok((number * per_unit).normalize())
}

/// `12 mi` or `19 km`, exactly.
pub fn spell_distance(km: Decimal) -> String {
    match whole_steps(km, KM_PER_MILE, 3) {
        Some(miles) if !km.is_zero() => format!("{} mi", miles.normalize()),
        _ => format!("{} km", km.normalize()),
    }
}

/// A distance in the shop's habit, to a tenth: `11.8 mi`, `19 km`.
pub fn show_distance(km: Decimal, style: MassStyle) -> String {
    match style {
        MassStyle::PoundsOunces => format!("{} mi", (km / KM_PER_MILE).round_dp(1).normalize()),
        MassStyle::Kilograms => format!("{} km", km.round_dp(1).normalize()),
    }
}

/// `amount` in units of `per`, if that is exact with so many decimals.
fn whole_steps(amount: Decimal, per: Decimal, decimals: u32) -> Option<Decimal> {
    let number = (amount / per).round_dp(decimals);
    (number * per == amount).then_some(number)
}

/// The start of what was typed, short enough to say back.
pub fn short(typed: &str) -> String {
    if typed.chars().count() <= 40 {
        typed.to_string()
    } else {
        typed.chars().take(40).collect::<String>() + "…"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An inch is 25.4 mm (NIST SP 811).
    #[test]
    fn sizes_are_read_in_either_habit() {
        let box_12_9_6 = Size::inches(dec!(12), dec!(9), dec!(6));
        for typed in [
            "12 x 9 x 6 in",
            "12x9x6in",
            "12×9×6\"",
            "12 X 9 * 6 inches",
            "12in x 9in x 6in",
            "1 ft x 9 x 6 in.",
        ] {
            assert_eq!(size(typed), Ok(box_12_9_6), "{typed}");
        }
        assert_eq!(size("30 x 23 x 15 cm"), Ok(Size::mm(300, 230, 150)));
        assert_eq!(size("30,5x23x15cm"), Ok(Size::mm(305, 230, 150)));
        assert_eq!(size("11 1/4 x 8-3/4 x 1/2 in"), Ok(Size::inches(dec!(11.25), dec!(8.75), dec!(0.5))));
    }

    #[test]
    fn what_is_not_a_size_is_refused() {
        for typed in [
            "",
            "12",
            "12 x 9",
            "12 x 9 x 6",
            "12 x 9 x 6 lb",
            "12 x 9 x 0 in",
            "-1 x 2 x 3 cm",
            "x x x in",
            "1 1/3 x 2 x 3 in",
            "9999999 x 1 x 1 m",
            "99999999999999999999999 x 1 x 1 ft",
            "1 5/4 x 2 x 3 in",
        ] {
            assert!(size(typed).is_err(), "{typed}");
        }
    }

    /// A mile is 1.609344 km (NIST Handbook 44 Appendix C).
    #[test]
    fn distances_are_read_with_their_unit() {
        assert_eq!(distance("12 mi"), Ok(dec!(19.312128)));
        assert_eq!(distance("12.5miles"), Ok(dec!(20.1168)));
        assert_eq!(distance("19,5 km"), Ok(dec!(19.5)));
        assert_eq!(distance("0"), Ok(Decimal::ZERO));
        for typed in ["", "12", "12 m", "far", "-3 km", "20001 km", "99999999999999999999 mi"] {
            assert!(distance(typed).is_err(), "{typed}");
        }
    }

    /// 1,728 cubic inches are a cubic foot; DMM 604.7.1.3 of the USPS has it as the threshold of dimensional weight.
    #[test]
    fn volumes_are_read_with_their_unit() {
        assert_eq!(volume("1728 in3"), volume("1 cu ft"));
        assert_eq!(volume("1 ft³"), Ok(Volume::from_cm3(dec!(28316.846592))));
        assert_eq!(volume("28 L"), Ok(Volume::from_cm3(dec!(28000))));
        for typed in ["", "1728", "in3", "-1 in3", "0 L", "99999999999 ft3"] {
            assert!(volume(typed).is_err(), "{typed}");
        }
    }

    #[test]
    fn what_is_spelled_reads_back_the_same() {
        for typed in
            ["1 lb", "2 lb 8 oz", "0.5 oz", "15.999 oz", "2.5 kg", "85 g", "0.5 kg", "70 lb", "30 kg"]
        {
            let read = mass(typed).unwrap();
            assert_eq!(spell_mass(read), spell_mass(mass(&spell_mass(read)).unwrap()), "{typed}");
            assert_eq!(mass(&spell_mass(read)), Ok(read), "{typed}");
        }
        for typed in ["12 x 9 x 6 in", "11.25 x 8.75 x 0.03125 in", "30 x 23.4 x 15 cm", "1 x 1 x 1 m"] {
            let read = size(typed).unwrap();
            assert_eq!(size(&spell_size(read)), Ok(read), "{typed}");
        }
        for typed in ["12 mi", "12.345 mi", "19 km", "19.3 km", "0"] {
            let read = distance(typed).unwrap();
            assert_eq!(distance(&spell_distance(read)), Ok(read), "{typed}");
        }
        for typed in ["1728 in3", "1 ft3", "28 L", "1500.5 cm3"] {
            let read = volume(typed).unwrap();
            assert_eq!(volume(&spell_volume(read)), Ok(read), "{typed}");
        }
        assert_eq!(spell_size(Size::inches(dec!(12), dec!(9), dec!(6))), "12 x 9 x 6 in");
        assert_eq!(spell_distance(dec!(19.312128)), "12 mi");
        assert_eq!(spell_mass(Mass::of(dec!(2.5), MassUnit::Pound)), "2 lb 8 oz");
    }
}
