"""An ordinary script: each Observation is validated and written again by fhir.resources.

Reads NDJSON from the file named, goes over it until SECONDS are up, prints Observations a second.
"""

import sys
import time

from fhir.resources.R4B.observation import Observation

path, seconds = sys.argv[1], float(sys.argv[2])
with open(path, encoding="utf-8") as file:
    lines = [line for line in file if line.strip()]

done = 0
began = time.perf_counter()
while time.perf_counter() - began < seconds:
    for line in lines:
        Observation.model_validate_json(line).model_dump_json()
    done += len(lines)
print(int(done / (time.perf_counter() - began)))
