"""What every make.py shares: recompute a committed table, or compare with it.

A make.py computes values with a general-purpose library and calls `main` once:

    from oracle import Table, main
    main(__doc__, {"pairs.csv": Table(columns, rows, tolerance={"delta_e": 1e-9})}, libraries=[numpy])

`make.py` alone rewrites the tables beside it; `make.py --check` recomputes them, prints every
difference and exits with 1 if there is one. The comparison is by number where both cells are
numbers, by text elsewhere. Numbers may differ by ROUNDING of their size, which is what another
processor's kernels may make of the last digits, or by the absolute tolerance of their column.

A value that comes from print is no oracle value: keep it in a file of its own, which no make.py
writes.
"""

import csv
import inspect
import sys
from dataclasses import dataclass, field
from pathlib import Path

ROUNDING = 1e-11


@dataclass
class Table:
    """One CSV file: column names, rows, and the absolute tolerance of each number column."""

    columns: list
    rows: list
    tolerance: dict = field(default_factory=dict)
    comment: str = ""


def _cell(value):
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) or type(value).__module__ == "numpy" and hasattr(value, "item"):
        value = value.item() if hasattr(value, "item") else value
        return repr(value)
    return str(value)


def _number(text):
    try:
        return float(text)
    except ValueError:
        return None


def _write(path, table):
    with open(path, "w", newline="") as out:
        for line in table.comment.strip().splitlines():
            out.write(f"# {line}\n")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(table.columns)
        for row in table.rows:
            writer.writerow([_cell(value) for value in row])


def _read(path):
    with open(path, newline="") as source:
        return list(csv.reader(line for line in source if not line.startswith("#")))


def _differences(path, table):
    """Every difference as a sentence, and the number of cells and largest distance seen."""
    if not path.exists():
        return [f"{path.name}: is not there; run make.py without --check"], 0, 0.0
    committed = _read(path)
    wanted = [list(table.columns)] + [[_cell(value) for value in row] for row in table.rows]
    found, cells, largest = [], 0, 0.0
    if committed and committed[0] != wanted[0]:
        found.append(f"{path.name}: columns {committed[0]}, recomputed {wanted[0]}")
        return found, cells, largest
    if len(committed) != len(wanted):
        found.append(f"{path.name}: {len(committed) - 1} rows, recomputed {len(wanted) - 1}")
    for number, (old, new) in enumerate(zip(committed[1:], wanted[1:]), start=1):
        for name, before, after in zip(table.columns, old, new):
            cells += 1
            a, b = _number(before), _number(after)
            if a is not None and b is not None:
                distance = abs(a - b)
                allowed = max(table.tolerance.get(name, 0.0), ROUNDING * abs(b))
                if not (distance <= allowed) and not (a == b) and not (a != a and b != b):
                    found.append(
                        f"{path.name}: row {number}, {name}: committed {before}, recomputed {after}"
                    )
                largest = max(largest, distance) if distance == distance else largest
            elif before != after:
                found.append(
                    f"{path.name}: row {number}, {name}: committed {before!r}, recomputed {after!r}"
                )
    return found, cells, largest


def main(what, tables, libraries=()):
    """Writes or checks `tables` (file name -> Table) beside the calling script, and exits."""
    folder = Path(inspect.stack()[1].filename).resolve().parent
    versions = ", ".join(f"{lib.__name__} {lib.__version__}" for lib in libraries)
    title = (what or folder.name).strip().splitlines()[0]
    print(f"{title} [Python {sys.version.split()[0]}{', ' if versions else ''}{versions}]")
    checking = "--check" in sys.argv[1:]
    failed = False
    for name, table in tables.items():
        path = folder / name
        if not checking:
            _write(path, table)
            print(f"  wrote {path.name}: {len(table.rows)} rows")
            continue
        found, cells, largest = _differences(path, table)
        for line in found:
            print(f"  {line}")
        failed |= bool(found)
        if not found:
            print(f"  {name}: {cells} cells agree, largest distance {largest:.3g}")
    sys.exit(1 if failed else 0)
