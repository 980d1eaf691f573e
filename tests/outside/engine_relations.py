"""Reference answers for the relations of the engine that published libraries can work out in a way of their own: integrals, derivatives and roots by
scipy, linear systems by numpy, units by pint, water and air by CoolProp and psychrolib.

Prints one line of JSON for each case: {"case": name, "in": inputs, "out": answers}. Inputs are drawn with a fixed seed. Units are SI with angles in
degrees, speeds in rpm and temperatures in degrees Celsius, but where a name says otherwise.
"""

import json
import math

import CoolProp.CoolProp as coolprop
import numpy as np
import pint
import psychrolib
from scipy import differentiate, integrate, optimize

random = np.random.default_rng(20260512)
units = pint.UnitRegistry()
psychrolib.SetUnitSystem(psychrolib.SI)
TIMES = 200


def show(case, given, answers):
    def plain(value):
        if isinstance(value, dict):
            return {key: plain(inner) for key, inner in value.items()}
        if isinstance(value, (list, tuple, np.ndarray)):
            return [plain(inner) for inner in value]
        return float(value)

    print(json.dumps({"case": case, "in": plain(given), "out": plain(answers)}, allow_nan=False))


def integral(function, low, high):
    # Volumes are millionths of a cubic metre: only the share counts.
    return integrate.quad(function, low, high, epsabs=0, epsrel=1e-11, limit=200)


def draw(low, high):
    return random.uniform(low, high)


def clearance():
    bore, stroke, gasket = draw(2.5, 5.0) * units.inch, draw(2.0, 4.5) * units.inch, draw(0.5, 2.0) * units.mm
    wider, deck = draw(0.0, 3.0) * units.mm, draw(-0.01, 0.03) * units.inch
    chamber, crown = draw(30, 90) * units.cc, draw(-15, 15) * units.cc
    land, height = draw(0.2, 1.5) * units.mm, draw(2, 8) * units.mm
    disc = lambda diameter: math.pi / 4 * diameter ** 2
    parts = [chamber, disc(bore + wider) * gasket, disc(bore) * deck, crown, (disc(bore) - disc(bore - land)) * height]
    total = sum((part.to("cc") for part in parts), 0 * units.cc)
    if total.magnitude < 5:
        return clearance()
    ratio = (1 + (disc(bore) * stroke / total).to("dimensionless")).magnitude
    metre = lambda quantity: quantity.to("m").magnitude
    show("clearance", {
        "bore": metre(bore), "stroke": metre(stroke), "gasket": metre(gasket), "gasket_bore": metre(bore + wider), "deck": metre(deck),
        "chamber": chamber.to("m^3").magnitude, "crown": crown.to("m^3").magnitude, "land": metre(bore - land), "height": metre(height),
    }, {"total": total.to("m^3").magnitude, "ratio": ratio, "quench": metre(deck + gasket)})


def motion():
    stroke, rod, rpm, angle = draw(0.05, 0.12), draw(1.35, 2.2), draw(1000, 12000), math.radians(draw(0, 360))
    length, radius, omega = rod * stroke, stroke / 2, rpm * 2 * math.pi / 60
    place = lambda theta: radius + length - (radius * np.cos(theta) + np.sqrt(length ** 2 - (radius * np.sin(theta)) ** 2))
    slope = lambda theta: differentiate.derivative(place, theta, initial_step=0.1, order=10).df
    speed = omega * slope(angle)
    bend = differentiate.derivative(slope, angle, initial_step=0.1, order=10).df
    fastest = optimize.minimize_scalar(lambda theta: -slope(theta), bounds=(0.5, 1.57), method="bounded", options={"xatol": 1e-10})
    closing = draw(20, 90)
    bore, rest = draw(0.06, 0.12), draw(20e-6, 120e-6)
    swept = integral(lambda theta: math.pi / 4 * bore ** 2 * slope(theta), 0, math.pi + math.radians(closing))[0]
    show("motion", {"stroke": stroke, "rod": length, "rpm": rpm, "angle": math.degrees(angle), "closing": closing, "bore": bore, "rest": rest}, {
        "speed": speed, "acceleration": omega ** 2 * bend, "greatest": -omega * fastest.fun, "at": math.degrees(fastest.x),
        "closed_ratio": 1 + swept / rest,
    })


def camshaft():
    # Opening and closing from duration and centreline and back, as the two-by-two systems that they are.
    forth = np.array([[0.5, -1.0], [0.5, 1.0]])
    inlet, exhaust = np.array([draw(200, 320), draw(98, 118)]), np.array([draw(200, 320), draw(98, 118)])
    opens, closes = forth @ inlet + np.array([0, -180])
    first, last = np.array([[0.5, 1.0], [0.5, -1.0]]) @ exhaust + np.array([-180, 0])
    back = np.linalg.solve(forth, np.array([opens, closes + 180]))
    show("camshaft", {"inlet": inlet, "exhaust": exhaust}, {
        "opens": opens, "closes": closes, "first": first, "last": last, "back": back, "overlap": opens + last,
        "separation": (inlet[1] + exhaust[1]) / 2, "advance": (exhaust[1] - inlet[1]) / 2,
    })
    # A card with one misprint: the least squares of all but the misprint leave nothing over.
    rows = np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0.5, 0.5], [0.5, 0, -1, 0], [0.5, 0, 1, 0], [0, 0.5, 0, 1], [0, 0.5, 0, -1]])
    constants = np.array([0, 0, 0, 0, 0, -180, -180, 0])
    stated = rows @ np.array([inlet[0], exhaust[0], inlet[1], exhaust[1]]) + constants
    wrong, off = int(random.integers(0, 8)), draw(3, 12) * random.choice([-1, 1])
    stated[wrong] += off
    rest = [row for row in range(8) if row != wrong]
    fit = np.linalg.lstsq(rows[rest], (stated - constants)[rest], rcond=None)[0]
    show("card", {"stated": stated}, {"wrong": wrong, "follows": rows[wrong] @ fit + constants[wrong]})


def nozzle():
    pressure, kelvin, drop = draw(85e3, 105e3), draw(275, 315), draw(0.5e3, 60e3)
    gas, gamma = 287.055, 1.4
    density = lambda p: pressure / (gas * kelvin) * (p / pressure) ** (1 / gamma)
    # Speed behind from the energy of an expansion without loss; the flux is the densest that any pressure on the way gives.
    flux = lambda p: density(p) * math.sqrt(2 * integral(lambda x: 1 / density(x), p, pressure)[0])
    critical = optimize.minimize_scalar(lambda share: -flux(share * pressure), bounds=(0.3, 0.8), method="bounded", options={"xatol": 1e-9}).x
    behind = max(pressure - drop, critical * pressure)
    show("nozzle", {"p": pressure, "kelvin": kelvin, "drop": drop}, {
        "compressible": flux(behind), "incompressible": math.sqrt(2 * density(pressure) * drop), "critical": critical,
        "sound": math.sqrt(gamma * gas * kelvin),
    })


def bench():
    cubic_foot = units.foot ** 3 / units.minute
    flow, leak = draw(20, 400) * cubic_foot, draw(0, 5) * cubic_foot
    inch = 249.08891 * units.pascal
    read, wanted = draw(8, 30) * inch, draw(10, 28) * inch
    shown = draw(0.95, 1.05)
    # Bernoulli: the speed goes with the root of the pressure, and a leak read at another pressure with it.
    leak_at = draw(5, 20) * inch
    clean = flow - leak * ((read / leak_at) ** 0.5).to("dimensionless")
    brought = flow * ((wanted / read) ** 0.5).to("dimensionless")
    t, p, share = draw(5, 35), draw(90e3, 104e3), draw(0.1, 0.9)
    ratio = coolprop.HAPropsSI("W", "T", t + 273.15, "P", p, "R", share)
    density = (1 + ratio) / coolprop.HAPropsSI("Vda", "T", t + 273.15, "P", p, "R", share)
    standard = coolprop.PropsSI("D", "T", 293.15, "P", 101325, "Air")
    cubic = lambda quantity: quantity.to("m^3/s").magnitude
    bar = lambda quantity: quantity.to("Pa").magnitude
    valve, lift, throat, stem = draw(0.025, 0.055), draw(0.001, 0.014), draw(0.022, 0.05), draw(0.005, 0.009)
    lateral = 2 * integral(lambda angle: valve / 2 * lift, 0, math.pi)[0]
    ring = 2 * math.pi * integral(lambda radius: radius, stem / 2, throat / 2)[0]
    show("bench", {
        "flow": cubic(flow), "leak": cubic(leak), "read": bar(read), "wanted": bar(wanted), "leak_at": bar(leak_at), "shown": shown,
        "t": t, "p": p, "share": share, "valve": valve, "lift": lift, "throat": throat, "stem": stem,
    }, {
        "clean": cubic(clean), "brought": cubic(brought), "standard": cubic(flow) * math.sqrt(density / standard),
        "plate": 1 / shown, "curtain": lateral, "ring": ring, "speed": cubic(flow) / ring,
    })


def lifts():
    places = np.sort(random.uniform(0.001, 0.014, int(random.integers(3, 9))))
    if np.min(np.diff(places)) < 1e-5:
        return lifts()
    values = random.uniform(20, 300, len(places))
    low, high = np.sort(random.uniform(places[0], places[-1], 2))
    inside = np.unique(np.concatenate([[low, high], places[(places > low) & (places < high)]]))
    area = integrate.trapezoid(np.interp(inside, places, values), inside)
    show("lifts", {"lifts": places, "values": values, "from": low, "to": high}, {"mean": area / (high - low), "at": np.interp(low, places, values)})


def run():
    torque, rpm, swept = draw(50, 900) * units.newton * units.metre, draw(1500, 9000) * units.revolution / units.minute, draw(0.4, 8) * units.litre
    power = (torque * rpm).to("kW")
    fuel, air = draw(200, 500) * units.gram / (units.kilowatt * units.hour) * power, draw(11, 16)
    flow = fuel * air
    density, heat = draw(1.0, 1.3) * units.kilogram / units.metre ** 3, draw(20, 46) * units.megajoule / units.kilogram
    filled = (flow / (density * swept * rpm / (2 * units.revolution))).to("dimensionless").magnitude
    inertia, rate = draw(0.1, 3) * units.kilogram * units.metre ** 2, draw(50, 800) * units.revolution / units.minute / units.second
    show("run", {
        "torque": torque.magnitude, "rpm": rpm.magnitude, "swept": swept.to("m^3").magnitude, "fuel": fuel.to("kg/s").magnitude,
        "air": flow.to("kg/s").magnitude, "density": density.magnitude, "heat": heat.to("J/kg").magnitude, "inertia": inertia.magnitude,
        "rate": rate.magnitude,
    }, {
        "power": power.to("W").magnitude, "specific": (fuel / power).to("kg/J").magnitude, "filled": filled, "ratio": air,
        "efficiency": (power / (fuel * heat)).to("dimensionless").magnitude, "spun": (inertia * rate).to("N*m").magnitude,
    })


def mixture():
    # Moles of air, CO2, H2O and N2 of a burnt molecule, from the balance of C, H, O and N; air is O2 + 3.773 N2.
    carbon, hydrogen, oxygen, nitrogen = draw(1, 10), draw(1, 20), draw(0, 1.5), draw(0, 1)
    balance = np.array([[0, 1, 0, 0], [0, 0, 2, 0], [-2, 2, 1, 0], [-2 * 3.773, 0, 0, 2]], dtype=float)
    moles = np.linalg.solve(balance, np.array([carbon, hydrogen, oxygen, nitrogen]))[0]
    molar = 12.011 * carbon + 1.008 * hydrogen + 15.999 * oxygen + 14.007 * nitrogen
    if moles < 0.1:
        return mixture()
    show("mixture", {"carbon": carbon, "hydrogen": hydrogen, "oxygen": oxygen, "nitrogen": nitrogen}, {
        "ratio": moles * 4.773 * 28.962 / molar, "molar": molar,
    })


def diesel():
    t, p, share = draw(11, 39), draw(85e3, 104e3), draw(0.1, 0.9)
    dry = p - share * coolprop.PropsSI("P", "T", t + 273.15, "Q", 0, "IF97::Water")
    fuel, swept, rpm, boost = draw(1, 12) * units.gram / units.second, draw(1, 8) * units.litre, draw(1200, 4000) / units.minute, draw(1, 2.5)
    # Two turns of the shaft for each cycle.
    each = (fuel / (rpm / 2) / swept).to("mg/litre").magnitude
    corrected = each / boost
    engine = np.interp(corrected, [37.2, 37.2, 65, 65], [0.2, 0.036 * 37.2 - 1.14, 0.036 * 65 - 1.14, 1.2])
    if corrected < 37.2:
        engine = 0.2
    if corrected > 65:
        engine = 1.2
    air = np.exp(np.array([[1.0, 0.7], [0.7, 1.2], [0.7, 0.7]]) @ np.log([99e3 / dry, (t + 273.15) / 298.15]))
    din = 101.3e3 / p * math.sqrt((t + 273.15) / 293.15)
    ca = 99e3 / dry * math.sqrt((t + 273.15) / 298.15)
    reference = 100e3 - 0.3 * coolprop.PropsSI("P", "T", 298.15, "Q", 0, "IF97::Water")
    k = dry / reference * math.sqrt(298.15 / (t + 273.15))
    show("diesel", {"t": t, "p": p, "share": share, "fuel": fuel.magnitude, "swept": swept.magnitude, "rpm": rpm.to("1/minute").magnitude, "boost": boost}, {
        "each": each, "factors": air ** engine, "din": din, "unrounded": (ca - 0.15) / 0.85, "k": k, "alpha": k - 0.7 * (1 - k) * (1 / 0.8 - 1),
    })


def reduction():
    height, sea = draw(0, 2500), draw(97e3, 104.5e3)
    standard = psychrolib.GetStandardAtmPressure
    # The altitude of the standard atmosphere at which its pressure is the one reduced to sea level.
    level = optimize.brentq(lambda h: standard(h) - sea, -500, 1000, xtol=1e-9)
    show("reduction", {"height": height, "sea": sea}, {"altimeter": standard(level + height), "ratio": sea * standard(height) / standard(0)})


def milling():
    cut, bank, face = draw(0.05e-3, 1e-3), math.radians(draw(0, 120)), math.radians(draw(-10, 20))
    half = bank / 2
    axis, normal = np.array([math.sin(half), math.cos(half)]), np.array([-math.cos(half + face), math.sin(half + face)])
    # The head comes down its bank by the cut; the intake follows straight down and loses metal along its face's normal.
    drop, metal = np.linalg.solve(np.column_stack([[0, -1], normal]), -cut * axis)
    along = np.array([math.sin(half + face), math.cos(half + face)])
    area, edge, share = draw(20e-4, 90e-4), draw(0.1e-3, 2e-3), draw(0.2, 0.8)
    # A straight-walled chamber whose middle lies where it is said to lie: the cut's depth summed over a disc.
    radius = 0.2 * min(share, 1 - share)
    depth = lambda place: edge * (1 - place)
    slices = integral(lambda x: 2 * math.sqrt(radius ** 2 - x ** 2) * depth(share + x), -radius, radius)[0]
    show("milling", {"cut": cut, "bank": math.degrees(bank), "face": math.degrees(face), "area": area, "edge": edge, "share": share}, {
        "drop": drop, "metal": metal, "offset": along @ (cut * axis), "angled": area * slices / (math.pi * radius ** 2),
    })


for _ in range(TIMES):
    clearance()
    motion()
    camshaft()
    nozzle()
    bench()
    lifts()
    run()
    mixture()
    diesel()
    reduction()
    milling()
