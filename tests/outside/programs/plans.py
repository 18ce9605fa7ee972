"""Files by Python's own TOML reader.

Takes {"values": [text, …], "plans": [text, …]}; gives for each of the first the
values of the file, or null where it is no TOML, and for each of the second what
a plan says, quantities in their units.
"""

import json
import math
import re
import sys
import tomllib

UNITS = {
    "m": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ohm": 1.0,
    "kohm": 1e3,
    "W": 1.0,
    "V": 1.0,
    "A": 1.0,
    "mA": 1e-3,
    "mm2": 1.0,
    "degC": 1.0,
}


def quantity(text):
    number, unit = text.split(" ")
    if unit == "AWG":
        inches = 0.005 * 92 ** ((36 - int(number)) / 39)
        return math.pi / 4 * (25.4 * inches) ** 2
    return float(number) * UNITS[unit]


def several(value):
    return " ".join(value if isinstance(value, list) else [value])


def cavities(table):
    if "cavities" in table:
        return table["cavities"]
    return sum(1 for row in table["face"] for cavity in row if cavity)


# Of each kind of table: keys that a plan must have or may have, with how they
# are read.
KINDS = {
    "connector": {"place": str},
    "conductor": {"at": several, "colour": str, "function": str},
    "lead": {
        "colour": str,
        "size": quantity,
        "length": quantity,
        "from": str,
        "to": str,
    },
    "tap": {"on": str, "place": str},
    "splice": {"place": str},
    "ring": {"on": str, "place": str},
    "plug": {"place": str},
    "relay": {"coil": quantity, "place": str},
    "diode": {"place": str},
    "lamp": {"power": quantity, "volts": quantity, "place": str},
    "fuse": {"rating": quantity, "place": str},
    "function": {"switch_on": str, "seen_at": several},
}


def off(connector):
    return connector.get("restraint") or connector.get("high_voltage")


def said(text):
    plan = tomllib.loads(text)
    values = {
        "title": plan["title"],
        "supply": quantity(plan.get("supply", "12 V")),
        "temperature": quantity(plan.get("temperature", "20 degC")),
    }
    plugs = plan.get("plug", {})
    one_way = {name for name, table in plugs.items() if table.get("ways", 1) == 1}

    def way(end):
        match = re.fullmatch(r"(.*)-[AB]", end)
        return end + ":1" if match and match[1] in one_way else end

    kept_off = [name for name, table in plan["connector"].items() if off(table)]
    values["kept off"] = " ".join(sorted(kept_off))
    for kind, keys in KINDS.items():
        for name, table in plan.get(kind, {}).items():
            if kind == "connector" and name in kept_off:
                continue
            values[f"{kind}.{name}"] = ""
            for key, read in keys.items():
                if key in table:
                    value = read(table[key])
                    if kind == "lead" and key in ("from", "to"):
                        value = way(value)
                    values[f"{kind}.{name}.{key}"] = value
            if kind == "connector":
                values[f"{kind}.{name}.cavities"] = cavities(table)
            if kind == "plug":
                values[f"{kind}.{name}.ways"] = table.get("ways", 1)
            if kind == "relay":
                changeover = table.get("contacts") == "changeover"
                values[f"{kind}.{name}.changeover"] = str(changeover).lower()
    return values


def plain(text):
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


question = json.load(sys.stdin)
answer = {
    "values": [plain(text) for text in question["values"]],
    "plans": [said(text) for text in question["plans"]],
}
json.dump(answer, sys.stdout)
