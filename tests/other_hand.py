"""Writes a stock book's lines as another program would: Python's json and hashlib alone.

Sorted keys, no spaces, whole numbers and plain ASCII make the canonical form of RFC 8785, so an
entry's hash is SHA-256 over exactly that text. Farm and variety are invented.

    python3 other_hand.py FILE ENTRIES
"""
import hashlib
import json
import random
import sys
import uuid

path, count = sys.argv[1], int(sys.argv[2])
dice = random.Random(1)


def new_id():
    """A version 7 UUID (RFC 9562)."""
    bits = dice.getrandbits(128)
    bits = bits & ~(0xF << 76) | 7 << 76
    return str(uuid.UUID(int=bits & ~(3 << 62) | 2 << 62))


def canonical(value):
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


with open(path, "w", newline="\n") as file:
    seen = hashlib.sha256()

    def line(value):
        text = canonical(value) + "\n"
        seen.update(text.encode())
        file.write(text)

    farm, device, variety = new_id(), new_id(), new_id()
    start = 1_760_000_000_000
    line({
        "format": "spareloop stock book",
        "version": 1,
        "farm": {"id": farm, "name": "Another Hand", "service_level": 0.9},
        "devices": [{"id": device, "name": "desk", "made_at": 1, "sent": 0, "state": "current"}],
        "clock": {"millis": start + count, "counter": 0},
    })
    lots, before = [], "0" * 64
    for seq in range(1, count + 1):
        if seq == 1:
            kind, body = "variety-note", {"variety": variety, "name": "Ember Lantern"}
        elif seq % 40 == 2:
            lots.append(new_id())
            kind = "opening"
            body = {"lot": lots[-1], "variety": variety, "unit": "division", "count": 400}
        else:
            kind, body = "loss", {"lot": dice.choice(lots), "count": 1, "cause": "rot"}
        entry = {
            "id": new_id(),
            "farm": farm,
            "device": device,
            "seq": seq,
            "at": {"millis": start + seq, "counter": 0},
            "on": "2026-01-%02d" % (1 + seq * 28 // (count + 1)),
            "kind": kind,
            "body": {"v": 1, **body},
            "prev": before,
        }
        before = entry["hash"] = hashlib.sha256(canonical(entry).encode()).hexdigest()
        line(entry)
    line({"end": {"entries": count, "sha256": seen.hexdigest()}})
