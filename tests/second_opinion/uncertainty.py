#!/usr/bin/env python3
"""A second opinion on uncertainty and guarded decisions.

Makes a seeded book of 1,000 checks in a temporary folder: fluids with one, two, three and four certified rows, dynamic
and kinematic; factored geometries, cylinders, cone and plates; thermometers with and without corrections; replicates,
some of which showed no figure; a simple and two kinds of guarded policies. The program seals it and shows each check as
JSON. Each figure is then worked out anew: standard uncertainty, degrees of freedom and the slope of the fluid by GTC,
which propagates uncertain numbers through the very equation of the deviation; Student's factor and the conformance
probability by scipy; and [computed] of each check by recompute.py.

A figure of 6 significant digits agrees within half a unit of its last digit and a relative 1e-9; degrees of freedom
agree exactly, but where the unrounded ones lie within 1e-6, or a relative 1e-9, of where they step; verdicts agree but
where a mean lies within half a unit of the last digit of an outer limit, which no file holds. At the end every compared
figure of some checks is made wrong by one unit of its last digit, and each of these must be noticed.

    uncertainty.py PROGRAM [--checks N] [--seed N] [--keep DIR]

The last line is 'N passed, N failed', exit 1 if any failed. Exit 3: the program could not be used.
"""

import argparse
import concurrent.futures
import copy
import datetime
import json
import math
import random
import subprocess
import sys
import tempfile
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import GTC
import numpy
import scipy.stats

import recompute

COVERAGE = 0.9545
ZERO_C = 273.15
RANK = ["pass", "conditional-pass", "conditional-fail", "fail"]
FIGURES = ["lower_mpa_s", "upper_mpa_s", "standard_uncertainty_mpa_s", "expanded_uncertainty_mpa_s",
           "test_uncertainty_ratio", "conformance_probability", "acceptance_lower_mpa_s", "acceptance_upper_mpa_s"]
# What the program tells of more degrees of freedom.
MOST_DEGREES = 2**32 - 1
# So many checks have each of their figures made wrong.
MADE_WRONG = 10

# --- what the laboratory has. Figures are texts, as they stand in the files ------------------------------------------

POLICIES = {
    # id: first day, groups, decision, basis, % of value, % of range
    "P-1": ("2024-01-01", None, "simple", "certified", "1.0", "1.0"),
    "P-2": ("2024-07-01", None, "guarded", "corrected", "1.0", "1.0"),
    "P-3": ("2025-07-01", None, "guarded-four-way", "corrected", "1.25", "0.75"),
    "P-4": ("2024-01-01", ["plates"], "guarded-four-way", "corrected", "0.8", "1.2"),
    "P-5": ("2025-01-01", ["plates"], "simple", "corrected", "0.5", "0.9"),
    "P-6": ("2025-10-01", ["plates"], "guarded", "corrected", "1.5", "0.0"),
}
WINDOW_K = 0.2

INSTRUMENTS = {
    # id: group, torque resolution %, repeatability %, springs (first day, full-scale torque uN.m)
    "VM-1": (None, "0.1", "0.2", [("2023-05-02", "80.0")]),
    "VM-2": (None, "0.1", "0.02", [("2023-05-02", "673.7"), ("2025-02-03", "718.7")]),
    "VM-3": (None, "0.01", "0.0", [("2023-05-02", "1437.4")]),
    "VM-4": ("plates", "0.5", "0.05", [("2023-05-02", "5749.6")]),
    "VM-5": ("plates", "0.02", "0.1", [("2023-05-02", "200"), ("2024-12-01", "205.5"), ("2025-11-11", "198.4")]),
}

GEOMETRIES = {
    "F-1": {"kind": '"factored"', "range_constant_mpa_s_rpm": "36000.0", "at_torque_un_m": "80.0", "guard": '"required"'},
    "F-2": {"kind": '"factored"', "range_constant_mpa_s_rpm": "9375", "at_torque_un_m": "67.37", "guard": '"not-used"',
            "shear_rate_per_rpm": "0.93"},
    "B-1": {"kind": '"coaxial-cylinders"', "bob_radius_mm": "12.575", "cup_radius_mm": "13.785", "bob_length_mm": "37.7"},
    "B-2": {"kind": '"coaxial-cylinders"', "bob_radius_mm": "5.87", "cup_radius_mm": "9.5175", "bob_length_mm": "31.5",
            "end_effect": "1.21"},
    "C-1": {"kind": '"cone-plate"', "radius_mm": "24.98", "angle_deg": "1.565"},
    "Q-1": {"kind": '"parallel-plates"', "radius_mm": "12.5", "gap_mm": "0.75"},
}

FLUIDS = {
    # One row of figures each: temperature; viscosity, or kinematic viscosity and density; U; coverage factor.
    "ONE": [{"t": "25.0", "mpa_s": "484.0", "percent": "0.40", "k": "2.0", "coefficient": "-2.1"}],
    "ONE-HOT": [{"t": "60.00", "mpa_s": "95.13", "own": "0.31", "k": "2.13", "coefficient": "-4.85"}],
    "TWO": [{"t": "20.0", "mpa_s": "1312", "percent": "0.25", "k": "2.0"},
            {"t": "25.0", "mpa_s": "987.4", "own": "2.6", "k": "1.96"}],
    "THREE": [{"t": "20.0", "mpa_s": "640.2", "percent": "0.27", "k": "2.0"},
              {"t": "25.0", "mpa_s": "450.6", "percent": "0.27", "k": "2.0"},
              {"t": "40.0", "mpa_s": "180.3", "percent": "0.35", "k": "2.03"}],
    # ln(eta) falls ever faster, which no Vogel law does.
    "ODD": [{"t": "20.0", "mpa_s": "5210", "own": "11.5", "k": "2.0"},
            {"t": "25.0", "mpa_s": "4410", "own": "9.1", "k": "2.0"},
            {"t": "30.0", "mpa_s": "3325", "own": "8.2", "k": "2.0"}],
    "FOUR": [{"t": "10.0", "mpa_s": "95400", "percent": "0.45", "k": "2.0"},
             {"t": "20.0", "mpa_s": "41230", "percent": "0.40", "k": "2.0"},
             {"t": "25.0", "mpa_s": "28350", "percent": "0.40", "k": "2.0"},
             {"t": "40.0", "mpa_s": "10220", "percent": "0.50", "k": "2.0"}],
    "KINEMATIC-2": [{"t": "25.0", "mm2_s": "104.2", "density": "0.9652", "own": "0.23", "k": "2.0"},
                    {"t": "40.0", "mm2_s": "80.11", "density": "0.9517", "own": "0.19", "k": "2.32"}],
    "KINEMATIC-3": [{"t": "20.0", "mm2_s": "1215.0", "density": "0.8921", "percent": "0.22", "k": "2.0"},
                    {"t": "40.0", "mm2_s": "329.4", "density": "0.8795", "percent": "0.22", "k": "2.0"},
                    {"t": "60.0", "mm2_s": "118.7", "density": "0.8660", "percent": "0.30", "k": "2.0"}],
    "MIXED": [{"t": "20.0", "mm2_s": "2231", "density": "0.8870", "percent": "0.22", "k": "2.0"},
              {"t": "25.0", "mpa_s": "1408", "percent": "0.22", "k": "2.0"},
              {"t": "37.8", "mm2_s": "702.5", "density": "0.8761", "own": "2.0", "k": "2.0"}],
}

THERMOMETERS = {
    # id: resolution K, calibrations (first day, due, U K, coverage factor, corrections)
    "TH-1": ("0.01", [("2023-06-01", "2027-01-01", "0.03", "2.0",
                       [("10.0", "0.012"), ("25.0", "-0.015"), ("40.0", "-0.03"), ("60.0", "0.02")])]),
    "TH-2": ("0.001", [("2023-06-01", "2025-05-31", "0.012", "2.05", []),
                       ("2025-05-20", "2027-01-01", "0.02", "2.0", [("20.0", "0.004"), ("30.0", "-0.006")])]),
    "TH-3": ("0.1", [("2023-06-01", "2027-01-01", "0.05", "2.0", [])]),
}

BATHS = {"WB-1": "0.03", "WB-2": "0.005"}


def policy_of(instrument, day):
    """The id of the policy that judges."""
    group = INSTRUMENTS[instrument][0]
    begun = {name: row for name, row in POLICIES.items() if row[0] <= day.isoformat()}
    named = {name: row for name, row in begun.items() if group and row[1] and group in row[1]}
    chosen = named or {name: row for name, row in begun.items() if row[1] is None}
    return max(chosen, key=lambda name: chosen[name][0])


def spring_of(instrument, day):
    return float([torque for first, torque in INSTRUMENTS[instrument][3] if first <= day.isoformat()][-1])


def calibration_of(thermometer, day):
    return [row for row in THERMOMETERS[thermometer][1] if row[0] <= day.isoformat() <= row[1]][-1]


def correction_of(calibration, shown_c):
    rows = calibration[4]
    return float(numpy.interp(shown_c, [float(at) for at, _ in rows], [float(k) for _, k in rows])) if rows else 0.0


def range_of(geometry, torque_un_m, rpm):
    """Full-scale range in mPa.s, from the torque balance of each shape."""
    shape = GEOMETRIES[geometry]
    size = {key: float(value) for key, value in shape.items() if not value.startswith('"')}
    omega = rpm * math.tau / 60
    torque = torque_un_m * 1e-6
    match shape["kind"]:
        case '"factored"':
            return size["range_constant_mpa_s_rpm"] * torque_un_m / size["at_torque_un_m"] / rpm
        case '"coaxial-cylinders"':
            bob, cup = size["bob_radius_mm"] / 1000, size["cup_radius_mm"] / 1000
            length = size["bob_length_mm"] / 1000 * size.get("end_effect", 1.1)
            pascal_seconds = torque * (cup**2 - bob**2) / (4 * math.pi * length * bob**2 * cup**2 * omega)
        case '"cone-plate"':
            stress = 3 * torque / (math.tau * (size["radius_mm"] / 1000) ** 3)
            pascal_seconds = stress / (omega / math.radians(size["angle_deg"]))
        case _:
            rim = (size["radius_mm"] / 1000) * omega / (size["gap_mm"] / 1000)
            pascal_seconds = 2 * torque / (math.pi * (size["radius_mm"] / 1000) ** 3 * rim)
    return 1000 * pascal_seconds


def dynamic(row):
    return float(row["mpa_s"]) if "mpa_s" in row else float(row["mm2_s"]) * float(row["density"])


class Fluid:
    """ln(eta(T)/eta(Tc)) about one certified row, for plain and for uncertain temperatures."""

    def __init__(self, lot, index):
        rows = FLUIDS[lot]
        self.row = rows[index]
        self.at = float(self.row["t"])
        self.coefficient = float(self.row["coefficient"]) / 100 if len(rows) == 1 else None
        order = sorted(rows, key=lambda row: (abs(float(row["t"]) - self.at), float(row["t"])))
        self.knots = None
        if len(rows) == 1:
            return
        used = order[:3]
        self.law = self.vogel(used) if len(used) == 3 else None
        if self.law is None:
            used = order[:2]
            self.law = self.line(used)
        if self.kinematic(used):
            self.knots = sorted((float(row["t"]), float(row["density"])) for row in rows if "density" in row)

    @staticmethod
    def kinematic(used):
        return all("mm2_s" in row for row in used)

    def logarithms(self, used):
        kelvin = numpy.array([float(row["t"]) + ZERO_C for row in used])
        values = [float(row["mm2_s"]) if self.kinematic(used) else dynamic(row) for row in used]
        return kelvin, numpy.log(values)

    def vogel(self, used):
        """y = A + B/(T - T0) is T y = A T + T0 y + (B - A T0), linear in the three unknowns."""
        kelvin, logs = self.logarithms(used)
        a, t0, rest = numpy.linalg.solve(numpy.column_stack([kelvin, logs, numpy.ones(3)]), kelvin * logs)
        b = rest + a * t0
        return (b, t0) if b > 0 and t0 < kelvin.min() else None

    def line(self, used):
        kelvin, logs = self.logarithms(used)
        return numpy.polyfit(1 / kelvin, logs, 1)[0], 0.0

    def moved(self, step_k, log=math.log):
        """For a step away from the certified temperature; the density by the line on the step's side."""
        if self.coefficient is not None:
            return self.coefficient * step_k
        b, t0 = self.law
        pole = self.at + ZERO_C - t0
        moved = b / (step_k + pole) - b / pole
        if self.knots:
            slopes = self.slopes()
            slope = slopes[0] if float(step_k) < 0 else slopes[-1]
            moved += log(1 + slope * step_k / float(self.row["density"]))
        return moved

    def slopes(self):
        """Of the density, before and after the certified temperature."""
        lines = zip(self.knots, self.knots[1:])
        return [(rho - before) / (at - earlier) for (earlier, before), (at, rho) in lines if self.at in (earlier, at)]

    def uncertain(self, step):
        """For an uncertain step of zero: a bend of the density there counts half with either side."""
        if not self.knots:
            return self.moved(step)
        b, t0 = self.law
        pole = self.at + ZERO_C - t0
        slope = sum(self.slopes()) / len(self.slopes())
        return b / (step + pole) - b / pole + GTC.log(1 + slope * step / float(self.row["density"]))


# --- the book --------------------------------------------------------------------------------------------------------


def table(figures):
    return "".join(f"{key} = {value}\n" for key, value in figures.items())


def fact_files():
    yield "shearbook.toml", 'format = 1\nlaboratory = "Example bench"\ntime_zone = "Europe/Dublin"\n'
    for name, rights in [("op-01", ["check"]), ("qa-01", ["review", "records"])]:
        text = f'format = 1\nid = "{name}"\nname = "{name}"\nemails = ["{name}@lab.example"]\n'
        text += "".join(f'[[authorised]]\nfor = "{right}"\nfrom = 2023-01-01\n' for right in rights)
        yield f"people/{name}.toml", text
    for name, (first, groups, decision, basis, fluid, share) in POLICIES.items():
        yield f"policies/{name}.toml", f"""format = 1
id = "{name}"
effective = {first}
title = "Check procedure"
method = 1
{f'groups = {json.dumps(groups)}' if groups else ''}
[acceptance]
fluid_percent = {fluid}
range_percent = {share}
decision = "{decision}"
[temperature]
window_k = {WINDOW_K}
basis = "{basis}"
max_spread_k = 0.4
[torque]
minimum_percent = 10.0
low_below_percent = 30.0
high_above_percent = 70.0
zones_required = []
zero_limit_percent = 0.1
agreement_percent = 0.2
[thermometer]
max_expanded_uncertainty_k = 0.05
[fluid]
max_expanded_uncertainty_percent = 1.0
[preparation]
confirm = []
[[soak]]
minutes = 60
[interval]
daily = 7
[service]
interval_months = 36
[review]
required = false
within_days = 7
records = []
"""
    for name, (group, resolution, repeatability, springs) in INSTRUMENTS.items():
        text = f'format = 1\nid = "{name}"\nusage = "daily"\nspeed_range_rpm = [0.0001, 100000.0]\n'
        text += f'group = "{group}"\n' if group else ""
        text += f"torque_resolution_percent = {resolution}\nrepeatability_percent = {repeatability}\n"
        text += "".join(f"[[spring]]\nfrom = {first}\nfull_scale_torque_un_m = {torque}\n" for first, torque in springs)
        text += '[[service]]\ndate = 2023-12-01\nkind = "calibration"\nby = "A laboratory"\ncertificate = "C-1"\n'
        text += 'due = 2026-12-31\n[[standing]]\nfrom = 2023-05-02\nstate = "in-service"\nby = "qa-01"\n'
        yield f"instruments/{name}.toml", text
    for name, figures in GEOMETRIES.items():
        yield f"geometries/{name}.toml", f'format = 1\nid = "{name}"\n' + table(figures)
    for name, rows in FLUIDS.items():
        text = f'format = 1\nid = "{name}"\nsupplier = "A supplier"\nproduct = "Reference fluid"\nbase = "other"\n'
        text += f'nominal_mpa_s = {dynamic(rows[0]) * 1.03:.0f}.0\nissuer = "A laboratory"\ncertificate = "F-1"\n'
        text += "certified = 2023-06-01\nexpires = 2026-12-31\n"
        keys = {"t": "temperature_c", "mpa_s": "viscosity_mpa_s", "mm2_s": "kinematic_mm2_s", "density": "density_g_ml",
                "percent": "expanded_uncertainty_percent", "own": "expanded_uncertainty_mpa_s", "k": "coverage_factor",
                "coefficient": "temperature_coefficient_percent_per_k"}
        for row in rows:
            text += "[[value]]\n" + table({keys[key]: value for key, value in row.items()})
        yield f"fluids/{name}.toml", text
    for name, (resolution, calibrations) in THERMOMETERS.items():
        text = f'format = 1\nid = "{name}"\nresolution_k = {resolution}\n'
        for first, due, expanded, factor, corrections in calibrations:
            rows = ", ".join(f"{{ at_c = {at}, correction_k = {k} }}" for at, k in corrections)
            text += f'[[calibration]]\ndate = {first}\ndue = {due}\nby = "A laboratory"\ncertificate = "T-1"\n'
            text += f"expanded_uncertainty_k = {expanded}\ncoverage_factor = {factor}\n"
            text += f"corrections = [{rows}]\n" if rows else ""
        yield f"thermometers/{name}.toml", text
    for name, uniformity in BATHS.items():
        yield f"baths/{name}.toml", f'format = 1\nid = "{name}"\nuniformity_k = {uniformity}\n'


def written_alike(text, dice):
    """The same number, perhaps with other digits."""
    return dice.choice([text, text + "0" if "." in text else text + ".0", text + "00" if "." in text else text + ".00"])


def plain(value, digits):
    """So many significant digits, without an exponent."""
    return format(Decimal(f"{value:.{digits - 1}e}"), "f")


def draw(count, dice):
    """So many checks, each a dictionary with texts as they stand in its file."""
    names = list(INSTRUMENTS)
    checks = []
    for number in range(count):
        instrument = names[number % len(names)]
        turn = number // len(names)
        day = datetime.date(2024, 2, 1) + datetime.timedelta(days=turn * 700 // max(1, count // len(names)))
        torque = spring_of(instrument, day)
        thermometer = dice.choice(list(THERMOMETERS))
        lot = dice.choice(list(FLUIDS))
        index = dice.randrange(len(FLUIDS[lot]))
        geometry = dice.choice(list(GEOMETRIES))
        fluid = Fluid(lot, index)
        certified = dynamic(fluid.row)
        policy = POLICIES[policy_of(instrument, day)]
        middle, wander = dice.uniform(-0.1, 0.1), dice.choice([0.0, 0.01, 0.05, 0.09])
        calibration = calibration_of(thermometer, day)
        places = len(THERMOMETERS[thermometer][0].partition(".")[2])
        off, scatter = dice.gauss(0, 0.6), dice.choice([0.003, 0.03, 0.1, 0.4])
        points = []
        for share in dice.sample([0.12, 0.2, 0.28, 0.45, 0.6, 0.8, 0.93], dice.choice([3, 4])):
            rpm = plain(range_of(geometry, torque, 1.0) * share / certified, 3)
            full = range_of(geometry, torque, float(rpm))
            half = float(policy[4]) / 100 * certified + float(policy[5]) / 100 * full
            for _ in range(dice.choice([1, 1, 2, 3, 4])):
                real = fluid.at + middle + dice.uniform(-wander, wander)
                shown_c = real - correction_of(calibration, real)
                reading = certified * math.exp(fluid.moved(real - fluid.at))
                reading += off * half + dice.gauss(0, scatter / 100 * full)
                point = {"speed_rpm": written_alike(rpm, dice)}
                how = dice.random()
                if how < 0.05:
                    point["shown"] = dice.choice(["unstable", "nothing", "over-range"])
                else:
                    if how < 0.75:
                        point["viscosity_mpa_s"] = plain(reading, dice.choice([4, 6]))
                    if how > 0.55:
                        point["torque_percent"] = f"{100 * reading / full:.2f}"
                point["temperature_c"] = f"{shown_c:.{min(3, places)}f}"
                points.append(point)
        if dice.random() < 0.3:
            dice.shuffle(points)
        checks.append({
            "id": f"{instrument}/{day.isoformat()}-{8 + turn % 12:02}{number % 60:02}",
            "instrument": instrument, "day": day, "geometry": geometry, "fluid": lot, "row": index,
            "thermometer": thermometer, "bath": dice.choice([None, *BATHS]), "points": points,
        })
    return checks


def check_file(check):
    name = check["id"].partition("/")[2]
    text = "format = 1\n"
    text += "".join(f'{key} = "{check[key]}"\n' for key in ("instrument", "geometry", "fluid", "thermometer"))
    text += f'bath = "{check["bath"]}"\n' if check["bath"] else ""
    text += f'operator = "op-01"\nperformed = {name[:10]}T{name[11:13]}:{name[13:]}:00\noccasion = "scheduled"\n'
    text += 'condition = "as-found"\n[preparation]\nzero_percent = 0.0\n'
    for point in check["points"]:
        text += "[[point]]\n" + table({key: f'"{value}"' if key == "shown" else value for key, value in point.items()})
    return f"checks/{name[:4]}/{check['id']}.toml", text


# --- what must come out ----------------------------------------------------------------------------------------------


def reading_of(point, full_range):
    """Exact where the viscosity was written."""
    if "shown" in point:
        return None
    if "viscosity_mpa_s" in point:
        return Fraction(point["viscosity_mpa_s"])
    return Fraction(float(point["torque_percent"]) * full_range / 100)


def expect(check):
    """For each point a dictionary of unrounded figures, of the replicates that it belongs to."""
    instrument, day = check["instrument"], check["day"]
    _, _, decision, basis, fluid_percent, range_percent = POLICIES[policy_of(instrument, day)]
    _, resolution_percent, repeatability_percent, _ = INSTRUMENTS[instrument]
    fluid = Fluid(check["fluid"], check["row"])
    row, certified = fluid.row, dynamic(fluid.row)
    calibration = calibration_of(check["thermometer"], day)
    shown = [float(point["temperature_c"]) for point in check["points"]]
    real = [at + correction_of(calibration, at) for at in shown]
    torque = spring_of(instrument, day)

    of_fluid = float(row["own"]) if "own" in row else float(row["percent"]) / 100 * certified
    step = (
        GTC.ureal(0, float(calibration[2]) / float(calibration[3]))
        + GTC.ureal(0, GTC.type_b.uniform(float(THERMOMETERS[check["thermometer"]][0]) / 2))
        + GTC.ureal(0, GTC.type_b.uniform((max(real) - min(real)) / 2))
    )
    if check["bath"]:
        step += GTC.ureal(0, GTC.type_b.uniform(float(BATHS[check["bath"]])))

    points = []
    speeds = [Decimal(point["speed_rpm"]) for point in check["points"]]
    for own, speed in zip(check["points"], speeds):
        members = [i for i, other in enumerate(speeds) if other == speed]
        full_range = range_of(check["geometry"], torque, float(speed))
        readings = {i: reading_of(check["points"][i], full_range) for i in members}
        counted = [i for i in members if readings[i] is not None]
        r = certified
        if basis == "corrected":
            at = numpy.mean([real[i] for i in counted or members])
            r *= math.exp(fluid.moved(at - fluid.at))
        half = float(fluid_percent) / 100 * r + float(range_percent) / 100 * full_range

        floor = full_range * float(repeatability_percent) / 100 / math.sqrt(max(1, len(counted)))
        repeat = GTC.ureal(0, floor)
        if len(counted) >= 2:
            scatter = GTC.type_a.estimate([float(readings[i]) for i in counted])
            if GTC.uncertainty(scatter) > floor:
                repeat = scatter - GTC.value(scatter)
        resolution = GTC.ureal(0, GTC.type_b.uniform(full_range * float(resolution_percent) / 100 / 2))
        average = sum(readings[i] for i in counted) / len(counted) if counted else None
        off = float(average) - r if counted else 0.0
        deviation = off + repeat + resolution - GTC.ureal(0, of_fluid / float(row["k"])) - r * fluid.uncertain(step)

        u, degrees = GTC.uncertainty(deviation), GTC.dof(deviation)
        cut = min(math.floor(round(degrees, 1)), MOST_DEGREES) if math.isfinite(degrees) else None
        points.append({
            "shown": "shown" in own, "decision": decision, "average": average, "reference": r, "half": half, "u": u,
            "degrees": degrees, "cut": cut,
            "probability": probability(half, off, u) if counted and "shown" not in own else None,
        })
    return points


def factor(cut):
    return 2.0 if cut is None else scipy.stats.t.ppf((1 + COVERAGE) / 2, cut)


def probability(half, off, u):
    """Of a normal distribution within the half-width, from the tail where that holds more digits."""
    off = abs(off)
    if off > half:
        return scipy.stats.norm.sf((off - half) / u) - scipy.stats.norm.sf((off + half) / u)
    return 1 - scipy.stats.norm.sf((half - off) / u) - scipy.stats.norm.sf((off + half) / u)


def unit(value):
    """Of the last of six significant digits."""
    return 10.0 ** (math.floor(math.log10(abs(value))) - 5) if value else 1e-5


def agrees(told, exact):
    if told is None or exact is None:
        return told is exact
    return abs(float(told) - exact) <= 0.5 * unit(exact) + 1e-9 * abs(exact)


def verdicts(point, told, expanded):
    """Those that may be told: one, but where the mean lies on a limit as far as anybody can tell."""
    if point["shown"]:
        return {"fail"}
    average, decision = point["average"], point["decision"]
    lower, upper = Fraction(told["lower_mpa_s"]), Fraction(told["upper_mpa_s"])
    within = lower <= average <= upper
    if decision == "simple":
        return {"pass" if within else "fail"}
    if Fraction(told["acceptance_lower_mpa_s"]) <= average <= Fraction(told["acceptance_upper_mpa_s"]):
        return {"pass"}
    if decision == "guarded":
        return {"fail"}
    if within:
        return {"conditional-pass"}
    # The outer limits stand in no file: rounded here as the method says.
    beyond = [point["reference"] + side * (point["half"] + expanded) for side in (-1, 1)]
    low, high = (Fraction(recompute.six_digits(Decimal(value))) for value in beyond)
    if any(abs(float(average) - value) <= 0.51 * unit(value) for value in beyond):
        return {"conditional-fail", "fail"}
    return {"conditional-fail" if low <= average <= high else "fail"}


def on_a_step(exact, told):
    """The unrounded degrees of freedom lie so near to where they step that either side may be told."""
    near = max(1e-6, 1e-9 * exact)
    return any(math.floor(round(exact + side, 1)) == told for side in (-near, near)) or (
        near > 0.5 and abs(told - exact) <= 2 * near
    )


def faults(check, expected, document):
    """Every figure that the program told otherwise: (point or None, key, words)."""
    policy = policy_of(check["instrument"], check["day"])
    if document["policy"] != policy:
        yield None, "policy", f"policy is {document['policy']}, must be {policy}"
        return
    for index, (point, told) in enumerate(zip(expected, document["points"], strict=True)):
        guarded = point["decision"] != "simple"
        degrees, cut = told["degrees_of_freedom"], point["cut"]
        if degrees != cut and not (cut and degrees and on_a_step(point["degrees"], float(degrees))):
            yield index, "degrees_of_freedom", f"are {degrees}, must be {point['degrees']}"
            continue
        u = point["u"]
        expanded = factor(None if cut is None else float(degrees)) * u
        half, r = point["half"], point["reference"]
        wanted = {
            "lower_mpa_s": r - half, "upper_mpa_s": r + half,
            "standard_uncertainty_mpa_s": u, "expanded_uncertainty_mpa_s": expanded,
            "test_uncertainty_ratio": half / expanded, "conformance_probability": point["probability"],
            "acceptance_lower_mpa_s": r - half + expanded if guarded else None,
            "acceptance_upper_mpa_s": r + half - expanded if guarded else None,
        }
        wrong = [key for key in FIGURES if not agrees(told[key], wanted[key])]
        for key in wrong:
            yield index, key, f"is {told[key]}, must be {wanted[key]!r}"
        if not wrong:
            may = verdicts(point, told, expanded)
            if told["verdict"] not in may:
                yield index, "verdict", f"is {told['verdict']}, must be {' or '.join(sorted(may))}"
    worst = max((told["verdict"] for told in document["points"]), key=RANK.index)
    if document["verdict"] != worst:
        yield None, "verdict", f"of the check is {document['verdict']}, must be {worst}"


# --- figures made wrong ----------------------------------------------------------------------------------------------


def made_wrong(document):
    """The document with one figure wrong: (point or None, key, document)."""
    for index, told in enumerate(document["points"]):
        for key in [*FIGURES, "degrees_of_freedom", "verdict"]:
            value = told[key]
            if key == "verdict":
                others = [word for word in RANK if word != value]
            elif key == "degrees_of_freedom":
                others = [Decimal(7)] if value is None else [value + 1, value - 1, None]
            elif value is None:
                others = [Decimal(1)]
            else:
                step = Decimal(repr(unit(float(value)))) * Decimal("1.01")
                others = [value + step, value - step, None]
            for other in others:
                changed = copy.deepcopy(document)
                changed["points"][index][key] = other
                yield index, key, changed
    for word in RANK:
        if word != document["verdict"]:
            yield None, "verdict", {**document, "verdict": word}


def computed_made_wrong(computed):
    """[computed] of a file with one figure wrong."""
    for index, point in enumerate(computed["point"]):
        for key, value in point.items():
            changed = copy.deepcopy(computed)
            if isinstance(value, Decimal):
                changed["point"][index][key] = value + Decimal(1).scaleb(value.as_tuple().exponent)
            else:
                changed["point"][index][key] = value + "x"
            yield f"point[{index}].{key}", changed
            missing = copy.deepcopy(computed)
            del missing["point"][index][key]
            yield f"point[{index}].{key}", missing


# --- running ---------------------------------------------------------------------------------------------------------


def run(program, folder, *words):
    done = subprocess.run(
        [program, "--book", folder, *words], capture_output=True, text=True, encoding="utf-8", check=False,
    )
    if done.returncode != 0:
        raise ValueError(f"{words[0]} {words[1]} ended with {done.returncode}: {done.stdout[-2000:]}{done.stderr}")
    return done.stdout


def opinion(program, folder, arguments):
    dice = random.Random(arguments.seed)
    checks = draw(arguments.checks, dice)
    files = dict(check_file(check) for check in checks)
    for path, text in [*fact_files(), *files.items()]:
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    paths = list(files)
    for first in range(0, len(paths), 200):
        run(program, folder, "seal", "--quiet", *(folder / path for path in paths[first:first + 200]))

    def show(check):
        return json.loads(run(program, folder, "show", check["id"], "--format", "json"), parse_float=Decimal)

    with concurrent.futures.ThreadPoolExecutor(4) as pool:
        documents = list(pool.map(show, checks))

    passed = failed = 0
    book = recompute.Book(folder)
    seen, wrong_figures = {}, 0

    def fail(words):
        nonlocal failed
        failed += 1
        print(f"FAIL {words}")

    for number, (check, path, document) in enumerate(zip(checks, paths, documents, strict=True)):
        expected = expect(check)
        found = list(faults(check, expected, document))
        record = recompute.read_toml(folder / path)
        computed = recompute.recompute(book, record)
        found += [(None, "[computed]", words) for words in recompute.differences(record["computed"], computed)]
        for index, key, words in found:
            fail(f"{check['id']}{'' if index is None else f', point {index}'}: {key} {words}")
        passed += not found
        for word in (document["verdict"], "finite" if any(point["cut"] for point in expected) else "infinite"):
            seen[word] = seen.get(word, 0) + 1
        if number % (len(checks) // MADE_WRONG or 1):
            continue
        for index, key, changed in made_wrong(document):
            wrong_figures += 1
            noticed = list(faults(check, expected, changed))
            if not noticed:
                fail(f"{check['id']}, point {index}: {key} made wrong was not noticed")
        for key, changed in computed_made_wrong(record["computed"]):
            wrong_figures += 1
            if not any(words.startswith(key) for words in recompute.differences(changed, computed)):
                fail(f"{check['id']}: [computed] {key} made wrong was not noticed")
    print("seen: " + ", ".join(f"{word} {count}" for word, count in sorted(seen.items())))
    print(f"{wrong_figures} figures made wrong")
    missing = [word for word in [*RANK, "finite", "infinite"] if word not in seen]
    if missing:
        fail(f"no check is {', '.join(missing)}: the book is too small or the dice are too alike")
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


def main():
    parser = argparse.ArgumentParser(description="Recompute uncertainties and guarded decisions with other libraries.")
    parser.add_argument("program", type=Path)
    parser.add_argument("--checks", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=20261126)
    parser.add_argument("--keep", type=Path, help="make the book in this new folder and leave it there")
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    try:
        if arguments.keep:
            arguments.keep.mkdir(parents=True)
            return opinion(program, arguments.keep.resolve(), arguments)
        with tempfile.TemporaryDirectory() as folder:
            return opinion(program, Path(folder), arguments)
    except (OSError, ValueError) as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 3


if __name__ == "__main__":
    sys.exit(main())
