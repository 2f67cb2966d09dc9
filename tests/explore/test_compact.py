"""What is left out of a compact state decides nothing: a walk and its compact twin never part."""

import random
from dataclasses import replace

import pytest

from benchctl.core.decide import decide
from benchctl.core.decision import first_state
from tests.explore.expand import Expander, short_times
from tests.explore.world import after_orders, commands, first_plants, given
from tests.explore.worlds import SMALL

SCANS = 150


@pytest.mark.parametrize("name", SMALL)
def test_a_state_and_its_compact_twin_have_the_same_future(name):
    """Two walks side by side, one that keeps the whole state, one packed in every scan: same orders, same bytes."""
    chance = random.Random(name)
    with short_times():
        expander = Expander(SMALL[name])
        compact, settings = expander.compact, expander.settings
        whole, plants = first_state(settings), first_plants(expander.world)
        packed = compact.pack(whole, plants)
        bursts = iter(expander.world.begin)
        for number in range(SCANS):
            twin, twin_plants = compact.unpack(packed)
            assert twin_plants == plants
            scans = list(given(expander.world, plants))
            burst = next(bursts, None)
            _, moved, inputs = scans[0] if burst is not None else chance.choice(scans)
            burst = chance.choice(expander.bursts) if burst is None else burst
            inputs = replace(inputs, commands=commands(burst))
            one, other = decide(whole, inputs, settings), decide(twin, inputs, settings)
            assert one.orders == other.orders
            assert [e.kind for e in one.events] == [e.kind for e in other.events], number
            plants = after_orders(moved, one.orders)
            packed = compact.pack(one.state, plants)
            assert compact.pack(other.state, plants) == packed
            whole = one.state


def test_a_packed_state_is_packed_again_to_the_same_bytes():
    with short_times():
        expander = Expander(SMALL["lost"])
        node, _ = expander.begin()
        for _, _, after, _ in expander.expand(node):
            assert expander.compact.pack(*expander.compact.unpack(after.packed)) == after.packed


def test_two_states_that_may_part_have_different_bytes():
    """One bit of one unit, one second of one time: the bytes tell."""
    with short_times():
        expander = Expander(SMALL["lost"])
        node, _ = expander.begin()
    for change in ({"fan": False}, {"proven": False}, {"owed_s": 1.0}, {"wanted": 0}, {"out": True}, {"age_s": 2.0}):
        state, plants = expander.compact.unpack(node.packed)
        for name, value in change.items():
            setattr(state.units[0], name, value)
        assert expander.compact.pack(state, plants) != node.packed, change
