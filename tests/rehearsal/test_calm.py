"""Regulation at the limit: a minimum at full load while the site's own load comes and goes."""

from benchctl.core.decision import Frame, Settings
from benchctl.files import read_program, read_site
from benchctl.rehearsal import Rehearsal


def test_at_full_load_the_bench_follows_the_site_in_a_few_moves_and_keeps_the_minimum():
    """Two meters that sample at different moments tell a site load that jumps as load moves: it must not move load.

    Seed 1 hunted without end, two closings a scan, when limits and trim took that difference as it came.
    """
    site, _ = read_site("northquay")
    program, _ = read_program("long-haul")
    settings = Settings.of(site, program)
    closings = 0
    source_kw: list[float] = []

    def count(frame: Frame) -> None:
        nonlocal closings
        state = frame.decision.state
        if state.leg == 7 and state.leg_s > 60.0:  # the endurance hold, after its first minute
            closings += sum(o.raise_to is not None for o in frame.decision.orders.units)
            assert frame.decision.seen.source_kw is not None
            source_kw.append(frame.decision.seen.source_kw)

    rehearsal = Rehearsal(settings, seed=1, listeners=(count,), with_bytes=False)
    over = rehearsal.operator.over
    rehearsal.operator.over = lambda frame: over(frame) or frame.inputs.now_s > 3000.0  # type: ignore[method-assign]
    rehearsal.run()
    assert len(source_kw) > 2000
    assert closings <= 20  # about nine changes of the site's load fall into this time, of up to 45 kW
    below = sum(kw < 400.0 for kw in source_kw) / len(source_kw)
    assert below < 0.10  # only for the seconds in which a load of the site that went is made up for
    assert max(source_kw) < 450.0  # 400 kW and what the site adds before the chain gives way
