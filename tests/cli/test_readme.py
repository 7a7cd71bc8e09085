"""The README says what the program says today: every option is there, and what it quotes is printed."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path

import pytest
from command_line import Airproof

from airproof.cli.job import app as job
from airproof.cli.link import app as link
from airproof.knowledge.load import knowledge

PROJECT = Path(__file__).resolve().parents[2]
README = (PROJECT / "README.md").read_text(encoding="utf-8")
DEMO = PROJECT / "examples" / "demo-job"
ASKED = ("--code", "P0106", "--symptom", "hesitation", "--altitude", "350m", "--ambient", "18C")


def options(text: str) -> set[str]:
    return set(re.findall(r"--[a-z][a-z-]+", text))


def test_every_option_is_named_and_no_other(airproof: Airproof) -> None:
    commands = ("weigh", "rehearse", "plan", "prove", "meter", "learn", "serve")
    weighing, *others = (options(airproof(command, "--help").out) for command in commands)
    assert options(README) - {"--help"} >= weighing - {"--help"}
    kept = [
        options(airproof(name, str(one.name), "--help").out)
        for name, group in (("job", job), ("link", link))
        for one in group.registered_commands
    ]
    assert options(README) - {"--help"} <= weighing.union(*others, *kept)


def test_the_help_lists_every_symptom(airproof: Airproof) -> None:
    said = re.search(r"Symptoms are: ([^.]+)\.", " ".join(airproof("weigh", "--help").out.split()))
    assert said is not None
    assert said[1].split(", ") == list(knowledge().symptoms)


def test_the_quoted_verdict_is_what_the_demo_job_gets(airproof: Airproof, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    found = re.search(r"The demo job begins like this:\n\n((?:    .*\n|\n)+)", README)
    assert found is not None
    quoted = textwrap.dedent(found[1]).strip()
    ended = airproof("weigh", DEMO / "recording.csv", "--engine", DEMO / "engine.toml", *ASKED)
    assert ended.out.startswith(quoted + "\n")


def test_the_map_in_the_readme_can_be_read(tmp_path: Path) -> None:
    from airproof.recording.mapping import read_signal_map

    block = next(b for b in re.findall(r"```toml\n(.*?)```", README, re.DOTALL) if "[signals]" in b)
    path = tmp_path / "map.toml"
    path.write_text(block, encoding="utf-8")
    assert {one for one in ("engine_speed", "manifold_pressure") if one in repr(read_signal_map(path))} == {
        "engine_speed",
        "manifold_pressure",
    }
