#!/usr/bin/env python3
"""Get Airproof ready and start it; needs nothing but Python 3.11 or newer.

    python3 start.py                weigh the demo job, and say how to go on
    python3 start.py test           run every check of the project; more words go to pytest
    python3 start.py WORDS...       anything else goes to airproof, for example: weigh my.csv --engine my.toml

The first start makes the folder .venv beside this file and installs into it what requirements/ lists, checked
by hash; later starts find it ready and do nothing of the kind. To begin afresh, delete .venv.

This file is kept readable by Python 3.6, so that an old one can say in words that it is too old: no newer
syntax, no annotations, and nothing from outside the standard library. Its own words are plain ASCII.
"""

import contextlib
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

OLDEST = (3, 11)
ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
WINDOWS = os.name == "nt"
DEMO = ROOT / "examples" / "demo-job"

CHECKS = (
    ("style", ["-m", "ruff", "check", "."]),
    ("layout", ["-m", "ruff", "format", "--check", "."]),
    ("types", ["-m", "mypy"]),
    ("floors", ["-c", "import sys; from importlinter.cli import lint_imports_command as c; sys.exit(c())"]),
)

NETWORK_WORDS = (
    "name resolution",
    "getaddrinfo",
    "dns error",
    "failed to lookup",
    "connection refused",
    "connection reset",
    "connection error",
    "newconnectionerror",
    "error sending request",
    "network is unreachable",
    "unreachable network",
    "timed out",
    "timeout",
    "max retries",
    "proxy",
    "offline",
    "tunnel",
    "certificate",
)


class StartError(Exception):
    """Something the user can put right; the text says what happened and the way out."""


def say(text="", end="\n"):
    """Print at once, whatever the console can show."""
    sys.stdout.write(text + end)
    sys.stdout.flush()


# What is there, and what is wanted


def venv_python():
    """Where the environment keeps its Python."""
    return VENV / "Scripts" / "python.exe" if WINDOWS else VENV / "bin" / "python"


def packages_folder():
    """Where the environment keeps its packages."""
    if WINDOWS:
        return VENV / "Lib" / "site-packages"
    return VENV / "lib" / "python{}.{}".format(*sys.version_info[:2]) / "site-packages"


def lock_file(kind):
    """The list of exact versions and hashes: "run" for using Airproof, "test" for checking it as well."""
    return ROOT / "requirements" / (kind + ".txt")


def fingerprint(path):
    """Hash of a lock file; line endings do not count."""
    try:
        return hashlib.sha256(path.read_bytes().replace(b"\r\n", b"\n")).hexdigest()
    except OSError as error:
        raise StartError(
            f"{path} cannot be read ({error}). The copy of Airproof is not complete: fetch it again."
        ) from error


def stamp_file():
    """The note that says what was installed to the end."""
    return VENV / "airproof-ready.json"


def unfinished_file():
    """The note that an installation was begun; gone when it ended well."""
    return VENV / "airproof-unfinished"


def read_stamp():
    """What the stamp says, or nothing where it is missing or damaged."""
    try:
        stamp = json.loads(stamp_file().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def this_python():
    """What must stay the same for an environment to stay usable."""
    return "{} {}.{}.{}".format(sys.implementation.name, *sys.version_info[:3])


def installed_packages():
    """Everything present at the top of the packages folder: modules, and names with versions."""
    try:
        return sorted(entry.name for entry in packages_folder().iterdir() if entry.name != "__pycache__")
    except OSError:
        return []


def is_ready(kind):
    """Whether all of that lock file is installed, by this Python, in this place, with nothing taken away."""
    stamp = read_stamp()
    locks = stamp.get("locks")
    packages = stamp.get("packages")
    return (
        isinstance(locks, dict)
        and isinstance(packages, list)
        and not unfinished_file().exists()
        and venv_python().exists()
        and stamp.get("python") == this_python()
        and stamp.get("place") == str(VENV)
        and all(locks.get(part) == fingerprint(lock_file(part)) for part in parts_of(kind))
        and set(packages) <= set(installed_packages())
        and own_path_file().exists()
    )


def parts_of(kind):
    """The lock files that one kind covers: the test list holds the run list."""
    return ("run", "test") if kind == "test" else ("run",)


def usable():
    """Whether an environment can be added to: whole, of this Python version, in its own place."""
    if unfinished_file().exists() or not venv_python().exists():
        return False
    stamp = read_stamp()
    if stamp and (stamp.get("place") != str(VENV) or stamp.get("python") != this_python()):
        return False
    if stamp and not set(stamp.get("packages", [])) <= set(installed_packages()):
        return False
    question = "import os, sys; print(os.path.samefile(sys.prefix, sys.argv[1]), *sys.version_info[:3])"
    order = [str(venv_python()), "-I", "-c", question, str(VENV)]
    try:
        answer = subprocess.run(order, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=60)
    except (OSError, subprocess.SubprocessError):
        return False
    return answer.stdout.split() == " ".join(["True", *map(str, sys.version_info[:3])]).encode().split()


# Making it ready


def make_ready(kind):
    """Make .venv and install what that kind needs, unless all of it is there already."""
    if is_ready(kind):
        return
    with only_one_at_a_time():
        if is_ready(kind):
            return
        started = time.monotonic()
        say("Getting Airproof ready. The first time this fetches some packages and may take a few minutes.")
        if os.path.lexists(str(VENV)) and not usable():
            say("  .venv is broken, half made or from another Python: making it anew ...")
            remove(VENV)
        uv = shutil.which("uv")
        if not VENV.exists():
            say("  making .venv for Python {}.{} ...".format(*sys.version_info[:2]))
            make_venv()
        earlier = read_stamp().get("locks", {})
        unfinished_file().write_text("An installation was begun and has not ended.\n", encoding="utf-8")
        install(kind, uv)
        add_own_package()
        locks = {part: earlier[part] for part in ("test",) if part in earlier}
        locks.update({part: fingerprint(lock_file(part)) for part in parts_of(kind)})
        write_stamp(locks)
        unfinished_file().unlink()
        say(f"  ready after {time.monotonic() - started:.0f} s.")
        say()


def write_stamp(locks):
    """Note what was installed to the end; written whole or not at all."""
    stamp = {"locks": locks, "python": this_python(), "place": str(VENV), "packages": installed_packages()}
    half = stamp_file().with_suffix(".half")
    half.write_text(json.dumps(stamp, indent=1), encoding="utf-8")
    half.replace(stamp_file())


@contextlib.contextmanager
def only_one_at_a_time():
    """Two starts at once would trip over each other: the second waits for the first."""
    name = "airproof-start-" + hashlib.sha256(str(ROOT).encode("utf-8", "replace")).hexdigest()[:16]
    with (Path(tempfile.gettempdir()) / name).open("a+b") as held:
        waiting = False
        while not try_lock(held):
            if not waiting:
                say("Another start is getting Airproof ready: waiting for it ...")
                waiting = True
            time.sleep(0.5)
        yield


def try_lock(held):
    """Take the lock of an open file if it is free; the system gives it back when the file closes."""
    try:
        if WINDOWS:
            import msvcrt

            held.seek(0)
            msvcrt.locking(held.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def remove(folder):
    """Delete a folder or a file that stands in its place."""
    try:
        if folder.is_dir() and not folder.is_symlink():
            shutil.rmtree(str(folder))
        else:
            folder.unlink()
    except OSError as error:
        raise StartError(
            f"{folder} cannot be deleted ({error}). Close what uses it, delete it by hand, start again."
        ) from error


def base_python():
    """The Python to build on: the one beneath, where this one runs from .venv itself."""
    return getattr(sys, "_base_executable", None) or sys.executable


def make_venv():
    """Make the environment without pip: that comes with the first need of it."""
    order = [base_python(), "-m", "venv", "--without-pip", str(VENV)]
    done = subprocess.run(order, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if done.returncode or not venv_python().exists():
        its_words = done.stdout.decode("utf-8", "replace").strip()[-300:]
        raise StartError(
            f"Python could not make {VENV}: {its_words}. Is there room on the disk, and may you write here?\n"
            "  On Debian and Ubuntu first: sudo apt install python3-venv"
        )


def install(kind, uv):
    """Install one lock file with uv where it is present, else with pip; each download is checked by hash."""
    locked = ["--require-hashes", "-r", str(lock_file(kind))]
    if uv:
        say("  installing with uv ...")
        status, tail = watch([uv, "pip", "install", "--python", str(venv_python()), *locked])
        if status == 0:
            return
        if looks_like_network(tail) or wrong_hash(tail):  # pip would fare no better
            raise StartError(why_not_installed(tail))
        say("  uv did not manage it; trying pip ...")
    if subprocess.call([str(venv_python()), "-I", "-c", "import pip"], stderr=subprocess.DEVNULL):
        say("  adding pip ...")
        status, tail = watch([str(venv_python()), "-m", "ensurepip", "--default-pip"])
        if status:
            raise StartError(
                "This Python comes without pip. Install it or uv, and start again.\n"
                "  On Debian and Ubuntu: sudo apt install python3-venv"
            )
    say("  installing with pip ...")
    quiet = ["--disable-pip-version-check", "--no-input", "--retries", "2"]
    status, tail = watch([str(venv_python()), "-m", "pip", "install", *quiet, *locked])
    if status:
        raise StartError(why_not_installed(tail))


def watch(order):
    """Run an installer; show what it fetches and that it lives; return its status and last lines."""
    env = dict(os.environ, PYTHONUTF8="1", NO_COLOR="1", VIRTUAL_ENV=str(VENV))
    for name in ("PYTHONHOME", "PYTHONPATH", "PIP_USER", "PIP_TARGET", "PIP_PREFIX"):
        env.pop(name, None)  # these would lead the packages astray
    child = subprocess.Popen(order, env=env, cwd=str(ROOT), stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    over = threading.Event()
    pulse = threading.Thread(target=heartbeat, args=(over,), daemon=True)
    pulse.start()
    tail = []
    try:
        for raw in child.stdout:
            line = raw.decode("utf-8", "replace").rstrip()
            if line:
                tail = [*tail[-79:], line]
                progress(line)
        return child.wait(), tail
    except BaseException:
        child.terminate()
        child.wait()
        raise
    finally:
        over.set()


def progress(line):
    """Pass on the lines of pip and uv that tell a person how far things are."""
    found = re.match(r"\s*(?:Collecting|Downloading|Building)\s+([A-Za-z0-9._-]+)", line)
    if found and "/" not in found.group(1) and not found.group(1).endswith((".whl", ".gz", ".metadata")):
        say("    " + found.group(1))
    elif re.match(r"\s*(Resolved|Prepared|Installed|Installing collected)", line):
        say("    " + line.strip()[:70].encode("ascii", "replace").decode("ascii"))


def heartbeat(over, every_s=15):
    """Say now and then that work goes on."""
    started = time.monotonic()
    while not over.wait(every_s):
        say(f"    still working, {time.monotonic() - started:.0f} s ...")


def looks_like_network(lines):
    """Whether an installer's last words speak of a missing network."""
    text = "\n".join(lines).lower()
    return "hash" not in text and any(word in text for word in NETWORK_WORDS)


def wrong_hash(lines):
    """Whether a download was not what the lock file vouches for."""
    text = "\n".join(lines).lower()
    return "hash" in text and ("mismatch" in text or "do not match" in text)


def why_not_installed(lines):
    """In plain words why an installation failed, and the way out."""
    text = "\n".join(lines).lower()
    telling = [line for line in lines if not line.startswith(("WARNING", "Ignoring", "Collecting", "Processing"))]
    last = "\n".join("    | " + line[:160] for line in telling[-6:])
    if looks_like_network(lines):
        reason = (
            "There is no way to the package index: no network, or a proxy or firewall in between.\n"
            "  Connect this computer (behind a proxy: set HTTPS_PROXY) and start again; nothing is lost.\n"
            "  For a computer that has no network at all, see CONTRIBUTING.md."
        )
    elif "no space left" in text or "not enough space" in text or "disk quota" in text:
        reason = "The disk is full. Airproof needs about 600 MB, with its tests 900 MB: make room first."
    elif wrong_hash(lines):
        reason = (
            "A package that was fetched is not the one the lock file vouches for, so it was not installed.\n"
            "  Start again; if it stays so, someone between you and the index changes files: ask for help."
        )
    elif "permission denied" in text or "access is denied" in text:
        reason = f"Something in {VENV} may not be written. Close what uses it, and start again."
    else:
        reason = (
            f"The packages could not be installed for {this_python()}.\n"
            "  Python 3.11 to 3.13 are known to work: use one of these, or report the lines below."
        )
    return reason + "\n" + last


def own_path_file():
    """The file that tells the environment's Python where our own source is."""
    return packages_folder() / "airproof-source.pth"


def add_own_package():
    """Let the environment find our source, and give it the command `airproof`.

    The path is relative, so no code page can spoil it; it needs no build step and no network.
    """
    relative = os.path.relpath(str(ROOT / "src"), str(packages_folder()))
    own_path_file().write_text(relative + "\n", encoding="ascii")
    if WINDOWS:
        command = VENV / "Scripts" / "airproof.cmd"
        command.write_text('@"%~dp0python.exe" -m airproof %*\n', encoding="ascii")
    else:
        command = VENV / "bin" / "airproof"
        command.write_text('#!/bin/sh\nexec "$(dirname "$0")/python" -m airproof "$@"\n', encoding="ascii")
        command.chmod(0o755)


# And then


def run(words, cwd=None):
    """Run the environment's Python and return its exit status; Ctrl-C reaches it without our help."""
    env = dict(os.environ)
    env.setdefault("PYTHONUTF8", "1")
    env.pop("PYTHONHOME", None)
    child = subprocess.Popen([str(venv_python()), *words], cwd=cwd, env=env)
    while True:
        try:
            status = child.wait()
            break
        except KeyboardInterrupt:
            continue  # the child got it too and is tidying up
    return status if status >= 0 else 128 - status


def demo_words(folder=DEMO):
    """The words that weigh the demo job, from its own job.toml."""
    import tomllib

    job = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    words = ["weigh"]
    words += [relative_to_root(folder / name) for name in job["recordings"]]
    words += ["--engine", relative_to_root(folder / job["engine"])]
    for code in job["codes"]:
        words += ["--code", code]
    for symptom in job["symptoms"]:
        words += ["--symptom", symptom]
    return [*words, "--altitude", job["altitude"], "--ambient", job["ambient"]]


def relative_to_root(path):
    """A path as a person would type it from the project's folder."""
    return os.path.relpath(str(path), str(ROOT))


def become(words, cwd=None):
    """As `run`, for what comes last: this process turns into it, so that whatever stops the one stops the other."""
    if WINDOWS:
        return run(words, cwd)
    for stream in (sys.stdout, sys.stderr):
        stream.flush()
    os.environ.setdefault("PYTHONUTF8", "1")
    os.environ.pop("PYTHONHOME", None)
    if cwd:
        os.chdir(cwd)
    return os.execv(str(venv_python()), [str(venv_python()), *words])


def demo():
    """Weigh the demo job, say how to go on, and open the pages with it."""
    words = demo_words()
    start = "python start.py" if WINDOWS else "python3 start.py"
    say("The demo job: a car and a fault of our own invention. This is what is asked:")
    say("  {} {}".format(start, " ".join(words)))
    say()
    status = run(["-m", "airproof", *words], cwd=str(ROOT))
    if status == 0:
        say()
        say("To weigh a recording of your own, describe its engine in four lines (see README.md), then:")
        say(f"  {start} weigh RECORDING.csv --engine ENGINE.toml --code P0106 --altitude 350m")
        say(f"What a code claims and what else sets it:  {start} explain P0106")
        say(f"Everything it can do:                      {start} --help")
        say()
        say("And now the same job in the browser; it is kept until you delete it there.")
        return become(["-m", "airproof", "serve", "--show", "--demo", relative_to_root(DEMO)], cwd=str(ROOT))
    return status


def test(words):
    """Run every check; pytest comes last, so its closing line does too."""
    failed = []
    for title, order in CHECKS:
        say(f"== {title} ==")
        if run(order, cwd=str(ROOT)):
            failed.append(title)
    say("== tests ==")
    if failed:
        say("not clean: {} (see above); the tests follow".format(", ".join(failed)))
    alone = any(re.match(r"-n|--numprocesses|--pdb|--benchmark|--dist", word) for word in words)
    order = ["-m", "pytest"] if alone else ["-m", "pytest", "-n", "auto", "--dist", "worksteal", "--benchmark-disable"]
    status = run([*order, *words], cwd=str(ROOT))
    return status or (1 if failed else 0)


def main(words):
    """Make ready what is needed and run what was asked for."""
    if sys.version_info < OLDEST:
        say(
            f"Airproof needs Python 3.11 or newer; this is {this_python()} ({sys.executable}).\n"
            "Install a newer one with your system's package manager or from the makers of Python, and start\n"
            "again with it, for example: python3.12 start.py"
        )
        return 2
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        make_ready("test" if words[:1] == ["test"] else "run")
        if words[:1] == ["test"]:
            return test(words[1:])
        return run(["-m", "airproof", *words]) if words else demo()
    except StartError as trouble:
        say(f"Airproof could not start. {trouble}")
        return 2
    except OSError as error:
        say(f"Airproof could not start: {error}. Is there room on the disk, and may you write in {ROOT}?")
        return 2
    except KeyboardInterrupt:
        say("\nStopped. Start again any time: what was half done will be done anew.")
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
