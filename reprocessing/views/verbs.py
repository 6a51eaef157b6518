"""Verbs of a page: each with its form, its address and the action behind it; and those of a load."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_POST

from journal.actions import Act, Done, correct
from journal.doors import act_of, is_local, perform, person_of, signed_act
from journal.moves import Move
from reprocessing import actions, forms
from reprocessing.models import Load
from reprocessing.states import LOAD_MOVES, LOAD_STEPS, Step
from reprocessing.views.members import put_in

Rule = Move | Step | None
"""The row that says who may do a verb, and in which states; None when everybody may, always."""


@dataclass(frozen=True, slots=True)
class Verb:
    """A verb as a page offers it.

    Args:
        name: last part of its address, there with dashes.
        label: what the button says: verb and object.
        icon: of the sprite.
        form: what it must be told.
        action: takes the code of the thing, and what the form says.
        rule: who may do it, and in which states.
        signed: the person signs it with their password.
    """

    name: str
    label: str
    icon: str
    form: Callable[..., Form]
    action: Callable[..., Done]
    rule: Rule
    signed: bool = False


def _correct(_: str, *, line: int, reason: str, act: Act) -> Done:
    return correct("load", line, reason=reason, act=act)


_STEPS, _MOVES = LOAD_STEPS, LOAD_MOVES

VERBS: dict[str, Verb] = {
    verb.name: verb
    for verb in (
        Verb("add_pack", "Put pack in", "plus", forms.Add, put_in, _STEPS["add_pack"]),
        Verb("add_piece", "Put in", "plus", forms.Add, put_in, _STEPS["add_piece"]),
        Verb("take_off", "Take off", "undo-2", forms.TakeOff, actions.take_off_load, _STEPS["take_off_load"]),
        Verb("take_out", "Take out", "undo-2", forms.TakeOut, actions.take_out_of_load, _STEPS["take_out_of_load"]),
        Verb("split", "Split load", "layers", forms.Split, actions.split_load, _STEPS["split_load"]),
        Verb("merge", "Merge into another load", "layers", forms.Merge, actions.merge_loads, _STEPS["merge_loads"]),
        Verb("start", "Start load", "check", forms.Start, actions.start_load, _MOVES["start"]),
        Verb("unload", "Unload", "package-open", forms.Unload, actions.unload, _MOVES["unload"]),
        Verb("attach", "Attach record", "upload", forms.Record, actions.attach_trace, _STEPS["attach_trace"]),
        Verb(
            "place", "Place indicator", "tag", forms.PlaceIndicator, actions.place_indicator, _STEPS["place_indicator"]
        ),
        Verb("read", "Record reading", "check", forms.ReadIndicator, actions.read_indicator, _STEPS["read_indicator"]),
        Verb("dosing", "Record doses", "droplets", forms.Dosing, actions.record_dosing, _STEPS["record_dosing"]),
        Verb(
            "exception",
            "Sign exceptional release",
            "signature",
            forms.ExceptionalRelease,
            actions.sign_exceptional_release,
            _STEPS["sign_exceptional_release"],
            signed=True,
        ),
        Verb(
            "release", "Release load", "shield-check", forms.Release, actions.release, _MOVES["release"], signed=True
        ),
        Verb("reject", "Reject load", "octagon-x", forms.Reject, actions.reject, _MOVES["reject"], signed=True),
        Verb("recall", "Recall load", "undo-2", forms.Recall, actions.recall_load, _MOVES["recall"]),
        Verb("decide", "Record decision", "check", forms.DecideDoubt, actions.decide_doubt, _STEPS["decide_doubt"]),
        Verb("correct", "Correct line", "pencil", forms.Correct, _correct, None),
    )
}


def carry_out(
    request: HttpRequest, verbs: Mapping[str, Verb], name: str, code: str, *, to: str, **known: Any
) -> HttpResponse:
    """Do the verb of a page that has this name in its address; afterwards go `to` a page.

    Args:
        request: the form as it was sent.
        verbs: what the page offers.
        name: last part of the address.
        code: of the thing.
        to: the page that follows.
        known: what the forms must be told of the thing.

    Raises:
        Http404: the page offers no such verb.
    """
    chosen = verbs.get(name.replace("-", "_"))
    if chosen is None:
        raise Http404

    def run() -> Done:
        said = forms.filled(chosen.form(request.POST, request.FILES, **known))
        act = signed_act(request) if chosen.signed else act_of(request)
        return chosen.action(code, **said, act=act)

    return perform(request, run, to=to)


@require_POST
def load_verb(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """A verb on a load; afterwards its page, or the page that the form stood on."""
    load = get_object_or_404(Load.objects.select_related("machine"), code=code)
    back = request.POST.get("back", "")
    to = back if is_local(back) else reverse("load", args=[load.code])
    return carry_out(request, VERBS, verb, load.code, to=to, load=load, by=person_of(request))
