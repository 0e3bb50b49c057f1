//! What stands in small print or is written as few do: signs, footnotes, commas and weeks (common practice, no source).

use intake::Doubt;

use crate::told::{check, sheet};

#[test]
fn the_last_of_several_weeks_is_read() {
    check(
        "list.csv",
        "\"MATIERE\";\"PRIX SEMAINE 47\";\"PRIX SEMAINE 48\"\n\"Cuivre\";\"7,98 €\";\"8,06 €\"\n\"Laiton\";\"4,50 €\";\"4,52 €\"\n\
         \"Prix au kilo, paiement par virement\";\"\";\"\"\n",
        &["Cuivre 8.06 kg", "Laiton 4.52 kg"],
    );
}

#[test]
fn commas_that_nobody_quoted_are_the_names_own() {
    check(
        "list.csv",
        "item,USD/lb\nCell phones, battery out,4.10\nConsole boards,1.55\nUPS units, big, no battery,0.14\n",
        &["Cell phones, battery out 4.1 lb", "Console boards 1.55 lb", "UPS units, big, no battery 0.14 lb"],
    );
}

#[test]
fn footnotes_of_a_column_tell_its_unit() {
    check(
        "list.txt",
        "Pos.   Sorte   Preis*\n1  Kupfer blank   805,00\n2  Kupfer leicht   690,00\n\
         * Euro je 100 kg, zzgl. gesetzl. MwSt., Lieferung frei Lager. Tel. 00000 / 31 80\n",
        &["Kupfer blank 805 100kg", "Kupfer leicht 690 100kg"],
    );
}

#[test]
fn what_is_sold_by_the_kilogram_among_tons() {
    check(
        "list.csv",
        "Grade;€ / t;Note\nLight iron;141;\nCopper bright;8050;\nLoose bits below are € / kg:;;\nPC boards;1.95;wiped\n",
        &["Light iron 141 tonne", "Copper bright 8050 tonne", "PC boards 1.95 kg"],
    );
    // Where nothing that is understood says so, it is asked about.
    let starred =
        "Tarifa EUR/t salvo (*)\n\nCobre 7750,00\nChapa 155,00\nPlacas base 2,05 (*)\nPerfil 1790,00\n";
    let starred = sheet("list.txt", starred.as_bytes());
    let asked: Vec<bool> = starred.rows.iter().map(|row| row.doubts.contains(&Doubt::Small)).collect();
    assert_eq!(asked, [false, false, true, false], "{starred:?}");
}

#[test]
fn signs_and_thousands_set_apart_by_blanks() {
    check(
        "list.txt",
        "Barème €/t\n\nNi-Cd : 350\nPlomb : 620\nNi-MH : 1 150\nLi-ion endommagées : -3 200\nPiles alcalines : -480\nPiles boutons : cours du jour\n\
         Onduleurs sans batterie : 280\nLampes et néons : -950\n",
        &[
            "Ni-Cd 350 tonne",
            "Plomb 620 tonne",
            "Ni-MH 1150 tonne",
            "Li-ion endommagées -3200 tonne",
            "Piles alcalines -480 tonne",
            "Piles boutons ?",
            "Onduleurs sans batterie 280 tonne",
            "Lampes et néons -950 tonne",
        ],
    );
    check(
        "list.txt",
        "buying today R/kg\nCopper bright R138,00\nSteel heavy R4 350,00 per ton\nPC boards R48 - R55\n",
        &["Copper bright 138 kg", "Steel heavy 4350 tonne", "PC boards 48..55 kg"],
    );
}

#[test]
fn who_pays_is_no_name() {
    check(
        "list.txt",
        "€ 8,10 roodkoper blank\n€ 0,14 oud ijzer licht\n€ 5,- p/st pc compleet\nkosten € 10,- p/st beeldbuis tv\n",
        &["roodkoper blank 8.1 lb", "oud ijzer licht 0.14 lb", "pc compleet 5 each", "beeldbuis tv -10 each"],
    );
    check(
        "list.txt",
        "£ per kg\n\nMonitor boards\n   any weight        0.55\nSwollen lithium batteries\n   any weight        charge 2.50\n",
        &["Monitor boards 0.55 kg", "Swollen lithium batteries -2.5 kg"],
    );
}

#[test]
fn ranges_of_whole_cents() {
    check(
        "list.txt",
        "what we pay, cents per lb\n\nclean heat sinks 55\nhdd bodies 48\nPSU boards 22 to 26\nfans 12\ncoax 15\nwall warts 24\n\
         cat5 20\ndegauss wire 210\nalu sheet 38\nthx dale. gate code 4417\n",
        &[
            "clean heat sinks 0.55 lb",
            "hdd bodies 0.48 lb",
            "PSU boards 0.22..0.26 lb",
            "fans 0.12 lb",
            "coax 0.15 lb",
            "wall warts 0.24 lb",
            "cat5 0.2 lb",
            "degauss wire 2.1 lb",
            "alu sheet 0.38 lb",
        ],
    );
}

#[test]
fn two_prices_of_one_thing_are_asked_about() {
    check(
        "list.txt",
        "$ per lb\ndry bright 6.40\nflex with plugs on 1.15 but 1.35 if u cut them\nphones no battery ask me\nbrass mixed 3.70\n",
        &["dry bright 6.4 lb", "flex with plugs on 1.15 lb", "phones no battery ?", "brass mixed 3.7 lb"],
    );
    let twice =
        sheet("list.txt", b"$ per lb\ndry bright 6.40\nflex 1.15 but 1.35 if u cut them\nbrass 3.70\n");
    let asked: Vec<bool> = twice.rows.iter().map(|row| row.doubts.contains(&Doubt::SeveralPrices)).collect();
    assert_eq!(asked, [false, true, false], "{twice:?}");
}

#[test]
fn the_day_may_stand_above_the_names_of_goods() {
    let list = b"18 November 2026,Rand / kg,prev.\nCopper,138.00,137.00\nBrass,82.50,82.00\n";
    let list = sheet("list.csv", list);
    assert_eq!(list.valid_from, Some(jiff::civil::date(2026, 11, 18)), "{list:?}");
    assert_eq!(list.rows.len(), 2, "{list:?}");
}
