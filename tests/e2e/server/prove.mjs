// Proves that the record server does what the end-to-end tests lean on, and prints what it is seen
// to do with decimals. Every person in here is invented.
import { randomUUID } from "node:crypto";

const base = process.argv[2];
const run = randomUUID();
const SYSTEM = "urn:fascicle:test";
const TAG = { system: "http://terminology.hl7.org/CodeSystem/v3-ActReason", code: "HTEST" };
let passed = 0;
let failed = 0;

function check(what, ok, seen) {
  if (ok) passed += 1;
  else failed += 1;
  console.log(`${ok ? "ok  " : "FAIL"} ${what}${seen === undefined ? "" : ` (${seen})`}`);
}

async function call(method, path, body, headers = {}) {
  const answer = await fetch(path.startsWith("http") ? path : `${base}/${path}`, {
    method,
    headers: {
      accept: "application/fhir+json",
      ...(body === undefined ? {} : { "content-type": "application/fhir+json" }),
      ...headers,
    },
    body: body === undefined || typeof body === "string" ? body : JSON.stringify(body),
    signal: AbortSignal.timeout(60000),
  });
  const text = await answer.text();
  let json;
  try {
    json = JSON.parse(text);
  } catch {
    json = undefined;
  }
  return { status: answer.status, headers: answer.headers, text, json };
}

const identifier = (value) => [{ system: SYSTEM, value: `${run}-${value}` }];
const found = (answer) => (answer.json?.entry ?? []).filter((e) => e.search?.mode !== "outcome").length;
const name = (reference) => reference?.split("/_history")[0];

function observation(key, subject, more = {}) {
  return {
    resourceType: "Observation",
    meta: { tag: [TAG] },
    identifier: identifier(key),
    status: "final",
    code: { coding: [{ system: `${SYSTEM}:measure`, code: "elbow-flexion" }], text: "Elbow flexion" },
    subject: { reference: subject },
    effectiveDateTime: "2026-11-02T09:30:00+01:00",
    valueQuantity: { value: 120, unit: "degrees", system: "http://unitsofmeasure.org", code: "deg" },
    ...more,
  };
}

const person = {
  resourceType: "Patient",
  meta: { tag: [TAG] },
  identifier: identifier("person"),
  active: true,
  name: [{ family: "Invented", given: ["Person"] }],
  birthDate: "1961-04-09",
};

// A person, and conditional create.
const first = await call("POST", "Patient", person, {
  "if-none-exist": `identifier=${SYSTEM}|${run}-person`,
});
check("a create answers 201 with Location and ETag", first.status === 201 && first.headers.has("location") && first.headers.has("etag"), `${first.status} ${first.headers.get("etag")}`);
const again = await call("POST", "Patient", person, {
  "if-none-exist": `identifier=${SYSTEM}|${run}-person`,
});
check("a conditional create that finds one answers 200", again.status === 200, again.status);
const people = await call("GET", `Patient?identifier=${SYSTEM}|${run}-person`);
check("twice the same conditional create gives one", found(people) === 1, found(people));
const patient = `Patient/${first.json.id}`;

// A transaction, sent twice.
const ids = { device: randomUUID(), observation: randomUUID(), provenance: randomUUID() };
const urn = (id) => `urn:uuid:${id}`;
const entry = (id, resource, ifNoneExist) => ({
  fullUrl: urn(id),
  resource,
  request: { method: "POST", url: resource.resourceType, ...(ifNoneExist ? { ifNoneExist } : {}) },
});
const bundle = {
  resourceType: "Bundle",
  type: "transaction",
  entry: [
    entry(
      ids.device,
      { resourceType: "Device", meta: { tag: [TAG] }, identifier: identifier("device"), deviceName: [{ name: "Goniometer", type: "user-friendly-name" }] },
      `identifier=${SYSTEM}|${run}-device`,
    ),
    entry(
      ids.observation,
      observation("elbow", patient, { device: { reference: urn(ids.device) } }),
      `identifier=${SYSTEM}|${run}-elbow`,
    ),
    entry(ids.provenance, {
      resourceType: "Provenance",
      meta: { tag: [TAG] },
      target: [{ reference: urn(ids.observation) }],
      recorded: "2026-11-02T09:45:00+01:00",
      agent: [{ who: { display: "Invented therapist" } }],
    }),
  ],
};
const sent = await call("POST", "", bundle);
const statuses = (a) => (a.json?.entry ?? []).map((e) => e.response?.status).join(", ");
check("a transaction creates all", sent.status === 200 && (sent.json.entry ?? []).every((e) => e.response.status.startsWith("201")), `${sent.status}: ${statuses(sent)}`);
const where = (a, i) => name(a.json?.entry?.[i]?.response?.location);
const stored = await call("GET", where(sent, 1));
check("urn:uuid references become server references", stored.json?.device?.reference === where(sent, 0), stored.json?.device?.reference);
const resent = await call("POST", "", { ...bundle, entry: bundle.entry.slice(0, 2) });
check("the same conditional creates again find what is there", resent.status === 200 && where(resent, 1) === where(sent, 1), `${resent.status}: ${statuses(resent)}; ${resent.json?.entry?.[1]?.response?.location}`);
const represented = await call("POST", "", { ...bundle, entry: bundle.entry.slice(0, 2) }, { prefer: "return=representation" });
check("Prefer: return=representation is answered", represented.status === 200, `resource in the entries: ${(represented.json?.entry ?? []).map((e) => Boolean(e.resource)).join(", ")}`);
const half = await call("POST", "", {
  ...bundle,
  entry: [
    entry(randomUUID(), observation("half", patient)),
    entry(randomUUID(), observation("other-half", "Patient/does-not-exist-here")),
  ],
});
const halves = await call("GET", `Observation?identifier=${SYSTEM}|${run}-half`);
check("a transaction with a dangling reference is refused whole", half.status >= 400 && found(halves) === 0, `${half.status} ${half.json?.issue?.[0]?.diagnostics?.slice(0, 90)}`);

// Searches.
const elbow = where(sent, 1);
for (const [what, query, want] of [
  ["Observation by identifier", `Observation?identifier=${SYSTEM}|${run}-elbow`, 1],
  ["Observation by patient", `Observation?patient=${patient}`, 1],
  ["Observation by patient, code and date", `Observation?patient=${patient}&code=${SYSTEM}:measure|elbow-flexion&date=ge2026-11-01&date=lt2026-11-03`, 1],
  ["Observation on another date", `Observation?patient=${patient}&date=lt2026-11-01`, 0],
  ["Observation by _id", `Observation?_id=${elbow.split("/")[1]}`, 1],
  ["Observation by the patient's identifier", `Observation?patient.identifier=${SYSTEM}|${run}-person`, 1],
  ["Provenance by target", `Provenance?target=${elbow}`, 1],
  ["Device by identifier", `Device?identifier=${SYSTEM}|${run}-device`, 1],
]) {
  const answer = await call("GET", query);
  check(`search ${what}`, answer.status === 200 && found(answer) === want, `${answer.status}, ${found(answer)} of ${want}`);
}
const versioned = await call("GET", `Provenance?target=${elbow}/_history/1`);
console.log(`seen search Provenance by versioned target: ${versioned.status}, ${found(versioned)}`);
const posted = await call("POST", "Observation/_search", `identifier=${encodeURIComponent(`${SYSTEM}|${run}-elbow`)}`, {
  "content-type": "application/x-www-form-urlencoded",
});
check("POST _search", posted.status === 200 && found(posted) === 1, `${posted.status}, ${found(posted)}`);
const before = await call("GET", `Observation?identifier=${SYSTEM}|${run}-later`);
await call("POST", "Observation", observation("later", patient));
const after = await call("GET", `Observation?identifier=${SYSTEM}|${run}-later`);
check("a search sees at once what was just written", found(before) === 0 && found(after) === 1, `${found(before)}, ${found(after)}`);

// Updates, versions, history.
const corrected = { ...stored.json, status: "corrected" };
const stale = await call("PUT", elbow, corrected, { "if-match": 'W/"99"' });
check("If-Match with another version is refused", stale.status === 409 || stale.status === 412, stale.status);
const update = await call("PUT", elbow, corrected, { "if-match": 'W/"1"' });
check("If-Match with the right version updates", update.status === 200 && update.json?.meta?.versionId === "2", `${update.status}, ${update.headers.get("etag")}`);
const same = await call("PUT", elbow, update.json);
console.log(`seen an update that changes nothing: ${same.status}, version ${same.json?.meta?.versionId}`);
const history = await call("GET", `${elbow}/_history`);
check("history keeps both versions", found(history) === 2, found(history));
const conditional = await call("PUT", `Observation?identifier=${SYSTEM}|${run}-elbow`, { ...observation("elbow", patient), status: "amended" });
check("a conditional update finds the one", conditional.status === 200 && conditional.json?.id === elbow.split("/")[1], `${conditional.status}, version ${conditional.json?.meta?.versionId}`);
await call("POST", "Observation", observation("twice", patient));
await call("POST", "Observation", observation("twice", patient));
const ambiguous = await call("POST", "Observation", observation("twice", patient), { "if-none-exist": `identifier=${SYSTEM}|${run}-twice` });
check("a conditional create that finds two is refused", ambiguous.status === 412, ambiguous.status);
const minimal = await call("POST", "Observation", observation("minimal", patient), { prefer: "return=minimal" });
check("Prefer: return=minimal leaves the body out", minimal.status === 201 && minimal.text === "", `${minimal.status}, ${minimal.text.length} bytes`);

// What is refused.
const refusedOne = async (what, body, headers) => {
  const a = await call("POST", "Observation", body, headers);
  check(`${what} is refused with an OperationOutcome`, a.status >= 400 && a.json?.resourceType === "OperationOutcome", `${a.status} ${a.json?.issue?.[0]?.diagnostics?.slice(0, 100)}`);
};
await refusedOne("an unknown status code", { ...observation("bad", patient), status: "done" });
await refusedOne("an unknown element", { ...observation("bad", patient), angle: 12 });
await refusedOne("a reference to nobody", observation("bad", "Patient/nobody-by-this-name"));
await refusedOne("text that is no JSON", '{"resourceType":"Observation",');
const silent = await call("POST", "Observation", { ...observation("silent", patient), status: undefined });
console.log(`seen an Observation without status: ${silent.status}`);

// Decimals: what is sent and what comes back, as text.
for (const sentNumber of ["12.50", "5.0", "5", "0.10", "-20", "100", "1234567890.123456789"]) {
  const text = JSON.stringify(observation(`n${sentNumber}`, patient)).replace('"value":120', `"value":${sentNumber}`);
  const created = await call("POST", "Observation", text);
  const read = await call("GET", `Observation/${created.json?.id}`);
  const searched = await call("GET", `Observation?_id=${created.json?.id}`);
  const number = (t) => /"value":\s*(-?[0-9.eE+-]+)/.exec(t.slice(t.indexOf("valueQuantity")))?.[1];
  check(`decimal ${sentNumber} keeps its digits`, number(read.text) === sentNumber && number(searched.text) === sentNumber, `read ${number(read.text)}, searched ${number(searched.text)}`);
}

console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
