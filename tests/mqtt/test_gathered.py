"""What is believed of a bench, and when: by what arrives and by this computer's clock, never by what is written."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.mqtt.gathered import LOST_S, MOST, WINDOW_S, Gathered
from benchctl.mqtt.picture import Life
from benchctl.mqtt.topics import LEAVES, Tree
from tests.mqtt.benches import NOON_S, Bench

KEY = "real/northquay"


class Watched:
    """Gathers; true_s is the time since noon, by this computer's clock."""

    def __init__(self, *, heard=True):
        self.true_s = 0.0
        self.gathered = Gathered("benchctl", lambda: 5000.0 + self.true_s, lambda: NOON_S + self.true_s)
        if heard:
            self.gathered.heard()

    def take(self, *messages):
        for message in messages:
            self.gathered.take(message.topic, message.payload, retained=message.retained)

    def passes(self, seconds):
        self.true_s += seconds

    def goes_on(self, bench, seconds, delay_s=0.0, **shown):
        """A snapshot a second."""
        for _ in range(int(seconds)):
            self.passes(1.0)
            self.take(bench.snapshot(self.at_s - delay_s, **shown))

    @property
    def at_s(self):
        return NOON_S + self.true_s

    @property
    def seen(self):
        found = self.gathered.bench(KEY)
        assert found is not None
        return found

    def life(self):
        return self.seen.life


@pytest.fixture
def watched():
    return Watched()


def test_a_bench_is_live_while_its_snapshots_come_then_stale_then_lost(watched):
    bench = Bench()
    watched.take(bench.plate(), bench.presence("online"), bench.state())
    assert watched.life() is Life.WAITING
    watched.goes_on(bench, 5)
    assert watched.life() is Life.LIVE
    assert watched.seen.is_live
    assert watched.seen.age_s == 0.0
    watched.passes(3.4)
    assert watched.life() is Life.LIVE
    watched.passes(0.2)
    assert watched.life() is Life.STALE
    assert watched.seen.age_s == pytest.approx(3.6)
    assert not watched.seen.is_live
    watched.passes(LOST_S)
    assert watched.life() is Life.LOST
    assert watched.seen.told is watched.seen.live  # what it said last is kept, and never live again
    watched.goes_on(bench, 1)
    assert watched.life() is Life.LIVE


def test_a_bench_that_tells_seldom_is_stale_by_its_own_rate(watched):
    bench = Bench()
    watched.take(bench.plate(snapshot_s=10.0), bench.presence("online"), bench.snapshot())
    watched.passes(30.0)
    assert watched.life() is Life.LIVE
    watched.passes(6.0)
    assert watched.life() is Life.STALE
    watched.passes(70.0)
    assert watched.life() is Life.LOST


def test_what_the_broker_has_kept_is_never_live_whatever_it_says(watched):
    """A snapshot with the flag of a kept message is not used; a kept state is old, by its own time."""
    bench = Bench()
    watched.take(bench.presence("online"), bench.state(NOON_S - 3600.0), bench.snapshot(NOON_S, retained=True))
    assert watched.life() is Life.WAITING
    assert watched.seen.live is None
    assert watched.seen.age_s == pytest.approx(3600.0)
    assert "kept by the broker" in watched.seen.flaw
    watched.passes(8.0)
    assert watched.life() is Life.STALE
    assert "nothing comes of it" in watched.seen.why
    watched.passes(LOST_S)
    assert watched.life() is Life.LOST


@pytest.mark.parametrize("skew_s", [-86400.0, -40.0, 0.0, 40.0, 86400.0])
def test_a_clock_that_is_wrong_makes_nothing_live_and_nothing_old(watched, skew_s):
    bench = Bench(skew_s=skew_s)
    watched.take(bench.plate(), bench.presence("online"))
    watched.goes_on(bench, 20)
    assert watched.life() is Life.LIVE
    assert watched.seen.age_s == pytest.approx(0.0)
    assert watched.seen.clock_s == pytest.approx(-skew_s, abs=0.01)


def test_what_stood_still_on_the_way_is_late_although_it_comes_now(watched):
    """A network that gives all at once what it has held back for 20 s."""
    bench = Bench(skew_s=17.0)
    watched.take(bench.plate(), bench.presence("online"))
    watched.goes_on(bench, 30)
    held = [bench.snapshot(watched.at_s + i) for i in range(1, 21)]
    watched.passes(20.0)
    watched.take(*held[:-5])
    assert watched.life() is Life.LATE
    assert watched.seen.age_s == pytest.approx(5.0)
    assert "sent 5 s before" in watched.seen.why
    watched.take(*held[-5:])
    assert watched.life() is Life.LIVE


def test_a_delay_that_stays_is_told_as_a_clock_after_some_minutes_and_not_before(watched):
    bench = Bench()
    watched.take(bench.plate(), bench.presence("online"))
    watched.goes_on(bench, 30)
    watched.goes_on(bench, int(WINDOW_S) - 40, delay_s=10.0)
    assert watched.life() is Life.LATE
    assert watched.seen.age_s == pytest.approx(10.0)
    watched.goes_on(bench, int(WINDOW_S) + 60, delay_s=10.0)
    assert watched.life() is Life.LIVE
    assert watched.seen.clock_s == pytest.approx(10.0)


def test_a_snapshot_that_is_not_newer_is_not_used(watched):
    bench = Bench()
    old = bench.snapshot(target_kw=1.0)
    watched.take(bench.presence("online"), bench.snapshot(target_kw=2.0), old)
    assert watched.seen.live is not None
    assert watched.seen.live.target_kw == 2.0
    assert "number 1 has come after 3" in watched.seen.flaw


def test_snapshots_that_did_not_come_are_counted_anew_in_each_session(watched):
    bench = Bench()
    watched.take(bench.snapshot())
    for _ in range(4):
        bench.snapshot()
    watched.take(bench.snapshot())
    assert watched.seen.missed == 4
    watched.take(Bench(session="s2").snapshot())
    assert watched.seen.missed == 0


def test_a_farewell_and_a_will_are_told_apart(watched):
    bench = Bench()
    watched.take(bench.plate(), bench.presence("online"))
    watched.goes_on(bench, 3)
    watched.take(bench.presence("offline", watched.at_s, "nobody needs it", retained=False))
    assert watched.life() is Life.LEFT
    assert watched.seen.why.startswith("nobody needs it at 20")
    watched.take(bench.presence("offline", None, "the connection broke", retained=False))
    assert watched.life() is Life.LOST
    assert watched.seen.why.startswith("the connection broke; it came there 20")


def test_a_bench_that_comes_back_is_live_although_its_old_will_comes_after_its_birth(watched):
    """The broker misses the old connection late: its will overwrites the birth of the new one."""
    watched.take(Bench().presence("online"), Bench().snapshot())
    again = Bench(session="s2")
    watched.take(again.presence("online"), again.presence("offline", None))
    assert watched.life() is Life.LOST
    watched.take(again.snapshot())
    assert watched.life() is Life.LIVE


def test_a_bench_whose_run_host_hears_nothing_says_so(watched):
    bench = Bench()
    watched.take(bench.presence("online"), bench.snapshot())
    watched.take(bench.presence("silent", why="no scan for 6 s"))
    assert (watched.life(), watched.seen.why) == (Life.SILENT, "no scan for 6 s")
    watched.take(bench.presence("online"), bench.snapshot())
    assert watched.life() is Life.LIVE


def test_nothing_is_live_without_a_broker(watched):
    bench = Bench()
    watched.take(bench.plate(), bench.presence("online"), bench.snapshot())
    watched.gathered.cut = "connection refused"
    assert (watched.life(), watched.seen.why) == (Life.STALE, "no broker")
    watched.passes(LOST_S)
    assert watched.life() is Life.LOST
    watched.gathered.heard()
    assert watched.life() is Life.LOST  # until a snapshot comes
    watched.take(bench.snapshot(watched.at_s))
    assert watched.life() is Life.LIVE


def test_without_a_presence_what_is_kept_is_of_a_bench_that_nobody_vouches_for(watched):
    watched.take(Bench().state())
    assert watched.life() is Life.LOST


def test_two_run_hosts_that_tell_of_one_bench_in_turn_are_found(watched):
    one, two = Bench(session="s1"), Bench(session="s2")
    watched.take(one.presence("online"), one.snapshot(), two.snapshot())
    assert watched.seen.why == ""
    watched.take(one.snapshot())
    assert watched.seen.why == "two run hosts tell of it in turn"


def test_a_bench_that_is_taken_off_the_broker_goes_unless_it_is_live(watched):
    bench = Bench()
    watched.take(bench.presence("online"), bench.snapshot())
    topic = bench.tree.topic(LEAVES[0])
    watched.gathered.take(topic, b"", retained=False)
    assert watched.life() is Life.LIVE
    watched.passes(60.0)
    watched.gathered.take(topic, b"", retained=False)
    assert watched.gathered.benches() == []
    watched.gathered.take(topic, b"", retained=False)


def test_rehearsals_are_benches_of_their_own(watched):
    watched.take(Bench().snapshot(), Bench(world="rehearsal").snapshot())
    assert [(b.key, b.rehearsal) for b in watched.gathered.benches()] == [(KEY, False), ("rehearsal/northquay", True)]


def test_what_belongs_to_no_bench_is_counted_and_told(watched):
    for topic in ("other/real/x/snapshot", "benchctl/real/x/order", "benchctl/unreal/x/state", "benchctl", ""):
        watched.gathered.take(topic, b"{}", retained=False)
    assert watched.gathered.strays == 5
    assert watched.gathered.benches() == []


def test_there_is_an_end_to_how_many_benches_a_stranger_can_make_up(watched):
    for i in range(MOST + 5):
        watched.gathered.take(Tree("benchctl", "real", f"x{i}").topic(LEAVES[0]), b"{}", retained=False)
    assert len(watched.gathered.benches()) == MOST
    assert f"more than {MOST} benches" in watched.gathered.stray


def test_a_message_that_is_wrong_is_told_of_its_bench_and_leaves_it_as_it_was(watched):
    bench = Bench()
    watched.take(bench.presence("online"), bench.snapshot())
    watched.gathered.take(bench.tree.topic(LEAVES[3]), b'{"schema": 1}', retained=False)
    assert watched.life() is Life.LIVE
    assert watched.seen.flaws == 1
    assert watched.seen.flaw == "snapshot: session is missing"


@pytest.mark.parametrize("sent_at", ["", "noon", "2026-13-40T00:00:00Z", "2026-01-01T00:00:00", "9" * 400])
def test_a_time_that_is_none_is_a_flaw(watched, sent_at):
    payload = Bench().snapshot().payload.replace(b'"sent_at":"', b'"sent_at":"' + sent_at.encode() + b'","x":"')
    watched.gathered.take(Bench().tree.topic(LEAVES[3]), payload, retained=False)
    assert "expected a time with its offset" in watched.seen.flaw
    assert watched.seen.live is None


@settings(max_examples=200)
@given(st.lists(st.tuples(st.text(max_size=30), st.binary(max_size=60), st.booleans()), max_size=8))
def test_nothing_that_comes_is_a_fault_of_ours(messages):
    watched = Watched()
    for topic, payload, retained in messages:
        watched.gathered.take(topic, payload, retained=retained)
        for leaf in LEAVES:
            watched.gathered.take(f"benchctl/real/{topic}/{leaf.name}", payload, retained=retained)
    watched.gathered.benches()
