"""How requests to a device ended. Exception codes: MODBUS Application Protocol Specification V1.1b3, section 7."""

import pytest

from benchctl.core.orders import Write
from benchctl.field.answer import BAD, DOWN, NOT_ASKED, SILENT, Answer, Got
from benchctl.field.counts import Counts

OK = Answer(Got.OK, (7,))
REFUSED, ACKNOWLEDGED, NO_REPLY_BEHIND_GATEWAY = (Answer(Got.EXCEPTION, code=code) for code in (2, 5, 11))


def test_reads_are_counted_by_how_they_ended_and_handed_on():
    counts = Counts()
    answers = [OK, OK, SILENT, BAD, DOWN, REFUSED, NOT_ASKED]
    assert [counts.read(answer) for answer in answers] == answers
    assert counts == Counts(reads=6, timeouts=1, exceptions=1, bad=1)


@pytest.mark.parametrize(
    ("answer", "ended", "counted"),
    [
        (OK, Write.DONE, Counts(writes=1)),
        (NOT_ASKED, Write.NOT_SENT, Counts()),
        (REFUSED, Write.REFUSED, Counts(writes=1, exceptions=1)),
        (ACKNOWLEDGED, Write.UNKNOWN, Counts(writes=1, exceptions=1)),
        (NO_REPLY_BEHIND_GATEWAY, Write.UNKNOWN, Counts(writes=1, exceptions=1)),
        (SILENT, Write.UNKNOWN, Counts(writes=1, timeouts=1)),
        (BAD, Write.UNKNOWN, Counts(writes=1, bad=1)),
        (DOWN, Write.UNKNOWN, Counts(writes=1)),
    ],
)
def test_a_write_is_done_or_refused_only_where_the_device_said_so(answer, ended, counted):
    counts = Counts()
    assert counts.write(answer) is ended
    assert counts == counted
