"""Reads the cash book as a journal, a workbook and rows, by programs that know nothing of each other, and compares."""

import csv
import datetime
import sys
from collections import defaultdict
from decimal import Decimal
from pathlib import Path

import openpyxl
from beancount import loader
from beancount.core.data import Transaction

folder = Path(sys.argv[1])
entries, errors, _ = loader.load_file(str(folder / "book.beancount"))
assert not errors, errors

# What is in the till by currency, what each kind of account comes to, and what all is worth at home.
cash = defaultdict(Decimal)
worth = Decimal(0)
transactions = 0
for entry in entries:
    if isinstance(entry, Transaction):
        transactions += 1
        till = [posting for posting in entry.postings if posting.account == "Assets:Cash"]
        assert len(till) == 1 and len(entry.postings) == 2, entry
        units = till[0].units
        cash[units.currency] += units.number
        # Beancount turns a total price into one for each unit, so that it is multiplied out and rounded again.
        if units.currency == "USD":
            worth += units.number
        elif till[0].price is not None:
            worth += round(units.number * till[0].price.number, 2)

rows = list(csv.DictReader((folder / "book.csv").open(newline="", encoding="utf-8")))
by_csv = defaultdict(Decimal)
worth_by_csv = Decimal(0)
for row in rows:
    if row["amount"]:
        by_csv[row["currency"]] += Decimal(row["amount"])
    if row["in home currency"]:
        worth_by_csv += Decimal(row["in home currency"])

sheet = openpyxl.load_workbook(folder / "book.xlsx", read_only=True)["Cash book"]
head, *cells = sheet.iter_rows(values_only=True)
by_workbook = defaultdict(Decimal)
worth_by_workbook = Decimal(0)
for row in cells:
    named = dict(zip(head, row))
    assert isinstance(named["day"], datetime.datetime), named
    assert isinstance(named["number"], int), named
    if named["amount"] is not None:
        assert isinstance(named["amount"], (int, float)), named
        by_workbook[named["currency"]] += Decimal(str(named["amount"]))
    if named["in home currency"] is not None:
        worth_by_workbook += Decimal(str(named["in home currency"]))

assert [row["number"] for row in rows] == [str(row[0]) for row in cells]
assert dict(cash) == dict(by_csv) == dict(by_workbook), (cash, by_csv, by_workbook)
assert worth == worth_by_csv == worth_by_workbook, (worth, worth_by_csv, worth_by_workbook)
assert transactions == sum(1 for row in rows if not row["gives a rate to"])
assert len(rows) > 300 and len(cash) == 3, (len(rows), cash)
print(f"{len(rows)} rows, {transactions} transactions: {dict(cash)}, worth {worth} USD, in all three")
