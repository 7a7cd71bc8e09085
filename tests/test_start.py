"""The logic of start.py, without network and without making a real environment."""

from __future__ import annotations

import ast
import importlib.util
import json
import re
import runpy
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest

PROJECT = Path(__file__).resolve().parents[1]


@pytest.fixture
def start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """start.py with its folder moved to an empty one that holds only lock files."""
    spec = importlib.util.spec_from_file_location("start", PROJECT / "start.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    root = tmp_path / "a folder, plain"
    (root / "requirements").mkdir(parents=True)
    (root / "src").mkdir()
    (root / "requirements" / "run.txt").write_text("one==1\n")
    (root / "requirements" / "test.txt").write_text("one==1\ntwo==2\n")
    monkeypatch.setattr(module, "ROOT", root)
    monkeypatch.setattr(module, "VENV", root / ".venv")
    return module


def pretend_installed(start: ModuleType, kind: str = "run") -> None:
    """What a finished installation leaves behind."""
    start.packages_folder().mkdir(parents=True, exist_ok=True)
    (start.packages_folder() / "one-1.dist-info").mkdir(exist_ok=True)
    (start.packages_folder() / "one").mkdir(exist_ok=True)
    start.venv_python().parent.mkdir(exist_ok=True)
    start.venv_python().write_text("")
    start.add_own_package()
    start.write_stamp({part: start.fingerprint(start.lock_file(part)) for part in start.parts_of(kind)})


def test_an_old_python_can_read_it() -> None:
    text = (PROJECT / "start.py").read_text(encoding="utf-8")
    ast.parse(text, feature_version=(3, 6))
    assert text.isascii()


def test_it_imports_only_the_standard_library() -> None:
    tree = ast.parse((PROJECT / "start.py").read_text(encoding="utf-8"))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= sys.stdlib_module_names


def test_too_old_a_python_is_told_so(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(start.sys, "version_info", (3, 9, 1))
    assert start.main([]) == 2
    said = capsys.readouterr().out
    assert "3.11 or newer" in said
    assert "3.9.1" in said


def test_nothing_is_ready_at_first(start: ModuleType) -> None:
    assert not start.is_ready("run")


def test_what_was_installed_is_ready_and_nothing_is_done_twice(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend_installed(start)
    monkeypatch.setattr(start, "install", lambda *_: pytest.fail("installed twice"))
    start.make_ready("run")
    assert start.is_ready("run")
    assert not start.is_ready("test")
    pretend_installed(start, "test")
    assert start.is_ready("run")
    assert start.is_ready("test")


@pytest.mark.parametrize(
    "harm",
    [
        lambda s: s.venv_python().unlink(),
        lambda s: s.stamp_file().write_text('{"locks": '),
        lambda s: s.stamp_file().write_text("[]"),
        lambda s: s.stamp_file().write_bytes(b"\xff\xfe\x00"),
        lambda s: s.unfinished_file().write_text(""),
        lambda s: (s.packages_folder() / "one").rmdir(),
        lambda s: (s.packages_folder() / "one-1.dist-info").rmdir(),
        lambda s: s.own_path_file().unlink(),
        lambda s: s.lock_file("run").write_text("one==2\n"),
        lambda s: edit_stamp(s, python="cpython 3.11.0-other"),
        lambda s: edit_stamp(s, place="somewhere else"),
        lambda s: edit_stamp(s, packages=None),
    ],
)
def test_any_harm_is_noticed(start: ModuleType, harm: object) -> None:
    pretend_installed(start)
    assert callable(harm)
    harm(start)
    assert not start.is_ready("run")


def edit_stamp(start: ModuleType, **changes: object) -> None:
    start.stamp_file().write_text(json.dumps({**start.read_stamp(), **changes}))


def test_line_endings_of_a_lock_file_do_not_count(start: ModuleType) -> None:
    pretend_installed(start)
    start.lock_file("run").write_bytes(b"one==1\r\n")
    assert start.is_ready("run")


def test_a_missing_lock_file_is_said(start: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    pretend_installed(start)
    start.lock_file("run").unlink()
    assert start.main(["weigh"]) == 2
    assert "not complete: fetch it again" in capsys.readouterr().out


def test_a_broken_environment_is_made_anew(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    pretend_installed(start)
    start.unfinished_file().write_text("")
    leftover = start.VENV / "leftover"
    leftover.write_text("")
    made: list[str] = []

    def make_venv() -> None:
        made.append("venv")
        start.packages_folder().mkdir(parents=True)
        start.venv_python().parent.mkdir(exist_ok=True)
        start.venv_python().write_text("")

    monkeypatch.setattr(start, "make_venv", make_venv)
    monkeypatch.setattr(start, "install", lambda kind, uv: made.append(kind))
    start.make_ready("run")
    assert made == ["venv", "run"]
    assert not leftover.exists()
    assert start.is_ready("run")


def test_an_installation_that_fails_leaves_no_stamp(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    def make_venv() -> None:
        start.packages_folder().mkdir(parents=True)
        start.venv_python().parent.mkdir(exist_ok=True)
        start.venv_python().write_text("")

    def install(kind: str, uv: str | None) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(start, "make_venv", make_venv)
    monkeypatch.setattr(start, "install", install)
    assert start.main(["weigh"]) == 130
    assert not start.is_ready("run")
    assert not start.usable()


def test_the_path_to_our_source_is_relative(start: ModuleType) -> None:
    pretend_installed(start)
    written = start.own_path_file().read_text(encoding="ascii").strip()
    assert not Path(written).is_absolute()
    assert (start.packages_folder() / written).resolve() == (start.ROOT / "src").resolve()


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (
            ["error: Request failed after 3 retries", "cause: dns error: failed to lookup address"],
            "no network",
        ),
        (["NewConnectionError(...): [Errno -3] Temporary failure in name resolution"], "no network"),
        (["OSError: [Errno 28] No space left on device"], "disk is full"),
        (["ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE."], "vouches for"),
        (["error: Hash mismatch for `numpy==2.4.6`"], "vouches for"),
        (["PermissionError: [WinError 5] Access is denied"], "may not be written"),
        (["ERROR: No matching distribution found for numpy"], "3.11 to 3.13"),
    ],
)
def test_a_failed_installation_is_explained(start: ModuleType, lines: list[str], expected: str) -> None:
    said = start.why_not_installed(lines)
    assert expected in said
    assert lines[-1][:40] in said


def test_pip_is_not_tried_when_uv_found_no_network(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    orders: list[list[str]] = []

    def watch(order: list[str]) -> tuple[int, list[str]]:
        orders.append(order)
        return 2, ["cause: dns error"]

    monkeypatch.setattr(start, "watch", watch)
    with pytest.raises(start.StartError, match="no network"):
        start.install("run", "uv")
    assert len(orders) == 1
    assert "--require-hashes" in orders[0]


def test_installer_lines_become_progress(start: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    for line in (
        "Collecting markdown-it-py==4.3.0 (from -r run.txt)",
        "  Downloading markdown_it_py-4.3.0-py3-none-any.whl (87 kB)",
        "Downloading numpy (15.9MiB)",
        "Requirement already satisfied: pip",
    ):
        start.progress(line)
    assert capsys.readouterr().out.split() == ["markdown-it-py", "numpy"]


def test_exit_status_is_passed_on(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(start, "venv_python", lambda: sys.executable)
    assert start.run(["-c", "raise SystemExit(7)"]) == 7
    if sys.platform != "win32":
        assert start.run(["-c", "import os, signal; os.kill(os.getpid(), signal.SIGTERM)"]) == 128 + 15


def test_tests_run_every_check_and_pytest_last(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    ran: list[list[str]] = []

    def run(words: list[str], cwd: str | None = None) -> int:
        ran.append(words)
        return 1 if "ruff" in words else 0

    monkeypatch.setattr(start, "run", run)
    assert start.test(["-k", "air"]) == 1
    assert [words[1].split()[0] for words in ran] == ["ruff", "ruff", "mypy", "import", "pytest"]
    assert ran[-1][-2:] == ["-k", "air"]
    assert "auto" in ran[-1]
    start.test(["-n0"])
    assert "auto" not in ran[-1]


def test_only_one_start_at_a_time(start: ModuleType) -> None:
    with (
        start.only_one_at_a_time(),
        next(Path(start.tempfile.gettempdir()).glob(lock_name(start))).open("a+b") as second,
    ):
        assert not start.try_lock(second)


def lock_name(start: ModuleType) -> str:
    return "airproof-start-" + start.hashlib.sha256(str(start.ROOT).encode()).hexdigest()[:16]


def test_the_demo_job_is_there_and_marked_as_invented(start: ModuleType) -> None:
    words = start.demo_words()
    job = tomllib.loads((start.DEMO / "job.toml").read_text(encoding="utf-8"))
    assert job["invented"] is True
    assert words[0] == "weigh"
    assert (start.DEMO / "recording.csv").stat().st_size < 400_000
    assert "--engine" in words
    assert "P0106" in words


def locked(kind: str) -> dict[str, set[str]]:
    text = (PROJECT / "requirements" / f"{kind}.txt").read_text(encoding="utf-8")
    found: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([A-Za-z0-9._-]+)(?:\[[^]]*\])?==(\S+)", text, flags=re.M):
        found.setdefault(name, set()).add(version)
    return found


def test_the_lock_files_agree() -> None:
    run, tests = locked("run"), locked("test")
    assert run
    assert {name: tests.get(name) for name in run} == dict(run)


@pytest.mark.parametrize("kind", ["run", "test"])
def test_every_locked_package_has_hashes_and_no_address(kind: str) -> None:
    text = (PROJECT / "requirements" / f"{kind}.txt").read_text(encoding="utf-8")
    assert "://" not in text
    assert "--index" not in text
    assert "--find-links" not in text
    for entry in re.split(r"\n(?=[A-Za-z0-9])", text)[1:]:
        assert "--hash=sha256:" in entry, entry.split("\n")[0]


def test_the_lock_files_hold_all_that_the_project_asks_for() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = {"run": project["project"]["dependencies"]}
    wanted["test"] = wanted["run"] + project["dependency-groups"]["test"]
    for kind, asked in wanted.items():
        names = {re.split(r"[<>=!~;\[ ]", line)[0].lower().replace("_", "-") for line in asked}
        assert names <= set(locked(kind))


def test_ci_calls_the_same_command() -> None:
    assert "python3 start.py test" in (PROJECT / ".ci" / "run").read_text(encoding="utf-8")
    assert "python3 start.py test" in (PROJECT / "README.md").read_text(encoding="utf-8")


def test_importing_it_does_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(PROJECT / "start.py"), run_name="start")
    assert capsys.readouterr().out == ""
