"""A verb's picture inside a page: the same drawing, its literal colours turned into the page's own.

Theory  A picture travels alone and carries literal colours; within a page the same few colours follow day, night and
        paper. Names inside a drawing are made different from those of its neighbours.
Source  report/palette.py for the palette.
Holds   SVG written by report/; another is shown as it is.
"""

import re

from markupsafe import Markup

from tepui.report import palette

COLOURS = {
    palette.SHEET: "--sheet",
    palette.WASH: "--wash",
    palette.INK: "--ink",
    palette.INK_SOFT: "--ink-soft",
    palette.RULE: "--rule",
    palette.HAIR: "--hair",
    palette.PENCIL: "--pencil",
    palette.PENCIL_WASH: "--pencil-wash",
}
_HEAD = re.compile(r"^.*?(?=<svg)", re.DOTALL)
_META = re.compile(r"<metadata>.*?</metadata>", re.DOTALL)
_STYLE = re.compile(r"<style.*?</style>", re.DOTALL)  # it would rule the whole page
_COLOUR = re.compile("|".join(re.escape(colour) for colour in COLOURS), re.IGNORECASE)
_NAME = re.compile(r'(\bid="|url\(#|href="#)')


def inline(svg: str, *, name: str) -> Markup:
    """The drawing as part of a page.

    svg   text of the file
    name  what its inner names begin with, one for each drawing of the page
    """
    text = _STYLE.sub("", _META.sub("", _HEAD.sub("", svg, count=1)))
    text = _COLOUR.sub(lambda found: f"var({COLOURS[found.group(0).lower()]})", text)
    text = _NAME.sub(lambda found: f"{found.group(1)}{name}-", text)
    root, rest = text[: text.index(">")], text[text.index(">") :]
    root = re.sub(r'\s(width|height)="[^"]*"', "", root)
    return Markup(f'{root} role="img" style="stroke-linejoin: round; stroke-linecap: butt"{rest}')
