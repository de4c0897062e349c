"""A file that cannot be read as text is refused in one sentence."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from geom.design import load_design
from geom.design.text_file import read_bytes, read_text
from geom.errors import InputError


@pytest.mark.parametrize(
    ("content", "place", "words"),
    [
        (b"", None, "empty"),
        (b" \r\n\t\n", None, "empty"),
        ("name = 1".encode("utf-16"), None, "UTF-16"),
        (b"a = 1\r\nb = '\xbd'\n", "line 2", "byte 0xbd is not UTF-8"),
        (b"a = 1\n\nb = '\x00'\n", "line 3", "control byte 0x00"),
        (b"\x7fELF\x02\x01\x01\x00", "line 1", "control byte 0x7f"),
        (b"PK\x03\x04junk", None, "zip archive"),
        (bytes(range(128, 256)), "line 1", "byte 0x80"),
    ],
)
def test_what_is_not_text_is_refused(write, content, place, words):
    path = write(content)
    with pytest.raises(InputError) as caught:
        load_design(path)
    assert caught.value.file == str(path)
    assert caught.value.place == place
    assert words in caught.value.what
    assert caught.value.cure


def test_text_is_read_without_its_mark(write):
    assert read_text(write(b"\xef\xbb\xbf18\xe2\x85\x9c\r\n")) == "18⅜\r\n"


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="this is a folder"):
        load_design(tmp_path)


def test_a_missing_file_is_refused_with_the_one_of_nearly_that_name(write):
    there = write("x", "lining.toml")
    with pytest.raises(InputError, match="no such file") as caught:
        load_design(there.with_name("linning.toml"))
    assert caught.value.cure == "Is it lining.toml?"
    assert isinstance(caught.value.__cause__, FileNotFoundError)


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(InputError) as caught:
        load_design(tmp_path / "none" / "lining.toml")
    assert str(tmp_path / "none") in str(caught.value.cure)


def test_a_name_with_a_null_in_it_is_refused():
    with pytest.raises(InputError, match="cannot be read"):
        read_bytes("lin\0ing.toml")


@pytest.mark.parametrize("number", [errno.EACCES, errno.EIO, errno.ELOOP])
def test_a_file_that_may_not_be_read_is_refused(write, monkeypatch, number):
    path = write("x")

    def refuse(self, *args, **kwargs):
        raise OSError(number, "no", str(self))

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match=r"cannot be read \(no\)") as caught:
        load_design(path)
    assert isinstance(caught.value.__cause__, OSError)


def test_a_file_past_the_limit_is_refused_before_it_fills_the_memory(write):
    path = write(4097 * b"x")
    assert len(read_bytes(path, largest=4097)) == 4097
    with pytest.raises(InputError, match="longer than"):
        read_bytes(path, largest=4096)
