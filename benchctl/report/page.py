"""Content → one HTML file that needs nothing else and asks nobody: no script, no net, pictures and data inside."""

import base64
from importlib.resources import files
from typing import Any

from benchctl.report.parts import Content
from benchctl.report.typeset import Attached


def page(content: Content, attached: tuple[Attached, ...]) -> str:
    """The page. Every text is escaped; only the pictures, which we draw ourselves, are put in as they are."""
    import jinja2

    environment = jinja2.Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined
    )
    template = environment.from_string(files("benchctl.report").joinpath("report.html.j2").read_text(encoding="utf-8"))
    return template.render(c=content.plain(), attached=[_inside(a) for a in attached]) + "\n"


def _inside(a: Attached) -> dict[str, Any]:
    return {"name": a.name, "mime": a.mime, "base64": base64.b64encode(a.text.encode()).decode()}
