"""What history teaches against SciPy.

Reads histories with what we learned from them as JSON lines and learns anew, another way: the outlet's figure, the
families' and everything seen and to be seen are one normal vector, whose covariance is written down and conditioned
on what was seen by linear algebra. Days are integrated numerically over the rate of payment.

`tests/peer/run` installs SciPy, makes histories and runs this on them. Ends with an error if a figure differs.
"""

import json
import sys

import numpy as np
from scipy import integrate, optimize, special, stats

SHAPES = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0]


def near(what, ours, theirs, within=1e-7):
    if not abs(ours - theirs) <= within * max(1.0, abs(theirs)):
        raise SystemExit(f"{what}: {ours} is not {theirs}")


def covariance(owners, outlet, family, noise):
    """Of figures that belong to these families, each seen with its own noise, where one observation has variance 1."""
    count = len(owners)
    matrix = np.full((count, count), 1.0 / outlet)
    for i in range(count):
        for j in range(count):
            if owners[i] == owners[j]:
                matrix[i, j] += 1.0 / family
    return matrix + np.diag(noise)


def conditioned(prior, seen, owners, noise, target, target_noise, strength):
    """Mean and variance of what is sought, given what was seen; and the quadratic form of what was seen."""
    all_owners = owners + target
    matrix = covariance(all_owners, *strength, list(noise) + target_noise)
    n = len(owners)
    if n == 0:
        return np.full(len(target), prior), matrix, 0.0
    known, cross, own = matrix[:n, :n], matrix[n:, :n], matrix[n:, n:]
    off = np.array(seen) - prior
    solved = np.linalg.solve(known, off)
    mean = prior + cross @ solved
    return mean, own - cross @ np.linalg.solve(known, cross.T), float(off @ solved)


def check_weights(case):
    strength, (deviation, worth) = case["strength"], case["spread"]
    owners = [family for family, ratios in case["ratios"].items() for _ in ratios]
    seen = [ratio for ratios in case["ratios"].values() for ratio in ratios]
    families = list(case["ours"]["families"])
    noise = [1.0] * len(seen)
    mean, cov, form = conditioned(
        case["terms"]["ratio"], seen, owners, noise, families, [1.0] * len(families), strength
    )
    degrees = worth + len(seen)
    scale = (worth * deviation**2 + form) / degrees
    for i, family in enumerate(families):
        ours = case["ours"]["families"][family]
        near(f"{family} ratio", ours["ratio"], mean[i])
        low, high = stats.t.interval(0.8, degrees, loc=mean[i], scale=np.sqrt(scale * cov[i, i]))
        near(f"{family} low", ours["next"][0], low)
        near(f"{family} high", ours["next"][1], high)
    stakes = np.array([case["stakes"].get(family, 0.0) for family in families])
    near("scale", case["ours"]["scale"], np.sqrt(scale * (stakes @ cov @ stakes)))


def check_downgrades(case):
    strength, terms = case["strength"], case["terms"]
    families = list(case["ours"]["families"])
    owners = [family for family, loads in case["loads"].items() for _ in loads]
    loads = [load for of_family in case["loads"].values() for load in of_family]
    parts = [part for part, _ in loads]
    mean, cov, _ = conditioned(
        terms["chance"], parts, owners, [1.0] * len(parts), families, [0.0] * len(families), strength
    )
    # A drop is seen as far as the load was downgraded.
    lower = [i for i, part in enumerate(parts) if part > 0]
    drop, _, _ = conditioned(
        terms["drop"],
        [loads[i][1] for i in lower],
        [owners[i] for i in lower],
        [1.0 / parts[i] for i in lower],
        families,
        [0.0] * len(families),
        strength,
    )
    for i, family in enumerate(families):
        ours = case["ours"]["families"][family]
        near(f"{family} chance", ours["chance"], mean[i])
        near(f"{family} drop", ours["drop"], drop[i])
        count = 1.0 / cov[i, i]
        some = mean[i] * count
        low, high = stats.beta.ppf([0.1, 0.9], some + 0.5, count - some + 0.5)
        near(f"{family} share from", ours["share"][0], min(low, mean[i]) if some > 0 else 0.0, 1e-6)
        near(f"{family} share to", ours["share"][1], max(high, mean[i]), 1e-6)


def check_days(case):
    terms, paid = case["terms"], case["paid"]
    strength, before = terms["payments"], terms["days"]
    count = strength + len(paid)
    mean = (strength * before + sum(paid)) / count
    near("days", case["ours"]["days"], mean)
    if mean == 0:
        near("no days", case["ours"]["next"][1], 0.0)
        return
    fine, prior = [max(days, 0.5) for days in paid], max(before, 0.5)

    def evidence(shape):
        """How likely a shape makes what was seen, over all rates."""
        a, b = 1 + shape * strength, strength * prior
        # Taken about the likeliest rate, so that nothing overflows.
        def log(rate):
            return stats.gamma.logpdf(rate, a, scale=1 / b) + sum(
                stats.gamma.logpdf(days, shape, scale=1 / rate) for days in fine
            )
        best = (a - 1 + shape * len(fine)) / (b + sum(fine))
        top = log(best)
        width = best / np.sqrt(a + shape * len(fine))
        area, _ = integrate.quad(
            lambda rate: np.exp(log(rate) - top), max(best - 12 * width, 1e-12), best + 30 * width, points=[best], limit=200
        )
        return top + np.log(area)

    logs = np.array([evidence(shape) for shape in SHAPES])
    likely = np.exp(logs - special.logsumexp(logs))

    def within(days):
        return sum(
            share * stats.betaprime.cdf(days, shape, 1 + shape * count, scale=mean * count)
            for share, shape in zip(likely, SHAPES)
        )

    for part, ours in zip([0.1, 0.9], case["ours"]["next"]):
        theirs = optimize.brentq(lambda days: within(days) - part, 1e-9, 1e6, xtol=1e-12, rtol=1e-13)
        near(f"days at {part}", ours, theirs, 1e-5)


def main():
    count = 0
    for line in open(sys.argv[1]):
        case = json.loads(line)
        try:
            check_weights(case)
            check_downgrades(case)
            check_days(case)
        except SystemExit as differs:
            raise SystemExit(f"seed {case['seed']}: {differs}") from None
        count += 1
    print(f"{count} histories: SciPy learns the same from each")


main()
