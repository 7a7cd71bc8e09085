"""A shop's file is changed by one at a time: what several count at once is all there."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from airproof.errors import UnusableFile
from airproof.repair.learned import shop_held
from airproof.repair.learned.shop_held import held

ADDS = """
import sys, time
from pathlib import Path
from airproof.repair.learned.shop_held import held
file = Path(sys.argv[1])
for _ in range(10):
    with held(file):
        before = file.read_text()
        time.sleep(0.002)
        file.write_text(before + "x")
"""


def test_nothing_that_programs_write_at_once_is_lost(tmp_path: Path) -> None:
    file = tmp_path / "shop.json"
    file.write_text("")
    writers = [subprocess.Popen([sys.executable, "-c", ADDS, str(file)]) for _ in range(4)]
    assert [writer.wait(timeout=60) for writer in writers] == [0] * 4
    assert file.read_text() == "x" * 40
    assert list(tmp_path.iterdir()) == [file]  # nothing is left beside it


def test_nor_what_pages_of_one_server_write_at_once(tmp_path: Path) -> None:
    file, inside, most = tmp_path / "shop.json", 0, 0

    def hold() -> None:
        nonlocal inside, most
        for _ in range(20):
            with held(file):
                inside += 1
                time.sleep(0.001)
                most = max(most, inside)
                inside -= 1

    threads = [threading.Thread(target=hold) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 1


def test_a_holder_that_was_killed_is_in_nobodys_way(tmp_path: Path) -> None:
    file = tmp_path / "shop.json"
    holds = f"import os\nfrom pathlib import Path\nfrom airproof.repair.learned.shop_held import held\n" \
        f"with held(Path({str(file)!r})):\n    os._exit(9)"  # fmt: skip
    assert subprocess.run([sys.executable, "-c", holds], check=False).returncode == 9
    assert [one.name for one in tmp_path.iterdir()] == [".shop.json.lock"]
    with held(file):
        pass
    assert not list(tmp_path.iterdir())


def test_who_waits_too_long_is_told_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shop_held, "LONGEST_WAIT_S", 0.0)
    with (
        held(tmp_path / "shop.json"),
        pytest.raises(UnusableFile, match=r"another program .* try again; nothing was written"),
        held(tmp_path / "shop.json"),
    ):
        pass


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile, match="cannot be written"), held(tmp_path / "no" / "shop.json"):
        pass
