#!/usr/bin/env python3
"""The workbooks and PDFs of the tenth set; its other sheets and all labels were written by hand."""
import os, datetime
from openpyxl import Workbook
from openpyxl.styles import Font, PatternFill, Alignment
from reportlab.pdfgen import canvas
from reportlab.lib.pagesizes import letter, A4
from reportlab.lib import colors
from reportlab.lib.styles import getSampleStyleSheet, ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import SimpleDocTemplate, Table, TableStyle, Paragraph, Spacer, PageBreak
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

HERE = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "labelled")
B = Font(bold=True)
def out(n): return os.path.join(HERE, n)


# ---------------------------------------------------------------- x01: US yard, two blocks side by side
def x01():
    wb = Workbook(); ws = wb.active; ws.title = 'Prices'
    ws['A1'] = 'ASHGROVE LAKE IRON & METAL'; ws['A1'].font = Font(bold=True, size=16); ws.merge_cells('A1:E1')
    ws['A2'] = 'Price list #47 - week of November 23, 2026'; ws.merge_cells('A2:E2')
    ws['A3'] = 'ALL PRICES PER POUND UNLESS NOTED'; ws['A3'].font = B; ws.merge_cells('A3:E3')
    left = [('COPPER', None), ('Bare bright', 4.22), ('No. 1, clean wire', 4.08), ('No. 1 heavy, bus bar & punchings', 4.10),
            ('No. 2', 3.85), ('Light copper, gutters & sheet', 3.62), (None, None),
            ('BRASS', None), ('Yellow', 2.40), ('Red', 2.92), ('Radiators', 2.20), (None, None),
            ('INSULATED WIRE', None), ('THHN, 80% recovery', 2.72), ('Romex', 1.62), ('Computer harness', 1.20),
            ('Cat 5, ends off', 1.35), ('Coax', 0.15), ('Aluminum, insulated', 0.38)]
    right = [('ALUMINUM', None), ('Extrusion 6063, clean', 0.95), ('Extrusion, painted', 0.82), ('Sheet', 0.65), ('Cast', 0.61),
             ('EC wire, bare', 1.02), ('Cans', 0.58), (None, None),
             ('OTHER', None), ('Stainless 304', 0.49), ('Lead, soft', 0.68), ('Die cast zinc', 0.35), ('Batteries, lead acid', 0.22),
             ('Transformers, copper', 0.40), ('Sealed units / compressors', 0.26), (None, None),
             ('STEEL - per gross ton', None), ('Tin & light iron', 160), ('No. 1 heavy melt', 215), ('Motor blocks', 'Call')]
    for col, rows in ((1, left), (4, right)):
        for i, (n, p) in enumerate(rows):
            r = 5 + i
            if n is None: continue
            ws.cell(r, col, n)
            if p is None:
                ws.cell(r, col).font = B; ws.cell(r, col).fill = PatternFill('solid', fgColor='DDDDDD')
            else:
                c = ws.cell(r, col + 1, p)
                if not isinstance(p, str): c.number_format = '"$"#,##0.00'
    ws['A27'] = 'We reserve the right to regrade. Photo ID required on every ticket. No purchases after 4:15 pm.'
    ws.column_dimensions['A'].width = 34; ws.column_dimensions['D'].width = 30
    w2 = wb.create_sheet('Hours')
    for row in [('Monday - Friday', '7:30 - 4:30'), ('Saturday', '8:00 - 11:30'), ('Office', '(555) 013-6604'), ('Scale house', '(555) 013-6605'),
                ('Address', '1900 Old Ferry Rd, Ashgrove Lake')]:
        w2.append(row)
    wb.save(out('ashgrove-list.xlsx'))


# ---------------------------------------------------------------- x02: Mexico, pesos per kg / per piece
def x02():
    wb = Workbook(); ws = wb.active; ws.title = 'Lista'
    ws.append(['RECICLADORA LAGUNA SERENA']); ws.append(['Carretera a Los Tules km 4.5, Laguna Serena   Tel. 555 100 2387'])
    ws.append(['Lista de precios de compra, en pesos (M.N.)']); ws.append(['Vigencia: a partir del 19 de noviembre']); ws.append([])
    ws.append(['Clave', 'Material', 'Unidad', 'Precio actual', 'Precio anterior', 'Observaciones'])
    for c in ws[6]: c.font = B
    rows = [
        ('C-01', 'Cobre brillante, alambre pelado', 'kg', 172.00, 170.00, 'sin barniz'),
        ('C-02', 'Cobre de primera', 'kg', 167.00, 165.00, ''),
        ('C-03', 'Cobre de segunda', 'kg', 156.00, 154.00, 'estañado o soldado'),
        ('C-07', 'Cable con forro 80%', 'kg', 118.00, 116.00, ''),
        ('L-01', 'Latón amarillo', 'kg', 96.00, 96.00, ''),
        ('L-02', 'Bronce', 'kg', 112.00, 112.00, ''),
        ('A-01', 'Aluminio perfil limpio', 'kg', 38.50, 38.00, ''),
        ('A-02', 'Aluminio perfil pintado', 'kg', 34.00, 34.00, ''),
        ('A-03', 'Aluminio macizo (fundición)', 'kg', 30.00, 29.50, 'sin fierro'),
        ('A-04', 'Bote de aluminio', 'kg', 27.00, 27.00, 'limpio y seco'),
        ('I-01', 'Acero inoxidable 304', 'kg', 21.00, 21.50, 'no pega imán'),
        ('P-01', 'Plomo suave', 'kg', 24.00, 24.00, ''),
        ('F-01', 'Fierro pesado, placa y viga', 'kg', 5.20, 5.40, 'máx. 1.20 m'),
        ('F-02', 'Lámina y fierro ligero', 'kg', 3.80, 4.00, ''),
        ('B-01', 'Batería de auto (plomo)', 'kg', 14.50, 14.50, ''),
        ('M-01', 'Motores eléctricos chicos', 'kg', 16.00, 16.00, ''),
        ('M-02', 'Transformadores con cobre', 'kg', 19.00, 19.00, ''),
        ('E-01', 'Tarjeta madre de PC', 'kg', 58.00, 56.00, 'sin pila'),
        ('E-02', 'Tarjeta madre de laptop', 'kg', 105.00, 102.00, ''),
        ('E-03', 'Tarjeta café de TV', 'kg', 4.00, 4.00, ''),
        ('E-04', 'Memoria RAM dorada', 'kg', 330.00, 320.00, ''),
        ('E-05', 'Procesador cerámico', 'kg', 'a tratar', 'a tratar', 'enviar foto'),
        ('E-06', 'Disco duro completo', 'kg', 17.00, 17.00, 'con tarjeta'),
        ('E-07', 'Fuente de poder de PC', 'kg', 7.50, 7.50, 'con cables'),
        ('E-08', 'Celular sin batería', 'pza', 12.00, 12.00, ''),
        ('E-09', 'Televisor de bulbo o monitor CRT', 'pza', -60.00, -60.00, 'cobramos por recibirlo'),
    ]
    for r in rows: ws.append(list(r))
    for r in ws.iter_rows(min_row=7, max_row=6 + len(rows), min_col=4, max_col=5):
        for c in r:
            if not isinstance(c.value, str): c.number_format = '"$"#,##0.00;-"$"#,##0.00'
    ws.append([]); ws.append(['Horario: lunes a viernes de 8 a 17 h, sábado de 8 a 13 h. Precios sujetos a cambio sin previo aviso. Flete local $350.00'])
    ws.column_dimensions['B'].width = 36
    wb.save(out('laguna-serena-lista.xlsx'))


# ---------------------------------------------------------------- x03: Netherlands, board buyer, tiers by weight
def x03():
    wb = Workbook(); ws = wb.active; ws.title = 'Inkoop'
    ws['A1'] = 'Rietmeer Printrecycling B.V.'; ws['A1'].font = Font(bold=True, size=14)
    ws['A2'] = 'Inkoopprijzen printplaten en componenten'
    ws['A3'] = 'Geldig vanaf'; ws['B3'] = datetime.date(2026, 11, 9); ws['B3'].number_format = 'dd-mm-yyyy'
    ws['A4'] = 'Prijzen in € per kg, exclusief btw, franco Rietmeer'
    ws.append([]); ws.append(['Omschrijving', 'tot 100 kg', '100 - 500 kg', 'vanaf 500 kg', 'Opmerking'])
    for c in ws[6]: c.font = B
    rows = [('Moederborden',),
            ('Server', 4.60, 4.90, 5.20, 'zonder processor en koelblok'),
            ('Desktop', 3.30, 3.55, 3.80, 'zonder koelblok en batterij'),
            ('Laptop', 6.00, 6.40, 6.80, ''),
            ('Overige printen',),
            ('Insteekkaarten met gouden rand', 6.10, 6.40, 6.70, 'zonder beugel'),
            ('Netwerkprinten (router, switch)', 4.00, 4.25, 4.50, ''),
            ('Printen van harde schijven', 8.20, 8.60, 9.00, ''),
            ('Bruine printen', 0.20, 0.25, 0.30, ''),
            ('Geheugen',),
            ('Goud', 16.00, 17.00, 18.00, 'max. 2% bijmenging'),
            ('Zilver', 3.40, 3.60, 'op aanvraag', ''),
            ('Apparaten',),
            ('Harde schijven compleet', 0.90, 1.00, 1.10, ''),
            ('Computervoedingen met kabels', 0.38, 0.42, 0.46, '')]
    for r in rows: ws.append(list(r))
    for r in range(7, 7 + len(rows)):
        if ws.cell(r, 2).value is None: ws.cell(r, 1).font = B
        for k in (2, 3, 4):
            c = ws.cell(r, k)
            if isinstance(c.value, (int, float)): c.number_format = '#,##0.00'
    ws.append([]); ws.append(['Stuksprijzen', '€ per stuk'])
    ws.cell(ws.max_row, 1).font = B
    ws.append(['Lege toners (origineel)', 0.90]); ws.append(['Beeldbuismonitoren (kosten)', -5.00])
    ws.append([]); ws.append(['Vragen? Bel Joke of Sander, 099 - 555 01 88. Open ma t/m vr 7.30 - 16.00 uur. KvK 00990011'])
    ws.column_dimensions['A'].width = 36
    wb.save(out('rietmeer-inkoop.xlsx'))


# ---------------------------------------------------------------- x04: UK yard, last week before this week, three worksheets
def x04():
    wb = Workbook(); ws = wb.active; ws.title = 'Ferrous'
    def head(ws, title):
        ws['A1'] = 'Ravenmere Metals (Buying)'; ws['A1'].font = B
        ws['A2'] = title
        ws['A3'] = 'Prices w.e.f. 23.11.26 - pounds per tonne, delivered yard'
        ws.append([]); ws.append(['Grade', 'Last wk', 'This wk', '+/-', 'Remarks'])
        for c in ws[5]: c.font = B
    def fill(ws, rows):
        for n, a, b, rem in rows:
            ws.append([n, a, b, None, rem]); r = ws.max_row
            if not isinstance(a, str) and not isinstance(b, str):
                ws.cell(r, 4, b - a)
    head(ws, 'FERROUS')
    fill(ws, [('Light iron', 130, 125, ''), ('Heavy steel, plate and girder', 185, 180, 'over 6mm, under 5ft'), ('Cast iron', 190, 190, ''),
              ('Transformer laminations', 195, 195, 'copper out'), ('ELV (de-polluted)', 'POA', 'POA', 'CoD needed')])
    w = wb.create_sheet('Non-ferrous'); head(w, 'NON-FERROUS')
    fill(w, [('Bright wire', 6850, 6920, '1.6mm and up'), ('Heavy copper', 6650, 6720, 'plate, busbar, tube'), ('No.2 copper', 6250, 6300, 'tinned / soldered'),
             ('Yellow brass', 4150, 4180, ''), ('Gunmetal', 5300, 5350, ''), ('HE9 extrusion, clean', 1720, 1700, ''), ('HE9 extrusion, painted', 1520, 1500, ''),
             ('Old rolled aluminium', 1150, 1150, ''), ('Cast aluminium', 1180, 1180, 'free of iron'), ('Clean ally heatsinks', 1250, 1260, ''),
             ('Stainless 304', 820, 800, ''), ('Soft lead', 1380, 1380, ''), ('Tin/lead solder, old', 6400, 6450, 'bar, wire or clean dross'), ('Mazak', 900, 900, ''), ('Twin & earth cable', 3350, 3400, '58-60% recovery'),
             ('Mains leads, plugs off', 2100, 2120, ''), ('Cut plugs', 1500, 1500, '13A tops'), ('Small electric motors', 620, 620, 'up to 10kg')])
    w = wb.create_sheet('Batteries WEEE'); head(w, 'BATTERIES & WEEE')
    fill(w, [('Lead acid batteries', 540, 530, ''), ('PC base units, complete', 420, 420, ''), ('Low-grade mixed WEEE', -40, -45, 'charge')])
    w.append([]); w.append(['Priced each', 'Last wk', 'This wk']); w.cell(w.max_row, 1).font = B
    w.append(['Flat screen monitors', 0.50, 0.50, None, 'unbroken']); w.append(['CRT TVs and monitors', -8.00, -9.00, None, 'charge'])
    for r in (w.max_row - 1, w.max_row):
        for k in (2, 3): w.cell(r, k).number_format = '"£"#,##0.00'
    w.append([]); w.append(['Weighbridge 01632 960 288. Mon-Fri 8-4.30, Sat 8-11.30. Scrap Metal Dealer licence RM/00457'])
    for s in wb: s.column_dimensions['A'].width = 30
    wb.save(out('ravenmere-week.xlsx'))


# ---------------------------------------------------------------- p01: US flyer, cents per pound, two columns with leaders
def p01():
    c = canvas.Canvas(out('otterbend-flyer.pdf'), pagesize=letter); W, H = letter
    c.setTitle('Otter Bend prices')
    c.setFont('Helvetica-Bold', 22); c.drawCentredString(W / 2, H - 60, 'OTTER BEND SCRAP & SALVAGE')
    c.setFont('Helvetica', 11); c.drawCentredString(W / 2, H - 78, 'Hwy 12 at the narrows   -   555-017-2040   -   Open Mon-Sat 8 to 4')
    c.setFont('Helvetica-Bold', 14); c.drawCentredString(W / 2, H - 104, 'Starting Tuesday 11/17: prices in \u00a2 per pound')
    def col(x, y, w, rows):
        for row in rows:
            if isinstance(row, str):
                y -= 8; c.setFont('Helvetica-Bold', 11); c.drawString(x, y, row); y -= 16; continue
            n, p = row; c.setFont('Helvetica', 10)
            c.drawString(x, y, n); c.drawRightString(x + w, y, p)
            a = x + c.stringWidth(n, 'Helvetica', 10) + 4; b = x + w - c.stringWidth(p, 'Helvetica', 10) - 4
            dots = '.' * int((b - a) / c.stringWidth('.', 'Helvetica', 10))
            c.drawRightString(b, y, dots); y -= 15
    col(50, H - 135, 240, ['COPPER', ('Bright wire, 16 ga. or heavier', '418'), ('#1 clean', '402'), ('#2', '381'), ('Light / sheet', '355'),
        'BRASS', ('Yellow brass', '241'), ('Red brass', '290'), ('Shell casings, popped', '225'),
        'WIRE', ('House wire (Romex)', '160'), ('Thick single strand, 80%', '268'), ('Computer wire', '118'), ('Cat 5 internet wire, no ends', '125'), ('Drop cords, no ends', '105'),
        'ALUMINUM', ('Cans', '57'), ('Extrusion, clean', '93'), ('Extrusion, painted', '80'), ('Old sheet', '64'), ('Cast', '60'), ('Dirty', '20')])
    col(322, H - 135, 240, ['OTHER METALS', ('Stainless', '48'), ('Lead, soft', '66'), ('Auto batteries', '21'), ('Electric motors, small', '29'), ('Magnetrons', '40'),
        'STEEL - $ per cwt', ('Sheet iron, shred', '$7.75'), ('Heavy, 3/16 in. & up', '$10.25'), ('Cast iron', '$10.50'),
        'ELECTRONICS - per pound', ('Computer main boards', '190'), ('Power supplies, wires on', '24'), ('Hard drives', '58'),
        'BY THE PIECE', ('Computer towers, complete', '$3.00'), ('Microwave ovens', '$1.25'), ('Catalytic converters', 'ask'), ('Tube TV - you pay us', '$20.00')])
    c.setFont('Helvetica-Oblique', 9); c.drawCentredString(W / 2, 80, 'Prices change with the market. Must be 18 or older with ID. No cash over $100 on copper - check only.')
    c.drawCentredString(W / 2, 66, 'Free coffee. Watch out for the dog.')
    c.save()


# ---------------------------------------------------------------- p02: Italian price list, table with codes
def p02():
    doc = SimpleDocTemplate(out('lagoverde-listino.pdf'), pagesize=A4, topMargin=15 * mm, bottomMargin=14 * mm, title='Listino n. 22')
    st = getSampleStyleSheet(); small = ParagraphStyle('s', parent=st['Normal'], fontSize=8)
    fl = [Paragraph('<b>Rottami Lago Verde s.n.c. di F.lli Brusati</b>', st['Title']),
          Paragraph('Via del Molino 31, Pontelago (XX) - Tel. 0999 55 12 07 - P.IVA 00001112223', st['Normal']),
          Paragraph('<b>LISTINO ACQUISTI n. 22 - valido dal 16/11/2026</b>', st['Normal']),
          Paragraph('Prezzi in euro, IVA in reverse charge, merce resa al nostro piazzale', st['Normal']), Spacer(1, 8)]
    data = [['Cod.', 'Descrizione', 'U.M.', 'Prezzo', 'Note'],
            ['', 'RAME E OTTONE', '', '', ''],
            ['101', 'Rame lucido, filo pelato', 'kg', '8,35', ''],
            ['102', 'Rame di prima', 'kg', '8,05', 'non stagnato'],
            ['103', 'Rame di seconda', 'kg', '7,60', ''],
            ['110', 'Cavo in rame resa 60%', 'kg', '4,20', 'senza spine'],
            ['120', 'Ottone giallo', 'kg', '5,05', ''],
            ['121', 'Bronzo', 'kg', '6,10', ''],
            ['', 'ALLUMINIO', '', '', ''],
            ['201', 'Profilo pulito', 'kg', '1,95', ''],
            ['202', 'Profilo verniciato', 'kg', '1,68', ''],
            ['203', 'Lastra', 'kg', '1,30', ''],
            ['204', 'Fusione / carter', 'kg', '1,25', 'senza ferro'],
            ['', 'ALTRI METALLI', '', '', ''],
            ['301', 'Inox AISI 304', 'kg', '0,95 - 1,05', ''],
            ['302', 'Piombo dolce', 'kg', '1,55', ''],
            ['303', 'Zama', 'kg', '1,05', ''],
            ['310', 'Batterie al piombo', 'kg', '0,58', ''],
            ['311', 'Motorini elettrici', 'kg', '0,75', 'max 5 kg cad.'],
            ['312', 'Trasformatori in rame', 'kg', '0,88', ''],
            ['', 'FERRO', '', '', ''],
            ['401', 'Ferro pesante, oltre 4 mm', 't', '215,00', ''],
            ['402', 'Lamierino e raccolta leggera', 't', '150,00', ''],
            ['403', 'Lamierini magnetici da trasformatori', 't', '235,00', ''],
            ['404', 'Ghisa', 't', '220,00', ''],
            ['', 'ELETTRONICA', '', '', ''],
            ['501', 'Schede madri PC', 'kg', '2,70', ''],
            ['502', 'Schede madri server', 'kg', '3,45', ''],
            ['503', 'Schede marroni TV', 'kg', '0,20', ''],
            ['504', 'Memorie RAM dorate', 'kg', '15,00', ''],
            ['505', 'CPU ceramiche', 'kg', 'a richiesta', ''],
            ['506', 'Hard disk completi', 'kg', '0,80', 'con scheda'],
            ['507', 'Alimentatori PC', 'kg', '0,30', 'con cavi'],
            ['508', 'Toner vuoti originali', 'pz', '0,70', ''],
            ['509', 'Monitor e TV a tubo catodico', 'pz', '-4,00', 'a carico del cliente']]
    t = Table(data, colWidths=[14 * mm, 78 * mm, 14 * mm, 26 * mm, 44 * mm], rowHeights=15)
    style = [('FONT', (0, 0), (-1, 0), 'Helvetica-Bold', 9), ('FONT', (0, 1), (-1, -1), 'Helvetica', 9), ('GRID', (0, 0), (-1, -1), .4, colors.grey),
             ('ALIGN', (3, 1), (3, -1), 'RIGHT'), ('BACKGROUND', (0, 0), (-1, 0), colors.lightgrey), ('VALIGN', (0, 0), (-1, -1), 'MIDDLE')]
    for i, r in enumerate(data):
        if r[0] == '' : style.append(('FONT', (0, i), (-1, i), 'Helvetica-Bold', 9))
    t.setStyle(TableStyle(style)); fl.append(t)
    fl += [Spacer(1, 6), Paragraph('Nolo cassone scarrabile 20 m<super>3</super>: 120,00 euro a viaggio. Peso minimo per ritiro a domicilio 1.500 kg. '
                                   'I prezzi possono variare senza preavviso. Orario: lun-ven 8.00-12.00 / 14.00-18.00', small)]
    doc.build(fl)


# ---------------------------------------------------------------- p03: board buyer, two currencies, ppm and lot columns, two pages
def p03():
    pdfmetrics.registerFont(TTFont('DV', '/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf'))
    pdfmetrics.registerFont(TTFont('DVB', '/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf'))
    P = lambda s, size=9, f='DV': Paragraph(s, ParagraphStyle('x', fontName=f, fontSize=size, leading=size * 1.35))
    def foot(c, d):
        c.setFont('DV', 7); c.drawString(20 * mm, 10 * mm, 'Tarnvik Circuit Metals AB \u2022 Sj\u00f6gatan 4 \u2022 Tarnvik \u2022 +46 555 01 77 20'); c.drawRightString(190 * mm, 10 * mm, 'Page %d of 2' % d.page)
    doc = SimpleDocTemplate(out('tarnvik-terms.pdf'), pagesize=A4, leftMargin=20 * mm, rightMargin=20 * mm, topMargin=16 * mm, bottomMargin=18 * mm)
    hdr = ['Ref', 'Material', 'Au typ.\nppm', 'Min. lot\nkg', 'USD/lb', 'EUR/kg']
    def tab(rows):
        t = Table([hdr] + rows, colWidths=[12 * mm, 74 * mm, 16 * mm, 16 * mm, 25 * mm, 27 * mm], repeatRows=1)
        t.setStyle(TableStyle([('FONT', (0, 0), (-1, 0), 'DVB', 8), ('FONT', (0, 1), (-1, -1), 'DV', 8), ('LINEBELOW', (0, 0), (-1, -1), .3, colors.grey),
                               ('ALIGN', (2, 0), (-1, -1), 'RIGHT'), ('TOPPADDING', (0, 0), (-1, -1), 2), ('BOTTOMPADDING', (0, 0), (-1, -1), 2)]))
        return t
    fl = [P('Purchase conditions, electronic scrap', 14, 'DVB'), Spacer(1, 6),
          P('Valid from 1 November 2026 for lots booked until 30 November. Flat prices, no settlement on assay. 80 % advance on receipt of the packing list, '
            'balance within 10 working days after inspection. Tolerance for foreign material 3 %.'), Spacer(1, 8),
          P('Boards', 11, 'DVB'), Spacer(1, 3),
          tab([['B01', 'Server mainboards', '130', '200', '2.95', '5.60'],
               ['B02', 'Desktop mainboards', '95', '500', '2.10', '4.00'],
               ['B03', 'Laptop mainboards', '180', '100', '3.60', '6.85'],
               ['B04', 'Mobile phone boards, screens and shields off', '350', '25', '15.20', '28.90'],
               ['B05', 'Plug-in cards with gold edge', '210', '100', '3.75', '7.15'],
               ['B06', 'Router and switch boards', '120', '200', '2.40', '4.55'],
               ['B07', 'Hard disk boards', '290', '50', '6.30', '12.00'],
               ['B08', 'Set-top box boards', '45', '500', '1.10', '2.10'],
               ['B09', 'Game console boards', '60', '200', '1.75', '3.35'],
               ['B10', 'Mixed green boards', '40', '1000', '0.85', '1.60'],
               ['B11', 'Power supply boards', '5', '1000', '0.24', '0.45'],
               ['B12', 'Brown boards, TV and audio', '-', '1000', '0.12', '0.23']]),
          Spacer(1, 10), P('Processors and memory', 11, 'DVB'), Spacer(1, 3),
          tab([['C01', 'Ceramic processors, 386 and 486', '3200', '5', '55.00', '104.70'],
               ['C02', 'Ceramic processors with gold lid', '9500', '1', 'on request', 'on request'],
               ['C03', 'Fibre processors with pins', '520', '20', '7.60', '14.45'],
               ['C04', 'Fibre processors, LGA without pins', '260', '20', '4.80', '9.15'],
               ['C05', 'Memory modules, gold contacts', '900', '20', '12.00', '22.85']]),
          PageBreak(), P('Components', 11, 'DVB'), Spacer(1, 3),
          tab([['D01', 'Gold-plated pins and connectors, loose', '700', '10', '5.50 \u2013 9.00', '10.50 \u2013 17.15'],
               ['D02', 'Tantalum capacitors, off board', '-', '10', '8.40', '16.00'],
               ['D03', 'Ceramic capacitors, old telephone exchange', '-', '10', '9.10', '17.30'],
               ['D04', 'Relays and contactors with silver contacts', '-', '50', '1.20', '2.30'],
               ['D05', 'Beryllium copper contact springs', '-', '100', '1.85', '3.50'],
               ['D06', 'Copper transformers', '-', '500', '0.42', '0.80'],
               ['D07', 'Glass fibre trimmings, no copper', '-', '1000', '-0.10', '-0.19']]),
          Spacer(1, 10),
          P('A negative figure is a charge to the supplier. Freight inside the Nordic countries from EUR 0.12 per kg. Lots containing batteries, mercury switches or '
            'PCB oil capacitors are set aside, handling EUR 45 per hour.', 8), Spacer(1, 8),
          P('Contact: Elsa Rydmark (boards) ext. 21, Jon Tveit (components) ext. 24. Reception of goods Monday to Thursday 07.00\u201315.00.', 8)]
    doc.build(fl, onFirstPage=foot, onLaterPages=foot)


if __name__ == '__main__':
    for f in (x01, x02, x03, x04, p01, p02, p03): f()
