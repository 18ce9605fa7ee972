"""Frames of the link as docs/wire-format.md describes them.

Takes the bytes of frames as hexadecimal text, one frame each without its zero
byte; gives for each what it says and the frame made anew from that, or why it
is no frame.
"""

import json
import sys
import zlib

from cobs import cobs


class Body:
    """Reads a body value by value, and writes the same values back."""

    def __init__(self, data):
        self.data = data
        self.at = 0
        self.again = bytearray()

    def byte(self):
        if self.at >= len(self.data):
            raise ValueError("the body ends too early")
        value = self.data[self.at]
        self.at += 1
        self.again.append(value)
        return value

    def bare(self, count):
        return [self.byte() for _ in range(count)]

    def varint(self, most=32):
        value, shift = 0, 0
        while True:
            if self.at >= len(self.data):
                raise ValueError("the body ends within a number")
            byte = self.data[self.at]
            self.at += 1
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                break
        if value >= 1 << most:
            raise ValueError("a number is too large")
        left = value
        while left >= 0x80:
            self.again.append(left & 0x7F | 0x80)
            left >>= 7
        self.again.append(left)
        return value

    def signed(self):
        value = self.varint()
        return value >> 1 if value & 1 == 0 else -(value + 1 >> 1)

    def flag(self):
        value = self.byte()
        if value > 1:
            raise ValueError("neither true nor false")
        return value == 1

    def items(self, read):
        return [read() for _ in range(self.varint())]

    def string(self):
        return bytes(self.bare(self.varint())).decode()

    def choice(self, *names):
        number = self.varint()
        if number >= len(names):
            raise ValueError("no such variant")
        return names[number]


def step(body):
    def sense():
        lead = body.byte()
        return {"lead": lead, "mode": body.choice("Plain", "PullDown", "PullUp")}

    return {
        "high": body.bare(16),
        "low": body.bare(16),
        "settle": body.varint(),
        "pulled": body.varint(),
        "samples": body.byte(),
        "senses": body.items(sense),
    }


def nulls(body):
    return {"first": body.byte(), "clips": body.items(lambda: body.varint(16))}


def chassis(body):
    kind = body.choice("Agree", "Voltage", "Apart")
    return kind if kind == "Agree" else {kind: body.signed()}


def request(body):
    kind = body.choice(
        "Survey",
        "Arm",
        "Step",
        "Release",
        "Inspect",
        "Prove",
        "Nulls",
        "Keep",
        "Watch",
        "Feel",
        "Guard",
        "Plan",
        "Load",
        "Result",
        "Forget",
    )
    if kind == "Load":
        return {kind: {"at": body.varint(), "bytes": body.items(body.byte)}}
    if kind == "Result":
        return {kind: {"slot": body.byte(), "at": body.varint()}}
    if kind == "Forget":
        return {kind: {"slot": body.byte(), "number": body.varint()}}
    if kind == "Watch":
        said = {"leads": body.bare(16), "low": body.signed(), "high": body.signed()}
        return {kind: {**said, "span": body.varint()}}
    if kind == "Feel":
        return {kind: {"leads": body.bare(16), "pulled": body.varint()}}
    if kind == "Guard":
        said = {"low": body.bare(16), "watched": body.bare(16)}
        return {kind: {**said, "span": body.varint()}}
    if kind == "Arm":
        return {kind: body.choice("Bench", "Vehicle")}
    if kind == "Step":
        return {kind: step(body)}
    if kind == "Prove":
        channel = body.choice("Lead", "Chassis")
        return {kind: {channel: body.byte()} if channel == "Lead" else channel}
    if kind == "Nulls":
        return {kind: body.byte()}
    if kind == "Keep":
        return {kind: nulls(body)}
    return kind


def reply(body):
    kind = body.choice(
        "Survey",
        "Armed",
        "Readings",
        "Released",
        "Refused",
        "Inspected",
        "Proved",
        "Nulls",
        "Watched",
        "Felt",
        "Guarded",
        "Plan",
        "Loaded",
        "Result",
        "Forgotten",
    )

    def look():
        return {"first_mv": body.signed(), "second_mv": body.signed()}

    def reading():
        sort = body.choice("Volts", "NotSettled", "Above", "Below")
        return {sort: body.signed()} if sort in ("Volts", "NotSettled") else sort

    def seen():
        said = {name: body.signed() for name in ("least", "most", "mean")}
        said["looks"] = body.varint()
        said.update({name: body.flag() for name in ("high_at_start", "high_at_end")})
        said.update({name: body.varint(16) for name in ("rises", "falls")})
        said.update({name: body.varint() for name in SEEN_TIMES})
        return said

    def felt():
        wide = body.signed()
        pulled = [reading(), reading()] if body.flag() else None
        return {"wide": wide, "pulled": pulled}

    def let_go():
        said = {"lead": body.byte(), "count": body.varint(16)}
        said.update({name: body.varint() for name in ("first", "longest")})
        said["open_at_end"] = body.flag()
        return said

    if kind == "Plan":
        room = body.varint()
        carried = body.choice("Nothing", "Damaged", "Plan")
        if carried == "Plan":
            carried = {carried: {"check": body.varint(), "length": body.varint()}}
        return {kind: {"room": room, "carried": carried}}
    if kind == "Loaded":
        return {kind: {"next": body.varint()}}
    if kind == "Result":
        said = {"slots": body.byte()}
        said["number"] = body.varint() if body.flag() else None
        said["length"] = body.varint()
        said["bytes"] = body.items(body.byte)
        return {kind: said}
    if kind == "Watched":
        said = {"seen": body.items(seen)}
        said.update({name: body.varint() for name in ("at", "took", "round")})
        return {kind: said}
    if kind == "Felt":
        return {kind: body.items(felt)}
    if kind == "Guarded":
        said = {"breaks": body.items(let_go), "more": body.byte()}
        said.update({name: body.varint() for name in ("at", "took", "round")})
        return {kind: said}
    if kind == "Survey":
        return {kind: {"looks": body.items(look), "chassis": chassis(body)}}
    if kind == "Readings":
        return {kind: {"readings": body.items(reading), "at": body.varint()}}
    if kind == "Refused":
        why = body.choice(
            "Live",
            "Moves",
            "Chassis",
            "Tripped",
            "NotArmed",
            "TooManySources",
            "NoSuchLead",
            "BadStep",
            "Hardware",
            "Memory",
        )
        if why == "Live":
            return {kind: {why: [body.byte(), body.signed()]}}
        if why == "Moves":
            return {kind: {why: [body.byte(), body.signed(), body.signed()]}}
        if why == "Chassis":
            return {kind: {why: chassis(body)}}
        if why == "NoSuchLead":
            return {kind: {why: body.byte()}}
        return {kind: why}
    if kind == "Inspected":
        said = {name: body.byte() for name in ("drive", "gate", "select")}
        said["tripped"] = body.flag()
        said.update({name: body.signed() for name in ("shift", "up", "down")})
        said["lit"] = body.varint(16)
        return {kind: said}
    if kind == "Proved":
        said = {name: body.flag() for name in ("pin_high", "pin_low")}
        said.update({name: body.signed() for name in PROVED})
        return {kind: said}
    if kind == "Nulls":
        return {kind: nulls(body)}
    return kind


SEEN_TIMES = (
    "high_for",
    "first_edge",
    "last_edge",
    "first_rise",
    "last_rise",
    "high_between",
    "shortest_low",
    "longest_low",
    "shortest_high",
    "longest_high",
)

PROVED = (
    "shared",
    "idle_up",
    "idle_down",
    "open_up",
    "open_down",
    "high_up",
    "high_down",
    "low_up",
    "off_down",
)


def hello_request(body):
    return {"magic": bytes(body.bare(4)).decode()}


def hello_reply(body):
    return {
        "magic": bytes(body.bare(4)).decode(),
        "protocol": int.from_bytes(bytes(body.bare(2)), "little"),
        "leads": body.byte(),
        "board": body.string(),
        "serial": body.string(),
        "build": body.string(),
    }


KINDS = [hello_request, hello_reply, request, reply]


def opened(coded):
    payload = cobs.decode(coded)
    if len(payload) < 7:
        raise ValueError("too short")
    checked, check = payload[:-4], payload[-4:]
    if zlib.crc32(checked) != int.from_bytes(check, "little"):
        raise ValueError("check sum")
    if checked[0] >= len(KINDS):
        raise ValueError("kind")
    body = Body(checked[3:])
    said = KINDS[checked[0]](body)
    if body.at != len(body.data):
        raise ValueError("bytes are left over")
    again = checked[:3] + bytes(body.again)
    again += zlib.crc32(again).to_bytes(4, "little")
    return {
        "kind": checked[0],
        "seq": int.from_bytes(checked[1:3], "little"),
        "said": said,
        "again": cobs.encode(again).hex(),
    }


def answer(coded):
    try:
        return opened(bytes.fromhex(coded))
    except (ValueError, cobs.DecodeError) as error:
        return {"refused": str(error)}


json.dump([answer(coded) for coded in json.load(sys.stdin)], sys.stdout)
