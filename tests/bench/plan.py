"""40 wants over 500 donors, planned, against a greedy choice and HiGHS: `python -m tests.bench.plan`.

Random shelves from a seed, sparse to dense: of how many donors each want has an offer. Prints the offers, the
cost of the greedy choice against the plan's, and the time to a proven plan, ties settled by name, against
that of HiGHS for the same programme without the ties. Last a shelf of 500 units from facts to plan.
"""

from __future__ import annotations

import math
import random
import time

import highspy

from kgraph.shelf.plan import plan
from kgraph.shelf.solve import best_plans
from kgraph.shelf.task import Article, Offer, Task, Want, cost_of, greedy
from tests.support import graph_of

WANTS, DONORS = 40, 500
SHARES = (0.02, 0.05, 0.1, 0.3)
GRADES = (0.98, 0.95, 0.85, 0.7, 0.6)


def shelf(share: float, seed: int = 1) -> Task:
    """Wants of eight units over the donors; each donor gives each want with this chance."""
    dice = random.Random(seed)
    opening = {
        f"d{i:03}": dice.choice([1, 2, 3, 5, 5, 5, 8, 10]) * dice.choice([1, 1, 1, 0.5])
        for i in range(DONORS)
    }
    offers = {}
    for number in range(WANTS):
        want = Want(f"p{number // 5}", f"place {number % 20:02}")
        for donor in opening:
            if dice.random() < share:
                certainty = math.prod(dice.choice(GRADES) for _ in range(dice.randint(1, 4)))
                place = want.position if dice.random() < 0.7 else f"place {dice.randint(0, 19):02}"
                article = Article(donor, place)
                offers[want, article] = Offer(want, article, -math.log(certainty) + (dice.random() < 0.2))
    return Task(tuple(offers.values()), opening)


def by_highs(task: Task, met: int) -> tuple[float, float]:
    """Seconds and cost of the cheapest plan that meets so many wants, by HiGHS with one thread."""
    start = time.perf_counter()
    solver = highspy.Highs()
    for name, value in (("output_flag", False), ("mip_rel_gap", 0.0), ("threads", 1)):
        solver.setOptionValue(name, value)
    whole = highspy.HighsVarType.kInteger
    takes = [solver.addVariable(0, 1, o.cost, type=whole).index for o in task.offers]
    opens = {u: solver.addVariable(0, 1, c).index for u, c in task.opening.items()}
    rows: dict[tuple[object, ...], list[int]] = {}
    for number, offer in zip(takes, task.offers, strict=True):
        for key in ((offer.want,), (offer.article,), (offer.want, offer.article.unit)):
            rows.setdefault(key, []).append(number)
    for key, numbers in rows.items():
        opened = [opens[key[1]]] if len(key) == 2 else []
        solver.addRow(
            -math.inf, 0 if opened else 1, len(numbers) + len(opened), numbers + opened,
            [1] * len(numbers) + [-1] * len(opened),
        )  # fmt: skip
    solver.addRow(met, met, len(takes), takes, [1] * len(takes))
    solver.run()
    return time.perf_counter() - start, solver.getInfo().objective_function_value


def facts(seed: int = 1) -> str:
    """A folder: twelve families of five sets, 500 donors, eight units with five wants each."""
    dice = random.Random(seed)
    places = [f"place {i:02}" for i in range(20)]
    sets = [f"Family{f} {m}" for f in range(12) for m in range(5)]
    out = [
        f"- assembly: A{f} chassis\n  kind: chassis\n  positions: [{', '.join(places)}]\n"
        f"- uses: A{f} chassis\n  in: Family{f} 0\n  how: printed\n"
        for f in range(12)
    ]
    out += [
        f"- rebadge: [Family{f} {m - 1}, Family{f} {m}]\n  except: [{dice.choice(places)}]\n  how: compared\n"
        for f in range(12)
        for m in range(1, 5)
    ]
    for i in range(DONORS):
        spoilt = dice.sample(places, 6)
        state = ", ".join(f"{p}: {dice.choice(['broken', 'missing', 'worn out'])}" for p in spoilt)
        out.append(
            f"- unit: D-{i}\n  set: {dice.choice(sets)}\n  role: donor\n  keep: {dice.randint(1, 10)}\n"
            f"  state: {{{state}}}\n"
        )
    for i in range(8):
        wants = ", ".join(dice.sample(places, 5))
        out.append(f"- unit: P-{i}\n  set: {dice.choice(sets)}\n  role: patient\n  wants: [{wants}]\n")
    return "".join(out)


def main() -> None:
    print("offers  met  cost    greedy/plan  plan s  HiGHS s  plan/HiGHS")
    for share in SHARES:
        task = shelf(share)
        start = time.perf_counter()
        found = best_plans(task, 600.0)[0]
        seconds = time.perf_counter() - start
        other, least = by_highs(task, len(found.chosen))
        assert found.proven
        assert abs(found.cost - least) < 1e-6
        plain = greedy(task)
        ratio = (
            f"{cost_of(task, plain) / found.cost:11.2f}"
            if len(plain) == len(found.chosen)
            else "  meets less"
        )
        print(
            f"{len(task.offers):6}  {len(found.chosen):3}  {found.cost:6.2f}  {ratio}  {seconds:6.2f}"
            f"  {other:7.2f}  {seconds / other:10.1f}"
        )
    graph = graph_of(facts())
    start = time.perf_counter()
    whole = plan(graph, [f"p{i}" for i in range(8)])
    seconds = time.perf_counter() - start
    met = f"{len(whole.best.lines)} of {len(whole.wants)} wants"
    print(f"from facts to plan: {met}, {seconds:.1f} s, {'proven' if whole.optimal else 'not proven'}")


if __name__ == "__main__":
    main()
