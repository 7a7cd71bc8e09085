"""kill -9 at any moment loses nothing that was acknowledged.

The usual run kills 40 writers; AIRPROOF_KILLS=200 (or any number) asks for more, benchmarks/bench_store.py for 200.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import killed_writers
import pytest

KILLS = int(os.environ.get("AIRPROOF_KILLS", "40"))


@pytest.mark.skipif(not hasattr(os, "fork"), reason="writers are forked")
def test_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    ended = subprocess.run(
        [sys.executable, killed_writers.__file__, str(tmp_path / "data"), str(KILLS), "1"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr
    assert f"killed {KILLS} writers" in ended.stdout
    assert "none lost" in ended.stdout
