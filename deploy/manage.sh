#!/bin/sh
# A management command of a production site, as its user and with its settings: sh deploy/manage.sh check_install
#
# ENV_FILE (default /etc/unlit/unlit.env) holds the settings, RUN_AS (default unlit) is the user.
set -u
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P) || exit 1
env_file=${ENV_FILE:-/etc/unlit/unlit.env}
run_as=${RUN_AS:-unlit}
if [ ! -r "$env_file" ]; then
    printf '%s\n' "The settings in $env_file cannot be read: run this as root, or name them with ENV_FILE." >&2
    exit 1
fi
# Lines NAME=value, as systemd reads them: nothing in them is run.
while IFS= read -r line || [ -n "$line" ]; do
    case "$line" in
        '' | '#'*) ;;
        *\\*)
            printf '%s\n' "A line of $env_file holds a backslash, which systemd reads in its own way: leave it out." >&2
            exit 1
            ;;
        [A-Z]*=*)
            value=${line#*=}
            case "$value" in
                '"'*'"' | "'"*"'")
                    value=${value#?}
                    value=${value%?}
                    ;;
            esac
            export "${line%%=*}=$value"
            ;;
        *)
            printf '%s\n' "This line of $env_file is not NAME=value: $line" >&2
            exit 1
            ;;
    esac
done <"$env_file"
if [ "$(id -u)" = 0 ]; then
    exec runuser -u "$run_as" -- "$root/.venv/bin/python" "$root/manage.py" "$@"
fi
exec "$root/.venv/bin/python" "$root/manage.py" "$@"
