"""Frames and replies, held against the library's own codec. Frames: Modbus Messaging on TCP/IP 1.0b; PDUs: 1.1b3."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerSocket
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.bit_message import ReadCoilsResponse
from pymodbus.pdu.register_message import ReadInputRegistersResponse

from benchctl.core.registers import Space
from benchctl.field.answer import Answer, Got
from benchctl.field.encode import Request
from benchctl.field.modbus import UnreadableError, next_frame, read_question, write_question
from benchctl.field.points import Block
from tests.field.made import H

words = st.integers(0, 0xFFFF)


@given(st.lists(words, min_size=1, max_size=125))
def test_registers_unpacked_at_one_stroke_are_those_of_the_library(registers):
    block = Block(Space.INPUT, 0, len(registers))
    pdu = b"\x04" + ReadInputRegistersResponse(registers=registers).encode()
    reply = DecodePDU(False).decode(pdu)
    assert reply is not None
    assert (
        read_question(1, block).answer(pdu)
        == Answer(Got.OK, tuple(reply.registers))
        == Answer(Got.OK, tuple(registers))
    )


@given(st.lists(st.booleans(), min_size=1, max_size=2000), st.integers(0, 255))
def test_bits_unpacked_at_one_stroke_are_those_of_the_library_and_padding_counts_for_nothing(bits, padding):
    block = Block(Space.COIL, 0, len(bits))
    pdu = bytearray(b"\x01" + ReadCoilsResponse(bits=bits).encode())
    if len(bits) % 8:
        pdu[-1] |= padding << len(bits) % 8 & 0xFF
    reply = DecodePDU(False).decode(bytes(pdu))
    assert reply is not None
    found = read_question(1, block).answer(bytes(pdu))
    assert [found.words[i >> 4] >> (i & 15) & 1 == 1 for i in range(len(bits))] == bits == reply.bits[: len(bits)]
    assert all(word >> len(bits) % 16 == 0 for word in found.words[len(bits) // 16 :])


QUESTIONS = [
    read_question(1, Block(H, 5, 3)),
    read_question(1, Block(Space.COIL, 0, 12)),
    write_question(1, Request(6, 5, (1,))),
]


@given(st.binary(max_size=40), st.sampled_from(QUESTIONS))
def test_a_reply_of_any_bytes_is_an_answer_or_unreadable(reply, question):
    try:
        answer = question.answer(reply)
    except UnreadableError:
        return
    assert answer.got in (Got.OK, Got.EXCEPTION, Got.BAD)
    assert question.answer(reply) is answer


def test_the_same_bytes_give_the_same_object_and_others_another():
    question = read_question(1, Block(H, 0, 1))
    first = question.answer(b"\3\2\0\7")
    assert question.answer(b"\3\2\0\7") is first
    assert question.answer(b"\3\2\0\x08") == Answer(Got.OK, (8,))
    assert question.answer(b"\3\2\0\7") == first


@given(st.integers(1, 0xFFFF), st.integers(0, 255), words, st.integers(1, 125))
def test_a_request_is_the_frame_of_the_specification_under_its_transaction(transaction, unit_id, first, count):
    frame = read_question(unit_id, Block(H, first, count)).frame(transaction)
    assert frame == struct.pack(">HHHBBHH", transaction, 0, 6, unit_id, 3, first, count)


@given(
    st.lists(st.tuples(words, st.integers(0, 255), st.binary(min_size=1, max_size=253)), max_size=4), st.integers(0, 5)
)
def test_frames_are_cut_where_the_library_puts_them_together(frames, cut):
    framer = FramerSocket(DecodePDU(False))
    stream = b"".join(framer.encode(pdu, unit_id, tid) for tid, unit_id, pdu in frames)
    found, rest = [], stream[: len(stream) - cut] if cut else stream
    while True:
        used, unit_id, tid, pdu = next_frame(rest)
        if not used:
            break
        found.append((tid, unit_id, pdu))
        rest = rest[used:]
    # a function code alone is no reply: the library takes one more byte for it from a device that miscounts
    if all(len(pdu) > 1 for _, _, pdu in frames):
        assert found == frames[: len(found)]
        assert len(found) >= len(frames) - (cut + 7) // 8


@pytest.mark.parametrize("length", [0, 1, 255, 0x4854])
def test_a_length_that_no_frame_has_is_unreadable(length):
    with pytest.raises(UnreadableError):
        next_frame(struct.pack(">HHHBB", 1, 0, length, 1, 3))


def test_a_frame_of_another_protocol_is_skipped_by_its_length():
    assert next_frame(struct.pack(">HHHBBB", 1, 7, 3, 1, 3, 0)) == (9, 0, 0, b"")
    assert next_frame(struct.pack(">HHHBB", 1, 7, 3, 1, 3))[0] == 0


# Each good reply (Application Protocol 1.1b3, 6.1 to 6.12), and the request that it answers.
GOOD = [
    (read_question(1, Block(H, 5, 2)), b"\x03\x04\x00\x01\x00\x02"),
    (read_question(1, Block(Space.COIL, 0, 12)), b"\x01\x02\x01\x08"),
    (write_question(1, Request(5, 0x0AC, (1,))), b"\x05\x00\xac\xff\x00"),
    (write_question(1, Request(5, 0x0AC, (0,))), b"\x05\x00\xac\x00\x00"),
    (write_question(1, Request(6, 1, (3,))), b"\x06\x00\x01\x00\x03"),
    (write_question(1, Request(15, 0x13, (1, 0, 1))), b"\x0f\x00\x13\x00\x03"),
    (write_question(1, Request(16, 1, (10, 258))), b"\x10\x00\x01\x00\x02"),
]


@pytest.mark.parametrize(("question", "reply"), GOOD)
def test_no_byte_more_or_less_or_other_than_the_reply_acknowledges_anything(question, reply):
    assert question.answer(reply).got is Got.OK
    wrong = [reply + b"\0", reply[:-1], reply[:1] + bytes([reply[1] ^ 1]) + reply[2:]]
    if len(question.answer(reply).words) == 0:
        wrong += [reply[:k] + bytes([reply[k] ^ 0x10]) + reply[k + 1 :] for k in range(1, len(reply))]
    for other in wrong:
        try:
            assert question.answer(other).got is Got.BAD, other.hex()
        except UnreadableError:
            continue
