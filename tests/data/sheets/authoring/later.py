#!/usr/bin/env python3
"""More workbooks and PDFs of this corpus, made as make.py makes its own."""
import datetime

from openpyxl import Workbook
from openpyxl.styles import Font
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.pdfgen import canvas
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from make import lines, ods, sheet


@sheet("labelled", "weekly-tabs.xlsx", """
default USD/lb
valid 2026-11-03
Bare Bright Copper | 4.21 | copper-bright
#1 Copper | 4.01 | copper-1
#2 Copper | 3.68 | copper-2
Yellow Brass | 2.42 | brass-yellow
6063 Extrusion (new/clean) | 1.02 | ?
Painted Extrusion | 0.86 | extrusion-painted
304 Stainless | 0.54 | stainless
Motherboards - Green | 2.48 | ?
Server Boards | 4.52 | board-server
Laptop Boards | 3.00 | board-laptop
RAM Memory (gold) | 16.80 | memory-gold
Hard Drives w/ board | 0.85 | hard-drive-whole
Whole PC towers | 0.27 | ?
Li-Ion batteries (laptop packs) | 0.35 | lithium-ion-pack
""")
def weekly_tabs(path):
    book = Workbook()
    page = book.active
    page.title = "Metals"
    page["A1"] = "Pine Hollow Recycling"
    page["A1"].font = Font(bold=True, size=14)
    page["A2"] = "Effective:"
    page["B2"] = datetime.datetime(2026, 11, 3)
    page["B2"].number_format = "m/d/yyyy"
    page["E2"] = "(555) 016-3300"
    heads = ["Item #", "Description", "Last Wk", "This Wk", "+/-"]
    for at, head in enumerate(heads, start=1):
        page.cell(4, at, head)
    page["F4"] = "$/lb, picked up"
    rows = [
        (101, "Bare Bright Copper", 4.15, 4.21), (102, "#1 Copper", 3.95, 4.01), (103, "#2 Copper", 3.62, 3.68),
        (201, "Yellow Brass", 2.40, 2.42), (301, "6063 Extrusion (new/clean)", 1.00, 1.02),
        (302, "Painted Extrusion", 0.86, 0.86), (401, "304 Stainless", 0.55, 0.54),
    ]
    for at, (code, name, last, now) in enumerate(rows, start=5):
        page.cell(at, 1, code)
        page.cell(at, 2, name)
        page.cell(at, 3, last).number_format = '"$"0.00'
        page.cell(at, 4, now).number_format = '"$"0.00'
        page.cell(at, 5, round(now - last, 2)).number_format = '+0.00;-0.00;0.00'
    page.cell(13, 2, "Average")
    page.cell(13, 4, 1.82)
    other = book.create_sheet("E-Scrap")
    other.append(["E-SCRAP (USD per pound)", None, None])
    other.append(["Grade", "Price", "Notes"])
    for row in [("Motherboards - Green", 2.48, "no batteries"), ("Server Boards", 4.52, None), ("Laptop Boards", 3.00, None),
                ("RAM Memory (gold)", 16.8, "DDR1-4, 250 lb min for pick-up"), ("Hard Drives w/ board", 0.85, None),
                ("Whole PC towers", 0.27, "with HDD"), ("Li-Ion batteries (laptop packs)", 0.35, "taped, no swollen")]:
        other.append(row)
    hidden = book.create_sheet("Old 2025")
    hidden.append(["Grade", "Price"])
    hidden.append(["Server Boards", 3.10])
    hidden.append(["Laptop Boards", 2.20])
    hidden.sheet_state = "hidden"
    contacts = book.create_sheet("Contacts")
    contacts.append(["Name", "Phone"])
    contacts.append(["Ray (scale house)", "555-016-3301"])
    contacts.append(["Front desk", 5550163302])
    book.save(path)


@sheet("labelled", "tarif-cuivre.xlsx", """
default EUR/tonne
valid 2026-11-02
Cuivre - Millberry | 8080 | copper-bright
Cuivre - N°1 | 7780 | copper-1
Cuivre - N°2 / mêlé | 7180 | copper-2
Laiton - Jaune | 4720 | brass-yellow
Laiton - Radiateurs | 3950 | -
Aluminium - Profilés propres | 1930 | extrusion-clean
Aluminium - Profilés peints | 1700 | extrusion-painted
Aluminium - Fonte d'alu | 1230 | cast-aluminium
Divers - Plomb mou | 1460 | lead-soft
Divers - Inox 304 | 1060 | stainless
Divers - Batteries plomb | 600 | lead-acid
Divers - Moteurs électriques | 590 | motor-small
Divers - Écrans cathodiques | -250 | monitor-tube-whole
""")
def tarif_cuivre(path):
    book = Workbook()
    page = book.active
    page.title = "Tarif S45"
    page.merge_cells("A1:D1")
    page["A1"] = "TARIF D'ACHAT MÉTAUX — semaine 45 — applicable le 02/11/2026"
    page["A2"] = "Prix en € / tonne départ, hors TVA (20 %)"
    page.append([])
    page.append(["Famille", "Qualité", "Prix", "Obs."])
    groups = [
        ("Cuivre", [("Millberry", 8080), ("N°1", 7780), ("N°2 / mêlé", 7180)]),
        ("Laiton", [("Jaune", 4720), ("Radiateurs", 3950)]),
        ("Aluminium", [("Profilés propres", 1930), ("Profilés peints", 1700), ("Fonte d'alu", 1230)]),
        ("Divers", [("Plomb mou", 1460), ("Inox 304", 1060), ("Batteries plomb", 600), ("Moteurs électriques", 590), ("Écrans cathodiques", -250)]),
    ]
    at = 5
    for family, of_family in groups:
        first = at
        for name, price in of_family:
            page.cell(at, 2, name)
            page.cell(at, 3, price).number_format = '# ##0 "€"'
            at += 1
        page.cell(first, 1, family)
        page.merge_cells(start_row=first, end_row=at - 1, start_column=1, end_column=1)
    page.cell(9, 4, "sans eau")
    page.cell(at + 1, 1, "Livraison du lundi au vendredi 7h30 - 16h ; tél. 05 55 01 02 03")
    book.save(path)


@sheet("labelled", "precios-board.xlsx", """
default USD/kg
valid 2026-11-01
Placa madre servidor | 9.80 | board-server | 0-100 kg
Placa madre servidor | 10.40 | board-server | 100 kg
Placa madre PC | 5.90 | board-desktop | 0-100 kg
Placa madre PC | 6.30 | board-desktop | 100 kg
Placa de laptop | 6.60 | board-laptop | 0-100 kg
Placa de laptop | 7.00 | board-laptop | 100 kg
Placa de celular | 25.50 | board-phone | 0-100 kg
Placa de celular | 26.75 | board-phone | 100 kg
Memoria RAM dorada | 37.00 | memory-gold | 0-100 kg
Memoria RAM dorada | 38.50 | memory-gold | 100 kg
Procesador cerámico | 168.00 | cpu-ceramic | 0-100 kg
Procesador cerámico | 175.00 | cpu-ceramic | 100 kg
Disco duro completo | 1.85 | hard-drive-whole | 0-100 kg
Disco duro completo | 1.95 | hard-drive-whole | 100 kg
""")
def precios_board(path):
    book = Workbook()
    page = book.active
    page.title = "Lista"
    page["B2"] = "LISTA DE PRECIOS DE CHATARRA ELECTRÓNICA"
    page["B3"] = "Vigente desde 1 de noviembre de 2026"
    page["B5"], page["C5"] = "Material", "USD por kg"
    page.merge_cells("C5:D5")
    page.merge_cells("B5:B6")
    page["C6"], page["D6"] = "0-100 kg", "más de 100 kg"
    rows = [
        ("Placa madre servidor", 9.8, 10.4), ("Placa madre PC", 5.9, 6.3), ("Placa de laptop", 6.6, 7.0), ("Placa de celular", 25.5, 26.75),
        ("Memoria RAM dorada", 37, 38.5), ("Procesador cerámico", 168, 175), ("Disco duro completo", 1.85, 1.95),
    ]
    for at, row in enumerate(rows, start=7):
        for column, value in enumerate(row, start=2):
            page.cell(at, column, value)
    page["B15"] = "Pago a 15 días. WhatsApp +52 55 5555 0142"
    book.save(path)


@sheet("labelled", "rottami.ods", """
valid 2026-11-04
Rame lucido | 8.12 EUR/kg | copper-bright
Rame misto | 7.18 EUR/kg | copper-2
Ottone | 4.71 EUR/kg | brass-yellow
Alluminio profili puliti | 1.92 EUR/kg | extrusion-clean
Alluminio cerchi | 1.75 EUR/kg | -
Piombo | 1.43 EUR/kg | lead-soft
Schede madri | 3.05 EUR/kg | board-desktop
Notebook completi | 2.50 EUR/each | laptop-whole
Monitor CRT | -3.00 EUR/each | monitor-tube-whole
""")
def rottami(path):
    ods(path, [
        ("Novembre", [
            ["Listino", datetime.date(2026, 11, 4)], [None],
            ["Materiale", "Prezzo", "Unità", "Note"],
            ["Rame lucido", (8.12, "EUR"), "kg", None], ["Rame misto", (7.18, "EUR"), "kg", "senza ferro"], ["Ottone", (4.71, "EUR"), "kg", None],
            ["Alluminio profili puliti", (1.92, "EUR"), "kg", None], ["Alluminio cerchi", (1.75, "EUR"), "kg", None],
            ["Piombo", (1.43, "EUR"), "kg", None], ["Schede madri", (3.05, "EUR"), "kg", None],
            ["Notebook completi", (2.50, "EUR"), "cad.", "min 10 pezzi"], ["Monitor CRT", (-3.00, "EUR"), "cad.", "contributo"],
            [None], ["Totale articoli", 9],
        ]),
    ])


@sheet("labelled", "scale-house.xls", """
default USD/lb
valid 2026-11-04
Bright & Shiny | 4.16 | copper-bright
No. 1 | 3.96 | copper-1
No. 2 | 3.63 | copper-2
Clean | 0.97 | extrusion-clean
Painted | 0.83 | extrusion-painted
Cast | 0.71 | cast-aluminium
Auto Batteries | 0.22 | lead-acid
#1 Heavy Melt | 11.50 USD/cwt | steel-heavy
Tin / Light Iron | 8.25 USD/cwt | steel-light
""")
def scale_house(path):
    import xlwt
    book = xlwt.Workbook()
    page = book.add_sheet("Board")
    day = xlwt.easyxf(num_format_str="MM/DD/YY")
    page.write(0, 0, "SCALE HOUSE PRICE BOARD")
    page.write(0, 3, datetime.date(2026, 11, 4), day)
    at = 2
    for group, unit, rows in [
        ("COPPER", "per lb", [("Bright & Shiny", 4.16), ("No. 1", 3.96), ("No. 2", 3.63)]),
        ("ALUMINUM EXTRUSION", "per lb", [("Clean", 0.97), ("Painted", 0.83)]),
        ("ALUMINUM", "per lb", [("Cast", 0.71)]),
        ("BATTERIES", "per lb", [("Auto Batteries", 0.22)]),
        ("FERROUS", "per cwt", [("#1 Heavy Melt", 11.50), ("Tin / Light Iron", 8.25)]),
    ]:
        page.write(at, 0, group)
        page.write(at, 1, unit)
        at += 1
        for name, price in rows:
            page.write(at, 0, name)
            page.write(at, 1, price)
            at += 1
        at += 1
    page.write(at, 0, "Photo ID required. No cash over $75.00 - check only.")
    book.save(path)


@sheet("labelled", "board-buyer.pdf", """
default USD/lb
valid 2026-11-03
Server Board, clean | 4.60 | board-server
Server Board, with steel | 2.10 | ?
Desktop Board, large socket | 2.75 | board-desktop
Desktop Board, small socket | 1.95 | ?
Laptop Board | 3.05 | board-laptop
Telecom Board, high grade | 3.80 | ?
PCI / Finger Card | 3.40 | board-gold-edge
Hard Drive Board | 9.60 | board-hard-drive
Cell Phone Board | 11.75 | board-phone
Set Top Box Board | 1.10 | board-set-top
TV / Monitor Board | 0.35 | board-monitor
Brown Board | 0.11 | board-brown
Power Supply Board | 0.24 | board-power-supply
Memory, Gold | 17.10 | memory-gold
Memory, Silver | 4.00 | -
Fiber CPU with pins | 36.00 | cpu-fibre
Ceramic CPU | call | cpu-ceramic
CRT (any) | -0.38 | monitor-tube-whole
""")
def board_buyer(path):
    styles = getSampleStyleSheet()
    story = [
        Paragraph("Cordage Circuit Buyers", styles["Title"]),
        Paragraph("Price list 11/03/2026 (supersedes 10/27/2026). All prices USD per pound, packed and delivered. "
                  "Payment within 14 days of receipt. Deductions up to 3% for moisture.", styles["Normal"]),
        Spacer(1, 12),
    ]
    rows = [["#", "Grade", "Price", "What we look for"]]
    named = [
        ("Server Board, clean", "4.60", "no batteries, no heatsinks"), ("Server Board, with steel", "2.10", "up to 15% steel"),
        ("Desktop Board, large socket", "2.75", "2004 and older"), ("Desktop Board, small socket", "1.95", "2005 and newer"),
        ("Laptop Board", "3.05", "no frames"), ("Telecom Board, high grade", "3.80", ""), ("PCI / Finger Card", "3.40", "no brackets"),
        ("Hard Drive Board", "9.60", ""), ("Cell Phone Board", "11.75", "no shields"), ("Set Top Box Board", "1.10", ""),
        ("TV / Monitor Board", "0.35", "no transformers"), ("Brown Board", "0.11", ""), ("Power Supply Board", "0.24", ""),
        ("Memory, Gold", "17.10", "no aluminum spreaders"), ("Memory, Silver", "4.00", ""), ("Fiber CPU with pins", "36.00", ""),
        ("Ceramic CPU", "Call", "sorted by type"), ("CRT (any)", "(0.38)", "charge to customer"),
    ]
    rows += [[str(at), *row] for at, row in enumerate(named, start=1)]
    table = Table(rows, repeatRows=1)
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.4, colors.grey), ("BACKGROUND", (0, 0), (-1, 0), colors.lightgrey)]))
    story += [table, Spacer(1, 12), Paragraph("Questions: 555-019-7722, weekdays 9:00 to 17:00.", styles["Normal"])]

    def footer(page, doc):
        page.drawString(72, 30, f"Cordage Circuit Buyers · 2200 Pier 9, Lowport, NJ 07999 · Page {doc.page}")
    SimpleDocTemplate(path, pagesize=LETTER).build(story, onFirstPage=footer, onLaterPages=footer)


@sheet("labelled", "skrot-side.pdf", """
default SEK/kg
valid 2026-11-02
Bright copper wire | 78.00 | copper-bright
Copper No. 2 | 69.50 | copper-2
Brass, yellow | 45.00 | brass-yellow
Aluminium extrusion, clean | 18.50 | extrusion-clean
Aluminium extrusion, painted | 16.00 | extrusion-painted
Stainless 304 | 10.20 | stainless
Lead | 14.00 | lead-soft
Car batteries | 5.80 | lead-acid
Cable, 60 % copper | 31.00 | wire-60
Motherboards | 28.00 | board-desktop
Electric motors | 5.90 | motor-small
CRT screens | -3.50 | monitor-tube-whole
""")
def skrot_side(path):
    page = canvas.Canvas(path, pagesize=A4)
    page.setFont("Helvetica-Bold", 15)
    page.drawString(60, 790, "Nordhamn Metall AB")
    page.setFont("Helvetica", 10)
    page.drawString(60, 772, "Price list for sorted metal, valid from 2026-11-02. Prices in kr per kg excl. VAT 25 %.")
    rows = [
        ("Bright copper wire", "78,00"), ("Copper No. 2", "69,50"), ("Brass, yellow", "45,00"), ("Aluminium extrusion, clean", "18,50"),
        ("Aluminium extrusion, painted", "16,00"), ("Stainless 304", "10,20"), ("Lead", "14,00"), ("Car batteries", "5,80"),
        ("Cable, 60 % copper", "31,00"), ("Motherboards", "28,00"), ("Electric motors", "5,90"), ("CRT screens", "-3,50"),
    ]
    for at, (name, price) in enumerate(rows):
        x = 60 if at < 6 else 320
        y = 735 - 22 * (at % 6)
        page.drawString(x, y, name)
        page.drawRightString(x + 210, y, price)
        page.line(x, y - 5, x + 215, y - 5)
    page.setFont("Helvetica", 8)
    page.drawString(60, 560, "Opening hours: Monday to Thursday 07:00-16:00, Friday 07:00-14:30. Switchboard +46 555 01 20 30. Org. no 556677-8899")
    page.save()


@sheet("labelled", "memo.pdf", """
default USD/lb
valid 2026-11-03
Bare bright | 4.14 | copper-bright
No. 1 copper | 3.95 | copper-1
No. 2 copper | 3.60 | copper-2
Insulated 80% | 2.86 | wire-80
Insulated 60% | 1.77 | wire-60
Network cable | 1.12 | cable-network
Brass, yellow | 2.37 | brass-yellow
Sealed motors | 0.32 | ?
Steel, light | 8.50 USD/cwt | steel-light
Steel, heavy | 11.25 USD/cwt | steel-heavy
Circuit boards, mixed green | 1.40 | board-mixed
Tube televisions | -12.00 USD/each | monitor-tube-whole
""")
def memo(path):
    lines(path, LETTER, ("Courier", 11), (72, 730), 15, """
TO:   All suppliers
FROM: Purchasing, Walnut Creek Salvage
DATE: November 3, 2026
RE:   Prices this week

We are paying, per pound except where noted:

Bare bright ................... $4.14
No. 1 copper .................. $3.95
No. 2 copper .................. $3.60
Insulated 80% ................. $2.86
Insulated 60% ................. $1.77
Network cable ................. $1.12
Brass, yellow ................. $2.37
Sealed motors ................. $0.32
Steel, light .................. $8.50 /cwt
Steel, heavy .................. $11.25 /cwt
Circuit boards, mixed green ... $1.40
Tube televisions .............. $12.00 ea. CHARGE

Loads over 5,000 lb: call Jim at 555-017-4141 before 3:30 pm.
Prices were $4.08 for bare bright and $3.55 for No. 2 last week.
""")


@sheet("labelled", "zestawienie.pdf", """
default EUR/kg
valid 2026-11-04
Kupferdraht blank | 8.00 | copper-bright
Kupferschrott gemischt | 7.10 | copper-2
Messing | 4.65 | brass-yellow
Alu-Profile sauber | 1.90 | extrusion-clean
Alu-Profile lackiert | 1.65 | extrusion-painted
Edelstahl V2A | 1.03 | stainless
Blei | 1.44 | lead-soft
Hauptplatinen | 2.90 | board-desktop
Notebookplatinen | 4.10 | board-laptop
Speicherriegel Gold | 34.00 | memory-gold
Festplatten komplett | 0.83 | hard-drive-whole
Netzteile mit Kabel | 0.27 | power-supply-whole
Röhrenmonitore | -0.20 | monitor-tube-whole
""")
def zestawienie(path):
    styles = getSampleStyleSheet()
    story = [Paragraph("Ankaufsliste Elektronikschrott &amp; Metalle", styles["Heading1"]),
             Paragraph("gültig ab 4. November 2026 · Nettopreise in €/kg · Mindestmenge 20 kg", styles["Normal"]), Spacer(1, 10)]
    for title, rows in [
        ("Metalle", [("Kupferdraht blank", "8,00"), ("Kupferschrott gemischt", "7,10"), ("Messing", "4,65"), ("Alu-Profile sauber", "1,90"),
                     ("Alu-Profile lackiert", "1,65"), ("Edelstahl V2A", "1,03"), ("Blei", "1,44")]),
        ("Elektronik", [("Hauptplatinen", "2,90"), ("Notebookplatinen", "4,10"), ("Speicherriegel Gold", "34,00"),
                        ("Festplatten komplett", "0,83"), ("Netzteile mit Kabel", "0,27"), ("Röhrenmonitore", "-0,20")]),
    ]:
        table = Table([[title, "€/kg"], *[[name, price] for name, price in rows]], colWidths=[260, 80])
        table.setStyle(TableStyle([("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.grey), ("ALIGN", (1, 0), (1, -1), "RIGHT")]))
        story += [table, Spacer(1, 14)]
    story.append(Paragraph("Inventum Rohstoffe, Hafenstr. 8, 00000 Beispielstadt, Tel. 0555-4433. USt-Satz 19 %.", styles["Normal"]))
    SimpleDocTemplate(path, pagesize=A4).build(story)


@sheet("labelled", "buyer-weekly.xlsx", """
default USD/lb
valid 2026-11-02
Server boards | 4.48 | board-server
Desktop motherboards | 2.62 | board-desktop
Laptop motherboards | 2.98 | board-laptop
Low grade brown | 0.10 | board-brown
Gold memory | 16.90 | memory-gold
Hard drive boards | 9.35 | board-hard-drive
Hard drives, whole | 0.84 | hard-drive-whole
Cell phones, no battery | 5.10 | phone-whole
Power supplies w/ wire | 0.20 | power-supply-whole
CAT5 wire | 1.10 | cable-network
Power cords | 0.95 | wire-mains-cord
CRT monitors | -0.36 | monitor-tube-whole
Lithium batteries | -0.50 | lithium-ion-pack
""")
def buyer_weekly(path):
    book = Workbook()
    page = book.active
    page.title = "Week 45"
    page["A1"] = "Sorrel Electronics Recovery - buying prices"
    page["A2"] = "Week of November 2, 2026. USD per lb. Gold spot $2,650/oz, Cu $4.45/lb COMEX"
    page.append([])
    page.append(["Material", "Week 44", "Week 45", "Notes"])
    at = 5
    for section, rows in [
        ("BOARDS", [("Server boards", 4.40, 4.48, None), ("Desktop motherboards", 2.55, 2.62, "no CPUs"), ("Laptop motherboards", 2.95, 2.98, None), ("Low grade brown", 0.10, 0.10, None), ("Hard drive boards", 9.20, 9.35, None)]),
        ("COMPONENTS & UNITS", [("Gold memory", 16.5, 16.9, "pulled, no heat spreaders"), ("Hard drives, whole", 0.82, 0.84, None), ("Cell phones, no battery", 5.0, 5.1, None), ("Power supplies w/ wire", 0.2, 0.2, None)]),
        ("WIRE", [("CAT5 wire", 1.08, 1.10, None), ("Power cords", 0.93, 0.95, "plugs ok")]),
        ("CHARGES (you pay)", [("CRT monitors", 0.36, 0.36, None), ("Lithium batteries", 0.50, 0.50, "taped")]),
    ]:
        page.cell(at, 1, section)
        at += 1
        for row in rows:
            for column, value in enumerate(row, start=1):
                page.cell(at, column, value)
            at += 1
    page.cell(at + 1, 1, "Total loads received last week: 38")
    book.save(path)


@sheet("labelled", "zloty.ods", """
default PLN/kg
valid 2026-11-03
Miedź błyszcząca | 34.80 | copper-bright
Miedź mieszana | 31.50 | copper-2
Mosiądz żółty | 21.20 | brass-yellow
Aluminium profile czyste | 8.50 | extrusion-clean
Ołów | 6.90 | lead-soft
Płyty główne | 13.20 | board-desktop
Dyski twarde | 3.60 | hard-drive-whole
""")
def zloty(path):
    ods(path, [("Cennik", [["Cennik skupu", None], ["Ważny od", datetime.date(2026, 11, 3)], [None],
        ["Towar", "Cena zł/kg", "Uwagi"],
        ["Miedź błyszcząca", (34.8, "PLN"), None], ["Miedź mieszana", (31.5, "PLN"), "bez żelaza"], ["Mosiądz żółty", (21.2, "PLN"), None],
        ["Aluminium profile czyste", (8.5, "PLN"), None], ["Ołów", (6.9, "PLN"), None], ["Płyty główne", (13.2, "PLN"), None], ["Dyski twarde", (3.6, "PLN"), None]])])


@sheet("labelled", "two-sided.pdf", """
default GBP/kg
valid 2026-11-02
Bright copper wire | 6.05 | copper-bright
Heavy copper | 5.70 | ?
Mixed copper | 5.40 | copper-2
Brass | 3.65 | brass-yellow
Clean extrusion | 1.50 | extrusion-clean
Cast aluminium | 1.02 | cast-aluminium
Stainless 304 | 0.84 | stainless
Lead | 1.24 | lead-soft
Household cable | 2.35 | ?
Network cable | 1.55 | cable-network
Electric motors | 0.46 | motor-small
Car batteries | 0.48 | lead-acid
PC towers | 0.35 | ?
Motherboards | 2.40 | board-desktop
Heavy steel | 165 GBP/tonne | steel-heavy
Light iron | 120 GBP/tonne | steel-light
""")
def two_sided(path):
    page = canvas.Canvas(path, pagesize=A4)
    page.setFont("Times-Bold", 16)
    page.drawCentredString(297, 800, "Harbottle Metals Ltd")
    page.setFont("Times-Roman", 10)
    page.drawCentredString(297, 784, "Unit 6, Dock Road. Tel 01555 010203. Prices from 2nd November 2026")
    page.setFont("Times-Bold", 11)
    page.drawString(60, 750, "Non-ferrous (£ per kg)")
    page.drawString(320, 750, "Cable & electricals (£ per kg)")
    page.setFont("Times-Roman", 11)
    left = [("Bright copper wire", "£6.05"), ("Heavy copper", "£5.70"), ("Mixed copper", "£5.40"), ("Brass", "£3.65"), ("Clean extrusion", "£1.50"), ("Cast aluminium", "£1.02"), ("Stainless 304", "84p"), ("Lead", "£1.24")]
    right = [("Household cable", "£2.35"), ("Network cable", "£1.55"), ("Electric motors", "46p"), ("Car batteries", "48p"), ("PC towers", "35p"), ("Motherboards", "£2.40")]
    for x, rows in [(60, left), (320, right)]:
        for at, (name, price) in enumerate(rows):
            page.drawString(x, 728 - 18 * at, name)
            page.drawRightString(x + 200, 728 - 18 * at, price)
    page.setFont("Times-Bold", 11)
    page.drawString(60, 560, "Ferrous (£ per tonne)")
    page.setFont("Times-Roman", 11)
    for at, (name, price) in enumerate([("Heavy steel", "£165"), ("Light iron", "£120")]):
        page.drawString(60, 540 - 18 * at, name)
        page.drawRightString(260, 540 - 18 * at, price)
    page.setFont("Times-Italic", 8)
    page.drawString(60, 60, "Payment by bank transfer only (Scrap Metal Dealers Act 2013). Photo ID needed. Open 8.00-16.30, Sat 8.00-12.00. VAT no. 123 4567 89")
    page.save()


@sheet("labelled", "wide.pdf", """
default USD/lb
valid 2026-11-04
Server motherboards | 4.30 | board-server | 0-500 lb
Server motherboards | 4.55 | board-server | 500-2000 lb
Server motherboards | 4.80 | board-server | 2000 lb
Desktop motherboards | 2.45 | board-desktop | 0-500 lb
Desktop motherboards | 2.60 | board-desktop | 500-2000 lb
Desktop motherboards | 2.80 | board-desktop | 2000 lb
Gold memory | 16.00 | memory-gold | 0-500 lb
Gold memory | 16.60 | memory-gold | 500-2000 lb
Gold memory | 17.20 | memory-gold | 2000 lb
Fiber processors | 33.00 | cpu-fibre | 0-500 lb
Fiber processors | 34.50 | cpu-fibre | 500-2000 lb
Fiber processors | call | cpu-fibre | 2000 lb
Whole hard drives | 0.80 | hard-drive-whole | 0-500 lb
Whole hard drives | 0.85 | hard-drive-whole | 500-2000 lb
Whole hard drives | 0.90 | hard-drive-whole | 2000 lb
""")
def wide(path):
    styles = getSampleStyleSheet()
    rows = [["Grade", "0 - 500 lb", "500 - 2,000 lb", "2,000+ lb", "Notes"],
        ["Server motherboards", "$4.30", "$4.55", "$4.80", "steel removed"], ["Desktop motherboards", "$2.45", "$2.60", "$2.80", "batteries removed"],
        ["Gold memory", "$16.00", "$16.60", "$17.20", ""], ["Fiber processors", "$33.00", "$34.50", "Call", "no heat sinks"], ["Whole hard drives", "$0.80", "$0.85", "$0.90", ""]]
    table = Table(rows)
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.5, colors.black)]))
    SimpleDocTemplate(path, pagesize=LETTER).build([Paragraph("Bracken Board Buyers", styles["Title"]), Paragraph("Issued 4 Nov 2026 - USD per pound by lot weight", styles["Normal"]), Spacer(1, 8), table, Spacer(1, 8), Paragraph("Assay lots settle at 92% of contained metal. Freight paid over 1,500 lb.", styles["Normal"])])
