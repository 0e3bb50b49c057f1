//! Chats whose messages have no day, pages whose style hides what is not meant, and columns whose names say more than their cells
//! (common practice, no source).

use intake::{Sheet, Why};

use crate::told;

fn sheet(name: &str, text: &str) -> Sheet {
    told::sheet(name, text.as_bytes())
}

fn rows(sheet: &Sheet) -> Vec<String> {
    sheet.rows.iter().map(told::row).collect()
}

#[track_caller]
fn check(name: &str, text: &str, expect: &[&str]) {
    assert_eq!(rows(&sheet(name, text)), expect, "{text}");
}

#[test]
fn a_chat_may_tell_the_time_alone() {
    check(
        "chat.txt",
        "8:02 AM  Me: morning, what is copper today\n\
         8:05 AM  Dale Yard: number 1 copper 3.80\n\
         8:06 AM  Dale Yard: number 2 copper is 3.55\n\
         8:40 AM  Me: the yard across the river says 4.10 on bright\n",
        &["number 1 copper 3.8", "number 2 copper 3.55"],
    );
}

#[test]
fn a_chat_may_have_names_that_no_colon_follows() {
    let text = "mari_boards  High grade:\n\
                mari_boards  - server boards 3.15\n\
                mari_boards  - laptop boards 3.35\n\
                tosterking  what is low grade\n\
                mari_boards  - power supply boards 0.25\n\
                mari_boards  Edit: laptop boards 3.25, not what I wrote above\n";
    let read = sheet("chat.txt", text);
    assert_eq!(
        rows(&read),
        ["server boards 3.15", "power supply boards 0.25", "laptop boards 3.25"],
        "what was put right is read once"
    );
    let corrected: Vec<&str> = read
        .left_out
        .iter()
        .filter(|left| left.why == Why::Corrected)
        .map(|left| left.source.as_str())
        .collect();
    assert_eq!(corrected, ["- laptop boards 3.35"]);
}

#[test]
fn codes_that_differ_are_no_names_of_people() {
    check(
        "list.txt",
        "al_cast  0.52\nal_extrusion  0.74\ncu_bright  3.90\n",
        &["al_cast 0.52", "al_extrusion 0.74", "cu_bright 3.9"],
    );
}

#[test]
fn what_a_pages_style_strikes_out_or_hides_is_not_read() {
    let row = |name: &str, price: &str| {
        format!("<div class=item><div class=name>{name}</div><div class=price>{price}</div></div>")
    };
    let page = format!(
        "<html><head><style>.was{{text-decoration: line-through}} .tip{{display:none}} @media print{{.item{{display:none}}}}</style></head>\
         <body><div class=block><div class=block-title>Copper, per lb</div>{}{}{}<div class=tip>Bring clean copper and get $9.99!</div>\
         </div><div class=block><div class=block-title>Aluminum, per lb</div>{}{}</div></body></html>",
        row("Bare bright copper", "<span class=was>$3.80</span> $3.90"),
        row("No. 1 copper", "$3.70"),
        row("No. 2 copper", "$3.50"),
        row("Cast aluminum", "$0.55"),
        row("Clean extrusion", "$0.75"),
    );
    check(
        "page.html",
        &page,
        &[
            "Bare bright copper 3.9",
            "No. 1 copper 3.7",
            "No. 2 copper 3.5",
            "Cast aluminum 0.55",
            "Clean extrusion 0.75",
        ],
    );
}

#[test]
fn a_page_that_hides_itself_until_it_is_there_is_read() {
    for of in ["html", "body"] {
        let class = |element: &str| if element == of { " class=wait" } else { "" };
        let page = format!(
            "<html{}><head><style>.wait{{visibility:hidden}}</style></head><body{}><p>No. 1 copper $3.70/lb</p></body></html>",
            class("html"),
            class("body"),
        );
        check("page.html", &page, &["No. 1 copper 3.7"]);
    }
}

#[test]
fn lists_that_are_shown_by_turns_are_read() {
    let list = |rows: &str| format!("<div class=listing>{rows}</div>");
    for style in [
        ".listing{display:none}",
        ".listing{display:none} .listing.open{display:block}",
        ".listing{display:none} @media screen{.listing{display:block}}",
    ] {
        let page = format!(
            "<html><head><style>{style}</style></head><body>{}{}</body></html>",
            list("<p>No. 1 copper $3.70/lb</p><p>Yellow brass $2.10/lb</p>"),
            list("<p>Light iron $0.06/lb</p><p>Cast iron $0.09/lb</p>"),
        );
        check(
            "page.html",
            &page,
            &["No. 1 copper 3.7", "Yellow brass 2.1", "Light iron 0.06", "Cast iron 0.09"],
        );
    }
}

#[test]
fn alloys_and_feet_of_pages_are_no_chat() {
    check(
        "list.txt",
        "70:30 brass: 4.10\n60:40 solder: 9.20\n90:10 cupronickel: 6.10\n",
        &["70:30 brass 4.1", "60:40 solder 9.2", "90:10 cupronickel 6.1"],
    );
    check(
        "list.txt",
        "Copper   3.90\nBrass   2.10\nwww.cattail-metals.example   Page 1\nLead   0.60\nZinc   0.50\n\
         www.cattail-metals.example   Page 2\nwww.cattail-metals.example   Page 3\n",
        &["Copper 3.9", "Brass 2.1", "Lead 0.6", "Zinc 0.5"],
    );
}

#[test]
fn what_is_said_in_quotation_marks_is_a_line_all_the_same() {
    check(
        "list.txt",
        "\"Bare bright copper wire, clean 3.90 per lb\"\n",
        &["Bare bright copper wire, clean 3.9"],
    );
    check(
        "list.txt",
        "No. 1 copper 3.70/lb\n“Fair and quick, got $88.00 for a full load.” — Barnaby\n",
        &["No. 1 copper 3.7"],
    );
}

#[test]
fn what_opens_when_it_is_asked_for_is_read() {
    let fold = |name: &str, price: &str| {
        format!("<div><h3>{name}</h3><div class=fold>{name}: {price}/lb</div></div>")
    };
    let page = format!(
        "<html><head><style>.fold{{display:none}}</style></head><body>{}{}{}</body></html>",
        fold("Bare bright copper", "$3.90"),
        fold("Yellow brass", "$2.10"),
        fold("Soft lead", "$0.60"),
    );
    check("page.html", &page, &["Bare bright copper 3.9", "Yellow brass 2.1", "Soft lead 0.6"]);
}

#[test]
fn a_column_may_be_in_cents_by_its_name() {
    check(
        "till.csv",
        "ITEM,DESCRIPTION,UOM,BUY_CENTS\n1001,Bare bright copper,LB,385\n1002,No. 1 copper,LB,371\n1003,Microwave,EA,150\n",
        &["Bare bright copper 3.85", "No. 1 copper 3.71", "Microwave 1.5"],
    );
}

#[test]
fn a_span_beside_a_unit_is_a_range_of_prices() {
    check(
        "list.csv",
        "Grade;Price;Basis\nCast aluminium;910;£/t\nIrony aluminium;250 to 340;£/t\nSoft lead;1340;£/t\n",
        &["Cast aluminium 910", "Irony aluminium 250..340", "Soft lead 1340"],
    );
}

#[test]
fn lists_stand_beside_each_other_behind_an_empty_column() {
    check(
        "two.csv",
        "Metal;$/lb;;Cable and boards;Price;Unit\n\
         Bare bright copper;3.90;;Flat house wire;1.70;lb\n\
         Yellow brass;2.10;;Motherboards;2.40;lb\n\
         Soft lead;0.60;;Microwaves;2.00;each\n",
        &[
            "Bare bright copper 3.9",
            "Flat house wire 1.7",
            "Yellow brass 2.1",
            "Motherboards 2.4",
            "Soft lead 0.6",
            "Microwaves 2",
        ],
    );
}

#[test]
fn half_a_cent_is_read() {
    check(
        "list.txt",
        "Prices per lb\nPlate and beam 8½¢\nLight iron 6¢\n",
        &["Plate and beam 0.085", "Light iron 0.06"],
    );
}
