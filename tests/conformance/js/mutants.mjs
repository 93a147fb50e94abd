// One fault at a time in resources that hold: the same mutants in every run.

const UCUM = "http://unitsofmeasure.org";

/** Numbers that look random and are the same everywhere (mulberry32 over an FNV-1a hash). */
function numbers(seed) {
  let a = 0x811c9dc5;
  for (const c of seed) a = Math.imul(a ^ c.codePointAt(0), 0x01000193) >>> 0;
  return (below) => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) % below;
  };
}

/** Every value with the object or array that holds it. */
function places(node, found = [], steps = []) {
  for (const [key, value] of Object.entries(node)) {
    found.push({ holder: node, key, value, steps: [...steps, key] });
    if (value !== null && typeof value === "object") places(value, found, [...steps, key]);
  }
  return found;
}

const isObject = (value) => value !== null && typeof value === "object" && !Array.isArray(value);
const date = /^\d{4}-\d\d-\d\d/;

/** An edit of one place that `fits`. */
const at = (fits, edit) => (resource, pick) => {
  const all = places(resource).filter((p) => fits(p.value, p.key, p.holder, p.steps));
  if (all.length === 0) return false;
  const place = all[pick(all.length)];
  return edit(place, resource) !== false;
};
const put = (make) => (place) => {
  place.holder[place.key] = typeof make === "function" ? make(place.value, place.key) : make;
};
const plain = (key) => !["resourceType", "div", "id", "fullUrl"].includes(key) && !key.startsWith("_");
const named = (...names) => (_value, key) => names.includes(key);
const quantity = (value, key) => isObject(value) && typeof value.value === "number" && value.system === UCUM && /Quantity$|^low$|^high$/.test(key);
const list = (value, key) => Array.isArray(value) && value.length > 0 && key !== "extension";
const only = (type, edit) => (resource, pick) => resource.resourceType === type && edit(resource, pick) !== false;
const bundle = (type, edit) => (resource, pick) =>
  resource.resourceType === "Bundle" && (type === undefined || type.includes(resource.type)) && (resource.entry ?? []).length > 0 && edit(resource, pick) !== false;
const entry = (edit) => (resource, pick) => edit(resource.entry[pick(resource.entry.length)], resource);
const contain = (more, refer = true) => (resource, pick) => {
  if (resource.resourceType !== "Observation" || resource.contained || resource.device) return false;
  resource.contained = [{ resourceType: "Device", id: "inner", ...more }];
  if (refer) resource.device = { reference: "#inner" };
  return true;
};

const FAULTS = {
  // structure
  "unknown-element": at((v, k) => isObject(v) && k !== "_", (p) => { p.value.strange = "x"; }),
  "unknown-element-at-the-root": (r) => { r.strange = true; },
  "member-removed": at((_v, k, h) => plain(k) && !Array.isArray(h), (p) => { delete p.holder[p.key]; }),
  "member-removed-again": at((_v, k, h, s) => plain(k) && !Array.isArray(h) && s.length > 2, (p) => { delete p.holder[p.key]; }),
  "status-removed": at(named("status"), (p) => { delete p.holder[p.key]; }),
  "code-removed": at((v, k, h, s) => k === "code" && s.length === 1, (p) => { delete p.holder[p.key]; }),
  "component-code-removed": at((v, k, h, s) => k === "code" && s[s.length - 3] === "component", (p) => { delete p.holder[p.key]; }),
  "empty-array": at(list, put(() => [])),
  "empty-object": at((v, k) => isObject(v) && plain(k), put(() => ({}))),
  "only-an-id": at((v, k) => isObject(v) && plain(k) && !/^\d+$/.test(k) && k !== "resource", put(() => ({ id: "x" }))),
  "empty-string": at((v, k) => typeof v === "string" && plain(k), put("")),
  "blank-string": at((v, k) => typeof v === "string" && plain(k), put("   ")),
  "null-value": at((_v, k, h) => plain(k) && !Array.isArray(h), put(null)),
  "null-in-a-list": at(list, (p) => { p.value.push(null); }),
  "list-of-one-as-one": at((v) => list(v) && v.length === 1, put((v) => v[0])),
  "one-as-a-list": at((v, k, h) => isObject(v) && !Array.isArray(h) && plain(k) && k !== "resource", put((v) => [v])),
  "text-as-a-list": at((v, k, h) => typeof v === "string" && !Array.isArray(h) && plain(k), put((v) => [v])),
  "object-as-text": at((v, k) => isObject(v) && plain(k), put("words")),
  "object-as-a-number": at((v, k) => isObject(v) && plain(k), put(5)),
  "number-as-text": at((v) => typeof v === "number", put((v) => String(v))),
  "text-as-a-number": at((v, k, h) => typeof v === "string" && plain(k), put(5)),
  "text-as-a-boolean": at((v, k) => typeof v === "string" && plain(k), put(true)),
  "text-as-an-object": at((v, k) => typeof v === "string" && plain(k), put(() => ({ text: "x" }))),
  "boolean-as-text": at((v) => typeof v === "boolean", put((v) => String(v))),
  "boolean-as-a-number": at((v) => typeof v === "boolean", put(1)),
  "type-unknown": (r) => { r.resourceType = "Obsevation"; },
  "type-missing": (r) => { delete r.resourceType; },
  "beside-an-object": at((v, k, h) => isObject(v) && !Array.isArray(h) && plain(k) && k !== "resource", (p) => { p.holder[`_${p.key}`] = { extension: [{ url: "http://hl7.org/fhir/StructureDefinition/data-absent-reason", valueCode: "unknown" }] }; }),
  "beside-with-an-element": at((v, k, h) => typeof v === "string" && !Array.isArray(h) && plain(k), (p) => { p.holder[`_${p.key}`] = { strange: "x" }; }),
  // primitives
  "day-that-is-none": at((v, k) => date.test(v) && plain(k), put((v) => v.replace(date, "2026-02-30"))),
  "month-that-is-none": at((v) => date.test(v), put((v) => v.replace(date, "2026-13-01"))),
  "time-without-zone": at((v) => date.test(v), put("2026-11-16T09:30:00")),
  "time-without-seconds": at((v) => date.test(v), put("2026-11-16T09:30+01:00")),
  "hour-that-is-none": at((v) => date.test(v), put("2026-11-16T25:30:00Z")),
  "day-as-written-by-hand": at((v) => date.test(v), put("16.11.2026")),
  "instant-only-a-day": at(named("issued", "lastUpdated", "timestamp", "recorded"), put("2026-11-16")),
  "id-with-a-blank": at((v, k) => k === "id" && typeof v === "string", put("with blank")),
  "id-too-long": (r) => { r.id = "a".repeat(65); },
  "id-with-other-letters": (r) => { r.id = "größe_1"; },
  "uri-with-a-blank": at((v, k) => ["system", "url", "implicitRules"].includes(k) && typeof v === "string" && v.includes(":"), put("http://two words.example")),
  "oid-that-is-none": at((v, k) => k === "system" && typeof v === "string" && v.includes("//"), put("urn:oid:9.a.1")),
  "uuid-that-is-none": at((v, k) => k === "system" && typeof v === "string" && v.includes("//"), put("urn:uuid:1234")),
  "uuid-in-capitals": at((v, k) => k === "system" && typeof v === "string" && v.includes("//"), put("urn:uuid:53FEFA32-FCBB-4FF8-8A92-55EE120877B7")),
  "code-with-two-blanks": at((v, k, h) => k === "code" && typeof v === "string", put("two  blanks")),
  "code-with-a-blank-in-front": at((v, k) => k === "code" && typeof v === "string", put((v) => ` ${v}`)),
  "whole-number-with-a-point": at((v, k) => Number.isInteger(v) && !["value"].includes(k), put(1.5)),
  "counted-below-nought": at((v, k) => Number.isInteger(v) && !["value"].includes(k), put(-3)),
  "data-no-base64": at((v, k) => k === "data" && typeof v === "string" && v.length > 20, put("@@@@")),
  "narrative-without-div": at(named("div"), put("just words")),
  "narrative-of-nothing": at(named("div"), put('<div xmlns="http://www.w3.org/1999/xhtml"> </div>')),
  "narrative-with-a-script": at(named("div"), (p) => { p.holder[p.key] = p.value.replace(/<\/div>$/, "<script>x</script></div>"); }),
  "narrative-with-an-open-end": at(named("div"), (p) => { p.holder[p.key] = p.value.replace(/<\/div>$/, "<p>x</div>"); }),
  "narrative-without-status": at(named("text"), (p) => (isObject(p.value) && p.value.div ? delete p.value.status : false)),
  "narrative-without-words": at(named("text"), (p) => (isObject(p.value) && p.value.div ? delete p.value.div : false)),
  // codes
  "status-unknown": at((v, k) => k === "status" && typeof v === "string", put("finished-ish")),
  "comparator-unknown": at(quantity, (p) => { p.value.comparator = "=<"; }),
  "use-unknown": at(named("use"), put("sometimes")),
  "gender-unknown": at(named("gender"), put("x")),
  "unit-no-ucum": at(quantity, (p) => { p.value.code = "degrees"; }),
  "intent-unknown": at((v, k) => ["intent", "mode", "kind", "priority"].includes(k) && typeof v === "string", put("maybe-later")),
  "code-of-no-list": at((v, k) => isObject(v) && typeof v.code === "string" && /^http:\/\/(terminology\.)?hl7\.org/.test(v.system ?? ""), (p) => { p.value.code = "no-such-code"; }),
  "comparator-where-none-is": at((v, k) => isObject(v) && typeof v.value === "number" && ["low", "high"].includes(k), (p) => { p.value.comparator = "<"; }),
  // choices, quantities, ranges
  "two-values": at((_v, k) => /^value(Quantity|CodeableConcept)$/.test(k), (p) => { p.holder.valueString = "x"; }),
  "two-values-of-one": at((_v, k) => k === "valueString", (p) => { p.holder.valueInteger = 5; }),
  "two-times": at((_v, k) => k === "effectiveDateTime", (p) => { p.holder.effectivePeriod = { start: "2026-01-01" }; }),
  "value-of-a-type-not-allowed": at((_v, k, _h, s) => k === "valueQuantity" && s.length === 1, (p) => { p.holder.valueAddress = { city: "x" }; delete p.holder.valueQuantity; }),
  "value-and-reason": at((_v, k, _h, s) => /^value/.test(k) && s.length === 1, (p, r) => (r.resourceType === "Observation" ? (r.dataAbsentReason = { text: "x" }) : false)),
  "component-with-the-code": only("Observation", (r) => (r.valueQuantity && r.code.coding ? (r.component = [...(r.component ?? []), { code: structuredClone(r.code), valueString: "x" }]) : false)),
  "reference-range-of-nothing": only("Observation", (r) => { r.referenceRange = [{ type: { text: "x" } }]; }),
  "unit-without-system": at(quantity, (p) => (p.value.code ? delete p.value.system : false)),
  "range-backwards": only("Observation", (r) => { for (const k of Object.keys(r)) if (/^value/.test(k)) delete r[k]; delete r.dataAbsentReason; r.valueRange = { low: { value: 9, system: UCUM, code: "mm", unit: "mm" }, high: { value: 2, system: UCUM, code: "mm", unit: "mm" } }; }),
  "period-backwards": only("Observation", (r) => { delete r.effectiveDateTime; r.effectivePeriod = { start: "2026-05-02", end: "2026-05-01" }; }),
  "period-backwards-by-hours": at((v) => isObject(v) && v.start && v.end, (p) => { p.value.start = "2026-05-02T10:00:00Z"; p.value.end = "2026-05-02T11:00:00+02:00"; }),
  "repeat-without-unit": only("Observation", (r) => { delete r.effectiveDateTime; delete r.effectivePeriod; r.effectiveTiming = { repeat: { frequency: 1, period: 2 } }; }),
  "repeat-below-nought": only("Observation", (r) => { delete r.effectiveDateTime; delete r.effectivePeriod; r.effectiveTiming = { repeat: { frequency: 1, period: -2, periodUnit: "d" } }; }),
  "repeat-with-a-most-only": only("Observation", (r) => { delete r.effectiveDateTime; delete r.effectivePeriod; r.effectiveTiming = { repeat: { durationMax: 2, durationUnit: "d", periodMax: 3, periodUnit: "d", countMax: 4 } }; }),
  "age-without-a-unit": (r) => (r.resourceType === "Condition" ? ((delete r.onsetDateTime, delete r.onsetString, r.onsetAge = { value: 5 }), true) : false),
  "attachment-size-wrong": at((v) => isObject(v) && typeof v.data === "string" && v.contentType && v.url === undefined, (p) => { p.value.size = 3; }),
  "canonical-not-absolute": at(named("instantiatesCanonical", "questionnaire", "derivedFrom", "profile"), (p) => { if (typeof p.value === "string") p.holder[p.key] = "Questionnaire/1"; else if (typeof p.value[0] === "string") p.value[0] = "Questionnaire/1"; else return false; }),
  "contact-without-system": at((v, k) => isObject(v) && v.system === "phone" && v.value, (p) => { delete p.value.system; }),
  "organization-without-a-name": (r) => (r.resourceType === "Organization" ? ((delete r.name, delete r.identifier), true) : false),
  "patient-contact-of-nobody": (r) => (r.resourceType === "Patient" ? ((r.contact = [{ gender: "male" }]), true) : false),
  "attachment-without-kind": at((v, k) => isObject(v) && v.data && v.contentType, (p) => { delete p.value.contentType; }),
  "sampled-data-without-period": only("Observation", (r) => { for (const k of Object.keys(r)) if (/^value/.test(k)) delete r[k]; delete r.dataAbsentReason; r.valueSampledData = { origin: { value: 0 }, dimensions: 1, data: "1 2" }; }),
  "ratio-half": only("Observation", (r) => { for (const k of Object.keys(r)) if (/^value/.test(k)) delete r[k]; delete r.dataAbsentReason; r.valueRatio = { numerator: { value: 1 } }; }),
  // extensions
  "extension-without-value": (r) => { r.extension = [...(r.extension ?? []), { url: "http://hl7.org/fhir/StructureDefinition/data-absent-reason" }]; },
  "extension-without-url": (r) => { r.extension = [...(r.extension ?? []), { valueString: "x" }]; },
  "extension-with-both": (r) => { r.extension = [...(r.extension ?? []), { url: "http://hl7.org/fhir/StructureDefinition/data-absent-reason", valueCode: "unknown", extension: [{ url: "x", valueString: "y" }] }]; },
  // references and what is contained
  "reference-of-a-wrong-type": at((v, k, h, s) => k === "reference" && /^(Patient|Practitioner|Encounter|Organization|Observation)\//.test(v) && !s.includes("entry"), put("Slot/1")),
  "reference-of-a-wrong-type-by-address": at((v, k, h, s) => k === "reference" && /^(Patient|Practitioner|Encounter|Organization|Observation)\//.test(v) && !s.includes("entry"), put("https://record.example/fhir/Slot/1")),
  "reference-to-nothing-inside": at((v, k) => k === "reference" && typeof v === "string", put("#nowhere")),
  "reference-only-a-number": at((v, k) => k === "reference" && typeof v === "string", put(7)),
  "contained-not-referred-to": contain({ status: "active" }, false),
  "contained-in-contained": contain({ contained: [{ resourceType: "Device", id: "innermost" }], parent: { reference: "#innermost" } }),
  "contained-with-a-version": contain({ meta: { versionId: "1" } }),
  "contained-with-a-time": contain({ meta: { lastUpdated: "2026-11-16T09:30:00Z" } }),
  "contained-with-a-label": contain({ meta: { security: [{ system: "http://terminology.hl7.org/CodeSystem/v3-Confidentiality", code: "R" }] } }),
  "contained-of-a-wrong-type": (r) => {
    if (r.resourceType !== "Observation" || r.contained) return false;
    r.contained = [{ resourceType: "Slot", id: "inner", schedule: { reference: "Schedule/1" }, status: "free", start: "2026-11-16T09:30:00Z", end: "2026-11-16T10:30:00Z" }];
    r.device = { reference: "#inner" };
    return true;
  },
  "contained-with-an-unknown-element": contain({ strange: 1 }),
  "contained-with-an-unknown-status": contain({ status: "sleeping" }),
  // Bundles
  "bundle-total-where-none-is": bundle(["collection", "document", "message", "transaction", "batch", "transaction-response"], (r) => { r.total = 1; }),
  "bundle-search-where-none-is": bundle(["collection", "document", "message", "transaction", "batch", "history"], entry((e) => { e.search = { mode: "match" }; })),
  "bundle-request-where-none-is": bundle(["collection", "document", "message", "searchset", "transaction-response"], entry((e) => { e.request = { method: "GET", url: "Patient/1" }; })),
  "bundle-request-missing": bundle(["transaction", "batch", "history"], entry((e) => { delete e.request; })),
  "bundle-request-without-method": bundle(["transaction", "batch", "history"], entry((e) => (e.request ? delete e.request.method : false))),
  "bundle-response-where-none-is": bundle(["collection", "document", "message", "searchset", "transaction", "batch"], entry((e) => { e.response = { status: "200" }; })),
  "bundle-response-missing": bundle(["transaction-response", "batch-response", "history"], entry((e) => { delete e.response; })),
  "bundle-empty-entry": bundle(undefined, (r) => { r.entry.push({ fullUrl: "urn:uuid:53fefa32-fcbb-4ff8-8a92-55ee120877b7" }); }),
  "bundle-address-twice": bundle(["collection", "document", "message", "searchset", "transaction", "batch"], (r) => {
    const [a, b] = r.entry.filter((e) => e.fullUrl && e.resource && !e.resource.meta?.versionId);
    return b ? ((b.fullUrl = a.fullUrl), true) : false;
  }),
  "bundle-address-of-a-version": bundle(undefined, entry((e) => (e.fullUrl?.startsWith("http") ? ((e.fullUrl += "/_history/1"), true) : false))),
  "bundle-address-of-another": bundle(undefined, entry((e) => (e.fullUrl?.startsWith("http") && e.resource?.id ? ((e.fullUrl = e.fullUrl.replace(/[^/]*$/, "somebody-else")), true) : false))),
  "bundle-address-missing": bundle(["collection", "document", "message", "searchset"], entry((e) => (e.fullUrl ? delete e.fullUrl : false))),
  "bundle-type-unknown": bundle(undefined, (r) => { r.type = "pile"; }),
  "bundle-type-missing": bundle(undefined, (r) => { delete r.type; }),
  "bundle-document-without-identifier": bundle(["document"], (r) => { delete r.identifier; }),
  "bundle-document-without-system": bundle(["document"], (r) => (r.identifier ? delete r.identifier.system : false)),
  "bundle-document-without-time": bundle(["document"], (r) => { delete r.timestamp; }),
  "bundle-document-otherwise": bundle(["document"], (r) => { r.entry.reverse(); }),
  "bundle-message-otherwise": bundle(["message"], (r) => { r.entry.reverse(); }),
  "bundle-status-of-an-entry": bundle(undefined, entry((e) => (typeof e.resource?.status === "string" ? ((e.resource.status = "finished-ish"), true) : false))),
  "bundle-type-of-an-entry": bundle(undefined, entry((e) => (e.resource ? ((e.resource.resourceType = "Patientt"), true) : false))),
  "bundle-entry-without-a-type": bundle(undefined, entry((e) => (e.resource ? delete e.resource.resourceType : false))),
};

/** Faults of the text, which no object can carry. */
const TEXTS = {
  "key-twice": (text) => text.replace(/^\{"resourceType"/, '{"language":"en","language":"en","resourceType"'),
  "comma-too-many": (text) => text.replace(/\}$/, ",}"),
  "cut-short": (text) => text.slice(0, text.length - 3),
  "a-number-with-a-nought-in-front": (text) => (/"value":\d/.test(text) ? text.replace(/"value":(\d)/, '"value":0$1') : undefined),
};

const SHARE = { Observation: 5, Bundle: 3, other: 4 };
const SMALL = 9_000;

/** The mutants of what fits: each says of which item it is one. */
export function mutants(items) {
  const small = items.filter((item) => item.text.length <= SMALL && item.resource.language === undefined);
  const bases = {
    Observation: small.filter((item) => item.resource.resourceType === "Observation"),
    Bundle: small.concat(items.filter((item) => item.text.length <= 4 * SMALL)).filter((item, i, all) => item.resource.resourceType === "Bundle" && all.indexOf(item) === i),
    other: small.filter((item) => !["Observation", "Bundle"].includes(item.resource.resourceType)),
  };
  const found = [];
  for (const [fault, edit] of Object.entries({ ...FAULTS, ...TEXTS })) {
    for (const [kind, share] of Object.entries(SHARE)) {
      const pool = bases[kind];
      const pick = numbers(`${fault} ${kind}`);
      const start = pick(pool.length);
      const jump = 1 + pick(pool.length - 1);
      let made = 0;
      const tried = new Set();
      for (let i = 0; made < share && i < pool.length; i += 1) {
        const base = pool[(start + i * jump) % pool.length];
        if (tried.has(base)) continue;
        tried.add(base);
        let text;
        if (fault in TEXTS) text = edit(base.text);
        else {
          const resource = structuredClone(base.resource);
          text = edit(resource, numbers(`${fault} ${base.name}`)) === false ? undefined : JSON.stringify(resource);
        }
        if (text === undefined || text === base.text) continue;
        made += 1;
        found.push({ name: `${base.name} ${fault}`, of: base.name, text });
      }
    }
  }
  return found;
}
