//! Sheets that name and lay out their columns as nobody else does, and lists whose prices nothing marks as such (common practice,
//! no source).

use intake::{Doubt, Why};
use rust_decimal::dec;
use trade::mass::Mass;
use trade::money::Currency;

use crate::told::{check, rows, sheet};

#[test]
fn columns_with_strange_names_are_told_by_their_cells() {
    check(
        "list.csv",
        "Harlan Metals,,,,\nWeek of 11/23/2026,,,Mon-Fri 7:30-4,(555) 014-2299\n,,,,\nPaying Now,Paid Prior Wk,Move,Stuff,Pile\n\
         $4.05,$3.98,+.07,Bright copper wire,C01\n$2.30,$2.35,-.05,Yellow brass,B01\n$0.60,$0.60,0,Soft lead,L01\n",
        &["Bright copper wire 4.05 lb", "Yellow brass 2.3 lb", "Soft lead 0.6 lb"],
    );
    // Of two that nobody knows, the first is read and asked about.
    let twice = "What,Fir,Oak\nCopper 1,4.00,8.82\nYellow brass,2.00,4.41\nLead,0.60,1.32\nZinc,0.50,1.10\n";
    let twice = sheet("list.csv", twice.as_bytes());
    assert_eq!(rows(&twice)[0], "Copper 1 4 lb");
    assert!(twice.rows.iter().all(|row| row.doubts.contains(&Doubt::SeveralPrices)), "{twice:?}");
}

#[test]
fn a_row_of_the_list_is_no_row_of_names() {
    check(
        "list.csv",
        "Item,Price,Unit\nCopper 1,3.90,lb\nSwollen lithium,minus $4,kg\nSoft lead,0.60,lb\nZinc,0.40,lb\nBrass,2.00,lb\n\
         Catalysts,ring us,lb\n",
        &[
            "Copper 1 3.9 lb",
            "Swollen lithium -4 kg",
            "Soft lead 0.6 lb",
            "Zinc 0.4 lb",
            "Brass 2 lb",
            "Catalysts ?",
        ],
    );
}

#[test]
fn prices_of_last_week_in_spanish_and_ends_in_their_currency() {
    let rows = "Cobre;7,10;7,25\nPlomo;1,20;1,25\n";
    for names in ["Material;Semana pasada;Esta semana", "Material;Mes anterior;Vigente"] {
        check("list.csv", &format!("{names}\n{rows}"), &["Cobre 7.25 lb", "Plomo 1.25 lb"]);
    }
    let ends = "Item;Min £/kg;Max £/kg\nCopper;6.10;6.40\nLead;1.20;1.35\n";
    check("list.csv", ends, &["Copper 6.1..6.4 kg", "Lead 1.2..1.35 kg"]);
}

#[test]
fn lists_with_names_for_their_columns_only_further_down() {
    let text = "Prices in Rand per kg\nCopper,R\nbright wire,148\nno 2,131\nradiators,84\n\nSteel,R/ton\nheavy,3150\nlight,2100\n";
    let read = sheet("list.csv", text.as_bytes());
    let prices: Vec<String> = rows(&read).into_iter().take(3).collect();
    assert_eq!(prices, ["bright wire 148 kg", "no 2 131 kg", "radiators 84 kg"]);
}

#[test]
fn boxes_are_a_table_by_their_roles() {
    // WAI-ARIA 1.2: table, row, columnheader, cell.
    let row = |role: &str, cells: [&str; 3]| {
        let cells = cells.map(|cell| format!("<div role={role}>{cell}</div>")).concat();
        format!("<div role=row>{cells}</div>")
    };
    let page = format!(
        "<html><body><p>All prices in AUD inc. GST</p><div role=table>{}{}{}</div><output>$285.00</output></body></html>",
        row("columnheader", ["Material", "This week $/kg", "Last week $/kg"]),
        row("cell", ["Copper, bright", "12.10", "11.90"]),
        row("cell", ["PC boards", "POA", "6.00"]),
    );
    let read = sheet("page.html", page.as_bytes());
    assert_eq!(rows(&read), ["Copper, bright 12.1 kg", "PC boards ?"]);
    assert_eq!(read.rows[0].currency, Some(Currency::AUD));
}

#[test]
fn whole_numbers_below_names_are_their_prices() {
    check(
        "paste.txt",
        "Annahmepreise in Euro pro Tonne\nKupferkabel\n+ 2.450\nBleiakkus\n+ 680\nMikrowellen\n+ 35\nBildschirme\n− 40\n\
         Alkalibatterien\n− 650\nNachtspeicher\nPreis auf Anfrage\n",
        &[
            "Kupferkabel 2450 tonne",
            "Bleiakkus 680 tonne",
            "Mikrowellen 35 tonne",
            "Bildschirme -40 tonne",
            "Alkalibatterien -650 tonne",
            "Nachtspeicher ?",
        ],
    );
    // Years, doors and times are none.
    let read = sheet(
        "paste.txt",
        b"Our yards\nNorth gate\n12\nOpened\n1987\nSouth gate\n14\nStaff\n9\nClosing\n16\n",
    );
    assert!(read.rows.is_empty(), "{read:?}");
}

#[test]
fn whole_numbers_in_one_line() {
    check(
        "mail.txt",
        "All in euro a tonne.\nCopper: bright wire 8,450 / heavy copper 8,250 / lagged pipe on request / tinned wire 7,700\n\
         Aluminium: clean profile 1,880; painted profile 1,650; old sheet 1,250; cast 1,300\n\
         Boards (per kilo): high grade €3.40, medium €1.50, low €0.35\n\
         Lead €1,600\nZinc €1,100\nTin €9,000\n",
        &[
            "bright wire 8450 tonne",
            "heavy copper 8250 tonne",
            "lagged pipe ?",
            "tinned wire 7700 tonne",
            "clean profile 1880 tonne",
            "painted profile 1650 tonne",
            "old sheet 1250 tonne",
            "cast 1300 tonne",
            "high grade 3.4 kg",
            "medium 1.5 kg",
            "low 0.35 kg",
            "Lead 1600 tonne",
            "Zinc 1100 tonne",
            "Tin 9000 tonne",
        ],
    );
}

#[test]
fn headings_between_the_rows_of_a_copied_table() {
    let text = "Material\tUnder 50 kg\tOver 50 kg\nCopper\nBright wire\t$10.80\t$11.20\nBurnt\t$8.90\t$9.25\nOther\n\
                Lead\t$1.80\t$1.90\nCar batteries\t$0.90\tPOA\n";
    let read = sheet("paste.txt", text.as_bytes());
    assert_eq!(read.rows.len(), 8, "{read:?}");
    assert!(read.rows.iter().all(|row| row.tier_from.is_some() || row.tier_to.is_some()), "{read:?}");
    assert_eq!(read.rows[1].group.as_deref(), Some("Copper"));
}

#[test]
fn bounds_of_tiers_with_a_blank_in_them() {
    let text = "Code;Article;moins de 200 lb;200 à 1 500 lb;1 500 lb et plus\nE1;Cartes serveur;3,10 $;3,40 $;3,75 $\nE2;Disques durs;0,55 $;0,60 $;0,68 $\n";
    let read = sheet("list.csv", text.as_bytes());
    let from: Vec<_> = read.rows.iter().take(3).map(|row| row.tier_from).collect();
    assert_eq!(
        rows(&read)[..3],
        ["Cartes serveur 3.1 lb", "Cartes serveur 3.4 lb", "Cartes serveur 3.75 lb"]
    );
    assert!(from[0] < from[1] && from[1] < from[2], "{from:?}");
}

#[test]
fn a_mass_alone_ends_a_row_of_tiers() {
    let text = "grade|0-50 kg|50-250 kg|250 kg\nCards|8.20|8.90|9.60\nBoards|5.40|5.90|6.30\n";
    let read = sheet("list.csv", text.as_bytes());
    assert_eq!(rows(&read)[..3], ["Cards 8.2 lb", "Cards 8.9 lb", "Cards 9.6 lb"]);
    assert_eq!(read.rows[2].tier_from, read.rows[1].tier_to);
}

#[test]
fn what_letters_and_distances_are_not() {
    // Single letters of a title are no grams, and freight by the kilometre is no price.
    let board = "S A L V A G E\nWE PAY TODAY\n4.05 ...... #1 BARE BRIGHT\n2.20 ...... YELLOW BRASS\n.58 ...... SOFT LEAD\nFreight $2.50/km\n";
    check("board.txt", board, &["#1 BARE BRIGHT 4.05 lb", "YELLOW BRASS 2.2 lb", "SOFT LEAD 0.58 lb"]);
    let rand = sheet("list.csv", b"Item,Price per kg\nBright wire,R 148.00\nLead,R 24.00\n");
    assert!(rand.rows.iter().all(|row| row.currency == Currency::from_code("ZAR")), "{rand:?}");
}

#[test]
fn by_the_piece_as_it_is_written_in_spanish() {
    check(
        "list.txt",
        "Precios en €/kg\nCobre 7,10\nPortátil sin batería 1,20 €/ud\nTeléfono 8,00 € c/u\nPlomo 1,20\n",
        &["Cobre 7.1 kg", "Portátil sin batería 1.2 each", "Teléfono 8 each", "Plomo 1.2 kg"],
    );
}

#[test]
fn what_an_exchange_quotes_says_nothing_of_units() {
    let text = "Precios de compra, EUR/kg\nCobre 7,10\nLatón 4,20\nPlomo 1,20\nCotización LME del cobre del día 23: 7.985 €/t.\n";
    check("list.txt", text, &["Cobre 7.1 kg", "Latón 4.2 kg", "Plomo 1.2 kg"]);
    let rates = "Material,$/kg\nCopper,12.10\nLead,2.20\nCOMEX copper,5.02\nAUD/USD,0.6570\n";
    check("list.csv", rates, &["Copper 12.1 kg", "Lead 2.2 kg"]);
}

#[test]
fn what_is_not_bought_in_a_column_of_its_own() {
    let text = "Material,Compramos,Precio,Nota\nCobre,Si,345,\nCable coaxial,No,,\nPlomo,Si,51,\nCatalizadores,Si,,preguntar\n";
    let read = sheet("list.csv", text.as_bytes());
    assert_eq!(rows(&read), ["Cobre 345 lb", "Plomo 51 lb", "Catalizadores ?"]);
    assert!(read.left_out.iter().any(|left| left.why == Why::NotBought));
}

#[test]
fn tiers_on_request_below_a_name() {
    let text = "Prices in CAD per lb\n\nServer boards\n1-99 lb: 3.70\n100-499 lb: 3.95\n500 lb and up: call\n\nLaptop boards\n1-99 lb: 3.20\n100 lb and up: 3.40\n";
    let read = sheet("list.txt", text.as_bytes());
    let named: Vec<String> = rows(&read);
    assert_eq!(named[..3], ["Server boards 3.7 lb", "Server boards 3.95 lb", "Server boards ?"]);
}

#[test]
fn letters_that_a_typesetter_joined() {
    check(
        "list.csv",
        "Item,Price\nProﬁle clean,1.80\nﬂat cable,0.90\n",
        &["Profile clean 1.8 lb", "flat cable 0.9 lb"],
    );
}

#[test]
fn words_that_are_no_price_of_today() {
    // The least that is paid out is no price, and neither is last week's under whatever name.
    check(
        "list.csv",
        "Item,Min (£),Max (£),Price\nCopper,100,500,4.10\nLead,100,500,0.60\n",
        &["Copper 4.1 lb", "Lead 0.6 lb"],
    );
    let before = "Ware,Vorherig,Jetzt\nKupfer,7.05,7.20\nBlei,1.20,1.25\nZink,0.80,0.85\n";
    check("list.csv", before, &["Kupfer 7.2 lb", "Blei 1.25 lb", "Zink 0.85 lb"]);
    // A deduction.
    let wet = sheet("list.txt", b"Copper 4.10\nBrass 2.20\nWire 1.10, minus 0.40 for wet\n");
    assert!(!rows(&wet).iter().any(|row| row.contains('-')), "{wet:?}");
    // Freight.
    let freight = sheet("list.txt", b"Motherboards $3.10/lb\nRAM $9.00/lb\nFreight is billed in CAD\n");
    assert!(freight.rows.iter().all(|row| row.currency == Some(Currency::USD)), "{freight:?}");
    // Whether something is within is not whether it is bought.
    check(
        "list.csv",
        "Item,Price,Battery incl.\nLaptops,call,No\nDrives,0.60,No\nTowers,0.20,No\n",
        &["Laptops ?", "Drives 0.6 lb", "Towers 0.2 lb"],
    );
}

#[test]
fn huge_numbers_below_strange_names() {
    for last in [
        "0.0000001,79228162514264337593543950335",
        "70000000000000000000000000000,79228162514264337593543950335",
    ] {
        let text = format!(
            "Ware,Kleinmenge,Grossmenge\nKupfer,7.05,7.20\nBlei,1.20,1.25\nZink,0.80,0.85\nOdd,{last}\n"
        );
        assert!(sheet("list.csv", text.as_bytes()).rows.len() >= 3);
    }
}

#[test]
fn columns_that_are_called_after_months() {
    let list = "CU1;7480,00;7610,00;€/t;Cuivre dénudé\nLT1;4300,00;4390,00;€/t;Laiton jaune\nPB1;1450,00;1440,00;€/t;Plomb doux\n";
    let read = ["Cuivre dénudé 7610 tonne", "Laiton jaune 4390 tonne", "Plomb doux 1440 tonne"];
    check("list.csv", &format!("Réf;Prix oct.;Prix nov.;Unité;Matière\n{list}"), &read);
    check("list.csv", &format!("Réf;Déc. 25;Jan. 26;Unité;Matière\n{list}"), &read);
    // In whatever order they stand, and with their units in a row below: of what is brought at least, the row says kilos.
    let text = "Okt 26;Nov 26;Sorte;Mindestmenge\nEUR/100 kg;EUR/100 kg;;kg\n745,00;752,50;Kupfer blank;20\n\
                388,00;392,00;Messing;10\n135,00;137,00;Blei;30\n";
    let read = sheet("list.csv", text.as_bytes());
    assert_eq!(rows(&read), ["Kupfer blank 752.5 100kg", "Messing 392 100kg", "Blei 137 100kg"]);
    assert_eq!(read.rows[0].tier_from, Some(Mass::from_grams(dec!(20000))));
}

#[test]
fn two_lists_side_by_side_of_which_one_is_counted() {
    check(
        "list.csv",
        "BY WEIGHT,$ per lb,,BY COUNT,$ each,note\nServer boards,3.15,,\"Towers, complete\",4.50,\nRouter boards,2.10,,Hard disks,0.65,\n\
         Brown boards,0.09,,Tube TVs,-18.00,you pay us\n",
        &[
            "Server boards 3.15 lb",
            "Towers, complete 4.5 each",
            "Router boards 2.1 lb",
            "Hard disks 0.65 each",
            "Brown boards 0.09 lb",
            "Tube TVs -18 each",
        ],
    );
}

#[test]
fn masses_in_stock_and_days_are_no_prices() {
    check(
        "list.csv",
        "On floor (t);Description of goods;Paying £;Per\n;COPPER;;\n1.42;Bright wire;7,150;t\n0.80;Busbar;6,940;t\n;OTHERS;;\n\
         8.8;Car batteries;540;t\n0.4;CRT tellies;(210);t\n",
        &["Bright wire 7150 tonne", "Busbar 6940 tonne", "Car batteries 540 tonne", "CRT tellies -210 tonne"],
    );
    let text = "Kelp Bay Recovery,,\nPrices as of,2026-11-27,\n,CAD/lb,USD/lb\nServer boards,4.10,2.95\nFans,0.20,0.15\n";
    let read = sheet("list.csv", text.as_bytes());
    assert_eq!(rows(&read), ["Server boards 2.95 lb", "Fans 0.15 lb"], "the outlet pays in US dollars");
    assert_eq!(read.valid_from, Some(jiff::civil::date(2026, 11, 27)));
}

#[test]
fn tiers_where_names_stand_and_names_right_of_their_prices() {
    let text = "Cast\t$0.56/lb\nCans\t$0.61/lb\n  250 lb or more\t$0.66/lb\nBrass\t$2.44/lb\n";
    let read = sheet("list.txt", text.as_bytes());
    assert_eq!(rows(&read), ["Cast 0.56 lb", "Cans 0.61 lb", "Cans 0.66 lb", "Brass 2.44 lb"]);
    assert!(read.rows[2].tier_from.is_some() && read.rows[1].tier_from.is_none(), "{:?}", read.rows);
    check(
        "list.csv",
        "Pays C$ ea.,Unit\n5,Desktop PC\n14,Rack server\n-10,CRT monitor\n",
        &["Desktop PC 5 each", "Rack server 14 each", "CRT monitor -10 each"],
    );
}

#[test]
fn cards_with_the_price_above_its_name() {
    let card = |was: &str, now: &str, name: &str| {
        format!(
            "<div class=\"card\"><div>last month {was}</div><div>{now}<i>/kg</i></div><div>{name}</div></div>"
        )
    };
    let page = [
        card("£4.10", "£4.40", "Server motherboards"),
        card("£8.05", "£7.90", "Laptop motherboards"),
        card("£14.00", "POA", "Tantalum capacitors"),
        card("£3.00 charge", "−£3.50", "Swollen batteries"),
    ];
    check(
        "page.html",
        &format!("<html><body><section>{}</section></body></html>", page.concat()),
        &[
            "Server motherboards 4.4 kg",
            "Laptop motherboards 7.9 kg",
            "Tantalum capacitors ?",
            "Swollen batteries -3.5 kg",
        ],
    );
}

#[test]
fn thousands_that_blanks_part_and_rand_set_apart() {
    let text = "All prices R per kg\nCopper heavy       R 138,00\nLead soft          R  27,50\nHeavy steel        R 3 400 per ton\n";
    let read = sheet("list.txt", text.as_bytes());
    assert_eq!(read.currency, Currency::from_code("ZAR"));
    assert_eq!(rows(&read), ["Copper heavy 138 kg", "Lead soft 27.5 kg", "Heavy steel 3400 tonne"]);
    check(
        "list.txt",
        "Prix en €/tonne\nInox 304         980     1 010\nAlu fonte      1 210     1 210\nPlomb doux     1 540     1 560\n",
        &["Inox 304 1010 tonne", "Alu fonte 1210 tonne", "Plomb doux 1560 tonne"],
    );
    // As prices are chalked up in Spain.
    check(
        "list.txt",
        "Precios por kg, €\nCobre 7'20\nAluminio 0'95\n",
        &["Cobre 7.2 kg", "Aluminio 0.95 kg"],
    );
}

#[test]
fn asides_are_no_part_of_names() {
    let text = "£/kg\nServer boards (new for us) 3.10\nOld tyres - no thank you, £2 each charge\nBrass 4.00\nCRT monitors  ($8.00 ea)\n";
    let read = sheet("list.txt", text.as_bytes());
    assert_eq!(read.rows[0].wording, "Server boards");
    assert_eq!(read.rows[0].note.as_deref(), Some("new for us"));
    assert_eq!(read.rows[1].wording, "Old tyres");
    let minus = &read.rows[3];
    assert!(rows(&read)[3].contains("-8"), "{minus:?}");
    assert!(minus.doubts.contains(&Doubt::SignUnclear));
}

#[test]
fn a_title_above_the_names_of_the_columns() {
    check(
        "list.txt",
        "Sable Creek Metals weekly sheet             week of Nov 21, 2026\nUSD per pound                      last wk      this wk\n\
         Copper, bare bright                3.98         4.04\nCopper, heavy bus bar              3.88         3.93\n\
         Wheel weights                      0.20         call\n",
        &["Copper, bare bright 4.04 lb", "Copper, heavy bus bar 3.93 lb", "Wheel weights ?"],
    );
}

#[test]
fn cents_behind_dashes_and_in_a_column_of_their_own() {
    check(
        "board.txt",
        "Gate board, $ per lb\nBB ............ 4-05\n#1 Cu ......... 3-85\n#2 Cu ......... 3-60\nlt Cu / sheet .. 3-20\nyel br ......... 2-45\n",
        &["BB 4.05 lb", "#1 Cu 3.85 lb", "#2 Cu 3.6 lb", "lt Cu / sheet 3.2 lb", "yel br 2.45 lb"],
    );
    check(
        "list.csv",
        "Grade,Rand/kg\n\"Busbar, clean\",R152-00\nPlugs off,R48-50\nHouse wire,R68-00\nDecoders,R5-50\nBrown board,R2-05\n",
        &[
            "Busbar, clean 152 kg",
            "Plugs off 48.5 kg",
            "House wire 68 kg",
            "Decoders 5.5 kg",
            "Brown board 2.05 kg",
        ],
    );
    // The ends of tiers are none.
    check(
        "list.txt",
        "US dollars per pound\nMotherboards   1-99 lb $2.50   100-499 lb $2.70\nHard drives    1-99 lb $0.75   100-499 lb $0.82\n",
        &["Motherboards 2.5 lb", "Motherboards 2.7 lb", "Hard drives 0.75 lb", "Hard drives 0.82 lb"],
    );
    check(
        "list.csv",
        "item #,what it is,dollars,cents\n1001,Bright wire,4,02\n1022,Data wire,1,15\n1023,Ribbon,,60\n",
        &["Bright wire 4.02 lb", "Data wire 1.15 lb", "Ribbon 0.6 lb"],
    );
    let page =
        "<div>Finger cards <span>4<sup>40</sup></span></div><div>Memory <span>18<sup>25</sup></span></div>";
    check(
        "page.html",
        &format!("<html><body><p>$ per lb</p>{page}</body></html>"),
        &["Finger cards 4.4 lb", "Memory 18.25 lb"],
    );
}

#[test]
fn lists_with_a_rule_between_and_rows_between_semicolons() {
    check(
        "list.txt",
        "RED STUFF               $     |  E-STUFF                  $\nBare bright          4.10     |  Network cards         4.25\n\
         Clean tube           3.88     |  Motherboards          2.05\nBurnt                3.55     |  Router guts           1.10\n\
         Litho                 .74     |  COSTS YOU\nCast                  .50     |  Swollen packs         2.00 chg\n",
        &[
            "Bare bright 4.1 lb",
            "Clean tube 3.88 lb",
            "Burnt 3.55 lb",
            "Litho 0.74 lb",
            "Cast 0.5 lb",
            "Network cards 4.25 lb",
            "Motherboards 2.05 lb",
            "Router guts 1.1 lb",
            "Swollen packs -2 lb",
        ],
    );
    check(
        "list.txt",
        "Price list 47/2026\nKode ; Beskrywing ; R/kg ; voorraad(kg)\nCU-001; Millberry; R158,50; 412\nCU-004; Heavy copper; R151,00; 1 280\n\
         BR-010; Brass; R92,00; 640\n",
        &["Millberry 158.5 kg", "Heavy copper 151 kg", "Brass 92 kg"],
    );
    // Items with their prices between semicolons are no cells.
    check(
        "list.txt",
        "$ per lb\ncopper 3.10; brass 2.10; lead .60\nzinc .40; cast .50; sheet .45\nmotors .30; cans .55; rads .80\n",
        &[
            "copper 3.1 lb",
            "brass 2.1 lb",
            "lead 0.6 lb",
            "zinc 0.4 lb",
            "cast 0.5 lb",
            "sheet 0.45 lb",
            "motors 0.3 lb",
            "cans 0.55 lb",
            "rads 0.8 lb",
        ],
    );
}

#[test]
fn thousands_in_one_letter_and_last_week_in_square_brackets() {
    check(
        "list.txt",
        "Usual grades, £/t delivered:\n\nOld rolled £1.15k\nGreasy £6.8k\nBright wire £7,250\n",
        &["Old rolled 1150 tonne", "Greasy 6800 tonne", "Bright wire 7250 tonne"],
    );
    check(
        "list.txt",
        "Tarif en € la tonne (entre crochets : semaine passée)\nCuivre mêlé ......... 7 450  [7 380]\nPlatin ............... 190  [185]\n\
         mémoires ....... 16,50 €/kg  [16,00]\n",
        &["Cuivre mêlé 7450 tonne", "Platin 190 tonne", "mémoires 16.5 kg"],
    );
}
