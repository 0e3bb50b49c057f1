//! What people say to each other about prices: chats, text messages and letters (common practice, no source).

use intake::{Doubt, Why};

use crate::told::{check, rows, sheet};

#[test]
fn chats_with_their_times_in_columns_and_in_brackets() {
    let read = ["Copper no.1 10.4 kg", "Brass 5.6 kg", "Ali extrusion 2.3 kg"];
    check(
        "chat.txt",
        "6:41am  Tez      whats Jacko paying\n6:48am  Jacko    gday all, todays numbers $/kg\n\
         6:49am  Jacko    Copper no.1 10.40\n6:50am  Jacko    Brass 5.90\n6:55am  Jacko    Ali extrusion 2.20\n\
         7:30am  Jacko    woops Brass 5.60 and Ali extrusion 2.30, was reading last thursdays sheet\n",
        &read,
    );
    check(
        "chat.txt",
        "[12/11 09:03] Moi : Bonjour, vos prix ?\n[12/11 09:17] Val Besnin : Prix au kilo :\n\
         [12/11 09:17] Val Besnin : Cuivre mêlé 7€40\n[12/11 09:18] Val Besnin : Câble souple 1€50 à 1€90 suivant rendement\n\
         [12/11 09:28] Moi : Jocelyne m'a dit 1,10 chez Morvignac\n",
        &["Cuivre mêlé 7.4 kg", "Câble souple 1.5..1.9 kg"],
    );
    check(
        "chat.txt",
        "25.11.2026 13:05 JA: ceny na dziś?\n25.11.2026 13:22 ZBYSZEK: za kilo zł\n\
         25.11.2026 13:22 ZBYSZEK: Miedź kawałkowa 33,80\n25.11.2026 13:23 ZBYSZEK: Mosiądz 20,-\n",
        &["Miedź kawałkowa 33.8 kg", "Mosiądz 20 kg"],
    );
    check(
        "sms.txt",
        "Me  (Wed 18 Nov 2026 16:02)\nany price on the boards\n\nNoel Scrap  (Wed 18 Nov 2026 16:10)\n\
         In euro a kilo as always. I'll give you 4.20 for the PC motherboards and 6.50 for Laptop boards if there's no plastic on them\n\n\
         Me  (16:13)\nAnd RAM\n\nNoel Scrap  (16:15)\nGold RAM 22, Silver RAM 8.50\n",
        &["PC motherboards 4.2 kg", "Laptop boards 6.5 kg", "Gold RAM 22 kg", "Silver RAM 8.5 kg"],
    );
}

#[test]
fn what_is_put_right_is_read_once() {
    for right in [
        "correction, #2 copper 3.58 today not 3.62",
        "Sorry fat thumbs. #2 copper 3.58 not 3.62",
        "Edit: #2 copper 3.58",
        "oops, #2 copper 3.58",
    ] {
        let read = sheet(
            "list.txt",
            format!("Prices per lb\n#2 copper 3.62\nYellow brass 2.10\n{right}\n").as_bytes(),
        );
        assert_eq!(rows(&read), ["Yellow brass 2.1 lb", "#2 copper 3.58 lb"], "{right}");
        let corrected: Vec<&str> = read
            .left_out
            .iter()
            .filter(|left| left.why == Why::Corrected)
            .map(|left| &*left.source)
            .collect();
        assert_eq!(corrected, ["#2 copper 3.62"], "{right}");
    }
    // One price of a line that holds several.
    check(
        "list.txt",
        "Prices per lb\nCopper 3.80, brass 2.10\nCorrection: copper 3.75\n",
        &["brass 2.1 lb", "copper 3.75 lb"],
    );
}

#[test]
fn names_behind_their_prices_and_who_opens_the_line() {
    check(
        "list.txt",
        "al kilo ti faccio euro 7.40 rame lucido, 6.70 rame misto.\nottone 4.60 EUR/kg\n",
        &["rame lucido 7.4 kg", "rame misto 6.7 kg", "ottone 4.6 kg"],
    );
    check(
        "list.txt",
        "I can do $3.40 bright wire, $3.10 #2 copper and 1.90 yellow brass\nlead .60/lb\n",
        &["bright wire 3.4 lb", "#2 copper 3.1 lb", "yellow brass 1.9 lb", "lead 0.6 lb"],
    );
    check(
        "list.txt",
        "Prix au kilo\n7,15 € – Cuivre brillant\n0,40 € – Onduleurs\nà votre charge 0,25 € – Écrans à tube\n",
        &["Cuivre brillant 7.15 kg", "Onduleurs 0.4 kg", "Écrans à tube -0.25 kg"],
    );
}

#[test]
fn sentences_of_letters() {
    check(
        "letter.txt",
        "From today we can offer the prices below, in pounds\nsterling per kilo where nothing else is said.\n\n\
         For bright dry wire we pay £6.70.\nFor mixed stainless we pay between £820 and £860 per tonne.\n\
         For tantalum capacitors please ring Judith for a price.\nSwollen battery packs: we have to charge £1.50.\n\
         Collection is free over 750 kg, otherwise £45 plus VAT.\n",
        &[
            "bright dry wire 6.7 kg",
            "mixed stainless 820..860 tonne",
            "tantalum capacitors ?",
            "Swollen battery packs -1.5 kg",
        ],
    );
    check(
        "letter.txt",
        "Prezzi in €/kg\nPer il rame: Rame lucido 8,35 - Rame seconda 7,50.\nPile zinco-carbone: mi devi dare 0,50 al kilo\n",
        &["Rame lucido 8.35 kg", "Rame seconda 7.5 kg", "Pile zinco-carbone -0.5 kg"],
    );
    check(
        "letter.txt",
        "Prijzen per kilo\nKoper blank 8,30, Koper 1 7,95 en Koper 2 7,30.\nComplete pc's gaan voor € 0,35 en Servers voor € 0,60.\n",
        &[
            "Koper blank 8.3 kg",
            "Koper 1 7.95 kg",
            "Koper 2 7.3 kg",
            "Complete pc's 0.35 kg",
            "Servers 0.6 kg",
        ],
    );
}

#[test]
fn who_has_to_be_asked() {
    check(
        "board.txt",
        "Prices per kg, EUR\nCopper 7.10\nKnopfzellen   Chef fragen\nCat converters - ring Tony\ngold fingers - see Junior\n\
         Procesadores cerámicos, consultar con mi hermana\nSchrott leicht 130/to\nsee you tomorrow\n",
        &[
            "Copper 7.1 kg",
            "Knopfzellen ?",
            "Cat converters ?",
            "gold fingers ?",
            "Procesadores cerámicos ?",
            "Schrott leicht 130 tonne",
        ],
    );
}

#[test]
fn last_week_within_a_line_and_charges_said_at_its_end() {
    check(
        "list.txt",
        "Prezzi €/kg\nottone 4,60\ninox 304 0,95 la settimana scorsa era 1,00\nTelevisori - 10 € a payer par pièce\n",
        &["ottone 4.6 kg", "inox 304 0.95 kg", "Televisori -10 each"],
    );
    check(
        "list.txt",
        "Everything in kr per kilo, Norway\nCopper, mixed .......... kr 76,-\nHousehold cells minus kr 9,-\nCRT minus 4,00\n",
        &["Copper, mixed 76 kg", "Household cells -9 kg", "CRT -4 kg"],
    );
    check(
        "list.txt",
        "Prices per tonne, £\nPC motherboards £2,200\n£2.20 PC motherboards\nStainless 304 - 820\n",
        &["PC motherboards 2200 tonne", "PC motherboards 2.2 tonne", "Stainless 304 820 tonne"],
    );
}

#[test]
fn what_puts_nothing_right_is_left_alone() {
    // A remark stands above as many rows as before.
    check(
        "list.txt",
        "All prices in $ per lb\nYellow brass 2.60\nMotors 0.40\nAll prices in $ per net ton\nHeavy steel 210.00\nLight iron 180.00\n\
         Correction: yellow brass $2.50/lb\n",
        &["Motors 0.4 lb", "Heavy steel 210 short_ton", "Light iron 180 short_ton", "yellow brass 2.5 lb"],
    );
    // Of two in different lists, nobody knows which is meant.
    let twice = "COPPER\nClean 3.80/lb\nALUMINIUM\nClean 0.90/lb\nCorrection: clean 3.70/lb\n";
    let read = sheet("list.txt", twice.as_bytes());
    assert_eq!(rows(&read), ["Clean 3.8 lb", "Clean 0.9 lb", "clean 3.7 lb"]);
    assert!(read.rows[2].doubts.contains(&Doubt::SeveralPrices), "{:?}", read.rows[2]);
    check(
        "list.txt",
        "Prices per lb\nYellow brass 2.60\nwoops yellow brass 2.50\nsorry all, yellow brass 2.40\nAluminium scrap that is clean 0.70\n",
        &["yellow brass 2.4 lb", "Aluminium scrap that is clean 0.7 lb"],
    );
    check(
        "list.txt",
        "Prices per lb\nServer boards 5.30 not 5.80 per kg\nGold pins .... call  (last week 22.00)\n",
        &["Server boards 5.3 kg", "Gold pins ?"],
    );
}

#[test]
fn numbers_of_grades_and_for_in_italian() {
    check(
        "list.txt",
        "Precios en pesos por kilo\nCobre 1 155 $/kg\nCobre 2 145 $\nBote 28 $/kg\n",
        &["Cobre 1 155 kg", "Cobre 2 145 kg", "Bote 28 kg"],
    );
    check(
        "list.txt",
        "Prezzi in euro al kg\nRame 7,40\n18,00 € per RAM dorata\n",
        &["Rame 7.4 kg", "RAM dorata 18 kg"],
    );
    check("list.txt", "Motors 2.00 per pc Copper 3.40 per lb\n", &["Motors 2 each", "Copper 3.4 lb"]);
}

#[test]
fn whoever_is_sorry_puts_a_price_right() {
    check(
        "list.txt",
        "[27/11/2026, 09:14] Wendell (Cattail Metals): morning, prices from today, per lb\n\
         [27/11/2026, 09:15] Wendell (Cattail Metals): bright wire 4.05\n\
         [27/11/2026, 09:15] Wendell (Cattail Metals): yellow brass 2.30\n\
         [27/11/2026, 09:16] Wendell (Cattail Metals): soft lead .60\n\
         [27/11/2026, 09:20] Wendell (Cattail Metals): sorry, yellow brass is 2.40\n",
        &["bright wire 4.05 lb", "soft lead 0.6 lb", "yellow brass 2.4 lb"],
    );
}
