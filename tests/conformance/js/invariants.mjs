// Evaluates the invariants of the R4 StructureDefinitions with fhirpath.js, element by element.

/**
 * Invariants that cannot be evaluated here as they are published: the regular expressions of eld-16
 * and eld-19 are none under the `u` flag of this language, and que-7 asks whether an answer is a
 * `Boolean` of FHIRPath, which a `boolean` of FHIR is not. The reference validator evaluates them.
 */
const UNEVALUABLE = new Set(["eld-16", "eld-19", "que-7"]);

export function invariantsJudge(fhirpath, model, official) {
  const definitions = new Map(official.map((definition) => [definition.type, index(definition)]));
  const compiled = new Map();

  function holds(base, expression, node, environment) {
    const key = `${base}\n${expression}`;
    let evaluate = compiled.get(key);
    if (evaluate === undefined) {
      evaluate = fhirpath.compile({ base, expression }, model, { traceFn: () => {} });
      compiled.set(key, evaluate);
    }
    const result = evaluate(node, environment);
    // Nothing at all is no objection: only false is.
    return result.length === 0 || (result.length === 1 && result[0] === true);
  }

  return function judge(resource) {
    const messages = [];
    let evaluated = 0;
    const seen = new Set();

    function check(element, base, node, path, environment, done) {
      for (const constraint of element.constraints) {
        if (!constraint.expression || done.has(constraint.key)) continue;
        if (UNEVALUABLE.has(constraint.key)) continue;
        done.add(constraint.key);
        evaluated += 1;
        seen.add(constraint.key);
        try {
          if (!holds(base, constraint.expression, node, environment)) {
            messages.push({ path, id: constraint.key, text: constraint.human });
          }
        } catch (e) {
          messages.push({ path, id: "engine-failed", text: `${constraint.key} cannot be evaluated: ${e.message}` });
        }
      }
    }

    function walkResource(node, path, rootResource, contained) {
      const definition = definitions.get(node?.resourceType);
      if (!definition) {
        messages.push({ path, id: "resourceType", text: `no R4 definition of ${node?.resourceType}` });
        return;
      }
      // An entry of a Bundle is a root of its own; a contained resource has the root of its container.
      const environment = { resource: node, rootResource: contained ? rootResource : node };
      const done = new Set();
      check(definition.root, node.resourceType, node, path, environment, done);
      walkChildren(definition, node.resourceType, node, path, environment);
    }

    function walkType(type, node, path, environment, done) {
      const definition = definitions.get(type);
      if (!definition) return;
      check(definition.root, type, node, path, environment, done);
      walkChildren(definition, type, node, path, environment);
    }

    function walkChildren(definition, at, node, path, environment) {
      if (node === null || typeof node !== "object" || Array.isArray(node)) return;
      for (const [property, raw] of Object.entries(node)) {
        if (property === "resourceType") continue;
        const shadow = property.startsWith("_");
        const found = definition.child(at, shadow ? property.slice(1) : property);
        // Unknown elements are the schema's and the engine's to find.
        if (!found) continue;
        const values = Array.isArray(raw) ? raw : [raw];
        values.forEach((value, i) => {
          if (value === null || typeof value !== "object") return;
          const here = `${path}.${property}${Array.isArray(raw) ? `[${i}]` : ""}`;
          const { element, type } = found;
          if (shadow) {
            walkType("Element", value, here, environment, new Set());
            return;
          }
          if (type === "Resource") {
            walkResource(value, here, environment.rootResource, property === "contained");
            return;
          }
          const done = new Set();
          const target = element.contentReference ? element.contentReference.slice(1) : element.path;
          if (element.contentReference || type === "BackboneElement" || type === "Element") {
            check(definition.elements.get(target), target, value, here, environment, done);
            check(element, target, value, here, environment, done);
            walkChildren(definition, target, value, here, environment);
          } else {
            check(element, type, value, here, environment, done);
            walkType(type, value, here, environment, done);
          }
        });
      }
    }

    walkResource(resource, resource?.resourceType ?? "(none)", resource, false);
    return { messages, evaluated, seen };
  };
}

function index(definition) {
  const elements = new Map();
  const choices = [];
  for (const element of definition.elements) {
    elements.set(element.path, element);
    if (element.path.endsWith("[x]")) choices.push(element);
  }
  const memo = new Map();
  return {
    root: definition.elements[0],
    elements,
    child(at, property) {
      const path = `${at}.${property}`;
      if (memo.has(path)) return memo.get(path);
      let found;
      const element = elements.get(path);
      if (element) {
        found = { element, type: element.types[0] };
      } else {
        for (const choice of choices) {
          const stem = choice.path.slice(0, -3);
          const type = choice.types.find((t) => path === stem + t[0].toUpperCase() + t.slice(1));
          if (type) found = { element: choice, type };
        }
      }
      memo.set(path, found);
      return found;
    },
  };
}
