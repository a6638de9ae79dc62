# shellcheck shell=bash disable=SC2034
# Sourced by deploy/install and deploy/uninstall: where everything lies.
# AFTERCARE_ROOT is a folder that stands for / : nothing outside it is written then (for tests).

root=${AFTERCARE_ROOT:-}
program=$root/opt/aftercare
releases=$program/releases
current=$program/current
guarding=$program/guarding   # names the release that was last seen to guard
settings=$root/etc/aftercare
state=$root/var/lib/aftercare
units=$root/etc/systemd/system
broker=$root/etc/mosquitto
command=$root/usr/local/bin/aftercare

say() { printf '%s\n' "$*" >&2; }
fail() { say "$*"; exit 1; }

need_root() {
  if [ -n "$root" ] || [ "$(id -u)" = 0 ]; then return; fi
  fail "This changes the system, so it needs root. Type: sudo $0"
}
