"""What the user likes: there and back, never lost to a bad file, and how headings were read by hand."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airproof.errors import AirproofError, UnusableFile
from airproof.jobs.settings import (
    FILE,
    MAPS_KEPT,
    PRICES,
    Settings,
    keep_prices,
    keep_settings,
    load_settings,
    own_prices,
)
from airproof.knowledge.load import knowledge
from airproof.quantities.wishes import PRESSURES, TEMPERATURES, Wish
from airproof.recording.mapping import SignalMap
from airproof.repair.prices import tools_of

MAP = SignalMap.model_validate({"signals": {"manifold_pressure": {"heading": "MAP", "unit": "psi gauge"}}})
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
maps = st.builds(
    lambda signals, rate: SignalMap.model_validate({"signals": signals, **({} if rate is None else {"rate_hz": rate})}),
    st.dictionaries(
        st.sampled_from(["manifold_pressure", "engine_speed", "throttle"]),
        st.fixed_dictionaries({"heading": words.filter(bool)}, optional={"unit": words}),
    ),
    st.none() | st.floats(1e-3, 1e9),
)
likes = st.builds(
    Settings,
    pressure=st.sampled_from(PRESSURES),
    temperature=st.sampled_from(TEMPERATURES),
    below_the_air_outside=st.booleans(),
    look=st.sampled_from(["as the system", "light", "dark"]),
    name=words,
    altitude=words,
)
SLOW = {"deadline": None, "derandomize": True, "suppress_health_check": [HealthCheck.function_scoped_fixture]}


class TestThereAndBack:
    def test_where_nothing_was_said_all_is_as_it_comes(self, tmp_path: Path) -> None:
        assert load_settings(tmp_path) == load_settings(tmp_path / "missing") == Settings()

    @settings(max_examples=60, **SLOW)  # type: ignore[arg-type]
    @given(likes, st.lists(st.tuples(st.lists(words, max_size=4), maps), max_size=3))
    def test_whatever_is_liked_comes_back(
        self, tmp_path: Path, liked: Settings, seen: list[tuple[list[str], SignalMap]]
    ) -> None:
        for headings, signals in seen:
            liked = liked.with_map(headings, signals)
        keep_settings(tmp_path, liked)
        assert load_settings(tmp_path) == liked
        assert [path.name for path in tmp_path.iterdir()] == [FILE]

    def test_a_folder_is_made_for_its_user_alone(self, tmp_path: Path) -> None:
        keep_settings(tmp_path / "new" / "folder", Settings(name="Kim"))
        assert load_settings(tmp_path / "new" / "folder").name == "Kim"
        if os.name != "nt":
            assert stat.S_IMODE((tmp_path / "new" / "folder").stat().st_mode) == 0o700

    def test_the_wish_is_as_the_settings_say(self) -> None:
        liked = Settings(pressure="inHg", temperature="degF", below_the_air_outside=True)
        assert liked.wish(98.0) == Wish("inHg", "degF", True, 98.0)
        assert Settings().wish().plain

    def test_what_a_newer_program_wrote_harms_nothing(self, tmp_path: Path) -> None:
        (tmp_path / FILE).write_text('[settings]\nname = "Kim"\ncolour = "blue"\n[later]\nx = 1\n', encoding="utf-8")
        assert load_settings(tmp_path).name == "Kim"


class TestADamagedFile:
    @pytest.mark.parametrize(
        "content",
        [
            b"[settings", b"\xff\xfe", b"[settings]\npressure = 'furlong'\n", b"settings = 5\n",
            b"[[settings]]\nname = 'Kim'\n", b"remembered = 5\n", b"[settings]\nname = 5\n",
            b"[[remembered]]\nheadings = 5\n", b"[settings]\nremembered = 5\n[remembered]\nx = 1\n",
            b"a = " + b"[" * 5000,
        ],
    )  # fmt: skip
    def test_it_is_refused_by_name_and_stays(self, tmp_path: Path, content: bytes) -> None:
        (tmp_path / FILE).write_bytes(content)
        with pytest.raises(UnusableFile, match=FILE) as refused:
            load_settings(tmp_path)
        assert "take it away" in refused.value.way_out
        assert (tmp_path / FILE).read_bytes() == content

    @settings(max_examples=100, **SLOW)  # type: ignore[arg-type]
    @given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace")))
    def test_any_bytes_are_settings_or_refused(self, tmp_path: Path, content: bytes) -> None:
        (tmp_path / FILE).write_bytes(content)
        with contextlib.suppress(UnusableFile):
            load_settings(tmp_path)
        assert (tmp_path / FILE).read_bytes() == content

    def test_a_folder_in_its_place_is_refused_in_words(self, tmp_path: Path) -> None:
        (tmp_path / FILE).mkdir()
        with pytest.raises(UnusableFile, match=FILE):
            load_settings(tmp_path)
        with pytest.raises(UnusableFile, match="cannot be written"):
            keep_settings(tmp_path, Settings())
        assert [path.name for path in tmp_path.iterdir()] == [FILE]  # nothing half-written stays

    def test_a_file_in_place_of_the_folder_is_refused_in_words(self, tmp_path: Path) -> None:
        (tmp_path / "data").write_text("x", encoding="utf-8")
        with pytest.raises(UnusableFile, match="cannot be written"):
            keep_settings(tmp_path / "data", Settings())
        assert (tmp_path / "data").read_text(encoding="utf-8") == "x"


class TestHeadingsPutRightByHand:
    def test_the_same_headings_in_any_order_are_read_so(self) -> None:
        liked = Settings().with_map(["time", "MAP", "rpm"], MAP)
        assert liked.map_for(["rpm", "time", "MAP"]) == MAP
        assert liked.map_for(["rpm", "time"]) is None
        assert liked.map_for(["rpm", "time", "MAP", "MAP"]) is None

    def test_the_later_way_takes_the_place_of_the_older(self) -> None:
        other = SignalMap.model_validate({"signals": {"charge_pressure": "MAP"}})
        liked = Settings().with_map(["MAP", "a"], MAP).with_map(["b"], MAP).with_map(["a", "MAP"], other)
        assert liked.map_for(["MAP", "a"]) == other
        assert len(liked.remembered) == 2

    def test_the_oldest_are_forgotten_and_the_file_can_still_be_read(self, tmp_path: Path) -> None:
        liked = Settings()
        for number in range(MAPS_KEPT + 5):
            liked = liked.with_map([f"heading {number}"], MAP)
        assert len(liked.remembered) == MAPS_KEPT
        assert liked.map_for(["heading 4"]) is None
        assert liked.map_for(["heading 5"]) == liked.map_for([f"heading {MAPS_KEPT + 4}"]) == MAP
        keep_settings(tmp_path, liked)
        assert load_settings(tmp_path) == liked


class TestPrices:
    USUAL = knowledge().prices
    TOOLS = tools_of(knowledge())

    def test_without_a_file_the_usual_ones_hold(self, tmp_path: Path) -> None:
        assert own_prices(tmp_path, self.USUAL, self.TOOLS) is self.USUAL

    def test_what_was_kept_holds_next_time(self, tmp_path: Path) -> None:
        text = "# Größe\nlabour_per_hour = 85\n[parts]\nmap-sensor = 39.90\n"
        kept = keep_prices(tmp_path, text, self.USUAL, self.TOOLS)
        assert (kept.labour_per_hour, kept.parts["map-sensor"].typical) == (85.0, 39.90)
        assert own_prices(tmp_path, self.USUAL, self.TOOLS) == kept
        assert (tmp_path / PRICES).read_text(encoding="utf-8") == text

    @pytest.mark.parametrize(
        ("text", "says"),
        [("labour_per_hour = -1", "at least 0"), ("[parts]\ngold = 1", "unknown part gold"), ("x", "is not TOML"),
         ('tools_missing = ["anvil"]', "unknown tool anvil"), ("labour_per_hour = nan", "labour_per_hour")],
    )  # fmt: skip
    def test_a_bad_one_is_refused_and_the_old_one_stays(self, tmp_path: Path, text: str, says: str) -> None:
        kept = keep_prices(tmp_path, "labour_per_hour = 85\n", self.USUAL, self.TOOLS)
        with pytest.raises(UnusableFile, match=says) as refused:
            keep_prices(tmp_path, text, self.USUAL, self.TOOLS)
        assert refused.value.where == "prices"  # a file that nobody ever saw is not named
        assert own_prices(tmp_path, self.USUAL, self.TOOLS) == kept

    @settings(max_examples=60, **SLOW)  # type: ignore[arg-type]
    @given(st.text(max_size=80))
    def test_any_text_is_a_price_file_or_refused(self, tmp_path: Path, text: str) -> None:
        try:
            keep_prices(tmp_path, text, self.USUAL, self.TOOLS)
        except AirproofError:
            return
        own_prices(tmp_path, self.USUAL, self.TOOLS)
