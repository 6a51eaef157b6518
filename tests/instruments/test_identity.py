"""Own codes and the reading of marks, against ISO/IEC 7064 and its outside implementations."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from instruments.identity import ALPHABET, Kind, OwnCode, check_character, own_code, read_own_code


def test_check_character_of_the_published_example() -> None:
    # The identifier of a sound recording release, MOD 37,36: worked example in python-stdnum's manual.
    assert check_character("A12425GABC1234002") == "M"


@given(st.text(ALPHABET, min_size=1, max_size=40))
def test_check_character_agrees_with_python_stdnum(body: str) -> None:
    assert check_character(body) == mod_37_36.calc_check_digit(body)


def test_check_character_refuses_other_characters() -> None:
    with pytest.raises(ValueError, match="substring"):
        check_character("T00-12")


@given(st.sampled_from(list(Kind)), st.integers(1, 10**12 - 1))
def test_an_own_code_reads_back(kind: Kind, number: int) -> None:
    code = own_code(kind.value, number)
    assert len(code) >= 8
    assert read_own_code(code) == OwnCode(kind, number)
    assert read_own_code(f"  {code.lower()} \t") == OwnCode(kind, number)


def test_an_own_code_as_printed() -> None:
    # Check character H by python-stdnum's calc_check_digit("T000012").
    assert own_code("T", 12) == "T000012H"
    assert own_code("T", 1_234_567)[:-1] == "T1234567"
    assert [kind.word for kind in Kind] == [
        "piece", "tray", "pack", "load", "machine", "badge", "place", "case", "template",
    ]  # fmt: skip


def test_every_single_wrong_character_is_found() -> None:
    # ISO/IEC 7064: a hybrid system finds all single substitutions.
    code = own_code("P", 123456)
    for place in range(len(code)):
        for wrong in set(ALPHABET) - {code[place]}:
            with pytest.raises(ValueError, match=r"Cannot (read|use) the code"):
                read_own_code(code[:place] + wrong + code[place + 1 :])


AGAIN = "Scan it again, or type it as printed."
SHAPE = f"must be one letter, 6 to 12 digits and a check character. {AGAIN}"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", f"Cannot read the code: it is '', {SHAPE}"),
        ("T00012", f"Cannot read the code: it is 'T00012', {SHAPE}"),
        ("TOOOO12H", f"Cannot read the code: it is 'TOOOO12H', {SHAPE}"),
        ("T0000I2H", f"Cannot read the code: it is 'T0000I2H', {SHAPE}"),
        ("T00001\u0664H", f"Cannot read the code: it is 'T00001\u0664H', {SHAPE}"),
        ("T000012A", f"Cannot read the code T000012A: its check character is A, must be H. {AGAIN}"),
        ("t000013h", f"Cannot read the code T000013H: its check character is H, must be F. {AGAIN}"),
        (
            "Q000012" + check_character("Q000012"),
            "Cannot use the code: its letter is Q, must be one of P, T, K, L, M, B, S, C, N.",
        ),
        ("T00000125", f"Cannot read the code T00000125: it has too many zeros, must be T000012H. {AGAIN}"),
        ("T000000" + check_character("T000000"), "must be from 1 to 999999999999"),
    ],
)
def test_a_code_that_is_not_ours_is_refused_with_its_reason(text: str, sentence: str) -> None:
    with pytest.raises(ValueError, match="Cannot") as refused:
        read_own_code(text)
    assert sentence in str(refused.value)


@pytest.mark.parametrize("number", [0, -1, 10**12])
def test_a_number_out_of_range_is_refused(number: int) -> None:
    with pytest.raises(ValueError, match="must be from 1 to 999999999999"):
        own_code("T", number)
