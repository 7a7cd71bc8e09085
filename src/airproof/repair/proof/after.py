"""What the car itself says after the repair: codes that came back, permanent ones, readiness, warm-ups.

A code that is not there says something only where its monitor has had its look since the codes were cleared; else it is
"not yet looked", never "gone".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from airproof.diagnosis.facts import Facts, Readiness, StoredCode
from airproof.knowledge.model import Knowledge
from airproof.repair.proof.monitors import monitor_rules
from airproof.repair.proof.proof import CodeAfter, CodesAfter, CodeStanding, MonitorAfter

PENDING, PERMANENT = "pending", "permanent"
LOOKED = 0.5
"""From this probability on a monitor counts as having looked; judged: Airproof authors: rather than not."""

SHORTEST_DRIVE_KM = 3.0  # less than this a warm-up is no drive in which a monitor looks; judged: Airproof authors


@dataclass(frozen=True)
class Said:
    """What was read of the car after the repair; None where nobody read it.

    `codes` are all that are there (where `codes_read`), by id with their status. `cleared`: whether they were cleared
    after the repair. `monitors` by id: complete or not. `warm_ups`, `distance_km`: since they were cleared, as the car
    counts them. `days` since the repair; `returned`: whether somebody says that the trouble is back.
    """

    codes: Mapping[str, str] = field(default_factory=dict)
    codes_read: bool = False
    cleared: bool | None = None
    monitors: Mapping[str, bool] = field(default_factory=dict)
    warm_ups: int | None = None
    distance_km: float | None = None
    days: float = 0.0
    returned: bool = False

    @property
    def anything(self) -> bool:
        """Whether the car was asked at all."""
        return self.codes_read or bool(self.codes or self.monitors) or self.cleared is not None

    def and_heard(self, heard: Sequence[Facts]) -> Said:
        """With what logs of a bus were heard to say; on the same thing what was told counts."""
        codes = {code.id: code.status for facts in heard for code in facts.codes} | dict(self.codes)
        told = [facts.readiness for facts in heard if facts.readiness is not None]
        monitors = {name: state for one in told for name, state in one.complete.items()} | dict(self.monitors)
        read = self.codes_read or any(one.codes_read for one in told)
        return replace(self, codes=codes, monitors=monitors, codes_read=read)


def concerned(cause: str | None, known: Knowledge) -> dict[str, tuple[str, ...]]:
    """Monitors that look for a cause, with the codes by which they would tell."""
    found: dict[str, list[str]] = {}
    for code in known.codes.values():
        monitor = known.families[code.family].monitor
        if cause is not None and monitor is not None and cause in code.sets:
            found.setdefault(monitor, []).append(code.id)
    return {monitor: tuple(codes) for monitor, codes in found.items()}


def had_its_look(monitor: str, said: Said, known: Knowledge) -> float:
    """The probability that a monitor has looked since the codes were cleared."""
    rules = monitor_rules().monitors
    chance = rules[monitor].a_drive if monitor in rules else 0.5
    drives: float | None = said.warm_ups
    if drives is not None and said.distance_km is not None:
        drives = min(float(drives), said.distance_km / SHORTEST_DRIVE_KM)
    by_drives: float | None = None if drives is None else 1.0 - (1.0 - chance) ** drives
    complete, one = said.monitors.get(monitor), known.monitors.get(monitor)
    looked = 0.5 if one is None else one.looked
    if said.cleared is False:
        return looked  # all the time
    if complete is None:
        return 0.0 if by_drives is None else by_drives
    if not complete:
        return 0.0
    if by_drives is not None and one is not None and one.continuous:
        return min(looked, by_drives)  # told to be complete from the start: what the car has driven says more
    return looked


def evidence_after(said: Said, before: Mapping[str, str], known: Knowledge) -> Facts:
    """Codes and readiness after, as evidence of what is wrong after.

    A code that was not cleared and a permanent one that was there before are of before, and say nothing. A monitor
    counts as complete only where it has had its look.
    """
    fresh = [
        StoredCode(code, status)
        for code, status in said.codes.items()
        if not (code in before and (said.cleared is not True or status == PERMANENT))
    ]
    complete = {name: had_its_look(name, said, known) >= LOOKED for name in known.monitors} if said.codes_read else {}
    old = {code for code in said.codes if code not in {one.id for one in fresh}}
    read = said.codes_read and not old
    return Facts(codes=tuple(fresh), readiness=Readiness(complete, read))


def codes_after(said: Said, before: Mapping[str, str], cause: str | None, known: Knowledge) -> CodesAfter | None:
    """What the car says, code by code and monitor by monitor; None where it was not asked."""
    if not said.anything:
        return None
    looking = concerned(cause, known)
    codes = tuple(_code(code, said, before, known) for code in sorted({*before, *said.codes}))
    monitors = tuple(
        _monitor(name, said, looking, known) for name in {**dict.fromkeys(looking), **dict.fromkeys(said.monitors)}
    )
    looked = _looked(looking, said, cause, known)
    return CodesAfter(
        read=said.codes_read,
        cleared=said.cleared,
        warm_ups=said.warm_ups,
        distance_km=said.distance_km,
        codes=codes,
        monitors=monitors,
        looked=looked,
        says=tuple(_says(said, codes, monitors, looked)),
    )


def _looked(looking: Mapping[str, Sequence[str]], said: Said, cause: str | None, known: Knowledge) -> float:
    """The probability that at least one monitor has looked that would rather see this cause than not."""
    missed = 1.0
    for monitor, codes in looking.items():
        sees = max((known.codes[code].sets.get(cause or "", 0.0) for code in codes), default=0.0)
        missed *= 1.0 - had_its_look(monitor, said, known) * min(1.0, 2.0 * sees)
    return 1.0 - missed


def _code(id_: str, said: Said, before: Mapping[str, str], known: Knowledge) -> CodeAfter:
    there, was = said.codes.get(id_), before.get(id_)
    title = known.codes[id_].title if id_ in known.codes else "not among the codes that are weighed here"
    standing, says = _standing(id_, there, was, said, known)
    if standing == "new" and not before and said.cleared is not True:
        says = f"{id_} is there ({there}), and nobody told the codes of before the repair: it may be an old one"
    return CodeAfter(id_, title, was, there, standing, says)


def _standing(id_: str, there: str | None, was: str | None, said: Said, known: Knowledge) -> tuple[CodeStanding, str]:
    rules = monitor_rules().rules
    if there is None:
        if not said.codes_read:
            return "not read", f"{id_} was there before; codes were not read after the repair"
        monitor = known.families[known.codes[id_].family].monitor if id_ in known.codes else None
        looked = had_its_look(monitor, said, known) if monitor is not None else 0.0
        if looked >= LOOKED:
            return "gone", f"{id_} has not come back, and its monitor has had its look"
        return "not yet looked", f"{id_} is not there, but its monitor has not yet looked: that says nothing so far"
    if was is not None and there == PERMANENT and said.cleared is not False:
        drive = monitor_rules().permanent
        return "permanent", (
            f"{id_} stands as permanent: no tool erases it; the car drops it as its monitor passes, not before "
            f"{drive.drive_s / 60:.0f} min of driving with {drive.above_40_km_h_s / 60:.0f} min above 40 km/h and "
            f"{drive.idle_s:.0f} s of idle"
        )
    if was is not None and said.cleared is not True:
        return "not yet looked", (
            f"{id_} was not cleared and still stands: it is the old one until it is cleared, or until "
            f"{rules.warm_ups_to_erase} warm-ups without the fault erase it"
        )
    word = "came back" if was is not None else "is new"
    if there == PENDING:
        more = rules.drives_to_confirm - 1
        says = f"{id_} {word}, pending: one drive has seen it, {more} more in a row would confirm it and light the lamp"
    else:
        says = f"{id_} {word}, {there}: {rules.drives_to_confirm} drives in a row have seen it"
    return ("came back" if was is not None else "new"), says


def _monitor(name: str, said: Said, looking: Mapping[str, tuple[str, ...]], known: Knowledge) -> MonitorAfter:
    title = known.monitors[name].title if name in known.monitors else name
    complete = said.monitors.get(name)
    rules = monitor_rules().monitors
    needs = rules[name].needs if name in rules and complete is not True else ()
    state = {True: "is complete", False: "is not complete", None: "was not read"}[complete]
    waits = f"; it waits for {'; '.join(needs)}" if needs and complete is False else ""
    return MonitorAfter(name, title, complete, looking.get(name, ()), needs, f"the monitor of {title} {state}{waits}")


def _says(said: Said, codes: Sequence[CodeAfter], monitors: Sequence[MonitorAfter], looked: float) -> list[str]:
    lines = [one.says for one in codes if one.standing in ("came back", "new")]
    if said.codes_read and not lines:
        if looked >= LOOKED:
            lines.append("no code has come back, and the car has had its look")
        else:
            lines.append("no code has come back, but the car has not yet looked: that says little so far")
    if said.cleared and said.warm_ups is not None:
        rules = monitor_rules().rules
        far = "" if said.distance_km is None else f" and {said.distance_km:.0f} km"
        drives = "1 warm-up" if said.warm_ups == 1 else f"{said.warm_ups} warm-ups"
        lines.append(
            f"{drives}{far} since the codes were cleared (a warm-up is a rise of the coolant by "
            f"{rules.warm_up_rise_k:.0f} K to {rules.warm_up_reaches_c:.0f} degC at least)"
        )
    lines += [one.says for one in codes if one.standing == "permanent"]
    lines += [one.says for one in monitors if one.complete is False and one.concerns]
    return lines
