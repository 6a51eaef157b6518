"""API of parts and pieces: read-only views, and one POST route per action."""

from __future__ import annotations

from typing import Any

from django.urls import path
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.generics import ListAPIView, RetrieveAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

import instruments.actions  # noqa: F401 - enters its actions
from instruments.fit import worst
from instruments.forms import FitForm
from instruments.lumens import lumens_of
from instruments.models import Loan, Mark, Part, Piece
from instruments.reads import fit_limits, members_of
from instruments.rulings import Ruling, rulings
from journal.api import FindingOutput, LineOutput, action_routes

FIT_QUESTIONS = (
    ("bore", "Code of the barrel, or of a sheath or loader alone."),
    ("base", "Code of the base."),
    ("shafts", "Codes of what goes through at once."),
    ("sheath", "Code of the sheath."),
    ("loader", "Code of the loader."),
    ("implant", "Code of the implant."),
    ("pusher", "Code of the pusher."),
    ("gap_mm", "Running gap [mm]; the unit's policy if left out."),
    ("wanted_mm", "Wanted reach past the tip [mm]; the unit's policy if left out."),
    ("seal-PORT", "Code of the seal on the port of this name."),
    ("port-SHAFT", "Name of the port that the shaft of this code goes through."),
)


class PartOutput(serializers.ModelSerializer[Part]):
    """A part of the catalogue."""

    size = serializers.CharField(source="size.label", default=None)
    series = serializers.CharField(source="size.series.code", default=None)

    class Meta:
        model = Part
        fields = [
            "code",
            "name",
            "kind",
            "series",
            "size",
            "mass_g",
            "single_use",
            "life_limit",
            "service_days",
            "function_test",
            "insulated",
            "take_apart",
        ]
        read_only_fields = fields


class MarkOutput(serializers.ModelSerializer[Mark]):
    """A mark on a piece."""

    class Meta:
        model = Mark
        fields = ["text", "scheme", "current"]
        read_only_fields = fields


class PieceOutput(serializers.ModelSerializer[Piece]):
    """A piece with its marks."""

    part = serializers.CharField(source="part.code")
    name = serializers.CharField(source="part.name")
    place = serializers.CharField(source="place.code", default=None)
    loan = serializers.CharField(source="loan.code", default=None)
    marks = MarkOutput(many=True)

    class Meta:
        model = Piece
        fields = [
            "code",
            "part",
            "name",
            "state",
            "place",
            "serial",
            "lot",
            "expires",
            "cycles",
            "service_due",
            "due_back",
            "loan",
            "function_ok",
            "insulation_ok",
            "called_back",
            "marks",
        ]
        read_only_fields = fields


class PieceDetail(PieceOutput):
    """A piece with its trail."""

    lines = LineOutput(many=True)

    class Meta(PieceOutput.Meta):
        fields = [*PieceOutput.Meta.fields, "lines"]
        read_only_fields = fields


class Parts(ListAPIView[Part]):
    """Every part; `?kind=` for one kind."""

    serializer_class = PartOutput

    def get_queryset(self) -> Any:
        """All, or of one kind."""
        kind = self.request.query_params.get("kind")
        rows = Part.objects.select_related("size__series")
        return rows.filter(kind=kind) if kind else rows


class Pieces(ListAPIView[Piece]):
    """Every piece; `?state=` and `?part=` narrow."""

    serializer_class = PieceOutput

    def get_queryset(self) -> Any:
        """All, or of a state or a part."""
        wanted = self.request.query_params
        rows = Piece.objects.select_related("part", "place", "loan").prefetch_related("marks")
        if "state" in wanted:
            rows = rows.filter(state=wanted["state"])
        return rows.filter(part__code=wanted["part"]) if "part" in wanted else rows


class OnePiece(RetrieveAPIView[Piece]):
    """A piece with its marks and its trail."""

    serializer_class = PieceDetail
    lookup_field = "code"
    queryset = Piece.objects.select_related("part", "place", "loan").prefetch_related("marks", "lines__person")


class LoanOutput(serializers.ModelSerializer[Loan]):
    """A loan."""

    class Meta:
        model = Loan
        fields = [
            "code",
            "direction",
            "state",
            "party",
            "reference",
            "due",
            "agreed",
            "instructions",
            "prion_history",
            "certificate",
        ]
        read_only_fields = fields


class LoanMemberOutput(serializers.Serializer[Any]):
    """A piece of a loan, how it arrived, and what became of it."""

    piece = serializers.CharField(source="piece.code")
    part = serializers.CharField(source="piece.part.code")
    condition = serializers.CharField()
    outcome = serializers.CharField(source="fact.outcome")


class LoanDetail(LoanOutput):
    """A loan with its pieces and its trail."""

    members = serializers.SerializerMethodField()
    lines = LineOutput(many=True)

    class Meta(LoanOutput.Meta):
        fields = [*LoanOutput.Meta.fields, "members", "lines"]
        read_only_fields = fields

    @extend_schema_field(LoanMemberOutput(many=True))
    def get_members(self, loan: Loan) -> Any:
        """Its pieces, in the order in which they were counted."""
        return LoanMemberOutput(members_of(loan), many=True).data


class Loans(ListAPIView[Loan]):
    """Every loan; `?state=` and `?direction=` narrow."""

    serializer_class = LoanOutput

    def get_queryset(self) -> Any:
        """All, or of a state or a direction."""
        wanted = {name: value for name, value in self.request.query_params.items() if name in ("state", "direction")}
        return Loan.objects.filter(**wanted)


class OneLoan(RetrieveAPIView[Loan]):
    """A loan with its pieces and its trail."""

    serializer_class = LoanDetail
    lookup_field = "code"
    queryset = Loan.objects.prefetch_related("lines__person")


class RulingOutput(serializers.Serializer[Ruling]):
    """What one rule says of a set-up."""

    title = serializers.CharField(source="rule.title")
    rule = serializers.CharField(source="rule.sentence")
    fit = serializers.CharField(source="judgement.fit")
    findings = FindingOutput(source="judgement.findings", many=True)


class PassageOutput(serializers.Serializer[Any]):
    """Shafts side by side in one bore, at nominal dimensions."""

    required_bore_mm = serializers.FloatField()
    passes = serializers.BooleanField()
    spare_mm = serializers.FloatField()
    certified = serializers.BooleanField()
    free_area_mm2 = serializers.FloatField()
    free_share = serializers.FloatField()
    hydraulic_diameter_mm = serializers.FloatField()


class LumenOutput(serializers.Serializer[Any]):
    """A tube with what is in it; nothing is said of what is not measured."""

    tube = serializers.CharField(source="tube.name")
    passage = PassageOutput(allow_null=True)
    drop_ratio = serializers.FloatField(allow_null=True)
    least_drop_ratio = serializers.FloatField(allow_null=True)


class FitOutput(serializers.Serializer[Any]):
    """The judgement on a set-up."""

    fit = serializers.CharField()
    rulings = RulingOutput(many=True)
    lumens = LumenOutput(many=True)


class JudgedFit(APIView):
    """The judgement of the fit explorer, on the same questions as its page."""

    @extend_schema(
        parameters=[
            OpenApiParameter(name, str, many=name == "shafts", description=words) for name, words in FIT_QUESTIONS
        ],
        responses=FitOutput,
    )
    def get(self, request: Request) -> Response:
        """A set-up by the codes of its parts: every ruling with its rule, and what is left open."""
        form = FitForm(request.query_params, fit_limits())
        if form.mounting is None:
            wrong = {name: [str(word) for word in said] for name, said in form.errors.items()}
            raise ValidationError(wrong or {"bore": ["Cannot judge a set-up: it has no barrel. Name one."]})
        found = rulings(form.mounting, form.limits)
        judged = {
            "fit": worst(ruling.judgement.fit for ruling in found),
            "rulings": found,
            "lumens": lumens_of(form.mounting, form.limits.gap_mm),
        }
        return Response(FitOutput(judged).data)


urlpatterns = [
    path("fit/", JudgedFit.as_view(), name="api-fit"),
    path("parts/", Parts.as_view(), name="api-parts"),
    path("pieces/", Pieces.as_view(), name="api-pieces"),
    path("pieces/<str:code>/", OnePiece.as_view(), name="api-piece"),
    path("loans/", Loans.as_view(), name="api-loans"),
    path("loans/<str:code>/", OneLoan.as_view(), name="api-loan"),
    *action_routes("instruments"),
]
