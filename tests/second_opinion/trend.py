#!/usr/bin/env python3
"""A second opinion on trends.

Shares no code with shearbook; needs Python 3.11 or newer and what requirements.txt pins. It reads the records of a book by
itself (with status.py), works out which checks make each series, where a series begins anew and how far each check lay from
its reference; and compares that with what the program prints with `trend --format json`. Control limits, moving averages,
slopes with their intervals and the days on which a limit is met are worked out anew with scipy from the deviations so
confirmed. Which instruments `status` calls drifting must follow from these.

    trend.py PROGRAM [BOOK]    the last line is 'N passed, N failed', exit 1 if any failed

BOOK is records-example beside the project's tests where it is left out. Exit 3: the program or the book could not be used.
"""

import argparse
import datetime
import json
import math
import subprocess
import sys
from pathlib import Path

from scipy import optimize, stats

from status import ONE, Book, days_of, history, verdict

LAMBDA, WIDTH, D2, YEAR, HORIZON = 0.2, 3.0, 1.128, 365.25, 3650.0
LEAST, MOST = 6, 15
LEAST_SPAN = 7.0
RESTARTS = {"repair": "repair", "adjustment": "adjustment"}


def close(one, other, within):
    if one is None or other is None:
        return one is other
    return abs(one - other) <= within * max(1.0, abs(other))


def readings(check):
    """Deviation and half-width in % of range by zone, the mean over its speeds, from the sealed figures."""
    zones = {}
    by_speed = {}
    for point, computed in zip(check["point"], check["computed"]["point"], strict=True):
        by_speed.setdefault(float(point["speed_rpm"]), []).append((point, computed))
    for rows in by_speed.values():
        shown = [(point, computed) for point, computed in rows if "shown" not in point]
        computed = rows[0][1]
        if not shown or "zone" not in computed:
            continue
        span = computed["range_mpa_s"]
        values = [
            point["viscosity_mpa_s"] if "viscosity_mpa_s" in point else point["torque_percent"] * span / 100
            for point, _ in shown
        ]
        middle = (computed["lower_mpa_s"] + computed["upper_mpa_s"]) / 2
        half = (computed["upper_mpa_s"] - computed["lower_mpa_s"]) / 2
        mean = sum(values) / len(values)
        zones.setdefault(computed["zone"], []).append((100 * (mean - middle) / span, 100 * half / span))
    return {zone: tuple(sum(part) / len(rows) for part in zip(*rows)) for zone, rows in zones.items()}


def starts(book, instrument, checks, end):
    """When a new series begins, and why, in order of time."""
    def begins(value):
        if not isinstance(value, datetime.datetime):
            for _, record in checks:
                if book.day(record["performed"]) == value and (
                    record.get("condition") == "as-left" or record.get("occasion") == "after-service"
                ):
                    return book.moment(record["performed"])
        return book.moment(value)

    found = [(begins(row["from"]), "new spring") for row in instrument.get("spring", [])[1:]]
    found += [(begins(row["date"]), RESTARTS[row["kind"]]) for row in instrument.get("service", []) if row["kind"] in RESTARTS]
    found += [(book.moment(record["performed"]), "as left") for _, record in checks if record.get("condition") == "as-left"]
    return sorted((row for row in found if row[0] < end), key=lambda row: row[0])


def series_of(book, instrument, day):
    """(geometry, zone) to a list of series, each (start, [(check, moment, deviation, half-width, lot)])."""
    end = book.moment(day + ONE)
    checks = [entry for entry in history(book, instrument, end) if verdict(entry) != "void"]
    restarts = starts(book, instrument, checks, end)
    all_series = {}
    for check, record in checks:
        # Of two times of one zone Python takes the difference on the wall.
        at = book.moment(record["performed"]).astimezone(datetime.UTC)
        number = sum(1 for moment in dict.fromkeys(moment for moment, _ in restarts) if moment <= at)
        why = next((word for moment, word in restarts if moment == max((m for m, _ in restarts if m <= at), default=None)), "first check")
        for zone, (deviation, half) in readings(record).items():
            known = all_series.setdefault((record["geometry"], zone), [])
            if known and known[-1][0] == number:
                known[-1][2].append((check, at, deviation, half, record))
            else:
                known.append((number, why if known else "first check", [(check, at, deviation, half, record)]))
    newest = len({moment for moment, _ in restarts})
    return all_series, newest


def line(x, y):
    fit = stats.linregress(x, y)
    degrees = len(x) - 2
    factor = stats.t.ppf(0.975, degrees)
    mean = sum(x) / len(x)
    spread = sum((one - mean) ** 2 for one in x)
    left = sum((b - fit.intercept - fit.slope * a) ** 2 for a, b in zip(x, y, strict=True))
    sd = math.sqrt(left / degrees)

    def band(at):
        return factor * sd * math.sqrt(1 + 1 / len(x) + (at - mean) ** 2 / spread)

    low, high = fit.slope - factor * fit.stderr, fit.slope + factor * fit.stderr
    return fit, low, high, sd, degrees, band


def first_meeting(function, start, end):
    """Where a function first rises to zero, None where it does not."""
    if function(start) >= 0:
        return start
    if function(end) < 0:
        return None
    return optimize.brentq(function, start, end, xtol=1e-9)


def faults_of_series(book, instrument, told, number, why, rows, current, next_due):
    points = told["points"]
    name = f"{told['geometry']} {told['zone']} from {told['from']}"
    if [point["check"] for point in points] != [row[0] for row in rows]:
        yield f"{name}: other checks"
        return
    if told["start"] != why or told["current"] != current:
        yield f"{name}: starts with {told['start']}, current {told['current']}; must be {why}, {current}"
    for point, row in zip(points, rows, strict=True):
        if not close(point["deviation_of_range_percent"], row[2], 1e-3) or not close(point["half_width_of_range_percent"], row[3], 1e-3):
            yield f"{name}: {row[0]} deviates by {point['deviation_of_range_percent']}, must be {row[2]}"
        days = (row[1] - rows[0][1]).total_seconds() / 86400
        if not close(point["days"], days, 1e-5):
            yield f"{name}: {row[0]} on day {point['days']}, must be {days}"
    y = [point["deviation_of_range_percent"] for point in points]
    x = [(row[1] - rows[0][1]).total_seconds() / 86400 for row in rows]
    signs = False
    before = len(y) - 1
    if before < LEAST:
        if told["control"] is not None or any(point["moving_average_percent"] is not None for point in points):
            yield f"{name}: control limits from too few"
    else:
        base = y[: min(before, MOST)]
        centre = sum(base) / len(base)
        moving = sum(abs(b - a) for a, b in zip(base, base[1:])) / (len(base) - 1)
        control = told["control"]
        sd = control["standard_deviation_percent"]
        resolution = instrument["torque_resolution_percent"] / math.sqrt(12)
        several = len({row[4]["fluid"] for row in rows}) > 1
        floor = resolution if not several else None
        least = max(moving / D2, resolution)
        if floor is not None and not close(sd, least, 1e-4) or sd < least * (1 - 1e-4):
            yield f"{name}: standard deviation {sd}, must be {least}"
        for key, want in (
            ("centre_percent", centre),
            ("mean_moving_range_percent", moving),
            ("lower_percent", centre - WIDTH * sd),
            ("upper_percent", centre + WIDTH * sd),
        ):
            if not close(control[key], want, 1e-4):
                yield f"{name}: {key} {control[key]}, must be {want}"
        if control["baseline_checks"] != len(base):
            yield f"{name}: baseline {control['baseline_checks']}"
        average = centre
        for index, (point, value) in enumerate(zip(points, y, strict=True), 1):
            average += LAMBDA * (value - average)
            half = WIDTH * sd * math.sqrt(LAMBDA / (2 - LAMBDA) * (1 - (1 - LAMBDA) ** (2 * index)))
            for key, want in (
                ("moving_average_percent", average),
                ("moving_average_lower_percent", centre - half),
                ("moving_average_upper_percent", centre + half),
            ):
                if not close(point[key], want, 1e-4):
                    yield f"{name}: {key} {point[key]}, must be {want}"
            outside = abs(value - centre) > WIDTH * sd
            if point["outside_control"] != outside and abs(abs(value - centre) - WIDTH * sd) > 1e-4:
                yield f"{name}: {point['check']} outside {point['outside_control']}"
        signs = abs(y[-1] - centre) > WIDTH * sd or abs(average - centre) > half
    if len(y) < 3 or len(set(x)) == 1:
        if told["line"] is not None:
            yield f"{name}: a line through too few"
        return
    fit, low, high, sd, degrees, band = line(x, y)
    for key, want in (
        ("slope_percent_per_year", fit.slope * YEAR),
        ("slope_lower_percent_per_year", low * YEAR),
        ("slope_upper_percent_per_year", high * YEAR),
        ("residual_standard_deviation_percent", sd),
        ("at_newest_percent", fit.intercept + fit.slope * x[-1]),
    ):
        if not close(told["line"][key], want, 1e-3):
            yield f"{name}: {key} {told['line'][key]}, must be {want}"
    trend = low > 0 or high < 0
    if told["line"]["trend"] != trend:
        yield f"{name}: trend {told['line']['trend']}, must be {trend}"
    limit = points[-1]["acceptance_of_range_percent"]
    end = x[-1] + HORIZON
    if not (current and len(y) >= LEAST and x[-1] >= LEAST_SPAN and trend):
        if told["crossing"] is not None:
            yield f"{name}: a prediction without a trend"
    else:
        sign = 1 if fit.slope > 0 else -1
        at = lambda x: sign * (fit.intercept + fit.slope * x)
        meets = {
            "line": first_meeting(lambda x: at(x) - limit, x[-1], end),
            "prediction_band": first_meeting(lambda x: at(x) + band(x) - limit, x[-1], end),
        }
        for key, want in meets.items():
            got = told["crossing"][key]
            want = None if want is None else (rows[0][1] + want * ONE).astimezone(book.zone).date().isoformat()
            if (got and got["date"]) != want:
                yield f"{name}: {key} meets a limit on {got}, must be {want}"
        if next_due is not None:
            last = book.moment(next_due + ONE).astimezone(datetime.UTC) - rows[0][1]
            ahead = max(last.total_seconds() / 86400, x[-1])
            signs = signs or at(ahead) + band(ahead) >= limit or at(x[-1]) + band(x[-1]) >= limit
    if told["drifting"] != (current and len(y) >= LEAST and signs):
        yield f"{name}: drifting {told['drifting']}, must be {signs}"


def faults(book, instrument, day, document, status):
    own, newest = series_of(book, instrument, day)
    want = [
        (geometry, zone, number, why, rows, index + 1 == len(parts) and number == newest)
        for geometry in sorted({key[0] for key in own})
        for zone in ("low", "middle", "high")
        if (parts := own.get((geometry, zone)))
        for index, (number, why, rows) in enumerate(parts)
    ]
    got = document["series"]
    if [(one["geometry"], one["zone"], one["from"]) for one in got] != [
        (geometry, zone, book.day(rows[0][4]["performed"]).isoformat()) for geometry, zone, _, _, rows, _ in want
    ]:
        yield f"series {[(one['geometry'], one['zone'], one['from']) for one in got]}"
        return
    row = next(row for row in status["instruments"] if row["id"] == instrument["id"])
    due = row["next_due"] and max(datetime.date.fromisoformat(row["next_due"]), day)
    if row["state"] == "out-of-service":
        due = document["next_due"] and max(datetime.date.fromisoformat(document["next_due"]), day)
    for told, (_, _, number, why, rows, current) in zip(got, want, strict=True):
        yield from faults_of_series(book, instrument, told, number, why, rows, current, due)
    drifts = any(one["drifting"] for one in got)
    if document["drifting"] != drifts:
        yield f"drifting {document['drifting']}"
    path = f"instruments/{instrument['id']}.toml"
    said = any(finding["rule"] == "drifting" and finding["path"] == path for finding in status["findings"])
    if said != (drifts and row["state"] != "out-of-service"):
        yield f"status says drifting {said}, the trend {drifts}"


def main():
    parser = argparse.ArgumentParser(description="Recompute the trends of a book.")
    parser.add_argument("program", type=Path)
    parser.add_argument("book", nargs="?", type=Path, default=Path(__file__).resolve().parents[2] / "records-example")
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    passed = failed = drifting = 0

    def ask(*words):
        done = subprocess.run(
            [program, "--book", arguments.book, *words, "--format", "json"],
            capture_output=True, text=True, encoding="utf-8", check=False,
        )
        if done.returncode not in (0, 1):
            raise ValueError(f"{' '.join(words)} ended with {done.returncode}: {done.stderr}")
        return json.loads(done.stdout)

    try:
        errors = {finding["path"] for finding in ask("validate")["findings"] if finding["severity"] == "error"}
        book = Book(arguments.book, errors)
        for day in days_of(book)[1::3]:
            status = ask("status", "--as-of", day.isoformat())
            for instrument in book.instruments:
                document = ask("trend", instrument["id"], "--as-of", day.isoformat())
                drifting += document["drifting"]
                wrong = list(faults(book, instrument, day, document, status))
                for fault in wrong:
                    print(f"FAIL {day} {instrument['id']}: {fault}")
                passed, failed = passed + (not wrong), failed + bool(wrong)
        print(f"seen: drifting {drifting}")
    except (OSError, ValueError, KeyError) as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 3
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
