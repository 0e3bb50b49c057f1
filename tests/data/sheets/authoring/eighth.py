#!/usr/bin/env python3
"""The workbook and the PDF of the eighth set, made as make.py makes its own."""
from openpyxl import Workbook
from openpyxl.styles import Font
from reportlab.lib.pagesizes import LETTER
from reportlab.pdfgen import canvas

from make import sheet

ROWS = [("Bare bright (under 100 lb)", 4.05), ("Bare bright (100-500 lbs)", 4.15), ("Bare bright (500+ lb)", 4.25),
        ("#2 copper [over 250 lb]", 3.62), ("Yellow brass (500 lb and up)", 2.46), ("Cast aluminum (no iron)", 0.70),
        ("Lead acid batteries (min. 200 lb)", 0.24), ("Server boards 100+ lb", 4.60)]
LABELS = """
default USD/lb
valid 2026-11-02
Bare bright | 4.05 | copper-bright | 0-100 lb
Bare bright | 4.15 | copper-bright | 100-500 lb
Bare bright | 4.25 | copper-bright | 500 lb
#2 copper | 3.62 | copper-2 | 250 lb
Yellow brass | 2.46 | brass-yellow | 500 lb
Cast aluminum (no iron) | 0.70 | cast-aluminium
Lead acid batteries (min. 200 lb) | 0.24 | lead-acid
Server boards | 4.60 | board-server | 100 lb
"""


@sheet("labelled", "tiers-in-names.xlsx", LABELS)
def tiers_in_names(path):
    book = Workbook()
    page = book.active
    page.title = "Buy"
    page["A1"] = "QUARRY LANE RECYCLING"
    page["A1"].font = Font(bold=True, size=16)
    page["A2"] = "Prices effective 2 Nov"
    page.append([])
    page.append(["Material", "Price/lb"])
    for name, price in ROWS:
        page.append([name, price])
    for cell in page["B"][4:]:
        cell.number_format = '"$"0.00'
    book.save(path)


@sheet("labelled", "tiers-in-names.pdf", LABELS)
def tiers_on_paper(path):
    page = canvas.Canvas(path, pagesize=LETTER)
    page.setFont("Helvetica-Bold", 16)
    page.drawString(72, 720, "Quarry Lane Recycling")
    page.setFont("Helvetica", 10)
    page.drawString(72, 700, "Price list 11/2. Scale open 7:30 - 4:00, closed Nov 26.")
    for at, (name, price) in enumerate(ROWS):
        page.drawString(72, 670 - 16 * at, name)
        page.drawRightString(420, 670 - 16 * at, f"${price:.2f}/lb")
    page.save()
