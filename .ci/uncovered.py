"""Names the lines of rules that no test reaches, from `opa test --coverage`; fails if there are any."""
import json
import sys

with open(sys.argv[1]) as file:
    report = json.load(file)
if not report["files"]:
    sys.exit("the report covers no file")
for name, file in sorted(report["files"].items()):
    for gap in file.get("not_covered", []):
        print(f"{name}:{gap['start']['row']}: no test reaches this")
if report["coverage"] != 100:
    sys.exit(f"coverage {report['coverage']} %, wanted 100")
