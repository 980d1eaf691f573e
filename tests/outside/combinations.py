"""Two-way tables with missing cells, fitted by statsmodels.

Reads target/outside/fresh/combinations.json: a list of designs, each a list of pulls with row, column, place in the session and value, with the row and
column of the reference. Prints for each design what ordinary least squares give: differences of cells from the reference, main effects and predictions of the
additive model with the spread of the full one, interactions of four cells, and ranks. Source: statsmodels 0.15.0, OLS; estimability by the row space.
"""

import itertools
import json
import pathlib

import numpy as np
import statsmodels.api as sm
from scipy import stats

FRESH = pathlib.Path(__file__).resolve().parents[2] / "target" / "outside" / "fresh"


def column(names, name):
    return [1.0 if other == name else 0.0 for other in names]


def answer(design):
    pulls, reference = design["pulls"], tuple(design["reference"])
    rows = sorted({pull["row"] for pull in pulls})
    columns = sorted({pull["column"] for pull in pulls})
    cells = sorted({(pull["row"], pull["column"]) for pull in pulls})
    values = np.array([pull["value"] for pull in pulls])
    full = np.array([column(cells, (pull["row"], pull["column"])) + [pull["at"]] for pull in pulls])
    additive = np.array([[1.0, pull["at"]] + column(rows, pull["row"]) + column(columns, pull["column"]) for pull in pulls])
    fit = sm.OLS(values, full).fit()
    freedom = len(values) - np.linalg.matrix_rank(full)
    spread = fit.ssr / freedom
    half = stats.t.ppf(0.975, freedom)

    def estimate(matrix, combination):
        combination = np.array(combination)
        if np.linalg.matrix_rank(np.vstack([matrix, combination])) > np.linalg.matrix_rank(matrix):
            return None
        weights = combination @ np.linalg.pinv(matrix.T @ matrix) @ matrix.T
        value, error = float(weights @ values), float(np.sqrt(spread * weights @ weights))
        return [value, value - half * error, value + half * error]

    def of_cells(parts):
        line = np.zeros(len(cells) + 1)
        for cell, factor in parts:
            if cell not in cells:
                return None
            line[cells.index(cell)] += factor
        return estimate(full, line)

    def of_both(cell):
        return np.array([1.0, 0.0] + column(rows, cell[0]) + column(columns, cell[1]))

    out = {"differences": [], "predictions": [], "main": [], "squares": []}
    for cell in itertools.product(rows, columns):
        if cell == reference:
            continue
        if cell in cells:
            out["differences"].append([*cell, of_cells([(cell, 1.0), (reference, -1.0)])])
        else:
            out["predictions"].append([*cell, estimate(additive, of_both(cell) - of_both(reference))])
    for to in rows:
        if to != reference[0]:
            out["main"].append([to, estimate(additive, of_both((to, reference[1])) - of_both(reference))])
    for to in columns:
        if to != reference[1]:
            out["main"].append([to, estimate(additive, of_both((reference[0], to)) - of_both(reference))])
    for a, b in itertools.permutations(rows, 2):
        for c, d in itertools.permutations(columns, 2):
            found = of_cells([((b, d), 1.0), ((a, d), -1.0), ((b, c), -1.0), ((a, c), 1.0)])
            if found is not None:
                out["squares"].append([a, b, c, d, found])
    out["interactions"] = int(np.linalg.matrix_rank(full) - np.linalg.matrix_rank(additive))
    out["freedom"] = int(freedom)
    return out


for design in json.loads((FRESH / "combinations.json").read_text(encoding="utf-8")):
    print(json.dumps(answer(design), allow_nan=False))
