"""The sell plan against an independent solver.

Reads problems with our optimum as JSON lines, states each as a mixed integer program for HiGHS, and compares. All
arithmetic of prices and terms is done here anew. The solver works with a tolerance, so its plan is valued again with
exact decimals, and every condition on it is checked exactly.

`tests/peer/run` installs the solver, makes problems and runs this on them; more and larger ones:

    cargo run --release -p trade --example plan_instances -- 150 14 6 > target/peer/plans.jsonl
    target/peer/bin/python tests/peer/plan_milp.py target/peer/plans.jsonl

Ends with an error if any optimum differs by a cent or more.
"""

import json
import sys
import time
from collections import defaultdict
from decimal import Decimal, getcontext
from itertools import combinations, count, permutations

import highspy

getcontext().prec = 50
CENT = Decimal("0.01")


class Outlet:
    """What an outlet pays and costs, restated from its terms."""

    def __init__(self, raw):
        self.id = raw["id"]
        number = lambda key: Decimal(raw[key])
        way = raw["way"]
        self.insurance = Decimal(way.get("insurance", "0"))
        waiting = number("yearly") * raw["days_to_pay"] / 365
        spread = number("exchange_spread") if raw["foreign"] else Decimal(0)
        # One unit of payout at home, for a payout above zero: what the bank leaves, less waiting, less insurance.
        self.home = number("rate") * ((1 - spread) * (1 - waiting) - self.insurance)
        self.weighed = (1 - number("weight_deduction")) * number("paid_weight")
        self.kept = (1 - number("downgrade_chance") * number("downgrade_drop")) * (1 - number("percent_fee"))
        self.flat_fee = number("flat_fee")
        self.minimum_payout = number("minimum_payout")
        self.minimum_delivery = number("minimum_delivery")
        fixed = number("payout_fee") * (1 - waiting)
        self.drive = None
        self.freight = None
        if "freight" in way:
            self.freight = [(Decimal(up_to), Decimal(cost)) for up_to, cost in way["freight"]]
            fixed += Decimal(way["border"])
        else:
            trip = 2 * Decimal(way["km"]) * Decimal(way["per_km"])
            fixed += trip + Decimal(way["minutes"]) * Decimal(way["per_hour"]) / 60
            self.drive = {key: Decimal(way[key]) for key in ("km", "minutes", "per_km", "per_hour")}
        self.fixed = fixed
        least = number("minimum_grade")
        self.tiers = {grade: self.usable(tiers, least) for grade, tiers in raw["quotes"].items()}

    @staticmethod
    def usable(tiers, least):
        """(from, below, price, each): a tier that ends before the grade's minimum is never reached."""
        starts = [Decimal(tier["from"]) for tier in tiers] + [None]
        out = []
        for tier, start, end in zip(tiers, starts, starts[1:]):
            if end is None or end > least:
                out.append((max(start, least), end, Decimal(tier["price"]), tier["each"]))
        return out

    def paid(self, lot, tier):
        """The lot's part of the payout at a tier, in the outlet's currency."""
        _, _, price, each = tier
        amount = price * lot["pieces"] if each else price * lot["mass"] / 1000 * self.weighed
        return amount * self.kept if amount > 0 else amount

    def net(self, lots):
        """Exact net of delivering these lots; None where a condition fails."""
        if not lots:
            return Decimal(0)
        by_grade = defaultdict(list)
        for lot in lots:
            by_grade[lot["grade"]].append(lot)
        payout = -self.flat_fee
        mass = sum(lot["mass"] for lot in lots)
        for grade, members in by_grade.items():
            total = sum(lot["mass"] for lot in members)
            reached = [t for t in self.tiers.get(grade, []) if t[0] <= total and (t[1] is None or total < t[1])]
            if not reached:
                return None
            payout += sum(self.paid(lot, reached[0]) for lot in members)
        if mass < self.minimum_delivery or payout < self.minimum_payout:
            return None
        packing = Decimal(0)
        if self.freight is not None:
            fits = [cost for up_to, cost in self.freight if mass <= up_to]
            if not fits:
                return None
            packing = min(fits)
        return payout * self.home - self.fixed - packing


class Drives:
    """What one drive to a set of yards saves against a drive to each: every order is tried."""

    def __init__(self, raw, outlets):
        self.yards = [o for o, outlet in enumerate(outlets) if outlet.drive is not None] if raw.get("roads") else []
        drive = {o: outlets[o].drive for o in self.yards}
        index = {outlet.id: o for o, outlet in enumerate(outlets)}
        pace = Decimal(raw.get("minutes_per_km", "0"))
        km = {(a, b): drive[a]["km"] + drive[b]["km"] for a in self.yards for b in self.yards}
        for one, other, length in raw.get("roads", []):
            a, b = index[one], index[other]
            km[a, b] = km[b, a] = min(km[a, b], Decimal(length))
        for by in self.yards:
            for a in self.yards:
                for b in self.yards:
                    if a != b:
                        km[a, b] = min(km[a, b], km[a, by] + km[by, b] if by not in (a, b) else km[a, b])
        self.step = {}
        for a, b in permutations(self.yards, 2):
            less = drive[a]["km"] + drive[b]["km"] - km[a, b]
            minutes = min(less * pace, (drive[a]["minutes"] + drive[b]["minutes"]) / 2)
            self.step[a, b] = less * drive[a]["per_km"] + minutes * drive[a]["per_hour"] / 60

    def saved(self, visited):
        orders = permutations(o for o in self.yards if o in visited)
        return max(sum((self.step[pair] for pair in zip(order, order[1:])), Decimal(0)) for order in orders)


class Program:
    """A mixed integer program, row by row."""

    def __init__(self):
        self.solver = highspy.Highs()
        self.solver.setOptionValue("output_flag", False)
        for gap in ("mip_rel_gap", "mip_abs_gap"):
            self.solver.setOptionValue(gap, 0.0)
        self.solver.setOptionValue("mip_feasibility_tolerance", 1e-9)
        self.ids = count()

    def binary(self, gain):
        column = next(self.ids)
        self.solver.addVar(0.0, 1.0)
        self.solver.changeColCost(column, -float(gain))
        self.solver.changeColIntegrality(column, highspy.HighsVarType.kInteger)
        return column

    def row(self, least, most, terms):
        infinity = highspy.kHighsInf
        low = -infinity if least is None else float(least)
        high = infinity if most is None else float(most)
        columns, factors = list(terms), [float(factor) for factor in terms.values()]
        self.solver.addRow(low, high, len(columns), columns, factors)

    def solve(self):
        self.solver.run()
        status = self.solver.getModelStatus()
        if status != highspy.HighsModelStatus.kOptimal:
            raise SystemExit(f"the solver ended with {status}")
        return self.solver.getSolution().col_value


def solve(lots, outlets, drives):
    """The outlet of each lot in the solver's best plan; None is kept."""
    program = Program()
    at, open_at = {}, {}
    for o, outlet in enumerate(outlets):
        opens = open_at[o] = program.binary(-outlet.fixed - outlet.flat_fee * outlet.home)
        here = []
        for grade, tiers in outlet.tiers.items():
            members = [(i, lot) for i, lot in enumerate(lots) if lot["grade"] == grade]
            if not members:
                continue
            aims = []
            for tier in tiers:
                start, end = tier[0], tier[1]
                aim = program.binary(0)
                aims.append(aim)
                program.row(None, 0, {aim: 1, opens: -1})
                taken = {}
                for i, lot in members:
                    goes = program.binary(outlet.paid(lot, tier) * outlet.home - lot["keep"])
                    at[goes] = (i, o)
                    taken[goes] = lot["mass"]
                    here.append((goes, lot, tier))
                    program.row(None, 0, {goes: 1, aim: -1})
                program.row(0, None, {**taken, aim: -start})
                # A tier that is aimed at gets something, or an outlet could open with nothing.
                program.row(0, None, {**dict.fromkeys(taken, 1), aim: -1})
                if end is not None:
                    # Whole grams: below the next tier is at most one gram less.
                    program.row(None, 0, {**taken, aim: -(end - 1)})
            program.row(None, 1, dict.fromkeys(aims, 1))
        masses = {goes: lot["mass"] for goes, lot, _ in here}
        paid = {goes: outlet.paid(lot, tier) for goes, lot, tier in here}
        program.row(0, None, {**masses, opens: -max(outlet.minimum_delivery, Decimal(1))})
        program.row(0, None, {**paid, opens: -outlet.flat_fee - outlet.minimum_payout})
        if outlet.freight is not None:
            steps = {program.binary(-cost): up_to for up_to, cost in outlet.freight}
            program.row(0, 0, {**dict.fromkeys(steps, 1), opens: -1})
            program.row(None, 0, {**masses, **{step: -up_to for step, up_to in steps.items()}})
    for i in range(len(lots)):
        program.row(None, 1, {goes: 1 for goes, (lot, _) in at.items() if lot == i})
    # One drive: to a set of yards that are all open. More yards never save less, so it is all of them.
    routes = {}
    for size in range(2, len(drives.yards) + 1):
        for visited in combinations(drives.yards, size):
            routes[program.binary(drives.saved(visited))] = visited
    if routes:
        program.row(None, 1, dict.fromkeys(routes, 1))
    for o in drives.yards:
        program.row(None, 0, {open_at[o]: -1, **{route: 1 for route, visited in routes.items() if o in visited}})
    values = program.solve()
    place = [None] * len(lots)
    for goes, (i, o) in at.items():
        if values[goes] > 0.5:
            place[i] = o
    return place


def value(lots, outlets, drives, place):
    total = sum(lot["keep"] for lot, at in zip(lots, place) if at is None)
    for o, outlet in enumerate(outlets):
        net = outlet.net([lot for lot, at in zip(lots, place) if at == o])
        if net is None:
            return None
        total += net
    return total + drives.saved(set(place))


def main(path):
    worst, differing, problems, spent = Decimal(0), 0, 0, 0.0
    with open(path) as lines:
        for line in lines:
            raw = json.loads(line)
            lots = raw["lots"]
            for lot in lots:
                lot["mass"], lot["keep"] = Decimal(lot["mass"]), Decimal(lot["keep"])
            outlets = [Outlet(outlet) for outlet in raw["outlets"]]
            start = time.perf_counter()
            drives = Drives(raw, outlets)
            place = solve(lots, outlets, drives)
            spent += time.perf_counter() - start
            theirs = value(lots, outlets, drives, place)
            ours = Decimal(raw["ours"])
            problems += 1
            if theirs is None or abs(theirs - ours) >= CENT or raw["proof"] != "Optimal":
                differing += 1
                print(f"seed {raw['seed']}: ours {ours:.6f} ({raw['proof']}), theirs {theirs}")
            else:
                worst = max(worst, abs(theirs - ours))
    print(f"{problems} problems, {differing} differ; the largest difference of the others is {worst:.2e}")
    print(f"HiGHS took {spent:.1f} s")
    return 1 if differing or not problems else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
