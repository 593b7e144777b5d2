"""Reads a letter as another program would: Python's email package alone.

A letter comes on standard input; what it says goes out as one JSON object.

    python3 letter_reader.py < letter
"""
import email
import email.policy
import json
import sys

letter = email.message_from_bytes(sys.stdin.buffer.read(), policy=email.policy.strict)
body = letter.get_body(preferencelist=("plain",))
json.dump(
    {
        "defects": [str(defect) for part in letter.walk() for defect in part.defects],
        "headers": {name.lower(): str(value) for name, value in letter.items()},
        "to": [address.addr_spec for address in letter["to"].addresses],
        "kind": body.get_content_type(),
        "text": body.get_content(),
    },
    sys.stdout,
)
