"""What the test does not show, cautions, the record and how to check it, and where to sign."""

import math
import re

from benchctl.core.profile import FanSupply
from benchctl.report.dossier import Dossier
from benchctl.report.measures import short
from benchctl.report.parts import Bullets, Pairs, Para, Section, Signatures
from benchctl.report.words import say

SLASH = re.compile(r"[/\\]")
COMMANDS = ("sha256sum {file}", "shasum -a 256 {file}", "certutil -hashfile {file} SHA256")


def not_shown(dossier: Dossier) -> Section:
    """Said plainly, so that nobody reads more into the test than there is."""
    site = dossier.run.site
    fed = [unit.name for unit in site.units if unit.profile.fan.supply is FanSupply.SOURCE]
    items = [
        *([say("simulated")] if dossier.run.rehearsal else []),
        *_unity(dossier),
        say("load only"),
        say("quick", refresh=f"{short(dossier.trail.refresh_s)} s"),
        *([say("fans", names=", ".join(fed))] if fed else []),
        *_site_load(dossier),
    ]
    return Section(say("not shown"), (Bullets(tuple(items)),))


def _site_load(dossier: Dossier) -> list[str]:
    """Whether the site's own load was part of what the source carried."""
    site, program = dossier.run.site, dossier.run.program
    if program is not None and program.site_load_off:
        return [say("site load off")]
    metered = any(i.place == "site load" for i in site.instruments)
    return [say("site load")] if site.site_load_reserve_kw or metered else []


def _unity(dossier: Dossier) -> list[str]:
    plate, trail = dossier.run.site.nameplate, dossier.trail
    if plate.power_factor >= 0.99:
        return []
    known = [(kw, i) for i, kw in enumerate(trail.power_kw) if not math.isnan(kw)]
    if not known:
        return [say("unity no amps", pf=short(plate.power_factor))]
    most_kw, i = max(known)
    phases = [c[i] for c in (trail.amps_a, trail.amps_b, trail.amps_c) if i < len(c) and not math.isnan(c[i])]
    if not phases:
        return [say("unity no amps", pf=short(plate.power_factor))]
    amps = max(phases)
    return [
        say(
            "unity",
            kw=f"{most_kw:.0f}",
            amps=f"{amps:.0f}",
            percent=f"{100.0 * amps / plate.rated_amps:.0f}",
            rated=f"{plate.rated_amps:.0f}",
            pf=short(plate.power_factor),
        )
    ]


def cautions(dossier: Dossier) -> Section:
    """Disclaimers."""
    keys = ("authority", "standards", "safety", "fuel caution")
    return Section(say("cautions"), (Bullets(tuple(say(key) for key in keys)),))


def the_record(dossier: Dossier, embedded: tuple[str, ...]) -> Section:
    """Its hash, and how anybody can work it out."""
    run = dossier.run
    file = f"{run.name}.run"
    if run.altered:
        state = say("altered", what="; ".join(run.altered[:3]))
    else:
        state = say("intact") if run.sealed else say("unsealed")
    made_from = "; ".join(f"{SLASH.split(f.path)[-1]} (sha256 {f.sha256[:16]}…)" for f in run.files)
    pairs = (
        (say("record file"), file),
        (say("record hash"), in_groups(run.sha256)),
        (say("record sealed"), run.sealed or say("unsealed")),
        (say("record tool"), f"benchctl {run.meta.get('tool', '')}, run {run.meta.get('run', '')}"),
        (say("record files"), made_from),
        (say("record state"), state),
        *((say("record beside"), f"{name}, sha256 {in_groups(digest)}") for name, digest in run.beside.items()),
    )
    commands = "; ".join(command.format(file=file) for command in COMMANDS)
    return Section(
        say("the record"),
        (
            Para(say("record text")),
            Pairs(pairs),
            Para(say("how to check") + commands + "."),
            Para(say("how to check more")),
            *((Para(say("embedded", names=", ".join(embedded)), "note"),) if embedded else ()),
        ),
        new_page=True,
    )


def in_groups(digest: str) -> str:
    """A hash that a person can compare: groups of eight digits."""
    return " ".join(digest[i : i + 8] for i in range(0, len(digest), 8))


def signatures(dossier: Dossier) -> Section:
    """Operator, witness, authority."""
    roles = (say("operator"), say("witness"), say("authority role"))
    lines = (say("sign name"), say("sign date"), say("sign line"))
    return Section(say("signatures"), (Para(say("sign note"), "note"), Signatures(roles, lines)))
