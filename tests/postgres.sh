#!/usr/bin/env bash
# A throw-away PostgreSQL cluster for the tests, in a temporary folder on a free port of loopback.
#
#   tests/postgres.sh start   makes and starts it (or finds the running one), prints its URL
#   tests/postgres.sh strike  stops it as a crash does, and starts it again on the same port
#   tests/postgres.sh stop    stops it and removes everything
#
# It keeps nothing over a crash: fsync is off. SPARELOOP_TEST_DURABLE=yes makes one that keeps what it
# says it keeps. initdb refuses root, so root runs it as postgres or nobody.
# SPARELOOP_TEST_CLUSTER names the folder, for several clusters side by side.
set -euo pipefail

home=${SPARELOOP_TEST_CLUSTER:-${TMPDIR:-/tmp}/spareloop-test-postgres-$(id -u)}

say() { printf 'postgres.sh: %s\n' "$*" >&2; }

find_programs() {
    if command -v initdb >/dev/null 2>&1 && command -v pg_ctl >/dev/null 2>&1; then
        programs=$(dirname "$(readlink -f "$(command -v initdb)")")
        return
    fi
    # The newest of those that Debian puts beside each other.
    programs=$(compgen -G '/usr/lib/postgresql/*/bin/initdb' | sort -V | tail -n 1 || true)
    programs=${programs%/initdb}
    if [ -z "$programs" ]; then
        say "no initdb in PATH or under /usr/lib/postgresql: run tests/setup.sh tests"
        exit 1
    fi
}

# Sets `as`: the words to put before a command so that it doesn't run as root.
find_user() {
    as=()
    owner=$(id -un)
    if [ "$(id -u)" -eq 0 ]; then
        owner=nobody
        if id postgres >/dev/null 2>&1; then owner=postgres; fi
        as=(runuser -u "$owner" --)
    fi
}

free_port() {
    local port
    for _ in $(seq 50); do
        port=$((20000 + RANDOM % 20000))
        if ! (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null; then
            echo "$port"
            return
        fi
    done
    say "no free port found"
    exit 1
}

running() { [ -f "$home/url" ] && "${as[@]}" "$programs/pg_ctl" -D "$home/data" status >/dev/null 2>&1; }

start() {
    if running; then
        cat "$home/url"
        return
    fi
    rm -rf "$home"
    mkdir -p "$home"
    chmod 700 "$home"
    if [ "$(id -u)" -eq 0 ]; then chown "$owner" "$home"; fi
    cd "$home"
    "${as[@]}" "$programs/initdb" -D "$home/data" -U spareloop -A trust -E UTF8 --locale=C \
        --no-sync >"$home/initdb.log" 2>&1 || {
        cat "$home/initdb.log" >&2
        exit 1
    }
    # Another program may take the port between the look and the start, so try a few times.
    for _ in 1 2 3; do
        port=$(free_port)
        if "${as[@]}" "$programs/pg_ctl" -D "$home/data" -l "$home/data/server.log" -w -t 60 \
            -o "-h 127.0.0.1 -p $port -k $home $lasting -c max_connections=300 \
                -c shared_buffers=64MB" \
            start >/dev/null 2>&1; then
            echo "postgres://spareloop@127.0.0.1:$port/postgres" >"$home/url"
            cat "$home/url"
            return
        fi
    done
    say "the server did not start:"
    cat "$home/data/server.log" >&2
    exit 1
}

# pg_ctl keeps the words that the cluster was started with.
strike() {
    cd "$home"
    "${as[@]}" "$programs/pg_ctl" -D "$home/data" -l "$home/data/server.log" -m immediate -w -t 60 \
        restart >/dev/null 2>&1 || {
        say "it did not come back:"
        cat "$home/data/server.log" >&2
        exit 1
    }
}

stop() {
    if [ -d "$home/data" ]; then
        cd /
        "${as[@]}" "$programs/pg_ctl" -D "$home/data" -m immediate -w stop >/dev/null 2>&1 || true
    fi
    rm -rf "$home"
}

lasting="-c fsync=off -c synchronous_commit=off -c full_page_writes=off"
if [ "${SPARELOOP_TEST_DURABLE:-}" = yes ]; then lasting=""; fi
find_programs
find_user
case "${1:-}" in
start) start ;;
strike) strike ;;
stop) stop ;;
*)
    say "say 'start', 'strike' or 'stop'"
    exit 2
    ;;
esac
