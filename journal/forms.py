"""Signing in at a shared station."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField

from journal.models import Person


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
