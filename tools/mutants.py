"""Makes a page of what cargo-mutants found: mutants.py LIST OUTCOMES..., one of each share."""

import json
import os
import re
import sys
import tomllib

HEAD = """# Mutants

Written on commit {commit} by

```sh
tools/mutants.sh            # or its shares, --shard 0/4 and so on
tools/mutants.sh --write
```

[cargo-mutants](https://mutants.rs) {version} changes one thing of core's judge, scan and solve at a time: an operator for another, a function for one that returns a constant. A change that no unit test of core notices *survives*. Tests of the other crates, and all that run whole commands, are not asked; they would notice more. *Unviable*: the compiler refuses it. *Out of time*: a test does not come to its end, which is noticed as well.

| file | changes | tried | noticed | out of time | unviable | survive |
| --- | --- | --- | --- | --- | --- | --- |
"""
KINDS = {"CaughtMutant": 2, "Timeout": 3, "Unviable": 4, "MissedMutant": 5}


def told(mutant):
    """A change in words that stay the same when lines move: what, and in which line."""
    name = re.sub(r"^\S+:\d+:\d+: ", "", mutant["name"])
    with open(mutant["file"], encoding="utf-8") as file:
        return name, file.read().splitlines()[mutant["span"]["start"]["line"] - 1].strip()


def explained(reasons, name, line):
    """The first reason that fits."""
    for reason in reasons:
        if reason["change"] in name and reason.get("line", "") in line:
            return reason
    return None


def main():
    with open("tools/mutants.toml", "rb") as file:
        reasons = tomllib.load(file).get("survivor", [])
    counts, survivors, commits, version, seen = {}, [], set(), "", set()
    with open(sys.argv[1], encoding="utf-8") as file:
        for mutant in json.load(file):
            counts.setdefault(mutant["file"], [0] * 6)[0] += 1
    for path in sys.argv[2:]:
        folder = os.path.dirname(path)
        with open(path, encoding="utf-8") as file:
            found = json.load(file)
        with open(os.path.join(folder, "../commit"), encoding="utf-8") as file:
            commits.add(f"`{file.read().strip()}`")
        version = found["cargo_mutants_version"]
        for outcome in found["outcomes"]:
            if outcome["scenario"] == "Baseline":
                continue
            mutant = outcome["scenario"]["Mutant"]
            if mutant["name"] in seen:
                continue
            seen.add(mutant["name"])
            row = counts[mutant["file"]]
            row[1] += 1
            row[KINDS[outcome["summary"]]] += 1
            if outcome["summary"] == "MissedMutant":
                survivors.append((mutant["file"], *told(mutant)))
    text = HEAD.format(commit=" and ".join(sorted(commits)), version=version)
    for file, row in sorted(counts.items()):
        text += f"| `{file}` | " + " | ".join(map(str, row)) + " |\n"
    total = [sum(column) for column in zip(*counts.values())]
    text += "| all | " + " | ".join(map(str, total)) + " |\n\n"
    if total[1] < total[0]:
        text += f"**Not all were tried**: {total[0] - total[1]} are left; the same commands try them.\n\n"
    text += "## Survivors\n\n"
    used = []
    if survivors:
        text += "| change | in the line | why it stays |\n| --- | --- | --- |\n"
    else:
        text += "None.\n"
    for file, name, line in survivors:
        reason = explained(reasons, name, line)
        used.append(reason)
        if reason is None:
            print(f"not explained: {file}: {name}: {line}", file=sys.stderr)
        why = reason["why"] if reason else "**not explained**"
        cells = [f"`{file}`: {name}", f"`{line}`", why]
        text += "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"
    print(text, end="")
    if total[1] == total[0]:
        for reason in reasons:
            if reason not in used:
                print(f"no longer survives: {reason}", file=sys.stderr)


main()
