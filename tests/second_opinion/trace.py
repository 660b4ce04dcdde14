#!/usr/bin/env python3
"""A second opinion on what rests on what.

Shares no code with shearbook and needs Python's standard library alone (3.11 or newer). For every lot, bottle,
thermometer, bath, geometry, instrument, person and policy of a book it works out which checks rest on it, what each has to do with it,
whether it counts, whether the fitness of its instrument rests on it, and which other records name it; and for every
check that failed the window since the last good one with the bias in each zone. It compares that with `trace ID
--format json`, on several days.

Which checks have an error is asked of the program's own `validate`, since that is another question; all else is read here.

    trace.py PROGRAM [BOOK]    the last line is 'N passed, N failed', exit 1 if any failed

BOOK is records-example beside the project's tests where it is left out. Exit 3: the program or the book could not be used.
"""

import argparse
import datetime
import json
import subprocess
import sys
from collections import Counter, defaultdict
from decimal import Decimal
from pathlib import Path

from status import FAILS, ONE, PASSES, Book, amendment, rejected, toml, without_amendment

KINDS = {
    "fluids": "fluid",
    "thermometers": "thermometer",
    "baths": "bath",
    "geometries": "geometry",
    "instruments": "instrument",
    "people": "person",
    "policies": "policy",
}


class Day:
    """The checks of a book as a day saw them."""

    def __init__(self, book, day):
        self.book, self.day, self.end = book, day, book.moment(day + ONE)
        self.checks = {
            check: record
            for check, (record, _) in book.checks.items()
            if max(book.moment(record["performed"]), book.moment(record.get("amended", record["performed"]))) < self.end
        }
        newest = {}
        for check in self.checks:
            first = without_amendment(check)
            newest[first] = max(newest.get(first, 0), amendment(check))
        self.why_not = {}
        for check, record in self.checks.items():
            if amendment(check) < newest[without_amendment(check)]:
                why = "amended"
            elif book.checks[check][1] in book.faulty:
                why = "with-errors"
            elif self.policy(record)["review"]["required"] and rejected(book, check, self.end):
                why = "rejected"
            else:
                why = "void" if record.get("void", False) else None
            self.why_not[check] = why
        self.last_pass = {}
        for check in self.in_order(self.checks):
            if self.why_not[check] is None and self.verdict(check) in PASSES:
                self.last_pass[self.checks[check]["instrument"]] = check

    def policy(self, record):
        group = next((one.get("group") for one in self.book.instruments if one["id"] == record["instrument"]), None)
        return self.book.policy(self.book.day(record["performed"]), group)

    def verdict(self, check):
        record = self.checks[check]
        return "void" if record.get("void", False) else record["computed"]["verdict"]

    def order(self, check):
        return self.book.moment(self.checks[check]["performed"]), check

    def in_order(self, checks):
        return sorted(checks, key=self.order)

    def reviewers(self, check):
        reviews = self.book.reviews.get(check, [])
        return {review["reviewer"] for review in reviews if self.book.moment(review["decided"]) < self.end}

    def roles(self, check, folder, name, bottle=None):
        """What a check has to do with a record."""
        record = self.checks[check]
        if folder == "policies":
            return ["judged-by"] if self.policy(record)["id"] == name else []
        if folder == "people":
            has = {
                "operator": record["operator"] == name,
                "entered-by": record.get("entered_by") == name,
                "amended-by": record.get("amended_by") == name,
                "consent": name in [row["consent"] for row in record.get("deviation", [])],
                "reviewer": name in self.reviewers(check),
            }
            return [role for role, holds in has.items() if holds]
        named = record.get(KINDS[folder]) == name
        return ["named"] if named and bottle in (None, record.get("bottle")) else []

    def covered(self, record):
        performed = self.book.moment(record["performed"])
        for thermometer in self.book.thermometers:
            if thermometer["id"] == record.get("thermometer"):
                return any(
                    self.book.moment(row["date"]) <= performed and self.book.day(record["performed"]) <= row["due"]
                    for row in thermometer["calibration"]
                )
        return None


def rows_by(book, day, person):
    """Rows that say they are by a person, in any fact."""
    for path in sorted(book.root.glob("*/*.toml")):
        record = toml(path)
        relative = path.relative_to(book.root).as_posix()
        for how, key in (("standing", "from"), ("correction", "date"), ("service", "date"), ("calibration", "date")):
            # In a policy [service] is a table.
            rows = record.get(how, [])
            for row in rows if isinstance(rows, list) else []:
                if row.get("by") == person and book.day(row[key]) <= day:
                    yield how, relative
        outcome = record.get("outcome", {})
        if outcome.get("by") == person and outcome["date"] <= day:
            yield "outcome", relative


def mentions(today, folder, name, checks):
    book, day = today.book, today.day
    found = Counter(rows_by(book, day, name) if folder == "people" else ())
    if folder == "instruments":
        for path in book.root.glob("geometries/*.toml"):
            found["fits", f"geometries/{path.name}"] += name in toml(path).get("fits", [])
    firsts = {without_amendment(check) for check in checks}
    paths = {path for check, (_, path) in book.checks.items() if without_amendment(check) in firsts}
    paths.add(f"{folder}/{name}.toml")
    for record in book.nonconformities:
        about = firsts & {without_amendment(check) for check in record.get("checks", [])}
        about |= paths & {finding["path"] for finding in record.get("finding", [])}
        found["nonconformity", f"nonconformities/{record['id']}.toml"] += bool(about) and record["opened"] <= day
    for path in sorted(book.root.glob("reviews/records/*/*/*.toml")):
        review = toml(path)
        own = review["record"] == f"{folder}/{name}" or (folder == "people" and review["reviewer"] == name)
        found["review", path.relative_to(book.root).as_posix()] += own and book.moment(review["decided"]) < today.end
    return +found


def faults_of_fact(today, document, folder, name, bottle):
    book = today.book
    expected = {}
    for check in today.checks:
        roles = today.roles(check, folder, name, bottle)
        if roles:
            expected[check] = roles
    got = {row["check"]: row for row in document["checks"]}
    if list(got) != today.in_order(expected):
        yield f"checks are {sorted(got)}, must be {sorted(expected)}"
        return
    groups = defaultdict(list)
    for check, roles in expected.items():
        record = today.checks[check]
        groups[record["instrument"]].append(check)
        want = {
            "roles": roles,
            "verdict": today.verdict(check),
            "why_not": today.why_not[check],
            "counts": today.why_not[check] is None,
            "is_last_pass": today.last_pass.get(record["instrument"]) == check,
            "calibration_covers": today.covered(record),
            "day": book.day(record["performed"]).isoformat(),
            "operator": record["operator"],
            "bottle": record.get("bottle"),
        }
        for key, value in want.items():
            if got[check][key] != value:
                yield f"{check}: {key} is {got[check][key]}, must be {value}"
    of_instruments = {}
    for instrument, checks in groups.items():
        counted = [check for check in checks if today.why_not[check] is None]
        of_instruments[instrument] = {
            "checks": len(checks),
            "pass": sum(today.verdict(check) in PASSES for check in counted),
            "fail": sum(today.verdict(check) in FAILS for check in counted),
            "uncounted": len(checks) - len(counted),
            "last_pass": today.last_pass.get(instrument),
            "last_pass_is_among_them": today.last_pass.get(instrument) in checks,
        }
    said = {row["id"]: {key: row[key] for key in of_instruments.get(row["id"], row)} for row in document["instruments"]}
    if said != of_instruments:
        yield f"instruments are {said}, must be {of_instruments}"
    total = Counter(today.why_not[check] for check in expected)
    for key, why in (("counted", None), ("void", "void"), ("amended", "amended"), ("rejected", "rejected")):
        if document["totals"][key] != total[why]:
            yield f"totals: {key} is {document['totals'][key]}, must be {total[why]}"
    named = mentions(today, folder, name, expected)
    said = Counter((row["how"], row["path"]) for row in document["mentions"])
    if said != named:
        yield f"mentions are {sorted(said.items())}, must be {sorted(named.items())}"


def biases(record):
    """Mean deviation in % of the reference and of the range by zone; of replicates their mean counts once."""
    speeds = defaultdict(list)
    for point, computed in zip(record["point"], record["computed"]["point"], strict=True):
        speeds[computed.get("zone"), point["speed_rpm"]].append((point, computed))
    zones = defaultdict(list)
    for (zone, _), rows in speeds.items():
        shown = [row for row in rows if "shown" not in row[0]]
        if not shown:
            continue
        readings = [
            Decimal(point["viscosity_mpa_s"])
            if "viscosity_mpa_s" in point
            else Decimal(point["torque_percent"]) * Decimal(computed["range_mpa_s"]) / 100
            for point, computed in shown
        ]
        computed = shown[0][1]
        reference = Decimal(computed.get("reference_mpa_s", record["computed"]["reference_mpa_s"]))
        off = sum(readings) / len(readings) - reference
        zones[zone].append((100 * off / reference, 100 * off / Decimal(computed["range_mpa_s"])))
    return {zone: tuple(sum(column) / len(column) for column in zip(*rows)) for zone, rows in zones.items()}


def faults_of_window(today, document, check):
    record, window = today.checks[check], document["window"]
    own = [
        other
        for other in today.in_order(today.checks)
        if today.checks[other]["instrument"] == record["instrument"]
        and without_amendment(other) != without_amendment(check)
        and today.why_not[other] != "amended"
    ]
    good = [other for other in own if today.why_not[other] is None and today.verdict(other) in PASSES]
    before = [other for other in good if today.order(other) < today.order(check)]
    after = [other for other in good if today.order(other) > today.order(check)]
    last = before[-1] if before else None
    between = [
        other
        for other in own
        if today.order(other) < today.order(check) and (last is None or today.order(other) > today.order(last))
    ]
    repeats = [
        other
        for other in own
        if without_amendment(today.checks[other].get("repeats", "/")) == without_amendment(check)
    ]
    day = today.book.day
    want = {
        "last_good": last,
        "days": last and (day(record["performed"]) - day(today.checks[last]["performed"])).days,
        "between": between,
        "repeats": repeats,
        "next_pass": after[0] if after else None,
        "nonconformities": [
            {
                "id": one["id"],
                "opened": one["opened"].isoformat(),
                "decided": one["outcome"]["date"].isoformat()
                if "outcome" in one and one["outcome"]["date"] <= today.day
                else None,
            }
            for one in today.book.nonconformities
            if one["opened"] <= today.day
            and without_amendment(check) in {without_amendment(other) for other in one.get("checks", [])}
        ],
    }
    for key, value in want.items():
        if window[key] != value:
            yield f"{key} is {window[key]}, must be {value}"
    now, then = biases(record), biases(today.checks[last]) if last else {}
    for row in window["zones"]:
        for prefix, expected in (("", now), ("last_good_", then)):
            figures = expected.get(row["zone"], (None, None))
            for key, figure in zip(("deviation_percent", "deviation_of_range_percent"), figures, strict=True):
                got = row[prefix + key]
                # 2 decimals, and the reference and range that are read here have 6 digits.
                if (got is None) != (figure is None) or (got is not None and abs(got - float(figure)) > 0.0051 + 1e-3):
                    yield f"{row['zone']}: {prefix}{key} is {got}, must be {figure}"
    if not set(now) <= {row["zone"] for row in window["zones"]}:
        yield f"zones are {[row['zone'] for row in window['zones']]}, must hold {sorted(map(str, now))}"


def subjects(book):
    for folder in KINDS:
        for path in sorted(book.root.glob(f"{folder}/*.toml")):
            yield folder, path.stem, None
            for row in toml(path).get("bottle", []):
                yield folder, path.stem, row["id"]


def main():
    parser = argparse.ArgumentParser(description="Recompute what rests on each record of a book.")
    parser.add_argument("program", type=Path)
    parser.add_argument("book", nargs="?", type=Path, default=Path(__file__).resolve().parents[2] / "records-example")
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    passed = failed = rest = windows = 0

    def ask(*words):
        done = subprocess.run(
            [program, "--book", arguments.book, *words, "--format", "json"],
            capture_output=True, text=True, encoding="utf-8", check=False,
        )
        if done.returncode not in (0, 1):
            raise ValueError(f"{' '.join(words)} ended with {done.returncode}: {done.stderr}")
        return json.loads(done.stdout)

    def judge(name, faults):
        nonlocal passed, failed
        faults = list(faults)
        for fault in faults:
            print(f"FAIL {name}: {fault}")
        passed, failed = passed + (not faults), failed + bool(faults)

    try:
        errors = {finding["path"] for finding in ask("validate")["findings"] if finding["severity"] == "error"}
        book = Book(arguments.book, errors)
        days = sorted({book.day(record["performed"]) for record, _ in book.checks.values()})
        for day in (days[len(days) // 3], days[-1] + ONE):
            today = Day(book, day)
            for folder, name, bottle in subjects(book):
                words = f"{folder}/{name}" + (f"/{bottle}" if bottle else "")
                document = ask("trace", words, "--as-of", day.isoformat())
                rest += len(document["checks"])
                judge(f"{words} on {day}", faults_of_fact(today, document, folder, name, bottle))
        for check in today.in_order(today.checks):
            if today.why_not[check] == "amended" or today.verdict(check) not in FAILS:
                continue
            document = ask("trace", check, "--as-of", day.isoformat())
            windows += 1
            judge(f"{check} on {day}", faults_of_window(today, document, check))
        print(f"seen: {rest} checks that rest on something, {windows} windows")
        judge("something was seen", [] if rest and windows else ["nothing"])
    except (OSError, ValueError, KeyError) as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 3
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
