"""The API's door to actions: one POST endpoint each, its input read off the action's own signature."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from datetime import date, datetime
from types import NoneType, UnionType
from typing import Any, Union, cast, get_args, get_origin, get_type_hints

from django.urls import URLPattern, path
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.exceptions import ValidationError
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from journal.actions import ACTIONS, Act, Done
from journal.models import Notice, Person

KEY_HEADER = "Idempotency-Key"
LONGEST_KEY = 80
LONGEST_TEXT = 200_000

_KEY = OpenApiParameter(
    KEY_HEADER,
    str,
    OpenApiParameter.HEADER,
    required=True,
    description="Text of your own, fresh for each deed. The same key with the same request gets the stored answer.",
)


class FindingOutput(serializers.Serializer[Any]):
    """What a rule found."""

    slug = serializers.CharField()
    severity = serializers.ChoiceField(["stop", "look", "note"])
    subject = serializers.CharField()
    sentence = serializers.CharField()
    remedy = serializers.CharField()
    numbers = serializers.DictField()


class DoneOutput(serializers.Serializer[Any]):
    """The answer of an action."""

    verb = serializers.CharField()
    kind = serializers.CharField()
    pk = serializers.IntegerField()
    mark = serializers.CharField()
    state = serializers.CharField()
    sentence = serializers.CharField()
    next_step = serializers.CharField()
    findings = FindingOutput(many=True)


class RefusedOutput(serializers.Serializer[Any]):
    """Why an action may not happen now: 409."""

    code = serializers.CharField()
    detail = serializers.CharField()
    findings = FindingOutput(many=True)


class LineOutput(serializers.Serializer[Any]):
    """A line of a trail."""

    id = serializers.IntegerField()
    occurred_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    person = serializers.CharField(default=None)
    method = serializers.CharField()
    verb = serializers.CharField()
    origin = serializers.CharField()
    target = serializers.CharField()
    reason = serializers.CharField()
    evidence = serializers.DictField()
    corrects = serializers.IntegerField(source="corrects_id", default=None)


class NoticeOutput(serializers.ModelSerializer[Notice]):
    """A notice."""

    acknowledged_by = serializers.CharField(read_only=True, default=None)

    class Meta:
        model = Notice
        fields = [
            *("id", "topic", "cause", "role", "sentence", "remedy", "link", "opened_at", "closed_at"),
            *("acknowledged_at", "acknowledged_by", "rung"),
        ]
        read_only_fields = fields


class Notices(ListAPIView[Notice]):
    """Open notices for the roles of the person signed in."""

    serializer_class = NoticeOutput

    def get_queryset(self) -> Any:
        """Open ones of the person's roles."""
        return (
            Notice.objects.still_open().shown_to(cast("Person", self.request.user)).select_related("acknowledged_by")
        )


def input_of(run: Callable[..., Done]) -> type[serializers.Serializer[Any]]:
    """A serializer of plain fields for an action's parameters, `act` left out; unknown fields are refused."""
    kinds = get_type_hints(inspect.unwrap(run))
    fields: dict[str, Any] = {
        name: _field(kinds[name], parameter)
        for name, parameter in inspect.signature(run).parameters.items()
        if name != "act"
    }
    name = "".join(word.capitalize() for word in run.__name__.split("_")) + "Input"
    return type(name, (serializers.Serializer,), fields)


def _field(kind: Any, parameter: inspect.Parameter) -> serializers.Field[Any, Any, Any, Any]:
    optional = parameter.default is not inspect.Parameter.empty
    more: dict[str, Any] = {"required": not optional}
    if get_origin(kind) in (Union, UnionType):
        (kind,) = (one for one in get_args(kind) if one is not NoneType)
        more["allow_null"] = True
    if kind is str:
        return serializers.CharField(**more, allow_blank=optional, trim_whitespace=False, max_length=LONGEST_TEXT)
    if get_origin(kind) is tuple:
        return serializers.ListField(**more, child=serializers.CharField(max_length=LONGEST_TEXT))
    plain: dict[Any, type[serializers.Field[Any, Any, Any, Any]]] = {
        bool: serializers.BooleanField,
        int: serializers.IntegerField,
        float: serializers.FloatField,
        date: serializers.DateField,
        datetime: serializers.DateTimeField,
    }
    return plain[kind](**more)


def endpoint(run: Callable[..., Done]) -> Callable[..., Any]:
    """The API view of one action."""
    takes = input_of(run)

    @extend_schema(
        operation_id=run.__name__,
        description=inspect.getdoc(run),
        parameters=[_KEY],
        request=takes,
        responses={200: DoneOutput, 409: RefusedOutput},
    )
    @api_view(["POST"])
    def view(request: Request) -> Response:
        given = _given(takes, request)
        positional = {name: tuple(value) if isinstance(value, list) else value for name, value in given.items()}
        return Response(run(**positional, act=_act(request)).as_dict())

    return view


def _given(takes: type[serializers.Serializer[Any]], request: Request) -> dict[str, Any]:
    serializer = takes(data=request.data)
    unknown = sorted(set(request.data) - set(serializer.fields)) if isinstance(request.data, dict) else []
    if unknown:
        raise ValidationError({name: ["This field is not known."] for name in unknown})
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def _act(request: Request) -> Act:
    key = request.headers.get(KEY_HEADER, "")
    if not 0 < len(key) <= LONGEST_KEY:
        raise ValidationError({KEY_HEADER: [f"This header must hold 1 to {LONGEST_KEY} characters."]})
    return Act(by=cast("Person", request.user), method="token" if request.auth else "password", key=key)


def action_routes(app: str) -> list[URLPattern]:
    """One route for every action of an app: `app/verb/`, named `api-app-verb`."""
    own = {name: run for name, run in ACTIONS.items() if name.split(".")[0] == app}
    return [
        path(name.replace(".", "/").replace("_", "-") + "/", endpoint(run), name=f"api-{name}".replace(".", "-"))
        for name, run in sorted(own.items())
    ]
