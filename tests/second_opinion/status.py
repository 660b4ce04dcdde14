#!/usr/bin/env python3
"""A second opinion on the fleet's status.

Shares no code with shearbook and needs Python's standard library alone (3.11 or newer). It reads the records of a book
by itself, works out what each instrument's state, reasons to stand still, due dates and totals must be on a day, and
which instruments, lots, thermometers, people and nonconformities the fleet's rules must speak of; and compares that
with what the program prints with `status --format json --as-of DAY`, on 20 days or more spread over the book.

Which checks have an error is asked of the program's own `validate`, since that is another question; all else is read here.

    status.py PROGRAM [BOOK]    the last line is 'N passed, N failed', exit 1 if any failed

BOOK is records-example beside the project's tests where it is left out. Exit 3: the program or the book could not be used.
"""

import argparse
import calendar
import datetime
import json
import subprocess
import sys
import tomllib
import zoneinfo
from collections import Counter
from pathlib import Path

STATES = ["out-of-service", "never-checked", "failed", "repeat-needed", "check-needed", "overdue", "due-soon", "in-date"]
FAILS = ("fail", "conditional-fail")
PASSES = ("pass", "conditional-pass")
DAYS = 24
ONE = datetime.timedelta(days=1)


def toml(path):
    with open(path, "rb") as file:
        return tomllib.load(file)


def months_later(day, months):
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return datetime.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


class Book:
    def __init__(self, root, faulty):
        self.root, self.faulty = root, faulty
        self.zone = zoneinfo.ZoneInfo(toml(root / "shearbook.toml")["time_zone"])
        self.instruments, self.fluids, self.thermometers, self.people, self.policies, self.nonconformities = (
            [toml(path) for path in sorted(root.glob(f"{folder}/*.toml"))]
            for folder in ("instruments", "fluids", "thermometers", "people", "policies", "nonconformities")
        )
        self.checks = {
            f"{path.parent.name}/{path.stem}": (toml(path), path.relative_to(root).as_posix())
            for path in sorted(root.glob("checks/*/*/*.toml"))
        }
        self.reviews = {}
        for path in sorted(root.glob("reviews/[0-9]*/*/*/*.toml")):
            review = toml(path)
            self.reviews.setdefault(review["check"], []).append(review)

    def moment(self, value):
        """A TOML time as an instant, a date as its first one, in the book's zone where no offset stands."""
        if not isinstance(value, datetime.datetime):
            value = datetime.datetime.combine(value, datetime.time())
        return value if value.tzinfo else value.replace(tzinfo=self.zone)

    def worsening(self, value):
        """A date binds from the next day where the row worsens a state."""
        return self.moment(value if isinstance(value, datetime.datetime) else value + ONE)

    def day(self, value):
        return self.moment(value).astimezone(self.zone).date()

    def standing(self, record, end):
        """State of the newest row in force, None where none is."""
        state = None
        for row in record.get("standing", []):
            good = row["state"] in ("in-service", "usable")
            if (self.moment if good else self.worsening)(row["from"]) < end:
                state = row["state"]
        return state

    def policy(self, day, group=None):
        begun = [policy for policy in self.policies if policy["effective"] <= day]
        named = [policy for policy in begun if group is not None and group in policy.get("groups", [])]
        general = [policy for policy in begun if "groups" not in policy]
        return max(named or general, key=lambda policy: policy["effective"], default=None)


def without_amendment(check):
    instrument, _, name = check.partition("/")
    return f"{instrument}/{name.partition('.a')[0]}"


def amendment(check):
    number = check.partition("/")[2].partition(".a")[2]
    return int(number) if number else 0


def told(book, day, span):
    """How many days early the fleet speaks."""
    policy = book.policy(day[0], day[1])
    if policy and "notice" in policy:
        return policy["notice"]["days"]
    return min(14, span // 4)


def rejected(book, check, end):
    newest = {}
    for review in sorted(book.reviews.get(check, []), key=lambda review: book.moment(review["decided"])):
        if book.moment(review["decided"]) < end:
            newest[review["reviewer"]] = review["decision"]
    return "reject" in newest.values()


def history(book, instrument, end):
    """What counted, and what was void for the instrument's sake, in order of time: (id, record)."""
    standing = {}
    for check, (record, path) in book.checks.items():
        if book.moment(record.get("amended", record["performed"])) >= end:
            continue
        first = without_amendment(check)
        if first not in standing or amendment(check) > amendment(standing[first][0]):
            standing[first] = (check, record, path)
    kept = []
    for check, record, path in standing.values():
        if record["instrument"] != instrument["id"] or book.moment(record["performed"]) >= end:
            continue
        if path in book.faulty or record.get("void", False) and record.get("void_cause") != "instrument":
            continue
        policy = book.policy(book.day(record["performed"]), instrument.get("group"))
        if policy["review"]["required"] and rejected(book, check, end):
            continue
        kept.append((check, record))
    return sorted(kept, key=lambda entry: (book.moment(entry[1]["performed"]), entry[0]))


def verdict(entry):
    return entry[1]["computed"]["verdict"]


def instrument_on(book, instrument, day, end, speaks):
    """The row of `instruments`, without the words of the reasons; adds to what the rules speak of."""
    name, path = instrument["id"], f"instruments/{instrument['id']}.toml"
    checks = history(book, instrument, end)
    passes = [entry for entry in checks if verdict(entry) in PASSES]
    failed = {without_amendment(entry[0]): entry for entry in checks if verdict(entry) in FAILS}
    pairs = [
        (failed[without_amendment(entry[1]["repeats"])], entry)
        for entry in failed.values()
        if "repeats" in entry[1] and without_amendment(entry[1]["repeats"]) in failed
    ]
    last_pass = passes[-1] if passes else None
    position = checks.index(last_pass) if last_pass else -1
    open_pairs = [pair for pair in pairs if checks.index(pair[1]) > position]
    last = checks[-1] if checks else None
    policy = book.policy(day, instrument.get("group"))
    interval = policy and policy["interval"].get(instrument["usage"])
    due = book.day(last_pass[1]["performed"]) + interval * ONE if last_pass and interval else None

    calibrations = [row for row in instrument.get("service", []) if row["kind"] == "calibration" and book.moment(row["date"]) < end]
    service = from_day = None
    if calibrations:
        from_day = book.day(calibrations[-1]["date"])
        service = calibrations[-1].get("due") or months_later(from_day, policy["service"]["interval_months"])

    counted = [entry for entry in checks if verdict(entry) != "void"]
    since = last_pass or (counted[0] if counted else None)
    changes = []
    if since:
        rows = [row["from"] for row in instrument.get("spring", [])]
        rows += [row["date"] for row in instrument.get("service", []) if row["kind"] != "calibration"]
        changes = [row for row in rows if book.moment(since[1]["performed"]) < book.moment(row) < end]

    in_service = book.standing(instrument, end) == "in-service" and any(
        book.moment(row["from"]) < end for row in instrument.get("spring", [])
    )
    awaits = last is not None and not open_pairs and verdict(last) in (*FAILS, "void")
    soon = told(book, (day, instrument.get("group")), interval or 0)
    holds = {
        "out-of-service": not in_service,
        "never-checked": not counted,
        "failed": bool(open_pairs),
        "repeat-needed": awaits,
        "check-needed": bool(changes) or (last_pass is not None and due is None),
        "overdue": due is not None and day > due,
        "due-soon": due is not None and 0 <= (due - day).days <= soon,
        "in-date": True,
    }
    state = next(state for state in STATES if holds[state])
    current = service is not None and day <= service
    if in_service:
        speaks["check-due-soon", path] += holds["due-soon"]
        speaks["check-overdue", path] += holds["overdue"]
        speaks["check-needed", path] += len(changes)
        # One that is taken out of service today, from tomorrow, has been dealt with.
        leaves = any(
            row["state"] in ("quarantined", "withdrawn") and book.moment(row["from"]) < end <= book.worsening(row["from"])
            for row in instrument.get("standing", [])
        )
        speaks["quarantine-needed", path] += holds["failed"] and not leaves
        if awaits:
            speaks["repeat-needed", book.checks[last[0]][1]] += 1
        speaks["service-overdue", path] += not current
        if current:
            span = (service - from_day).days
            speaks["service-due-soon", path] += (service - day).days <= told(book, (day, instrument.get("group")), span)
    named = {
        without_amendment(check)
        for record in book.nonconformities
        if record["opened"] <= day
        for check in record.get("checks", [])
    }
    for first, repeat in pairs:
        answered = {without_amendment(first[0]), without_amendment(repeat[0])} <= named
        late = (day - book.day(repeat[1]["performed"])).days > 7
        speaks["nonconformity-missing", book.checks[repeat[0]][1]] += late and not answered
    return {
        "id": name,
        "state": state,
        "usable": state in ("due-soon", "in-date") and current,
        "last_check": last and last[0],
        "last_verdict": last and verdict(last),
        "next_due": due and due.isoformat(),
        "days_left": due and (due - day).days,
        "service_due": service and service.isoformat(),
    }


def on(book, day):
    """The whole of a day: rows, totals, and how often each rule speaks of each file."""
    end = book.moment(day + ONE)
    speaks = Counter()
    rows = [instrument_on(book, instrument, day, end, speaks) for instrument in book.instruments]
    for record in book.nonconformities:
        decided = "outcome" in record and record["outcome"]["date"] <= day
        late = record["opened"] <= day and (day - record["opened"]).days > 30
        speaks["nonconformity-missing", f"nonconformities/{record['id']}.toml"] += late and not decided

    def soon(rule, path, begins, ends):
        within = 0 <= (ends - day).days <= told(book, (day, None), (ends - begins).days)
        speaks[rule, path] += within

    for fluid in book.fluids:
        if fluid["certified"] <= day and book.standing(fluid, end) in (None, "usable", "in-service"):
            soon("fluid-expires-soon", f"fluids/{fluid['id']}.toml", fluid["certified"], fluid["expires"])
    for thermometer in book.thermometers:
        begun = [row for row in thermometer["calibration"] if book.moment(row["date"]) < end]
        if begun:
            row = max(begun, key=lambda row: row["due"])
            soon("thermometer-due-soon", f"thermometers/{thermometer['id']}.toml", book.day(row["date"]), row["due"])
    for person in book.people:
        rows_of = person.get("authorised", [])
        for row in rows_of:
            if "until" not in row or book.moment(row["from"]) >= end:
                continue
            renewed = any(
                other["for"] == row["for"]
                and other.get("until", datetime.date.max) > row["until"]
                and book.day(other["from"]) <= row["until"] + ONE
                for other in rows_of
            )
            if not renewed:
                soon("authorisation-ends-soon", f"people/{person['id']}.toml", book.day(row["from"]), row["until"])
    totals = dict.fromkeys(STATES, 0)
    for row in rows:
        totals[row["state"]] += 1
    return rows, totals, +speaks


def faults(book, day, document):
    rows, totals, speaks = on(book, day)
    if document["as_of"] != day.isoformat():
        yield f"as_of is {document['as_of']}"
    for want, got in zip(rows, document["instruments"], strict=True):
        for key, value in want.items():
            if got[key] != value:
                yield f"{want['id']}: {key} is {got[key]}, must be {value}"
        if got["usable"] != (not got["reasons"]):
            yield f"{want['id']}: usable {got['usable']} with reasons {got['reasons']}"
    if document["totals"] != totals:
        yield f"totals are {document['totals']}, must be {totals}"
    # Trends are for trend.py.
    others = (finding for finding in document["findings"] if finding["rule"] != "drifting")
    said = Counter((finding["rule"], finding["path"]) for finding in others)
    for key in sorted({*said, *speaks}):
        if said[key] != speaks[key]:
            yield f"{key[0]} at {key[1]}: {said[key]} times, must be {speaks[key]}"


def days_of(book):
    """Evenly over the book, and the day of the last check with those about it."""
    days = sorted({book.day(record["performed"]) for record, _ in book.checks.values()})
    first, last = days[0], days[-1]
    spread = [first + (last - first) * step // (DAYS - 5) for step in range(DAYS - 4)]
    return sorted({*spread, first - ONE, last + ONE, last + 15 * ONE, last + 400 * ONE})


def main():
    parser = argparse.ArgumentParser(description="Recompute the fleet's status on many days.")
    parser.add_argument("program", type=Path)
    parser.add_argument("book", nargs="?", type=Path, default=Path(__file__).resolve().parents[2] / "records-example")
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    passed = failed = 0

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
        seen = Counter()
        for day in days_of(book):
            document = ask("status", "--as-of", day.isoformat())
            seen.update(row["state"] for row in document["instruments"])
            seen.update(finding["rule"] for finding in document["findings"])
            wrong = list(faults(book, day, document))
            for fault in wrong:
                print(f"FAIL {day}: {fault}")
            passed, failed = passed + (not wrong), failed + bool(wrong)
        print("seen: " + ", ".join(f"{word} {count}" for word, count in sorted(seen.items())))
    except (OSError, ValueError, KeyError) as error:
        print(f"{type(error).__name__}: {error}", file=sys.stderr)
        return 3
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
