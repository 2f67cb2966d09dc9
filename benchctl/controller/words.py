"""Events as clients get them."""

from benchctl.controller.news import Happened
from benchctl.core.site import Site
from benchctl.door import messages as m


def told(site: Site, happened: Happened) -> m.Event:
    """An event as clients get it."""
    frame, event = happened.frame, happened.event
    unit = site.units[event.unit].name if 0 <= event.unit < len(site.units) else ""
    text = event.text if unit in event.text else f"{event.text} {unit}"
    return m.Event(
        number=frame.number, wall_s=frame.wall_s, now_s=frame.inputs.now_s, what=event.kind, text=text, unit=unit,
        who=event.who, data=dict(event.data),
    )  # fmt: skip
