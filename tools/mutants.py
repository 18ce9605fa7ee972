"""Makes a page of what cargo-mutants found: mutants.py OUTCOMES COMMIT."""

import json
import re
import sys
import tomllib

HEAD = """# Mutants

Written on commit `{commit}` by

```sh
tools/mutants.sh --write
```

[cargo-mutants](https://mutants.rs) {version} changes one thing of core's judge, scan and solve at a time: an operator for another, a function for one that returns a constant. A change that no unit test of core notices *survives*. Tests of the other crates, and all that run whole commands, are not asked; they would notice more. *Unviable*: the compiler refuses it. *Out of time*: a test does not come to its end, which is noticed as well.

| file | changes | noticed | out of time | unviable | survive |
| --- | --- | --- | --- | --- | --- |
"""
KINDS = {"CaughtMutant": 1, "Timeout": 2, "Unviable": 3, "MissedMutant": 4}


def told(mutant):
    """A change in words that stay the same when lines move: what, and in which line."""
    name = re.sub(r"^\S+:\d+:\d+: ", "", mutant["name"])
    with open(mutant["file"], encoding="utf-8") as file:
        line = file.read().splitlines()[mutant["span"]["start"]["line"] - 1].strip()
    return name, line, mutant["span"]["start"]["column"]


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        found = json.load(file)
    with open("tools/mutants.toml", "rb") as file:
        reasons = tomllib.load(file)["survivor"]
    counts, survivors, used = {}, [], set()
    for outcome in found["outcomes"]:
        if outcome["scenario"] == "Baseline":
            continue
        mutant = outcome["scenario"]["Mutant"]
        row = counts.setdefault(mutant["file"], [0] * 5)
        row[0] += 1
        row[KINDS[outcome["summary"]]] += 1
        if outcome["summary"] != "MissedMutant":
            continue
        name, line, _ = told(mutant)
        why = None
        for at, reason in enumerate(reasons):
            if reason["change"] in name and reason.get("line", "") in line:
                why = reason["why"]
                used.add(at)
                break
        survivors.append((mutant["file"], name, line, why))
    text = HEAD.format(commit=sys.argv[2], version=found["cargo_mutants_version"])
    total = [0] * 5
    for file, row in sorted(counts.items()):
        total = [a + b for a, b in zip(total, row)]
        text += f"| `{file}` | " + " | ".join(map(str, row)) + " |\n"
    text += "| all | " + " | ".join(map(str, total)) + " |\n"
    text += "\n## Survivors\n\n"
    if survivors:
        text += "| change | in the line | why it stays |\n| --- | --- | --- |\n"
    else:
        text += "None.\n"
    for file, name, line, why in survivors:
        escaped = line.replace("|", "\\|")
        name = name.replace("|", "\\|")
        text += f"| `{file}`: {name} | `{escaped}` | {why or '**not explained**'} |\n"
    print(text, end="")
    bare = [s for s in survivors if s[3] is None]
    for file, name, line, _ in bare:
        print(f"not explained: {file}: {name}: {line}", file=sys.stderr)
    for at, reason in enumerate(reasons):
        if at not in used and len(counts) == 3:
            print(f"no longer survives: {reason}", file=sys.stderr)


main()
