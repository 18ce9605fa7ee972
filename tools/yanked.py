"""Names what is locked and was withdrawn from the registry since: yanked.py Cargo.lock...

Needs the network. Ends with status 1 where something was withdrawn or is not known.
"""

import json
import sys
import tomllib
import urllib.request
from concurrent.futures import ThreadPoolExecutor

INDEX = "https://index.crates.io"


def locked(files):
    """Name and version of every package from the registry."""
    found = set()
    for name in files:
        with open(name, "rb") as file:
            packages = tomllib.load(file).get("package", [])
        for package in packages:
            if package.get("source", "").startswith("registry"):
                found.add((package["name"], package["version"]))
    return sorted(found)


def entry(name):
    """Where the index has a crate, as cargo itself asks for it (from memory)."""
    name = name.lower()
    if len(name) < 3:
        return f"{len(name)}/{name}"
    if len(name) == 3:
        return f"3/{name[0]}/{name}"
    return f"{name[:2]}/{name[2:4]}/{name}"


def trouble(package):
    """What is wrong with a package, or nothing."""
    name, version = package
    try:
        with urllib.request.urlopen(f"{INDEX}/{entry(name)}", timeout=60) as answer:
            lines = answer.read().decode().splitlines()
    except OSError as error:
        return f"{name} {version}: {error}"
    for line in map(json.loads, lines):
        if line["vers"] == version:
            return f"{name} {version}: withdrawn" if line["yanked"] else None
    return f"{name} {version}: not in the index"


def main():
    packages = locked(sys.argv[1:])
    with ThreadPoolExecutor(8) as pool:
        found = [one for one in pool.map(trouble, packages) if one]
    print("\n".join([*found, f"{len(packages)} packages, {len(found)} to look at"]))
    sys.exit(1 if found or not packages else 0)


main()
