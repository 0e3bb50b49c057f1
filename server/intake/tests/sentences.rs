//! Prices that stand in sentences, in messages and in lists without marks, as people write them (common practice, no source).
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Doubt, Hints, Row, RowPrice, detect, read};
use jiff::civil::date;
use proptest::prelude::*;
use trade::mass::MassUnit;
use trade::money::{Currency, PriceUnit};

fn rows(text: &str) -> Vec<Row> {
    let unit = Some(PriceUnit::Mass(MassUnit::Pound));
    let hints = Hints { currency: Currency::EUR, unit, today: date(2026, 11, 26) };
    read(detect("list.txt", text.as_bytes()).unwrap(), text.as_bytes(), &hints).unwrap().rows
}

/// `name price unit`, and `from …` where the price has a tier.
fn told(row: &Row) -> String {
    let price = match row.price {
        RowPrice::Priced { low, .. } => low.normalize().to_string(),
        RowPrice::OnRequest => "?".to_string(),
    };
    let unit = row.unit.map_or("-", |unit| unit.code());
    let tier = row
        .tier_from
        .map(|mass| format!(" from {} kg", (mass.grams() / rust_decimal::dec!(1000)).round_dp(1)));
    format!("{} {price} {unit}{}", row.wording, tier.unwrap_or_default())
}

fn check(text: &str, expect: &[&str]) {
    let rows: Vec<String> = rows(text).iter().map(told).collect();
    assert_eq!(rows, expect, "{text}");
}

#[test]
fn names_stand_behind_their_prices_or_before() {
    check(
        "From this morning we are paying €7.85 a kilo for bright bare wire and €7.50 for clean heavy copper, with mixed \
         number two at €7.10. Light sheet copper is €6.60 a kilo.",
        &[
            "bright bare wire 7.85 kg",
            "clean heavy copper 7.5 kg",
            "mixed number two 7.1 kg",
            "Light sheet copper 6.6 kg",
        ],
    );
    check(
        "For iron we pay by the tonne as ever. Light iron is €130 a tonne over the weighbridge and heavy cut steel is €185.",
        &["Light iron 130 tonne", "heavy cut steel 185 tonne"],
    );
    check(
        "I dischi rigidi interi li pago 0,80 euro al kg, i lettori DVD 0,25 euro. Le schede server sono a 4,30 euro al kg.",
        &["dischi rigidi interi 0.8 kg", "lettori DVD 0.25 kg", "schede server 4.3 kg"],
    );
}

#[test]
fn a_broken_sentence_is_whole_and_a_list_is_left_alone() {
    check(
        "Light iron is at £140 per tonne this week at the lower yard, and heavy\n\
         cut steel makes £172 per tonne. Both are weighed on the bridge and paid\n\
         at the end of the week.\n",
        &["Light iron 140 tonne", "heavy cut steel 172 tonne"],
    );
    check(
        "From this morning we are paying €4.25 a kilo for bright wire and €3.95 for\n\
         No. 1 copper, with mixed number two at €3.62. The gate is open until noon\n\
         on Saturday.\n",
        &["bright wire 4.25 kg", "No. 1 copper 3.95 kg", "mixed number two 3.62 kg"],
    );
    let list = "clean extrusion of window frames without any screws or paint 1.10\nold sheet aluminium and siding 0.60\n\
                mixed cast aluminium without iron 0.55\n";
    check(
        list,
        &[
            "clean extrusion of window frames without any screws or paint 1.1 lb",
            "old sheet aluminium and siding 0.6 lb",
            "mixed cast aluminium without iron 0.55 lb",
        ],
    );
}

#[test]
fn a_unit_or_currency_said_once_holds_where_the_list_goes_on() {
    check(
        "Per kilo: circuit boards from computers 2.10, phones without battery 6.50,\nmemory 14.00.\nHeavy steel 215/t\n",
        &[
            "circuit boards from computers 2.1 kg",
            "phones without battery 6.5 kg",
            "memory 14 kg",
            "Heavy steel 215 tonne",
        ],
    );
    check(
        "all cents a lb\nbright 418, #1 402, #2 381, light 355\nyellow brass 262, red brass 318\ncast 61, cans 58\n",
        &[
            "bright 4.18 lb",
            "#1 4.02 lb",
            "#2 3.81 lb",
            "light 3.55 lb",
            "yellow brass 2.62 lb",
            "red brass 3.18 lb",
            "cast 0.61 lb",
            "cans 0.58 lb",
        ],
    );
}

#[test]
fn what_the_second_number_is_for() {
    check(
        "First number is our dock price per pound, second one is if you bring 1,000 lb or more of\nthat grade.\n\
         Server boards ........ $2.60    $2.80\nRouter boards ........ $2.05    $2.20\n",
        &[
            "Server boards 2.6 lb",
            "Server boards 2.8 lb from 453.6 kg",
            "Router boards 2.05 lb",
            "Router boards 2.2 lb from 453.6 kg",
        ],
    );
    check(
        "Hierro pesado $5.80, si me juntan más de 500 kg $6.20",
        &["Hierro pesado 5.8 lb", "Hierro pesado 6.2 lb from 500 kg"],
    );
}

#[test]
fn a_title_says_who_pays() {
    let rows = rows(
        "A.  WHAT WE PAY YOU\nLaptops   each   3.75\nHard disks   kg   1.05\n\n\
         B.  WHAT WE HAVE TO CHARGE YOU    (all plus VAT)\nTube monitors   each   8.00\nPrinters   each   1.50\n",
    );
    let prices: Vec<String> = rows.iter().map(told).collect();
    assert_eq!(
        prices,
        ["Laptops 3.75 each", "Hard disks 1.05 kg", "Tube monitors -8 each", "Printers -1.5 each"]
    );
}

#[test]
fn in_a_thread_only_what_the_yard_says_counts() {
    check(
        "Mon, Nov 23, 2:14 PM\nMe: is bright still 4.50?\nLou: bright 4.35, #1 4.20\nMe: i have 30 towers at .30 elsewhere\n\
         Lou: towers .28\nbring them Saturday\n",
        &["bright 4.35 lb", "#1 4.2 lb", "towers 0.28 lb"],
    );
}

#[test]
fn what_is_said_of_hours_weeks_and_years_is_no_price() {
    check(
        "Copper 3.40\nREMINDER: gate closes 4.30 in winter\nShut 12.30 - 1\nsemaine 48\n",
        &["Copper 3.4 lb"],
    );
    check(
        "per tonne\nBright wire      7,150.50\nCable - armoured, copper     2,050 - 2,300\nZinc      950\n",
        &["Bright wire 7150.5 tonne", "Cable - armoured, copper 2050 tonne", "Zinc 950 tonne"],
    );
}

/// A hundredfold slip is worse than a question.
#[test]
fn whole_money_in_a_list_of_cents_is_asked_about() {
    let rows = rows("all cents a lb\nbright 418\nheavy 402\nlight 3.55\n");
    let doubts: Vec<bool> = rows.iter().map(|row| row.doubts.contains(&Doubt::CentsUnclear)).collect();
    assert_eq!(doubts, [false, false, true], "{rows:#?}");
}

proptest! {
    /// However the sentence goes, each name has its own price.
    #[test]
    fn each_name_keeps_its_price(cents in prop::collection::vec(100u32..900, 2..6), behind in any::<bool>()) {
        let names = ["bright wire", "heavy copper", "yellow brass", "soft lead", "old cast"];
        let item = |at: usize| {
            let price = format!("€{}.{:02} a kilo", cents[at] / 100, cents[at] % 100);
            if behind { format!("{price} for {}", names[at]) } else { format!("{} at {price}", names[at]) }
        };
        let items: Vec<String> = (0..cents.len().min(names.len())).map(item).collect();
        let (last, first) = items.split_last().unwrap();
        let text = format!("This week we are paying {} and {last}.", first.join(", "));
        let found: Vec<String> = rows(&text).iter().map(told).collect();
        let meant: Vec<String> = (0..items.len())
            .map(|at| {
                let price = rust_decimal::Decimal::new(cents[at].into(), 2).normalize();
                format!("{} {price} kg", names[at])
            })
            .collect();
        prop_assert_eq!(found, meant, "{}", text);
    }
}

#[test]
fn a_bare_number_among_marked_prices_is_one_and_is_asked_about() {
    let list = rows(
        "Ceny w zł/kg\nmiedź świecąca 38,50\nmiedź blaszka 33\nmosiądz 23,50\nbrąz 29\nołów miękki 6,90\nakumulatory 2,90\n",
    );
    let told: Vec<String> = list.iter().map(told).collect();
    assert_eq!(told[1], "miedź blaszka 33 kg");
    assert_eq!(told[3], "brąz 29 kg");
    assert_eq!(told.len(), 6);
}

#[test]
fn what_a_sentence_says_of_all_prices_ends_with_a_short_word_too() {
    check(
        "On to prices for the week, which are pounds per tonne delivered in to us and ready to go. Old hot water cylinders \
         are at £610 and turnings at £390.",
        &["Old hot water cylinders 610 tonne", "turnings 390 tonne"],
    );
}

#[test]
fn the_second_number_is_told_to_be_for_more() {
    check(
        "$/lb. First number is small lots, second\nis 1000 lb or better of that item.\n\nBOARDS\nPC small socket   1.62   1.75\n",
        &["PC small socket 1.62 lb", "PC small socket 1.75 lb from 453.6 kg"],
    );
    check(
        "Prix HT au kilo. Entre parenthèses le prix à partir de 200 kg.\n\nCARTES\nCartes mères .... 3,20 € (3,45 €)\n\
         Cartes TV .... 0,70 €\n",
        &["Cartes mères 3.2 kg", "Cartes mères 3.45 kg from 200 kg", "Cartes TV 0.7 kg"],
    );
}

#[test]
fn prices_stand_in_front_of_their_names() {
    check(
        "Prices in € per tonne\n\n4,150   Motherboards, mixed\n5,900   Network boards\n  780   Power supply boards\n\
         1,250   Aluminium heat sinks\n  -90   CRT monitors (charge)\n  P.O.A.   Laptop boards\n",
        &[
            "Motherboards, mixed 4150 tonne",
            "Network boards 5900 tonne",
            "Power supply boards 780 tonne",
            "Aluminium heat sinks 1250 tonne",
            "CRT monitors -90 tonne",
            "Laptop boards ? tonne",
        ],
    );
    // Of two in front of one name, the one in brackets is last week's.
    check(
        "Dagprijzen per kilo, vorige week tussen haakjes\n\n€ 7,55 (7,45)  koperdraad blank\n€ 6,60 (6,60)  gemengd koper\n\
         € 0,62 (0,60)  accu's (auto)\n",
        &["koperdraad blank 7.55 kg", "gemengd koper 6.6 kg", "accu's (auto) 0.62 kg"],
    );
    check(
        "Prices in € per tonne, last week's in brackets\n\n8,150 (8,060)   Bare bright copper\n7,700 (7,650)   No. 1 copper\n  \
         940 (910)   Aluminium extrusion\n  190   Light iron\n",
        &[
            "Bare bright copper 8150 tonne",
            "No. 1 copper 7700 tonne",
            "Aluminium extrusion 940 tonne",
            "Light iron 190 tonne",
        ],
    );
    // Lines that are counted have no prices.
    check("All prices in € per kilo\n1   Copper\n2   Brass\n3   Lead\n4   Zinc\n5   Steel\n", &[]);
}

#[test]
fn pounds_are_money_where_they_are_per_something_else() {
    let text = "We pay, in pence per kilo:\n\nCopper wire, bright .... 640p\nLead .... 130p\n\nFor electronics, per kilo as \
                well, but in pounds:\n\nPC boards .... £2.95\nSet-top boxes .... £0.40\n\nLoads are in pounds per tonne.\n";
    check(text, &["Copper wire, bright 6.4 kg", "Lead 1.3 kg", "PC boards 2.95 kg", "Set-top boxes 0.4 kg"]);
    let steel = rows("Ferrous in pounds per tonne: heavy steel 165, light iron 120, shred 130\n");
    assert_eq!(
        steel.iter().map(|row| (told(row), row.currency)).collect::<Vec<_>>(),
        [
            ("heavy steel 165 tonne".to_string(), Some(Currency::GBP)),
            ("light iron 120 tonne".to_string(), Some(Currency::GBP)),
            ("shred 130 tonne".to_string(), Some(Currency::GBP)),
        ]
    );
}

#[test]
fn what_others_pay_and_what_the_market_quotes_is_no_price() {
    check(
        "Dollars a pound\nbright & shiny          $4.10     [Halvorsen 4.00]\nno. 1                   $3.95     [Halvorsen 3.92]\n\
         clean sheet             $.58     [Halvorsen .60]\n",
        &["bright & shiny 4.1 lb", "no. 1 3.95 lb", "clean sheet 0.58 lb"],
    );
    check("Gold $4,011.20/oz   Silver $49.80/oz\nServer boards $4.10/lb\n", &["Server boards 4.1 lb"]);
    check(
        "Brass €4.30/kg\nI was getting €4.40 at the other place\nO outro dava 7,60 no brilhante na semana passada\n",
        &["Brass 4.3 kg"],
    );
}

#[test]
fn a_line_that_says_what_prices_are_in_holds_for_those_below() {
    check(
        "Die Preise\nverstehen sich netto in EUR/t frei Lager:\n\nNetzteilplatinen    320,-\nFestplatten komplett    980,-\n\n\
         In EUR/kg vergüten wir:\n\nRAM vergoldet    18,20\nHandyplatinen    12,40\n",
        &[
            "Netzteilplatinen 320 tonne",
            "Festplatten komplett 980 tonne",
            "RAM vergoldet 18.2 kg",
            "Handyplatinen 12.4 kg",
        ],
    );
}

#[test]
fn names_with_numbers_and_names_without_prices() {
    // A list in bare pence, one with its alloy.
    check(
        "Prices pence per kilo\n\nDry bright 740\nBrass mixed 440\nGunmetal 520\nLead 148\nStainless 316 135\nStainless 304 90\n\
         Cable flex 150\nBatteries 62\nCatalysts ring first\n",
        &[
            "Dry bright 7.4 kg",
            "Brass mixed 4.4 kg",
            "Gunmetal 5.2 kg",
            "Lead 1.48 kg",
            "Stainless 316 1.35 kg",
            "Stainless 304 0.9 kg",
            "Cable flex 1.5 kg",
            "Batteries 0.62 kg",
            "Catalysts ? kg",
        ],
    );
    check(
        "€/lb\nCLEAN BRASS       3.25\nALUM RADS         ---\nLEAD               .85\n",
        &["CLEAN BRASS 3.25 lb", "ALUM RADS ? lb", "LEAD 0.85 lb"],
    );
    check(
        "- cobre de 1.ª: 7,45 €/kg\n- placas-mãe: 2,50 €/kg; acima de 200 kg paga 2,75 €/kg\n",
        &["cobre de 1.ª 7.45 kg", "placas-mãe 2.5 kg", "placas-mãe 2.75 kg from 200 kg"],
    );
}

#[test]
fn what_only_looks_like_it_stays_what_it_was() {
    // Masses are no pounds of money, and a state is no ton.
    let us = |text: &str| rows(text).iter().map(|row| (told(row), row.currency)).collect::<Vec<_>>();
    assert_eq!(
        us("Best prices in TN, $ per lb\nMotors under 10 pounds each $.22 a pound\nBright copper $4.10\n"),
        [
            ("Motors under 10 pounds each 0.22 lb".to_string(), Some(Currency::USD)),
            ("Bright copper 4.1 lb".to_string(), Some(Currency::USD)),
        ]
    );
    // What is wanted in numbers of pieces has no prices.
    check(
        "Copper €3.90/kg\nBrass €2.10/kg\nLead €1.10/kg\nZinc €0.80/kg\nTin €9.00/kg\nWe need:\n40   Rack servers\n120   \
         Laptops\n25   Switches\n300   Drives\n",
        &["Copper 3.9 kg", "Brass 2.1 kg", "Lead 1.1 kg", "Zinc 0.8 kg", "Tin 9 kg"],
    );
    // `Hier` is yesterday in French, and here in German.
    check("Hier das Kupfer: 8,10 €/kg\nMessing 4,90 €/kg\n", &["Hier das Kupfer 8.1 kg", "Messing 4.9 kg"]);
    // An edge of gold is no currency, and a price for more stands in brackets of any kind.
    check("Kaarten met gouden rand 4,50 €/kg\n", &["Kaarten met gouden rand 4.5 kg"]);
    check(
        "Server boards €4.10/kg [over 100 kg €4.40/kg]\n",
        &["Server boards 4.1 kg", "Server boards 4.4 kg from 100 kg"],
    );
    check("Better than the other guy: bright copper €4.10/kg\n", &["bright copper 4.1 kg"]);
}

#[test]
fn a_table_copied_with_a_cell_a_line_has_its_units() {
    check(
        "COPPER\nBare bright\n$4.12\nlb\n#1 copper\n$3.98\nlb\nBrass shells\nCall\nlb\n\nIRON\nLight iron\n$165.00\ngross ton\n\
         \nELECTRONICS\nTube TV\nYou pay $20.00\neach\n",
        &[
            "Bare bright 4.12 lb",
            "#1 copper 3.98 lb",
            "Brass shells ? lb",
            "Light iron 165 gross_ton",
            "Tube TV -20 each",
        ],
    );
}

#[test]
fn an_alloy_above_a_price_is_part_of_the_name() {
    check(
        "Non-ferrous $/kg\n\nBrass mixed\n\n6.40\n\nCast aluminium\n\n1.80\n\nSoft lead\n\n2.40\n\nStainless steel 316\n\n2.20\n",
        &["Brass mixed 6.4 kg", "Cast aluminium 1.8 kg", "Soft lead 2.4 kg", "Stainless steel 316 2.2 kg"],
    );
}

#[test]
fn who_pays_in_us_dollars_charges_nothing() {
    check(
        "WHAT WE PAY (US dollars per pound)\n\nServer boards  2.70\nLaptop boards  4.20\n",
        &["Server boards 2.7 lb", "Laptop boards 4.2 lb"],
    );
}

#[test]
fn what_is_quoted_beside_the_list_is_no_price() {
    check(
        "Server boards  2.70/lb\nLaptop boards  4.20/lb\nExchange today 1 USD = 1.39 CAD\nUM: LB = POUND  GT = GROSS TON 2240 LB\n\
         place over in Sorrelburg pays 6.80 on phones\nMobile 085 010 0192 | Weighbridge open 8.30 - 5, closed 1 - 1.45\n\
         Freight is about 0.14 a pound inside 300 miles.\nThe chili was good.\n",
        &["Server boards 2.7 lb", "Laptop boards 4.2 lb"],
    );
}

#[test]
fn buttons_and_changes_copied_along_with_cells_are_no_prices() {
    check(
        "Bright & Shiny\nStripped, no tarnish\n$5.35 /lb\nView details\n\nNo. 1 Copper\nClean pipe and dull wire\n$5.10 /lb\nView details\n\n\
         No. 2 Copper\nSolder joints, paint\n$4.72 /lb\nView details\n\nYellow Brass\nTaps, fittings\n$2.95 /lb\nView details\n",
        &["Bright & Shiny 5.35 lb", "No. 1 Copper 5.1 lb", "No. 2 Copper 4.72 lb", "Yellow Brass 2.95 lb"],
    );
    check(
        "All prices are per pound.\nMaterial\nPrice\nChange\nCOPPER\nBare Bright Wire\n$4.12\n+0.04\n#1 Tubing\n$3.98\n+0.04\n#2 Copper\n$3.74\n\
         +0.03\nSheet Copper\n$3.41\n0.00\nBreakage\nCall\n–\nCoax\n$0.12\n-0.01\n",
        &[
            "Bare Bright Wire 4.12 lb",
            "#1 Tubing 3.98 lb",
            "#2 Copper 3.74 lb",
            "Sheet Copper 3.41 lb",
            "Breakage ? lb",
            "Coax 0.12 lb",
        ],
    );
}

#[test]
fn what_exchanges_others_and_services_cost_is_no_price() {
    check(
        "Server boards  2.70/lb\nLaptop boards  4.20/lb\nYard in Carrowby paying 3.60 on motherboards\nCopper on the exchange this morning: $4.87\n\
         20 yd $0 drop\n3 m³ $35 a week.\nHarlow Boards, Dock 3, Corliss Park, OH - phone 555-0186   1\n",
        &["Server boards 2.7 lb", "Laptop boards 4.2 lb"],
    );
    check(
        "Schede madri per PC da 3,60 a 3,90 euro al kg.\nSchede server 4,30 euro al kg.\n",
        &["Schede madri per PC 3.6 kg", "Schede server 4.3 kg"],
    );
}

#[test]
fn goods_that_sound_like_services_or_exchanges_are_bought() {
    check(
        "Aluminum service drop  $0.45/lb\nTelecom drop wire  1.20/lb\nTelephone exchange boards  2.10/lb\n\
         Bare bright  $4.12/lb = $9.08/kg\nTube TVs - pay us $15 each\n",
        &[
            "Aluminum service drop 0.45 lb",
            "Telecom drop wire 1.2 lb",
            "Telephone exchange boards 2.1 lb",
            "Bare bright 4.12 lb",
            "Tube TVs -15 each",
        ],
    );
}
