# Sourced by demo/run, tests/run and .ci/run: an environment with the project in it.

# set_up ROOT REQUIREMENT: use the active environment, or make ROOT/.venv; install the
# project as REQUIREMENT ("." or ".[test]"), again only when pyproject.toml has changed.
set_up() {
  local root=$1 requirement=$2 python
  root=$(cd "$root" && pwd)
  TAKEMILL_CALL=""
  if [ -z "${VIRTUAL_ENV:-}" ]; then
    if [ ! -x "$root/.venv/bin/python" ]; then
      python=$(find_python)
      echo "making $root/.venv with $($python --version)"
      if ! "$python" -m venv "$root/.venv"; then
        rm -rf "$root/.venv"
        echo "This Python cannot make environments. On Debian: apt install python3-venv" >&2
        return 1
      fi
    fi
    # shellcheck disable=SC1091
    source "$root/.venv/bin/activate"
    TAKEMILL_CALL=".venv/bin/"
  fi
  local mark="$VIRTUAL_ENV/.takemill-$(printf '%s' "$requirement" | tr -c 'a-z\n' '_')"
  if ! cmp -s "$root/pyproject.toml" "$mark" || ! command -v takemill >/dev/null; then
    echo "installing takemill"
    (cd "$root" && python -m pip install --quiet --disable-pip-version-check --editable "$requirement")
    cp "$root/pyproject.toml" "$mark"
  fi
}

find_python() {
  local candidate
  for candidate in python3 python3.14 python3.13 python3.12 python3.11 python; do
    if command -v "$candidate" >/dev/null &&
      "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      echo "$candidate"
      return
    fi
  done
  echo "Python 3.11 or newer is needed. On Debian: apt install python3 python3-venv" >&2
  return 1
}
