//! What stands on a sheet beside its prices: those of before, an exchange's, a truck's, footnotes, an older message below
//! (common practice, no source).

use intake::{Doubt, RowPrice, Why, detect, read_alone};
use jiff::civil::date;
use trade::money::Currency;

use crate::told::{check, rows, sheet};

#[test]
fn a_column_of_former_prices_is_not_read() {
    let expect = ["Bare bright 3.95 lb", "Yellow brass 2.2 lb"];
    for names in [
        "Item;PriceOld;PriceNew",
        "Item;Preço antigo;Preço",
        "Item;Alter Preis;Preis",
        "Item;Prix ancien;Prix",
    ] {
        check("list.csv", &format!("{names}\nBare bright;3.90;3.95\nYellow brass;2.25;2.20\n"), &expect);
    }
    // Where there is no other, it is the price.
    check(
        "list.csv",
        "Item;Last price\nBare bright;3.90\nYellow brass;2.25\n",
        &["Bare bright 3.9 lb", "Yellow brass 2.25 lb"],
    );
}

#[test]
fn the_least_and_the_most_may_be_named_in_a_second_row() {
    check(
        "list.csv",
        "Materiale;Prezzo €/kg;;Note\n;min;max;\nRame lucido;7,40;7,60;pelato\nPiombo molle;1,45;1,55;\n",
        &["Rame lucido 7.4..7.6 kg", "Piombo molle 1.45..1.55 kg"],
    );
}

#[test]
fn a_range_of_whole_numbers_is_no_row_of_names() {
    check(
        "list.csv",
        "Catégorie;€/t\nAluminium nu;1750\nAluminium ferreux;300 à 450\nPlomb mou;1200\n",
        &["Aluminium nu 1750 tonne", "Aluminium ferreux 300..450 tonne", "Plomb mou 1200 tonne"],
    );
}

#[test]
fn an_items_number_before_its_name_is_no_price() {
    check(
        "list.txt",
        "Prices $ per tonne\n\n\
         Ref   Material                          Price     Notes\n\
         ----  --------------------------------  --------  ------------------\n\
         101   Bright wire                      6,900    no hair wire\n\
         102   Heavy copper                     6,650\n\
         103   No. 2 copper                     6,250    max 2% attachments\n\
         104   Electric motors                    560    under 100 kg each\n",
        &[
            "Bright wire 6900 tonne",
            "Heavy copper 6650 tonne",
            "No. 2 copper 6250 tonne",
            "Electric motors 560 tonne",
        ],
    );
}

#[test]
fn numbered_footnotes_say_what_a_heading_is_priced_per() {
    check(
        "list.txt",
        "Kupfer und Messing (1)\nMillberry 7,10\nMessing 4,20\nAluminium (2)\nProfile blank 1.480,00\nGuss 980,00\n\
         (1) Preis je kg  (2) Preis je Tonne\n",
        &["Millberry 7.1 kg", "Messing 4.2 kg", "Profile blank 1480 tonne", "Guss 980 tonne"],
    );
    // A marked line knows better than the column.
    check(
        "list.csv",
        "Matière;€/t\nCuivre;7500\nLaiton;4300\nCartes mères *;2,70\n* prix au kilo\n",
        &["Cuivre 7500 tonne", "Laiton 4300 tonne", "Cartes mères * 2.7 kg"],
    );
}

#[test]
fn what_an_exchange_quotes_and_a_truck_costs_is_left_out() {
    let page = "<h2>Copper</h2><ul><li>Bare bright $3.90</li><li>No. 1 $3.70</li><li>No. 2 $3.50</li></ul>\
                <h2>Brass</h2><ul><li>Yellow $2.20</li><li>Red $2.60</li><li>Radiators $1.90</li></ul>\
                <h2>Spot</h2><ul><li>Copper $4.61</li><li>Lead $0.92</li></ul>\
                <h2>Pickup rates</h2><table><tr><td>Otter Bend</td><td>$25.00</td></tr><tr><td>Up to 50 miles</td><td>$60.00</td></tr></table>";
    let read = sheet("page.html", page.as_bytes());
    assert_eq!(read.rows.len(), 6, "{:?}", rows(&read));
    let not_bought = read.left_out.iter().filter(|left| left.why == Why::NotBought).count();
    assert!(not_bought >= 2, "{:?}", read.left_out);
}

#[test]
fn what_is_not_taken_is_left_out() {
    let read = sheet(
        "list.csv",
        b"Item;$/lb\nBare bright;3.90\nBrass;2.20\nTube televisions;not accepted\nCeramic CPUs;call\nLead;0.60\n",
    );
    assert_eq!(rows(&read), ["Bare bright 3.9 lb", "Brass 2.2 lb", "Ceramic CPUs ?", "Lead 0.6 lb"]);
    assert!(
        read.left_out.iter().any(|left| left.why == Why::NotBought && left.source.contains("televisions"))
    );
}

#[test]
fn a_mail_in_html_does_not_quote_an_older_one() {
    let mail = "<html><body><div>Good as of today, per lb:</div><div>Server boards - 2.35</div><div>Laptop boards - 2.50</div>\
                <div>Hard drives - .42</div><div>On Mon, Nov 23, 2026 Marla wrote:<br></div>\
                <blockquote><div>Server boards - 2.20</div><div>Low grade boards - .12</div></blockquote></body></html>";
    check("mail.html", mail, &["Server boards 2.35 lb", "Laptop boards 2.5 lb", "Hard drives 0.42 lb"]);
    // Where nothing else has prices, what somebody passed on is the list.
    let passed_on = "<html><body><div>Lou wrote:</div><blockquote><div>Server boards - 2.20</div>\
                     <div>Laptop boards - 2.50</div></blockquote></body></html>";
    check("mail.html", passed_on, &["Server boards 2.2 lb", "Laptop boards 2.5 lb"]);
}

#[test]
fn a_typed_page_within_a_web_page_keeps_its_lines() {
    let page = "<html><body><p>All in CENTS per pound unless it has a dollar sign</p><pre>\nCOPPER\n  bright wire ........ $4.00\n\
                  no. 2 .............. $3.55\nALUMINUM\n  clean extrusions ...   78\n  cast ...............   55\n</pre></body></html>";
    check(
        "page.html",
        page,
        &["bright wire 4 lb", "no. 2 3.55 lb", "clean extrusions 0.78 lb", "cast 0.55 lb"],
    );
}

#[test]
fn a_stamp_of_a_chat_may_stand_on_its_own_line() {
    check(
        "chat.txt",
        "Marek, śr. 25.11, 09:41\ncześć, da ktoś cennik?\n\nSkup Zawada, śr. 25.11, 09:58\nceny netto zł/kg:\n\
         mosiądz 23,40\nołów miękki 6,30\n\nMarek, śr. 25.11, 10:02\ndzięki\n",
        &["mosiądz 23.4 kg", "ołów miękki 6.3 kg"],
    );
}

#[test]
fn polish_is_read_in_its_older_encodings() {
    for (encoding, bytes) in [
        (
            "Windows-1250",
            &b"cennik z\xb3/kg\np\xb3yty g\xb3\xf3wne 15,50\nmied\x9f 34,50\nmosi\xb9dz 20,50\n"[..],
        ),
        (
            "ISO 8859-2",
            &b"cennik z\xb3/kg\np\xb3yty g\xb3\xf3wne 15,50\nmied\xbc 34,50\nmosi\xb1dz 20,50\n"[..],
        ),
    ] {
        let read = sheet("cennik.txt", bytes);
        assert_eq!(rows(&read), ["płyty główne 15.5 kg", "miedź 34.5 kg", "mosiądz 20.5 kg"], "{encoding}");
        assert_eq!(read.currency, Currency::from_code("PLN"));
    }
}

#[test]
fn blanks_that_do_not_break_group_thousands() {
    check(
        "list.txt",
        "Prix à la tonne\nCuivre mêlé : 7\u{a0}350\u{a0}€\nLaiton : 4\u{202f}600\u{a0}€\n",
        &["Cuivre mêlé 7350 tonne", "Laiton 4600 tonne"],
    );
}

#[test]
fn rand_stand_before_their_amount() {
    let text = b"Bright wire R138\nCu 1 R134\nLead soft R26,50\nFridge motors R22 gas out R9.50\n";
    let read = read_alone(detect("list.txt", text).unwrap(), text, date(2026, 11, 28)).unwrap();
    assert_eq!(read.currency, Currency::from_code("ZAR"));
    assert_eq!(rows(&read)[..3], ["Bright wire 138 kg", "Cu 1 134 kg", "Lead soft 26.5 kg"]);
}

#[test]
fn pesos_are_no_dollars() {
    let text = "Precios en pesos por kilo\nCobre de primera $152.00\nPlomo $22.00\n";
    let read = sheet("lista.txt", text.as_bytes());
    assert!(read.rows.iter().all(|row| row.currency == Currency::from_code("MXN")), "{:?}", read.rows);
    assert!(
        read.rows.iter().all(|row| row.doubts.contains(&Doubt::CurrencyUnclear)),
        "there are other pesos"
    );
}

#[test]
fn a_list_of_charges_goes_on_in_the_next_line() {
    check(
        "mail.txt",
        "Brass 2.20\nLead 0.60\nThings we charge for: alkaline batteries 0.65, swollen lithium batteries 3.50,\nCRT monitors 0.45. Do not hide them.\n",
        &[
            "Brass 2.2 lb",
            "Lead 0.6 lb",
            "alkaline batteries -0.65 lb",
            "swollen lithium batteries -3.5 lb",
            "CRT monitors -0.45 lb",
        ],
    );
}

#[test]
fn what_the_outlet_charges_for_is_not_quoted_on_an_exchange() {
    check(
        "page.txt",
        "Bare bright 3.95\nYellow brass 2.20\nLead 0.60\nCast aluminum 0.55\nHard drives 0.48\nRomex 1.85\nSpot\nCopper 4.61\n\
         Things we charge for: alkaline batteries 0.65, CRT monitors 0.45\n",
        &[
            "Bare bright 3.95 lb",
            "Yellow brass 2.2 lb",
            "Lead 0.6 lb",
            "Cast aluminum 0.55 lb",
            "Hard drives 0.48 lb",
            "Romex 1.85 lb",
            "alkaline batteries -0.65 lb",
            "CRT monitors -0.45 lb",
        ],
    );
}

#[test]
fn cents_that_lack_their_sign_are_asked_about() {
    let read = sheet(
        "sms.txt",
        b"4.40 bright copper\n80c alum extrusion, 62c painted\n55c cast alum\nromex 2.05\nbrass 2.55\nsoft lead 60\ncar batts .24\n",
    );
    let lead = read.rows.iter().find(|row| row.wording == "soft lead").unwrap();
    assert_eq!(lead.price, RowPrice::Priced { low: rust_decimal::dec!(0.60), high: None });
    assert!(lead.doubts.contains(&Doubt::CentsUnclear));
}

#[test]
fn what_is_one_piece_in_a_name_prices_nothing() {
    check(
        "list.txt",
        "Prix en $ la livre\nGros fil à un brin 80 % 2,40\nLaiton 2,20\nVentilateurs, à la pièce 0,50\n",
        &["Gros fil à un brin 80 % 2.4 lb", "Laiton 2.2 lb", "Ventilateurs, à la pièce 0.5 each"],
    );
    check(
        "list.tsv",
        "Name\t$/lb\nMotherboards (PC)\t2.75\nBrass\t2.10\n",
        &["Motherboards (PC) 2.75 lb", "Brass 2.1 lb"],
    );
}

#[test]
fn names_on_a_board_stand_above_their_prices() {
    check(
        "board.csv",
        "All prices in cents per pound,,\nBare bright,No. 1 copper,Yellow brass\n398,380,225\nELECTRONICS,,\n\
         Server boards,Gold RAM,Ceramic CPUs\n275,$13.80,call\n",
        &[
            "Bare bright 3.98 lb",
            "No. 1 copper 3.8 lb",
            "Yellow brass 2.25 lb",
            "Server boards 2.75 lb",
            "Gold RAM 13.8 lb",
            "Ceramic CPUs ?",
        ],
    );
}

#[test]
fn what_stands_in_every_card_is_no_name() {
    let card = |name: &str, number: u32, price: &str| {
        format!("{name}\nItem no. {number}\n{price}\nAdd to my list\n\n")
    };
    let text = [
        card("Server boards", 1001, "$3.40"),
        card("PC motherboards", 1002, "$2.05"),
        card("Laptop boards", 1003, "$2.90"),
        card("Phone boards, no shields", 1004, "$13.50"),
    ];
    check(
        "page.txt",
        &text.concat(),
        &[
            "Server boards 3.4 lb",
            "PC motherboards 2.05 lb",
            "Laptop boards 2.9 lb",
            "Phone boards, no shields 13.5 lb",
        ],
    );
}

#[test]
fn todays_price_stands_above_yesterdays() {
    check(
        "page.txt",
        "RAME\nFilo lucido\nOggi: 7,65 €/kg\nIeri: 7,58 €/kg\nTubo pesante\nOggi: 7,30 €/kg\nIeri: 7,25 €/kg\n",
        &["Filo lucido 7.65 kg", "Tubo pesante 7.3 kg"],
    );
}

#[test]
fn an_answer_stands_below_its_stamp() {
    check(
        "chat.txt",
        "10:14 Moi\nBonjour, vous faites combien le cuivre mill berry ?\n\n10:21 Marchandeau\n7,60 le kg\n\n\
         10:22 Moi\net le laiton ?\n\n10:22 Marchandeau\n6,90 le kg\n",
        &["cuivre mill berry 7.6 kg", "laiton 6.9 kg"],
    );
}

#[test]
fn what_only_looks_beside_the_prices_is_read() {
    check(
        "list.txt",
        "Listino in €/kg\nRame prima 7,20\nPiombo 1,20\n",
        &["Rame prima 7.2 kg", "Piombo 1.2 kg"],
    );
    check(
        "list.txt",
        "(1) All prices in $ per tonne.\n(2) Cash on the day.\nCopper 7500.00\nLead 1200.00\n",
        &["Copper 7500 tonne", "Lead 1200 tonne"],
    );
    check(
        "list.txt",
        "Brass 2.10\nWe charge for: tubes 0.40, televisions 5.00,\n\nCOPPER\nBare bright 4.10\n",
        &["Brass 2.1 lb", "tubes -0.4 lb", "televisions -5 lb", "Bare bright 4.1 lb"],
    );
    check(
        "list.csv",
        "Item,$/lb\nCompressors R22,0.35\nHard drives for destruction,0.50\nBrass,2.10\n",
        &["Compressors R22 0.35 lb", "Hard drives for destruction 0.5 lb", "Brass 2.1 lb"],
    );
    check(
        "list.csv",
        "Item,Price,Remarks\nCar batteries,Call,leaking ones not accepted\nBrass,2.10,\nLead,0.60,\n",
        &["Car batteries ?", "Brass 2.1 lb", "Lead 0.6 lb"],
    );
    check(
        "page.html",
        "<pre>Copper <del>4.10</del> 4.30\n<div>Brass 2.30</div><div>Lead 0.60</div></pre><p>that is all</p>",
        &["Copper 4.3 lb", "Brass 2.3 lb", "Lead 0.6 lb"],
    );
    let zones = "Zone A\nCopper 4.10\nBrass 2.30\nLead 0.60\nZone B\nCopper 4.00\nBrass 2.20\nLead 0.50\n\
                 Zone C\nCopper 3.90\nBrass 2.10\nLead 0.40\n";
    assert_eq!(sheet("list.txt", zones.as_bytes()).rows.len(), 9);
    let text = b"Kupfer 7,20 \x80\n\xbfTienes cobre? \xbfLat\xf3n? \xbfCa\xf1os 3,20 \x80\n";
    assert!(
        sheet("list.txt", text).rows.iter().any(|row| row.source.contains("Caños")),
        "Western all the same"
    );
}

#[test]
fn quotes_without_end_are_read_in_time() {
    let mut page = String::from("<html><body>");
    (0..4_000).for_each(|_| page.push_str("<p>we have nothing for sale here, dear reader, none at all.</p>"));
    page.push_str("<p>Lou wrote:</p>");
    page.push_str(&"<blockquote></blockquote>".repeat(40_000));
    page.push_str("<p>Brass 2.10</p></body></html>");
    assert_eq!(rows(&sheet("page.html", page.as_bytes())), ["Brass 2.1 lb"]);
}
