"""Makes a page of what llvm-cov exported: coverage.py FILE COMMIT PACKAGES [FILTER...]."""

import json
import os
import sys

HEAD = """# Coverage

Written on commit `{commit}` by

```sh
{command}
```

What {whose} own tests run through, counted by LLVM{command_too}. Tests that stand beside the code are counted with it, files of tests alone are not. The end-to-end tests of the crate `tests`, fuzzing and the emulated board run through much of what is missing here and are not counted. A line that is run is not a line that is checked.

| where | lines | of | regions | functions |
| --- | --- | --- | --- | --- |
"""

# A file below these shares is named: of its lines, and in core of its regions.
FEW = 50.0
FEW_REGIONS = 90.0


def share(counts):
    """A part of a whole in words; nothing where there is nothing to count."""
    whole, part = counts["count"], counts["covered"]
    return f"{100 * part / whole:.1f} %" if whole else "–"


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        files = json.load(file)["data"][0]["files"]
    top = os.getcwd() + "/"
    groups, low, thin = {}, [], []
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
        regions = summary["regions"]
        if parts[0] == "core" and 100 * regions["covered"] < FEW_REGIONS * regions["count"]:
            thin.append((name, regions))
    alone = sys.argv[3] != "--workspace"
    text = HEAD.format(
        commit=sys.argv[2],
        command="tools/coverage.sh --write" + (" --core" if alone else ""),
        whose="core's" if alone else "core's and host's",
        command_too="" if alone else ": unit tests, and the built command by `host/tests`",
    )
    if alone:
        text = text.replace(
            "A line that is run",
            "Tests of the plan image and of most of the self-test need the host's writer and its "
            "bench, and are in the crates `host` and `tests`. A line that is run",
        )
    if len(sys.argv) > 4:
        text = text.replace("own tests", f"tests {sys.argv[4:]}")
    for group, sums in sorted(groups.items()):
        name = f"**{group}**" if "/" not in group else f"`{group}`"
        text += f"| {name} | {share(sums['lines'])} | {sums['lines']['count']} "
        text += f"| {share(sums['regions'])} | {share(sums['functions'])} |\n"
    for few, what, files in (
        (FEW, "Files with less than {:.0f} % of their lines", low),
        (FEW_REGIONS, "Files of core with less than {:.0f} % of their regions", thin),
    ):
        named = [f"`{name}` ({share(counts)} of {counts['count']})" for name, counts in sorted(files)]
        text += f"\n{what.format(few)}: " + (", ".join(named) if named else "none") + ".\n"
    print(text, end="")


main()
