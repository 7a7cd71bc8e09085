"""Refusing what leads nowhere: every id and every source of the knowledge must be known."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from airproof.errors import BrokenKnowledge
from airproof.knowledge.model import JUDGED, NONE, Knowledge, Known, Look, Noticed, Prices, Step
from airproof.knowledge.sensors import check_sensors

WAY_OUT = "Repair that entry; the other entries of the same kind show how one looks."


@dataclass(frozen=True)
class References:
    """What the ids and sources of entries are held against; `files[kind][key]` is where an entry stands."""

    known: Knowledge
    files: Mapping[str, dict[str, str]]

    def check(self) -> None:
        """Refuse any id or source that leads nowhere, in all that was read at once."""
        known = self.known
        for kind, entries in self._at_once().items():
            self._sourced(kind, entries)
        for key, cause in known.causes.items():
            self._within("causes", key, cause.applies.needs, known.equipment, "equipment")
        self._noticed("symptoms", known.symptoms)
        for key, status in known.statuses.items():
            self._within("statuses", key, status.weakens, known.causes, "cause")
        for key, code in known.codes.items():
            self._within("codes", key, code.sets, known.causes, "cause")
            self._within("codes", key, [code.family], known.families, "family")
            self._within("codes", key, code.check_first, known.steps, "step")
        for key, step in known.steps.items():
            self._within("steps", key, [*step.tells, *step.cures], known.causes, "cause")
            self._within("steps", key, step.after, known.steps, "step")
            self._within("steps", key, step.set_up, known.setups, "set-up")
            if step.minutes < sum(known.setups[name].minutes for name in step.set_up):
                self._refuse("steps", key, "fewer minutes than what it needs set up", "minutes that include it")
            self._within("steps", key, [step.part] if step.part else [], known.prices.parts, "part")
            if key in _all_before(key, known.steps):
                self._refuse("steps", key, "it must come after itself", "an order that can be followed")
        check_sensors(known, self._within)
        if NONE not in known.causes:
            self._refuse("causes", NONE, f"no cause {NONE}", "the cause that is no fault")
        if known.steps and not any(step.ends for step in known.steps.values()):
            self._refuse("steps", "any", "no step ends the job", "one step with ends = true")

    def check_told(self, kind: str, entries: Mapping[str, Known]) -> None:
        """The same for looks, history, conditions or monitors, which are read when they are first asked for."""
        self._sourced(kind, entries)
        self._noticed(kind, {key: entry for key, entry in entries.items() if isinstance(entry, Noticed)})
        telling = [name for name, step in self.known.steps.items() if step.tells]
        if kind == "monitors":
            for key, family in self.known.families.items():
                self._within("families", key, [family.monitor] if family.monitor else [], entries, "monitor")
        for key, entry in entries.items():
            if isinstance(entry, Look) and entry.step is not None:
                self._within(kind, key, [entry.step], telling, "step that tells")

    def _at_once(self) -> dict[str, Mapping[str, Known | Prices]]:
        known = self.known
        return {
            "equipment": known.equipment,
            "causes": known.causes,
            "families": known.families,
            "areas": known.areas,
            "codes": known.codes,
            "symptoms": known.symptoms,
            "statuses": known.statuses,
            "setups": known.setups,
            "steps": known.steps,
            "prices": {"prices": known.prices, **known.prices.parts},
            "sensors": known.sensors,
            "thermistors": known.thermistors,
            "sensor_kinds": known.sensor_kinds,
            "meter_tasks": known.meter_tasks,
        }

    def _sourced(self, kind: str, entries: Mapping[str, Known | Prices]) -> None:
        for key, entry in entries.items():
            for source in entry.source:
                if source not in self.known.sources and not JUDGED.fullmatch(source):
                    self._refuse(kind, key, f"source {source!r}", "a key of the sources, or judged: who, why")

    def _noticed(self, kind: str, entries: Mapping[str, Noticed]) -> None:
        for key, entry in entries.items():
            self._within(kind, key, entry.sets, self.known.causes, "cause")
            self._within(kind, key, [entry.family] if entry.family else [], self.known.families, "family")

    def _within(self, kind: str, key: str, used: Iterable[str], there: Iterable[str], what: str) -> None:
        names = there if isinstance(there, Collection) else set(there)
        unknown = sorted({name for name in used if name not in names})
        if unknown:
            self._refuse(kind, key, f"unknown {what} {', '.join(unknown)}", f"an id that a {what} has")

    def _refuse(self, kind: str, key: str, fault: str, wanted: str) -> None:
        of_prices = self.files["prices"].get("prices", "prices") if kind == "prices" else "all files"
        file = self.files.get(kind, {}).get(key, of_prices)
        raise BrokenKnowledge(fault, wanted, WAY_OUT, where=f"{file}, {kind} {key}")


def _all_before(key: str, steps: Mapping[str, Step]) -> set[str]:
    """Every step that must come before this one, itself included if they run in a ring."""
    before: set[str] = set()
    waiting = list(steps[key].after)
    while waiting:
        step = waiting.pop()
        if step not in before:
            before.add(step)
            waiting.extend(steps[step].after)
    return before
