"""The link against scripted, pymodbus's and pyModbusTCP's servers, on loopback.

Frames: Modbus Application Protocol 1.1b3 (examples of functions 1 to 6, 15, 16) and Modbus Messaging on TCP/IP 1.0b.
Bad replies: each is one that the client library lets through or waits out, found by trying it.
"""

import asyncio
import socket
import struct
from typing import Any

import pytest
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice
from pyModbusTCP.server import ModbusServer

from benchctl.core.registers import Space
from benchctl.core.site import Endpoint
from benchctl.field.answer import Answer, Got
from benchctl.field.encode import Request
from benchctl.field.link import FIRST_WAIT_S, Link, tcp
from benchctl.field.points import Block
from tests.field.made import C, D, H
from tests.field.scenes import written
from tests.field.scripted import good, served

FOREVER = float("inf")


async def opened(endpoint: Endpoint, **more) -> Link:
    link = Link(endpoint, **more)
    assert await link.ready(asyncio.get_running_loop().time() + 3.0)
    return link


@pytest.mark.parametrize(
    ("unit_id", "block", "request_pdu", "reply_pdu", "words"),
    [
        (1, Block(C, 0x13, 19), "01 00 13 00 13", "01 03 CD 6B 05", (0x6BCD, 0x0005)),
        (1, Block(D, 0xC4, 22), "02 00 C4 00 16", "02 03 AC DB 35", (0xDBAC, 0x0035)),
        (0x11, Block(H, 0x6B, 3), "03 00 6B 00 03", "03 06 02 2B 00 00 00 64", (555, 0, 100)),
        (1, Block(Space.INPUT, 8, 1), "04 00 08 00 01", "04 02 00 0A", (10,)),
    ],
)
async def test_reads_are_the_frames_of_the_specification(unit_id, block, request_pdu, reply_pdu, words):
    async with served(lambda asked: asked.frame(bytes.fromhex(reply_pdu))) as device:
        link = await opened(device.endpoint)
        assert await link.read(unit_id, block, 1.0, FOREVER) == Answer(Got.OK, words)
        assert (device.asked[0].unit_id, device.asked[0].pdu) == (unit_id, bytes.fromhex(request_pdu))
        link.close()


@pytest.mark.parametrize(
    ("request_", "pdu", "reply"),
    [
        (Request(5, 0xAC, (1,)), "05 00 AC FF 00", "05 00 AC FF 00"),
        (Request(5, 0xAC, (0,)), "05 00 AC 00 00", "05 00 AC 00 00"),
        (Request(6, 1, (3,)), "06 00 01 00 03", "06 00 01 00 03"),
        (Request(16, 1, (0x0A, 0x102)), "10 00 01 00 02 04 00 0A 01 02", "10 00 01 00 02"),
        (Request(15, 0x13, (1, 0, 1, 1, 0, 0, 1, 1, 1, 0)), "0F 00 13 00 0A 02 CD 01", "0F 00 13 00 0A"),
    ],
)
async def test_writes_are_the_frames_of_the_specification(request_, pdu, reply):
    async with served(lambda asked: asked.frame(bytes.fromhex(reply))) as device:
        link = await opened(device.endpoint)
        assert (await written(link, request_, 1.0, FOREVER)).got is Got.OK
        assert device.asked[0].pdu == bytes.fromhex(pdu)
        link.close()


@pytest.mark.parametrize(
    ("reply", "expected"),
    [
        (lambda a: a.frame(bytes.fromhex("83 02")), Answer(Got.EXCEPTION, code=2)),
        (lambda a: a.frame(bytes.fromhex("83 0B")), Answer(Got.EXCEPTION, code=11)),
        (lambda a: a.frame(bytes.fromhex("84 02")), Answer(Got.BAD)),  # an exception to another function
        (lambda a: a.frame(bytes.fromhex("03 04 00 01 00 02")), Answer(Got.BAD)),  # fewer registers than asked
        (lambda a: a.frame(bytes.fromhex("03 08 00 01 00 02 00 03 00 04")), Answer(Got.BAD)),  # more
        (lambda a: a.frame(bytes.fromhex("04 06 00 01 00 02 00 03")), Answer(Got.BAD)),  # function 4 for 3
        (lambda a: a.frame(bytes.fromhex("03 06 00 01 00 02 00 03"), tid=0), Answer(Got.BAD)),  # no transaction id
        (lambda a: a.frame(bytes.fromhex("03 06 00 01 00 02 00 03"), tid=a.tid + 1), Answer(Got.SILENT)),
        (lambda a: a.frame(bytes.fromhex("03 06 00 01 00 02 00 03"), unit_id=9), Answer(Got.SILENT)),
        (lambda a: a.frame(bytes.fromhex("63 06 00 01 00 02 00 03")), Answer(Got.BAD)),  # no such function
        (lambda a: a.frame(bytes.fromhex("03 F0 00 01")), Answer(Got.BAD)),  # byte count beyond the frame
        (lambda a: b"\0\1\0\7" + a.frame(b"\3\0")[4:], Answer(Got.SILENT)),  # protocol id is not 0
        (lambda a: None, Answer(Got.SILENT)),
        (lambda a: "close", Answer(Got.DOWN)),
    ],
)
async def test_every_bad_reply_to_a_read_is_refused(reply, expected):
    async with served(reply) as device:
        link = await opened(device.endpoint)
        assert await link.read(1, Block(H, 0, 3), 0.05, FOREVER) == expected
        link.close()


@pytest.mark.parametrize("reply", ["01 01 05", "01 03 05 00 00"])
async def test_bits_of_another_count_are_refused(reply):
    async with served(lambda a: a.frame(bytes.fromhex(reply))) as device:
        link = await opened(device.endpoint)
        assert (await link.read(1, Block(C, 0, 12), 0.5, FOREVER)).got is Got.BAD
        link.close()


@pytest.mark.parametrize(
    ("request_", "echo", "expected"),
    [
        (Request(6, 5, (1,)), "06 00 63 00 01", Got.BAD),
        (Request(6, 5, (1,)), "06 00 05 04 D2", Got.BAD),
        (Request(5, 5, (1,)), "05 00 05 00 00", Got.BAD),
        (Request(16, 5, (1, 2)), "10 00 05 00 01", Got.BAD),
        (Request(15, 5, (1, 0)), "0F 00 04 00 02", Got.BAD),
        (Request(6, 5, (1,)), "86 04", Got.EXCEPTION),
        (Request(6, 5, (1,)), "05 00 05 FF 00", Got.BAD),
    ],
)
async def test_A7_a_write_is_acknowledged_only_by_its_own_echo(request_, echo, expected):
    async with served(lambda a: a.frame(bytes.fromhex(echo))) as device:
        link = await opened(device.endpoint)
        assert (await written(link, request_, 0.5, FOREVER)).got is expected
        link.close()


async def test_a_late_reply_is_never_taken_for_the_next_one():
    def script(asked):
        reply = asked.frame(struct.pack(">BBH", 3, 2, asked.address))
        return (0.12, reply) if asked.address == 1 else (0.15, reply)

    async with served(script) as device:
        link = await opened(device.endpoint)
        assert (await link.read(1, Block(H, 1, 1), 0.05, FOREVER)).got is Got.SILENT
        assert await link.read(1, Block(H, 2, 1), 1.0, FOREVER) == Answer(Got.OK, (2,))
        link.close()


async def test_a_reply_in_pieces_and_two_in_one_are_read():
    def script(asked):
        if asked.address == 0:
            frame = asked.frame(bytes.fromhex("03 02 00 07"))
            for i, byte in enumerate(frame):
                asyncio.get_running_loop().call_later(0.002 * i, device.connections[0].send, bytes((byte,)))
            return None
        return asked.frame(bytes.fromhex("03 02 00 09"), tid=asked.tid - 1) + asked.frame(bytes.fromhex("03 02 00 08"))

    async with served(script) as device:
        link = await opened(device.endpoint)
        assert await link.read(1, Block(H, 0, 1), 1.0, FOREVER) == Answer(Got.OK, (7,))
        assert await link.read(1, Block(H, 1, 1), 1.0, FOREVER) == Answer(Got.OK, (8,))
        link.close()


async def test_nothing_is_raised_without_a_connection():
    link = Link(Endpoint("127.0.0.1", 1))
    assert not await link.ready(asyncio.get_running_loop().time() + 2.0)
    assert (await link.read(1, Block(H, 0, 1), 0.1, FOREVER)).got is Got.DOWN
    assert (await written(link, Request(6, 0, (1,)), 0.1, FOREVER)).got is Got.NOT_ASKED
    assert link.fault.startswith("no connection")
    assert (link.troubles, link.trouble) == (1, link.fault)
    link.close()


async def test_pymodbus_server_agrees():
    device = SimDevice(
        1,
        (
            [SimData(0, values=[False] * 32, datatype=DataType.BITS)],
            [SimData(0, values=[True] * 32, datatype=DataType.BITS)],
            [SimData(0, values=[7, 8, 9], datatype=DataType.REGISTERS)],
            [SimData(0, values=[1, 2], datatype=DataType.REGISTERS)],
        ),
    )
    server: Any = ModbusTcpServer(device, address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    try:
        link = await opened(Endpoint("127.0.0.1", server.transport.sockets[0].getsockname()[1]))
        await strangers(link)
        assert (await link.read(1, Block(H, 2, 5), 1.0, FOREVER)) == Answer(Got.EXCEPTION, code=2)
        link.close()
    finally:
        await server.shutdown()


async def test_pymodbustcp_server_agrees():
    server = ModbusServer("127.0.0.1", 0, no_block=True)
    server.start()
    try:
        server.data_bank.set_holding_registers(0, [7, 8, 9])
        server.data_bank.set_input_registers(0, [1, 2])
        server.data_bank.set_discrete_inputs(0, [True] * 32)
        link = await opened(Endpoint("127.0.0.1", server._service.server_address[1]))
        await strangers(link)
        link.close()
    finally:
        await asyncio.to_thread(server.stop)


async def strangers(link: Link) -> None:
    """The same walk on any server."""
    assert await link.read(1, Block(H, 0, 3), 1.0, FOREVER) == Answer(Got.OK, (7, 8, 9))
    assert await link.read(1, Block(Space.INPUT, 0, 2), 1.0, FOREVER) == Answer(Got.OK, (1, 2))
    assert await link.read(1, Block(D, 0, 20), 1.0, FOREVER) == Answer(Got.OK, (0xFFFF, 0xF))
    for request in (Request(5, 3, (1,)), Request(15, 8, (1, 0, 1)), Request(6, 0, (70,)), Request(16, 1, (80, 90))):
        assert (await written(link, request, 1.0, FOREVER)).got is Got.OK
    assert await link.read(1, Block(C, 0, 16), 1.0, FOREVER) == Answer(Got.OK, (0b101_0000_1000,))
    assert await link.read(1, Block(H, 0, 3), 1.0, FOREVER) == Answer(Got.OK, (70, 80, 90))


async def test_the_rest_of_a_late_reply_does_not_spoil_the_next_one():
    def script(asked):
        reply = asked.frame(struct.pack(">BBH", 3, 2, asked.address))
        if asked.address == 1:  # half now, half while the next request waits
            asyncio.get_running_loop().call_later(0.1, device.connections[0].send, reply[6:])
            return reply[:6]
        return (0.15, reply)

    async with served(script) as device:
        link = await opened(device.endpoint)
        assert (await link.read(1, Block(H, 1, 1), 0.05, FOREVER)).got is Got.SILENT
        assert await link.read(1, Block(H, 2, 1), 1.0, FOREVER) == Answer(Got.OK, (2,))
        assert link.connected
        link.close()


async def test_bytes_that_are_no_modbus_end_the_connection_with_the_reason():
    async with served(lambda asked: b"HTTP/1.0 400 Bad Request\r\n") as device:
        link = await opened(device.endpoint)
        assert (await link.read(1, Block(H, 0, 1), 5.0, FOREVER)).got is Got.BAD
        assert not link.connected
        assert "no Modbus frame" in link.fault
        assert (link.troubles, link.trouble) == (1, link.fault)
        await asyncio.sleep(2.0 * FIRST_WAIT_S + 0.05)  # the schedule allows it then
        assert await link.ready(asyncio.get_running_loop().time() + 5.0)
        assert (link.troubles, link.fault) == (1, "")  # it is over, but it was
        assert "no Modbus frame" in link.trouble
        link.close()


async def test_a_connection_sends_at_once_and_finds_a_dead_peer_out():
    options: list[object] = []

    async def connect(endpoint, factory):
        transport, protocol = await tcp(endpoint, factory)
        sock = transport.get_extra_info("socket")
        options.extend(
            (
                sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY),
                sock.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE),
            )
        )
        return transport, protocol

    async with served(good()) as device:
        link = await opened(device.endpoint, connect=connect)
        assert all(options)
        assert len(options) == 2
        link.close()
