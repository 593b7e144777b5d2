#!/usr/bin/env bash
# The second half of check.sh, which starts it inside namespaces of its own: runs the image that
# check.sh built, first alone over the embedded database, then as two replicas over PostgreSQL behind
# the TLS front. Everything it starts ends with its namespaces.
#
# Takes WORK (the folder of check.sh, with the images in it) and FRONT_PROGRAM (an nginx; may be empty).
set -euo pipefail
cd "$(dirname "$0")/.."

note() { printf '   %s\n' "$*" >&2; }
left_out() { printf '== left out: %s\n' "$*" >&2; }
fail() {
    printf 'check.sh: %s\n' "$*" >&2
    if [ -n "${server_log:-}" ]; then tail -n 40 "$server_log" >&2; fi
    exit 1
}
expect() { # expect WHAT WANTED FOUND
    [ "$2" = "$3" ] || fail "$1: expected '$2', found '$3'"
}
bah() { buildah --root "$WORK/images" --runroot "$WORK/run" --storage-driver vfs "$@"; }
quietly() { "$@" >/dev/null; }
of_image() { bah inspect --type image --format "{{$1}}" spareloop-server; }

login=gate
password='a long row of invented dahlias'

# What a container engine takes from the image, asked once.
read_image() {
    expect "the image's user" 10001:10001 "$(of_image .Docker.Config.User)"
    expect "the image's health check" '[CMD spareloop-server health]' \
        "$(of_image .Docker.Config.Healthcheck.Test)"
    expect "the image's stop signal" SIGTERM "$(of_image .Docker.Config.StopSignal)"
    expect "the image's volumes" 'map[/data:{}]' "$(of_image .Docker.Config.Volumes)"
    expect "the image's start" '[spareloop-server] [serve]' \
        "$(of_image .Docker.Config.Entrypoint) $(of_image .Docker.Config.Cmd)"
    local container
    container=$(bah from --pull-never spareloop-server)
    expect "owner and mode of /data" '10001:10001 750' \
        "$(stat -c '%u:%g %a' "$(bah mount "$container")/data")"
    quietly bah rm "$container"
}
# start NAME BIND OPTION...: a container of the image, with no capabilities, as an engine starts it.
# The job that runs it is in runner[NAME], what the server says in $WORK/NAME.log.
declare -A runner
start() {
    quietly bah from --pull-never --name "$1" spareloop-server
    # buildah may prefer a declared volume to the one that it is given; an engine never does.
    quietly bah config --volume /data- "$1"
    bah run --isolation chroot --cap-drop ALL --env "SPARELOOP_BIND=$2" "${@:3}" "$1" -- \
        spareloop-server serve >"$WORK/$1.log" 2>&1 &
    runner[$1]=$!
}

await() { # await NAME BIND: until the server in it is ready
    local address=${2%:*}
    if [ "$address" = 0.0.0.0 ]; then address=127.0.0.1; fi
    server_log=$WORK/$1.log
    for _ in $(seq 100); do
        if [ "$(answer "http://$address:${2##*:}/health/ready")" = 200 ]; then return; fi
        kill -0 "${runner[$1]}" 2>/dev/null || fail "the server in $1 ended at once"
        sleep 0.2
    done
    fail "the server in $1 does not get ready"
}

answer() { # answer URL [CURL-OPTION...]: the status
    curl --silent --output /dev/null --write-out '%{http_code}' --max-time 10 "${@:2}" "$1" || true
}

# The process of the server that binds there: the only ones in this namespace are ours.
process_of() { # process_of BIND
    local folder
    for folder in /proc/[0-9]*; do
        if [[ "$(readlink "$folder/exe" 2>/dev/null)" == */spareloop-server ]] &&
            tr '\0' '\n' <"$folder/environ" | grep -qxF "SPARELOOP_BIND=$1"; then
            echo "${folder#/proc/}"
            return
        fi
    done
    fail "no server process binds $1"
}

stop() { # stop NAME BIND: asks it to end, as an engine does, and expects that it does so in order
    local status=0
    kill -TERM "$(process_of "$2")"
    wait "${runner[$1]}" || status=$?
    expect "the server's exit status after SIGTERM" 0 "$status"
}

post() { # post URL JSON [CURL-OPTION...]: the body, and then the status in a line of its own
    curl --silent --max-time 30 --write-out '\n%{http_code}\n' --header 'Content-Type: application/json' \
        --header "Idempotency-Key: $(cat /proc/sys/kernel/random/uuid)" --data "$2" "${@:3}" "$1" || true
}

link_in() { # link_in TEXT: path and query of the set-up link in what the server said
    grep -oE 'https?://[^ ]*/set-up[^ ]*' <<<"$1" | head -n 1 | sed 's|^https\{0,1\}://[^/]*||' | grep . ||
        fail "no set-up link in: $1"
}

set_up() { # set_up ORIGIN LINK [CURL-OPTION...]: makes the first coordinator
    local body
    expect "the set-up page" 200 "$(answer "$1$2" "${@:3}")"
    body="{\"token\":\"${2##*=}\",\"login\":\"$login\",\"display_name\":\"Invented\",\"password\":\"$password\"}"
    expect "set-up" 201 "$(post "$1/api/v1/set-up" "$body" "${@:3}" | tail -n 1)"
}

sign_in() { # sign_in ORIGIN [CURL-OPTION...]: an access token
    local reply
    reply=$(post "$1/api/v1/sign-in" "{\"login\":\"$login\",\"password\":\"$password\"}" "${@:2}")
    expect "sign-in" 200 "$(tail -n 1 <<<"$reply")"
    sed -n 's/.*"access_token":"\([^"]*\)".*/\1/p' <<<"$reply"
}

who_am_i() { # who_am_i ORIGIN TOKEN [CURL-OPTION...]
    answer "$1/api/v1/me" --header "Authorization: Bearer $2" "${@:3}"
}

alone() {
    local link data=$WORK/data origin=http://127.0.0.1:8470 bind=0.0.0.0:8470
    local health=(bah run --isolation chroot --cap-drop ALL --volume "$data:/data" alone --
        spareloop-server health)
    install -d -o 10001 -g 10001 -m 0750 "$data"
    start alone "$bind" --volume "$data:/data"
    await alone "$bind"
    expect "the server's user and group" '10001 10001' \
        "$(awk '/^Uid:|^Gid:/ { printf "%s%s", sep, $2; sep = " " }' "/proc/$(process_of "$bind")/status")"
    quietly "${health[@]}" || fail "the health check of a ready server does not exit 0"
    link=$(link_in "$(cat "$server_log")")
    set_up "$origin" "$link"
    quietly sign_in "$origin"
    stop alone "$bind"
    if "${health[@]}" >/dev/null 2>&1; then fail "the health check of a stopped server exits 0"; fi
    expect "files that the server left outside /data" '' \
        "$(find "$(bah mount alone)" -xdev -user 10001 -not -path '*/data' -not -path '*/copies' -print -quit)"
    note "one container: ready, user 10001, no capabilities, set up and signed in, writes to /data only"

    start again "$bind" --volume "$data:/data"
    await again "$bind"
    quietly sign_in "$origin"
    stop again "$bind"
    note "a new container over the same /data: the coordinator still signs in"
}

# What compose.yml gives each replica. The secrets are as it says there: in a folder that only its
# owner enters, and readable by the server's user.
prepare_replicas() { # prepare_replicas DATABASE-URL
    install -d -m 0700 "$WORK/secrets"
    printf '%s\n' "$1" >"$WORK/secrets/database-url"
    od -An -N32 -tx1 /dev/urandom | tr -d ' \n' >"$WORK/secrets/server-secret"
    chmod 0644 "$WORK"/secrets/*
    mkdir "$WORK/passing"
    mount -t tmpfs -o uid=10001,gid=10001,mode=0750 tmpfs "$WORK/passing"
    as_replica=(
        --volume "$WORK/passing:/data"
        --volume "$WORK/secrets/database-url:/run/secrets/database-url:ro"
        --volume "$WORK/secrets/server-secret:/run/secrets/server-secret:ro"
        --env SPARELOOP_DATABASE_URL_FILE=/run/secrets/database-url
        --env SPARELOOP_SECRET_FILE=/run/secrets/server-secret
        --env SPARELOOP_PUBLIC_URL=https://localhost:8443
        --env SPARELOOP_FRONT=trusted
    )
}

start_front() {
    front=https://localhost:8443
    trusting=(--cacert "$WORK/front/certificate.pem")
    "$FRONT_PROGRAM" -e stderr -c "$WORK/front/nginx.conf" 2>"$WORK/front.log" &
    for _ in $(seq 50); do
        if [ "$(answer "$front/health/live" "${trusting[@]}")" = 200 ]; then return; fi
        sleep 0.1
    done
    server_log=$WORK/front.log
    fail "the front does not answer"
}

replicas() {
    local one=127.0.0.2:8470 two=127.0.0.3:8470 link token
    # Both at once over an empty database, as compose starts them.
    start one "$one" "${as_replica[@]}"
    start two "$two" "${as_replica[@]}"
    await one "$one"
    await two "$two"
    start_front
    link=$(bah run --isolation chroot --cap-drop ALL "${as_replica[@]}" two -- spareloop-server set-up-link)
    link=$(link_in "$link")
    set_up "$front" "$link" "${trusting[@]}"
    token=$(sign_in "$front" "${trusting[@]}")
    expect "one's token at the other" '200 200' \
        "$(who_am_i "http://$one" "$token") $(who_am_i "http://$two" "$token")"
    note "two replicas over PostgreSQL: a sign-in through the TLS front is good at both"

    kill -KILL "$(process_of "$one")"
    wait "${runner[one]}" || true
    for _ in 1 2 3; do
        expect "the old token, one replica killed" 200 "$(who_am_i "$front" "$token" "${trusting[@]}")"
        quietly sign_in "$front" "${trusting[@]}"
    done
    note "one replica killed: tokens hold and people still sign in through the front"

    start three "$one" "${as_replica[@]}"
    await three "$one"
    stop two "$two"
    expect "the old token at a new replica" 200 "$(who_am_i "$front" "$token" "${trusting[@]}")"
    stop three "$one"
    note "a new replica takes over from the other"
}

ip link set lo up
read_image
alone
if [ -z "$FRONT_PROGRAM" ]; then
    left_out "two replicas behind the front (no nginx)"
    exit
fi
export SPARELOOP_TEST_CLUSTER=$WORK/postgres
trap 'tests/postgres.sh stop' EXIT
if url=$(tests/postgres.sh start); then
    prepare_replicas "$url"
    replicas
else
    left_out "two replicas behind the front (no PostgreSQL: tests/setup.sh tests installs it)"
fi
