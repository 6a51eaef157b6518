"""`manage.py webhook_secret CHANNEL`: the secret of a webhook, for whoever holds the site's key."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from journal.models import Channel
from journal.outside import ChannelKind
from journal.webhook import KEY_BYTES, secret_of


class Command(BaseCommand):
    """Print the secret; make the site's key when it is asked for the first time."""

    help = "Print the secret with which notices to a webhook are signed; made of the site's key, in no database."

    def add_arguments(self, parser: CommandParser) -> None:
        """Which channel."""
        parser.add_argument("channel", type=int, help="number of the channel, as its page says it")

    def handle(self, *args: Any, channel: int, **options: Any) -> None:
        """A channel that is no webhook, and a key that cannot be read, are said in one sentence."""
        if not Channel.objects.in_use().filter(pk=channel, kind=ChannelKind.WEBHOOK).exists():
            raise CommandError(f"Cannot find webhook {channel}: no open channel of the unit has this number.")
        path = Path(settings.WEBHOOK_KEY_FILE)
        try:
            if not path.exists():
                path.touch(mode=0o600)
                path.write_text(secrets.token_hex(KEY_BYTES))
            self.stdout.write(secret_of(path.read_text(), channel))
        except (OSError, ValueError) as refusal:
            raise CommandError(
                f"Cannot make a secret: the key file {path} is not readable as 64 hexadecimal digits."
            ) from refusal
