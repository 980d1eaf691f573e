"""Reference answers for the engine's relations and the statistics, from published libraries.

Prints one line of JSON for each case: {"case": name, "in": inputs, "out": answers}. Inputs are drawn with a fixed seed. Units are SI with angles in
degrees, speeds in rpm and temperatures in degrees Celsius, but where a name says otherwise.
"""

import json
import math

import CoolProp.CoolProp as coolprop
import numpy as np
import pandas as pd
import pint
import psychrolib
import statsmodels.api as sm
from scipy import integrate, stats
from statsmodels.formula.api import ols
from statsmodels.stats.power import TTestIndPower
from uncertainties import ufloat
from uncertainties import umath

random = np.random.default_rng(20260412)
units = pint.UnitRegistry()
psychrolib.SetUnitSystem(psychrolib.SI)


def show(case, given, answers):
    def plain(value):
        if isinstance(value, dict):
            return {key: plain(inner) for key, inner in value.items()}
        if isinstance(value, (list, tuple, np.ndarray)):
            return [plain(inner) for inner in value]
        if isinstance(value, (int, np.integer)):
            return int(value)
        return float(value)

    print(json.dumps({"case": case, "in": plain(given), "out": plain(answers)}, allow_nan=False))


def draw(low, high):
    return random.uniform(low, high)


def readings(count, mean=500.0, spread=1.0):
    return [round(float(value), 3) for value in random.normal(mean, spread, count)]


def distributions():
    for _ in range(300):
        p = float(random.choice([draw(1e-6, 1 - 1e-6), draw(1e-12, 1e-3)]))
        df = float(10 ** draw(0, 6))
        show("student-quantile", {"p": p, "df": df}, {"t": stats.t.ppf(p, df)})
        t = draw(-8, 8)
        show("student-probability", {"t": t, "df": df}, {"p": stats.t.cdf(t, df)})
        show("normal-quantile", {"p": p}, {"z": stats.norm.ppf(p)})
        df1, df2, q = float(random.integers(1, 40)), float(random.integers(2, 300)), draw(0.01, 0.999)
        show("fisher-quantile", {"p": q, "df1": df1, "df2": df2}, {"f": stats.f.ppf(q, df1, df2)})
        f = draw(0.01, 30)
        show("fisher-upper", {"f": f, "df1": df1, "df2": df2}, {"p": stats.f.sf(f, df1, df2)})
        show("chi-squared-quantile", {"p": q, "df": df1}, {"x": stats.chi2.ppf(q, df1)})
    for _ in range(100):
        t, df, delta = draw(-5, 8), float(random.integers(1, 60)), draw(-4, 6)
        found = stats.nct.cdf(t, df, delta)
        # scipy gives no number in some far tails.
        if math.isfinite(found):
            show("noncentral-student", {"t": t, "df": df, "delta": delta}, {"p": found})
    for _ in range(100):
        many, df, c = int(random.integers(1, 60)), float(random.integers(2, 80)), draw(1.5, 5.0)
        density = lambda s: stats.chi.pdf(s * math.sqrt(df), df) * math.sqrt(df)
        inside = lambda s: (2 * stats.norm.cdf(c * s) - 1) ** many * density(s)
        level = integrate.quad(inside, 0, 1 + 12 / math.sqrt(df), epsabs=1e-13, limit=400)[0]
        if 0.05 < level < 0.9999:
            show("maximum-modulus", {"points": many, "df": df, "level": level}, {"factor": c})


def samples():
    for _ in range(200):
        base = readings(int(random.integers(2, 9)))
        test = readings(int(random.integers(2, 9)), 500.0 + draw(-3, 3), draw(0.3, 2.0))
        welch = stats.ttest_ind(test, base, equal_var=False)
        pooled = stats.ttest_ind(test, base, equal_var=True)
        interval = welch.confidence_interval(0.95)
        answers = {
            "welch_t": welch.statistic, "welch_df": welch.df, "welch_p": welch.pvalue,
            "lower": interval.low, "upper": interval.high, "pooled_t": pooled.statistic, "pooled_p": pooled.pvalue,
        }
        if len(set(base + test)) == len(base + test):
            answers["rank_p"] = stats.mannwhitneyu(test, base, method="exact").pvalue
        show("two-samples", {"base": base, "test": test}, answers)
    for _ in range(150):
        groups = [readings(int(random.integers(2, 6)), 500 + draw(-2, 2)) for _ in range(int(random.integers(2, 7)))]
        found = stats.f_oneway(*groups)
        show("groups", {"groups": groups}, {"f": found.statistic, "p": found.pvalue})
    for _ in range(100):
        count, ratio = float(random.integers(2, 30)), draw(0.2, 3.5)
        power = TTestIndPower().power(ratio, count, 0.05)
        # statsmodels rests on scipy's noncentral t and gives no number where power is all but 1.
        if math.isfinite(power):
            show("power", {"count": count, "ratio": ratio}, {"power": power})


def fits():
    for _ in range(150):
        rows, width = int(random.integers(8, 25)), int(random.integers(2, 5))
        design = np.column_stack([np.ones(rows)] + [random.uniform(-5, 5, rows) * 10 ** draw(-2, 3) for _ in range(width - 1)])
        observed = design @ random.uniform(-3, 3, width) + random.normal(0, 1, rows)
        found = sm.OLS(observed, design).fit()
        show("least-squares", {"design": design, "observed": observed},
             {"coefficients": found.params, "errors": found.bse, "spread": math.sqrt(found.mse_resid)})
    for _ in range(100):
        cells = [(first, second) for first in range(2) for second in range(3)]
        rows = [(first, second, round(500 + 3 * first + 2 * second + float(random.normal(0, 1)), 3))
                for first, second in cells for _ in range(int(random.integers(1, 4)))]
        rows += [(0, 0, round(500 + float(random.normal(0, 1)), 3))]
        frame = pd.DataFrame(rows, columns=["first", "second", "value"])
        if len(frame) <= 6:
            continue
        found = ols("value ~ C(first, Sum) * C(second, Sum)", frame).fit()
        answers = {}
        for kind in (1, 2, 3):
            table = sm.stats.anova_lm(found, typ=kind)
            answers[f"squares{kind}"] = [table["sum_sq"].loc[name] for name in
                                         ("C(first, Sum)", "C(second, Sum)", "C(first, Sum):C(second, Sum)")]
        show("two-factors", {"readings": rows}, answers)


def air():
    for _ in range(300):
        t = draw(0.5, 49.5)
        show("saturation", {"t": t}, {
            "if97": coolprop.PropsSI("P", "T", t + 273.15, "Q", 0, "IF97::Water"),
            "hyland_wexler": psychrolib.GetSatVapPres(t),
        })
    for _ in range(300):
        t, p, share = draw(5, 45), draw(80e3, 108e3), draw(0.05, 0.95)
        # The volume of moist air is per kilogram of dry air.
        ratio = coolprop.HAPropsSI("W", "T", t + 273.15, "P", p, "R", share)
        density = (1 + ratio) / coolprop.HAPropsSI("Vda", "T", t + 273.15, "P", p, "R", share)
        vapour = share * coolprop.PropsSI("P", "T", t + 273.15, "Q", 0, "IF97::Water")
        dry = p - vapour
        kelvin = (t + 273.15) / 298.15
        ca = 99e3 / dry * math.sqrt(kelvin)
        inhg = 29.92 * 3386.389
        show("moist-air", {"t": t, "p": p, "share": share}, {
            "density": density, "dry": dry, "j1349": 1.18 * ca - 0.18,
            "iso1585": (99e3 / dry) ** 1.2 * kelvin ** 0.6,
            "sae60": inhg / dry * math.sqrt((t * 1.8 + 32 + 459.67) / 519.67),
            "sound": coolprop.PropsSI("A", "T", t + 273.15, "P", p, "Air"),
        })
        wet = psychrolib.GetTWetBulbFromRelHum(t, share, p)
        if wet > 0.5:
            vapour = psychrolib.GetVapPresFromHumRatio(psychrolib.GetHumRatioFromTWetBulb(t, wet, p), p)
            show("wet-bulb", {"t": t, "wet": wet, "p": p}, {"vapour": vapour})
        height = draw(-200, 3000)
        show("altitude", {"h": height}, {"p": psychrolib.GetStandardAtmPressure(height)})


def geometry():
    for _ in range(300):
        bore, stroke, rod = draw(2.5, 5.0), draw(2.0, 4.5), draw(1.35, 2.2)
        swept = (math.pi / 4 * (bore * units.inch) ** 2 * (stroke * units.inch)).to("cc").magnitude
        torque, speed = draw(50, 900), draw(1000, 9000)
        power = (torque * units.force_pound * units.foot * speed * units.revolution / units.minute).to("horsepower").magnitude
        mean = (4 * math.pi * torque * units.force_pound * units.foot / (swept * 8 * units.cc)).to("psi").magnitude
        show("units", {"bore_in": bore, "stroke_in": stroke, "torque_lbft": torque, "rpm": speed},
             {"swept_cc": swept, "hp": power, "bmep_psi": mean})
        theta = math.radians(draw(0, 360))
        length, radius = rod * stroke, stroke / 2
        # The gudgeon pin on the axis, from the crank pin by Pythagoras, in long doubles.
        pin = np.longdouble(radius) * np.array([np.cos(np.longdouble(theta)), np.sin(np.longdouble(theta))])
        position = np.longdouble(radius) + np.longdouble(length) - (pin[0] + np.sqrt(np.longdouble(length) ** 2 - pin[1] ** 2))
        show("piston", {"stroke": stroke, "rod": length, "angle": math.degrees(theta)}, {"position": float(position)})


def budgets():
    for _ in range(200):
        bore, stroke = ufloat(draw(0.08, 0.12), draw(1e-6, 5e-5)), ufloat(draw(0.07, 0.1), draw(1e-6, 5e-5))
        rest = ufloat(draw(10e-6, 30e-6), draw(1e-8, 5e-7))
        first, second = ufloat(draw(40e-6, 90e-6), draw(1e-8, 5e-7)), ufloat(draw(40e-6, 90e-6), draw(1e-8, 5e-7))
        ratio = lambda chamber: 1 + math.pi / 4 * bore ** 2 * stroke / (chamber + rest)
        gain = ratio(first) - ratio(second)
        pair = lambda x: [x.n, x.s]
        show("shared-budget",
             {"bore": pair(bore), "stroke": pair(stroke), "rest": pair(rest), "first": pair(first), "second": pair(second)},
             {"ratio": pair(ratio(first)), "gain": pair(gain)})
        pressure, warmth, damp = ufloat(draw(90e3, 104e3), draw(10, 200)), ufloat(draw(283, 310), draw(0.1, 2)), ufloat(draw(500, 3000), draw(5, 100))
        factor = lambda observed: observed * (1.18 * 99e3 / (pressure - damp) * umath.sqrt(warmth / 298.15) - 0.18)
        base, test = ufloat(draw(300, 600), draw(0.2, 3)), ufloat(draw(300, 600), draw(0.2, 3))
        show("shared-air",
             {"p": pair(pressure), "t": pair(warmth), "e": pair(damp), "base": pair(base), "test": pair(test)},
             {"gain": pair(factor(test) - factor(base)), "share": pair(factor(test) / factor(base))})


distributions()
samples()
fits()
air()
geometry()
budgets()
