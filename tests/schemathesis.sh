#!/usr/bin/env bash
# Runs schemathesis (PyPI) against the real server's own description: requests that fit it and requests
# that don't, as a grower of an invented network, for a fixed seed. Not part of tests/run.sh: it wants
# the network once, to install into target/schemathesis.
#
#   tests/schemathesis.sh           a hundred requests an operation
#   tests/schemathesis.sh 1000      as many as that
set -euo pipefail
cd "$(dirname "$0")/.."

examples=${1:-100}
tool=target/schemathesis/bin/schemathesis
if [ ! -x "$tool" ]; then
    python3 -m venv target/schemathesis
    target/schemathesis/bin/pip install -q schemathesis==4.32.0
fi
cargo build --workspace --locked

folder=$(mktemp -d)
trap 'kill "$server" 2>/dev/null || true; rm -rf "$folder"' EXIT
SPARELOOP_DATA=$folder SPARELOOP_BIND=127.0.0.1:0 SPARELOOP_LOG=error \
    target/debug/spareloop-server serve >"$folder/out" 2>"$folder/talk" &
server=$!
for _ in $(seq 300); do
    if grep -q "set-up link" "$folder/out"; then break; fi
    sleep 0.1
done
url=$(sed -n 's/^listening on //p' "$folder/out")
token=$(sed -n 's/.*token=//p' "$folder/out")

# Makes the network and a grower by the interface, and prints the grower's token.
grower=$(python3 - "$url/api/v1" "$token" <<'PY'
import json, sys, urllib.request, uuid

base, token = sys.argv[1:]
password = "a wet spring and a dry july"

def post(path, body, bearer=None):
    headers = {"Content-Type": "application/json", "Idempotency-Key": str(uuid.uuid4())}
    if bearer:
        headers["Authorization"] = "Bearer " + bearer
    request = urllib.request.Request(base + path, json.dumps(body).encode(), headers)
    return json.load(urllib.request.urlopen(request))

who = {"login": "clara", "display_name": "Clara", "password": password}
clara = post("/set-up", {"token": token, **who})["access_token"]
post("/networks", {"name": "Invented Fen Loop"}, clara)
code = post("/invitations", {"for_whom": "a farm"}, clara)["code"]
who = {"login": "dora", "display_name": "Dora", "password": password}
print(post("/join", {"code": code, "farm_name": "Invented farm", **who})["access_token"])
PY
)
# A sign-in that is tried often is throttled, which is no fault; signing out would end the run.
"$tool" run "$url/openapi.json" --url "$url" -H "Authorization: Bearer $grower" \
    --seed 20261126 --max-examples "$examples" --workers 1 \
    --exclude-path-regex '/(sign-in|sign-out|refresh|set-up|join)$' \
    --checks not_a_server_error,status_code_conformance,content_type_conformance,response_schema_conformance
if [ -s "$folder/talk" ]; then grep -i "broken\|panic" "$folder/talk" && exit 1; fi
exit 0
