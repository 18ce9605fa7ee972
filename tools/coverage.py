"""Makes a page of what llvm-cov exported: coverage.py FILE [FILTER...]."""

import json
import os
import sys

HEAD = """# Coverage

Written by

```sh
tools/coverage.sh --write
```

What core's and host's own unit tests (and core's test of frames) run through, counted by LLVM. Tests that stand beside the code are counted with it, files of tests alone are not. Whole commands, end-to-end tests, fuzzing and the emulated board run through much of what is missing here and are not counted. A line that is run is not a line that is checked.

| where | lines | of | regions | functions |
| --- | --- | --- | --- | --- |
"""

# A file below this share of its lines is named.
FEW = 50.0


def share(counts):
    """A part of a whole in words; nothing where there is nothing to count."""
    whole, part = counts["count"], counts["covered"]
    return f"{100 * part / whole:.1f} %" if whole else "–"


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        files = json.load(file)["data"][0]["files"]
    top = os.getcwd() + "/"
    groups, low = {}, []
    for file in files:
        name = file["filename"].removeprefix(top)
        parts = name.split("/")
        if parts[0] not in ("core", "host") or "tests" in parts or parts[-1] == "tests.rs":
            continue
        summary = file["summary"]
        # The crate, and the folder in it.
        for group in {parts[0], "/".join(parts[:-1][:3])}:
            sums = groups.setdefault(group, {})
            for what in ("lines", "regions", "functions"):
                for key in ("count", "covered"):
                    kind = sums.setdefault(what, {"count": 0, "covered": 0})
                    kind[key] += summary[what][key]
        lines = summary["lines"]
        if lines["count"] and 100 * lines["covered"] / lines["count"] < FEW:
            low.append((name, lines))
    text = HEAD
    if len(sys.argv) > 2:
        text = text.replace("own unit tests", f"unit tests {sys.argv[2:]}")
    for group, sums in sorted(groups.items()):
        name = f"**{group}**" if "/" not in group else f"`{group}`"
        text += f"| {name} | {share(sums['lines'])} | {sums['lines']['count']} "
        text += f"| {share(sums['regions'])} | {share(sums['functions'])} |\n"
    text += f"\nFiles with less than {FEW:.0f} % of their lines: "
    named = [f"`{name}` ({share(lines)} of {lines['count']})" for name, lines in sorted(low)]
    print(text + (", ".join(named) if named else "none") + ".")


main()
