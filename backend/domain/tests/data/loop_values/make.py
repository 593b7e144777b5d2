"""Makes the invented networks beside this file and values them with HiGHS through scipy's linprog.

Every variety's low and high come from two linear programs of their own, so that nothing is shared
with the residual graph that is checked against them. Ran with Python 3.11, scipy 1.17; seeds below.
"""

import json
import random
from statistics import median

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import lil_matrix


def network(seed, varieties, wants, most_supply, most_wanted, multiplications=None):
    dice = random.Random(seed)
    ids = [f"v{i}" for i in range(varieties)]
    draw = multiplications or (lambda: round(dice.uniform(0.6, 7.0), 2))
    given = [{"id": v, "multiplication": draw()} for v in ids]
    asked = []
    for w in range(wants):
        chosen = dice.sample(ids, dice.choice([1, 1, 2, 3, 4]))
        worths = [1.0] + sorted((round(dice.uniform(0.4, 0.98), 2) for _ in chosen[1:]), reverse=True)
        accepts = [{"variety": v, "worth": x} for v, x in zip(chosen, worths)]
        asked.append({"id": f"w{w}", "count": dice.randint(1, most_wanted), "accepts": accepts})
    return {
        "varieties": given,
        "supply": supply(dice, ids, most_supply),
        "wants": asked,
        "reserve_share": 0.5,
        "want_share": 1.5,
    }


def supply(dice, ids, most):
    return [{"variety": v, "count": dice.randint(0, most)} for v in ids if dice.random() < 0.8]


def rebuild_values(given):
    g = [one["multiplication"] for one in given]
    middle = max(median(g) - 1, 0.25)
    return [middle / max(one - 1, 0.25) for one in g]


def value(document, rows):
    ids = [one["id"] for one in document["varieties"]]
    place = {v: i for i, v in enumerate(ids)}
    r = rebuild_values(document["varieties"])
    reserve = [document["reserve_share"] * one for one in r]
    counts = np.zeros(len(ids))
    for row in rows:
        counts[place[row["variety"]]] += row["count"]
    arcs, worth_of = [], [[] for _ in ids]
    for w, want in enumerate(document["wants"]):
        first = r[place[want["accepts"][0]["variety"]]]
        for one in want["accepts"]:
            v = place[one["variety"]]
            worth = document["want_share"] * first * one["worth"]
            worth_of[v].append(worth)
            arcs.append((v, w, worth - reserve[v]))
    table = lil_matrix((len(ids) + len(document["wants"]), len(arcs)))
    for at, (v, w, _) in enumerate(arcs):
        table[v, at] = 1
        table[len(ids) + w, at] = 1
    table = table.tocsr()
    gains = -np.array([gain for _, _, gain in arcs])
    wanted = [want["count"] for want in document["wants"]]

    def best(counts):
        got = linprog(gains, A_ub=table, b_ub=np.concatenate([counts, wanted]), method="highs")
        assert got.status == 0
        return -got.fun

    w = best(counts)
    values = []
    for v, name in enumerate(ids):
        one = np.zeros(len(ids))
        one[v] = 1
        low = reserve[v] + best(counts + one) - w
        if counts[v] > 0:
            high = reserve[v] + w - best(counts - one)
        else:
            high = max(worth_of[v] + [low])
        values.append({"variety": name, "rebuild": r[v], "low": low, "high": high})
    return w, values, reserve


def write(name, document):
    w, values, _ = value(document, document["supply"])
    for one in values:
        one["value"] = (one["low"] + one["high"]) / 2
    keep(name, document, {"welfare": w, "values": values})


def write_draws(name, document, draws):
    dice = random.Random(5)
    ids = [one["id"] for one in document["varieties"]]
    del document["supply"]
    document["supply_draws"] = [supply(dice, ids, 12) for _ in range(draws)]
    runs = [value(document, rows) for rows in document["supply_draws"]]
    told = []
    for v, first in enumerate(runs[0][1]):
        low, high = ([run[1][v][end] for run in runs] for end in ("low", "high"))
        middle = sorted((a + b) / 2 for a, b in zip(low, high))
        quantile = lambda q: next(x for i, x in enumerate(middle, 1) if i / draws >= q)
        # HiGHS's own tolerance is coarser than the 1e-9 of the definition, and no case lies between.
        short = sum(one > runs[0][2][v] + 1e-6 for one in low) / draws
        told.append({
            "variety": first["variety"], "rebuild": first["rebuild"],
            "low": sum(low) / draws, "high": sum(high) / draws, "value": sum(middle) / draws,
            "p10": quantile(0.1), "p90": quantile(0.9), "chance_short": short,
        })
    keep(name, document, {"welfare": sum(run[0] for run in runs) / draws, "values": told})


def keep(name, document, highs):
    with open(f"{name}.json", "w") as file:
        json.dump({"source": "invented network, values by HiGHS (make.py)", "input": document,
                   "highs": highs}, file, indent=None, separators=(",", ":"))
        file.write("\n")


write("scarce", network(1, 20, 60, 6, 6))
write("even", network(2, 30, 60, 11, 5))
write("plenty", network(3, 20, 30, 25, 4))
write("alike", network(4, 15, 60, 9, 4, lambda: 3.0))
write_draws("draws", network(6, 12, 25, 9, 5), 10)
