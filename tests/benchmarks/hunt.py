"""Hunt for pressures that the program puts too low, and for what it wrongly tells as kept.

    python tests/benchmarks/hunt.py [-n LINE-UPS] [--seed SEED] [--of yards] [--size 0.2] [--to FILE]

Generated line-ups (``tests/support/lineups``; ``--of`` yards: every kind; networks, berths, branches: some)
are run as ``surge check`` would, with a limit near every extreme, and then

* marched once more at an eighth of the reported step (``--finer``; a fourth or half where that is too much),
* marched five times as long (``--not-long`` for not), one in ten (``--both``) at half the step too,
* where nothing moves in no time, one in four (``--slow``; 0 for none) given to the slow solver of
  ``tests/support/oracles``.

A run whose own marches take little work (``--work``) settles less often, and leaves time for more line-ups.
With ``--to`` every line-up is written to a file as one line, and those that are in it are not run again: a
hunt can be stopped and goes on. Several files may be reported together (``--report``).

Printed: counts, the distribution of the differences, every breach of the criteria: no "limit kept" that
another call exceeds; no peak too low by more than 1 % of the line-up's greatest rise (or 0.02 bar, if that is
more) in a run that settled; at least 99.9 % of the extremes within their reported error. Exit code 1 on a
breach. Not collected. The last figures stand in ``notebooks/how-it-works.md``.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from surge.errors import SurgeError
from surge.model.lineup import LineUp, Scenario
from surge.transient.run import simulate

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.lineups.branches import branched  # tests are no package
from support.lineups.generated import generated
from support.lineups.networks import network
from support.lineups.yards import yard
from support.oracles.fine_runs import MOST_EFFORT, Default, against_finer, against_longer, against_slow
from support.oracles.missed import COVERED, SHARE, Missed, covered, line_of, table_of
from support.oracles.verdicts import assessed, wrongly_kept

MAKERS: dict[str, Callable[..., tuple[LineUp, Scenario]]] = {
    "yards": yard,
    "networks": network,
    "berths": generated,
    "branches": branched,
}


def hunted(seed: int, asked: argparse.Namespace) -> dict[str, Any]:
    """What is found in one line-up, as plain data."""
    begin = time.process_time()
    lineup, scenario = MAKERS[asked.of](seed, size=asked.size)
    one: dict[str, Any] = {"seed": seed, "of": asked.of, "size": asked.size, "kind": scenario.name}
    try:
        result = simulate(lineup, scenario, most_effort=asked.work)
    except SurgeError as error:
        return one | {"refused": str(error)[:300]}
    run, most = Default(seed=seed, lineup=lineup, scenario=scenario, result=result), asked.most
    calls: dict[str, list[Missed] | None] = {"finer": against_finer(run, asked.finer, most=most)}
    if not asked.not_long:
        calls["longer"] = against_longer(run, most=most)
        if asked.both and seed % asked.both == 0:
            calls["both"] = against_longer(run, 2, most=most)
    if asked.slow and seed % asked.slow == 0:
        calls["slow"] = against_slow(run, cells=asked.cells)
    found = [m for call in calls.values() for m in call or []]
    answer = assessed(lineup, scenario, result)
    wrong = [
        f"{f.name}, {f.check}: margin {f.margin:.0f} Pa, error {f.error:.0f}; {line_of(m).strip()}"
        for f, m in wrongly_kept(answer, found)
    ]
    return one | {
        "settled": result.method.worst_error <= result.method.tolerance,
        "undecided": [str(u) for u in result.undecided],
        "vapour": result.vapour is not None,
        "calls": {name: call is not None for name, call in calls.items()},
        "verdict": answer.verdict,
        "findings": Counter(f.verdict for f in answer.findings),
        "wrong": wrong,
        "found": [asdict(m) for m in found],
        "cpu": time.process_time() - begin,
    }


def read(paths: Iterable[Path]) -> list[dict[str, Any]]:
    """Line-ups that are in files already; a line cut short by an interrupt is none."""
    found = []
    for path in paths:
        for line in path.read_text(encoding="utf-8").splitlines() if path.exists() else ():
            if line.endswith("}"):
                found.append(json.loads(line))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("-n", type=int, default=70, help="line-ups")
    parser.add_argument("--seed", type=int, default=1, help="of the first")
    parser.add_argument("--of", choices=tuple(MAKERS), default="yards", help="which line-ups")
    parser.add_argument("--size", type=float, default=0.2, help="scale of the shore line's length")
    parser.add_argument("--finer", type=int, default=8, help="how many times finer the other march is")
    parser.add_argument("--not-long", action="store_true", help="no march five times as long")
    parser.add_argument("--both", type=int, default=10, help="every how many are marched longer and finer")
    parser.add_argument("--slow", type=int, default=4, help="every how many go to the slow solver too")
    parser.add_argument("--cells", type=int, default=100, help="of the slow solver, in the longest pipe")
    parser.add_argument("--most", type=float, default=MOST_EFFORT, help="effort of another march")
    parser.add_argument("--work", type=float, help="effort of one march of the run itself, at most")
    parser.add_argument("--to", type=Path, help="file to go on with")
    parser.add_argument("--report", type=Path, nargs="*", help="only report these files")
    asked = parser.parse_args()
    if asked.report:
        sys.exit(report(read(asked.report)))
    made = read([asked.to]) if asked.to else []
    there = {(one["of"], one["size"], one["seed"]) for one in made}
    for seed in range(asked.seed, asked.seed + asked.n):
        if (asked.of, asked.size, seed) in there:
            continue
        one = hunted(seed, asked)
        made.append(one)
        if asked.to:
            with asked.to.open("a", encoding="utf-8") as file:
                file.write(json.dumps(one) + "\n")
        for text in (*one.get("wrong", ()), *([one["refused"]] if "refused" in one else ())):
            print(f"seed {seed}: {text}", flush=True)
    sys.exit(report(made))


def counts_of(made: list[dict[str, Any]]) -> list[str]:
    """How many line-ups of each kind went which way, as lines."""
    lines = []
    for kind in ("", *sorted({one["kind"] for one in made})):
        mine = [one for one in made if kind in ("", one["kind"])]
        run = [one for one in mine if "refused" not in one]
        calls = Counter(name for one in run for name, made in one["calls"].items() if made)
        verdicts = Counter(one["verdict"] for one in run)
        findings = sum((Counter(one["findings"]) for one in run), Counter())
        wrong = sum(bool(one["wrong"]) for one in run)
        lines.append(
            f"{kind or 'all':12s} {len(mine)} line-ups, {len(mine) - len(run)} refused, "
            f"{sum(one['settled'] for one in run)} settled, {sum(bool(one['undecided']) for one in run)} cut "
            f"short; called: {dict(sorted(calls.items()))}; verdicts: {dict(sorted(verdicts.items()))}; "
            f"findings: {dict(sorted(findings.items()))}; with a limit wrongly told as kept: {wrong}"
        )
    return lines


def report(made: list[dict[str, Any]]) -> int:
    """Print what was found; 1 when a criterion is breached."""
    found = [Missed(**m) for one in made for m in one.get("found", ())]
    if not found:
        print("no extreme was held against another call: take more line-ups (-n) or more work (--most)")
        return 1
    seeds = sorted({(one["of"], one["size"], one["seed"]) for one in made})
    print(f"{len(seeds)} line-ups, {sum(one.get('cpu', 0.0) for one in made):.0f} s of processor")
    for of, size in sorted({s[:2] for s in seeds}):
        mine = [s[2] for s in seeds if s[:2] == (of, size)]
        print(f"  {of}, size {size:g}: {len(mine)} of the seeds {mine[0]} to {mine[-1]}")
    print("\n".join(counts_of(made)))
    print("\n".join(table_of(found)))
    breaches = sorted((m for m in found if m.breach and m.settled), key=lambda m: -m.share)
    print(f"peaks more than {100 * SHARE:.0f} % of the rise too low in runs that settled: {len(breaches)}")
    print("\n".join(line_of(m) for m in breaches))
    outside = sorted((m for m in found if m.outside), key=lambda m: -m.of_error)
    share = {a: covered([m for m in found if m.against.startswith(a)]) for a in ("step", "long", "slow")}
    print("within the reported error: " + ", ".join(f"{100 * v:.3f} % ({a})" for a, v in share.items()))
    print("\n".join(line_of(m) for m in outside[:60]))
    wrong = [f"seed {one['seed']}: {text}" for one in made for text in one.get("wrong", ())]
    print(f"limits told as kept that another call exceeds: {len(wrong)}")
    print("\n".join(wrong))
    return int(bool(breaches) or bool(wrong) or any(v < COVERED for v in share.values()))


if __name__ == "__main__":
    main()
