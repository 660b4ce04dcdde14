#!/usr/bin/env python3
"""A second opinion on every figure of [computed] in a book.

Shares no code with shearbook and needs Python's standard library alone (3.11 or newer). From the records it works out,
by edition 1 of the method, what [computed] of each check must hold, in decimals of 50 digits, and compares that with
what the file holds: figures as numbers after the rounding that the method lays down (6 significant digits, percentages
2 decimals, half to even), words and keys exactly. A check without [computed] has failed. One that an amendment follows
keeps what it was given on its day, whatever fact was corrected since, and is left out.

    recompute.py [BOOK]            compare; the last line is 'N passed, N failed', exit 1 if any failed
    recompute.py --print [BOOK]    print each check's recomputed [computed] as TOML instead

BOOK is records-example beside the project's tests where it is left out. Exit 3: the book could not be read.
"""

import argparse
import datetime
import decimal
import functools
import sys
import tomllib
import zoneinfo
from decimal import Decimal
from pathlib import Path

decimal.getcontext().prec = 50
decimal.getcontext().rounding = decimal.ROUND_HALF_EVEN

# 50 digits; any table of constants has them.
PI = Decimal("3.1415926535897932384626433832795028841971693993751")
HUNDRED = Decimal(100)
KELVIN = Decimal("273.15")
SIX_DIGITS = decimal.Context(prec=6, rounding=decimal.ROUND_HALF_EVEN)
WORST_FIRST = ["fail", "conditional-fail", "conditional-pass", "pass"]


class Unreadable(Exception):
    """The records do not say what is needed to begin."""


def number(value):
    """A figure as written, or None where it is missing."""
    return None if value is None else Decimal(value)


def six_digits(value):
    return SIX_DIGITS.plus(value) + 0


def two_decimals(value):
    return value.quantize(Decimal("0.01"), rounding=decimal.ROUND_HALF_EVEN) + 0


def mean(values):
    return sum(values, Decimal(0)) / len(values)


# --- reading ---------------------------------------------------------------------------------------------------------


def read_toml(path):
    with open(path, "rb") as file:
        return tomllib.load(file, parse_float=Decimal)


class Book:
    def __init__(self, root):
        self.root = Path(root)
        try:
            self.zone = zoneinfo.ZoneInfo(read_toml(self.root / "shearbook.toml")["time_zone"])
        except (OSError, KeyError, ValueError, zoneinfo.ZoneInfoNotFoundError) as error:
            raise Unreadable(f"{self.root}: no book: {error}") from error
        self.cache = {}
        self.policies = [read_toml(path) for path in sorted(self.root.glob("policies/*.toml"))]

    def record(self, folder, name):
        path = self.root / folder / f"{name}.toml"
        if path not in self.cache:
            self.cache[path] = read_toml(path) if path.is_file() else None
        return self.cache[path]

    def instant(self, value):
        """A TOML date (its first moment) or time as a moment; without an offset it is wall time in the book's zone."""
        if not isinstance(value, datetime.datetime):
            value = datetime.datetime.combine(value, datetime.time())
        if value.tzinfo is None:
            value = value.replace(tzinfo=self.zone)
        return value.astimezone(datetime.timezone.utc)

    def day(self, value):
        return self.instant(value).astimezone(self.zone).date()

    def checks(self):
        paths = sorted(self.root.glob("checks/*/*/*.toml"))
        return [path for path in paths if not amendment_of(path).exists()]


def in_force(book, rows, key, moment):
    """The newest row that had begun."""
    begun = [row for row in rows if book.instant(row[key]) <= moment]
    return max(begun, key=lambda row: book.instant(row[key])) if begun else None


def policy_for(book, instrument, day):
    """The newest among the policies that name the instrument's group, else among those that name none."""
    begun = [policy for policy in book.policies if policy["effective"] <= day]
    group = (instrument or {}).get("group")
    named = [policy for policy in begun if group is not None and group in policy.get("groups", [])]
    general = [policy for policy in begun if "groups" not in policy]
    chosen = named or general
    return max(chosen, key=lambda policy: policy["effective"]) if chosen else None


# --- range -----------------------------------------------------------------------------------------------------------


def full_scale_range(geometry, torque_un_m, speed_rpm):
    """The viscosity [mPa.s] that shows 100 % torque; None where a figure is missing."""
    if geometry is None or torque_un_m is None or not speed_rpm:
        return None
    kind = geometry["kind"]
    if kind == "factored":
        constant = number(geometry["range_constant_mpa_s_rpm"])
        return constant * torque_un_m / number(geometry["at_torque_un_m"]) / speed_rpm

    def metres(key):
        return number(geometry[key]) / 1000

    if kind == "coaxial-cylinders":
        bob, cup, length = metres("bob_radius_mm"), metres("cup_radius_mm"), metres("bob_length_mm")
        end_effect = number(geometry.get("end_effect", "1.10"))
        shape = (1 / bob**2 - 1 / cup**2) / (4 * PI * length * end_effect)
    elif kind == "cone-plate":
        angle = number(geometry["angle_deg"]) * PI / 180
        shape = 3 * angle / (2 * PI * metres("radius_mm") ** 3)
    elif kind == "parallel-plates":
        shape = 2 * metres("gap_mm") / (PI * metres("radius_mm") ** 4)
    else:
        return None
    turning = 2 * PI * speed_rpm / 60
    return 1000 * shape * (torque_un_m / 1_000_000) / turning


# --- temperature -----------------------------------------------------------------------------------------------------


def corrected(calibration, shown_c):
    """Shown temperature plus the certificate's correction, linear between its rows, the end values held beyond them."""
    rows = sorted((number(row["at_c"]), number(row["correction_k"])) for row in calibration.get("corrections", []))
    if not rows:
        return shown_c
    if shown_c <= rows[0][0]:
        return shown_c + rows[0][1]
    for (low, at_low), (high, at_high) in zip(rows, rows[1:]):
        if shown_c <= high:
            return shown_c + at_low + (at_high - at_low) * (shown_c - low) / (high - low)
    return shown_c + rows[-1][1]


def temperature_of(row):
    return number(row["temperature_c"])


def viscosity_of(row):
    if "viscosity_mpa_s" in row:
        return number(row["viscosity_mpa_s"])
    return number(row["kinematic_mm2_s"]) * number(row["density_g_ml"])


def nearest_row(rows, temperature_c):
    return min(rows, key=lambda row: (abs(temperature_of(row) - temperature_c), temperature_of(row)))


def density_at(rows, row, temperature_c):
    """Linear between the certificate's rows; beyond the last of them the line runs on."""
    at = temperature_of(row)
    known = [other for other in rows if "density_g_ml" in other and other is not row]
    if temperature_c == at or not known:
        return number(row["density_g_ml"])
    side = [other for other in known if (temperature_of(other) > at) == (temperature_c > at)] or known
    other = min(side, key=lambda candidate: abs(temperature_of(candidate) - at))
    slope = (number(other["density_g_ml"]) - number(row["density_g_ml"])) / (temperature_of(other) - at)
    return number(row["density_g_ml"]) + slope * (temperature_c - at)


class Curve:
    """How the fluid's viscosity moves with temperature around one certified row."""

    def __init__(self, rows, row):
        self.rows, self.row = rows, row
        self.at = temperature_of(row)
        self.coefficient = None
        self.used = [row]
        others = sorted((other for other in rows if other is not row),
                        key=lambda other: (abs(temperature_of(other) - self.at), temperature_of(other)))
        self.pole_k = Decimal(0)
        self.slope_k = None
        if not others:
            if "temperature_coefficient_percent_per_k" in row:
                self.coefficient = number(row["temperature_coefficient_percent_per_k"]) / 100
        elif len(others) == 1 or not self.fit_vogel([row, *others[:2]]):
            self.fit_andrade([row, others[0]])

    def logarithms(self, used):
        self.used = used
        self.kinematic = all("kinematic_mm2_s" in row for row in used)
        ordered = sorted(used, key=temperature_of)
        values = [number(row["kinematic_mm2_s"]) if self.kinematic else viscosity_of(row) for row in ordered]
        return [temperature_of(row) + KELVIN for row in ordered], [value.ln() for value in values]

    def fit_andrade(self, used):
        (t1, t2), (y1, y2) = self.logarithms(used)
        self.pole_k, self.slope_k = Decimal(0), (y1 - y2) / (1 / t1 - 1 / t2)

    def fit_vogel(self, used):
        """ln(eta) = A + B/(T - T0) through three rows; False where no such curve with B > 0 and T0 below them exists."""
        (t1, t2, t3), (y1, y2, y3) = self.logarithms(used)
        if y2 == y3:
            return False
        # (y1 - y2)/(y2 - y3) frees the fit of A and B and leaves (T3 - T0)/(T1 - T0).
        quotient = (y1 - y2) * (t3 - t2) / ((y2 - y3) * (t2 - t1))
        if quotient == 1:
            return False
        pole = (quotient * t1 - t3) / (quotient - 1)
        slope = (y1 - y2) * (t1 - pole) * (t2 - pole) / (t2 - t1)
        if not (slope > 0 and pole < t1):
            return False
        self.pole_k, self.slope_k = pole, slope
        return True

    def ratio(self, temperature_c):
        """eta(T)/eta(Tc), or None where the certificate gives no slope."""
        if self.coefficient is not None:
            return (self.coefficient * (temperature_c - self.at)).exp()
        if self.slope_k is None:
            return None
        shift = 1 / (temperature_c + KELVIN - self.pole_k) - 1 / (self.at + KELVIN - self.pole_k)
        ratio = (self.slope_k * shift).exp()
        if self.kinematic:
            ratio *= density_at(self.rows, self.row, temperature_c) / number(self.row["density_g_ml"])
        return ratio

    def beta(self):
        """d ln(eta)/dT at the certified temperature [1/K]; where the density bends there, the mean of its two slopes."""
        if self.coefficient is not None or self.slope_k is None:
            return self.coefficient
        beta = -self.slope_k / (self.at + KELVIN - self.pole_k) ** 2
        if self.kinematic:
            knots = sorted((temperature_of(row), number(row["density_g_ml"])) for row in self.rows if "density_g_ml" in row)
            slopes = [(rho - before) / (at - earlier) for (earlier, before), (at, rho) in zip(knots, knots[1:])
                      if self.at in (earlier, at)]
            beta += mean(slopes) / number(self.row["density_g_ml"])
        return beta


# --- uncertainty, for the guarded decisions --------------------------------------------------------------------------


TAIL = Decimal("0.0455")
# Above so many degrees of freedom the expansion about the normal quantile has more digits than are needed.
MANY_DEGREES = 2000


def normal_quantile():
    """z with 95.45 % of a normal distribution within it, by Newton's rule on the series of the share."""
    z = Decimal(2)
    for _ in range(8):
        # The share within z is 2 pdf(z) (z + z^3/3 + z^5/15 + ...).
        density = (-z * z / 2).exp() / (2 * PI).sqrt()
        term, total, odd = z, Decimal(0), 1
        while term > Decimal("1e-45"):
            total += term
            odd += 2
            term *= z * z / odd
        z += (1 - TAIL - 2 * density * total) / (2 * density)
    return z


def gamma_quotient(degrees):
    """Gamma((nu + 1)/2) / Gamma(nu/2), from nu = 1 or 2 upwards in steps of 2."""
    half = PI.sqrt() / 2
    at, quotient = (1, 1 / PI.sqrt()) if degrees % 2 else (2, half)
    while at < degrees:
        quotient *= Decimal(at + 1) / at
        at += 2
    return quotient


def outside(factor, degrees, quotient):
    """Share of Student's distribution beyond the factor on both sides, and its density there.

    The share is the incomplete beta function of nu/(nu + t^2) with nu/2 and 1/2, by its continued fraction.
    """
    shrink = 1 + factor * factor / degrees
    density = quotient / (PI * degrees).sqrt() * (-Decimal(degrees + 1) / 2 * shrink.ln()).exp()
    x, first, second = 1 / shrink, Decimal(degrees) / 2, Decimal("0.5")
    # The convergents of the fraction, from its first partial numerators on.
    above, below, last_above, last_below = Decimal(1), Decimal(1), Decimal(1), Decimal(0)
    value = Decimal(1)
    for step in range(1, 5000):
        m = step // 2
        if step % 2:
            numerator = -(first + m) * (first + second + m) * x / ((first + 2 * m) * (first + 2 * m + 1))
        else:
            numerator = m * (second - m) * x / ((first + 2 * m - 1) * (first + 2 * m))
        above, last_above = above + numerator * last_above, above
        below, last_below = below + numerator * last_below, below
        before, value = value, above / below
        if step > 2 and abs(value - before) < Decimal("1e-40") * value:
            break
    # x^a (1 - x)^b / (a B(a, b)) is 2 t/nu times the density.
    return 2 * factor / degrees * density / value, density


@functools.lru_cache(maxsize=None)
def student_factor(degrees):
    """Two-sided 95.45 % quantile of Student's t for a whole number of degrees of freedom."""
    if degrees > MANY_DEGREES:
        z, nu = normal_quantile(), Decimal(degrees)
        # Abramowitz and Stegun, 26.7.5.
        return (
            z
            + (z**3 + z) / 4 / nu
            + (5 * z**5 + 16 * z**3 + 3 * z) / 96 / nu**2
            + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384 / nu**3
            + (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160 / nu**4
        )
    quotient = gamma_quotient(degrees)
    factor = Decimal(2)
    # The share outside is convex and too large at 2, so Newton's rule comes from below.
    for _ in range(200):
        share, density = outside(factor, degrees, quotient)
        step = (share - TAIL) / (2 * density)
        factor += step
        if abs(step) < Decimal("1e-30"):
            break
    return factor


def expanded_uncertainty(book, check, instrument, calibration, row, curve, temperatures, reference, full_range, readings):
    """U [mPa.s] of one point or its replicates; None where a figure is missing."""
    beta = curve.beta()
    if beta is None or calibration is None:
        return None
    coverage = number(row.get("coverage_factor"))
    if "expanded_uncertainty_percent" in row:
        fluid = number(row["expanded_uncertainty_percent"]) / 100 * viscosity_of(row) / coverage
    elif "expanded_uncertainty_mpa_s" in row:
        fluid = number(row["expanded_uncertainty_mpa_s"]) / coverage
    else:
        return None
    thermometer = book.record("thermometers", check["thermometer"])
    spread = max(temperatures) - min(temperatures)
    temperature = (number(calibration["expanded_uncertainty_k"]) / number(calibration["coverage_factor"])) ** 2
    temperature += number(thermometer["resolution_k"]) ** 2 / 12 + (spread / 2) ** 2 / 3
    if "bath" in check:
        temperature += number(book.record("baths", check["bath"])["uniformity_k"]) ** 2 / 3
    resolution = full_range * number(instrument["torque_resolution_percent"]) / 100 / Decimal(12).sqrt()
    count = len(readings)
    repeat = full_range * number(instrument["repeatability_percent"]) / 100 / Decimal(count).sqrt()
    finite = False
    if count >= 2:
        middle = mean(readings)
        deviation = (sum((value - middle) ** 2 for value in readings) / (count - 1)).sqrt() / Decimal(count).sqrt()
        if deviation > repeat:
            repeat, finite = deviation, True
    combined = (fluid**2 + (reference * beta) ** 2 * temperature + resolution**2 + repeat**2).sqrt()
    if not finite:
        return 2 * combined
    effective = combined**4 * (count - 1) / repeat**4
    effective = effective.quantize(Decimal("0.1"), rounding=decimal.ROUND_HALF_EVEN)
    return student_factor(int(effective)) * combined


# --- one check -------------------------------------------------------------------------------------------------------


def recompute(book, check):
    """[computed] of a check, with every figure rounded as the method says; what cannot be had is left out."""
    void = check.get("void", False)
    moment = book.instant(check["performed"])
    day = book.day(check["performed"])
    instrument = book.record("instruments", check["instrument"])
    policy = policy_for(book, instrument, day)
    computed = {}
    if policy is None:
        if void:
            computed["verdict"] = "void"
        return computed
    if policy["method"] != 1:
        raise Unreadable(f"policy {policy['id']}: only method 1 is known here")
    computed["method"] = policy["method"]
    computed["policy"] = policy["id"]

    lot = book.record("fluids", check["fluid"]) if "fluid" in check else None
    rows = (lot or {}).get("value", [])
    points = check.get("point", [])
    if not points:
        if rows:
            computed["reference_mpa_s"] = six_digits(viscosity_of(rows[0]))
        if void:
            computed["verdict"] = "void"
        return computed

    thermometer = book.record("thermometers", check["thermometer"]) if "thermometer" in check else None
    begun = [candidate for candidate in (thermometer or {}).get("calibration", []) if book.instant(candidate["date"]) <= moment]
    covering = [candidate for candidate in begun if day <= candidate["due"]]
    calibration = max(covering or begun, key=lambda candidate: book.instant(candidate["date"]), default=None)
    geometry = book.record("geometries", check["geometry"]) if "geometry" in check else None
    spring = in_force(book, (instrument or {}).get("spring", []), "from", moment)
    torque_un_m = number(spring["full_scale_torque_un_m"]) if spring else None

    speeds = [number(point.get("speed_rpm")) for point in points]
    ranges = [full_scale_range(geometry, torque_un_m, speed) for speed in speeds]
    temperatures = []
    for point in points:
        shown_c = number(point.get("temperature_c"))
        temperatures.append(corrected(calibration, shown_c) if calibration and shown_c is not None else None)
    readings = []
    for point, full_range in zip(points, ranges):
        reading = number(point.get("viscosity_mpa_s"))
        if reading is None and "torque_percent" in point and full_range is not None:
            reading = number(point["torque_percent"]) * full_range / 100
        readings.append(None if "shown" in point else reading)

    known = [value for value in temperatures if value is not None]
    row = nearest_row(rows, mean(known)) if rows and known else None
    certified = viscosity_of(row) if row else None
    basis_corrected = policy["temperature"]["basis"] == "corrected"
    curve = Curve(rows, row) if row else None
    window = number(policy["temperature"]["window_k"])

    def moved(temperature_c):
        """The certified value moved to a temperature, inside the window only."""
        if certified is None or temperature_c is None or abs(temperature_c - temperature_of(row)) > window:
            return None
        ratio = curve.ratio(temperature_c)
        return None if ratio is None else certified * ratio

    reference = (moved(mean(known)) if known else None) if basis_corrected else certified
    if reference is not None:
        computed["reference_mpa_s"] = six_digits(reference)

    decision = policy["acceptance"]["decision"]
    guarded = decision != "simple"
    fluid_percent = number(policy["acceptance"]["fluid_percent"])
    range_percent = number(policy["acceptance"]["range_percent"])
    torque = {key: number(policy["torque"][key]) for key in ("minimum_percent", "low_below_percent", "high_above_percent")}

    results = [None] * len(points)
    for first, speed in enumerate(speeds):
        if results[first] is not None:
            continue
        members = [i for i in range(first, len(points)) if speed is not None and speeds[i] == speed] or [first]
        counted = [i for i in members if readings[i] is not None]
        full_range = ranges[first]
        shared = certified
        if basis_corrected:
            at = [temperatures[i] for i in (counted or members) if temperatures[i] is not None]
            shared = moved(mean(at)) if at else None
        common = {}
        verdict = None
        if full_range is not None:
            common["range_mpa_s"] = six_digits(full_range)
        if basis_corrected and shared is not None:
            common["reference_mpa_s"] = six_digits(shared)
        if full_range is not None and shared is not None:
            expected = 100 * shared / full_range
            if torque["minimum_percent"] <= expected <= HUNDRED:
                if expected < torque["low_below_percent"]:
                    common["zone"] = "low"
                elif expected > torque["high_above_percent"]:
                    common["zone"] = "high"
                else:
                    common["zone"] = "middle"
            half_width = fluid_percent / 100 * shared + range_percent / 100 * full_range
            lower, upper = six_digits(shared - half_width), six_digits(shared + half_width)
            common["lower_mpa_s"], common["upper_mpa_s"] = lower, upper
            values = [readings[i] for i in counted]
            if values:
                verdict = "pass" if lower <= mean(values) <= upper else "fail"
            if guarded:
                verdict = None
                expanded = expanded_uncertainty(
                    book, check, instrument, calibration, row, curve, known, shared, full_range, values or [shared]
                )
                if expanded is not None:
                    inner = six_digits(shared - half_width + expanded), six_digits(shared + half_width - expanded)
                    outer = six_digits(shared - half_width - expanded), six_digits(shared + half_width + expanded)
                    common["expanded_uncertainty_mpa_s"] = six_digits(expanded)
                    common["acceptance_lower_mpa_s"], common["acceptance_upper_mpa_s"] = inner
                    if values:
                        result = mean(values)
                        verdict = "fail"
                        if inner[0] <= result <= inner[1]:
                            verdict = "pass"
                        elif decision == "guarded-four-way" and lower <= result <= upper:
                            verdict = "conditional-pass"
                        elif decision == "guarded-four-way" and outer[0] <= result <= outer[1]:
                            verdict = "conditional-fail"
        for i in members:
            own = dict(common)
            if readings[i] is not None and shared is not None:
                own["deviation_percent"] = two_decimals(100 * (readings[i] - shared) / shared)
            if "shown" in points[i]:
                own["verdict"] = "fail"
            elif verdict is not None and readings[i] is not None:
                own["verdict"] = verdict
            results[i] = own

    verdicts = [own.get("verdict") for own in results]
    if void:
        computed["verdict"] = "void"
    elif None not in verdicts:
        computed["verdict"] = min(verdicts, key=WORST_FIRST.index)
    computed["point"] = results
    return computed


# --- comparing and printing ------------------------------------------------------------------------------------------


def differences(held, expected, place=""):
    """Every key in which the file and the recomputation disagree, in words."""
    for key in [*expected, *(key for key in held if key not in expected)]:
        where = f"{place}{key}"
        if key not in held:
            yield f"{where} is missing, recomputed {expected[key]}"
        elif key not in expected:
            yield f"{where} = {held[key]} is surplus"
        elif key == "point":
            if not isinstance(held[key], list) or len(held[key]) != len(expected[key]):
                yield f"{where}: the file has not one row a point ({len(expected[key])})"
                continue
            for index, (one, other) in enumerate(zip(held[key], expected[key])):
                yield from differences(one, other, f"point[{index}].")
        elif type(held[key]) is bool or held[key] != expected[key]:
            yield f"{where} = {held[key]}, recomputed {expected[key]}"


def as_toml(computed):
    order = ["method", "policy", "reference_mpa_s", "verdict"]
    point_order = ["zone", "range_mpa_s", "reference_mpa_s", "lower_mpa_s", "upper_mpa_s", "expanded_uncertainty_mpa_s",
                   "acceptance_lower_mpa_s", "acceptance_upper_mpa_s", "deviation_percent", "verdict"]

    def line(key, value):
        if isinstance(value, Decimal):
            text = format(value, "f")
            text = text.rstrip("0") if "." in text else f"{text}."
            return f"{key} = {text}{'0' if text.endswith('.') else ''}"
        return f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}"

    lines = ["[computed]", *(line(key, computed[key]) for key in order if key in computed)]
    for point in computed.get("point", []):
        lines += ["[[computed.point]]", *(line(key, point[key]) for key in point_order if key in point)]
    return "\n".join(lines)


def name_of(path):
    return f"{path.parent.name}/{path.stem}"


def amendment_of(path):
    """Where the amendment of a check would stand."""
    first, _, number = path.stem.partition(".a")
    return path.with_name(f"{first}.a{int(number or 0) + 1}.toml")


def main():
    parser = argparse.ArgumentParser(description="Recompute [computed] of every check of a book, and compare.")
    parser.add_argument("book", nargs="?", default=Path(__file__).resolve().parents[2] / "records-example")
    parser.add_argument("--print", action="store_true", dest="show", help="print what is recomputed, compare nothing")
    arguments = parser.parse_args()
    try:
        book = Book(arguments.book)
    except (OSError, ValueError, Unreadable) as error:
        print(error, file=sys.stderr)
        return 3
    paths = book.checks()
    if not paths:
        print(f"{arguments.book}: no check in this book", file=sys.stderr)
        return 3
    passed = failed = 0
    for path in paths:
        try:
            check = read_toml(path)
            expected = recompute(book, check)
            if arguments.show:
                print(f"# {name_of(path)}\n{as_toml(expected)}\n")
                continue
            if "computed" in check:
                faults = list(differences(check["computed"], expected))
            else:
                faults = ["no [computed]"]
        except (OSError, ValueError, KeyError, TypeError, AttributeError, ArithmeticError, Unreadable) as error:
            faults = [f"could not be recomputed: {type(error).__name__}: {error}"]
        if faults:
            failed += 1
            for fault in faults:
                print(f"FAIL {name_of(path)}: {fault}")
        else:
            passed += 1
    if arguments.show:
        return 1 if failed else 0
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
