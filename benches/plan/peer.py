"""The sell plan's example beside HiGHS (from PyPI, test-only) on the same problems, in one run:

    python benches/plan/peer.py BINARY FILE...

BINARY is the built example `plan`; each FILE is in the form that it reads. HiGHS is asked for the same optimum with no gap.
Prints, for each file, both values, both times and their ratio; ends with an error where the values differ by a cent. Times are
by the clock, since either may use several cores: nothing else should run. Ours is the median of five and that of the whole
program, its start and reading included. Gaps are shares of the value.
"""

import json
import os
import statistics
import subprocess
import sys
import time
from decimal import Decimal
from itertools import count

import highspy

LIMIT = 120.0
# From so many lots on ours gets a tenth of the peer's time, and what gap it is left with is told.
LARGE = 1000
# Margins take their own time: `MARGINS=1` before the command has them worked out as well.
MARGINS = bool(os.environ.get("MARGINS"))


def ours(binary, file, more):
    """The program's answer, and how long it took."""
    start = time.perf_counter()
    answer = subprocess.run([binary, file, *more], check=True, capture_output=True).stdout
    return json.loads(answer), time.perf_counter() - start


def state(problem):
    """The problem as a mixed integer program: a binary for every lot, outlet and tier, and for every freight step."""
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("time_limit", LIMIT)
    for gap in ("mip_rel_gap", "mip_abs_gap"):
        solver.setOptionValue(gap, 0.0)
    ids = count()

    def binary(gain):
        solver.addVar(0.0, 1.0)
        column = next(ids)
        solver.changeColCost(column, -float(gain))
        solver.changeColIntegrality(column, highspy.HighsVarType.kInteger)
        return column

    def row(least, most, terms):
        low = -highspy.kHighsInf if least is None else float(least)
        high = highspy.kHighsInf if most is None else float(most)
        solver.addRow(low, high, len(terms), list(terms), [float(factor) for factor in terms.values()])

    lots, base = problem["lots"], Decimal(0)
    chosen = [{} for _ in lots]
    for lot in lots:
        lot["mass"], lot["keep"] = Decimal(str(lot["mass"])), Decimal(str(lot.get("keep", 0)))
        base += lot["keep"]
    for outlet in problem["outlets"]:
        opens = binary(-Decimal(str(outlet.get("fixed", 0))))
        left = 1 - Decimal(str(outlet.get("fee_percent", 0))) / 100
        masses = {}
        for grade, tiers in outlet["prices"].items():
            members = [index for index, lot in enumerate(lots) if lot["grade"] == grade]
            aims = []
            for tier, following in zip(tiers, tiers[1:] + [None]):
                start = Decimal(str(tier.get("from", 0)))
                price = Decimal(str(tier["price"])) / 1000 * left
                aim = binary(0)
                aims.append(aim)
                row(None, 0, {aim: 1, opens: -1})
                taken = {}
                for index in members:
                    goes = binary(price * lots[index]["mass"] - lots[index]["keep"])
                    taken[goes] = lots[index]["mass"]
                    chosen[index][goes] = outlet["id"]
                    row(None, 0, {goes: 1, aim: -1})
                masses |= taken
                row(0, None, {**taken, aim: -start})
                if following is not None:
                    # Whole grams: below the next tier is at most one gram less.
                    row(None, 0, {**taken, aim: -(Decimal(str(following["from"])) - 1)})
            if aims:
                row(None, 1, dict.fromkeys(aims, 1))
        row(0, None, {**masses, opens: -max(Decimal(str(outlet.get("minimum", 0))), Decimal(1))})
        if "freight" in outlet:
            steps = {binary(-Decimal(str(cost))): Decimal(str(up_to)) for up_to, cost in outlet["freight"]}
            row(0, 0, {**dict.fromkeys(steps, 1), opens: -1})
            row(None, 0, {**masses, **{step: -up_to for step, up_to in steps.items()}})
    for ways in chosen:
        if ways:
            row(None, 1, dict.fromkeys(ways, 1))
    return solver, base


def main(binary, files):
    ratios, more, differing = [], [], 0
    for file in files:
        with open(file) as text:
            problem = json.load(text)
        solver, base = state(problem)
        start = time.perf_counter()
        solver.run()
        theirs_time = time.perf_counter() - start
        info = solver.getInfo()
        theirs = float(base) - info.objective_function_value
        ask = ["--no-margins"]
        if len(problem["lots"]) >= LARGE:
            ask += ["--seconds", f"{theirs_time / 10:.2f}"]
        times = []
        while len(times) < 5 and sum(times) < 20:
            plan, spent = ours(binary, file, ask)
            times.append(spent)
        taken = statistics.median(times)
        ratios.append(taken / theirs_time)
        value = float(plan["value"])
        same = abs(value - theirs) < 0.01
        differing += not same and plan["optimal"] and info.mip_gap <= 0
        with_margins = ""
        if MARGINS:
            times = []
            while len(times) < 5 and sum(times) < 10:
                times.append(ours(binary, file, [])[1])
            taken_more = statistics.median(times)
            more.append(taken_more / theirs_time)
            with_margins = f", with margins {taken_more:.2f} s, ratio {more[-1]:.2f}"
        gap = float(plan["gap"]) / value if value else 0.0
        print(f"{file}: ours {value:.4f} gap {gap:.1e} in {taken:.3f} s; "
              f"HiGHS {theirs:.4f} gap {info.mip_gap:.1e} in {theirs_time:.3f} s; ratio {taken / theirs_time:.4f}"
              f"{with_margins}{'' if same else '  DIFFERENT'}", flush=True)
    print(f"median ratio {statistics.median(ratios):.4f}, worst {max(ratios):.4f}")
    if more:
        print(f"with margins: median ratio {statistics.median(more):.2f}, worst {max(more):.2f}")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2:]))
