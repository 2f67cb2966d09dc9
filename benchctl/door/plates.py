"""What a welcome says of the bench's parts: as much of the site's files as a screen needs to draw it."""

from dataclasses import asdict

from pydantic import BaseModel

from benchctl.core.site import Instrument, Limits, Nameplate, Unit
from benchctl.door.keys import CONFIG, Told


class UnitPlate(BaseModel):
    """A unit. endpoint: HOST:PORT/unit id. stages: name and rated kW; none where it chooses its own, in step_kw."""

    model_config = CONFIG

    name: Told
    title: Told  # of its profile
    position: Told
    rated_kw: float
    endpoint: Told
    stages: tuple[tuple[Told, float], ...]
    step_kw: float | None

    @classmethod
    def of(cls, unit: Unit) -> "UnitPlate":
        """The plate of a unit of a site."""
        end, profile = unit.endpoint, unit.profile
        return cls(
            name=unit.name,
            title=profile.title,
            position=unit.position,
            rated_kw=profile.rated_kw,
            endpoint=f"{end.host}:{end.port}/{unit.unit_id}",
            stages=tuple((stage.name, stage.power_kw) for stage in profile.stages),
            step_kw=profile.setpoint.resolution_kw if profile.setpoint else None,
        )


class InstrumentPlate(BaseModel):
    """A meter or panel. endpoint: HOST:PORT/unit id."""

    model_config = CONFIG

    name: Told
    role: str
    place: str
    endpoint: Told

    @classmethod
    def of(cls, instrument: Instrument) -> "InstrumentPlate":
        """The plate of an instrument of a site."""
        end = instrument.endpoint
        return cls(
            name=instrument.name,
            role=instrument.role,
            place=instrument.place,
            endpoint=f"{end.host}:{end.port}/{instrument.unit_id}",
        )


class SourcePlate(BaseModel):
    """The source's nameplate. volts_v as the nameplate counts them; rating_class of ISO 8528-1, or empty."""

    model_config = CONFIG

    name: Told
    kind: str
    power_kw: float
    apparent_kva: float
    volts_v: float
    hertz: float
    rated_amps: float
    power_factor: float
    rating_class: str
    wiring: str

    @classmethod
    def of(cls, plate: Nameplate) -> "SourcePlate":
        """The plate of a site's source."""
        return cls(
            name=plate.name,
            kind=plate.kind,
            power_kw=plate.power_kw,
            apparent_kva=plate.apparent_kva,
            volts_v=plate.volts,
            hertz=plate.hertz,
            rated_amps=plate.rated_amps,
            power_factor=plate.power_factor,
            rating_class=plate.rating_class,
            wiring=plate.wiring.value,
        )


def limits_of(limits: Limits) -> dict[str, float]:
    """Every limit by its name in core.site.Limits, in the unit that ends the name; percentages are of the nameplate."""
    return {name: float(value) for name, value in asdict(limits).items()}
