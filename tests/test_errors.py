"""How the API says no."""

from rest_framework.exceptions import NotFound

from config.errors import api_answer
from journal.findings import Finding, Refused, Severity

SEAL = Finding("seal-missing", Severity.STOP, "Tray AD-1", "Cannot pack tray AD-1: a seal is missing.", "Add one.")
SIZE = Finding("size-wrong", Severity.STOP, "P000012A", "The sheath is of size 5.0, must be 6.0.")


def test_a_refusal_is_a_conflict_with_every_finding() -> None:
    answer = api_answer(Refused(SEAL, SIZE), {})
    assert answer is not None
    assert answer.status_code == 409
    assert answer.data == {
        "code": "seal-missing",
        "detail": "Cannot pack tray AD-1: a seal is missing. Add one. The sheath is of size 5.0, must be 6.0.",
        "findings": [SEAL.as_dict(), SIZE.as_dict()],
    }


def test_what_the_framework_refuses_it_answers() -> None:
    answer = api_answer(NotFound(), {})
    assert answer is not None
    assert answer.status_code == 404


def test_a_fault_of_ours_is_not_dressed_up_as_an_answer() -> None:
    assert api_answer(ZeroDivisionError(), {}) is None
