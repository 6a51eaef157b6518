"""Documents from outside: strict JSON, and nothing that is not in the table."""

from __future__ import annotations

import pytest

from journal.documents import (
    LONGEST_QUOTE,
    Reader,
    from_json,
    listed,
    mapped,
    nullable,
    number,
    one_of,
    quoted,
    read,
    record,
    text,
    truth,
    whole,
)


@pytest.mark.parametrize(
    ("content", "value"),
    [
        (b'{"a": [1, 2.5, "\\u00b0", null, true]}', {"a": [1, 2.5, "°", None, True]}),
        (b"\xef\xbb\xbf[]", []),
        ("\N{DEGREE SIGN}".join('""').encode(), "°"),
    ],
)
def test_json_is_read(content: bytes, value: object) -> None:
    assert from_json(content) == value


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "Cannot read the input: it is not JSON (Expecting value at line 1, column 1)."),
        (
            b"{\n 1",
            "Cannot read the input: it is not JSON (Expecting property name enclosed in double quotes at line 2,",
        ),
        (b"\xff", "Cannot read the input: byte 0 is not UTF-8 text."),
        (b'{"a": NaN}', "Cannot read the input: it holds NaN, must hold only finite numbers."),
        (b"[-Infinity]", "Cannot read the input: it holds -Infinity, must hold only finite numbers."),
        (b'{"a": 1, "b": 2, "a": 3}', 'Cannot read the input: it gives the key "a" twice, must give it once.'),
        (b"9" * 5000, "Cannot read the input: it holds a number of 5000 digits."),
        (b"[" * 100_000, "Cannot read the input: its lists are nested too deeply."),
    ],
)
def test_what_is_not_strict_json_is_refused(content: bytes, sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot read the input") as refusal:
        from_json(content)
    assert str(refusal.value).startswith(sentence)


TABLE = {"width_mm": number(above=0, high=10), "names": listed(text, least=1, most=2)}
MORE = {"inside": record({"pair": listed(number(), least=2, most=2)}), "any": listed(number(low=-1))}


def test_a_document_is_read_against_its_table() -> None:
    document = {"width_mm": 3, "names": ["a"], "inside": {"pair": [1, 2]}, "any": []}
    found = read(document, TABLE, MORE)
    assert found == document
    assert isinstance(found["width_mm"], float)
    assert read({"width_mm": 10, "names": ["a", "b"]}, TABLE, MORE) == {"width_mm": 10.0, "names": ["a", "b"]}


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"width": 1},
            'Cannot read the document: it has the unknown key "width"; known are width_mm, names, inside, any.',
        ),
        ({"names": None}, "Cannot read names: it is null, must be a list of 1 to 2."),
        ({"names": []}, "Cannot read names: it is a list of 0, must be a list of 1 to 2."),
        ({"names": ["a", ""]}, 'Cannot read names[1]: it is "", must be a text that is not empty.'),
        ({"names": [1]}, "Cannot read names[0]: it is 1, must be a text that is not empty."),
        ({"width_mm": 0}, "Cannot read width_mm: it is 0, must be a finite number above 0 up to 10."),
        ({"width_mm": 10.5}, "Cannot read width_mm: it is 10.5, must be a finite number above 0 up to 10."),
        ({"width_mm": "3"}, 'Cannot read width_mm: it is "3", must be a finite number above 0 up to 10.'),
        ({"width_mm": True}, "Cannot read width_mm: it is true, must be a finite number above 0 up to 10."),
        ({"inside": 5}, "Cannot read inside: it is 5, must be an object."),
        ({"inside": {}}, 'Cannot read inside: it has no key "pair", must have it.'),
        ({"inside": {"pair": [1, 2], "x": 0}}, 'Cannot read inside: it has the unknown key "x"; known are pair.'),
        ({"inside": {"pair": [1]}}, "Cannot read inside.pair: it is a list of 1, must be a list of 2."),
        ({"inside": {"pair": [1, 10**400]}}, "Cannot read inside.pair[1]: it is 1000000000"),
        ({"any": 1}, "Cannot read any: it is 1, must be a list of at least 0."),
        ({"any": [-2]}, "Cannot read any[0]: it is -2, must be a finite number from -1."),
        ({"any": [float("inf")]}, "Cannot read any[0]: it is Infinity, must be a finite number from -1."),
    ],
)
def test_what_is_not_in_the_table_is_refused_by_name(change: dict[str, object], sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot read") as refusal:
        read({"width_mm": 3, "names": ["a"]} | change, TABLE, MORE)
    assert str(refusal.value).startswith(sentence)


@pytest.mark.parametrize("document", [None, [], "text", 3])
def test_a_document_is_an_object(document: object) -> None:
    with pytest.raises(ValueError, match="must be an object"):
        read(document, TABLE)


def test_a_long_value_is_quoted_in_part() -> None:
    assert quoted("a" * 500) == '"' + "a" * (LONGEST_QUOTE - 1) + "…"


def test_a_value_that_is_nested_too_deeply_is_refused_without_being_repeated() -> None:
    nest: list[object] = []
    for _ in range(100_000):
        nest = [nest]
    assert quoted(nest) == "nested too deeply to be repeated"


SMALL: dict[str, tuple[Reader, list[object], list[object], str]] = {
    "whole": (whole(3), [0, 3], [-1, 4, 1.0, True, "1", None], "a whole number from 0 up to 3"),
    "whole from below": (whole(1, least=-1), [-1, 1], [-2, 2], "a whole number from -1 up to 1"),
    "truth": (truth, [True, False], [0, 1, "true", None], "true or false"),
    "one of": (one_of(["wet", "dry"]), ["wet", "dry"], ["", "damp", 1, None, ["wet"]], "one of wet, dry"),
    "nullable": (nullable(truth), [None, True], [0, ""], "true or false"),
}


@pytest.mark.parametrize("kind", SMALL)
def test_small_readers_take_their_values_and_no_others(kind: str) -> None:
    reader, taken, refused, expected = SMALL[kind]
    assert [reader(value, "x") for value in taken] == taken
    for value in refused:
        with pytest.raises(ValueError, match=r"^Cannot read x: it is ") as refusal:
            reader(value, "x")
        assert str(refusal.value) == f"Cannot read x: it is {quoted(value)}, must be {expected}."


def test_an_object_with_any_keys_is_read_by_its_values() -> None:
    assert mapped(truth)({"a": True, "b": False}, "x") == {"a": True, "b": False}
    with pytest.raises(ValueError, match=r"Cannot read x\.b: it is 1, must be true or false\."):
        mapped(truth)({"b": 1}, "x")
    with pytest.raises(ValueError, match=r"Cannot read x: it is \[\], must be an object\."):
        mapped(truth)([], "x")
