// node ajv.mjs SCHEMA FILE...: the files against the schema; ends with 1 where one does not fit.
import { readFileSync } from "node:fs";
import Ajv2020 from "ajv/dist/2020.js";
import { parse } from "smol-toml";

const [schema, ...files] = process.argv.slice(2);
const validate = new Ajv2020({ strict: false }).compile(JSON.parse(readFileSync(schema, "utf8")));

// The schemas describe times as texts.
const plain = (value) => {
  if (value instanceof Date) return value.toISOString();
  if (Array.isArray(value)) return value.map(plain);
  if (value !== null && typeof value === "object") {
    return Object.fromEntries(Object.entries(value).map(([key, inner]) => [key, plain(inner)]));
  }
  return value;
};

let refused = 0;
for (const file of files) {
  if (!validate(plain(parse(readFileSync(file, "utf8"))))) {
    console.error(file, validate.errors);
    refused += 1;
  }
}
process.exitCode = refused > 0 ? 1 : 0;
