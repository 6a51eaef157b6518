"""What somebody with the database in hand can do behind the guards' back is found, with the row named.

By `manage.py trail verify`, and by the auditor's own program on an export; both with a head kept outside.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from instruments.models import PieceLine
from journal import append_only
from journal.merkle import Frontier, leaf_hash
from journal.models import Head, SealedLeaf
from journal.sealing import seal, stored_leaves
from journal.seals import SignedHead, Signer, leaf_text
from tests import makers
from tests.journal import auditor
from tests.journal.test_append_only import ON_SQLITE, lose_guards, run
from trays.models import Content

pytestmark = [pytest.mark.django_db, pytest.mark.storage]

LINES = PieceLine._meta.db_table
LEAVES = SealedLeaf._meta.db_table
HEADS = Head._meta.db_table


@contextmanager
def behind_their_back() -> Iterator[None]:
    """Without guards; PostgreSQL lifts none while a key is still to be checked."""
    connection.check_constraints()
    append_only.lift(connection)
    yield
    connection.check_constraints()
    append_only.install(connection)


@pytest.fixture
def trail() -> list[PieceLine]:
    """Three lines under as many heads, and what makes them."""
    for _ in range(3):
        makers.piece()
        seal()
    return list(PieceLine.objects.order_by("pk"))


def found(folder: Path, head: Path, *words: str) -> None:
    """Both sides say these words, with the head kept outside."""
    status, said = auditor.trail("verify", "--head", str(head))
    assert status == 1, said
    for word in words:
        assert word in said
    status, said = auditor.audit(folder, head)
    assert status == 1, said
    for word in words:
        assert word.lower() in said.lower()


def name(line: PieceLine) -> str:
    return f"ow {line.pk} of {LINES}"


def test_a_sound_trail_is_found_sound(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    makers.piece()
    status, said = auditor.trail("verify", "--head", str(head))
    assert (status, said.splitlines()[-1]) == (0, "The trail is as it was sealed.")
    status, said = auditor.audit(tmp_path, head)
    assert (status, said.splitlines()[-1].split(" heads")[0]) == (
        0,
        f"{SealedLeaf.objects.count()} sealed rows read, 1",
    )
    seal()
    assert auditor.trail("verify", "--head", str(head))[0] == 0
    assert auditor.audit(tmp_path, head)[0] == 0


def test_an_altered_row(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    with behind_their_back():
        PieceLine.objects.filter(pk=trail[1].pk).update(person=makers.person())
    found(tmp_path, head, name(trail[1]), "altered")


def test_a_removed_row(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    gone = name(trail[1])
    with behind_their_back():
        trail[1].delete()
    found(tmp_path, head, gone, "gone")


def test_two_rows_that_changed_places(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    first, second = trail[:2]
    with behind_their_back():
        PieceLine.objects.filter(pk=first.pk).update(piece=second.piece, received_at=second.received_at)
        PieceLine.objects.filter(pk=second.pk).update(piece=first.piece, received_at=first.received_at)
    found(tmp_path, head, name(first), name(second))


def test_two_rows_that_changed_keys(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    first, second = trail[0].pk, trail[1].pk
    with behind_their_back():
        for old, new in ((first, 10**6), (second, first), (10**6, second)):
            run(f"UPDATE {LINES} SET id = {new} WHERE id = {old}")
    found(tmp_path, head, name(trail[0]), name(trail[1]))


def back_dated(line: PieceLine, **more: Any) -> PieceLine:
    """A line like this one, received an hour ago; the guards let a new row in."""
    values = {field.attname: getattr(line, field.attname) for field in PieceLine._meta.concrete_fields}
    hour_ago = timezone.now() - timedelta(hours=1)
    return PieceLine.objects.create(**{**values, "id": None, "received_at": hour_ago, **more})


@pytest.mark.parametrize("then", [lambda: None, seal])
def test_a_row_put_in_before_the_last_head(then: Callable[[], object], trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    line = back_dated(trail[0])
    then()
    found(tmp_path, head, name(line), "put in among older ones")


@pytest.mark.parametrize("then", [lambda: None, seal])
def test_a_record_without_time_put_in_under_a_number_passed_long_ago(
    then: Callable[[], object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = Content.objects.get(pack=makers.single())
    Content.objects.create(id=900, pack=content.pack, piece=makers.piece(), position=1, part_code="X", part_name="X")
    hour_ago = timezone.now() - timedelta(hours=1)
    monkeypatch.setattr(timezone, "now", lambda: hour_ago)
    seal()
    monkeypatch.undo()
    makers.piece()
    seal()
    head = auditor.keep_head(tmp_path)
    Content.objects.create(id=800, pack=content.pack, piece=makers.piece(), position=0, part_code="X", part_name="X")
    then()
    found(tmp_path, head, "ow 800 of trays_content", "put in among older ones")


def test_an_altered_row_whose_seal_was_altered_too(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    with behind_their_back():
        PieceLine.objects.filter(pk=trail[1].pk).update(verb="nothing")
        forge(trail[1])
    found(tmp_path, head, "seal", name(trail[1]), "altered")


def forge(line: PieceLine) -> None:
    """Make the stored hash that of the row as it is now."""
    leaf = SealedLeaf.objects.get(table=LINES, row=line.pk)
    (now,) = stored_leaves(leaf.position, leaf.position + 1)
    assert now.record is not None
    SealedLeaf.objects.filter(pk=leaf.pk).update(leaf=leaf_hash(now.record).hex())


def test_a_removed_row_whose_seal_was_removed_too(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    leaf = SealedLeaf.objects.get(table=LINES, row=trail[1].pk)
    with behind_their_back():
        trail[1].delete()
        leaf.delete()
    found(tmp_path, head, f"position {leaf.position}", "gone")


def test_seals_that_changed_places(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    first, second = (SealedLeaf.objects.get(table=LINES, row=line.pk) for line in trail[:2])
    with behind_their_back():
        for leaf, position in ((first, 10**6), (second, first.position), (first, second.position)):
            SealedLeaf.objects.filter(pk=leaf.pk).update(position=position)
    found(tmp_path, head, name(trail[0]), name(trail[1]))


@pytest.mark.parametrize("change", [{"root": "0" * 64}, {"peaks": []}, {"signature": "00"}, {"size": 10**6}])
def test_an_altered_head(change: dict[str, Any], trail: list[PieceLine], tmp_path: Path) -> None:
    outside = auditor.keep_head(tmp_path)
    head = Head.objects.all()[1]
    with behind_their_back():
        Head.objects.filter(pk=head.pk).update(**change)
    found(tmp_path, outside, f"head of {change.get('size', head.size)} rows", "altered")


def test_a_trail_cut_short(trail: list[PieceLine], tmp_path: Path) -> None:
    """Rows, seals and heads go together: the database as it was before, with a head that says it was more."""
    outside = auditor.keep_head(tmp_path)
    last = Head.objects.reverse()[0]
    size = Head.objects.reverse()[1].size
    with behind_their_back():
        leaves = list(last.leaves.all())
        last.leaves.all().delete()
        last.delete()
        for leaf in leaves:
            run(f"DELETE FROM {leaf.table} WHERE id = {leaf.row}")
    assert auditor.trail("verify")[0] == 0
    assert auditor.audit(tmp_path)[0] == 0
    found(tmp_path, outside, f"position {size} to {size + len(leaves) - 1}")


def test_an_emptied_table(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    with behind_their_back():
        run(f"DELETE FROM {LINES}" if ON_SQLITE else f"TRUNCATE {LINES} CASCADE")
    found(tmp_path, head, *map(name, trail), "gone")


def test_a_row_replaced(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    columns = ", ".join(field.column for field in PieceLine._meta.concrete_fields)
    others = columns.replace("verb", "'nothing'")
    insert = f"INTO {LINES} ({columns}) SELECT {others} FROM {LINES} WHERE id = {trail[1].pk}"
    with behind_their_back():
        run(
            f"INSERT OR REPLACE {insert}"
            if ON_SQLITE
            else f"INSERT {insert} ON CONFLICT (id) DO UPDATE SET verb = 'x'"
        )
    found(tmp_path, head, name(trail[1]), "altered")


@pytest.mark.django_db(transaction=True)
def test_a_change_after_the_table_lost_its_guards(trail: list[PieceLine], tmp_path: Path) -> None:
    head = auditor.keep_head(tmp_path)
    lose_guards()
    run(f"UPDATE {LINES} SET reason = 'because' WHERE id = {trail[1].pk}")
    append_only.install(connection)
    found(tmp_path, head, name(trail[1]), "altered")


def test_a_trail_signed_anew_with_another_key(trail: list[PieceLine], tmp_path: Path) -> None:
    outside = auditor.keep_head(tmp_path)
    with behind_their_back():
        PieceLine.objects.filter(pk=trail[1].pk).update(verb="nothing")
        sign_anew(Signer("ab" * 32))
    found(tmp_path, outside, "head of", "key")


def sign_anew(holder: Signer) -> None:
    """Write every seal and head anew over the rows as they are now."""
    tree = Frontier()
    for head in Head.objects.all():
        hashes = []
        for leaf in list(stored_leaves(tree.size, head.size)):
            assert leaf.record is not None
            hashes.append(leaf_hash(leaf.record))
            made = hashes[-1].hex()
            SealedLeaf.objects.filter(position=leaf.position).update(
                leaf=made, signature=holder.sign(leaf_text(leaf.position, made))
            )
        tree = tree.grown(hashes)
        Head.objects.filter(pk=head.pk).update(**{**SignedHead.of(tree, head.at, holder).as_dict(), "at": head.at})


def test_a_trail_signed_anew_with_the_units_own_key(trail: list[PieceLine], tmp_path: Path) -> None:
    """Only a head kept outside tells; which row it was, only an older export can."""
    outside = auditor.keep_head(tmp_path)
    with behind_their_back():
        PieceLine.objects.filter(pk=trail[1].pk).update(verb="nothing")
        sign_anew(Signer("9d" * 32))
    assert auditor.trail("verify")[0] == 0
    found(tmp_path, outside, "rows are not those of a head kept outside")
