"""Read plans. Sizes of requests: Modbus Application Protocol 1.1b3, functions 1 to 4."""

from hypothesis import given
from hypothesis import strategies as st

from benchctl.core.registers import Kind, Point, RegisterMap, Space, Span
from benchctl.field.points import Block, plan_device, plan_reads
from tests.field.made import C, H

KINDS = st.sampled_from([Kind.UINT16, Kind.INT32, Kind.FLOAT32, Kind.UINT64, Kind.FLOAT64])


def registers(*addresses: int) -> RegisterMap:
    return RegisterMap(tuple(Point(f"p{a}", H, a, Kind.UINT16) for a in addresses))


def test_A4_no_request_crosses_an_address_that_the_map_does_not_declare():
    shape = registers(100, 101, 103, 104)
    assert plan_reads(shape, shape.points) == (Block(H, 100, 2), Block(H, 103, 2))


def test_A4_a_gap_declared_readable_is_read_across():
    shape = RegisterMap(registers(100, 101, 103, 104).points, readable=(Span(H, 100, 104),))
    assert plan_reads(shape, shape.points) == (Block(H, 100, 5),)


def test_a_readable_span_of_another_space_bridges_nothing():
    shape = RegisterMap(registers(0, 2).points, readable=(Span(C, 0, 2),))
    assert len(plan_reads(shape, shape.points)) == 2


def test_a_register_that_is_only_written_is_never_read_nor_read_across():
    shape = RegisterMap(
        (
            Point("inlet_c", H, 0, Kind.INT16),
            Point("watchdog_feed", H, 1, Kind.UINT16),
            Point("exhaust_c", H, 2, Kind.INT16),
        )
    )
    assert plan_device(shape, shape.points).blocks == (Block(H, 0, 1), Block(H, 2, 1))


def test_values_read_seldom_have_blocks_of_their_own_unless_a_block_of_every_scan_holds_them():
    shape = RegisterMap(
        (
            Point("inlet_c", H, 0, Kind.INT16),
            Point("model_id", H, 1, Kind.UINT16, once=True),
            Point("exhaust_c", H, 2, Kind.INT16),
            Point("serial", H, 50, Kind.TEXT, length=4, once=True),
        )
    )
    plan = plan_device(shape, shape.points)
    assert (plan.blocks, plan.each) == ((Block(H, 0, 3), Block(H, 50, 4)), 1)
    assert plan.values[0] == ((0, 1), (1, 2), (2, 3))


def test_a_scale_factor_is_read_in_every_scan_that_its_value_is():
    shape = RegisterMap(
        (Point("hertz", H, 0, Kind.INT16, scale_from="hertz_sf"), Point("hertz_sf", H, 90, Kind.INT16, once=True))
    )
    assert plan_device(shape, shape.points).each == 2


@st.composite
def maps(draw):
    """Values without overlap in a narrow space, with spans and limits: small enough to compare with every plan."""
    points, at = [], draw(st.integers(0, 3))
    for i in range(draw(st.integers(1, 8))):
        kind = draw(KINDS)
        points.append(Point(f"p{i}", H, at, kind))
        at += kind.words + draw(st.sampled_from([0, 0, 1, 2]))
    drawn = draw(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 8)), max_size=3))
    spans = tuple(Span(H, a, a + n) for a, n in drawn)
    return RegisterMap(tuple(points), spans, max_registers=draw(st.integers(4, 12)))


def declared(shape: RegisterMap) -> set[int]:
    found = {a for p in shape.points for a in range(p.address, p.end)}
    return found.union(*(range(s.first, s.last + 1) for s in shape.readable))


def fewest(shape: RegisterMap, wanted: list[Point]) -> int:
    """The smallest number of allowed blocks, by trying every way to cut the row of values."""
    known = declared(shape)
    best = [0] + [99] * len(wanted)
    for end in range(1, len(wanted) + 1):
        for begin in range(end):
            first, last = wanted[begin].address, wanted[end - 1].end
            if last - first <= shape.max_registers and known.issuperset(range(first, last)):
                best[end] = min(best[end], best[begin] + 1)
    return best[-1]


@given(maps(), st.data())
def test_every_plan_is_whole_lawful_and_as_short_as_any(shape, data):
    wanted = sorted(data.draw(st.sets(st.sampled_from(shape.points), min_size=1)), key=lambda p: p.address)
    blocks = plan_reads(shape, wanted)
    known = declared(shape)
    for block in blocks:
        assert block.count <= shape.max_registers
        assert known.issuperset(range(block.first, block.end))
    for point in wanted:
        assert sum(b.space is Space.HOLDING and b.first <= point.address and point.end <= b.end for b in blocks) == 1
    assert len(blocks) == fewest(shape, wanted)
