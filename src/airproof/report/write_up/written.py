"""From a case to the write-up: the content in one language and one set of units, ready to be written as PDF or HTML."""

from __future__ import annotations

from collections.abc import Iterator

from airproof.diagnosis.conditions import air_kpa
from airproof.quantities.wishes import Wish
from airproof.report.language.language import ENGLISH, Language, Words
from airproof.report.write_up.case import Case
from airproof.report.write_up.content import WriteUp, translated
from airproof.report.write_up.figures import exhibits_of
from airproof.report.write_up.owner import lead_exhibit, owner_page
from airproof.report.write_up.proof_part import proof_pages
from airproof.report.write_up.rests_on import what_it_rests_on
from airproof.report.write_up.trade import trade_pages
from airproof.report.write_up.writing import Writer, joined, labels_of


def write_up_of(case: Case, language: Language, wish: Wish) -> WriteUp:
    """All of it; where a wish for vacuum has no barometer, that of the weighing serves."""
    if wish.vacuum and wish.barometer_kpa is None and case.weighing is not None:
        wish = Wish(wish.pressure, wish.temperature, vacuum=True, barometer_kpa=air_kpa(case.weighing.barometer))
    write = Writer(language, wish, case)
    exhibits = exhibits_of(write)
    lead = lead_exhibit(write, exhibits)
    owner = owner_page(write, exhibits)
    trade = (*trade_pages(write, exhibits, lead), *proof_pages(write), *what_it_rests_on(write))
    foot = [write.own("Written by {program} on {day}.", program=case.program, day=language.day(case.made_at))]
    if case.private is not None:
        foot.append(write.own("VIN, plate and owner are left out."))
    done, all_ = translated((owner, trade), language.code)
    if language.code != ENGLISH and done < all_:
        foot.append(write.own("What no one has translated yet is in English, and marked as English."))
    return WriteUp(
        language=language.code,
        title=_title(write),
        facts=tuple(_facts(write)),
        owner=owner,
        trade_title=write.own("For the trade"),
        trade=trade,
        foot=joined(foot),
        labels=labels_of(language),
    )


def _title(write: Writer) -> Words:
    car = write.case.state.car
    name = " ".join(str(part) for part in (car.make, car.model, car.year) if part)
    return write.own("Engine diagnosis: {car}", car=write.typed(name).text) if name else write.own("Engine diagnosis")


def _facts(write: Writer) -> Iterator[tuple[Words, Words]]:
    case, car = write.case, write.case.state.car
    if case.number is not None:
        yield write.own("Job"), write.typed(str(case.number))
    if case.private is None:
        for label, value in (("Owner", car.owner), ("Plate", car.plate), ("VIN", car.vin)):
            if value:
                yield write.own(label), write.typed(value)
    if car.odometer_km is not None:
        yield write.own("Odometer"), Words(f"{write.language.number(car.odometer_km, 0)}\N{NO-BREAK SPACE}km", "")
    yield write.own("Written on"), Words(write.language.day(case.made_at), write.language.code)
