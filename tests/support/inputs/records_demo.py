"""Makes the demo records of `cases/records`: a ship of our own invention, 24 valves, three years.

Run as a script it writes the file anew; a test compares the committed file with what is made here.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import date
from pathlib import Path

CSV = Path(__file__).parents[3] / "cases" / "records" / "stroke-tests.csv"
MANIFOLD = [f"M{n}{side}" for n in (1, 2, 3) for side in "PS"]
DROP = [f"D{n}" for n in range(1, 7)]
TANK = [f"T{n}{side}" for n in range(1, 6) for side in "PS"]
CROSSOVER = ["X1", "X2"]
FAST, SLOW, ERRATIC, NEVER = "M2P", "T4S", "D5", "X2"
DAYS = [date(2023 + (2 + 3 * k) // 12, (2 + 3 * k) % 12 + 1, 4 + (5 * k) % 17) for k in range(12)]
DELAY = 1.1  # [s] from the order to the first movement, in the times from order to indicator
COLD = 7  # the test day on a winter passage, with cold oil
TITLES = (
    "No.;Valve;Test date;Time;Direction;Stroke time [s];Measured from;Alone/together;Oil temp. [°C];"
    "Hydraulic pressure [bar];Dry/flow;Tested by;Remarks"
)
STROKE = {"M": 13.6, "D": 24.0, "T": 22.5, "X": 26.0}  # [s] movement, alone
PERSONS = ("Ch. Off.", "2nd Off.", "Pumpman")


def stroke(tag: str, k: int, dice: random.Random) -> float:
    """Movement of a closing valve, alone, at normal temperature on the k-th day [s]."""
    time = STROKE[tag[0]] + (sum(map(ord, tag)) % 5 - 2) * 0.12 * STROKE[tag[0]] / 24
    if tag == FAST:
        time -= 0.31 * max(0, k - 4)
    elif tag == SLOW:
        time += 0.47 * max(0, k - 1)
    off = dice.uniform(-0.13, 0.13) if tag == ERRATIC else dice.gauss(0.0, 0.006)
    return time * (1 + off)


def tests_of(k: int, dice: random.Random) -> Iterator[tuple[str, ...]]:
    """Rows of one day, without their numbers."""
    day = DAYS[k].strftime("%d.%m.%Y")
    temperature = 6.0 if k == COLD else 28.0 + dice.uniform(-5, 9)
    minute = 9 * 60 + 10
    valves = [v for v in (*MANIFOLD, *DROP, *TANK, *CROSSOVER) if v != NEVER]
    jobs = [(v, "closing", "alone") for v in valves for _ in range(3 if k % 4 == 3 else 1)]
    jobs += [(v, "opening", "alone") for v in valves]
    jobs += [(v, "closing", "together") for v in valves]
    for tag, direction, how in jobs:
        time = stroke(tag, k, dice) * (1.12 if direction == "opening" else 1.0)
        time *= 1.035 if how == "together" else 1.0
        time *= 1.09 if k == COLD else 1.0
        measured = "spindle movement" if tag in MANIFOLD else "order to indicator"
        time += 0.0 if tag in MANIFOLD else DELAY
        minute += 2 if how == "alone" else 0
        yield (
            tag,
            day,
            f"{minute // 60:02d}:{minute % 60:02d}",
            direction,
            f"{time:.1f}".replace(".", ","),
            measured,
            how,
            f"{temperature:.0f}",
            f"{118 + dice.randint(-3, 3)}",
            "dry",
            PERSONS[k % 3],
            _remark(tag, k, direction, how),
        )


def _remark(tag: str, k: int, direction: str, how: str) -> str:
    remarks = {
        (FAST, 5): "hydraulic hose renewed last week",
        (ERRATIC, 6): "indicator slow, see work order 61; to be checked",
        (SLOW, 9): "moves in jerks near shut",
    }
    if k == COLD and how == "together" and tag == "M1P":
        return "oil cold, power pack just started"
    text = remarks.get((tag, k), "") if (direction, how) == ("closing", "alone") else ""
    return f'"{text}"' if ";" in text else text


def text() -> str:
    """The whole file as a spreadsheet would export it."""
    dice = random.Random(20230301)
    lines = ["Motor tanker, 24 hydraulic cargo valves;;;;;;;;;;;;", "Stroke times, three-monthly;;;;;;;;;;;;"]
    lines += [";" * 12, TITLES]
    number = 0
    for k in range(len(DAYS)):
        for row in tests_of(k, dice):
            number += 1
            lines.append(";".join((str(number), *row)))
        lines.append(";" * 12)
    last = next(i for i, line in enumerate(lines) if "T1S;" in line and DAYS[9].strftime("%d.%m.%Y") in line)
    lines[last] = lines[last].replace(DAYS[9].strftime("%d.%m.%Y"), DAYS[9].strftime("%d.%m.%y"))
    stuck = next(
        i for i, line in enumerate(lines) if ";T3P;" in line and DAYS[5].strftime("%d.%m.%Y") in line
    )
    cells = lines[stuck].split(";")
    cells[5] = "ca. 24"
    lines[stuck] = ";".join(cells)
    return "\ufeff" + "\r\n".join(lines) + "\r\n"


if __name__ == "__main__":
    CSV.write_bytes(text().encode("utf-8"))
