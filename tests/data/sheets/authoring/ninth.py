#!/usr/bin/env python
"""The PDFs of the ninth set, whose labels were written by hand beside them."""
import os
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch, mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen import canvas
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "labelled")
D = "/usr/share/fonts/truetype/dejavu/"
pdfmetrics.registerFont(TTFont("DV", D + "DejaVuSans.ttf"))
pdfmetrics.registerFont(TTFont("DVB", D + "DejaVuSans-Bold.ttf"))


def bass_river():
    """US yard, two columns: non-ferrous in cents on the left, ferrous by the gross ton on the right."""
    c = canvas.Canvas(os.path.join(HERE, "bass-river.pdf"), pagesize=letter)
    w, h = letter
    c.setFont("Helvetica-Bold", 18)
    c.drawCentredString(w / 2, h - 0.8 * inch, "BASS RIVER IRON & METAL CO.")
    c.setFont("Helvetica", 9)
    c.drawCentredString(w / 2, h - 1.0 * inch, "31 Depot Street, Bass River, PA   814-555-0150   Scale hours 7:00-3:30, Sat 7:00-11:30")
    c.setFont("Helvetica-Bold", 11)
    c.drawCentredString(w / 2, h - 1.3 * inch, "DEALER PRICES BEGINNING MONDAY 11/23/26")

    def col(x, xr, y, title, rows):
        c.setFont("Helvetica-Bold", 10)
        c.drawString(x, y, title)
        c.line(x, y - 3, xr, y - 3)
        y -= 17
        c.setFont("Helvetica", 10)
        for n, p in rows:
            c.drawString(x, y, n)
            c.drawRightString(xr, y, p)
            y -= 14.5
        return y - 8

    y = h - 1.75 * inch
    x, xr = 0.7 * inch, 3.9 * inch
    y1 = col(x, xr, y, "NON-FERROUS (cents per lb)", [
        ("Bare bright copper", "402"), ("No. 1 copper", "388"), ("No. 2 copper", "362"), ("Light copper", "344"),
        ("Insulated copper wire, 80%", "252"), ("Insulated copper wire, 60%", "178"),
        ("Yellow brass", "228"), ("Auto radiators, brass", "198"),
        ("Aluminum extrusion, clean", "83"), ("Aluminum sheet, old", "57"), ("Cast aluminum", "54"),
        ("Aluminum breakage, 50% rec.", "20"), ("EC aluminum wire", "86"), ("Aluminum cans", "58"),
        ("Stainless 304", "46"), ("Zinc die cast", "38"), ("Lead, soft", "54")])
    x, xr = 4.4 * inch, 7.8 * inch
    y2 = col(x, xr, y, "FERROUS (dollars per gross ton)", [
        ("No. 1 heavy melt, prepared", "230.00"), ("Plate & structural, 5 ft", "255.00"),
        ("Unprepared No. 1", "205.00"), ("Sheet iron, light", "150.00"),
        ("Cast iron, machinery", "225.00"), ("Auto slabs", "165.00")])
    y2 = col(x, xr, y2, "BATTERIES & MOTORS ($ per cwt)", [
        ("Lead batteries", "23.50"), ("Electric motors under 5 hp", "30.00"),
        ("Transformers, small, copper", "34.00")])
    y = min(y1, y2) - 6
    c.setFont("Helvetica-Oblique", 8.5)
    for s in ("Prepared means 5 ft x 18 in maximum. Turnings, tanks and closed containers not accepted.",
              "Loads over 40,000 lb by appointment. 2% deducted for dirt and moisture where noted on the ticket.",
              "All prices may change without notice. Thank you for your business since 1948."):
        c.drawString(0.7 * inch, y, s)
        y -= 12
    c.showPage()
    c.save()


def vermegna():
    """Italian yard list: last week's and this week's price, unit column."""
    P = ParagraphStyle("p", fontName="DV", fontSize=8.5, leading=11)
    H = ParagraphStyle("h", fontName="DVB", fontSize=14, leading=18)
    doc = SimpleDocTemplate(os.path.join(HERE, "vermegna.pdf"), pagesize=A4, topMargin=16 * mm, bottomMargin=14 * mm)
    head = ["Materiale", "Sett. scorsa", "Questa sett.", "U.M.", "Note"]
    rows = [
        ["RAME E CAVI"],
        ["Rame lucido (millberry)", "8,20", "8,35", "€/kg", "min. 1,5 mm"],
        ["Rame tubo e sbarre", "7,95", "8,05", "€/kg", ""],
        ["Rame misto, stagnato", "7,40", "7,50", "€/kg", ""],
        ["Cavo unipolare", "4,90", "5,00", "€/kg", "resa 80%"],
        ["Cavi dati UTP", "1,80", "1,80", "€/kg", ""],
        ["ALTRI METALLI"],
        ["Ottone giallo", "4,80", "4,85", "€/kg", ""],
        ["Bronzo", "6,00", "6,05", "€/kg", ""],
        ["Alluminio profili puliti", "1,62", "1,65", "€/kg", ""],
        ["Alluminio profili verniciati", "1,35", "1,35", "€/kg", "senza taglio termico"],
        ["Alluminio lastra", "1,08", "1,10", "€/kg", ""],
        ["Alluminio getti (carter)", "1,02", "1,05", "€/kg", ""],
        ["Dissipatori alluminio", "1,15", "1,15", "€/kg", ""],
        ["Dissipatori rame/alluminio", "2,60", "2,70", "€/kg", ""],
        ["Acciaio inox 304", "0,94", "0,92", "€/kg", ""],
        ["Piombo dolce", "1,28", "1,30", "€/kg", ""],
        ["Batterie al piombo", "0,48", "0,50", "€/kg", ""],
        ["FERRO"],
        ["Ferro pesante", "210,00", "205,00", "€/ton", "spessore oltre 6 mm"],
        ["Lamierino, ferro leggero", "150,00", "145,00", "€/ton", ""],
        ["Lamierini da trasformatori", "195,00", "195,00", "€/ton", "senza rame"],
        ["ELETTRONICA"],
        ["Schede madri PC", "2,30", "2,40", "€/kg", ""],
        ["Schede di cellulari", "13,00", "13,00", "€/kg", ""],
        ["Memorie RAM dorate", "14,50", "15,00", "€/kg", ""],
        ["Dischi rigidi", "0,58", "0,60", "€/kg", "con scheda"],
        ["Alimentatori PC", "0,30", "0,30", "€/kg", ""],
        ["Trasformatori in rame", "0,90", "0,95", "€/kg", ""],
        ["Motorini elettrici", "0,50", "0,52", "€/kg", ""],
        ["Condensatori al tantalio", "a richiesta", "a richiesta", "", ""],
        ["Monitor CRT", "-10,00", "-10,00", "€/pz", "a carico del cliente"],
    ]
    heads = [i for i, r in enumerate(rows, 1) if len(r) == 1]
    rows = [r + [""] * (5 - len(r)) for r in rows]
    t = Table([head] + rows, colWidths=[62 * mm, 26 * mm, 26 * mm, 18 * mm, 42 * mm], repeatRows=1)
    st = [("FONT", (0, 0), (-1, -1), "DV", 8.5), ("FONT", (0, 0), (-1, 0), "DVB", 8.5),
          ("ALIGN", (1, 0), (2, -1), "RIGHT"), ("BACKGROUND", (0, 0), (-1, 0), colors.lightgrey),
          ("LINEBELOW", (0, 0), (-1, -1), 0.25, colors.grey),
          ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]
    for i in heads:
        st += [("FONT", (0, i), (0, i), "DVB", 8.5), ("SPAN", (0, i), (-1, i))]
    t.setStyle(TableStyle(st))
    doc.build([Paragraph("Rottami Lago Vermegna s.r.l.", H),
               Paragraph("Via del Molo 44, 23999 Vermegna – tel. 0399 555 0171 – orario 8-12 / 14-17.30", P),
               Spacer(1, 4),
               Paragraph("Listino acquisti n. 47/2026, in vigore dal 23/11/2026. Prezzi IVA esclusa, franco nostro deposito.", P),
               Spacer(1, 6), t, Spacer(1, 6),
               Paragraph("Pagamento con bonifico a 7 giorni. Obbligo di formulario per le imprese. Peso minimo 20 kg per voce.", P)])


def sallagh():
    """Irish board buyer, two currencies per line, bulk grades by the metric ton, charges."""
    P = ParagraphStyle("p", fontName="DV", fontSize=9, leading=12)
    B = ParagraphStyle("b", fontName="DVB", fontSize=10, leading=14, spaceBefore=6)
    H = ParagraphStyle("h", fontName="DVB", fontSize=15, leading=20, textColor=colors.HexColor("#204a6a"))
    doc = SimpleDocTemplate(os.path.join(HERE, "lough-sallagh.pdf"), pagesize=A4, topMargin=16 * mm, bottomMargin=14 * mm)
    grid = [("FONT", (0, 0), (-1, -1), "DV", 9), ("FONT", (0, 0), (-1, 0), "DVB", 9),
            ("GRID", (0, 0), (-1, -1), 0.4, colors.grey), ("TOPPADDING", (0, 0), (-1, -1), 2), ("BOTTOMPADDING", (0, 0), (-1, -1), 2)]
    t1 = Table([
        ["Code", "Material", "USD/kg", "EUR/kg", "Min. lot"],
        ["A1", "Ceramic CPU, gold pin", "78.00", "67.25", "5 kg"],
        ["A2", "Fibre CPU, no pins", "21.00", "18.10", "10 kg"],
        ["A4", "Memory modules, gold", "34.50", "29.75", "20 kg"],
        ["B1", "Smartphone boards", "32.00", "27.60", "20 kg"],
        ["B3", "Server boards", "6.90", "5.95", "100 kg"],
        ["B4", "PC motherboards", "4.80", "4.15", "100 kg"],
        ["B5", "Laptop motherboards", "8.20", "7.05", "50 kg"],
        ["B7", "Plug-in cards, gold edge", "6.10", "5.25", "50 kg"],
        ["B8", "HDD controller boards", "15.50", "13.35", "20 kg"],
        ["C1", "Tantalum capacitors", "price on request", "", "1 kg"],
        ["C2", "Gold plated connectors, cut off", "12.00 - 18.00", "10.35 - 15.50", "10 kg"],
        ["C3", "MLCC from telecom boards", "price on request", "", "1 kg"],
    ], colWidths=[16 * mm, 66 * mm, 34 * mm, 34 * mm, 22 * mm])
    t1.setStyle(TableStyle(grid + [("ALIGN", (2, 0), (-1, -1), "RIGHT")]))
    t2 = Table([
        ["Code", "Material", "USD/MT"],
        ["D1", "Set top box boards", "2,350"],
        ["D2", "Flat TV and monitor boards, no PSU", "1,150"],
        ["D3", "Printer boards, laser", "980"],
        ["D4", "PSU boards", "420"],
        ["D5", "Brown CRT boards", "160"],
        ["D6", "Hard drives, complete", "720"],
        ["D7", "PC power supplies, with cable", "510"],
        ["D8", "Aluminium heatsinks, clean", "1,450"],
    ], colWidths=[16 * mm, 80 * mm, 34 * mm])
    t2.setStyle(TableStyle(grid + [("ALIGN", (2, 0), (-1, -1), "RIGHT")]))
    t3 = Table([
        ["Code", "Material", "Charge, USD/kg"],
        ["X1", "Loose lithium-ion packs", "1.10"],
        ["X2", "Damaged or swollen batteries", "4.50"],
        ["X3", "Alkaline cells", "0.90"],
    ], colWidths=[16 * mm, 80 * mm, 34 * mm])
    t3.setStyle(TableStyle(grid + [("ALIGN", (2, 0), (-1, -1), "RIGHT")]))
    doc.build([
        Paragraph("Lough Sallagh Precious Recovery Ltd", H),
        Paragraph("Unit 3, Quay Business Park, Portsallagh, Co. Sallagh, Ireland. Phone +353 99 555 0136", P),
        Paragraph("Purchase list 11-B. Applies to material received on or after 17 November 2026.", P),
        Paragraph("High grade", B), t1,
        Paragraph("Bulk grades, per metric ton, delivered Portsallagh", B), t2,
        Paragraph("Accepted only at a charge to the supplier", B), t3,
        Spacer(1, 6),
        Paragraph("Sampling fee USD 150 for lots under 500 kg. Final settlement on assay: 95% of gold, 90% of silver, 92% of palladium. "
                  "EUR column converted at 0.862 for guidance only.", P)])


if __name__ == "__main__":
    bass_river()
    vermegna()
    sallagh()
