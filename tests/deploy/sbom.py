"""Holds the list of what a binary was built from: sbom.py SBOM TREE LOCK

SBOM is CycloneDX JSON, held strictly against its published schema by the library of CycloneDX for Python; TREE is
what `cargo tree` says is linked, one `name vVERSION` a line; LOCK is Cargo.lock. Every linked crate has to be listed in
its version, with its licence and its package URL. What is listed besides has to be locked: the list goes by what cargo
resolves for the whole package, which is a little more than what is linked."""

import json
import sys
import tomllib

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

sbom_path, tree_path, lock_path = sys.argv[1:]
text = open(sbom_path, encoding="utf-8").read()
sbom = json.loads(text)
faults = []

told = JsonStrictValidator(SchemaVersion.V1_5).validate_str(text)
if told is not None:
    faults.append(f"the schema of CycloneDX 1.5 says: {told}")

linked = set()
for line in open(tree_path, encoding="utf-8"):
    words = line.split()
    if len(words) >= 2 and words[0] != "fascicle":
        linked.add((words[0], words[1].removeprefix("v")))

components = sbom.get("components", [])
listed = {(one["name"], one.get("version")) for one in components}
faults += [f"linked and not listed: {one}" for one in sorted(linked - listed)]
locked = {(one["name"], one["version"]) for one in tomllib.load(open(lock_path, "rb"))["package"]}
faults += [f"listed and not locked: {one}" for one in sorted(listed - locked)]
for one in components:
    name = f"{one['name']} {one.get('version')}"
    if not one.get("licenses"):
        faults.append(f"{name}: no licence")
    if not one.get("purl", "").startswith("pkg:cargo/"):
        faults.append(f"{name}: no package URL")
if sbom.get("metadata", {}).get("component", {}).get("name") != "fascicle":
    faults.append("the list is not of fascicle")
if len(linked) < 100:
    faults.append(f"cargo tree names {len(linked)} crates only: it was not read")

print(f"{len(components)} crates listed, {len(linked)} linked, {len(faults)} faults")
for fault in faults[:20]:
    print(f"  {fault}")
sys.exit(1 if faults else 0)
