#!/usr/bin/env python3
"""A second opinion on import: workbooks made by another library, and what their records must say.

Shares no code with shearbook; needs Python 3.11 or newer and what requirements.txt pins (openpyxl). From seeded dice it
makes workbooks of three layouts, with real dates and texts, merged headings, blanks, text numbers with commas and
groups, percentages, hidden rows, other units, other time zones and both ways to count days; and CSV files of the same
checks. It imports each with the program, and compares every record that was written with what it put into the sheet, worked out
here with Decimal, datetime and zoneinfo. Cells that it spoils on purpose must be refused, those and no others; and
records that it spoils on purpose must be noticed by the comparison.

    import.py PROGRAM [ROOT]    the last line is 'N passed, N failed', exit 1 if any failed

ROOT is the project's folder where it is left out. Exit 3: the program or the project could not be used.
"""

import argparse
import csv
import datetime
import hashlib
import json
import random
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zoneinfo
from decimal import Decimal
from pathlib import Path

from openpyxl import Workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import CALENDAR_MAC_1904

BOOK_ZONE = zoneinfo.ZoneInfo("Europe/Dublin")
SPEEDS = (12, 30, 60)
RANGE = Decimal(30000)  # mPa.s times rpm, of the geometry and spring of the small book
SEEDS = range(1, 6)
CHECKS = 14

COMMON = """
bottle = { value = "1" }
thermometer = { value = "TH-1" }
occasion = { value = "scheduled" }
condition = { value = "as-found" }
late_reason = { value = "imported from the old workbooks" }
levelled = { value = true }
free_of_bubbles = { value = true }
vessel_as_specified = { value = true }
"""


def make_check(dice, number):
    """What one check was, before any sheet says it."""
    day = datetime.date(2026, 2, 2) + datetime.timedelta(days=number)
    clock = datetime.time(dice.randrange(9, 17), dice.randrange(60))
    off = Decimal(dice.randrange(-400, 200)) / 10000
    points = []
    for speed in SPEEDS:
        viscosity = (Decimal("484.0") * (1 + off)).quantize(Decimal("0.1"))
        torque = (viscosity * speed / RANGE * 100).quantize(Decimal("0.1"))
        temperature = Decimal(2500 + dice.randrange(-8, 9)) / 100
        points.append({"speed": speed, "torque": torque, "viscosity": viscosity, "temperature": temperature})
    return {
        "wall": datetime.datetime.combine(day, clock),
        "soak": dice.randrange(61, 200),
        "zero": Decimal(dice.choice(["0.0", "0.1", "-0.1"])),
        "immersed": True,
        "guard": True,
        "note": dice.choice(["", "", "steady", "new beaker; stirred"]),
        "points": points,
        "lacks": dice.random() < 0.15,
    }


def expected(check, zone, place, digits):
    """The record that a check must become. `digits`: a function from a figure's name and value to the text that must be written."""
    performed = check["wall"].replace(tzinfo=zone)
    began = performed - datetime.timedelta(minutes=check["soak"])
    local = performed.astimezone(BOOK_ZONE)
    record = {
        "performed": local.replace(tzinfo=None),
        "soak_started": None if check["lacks"] else began.astimezone(BOOK_ZONE).replace(tzinfo=None),
        "zero_percent": None if check["lacks"] else check["zero"],
        "void": check["lacks"],
        "immersed_to_mark": check["immersed"],
        "guard": check["guard"],
        "note": check["note"] or None,
        "origin": place,
        "points": [
            {
                "speed_rpm": Decimal(point["speed"]),
                "torque_percent": point["torque"],
                "viscosity_mpa_s": point["viscosity"],
                "temperature_c": point["temperature"],
            }
            for point in check["points"]
        ],
        "digits": [
            {name: digits(name, point) for name in ("torque", "viscosity", "temperature")} for point in check["points"]
        ],
    }
    record["texts"] = [point.get("as_text", True) for point in check["points"]]
    record["path"] = f"checks/{local:%Y}/VM-1/{local:%Y-%m-%d-%H%M}.toml"
    return record


def with_comma(value, grouping=""):
    whole, _, fraction = str(value).partition(".")
    if grouping and len(whole) > 3:
        whole = whole[:-3] + grouping + whole[-3:]
    return whole + ("," + fraction if fraction else "")


def plain(value):
    """A figure as a workbook keeps it: trailing zeros are gone."""
    text = format(value.normalize(), "f")
    return text


# --- the layouts: each makes a file and a map, and tells what must come of it and where each figure stands ---


def rows_of_readings(dice, folder, checks, seed):
    """A row a reading: merged headings over two rows, texts with decimal commas, blank rows, a total at the end."""
    zone = zoneinfo.ZoneInfo("America/New_York")
    workbook = Workbook()
    sheet = workbook.active
    sheet.title = "Bench 2"
    sheet["A1"] = "Checks of bench 2"
    sheet.merge_cells("A1:F1")
    heads = ["Day", "Start", "By", "rpm", "Torque", "Viscosity", "Bath", "Zero", "Soak", "Remark", "Mark", "Guard"]
    for column, head in enumerate(heads, 1):
        sheet.cell(3, column, head)
    sheet["E2"] = "shown"
    sheet.merge_cells("E2:F2")
    units = {5: "%", 6: "Pa.s", 7: "\u00b0C"}
    for column in range(1, len(heads) + 1):
        if column in units:
            sheet.cell(4, column, units[column])
        else:
            sheet.merge_cells(start_row=3, end_row=4, start_column=column, end_column=column)
    row, records, cells = 5, [], []
    for number, check in enumerate(checks):
        if dice.random() < 0.3:
            row += dice.randrange(1, 3)
        first = row
        where = []
        for index, point in enumerate(check["points"]):
            as_text = dice.random() < 0.5
            if index == 0:
                sheet.cell(row, 1, check["wall"].date() if dice.random() < 0.5 else f"{check['wall']:%d.%m.%Y}")
                sheet.cell(row, 1).number_format = "dd.mm.yyyy"
                sheet.cell(row, 2, check["wall"].time() if dice.random() < 0.5 else f"{check['wall']:%H:%M}")
                sheet.cell(row, 3, "M. M.")
                if not check["lacks"]:
                    sheet.cell(row, 8, with_comma(check["zero"]))
                    sheet.cell(row, 9, check["soak"])
                sheet.cell(row, 10, check["note"] or None)
                sheet.cell(row, 11, "x")
                sheet.cell(row, 12, True)
            sheet.cell(row, 4, point["speed"])
            sheet.cell(row, 5, with_comma(point["torque"]) + dice.choice(["", " %"]) if as_text else float(point["torque"]))
            in_pa = point["viscosity"].scaleb(-3)
            sheet.cell(row, 6, with_comma(in_pa) if as_text else float(in_pa))
            sheet.cell(row, 7, with_comma(point["temperature"]) if as_text else float(point["temperature"]))
            sheet.row_dimensions[row].hidden = dice.random() < 0.1
            point["as_text"] = as_text
            where.append(row)
            row += 1

        def digits(name, point):
            if point["as_text"]:
                return str(point[name])
            if name == "viscosity":
                # 0.484 Pa.s is 484 mPa.s, and 0.48 would be 48e1.
                text = plain(point["viscosity"] / 1000)
                moved = Decimal(text).scaleb(3)
                return str(int(moved)) if moved == int(moved) and len(text.partition(".")[2]) == 3 else None
            return plain(point[name])

        records.append(expected(check, zone, ("Bench 2", first), digits))
        cells.append({"date": (1, first), "operator": (3, first), "torque": (5, where[0]), "viscosity": (6, where[1]), "temperature": (7, where[2])})
        # Two checks of one session's keys never follow one another, since days differ.
    sheet.cell(row + 1, 1, "Total")
    sheet.cell(row + 1, 2, len(checks))
    map_text = """format = 1
[source]
kind = "xlsx"
sheets = ["Bench 2"]
layout = "row-a-reading"
heading_rows = [2, 3, 4]
session = ["date"]
[[skip]]
letter = "A"
starts_with = ["total"]
[read]
decimal_mark = ","
date_order = "dmy"
time_zone = "America/New_York"
yes = ["x"]
[check]
instrument = { value = "VM-1" }
geometry = { value = "G-1" }
fluid = { value = "K-1" }
operator = { column = "By", values = { "M. M." = "op-01" } }
date = { column = "Day", fill_down = true }
time = { column = "Start" }
zero_percent = { column = "Zero" }
soak_minutes = { column = "Soak" }
note = { column = "Remark" }
immersed_to_mark = { column = "Mark" }
guard = { column = "guard" }
""" + COMMON + """
[[point]]
speed_rpm = { column = "rpm" }
torque_percent = { column = "shown / Torque / %" }
viscosity = { column = "shown / Viscosity / Pa.s", unit = "Pa.s" }
temperature = { column = "Bath / \u00b0C", unit = "C" }
"""
    path = folder / f"readings-{seed}.xlsx"
    return path, workbook, map_text, records, cells


def rows_of_checks(dice, folder, checks, seed):
    """A row a check: date and time in one cell, percentages, Fahrenheit, formats that show zeros, the older count of days."""
    zone = BOOK_ZONE
    workbook = Workbook()
    workbook.epoch = CALENDAR_MAC_1904
    workbook.active.title = "read me"
    workbook.active["A1"] = "not a check in sight"
    sheet = workbook.create_sheet("2026")
    heads = ["When", "Lot", "Analyst", "Zero", "Soak from", "Remark", "Immersed", "Guard"]
    for column, head in enumerate(heads, 1):
        sheet.cell(1, column, head)
        sheet.merge_cells(start_row=1, end_row=2, start_column=column, end_column=column)
    for index, speed in enumerate(SPEEDS):
        first = len(heads) + 1 + 3 * index
        sheet.cell(1, first, f"{speed} rpm")
        sheet.merge_cells(start_row=1, end_row=1, start_column=first, end_column=first + 2)
        for offset, head in enumerate(("Torque", "cP", "\u00b0F")):
            sheet.cell(2, first + offset, head)
    records, cells = [], []
    for number, check in enumerate(checks):
        row = 3 + number
        sheet.cell(row, 1, check["wall"]).number_format = "yyyy-mm-dd hh:mm"
        sheet.cell(row, 2, "K-1")
        sheet.cell(row, 3, "Op 1")
        if not check["lacks"]:
            sheet.cell(row, 4, float(check["zero"])).number_format = "0.00"
            sheet.cell(row, 5, check["wall"] - datetime.timedelta(minutes=check["soak"])).number_format = "yyyy-mm-dd hh:mm"
        sheet.cell(row, 6, check["note"] or None)
        sheet.cell(row, 7, "ja")
        sheet.cell(row, 8, "ja")
        for index, point in enumerate(check["points"]):
            first = len(heads) + 1 + 3 * index
            sheet.cell(row, first, float(point["torque"] / 100)).number_format = "0.0%"
            sheet.cell(row, first + 1, float(point["viscosity"])).number_format = "#,##0.00"
            # Multiples of 0.05 C are whole hundredths of Fahrenheit.
            point["temperature"] = (point["temperature"] * 20).to_integral_value() / 20
            fahrenheit = point["temperature"] * 9 / 5 + 32
            sheet.cell(row, first + 2, float(fahrenheit)).number_format = "0.00"

        def digits(name, point):
            return {
                "torque": str(point["torque"]),
                "viscosity": str(point["viscosity"].quantize(Decimal("0.01"))),
                "temperature": str(point["temperature"].quantize(Decimal("0.001"))),
            }[name]

        records.append(expected(check, zone, ("2026", row), digits))
        base = len(heads) + 1
        cells.append({"date": (1, row), "operator": (3, row), "torque": (base, row), "viscosity": (base + 4, row), "temperature": (base + 8, row)})
    points = "".join(
        f"""
[[point]]
speed_rpm = {{ value = {speed} }}
torque_percent = {{ column = "{speed} rpm / Torque" }}
viscosity = {{ column = "{speed} rpm / cP", unit = "cP" }}
temperature = {{ column = "{speed} rpm / \u00b0F", unit = "F" }}
"""
        for speed in SPEEDS
    )
    map_text = """format = 1
[source]
kind = "xlsx"
sheets = ["2026"]
layout = "row-a-check"
heading_rows = [1, 2]
[read]
yes = ["ja"]
[check]
instrument = { value = "VM-1" }
geometry = { value = "G-1" }
fluid = { column = "Lot" }
operator = { column = "Analyst", values = { "Op 1" = "op-01" } }
date = { column = "When" }
zero_percent = { column = "Zero" }
soak_started = { column = "Soak from" }
note = { column = "Remark" }
immersed_to_mark = { column = "Immersed" }
guard = { column = "Guard" }
""" + COMMON + points
    path = folder / f"checks-{seed}.xlsx"
    return path, workbook, map_text, records, cells


def forms(dice, folder, checks, seed):
    """A sheet a check, its cells in fixed places; figures are texts with groups and decimal points."""
    zone = zoneinfo.ZoneInfo("Asia/Kolkata")
    workbook = Workbook()
    workbook.remove(workbook.active)
    records, cells = [], []
    for number, check in enumerate(checks):
        sheet = workbook.create_sheet(f"Form {number + 1}")
        sheet["B2"], sheet["D2"] = check["wall"].date(), f"{check['wall']:%I:%M %p}".lstrip("0")
        sheet["B3"], sheet["D3"] = "VM-1", "first operator"
        if not check["lacks"]:
            sheet["B4"], sheet["D4"] = str(check["zero"]), f"{check['soak']} min"
        sheet["B5"] = check["note"] or None
        sheet["B6"], sheet["D6"] = True, "OK"
        for index, point in enumerate(check["points"]):
            row = 10 + index
            sheet.cell(row, 1, f"{point['speed']} rpm")
            sheet.cell(row, 2, str(point["torque"]))
            sheet.cell(row, 3, f"{point['viscosity']} mPa\u00b7s")
            sheet.cell(row, 4, f"{point['temperature']} \u00b0C")
        records.append(expected(check, zone, (sheet.title, 2), lambda name, point: str(point[name])))
        cells.append({"date": (2, 2), "operator": (4, 3), "torque": (2, 10), "viscosity": (3, 11), "temperature": (4, 12)})
    points = "".join(
        f"""
[[point]]
speed_rpm = {{ cell = "A{row}" }}
torque_percent = {{ cell = "B{row}" }}
viscosity = {{ cell = "C{row}", unit = "cP" }}
temperature = {{ cell = "D{row}", unit = "C" }}
"""
        for row in (10, 11, 12)
    )
    map_text = """format = 1
[source]
kind = "xlsx"
sheets = "all"
layout = "form"
[read]
decimal_mark = "."
grouping_mark = ","
time_zone = "Asia/Kolkata"
yes = ["ok"]
[check]
instrument = { cell = "B3" }
geometry = { value = "G-1" }
fluid = { value = "K-1" }
operator = { cell = "D3", values = { "first operator" = "op-01" } }
date = { cell = "B2" }
time = { cell = "D2" }
zero_percent = { cell = "B4" }
soak_minutes = { cell = "D4" }
note = { cell = "B5" }
immersed_to_mark = { cell = "B6" }
guard = { cell = "D6" }
""" + COMMON + points
    path = folder / f"forms-{seed}.xlsx"
    return path, workbook, map_text, records, cells


def as_csv(path, sheet, zone_map):
    """A sheet of texts as a CSV file, in Windows-1252 with semicolons; what is no text is written as a person would."""
    def text(value):
        if value is None:
            return ""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, datetime.datetime):
            return f"{value:%d.%m.%Y %H:%M}"
        if isinstance(value, datetime.date):
            return f"{value:%d.%m.%Y}"
        if isinstance(value, datetime.time):
            return f"{value:%H:%M}"
        if isinstance(value, float):
            return with_comma(Decimal(repr(value)))
        return str(value)

    with open(path, "w", encoding="windows-1252", newline="") as file:
        writer = csv.writer(file, delimiter=";", lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL)
        for row in sheet.iter_rows(values_only=True):
            writer.writerow([text(value) for value in row])
    return re.sub(
        r'kind = "xlsx"\nsheets = .*\n', 'kind = "csv"\nseparator = ";"\nencoding = "windows-1252"\n', zone_map
    )


# --- what is compared ---


def faults_of(book, record, source):
    """What of a written record is not what the sheet said."""
    path = book / record["path"]
    if not path.is_file():
        yield f"{record['path']} is not there"
        return
    text = path.read_text(encoding="utf-8")
    found = tomllib.loads(text, parse_float=Decimal)
    sheet, row = record["origin"]
    origin = {"file": source.name, "row": row, "sha256": hashlib.sha256(source.read_bytes()).hexdigest()}
    if sheet:
        origin["sheet"] = sheet
    preparation = found.get("preparation", {})
    for name, is_now, must in (
        ("performed", found["performed"], record["performed"]),
        ("soak_started", preparation.get("soak_started"), record["soak_started"]),
        ("zero_percent", preparation.get("zero_percent"), record["zero_percent"]),
        ("immersed_to_mark", preparation.get("immersed_to_mark"), record["immersed_to_mark"]),
        ("guard", preparation.get("guard"), record["guard"]),
        ("void", found.get("void", False), record["void"]),
        ("void_cause", found.get("void_cause"), "incomplete-source" if record["void"] else None),
        ("note", found.get("note"), record["note"]),
        ("operator", found["operator"], "op-01"),
        ("origin", found["origin"], origin),
    ):
        if is_now != must:
            yield f"{record['path']}: {name} is {is_now!r} and must be {must!r}"
    points = [{key: Decimal(value) for key, value in point.items()} for point in found.get("point", [])]
    if points != record["points"]:
        yield f"{record['path']}: points are {points} and must be {record['points']}"
    blocks = text.split("[computed]")[0].split("[[point]]")[1:]
    for block, digits in zip(blocks, record["digits"]):
        for name, key in (("torque", "torque_percent"), ("viscosity", "viscosity_mpa_s"), ("temperature", "temperature_c")):
            written = re.search(rf"^{key} = (\S+)$", block, re.MULTILINE)
            if digits[name] is not None and (written is None or written[1] != digits[name]):
                yield f"{record['path']}: {key} is written {written and written[1]} and must be {digits[name]}"


def main():
    parser = argparse.ArgumentParser(description="Compare imported records with the sheets that they come from.")
    parser.add_argument("program", type=Path)
    parser.add_argument("root", nargs="?", type=Path, default=Path(__file__).resolve().parents[2])
    arguments = parser.parse_args()
    program, base = arguments.program.resolve(), arguments.root / "src/rules/base"
    if not base.is_dir() or not program.is_file():
        print(f"{program} or {base} is not there", file=sys.stderr)
        return 3
    passed = failed = 0

    def judge(name, faults):
        nonlocal passed, failed
        faults = list(faults)
        for fault in faults[:20]:
            print(f"FAIL {name}: {fault}")
        passed, failed = passed + (not faults), failed + bool(faults)

    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)

        def new_book(name):
            book = folder / name
            shutil.copytree(base, book)
            shutil.rmtree(book / "checks")
            return book

        def run(book, source, map_path, *more):
            words = [program, "--book", book, "import", source, "--map", map_path, "--format", "json", *more]
            done = subprocess.run(words, capture_output=True, text=True, encoding="utf-8", check=False)
            if done.returncode not in (0, 1):
                raise ValueError(f"import {source.name} ended with {done.returncode}: {done.stderr}{done.stdout}")
            return done.returncode, json.loads(done.stdout)

        try:
            for seed in SEEDS:
                for layout in (rows_of_readings, rows_of_checks, forms):
                    name = f"{layout.__name__} {seed}"
                    dice = random.Random(f"{layout.__name__}-{seed}")
                    checks = [make_check(dice, number) for number in range(CHECKS)]
                    path, workbook, map_text, records, cells = layout(dice, folder, checks, seed)
                    workbook.save(path)
                    map_path = folder / "map.toml"
                    map_path.write_text(map_text, encoding="utf-8")

                    book = new_book(f"book-{layout.__name__}-{seed}")
                    code, document = run(book, path, map_path, "--write")
                    told = [f"{one['cell']}: {one['reason']}" for one in document["refused"] + document["findings"] if "cell" in one]
                    told += [f"line {one['line']}: {one['message']}" for one in document["findings"]]
                    judge(f"{name}: nothing refused", told or ([f"ended with {code}"] if code else []))
                    if told:
                        continue
                    judge(f"{name}: records", [fault for record in records for fault in faults_of(book, record, path)])
                    written = sorted(file.relative_to(book).as_posix() for file in book.glob("checks/*/*/*.toml"))
                    must = sorted(record["path"] for record in records)
                    judge(f"{name}: no other records", [] if written == must else [f"{written} instead of {must}"])
                    totals = document["totals"]
                    void = sum(record["void"] for record in records)
                    sums = (totals["new"], totals["void"], totals["pass"] + totals["fail"])
                    judge(f"{name}: totals", [] if sums == (CHECKS, void, CHECKS - void) else [f"{totals}"])
                    done = subprocess.run([program, "--book", book, "validate"], capture_output=True, text=True, check=False)
                    judge(f"{name}: the book is valid", [done.stdout] if done.returncode else [])

                    # A record that is spoilt is noticed.
                    victim = book / records[0]["path"]
                    sound = victim.read_text(encoding="utf-8")
                    for key in ("torque_percent", "viscosity_mpa_s", "temperature_c", "zero_percent", "row"):
                        spoilt = re.sub(rf"^({key} = \S*)(\d)$", lambda m: f"{m[1]}{(int(m[2]) + 1) % 10}", sound, count=1, flags=re.MULTILINE)
                        if spoilt == sound:
                            continue
                        victim.write_text(spoilt, encoding="utf-8")
                        noticed = list(faults_of(book, records[0], path))
                        judge(f"{name}: a wrong {key} is noticed", [] if noticed else ["it was not"])
                    victim.write_text(sound, encoding="utf-8")

                    # Cells that are spoilt are refused, those and no others.
                    planted = {
                        "date": "31.02.2026",
                        "operator": "nobody",
                        "torque": "19.4.1",
                        "viscosity": "n. d.",
                        "temperature": "=1/0",
                    }
                    spoilt = {}
                    for key, number in zip(planted, dice.sample(range(CHECKS), len(planted))):
                        column, row = cells[number][key]
                        sheet = workbook[records[number]["origin"][0]]
                        sheet.cell(row, column, planted[key])
                        spoilt.setdefault(sheet.title, set()).add(f"{get_column_letter(column)}{row}")
                    bad = folder / f"bad-{path.name}"
                    workbook.save(bad)
                    book = new_book(f"bad-{layout.__name__}-{seed}")
                    code, document = run(book, bad, map_path, "--write")
                    found = {}
                    for one in document["refused"]:
                        found.setdefault(one["sheet"], set()).add(one["cell"])
                    judge(f"{name}: spoilt cells", [] if found == spoilt and code == 1 else [f"{found} instead of {spoilt}"])
                    judge(f"{name}: nothing half-written", ["something was"] if (book / "checks").exists() else [])
                    code, document = run(book, bad, map_path, "--write", "--skip-refused")
                    written = len(list(book.glob("checks/*/*/*.toml")))
                    must = CHECKS - len(planted)
                    judge(f"{name}: the others", [] if (written, code) == (must, 1) else [f"{written} instead of {must}"])

                    if layout is rows_of_readings:
                        # The same sheet as a text with separators, as a spreadsheet program would save it.
                        dice = random.Random(f"{layout.__name__}-{seed}")
                        checks = [make_check(dice, number) for number in range(CHECKS)]
                        _, workbook, map_text, records, _ = layout(dice, folder, checks, seed)
                        text = folder / f"readings-{seed}.csv"
                        map_text = as_csv(text, workbook["Bench 2"], map_text)
                        # Merged headings are written once.
                        map_text = map_text.replace("shown / Viscosity / Pa.s", "Viscosity / Pa.s")
                        map_path.write_text(map_text, encoding="utf-8")
                        for record in records:
                            record["origin"] = (None, record["origin"][1])
                            # Numbers come out as that program prints them.
                            nothing = dict.fromkeys(("torque", "viscosity", "temperature"))
                            record["digits"] = [
                                digits if text else nothing for text, digits in zip(record["texts"], record["digits"])
                            ]
                        book = new_book(f"csv-{seed}")
                        code, document = run(book, text, map_path, "--write")
                        told = [f"{one['cell']}: {one['reason']}" for one in document["refused"]]
                        told += [f"line {one['line']}: {one['message']}" for one in document["findings"]]
                        judge(f"{name}, as CSV: nothing refused", told)
                        judge(f"{name}, as CSV: records", [fault for record in records for fault in faults_of(book, record, text)])
        except (OSError, ValueError) as error:
            print(f"{error}", file=sys.stderr)
            return 3
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
