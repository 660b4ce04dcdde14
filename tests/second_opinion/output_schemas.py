#!/usr/bin/env python3
"""Holds the program's JSON against schema/output, by a validator that shearbook does not use.

Needs Python 3.11 or newer and what requirements.txt pins. Runs the program on records-example and on small books with
mistakes, and validates what validate, gate, show, status, plan, review, trend, trace, simulate, import and selftest print. Each schema must be closed, with every key required and
described; and each must refuse a document that lacks a key or has one more.

    output_schemas.py PROGRAM [ROOT]    the last line is 'N passed, N failed', exit 1 if any failed

ROOT is the project's folder where it is left out. Exit 3: the program or the schemas could not be used.
"""

import argparse
import copy
import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from jsonschema import Draft202012Validator
from jsonschema.exceptions import SchemaError

CHECK = "checks/2026/VM-01/2026-11-20-0942.toml"
# One mistake each: the file, what it says, and what it is made to say.
MISTAKES = {
    "an expired fluid": ("fluids/K-2291.toml", "expires = 2028-03-01", "expires = 2026-11-19"),
    "an unknown fluid": (CHECK, 'fluid = "K-2291"', 'fluid = "K-9999"'),
    "a decimal comma": (CHECK, "temperature_c = 25.04", "temperature_c = 25,04"),
    "an unknown key": (CHECK, "operator =", "operater ="),
    "the edition of tomorrow": (CHECK, "format = 1", "format = 2"),
    "no number": (CHECK, "viscosity_mpa_s = 514.6", "viscosity_mpa_s = nan"),
}

PLANS = ("plan", "plan-within", "plan-buy")
OFFER = "id,viscosity_mpa_s,expanded_uncertainty_percent\nV-2,1.9,0.3\nV-500,497.0,0.4\nV-5000,4920.0,\n"


# A check that passes, one whose instrument is unknown, one that lacks its temperatures, and a row that is none.
SHEET = """Day,Unit,T,V1,V2,V3
2026-11-23 14:15,VM-01,25.03,514.5,515.1,514.6
2026-11-23 15:15,VM-99,25.03,514.5,515.1,514.6
2026-11-23 16:15,VM-01,,514.5,515.1,514.6
Mean,,,514.5,515.1,514.6
"""
MAP = """format = 1
[source]
kind = "csv"
separator = ","
layout = "row-a-check"
heading_rows = [1]
[[skip]]
column = "Day"
starts_with = ["mean"]
[read]
decimal_mark = "."
[check]
date = { column = "Day" }
instrument = { column = "Unit" }
geometry = { value = "C2-118" }
fluid = { value = "K-2291" }
bottle = { value = "2" }
thermometer = { value = "TH-01" }
operator = { value = "op-07" }
occasion = { value = "scheduled" }
condition = { value = "as-found" }
late_reason = { value = "an old sheet" }
levelled = { value = true }
immersed_to_mark = { value = true }
free_of_bubbles = { value = true }
vessel_as_specified = { value = true }
guard = { value = true }
zero_percent = { value = 0.0 }
soak_minutes = { value = 70 }
""" + "".join(
    f"""[[point]]
speed_rpm = {{ value = {speed} }}
viscosity = {{ column = "{column}", unit = "cP" }}
temperature = {{ column = "T", unit = "C" }}
"""
    for speed, column in ((15.0, "V1"), (30.0, "V2"), (60.0, "V3"))
)


def tables(schema, at="#"):
    """Every object of a schema that lists properties, with where it stands."""
    if isinstance(schema, dict):
        if isinstance(schema.get("properties"), dict):
            yield at, schema
        for key, entry in schema.items():
            yield from tables(entry, f"{at}/{key}")


def faults_of_schema(schema):
    try:
        Draft202012Validator.check_schema(schema)
    except SchemaError as error:
        yield f"no schema of draft 2020-12: {error.message}"
        return
    for at, table in tables(schema):
        if table.get("additionalProperties") is not False:
            yield f"{at}: other keys are allowed"
        if table.get("required") != list(table["properties"]):
            yield f"{at}: not every key is required, in its order"
        for key, entry in table["properties"].items():
            target = schema["$defs"].get(entry.get("$ref", "").removeprefix("#/$defs/"), {})
            if "description" not in entry and "description" not in target:
                yield f"{at}/{key}: not described"


def faults_of(schema, document):
    validator = Draft202012Validator(schema)
    yield from (f"{error.json_path}: {error.message}" for error in validator.iter_errors(document))
    more = {**document, "one_more": 1}
    if validator.is_valid(more):
        yield "a key more is accepted"
    for key in document:
        fewer = {name: entry for name, entry in document.items() if name != key}
        if validator.is_valid(fewer):
            yield f"a document without {key} is accepted"
    for rows in ("points", "findings", "instruments", "amendments", "checks", "records", "series", "values", "mentions", "rests_on", "rules", "refused", "choices", "left_out", "beakers", "not_planned", "buy", "not_covered"):
        for key in document[rows][0] if document.get(rows) else ():
            fewer = copy.deepcopy(document)
            del fewer[rows][0][key]
            if validator.is_valid(fewer):
                yield f"a row of {rows} without {key} is accepted"


def main():
    parser = argparse.ArgumentParser(description="Validate the program's JSON against schema/output.")
    parser.add_argument("program", type=Path)
    parser.add_argument("root", nargs="?", type=Path, default=Path(__file__).resolve().parents[2])
    arguments = parser.parse_args()
    program = arguments.program.resolve()
    example = arguments.root / "records-example"
    passed = failed = 0

    def judge(name, faults):
        nonlocal passed, failed
        faults = list(faults)
        for fault in faults:
            print(f"FAIL {name}: {fault}")
        passed, failed = passed + (not faults), failed + bool(faults)

    def ask(*words, ends=(0,)):
        done = subprocess.run([program, *words], capture_output=True, text=True, encoding="utf-8", check=False)
        if done.returncode not in ends:
            raise ValueError(f"{' '.join(map(str, words))} ended with {done.returncode}: {done.stderr}{done.stdout}")
        return json.loads(done.stdout)

    try:
        schemas = {
            name: json.loads((arguments.root / f"schema/output/{name}.schema.json").read_text(encoding="utf-8"))
            for name in ("findings", "show", "status", "review", "trend", "selftest", "trace", "simulate", "import", *PLANS)
        }
        for name, schema in schemas.items():
            judge(f"{name}.schema.json", faults_of_schema(schema))
        findings, show = schemas["findings"], schemas["show"]
        judge("validate", faults_of(findings, ask("--book", example, "validate", "--format", "json")))
        for path in sorted((example / "checks").glob("*/*/*.toml")):
            check = f"{path.parent.name}/{path.stem}"
            judge(f"show {check}", faults_of(show, ask("--book", example, "show", check, "--format", "json")))
        for day in ("2024-01-01", "2026-07-10", "2026-11-25", "2027-06-01"):
            document = ask("--book", example, "--as-of", day, "status", "--format", "json")
            judge(f"status {day}", faults_of(schemas["status"], document))
            document = ask("--book", example, "--as-of", day, "review", "--open", "--format", "json")
            judge(f"review {day}", faults_of(schemas["review"], document))
        for path in sorted((example / "instruments").glob("*.toml")):
            for day in ("2024-01-01", "2026-07-10", "2026-11-25"):
                document = ask("--book", example, "--as-of", day, "trend", path.stem, "--format", "json")
                judge(f"trend {path.stem} {day}", faults_of(schemas["trend"], document))
        for path in sorted((example / "instruments").glob("*.toml")):
            for words in (("2026-11-25",), ("2026-11-25", "--all"), ("2024-06-01",)):
                document = ask("--book", example, "--as-of", words[0], "plan", path.stem, *words[1:], "--format", "json")
                judge(f"plan {path.stem} {' '.join(words)}", faults_of(schemas["plan"], document))
        for day in ("2024-06-01", "2026-11-25"):
            for days in ("0", "60"):
                document = ask("--book", example, "--as-of", day, "plan", "--within", days, "--format", "json")
                judge(f"plan --within {days} on {day}", faults_of(schemas["plan-within"], document))
        with tempfile.TemporaryDirectory() as folder:
            offer = Path(folder) / "offer.csv"
            for text, ends in ((OFFER, (0,)), (OFFER.split("V-5000")[0], (0,)), ("id,viscosity_mpa_s\nV-2,1.9\n", (0,)), ("id\n", (1,))):
                offer.write_text(text, encoding="utf-8")
                document = ask("--book", example, "--as-of", "2026-11-25", "plan", "--buy", offer, "--format", "json", ends=ends)
                judge(f"plan --buy {len(text)}", faults_of(schemas["plan-buy"] if ends == (0,) else findings, document))
        judge("selftest", faults_of(schemas["selftest"], ask("selftest", "--format", "json")))
        # Each kind of record, a bottle, and checks that failed, passed, are void or amended.
        for name in (
            *("K-2291", "K-2291/1", "TH-01", "WB-1", "C2-118", "VM-06", "qa-02", "op-07", "2026-01", "VM-08"),
            *("VM-06/2026-04-08-1040", "VM-04/2026-07-07-1510", "VM-01/2026-11-20-0942"),
            *("VM-01/2026-06-18-0910", "VM-01/2026-04-09-0905"),
        ):
            document = ask("--book", example, "--as-of", "2026-11-25", "trace", name, "--format", "json")
            judge(f"trace {name}", faults_of(schemas["trace"], document))
        for policy in sorted((example / "policies").glob("*.toml")):
            words = ("simulate", "--policy", policy, "--format", "json")
            document = ask("--book", example, "--as-of", "2026-11-25", *words)
            judge(f"simulate {policy.stem}", faults_of(schemas["simulate"], document))
        with tempfile.TemporaryDirectory() as folder:
            related = 0
            draft = Path(folder) / "draft.toml"
            text = (example / "policies/2026-01.toml").read_text(encoding="utf-8")
            for percent in ("0.3", "wide"):
                draft.write_text(text.replace("range_percent = 0.8", f"range_percent = {percent}"), encoding="utf-8")
                words = ("simulate", "--policy", draft, "--format", "json")
                document = ask("--book", example, "--as-of", "2026-11-25", *words, ends=(0, 1))
                schema = schemas["simulate" if percent == "0.3" else "findings"]
                judge(f"simulate a draft with {percent}", faults_of(schema, document))
                if not document.get("checks", True):
                    judge(f"simulate a draft with {percent}, differences", ["there are none"])
            old, sheet_map = Path(folder) / "old.csv", Path(folder) / "map.toml"
            old.write_text(SHEET, encoding="utf-8")
            for name, text in (("import", MAP), ("import by a faulty map", MAP.replace('"Unit"', '"Bench"'))):
                sheet_map.write_text(text, encoding="utf-8")
                words = ("import", old, "--map", sheet_map, "--format", "json")
                document = ask("--book", example, *words, ends=(1,))
                judge(name, faults_of(schemas["import"], document))
                totals = [document["totals"][key] for key in ("pass", "void", "refused_checks")]
                counts = (totals, len(document["left_out"]), len(document["findings"]))
                must = ([1, 1, 1], 1, 0) if name == "import" else ([0, 0, 0], 0, 1)
                judge(f"{name}, totals", [] if counts == must else [f"{counts} instead of {must}"])
            for name, (path, right, wrong) in MISTAKES.items():
                book = Path(folder) / "book"
                shutil.copytree(example, book)
                text = (book / path).read_text(encoding="utf-8")
                if right not in text:
                    raise ValueError(f"{path} has no {right}")
                (book / path).write_text(text.replace(right, wrong, 1), encoding="utf-8")
                document = ask("--book", book, "validate", "--format", "json", ends=(1,))
                judge(name, faults_of(findings, document))
                related += sum(len(finding["related"]) for finding in document["findings"])
                shutil.rmtree(book)
            book = Path(folder) / "book"
            shutil.copytree(example, book)
            for lot, decision in (("K-2310", "approve"), ("K-2455", "reject")):
                lot_file, review = book / f"fluids/{lot}.toml", book / f"reviews/records/fluids/{lot}/qa-02-1.toml"
                if decision == "approve":
                    lot_file.write_text(lot_file.read_text(encoding="utf-8") + "# seen\n", encoding="utf-8")
                else:
                    text = review.read_text(encoding="utf-8").replace('"approve"', '"reject"')
                    review.write_text(text + 'comment = "which certificate?"\n', encoding="utf-8")
            document = ask("--book", book, "--as-of", "2026-11-25", "review", "--open", "--format", "json")
            judge("review of records", faults_of(schemas["review"], document))
            if [row["state"] for row in document["records"]] != ["waiting", "rejected"]:
                judge("review of records, states", [str(document["records"])])
            judge("related places", [] if related else ["no finding had any"])
    except (OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return 3
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
