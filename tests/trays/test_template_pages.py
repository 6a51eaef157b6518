"""The pages of templates: overview, one template, a draft written on its page, proof, differences, tables."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from journal.roles import Role
from tests import makers
from tests.makers import act
from tests.trays.pages import signed_in
from trays import actions
from trays.models import Template
from trays.reads import published_version, wanted

pytestmark = pytest.mark.django_db


def page(client: Client, name: str, *of: Any, **query: Any) -> str:
    answer = client.get(reverse(name, args=of), query)
    assert answer.status_code == 200
    return answer.content.decode()


def do(client: Client, template: Template, verb: str, **fields: Any) -> list[str]:
    """What the next page says after one of the draft's forms."""
    answer = client.post(reverse("draft-verb", args=[template.code, verb]), fields, follow=True)
    assert answer.redirect_chain[0][1] == 303
    return [str(message) for message in answer.context["messages"]]


def test_a_version_is_written_proved_and_published_on_pages() -> None:
    first, second, third = (makers.part(name=name) for name in ("Forceps", "Suction tube", "Light lead"))
    template, client = makers.template(first, name="Adult tray"), signed_in()
    assert do(client, template, "start") == ["Draft 2 of Adult tray is open, a copy of version 1."]
    do(client, template, "add-line", part=second.code, quantity="2", essential="on", position="1")
    do(client, template, "change-line", part=first.code, quantity="3", essential="")
    do(client, template, "move-line", part=first.code, to="1")
    do(client, template, "name-substitute", part=first.code, substitute=third.code, reason="as good")
    text = page(client, "template-version", template.code, 2)
    for said in ("Suction tube", "3, optional", "Light lead", "as good", "Earlier", "Later"):
        assert said in text
    proof = page(client, "publish-template", template.code)
    for said in ("New: 2 × Suction tube.", "Forceps: 3 instead of 1.", "Line 2 wants 2 × Suction tube for one tray"):
        assert said in proof
    draft = template.versions.get(number=2)
    answer = client.post(
        reverse("publish-template", args=[template.code]), {"note": "pieces are ordered"}, follow=True
    )
    assert "Version 2 of Adult tray is published." in answer.content.decode()
    draft.refresh_from_db()
    assert (draft.state, draft.note) == ("published", "pieces are ordered")
    assert "What its proof found" in page(client, "template-version", template.code, 2)


def test_a_draft_loses_a_line_a_substitute_a_rule_and_itself() -> None:
    one, two, three = makers.part(), makers.part(), makers.part()
    family, client = makers.series(), signed_in()
    template = makers.template(makers.line(one, substitutes=[three]), two)
    do(client, template, "start")
    do(client, template, "drop-substitute", part=one.code, substitute=three.code)
    do(client, template, "remove-line", part=two.code)
    do(client, template, "set-rule", series=family.code, first="5.0", last="6.0", sheath="on")
    assert "each size of Adult from 5.0 to 6.0: its sheath." in page(client, "template-version", template.code, 2)
    do(client, template, "drop-rule", series=family.code)
    listed = wanted(template.versions.get(number=2))
    assert ([line.ranks for line in listed.lines], listed.rules) == ([{one.code: 0}], ())
    assert "is discarded." in do(client, template, "discard")[0]
    assert template.versions.count() == 1


def test_what_is_filled_in_wrong_is_said_on_the_draft() -> None:
    template, client = makers.template(), signed_in()
    do(client, template, "start", empty="on")
    assert "Pieces" not in do(client, template, "add-line", part="NONE", quantity="1")[0]
    assert "greater than or equal to 1" in do(client, template, "add-line", part="X", quantity="0")[0]
    back = reverse("template-version", args=[template.code, 2])
    answer = client.post(reverse("draft-verb", args=[template.code, "remove-line"]), {"part": "NONE", "back": back})
    assert answer["Location"] == back
    assert client.post(reverse("draft-verb", args=[template.code, "dance"])).status_code == 404


def test_a_new_template_is_entered_and_shown_in_the_overview() -> None:
    client = signed_in()
    answer = client.post(reverse("enter-template"), {"code": "NEW", "name": "New tray"}, follow=True)
    assert "Template New tray is entered." in answer.content.decode()
    assert "None yet" in page(client, "templates")
    answer = client.post(reverse("enter-template"), {"code": "", "name": "New tray"}, follow=True)
    assert "Code: This field is required." in answer.content.decode()
    assert "There are not two versions to compare." in page(client, "compare-versions", "NEW")


def test_a_list_goes_out_and_comes_in_as_a_table() -> None:
    part, client = makers.part(), signed_in()
    template = makers.template(makers.line(part, 3))
    table = client.get(reverse("export-version", args=[template.code, 1]))
    assert table["Content-Type"] == "text/csv; charset=utf-8"
    assert table.content in client.get(reverse("export-templates")).content
    file = SimpleUploadedFile("list.csv", table.content.replace(b",3,", b",4,"))
    assert "1 line." in do(client, template, "import", table=file)[0]
    assert wanted(template.versions.get(number=2)).lines[0].quantity == 4
    assert "text in UTF-8" in do(client, template, "import", table=SimpleUploadedFile("list.csv", b"\xff\xfe"))[0]
    big = SimpleUploadedFile("list.csv", b"x" * 200_001)
    assert "at most 200000 bytes" in do(client, template, "import", table=big)[0]


def test_without_the_right_pages_are_for_reading() -> None:
    template, client = makers.template(), signed_in(None, Role.NURSE)
    actions.start_draft(template.code, act=act())
    for name, of in (("templates", ()), ("template", (template.code,)), ("template-version", (template.code, 2))):
        text = page(client, name, *of)
        assert "does not hold the right" in text
        assert "draft/add-line" not in text
    assert "does not hold the right" in page(client, "publish-template", template.code)
    actions.discard_draft(template.code, act=act())
    assert "No draft" in page(client, "publish-template", template.code)


def test_a_pack_of_an_older_list_says_so_with_the_difference() -> None:
    part = makers.part(name="Forceps")
    tray = makers.tray(makers.template(part), name="Adult tray A")
    pack, client = makers.pack(tray), signed_in()
    assert "Older list" not in page(client, "pack", pack.code)
    actions.start_draft(tray.template.code, act=act())
    actions.change_line(tray.template.code, part.code, quantity=2, essential=True, act=act())
    actions.publish_version(tray.template.code, note="two", act=act())
    assert "Assembled to version 1; version 2 is in force." in page(client, "pack", pack.code)
    compare = reverse("compare-versions", args=[tray.template.code])
    assert f"{compare}?from=1&amp;to=2" in page(client, "pack", pack.code)
    assert "Forceps: 2 instead of 1." in page(client, "compare-versions", tray.template.code, **{"from": 1, "to": 2})
    assert f"{compare}?from=1" in page(client, "trays")
    assert pack.code in page(client, "template", tray.template.code)
    assert "1 pack" in page(client, "templates")


def test_a_template_that_nobody_has_is_not_found() -> None:
    client = signed_in()
    assert client.get(reverse("template", args=["NONE"])).status_code == 404
    assert client.get(reverse("template-version", args=[makers.template().code, 9])).status_code == 404


def test_the_overview_asks_as_often_for_many_as_for_one(django_assert_num_queries: Any) -> None:
    client = signed_in()
    makers.template()
    page(client, "templates")
    with django_assert_num_queries(_queries(client)):
        page(client, "templates")


def _queries(client: Client) -> int:
    """How many queries the overview takes now, before further templates are entered."""
    from django.db import connection  # noqa: PLC0415
    from django.test.utils import CaptureQueriesContext  # noqa: PLC0415

    with CaptureQueriesContext(connection) as asked:
        page(client, "templates")
    for _ in range(5):
        assert published_version(makers.template()).number == 1
    return len(asked)
