# Shared by the scripts in this folder; sourced, never run.
# Leaves the caller in the repository's root with what a fresh Debian machine with Go lacks
# installed as far as we may, and says plainly what is missing.

set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf '%s\n' "$*" >&2; }
fail() { say "error: $*"; exit 1; }

# install_debian COMMAND PACKAGE... installs the packages where COMMAND is missing and we are
# root on a machine with apt; answers whether COMMAND can be run afterwards.
install_debian() {
  local wanted=$1; shift
  have "$wanted" && return 0
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    say "installing $* (for $wanted)"
    export DEBIAN_FRONTEND=noninteractive
    apt-get -qq update >&2 || true
    apt-get -qq install -y --no-install-recommends "$@" >/dev/null || true
  fi
  have "$wanted"
}

# have COMMAND answers whether a command can be run; PostgreSQL's server programs lie
# outside PATH on Debian.
have() {
  command -v "$1" >/dev/null || ls /usr/lib/postgresql/*/bin/"$1" >/dev/null 2>&1
}

need_go() {
  command -v go >/dev/null || export PATH="$PATH:/usr/local/go/bin"
  command -v go >/dev/null || fail "Go is not installed; see https://go.dev/doc/install"
}

# need_postgres makes sure that a private cluster can be started: Debian's package where we
# are root, else the binary fetches a bundle into its data folder by itself.
need_postgres() {
  install_debian initdb postgresql || say "no PostgreSQL on this machine: a bundle will be unpacked into the data folder"
}
