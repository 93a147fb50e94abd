// Holds `fascicle check` against the reference validator, over resources that nobody here wrote:
// published examples that must pass, and mutants of them whose errors must be found.
// Started by the script foreign.
import { spawn } from "node:child_process";
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { mutants } from "./mutants.mjs";

const folder = dirname(dirname(fileURLToPath(import.meta.url)));
const repo = dirname(dirname(folder));
const installed = process.env.FASCICLE_JUDGES;
const load = createRequire(join(installed, "node", "package.json"));
const binary = process.env.FASCICLE_BINARY ?? join(repo, "target", "debug", "fascicle");
const work = join(repo, "target", "foreign");

/** Kinds of which there are hundreds that differ in little. */
const MANY = /^(SearchParameter|ValueSet|CodeSystem|StructureDefinition|ConceptMap|OperationDefinition)-/;
const LARGEST = 60_000;
const AT_LEAST = { valid: 300, mutants: 500 };

const toml = (file) => load("smol-toml").parse(readFileSync(file, "utf8"));

/** The published examples, one item a file. */
function examples() {
  const from = dirname(load.resolve("hl7.fhir.r4.examples/package.json"));
  const items = [];
  for (const name of readdirSync(from).sort()) {
    if (!name.endsWith(".json") || name === "package.json" || name.startsWith(".") || MANY.test(name)) continue;
    const resource = JSON.parse(readFileSync(join(from, name), "utf8"));
    const text = JSON.stringify(resource);
    if (text.length <= LARGEST) items.push({ name: name.replace(/\.json$/, ""), resource, text });
  }
  return items;
}

function run(command, args) {
  return new Promise((resolve, reject) => {
    const child = spawn(command, args, { stdio: ["ignore", "pipe", "inherit"] });
    const out = [];
    child.stdout.on("data", (part) => out.push(part));
    child.on("error", reject);
    child.on("close", (status) => resolve({ status, out: Buffer.concat(out).toString("utf8") }));
  });
}

/** Per item, the errors of the reference validator: {id, path, text}. */
async function reference(file, count) {
  const jars = `${join(installed, "reference", "reference-judge.jar")}:${join(installed, "reference", "lib")}/*`;
  const flags = ["-XX:+UseSerialGC", "-XX:TieredStopAtLevel=1", "-Dorg.slf4j.simpleLogger.defaultLogLevel=error"];
  const { out } = await run("java", [...flags, "-cp", jars, "fascicle.judge.ReferenceJudge", file]);
  const errors = Array.from({ length: count }, () => []);
  let judged = 0;
  for (const line of out.split("\n")) {
    if (!line.startsWith("{")) continue;
    const message = JSON.parse(line);
    if (message.summary) judged = message.resources;
    else if (message.severity === "error" || message.severity === "fatal") {
      errors[Number(message.file.slice(message.file.lastIndexOf(":") + 1)) - 1].push(message);
    }
  }
  if (judged !== count) throw new Error(`the reference validator judged ${judged} of ${count}`);
  return errors;
}

/** Items of one file of `fascicle check`: so few that no file has more problems than it lists. */
const AT_ONCE = 40;

/** Per item, the errors of `fascicle check`: {code, path}. */
async function ours(file, count) {
  const lines = readFileSync(file, "utf8").trimEnd().split("\n");
  const errors = Array.from({ length: count }, () => []);
  const part = join(work, "part.ndjson");
  for (let first = 0; first < lines.length; first += AT_ONCE) {
    writeFileSync(part, lines.slice(first, first + AT_ONCE).join("\n") + "\n");
    const { out } = await run(binary, ["check", "--json", part]);
    for (const problem of JSON.parse(out)[0].problems) {
      const place = /^line (\d+)(.*)$/s.exec(problem.path);
      if (place === null) throw new Error(`fascicle check does not list all problems: ${problem.code}: ${problem.what}`);
      const [, line, path] = place;
      if (problem.severity === "error") errors[first + Number(line) - 1].push({ code: problem.code, path, what: problem.what });
    }
  }
  return errors;
}

// ---- places ------------------------------------------------------------------------------------

/** The steps of a place as the reference validator writes it: Observation.component[0].value.ofType(Quantity). */
function stepsOfReference(path) {
  const plain = path
    .replace(/\/\*.*?\*\//g, "")
    .replace(/\.ofType\([^)]*\)/g, "")
    .replace(/\[url='[^']*'\]/g, "")
    .replace(/\[(\d+)\]/g, ".$1");
  return plain.split(".").slice(1).filter((step) => step !== "");
}

const stepsOfOurs = (path) => path.split("/").slice(1).map((step) => step.replace(/^_/, ""));

/** True when one place is the other or lies in it; a choice carries its type in our step. */
function meet(reference, own) {
  const [a, b] = [stepsOfReference(reference), stepsOfOurs(own)];
  const length = Math.min(a.length, b.length);
  for (let i = 0; i < length; i += 1) {
    const name = a[i].replace("[x]", "");
    if (b[i] !== name && !(b[i].startsWith(name) && /^[A-Z]/.test(b[i].slice(name.length)))) return false;
  }
  return true;
}

// ---- rules and differences ---------------------------------------------------------------------

function listed() {
  const file = join(folder, "foreign.toml");
  const found = toml(file);
  const fits = (entry, message) =>
    new RegExp(`^(?:${entry.id})$`).test(message.id.slice(message.id.lastIndexOf("#") + 1)) &&
    (entry.text === undefined || new RegExp(entry.text).test(message.text));
  const entries = (key) => (found[key] ?? []).map((entry) => ({ ...entry, matched: 0 }));
  const [rules, unheld, differences] = [entries("rule"), entries("unheld"), entries("difference").map((entry) => ({ ...entry, met: new Set() }))];
  for (const entry of [...unheld, ...differences]) {
    if (!entry.why?.trim()) throw new Error(`${file}: an entry without why: ${JSON.stringify(entry)}`);
  }
  const of = (list, message) => {
    const entry = list.find((one) => fits(one, message));
    if (entry) entry.matched += 1;
    return entry;
  };
  return { rules, unheld, differences, of };
}

/** Judges one list of items; gives what is wrong and what was counted. */
function compare(items, theirs, own, list, off) {
  const faults = [];
  const count = { rejected: 0, valid: 0, mutants: 0, without: 0, errors: 0, found: 0, unheld: 0, different: 0 };
  const validBase = new Map();
  const different = (item, key) => {
    const entry = list.differences.find((one) => one.item === item.name && one.says.includes(key));
    if (entry) {
      entry.met.add(key);
      entry.matched = entry.met.size === entry.says.length ? 1 : 0;
      count.different += 1;
    }
    return entry !== undefined;
  };
  items.forEach((item, i) => {
    if (item.of === undefined) {
      validBase.set(item.name, theirs[i].length === 0);
      if (theirs[i].length > 0) count.rejected += 1;
      else {
        count.valid += 1;
        for (const problem of own[i]) {
          if (!different(item, problem.code)) faults.push(`${item.name} is valid, yet: ${problem.code} ${problem.path} ${problem.what}`);
        }
      }
      return;
    }
    if (!validBase.get(item.of)) return;
    if (theirs[i].length === 0) {
      count.without += 1;
      return;
    }
    count.mutants += 1;
    for (const message of theirs[i]) {
      if (list.of(list.unheld, message)) {
        count.unheld += 1;
        continue;
      }
      const rule = list.of(list.rules, message);
      if (!rule) {
        faults.push(`${item.name}: ${message.id} is neither a rule nor unheld in foreign.toml: ${message.path} ${message.text}`);
        continue;
      }
      count.errors += 1;
      const codes = rule.codes.filter((code) => code !== off);
      const hit = own[i].some((problem) => codes.includes(problem.code) && (rule.anywhere || meet(message.path, problem.path)));
      if (hit) count.found += 1;
      else if (!different(item, message.id.slice(message.id.lastIndexOf("#") + 1))) {
        const had = own[i].map((problem) => `${problem.code} ${problem.path}`).join("; ");
        faults.push(`${item.name}: not found: ${message.id} ${message.path} ${message.text} (ours: ${had || "nothing"})`);
      }
    }
  });
  return { faults, count };
}

/** Each row of together.csv against the official expression of its invariant. */
function together() {
  const fhirpath = load("fhirpath");
  const model = load("fhirpath/fhir-context/r4");
  const official = JSON.parse(readFileSync(join(installed, "reference", "r4-definitions.json"), "utf8"));
  const rows = readFileSync(join(repo, "profiles", "r4", "together.csv"), "utf8")
    .split("\n")
    .filter((line) => line !== "" && !line.startsWith("#"))
    .slice(1)
    .map((line) => line.split(","));
  const faults = [];
  const choice = new Map();
  for (const line of readFileSync(join(repo, "profiles", "r4", "elements.csv"), "utf8").split("\n")) {
    const [path, , , types] = line.split(",");
    // In JSON a choice carries the name of its type.
    if (path?.endsWith("[x]")) choice.set(path, types.split(" ")[0].replace("SimpleQuantity", "Quantity").replace(/\(.*/, ""));
  }
  const inJson = (of, name) => {
    const type = choice.get(`${of}.${name}`);
    return type === undefined ? name : name.replace("[x]", type[0].toUpperCase() + type.slice(1));
  };
  const named = new Map();
  for (const [of, problem, rule, elements] of rows) {
    const key = `${of},${problem}`;
    named.set(key, [...(named.get(key) ?? []), { of, key: problem.replace("fhir.", ""), rule, names: elements.split(" ") }]);
  }
  const breaks = ({ rule, names }, there) => {
    const count = names.filter((name) => there.includes(name)).length;
    if (rule === "needs") return there.includes(names[0]) && !there.includes(names[1]);
    return rule === "some" ? count === 0 : rule === "one" ? count !== 1 : count > 1;
  };
  for (const group of named.values()) {
    const { of, key } = group[0];
    const constraint = official
      .flatMap((definition) => definition.elements)
      .filter((element) => element.path === of || (key === "ext-1" && element.path === "Extension"))
      .flatMap((element) => element.constraints)
      .find((one) => one.key === key);
    if (!constraint) {
      faults.push(`together.csv: ${of} has no invariant ${key}`);
      continue;
    }
    // Every choice of the elements that the rows name.
    const names = [...new Set(group.flatMap((row) => row.names))];
    for (let mask = 0; mask < 2 ** names.length; mask += 1) {
      const there = names.filter((_name, i) => mask & (1 << i));
      const node = Object.fromEntries(there.map((name) => [inJson(of, name), name === "extension" ? [{ url: "x" }] : "x"]));
      const result = fhirpath.evaluate(node, { base: of, expression: constraint.expression }, { resource: node, rootResource: node }, model);
      const held = result.length === 0 || result[0] === true;
      if (held === group.some((row) => breaks(row, there))) {
        faults.push(`together.csv: ${of} ${key} with ${there.join(", ") || "nothing"}: the official expression says ${held}: ${constraint.expression}`);
      }
    }
  }
  return { faults, invariants: named.size };
}

async function main(args) {
  mkdirSync(work, { recursive: true });
  const valid = examples();
  const items = [...valid, ...mutants(valid)];
  const file = join(work, "resources.ndjson");
  writeFileSync(file, items.map((item) => item.text).join("\n") + "\n");
  const [theirs, own] = await Promise.all([reference(file, items.length), ours(file, items.length)]);

  if (process.env.FOREIGN_DUMP) writeFileSync(process.env.FOREIGN_DUMP, JSON.stringify(items.map((item, i) => ({ name: item.name, of: item.of, theirs: theirs[i], own: own[i] }))));
  const list = listed();
  const { faults, count } = compare(items, theirs, own, list);
  const before = faults.length;
  for (const [key, wanted] of Object.entries(AT_LEAST)) {
    if (count[key] < wanted) faults.push(`only ${count[key]} ${key}, wanted ${wanted}`);
  }
  for (const entry of [...list.rules, ...list.unheld, ...list.differences].filter((one) => one.matched === 0)) {
    faults.push(`foreign.toml: matched nothing: ${entry.id ?? `${entry.item} ${entry.says.filter((one) => !entry.met.has(one))}`} ${entry.text ?? ""}`);
  }
  const table = together();
  faults.push(...table.faults);
  // The comparison has to be able to fail: without a code of ours, what it finds is missed.
  const codes = new Set(list.rules.flatMap((rule) => rule.codes));
  const blind = ["fhir.required", "fhir.time", "fhir.obs-6"].filter((code) => codes.has(code));
  const missed = blind.map((off) => compare(items, theirs, own, listed(), off).faults.length - before);
  blind.forEach((off, i) => {
    if (missed[i] <= 0) faults.push(`with ${off} switched off nothing is missed: the comparison cannot fail`);
  });

  const shown = args.includes("--verbose") ? faults : faults.slice(0, 60);
  for (const fault of shown) console.log(fault.slice(0, 500));
  if (faults.length > shown.length) console.log(`… and ${faults.length - shown.length} more`);
  console.log(
    `foreign: ${valid.length} published examples, ${count.rejected} rejected by the reference validator and left out; ` +
      `${count.valid} valid, ${new Set(valid.map((item) => item.resource.resourceType)).size} resource types`,
  );
  console.log(
    `foreign: ${count.mutants} mutants with errors (${count.without} more stay valid); ${count.errors} errors of listed rules, ` +
      `${count.found} found, ${count.different} differences explained; ${count.unheld} errors of rules not held`,
  );
  console.log(`foreign: ${table.invariants} invariants of together.csv in every choice of their elements, ${table.faults.length} choices differ from the official expression`);
  console.log(`foreign: switched off, ${blind.map((off, i) => `${off}: ${missed[i]} missed`).join(", ")}`);
  return faults.length === 0 ? 0 : 1;
}

process.exitCode = await main(process.argv.slice(2));
