"""Engine profiles: the file of the design, its defaults, and every way to get it wrong in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from airproof.engine.profile import EngineProfile, load_profile
from airproof.errors import UnusableFile

NEEDED = {
    "displacement_l": "1.984",
    "cylinders": "4",
    "induction": '"turbocharged"',
    "air_metering": '"air-flow sensor"',
}


def write(folder: Path, **changed: str | None) -> Path:
    lines = {**NEEDED, **changed}
    path = folder / "engine.toml"
    path.write_text("[engine]\n" + "".join(f"{k} = {v}\n" for k, v in lines.items() if v is not None), "utf-8")
    return path


def test_the_whole_profile_of_the_design(tmp_path: Path) -> None:
    path = write(
        tmp_path, compression_ratio="9.6", fuel='"petrol"', idle_rpm="720", rated_boost_kpa="110", name='"blue one"'
    )
    profile = load_profile(path)
    assert profile.displacement_m3 == pytest.approx(1.984e-3)
    assert profile.boosted
    assert (profile.idle_rpm, profile.rated_boost_kpa, profile.compression_ratio) == (720.0, 110.0, 9.6)
    assert profile.assumed == ()


def test_only_four_are_needed_and_the_rest_says_what_was_assumed(tmp_path: Path) -> None:
    turbo = load_profile(write(tmp_path))
    assert turbo.fuel == "petrol"
    said = " ".join(turbo.assumed)
    assert all(word in said for word in ("fuel: petrol", "idle speed", "rated boost"))
    natural = load_profile(write(tmp_path, induction='"naturally-aspirated"', air_metering='"speed-density"'))
    assert not natural.boosted
    assert "boost" not in " ".join(natural.assumed)


def test_a_profile_cannot_be_changed() -> None:
    profile = EngineProfile(displacement_l=2, cylinders=4, induction="turbocharged", air_metering="both")
    with pytest.raises(ValueError, match="frozen"):
        profile.displacement_l = 3.0  # type: ignore[misc]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_a_mark_at_the_start_of_the_file_does_not_matter(tmp_path: Path, encoding: str) -> None:
    path = write(tmp_path, name='"Käfer"')
    path.write_text(path.read_text("utf-8"), encoding=encoding)
    assert load_profile(path).name == "Käfer"


BAD: list[tuple[dict[str, str | None], str]] = [
    ({"displacement_l": None}, "displacement_l is missing"),
    ({"cylinders": None}, "cylinders is missing"),
    ({"induction": None}, "induction is missing"),
    ({"air_metering": None}, "air_metering is missing"),
    ({"displacement_l": "1984"}, "displacement_l"),  # cubic centimetres
    ({"displacement_l": "0"}, "displacement_l"),
    ({"displacement_l": "-2.0"}, "displacement_l"),
    ({"displacement_l": "nan"}, "displacement_l"),
    ({"displacement_l": "inf"}, "displacement_l"),
    ({"displacement_l": '"two litres"'}, "displacement_l"),
    ({"cylinders": "0"}, "cylinders"),
    ({"cylinders": "4.5"}, "cylinders"),
    ({"cylinders": "24"}, "cylinders"),
    ({"induction": '"turbo"'}, "induction"),
    ({"air_metering": '"maf"'}, "air_metering"),
    ({"fuel": '"kerosene"'}, "fuel"),
    ({"compression_ratio": "96"}, "compression_ratio"),
    ({"idle_rpm": "72"}, "idle_rpm"),
    ({"rated_boost_kpa": "1.1"}, "rated_boost_kpa"),  # bar
    ({"rated_boost_kpa": "0"}, "rated_boost_kpa"),
    ({"displacment_l": "2.0"}, "displacment_l is not a known key"),
]


@pytest.mark.parametrize(("changed", "named"), BAD)
def test_a_bad_value_is_one_line_that_names_the_key_and_the_way_out(
    tmp_path: Path, changed: dict[str, str | None], named: str
) -> None:
    path = write(tmp_path, **changed)
    with pytest.raises(UnusableFile) as caught:
        load_profile(path)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith(str(path))
    assert f"engine.{named}" in message
    assert "[engine] displacement_l" in message  # the way out: what a profile looks like
    assert caught.value.exit_status == 2


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"[engine\n",
        b"engine = 4\n",
        b"displacement_l = 2.0\n",
        b"\x00\xff\xfe binary",
        b"PK\x03\x04",
        b"[car]\nx = 1\n",
    ],
)
def test_a_file_that_is_no_profile_is_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "engine.toml"
    path.write_bytes(content)
    with pytest.raises(UnusableFile) as caught:
        load_profile(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(str(path))
    assert caught.value.way_out


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "absent.toml", tmp_path):
        with pytest.raises(UnusableFile) as caught:
            load_profile(path)
        assert "\n" not in str(caught.value)


def test_several_faults_are_all_named(tmp_path: Path) -> None:
    with pytest.raises(UnusableFile) as caught:
        load_profile(write(tmp_path, displacement_l="0", cylinders="0", turbo="true"))
    assert all(key in str(caught.value) for key in ("displacement_l", "cylinders", "turbo"))
