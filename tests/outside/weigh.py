"""Weighs two sides again with statsmodels, numpy and scipy, from nothing but the figure and place of every pull.

`weigh.py ANSWERS` reads answers of `mulebook weigh --json`, one a line, works each out again from its `rests`, and prints
one line of JSON for each. It then draws random designs with their values, and prints those with their answers.

The method is that of docs/weighing.md, written anew here: least squares for the difference, components of scatter by
fitting constants (C. R. Henderson 1953, method III), degrees of freedom half way from Satterthwaite's to the fewest.
"""

import json
import sys

import numpy as np
import statsmodels.api as sm
from scipy import optimize, stats

FEWEST = 4


def dummies(names):
    levels = sorted(set(names))
    return np.array([[float(name == level) for level in levels] for name in names])


def residual_maker(design):
    return np.eye(len(design)) - design @ np.linalg.pinv(design)


def squares_left(design, values):
    return float(sm.OLS(values, design).fit().ssr)


def rank(design):
    return int(np.linalg.matrix_rank(design, tol=1e-8))


def stands(rows, key):
    order = sorted(range(len(rows)), key=lambda at: (rows[at]["session"], rows[at]["place"]))
    names, count, last = [None] * len(rows), 0, None
    for at in order:
        if last is not None and not key(rows[last], rows[at]):
            count += 1
        names[at], last = count, at
    return names


def component(more, less, units, values):
    """Squares that `more` takes beyond `less`: sum, degrees of freedom, share of the units' variance, squared shares."""
    freedom = rank(more) - rank(less)
    if freedom == 0:
        return {"sum": 0.0, "freedom": 0, "share": 0.0, "squares": 0.0}
    left = units.T @ residual_maker(less) @ units
    return {"sum": max(squares_left(less, values) - squares_left(more, values), 0.0), "freedom": freedom,
            "share": float(np.trace(left)), "squares": float(np.sum(left * left))}


def evidence(fixed, fit_ups, stood, values):
    with_fit_ups = np.hstack([fixed, fit_ups])
    whole = np.hstack([with_fit_ups, stood])
    freedom = len(values) - rank(whole)
    return {"pull": {"sum": squares_left(whole, values) if freedom else 0.0, "freedom": freedom},
            "stand": component(whole, with_fit_ups, stood, values),
            "refit": component(with_fit_ups, fixed, fit_ups, values)}


def side_variances(design, test, values):
    """Spreads of the two sides told apart by equating squares to their expectation; the last column is the test side."""
    maker = residual_maker(design)
    weights = np.linalg.pinv(design)[-1]
    left = maker @ values
    masks = [~test, test]
    found = np.array([np.sum(left[mask] ** 2) for mask in masks])
    expected = np.array([[np.sum(maker[np.ix_(a, b)] ** 2) for b in masks] for a in masks])
    if abs(np.linalg.det(expected)) < 1e-9 * max(expected[0, 0], expected[1, 1], 1e-9):
        return None
    inverse = np.linalg.inv(expected)
    shares = np.array([np.sum(weights[mask] ** 2) for mask in masks])
    return maker, weights, masks, inverse @ found, inverse, shares


def quadratic_freedom(maker, masks, factor, variance):
    diagonal = np.zeros(len(maker))
    for mask, part in zip(masks, factor):
        diagonal[mask] = part
    form = maker @ np.diag(diagonal) @ maker
    spread = np.zeros(len(maker))
    for mask, part in zip(masks, variance):
        spread[mask] = part
    product = form @ np.diag(spread)
    whole = float(np.trace(product) ** 2 / np.trace(product @ product))
    alone = [float(np.trace(form[np.ix_(mask, mask)]) ** 2 / np.sum(form[np.ix_(mask, mask)] ** 2)) for mask in masks]
    return whole, min(alone)


def weigh(rows, systematic=None):
    own = [row for row in rows if row["side"] != "book"]
    values = np.array([row["value"] for row in own])
    test = np.array([row["side"] == "test" for row in own])
    sessions = dummies([row["session"] for row in own])
    slopes = sessions * np.array([[row["place"]] for row in own])
    column = test[:, None].astype(float)

    def determined(design):
        return rank(design) > rank(design[:, :-1])

    sittings = sessions
    if not determined(np.hstack([sittings, slopes, column])):
        sittings = np.ones((len(own), 1))
    fixed = np.hstack([sittings, slopes, column])
    fit_ups = dummies([row["fit_up"] for row in own])
    stood = dummies(stands(own, lambda a, b: (a["session"], a["fit_up"], a["side"]) == (b["session"], b["fit_up"], b["side"])
                           and b["place"] - a["place"] < 1 + 1e-6))
    weights = np.linalg.pinv(fixed)[-1]
    value = float(sm.OLS(values, fixed).fit().params[-1])

    def share(units):
        found = float(np.sum((units.T @ weights) ** 2))
        return found if found > 1e-9 else 0.0

    shares = {"refit": share(fit_ups), "stand": share(stood), "pull": float(np.sum(weights ** 2))}
    found = evidence(fixed, fit_ups, stood, values)
    all_values = np.array([row["value"] for row in rows])
    cells = dummies([f"{row['session']}|{row['configuration']:06}" for row in rows])
    places = np.array([[row["place"]] for row in rows])
    book = evidence(
        np.hstack([cells, places]), dummies([row["fit_up"] for row in rows]),
        dummies(stands(rows, lambda a, b: (a["session"], a["fit_up"], a["configuration"])
                       == (b["session"], b["fit_up"], b["configuration"]))), all_values)
    chosen, borrowed = {}, {}
    for what in ("pull", "stand", "refit"):
        borrowed[what] = found[what]["freedom"] < min(FEWEST, book[what]["freedom"])
        chosen[what] = book[what] if borrowed[what] else found[what]

    pull = chosen["pull"]
    pull_square = pull["sum"] / pull["freedom"] if pull["freedom"] else 0.0

    if pull["freedom"] and not borrowed["pull"]:
        told = side_variances(np.hstack([stood, fit_ups, fixed]), test, values)
        if told is not None and max(told[3]) > 0:
            pooled = quadratic_freedom(told[0], told[2], [1.0, 1.0], np.maximum(told[3], 0.0))[0]
            pull = dict(pull, df=min(pull["freedom"], pooled))
    pull = dict({"df": pull["freedom"]}, **pull)

    def between(what):
        part = chosen[what]
        if part["freedom"] == 0:
            return None
        square, each = part["sum"] / part["freedom"], part["share"] / part["freedom"]
        variance = max((square - pull_square) / each, 0.0)
        whole = part["freedom"] * pull_square + part["share"] * variance
        parts = (part["freedom"] * pull_square ** 2 + 2 * part["share"] * pull_square * variance
                 + part["squares"] * variance ** 2)
        estimated = whole ** 2 / parts if parts > 0 else part["freedom"]
        fewest = part["share"] ** 2 / part["squares"]
        return {"square": square, "each": each, "freedom": fewest if part["freedom"] > 2 else (estimated + fewest) / 2}

    unit, count = None, 0.0
    if shares["refit"] > 0 and chosen["refit"]["freedom"]:
        unit, count, units, terms = between("refit"), max(shares["refit"], shares["stand"]), fit_ups, fixed
        basis = "refits"
    elif shares["refit"] == 0:
        basis = "same-fit-up" if chosen["stand"]["freedom"] else "same-fit-up-one-bracket"
        units, terms = stood, np.hstack([fit_ups, fixed])
        if shares["stand"] > 0 and chosen["stand"]["freedom"]:
            unit, count = between("stand"), shares["stand"]
    else:
        basis, units, terms = "these-assemblies", np.eye(len(own)), fixed
        if shares["stand"] > 0 and chosen["stand"]["freedom"]:
            unit, count = between("stand"), shares["stand"]

    # Four units a side: each side has its own spread.
    apart = None
    pure = all(len(set(test[unit_column > 0])) == 1 for unit_column in units.T)
    per_side = [sum(1 for unit_column in units.T if test[unit_column > 0][0] == side) for side in (False, True)]
    if pure and min(per_side) >= FEWEST:
        mean = units.T / units.sum(axis=0)[:, None]
        apart = side_variances(mean @ terms, np.array([test[unit_column > 0][0] for unit_column in units.T]), mean @ values)
        if apart is not None and min(apart[3]) <= 0:
            apart = None
        if apart is not None:
            maker, unit_weights, masks, variance, inverse, unit_shares = apart
            value = float(unit_weights @ (mean @ values))
            square = float(unit_shares @ variance)
            whole, fewest = quadratic_freedom(maker, masks, unit_shares @ inverse, variance)
            freedom = (whole + fewest) / 2
            basis = "refits-unequal" if basis == "refits" else basis
    if apart is None:
        parts = []
        if unit is None:
            parts = [(shares["pull"] * pull_square, pull["df"])]
        elif pull["freedom"]:
            counted = count / unit["each"]
            parts = [(max(unit["square"], pull_square) * counted, unit["freedom"]),
                     ((shares["pull"] - counted) * pull_square, pull["df"])]
        else:
            parts = [(unit["square"] * max(shares["pull"], count / unit["each"]), unit["freedom"])]
        square = sum(part for part, _ in parts)
        freedom = max(square ** 2 / sum(part ** 2 / df for part, df in parts), min(df for _, df in parts))
        alone = unit is not None and not pull["freedom"] and not borrowed["refit" if basis == "refits" else "stand"]
        if alone:
            told = side_variances(np.hstack([fit_ups, fixed]), test, values)
            if told is not None and max(told[3]) > 0:
                freedom = min(freedom, quadratic_freedom(told[0], told[2], [1.0, 1.0], np.maximum(told[3], 0.0))[0])

    error = float(np.sqrt(square))
    moved = {}
    for weight, row in zip(weights, own):
        for source, amount in row.get("shared", {}).items():
            moved[source] = moved.get(source, 0.0) + weight * amount
    known = float(np.sqrt(sum(amount ** 2 for amount in moved.values())))
    half = float(stats.t.ppf(0.975, freedom) * error)
    whole_error = float(np.hypot(error, known))
    if known > 1e-3 * error:
        # Half widths add in squares; the degrees of freedom are those that give this.
        half = float(np.hypot(half, stats.norm.ppf(0.975) * known))
        multiple = half / whole_error
        freedom = 1 / optimize.brentq(lambda x: stats.t.ppf(0.975, 1 / x) - multiple, 1e-9, 1 / freedom, xtol=1e-15)
    else:
        half = float(stats.t.ppf(0.975, freedom) * whole_error)
    return {"value": value, "error": whole_error, "freedom": freedom, "lower": value - half, "upper": value + half,
            "systematic": known, "noise": basis}


def designs():
    random = np.random.default_rng(20260413)
    made = 0
    while made < 300:
        rows = []
        own_sessions = int(random.integers(1, 3))
        gain, refit, stray = random.normal(0, 3), random.choice([0.0, 0.3, 0.8]), random.choice([0.0, 0.4])
        moves = random.choice(["refits", "one fit-up"])

        def session(name, order, side_of):
            place, fit_up = 0, 0
            at_once = {}
            for number, letter in enumerate(order):
                fit_up = number if moves == "refits" else 0
                unit = f"{name}-{fit_up}"
                at_once.setdefault(unit, random.normal(0, refit))
                away = random.normal(0, stray)
                for _ in range(int(random.integers(1, 4))):
                    value = (100 + (gain if letter == "b" else 0) + (5 if letter == "c" else 0) - 0.15 * place
                             + at_once[unit] + away + random.normal(0, 0.3 if letter != "b" else 0.5))
                    rows.append({"pull": f"{name}-{place}", "side": side_of(letter), "configuration": "abc".index(letter) + 1,
                                 "fit_up": unit, "session": name, "place": float(place), "value": round(float(value), 6)})
                    place += 1
        for number in range(own_sessions):
            blocks = "".join(random.choice(list("ab"), int(random.integers(2, 11))))
            session(f"own{number}", blocks, lambda letter: "base" if letter == "a" else "test")
        for number in range(int(random.integers(0, 4))):
            session(f"book{number}", random.choice(["aca", "bcb", "acaca", "aa", "bab"]), lambda letter: "book")
        try:
            answer = weigh(rows)
        except (ZeroDivisionError, ValueError, IndexError, np.linalg.LinAlgError):
            continue
        own = [row for row in rows if row["side"] != "book"]
        sides = {row["side"] for row in own}
        fixed_rank_is_short = not np.isfinite(answer["error"]) or answer["error"] <= 0
        if sides != {"base", "test"} or fixed_rank_is_short:
            continue
        print(json.dumps({"case": "design", "in": rows, "out": answer}))
        made += 1


def varied(given):
    """What going from one value to another brings in per cent, with half the width of its 95 % interval: a mean for each
    group, one drift, and a straight line or a parabola in what was varied."""
    rows = given["rows"]
    groups = [row["group"] for row in rows]
    values = np.array([row["value"] for row in rows])
    means = {name: values[[group == name for group in groups]].mean() for name in set(groups)}
    percent = np.array([100 * row["value"] / means[row["group"]] for row in rows])
    setting = np.array([row["setting"] for row in rows])
    terms = [setting, setting ** 2] if given["bent"] else [setting]
    design = np.hstack([dummies(groups), np.array([[row["place"]] for row in rows]), np.column_stack(terms)])
    a, b = given["from"], given["to"]
    change = np.zeros(design.shape[1])
    change[-len(terms):] = [b - a, b * b - a * a] if given["bent"] else [b - a]
    found = sm.OLS(percent, design).fit().t_test(change)
    lower, upper = np.ravel(found.conf_int(0.05))
    return {"value": float(np.ravel(found.effect)[0]), "half": float(upper - lower) / 2}


if len(sys.argv) > 1:
    for line in open(sys.argv[1], encoding="utf-8"):
        given = json.loads(line)
        if "bent" in given:
            print(json.dumps({"case": "varied", "in": None, "out": varied(given)}))
            continue
        print(json.dumps({"case": "answer", "in": None, "out": weigh(given["rests"])}))
designs()
