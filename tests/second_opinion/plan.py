#!/usr/bin/env python3
"""A second opinion on plans: of one check, of the day's work, and of what to buy.

Shares no code with shearbook and needs Python's standard library alone (3.11 or newer). It grows seeded small
laboratories in a temporary folder (laboratories.py), asks the program for `plan INSTRUMENT`, `plan --within DAYS` and
`plan --buy FILE` as JSON, and works each answer out anew by trying everything: each lot, certified temperature,
geometry and choice of speeds; each set of beakers or of candidates. Figures are fractions, pi one of 50 digits, so a
figure agrees only where it is the very number. The state of an instrument is taken from status.py.

Where an answer is not exact it must cover all that can be covered, with no more than the greedy bound allows. At the
end figures are made wrong and neighbours swapped in what the program said, and each of these must be noticed. Texts are
held to what they must speak of.

    plan.py PROGRAM [--laboratories N] [--seed N] [--keep DIR]

With --seed one laboratory alone is grown, with --keep it stays in that new folder. The last line is 'N passed, N
failed', exit 1 if any failed. Exit 3: the program could not be used.
"""

import argparse
import concurrent.futures
import copy
import datetime
import functools
import itertools
import json
import math
import operator
import random
import subprocess
import sys
import tempfile
import tomllib
import typing
from collections import Counter
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import status
from laboratories import ONE, ZONES, Grown, as_toml, plain

PI = Fraction("3.14159265358979323846264338327950288419716939937511")
# So many candidates, or beakers, that are not dominated are searched whole.
WHOLE = 12
NOW = ("never-checked", "failed", "repeat-needed", "check-needed", "overdue")
# Typical densities in g/mL of a base, where the certificate gives none.
DENSITY = {"silicone": 0.97, "mineral-oil": 0.88, "other": 1.0}
HOT_C = 40
LEAST_WRONG = 200
# What the dice must have brought about among 500 laboratories.
MUST_SEE = (
    *(
        f"left out {reason}"
        for reason in (
            "broken", "not-yet-certified", "expired", "quarantined", "withdrawn", "uncertainty-too-large",
            "temperature-coefficient-missing", "no-speed-for-zone", "no-geometry", "damaged", "does-not-fit",
            "no-fluid",
        )
    ),
    "nothing planned",
    "just searched whole",
    "just not searched whole",
    "within: 3 chosen",
    "within: not exact",
    "buy: 3 chosen",
    "buy: not exact",
    *(state for state in status.STATES),
)

# --- what the records say --------------------------------------------------------------------------------------------


def exact(value):
    """What was written, as a fraction."""
    return Fraction(value)


def rounded(value, step):
    """To a whole number of steps, half to even."""
    return round(value / step) * step


def significant(value, digits=6):
    """Half to even."""
    if value == 0:
        return Fraction(0)
    size = abs(value)
    power = len(str(size.numerator)) - len(str(size.denominator))
    power -= size < Fraction(10) ** power
    return rounded(value, Fraction(10) ** (power - digits + 1))


def percent(value):
    return rounded(value, Fraction(1, 100))


class Laboratory:
    """The records of a book. Checks, and what follows from them, are read by status.py."""

    def __init__(self, root, broken, faulty=()):
        self.root = root
        self.status = status.Book(root, set(faulty))
        self.zone = self.status.zone
        self.broken = set(broken)
        self.instruments, self.geometries, self.fluids, self.policies = (
            {
                path.stem: tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
                for path in sorted(root.glob(f"{folder}/*.toml"), key=lambda path: path.stem)
            }
            for folder in ("instruments", "geometries", "fluids", "policies")
        )

    def on(self, day):
        return Day(self, day)


class Certified:
    """A row of a lot."""

    def __init__(self, fluid, row):
        self.fluid, self.row = fluid, row
        self.temperature = exact(row["temperature_c"])
        kinematic = "kinematic_mm2_s" in row
        self.viscosity = (
            exact(row["kinematic_mm2_s"]) * exact(row["density_g_ml"]) if kinematic else exact(row["viscosity_mpa_s"])
        )
        if "expanded_uncertainty_percent" in row:
            self.uncertainty = exact(row["expanded_uncertainty_percent"])
        else:
            self.uncertainty = 100 * exact(row["expanded_uncertainty_mpa_s"]) / self.viscosity
        self.standard_mpa_s = self.uncertainty / 100 * self.viscosity / exact(row["coverage_factor"])
        self.density = float(row["density_g_ml"]) if kinematic else DENSITY[fluid["base"]]


def constant_of(geometry, torque):
    """Range times speed, in mPa.s x rpm."""
    size = {key: exact(value) for key, value in geometry.items() if isinstance(value, (int, Decimal))}
    match geometry["kind"]:
        case "factored":
            return size["range_constant_mpa_s_rpm"] * torque / size["at_torque_un_m"]
        case "coaxial-cylinders":
            bob, cup = size["bob_radius_mm"], size["cup_radius_mm"]
            end = size.get("end_effect", Fraction("1.1"))
            shape = (1 / bob**2 - 1 / cup**2) / (4 * PI * size["bob_length_mm"] * end)
        case "cone-plate":
            shape = 3 * (size["angle_deg"] * PI / 180) / (2 * PI * size["radius_mm"] ** 3)
        case "parallel-plates":
            shape = 2 * size["gap_mm"] / (PI * size["radius_mm"] ** 4)
    # eta = K M / Omega: K in 1/mm3 is 1e9 in 1/m3, M in uN.m is 1e-6 in N.m, Pa.s are 1000 mPa.s.
    return 1000 * (shape * 10**9) * (torque / 10**6) * 60 / (2 * PI)


def shear_rate(geometry, speed):
    size = {key: exact(value) for key, value in geometry.items() if isinstance(value, (int, Decimal))}
    omega = 2 * PI * speed / 60
    match geometry["kind"]:
        case "factored":
            return size["shear_rate_per_rpm"] * speed if "shear_rate_per_rpm" in size else None
        case "coaxial-cylinders":
            bob, cup = size["bob_radius_mm"], size["cup_radius_mm"]
            return 2 * omega * cup**2 / (cup**2 - bob**2)
        case "cone-plate":
            return omega / (size["angle_deg"] * PI / 180)
    return omega * size["radius_mm"] / size["gap_mm"]


def laminar_limit(geometry, viscosity, density):
    """The fastest speed in rpm whose flow is laminar, by the published numbers; None where there is no such limit."""
    nu = float(viscosity) / density
    if geometry["kind"] == "coaxial-cylinders":
        bob, cup = float(geometry["bob_radius_mm"]), float(geometry["cup_radius_mm"])
        # Taylor number Omega^2 Rb d^3 / nu^2 = 1708.
        return math.sqrt(1708 / (bob * (cup - bob) ** 3)) * nu * 60 / math.tau
    if geometry["kind"] == "cone-plate":
        gap = float(geometry["radius_mm"]) * math.radians(float(geometry["angle_deg"]))
        return 0.5 * 12 * nu / gap**2 * 60 / math.tau
    return None


class Zones:
    """The torque zones of a policy."""

    def __init__(self, policy):
        table = policy["torque"]
        self.minimum, low, high = (
            exact(table[key]) for key in ("minimum_percent", "low_below_percent", "high_above_percent")
        )
        self.ends = {"low": (self.minimum, low), "middle": (low, high), "high": (high, Fraction(100))}
        self.asked = [zone for zone in ZONES if zone in table["zones_required"]] or ["middle"]

    def of(self, torque):
        if not self.minimum <= torque <= 100:
            return None
        if torque < self.ends["low"][1]:
            return "low"
        return "middle" if torque <= self.ends["middle"][1] else "high"

    def off_centre(self, zone, torque):
        start, end = self.ends[zone]
        return 100 * abs(torque - (start + end) / 2) / ((end - start) / 2)


class Day:
    """What can be planned on a day."""

    def __init__(self, laboratory, day):
        self.laboratory, self.day = laboratory, day
        self.book = laboratory.status
        self.end = self.book.moment(day + ONE)
        self.kept = {}

    def row_of(self, instrument):
        record = next(record for record in self.book.instruments if record["id"] == instrument)
        return status.instrument_on(self.book, record, self.day, self.end, Counter())

    def policy(self, instrument):
        begun = [policy for policy in self.laboratory.policies.values() if policy["effective"] <= self.day]
        group = instrument.get("group")
        own = [policy for policy in begun if group is not None and group in policy.get("groups", [])]
        return max(
            own or [policy for policy in begun if "groups" not in policy], key=lambda row: row["effective"],
            default=None,
        )

    def torque(self, instrument):
        begun = [row for row in instrument.get("spring", []) if self.book.moment(row["from"]) < self.end]
        return exact(begun[-1]["full_scale_torque_un_m"]) if begun else None

    def standing(self, record):
        return self.book.standing(record, self.end)

    def damaged(self, geometry):
        """By the last inspection, in the order written."""
        outcome = None
        for row in geometry.get("inspection", []):
            sound = row["outcome"] == "sound"
            if (self.book.moment if sound else self.book.worsening)(row["date"]) < self.end:
                outcome = row["outcome"]
        return outcome == "damaged"

    def bottle(self, fluid, policy):
        """Of those that are open the one opened first."""
        months = policy["fluid"].get("in_use_months")
        open_now = [
            row
            for row in fluid.get("bottle", [])
            if row["opened"] <= self.day <= row.get("discarded", self.day)
            and (months is None or self.day <= status.months_later(row["opened"], months))
        ]
        return min(open_now, key=lambda row: row["opened"])["id"] if open_now else None

    def lot_reason(self, name, fluid, policy):
        """Why a lot cannot be used at all."""
        if f"fluids/{name}.toml" in self.laboratory.broken:
            return "broken"
        if self.day < fluid["certified"]:
            return "not-yet-certified"
        if self.day > fluid["expires"]:
            return "expired"
        if self.standing(fluid) in ("quarantined", "withdrawn"):
            return self.standing(fluid)
        return None

    def row_reason(self, fluid, row, policy):
        if row.uncertainty > exact(policy["fluid"]["max_expanded_uncertainty_percent"]):
            return "uncertainty-too-large"
        only = len(fluid["value"]) == 1 and "temperature_coefficient_percent_per_k" not in row.row
        if policy["temperature"]["basis"] == "corrected" and only:
            return "temperature-coefficient-missing"
        return None

    def geometry_reason(self, name, geometry, instrument):
        if f"geometries/{name}.toml" in self.laboratory.broken:
            return "broken"
        if instrument["id"] not in geometry.get("fits", [instrument["id"]]):
            return "does-not-fit"
        return "damaged" if self.damaged(geometry) else None

    def soak(self, policy, kind, viscosity):
        for row in policy["soak"]:
            if kind in row.get("kinds", [kind]) and viscosity <= exact(row.get("up_to_mpa_s", viscosity)):
                return exact(row["minutes"])
        return None

    def plan(self, name):
        """Every choice in order, and why each other lot and geometry has none. Kept for the day."""
        if name not in self.kept:
            self.kept[name] = Plan(self, self.laboratory.instruments[name])
        return self.kept[name]


def too_uncertain(instrument, policy, fluid_mpa_s, points):
    """A guarded decision that no reading could pass, whatever the check: twice what the certified value and the last
    digit of the torque do not tell reaches the half-width."""
    if policy["acceptance"]["decision"] == "simple":
        return False
    step = exact(instrument["torque_resolution_percent"]) / 100
    return any(4 * (fluid_mpa_s**2 + (point["range"] * step) ** 2 / 12) >= point["half"] ** 2 for point in points)


def uncertainty_of(candidate):
    """What is not known comes last."""
    value = candidate.get("expanded_uncertainty_percent")
    return (value is None, exact(value or 0))


class Plan:
    def __init__(self, day, instrument):
        self.day, self.instrument = day, instrument
        self.state = day.row_of(instrument["id"])
        self.policy, self.torque = day.policy(instrument), day.torque(instrument)
        standing = day.standing(instrument)
        self.quarantined = standing == "quarantined"
        self.in_service = standing in ("in-service", "quarantined")
        self.plannable = self.in_service and self.torque is not None and self.policy is not None
        self.choices, self.left_out, self.hopeless, self.constants = [], [], set(), {}
        if self.plannable:
            self.zones = Zones(self.policy)
            self.fixed = [exact(speed) for speed in instrument["speeds_rpm"]] if "speeds_rpm" in instrument else None
            self.shares = {key: exact(self.policy["acceptance"][f"{key}_percent"]) for key in ("fluid", "range")}
            self.try_all(day.laboratory)

    def speeds(self, per_rpm):
        """For each zone every speed that serves it, where so much torque in % shows for each rpm."""
        zones, instrument = self.zones, self.instrument
        served = {zone: [] for zone in zones.asked}
        if self.fixed is not None:
            for speed in self.fixed:
                served.get(zones.of(per_rpm * speed), []).append(speed)
            return served
        slowest, fastest = map(exact, instrument["speed_range_rpm"])
        for zone in zones.asked:
            centre = sum(zones.ends[zone]) / 2 / per_rpm
            tries = [significant(centre, digits) for digits in (2, 3, 4)]
            tries = [speed for speed in tries if slowest <= speed <= fastest] + [min(max(tries[-1], slowest), fastest)]
            served[zone] = [speed for speed in tries if zones.of(per_rpm * speed) == zone]
        return served

    def points(self, geometry, viscosity, standard_mpa_s):
        """For each choice of speeds, one for each zone, the points. Of a free speed the fewest digits that serve."""
        if geometry not in self.constants:
            self.constants[geometry] = constant_of(self.day.laboratory.geometries[geometry], self.torque)
        constant = self.constants[geometry]
        per_rpm = 100 * viscosity / constant
        columns = []
        for zone, speeds in self.speeds(per_rpm).items():
            if not speeds:
                return []
            column = []
            for speed in speeds:
                full = constant / speed
                half = (self.shares["fluid"] * viscosity + self.shares["range"] * full) / 100
                column.append({
                    "zone": zone, "speed": speed, "torque": per_rpm * speed, "range": full, "half": half,
                    "band": 100 * half / viscosity, "off": self.zones.off_centre(zone, per_rpm * speed),
                })
            if self.fixed is None:
                guard = (self.instrument, self.policy, standard_mpa_s)
                sure = [point for point in column if not too_uncertain(*guard, [point])]
                column = (sure or column)[:1]
            columns.append(column)
        return itertools.product(*columns)

    def try_all(self, laboratory):
        day, instrument, policy = self.day, self.instrument, self.policy
        geometries = {
            name: day.geometry_reason(name, record, instrument) for name, record in laboratory.geometries.items()
        }
        sound = self.sound = [name for name, reason in geometries.items() if reason is None]
        lots, some_lot = {}, False
        for name, fluid in laboratory.fluids.items():
            lots[name] = day.lot_reason(name, fluid, policy)
            if lots[name]:
                continue
            reasons = []
            for row in (Certified(fluid, row) for row in fluid["value"]):
                reasons.append(day.row_reason(fluid, row, policy))
                if reasons[-1]:
                    continue
                some_lot = True
                reasons[-1] = self.try_row(laboratory, name, row, sound)
            # Of several certified temperatures the one that came farthest says why.
            order = [
                "uncertainty-too-large", "temperature-coefficient-missing", "no-geometry", "no-speed-for-zone",
                "hopeless", None,
            ]
            farthest = max(reasons, key=order.index)
            lots[name] = "uncertainty-too-large" if farthest == "hopeless" else farthest
        self.choices.sort(key=lambda choice: choice["order"])
        served = {choice["geometry"] for choice in self.choices}
        for name in sound:
            if name not in served:
                geometries[name] = "no-speed-for-zone" if some_lot else "no-fluid"
                if name in self.hopeless:
                    geometries[name] = "uncertainty-too-large"
        for kind, reasons in (("fluid", lots), ("geometry", geometries)):
            self.left_out += [
                {"kind": kind, "id": name, "reason": reason} for name, reason in reasons.items() if reason
            ]

    def try_row(self, laboratory, name, row, sound):
        day, instrument, policy = self.day, self.instrument, self.policy
        best = "no-speed-for-zone" if sound else "no-geometry"
        bottle = day.bottle(row.fluid, policy)
        for geometry in sound:
            record = laboratory.geometries[geometry]
            soak = day.soak(policy, record["kind"], row.viscosity)
            for points in self.points(geometry, row.viscosity, row.standard_mpa_s):
                if too_uncertain(instrument, policy, row.standard_mpa_s, points):
                    best = best and "hopeless"
                    self.hopeless.add(geometry)
                    continue
                best = None
                off = max(point["off"] for point in points)
                band = max(point["band"] for point in points)
                days = (row.fluid["expires"] - day.day).days
                order = (
                    off // 10, rounded(band, Fraction(1, 10)), row.uncertainty, days, soak, bottle is None, name,
                    row.temperature, geometry, [point["speed"] for point in points],
                )
                self.choices.append(
                    {
                        "fluid": name, "beaker": (name, row.temperature), "bottle": bottle, "row": row,
                        "geometry": geometry, "record": record, "soak": soak, "days": days, "off": off, "band": band,
                        "points": points, "order": order,
                    }
                )
        return best

    def ways(self, candidate):
        """Of each sound geometry the best speeds in a fluid that may be bought."""
        day, policy = self.day, self.policy
        if not self.plannable:
            return
        viscosity = exact(candidate["viscosity_mpa_s"])
        # With a coverage factor of 2, as the trade states it; what is not told counts as none, and with none no reading
        # may pass either.
        uncertainty = exact(candidate.get("expanded_uncertainty_percent", 0))
        if uncertainty > exact(policy["fluid"]["max_expanded_uncertainty_percent"]):
            return
        standard_mpa_s = uncertainty / 100 * viscosity / 2
        for geometry in self.sound:
            record = day.laboratory.geometries[geometry]
            soak = day.soak(policy, record["kind"], viscosity)
            best = None
            for points in self.points(geometry, viscosity, standard_mpa_s):
                if too_uncertain(self.instrument, policy, standard_mpa_s, points):
                    continue
                off, band = (max(point[key] for point in points) for key in ("off", "band"))
                order = (
                    off // 10, rounded(band, Fraction(1, 10)), uncertainty_of(candidate), soak, candidate["id"],
                    geometry, [point["speed"] for point in points],
                )
                if best is None or order < best["order"]:
                    best = {
                        "candidate": candidate, "geometry": geometry, "record": record, "points": points,
                        "order": order,
                    }
            if best:
                yield best

    def is_asked(self, limit):
        """Whether the bench sheet of what is due up to a day must speak of it."""
        due = self.state["next_due"]
        return self.state["state"] in NOW or due is not None and datetime.date.fromisoformat(due) <= limit

    def best(self):
        """Of each lot, temperature and geometry the first."""
        seen, kept = set(), []
        for choice in self.choices:
            key = (choice["fluid"], choice["row"].temperature, choice["geometry"])
            if key not in seen:
                seen.add(key)
                kept.append(choice)
        return kept


# --- checks that were made before ------------------------------------------------------------------------------------


def checks_of(grown, laboratory):
    """Checks of some instruments, by path: passed about an interval ago, failed, repeated, void."""
    dice = grown.dice
    for name, instrument in laboratory.instruments.items():
        how = dice.choice(
            ["none", "pass", "pass", "pass", "pass", "fail", "fail fail", "fail pass", "pass fail", "void", "spilled"]
        )
        if how == "none":
            continue
        interval = {"daily": 7, "occasional": 30, "rare": 90}[instrument["usage"]]
        back = max(0, interval - dice.choice([0, grown.within, grown.within, 3]) + dice.choice([-2, -1, 0, 0, 1, 60]))
        day = grown.day - back * ONE
        plan = laboratory.on(day).plan(name)
        limited = plan.policy and "in_use_months" in plan.policy["fluid"]
        simple = plan.policy and plan.policy["acceptance"]["decision"] == "simple"
        ways = [choice for choice in plan.choices if choice["bottle"] or not limited]
        if not ways or not simple or plan.quarantined:
            continue
        first = None
        for number, word in enumerate(how.split()):
            hour = f"{9 + 2 * number:02}"
            check = check_of(name, dice.choice(ways[:3]), day, hour, word, first)
            yield f"checks/{day.year}/{name}/{day}-{hour}00.toml", check
            first = f"{name}/{day}-{hour}00" if word == "fail" else None


def check_of(name, choice, day, hour, word, repeats):
    performed = datetime.datetime.combine(day, datetime.time(int(hour)))
    certified = choice["row"].row
    preparation = {"zero_percent": Decimal(0), "soak_started": performed - datetime.timedelta(hours=8)}
    if "guard" in choice["record"]:
        preparation["guard"] = choice["record"]["guard"] == "required"
    points = []
    for point in choice["points"]:
        reading = choice["row"].viscosity + (3 * point["half"] if word == "fail" else 0)
        points.append(
            {
                "speed_rpm": decimal(point["speed"]), "viscosity_mpa_s": plain(reading, 12),
                "temperature_c": certified["temperature_c"],
            }
        )
    return {
        "format": 1, "instrument": name, "geometry": choice["geometry"], "fluid": choice["fluid"],
        "bottle": choice["bottle"], "thermometer": "TH-1", "operator": "op-01", "performed": performed,
        "condition": "as-found", "occasion": "repeat" if repeats else "scheduled", "repeats": repeats,
        "void": True if word in ("void", "spilled") else None,
        "reason": "seen at the bench" if word in ("void", "spilled") else None,
        "void_cause": {"void": "instrument", "spilled": "procedure"}.get(word), "preparation": preparation,
        "point": points,
    }


def decimal(value):
    """Of a fraction that is one."""
    return Decimal(value.numerator) / Decimal(value.denominator)


# --- what the program must print -------------------------------------------------------------------------------------


class Words:
    """A text, or a list of texts, that is held to what it must tell."""

    def __init__(self, fault):
        self.fault = fault


def any_text(got):
    return None if isinstance(got, str) and got.strip() else f"is {got!r}, must be a text"


def texts(got):
    return (
        next((fault for text in got if (fault := any_text(text))), None)
        if isinstance(got, list)
        else f"is {got!r}, must be a list"
    )


def point_json(record, viscosity, point):
    rate = shear_rate(record, point["speed"])
    return {
        "zone": point["zone"], "speed_rpm": point["speed"], "torque_percent": percent(point["torque"]),
        "range_mpa_s": significant(point["range"]), "lower_mpa_s": significant(viscosity - point["half"]),
        "upper_mpa_s": significant(viscosity + point["half"]), "relative_band_percent": percent(point["band"]),
        "off_centre_percent": percent(point["off"]), "shear_rate_per_s": None if rate is None else significant(rate),
    }


def remarks_of(plan, choice):
    """The subjects that the remarks must speak of, and must not."""
    row, record, points = choice["row"], choice["record"], choice["points"]
    step = exact(plan.instrument["torque_resolution_percent"])
    limit = laminar_limit(record, row.viscosity, row.density)
    told = {
        "no bottle of": choice["bottle"] is None, "quarantined": plan.quarantined,
        "guarded": plan.policy["acceptance"]["decision"] != "simple",
        "% of full scale from the reference": any(100 * point["half"] / point["range"] < step for point in points),
        "laminar": limit is not None and any(float(point["speed"]) > limit for point in points),
    }
    if limit is not None and any(abs(float(point["speed"]) / limit - 1) < 1e-9 for point in points):
        del told["laminar"]

    def fault(got):
        if wrong := texts(got):
            return wrong
        for words, must in told.items():
            if any(words in text for text in got) != must:
                return f"{'do not speak' if must else 'speak'} of '{words}': {got}"
        return None

    return Words(fault)


def choice_json(plan, choice):
    row = choice["row"]
    return {
        "fluid": choice["fluid"], "bottle": choice["bottle"], "temperature_c": row.temperature,
        "geometry": choice["geometry"], "reference_mpa_s": significant(row.viscosity),
        "expanded_uncertainty_percent": significant(row.uncertainty), "soak_minutes": choice["soak"],
        "days_to_expiry": choice["days"], "off_centre_percent": percent(choice["off"]),
        "widest_band_percent": percent(choice["band"]), "remarks": remarks_of(plan, choice),
        "points": [point_json(choice["record"], row.viscosity, point) for point in choice["points"]],
    }


def cautions_of(choices):
    hot = any(choice["row"].temperature >= HOT_C for choice in choices)

    def fault(got):
        if wrong := texts(got):
            return wrong
        if len(got) < 5 or any("burn" in text for text in got) != hot:
            return f"must {'' if hot else 'not '}speak of burns: {got}"
        return None

    return Words(fault)


def reasons_of(plan):
    silent = plan.state["usable"]
    return Words(lambda got: texts(got) or (f"are {got}" if silent != (not got) else None))


def plan_json(plan, book, whole):
    choices = plan.choices if whole else plan.best()
    return {
        "format": 1, "book": book, "as_of": plan.day.day.isoformat(), "instrument": plan.instrument["id"],
        "state": plan.state["state"], "usable": plan.state["usable"], "reasons": reasons_of(plan),
        "policy": plan.policy and plan.policy["id"], "choices": [choice_json(plan, choice) for choice in choices],
        "left_out": [row | {"message": Words(any_text)} for row in plan.left_out], "cautions": cautions_of(choices),
    }


def within_json(day, book, days, got):
    """The bench sheet. Where the program says that it did not look at all sets, its beakers are held to be a cover."""
    limit = day.day + days * ONE
    due = [plan for plan in map(day.plan, day.laboratory.instruments) if plan.is_asked(limit)]
    planned = [plan for plan in due if plan.choices]
    ranks = [{} for _ in planned]
    for plan, own in zip(planned, ranks, strict=True):
        for rank, choice in enumerate(plan.best()):
            own.setdefault(choice["beaker"], (rank, choice))
    covered = cover([{key: rank for key, (rank, _) in own.items()} for own in ranks], told_beakers(got))
    beakers = {}
    for plan, own in zip(planned, ranks, strict=True):
        beaker = min((key for key in own if key in covered.chosen), key=lambda key: own[key][0])
        beakers.setdefault(beaker, []).append((plan, own[beaker][1]))
    rows, every = [], []
    for (fluid, temperature), lines in beakers.items():
        lines.sort(key=lambda line: (status.STATES.index(line[0].state["state"]), line[0].instrument["id"]))
        soak = max(choice["soak"] for _, choice in lines)
        every += [choice for _, choice in lines]
        rows.append(
            (
                (temperature, -soak, fluid),
                {
                    "fluid": fluid,
                    "bottle": common_bottle([choice["bottle"] for _, choice in lines]),
                    "temperature_c": temperature,
                    "soak_minutes": soak,
                    "sample_ml": sample_of([choice["record"] for _, choice in lines]),
                    "instruments": [
                        {
                            "instrument": plan.instrument["id"], "state": plan.state["state"],
                            "due": plan.state["next_due"], "choice": choice_json(plan, choice),
                        }
                        for plan, choice in lines
                    ],
                },
            )
        )
    return {
        "format": 1,
        "book": book,
        "as_of": day.day.isoformat(),
        "within_days": days,
        "exact": covered.exact,
        "beakers": [row for _, row in sorted(rows, key=lambda row: row[0])],
        "not_planned": [
            {"instrument": plan.instrument["id"], "state": plan.state["state"], "message": Words(any_text)}
            for plan in due
            if not plan.choices
        ],
        "cautions": cautions_of(every),
    }, covered


def buy_json(day, book, candidates, beside, got):
    """What to buy. `candidates` are the rows of the file."""
    plans = [plan for plan in map(day.plan, day.laboratory.instruments) if plan.in_service]
    stock = [plan.instrument["id"] for plan in plans if plan.choices]
    wanted = [plan for plan in plans if not (beside and plan.choices)]
    ways = [{} for _ in wanted]
    for plan, own in zip(wanted, ways, strict=True):
        served = [way for candidate in candidates for way in plan.ways(candidate)]
        for way in sorted(served, key=lambda way: way["order"]):
            own.setdefault(way["candidate"]["id"], (len(own), way))
    ranks = [{key: rank for key, (rank, _) in own.items()} for own in ways]
    covered = cover([own for own in ranks if own], {row["id"] for row in got["buy"]})
    return {
        "format": 1,
        "book": book,
        "as_of": day.day.isoformat(),
        "exact": covered.exact,
        "candidates": len(candidates),
        "buy": [
            {
                "id": row["id"],
                "viscosity_mpa_s": exact(row["viscosity_mpa_s"]),
                "serves": [
                    {
                        "instrument": plan.instrument["id"],
                        "geometry": own[row["id"]][1]["geometry"],
                        "points": [
                            point_json(own[row["id"]][1]["record"], exact(row["viscosity_mpa_s"]), point)
                            for point in own[row["id"]][1]["points"]
                        ],
                    }
                    for plan, own in zip(wanted, ways, strict=True)
                    if row["id"] in own
                ],
            }
            for row in sorted(candidates, key=lambda row: row["id"])
            if row["id"] in covered.chosen
        ],
        "covered_by_stock": stock,
        "not_covered": [
            {"instrument": plan.instrument["id"], "message": Words(any_text)}
            for plan, own in zip(wanted, ways, strict=True)
            if not own
        ],
    }, covered


def told_beakers(got):
    return {(row["fluid"], row["temperature_c"]) for row in got["beakers"]}


def common_bottle(bottles):
    """The one that most take; of several any."""
    count = Counter(bottles)
    most = {bottle for bottle in count if count[bottle] == max(count.values())}
    return Words(lambda got: None if got in most else f"is {got}, must be one of {most}")


def sample_of(records):
    """Spindles share a vessel of one kind, the fullest counts; all else takes a sample each."""
    if any("sample_ml" not in record for record in records):
        return None
    vessels, total = {}, Fraction(0)
    for record in records:
        sample = exact(record["sample_ml"])
        if record["kind"] == "factored":
            vessel = record.get("vessel")
            vessels[vessel] = max(vessels.get(vessel, 0), sample)
        else:
            total += sample
    return total + sum(vessels.values())


class Cover(typing.NamedTuple):
    chosen: set
    exact: bool
    # How many are not dominated, and how many would do.
    left: int
    least: int
    faults: list


def cover(ranks, told):
    """The fewest keys that serve all. Where that is not asked for, those told are chosen, if they are a fair answer.

    `ranks` has for each instrument the rank of each key that serves it: of a beaker that of its first choice in the
    list of choices, of a candidate that among the candidates. Each set of keys is tried, the smallest first;
    of as many the one with the smaller sum of ranks, then the first by its ids.
    """
    keys = sorted({key for own in ranks for key in own})
    # A bit for each instrument.
    serves = {key: sum(1 << index for index, own in enumerate(ranks) if key in own) for key in keys}
    dominated = {
        key
        for key in keys
        if any(
            serves[key] | serves[other] == serves[other] and (serves[key] != serves[other] or other < key)
            for other in keys
        )
    }
    everyone = (1 << len(ranks)) - 1
    union = lambda chosen: functools.reduce(operator.or_, map(serves.get, chosen), 0)
    for size in range(len(keys) + 1):
        full = [chosen for chosen in itertools.combinations(keys, size) if union(chosen) == everyone]
        if full:
            break
    left = len(keys) - len(dominated)
    if left <= WHOLE:
        total = lambda chosen: sum(min(own[key] for key in chosen if key in own) for own in ranks)
        return Cover(set(min(full, key=lambda chosen: (total(chosen), chosen))), True, left, size, [])
    faults = []
    if not told <= set(keys) or union(told) != everyone:
        faults.append(f"{told} do not serve all")
        told = full[0]
    # The greedy answer is no larger than the smallest times 1 + 1/2 + 1/3 ... of the largest set.
    bound = sum(Fraction(1, number) for number in range(1, max(map(int.bit_count, serves.values())) + 1)) * size
    if len(told) > bound:
        faults.append(f"{len(told)} are chosen, where {size} would do and the bound is {float(bound):.1f}")
    return Cover(set(told), False, left, size, faults)


def told_otherwise(want, got, where=""):
    """Every place where the program's answer is not what it must be, in words."""
    if isinstance(want, Words):
        if fault := want.fault(got):
            yield f"{where} {fault}"
    elif isinstance(want, dict):
        if not isinstance(got, dict) or list(want) != list(got):
            yield f"{where} has the keys {list(got) if isinstance(got, dict) else got}, must have {list(want)}"
            return
        for key, value in want.items():
            yield from told_otherwise(value, got[key], f"{where}/{key}")
    elif isinstance(want, list):
        if not isinstance(got, list) or len(want) != len(got):
            yield f"{where} has {len(got) if isinstance(got, list) else got} rows, must have {len(want)}"
            return
        for index, (one, other) in enumerate(zip(want, got, strict=True)):
            yield from told_otherwise(one, other, f"{where}/{index}")
    elif isinstance(want, (bool, str)) or want is None:
        if want is not got and (type(want) is not type(got) or want != got):
            yield f"{where} is {got!r}, must be {want!r}"
    elif isinstance(got, bool) or not isinstance(got, (int, Decimal)) or exact(got) != want:
        yield f"{where} is {got}, must be {float(want):.12g}"


# --- figures made wrong ----------------------------------------------------------------------------------------------


def made_wrong(value, where=()):
    """Each way in which one place of an answer is made wrong: (where, what stands there then). Words are left alone."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in ("book", "message", "reasons", "remarks", "cautions"):
                yield from made_wrong(inner, (*where, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from made_wrong(inner, (*where, index))
            if index and inner != value[index - 1]:
                yield where, [*value[: index - 1], inner, value[index - 1], *value[index + 1 :]]
        if value:
            yield where, value[:-1]
            yield where, [*value, value[-1]]
    elif isinstance(value, bool):
        yield where, not value
    elif value is None:
        yield where, Decimal(1)
        yield where, "1"
    elif isinstance(value, str):
        yield where, value + "x"
        yield where, None
    else:
        digit = Decimal(1).scaleb(Decimal(value).as_tuple().exponent)
        yield where, value + digit
        yield where, value - digit
        yield where, None


def with_wrong(document, where, value):
    changed = copy.deepcopy(document)
    if not where:
        return value
    inner = changed
    for key in where[:-1]:
        inner = inner[key]
    inner[where[-1]] = value
    return changed


# --- running ---------------------------------------------------------------------------------------------------------

# A file of candidates, and each fault that must be told: its line and key.
FAULTY = {
    "twice.csv": ("id,viscosity_mpa_s\nA,100\nA,200\n", [(3, "/candidate/1/id")]),
    "figures.csv": (
        'id,viscosity_mpa_s\nA,"1,5"\nB,-3\n,4\nD,nan\nE\n',
        [
            (2, "/candidate/0/viscosity_mpa_s"), (3, "/candidate/1/viscosity_mpa_s"), (4, "/candidate/2"),
            (5, "/candidate/3/viscosity_mpa_s"), (6, "/candidate/4"),
        ],
    ),
    "keys.toml": (
        '[[candidate]]\nid = "A"\nviscosity_mpa_s = 0\n[[candidate]]\nid = "B"\nviscosity_mpas = 3\n',
        [(3, "/candidate/0/viscosity_mpa_s"), (4, "/candidate/1"), (6, "/candidate/1/viscosity_mpas")],
    ),
    "twice.toml": ('[[candidate]]\nid = "A"\nviscosity_mpa_s = 1\n' * 2, [(5, "/candidate/1/id")]),
}
# What must be refused as a wrong use.
MISUSES = (
    [], ["VM-01", "--within", "3"], ["VM-01", "--buy", "keys.toml"], ["VM-99"], ["--within", "-1"],
    ["--within", "3.5"], ["--buy", "missing.toml"], ["--buy", "keys.toml", "--format", "html"],
    ["--buy", "keys.toml", "--within", "3"],
)


class Answer(typing.NamedTuple):
    name: str
    kind: str
    got: dict
    cover: Cover | None
    # Those of this answer, and how those of another are found.
    found: list
    faults: typing.Callable


class Opinion:
    """What was asked of the program, and what came of it."""

    def __init__(self, program, folder, only):
        self.program, self.folder, self.only = program, folder, only
        self.passed = self.failed = self.wrong = 0
        self.seen, self.kept = Counter(), []

    def run(self, folder, *words, ends=(0,)):
        done = subprocess.run(
            [self.program, "--book", folder, *words], capture_output=True, text=True, encoding="utf-8", check=False,
            cwd=folder,
        )
        if done.returncode not in ends:
            raise ValueError(
                f"{' '.join(map(str, words))} in {folder} ended with {done.returncode}: {done.stdout}{done.stderr}"
            )
        return done.stdout

    def ask(self, folder, *words, ends=(0,)):
        return json.loads(self.run(folder, *words, "--format", "json", ends=ends), parse_float=Decimal)

    def grow(self, seed):
        """One laboratory, and what the program answers about it."""
        folder = self.folder if self.only else self.folder / f"{seed}"
        grown = Grown(seed)
        candidates = grown.write(folder)
        faulty = set()
        if grown.checked:
            checks = dict(checks_of(grown, Laboratory(folder, grown.broken)))
            for path, record in checks.items():
                (folder / path).parent.mkdir(parents=True, exist_ok=True)
                (folder / path).write_text(as_toml(record), encoding="utf-8")
            if checks:
                self.run(folder, "seal", "--quiet", *checks, ends=(0, 1))
                findings = self.ask(folder, "validate", ends=(0, 1))["findings"]
                faulty = {finding["path"] for finding in findings if finding["severity"] == "error"}
        day = Laboratory(folder, grown.broken, faulty).on(grown.day)
        book, as_of = str(folder), ("--as-of", grown.day.isoformat())
        asked = {
            "instrument": (grown.asked, *["--all"] * grown.all), "within": ("--within", str(grown.within)),
            "buy": ("--buy", str(candidates.relative_to(folder)), *["--beside-stock"] * grown.beside),
        }
        judges = {
            "instrument": lambda got: (plan_json(day.plan(grown.asked), book, grown.all), None),
            "within": lambda got: within_json(day, book, grown.within, got),
            "buy": lambda got: buy_json(day, book, grown.candidates, grown.beside, got),
        }

        def faults(kind, got):
            want, covered = judges[kind](got)
            return covered, [*(covered.faults if covered else []), *told_otherwise(want, got)]

        for kind, words in asked.items():
            got = self.ask(folder, "plan", *words, *as_of)
            judged = functools.partial(faults, kind)
            yield Answer(f"{seed}, plan {' '.join(words)}", kind, got, *judged(got), judged)

    def judge(self, seed):
        answers = []
        try:
            answers += self.grow(seed)
        except ValueError as error:
            return answers, [f"{seed}: {error}"]
        return answers, []

    def take(self, answers, errors):
        for answer in answers:
            self.count(answer)
            self.tell(answer.name, answer.found)
            if not answer.found:
                self.kept.append(answer)
        for error in errors:
            self.tell(error.partition(":")[0], [error])

    def tell(self, name, faults):
        for fault in faults[:4]:
            print(f"FAIL laboratory {name}: {fault}")
        if len(faults) > 4:
            print(f"FAIL laboratory {name}: and {len(faults) - 4} more")
        self.passed, self.failed = self.passed + (not faults), self.failed + bool(faults)

    def count(self, answer):
        kind, got, seen = answer.kind, answer.got, self.seen
        seen[f"{kind}: asked"] += 1
        if kind == "instrument":
            seen["choices"] += len(got["choices"])
            seen.update(f"left out {row['reason']}" for row in got["left_out"])
            seen["nothing planned"] += not got["choices"]
            return
        found = got["beakers" if kind == "within" else "buy"]
        seen[f"{kind}: {min(len(found), 4)}{' or more' * (len(found) >= 4)} chosen"] += 1
        seen[f"{kind}: not exact"] += not got["exact"]
        seen[f"{kind}: more than need be"] += not got["exact"] and len(found) > answer.cover.least
        seen["just searched whole"] += answer.cover.left == WHOLE
        seen["just not searched whole"] += answer.cover.left == WHOLE + 1
        seen.update(line["state"] for row in got.get("beakers", []) for line in row["instruments"])

    def make_wrong(self, dice):
        """In answers of each kind that hold much: some figures, and some rows that are gone, there twice or swapped."""
        for kind in ("instrument", "within", "buy"):
            fit = [answer for answer in self.kept if answer.kind == kind and len(str(answer.got)) > 2000]
            for answer in dice.sample(fit, min(len(fit), 30)):
                ways = list(made_wrong(answer.got))
                rows = [way for way in ways if isinstance(way[1], list)]
                for where, value in [*dice.sample(ways, min(len(ways), 4)), *dice.sample(rows, min(len(rows), 2))]:
                    self.wrong += 1
                    if not answer.faults(with_wrong(answer.got, where, value))[1]:
                        place = "/".join(map(str, where))
                        self.tell(answer.name, [f"/{place} made wrong as {str(value)[:60]} was not noticed"])

    def refusals(self):
        """What is no question, and files of candidates with faults."""
        folder = self.folder / "refusals"
        Grown(0).write(folder)
        for name, (text, lines) in FAULTY.items():
            (folder / name).write_text(text, encoding="utf-8")
            findings = self.ask(folder, "plan", "--buy", name, ends=(1,))["findings"]
            told = [(finding["line"], finding["pointer"]) for finding in findings]
            right = told == lines and all(finding["path"] == name and finding["help"] for finding in findings)
            self.tell(f"with {name}", [] if right else [f"told {told}, must be {lines}"])
        for words in MISUSES:
            try:
                self.tell(
                    f"asked {words}", [] if not self.run(folder, "plan", *words, ends=(2,)) else ["stdout is not empty"]
                )
            except ValueError as error:
                self.tell(f"asked {words}", [str(error)])


def main():
    parser = argparse.ArgumentParser(description="Work out anew what plan says of seeded laboratories.")
    parser.add_argument("program", type=Path)
    parser.add_argument("--laboratories", type=int, default=500)
    parser.add_argument("--seed", type=int, help="grow this laboratory alone")
    parser.add_argument("--keep", type=Path, help="grow in this new folder and leave it there")
    arguments = parser.parse_args()
    only = arguments.seed is not None
    seeds = [arguments.seed] if only else range(arguments.laboratories)
    try:
        with tempfile.TemporaryDirectory() as temporary:
            if arguments.keep:
                arguments.keep.mkdir(parents=True)
            folder = (arguments.keep or Path(temporary)).resolve()
            opinion = Opinion(arguments.program.resolve(), folder, only)
            with concurrent.futures.ThreadPoolExecutor(2) as pool:
                for answers, errors in pool.map(opinion.judge, seeds):
                    opinion.take(answers, errors)
            if not only:
                opinion.make_wrong(random.Random("wrong"))
                opinion.refusals()
    except (OSError, ValueError, KeyError) as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 3
    print("seen: " + ", ".join(f"{word} {count}" for word, count in sorted(opinion.seen.items()) if count))
    if not only:
        print(f"{opinion.wrong} figures made wrong or rows swapped")
        missing = [word for word in MUST_SEE if not opinion.seen[word]]
        enough = opinion.wrong >= LEAST_WRONG and not missing
        if arguments.laboratories >= 500 and not enough:
            opinion.tell(
                "of all kinds", [f"{opinion.wrong} figures made wrong; none had {missing}: the dice are too alike"]
            )
    print(f"{opinion.passed} passed, {opinion.failed} failed")
    return 1 if opinion.failed else 0


if __name__ == "__main__":
    sys.exit(main())
