# Shell functions that demo.sh and test.sh share. POSIX sh; sourced with the variable root set to the source tree.

local_dir=$root/.local
venv=$root/.venv
python=$venv/bin/python
library_packages="libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"
font_package=fonts-dejavu-core
sheet_font_package=fonts-liberation

say() { printf '%s\n' "$*"; }

fail() {
    printf '%s\n' "$*" >&2
    exit 1
}

is_root() { [ "$(id -u)" = 0 ]; }

may_apt() { is_root && command -v apt-get >/dev/null 2>&1; }

# apt_install PACKAGE …: install Debian packages as root; what apt says goes to .local/apt.log.
apt_install() {
    say "Installing with apt: $*"
    for attempt in first second; do
        if DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "$@" \
            </dev/null >>"$local_dir/apt.log" 2>&1; then
            return 0
        fi
        if [ "$attempt" = first ]; then
            apt-get update </dev/null >>"$local_dir/apt.log" 2>&1 || return 1
        fi
    done
    return 1
}

make_local_dir() {
    mkdir -p "$local_dir" 2>/dev/null && [ -w "$local_dir" ] ||
        fail "The folder $local_dir cannot be written: make the source tree writable for $(id -un), then run this again."
}

# A Python from 3.11 up to 3.13, into base_python. The variable PYTHON names one to use.
find_python() {
    for base_python in ${PYTHON:+"$PYTHON"} python3 python3.11 python3.12 python3.13; do
        if "$base_python" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info < (3, 14))' >/dev/null 2>&1; then
            return 0
        fi
        [ "$base_python" != "${PYTHON:-}" ] || break
    done
    fail "Unlit needs Python 3.11, 3.12 or 3.13, and ${PYTHON:-python3} is none of them: install one (Debian 12: apt-get install python3 python3-venv), or name one with PYTHON=/path/to/python3.11."
}

need_venv_module() {
    "$base_python" -c 'import ensurepip, venv' >/dev/null 2>&1 && return 0
    if may_apt && apt_install python3-venv && "$base_python" -c 'import ensurepip, venv' >/dev/null 2>&1; then
        return 0
    fi
    fail "Python's venv module is missing: run apt-get install python3-venv as root, then run this again."
}

libraries_there() {
    "$base_python" -c '
import ctypes
for name in ("libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libharfbuzz-subset.so.0"):
    ctypes.CDLL(name)
' >/dev/null 2>&1
}

# fonts_there [NAME]: whether a font is installed, or one whose file name begins with NAME.
fonts_there() {
    for folder in /usr/share/fonts /usr/local/share/fonts "${HOME:-/nonexistent}/.fonts" "${HOME:-/nonexistent}/.local/share/fonts"; do
        [ -z "$(find "$folder" \( -name "${1:-}*.ttf" -o -name "${1:-}*.otf" -o -name "${1:-}*.ttc" \) 2>/dev/null | head -n 1)" ] || return 0
    done
    return 1
}

# The libraries and a font that the PDF writer needs.
need_libraries() {
    wanted=
    libraries_there || wanted=$library_packages
    fonts_there || wanted="$wanted $font_package"
    # Sheets are laid out for it; with another font they only take more pages.
    fonts_there LiberationSans || ! may_apt || apt_install $sheet_font_package || true
    [ -n "$wanted" ] || return 0
    # shellcheck disable=SC2086 # a list of package names
    if may_apt && apt_install $wanted && libraries_there; then
        return 0
    fi
    # shellcheck disable=SC2086
    fail "Libraries for writing PDF files are missing: run this line as root, then run this again: apt-get install" $wanted
}

need_venv() {
    if ! "$python" -m pip --version >/dev/null 2>&1; then
        need_venv_module
        say "Making .venv"
        "$base_python" -m venv --clear "$venv" >"$local_dir/venv.log" 2>&1 ||
            fail "The environment $venv could not be made; the reason is in $local_dir/venv.log."
    fi
}

# need_lock FILE: install a lock file with its hashes, unless that was done before.
need_lock() {
    lock=$root/deploy/$1
    stamp=$venv/.installed-$1
    mark=$("$python" - "$lock" <<'PROGRAM'
import hashlib, sys
print(sys.version.split()[0], hashlib.sha256(open(sys.argv[1], "rb").read()).hexdigest())
PROGRAM
    ) || fail "The lock file $lock cannot be read."
    [ "$(cat "$stamp" 2>/dev/null)" != "$mark" ] || return 0
    say "Installing the Python packages of deploy/$1 (the first time takes a minute or two)"
    if ! "$python" -m pip install --require-hashes --disable-pip-version-check --no-input --quiet --retries 2 \
        -r "$lock" </dev/null >"$local_dir/pip.log" 2>&1; then
        fail "$(pip_reason); what pip said is in $local_dir/pip.log."
    fi
    printf '%s\n' "$mark" >"$stamp"
}

pip_reason() {
    if grep -q 'DO NOT MATCH THE HASHES' "$local_dir/pip.log"; then
        printf '%s' "A downloaded package does not match its hash in the lock file and was not installed"
    elif grep -q 'No space left' "$local_dir/pip.log"; then
        printf '%s' "The disk is full: make room, then run this again"
    else
        printf '%s' "The Python packages could not be downloaded: check the network (or PIP_INDEX_URL), then run this again"
    fi
}

# sqlite_url FILE: its DATABASE_URL.
sqlite_url() { printf 'sqlite:///%s' "$1" | sed -e 's/%/%25/g' -e 's/#/%23/g' -e 's/?/%3F/g'; }
