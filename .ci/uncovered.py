"""Names the lines of rules that no test reaches, from `opa test --coverage`."""
import json
import sys

text = open(sys.argv[1]).read()
try:
    report = json.loads(text[: text.rindex("}") + 1])
except ValueError:
    print(text)
    sys.exit(0)
for name, file in sorted(report.get("files", {}).items()):
    for gap in file.get("not_covered", []):
        print(f"{name}:{gap['start']['row']}: no test reaches this")
print(f"coverage {report.get('coverage', 0)} %, wanted 100")
