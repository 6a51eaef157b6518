"""Signing in at a shared station, and the channels of notices."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField

from journal.models import LONGEST_ADDRESS, Person
from journal.outside import ChannelKind
from journal.roles import Role


class SignInForm(AuthenticationForm):
    """Name and password. A badge scanned into the name field names its person; it does not prove them."""

    username = UsernameField(
        label="Name or badge",
        help_text="Type your name, or scan your badge.",
        widget=forms.TextInput(attrs={"autofocus": True}),
    )

    error_messages = {
        "invalid_login": "Cannot sign in: name and password do not belong together. Type both again.",
        "inactive": "Cannot sign in: this person no longer works here. Ask the quality lead.",
    }

    def clean_username(self) -> str:
        """The sign-in name, also of a badge."""
        text: str = self.cleaned_data["username"]
        named = Person.objects.filter(badge=text.strip().upper()).values_list("username", flat=True).first()
        return named or text


class ChannelForm(forms.Form):
    """A channel by which notices leave the unit."""

    kind = forms.ChoiceField(choices=[(str(kind), str(kind).capitalize()) for kind in ChannelKind], label="By")
    address = forms.CharField(
        max_length=LONGEST_ADDRESS, help_text="lead@unit.example, or https://pager.example/notices"
    )
    role = forms.ChoiceField(
        choices=[("", "Each role"), *((str(role), str(role).capitalize()) for role in Role)],
        required=False,
        label="Notices for",
        help_text="And those that climb to it.",
    )
    every_topic = forms.BooleanField(required=False, label="Also what can wait for a working day")
