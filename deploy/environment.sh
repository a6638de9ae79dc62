# shellcheck shell=bash
# Sourced by deploy/try and tests/run: finds a fitting Python, makes an environment of our own beside the checkout.
# Gives: make_environment DIRECTORY REQUIREMENT...   (the environment's python is DIRECTORY/bin/python afterwards)

say() { printf '%s\n' "$*" >&2; }

find_python() {
  local name
  for name in "${AFTERCARE_PYTHON:-}" python3.13 python3.12 python3.11 python3 python; do
    { [ -n "$name" ] && command -v "$name" >/dev/null 2>&1; } || continue
    if "$name" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null; then
      command -v "$name"
      return 0
    fi
  done
  say "No Python 3.11, 3.12 or 3.13 was found."
  say "On Debian or Raspberry Pi OS (12 or newer): sudo apt-get install python3 python3-venv"
  say "On macOS: install Python 3.12 from python.org, then run this again."
  return 1
}

check_machine() {
  "$1" - <<'PY' || return 1
import struct, sys
if struct.calcsize("P") != 8:
    sys.exit("This is a 32-bit system; pandas has no ready-made package for it. Use the 64-bit Raspberry Pi OS.")
PY
}

newest_pip() { find "$1" -name 'pip-*.whl' 2>/dev/null | sort | tail -n 1; }

# pip for an environment made without it: its own wheel runs as a program
pip_from_wheel() {
  local python=$1 wheel folder
  wheel=$(newest_pip /usr/share/python-wheels)
  if [ -z "$wheel" ] && command -v apt-get >/dev/null 2>&1; then
    folder=$(mktemp -d)
    (cd "$folder" && apt-get download -qq python3-pip-whl >/dev/null 2>&1 && dpkg-deb -x python3-pip-whl*.deb . ) || true
    wheel=$(newest_pip "$folder/usr/share/python-wheels")
  fi
  if [ -z "$wheel" ]; then
    say "This Python cannot make environments (its part 'ensurepip' is missing)."
    say "On Debian or Raspberry Pi OS: sudo apt-get install python3-venv; then run this again."
    return 1
  fi
  "$python" "$wheel/pip" install --quiet --disable-pip-version-check "$wheel"
}

make_environment() {
  local directory=$1 python
  shift
  if [ ! -x "$directory/bin/python" ] || ! "$directory/bin/python" -m pip --version >/dev/null 2>&1; then
    python=$(find_python) || return 1
    check_machine "$python" || return 1
    rm -rf "$directory"
    say "Making an environment with $("$python" --version) in $directory …"
    if ! "$python" -m venv "$directory" >/dev/null 2>&1; then
      rm -rf "$directory"
      "$python" -m venv --without-pip "$directory" && pip_from_wheel "$directory/bin/python" || return 1
    fi
  fi
  say "Installing what is needed (a few minutes the first time) …"
  if ! "$directory/bin/python" -m pip install --quiet --disable-pip-version-check "$@"; then
    say "Installing failed. Is the network up? The lines above tell more; running this again is safe."
    return 1
  fi
}
