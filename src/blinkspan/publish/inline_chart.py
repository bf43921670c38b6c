"""The chart as part of a page, in the page's own colours."""

import re
from dataclasses import fields
from html import escape

from blinkspan.publish.palette import LIGHT


def inline_chart(svg: bytes, label: str) -> str:
    """Return the chart's SVG without what only a file needs, its colours made the page's.

    Each colour of the light palette becomes a CSS variable of the same name, so
    that the page's dark half reaches the chart too. The file's own style rule,
    which would reach the whole page, and its fixed size go.
    """
    text = svg.decode()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r"<style\b.*?</style>", "", text, flags=re.DOTALL)
    text = re.sub(r'(<svg\b[^>]*?) width="[^"]*"', r"\1", text, count=1)
    text = re.sub(r'(<svg\b[^>]*?) height="[^"]*"', r"\1", text, count=1)
    for name in (field.name for field in fields(LIGHT)):
        text = text.replace(f": {getattr(LIGHT, name)}", f": var(--{name})")
    return text.replace("<svg", f'<svg class="chart" role="img" aria-label="{escape(label)}"', 1)
