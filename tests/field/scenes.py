"""Chains of made units in their places, for scenes in virtual time."""

import asyncio

from benchctl.core.orders import Orders
from benchctl.core.site import Endpoint
from benchctl.field.modbus import write_question
from tests.field.made import mask_bank, site, unit

PLACES = [Endpoint("192.0.2.1", 500 + i) for i in range(4)]
GATE = Endpoint("192.0.2.9", 502, gateway=True)


def after(delay_s, script):
    """The script's replies, later."""
    return lambda asked: (delay_s, reply) if isinstance(reply := script(asked), bytes) else reply


def banks(made=None, count=3, places=PLACES):
    return site(*(unit(made or mask_bank(), places[i], name=f"bank {i + 1}") for i in range(count)))


def behind_a_gateway(count=3, made=None):
    return site(*(unit(made or mask_bank(), GATE, i + 1, f"bank {i + 1}") for i in range(count)))


def now():
    return asyncio.get_running_loop().time()


def orders(*given, **more):
    return Orders(tuple(given), **more)


async def written(link, request, timeout_s, until_s):
    """One write to unit 1 of a link; its answer."""
    return await link.ask(write_question(1, request), timeout_s, until_s, write=True)
