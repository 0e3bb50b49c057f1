"""Evenings that the example `evenings` wrote, chosen by OR-Tools' knapsack solvers: the quicker of two exact ones.

    python benches/evening/peer.py FILE

Prints for each make of evening both times and their ratio; ends with an error where the gains differ, or where the
program was slower at one make or over all.
"""

import statistics
import sys
import time

from ortools.algorithms.python import knapsack_solver

MAKES = ["not correlated", "weakly correlated", "strongly correlated", "gain is the time"]
SOLVERS = [
    knapsack_solver.SolverType.KNAPSACK_DYNAMIC_PROGRAMMING_SOLVER,
    knapsack_solver.SolverType.KNAPSACK_MULTIDIMENSION_BRANCH_AND_BOUND_SOLVER,
]
ROUNDS = 5
# Seconds; the branch and bound has no end of its own on some of them.
LIMIT = 2.0


def solve(kind, gains, sizes, limit):
    """The gain, whether it is proved, and the seconds that it took."""
    solver = knapsack_solver.KnapsackSolver(kind, "evening")
    solver.set_time_limit(LIMIT)
    start = time.perf_counter()
    solver.init(gains, [sizes], [limit])
    gain = solver.solve()
    return gain, solver.is_solution_optimal(), time.perf_counter() - start


def quickest(gains, sizes, limit):
    best = None
    for kind in SOLVERS:
        times = []
        for _ in range(ROUNDS):
            gain, proved, seconds = solve(kind, gains, sizes, limit)
            times.append(seconds)
            if seconds > LIMIT / 2:
                break
        took = statistics.median(times)
        if proved and (best is None or took < best[1]):
            best = (gain, took)
    return best


def main():
    ours, theirs, wrong = [], [], 0
    by_make = {}
    for line in open(sys.argv[1], encoding="ascii"):
        make, limit, gain, best, nanos, gains, sizes = line.split()
        gains, sizes = ([int(number) for number in text.split(",")] for text in (gains, sizes))
        found = quickest(gains, sizes, int(limit))
        if found is None:
            print(f"{MAKES[int(make)]}: the peer proved nothing in {LIMIT} s")
            continue
        if best != "true" or found[0] != int(gain):
            wrong += 1
            print(f"{MAKES[int(make)]}: {gain} (proved: {best}) against {found[0]}")
        ours.append(int(nanos) / 1e9)
        theirs.append(found[1])
        by_make.setdefault(int(make), []).append((ours[-1], theirs[-1]))
    slower = []
    for make, times in by_make.items():
        mine, other = (statistics.median(column) for column in zip(*times))
        print(f"{MAKES[make]}: {mine * 1e3:.3f} ms against {other * 1e3:.3f} ms, {other / mine:.1f} times as quick")
        if mine > other:
            slower.append(MAKES[make])
    print(f"{len(ours)} evenings, {wrong} with another gain; slowest {max(ours) * 1e3:.3f} ms against {max(theirs) * 1e3:.3f} ms")
    sys.exit(1 if wrong or slower or sum(ours) > sum(theirs) else 0)


main()
