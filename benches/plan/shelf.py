"""A shop's shelf as a problem for the sell plan, seeded: `shelf.py LOTS OUTLETS SEED > FILE`, in the form that
`server/trade/examples/plan.rs` reads.

Invented, after what a shop of this kind has: a third of the outlets are yards with a drive and no freight, the others take
parcels by a table of pounds; twenty grades of very different worth; lots from handfuls to drums; tiers by the load; some
outlets with a least delivery or a percent fee; keep values around four fifths of what a lot would fetch.
"""

import json
import random
import sys

GRADES = [("copper-bright", 9.2, 9), ("copper-1", 8.6, 12), ("copper-2", 7.9, 15), ("wire-80", 5.9, 18), ("wire-60", 4.1, 20),
          ("wire-40", 2.4, 25), ("brass-yellow", 5.0, 10), ("aluminium-sheet", 1.5, 22), ("aluminium-cast", 1.1, 25),
          ("steel", 0.18, 90), ("motors", 0.55, 60), ("transformers", 0.8, 30), ("board-gold-edge", 14.0, 6), ("board-mid", 6.5, 9),
          ("board-low", 2.2, 15), ("board-power", 0.9, 20), ("memory", 42.0, 2), ("processors", 80.0, 1.5), ("drives", 1.9, 12),
          ("relays", 11.0, 3)]
POUND = 453.59237


def shelf(lots, outlets, seed):
    rng = random.Random(seed)
    stock = []
    for index in range(lots):
        grade, price, kilograms = rng.choice(GRADES)
        mass = max(50, round(kilograms * 1000 * rng.uniform(0.15, 1.9)))
        keep = price * mass / 1000 * rng.uniform(0.55, 0.95) * (rng.random() < 0.7)
        stock.append({"id": f"L{index:04}", "grade": grade, "mass": str(mass), "keep": f"{keep:.2f}"})
    usual = {grade: sum(int(lot["mass"]) for lot in stock if lot["grade"] == grade) for grade, *_ in GRADES}
    buyers = []
    for index in range(outlets):
        yard = index % 3 == 0
        prices = {}
        for number, (grade, price, _) in enumerate(GRADES):
            metal = number < 12
            if rng.random() > (0.85 if metal == yard else 0.3):
                continue
            start = price * rng.uniform(0.82, 1.12) * (1 if metal == yard else 0.9)
            begin = 0 if rng.random() < 0.85 else rng.randrange(1_000, 8_000)
            tiers = []
            for _ in range(rng.randrange(1, 4)):
                tiers.append({"from": str(begin), "price": f"{start:.3f}"})
                begin += rng.randrange(5, 60) * max(1_000, usual[grade] // 100)
                start *= rng.uniform(1.01, 1.07)
            prices[grade] = tiers
        buyer = {"id": f"O{index:02}", "fixed": f"{rng.uniform(8, 95):.2f}", "prices": prices}
        if rng.random() < 0.4:
            buyer["minimum"] = str(rng.randrange(2_000, 40_000))
        if rng.random() < 0.3:
            buyer["fee_percent"] = str(rng.randrange(1, 5))
        if not yard:
            charge, steps = rng.uniform(6, 14), []
            for pound in range(1, 71):
                charge += rng.uniform(0.15, 1.3)
                steps.append([f"{pound * POUND:.5f}", f"{charge:.2f}"])
            # By the pallet above that.
            for hundred in range(1, 60):
                charge += rng.uniform(8, 40)
                steps.append([f"{(70 + 100 * hundred) * POUND:.5f}", f"{charge:.2f}"])
            buyer["freight"] = steps
        buyers.append(buyer)
    return {"lots": stock, "outlets": buyers}


if __name__ == "__main__":
    json.dump(shelf(*map(int, sys.argv[1:4])), sys.stdout)
