"""The fields of a form as a browser sends them, without the blanks around them."""

from typing import Annotated
from urllib.parse import parse_qsl

from fastapi import Depends, Request


async def _sent(request: Request) -> dict[str, str]:
    body = (await request.body()).decode("utf-8", "replace")
    return {name: value.strip() for name, value in parse_qsl(body, keep_blank_values=True)}


def revision_of(sent: dict[str, str]) -> int | None:
    """Return the revision of what a person saw before changing it, None where none was sent."""
    text = sent.get("revision", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None


Sent = Annotated[dict[str, str], Depends(_sent)]
