"""Reads `go test -json`, prints what `go test` would, and fails where a test failed, was skipped, or none ran.

A skipped test is a promise that nobody checked: here, with everything installed and every long run asked for, there is no reason
to skip.
"""
import json
import sys

passed, failed, skipped = [], [], []
output = {}  # lines of each running test
packages = {}  # packages that ended, with how
broken = []

for line in sys.stdin:
    try:
        event = json.loads(line)
    except ValueError:
        print(line, end="")
        continue
    package, test, action = event.get("Package", event.get("ImportPath", "")), event.get("Test"), event["Action"]
    key = (package, test)
    if action == "output":
        if test is None:
            print(event["Output"], end="", flush=True)
        else:
            output.setdefault(key, []).append(event["Output"])
    elif action == "build-output":
        print(event["Output"], end="", flush=True)
    elif action == "build-fail":
        broken.append(package)
    elif action in ("pass", "fail", "skip"):
        lines = output.pop(key, [])
        if test is None:
            packages[package] = action
            continue
        {"pass": passed, "fail": failed, "skip": skipped}[action].append(key)
        if action != "pass":
            print("".join(lines), end="", flush=True)

for package, test in skipped:
    print(f"SKIPPED, which counts as failed: {package} {test}")
for (package, test), lines in output.items():  # the process died inside a test
    if test is not None:
        print(f"NEVER ENDED: {package} {test}\n" + "".join(lines[-50:]), end="")
for package in broken:
    print(f"DOES NOT BUILD: {package}")
bad = [p for p, how in packages.items() if how == "fail"]
print(f"{len(passed)} passed, {len(failed)} failed, {len(skipped)} skipped")
if not passed:
    print("no test ran")
sys.exit(1 if failed or skipped or bad or broken or not passed else 0)
