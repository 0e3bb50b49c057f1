//! Which column of a table holds what, on layouts that offices use: common practice, no source; all words are invented.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use intake::{Hints, RowPrice, Sheet, detect, read, read_alone};
use jiff::civil::date;
use rust_decimal::Decimal;
use trade::money::{Currency, PriceUnit};

fn sheet(csv: &str) -> Sheet {
    file("list.csv", csv)
}

fn file(name: &str, text: &str) -> Sheet {
    let hints = Hints { currency: Currency::USD, unit: None, today: date(2026, 11, 26) };
    read(detect(name, text.as_bytes()).unwrap(), text.as_bytes(), &hints).unwrap()
}

/// The rows as `name < group | price currency/unit`, each on a line.
fn rows(sheet: &Sheet) -> String {
    let shown = sheet.rows.iter().map(|row| {
        let group = row.group.as_ref().map(|group| format!(" < {group}")).unwrap_or_default();
        let price = match row.price {
            RowPrice::OnRequest => "on request".to_string(),
            RowPrice::Priced { low, .. } => low.to_string(),
        };
        let currency = row.currency.map_or("-", |currency| currency.code());
        let unit = row.unit.map_or("-", PriceUnit::code);
        format!("{}{group} | {price} {currency}/{unit}\n", row.wording)
    });
    shown.collect()
}

#[test]
fn the_later_week_is_read_and_dated_by_the_row_below_its_name() {
    let sheet = sheet(
        "Soort;wk 47;wk 48;verschil;eenheid\n;2026-11-16;2026-11-23;;\nKoper;;;;\nBlanke draad;€ 8,20;€ 8,30;+0,10;kg\n\
         Profiel gelakt;€ 1,60;€ 1,55;-0,05;kg\nLaptops;€ 3,00;€ 3,00;0,00;stuk\n",
    );
    assert_eq!(
        rows(&sheet),
        "Blanke draad < Koper | 8.30 EUR/kg\nProfiel gelakt < Koper | 1.55 EUR/kg\nLaptops < Koper | 3.00 EUR/each\n"
    );
    assert_eq!(sheet.valid_from, Some(date(2026, 11, 23)));
}

#[test]
fn what_describes_a_name_is_no_name() {
    let described = sheet(
        "Grade,What we mean by it,USD/lb under 100 lb,USD/lb 100 lb and up,Photo #\n\
         Finger cards,Gold edge and no brackets,5.10,5.40,3\nServer boards,Two clips at most,4.00,4.20,7\n\
         Console boards,Aluminum off,2.10,2.25,11\n",
    );
    assert_eq!(
        rows(&described),
        "Finger cards | 5.10 USD/lb\nFinger cards | 5.40 USD/lb\nServer boards | 4.00 USD/lb\nServer boards | 4.20 USD/lb\n\
         Console boards | 2.10 USD/lb\nConsole boards | 2.25 USD/lb\n"
    );
    // The same two columns are a group and a name where the first repeats itself.
    let grouped = sheet(
        "Metal,Grade,USD/lb\nCopper,Bright wire,4.20\nCopper,Old pipe,3.90\nAluminum,Window frames,0.95\n\
         Aluminum,Old sheet,0.70\n",
    );
    assert_eq!(
        rows(&grouped),
        "Bright wire < Copper | 4.20 USD/lb\nOld pipe < Copper | 3.90 USD/lb\nWindow frames < Aluminum | 0.95 USD/lb\n\
         Old sheet < Aluminum | 0.70 USD/lb\n"
    );
}

#[test]
fn an_items_number_is_no_group() {
    let sheet = sheet("Item #,Material,This wk,UOM\n101,Bare bright,4.51,lb\n102,Clean pipe,4.30,lb\n");
    assert_eq!(rows(&sheet), "Bare bright | 4.51 USD/lb\nClean pipe | 4.30 USD/lb\n");
}

#[test]
fn goods_by_the_piece_are_called_units() {
    let sheet = sheet("Unit,$ each,Remarks\n\"Laptop, working or not\",4.00,any\nGame console,2.50,\n");
    assert_eq!(rows(&sheet), "Laptop, working or not | 4.00 USD/each\nGame console | 2.50 USD/each\n");
}

#[test]
fn what_is_to_be_asked_for_in_every_tier_is_one_row() {
    let sheet = sheet(
        "Grade,USD/kg under 50 kg,USD/kg 50 kg+,USD/kg 250 kg+\nPhone boards,13.00,14.00,15.00\n\
         Ceramic processors,POA,POA,POA\n",
    );
    assert_eq!(sheet.rows.len(), 4);
    let asked = sheet.rows.last().unwrap();
    assert_eq!((asked.wording.as_str(), asked.tier_from, asked.tier_to), ("Ceramic processors", None, None));
}

#[test]
fn francs_are_written_with_a_dot_and_fridays_are_none() {
    let sheet = sheet(
        "Ware;Fr. / 100 kg\nKupferdraht blank;775.00\nMessing;430.00\nGeöffnet Mo. 8-12 und Fr. 8.00-16.30 Uhr;\n",
    );
    assert_eq!(rows(&sheet), "Kupferdraht blank | 775.00 CHF/100kg\nMessing | 430.00 CHF/100kg\n");
    let lines = "Kupferdraht blank  Fr. 7.75 / kg\nMessing  Fr. 4.30 / kg\nMo.-Fr. 8.00-12.00 Uhr\n";
    assert_eq!(rows(&file("list.txt", lines)), "Kupferdraht blank | 7.75 CHF/kg\nMessing | 4.30 CHF/kg\n");
}

#[test]
fn names_are_told_from_codes_and_from_what_they_are_called() {
    let codes = sheet(
        "Clave,Material,Menudeo,Mayoreo (+200 kg),Observaciones\nTARJETA,,,,\nT1,Tarjeta madre,62.00,68.00,sin disipador\n\
         T2,Tarjeta de laptop,85.00,92.00,\nM1,Cobre de segunda,138.00,143.00,\n",
    );
    let names: Vec<&str> = codes.rows.iter().map(|row| row.wording.as_str()).collect();
    let (first, second, third) = ("Tarjeta madre", "Tarjeta de laptop", "Cobre de segunda");
    assert_eq!(names, [first, first, second, second, third, third]);
    assert!(codes.rows[1].tier_from.is_some() && codes.rows[0].tier_from.is_none());

    let lines =
        sheet("Line,Buy $/kg,Min kg,Comment\nPC towers,0.60,,complete\nMotherboards,4.20,10,no heatsinks\n");
    assert_eq!(rows(&lines), "PC towers | 0.60 USD/kg\nMotherboards | 4.20 USD/kg\n");
    assert!(lines.rows[1].tier_from.is_some());
}

#[test]
fn a_heading_beneath_the_names_of_the_columns_knows_better() {
    let sheet = sheet(
        "Soort,€ per kg\nKOPER,\nBlank draad,8.45\nOude pijp,7.70\nIJZER (per ton),\nDun plaatwerk,145.00\nZwaar,200.00\n",
    );
    assert_eq!(
        rows(&sheet),
        "Blank draad < KOPER | 8.45 EUR/kg\nOude pijp < KOPER | 7.70 EUR/kg\nDun plaatwerk < IJZER | 145.00 EUR/tonne\n\
         Zwaar < IJZER | 200.00 EUR/tonne\n"
    );
}

#[test]
fn a_stroke_parts_the_ends_of_a_range_and_a_dash_is_a_charge() {
    let sheet = sheet(
        "Material;Preis;Einheit\nKabel;€ 4,70 / 5,20;kg\nFlachbildschirme;- € 2,50;Stück\nE-Motoren bis 20 kg;0,72;kg\n",
    );
    let prices: Vec<RowPrice> = sheet.rows.iter().map(|row| row.price).collect();
    let cents = |cents| Decimal::new(cents, 2);
    let priced = |low, high: Option<i64>| RowPrice::Priced { low: cents(low), high: high.map(cents) };
    assert_eq!(prices, [priced(470, Some(520)), priced(-250, None), priced(72, None)]);
    // So heavy one motor may be, and no load.
    let motors = &sheet.rows[2];
    assert_eq!((motors.wording.as_str(), motors.tier_to), ("E-Motoren bis 20 kg", None));
}

#[test]
fn what_stands_about_a_table_is_no_row() {
    let sheet = sheet(
        "Soort,€ per kg\nKoper,8.45\nLood,1.40\nZink,1.10\nDeel deze pagina,\nma t/m vr,07:30 – 16:30\n© Oud Metaal 2026,\n",
    );
    assert_eq!(rows(&sheet), "Koper | 8.45 EUR/kg\nLood | 1.40 EUR/kg\nZink | 1.10 EUR/kg\n");
}

/// Units as stock programs print them: common codes of UN/ECE Recommendation No. 20 (KGM, TNE, LBR, H87; from memory).
#[test]
fn units_by_their_common_codes_and_a_date_in_each_row() {
    let sheet = sheet(
        "Code,Description,UOM,Old Price,New Price,Eff Date\nCU1,Bright wire,KGM,€6.85,€6.95,23/11/2026\n\
         FE1,Light iron,TNE,€140.00,€135.00,23/11/2026\nGB1,Laptops,H87,€3.00,€3.20,23/11/2026\n\
         LD1,Soft lead,LBR,€0.60,€0.65,23/11/2026\n",
    );
    assert_eq!(
        rows(&sheet),
        "Bright wire | 6.95 EUR/kg\nLight iron | 135.00 EUR/tonne\nLaptops | 3.20 EUR/each\nSoft lead | 0.65 EUR/lb\n"
    );
    assert_eq!(sheet.valid_from, Some(date(2026, 11, 23)));
}

#[test]
fn the_head_of_each_page_is_no_row() {
    let printed = "SEDGE BAY METALS LTD                      PAGE  1\nBright wire      4.10\nLight iron       0.09\n\
                   SEDGE BAY METALS LTD                      PAGE  2\nSoft lead        0.65\n";
    let sheet = file("list.txt", printed);
    let wordings: Vec<&str> = sheet.rows.iter().map(|row| row.wording.as_str()).collect();
    assert_eq!(wordings, ["Bright wire", "Light iron", "Soft lead"]);
}

/// `Koper blad` is copper sheet, and 8 its price; at the beginning of a line `Blad 2` is the second page.
#[test]
fn a_sheet_of_metal_is_no_page() {
    let sheet = sheet("Soort;Prijs €/kg\nBlanke draad;8,30\nKoper blad;8\nBlad 2;\nZink blad;2\n");
    assert_eq!(rows(&sheet), "Blanke draad | 8.30 EUR/kg\nKoper blad | 8 EUR/kg\nZink blad | 2 EUR/kg\n");
}

#[test]
fn names_stand_behind_their_prices_in_columns_too() {
    let list = sheet(
        "We pay,For,Grade notes\n$2.40,\"Motherboards, green\",Coolers off.\n$3.30,Laptop boards,Coin cell removed\n\
         Call,Ceramic CPUs,By sample only\n$0.85 each,Toner cartridges,\n\"Unless stated, all prices are dollars per pound.\",,\n",
    );
    assert_eq!(
        rows(&list),
        "Motherboards, green | 2.40 USD/lb\nLaptop boards | 3.30 USD/lb\nCeramic CPUs | on request USD/lb\n\
         Toner cartridges | 0.85 USD/each\n"
    );
    assert_eq!(list.rows[1].note.as_deref(), Some("Coin cell removed"));
}

#[test]
fn lists_side_by_side_are_called_by_what_they_are_of() {
    for (left, right) in
        [("BOARDS & CHIPS", "WHOLE UNITS & METAL"), ("BOARDS", "METAL"), ("Wire", "Whole units")]
    {
        let list = sheet(&format!(
            "{left},$/lb,,{right},$/lb\nServer boards,3.35,,Rack servers,0.62\nLaptop boards,2.85,,Towers,0.24\n\
             Router boards,2.60,,Cable boxes,0.36\nGold RAM,19.25,,,\n"
        ));
        assert_eq!(
            rows(&list),
            format!(
                "Server boards < {left} | 3.35 USD/lb\nRack servers < {right} | 0.62 USD/lb\n\
                 Laptop boards < {left} | 2.85 USD/lb\nTowers < {right} | 0.24 USD/lb\n\
                 Router boards < {left} | 2.60 USD/lb\nCable boxes < {right} | 0.36 USD/lb\n\
                 Gold RAM < {left} | 19.25 USD/lb\n"
            )
        );
    }
}

#[test]
fn lists_side_by_side_in_cents() {
    let list = sheet(
        "NON FERROUS 1,c/kg,,NON FERROUS 2 & OTHER,c/kg\nBright copper,1180,,Ali cast,190\nData cable,330,,Lead soft,230\n\
         Coax,60,,Hard drives,120\n",
    );
    let amounts: Vec<_> = list.rows.iter().map(|row| (row.wording.as_str(), row.price)).collect();
    let price = |cents: i64| RowPrice::Priced { low: Decimal::new(cents, 2), high: None };
    assert_eq!(
        amounts,
        [
            ("Bright copper", price(1180)),
            ("Ali cast", price(190)),
            ("Data cable", price(330)),
            ("Lead soft", price(230)),
            ("Coax", price(60)),
            ("Hard drives", price(120)),
        ]
    );
    let range = sheet("Materiale,€/kg min,€/kg max\nRame,8.2,8.4\nOttone,4.6,4.9\n");
    let ends = RowPrice::Priced { low: Decimal::new(82, 1), high: Some(Decimal::new(84, 1)) };
    assert_eq!(range.rows[0].price, ends);
}

#[test]
fn masses_show_themselves_whatever_their_column_is_called() {
    let list = sheet(
        "Material,Weight delivered,Rate $/kg\nServer boards,under 50 kg,4.60\nServer boards,50 - 250 kg,4.95\n\
         Server boards,over 250 kg,5.25\nLaptop boards,any,4.30\nWheels (ea),any,13.00\n",
    );
    let from: Vec<_> =
        list.rows.iter().map(|row| row.tier_from.map_or(Decimal::ZERO, |mass| mass.grams())).collect();
    assert_eq!(from, [0, 50_000, 250_000, 0, 0].map(Decimal::from));
    assert_eq!(list.rows[4].wording, "Wheels");
    assert_eq!(list.rows[4].unit, Some(PriceUnit::Each));
}

#[test]
fn the_least_and_the_most_beside_a_week_that_is_over() {
    let list = sheet(
        "Désignation;Prix mini;Prix maxi;Semaine 47 (mini)\nCuivre brillant;8150;8350;8100\nInox 304;980;1040;970\n\
         Prix en € HT à la tonne;;;\n",
    );
    let ends: Vec<_> = list.rows.iter().map(|row| row.price).collect();
    let range = |low: i64, high: i64| RowPrice::Priced { low: low.into(), high: Some(high.into()) };
    assert_eq!(ends, [range(8150, 8350), range(980, 1040)]);
    // Typed with blanks, two of the names run together.
    let typed = "Désignation          Prix mini   Prix maxi Semaine 47 (mini)\nCuivre brillant         8 150       8 350             \
                 8 100\nCuivre étamé            7 200       7 450             7 150\nInox 304                  980       1 \
                 040               970\nPlomb doux              1 350       1 420             1 380\n\nPrix en € à la tonne\n";
    let typed = file("list.txt", typed);
    assert_eq!(typed.rows[0].price, range(8150, 8350), "{:?}", typed.rows);
}

#[test]
fn all_tabs_of_a_page_are_read() {
    let page = "<ul role=tablist><li role=tab>Boards</li><li role=tab>Wire</li></ul><section role=tabpanel><table>\
                <tr><td>Server boards</td><td>$3.10 / lb</td></tr><tr><td>Laptop boards</td><td>$2.90 / lb</td></tr></table>\
                </section><section role=tabpanel hidden><table><tr><td>Ribbon cable</td><td>$0.90 / lb</td></tr>\
                <tr><td>Power cords</td><td>$1.40 / lb</td></tr></table></section><p hidden>Old brass $2.00 / lb</p>";
    assert_eq!(
        rows(&file("list.html", page)),
        "Server boards | 3.10 USD/lb\nLaptop boards | 2.90 USD/lb\nRibbon cable | 0.90 USD/lb\nPower cords | 1.40 USD/lb\n"
    );
}

#[test]
fn remarks_and_blank_names_make_no_second_list() {
    let blank = sheet(",$/lb,Remarks\nBare bright,4.10,clean\nNo 2,3.80,mixed ends\nBrass,2.40,no steel\n");
    assert_eq!(rows(&blank), "Bare bright | 4.10 USD/lb\nNo 2 | 3.80 USD/lb\nBrass | 2.40 USD/lb\n");
    let packed = sheet(
        "Category,Packaging,Price/lb\nLaptop boards,Gaylord,3.10\nServer boards,Gaylord,4.10\nRAM,Gaylord,9.00\n",
    );
    assert_eq!(
        rows(&packed),
        "Laptop boards | 3.10 USD/lb\nServer boards | 4.10 USD/lb\nRAM | 9.00 USD/lb\n"
    );
    // What is in stock is no tier.
    let stock = sheet(
        "Item,Stock,Price/lb\nLaptop boards,500+ kg,3.10\nServer boards,200+ kg,4.10\nRAM,100+ kg,9.00\n",
    );
    assert!(stock.rows.iter().all(|row| row.tier_from.is_none()), "{:?}", stock.rows);
}

#[test]
fn an_accordion_is_no_bar_of_tabs() {
    let page = "<div role=tablist><div role=tab><h4>Copper</h4></div><div role=tabpanel hidden><table><tr><td>Bare bright</td>\
                <td>$4.10/lb</td></tr><tr><td>No. 2</td><td>$3.70/lb</td></tr></table></div></div>";
    assert_eq!(
        rows(&file("list.html", page)),
        "Bare bright < Copper | 4.10 USD/lb\nNo. 2 < Copper | 3.70 USD/lb\n"
    );
}

#[test]
fn who_brings_it_is_no_mass_that_a_price_holds_from() {
    let sheet = sheet(
        "Materiale;Ritirato da noi;Consegnato in sede\nRame lucido;7,90;8,15\nOttone giallo;4,60;4,80\nPiombo;1,20;1,30\n",
    );
    assert_eq!(rows(&sheet), "Rame lucido | 7.90 USD/-\nOttone giallo | 4.60 USD/-\nPiombo | 1.20 USD/-\n");
    assert!(sheet.rows.iter().all(|row| row.tier_from.is_none()));
}

#[test]
fn what_a_card_says_below_its_title_is_a_remark() {
    let card = |name: &str, said: &str, price: &str| {
        format!(
            "<div class=\"card\"><div class=\"card-title\">{name}</div><div class=\"card-desc\">{said}</div>\
             <div><span>{price}</span><span>/lb</span></div></div>"
        )
    };
    let cards = [
        card("Laptop boards", "No plastic, no batteries", "$2.65"),
        card("Hard drives", "Caddies off", "$0.68"),
        card("Routers", "No adapters", "$0.27"),
    ];
    let page = format!("<html><body><h2>We buy</h2>{}</body></html>", cards.concat());
    assert_eq!(
        rows(&file("cards.html", &page)),
        "Laptop boards | 2.65 USD/lb\nHard drives | 0.68 USD/lb\nRouters | 0.27 USD/lb\n"
    );
}

#[test]
fn an_address_says_what_is_paid_in_where_no_price_does() {
    let csv = "Pinegate Salvage, Moss Lake ON\n\nItem,¢/lb\n#1 copper,498\nYellow brass,288\nStainless,60\n";
    let sheet =
        read_alone(detect("list.csv", csv.as_bytes()).unwrap(), csv.as_bytes(), date(2026, 11, 26)).unwrap();
    assert_eq!(
        rows(&sheet),
        "#1 copper | 4.98 CAD/lb\nYellow brass | 2.88 CAD/lb\nStainless | 0.60 CAD/lb\n"
    );
}

#[test]
fn masses_between_two_are_no_unit_of_a_price() {
    let sheet = sheet(
        "Tarif en euros par kilo;;;\nMatière;jusqu'à 250 kg;250 à 1000 kg;plus de 1000 kg\nLaiton;4,30 €;4,40 €;4,55 €\n\
         Cuivre mêlé;6,90 €;7,05 €;7,20 €\n",
    );
    assert!(
        sheet.rows.len() == 6
            && sheet.rows.iter().all(|row| row.unit.is_some_and(|unit| unit.code() == "kg"))
    );
}

#[test]
fn a_column_that_says_what_a_grade_is_holds_no_names() {
    let sheet = sheet(
        "Grade;What it is;$/kg\nCopper bright;clean wire over 1.6 mm;13.10\nCopper tinned wire;;11.20\nCast;no iron;1.70\n",
    );
    assert_eq!(
        rows(&sheet),
        "Copper bright | 13.10 USD/kg\nCopper tinned wire | 11.20 USD/kg\nCast | 1.70 USD/kg\n"
    );
}

#[test]
fn a_mass_from_which_a_price_holds_and_a_price_by_the_piece_have_columns_of_their_own() {
    let masses = sheet("Materiale;Peso da kg;Prezzo €/kg\nRame;100;7,90\nOttone;50;4,60\nPiombo;20;1,30\n");
    assert_eq!(rows(&masses), "Rame | 7.90 EUR/kg\nOttone | 4.60 EUR/kg\nPiombo | 1.30 EUR/kg\n");
    assert!(masses.rows.iter().all(|row| row.tier_from.is_some()));
    let pieces = sheet("Item,Price per PC\nLaptop,12.00\nServer,20.00\nTower,5.00\n");
    assert_eq!(rows(&pieces), "Laptop | 12.00 USD/each\nServer | 20.00 USD/each\nTower | 5.00 USD/each\n");
}
