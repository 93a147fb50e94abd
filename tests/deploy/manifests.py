"""Reads the manifests as YAML and holds what the service relies on."""

import sys
import yaml

with open(sys.argv[1], encoding="utf-8") as file:
    all_of_them = {one["kind"]: one for one in yaml.safe_load_all(file)}

wanted = {"ConfigMap", "Service", "StatefulSet", "NetworkPolicy"}
assert set(all_of_them) == wanted, set(all_of_them)
pods = all_of_them["StatefulSet"]["spec"]
pod = pods["template"]["spec"]
container = pod["containers"][0]
faults = []


def hold(what, said):
    if not said:
        faults.append(what)


hold("one pod only: the store is one file", pods["replicas"] == 1)
hold("no root", pod["securityContext"]["runAsNonRoot"] is True)
hold("a root file system that is only read", container["securityContext"]["readOnlyRootFilesystem"])
hold("no capabilities", container["securityContext"]["capabilities"] == {"drop": ["ALL"]})
hold("no token of the cluster", pod["automountServiceAccountToken"] is False)
paths = {container[name]["httpGet"]["path"] for name in ("livenessProbe", "readinessProbe")}
hold("the probes are ours", paths == {"/v1/health/live", "/v1/health/ready"})
secrets = next(volume for volume in pod["volumes"] if volume["name"] == "secrets")["secret"]
hold("secrets are closed to others", secrets["defaultMode"] & 0o037 == 0)
mounted = {mount["name"] for mount in container["volumeMounts"]}
offered = {volume["name"] for volume in pod["volumes"]}
offered |= {claim["metadata"]["name"] for claim in pods["volumeClaimTemplates"]}
hold("every mount is offered, and every offer mounted", mounted == offered)
labels = pods["template"]["metadata"]["labels"]
for kind in ("Service", "NetworkPolicy"):
    spec = all_of_them[kind]["spec"]
    selected = spec.get("selector") or spec["podSelector"]["matchLabels"]
    hold(f"{kind} means these pods", selected == labels)
if faults:
    sys.exit("\n".join(faults))
print(f"{sys.argv[1]}: {len(all_of_them)} manifests hold")
