//! Prices in mails and chats whose names stand elsewhere, and what else stands around them (common practice, no source).
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Hints, RowPrice, Sheet, detect, read};
use jiff::civil::date;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

fn sheet(text: &str, currency: Currency) -> Sheet {
    let unit = Some(PriceUnit::Mass(MassUnit::Kilogram));
    let hints = Hints { currency, unit, today: date(2026, 11, 26) };
    read(detect("list.txt", text.as_bytes()).unwrap(), text.as_bytes(), &hints).unwrap()
}

/// Each row as `group/name price unit`.
fn rows(sheet: &Sheet) -> Vec<String> {
    let told = |row: &intake::Row| {
        let price = match row.price {
            RowPrice::Priced { low, .. } => low.normalize().to_string(),
            RowPrice::OnRequest => "?".to_string(),
        };
        let group = row.group.as_ref().map(|group| format!("{group}/")).unwrap_or_default();
        format!("{group}{} {price} {}", row.wording, row.unit.map_or("-", |unit| unit.code()))
    };
    sheet.rows.iter().map(told).collect()
}

#[track_caller]
fn check(text: &str, expect: &[&str]) {
    assert_eq!(rows(&sheet(text, Currency::EUR)), expect, "{text}");
}

#[test]
fn a_question_in_a_chat_names_the_price_behind_it() {
    check(
        "24/11/2026, 07:50 - Bram Schuur: Bright wire 7.60\n\
         24/11/2026, 07:51 - Bram Schuur: Clean tube 7.20\n\
         24/11/2026, 07:55 - Me: thanks. what about network cable?\n\
         24/11/2026, 07:58 - Bram Schuur: 1.80\n\
         24/11/2026, 07:59 - Me: when do you close\n\
         24/11/2026, 08:01 - Bram Schuur: 4.30\n",
        &["Bright wire 7.6 kg", "Clean tube 7.2 kg", "network cable 1.8 kg"],
    );
}

#[test]
fn a_mail_is_answered_between_its_lines() {
    let text = "From: Ansel Wick <ansel@wickboards.example>\n\
        Date: Tue, 24 Nov 2026 10:16:00 +0100\n\
        Subject: Re: prices\n\n\
        Answers below, per kilo.\n\n\
        > 1. desktop motherboards, about 60 kg. Brackets are\n> off the server boards\n\n1.95\n\n\
        > 2. hard drives - 65 of them\n\n0.60 whole\n\n\
        > 3. gold RAM\n\n€16.50\n\n\
        > What are your hours?\n\nMon to Fri, 8:00 to 4:00.\n\n\
        t 0555 555 0119 | Wick Boards\n";
    check(text, &["desktop motherboards 1.95 kg", "hard drives 0.6 kg", "gold RAM 16.5 kg"]);
}

#[test]
fn an_older_mail_below_its_head_is_no_list() {
    let text = "From: Cass Orme <cass@ormemetals.example>\n\
        Sent: Tuesday, 24 November 2026 7:22 AM\n\
        To: Ned\nSubject: RE: prices\n\n\
        All prices per kilo.\nBright copper - 12.80\nMixed brass - 7.20\nCar batteries - 0.90\n\n\
        ________________________________\n\
        From: Cass Orme\nSent: Tuesday, 3 November 2026 7:15 AM\nTo: Ned\nSubject: prices\n\n\
        Bright copper - 12.10\nMixed brass - 6.90\nCar batteries - 0.90\n";
    check(text, &["Bright copper 12.8 kg", "Mixed brass 7.2 kg", "Car batteries 0.9 kg"]);
}

#[test]
fn a_chat_holds_from_the_day_of_its_prices() {
    let text = "23/11/2026, 17:02 - Messages are encrypted.\n\
        23/11/2026, 17:05 - Me: prices for tomorrow?\n\
        23/11/2026, 17:06 - Bram: in the morning\n\
        24/11/2026, 07:50 - Bram: Bright wire 7.60\n\
        24/11/2026, 07:51 - Bram: Brass 4.40\n";
    assert_eq!(sheet(text, Currency::EUR).valid_from, Some(date(2026, 11, 24)));
}

#[test]
fn words_around_a_spoken_name_are_no_part_of_it() {
    check(
        "Uh, he said the heavy copper was €7.90 a kilo. Alors le laiton il est à 4,90 € le kilo. Morning pal. Bright wire 8.60 a kilo",
        &["heavy copper 7.9 kg", "laiton 4.9 kg", "Bright wire 8.6 kg"],
    );
    check("L'inox 0,90 € le kilo", &["inox 0.9 kg"]);
    check("le zinc 1 euro 50 le kilo, le bronze 6 €", &["zinc 1.5 kg", "bronze 6 kg"]);
    check(
        "Twin and earth is €6.20 a kilo and I can do €3.40 on the network cable.",
        &["Twin and earth 6.2 kg", "network cable 3.4 kg"],
    );
}

#[test]
fn a_heading_before_a_dash_or_a_colon_is_of_all_behind_it() {
    check(
        "Aluminium - clean extrusion 2.70, cast 1.80, irony 0.60",
        &["Aluminium/clean extrusion 2.7 kg", "Aluminium/cast 1.8 kg", "Aluminium/irony 0.6 kg"],
    );
    check(
        "Lead 1.38\nBrass 4.40\nZinc 1.10\nNickel 9.50\n\
         and electronics: motherboards 70, mixed boards 32, hard drives 18, power supplies 8",
        &[
            "Lead 1.38 kg",
            "Brass 4.4 kg",
            "Zinc 1.1 kg",
            "Nickel 9.5 kg",
            "electronics/motherboards 70 kg",
            "electronics/mixed boards 32 kg",
            "electronics/hard drives 18 kg",
            "electronics/power supplies 8 kg",
        ],
    );
    check(
        "Boards: server 4.10, laptop 3.20, ceramic CPUs call, hard drives 0.80",
        &[
            "Boards/server 4.1 kg",
            "Boards/laptop 3.2 kg",
            "Boards/ceramic CPUs ? kg",
            "Boards/hard drives 0.8 kg",
        ],
    );
}

#[test]
fn what_stands_behind_a_list_is_no_row() {
    check(
        "Brass 4.40\nLead 1.38\nph 555 0102, open 7 til 3.30, Sat 7 til 11\n",
        &["Brass 4.4 kg", "Lead 1.38 kg"],
    );
}

#[test]
fn brackets_behind_a_price_hold_that_of_more() {
    let sheet = sheet("#1 copper 5.40 (5.50 over 500 kg), brass 3.30", Currency::EUR);
    assert_eq!(rows(&sheet), ["#1 copper 5.4 kg", "#1 copper 5.5 kg", "brass 3.3 kg"]);
    let tiers: Vec<bool> = sheet.rows.iter().map(|row| row.tier_from.is_some()).collect();
    assert_eq!(tiers, [false, true, false]);
}

#[test]
fn numbers_of_alloys_and_of_pieces_are_no_prices_by_themselves() {
    check("Stainless 304, stainless 316, aluminium 6061, aluminium 6063", &[]);
    check("hard drives 12, laptops 3, motherboards 40, power supplies 9", &[]);
    let list = "Lead 1.38\nBrass 4.40\nZinc 1.10\nStainless 0.95\nhard drives 12, laptops 3, motherboards 40, CPUs 9\n";
    let asked = |row: &&intake::Row| row.doubts.contains(&intake::Doubt::BareNumber);
    assert_eq!(sheet(list, Currency::EUR).rows.iter().filter(asked).count(), 4);
    check("Copper - bright 5.60, Brass - mixed 3.30", &["Copper - bright 5.6 kg", "Brass - mixed 3.3 kg"]);
}

#[test]
fn a_number_among_decimals_is_a_price_in_a_list_of_items() {
    check(
        "Boards 17, laptop boards 22, gold RAM 95, hard drives 5.50",
        &["Boards 17 kg", "laptop boards 22 kg", "gold RAM 95 kg", "hard drives 5.5 kg"],
    );
    check("Stainless 304, 1.20", &["Stainless 304 1.2 kg"]);
    // It may be part of the name, too, whatever the sheet says of units.
    let list = sheet("All prices per kg\nStainless 304, brass 4.40, lead 1.30, zinc 1.10\n", Currency::EUR);
    let asked = |row: &intake::Row| row.doubts.contains(&intake::Doubt::BareNumber);
    assert_eq!(list.rows.iter().map(asked).collect::<Vec<_>>(), [true, false, false, false]);
}

#[test]
fn who_is_greeted_and_which_piece_of_a_message_it_is_are_no_names() {
    check("ciao Marta, pc completi 0,40 al kg", &["pc completi 0.4 kg"]);
    check("(3/3) Motherboards 5.50, hard drives 2.00", &["Motherboards 5.5 kg", "hard drives 2 kg"]);
    check("processori ceramici: da quotare con foto", &["processori ceramici ? kg"]);
    check(
        "Brass 4.40\nLead 1.38\nno cash here. shut 3.30 weekdays, sat till 11.30\n",
        &["Brass 4.4 kg", "Lead 1.38 kg"],
    );
}

#[test]
fn a_letter_is_pence_only_where_pence_are_paid() {
    let prices = |text: &str| {
        let sheet = intake::read_alone(
            detect("list.txt", text.as_bytes()).unwrap(),
            text.as_bytes(),
            date(2026, 11, 26),
        );
        rows(&sheet.unwrap())
    };
    assert_eq!(
        prices("prijzen p/kg\nkoper blank 8,80\nlood zacht 1,40\nmessing 5,15\n"),
        ["koper blank 8.8 kg", "lood zacht 1.4 kg", "messing 5.15 kg",]
    );
    assert_eq!(
        prices("Metal,p/kg\nBright copper,648\nBrass,372\nLead,136\n"),
        ["Bright copper 6.48 kg", "Brass 3.72 kg", "Lead 1.36 kg",]
    );
}

#[test]
fn a_day_stands_before_the_list() {
    let sheet = sheet("Metal prices Wed Nov 25 per kg: bright 5.60, brass 3.30", Currency::EUR);
    assert_eq!(sheet.valid_from, Some(date(2026, 11, 25)));
    check("Ceny od 24.11 zl/kg\nmiedz mix 35,50\nolow 6,40\n", &["miedz mix 35.5 kg", "olow 6.4 kg"]);
}
