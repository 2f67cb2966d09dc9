"""A long answer made in pieces is the same line, and others get their turn meanwhile."""

import asyncio
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from benchctl.door import messages as m
from benchctl.door.pieces import PIECE, answer_line

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=True) | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)
LISTS = st.builds(lambda values, length: (values * length)[:length], st.lists(VALUES, min_size=1), st.integers(0, 700))


@given(st.dictionaries(st.text(max_size=9), LISTS | VALUES, max_size=4))
def test_the_line_is_that_of_a_short_answer(data):
    answer = m.Accepted(id=7, data=data)
    assert asyncio.run(answer_line(answer)) == m.encode(answer)


async def test_others_get_their_turn_between_the_pieces():
    turns = 0

    async def other():
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    beside = asyncio.create_task(other())
    await answer_line(m.Accepted(id=1, data={"rows": [[1.0] * 10] * (20 * PIECE)}))
    beside.cancel()
    assert turns >= 19


async def test_what_is_no_json_is_told_as_text_here_too():
    data = {"rows": [Path("a"), object] * PIECE}
    back = m.decode(await answer_line(m.Accepted(id=1, data=data)), m.HOST_KINDS)
    assert isinstance(back, m.Accepted)
    assert back.data["rows"][0] == "a"
