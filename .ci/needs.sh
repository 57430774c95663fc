# shellcheck shell=bash
# What a machine needs, and how it gets there. Sourced by ./run, ./test and
# .ci/run; everything here looks first and installs only what is missing.

heading() {
    printf '\n== %s\n' "$*"
}

fail() {
    printf '\n%s\n' "$*" >&2
    exit 1
}

as_root() {
    if [ "$(id -u)" = 0 ]; then
        "$@"
    elif command -v sudo >/dev/null; then
        sudo "$@"
    else
        fail "This needs root, and sudo is not installed. Run as root: $*"
    fi
}

# need_packages PACKAGE…: by apt, or says what to install elsewhere.
need_packages() {
    local missing=() package
    command -v apt-get >/dev/null ||
        fail "This script installs by apt, on Debian 12, Ubuntu 24.04 and newer. Here, please install what corresponds to: $*"
    for package in "$@"; do
        dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
    done
    [ ${#missing[@]} -gt 0 ] || return 0
    printf 'installing %s\n' "${missing[*]}"
    if [ -z "${apt_is_fresh:-}" ]; then
        as_root apt-get update -q </dev/null >/dev/null
        apt_is_fresh=yes
    fi
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends \
        "${missing[@]}" </dev/null >/dev/null || fail "apt could not install: ${missing[*]}"
}

need_build_tools() {
    if ! command -v cc >/dev/null || ! command -v make >/dev/null; then
        need_packages build-essential pkg-config
    fi
    if ! command -v curl >/dev/null; then
        need_packages curl ca-certificates
    fi
}

postgres_is_installed() {
    local program major
    for program in $(type -P postgres || true) /usr/lib/postgresql/*/bin/postgres /usr/pgsql-*/bin/postgres; do
        if [ ! -x "$program" ] || [ ! -x "$(dirname "$program")/initdb" ]; then
            continue
        fi
        major=$("$program" --version | sed -E 's/^[^)]*\) ([0-9]+).*/\1/')
        [ "$major" -ge 15 ] && return 0
    done
    return 1
}

# Debian's package would at once start a cluster of its own, on port 5432 and
# at every boot, that nobody here uses. A setting that stands only while the
# package is installed prevents that.
need_postgres() {
    if postgres_is_installed && command -v psql >/dev/null; then
        return 0
    fi
    local settings=/etc/postgresql-common/createcluster.d setting
    setting=$settings/secondcan-install.conf
    if command -v apt-get >/dev/null; then
        as_root mkdir -p "$settings"
        printf 'create_main_cluster = false\n' | as_root tee "$setting" >/dev/null
    fi
    local status=0
    (need_packages postgresql postgresql-contrib postgresql-client) || status=$?
    if command -v apt-get >/dev/null; then
        as_root rm -f "$setting"
    fi
    [ "$status" = 0 ] || exit "$status"
    postgres_is_installed ||
        fail "PostgreSQL 15 or newer is needed, and this system's packages are older. Install one from PostgreSQL's own package repository and come again."
}

# The version that Cargo.toml names.
need_rust() {
    local wanted found
    wanted=$(sed -nE 's/^rust-version = "([0-9.]+)"/\1/p' Cargo.toml)
    if [ -d "$HOME/.cargo/bin" ]; then
        PATH=$HOME/.cargo/bin:$PATH
    fi
    # Not whether there is a cargo: rustup's own stands there before any toolchain does.
    if ! cargo --version >/dev/null 2>&1; then
        if ! command -v rustup >/dev/null; then
            if command -v apt-cache >/dev/null && apt-cache show rustup >/dev/null 2>&1; then
                need_packages rustup
            else
                fail "Rust $wanted or newer is needed, and this system's packages hold none. Install it as rust-lang.org/tools/install says (rustup, no root needed), open a new shell and come again."
            fi
        fi
        rustup toolchain install stable --profile minimal --component clippy,rustfmt
        rustup default stable
    fi
    found=$(cargo --version | sed -E 's/^cargo ([0-9]+\.[0-9]+).*/\1/')
    if [ "$(printf '%s\n' "$wanted" "$found" | sort -V | head -1)" != "$wanted" ]; then
        fail "Rust $wanted or newer is needed, and cargo here is $found. Bring it up to date with: rustup update stable"
    fi
}

# need_cargo_tool PROGRAM CRATE@VERSION [OPTION…]: 0 if it is there or could be built.
need_cargo_tool() {
    local program=$1
    shift
    command -v "$program" >/dev/null && return 0
    printf 'building %s, once on this machine\n' "$1"
    # A target folder of the tool's own is dropped by cargo afterward.
    env -u CARGO_TARGET_DIR cargo install --quiet --locked "$@" </dev/null
}

# Starts the tests' throwaway Postgres; its superuser URL is in cluster_url.
# It goes away with this shell, however that ends.
start_private_cluster() {
    coproc CLUSTER { exec tests/harness/private-cluster; }
    # shellcheck disable=SC2153  # CLUSTER_PID is made by coproc
    cluster_pid=$CLUSTER_PID
    cluster_input=${CLUSTER[1]}
    cluster_url=''
    # shellcheck disable=SC2034  # for the script that sources this
    read -r -t 120 cluster_url <&"${CLUSTER[0]}" ||
        fail "The tests' Postgres did not start; the reason stands above."
}

stop_private_cluster() {
    [ -n "${cluster_pid:-}" ] || return 0
    exec {cluster_input}>&-
    wait "$cluster_pid" 2>/dev/null || true
    cluster_pid=''
}
