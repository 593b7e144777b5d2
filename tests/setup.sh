#!/usr/bin/env bash
# Installs what a fresh Debian machine lacks, and nothing that is there already.
#
#   tests/setup.sh build   compiler, cmake, libclang: what `cargo build` needs
#   tests/setup.sh tests   that, PostgreSQL, strace, OpenSSL, and Python as another reader of what we write
#   tests/setup.sh bench   R with lme4, and scipy: what `cargo bench` holds the fit and the sums against
#   tests/setup.sh containers   what docker/check.sh needs: an image builder, a base system's maker ...
#
# Works without root where the programs are there; else it asks sudo, or says what to install.
set -euo pipefail

wanted=()
need() { # need PACKAGE PROGRAM-OR-PATTERN...
    local package=$1
    shift
    for probe in "$@"; do
        if command -v "$probe" >/dev/null 2>&1 || compgen -G "$probe" >/dev/null 2>&1; then return; fi
    done
    wanted+=("$package")
}

need_compiler() {
    need build-essential cc
    need g++ c++ g++
    need make make
    need cmake cmake
    # Not libclang-cpp, which compilers bring along: bindgen can't load that.
    need libclang-dev '/usr/lib/llvm-*/lib/libclang.so*' '/usr/lib/*/libclang-[0-9]*.so*'
    need pkg-config pkg-config
}

case "${1:-build}" in
build) need_compiler ;;
tests)
    need_compiler
    need postgresql initdb '/usr/lib/postgresql/*/bin/initdb'
    need python3 python3
    need openssl openssl
    need strace strace
    need sqlite3 sqlite3
    ;;
bench)
    need r-base-core Rscript
    need r-cran-lme4 '/usr/lib/R/site-library/lme4'
    need python3-scipy '/usr/lib/python3/dist-packages/scipy'
    ;;
containers)
    need binutils strip
    need buildah buildah
    need curl curl
    need debootstrap debootstrap
    need docker-compose docker-compose
    need iproute2 ip
    need openssl openssl
    need python3-venv '/usr/lib/python3*/ensurepip'
    need util-linux unshare
    ;;
*)
    echo "setup.sh: say 'build', 'tests', 'bench' or 'containers'" >&2
    exit 2
    ;;
esac

if ((${#wanted[@]} == 0)); then exit 0; fi
echo "setup.sh: installing ${wanted[*]}" >&2
as_root=()
if [ "$(id -u)" -ne 0 ]; then
    if command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
        as_root=(sudo)
    else
        echo "setup.sh: these packages are missing and need root: ${wanted[*]}" >&2
        echo "setup.sh: run as root: apt-get update && apt-get install ${wanted[*]}" >&2
        exit 1
    fi
fi
export DEBIAN_FRONTEND=noninteractive
"${as_root[@]}" apt-get update -qq
# Debian would start a database of its own after installing one; ours is a throw-away cluster.
"${as_root[@]}" apt-get install -y -qq --no-install-recommends "${wanted[@]}" >/dev/null
