"""Small laboratories, grown from seeded dice: the files of a book, and what may be asked about it.

Used by plan.py. The dice favour what lies on a bound: days on which something ends or begins, torques at which a zone
ends, lots that differ in one thing alone. Every sixth laboratory is made for covers: which of many fluids serves which
instrument is thrown, and geometries are made to fit.
"""

import copy
import csv
import datetime
import io
import json
import math
import random
import zoneinfo
from decimal import Decimal

ONE = datetime.timedelta(days=1)
ZONES = ("low", "middle", "high")
BASES = ("silicone", "mineral-oil", "other")

# --- records as text -------------------------------------------------------------------------------------------------


def written(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, (datetime.date, datetime.datetime)):
        return value.isoformat()
    return format(value, "f") if isinstance(value, Decimal) else str(value)


def as_toml(record):
    """Plain values first, then tables, then arrays of tables."""
    lines, tables = [], []
    for key, value in record.items():
        if value is None:
            continue
        if isinstance(value, dict):
            tables.append(f"[{key}]\n" + as_toml(value))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            tables += [f"[[{key}]]\n" + as_toml(row) for row in value]
        elif value != [] or key in ("zones_required", "confirm", "records"):
            lines.append(f"{key} = {written(value)}\n")
    return "".join(lines + tables)


def plain(value, digits):
    """So many significant digits, as a decimal number."""
    return Decimal(format(Decimal(f"{float(value):.{digits - 1}e}"), "f"))


# --- a laboratory that is grown --------------------------------------------------------------------------------------

SPEEDS = (
    ["0.3", "0.6", "1.5", "3", "6", "12", "30", "60"], ["1", "2", "5", "15", "30", "45", "60"],
    ["0.5", "1.0", "2.5", "5", "10", "20", "50", "100"], ["2", "4", "10", "20", "40"], ["6", "12", "30", "60"],
    ["0.1", "0.25", "0.7", "1.3", "3.1", "7", "17", "41", "99"],
)
# One in each zone, and of no two fluids that lie far enough apart.
THREE = (["12", "30", "60"], ["4", "10", "20"], ["5", "15", "30"])
RANGES = (["0.01", "200"], ["0.5", "60"], ["0.0123", "250.5"], ["1", "12.345"], ["5.05", "100"])
ZONE_NAMES = ("Europe/Dublin", "UTC", "Pacific/Auckland", "America/New_York", "Asia/Kolkata", "Pacific/Kiritimati")
BOUNDS = (["10.0", "30.0", "70.0"],) * 5 + (
    ["5", "25", "75"], ["12.5", "35.0", "65"], ["15", "20", "95"], ["30", "30", "70"], ["28", "30", "60"],
)
# Torques at which something turns over: bounds of zones, whole tens off centre.
TURNS = [
    "10", "30", "70", "100", "20", "50", "85", "21", "17", "23", "54", "46", "38", "86.5", "77.5", "12", "28", "90",
]
TEMPERATURES = ["5", "10.0", "15", "20.00", "25.0", "37.8", "39.99", "40.0", "60", "99.5", "100"]


class Grown:
    """Files of a laboratory, by path, and what is asked of it."""

    def __init__(self, seed):
        self.seed = seed
        self.dice = random.Random(f"plan {seed}")
        dice = self.dice
        self.day = datetime.date(2024, 1, 1) + datetime.timedelta(days=dice.randrange(900))
        if dice.random() < 0.1:
            self.day = dice.choice(
                [datetime.date(2024, 2, 29), datetime.date(2025, 12, 31), datetime.date(2026, 3, 31)]
            )
        self.zone = zoneinfo.ZoneInfo(dice.choice(ZONE_NAMES))
        self.files, self.broken = {}, set()
        self.springs, self.speeds, self.rows, self.tuned = {}, {}, [], []
        self.cover, self.checked = seed % 6 == 5, seed % 3 == 0
        self.grow_people()
        self.grow_policies()
        self.grow_instruments()
        if self.cover:
            self.grow_cover()
        else:
            self.grow_fluids()
            self.grow_geometries()
            self.grow_candidates()
        if dice.random() < 0.1:
            self.break_one()
        self.asked = dice.choice([*self.springs, *self.tuned])
        self.all = seed % 2 == 1
        self.within = dice.choice([0, 1, 7, 14, 30, 45, 400])
        self.beside = dice.random() < 0.4

    def put(self, folder, name, record):
        record = self.files[f"{folder}/{name}.toml"] = {"format": 1, "id": name} | record
        return record

    def days(self, *steps):
        return self.day + datetime.timedelta(days=self.dice.choice(steps))

    def when(self, *steps):
        """A date, or a time of that day: without an offset, or with that of another zone."""
        day, how = self.days(*steps), self.dice.random()
        if how < 0.6:
            return day
        hour = self.dice.choice([0, 9, 23])
        time = datetime.datetime.combine(day, datetime.time(hour, 30, 0))
        if how < 0.8 or hour == 0:
            return time
        return time.replace(tzinfo=self.zone).astimezone(datetime.UTC)

    def grow_people(self):
        self.files["shearbook.toml"] = {"format": 1, "laboratory": "Example bench", "time_zone": self.zone.key}
        long_ago = datetime.date(2010, 1, 1)
        for name, rights in (("op-01", ["check"]), ("qa-01", ["review", "records"])):
            rows = [{"for": right, "from": long_ago} for right in rights]
            self.put("people", name, {"name": name, "emails": [f"{name}@lab.example"], "authorised": rows})
        calibration = {
            "date": long_ago, "due": datetime.date(2040, 1, 1), "by": "A laboratory", "certificate": "T-1",
            "expanded_uncertainty_k": Decimal("0.03"), "coverage_factor": Decimal("2.0"),
        }
        self.put("thermometers", "TH-1", {"resolution_k": Decimal("0.01"), "calibration": [calibration]})

    def policy(self, effective, groups):
        dice = self.dice
        guarded = dice.random() < 0.12
        minimum, low, high = dice.choice(BOUNDS)
        zones = dice.choice([list(ZONES)] * 5 + [["low", "high"], ["middle"], [], ["high", "middle", "low"], ["high"]])
        if self.cover:
            guarded, minimum, low, high, zones = False, "10.0", "30.0", "70.0", list(ZONES)
        soak = [
            {"kinds": ["cone-plate", "parallel-plates"], "minutes": 10},
            {"up_to_mpa_s": Decimal("1000.0"), "minutes": 60}, {"minutes": Decimal("120.5")},
        ]
        if dice.random() < 0.3:
            soak = dice.choice(
                [
                    [{"minutes": 30}],
                    [
                        {"kinds": ["factored"], "up_to_mpa_s": Decimal("500"), "minutes": 20},
                        {"kinds": ["factored"], "minutes": 45}, {"minutes": 0},
                    ],
                ]
            )
        shares = ["0.5", "0.8", "1.0", "1.0", "1.05", "1.25"], ["0", "0.5", "0.8", "1.0", "1.0", "1.3"]
        if guarded and dice.random() < 0.7:
            shares = ["0.2", "0.3", "0.4", "0"], ["0", "0.1", "0.2", "0.3"]
        return {
            "effective": effective,
            "title": "Check procedure",
            "method": 1,
            "groups": groups,
            "acceptance": {
                "fluid_percent": Decimal(dice.choice(shares[0])), "range_percent": Decimal(dice.choice(shares[1])),
                "decision": dice.choice(["guarded", "guarded-four-way"]) if guarded else "simple",
            },
            "temperature": {
                "window_k": Decimal("0.2"), "max_spread_k": Decimal("0.2"),
                "basis": "corrected" if guarded or dice.random() < 0.2 and not self.cover else "certified",
            },
            "torque": {
                "minimum_percent": Decimal(minimum), "low_below_percent": Decimal(low),
                "high_above_percent": Decimal(high), "zones_required": zones, "zero_limit_percent": Decimal("0.1"),
                "agreement_percent": Decimal("0.2"),
            },
            "thermometer": {"max_expanded_uncertainty_k": Decimal("0.05")},
            "fluid": {
                "max_expanded_uncertainty_percent": Decimal(
                    dice.choice(["0.4", "0.5", "0.5", "1.0", "1.0", "1.0"] if not self.cover else ["0.5"])
                ),
                "in_use_months": dice.choice([None, None, None, 12] if self.checked else [None, 1, 6, 12]),
            },
            "preparation": {"confirm": []},
            "soak": soak,
            "interval": {"daily": 7, "occasional": 30, "rare": 90},
            "service": {"interval_months": 12},
            "review": {"required": False, "within_days": 7, "records": []},
        }

    def grow_policies(self):
        """In force, followed by one that is not yet; of a group, with another of no group."""
        dice = self.dice
        self.put("policies", "P-1", self.policy(datetime.date(2015, 1, 1), None))
        if dice.random() < 0.3:
            self.put("policies", "P-2", self.policy(self.days(-40, -1, 0, 1, 30), None))
        if dice.random() < 0.3:
            self.put("policies", "P-3", self.policy(self.days(-900, -30, 0, 1), ["plates", "rest"]))
        if dice.random() < 0.04:
            del self.files["policies/P-1.toml"]
            self.put("policies", "P-9", self.policy(datetime.date(2015, 1, 1), ["plates"]))

    def standings(self, good, bad):
        """Of an instrument or a lot: now and then quarantined or withdrawn, put back, from now, from tomorrow."""
        dice, how = self.dice, self.dice.random()
        rows = [{"from": self.when(*bad), "state": dice.choice(["quarantined", "quarantined", "withdrawn"])}]
        if how < 0.5:
            rows.append({"from": self.when(1, 0, -1, -2, -3), "state": good})
        moment = lambda row: self.moment(row["from"])
        rows = [row | {"by": "qa-01", "reason": "seen at the bench"} for row in rows]
        days = {self.moment(row["from"]).astimezone(self.zone).date() for row in rows}
        return sorted(rows, key=moment) if len(days) == len(rows) else rows[:1]

    def moment(self, value):
        if not isinstance(value, datetime.datetime):
            value = datetime.datetime.combine(value, datetime.time())
        return value if value.tzinfo else value.replace(tzinfo=self.zone)

    def grow_instruments(self):
        dice = self.dice
        for number in range(
            1, dice.choice([1, 2, 2, 3, 3, 4, 5, 6]) + 1 if not self.cover else dice.choice([7, 7, 10])
        ):
            name = f"VM-{number:02}"
            springs = [
                {
                    "from": datetime.date(2018, 1, 1),
                    "full_scale_torque_un_m": Decimal(dice.choice(["80.0", "67.37", "673.7", "1437.4", "100"])),
                }
            ]
            if dice.random() < 0.15 and not self.cover:
                springs.append(
                    {
                        "from": self.when(-200, -20, -1, 0, 1),
                        "full_scale_torque_un_m": Decimal(dice.choice(["85.0", "680", "1500", "90.25"])),
                    }
                )
            free = dice.random() < 0.3 and not self.cover
            speeds = [Decimal(speed) for speed in (dice.choice(RANGES) if free else dice.choice(SPEEDS))]
            if self.cover:
                speeds = [Decimal(speed) for speed in dice.choice(THREE)]
            if dice.random() < 0.2 and not free:
                dice.shuffle(speeds)
            standing = [{"from": datetime.date(2018, 1, 1), "state": "in-service", "by": "qa-01"}]
            if dice.random() < (0.3 if self.checked else 0.2):
                standing += self.standings("in-service", (-60, -20, -1, 0, 1))
            if dice.random() < 0.04:
                standing = [standing[0] | {"from": self.when(1, 5)}]
            if dice.random() < 0.02:
                springs = [springs[0] | {"from": self.when(1, 5)}]
            self.springs[name] = springs[-1]["full_scale_torque_un_m"]
            self.speeds[name] = (free, speeds)
            calibration = {
                "date": self.days(-300, -300, -400), "kind": "calibration", "by": "A laboratory", "certificate": "C",
                "due": self.days(-1, 0, 1, 300, 300, 300),
            }
            service = [calibration]
            if dice.random() < 0.15:
                service.append(
                    {"date": self.when(-60, -5, -1, 0, 1), "kind": dice.choice(["move", "repair"]), "by": "op-01"}
                )
            self.put(
                "instruments",
                name,
                {
                    "location": f"bench {number}", "usage": dice.choice(["daily", "occasional", "rare"]),
                    "group": dice.choice([None, None, "plates", "other"]),
                    ("speed_range_rpm" if free else "speeds_rpm"): speeds,
                    "torque_resolution_percent": Decimal(dice.choice(["0.1", "0.01", "0.1", "1"])),
                    "repeatability_percent": Decimal(dice.choice(["0.2", "0.1", "0.02"])), "spring": springs,
                    "service": service, "standing": standing,
                },
            )

    def value_rows(self):
        dice = self.dice
        count = dice.choice([1, 1, 2, 3])
        temperatures = sorted(dice.sample(TEMPERATURES, count), key=Decimal)
        viscosity = 10 ** dice.uniform(0.8, 4.8)
        rows = []
        for temperature in temperatures:
            row = {"temperature_c": Decimal(temperature)}
            if dice.random() < 0.3:
                density = plain(dice.uniform(0.8, 1.0), 4)
                row |= {"kinematic_mm2_s": plain(viscosity / float(density), 4), "density_g_ml": density}
                value = row["kinematic_mm2_s"] * density
            else:
                value = row["viscosity_mpa_s"] = plain(viscosity, dice.choice([2, 3, 4, 6]))
            percent = dice.choice(["0.2", "0.25", "0.25", "0.3", "0.40", "0.4", "0.4", "0.5", "0.51", "1.1"])
            if dice.random() < 0.3:
                row["expanded_uncertainty_mpa_s"] = plain(Decimal(percent) * value / 100, dice.choice([2, 5]))
            else:
                row["expanded_uncertainty_percent"] = Decimal(percent)
            row["coverage_factor"] = Decimal(dice.choice(["2.0", "2", "1.96", "2.1"]))
            rows.append(row)
            viscosity *= dice.uniform(0.25, 0.9)
        if count == 1 and dice.random() < 0.8:
            rows[0]["temperature_coefficient_percent_per_k"] = Decimal("-2.1")
        return rows

    def bottles(self, certified):
        dice, rows = self.dice, []
        for number in range(dice.choice([0, 1, 1, 2, 3])):
            opened = max(
                certified, self.days(1, 0, -1, -27, -28, -29, -30, -31, -32, -181, -182, -184, -200, -365, -366, -400)
            )
            discarded = self.days(-40, -1, 0, 1, 30) if dice.random() < 0.3 else None
            rows.append(
                {"id": f"{number + 1}", "opened": opened, "discarded": max(opened, discarded) if discarded else None}
            )
        return rows

    def lot(self, name, rows):
        dice = self.dice
        expires = self.days(-30, -1, 0, 1, 20, 20, 200, 200, 200, 200, 400, 400, 400, 400, 700)
        certified = min(self.days(*[-500] * 12, -40, -1, 0, 1), expires)
        standing = self.standings("usable", (-30, -10, -1, 0, 1)) if dice.random() < 0.15 else []
        if self.cover and dice.random() < 0.9:
            certified, expires, standing = self.days(-500), self.days(20, 200, 400), []
        nominal = rows[0].get("viscosity_mpa_s", 100)
        self.put(
            "fluids",
            name,
            {
                "supplier": "A supplier", "product": "Reference fluid", "base": dice.choice(BASES),
                "nominal_mpa_s": plain(float(nominal) * 1.03, 3), "issuer": "A laboratory", "certificate": "F-1",
                "certified": certified, "expires": expires, "value": rows, "bottle": self.bottles(certified),
                "standing": standing,
            },
        )

    def grow_fluids(self):
        """Some lots are the like of the one before but in one thing, so that the order must be told by that."""
        dice = self.dice
        names = [f"K-{number}" for number in dice.sample(range(1000, 9999), dice.choice([1, 2, 3, 4, 4, 5, 6, 7, 8]))]
        # An id may go on where another ends, and letters may be small.
        names = [
            dice.choice([name, name, name, name.lower(), f"{names[0]}.{index}"]) for index, name in enumerate(names)
        ]
        before = None
        for name in names:
            if before and dice.random() < 0.35:
                record = copy.deepcopy(self.files[f"fluids/{before}.toml"]) | {"id": name}
                how = dice.choice(["same", "uncertainty", "expiry", "bottle"])
                if how == "uncertainty":
                    row = record["value"][0]
                    row.pop("expanded_uncertainty_mpa_s", None)
                    row["expanded_uncertainty_percent"] = Decimal(dice.choice(["0.1", "0.3", "0.39", "0.5"]))
                elif how == "expiry":
                    record["expires"] = max(record["certified"], record["expires"] + dice.choice([-1, 1, 30]) * ONE)
                elif how == "bottle":
                    record["bottle"] = self.bottles(record["certified"])
                self.files[f"fluids/{name}.toml"] = record
            else:
                self.lot(name, self.value_rows())
                self.rows += self.files[f"fluids/{name}.toml"]["value"]
            before = name

    def certified(self, row):
        return row["viscosity_mpa_s"] if "viscosity_mpa_s" in row else row["kinematic_mm2_s"] * row["density_g_ml"]

    def geometry(self, name, instrument, viscosity, kind):
        """One whose range, with the spring of the instrument, is about right for the viscosity at some speed."""
        dice, spring = self.dice, self.springs[instrument]
        free, speeds = self.speeds[instrument]
        middle = dice.choice(speeds) if not free else plain(math.sqrt(speeds[0] * speeds[1]), 2)
        # The constant is range times speed; most show some 80 % at the fastest.
        torque = dice.uniform(20, 90)
        if dice.random() < 0.75:
            middle, torque = max(speeds), dice.uniform(71, 99)
        constant = float(viscosity) * float(middle) * 100 / torque
        record = {"kind": kind}
        if kind == "factored" and dice.random() < 0.4:
            torque = Decimal(dice.choice(TURNS))
            record |= {"range_constant_mpa_s_rpm": 100 * viscosity * middle, "at_torque_un_m": torque * spring}
        elif kind == "factored":
            record |= {"range_constant_mpa_s_rpm": plain(constant, dice.choice([2, 4])), "at_torque_un_m": spring}
        else:
            # R n = 30 000 000 K T / pi, K in 1/mm3 and T in uN.m.
            shape = constant * math.pi / 3e7 / float(spring)
            if kind == "coaxial-cylinders":
                end = dice.choice([None, "1.0", "1.21"])
                bob, ratio = dice.uniform(5, 20), dice.uniform(1.02, 1.6)
                over = (1 - 1 / ratio**2) / (4 * math.pi * float(end or "1.1") * bob**2)
                length = over / shape
                record |= {
                    "bob_radius_mm": plain(bob, 4), "cup_radius_mm": plain(bob * ratio, 5),
                    "bob_length_mm": plain(length, 3), "end_effect": end and Decimal(end),
                }
            elif kind == "cone-plate":
                angle = dice.choice(["0.5", "1.565", "3", "1"])
                radius = (3 * math.radians(float(angle)) / (math.tau * shape)) ** (1 / 3)
                record |= {"radius_mm": plain(radius, 4), "angle_deg": Decimal(angle)}
            else:
                gap = dice.choice(["0.5", "1", "0.75"])
                radius = (2 * float(gap) / (math.pi * shape)) ** 0.25
                record |= {"radius_mm": plain(radius, 4), "gap_mm": Decimal(gap)}
        if kind == "factored":
            record["shear_rate_per_rpm"] = Decimal(dice.choice(["0.22", "1.7023"])) if dice.random() < 0.5 else None
            record["guard"] = dice.choice(["required", "not-used"])
        record["vessel"] = dice.choice(["600 mL low-form beaker", None])
        record["sample_ml"] = dice.choice([None, Decimal("500.0"), Decimal("16"), Decimal("0.5"), Decimal("8.25")])
        self.tuned.append(instrument)
        return self.put("geometries", name, record)

    def grow_geometries(self):
        dice, names = self.dice, list(self.springs)
        for number in range(1, dice.choice([1, 2, 3, 4, 5, 6]) + 1):
            instrument, row = dice.choice(names), dice.choice(self.rows)
            kind = dice.choice(["factored", "factored", "coaxial-cylinders", "cone-plate", "parallel-plates"])
            record = self.geometry(f"G-{number}", instrument, self.certified(row), kind)
            if dice.random() < 0.25:
                record["fits"] = sorted({instrument, dice.choice(names)})
            if dice.random() < 0.2:
                rows = [{"date": self.when(-90, -20, -1, 0, 1), "outcome": "damaged"}]
                if dice.random() < 0.4:
                    rows = [{"date": self.days(-120), "outcome": "sound"}, *rows]
                if dice.random() < 0.4:
                    rows.append({"date": self.days(2), "outcome": "sound"})
                record["inspection"] = rows
            if dice.random() < 0.15:
                name = dice.choice([f"A-{number}", f"G-{number}-b", f"G-{number}.2", f"g-{number}b"])
                self.files[f"geometries/{name}.toml"] = copy.deepcopy(record) | {"id": name}

    def grow_cover(self):
        """Which instrument a fluid serves is thrown, and a geometry made for each."""
        dice, names = self.dice, list(self.springs)
        lots, candidates = dice.choice([5, 8, 15, 16, 22]), dice.choice([8, 12, 15, 16, 22])
        density, even, number = dice.choice([0.3, 0.4]), dice.random() < 0.6, 0
        self.candidates = []
        for turn in range(lots + candidates):
            viscosity = plain(10 * 1.6**turn * dice.uniform(0.98, 1.02), 4)
            name = f"K-{dice.randrange(10, 99)}{turn:02}"
            if turn < lots:
                self.lot(
                    name,
                    [
                        {
                            "temperature_c": Decimal(dice.choice(TEMPERATURES)), "viscosity_mpa_s": viscosity,
                            "expanded_uncertainty_percent": Decimal("0.3"), "coverage_factor": Decimal("2.0"),
                        }
                    ],
                )
            else:
                self.candidates.append({"id": name, "viscosity_mpa_s": viscosity})
            served = [instrument for instrument in names if dice.random() < density] or [dice.choice(names)]
            if even:
                # None holds another.
                served = dice.sample(names, 3)
            for instrument in served:
                number += 1
                record = self.geometry(f"G-{number}", instrument, viscosity, "factored")
                speeds = sorted(self.speeds[instrument][1])
                # One speed in each zone: the instrument has these among its own.
                record |= {
                    "range_constant_mpa_s_rpm": viscosity * speeds[-1] * 100,
                    "at_torque_un_m": Decimal(dice.choice(["75", "85", "93", "99"])) * self.springs[instrument],
                    "fits": [instrument],
                }
        dice.shuffle(self.candidates)
        self.candidates_as_csv = dice.random() < 0.4

    def grow_candidates(self):
        dice = self.dice
        self.candidates, self.candidates_as_csv = [], dice.random() < 0.4
        for number in range(dice.choice([1, 2, 3, 5, 8, 11, 12, 13, 15])):
            near = self.certified(dice.choice(self.rows))
            viscosity = (
                near if dice.random() < 0.3 else plain(float(near) * dice.uniform(0.3, 3), dice.choice([2, 3, 5]))
            )
            row = {"id": f"C-{dice.randrange(100, 999)}{number:02}", "viscosity_mpa_s": viscosity}
            if dice.random() < 0.5:
                row["temperature_c"] = Decimal(dice.choice(TEMPERATURES))
            if dice.random() < 0.5:
                row["expanded_uncertainty_percent"] = Decimal(dice.choice(["0.1", "0.25", "0.4", "0.6"]))
            if dice.random() < 0.3:
                row["note"] = "a price was asked, and 'quoted'"
            self.candidates.append(row)

    def candidate_file(self):
        if not self.candidates_as_csv:
            return "candidates.toml", as_toml({"candidate": self.candidates})
        columns = ["id", "viscosity_mpa_s", "temperature_c", "expanded_uncertainty_percent", "note"]
        if not any("note" in row for row in self.candidates):
            columns.pop()
        self.dice.shuffle(columns)
        text = io.StringIO()
        sheet = csv.writer(text, lineterminator="\n")
        sheet.writerow(columns)
        for row in self.candidates:
            sheet.writerow(
                [format(cell, "f") if isinstance(cell := row.get(key, ""), Decimal) else cell for key in columns]
            )
        return "candidates.csv", text.getvalue()

    def break_one(self):
        """A key that no schema knows."""
        path = self.dice.choice([path for path in self.files if path.startswith(("fluids/", "geometries/"))])
        self.files[path]["viscosty"] = 1
        self.broken.add(path)

    def write(self, folder):
        for path, record in self.files.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_text(as_toml(record), encoding="utf-8")
        name, text = self.candidate_file()
        (folder / "asked").mkdir(exist_ok=True)
        (folder / "asked" / name).write_text(text, encoding="utf-8")
        return folder / "asked" / name
