"""The verdict as it ships, and with the learned rival beside it, on the same fresh rehearsals.

    python benchmarks/rival/compare.py [NUMBER [SEED [LOGGER]]]

See README.md beside this file for what the rival is and why it does not ship.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from hearing import heard  # noqa: E402
from rehearsed_verdicts import asked, cases, judge_all, tell, with_one_fault  # noqa: E402
from whole_picture import check  # noqa: E402

from airproof.diagnosis import weigh as weighing  # noqa: E402
from airproof.diagnosis.case import Case  # noqa: E402
from airproof.diagnosis.checks.engine_off import FINDINGS  # noqa: E402
from airproof.diagnosis.testimony import Testimony  # noqa: E402


def examined(case: Case) -> list[Testimony]:
    """The single checks and the whole picture, each heard with its share."""
    single = [testimony for one in weighing.CHECKS for testimony in one(case)]
    by_hand = {FINDINGS[signal] for signal in case.engine_off_kpa if signal in FINDINGS}
    return heard(single, check(case), known_car=bool(case.baselines), in_full=by_hand)


def hear_the_rival() -> None:
    """Let this process weigh with the rival."""
    weighing._examine = examined


def main() -> None:
    number, seed, logger = asked()
    with tempfile.TemporaryDirectory() as folder:
        healthy, faulty = cases(number, seed, logger, Path(folder))
        print("As it ships\n")
        tell(judge_all(healthy), with_one_fault(judge_all(faulty)))
        print("\nWith the rival\n")
        tell(judge_all(healthy, hear_the_rival), with_one_fault(judge_all(faulty, hear_the_rival)))


if __name__ == "__main__":
    main()
