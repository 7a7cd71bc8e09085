from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from airproof.errors import UnusableFile
from airproof.toml_files import in_words, load_json, load_toml


class Part(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    price: Annotated[float, Field(ge=0.5, le=100.0)]
    kind: Literal["new", "used"] = "new"
    fitted: bool = False
    note: str = ""


class Shelf(BaseModel):
    model_config = ConfigDict(extra="forbid")

    part: list[Part]


def read(path: Path, text: str | bytes) -> Shelf:
    file = path / "shelf.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return load_toml(file, Shelf, wanted="a shelf", way_out="Like this: [[part]] price = 2.")


def test_what_is_written_is_read(tmp_path: Path) -> None:
    shelf = read(tmp_path, "\ufeff[[part]]\nprice = 2\n[[part]]\nprice = 3.5\nkind = 'used'\n")
    assert [part.price for part in shelf.part] == [2.0, 3.5]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[part]]\n", "part 1.price is missing"),
        ("[[part]]\nprice = 2\n[[part]]\nprice = 0.1\n", "part 2.price = 0.1, where at least 0.5 can be"),
        ("[[part]]\nprice = 200\n", "part 1.price = 200, where at most 100 can be"),
        ("[[part]]\nprice = '2 USD'\n", "part 1.price = '2 USD', where a number without its unit belongs"),
        ("[[part]]\nprice = true\n", "part 1.price = True, where a number without its unit belongs"),
        ("[[part]]\nprice = 2\nkind = 'old'\n", "part 1.kind = 'old', where 'new' or 'used' can be"),
        ("[[part]]\nprice = 2\nfitted = 'no'\n", "part 1.fitted = 'no', where true or false belongs"),
        ("[[part]]\nprice = 2\nnote = 2020-01-01\n", "part 1.note, where text in quotes belongs"),
        ("[[part]]\nprice = 2\ncolour = 'red'\n", "part 1.colour is not a known key"),
        ("part = 3\n", "part = 3, where a list of tables, headed by double brackets belongs"),
        ("", "part is missing"),
        ("[[part]\n", "is not TOML"),
        (f"part = {'[' * 5000}", "is not TOML"),
        ("[[part]]\nprice = 1,5\n", "line 2: 1,5 has a comma, where numbers have a point: 1.5"),
        ("[[part]]\nprice = -1,25 # each\n", "line 2: -1,25 has a comma"),
        ('[[part]]\nnote = "1,5" x\n', "is not TOML (Expected"),
        (b"\xff\xfe\x00", "is not text in UTF-8"),
        ("[[part]]\na = 1\nb = 1\nc = 1\nd = 1\n", "and 2 more"),
    ],
)
def test_each_fault_is_one_line_in_plain_words(tmp_path: Path, text: str | bytes, says: str) -> None:
    with pytest.raises(UnusableFile) as refused:
        read(tmp_path, text)
    line = str(refused.value)
    assert says in line
    assert "\n" not in line
    assert "shelf.toml" in line
    assert "input should" not in line.casefold()


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(UnusableFile, match="Check the path") as refused:
            load_toml(path, Shelf, wanted="a shelf", way_out="-")
        assert "Errno" not in str(refused.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [("[]", "it holds a list, where a table belongs"), ("null", "it holds nothing, where"), ("5", "a number, where")],
)
def test_a_file_that_is_no_table_is_told_so(tmp_path: Path, text: str, says: str) -> None:
    file = tmp_path / "shelf.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UnusableFile, match=says):
        load_json(file, Shelf, wanted="a shelf", way_out="Like this.")


def test_bytes_that_are_no_letters_are_told_with_the_encoding() -> None:
    class Label(BaseModel):
        text: Annotated[str, Field(max_length=9)]

    with pytest.raises(ValidationError) as fault:
        Label.model_validate({"text": "\udcc4"})
    assert "neither in the terminal's encoding, " in in_words(fault.value)
