"""The workbooks and PDFs of the eleventh set; its other sheets and all labels were written by hand."""
import os, datetime
from openpyxl import Workbook
from openpyxl.styles import Font, PatternFill, Alignment
from reportlab.lib.pagesizes import letter, A4
from reportlab.pdfgen import canvas
from reportlab.platypus import SimpleDocTemplate, Paragraph, Table, TableStyle, Spacer
from reportlab.lib.styles import getSampleStyleSheet
from reportlab.lib import colors
os.chdir(os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "labelled"))
B = Font(bold=True)

def halfmoon():
    wb = Workbook(); ws = wb.active; ws.title = "Buy Prices"
    ws["A1"] = "HALFMOON LAKE IRON & METAL"; ws["A1"].font = Font(bold=True, size=16)
    ws["A2"] = "1900 Depot Ave, Halfmoon Lake   Scale (555) 017-3050"
    ws["A3"] = "Effective"; ws["B3"] = datetime.date(2026, 11, 23); ws["B3"].number_format = "mm/dd/yyyy"
    ws.append([])
    ws.append(["Commodity", "UOM", "Price", "Last Wk", "Remarks"])
    for c in ws[5]: c.font = B
    data = [
     ("FERROUS",),
     ("#1 HMS", "GT", 240, 245, "5 ft and under"),
     ("Plate & structural", "GT", 265, 270, "3 ft, 1/4\" min"),
     ("Busheling", "GT", 290, 295, None),
     ("Light iron / tin", "CWT", 8.25, 8.50, "No tires, no tanks"),
     ("Machinery cast", "GT", 230, 230, None),
     ("Car bodies", "NT", 165, 165, "Title required"),
     ("COPPER & BRASS",),
     ("Copper, bare bright", "LB", 4.05, 4.10, None),
     ("Copper, #1", "LB", 3.92, 3.97, None),
     ("Copper, #2", "LB", 3.66, 3.71, None),
     ("Copper, light", "LB", 3.35, 3.40, None),
     ("Brass, yellow", "LB", 2.30, 2.30, None),
     ("Brass, red", "LB", 2.75, 2.75, None),
     ("ALUMINUM",),
     ("Extrusion, bare 6061/6063", "LB", 0.80, 0.80, None),
     ("Old sheet", "LB", 0.60, 0.61, None),
     ("Cast", "LB", 0.55, 0.55, None),
     ("Heat sinks", "LB", 0.62, 0.62, "No copper, no clips"),
     ("Irony / dirty", "LB", 0.20, 0.20, "25 lb minimum"),
     ("MISC",),
     ("Die cast, zinc", "LB", 0.48, 0.48, None),
     ("Lead, soft", "LB", 0.60, 0.60, None),
     ("Stainless, 304", "LB", 0.45, 0.46, None),
     ("Stainless, 400 series", "LB", 0.12, 0.12, "Magnetic"),
     ("Sealed units", "LB", 0.22, 0.22, "Drained"),
     ("Transformers, copper wound", "LB", 0.38, 0.38, "No oil filled"),
     ("Batteries, auto", "LB", 0.23, 0.23, None),
     ("Converters", "EA", "CALL", "CALL", "Ask for Rod"),
     ("ELECTRONICS",),
     ("Complete PC towers", "EA", 3.00, 3.00, None),
     ("PC power supplies", "LB", 0.28, 0.28, None),
     ("Motherboards", "LB", 1.95, 2.00, None),
     ("CRT TV", "EA", -20, -20, "Customer pays"),
    ]
    for r in data:
        ws.append(list(r)); n = ws.max_row
        if len(r) == 1:
            ws.merge_cells(start_row=n, end_row=n, start_column=1, end_column=5)
            ws.cell(n, 1).font = B; ws.cell(n, 1).fill = PatternFill("solid", fgColor="DDDDDD")
        else:
            for k in (3, 4): ws.cell(n, k).number_format = '"$"#,##0.00;-"$"#,##0.00'; ws.cell(n, k).alignment = Alignment(horizontal="right")
    ws.append([])
    ws.append(["GT = gross ton 2240 lb, NT = net ton 2000 lb, CWT = 100 lb. Prices subject to change without notice."])
    ws.column_dimensions["A"].width = 34; ws.column_dimensions["E"].width = 24
    w2 = wb.create_sheet("Hours & Info")
    for r in [["Mon-Fri", "7:00 - 4:00"], ["Sat", "7:00 - 11:30"], [], ["Lugger box, 10 yd", "no charge with scrap"],
              ["Roll-off, 30 yd haul", "$175 within 25 miles"], ["Certified weigh", "$12"]]: w2.append(r)
    wb.save("halfmoon-lake.xlsx")

def plasmeer():
    wb = Workbook(); ws = wb.active; ws.title = "Inkoop"
    ws["A1"] = "Plasmeer Elektronica Inkoop"; ws["A1"].font = Font(bold=True, size=14)
    ws["A2"] = "Prijzen geldig vanaf 23-11-2026, exclusief btw, afgeleverd in Plasmeer"
    ws["A3"] = "Tel. 0599 - 55 01 20 / inkoop@plasmeer.example"
    ws.append([]); ws.append(["Soort", "Prijs in €", "Per", "Opmerking"])
    for c in ws[5]: c.font = B
    data = [
     ("Printplaten",),
     ("Moederborden pc", 3.10, "kg", "zonder koeler"),
     ("Serverborden", 4.20, "kg", None),
     ("Laptopborden", 7.50, "kg", None),
     ("Telefoonprinten", "28,00 - 34,00", "kg", "na keuring"),
     ("Insteekkaarten met goudrand", 5.90, "kg", "beugel eraf"),
     ("Printen uit modems en routers", 3.30, "kg", None),
     ("Voedingsprinten", 0.35, "kg", None),
     ("Groene printen, middenklasse", 1.10, "kg", "vanaf 50 kg"),
     ("Bruine printen", 0.15, "kg", None),
     ("Onderdelen",),
     ("Geheugen goud", 17.50, "kg", None),
     ("Processors keramisch", 48.00, "kg", None),
     ("Processors kunststof", 10.50, "kg", "met of zonder pinnen"),
     ("Koelblokken aluminium", 1.25, "kg", "zonder clips"),
     ("Koelblokken alu/koper", 2.60, "kg", None),
     ("Tantaalcondensatoren", "op aanvraag", None, None),
     ("Transformatoren, koper", 0.95, "kg", None),
     ("Ventilatoren", 0.20, "kg", None),
     ("Kabels",),
     ("Netsnoeren zonder stekker", 1.85, "kg", None),
     ("Kabelbomen uit pc-voedingen", 2.05, "kg", "stekkertjes mogen eraan blijven"),
     ("Netwerkkabel cat 5e/6", 2.00, "kg", "45-50% koper"),
     ("Complete apparaten",),
     ("Desktop-pc compleet", 4.00, "stuk", None),
     ("Laptop zonder accu", 5.50, "stuk", None),
     ("Spelcomputer", 2.50, "stuk", None),
     ("Platte monitor, glas heel", 0.50, "stuk", None),
     ("Beeldbuismonitor", -5.00, "stuk", "u betaalt"),
     ("Harde schijven met print", 1.05, "kg", None),
     ("Accu's",),
     ("Li-ion accu's", 0.80, "kg", "polen afgeplakt"),
     ("Opgezwollen accu's", -3.50, "kg", "u betaalt"),
     ("Loodaccu's", 0.55, "kg", None),
    ]
    for r in data:
        ws.append(list(r)); n = ws.max_row
        if len(r) == 1: ws.cell(n, 1).font = B
        else: ws.cell(n, 2).number_format = "#,##0.00"; ws.cell(n, 2).alignment = Alignment(horizontal="right")
    ws.append([]); ws.append(["Ophalen vanaf 250 kg: € 35,00 per rit. Openingstijden ma t/m vr 8.00 - 16.30 uur."])
    ws.column_dimensions["A"].width = 34; ws.column_dimensions["D"].width = 30
    wb.save("plasmeer-inkoop.xlsx")

def sturgeon():
    W, H = letter; c = canvas.Canvas("sturgeon-flats.pdf", pagesize=letter)
    c.setFont("Helvetica-Bold", 24); c.drawCentredString(W/2, H-60, "STURGEON FLATS SCRAP CO.")
    c.setFont("Helvetica", 11); c.drawCentredString(W/2, H-78, "Behind the grain elevator, Hwy 40 West   -   (555) 012-6644")
    c.setFont("Helvetica-Bold", 13); c.drawCentredString(W/2, H-104, "PRICES EFFECTIVE MON 11/23   -   CENTS PER POUND UNLESS NOTED")
    left = [("COPPER", None), ("Bare bright", "408"), ("#1 copper", "394"), ("#2 copper", "368"), ("Light copper", "338"), ("", None),
            ("INSULATED WIRE", None), ("80% single strand", "276"), ("Romex", "205"), ("Extension cords, no ends", "108"), ("Computer wire", "90"), ("", None),
            ("BRASS", None), ("Yellow brass", "232"), ("Red brass", "280")]
    right = [("ALUMINUM", None), ("Clean extrusion", "80"), ("Painted extrusion", "69"), ("Sheet", "60"), ("Cast", "54"), ("Cans", "58"), ("Breakage", "17.5"), ("", None),
             ("OTHER METALS", None), ("Stainless 304", "44"), ("Soft lead", "59"), ("Car batteries", "22"), ("Copper transformers", "36"), ("Compressors", "21")]
    for x, col in ((60, left), (330, right)):
        y = H-140
        for n, p in col:
            if p is None:
                c.setFont("Helvetica-Bold", 13); c.drawString(x, y, n)
            else:
                c.setFont("Helvetica", 12); c.drawString(x, y, n); c.drawRightString(x+215, y, p + "¢")
            y -= 19
    y = H-450
    c.setFont("Helvetica-Bold", 13); c.drawString(60, y, "IRON & STEEL ($ per net ton)"); y -= 20
    for n, p in (("Heavy #1, cut", "$210"), ("Light iron", "$145"), ("Cast iron", "$190"), ("Junk cars", "$150")):
        c.setFont("Helvetica", 12); c.drawString(60, y, n); c.drawRightString(275, y, p); y -= 19
    y -= 14
    c.setFont("Helvetica-Bold", 11); c.drawString(60, y, "OPEN M-F 8 to 5, SAT 8 to NOON.  Must be 18 with ID.  No propane, no tires."); y -= 18
    c.setFont("Helvetica-Oblique", 9); c.drawString(60, y, "Minimum 10 lb on all nonferrous. Weights under 10 lb rounded down. Prices can change any time.")
    c.showPage(); c.save()

def valdorsa():
    st = getSampleStyleSheet(); el = []
    el.append(Paragraph("<b>VALDORSA METALLI s.r.l.</b>", st["Title"]))
    el.append(Paragraph("Via del Porto Vecchio 31 - Valdorsa sul Lago - Tel. 0399 550 118", st["Normal"])); el.append(Spacer(1, 8))
    el.append(Paragraph("<b>LISTINO ACQUISTO ROTTAMI</b> - valido dal 23 novembre 2026 - prezzi in euro IVA esclusa (reverse charge)", st["Normal"])); el.append(Spacer(1, 8))
    def tab(head, rows, w):
        t = Table([head] + rows, colWidths=w, repeatRows=1)
        t.setStyle(TableStyle([("GRID", (0,0), (-1,-1), 0.4, colors.grey), ("FONTNAME", (0,0), (-1,0), "Helvetica-Bold"), ("FONTSIZE", (0,0), (-1,-1), 9),
            ("BACKGROUND", (0,0), (-1,0), colors.HexColor("#dde6ee")), ("ALIGN", (2,0), (2,-1), "RIGHT"), ("TOPPADDING", (0,0), (-1,-1), 1.5), ("BOTTOMPADDING", (0,0), (-1,-1), 2)]))
        return t
    w = [60, 230, 65, 150]
    el.append(tab(["Codice", "Materiale", "€/kg", "Note"], [
        ["CU01", "Rame lucido, filo nudo", "7,60", "min. 1 mm"],
        ["CU02", "Rame pesante, barre e tubi puliti", "7,35", ""],
        ["CU03", "Rame misto, stagnato", "6,90", ""],
        ["OT01", "Ottone giallo", "4,40", ""],
        ["OT03", "Rubinetteria cromata", "3,90", "senza ferro e zama"],
        ["BR01", "Bronzo", "5,20", ""],
        ["AL01", "Alluminio profilo pulito", "1,75", ""],
        ["AL02", "Alluminio profilo verniciato", "1,45", ""],
        ["AL03", "Alluminio lamiera", "1,30", ""],
        ["AL04", "Alluminio getti", "1,15", "ferro max 2%"],
        ["AL06", "Radiatori alluminio/rame", "2,90", ""],
        ["IN01", "Acciaio inox 304", "0,92", ""],
        ["PB01", "Piombo molle", "1,35", ""],
        ["ZN01", "Zama", "1,30", "maniglie, pressofusi"],
        ["CV01", "Cavo rame unipolare, resa 80%", "4,90", ""],
        ["CV02", "Cavo rame multipolare, resa 60%", "3,30", ""],
        ["CV04", "Cavo di rete", "1,95", "senza connettori"],
        ["ME01", "Motori elettrici", "0,55", ""],
        ["ME02", "Trasformatori con rame", "0,75", "senza olio"],
        ["BA01", "Batterie al piombo", "0,50", ""],
        ["CT01", "Catalizzatori", "a richiesta", ""],
    ], w)); el.append(Spacer(1, 8))
    el.append(tab(["Codice", "RAEE", "€/kg", "Note"], [
        ["RE01", "Schede madri PC", "3,20", ""],
        ["RE02", "Schede di basso grado", "0,35", "min. 100 kg"],
        ["RE05", "Hard disk completi", "0,90", ""],
        ["RE09", "Monitor a tubo catodico", "-0,25", "a carico del cliente"],
    ], w)); el.append(Spacer(1, 8))
    el.append(tab(["Codice", "Ferrosi", "€/t", "Note"], [
        ["FE01", "Ferro pesante, spess. oltre 6 mm", "220,00", "max 1,50 x 0,50 m"],
        ["FE02", "Lamierino", "160,00", ""],
        ["FE04", "Ghisa", "215,00", ""],
    ], w)); el.append(Spacer(1, 8))
    el.append(Paragraph("Noleggio cassone scarrabile 60,00 €/mese. Orario: lun-ven 8-12 / 14-18, sab 8-12. Pagamento con bonifico a 7 giorni.", st["Normal"]))
    SimpleDocTemplate("valdorsa-listino.pdf", pagesize=A4, topMargin=40, bottomMargin=40).build(el)

def waihora():
    st = getSampleStyleSheet(); el = []
    el.append(Paragraph("Waihora E-Scrap Buyers", st["Title"]))
    el.append(Paragraph("12 Jetty Road, Lake Waihora &nbsp;|&nbsp; 0800 555 019 &nbsp;|&nbsp; buy@waihora.example", st["Normal"])); el.append(Spacer(1, 10))
    el.append(Paragraph("Price list, current from 1 November 2026. NZ$ per kg excl. GST, by weight of the grade in one delivery.", st["Normal"])); el.append(Spacer(1, 10))
    rows = [["Grade", "under 50 kg", "50-250 kg", "250 kg +"],
        ["Computer motherboards", "5.20", "5.60", "6.00"],
        ["Server motherboards", "6.80", "7.20", "7.60"],
        ["Laptop motherboards", "11.00", "11.80", "12.50"],
        ["Expansion cards, gold edge", "9.50", "10.20", "POA"],
        ["Modem & router boards (1)", "5.90", "6.30", "6.70"],
        ["TV boards, brown", "0.30", "0.35", "0.40"],
        ["Power supplies, whole", "0.70", "0.80", "0.90"],
        ["Hard drives", "1.50", "1.65", "1.80"],
        ["Aluminium heatsinks (2)", "1.90", "2.05", "2.20"]]
    t = Table(rows, colWidths=[200, 80, 80, 80])
    t.setStyle(TableStyle([("LINEBELOW", (0,0), (-1,-1), 0.3, colors.grey), ("FONTNAME", (0,0), (-1,0), "Helvetica-Bold"), ("ALIGN", (1,0), (-1,-1), "RIGHT")]))
    el += [t, Spacer(1, 12), Paragraph("<b>Any quantity</b>", st["Normal"]), Spacer(1, 4)]
    rows = [["Gold RAM", "$29.00 / kg"], ["Ceramic CPUs", "$85.00 / kg"], ["Mobile phones, battery out", "$13.50 / kg"],
        ["Desktop PC, complete", "$6.00 each"], ["Laptop, battery out", "$8.00 each"], ["Game consoles", "$4.00 each"],
        ["UPS, batteries removed", "$0.65 / kg"], ["CRT TV or monitor (3)", "-$25.00 each"]]
    t = Table(rows, colWidths=[200, 100], hAlign="CENTER")
    t.setStyle(TableStyle([("LINEBELOW", (0,0), (-1,-1), 0.3, colors.grey), ("ALIGN", (1,0), (1,-1), "RIGHT")]))
    el += [t, Spacer(1, 12)]
    for s in ("(1) Metal shields off, otherwise 10% deduction.", "(2) No steel clips, no copper inserts.", "(3) Our recycling charge to you, glass unbroken.",
              "Pallet pick-up in the Waihora basin $60 per stop. Yard open Tue-Fri 9 to 4, Sat 9 to 12."):
        el.append(Paragraph(s, st["Normal"]))
    SimpleDocTemplate("waihora-ewaste.pdf", pagesize=A4).build(el)

for f in (halfmoon, plasmeer, sturgeon, valdorsa, waihora): f()
