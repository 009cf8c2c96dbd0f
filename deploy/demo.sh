#!/bin/sh
# An Unlit of one's own on this machine, with demo data: sh deploy/demo.sh [--background | --stop]
#
# Runs on http://127.0.0.1:8000 (PORT=8100 sh deploy/demo.sh for another port) until Ctrl-C. Everything that it makes
# lies in .venv and .local; run again, it goes on with the data that is there.
set -u
root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P) || exit 1
. "$root/deploy/lib.sh"

usage="Usage: sh deploy/demo.sh [--background | --stop]"
mode=foreground
case "$#:${1:-}" in
    0:) ;;
    1:--background) mode=background ;;
    1:--stop) mode=stop ;;
    *) fail "$usage" ;;
esac

port=${PORT:-8000}
case "$port" in
    *[!0-9]* | '' | ??????*) fail "PORT is “$port”: give a number from 1 to 65535, for example PORT=8100." ;;
esac
[ "$port" -ge 1 ] && [ "$port" -le 65535 ] ||
    fail "PORT is “$port”: give a number from 1 to 65535, for example PORT=8100."

pid_file=$local_dir/demo.pid
worker_pid_file=$local_dir/worker.pid
log=$local_dir/demo.log
welcome=$local_dir/welcome.txt

# The demo is an instance of its own, whatever the environment says of another one.
unset DATABASE_POOL DATABASE_PREPARED SECRET_KEY SECRET_KEY_FILE DATABASE_URL_FILE EMAIL_URL EMAIL_URL_FILE CSRF_TRUSTED_ORIGINS \
    FILE_STORE_URL FILE_STORE_URL_FILE LOG_FORMAT METRICS_ALLOWED METRICS_TOKEN METRICS_TOKEN_FILE MEDIA_DIR \
    DEFAULT_FROM_EMAIL TASKS GUNICORN_CMD_ARGS PYTHONPATH
export UNLIT_MODE=local HTTPS=false SITE_URL="http://127.0.0.1:$port" ALLOWED_HOSTS="127.0.0.1,localhost,[::1]"
export DATABASE_URL=sqlite:///.local/unlit.sqlite3 DJANGO_SETTINGS_MODULE=deploy.settings PYTHONUNBUFFERED=1
export BIND="127.0.0.1:$port" WEB_CONCURRENCY=2

# Whether the process $pid lives; one that has ended and was not waited for by anybody does not.
alive() {
    kill -0 "$pid" 2>/dev/null && ! grep -q '^State:[[:space:]]*Z' "/proc/$pid/status" 2>/dev/null
}

# The process number of a running demo of this source tree, into pid.
running() {
    pid=$(cat "$pid_file" 2>/dev/null) || return 1
    case "$pid" in '' | *[!0-9]*) return 1 ;; esac
    alive && { [ ! -r "/proc/$pid/cmdline" ] || grep -q gunicorn "/proc/$pid/cmdline"; }
}

stop_worker() {
    worker=$(cat "$worker_pid_file" 2>/dev/null) || return 0
    case "$worker" in '' | *[!0-9]*) return 0 ;; esac
    if [ ! -r "/proc/$worker/cmdline" ] || grep -q db_worker "/proc/$worker/cmdline"; then
        kill -TERM "$worker" 2>/dev/null
    fi
    rm -f "$worker_pid_file"
}

stop() {
    stop_worker
    kill -TERM "$pid" 2>/dev/null
    waited=0
    while alive; do
        [ "$waited" -lt 40 ] || return 1
        sleep 1
        waited=$((waited + 1))
    done
    rm -f "$pid_file"
}

if [ "$mode" = stop ]; then
    if ! running; then
        say "The demo is not running."
        exit 0
    fi
    stop || fail "The demo (process $pid) did not stop within 40 seconds."
    say "The demo has stopped; its data stays in .local."
    exit 0
fi

make_local_dir
if running; then
    cat "$welcome" 2>/dev/null
    say "The demo is running already; stop it with: sh deploy/demo.sh --stop"
    exit 0
fi

find_python
port_state=$("$base_python" - "$port" <<'PROGRAM'
import errno, socket, sys
try:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        probe.bind(("127.0.0.1", int(sys.argv[1])))
        probe.listen()
except OSError as error:
    print("taken" if error.errno == errno.EADDRINUSE else "forbidden")
PROGRAM
)
case "$port_state" in
    taken) fail "Port $port of 127.0.0.1 is taken by another program: choose another one, for example PORT=$((port % 65000 + 100)) sh deploy/demo.sh." ;;
    forbidden) fail "Port $port may not be opened by $(id -un): choose one above 1023, for example PORT=8100 sh deploy/demo.sh." ;;
esac
need_libraries
need_venv
need_lock requirements.txt

# manage MESSAGE COMMAND …: run a management command; when it fails, say the message and where the reason is.
manage() {
    message=$1
    shift
    "$python" "$root/manage.py" "$@" </dev/null >"$local_dir/$1.out" 2>"$local_dir/$1.err" ||
        fail "$message: $(tail -n 1 "$local_dir/$1.err") (all of it is in $local_dir/$1.err)"
}

say "Preparing the database and the demo data"
manage "The database .local/unlit.sqlite3 could not be brought up to date" migrate --no-input --verbosity 0
manifest=$local_dir/static/staticfiles.json
if [ ! -f "$manifest" ] ||
    [ -n "$(find "$root/templates/static" "$venv/.installed-requirements.txt" -newer "$manifest")" ]; then
    # Left out: viewers that no page of a site uses.
    manage "The static files could not be collected" collectstatic --no-input --verbosity 0 --ignore redoc --ignore rest_framework
fi
manage "The demo data could not be loaded" demo --size small

trap 'running && stop; say ""; say "The demo has stopped; its data stays in .local."; exit 0' INT TERM HUP
# In a session of its own: Ctrl-C reaches this script alone, which then lets the server finish what it is answering.
stop_worker
if ! "$python" - "$port" "$pid_file" "$log" "$root/deploy/gunicorn.conf.py" "$worker_pid_file" <<'PROGRAM'
import http.client, pathlib, subprocess, sys, time

port, pid_file, log, configuration, worker_pid_file = sys.argv[1:]
tree = pathlib.Path(configuration).parents[1]
pathlib.Path(pid_file).unlink(missing_ok=True)

def start(*command):
    return subprocess.Popen(
        [sys.executable, *command], stdin=subprocess.DEVNULL, stdout=output, stderr=output, cwd=tree, start_new_session=True
    )

with open(log, "wb") as output:
    server = start("-m", "gunicorn", "--config", configuration, "--pid", pid_file, "deploy.wsgi")
    worker = start("manage.py", "db_worker", "--interval", "2", "--verbosity", "0")
pathlib.Path(worker_pid_file).write_text(f"{worker.pid}\n")
until = time.monotonic() + 60
try:
    while time.monotonic() < until and server.poll() is None:
        try:
            connection = http.client.HTTPConnection("127.0.0.1", int(port), timeout=30)
            connection.request("GET", "/")
            if connection.getresponse().status < 500 and pathlib.Path(pid_file).exists() and server.poll() is None:
                sys.exit(0)
        except OSError:
            pass
        time.sleep(0.2)
except KeyboardInterrupt:
    pass
worker.terminate()
server.terminate()
server.wait(30)
worker.wait(30)
sys.exit(1)
PROGRAM
then
    fail "The server did not start: $(tail -n 1 "$log") (all of it is in $log)"
fi

{
    say ""
    say "Unlit is ready at http://127.0.0.1:$port"
    say ""
    cat "$local_dir/demo.out"
    say ""
} >"$welcome"
cat "$welcome"
if [ "$mode" = background ]; then
    say "Stop it with: sh deploy/demo.sh --stop"
    exit 0
fi
say "Stop it with Ctrl-C. What the server says goes to .local/demo.log."
running || fail "The server has ended: $(tail -n 1 "$log") (all of it is in $log)"
while alive; do
    sleep 1
done
stop_worker
rm -f "$pid_file"
say "The demo has stopped; its data stays in .local."
