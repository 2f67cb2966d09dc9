"""A stepper under the observer's eyes."""

from typing import Any

from benchctl.core.decide import decide
from benchctl.core.decision import Decision
from benchctl.core.inputs import Inputs
from tests.core.worlds import Stepper
from tests.laws.observer import first_memory, watch
from tests.laws.rules import hand_laws


class Watching(Stepper):
    """Fails at the first scan that breaks a law."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.memory = first_memory(self.settings.site)
        self.levels: list[float] = []

    def decided(self, inputs: Inputs) -> Decision:
        """Decide and let the observer judge."""
        decision = decide(self.state, inputs, self.settings)
        self.memory, broken = watch(self.memory, inputs, decision.orders, self.settings.site)
        broken += hand_laws(decision.state, inputs, decision.orders, self.settings.site)
        assert not broken, (broken, [f"{c.verb.value} {c.value} {c.text}" for c in inputs.commands], decision.orders)
        self.levels.append(self.ordered_kw())
        return decision
