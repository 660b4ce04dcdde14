#!/usr/bin/env python3
"""A second opinion on the record schemas, by another validator than the one shearbook uses.

Needs Python 3.11 or newer and what requirements.txt pins. Every file under tests/corpus/<kind>/valid must be accepted by
schema/<kind>.schema.json and every one under invalid refused, for one reason alone. Each schema must be a schema of
draft 2020-12, whole in itself and closed at every table; each of its properties must be described and used by some
valid file.

    schema_corpus.py [--json] [ROOT]    the last line is 'N passed, N failed', exit 1 if any failed

--json prints a line {"file": ..., "valid": ...} for each corpus file, with what this validator says of it.
ROOT is the project's folder where it is left out. Exit 3: the schemas or the corpus could not be found.
"""

import argparse
import datetime
import json
import sys
import tomllib
from pathlib import Path

from jsonschema import Draft202012Validator
from jsonschema.exceptions import SchemaError

LEAST_VALID = 3
LEAST_INVALID = 8
LEAST_DESCRIPTION = 20
# These hold constraints on properties that are declared elsewhere.
CONDITIONS = {"if", "then", "else", "not", "allOf", "anyOf"}


def as_json(value):
    """A TOML value as shearbook hands it to its schemas: dates and times become text."""
    if isinstance(value, dict):
        return {key: as_json(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [as_json(entry) for entry in value]
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    return value


def nodes(schema, path="", key=None):
    """Every object inside a schema, with its JSON pointer and the key it stands under."""
    if isinstance(schema, dict):
        yield path, key, schema
        for name, entry in schema.items():
            yield from nodes(entry, f"{path}/{name}", name)
    elif isinstance(schema, list):
        for number, entry in enumerate(schema):
            yield from nodes(entry, f"{path}/{number}", key)


def declarations(root, schema=None, path=""):
    """(path, subschema) of each property that a record of this kind may have; rows are marked []."""
    schema = root if schema is None else schema
    if "$ref" in schema:
        yield from declarations(root, resolve(root, schema["$ref"]), path)
    for keyword in ("properties", "patternProperties"):
        for name, entry in schema.get(keyword, {}).items():
            yield f"{path}/{name}", entry
            yield from declarations(root, entry, f"{path}/{name}")
    if isinstance(schema.get("items"), dict):
        yield from declarations(root, schema["items"], f"{path}[]")


def used(root, instance, schema=None, path=""):
    """Paths, as declarations() writes them, of the properties that an instance uses."""
    schema = root if schema is None else schema
    if "$ref" in schema:
        yield from used(root, instance, resolve(root, schema["$ref"]), path)
    if isinstance(instance, dict):
        for name, value in instance.items():
            if name in schema.get("properties", {}):
                yield f"{path}/{name}"
                yield from used(root, value, schema["properties"][name], f"{path}/{name}")
            else:
                for pattern in schema.get("patternProperties", {}):
                    yield f"{path}/{pattern}"
    elif isinstance(instance, list) and isinstance(schema.get("items"), dict):
        for value in instance:
            yield from used(root, value, schema["items"], f"{path}[]")


def resolve(root, reference):
    """The part of the same schema that a reference such as '#/$defs/id' names."""
    part = root
    for step in reference.removeprefix("#/").split("/"):
        part = part[step]
    return part


def without_descriptions(schema):
    """A schema's meaning: all of it but the prose."""
    if isinstance(schema, dict):
        return {
            key: without_descriptions(entry)
            for key, entry in schema.items()
            if not (key == "description" and isinstance(entry, str))
        }
    if isinstance(schema, list):
        return [without_descriptions(entry) for entry in schema]
    return schema


def faults_of_schema(kind, schema):
    """What is wrong with a schema by itself, one line a fault."""
    try:
        Draft202012Validator.check_schema(schema)
    except SchemaError as error:
        yield f"no schema of draft 2020-12: {error.message}"
        return
    if schema.get("$schema") != Draft202012Validator.META_SCHEMA["$id"]:
        yield "$schema is not draft 2020-12"
    if schema.get("$id") != f"urn:shearbook:schema:{kind}:1":
        yield f"$id is {schema.get('$id')!r}"
    if not schema.get("title"):
        yield "no title"
    for path, key, node in nodes(schema):
        if key == "properties":
            continue
        if "oneOf" in node:
            yield f"{path}: oneOf, whose messages help nobody"
        if "$ref" in node and not node["$ref"].startswith("#/$defs/"):
            yield f"{path}: refers to another file, {node['$ref']}"
        if "(?" in str(node.get("pattern", "")):
            yield f"{path}: a pattern that not every validator reads"
        conditional = CONDITIONS & set(path.split("/"))
        if node.get("type") == "object" and not conditional and node.get("additionalProperties") is not False:
            yield f"{path}: a table that takes unknown keys"
    for path, entry in declarations(schema):
        if len(entry.get("description", "")) < LEAST_DESCRIPTION:
            yield f"{path}: not described"


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--json", action="store_true", help="print a line for each corpus file")
    parser.add_argument("root", nargs="?", type=Path, default=Path(__file__).resolve().parents[2])
    arguments = parser.parse_args()

    corpus = arguments.root / "tests" / "corpus"
    files = sorted((arguments.root / "schema").glob("*.schema.json"))
    if not files or not corpus.is_dir():
        print(f"{arguments.root}: no schemas, or no corpus", file=sys.stderr)
        return 3
    passed = failed = 0

    def judge(name, faults):
        nonlocal passed, failed
        faults = list(faults)
        for fault in faults:
            # With --json standard output is for a program to read.
            print(f"FAIL {name}: {fault}", file=sys.stderr if arguments.json else sys.stdout)
        if faults:
            failed += 1
        else:
            passed += 1

    kinds = {file.name.removesuffix(".schema.json"): file for file in files}
    for folder in sorted(entry.name for entry in corpus.iterdir() if entry.is_dir()):
        if folder not in kinds and list((corpus / folder).glob("*/*.toml")):
            judge(f"corpus/{folder}", ["no schema of that name"])
    definitions = {}
    for kind, file in kinds.items():
        try:
            schema = json.loads(file.read_text(encoding="utf-8"))
        except ValueError as error:
            judge(file.name, [f"not JSON: {error}"])
            continue
        faults = list(faults_of_schema(kind, schema))
        # Each schema carries its own copy of what they share, so that an editor needs one file.
        shared = {f"/$defs/{name}": part for name, part in schema.get("$defs", {}).items()}
        for name in ("format", "note", "correction"):
            if name in schema.get("properties", {}):
                shared[f"/properties/{name}"] = schema["properties"][name]
        for path, part in shared.items():
            first, meaning = definitions.setdefault(path, (kind, without_descriptions(part)))
            if without_descriptions(part) != meaning:
                faults.append(f"{path}: differs from that of {first}")
        judge(file.name, faults)
        if any(fault.startswith("no schema of draft") for fault in faults):
            continue
        validator = Draft202012Validator(schema)
        seen = set()
        counts = {}
        for expected in ("valid", "invalid"):
            paths = sorted((corpus / kind / expected).glob("*.toml"))
            counts[expected] = len(paths)
            for path in paths:
                name = path.relative_to(corpus).as_posix()
                try:
                    instance = as_json(tomllib.loads(path.read_text(encoding="utf-8")))
                except (ValueError, OSError) as error:
                    judge(name, [f"not TOML: {error}"])
                    continue
                errors = sorted(validator.iter_errors(instance), key=lambda error: error.json_path)
                if arguments.json:
                    print(json.dumps({"file": name, "valid": not errors}))
                if expected == "valid":
                    seen.update(used(schema, instance))
                    judge(name, (f"{error.json_path}: {error.message}" for error in errors))
                elif len(errors) == 1:
                    judge(name, [])
                else:
                    judge(name, [f"refused for {len(errors)} reasons"] + [f"{e.json_path}: {e.message}" for e in errors])
        judge(
            f"corpus/{kind}",
            [f"no valid file uses {path}" for path, _ in declarations(schema) if path not in seen]
            + [f"only {counts['valid']} valid files"] * (counts["valid"] < LEAST_VALID)
            + [f"only {counts['invalid']} invalid files"] * (counts["invalid"] < LEAST_INVALID),
        )
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
