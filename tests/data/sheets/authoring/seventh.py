#!/usr/bin/env python3
"""The workbooks and PDFs of the seventh set, made as make.py makes its own."""
import datetime

from openpyxl import Workbook
from openpyxl.styles import Font, PatternFill
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.pdfgen import canvas
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from make import lines, ods, sheet


@sheet("labelled", "stacked-tables.xlsx", """
default USD/lb
valid 2026-11-02
Bare Bright | 4.25 | copper-bright
#1 Copper | 4.05 | copper-1
#2 Copper | 3.75 | copper-2
Insulated - 12/2 Romex | 1.65 | ?
Clean MLC / 6063 | 1.00 | extrusion-clean
Painted Extrusion | 0.87 | extrusion-painted
Cast | 0.72 | cast-aluminium
Aluminum Radiators | 0.60 | -
P&S Plate | 220 USD/gross_ton | steel-heavy
#1 HMS | 205 USD/gross_ton | steel-heavy
Shred | 150 USD/gross_ton | steel-light
Laptops | 5.00 USD/each | laptop-whole
Servers (rack) | 8.00 USD/each | server-whole
CRT under 25" | -10.00 USD/each | monitor-tube-whole
CRT over 25" | -20.00 USD/each | monitor-tube-whole
""")
def stacked_tables(path):
    book = Workbook()
    page = book.active
    page.title = "Gate prices"
    page["A1"] = "FOUR CORNERS SCRAP CO."
    page["A1"].font = Font(bold=True, size=18)
    page["D1"] = datetime.datetime(2026, 11, 2)
    page["D1"].number_format = "dddd, mmmm d, yyyy"
    page["A2"] = "810 Depot St - 555-018-2255 - scale closes 4:15"
    at = 4

    def block(title, heads, rows, form):
        nonlocal at
        page.cell(at, 1, title).font = Font(bold=True)
        page.cell(at, 1).fill = PatternFill("solid", fgColor="DDDDDD")
        for column, head in enumerate(heads, start=1):
            page.cell(at + 1, column, head)
        at += 2
        for row in rows:
            for column, value in enumerate(row, start=1):
                page.cell(at, column, value)
            page.cell(at, 2).number_format = form
            at += 1
        at += 1
    block("COPPER", ["Grade", "Price/lb", "Comments"],
          [("Bare Bright", 4.25, "#16 or heavier"), ("#1 Copper", 4.05, None), ("#2 Copper", 3.75, None),
           ("Insulated - 12/2 Romex", 1.65, None)], '"$"0.00')
    block("ALUMINUM", ["Grade", "Price/lb", "Comments"],
          [("Clean MLC / 6063", 1.00, None), ("Painted Extrusion", 0.87, None), ("Cast", 0.72, None),
           ("Aluminum Radiators", 0.60, "clean")], '"$"0.00')
    block("STEEL", ["Grade", "Price/GT", "Comments"],
          [("P&S Plate", 220, "under 5 ft"), ("#1 HMS", 205, None), ("Shred", 150, None)], '"$"#,##0.00')
    block("ELECTRONICS", ["Item", "Price each", "Comments"],
          [("Laptops", 5, "complete"), ("Servers (rack)", 8, None), ('CRT under 25"', -10, "you pay"),
           ('CRT over 25"', -20, "you pay")], '"$"0.00;[Red]-"$"0.00')
    page.cell(at, 1, "Prices subject to change without notice. $500 max cash per day.")
    book.save(path)


@sheet("labelled", "buyer-tiers.xlsx", """
default EUR/kg
valid 2026-11-01
Serverplatinen | 8.60 | board-server | 0-100 kg
Serverplatinen | 9.00 | board-server | 100-500 kg
Serverplatinen | 9.40 | board-server | 500 kg
Mainboards PC | 4.20 | board-desktop | 0-100 kg
Mainboards PC | 4.45 | board-desktop | 100-500 kg
Mainboards PC | 4.70 | board-desktop | 500 kg
Laptop-Mainboards | 5.50 | board-laptop | 0-100 kg
Laptop-Mainboards | 5.90 | board-laptop | 100-500 kg
Laptop-Mainboards | 6.20 | board-laptop | 500 kg
Steckkarten mit Goldkontakten | 12.50 | board-gold-edge | 0-100 kg
Steckkarten mit Goldkontakten | 13.20 | board-gold-edge | 100-500 kg
Steckkarten mit Goldkontakten | 14.00 | board-gold-edge | 500 kg
Netzteilplatinen | 0.85 | board-power-supply | 0-100 kg
Netzteilplatinen | 0.95 | board-power-supply | 100-500 kg
Netzteilplatinen | 1.05 | board-power-supply | 500 kg
Lithium-Ionen-Akkus | 0.40 | lithium-ion-pack | 0-100 kg
Lithium-Ionen-Akkus | 0.55 | lithium-ion-pack | 100-500 kg
Lithium-Ionen-Akkus | 0.70 | lithium-ion-pack | 500 kg
""")
def buyer_tiers(path):
    book = Workbook()
    page = book.active
    page.title = "Ankauf"
    page["A1"] = "Ankaufsliste Platinen"
    page["A2"] = "gültig ab 01.11.2026 bis auf Widerruf, netto, frei Lager"
    page.append([])
    page.append(["Pos.", "Material", "Preis in €/kg", None, None, "Bemerkung"])
    page.append([None, None, "bis 100 kg", "100-500 kg", "ab 500 kg", None])
    page.merge_cells("C4:E4")
    rows = [("Serverplatinen", 8.6, 9.0, 9.4, "ohne Batterie"), ("Mainboards PC", 4.2, 4.45, 4.7, "ohne Eisen"),
            ("Laptop-Mainboards", 5.5, 5.9, 6.2, None), ("Steckkarten mit Goldkontakten", 12.5, 13.2, 14.0, "max. 5 % Blech"),
            ("Netzteilplatinen", 0.85, 0.95, 1.05, None), ("Lithium-Ionen-Akkus", 0.4, 0.55, 0.7, "Gefahrgut, Pole abgeklebt")]
    for number, row in enumerate(rows, start=1):
        page.append([number, *row])
    for row in page.iter_rows(min_row=6, min_col=3, max_col=5):
        for cell in row:
            cell.number_format = "#,##0.00"
    extra = book.create_sheet("Fracht")
    extra.append(["Land", "Palette", "Preis EUR"])
    extra.append(["DE", "1", 89])
    extra.append(["AT", "1", 129])
    extra.sheet_state = "hidden"
    book.save(path)


@sheet("labelled", "cents-and-last.xlsx", """
default CAD/lb
valid 2026-11-03
Bright copper | 5.41 | copper-bright
No.1 copper | 5.18 | copper-1
No.2 copper | 4.79 | copper-2
Yellow brass | 3.05 | brass-yellow
Alum. extrusion (clean) | 1.26 | extrusion-clean
Alum. cast | 0.90 | cast-aluminium
304 S/S | 0.72 | stainless
Lead (soft) | 0.85 | lead-soft
Auto batteries | 0.27 | lead-acid
Electric motors (sm) | 0.49 | ?
Network cable (Cat5/6) | 1.95 | cable-network
Sealed compressors | call | -
""")
def cents_and_last(path):
    book = Workbook()
    page = book.active
    page.title = "NF"
    page.append(["Great Bend Metals Inc. (Brandon MB)"])
    page.append(["Price sheet #1144", None, None, "Date:", datetime.date(2026, 11, 3)])
    page.append(["all prices cents CAD per pound FOB our yard"])
    page.append([])
    page.append(["", "Commodity", "Last", "Now", "Diff"])
    rows = [("Bright copper", 536, 541), ("No.1 copper", 515, 518), ("No.2 copper", 477, 479), ("Yellow brass", 305, 305),
            ("Alum. extrusion (clean)", 127, 126), ("Alum. cast", 91, 90), ("304 S/S", 72, 72), ("Lead (soft)", 84, 85),
            ("Auto batteries", 27, 27), ("Electric motors (sm)", 48, 49), ("Network cable (Cat5/6)", 190, 195)]
    for name, last, now in rows:
        page.append([None, name, last, now, now - last])
    page.append([None, "Sealed compressors", None, "call", None])
    page.append([])
    page.append([None, "Total lines", None, 12])
    book.save(path)


@sheet("labelled", "metaalprijzen.ods", """
default EUR/kg
valid 2026-11-02
Koper millberry | 8.10 | copper-bright
Koper gemengd | 7.25 | copper-2
Messing | 4.80 | brass-yellow
Aluminium profielen schoon | 1.85 | extrusion-clean
Aluminium plaat | 1.30 | sheet-aluminium
RVS 304 | 1.00 | stainless
Lood zacht | 1.48 | lead-soft
Serverprintplaten | 9.10 | board-server
Moederborden | 4.30 | board-desktop
Telefoons zonder batterij | 11.00 | ?
Harde schijven compleet | 1.40 | hard-drive-whole
Beeldbuizen | -0.30 | monitor-tube-whole
""")
def metaalprijzen(path):
    d = datetime.date(2026, 11, 2)
    ods(path, [
        ("Metalen", [["Metaalhandel Vliet", None, None], ["Geldig vanaf", d, None], [None, None, None], ["Materiaal", "Prijs", "per"],
                     ["Koper millberry", (8.10, "EUR"), "kg"], ["Koper gemengd", (7.25, "EUR"), "kg"], ["Messing", (4.80, "EUR"), "kg"],
                     ["Aluminium profielen schoon", (1.85, "EUR"), "kg"], ["Aluminium plaat", (1.30, "EUR"), "kg"],
                     ["RVS 304", (1.00, "EUR"), "kg"], ["Lood zacht", (1.48, "EUR"), "kg"]]),
        ("Elektronica", [["Materiaal", "Prijs", "per"], ["Serverprintplaten", (9.10, "EUR"), "kg"], ["Moederborden", (4.30, "EUR"), "kg"],
                         ["Telefoons zonder batterij", (11.0, "EUR"), "kg"], ["Harde schijven compleet", (1.40, "EUR"), "kg"],
                         ["Beeldbuizen", (-0.30, "EUR"), "kg"]]),
        ("Contact", [["Vestiging", "Telefoon"], ["Hoofdkantoor", "010 900 12 12"]]),
    ])


@sheet("labelled", "chatarra-precios.xls", """
default MXN/kg
valid 2026-11-02
Cobre de primera | 158.00 | ?
Cobre de segunda | 145.00 | copper-2
Bronce/latón amarillo | 88.00 | ?
Aluminio perfil | 32.50 | ?
Aluminio macizo | 28.00 | ?
Aluminio bote | 27.00 | -
Acero inoxidable | 18.00 | stainless
Batería de auto | 14.50 | lead-acid
Tarjeta madre | 85.00 | board-desktop
Tarjeta de celular | 310.00 | board-phone
Memoria RAM dorada | 420.00 | memory-gold
Fierro | 4.80 | ?
Fierro pesado (tonelada) | 5200.00 MXN/tonne | steel-heavy
""")
def chatarra_precios(path):
    import xlwt
    book = xlwt.Workbook()
    page = book.add_sheet("Compra")
    page.write(0, 0, "Recicladora El Puente - Monterrey")
    page.write(1, 0, "Lista de precios de compra, 2 de noviembre de 2026 (pesos MXN por kilo)")
    for at, head in enumerate(["Material", "Precio", "Unidad"]):
        page.write(3, at, head)
    rows = [("Cobre de primera", 158, "kg"), ("Cobre de segunda", 145, "kg"), ("Bronce/latón amarillo", 88, "kg"), ("Aluminio perfil", 32.5, "kg"),
            ("Aluminio macizo", 28, "kg"), ("Aluminio bote", 27, "kg"), ("Acero inoxidable", 18, "kg"), ("Batería de auto", 14.5, "kg"),
            ("Tarjeta madre", 85, "kg"), ("Tarjeta de celular", 310, "kg"), ("Memoria RAM dorada", 420, "kg"), ("Fierro", 4.8, "kg"),
            ("Fierro pesado (tonelada)", 5200, "ton")]
    money = xlwt.easyxf(num_format_str='"$"#,##0.00')
    for at, (name, price, unit) in enumerate(rows, start=4):
        page.write(at, 0, name)
        page.write(at, 1, price, money)
        page.write(at, 2, unit)
    page.write(18, 0, "Tel. 81 9000 4411, lunes a sábado de 8 a 18 h")
    book.save(path)


@sheet("labelled", "two-column-flyer.pdf", """
default USD/lb
valid 2026-11-02
Bare Bright | 4.20 | copper-bright
#1 Copper | 4.00 | copper-1
#2 Copper | 3.70 | copper-2
Yellow Brass | 2.40 | brass-yellow
Romex | 1.60 | wire-60
Lead | 0.65 | lead-soft
Clean Extrusion | 1.00 | extrusion-clean
Painted Extrusion | 0.86 | extrusion-painted
Sheet | 0.70 | sheet-aluminium
Cast | 0.72 | cast-aluminium
Breakage | 0.30 | aluminium-breakage
Heat Sinks | 0.75 | heatsink-aluminium
""")
def two_column_flyer(path):
    page = canvas.Canvas(path, pagesize=LETTER)
    page.setFont("Helvetica-Bold", 22)
    page.drawCentredString(306, 740, "STONE BRIDGE METALS")
    page.setFont("Helvetica", 11)
    page.drawCentredString(306, 722, "Prices effective Nov. 2, 2026 - all per pound - 555-016-9090")
    left = [("COPPER & BRASS", None), ("Bare Bright", "$4.20"), ("#1 Copper", "$4.00"), ("#2 Copper", "$3.70"), ("Yellow Brass", "$2.40"),
            ("Romex", "$1.60"), ("Lead", "$0.65")]
    right = [("ALUMINUM", None), ("Clean Extrusion", "$1.00"), ("Painted Extrusion", "$0.86"), ("Sheet", "$0.70"), ("Cast", "$0.72"),
             ("Breakage", "$0.30"), ("Heat Sinks", "$0.75")]
    for x, column in ((72, left), (330, right)):
        y = 680
        for name, price in column:
            page.setFont("Helvetica-Bold" if price is None else "Helvetica", 13)
            page.drawString(x, y, name)
            if price:
                page.drawRightString(x + 200, y, price)
            y -= 24
    page.setFont("Helvetica-Oblique", 9)
    page.drawString(72, 480, "We reserve the right to refuse any material. Photo ID required. 10% deduction for wet loads.")
    page.save()


@sheet("labelled", "ruled-tarif.pdf", """
default EUR/kg
valid 2026-11-03
Cuivre millberry | 8.00 | copper-bright
Cuivre n°2 | 7.15 | copper-2
Laiton jaune | 4.65 | brass-yellow
Aluminium profilé propre | 1.78 | extrusion-clean
Aluminium profilé laqué | 1.52 | extrusion-painted
Aluminium fonte | 1.22 | cast-aluminium
Inox 304 | 0.98 | stainless
Plomb | 1.47 | lead-soft
Batteries plomb | 0.54 | lead-acid
Cartes mères PC | 4.35 | board-desktop
Cartes serveurs | 8.90 | board-server
Cartes téléphones | 15.50 | board-phone
Disques durs | 1.35 | ?
Moteurs électriques | 0.62 | ?
Écrans cathodiques | -0.28 | monitor-tube-whole
Ferraille légère | 150 EUR/tonne | steel-light
Ferraille lourde | 185 EUR/tonne | steel-heavy
""")
def ruled_tarif(path):
    styles = getSampleStyleSheet()
    rows = [["Réf.", "Désignation", "Unité", "Prix net", "Obs."]]
    data = [("C01", "Cuivre millberry", "kg", "8,00 €", ""), ("C02", "Cuivre n°2", "kg", "7,15 €", ""), ("L01", "Laiton jaune", "kg", "4,65 €", ""),
            ("A01", "Aluminium profilé propre", "kg", "1,78 €", "sans rupture"), ("A02", "Aluminium profilé laqué", "kg", "1,52 €", ""),
            ("A03", "Aluminium fonte", "kg", "1,22 €", ""), ("I01", "Inox 304", "kg", "0,98 €", ""), ("P01", "Plomb", "kg", "1,47 €", ""),
            ("B01", "Batteries plomb", "kg", "0,54 €", "pleines"), ("D01", "Cartes mères PC", "kg", "4,35 €", "sans pile"),
            ("D02", "Cartes serveurs", "kg", "8,90 €", ""), ("D03", "Cartes téléphones", "kg", "15,50 €", ""), ("D04", "Disques durs", "kg", "1,35 €", ""),
            ("M01", "Moteurs électriques", "kg", "0,62 €", ""), ("E01", "Écrans cathodiques", "kg", "-0,28 €", "à votre charge"),
            ("F01", "Ferraille légère", "t", "150,00 €", ""), ("F02", "Ferraille lourde", "t", "185,00 €", "")]
    rows += [list(row) for row in data]
    table = Table(rows, repeatRows=1, rowHeights=36)
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.5, colors.black), ("ALIGN", (3, 1), (3, -1), "RIGHT")]))
    doc = SimpleDocTemplate(path, pagesize=A4)
    doc.build([Paragraph("TARIF DE REPRISE", styles["Title"]), Paragraph("Applicable au 3 novembre 2026 - TVA autoliquidée", styles["Normal"]),
               Spacer(1, 12), table, Spacer(1, 12), Paragraph("Site de Rouvray, 12 rue des Forges - 02 99 01 40 40 - 7h30-12h / 13h30-17h", styles["Normal"])])


@sheet("labelled", "mono-report.pdf", """
default USD/lb
valid 2026-11-03
BARE BRIGHT CU | 4.2100 | copper-bright
CU #1 | 4.0200 | copper-1
CU #2 | 3.7000 | copper-2
BRASS YELLOW | 2.4200 | brass-yellow
AL EXTRUSION CLEAN | 1.0100 | extrusion-clean
AL CAST | 0.7200 | cast-aluminium
SS 304 | 0.5600 | stainless
BATTERIES AUTO | 0.2100 | lead-acid
HMS #1 | 206.0000 USD/gross_ton | steel-heavy
SHRED | 151.0000 USD/gross_ton | steel-light
TOWER PC COMPLETE | 3.5000 USD/each | desktop-whole
CRT MONITOR | -12.0000 USD/each | monitor-tube-whole
""")
def mono_report(path):
    lines(path, LETTER, ("Courier", 10), (50, 740), 13, """
BUYPRC01            BUY PRICE LISTING                 PAGE 1
RUN 11/03/2026 05:58        YARD 02  EAST GATE

CODE   DESCRIPTION             UM      PRICE   EFFECTIVE
------ ----------------------- --- --------- -----------
100010 BARE BRIGHT CU          LB     4.2100  11/03/2026
100020 CU #1                   LB     4.0200  11/03/2026
100030 CU #2                   LB     3.7000  11/03/2026
200010 BRASS YELLOW            LB     2.4200  11/03/2026
300010 AL EXTRUSION CLEAN      LB     1.0100  11/03/2026
300040 AL CAST                 LB     0.7200  11/03/2026
400010 SS 304                  LB     0.5600  11/03/2026
600010 BATTERIES AUTO          LB     0.2100  11/03/2026
700010 HMS #1                  GT   206.0000  11/03/2026
700020 SHRED                   GT   151.0000  11/03/2026
900010 TOWER PC COMPLETE       EA     3.5000  11/03/2026
900090 CRT MONITOR             EA    12.0000- 11/03/2026

*** END OF LISTING - 12 ITEMS ***
""")


@sheet("labelled", "angebot-brief.pdf", """
default EUR/kg
valid 2026-11-02
Kupferkabel 60% | 4.20 | wire-60
Netzwerkkabel | 2.80 | cable-network
Flachbandkabel | 2.10 | wire-ribbon
Kaltgerätekabel mit Stecker | 1.60 | ?
Koaxkabel | 1.10 | cable-coax
Kühlkörper Alu | 1.40 | heatsink-aluminium
Kühlkörper Kupfer | 6.80 | heatsink-copper
Trafos | 1.05 | transformer
Lüfter | 0.30 | fan-computer
Laufwerke optisch | 0.20 | drive-optical-whole
Mikrowellen komplett | 0.15 | microwave-whole
Toner leer | -0.50 EUR/each | ?
""")
def angebot_brief(path):
    lines(path, A4, ("Helvetica", 11), (70, 770), 16, """
Wertstoffhof Lindau Handels GmbH
Am Gleis 4 - 88999 Musterstadt

Unser Zeichen: WL/11-26                                2. November 2026

Angebot

Sehr geehrte Damen und Herren,
für sortenreine Ware zahlen wir ab 02.11.2026 je kg:

Kupferkabel 60% ............ 4,20 EUR
Netzwerkkabel .............. 2,80 EUR
Flachbandkabel ............. 2,10 EUR
Kaltgerätekabel mit Stecker  1,60 EUR
Koaxkabel .................. 1,10 EUR
Kühlkörper Alu ............. 1,40 EUR
Kühlkörper Kupfer .......... 6,80 EUR
Trafos ..................... 1,05 EUR
Lüfter ..................... 0,30 EUR
Laufwerke optisch .......... 0,20 EUR
Mikrowellen komplett ....... 0,15 EUR
Toner leer ................. -0,50 EUR/Stück (Zuzahlung)

Die Preise gelten bis 30.11.2026, zzgl. 19 % MwSt. nach §13b.
Zahlungsziel 10 Tage, 2 % Skonto.

Mit freundlichen Grüßen
H. Brandl, Tel. 0172 990 44 10
""")


@sheet("labelled", "kg-tonne-table.pdf", """
default GBP/tonne
valid 2026-11-02
Bright wire copper | 6500 | copper-bright
Heavy copper | 6250 | ?
Household cable | 2300 | ?
Mixed brass | 3800 | ?
Ali extrusion, clean | 1550 | extrusion-clean
Ali extrusion, painted | 1350 | extrusion-painted
Ali cast | 1100 | cast-aluminium
Lead | 1340 | lead-soft
Stainless 304 | 920 | stainless
Light iron | 95 | steel-light
Lead acid batteries | 470 | lead-acid
""")
def kg_tonne_table(path):
    styles = getSampleStyleSheet()
    rows = [["Material", "£ per tonne", "p per kg"]]
    for name, tonne in [("Bright wire copper", 6500), ("Heavy copper", 6250), ("Household cable", 2300), ("Mixed brass", 3800),
                        ("Ali extrusion, clean", 1550), ("Ali extrusion, painted", 1350), ("Ali cast", 1100), ("Lead", 1340),
                        ("Stainless 304", 920), ("Light iron", 95), ("Lead acid batteries", 470)]:
        rows.append([name, f"{tonne:,.2f}", f"{tonne / 10:.1f}"])
    table = Table(rows, colWidths=[200, 100, 80])
    table.setStyle(TableStyle([("LINEBELOW", (0, 0), (-1, 0), 1, colors.black), ("ALIGN", (1, 0), (-1, -1), "RIGHT")]))
    SimpleDocTemplate(path, pagesize=A4).build([
        Paragraph("Tideway Recycling - merchant prices", styles["Title"]), Paragraph("w/c 2 November 2026. Delivered in, 48 hr payment.", styles["Normal"]),
        Spacer(1, 12), table])
