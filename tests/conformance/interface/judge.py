"""Outside judges of what the service publishes: OpenAPI 3.1 and OpenMetrics text.

  judge.py OPENAPI_FILE METRICS_FILE

Ends with 1 on any fault. Each judge has to refuse a broken copy first, so that neither can pass
everything.
"""

import copy
import json
import sys

from openapi_spec_validator import OpenAPIV31SpecValidator
from prometheus_client.openmetrics.parser import text_string_to_metric_families

WANTED = {
    "fascicle_build": "info",
    "fascicle_connections_closed": "counter",
    "fascicle_documents": "counter",
    "fascicle_http_requests": "counter",
    "fascicle_kept_unread": "gauge",
    "fascicle_queue_items": "gauge",
    "fascicle_queue_oldest_seconds": "gauge",
    "fascicle_queue_urgent_items": "gauge",
    "fascicle_queue_urgent_oldest_seconds": "gauge",
    "fascicle_target_left_alone": "gauge",
    "fascicle_target_paused": "gauge",
    "fascicle_trail_rows": "counter",
}


def described(document):
    return [str(fault.message) for fault in OpenAPIV31SpecValidator(document).iter_errors()]


def counted(text):
    try:
        return {family.name: family for family in text_string_to_metric_families(text)}
    except ValueError as fault:
        return str(fault)


def main(openapi_file, metrics_file):
    faults = []
    with open(openapi_file, encoding="utf-8") as file:
        document = json.load(file)
    faults += described(document)
    for path in (["info", "title"], ["paths", "/v1/queue/{item}", "get", "parameters"]):
        broken = copy.deepcopy(document)
        parent = broken
        for step in path[:-1]:
            parent = parent[step]
        del parent[path[-1]]
        if not described(broken):
            faults.append(f"the judge lets a description pass without {'/'.join(path)}")

    with open(metrics_file, encoding="utf-8") as file:
        text = file.read()
    families = counted(text)
    if isinstance(families, str):
        faults.append(families)
        families = {}
    for name, kind in WANTED.items():
        found = families.get(name)
        if found is None or found.type != kind or not found.samples or not found.documentation:
            faults.append(f"{name}: no {kind} with samples and words")
    for name in families.keys() - WANTED.keys():
        faults.append(f"{name} is not documented")
    for broken in (text.replace("# EOF", ""), text.replace("_total{", "{")):
        if not isinstance(counted(broken), str):
            faults.append("the judge lets broken OpenMetrics text pass")

    for fault in faults:
        print(f"interface: {fault}")
    print(f"interface: {len(document['paths'])} addresses, {len(families)} counts, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
