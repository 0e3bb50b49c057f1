#!/usr/bin/env python3
"""Writes the workbooks and PDFs of this corpus beside their labels.

They are invented and committed; this shows how they were made:
pip install openpyxl xlwt odfpy reportlab && python3 make.py
"""
import datetime
import os
import sys

from openpyxl import Workbook
from openpyxl.styles import Font
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfgen import canvas
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle
from reportlab.lib.styles import getSampleStyleSheet

HERE = os.path.dirname(os.path.abspath(__file__))
PARTS = {"labelled": os.path.join(HERE, "..", "labelled")}
WANTED = sys.argv[1:]


def sheet(part, name, labels):
    """A maker of one file, with its labels as one text."""
    def register(make):
        if WANTED and name not in WANTED:
            return make
        path = os.path.join(PARTS[part], name)
        make(path)
        with open(path + ".labels", "w", encoding="utf-8") as out:
            out.write(labels.strip() + "\n")
        return make
    return register


# ------------------------------------------------------------------------------------------------------- workbooks

@sheet("labelled", "titles-merged.xlsx", """
default USD/lb
valid 2026-11-02
Bare Bright | 4.18 | copper-bright
No. 1 | 3.97 | copper-1
No. 2 | 3.61 | copper-2
Extrusion - Clean | 0.94 | extrusion-clean
Extrusion - Painted | 0.82 | extrusion-painted
Cast | 0.69 | cast-aluminium
Motherboards | 2.70 | board-desktop
Gold Memory | 17.00 | memory-gold
CRT Monitors | -0.35 | monitor-tube-whole
""")
def titles_merged(path):
    book = Workbook()
    page = book.active
    page.title = "Nonferrous"
    page.merge_cells("A1:D1")
    page["A1"] = "ORCHARD LAKE RECYCLING"
    page["A1"].font = Font(bold=True, size=16)
    page.merge_cells("A2:D2")
    page["A2"] = "Prices effective"
    page["A3"] = datetime.date(2026, 11, 2)
    page["A3"].number_format = "mmmm d, yyyy"
    page["B3"] = "555-010-6767"
    page.append([])
    page.append(["Metal", "Grade", "Price / lb", "Comment"])
    rows = [
        ("Copper", "Bare Bright", 4.18, "16 ga. or thicker"), (None, "No. 1", 3.97, None), (None, "No. 2", 3.61, "solder ok"),
        ("Aluminum", "Extrusion - Clean", 0.94, None), (None, "Extrusion - Painted", 0.82, None), (None, "Cast", 0.69, None),
        ("Electronics", "Motherboards", 2.70, "no steel"), (None, "Gold Memory", 17.0, None), (None, "CRT Monitors", -0.35, "disposal"),
    ]
    for row in rows:
        page.append(row)
    for at in range(6, 15):
        page.cell(at, 3).number_format = '"$"#,##0.00_);("$"#,##0.00)'
    page.merge_cells("A6:A8")
    page.merge_cells("A9:A11")
    page.merge_cells("A12:A14")
    page.append([])
    page.append(["Hours: 7:30 - 4:30, Sat 8 - 12"])
    hidden = book.create_sheet("cost")
    hidden.append(["Grade", "Our sell price"])
    hidden.append(["Bare Bright", 4.60])
    hidden.sheet_state = "hidden"
    book.save(path)


@sheet("labelled", "three-tabs.xlsx", """
default CAD/lb
Bare bright | 5.05 | copper-bright
#1 copper | 4.80 | copper-1
Insulated 60% | 2.05 | wire-60
Server boards | 6.10 CAD/lb | board-server
Desktop motherboards | 3.55 CAD/lb | board-desktop
Prepared | 240 CAD/tonne | steel-heavy
Shred | 165 CAD/tonne | steel-light
""")
def three_tabs(path):
    book = Workbook()
    page = book.active
    page.title = "Red metals"
    page.append(["All prices in CAD per lb", None])
    page.append(["Grade", "Price"])
    for row in [("Bare bright", 5.05), ("#1 copper", 4.80), ("Insulated 60%", 2.05)]:
        page.append(row)
    page = book.create_sheet("E-scrap")
    page.append(["Grade", "CAD/lb", "last month"])
    for row in [("Server boards", 6.10, 5.90), ("Desktop motherboards", 3.55, 3.60)]:
        page.append(row)
    page = book.create_sheet("Steel")
    page.append(["Prices in CAD per metric tonne"])
    page.append(["Item", "Price"])
    for row in [("Prepared", 240), ("Shred", 165)]:
        page.append(row)
    page = book.create_sheet("Locations")
    page.append(["Yard", "Address", "Phone"])
    page.append(["North", "120 Rail Street", "555-0144"])
    page.append(["South", "9 Canal Road", "555-0145"])
    book.save(path)


@sheet("labelled", "formats-say-it.xlsx", """
default EUR/kg
valid 2026-11-03
Kupfer Millberry | 8.20 | copper-bright
Kupfer gemischt | 7.35 | copper-2
Messing Mischkupfer | 4.90 | ?
Alu Profil sauber | 1.70 | extrusion-clean
Edelstahl V2A | 1.15 | stainless
Mischschrott | 185 EUR/tonne | steel-light
Altbatterien Blei | 0.60 | lead-acid
""")
def formats_say_it(path):
    book = Workbook()
    page = book.active
    page["B2"] = "Preisliste"
    page["B3"] = "Gültig ab"
    page["C3"] = datetime.date(2026, 11, 3)
    page["C3"].number_format = "dd.mm.yyyy"
    page["B5"], page["C5"] = "Artikel", "Ankauf"
    rows = [("Kupfer Millberry", 8.2), ("Kupfer gemischt", 7.35), ("Messing Mischkupfer", 4.9), ("Alu Profil sauber", 1.7),
            ("Edelstahl V2A", 1.15), ("Mischschrott", 185), ("Altbatterien Blei", 0.6)]
    for at, (name, price) in enumerate(rows, start=6):
        page.cell(at, 2, name)
        cell = page.cell(at, 3, price)
        cell.number_format = '#,##0.00 "€/t"' if price > 100 else '#,##0.00 "€/kg"'
    book.save(path)


@sheet("labelled", "formulas.xlsx", """
default USD/lb
Bare bright | 4.1 | copper-bright
#1 | 3.9 | copper-1
#2 | 3.55 | copper-2
Yellow brass | 2.3 | brass-yellow
""")
def formulas(path):
    # openpyxl writes no cached values, so the part is written by hand below.
    import zipfile
    book = Workbook()
    page = book.active
    page.title = "List"
    for row in [("COMEX", 4.85, None), (None, None, None), ("Material", "Discount", "Price $/lb"), ("Bare bright", 0.75, "X"),
                ("#1", 0.95, "X"), ("#2", 1.3, "X"), ("Yellow brass", 2.55, "X")]:
        page.append(row)
    book.save(path)
    values = {"C4": "4.0999999999999996", "C5": "3.9", "C6": "3.5500000000000003", "C7": "2.3"}
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    import re
    text = parts["xl/worksheets/sheet1.xml"].decode()
    for at, value in values.items():
        text = re.sub(rf'<c r="{at}"[^>]*>.*?</c>', f'<c r="{at}"><f>$B$1-B{at[1:]}</f><v>{value}</v></c>', text)
    parts["xl/worksheets/sheet1.xml"] = text.encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            new.writestr(name, data)


@sheet("labelled", "tiers-two-headers.xlsx", """
default USD/lb
Motherboards | 2.45 | board-desktop | 0-250 lb
Motherboards | 2.65 | board-desktop | 250-1000 lb
Motherboards | 2.80 | board-desktop | 1000 lb
Finger cards | 3.10 | board-gold-edge | 0-250 lb
Finger cards | 3.35 | board-gold-edge | 250-1000 lb
Finger cards | 3.50 | board-gold-edge | 1000 lb
Hard drives | 0.78 | hard-drive-whole | 0-250 lb
Hard drives | 0.86 | hard-drive-whole | 250-1000 lb
Hard drives | 0.92 | hard-drive-whole | 1000 lb
""")
def tiers_two_headers(path):
    book = Workbook()
    page = book.active
    page.append(["Buy list (USD/lb)", None, None, None])
    page.append([None, "Lot size", None, None])
    page.merge_cells("B2:D2")
    page.append(["Description", "up to 250 lb", "250 to 1,000 lb", "1,000 lb +"])
    for row in [("Motherboards", 2.45, 2.65, 2.80), ("Finger cards", 3.10, 3.35, 3.50), ("Hard drives", 0.78, 0.86, 0.92)]:
        page.append(row)
    book.save(path)


@sheet("labelled", "old-office.xls", """
default USD/lb
valid 2026-11-02
Bare Bright | 4.11 | copper-bright
#1 Copper | 3.90 | copper-1
#2 Copper | 3.52 | copper-2
Yellow Brass | 2.27 | brass-yellow
Soft Lead | 0.55 | lead-soft
Car Batteries | 0.23 | lead-acid
Light Iron | 8.25 USD/cwt | steel-light
""")
def old_office(path):
    import xlwt
    book = xlwt.Workbook()
    page = book.add_sheet("Prices")
    page.write_merge(0, 0, 0, 3, "LAKE COUNTY IRON")
    page.write(1, 0, "Effective")
    page.write(1, 1, datetime.date(2026, 11, 2), xlwt.easyxf(num_format_str="m/d/yyyy"))
    for at, name in enumerate(["Item", "Price", "Per"]):
        page.write(3, at, name)
    money = xlwt.easyxf(num_format_str='"$"#,##0.00')
    rows = [("Bare Bright", 4.11, "lb"), ("#1 Copper", 3.90, "lb"), ("#2 Copper", 3.52, "lb"), ("Yellow Brass", 2.27, "lb"),
            ("Soft Lead", 0.55, "lb"), ("Car Batteries", 0.23, "lb"), ("Light Iron", 8.25, "cwt")]
    for at, (name, price, unit) in enumerate(rows, start=4):
        page.write(at, 0, name)
        page.write(at, 1, price, money)
        page.write(at, 2, unit)
    book.save(path)


def ods(path, tables):
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table as OdsTable, TableCell, TableRow
    from odf.text import P
    book = OpenDocumentSpreadsheet()
    for name, rows in tables:
        table = OdsTable(name=name)
        for row in rows:
            line = TableRow()
            for value in row:
                if value is None:
                    line.addElement(TableCell())
                    continue
                if isinstance(value, datetime.date):
                    cell = TableCell(valuetype="date", datevalue=value.isoformat())
                    cell.addElement(P(text=value.strftime("%d.%m.%Y")))
                elif isinstance(value, tuple):
                    amount, currency = value
                    cell = TableCell(valuetype="currency", currency=currency, value=amount)
                    cell.addElement(P(text=f"{amount:.2f} {currency}"))
                elif isinstance(value, (int, float)):
                    cell = TableCell(valuetype="float", value=value)
                    cell.addElement(P(text=str(value)))
                else:
                    cell = TableCell(valuetype="string")
                    cell.addElement(P(text=value))
                line.addElement(cell)
            table.addElement(line)
        book.spreadsheet.addElement(table)
    book.save(path)


@sheet("labelled", "cuivre.ods", """
default EUR/kg
valid 2026-11-02
Cuivre nu brillant | 8.05 | copper-bright
Cuivre n° 2 | 7.10 | copper-2
Laiton jaune | 4.70 | brass-yellow
Aluminium fonte | 1.20 | cast-aluminium
Cartes mères | 3.10 | board-desktop
Disques durs | 0.88 | hard-drive-whole
Moteurs électriques | 0.58 | motor-small
""")
def cuivre(path):
    ods(path, [("Tarif", [
        ["Tarif d'achat"], ["Valable au", datetime.date(2026, 11, 2)], [None],
        ["Désignation", "Prix €/kg", "Remarques"],
        ["Cuivre nu brillant", (8.05, "EUR"), None], ["Cuivre n° 2", (7.10, "EUR"), "soudures admises"],
        ["Laiton jaune", (4.70, "EUR"), None], ["Aluminium fonte", (1.20, "EUR"), None], ["Cartes mères", (3.10, "EUR"), "sans pile"],
        ["Disques durs", (0.88, "EUR"), None], ["Moteurs électriques", (0.58, "EUR"), None],
    ])])


@sheet("labelled", "group-rows.xlsx", """
default USD/lb
valid 2026-11-03
Bare Bright (Barley) | 4.16 | copper-bright
#1 (Berry/Candy) | 3.93 | copper-1
#2 (Birch/Cliff) | 3.58 | copper-2
THHN 80% | 2.90 | wire-80
Romex 60% | 1.84 | wire-60
Power cords w/ ends | 0.98 | wire-mains-cord
Heat sinks, clean | 0.76 | heatsink-aluminium
Painted extrusion | 0.84 | extrusion-painted
Irony aluminum | 0.20 | aluminium-breakage
UPS, no battery | 0.19 | ups-whole
Servers, complete | 0.44 | server-whole
Toner cartridges, OEM empty | 0.80 USD/each | toner-cartridge
""")
def group_rows(path):
    book = Workbook()
    page = book.active
    page["A1"] = "Price Sheet"
    page["C1"] = "Date:"
    page["D1"] = datetime.datetime(2026, 11, 3)
    page["D1"].number_format = "yyyy-mm-dd"
    page["A3"], page["B3"], page["C3"], page["D3"] = "Product", "Prior", "Current", "Unit"
    rows = [("COPPER",), ("Bare Bright (Barley)", 4.10, 4.16, "lb"), ("#1 (Berry/Candy)", 3.88, 3.93, "lb"), ("#2 (Birch/Cliff)", 3.52, 3.58, "lb"),
            ("INSULATED WIRE",), ("THHN 80%", 2.85, 2.90, "lb"), ("Romex 60%", 1.80, 1.84, "lb"), ("Power cords w/ ends", 0.98, 0.98, "lb"),
            ("ALUMINUM",), ("Heat sinks, clean", 0.76, 0.76, "lb"), ("Painted extrusion", 0.85, 0.84, "lb"), ("Irony aluminum", 0.20, 0.20, "lb"),
            ("WHOLE UNITS",), ("UPS, no battery", 0.18, 0.19, "lb"), ("Servers, complete", 0.42, 0.44, "lb"), ("Toner cartridges, OEM empty", 0.80, 0.80, "each")]
    for at, row in enumerate(rows, start=4):
        for column, value in enumerate(row, start=1):
            page.cell(at, column, value)
    book.save(path)


@sheet("labelled", "listino.xlsx", """
default EUR/kg
valid 2026-11-02
Rame lucido | 8.22 | copper-bright
Rame misto | 7.28 | copper-2
Ottone giallo | 4.83 | brass-yellow
Alluminio profilo pulito | 1.68 | extrusion-clean
Alluminio verniciato | 1.38 | ?
Zama | 1.30 | zinc-die-cast
Piombo | 1.48 | lead-soft
Acciaio inox 304 | 1.12 | stainless
Tubi catodici | -0.28 | monitor-tube-whole
""")
def listino(path):
    book = Workbook()
    page = book.active
    page.append(["Listino prezzi dal 2 novembre 2026", None, None])
    page.append(["€/kg, franco nostro magazzino", None, None])
    page.append([None])
    page.append(["Codice", "Descrizione", "Prezzo"])
    for row in [("R01", "Rame lucido", "8,22"), ("R02", "Rame misto", "7,28"), ("O01", "Ottone giallo", "4,83"),
                ("A01", "Alluminio profilo pulito", "1,68"), ("A02", "Alluminio verniciato", "1,38"), ("Z01", "Zama", "1,30"),
                ("P01", "Piombo", "1,48"), ("I01", "Acciaio inox 304", "1,12"), ("E09", "Tubi catodici", "-0,28")]:
        page.append(row)
    book.save(path)


@sheet("labelled", "side-notes.xls", """
default USD/lb
Motherboards | 2.58 | board-desktop
Server motherboards | 4.32 | board-server
Router boards | 2.77 | board-network
Brown boards | 0.11 | board-brown
Phones without battery | 5.02 | phone-whole
Gold plated pins | 40 | connector-gold
Ceramic CPU | call | cpu-ceramic
""")
def side_notes(path):
    import xlwt
    book = xlwt.Workbook()
    page = book.add_sheet("Sheet1")
    page.write(0, 0, "E-SCRAP BUYING PRICES  (US dollars per pound)")
    for at, name in enumerate(["", "Type", "Pays", "Remarks"]):
        page.write(2, at, name)
    rows = [(1, "Motherboards", 2.58, "min 20 lbs"), (2, "Server motherboards", 4.32, ""), (3, "Router boards", 2.77, "no plastic"),
            (4, "Brown boards", 0.11, "2000 lb min for pickup"), (5, "Phones without battery", 5.02, ""), (6, "Gold plated pins", 40, "sample first"),
            (7, "Ceramic CPU", "call", "")]
    for at, row in enumerate(rows, start=3):
        for column, value in enumerate(row):
            page.write(at, column, value)
    page.write(11, 1, "Total items")
    page.write(11, 2, 7)
    book.save(path)


@sheet("labelled", "cennik.ods", """
default PLN/kg
valid 2026-11-03
Miedź błyszcząca | 36 | copper-bright
Mosiądz | 20.5 | brass-yellow
Aluminium profil malowany | 7.3 | extrusion-painted
Ołów | 6.9 | lead-soft
Przewody miedziane 60% | 14.2 | wire-60
Dyski twarde | 4.1 | hard-drive-whole
Zasilacze komputerowe | 2.0 | power-supply-whole
Złom stalowy | 950 PLN/tonne | ?
""")
def cennik(path):
    ods(path, [("Cennik", [
        ["Cennik skupu", None, None], ["Data", datetime.date(2026, 11, 3), None],
        ["Nazwa", "Cena zł", "Jednostka"],
        ["Miedź błyszcząca", 36, "kg"], ["Mosiądz", 20.5, "kg"], ["Aluminium profil malowany", 7.3, "kg"], ["Ołów", 6.9, "kg"],
        ["Przewody miedziane 60%", 14.2, "kg"], ["Dyski twarde", 4.1, "kg"], ["Zasilacze komputerowe", 2.0, "kg"], ["Złom stalowy", 950, "t"],
    ]), ("Kontakt", [["Telefon", "555 010 220"], ["Godziny", "8:00 - 16:00"]])])


# ------------------------------------------------------------------------------------------------------------ PDFs

def lines(path, size, font, at, spacing, text):
    page = canvas.Canvas(path, pagesize=size)
    page.setFont(*font)
    x, y = at
    for line in text.strip("\n").split("\n"):
        if line == "\f" or y < 40:
            page.showPage()
            page.setFont(*font)
            y = at[1]
            if line == "\f":
                continue
        page.drawString(x, y, line)
        y -= spacing
    page.save()


@sheet("labelled", "typewriter.pdf", """
default USD/lb
valid 2026-11-02
Bare bright | 4.15 | copper-bright
#1 copper | 3.93 | copper-1
#2 copper | 3.56 | copper-2
Yellow brass | 2.32 | brass-yellow
Clean extrusion | 0.93 | extrusion-clean
Painted siding | 0.74 | -
Old cast | 0.67 | cast-aluminium
Soft lead | 0.56 | lead-soft
Stainless 304 | 0.47 | stainless
#1 prepared | 215 USD/gross_ton | steel-heavy
Light iron | 160 USD/gross_ton | steel-light
""")
def typewriter(path):
    lines(path, LETTER, ("Courier", 10), (54, 740), 13, """
BLACKWATER METALS                     PRICE LIST
1 Dock Road, Port Alder               November 2, 2026

NON-FERROUS                           $ PER LB
Bare bright .......................   4.15
#1 copper .........................   3.93
#2 copper .........................   3.56
Yellow brass ......................   2.32
Clean extrusion ...................    .93
Painted siding ....................    .74
Old cast ..........................    .67
Soft lead .........................    .56
Stainless 304 .....................    .47

FERROUS                               $ PER GROSS TON
#1 prepared .......................   215
Light iron ........................   160

Terms: cash to $25, check above. Hours 7-4.
Telephone 555-0177                    Page 1
""")


@sheet("labelled", "ruled-pages.pdf", """
default USD/lb
valid 2026-10-30
Server motherboards | 4.50 | board-server
Desktop motherboards | 2.70 | board-desktop
Laptop motherboards | 3.05 | board-laptop
Telecom boards | 2.90 | board-network
Set top boards | 1.20 | board-set-top
Game console boards | 2.20 | board-console
Hard drive boards | 9.10 | board-hard-drive
Cell phone boards | 10.75 | board-phone
LCD monitor boards | 1.05 | board-monitor
Brown boards | 0.12 | board-brown
Power supply boards | 0.20 | board-power-supply
Gold memory | 16.90 | memory-gold
Ceramic processors | 62.00 | cpu-ceramic
Fiber processors | 37.00 | cpu-fibre
Gold pins | 41.00 | connector-gold
CRT monitors | -0.32 | monitor-tube-whole
""")
def ruled_pages(path):
    styles = getSampleStyleSheet()
    data = [["No.", "Grade", "Notes", "USD/lb"]]
    rows = [("Server motherboards", "complete, no batteries", "4.50"), ("Desktop motherboards", "large socket", "2.70"), ("Laptop motherboards", "", "3.05"),
            ("Telecom boards", "2 or more gold rows", "2.90"), ("Set top boards", "", "1.20"), ("Game console boards", "", "2.20"), ("Hard drive boards", "green or blue", "9.10"),
            ("Cell phone boards", "", "10.75"), ("LCD monitor boards", "", "1.05"), ("Brown boards", "transformers on", "0.12"), ("Power supply boards", "", "0.20"),
            ("Gold memory", "both sides gold", "16.90"), ("Ceramic processors", "", "62.00"), ("Fiber processors", "", "37.00"), ("Gold pins", "sample", "41.00"),
            ("CRT monitors", "we charge", "(0.32)")]
    data += [[str(at), *row] for at, row in enumerate(rows, start=1)]
    table = Table(data, colWidths=[30, 170, 170, 60], repeatRows=1, rowHeights=34)
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.5, colors.grey), ("BACKGROUND", (0, 0), (-1, 0), colors.lightgrey), ("ALIGN", (3, 0), (3, -1), "RIGHT")]))
    doc = SimpleDocTemplate(path, pagesize=(LETTER[0], 420))
    doc.build([Paragraph("Circuit board buying prices", styles["Title"]), Paragraph("Effective October 30, 2026. Minimum lot 25 lb. Payment 5 business days after receipt.", styles["Normal"]), Spacer(1, 12), table])


@sheet("labelled", "two-columns.pdf", """
default USD/lb
valid 2026-11-02
Bare bright | 4.14 | copper-bright
No. 1 copper | 3.91 | copper-1
No. 2 copper | 3.55 | copper-2
Light copper | 3.27 | copper-light
Romex | 1.83 | wire-60
Yellow brass | 2.30 | brass-yellow
Clean extrusion | 0.92 | extrusion-clean
Painted extrusion | 0.81 | extrusion-painted
Cast aluminum | 0.66 | cast-aluminium
Sheet aluminum | 0.64 | sheet-aluminium
304 stainless | 0.46 | stainless
Lead | 0.55 | lead-soft
Motherboards | 2.55 | board-desktop
Hard drives | 0.80 | hard-drive-whole
""")
def two_columns(path):
    page = canvas.Canvas(path, pagesize=LETTER)
    page.setFont("Helvetica-Bold", 18)
    page.drawString(54, 740, "Copperline Recycling")
    page.setFont("Helvetica", 10)
    page.drawString(54, 722, "Prices per pound, valid from Nov 2, 2026 - call 555-0112 for loads over 2,000 lbs")
    left = [("COPPER", None), ("Bare bright", "$4.14"), ("No. 1 copper", "$3.91"), ("No. 2 copper", "$3.55"), ("Light copper", "$3.27"), ("Romex", "$1.83"), ("BRASS", None), ("Yellow brass", "$2.30")]
    right = [("ALUMINUM", None), ("Clean extrusion", "$0.92"), ("Painted extrusion", "$0.81"), ("Cast aluminum", "$0.66"), ("Sheet aluminum", "$0.64"), ("OTHER", None), ("304 stainless", "$0.46"), ("Lead", "$0.55"), ("Motherboards", "$2.55"), ("Hard drives", "$0.80")]
    for x, column in ((54, left), (320, right)):
        y = 690
        for name, price in column:
            page.setFont("Helvetica-Bold" if price is None else "Helvetica", 11)
            page.drawString(x, y, name)
            if price:
                page.drawRightString(x + 200, y, price)
            y -= 16
    page.save()


@sheet("labelled", "preisliste.pdf", """
default EUR/kg
valid 2026-11-02
Kupfer Millberry | 8.15 | copper-bright
Kupfer gemischt | 7.25 | copper-2
Messing | 4.80 | brass-yellow
Aluminiumprofile blank | 1.65 | extrusion-clean
Aluminiumprofile lackiert | 1.35 | extrusion-painted
Aluguss | 1.20 | cast-aluminium
Blei weich | 1.50 | lead-soft
Edelstahl V2A | 1.10 | stainless
Mainboards | 3.25 | board-desktop
Festplatten | 0.90 | hard-drive-whole
Bildschirme (Röhre) | -0.30 | monitor-tube-whole
""")
def preisliste(path):
    page = canvas.Canvas(path, pagesize=A4)
    page.setFont("Times-Roman", 16)
    page.drawString(60, 780, "Preisliste Ankauf")
    page.setFont("Times-Roman", 10)
    page.drawString(60, 764, "Stand 02.11.2026 – Preise in €/kg – Änderungen vorbehalten")
    rows = [("Kupfer Millberry", "8,15"), ("Kupfer gemischt", "7,25"), ("Messing", "4,80"), ("Aluminiumprofile blank", "1,65"), ("Aluminiumprofile lackiert", "1,35"), ("Aluguss", "1,20"),
            ("Blei weich", "1,50"), ("Edelstahl V2A", "1,10"), ("Mainboards", "3,25"), ("Festplatten", "0,90"), ("Bildschirme (Röhre)", "-0,30")]
    y = 730
    for name, price in rows:
        page.drawString(60, y, name)
        page.drawRightString(300, y, price)
        page.line(60, y - 4, 300, y - 4)
        y -= 18
    page.drawString(60, 60, "Metallhandel Sonnenberg · Bahnhofstraße 3 · 99100 Beispielstadt · Tel. 05555 123456 · Seite 1 von 1")
    page.save()


@sheet("labelled", "tier-table.pdf", """
default CAD/kg
valid 2026-11-01
Motherboards | 7.20 | board-desktop | 0-50 kg
Motherboards | 7.80 | board-desktop | 50-250 kg
Motherboards | 8.10 | board-desktop | 250 kg
Servers boards | 12.00 | board-server | 0-50 kg
Servers boards | 12.90 | board-server | 50-250 kg
Servers boards | 13.40 | board-server | 250 kg
Laptop boards | 8.90 | board-laptop | 0-50 kg
Laptop boards | 9.40 | board-laptop | 50-250 kg
Laptop boards | 9.75 | board-laptop | 250 kg
""")
def tier_table(path):
    styles = getSampleStyleSheet()
    data = [["Material", "< 50 kg", "50-250 kg", "250+ kg"], ["Motherboards", "7.20", "7.80", "8.10"], ["Servers boards", "12.00", "12.90", "13.40"], ["Laptop boards", "8.90", "9.40", "9.75"]]
    table = Table(data, colWidths=[160, 70, 70, 70])
    table.setStyle(TableStyle([("LINEBELOW", (0, 0), (-1, -1), 0.5, colors.black), ("ALIGN", (1, 0), (-1, -1), "CENTER")]))
    SimpleDocTemplate(path, pagesize=LETTER).build([Paragraph("Mail-in prices (CAD per kg)", styles["Heading1"]), Paragraph("As of 2026-11-01", styles["Normal"]), Spacer(1, 10), table])


@sheet("labelled", "flyer.pdf", """
default USD/lb
valid 2026-11-03
Bare Bright Copper | 4.20 | copper-bright
#1 Copper | 3.98 | copper-1
#2 Copper | 3.62 | copper-2
Insulated Wire | 1.60 | -
Yellow Brass | 2.37 | brass-yellow
Aluminum Cans | 0.61 | -
Car Batteries | 0.25 | lead-acid
Stainless Steel | 0.48 | stainless
Catalytic Converters | call | -
""")
def flyer(path):
    page = canvas.Canvas(path, pagesize=LETTER)
    page.setFillColorRGB(0.1, 0.3, 0.2)
    page.rect(0, 700, 612, 92, fill=1)
    page.setFillColorRGB(1, 1, 1)
    page.setFont("Helvetica-Bold", 28)
    page.drawCentredString(306, 740, "TOP DOLLAR FOR SCRAP!")
    page.setFont("Helvetica", 12)
    page.drawCentredString(306, 718, "Week of November 3, 2026 · all prices per pound")
    page.setFillColorRGB(0, 0, 0)
    rows = [("Bare Bright Copper", "$4.20"), ("#1 Copper", "$3.98"), ("#2 Copper", "$3.62"), ("Insulated Wire", "$1.60"), ("Yellow Brass", "$2.37"), ("Aluminum Cans", "$0.61"), ("Car Batteries", "$0.25"), ("Stainless Steel", "$0.48"), ("Catalytic Converters", "CALL")]
    y = 650
    for name, price in rows:
        page.setFont("Helvetica", 18)
        page.drawString(110, y, name)
        page.setFont("Helvetica-Bold", 18)
        page.drawRightString(500, y, price)
        y -= 34
    page.setFont("Helvetica", 11)
    page.drawCentredString(306, 120, "2500 Industrial Ave, Building 4 | Mon-Fri 7am-5pm | (555) 010-9191")
    page.drawCentredString(306, 104, "Bring this flyer for 5% more on copper over 100 lbs. Expires 11/30/2026.")
    page.save()


@sheet("labelled", "tarif-grille.pdf", """
default EUR/tonne
valid 2026-11-02
Cuivre brillant | 8350 | copper-bright
Cuivre mêlé | 7450 | copper-2
Laiton | 4750 | brass-yellow
Profilés aluminium | 1650 | extrusion-clean
Plomb | 1520 | lead-soft
Inox 304 | 1120 | stainless
Ferraille légère | 165 | steel-light
""")
def tarif_grille(path):
    styles = getSampleStyleSheet()
    data = [["Matière", "Prix (€/t)"], ["Cuivre brillant", "8 350"], ["Cuivre mêlé", "7 450"], ["Laiton", "4 750"], ["Profilés aluminium", "1 650"], ["Plomb", "1 520"], ["Inox 304", "1 120"], ["Ferraille légère", "165"]]
    table = Table(data, colWidths=[200, 90])
    table.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 1, colors.black), ("INNERGRID", (0, 0), (-1, -1), 0.25, colors.black), ("ALIGN", (1, 1), (1, -1), "RIGHT")]))
    SimpleDocTemplate(path, pagesize=A4).build([Paragraph("Tarif d'achat au 02/11/2026", styles["Title"]), Spacer(1, 10), table, Spacer(1, 20), Paragraph("Recyclage du Nord, 12 quai des Métaux, 99200 Portville. Tél. 01 99 00 55 66. SIRET 999 999 999 00011", styles["Normal"])])


@sheet("labelled", "mono-two-blocks.pdf", """
default USD/lb
THHN | 2.86 | wire-80
Romex | 1.81 | wire-60
Cat 5 | 1.29 | cable-network
Coax | 0.27 | cable-coax
Bare bright | 4.13 | copper-bright
No. 1 | 3.90 | copper-1
No. 2 | 3.54 | copper-2
Yellow | 2.29 | brass-yellow
""")
def mono_two_blocks(path):
    lines(path, LETTER, ("Courier", 11), (60, 730), 14, """
PRICE CARD                    (dollars per pound)

WIRE                          COPPER
THHN ............. 2.86       Bare bright ...... 4.13
Romex ............ 1.81       No. 1 ............ 3.90
Cat 5 ............ 1.29       No. 2 ............ 3.54
Coax .............  .27       BRASS
                              Yellow ........... 2.29
""")


@sheet("labelled", "quote-letter.pdf", """
default USD/lb
valid 2026-11-03
Desktop motherboards | 2.68 | board-desktop
Server boards | 4.41 | board-server
PCI / gold finger cards | 3.45 | board-gold-edge
RAM, gold edge | 16.40 | memory-gold
Mixed power supplies | 0.34 | power-supply-whole
Hard drives, with boards | 0.83 | hard-drive-whole
""")
def quote_letter(path):
    styles = getSampleStyleSheet()
    text = ["Granite State Electronics Recovery", "November 3, 2026", "Dear partners,", "Thank you for your inquiry of October 28. We are pleased to offer the following prices, FOB our dock, for lots of at least 100 lbs:"]
    items = ["Desktop motherboards — $2.68 per lb", "Server boards — $4.41 per lb", "PCI / gold finger cards — $3.45 per lb", "RAM, gold edge — $16.40 per lb", "Mixed power supplies — $0.34 per lb", "Hard drives, with boards — $0.83 per lb"]
    tail = ["Prices are firm for 7 days. Payment by wire within 10 business days, less a $25 wire fee.", "Sincerely,", "R. Doyle, Purchasing, tel. 555-010-2727"]
    flow = [Paragraph(line, styles["Normal"]) for line in text] + [Paragraph("• " + item, styles["Normal"]) for item in items] + [Paragraph(line, styles["Normal"]) for line in tail]
    spaced = [piece for part in flow for piece in (part, Spacer(1, 8))]
    SimpleDocTemplate(path, pagesize=LETTER).build(spaced)


@sheet("labelled", "three-columns.pdf", """
default USD/lb
valid 2026-11-04
Bare Bright | 4.18 | copper-bright
#1 Copper | 3.97 | copper-1
#2 Copper | 3.61 | copper-2
Romex | 1.84 | wire-60
Extrusion | 0.94 | extrusion-clean
Painted Extrusion | 0.83 | extrusion-painted
Cast | 0.68 | cast-aluminium
Sheet | 0.66 | sheet-aluminium
Yellow Brass | 2.35 | brass-yellow
Lead | 0.56 | lead-soft
Zinc Die Cast | 0.45 | zinc-die-cast
Hard Drives | 0.84 | hard-drive-whole
""")
def three_columns(path):
    page = canvas.Canvas(path, pagesize=(LETTER[1], LETTER[0]))
    page.setFont("Helvetica-Bold", 20)
    page.drawCentredString(396, 560, "Granger Scrap - prices per lb - 11/04/2026")
    columns = [("COPPER & WIRE", [("Bare Bright", "4.18"), ("#1 Copper", "3.97"), ("#2 Copper", "3.61"), ("Romex", "1.84")]),
               ("ALUMINUM", [("Extrusion", ".94"), ("Painted Extrusion", ".83"), ("Cast", ".68"), ("Sheet", ".66")]),
               ("OTHER METALS", [("Yellow Brass", "2.35"), ("Lead", ".56"), ("Zinc Die Cast", ".45"), ("Hard Drives", ".84")])]
    for at, (title, rows) in enumerate(columns):
        x = 50 + at * 240
        page.setFont("Helvetica-Bold", 12)
        page.drawString(x, 510, title)
        page.setFont("Helvetica", 12)
        for row, (name, price) in enumerate(rows):
            page.drawString(x, 488 - row * 20, name)
            page.drawRightString(x + 190, 488 - row * 20, price)
    page.setFont("Helvetica-Oblique", 9)
    page.drawCentredString(396, 60, "Prices may change without notice. 555-010-2323. Photo ID required. No purchases over $1,000 in cash.")
    page.save()


@sheet("labelled", "buyer-two-pages.pdf", """
default USD/lb
valid 2026-11-04
Server boards | 4.52 | board-server | 0-99 lb
Server boards | 4.80 | board-server | 100 lb
Desktop boards | 2.66 | board-desktop | 0-99 lb
Desktop boards | 2.88 | board-desktop | 100 lb
Laptop boards | 3.01 | board-laptop | 0-99 lb
Laptop boards | 3.12 | board-laptop | 100 lb
Telecom boards | 2.84 | board-network | 0-99 lb
Telecom boards | 3.02 | board-network | 100 lb
Finger cards | 3.33 | board-gold-edge | 0-99 lb
Finger cards | 3.51 | board-gold-edge | 100 lb
Gold RAM | 16.50 | memory-gold | 0-99 lb
Gold RAM | 17.25 | memory-gold | 100 lb
Hard drives | 0.80 | hard-drive-whole | 0-99 lb
Hard drives | 0.92 | hard-drive-whole | 100 lb
""")
def buyer_two_pages(path):
    page = canvas.Canvas(path, pagesize=LETTER)
    rows = [("Server boards", "$4.52", "$4.80"), ("Desktop boards", "$2.66", "$2.88"), ("Laptop boards", "$3.01", "$3.12"), ("Telecom boards", "$2.84", "$3.02"),
            ("Finger cards", "$3.33", "$3.51"), ("Gold RAM", "$16.50", "$17.25"), ("Hard drives", "$0.80", "$0.92")]
    for number, part in enumerate((rows[:4], rows[4:]), start=1):
        page.setFont("Helvetica", 9)
        page.drawString(50, 760, "E-Scrap price list, effective 11/04/2026, prices per lb")
        page.drawRightString(560, 760, f"Page {number} of 2")
        page.setFont("Helvetica-Bold", 11)
        page.drawString(50, 720, "Category")
        page.drawRightString(360, 720, "0-99 lb")
        page.drawRightString(460, 720, "100+ lb")
        page.setFont("Helvetica", 11)
        for at, (name, small, large) in enumerate(part):
            y = 696 - at * 22
            page.line(50, y - 6, 470, y - 6)
            page.drawString(50, y, name)
            page.drawRightString(360, y, small)
            page.drawRightString(460, y, large)
        page.showPage()
    page.save()


@sheet("labelled", "spanish-lista.pdf", """
default EUR/kg
valid 2026-11-03
Cobre brillante | 8.28 | copper-bright
Cobre 2ª | 7.38 | copper-2
Latón | 4.88 | brass-yellow
Aluminio perfil limpio | 1.70 | extrusion-clean
Aluminio fundido | 1.27 | cast-aluminium
Plomo | 1.50 | lead-soft
Acero inoxidable | 1.16 | stainless
Motores eléctricos | 0.61 | motor-small
Ordenadores portátiles | 3.00 EUR/each | laptop-whole
Discos duros | 0.89 | hard-drive-whole
""")
def spanish_lista(path):
    lines(path, A4, ("Helvetica", 11), (60, 780), 18, """
RECUPERACIONES DEL SUR, S.L.
Lista de precios de compra vigente desde el 3 de noviembre de 2026
Cobre brillante: 8,28 €/kg
Cobre 2ª: 7,38 €/kg
Latón: 4,88 €/kg
Aluminio perfil limpio: 1,70 €/kg
Aluminio fundido: 1,27 €/kg
Plomo: 1,50 €/kg
Acero inoxidable: 1,16 €/kg
Motores eléctricos: 0,61 €/kg
Ordenadores portátiles: 3,00 €/unidad
Discos duros: 0,89 €/kg
Horario: lunes a viernes de 8:00 a 14:00. Tel. 955 010 203
""")


@sheet("labelled", "catalog.xlsx", """
default USD/lb
valid 2026-11-04
Mixed Boards | 1.05 | board-mixed
Server Boards | 4.40..4.80 | board-server
Desktop Motherboards | 2.55..2.80 | board-desktop
Gold Fingers, trimmed | 38.00 | ?
Ceramic CPU | call | cpu-ceramic
Li-ion Batteries | 0.85 | lithium-ion-pack
Damaged Li-ion | -3.50 | battery-damaged
Alkaline | -0.60 | dry-cell
Toner | 0.70 USD/each | toner-cartridge
""")
def catalog(path):
    book = Workbook()
    page = book.active
    page.title = "Nov 4"
    page["B1"] = "Rates as of"
    page["C1"] = datetime.date(2026, 11, 4)
    page["C1"].number_format = "m/d/yyyy"
    page["B3"], page["C3"], page["D3"], page["E3"] = "Item", "Rate", "Basis", "Comments"
    rows = [("Boards",), ("Mixed Boards", 1.05, "lb"), ("Server Boards", "4.40 - 4.80", "lb", "by grade"), ("Desktop Motherboards", "2.55-2.80", "lb"), ("Gold Fingers, trimmed", 38, "lb"),
            ("Ceramic CPU", "Call", "lb"), ("Batteries",), ("Li-ion Batteries", 0.85, "lb"), ("Damaged Li-ion", "(3.50)", "lb", "we charge"), ("Alkaline", "(0.60)", "lb"), ("Misc",), ("Toner", 0.7, "ea", "OEM only")]
    for at, row in enumerate(rows, start=4):
        for column, value in enumerate(row, start=2):
            page.cell(at, column, value)
    page["B18"] = "Prices in US dollars. Minimum 50 lb per delivery. 2.5% wire fee."
    book.save(path)


@sheet("labelled", "two-blocks.xlsx", """
default USD/lb
Bare bright | 4.14 | copper-bright
#1 copper | 3.92 | copper-1
#2 copper | 3.56 | copper-2
Clean sheet | 0.68 | sheet-aluminium
Clean extrusion | 0.92 | extrusion-clean
Prepared #1 | 12.00 USD/cwt | steel-heavy
Unprepared | 10.25 USD/cwt | steel-heavy
Light iron | 8.75 USD/cwt | steel-light
""")
def two_blocks(path):
    book = Workbook()
    page = book.active
    page.append(["COPPER ($/lb)", None, None, "ALUMINUM ($/lb)", None])
    page.append(["Grade", "Price", None, "Grade", "Price"])
    page.append(["Bare bright", 4.14, None, "Clean sheet", 0.68])
    page.append(["#1 copper", 3.92, None, "Clean extrusion", 0.92])
    page.append(["#2 copper", 3.56])
    page.append([])
    page.append(["STEEL ($/cwt)"])
    page.append(["Grade", "Price"])
    page.append(["Prepared #1", 12.0])
    page.append(["Unprepared", 10.25])
    page.append(["Light iron", 8.75])
    book.save(path)


@sheet("labelled", "ankauf.ods", """
default EUR/kg
valid 2026-11-04
Kupferkabel 60 % | 3.70 | wire-60
Kupferkabel 80 % | 5.05 | wire-80
Netzwerkkabel | 2.40 | cable-network
Alu-Kühlkörper | 1.50 | heatsink-aluminium
Lüfter | 0.22 | fan-computer
Trafos | 1.02 | transformer
Laptop-Akkus | 1.10 | lithium-ion-pack
Bleiakkus | 0.58 | lead-acid
""")
def ankauf(path):
    ods(path, [("Ankauf", [
        ["Ankaufpreise Elektronik", None, None], ["gültig ab", datetime.date(2026, 11, 4), None],
        ["Artikel", "EUR/kg", "Hinweis"],
        ["Kupferkabel 60 %", 3.7, None], ["Kupferkabel 80 %", 5.05, None], ["Netzwerkkabel", 2.4, "mit Stecker"], ["Alu-Kühlkörper", 1.5, "ohne Eisen"],
        ["Lüfter", 0.22, None], ["Trafos", 1.02, "mit Kupferwicklung"], ["Laptop-Akkus", 1.1, "unbeschädigt"], ["Bleiakkus", 0.58, None],
    ])])


@sheet("labelled", "price-first.pdf", """
default USD/lb
$4.11 | 4.11 | ?
""".replace("$4.11 | 4.11 | ?", """Bare bright copper | 4.11 | copper-bright
Number one copper | 3.90 | copper-1
Yellow brass | 2.29 | brass-yellow
Sheet aluminum | 0.65 | sheet-aluminium
Car batteries | 0.24 | lead-acid
Power supplies | 0.35 | power-supply-whole"""))
def price_first(path):
    page = canvas.Canvas(path, pagesize=LETTER)
    page.setFont("Helvetica-Bold", 16)
    page.drawString(72, 720, "WE PAY (per pound)")
    rows = [("$4.11", "Bare bright copper"), ("$3.90", "Number one copper"), ("$2.29", "Yellow brass"), ("$0.65", "Sheet aluminum"), ("$0.24", "Car batteries"), ("$0.35", "Power supplies")]
    page.setFont("Helvetica", 14)
    for at, (price, name) in enumerate(rows):
        page.drawString(72, 690 - at * 26, price)
        page.drawString(150, 690 - at * 26, name)
    page.save()


@sheet("labelled", "grid-units.pdf", """
default USD/lb
valid 2026-11-04
Copper, bare bright | 4.17 | copper-bright
Copper, No. 2 | 3.58 | copper-2
Aluminum, clean cast | 0.70 | cast-aluminium
Steel, heavy melt | 10.75 USD/cwt | steel-heavy
Steel, light iron | 8.50 USD/cwt | steel-light
Laptop, complete | 5.25 USD/each | laptop-whole
CRT television | -20 USD/each | monitor-tube-whole
""")
def grid_units(path):
    styles = getSampleStyleSheet()
    data = [["Item", "Unit", "Pays", "Notes"], ["Copper, bare bright", "lb", "4.17", "16 ga. and heavier"], ["Copper, No. 2", "lb", "3.58", ""], ["Aluminum, clean cast", "lb", "0.70", "no iron"], ["Steel, heavy melt", "cwt", "10.75", "3 ft x 18 in"],
            ["Steel, light iron", "cwt", "8.50", ""], ["Laptop, complete", "each", "5.25", "with drive"], ["CRT television", "each", "-20.00", "disposal charge"]]
    table = Table(data, colWidths=[150, 50, 60, 140])
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.5, colors.black), ("FONTNAME", (0, 0), (-1, 0), "Helvetica-Bold")]))
    SimpleDocTemplate(path, pagesize=LETTER).build([Paragraph("Hudson Yard Metals", styles["Title"]), Paragraph("Prices as of Wednesday 11/04/2026", styles["Normal"]), Spacer(1, 10), table, Paragraph("14 Pier Rd, Hudson 12999. Phone 555-010-1414. Page 1/1", styles["Normal"])])


@sheet("labelled", "listino.pdf", """
default EUR/kg
valid 2026-11-02
Rame lucido (millberry) | 8.18 | copper-bright
Rame misto | 7.22 | copper-2
Ottone | 4.79 | brass-yellow
Alluminio profilo verniciato | 1.36 | extrusion-painted
Alluminio getti | 1.24 | cast-aluminium
Acciaio inox 304 | 1.11 | stainless
Cavi di rame 60% | 3.08 | wire-60
Schede madri | 2.98 | board-desktop
""")
def listino_pdf(path):
    page = canvas.Canvas(path, pagesize=A4)
    page.setFont("Times-Bold", 15)
    page.drawCentredString(297, 780, "LISTINO ACQUISTO ROTTAMI")
    page.setFont("Times-Roman", 11)
    page.drawCentredString(297, 762, "Valido dal 2 novembre 2026 – prezzi in €/kg")
    rows = [("RAME", None), ("Rame lucido (millberry)", "8,18"), ("Rame misto", "7,22"), ("OTTONE", None), ("Ottone", "4,79"), ("ALLUMINIO", None), ("Alluminio profilo verniciato", "1,36"), ("Alluminio getti", "1,24"),
            ("ALTRI", None), ("Acciaio inox 304", "1,11"), ("Cavi di rame 60%", "3,08"), ("Schede madri", "2,98")]
    y = 720
    for name, price in rows:
        page.setFont("Times-Roman" if price else "Times-Bold", 12)
        page.drawString(120, y, name)
        if price:
            page.drawString(300, y, "€")
            page.drawRightString(360, y, price)
        y -= 20
    page.save()


@sheet("labelled", "two-level.xlsx", """
default USD/lb
Motherboards | 2.50 | board-desktop | 1-99 lb
Motherboards | 2.70 | board-desktop | 100-999 lb
Motherboards | 2.90 | board-desktop | 1000 lb
Server boards | 4.20 | board-server | 1-99 lb
Server boards | 4.45 | board-server | 100-999 lb
Server boards | 4.75 | board-server | 1000 lb
Memory, gold | 15.50 | memory-gold | 1-99 lb
Memory, gold | 16.50 | memory-gold | 100-999 lb
Memory, gold | 17.50 | memory-gold | 1000 lb
""")
def two_level(path):
    book = Workbook()
    page = book.active
    page["A1"] = "Price schedule"
    page["A3"], page["B3"] = "Material", "US$ per lb by weight"
    page.merge_cells("B3:D3")
    page.merge_cells("A3:A4")
    page["B4"], page["C4"], page["D4"] = "1-99", "100-999", "1000+"
    for at, row in enumerate([("Motherboards", 2.5, 2.7, 2.9), ("Server boards", 4.2, 4.45, 4.75), ("Memory, gold", 15.5, 16.5, 17.5)], start=5):
        for column, value in enumerate(row, start=1):
            page.cell(at, column, value)
    book.save(path)


@sheet("labelled", "text-numbers.xlsx", """
default EUR/tonne
valid 2026-11-03
Kupfer blank | 8150 | copper-bright
Kupfer gemischt | 7300 | copper-2
Messing | 4820 | brass-yellow
Aluminium Guss | 1210 | cast-aluminium
Blei | 1480 | lead-soft
Edelstahl | 1120 | stainless
Mischschrott | 182.50 | steel-light
""")
def text_numbers(path):
    book = Workbook()
    page = book.active
    for row in [("Preise gültig ab 03.11.2026", None), ("Angaben in EUR je Tonne", None), (None, None), ("Sorte", "Ankaufpreis"), ("Kupfer blank", "8.150,00"), ("Kupfer gemischt", "7.300,00"), ("Messing", "4.820,00"),
                ("Aluminium Guss", "1.210,00"), ("Blei", "1.480,00"), ("Edelstahl", "1.120,00"), ("Mischschrott", "182,50"), (None, None), ("Summe der Sorten", "7")]:
        page.append(row)
    book.save(path)


@sheet("labelled", "summary-and-list.xlsx", """
default USD/lb
Bare bright | 4.15 | copper-bright | 10 lb
No. 1 | 3.93 | copper-1 | 10 lb
No. 2 | 3.57 | copper-2 | 10 lb
Yellow | 2.31 | brass-yellow | 10 lb
Red | 2.78 | - | 10 lb
Hard drives | 0.82 | hard-drive-whole | 25 lb
Power supplies | 0.36 | power-supply-whole | 50 lb
""")
def summary_and_list(path):
    book = Workbook()
    page = book.active
    page.title = "Read me"
    page.append(["This workbook replaces the list of October 12, 2026."])
    page.append(["Questions: 555-010-3535 or desk@fallsriver.example"])
    page = book.create_sheet("Prices")
    page.append(["Family", "Grade", "Price", "Per", "Min lot"])
    for row in [("Copper", "Bare bright", 4.15, "lb", 10), ("Copper", "No. 1", 3.93, "lb", 10), ("Copper", "No. 2", 3.57, "lb", 10), ("Brass", "Yellow", 2.31, "lb", 10), ("Brass", "Red", 2.78, "lb", 10),
                ("Electronics", "Hard drives", 0.82, "lb", 25), ("Electronics", "Power supplies", 0.36, "lb", 50)]:
        page.append(row)
    page = book.create_sheet("Totals")
    page.append(["Month", "Tons bought"])
    page.append(["September 2026", 412])
    page.append(["October 2026", 398])
    book.save(path)


@sheet("labelled", "dense.pdf", """
default USD/lb
valid 2026-11-04
BARE BRIGHT | 4.15 | copper-bright
#1 CU | 3.93 | copper-1
#2 CU | 3.57 | copper-2
SHEET CU | 3.29 | copper-light
YELLOW BRASS | 2.31 | brass-yellow
RED BRASS | 2.77 | -
AL EXTRUSION | 0.93 | extrusion-clean
AL CAST | 0.67 | cast-aluminium
AL BREAKAGE | 0.19 | aluminium-breakage
LEAD | 0.55 | lead-soft
SS 304 | 0.48 | stainless
E-MOTORS | 0.33 | motor-small
""")
def dense(path):
    lines(path, LETTER, ("Courier-Bold", 8), (40, 750), 10, """
DIXON SALVAGE CO    NONFERROUS BUY SHEET    11/04/2026    PRICES PER LB    PH 555-010-5151
CODE  MATERIAL              PRICE   | CODE  MATERIAL              PRICE
101   BARE BRIGHT           4.15    | 201   AL EXTRUSION          0.93
102   #1 CU                 3.93    | 202   AL CAST               0.67
103   #2 CU                 3.57    | 203   AL BREAKAGE           0.19
104   SHEET CU              3.29    | 301   LEAD                  0.55
110   YELLOW BRASS          2.31    | 302   SS 304                0.48
111   RED BRASS             2.77    | 303   E-MOTORS              0.33
ALL GRADES SUBJECT TO INSPECTION. NO CASH OVER $50.
""")


@sheet("labelled", "wrapped.pdf", """
default USD/lb
valid 2026-11-02
Desktop motherboards, large socket, without batteries or coolers | 2.62 | board-desktop
Server boards, all sizes | 4.38 | board-server
Telecom boards with gold plated contacts | 2.90 | ?
Power supplies, complete with wires | 0.36 | power-supply-whole
""")
def wrapped(path):
    styles = getSampleStyleSheet()
    cell = styles["Normal"]
    data = [["Grade", "Price"]] + [[Paragraph(name, cell), price] for name, price in [("Desktop motherboards, large socket, without batteries or coolers", "$2.62"), ("Server boards, all sizes", "$4.38"), ("Telecom boards with gold plated contacts", "$2.90"), ("Power supplies, complete with wires", "$0.36")]]
    table = Table(data, colWidths=[170, 60])
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.5, colors.black), ("VALIGN", (0, 0), (-1, -1), "TOP")]))
    SimpleDocTemplate(path, pagesize=LETTER).build([Paragraph("Prices per pound, from 2 November 2026", styles["Heading2"]), table])


@sheet("labelled", "separate-sections.xlsx", """
default USD/lb
valid 2026-11-04
Bright wire | 4.16 | ?
Clean tubing | 3.90 | ?
Mixed | 3.55 | copper-2
Yellow | 2.32 | brass-yellow
Clean extrusion | 0.94 | extrusion-clean
Painted | 0.83 | ?
Irony | 0.20 | aluminium-breakage
Lead acid | 0.25 | lead-acid
Lithium-ion | 0.80 | lithium-ion-pack
""")
def separate_sections(path):
    book = Workbook()
    page = book.active
    rows = [("Scale house price list",), ("Date", datetime.date(2026, 11, 4)), (), ("COPPER", "per lb"), ("Bright wire", 4.16), ("Clean tubing", 3.90), ("Mixed", 3.55), (), ("BRASS", "per lb"), ("Yellow", 2.32), (), ("ALUMINUM", "per lb"), ("Clean extrusion", 0.94), ("Painted", 0.83), ("Irony", 0.20), (), ("BATTERIES", "per lb"), ("Lead acid", 0.25), ("Lithium-ion", 0.80), (), ("Minimum payout $5.00",), ("Open 7-4",)]
    for row in rows:
        page.append(list(row))
    book.save(path)


@sheet("labelled", "currency-columns.xlsx", """
default USD/lb
Server boards | 4.45 | board-server
Desktop boards | 2.65 | board-desktop
Laptop boards | 3.00 | board-laptop
Memory gold | 16.80 | memory-gold
Hard drives | 0.83 | hard-drive-whole
""")
def currency_columns(path):
    book = Workbook()
    page = book.active
    page.append(["Cross-border board buyer", None, None])
    page.append(["Grade", "USD/lb", "CAD/lb"])
    for row in [("Server boards", 4.45, 6.14), ("Desktop boards", 2.65, 3.66), ("Laptop boards", 3.0, 4.14), ("Memory gold", 16.8, 23.18), ("Hard drives", 0.83, 1.15)]:
        page.append(row)
    for at in range(3, 8):
        page.cell(at, 2).number_format = '"US$"0.00'
        page.cell(at, 3).number_format = '"C$"0.00'
    book.save(path)


@sheet("labelled", "plain.xls", """
default EUR/kg
valid 2026-11-03
Cuivre brillant | 8.05 | copper-bright
Cuivre mêlé | 7.15 | copper-2
Laiton | 4.65 | brass-yellow
Aluminium fonte | 1.18 | cast-aluminium
Inox 304 | 1.08 | stainless
Plomb | 1.45 | lead-soft
""")
def plain_xls(path):
    import xlwt
    book = xlwt.Workbook()
    page = book.add_sheet("Tarif")
    page.write(0, 0, "Tarif au 3 novembre 2026 (prix en € par kg)")
    for at, (name, price) in enumerate([("Cuivre brillant", 8.05), ("Cuivre mêlé", 7.15), ("Laiton", 4.65), ("Aluminium fonte", 1.18), ("Inox 304", 1.08), ("Plomb", 1.45)], start=2):
        page.write(at, 0, name)
        page.write(at, 1, price)
    book.save(path)
