"""Examples and limits of the Modbus Application Protocol Specification V1.1b3 (examples via public vectors)."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.core.registers import Space
from simulator.wire import NotModbus, Refusal, answer, frame, split


class Plain:
    """A store whose every address exists; `given` holds what is not 0."""

    def __init__(self, space: Space | None = None, first: int = 0, values: tuple[int, ...] = ()) -> None:
        self.words = {(space, first + i): v for i, v in enumerate(values)}

    def read(self, space, first, count):
        return [self.words.get((space, first + i), 0) for i in range(count)]

    def write(self, space, first, values, function):
        self.words.update({(space, first + i): v for i, v in enumerate(values)})


class Nothing:
    """A store without a single address."""

    def read(self, space, first, count):
        raise Refusal(2)

    def write(self, space, first, values, function):
        raise Refusal(2)


def bits(text: str, count: int) -> tuple[int, ...]:
    whole = int.from_bytes(bytes.fromhex(text), "little")
    return tuple(whole >> i & 1 for i in range(count))


def words(text: str) -> tuple[int, ...]:
    raw = bytes.fromhex(text)
    return tuple(raw[i] << 8 | raw[i + 1] for i in range(0, len(raw), 2))


GOLDEN = [
    ("FC01", Plain(Space.COIL, 0x13, bits("CD 6B 05", 19)), "01 0013 0013", "01 03 CD6B05"),
    ("FC02", Plain(Space.DISCRETE, 0xC4, bits("AC DB 35", 22)), "02 00C4 0016", "02 03 ACDB35"),
    ("FC03", Plain(Space.HOLDING, 0x6B, (555, 0, 100)), "03 006B 0003", "03 06 022B 0000 0064"),
    ("FC04", Plain(Space.INPUT, 8, (10,)), "04 0008 0001", "04 02 000A"),
    ("FC05", Plain(), "05 00AC FF00", "05 00AC FF00"),
    ("FC06", Plain(), "06 0001 0003", "06 0001 0003"),
    ("FC15", Plain(), "0F 0013 000A 02 CD01", "0F 0013 000A"),
    ("FC16", Plain(), "10 0001 0002 04 000A 0102", "10 0001 0002"),
    ("FC22", Plain(Space.HOLDING, 4, (0x12,)), "16 0004 00F2 0025", "16 0004 00F2 0025"),
    (
        "FC23",
        Plain(Space.HOLDING, 3, words("00FE 0ACD 0001 0003 000D 00FF")),
        "17 0003 0006 000E 0003 06 00FF 00FF 00FF",
        "17 0C 00FE 0ACD 0001 0003 000D 00FF",
    ),
    ("exception", Nothing(), "01 04A1 0001", "81 02"),
]


@pytest.mark.parametrize(("store", "request_hex", "reply_hex"), [pytest.param(*g[1:], id=g[0]) for g in GOLDEN])
def test_the_specifications_examples_are_answered_byte_for_byte(store, request_hex, reply_hex):
    assert answer(bytes.fromhex(request_hex), store) == bytes.fromhex(reply_hex)


@pytest.mark.parametrize(
    ("request_hex", "space", "place", "values"),
    [
        ("05 00AC FF00", Space.COIL, 0xAC, (1,)),
        ("0F 0013 000A 02 CD01", Space.COIL, 0x13, bits("CD01", 10)),
        ("10 0001 0002 04 000A 0102", Space.HOLDING, 1, (0x0A, 0x0102)),
        ("16 0004 00F2 0025", Space.HOLDING, 4, (0x17,)),
        ("17 0003 0006 000E 0003 06 00FF 00FF 00FF", Space.HOLDING, 14, (255, 255, 255)),
    ],
)
def test_the_specifications_writes_leave_what_it_says(request_hex, space, place, values):
    store = Plain(Space.HOLDING, 4, (0x12,))
    answer(bytes.fromhex(request_hex), store)
    assert tuple(store.read(space, place, len(values))) == values


def test_a_tcp_frame_of_the_specification_and_its_reply():
    (got,), _ = split(bytes.fromhex("0001 0000 0006 11 03006B0003"))
    assert got == (1, 0x11, bytes.fromhex("03006B0003"))
    reply = answer(got[2], Plain(Space.HOLDING, 0x6B, (555, 0, 100)))
    assert frame(1, 0x11, reply) == bytes.fromhex("0001 0000 0009 11 03 06 022B 0000 0064")
    assert frame(1, 1, bytes.fromhex("8302")) == bytes.fromhex("0001 0000 0003 01 83 02")


REFUSED = [
    ("no registers", "03 0000 0000", 3),
    ("126 registers", "03 0000 007E", 3),
    ("2001 bits", "01 0000 07D1", 3),
    ("past the last address", "03 FFFF 0002", 2),
    ("neither on nor off", "05 0000 1234", 3),
    ("0 registers to write", "10 0000 0000 00", 3),
    ("byte count wrong", "10 0000 0002 03 000000", 3),
    ("124 registers to write", "10 0000 007C F8" + 124 * "0000", 3),
    ("too short", "03 0000", 3),
    ("too long", "03 0000 0001 00", 3),
    ("122 registers in FC23", "17 0000 0001 0000 007A F4" + 122 * "0000", 3),
    ("unknown function", "2B 0E 01 00", 1),
    ("function 0", "00", 1),
    ("1969 coils", "0F 0000 07B1 F7" + 247 * "00", 3),
]


@pytest.mark.parametrize(("request_hex", "code"), [pytest.param(*r[1:], id=r[0]) for r in REFUSED])
def test_what_the_specification_forbids_is_refused_with_its_code(request_hex, code):
    request = bytes.fromhex(request_hex)
    assert answer(request, Plain()) == bytes([request[0] | 0x80, code])


@pytest.mark.parametrize("request_hex", ["03 0000 007D", "01 0000 07D0", "10 0000 007B F6" + 123 * "0000"])
def test_the_largest_allowed_requests_are_answered(request_hex):
    request = bytes.fromhex(request_hex)
    assert answer(request, Plain())[0] == request[0]


@settings(deadline=None, max_examples=50)
@given(st.binary(min_size=1, max_size=253))
def test_every_request_gets_a_reply_of_its_own_function(pdu):
    reply = answer(pdu, Plain())
    assert reply[0] in (pdu[0], pdu[0] | 0x80)
    assert len(reply) <= 253


@settings(deadline=None, max_examples=50)
@given(
    st.lists(st.tuples(st.integers(0, 65535), st.integers(0, 255), st.binary(min_size=1, max_size=253)), max_size=6),
    st.lists(st.integers(1, 40), min_size=1),
)
def test_frames_come_out_whole_however_the_stream_is_cut(frames, cuts):
    stream = b"".join(frame(*f) for f in frames)
    rest, found, place, k = b"", [], 0, 0
    while place < len(stream):
        size = cuts[k % len(cuts)]
        whole, rest = split(rest + stream[place : place + size])
        place, k = place + size, k + 1
        found += whole
    assert found == frames
    assert not rest


@pytest.mark.parametrize("header", ["0001 0001 0006 01 03", "0001 0000 0001 01 03", "0001 0000 00FF 01 03"])
def test_a_wrong_header_ends_the_connection(header):
    with pytest.raises(NotModbus):
        split(bytes.fromhex(header))
