"""Checks the signature of a webhook's call as a receiver would: Python's hmac alone.

    python3 call_checker.py SECRET TIMESTAMP SIGNATURE < body

Ends with 0 if the call is signed with the secret.
"""
import hashlib
import hmac
import sys

secret, timestamp, signature = sys.argv[1:]
signed = timestamp.encode() + b"." + sys.stdin.buffer.read()
expected = "v1=" + hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()
sys.exit(0 if hmac.compare_digest(expected, signature) else 1)
