"""Time that the sliders in JupyterLab take to answer, beside a report opened anew under the same assumptions.

Run it by hand: ``python -m tests.benchmarks.bench_widgets``. The goal is an answer in under 0.3 seconds for a
shop of 1,500 items. Times of one machine mean little; the ratio to opening the study and showing the same anew
says more. Both are medians on the clock, with the processor's time beside them, which other work on the machine
does not stretch so much. What is timed is all that a moved slider sets off in the kernel: the economics, both
bases with their intervals, the ranking, the words, the tables and the chart's figures.
"""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable, Iterable
from typing import Any

from flipkit.charts.sliders import plot_moved_returns
from flipkit.reports.panel import AssumptionPanel, moved_sentence
from flipkit.reports.study import open_study
from flipkit.reports.tables import ranking_table, returns_table

#: Moves of each slider; there are no more than three divisors, so they come again.
MOVES: dict[str, list[Any]] = {
    "target": [19.0 + step / 2 for step in range(15)],
    "wage": [17.0 + step / 2 for step in range(15)],
    "points": [0.25 + step / 4 for step in range(15)],
    "factor": [round(1.05 + step / 20, 2) for step in range(15)],
    "divisor": [139, 166, 194] * 5,
}


def seconds_of(works: Iterable[Callable[[], object]]) -> tuple[float, float]:
    """Median on the clock and of the processor's time of several pieces of work."""
    clock, processor = [], []
    for work in works:
        start = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - start[0])
        processor.append(time.process_time() - start[1])
    return statistics.median(clock), statistics.median(processor)


def anew(target: float) -> None:
    """The same shown from a study opened anew."""
    study = open_study(settings={"hour.target": f"{target:.2f}"})
    moved_sentence(study, study)
    ranking_table(study)
    returns_table(study)
    plot_moved_returns(study.bought_returns, study.target, confidence=study.confidence)._repr_mimebundle_()


def main() -> None:
    """Print the times and their ratios."""
    study = open_study()
    made = seconds_of([lambda: AssumptionPanel(study)])
    panel = AssumptionPanel(study)
    first = seconds_of([lambda: panel.move(target=18.5)])
    opened = seconds_of([lambda target=target: anew(target) for target in (20.0, 21.0, 22.0)])
    items, load = len(panel.study.items), os.getloadavg()[0]
    print(f"{items:,} items, {panel.study.assumptions.whole('report.resamples'):,} resamples, load {load:.1f}")  # noqa: T201
    print(f"{'opened and shown anew':24s} {opened[0]:7.3f} s on the clock, {opened[1]:7.3f} of the processor")  # noqa: T201
    times = {"the panel made": made, "first move of all": first}
    for name, values in MOVES.items():
        panel.move_back()
        times[name] = seconds_of([lambda value=value, name=name: panel.move(**{name: value}) for value in values])
    for name, (clock, processor) in times.items():
        ratio = opened[1] / processor
        print(f"{name:24s} {clock:7.3f} s on the clock, {processor:7.3f} of the processor, {ratio:.0f} times as fast")  # noqa: T201


if __name__ == "__main__":
    main()
