"""The writes of a drop, made ready before it comes: then nothing is left to work out but a transaction id. Pure."""

from benchctl.core.orders import UnitOrders
from benchctl.core.profile import Profile
from benchctl.core.site import Unit
from benchctl.field.encode import Writes, encode
from benchctl.field.modbus import write_question

OPEN_ALL = UnitOrders(lower=True)


def ready(unit: Unit) -> Writes | None:
    """What `OPEN_ALL` writes to a unit, its frames made too; None where that depends on what the unit holds."""
    if not _fixed(unit.profile):
        return None
    try:
        writes = encode(unit, OPEN_ALL, all_stages=True)
        for request in writes.openings:
            write_question(unit.unit_id, request)
    except ValueError:  # it is told when it is ordered
        return None
    return writes


def _fixed(profile: Profile) -> bool:
    """False where a load register has a scale factor to be read or wears out, or a stage's holds other bits too."""
    registers = profile.registers
    if profile.setpoint is not None:
        whole = registers.point("setpoint_kw")
    else:
        whole = registers.point("stages_order")
        if whole is not None and whole.write_function is None:
            whole = None
    if whole is not None:
        return whole.scale_from is None and not whole.nonvolatile
    return all(s.order is None or s.order.space.bits for s in profile.stages)
