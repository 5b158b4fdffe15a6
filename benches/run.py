"""Times `untorn examine` on three 12-megapixel photos, as a user would wait for it.

    benches/run                      build, make the case, measure, keep the run
    benches/run --runs 9             more runs
    benches/run --offer ID           another offer of demo/offers to enlarge
    benches/run --case FOLDER        any case, as it is
    benches/run --label after-xyz    a word for the file's name
    benches/run --no-keep            only print

Each run is a process of its own, started by a bare one: wall time, processor time and peak memory are
the kernel's figures for it (wait4). Runs alternate with the reference, Pillow decoding the same three files in a process
of its own, so that a slow moment of the machine shows on both sides. The median is what counts; all
runs are kept in benches/runs/.
"""

import argparse
import datetime
import json
import os
import platform
import re
import shutil
import statistics
import subprocess
import sys
from pathlib import Path

import numpy
from PIL import Image, ImageOps

ROOT = Path(__file__).resolve().parent.parent
WORK = ROOT / "target" / "bench"
PROGRAM = ROOT / "target" / "release" / "untorn"

# What issue 2 promises, for three 12-megapixel JPEGs without text recognition on two cores.
BUDGET_WALL_S = 2.0
BUDGET_PEAK_MB = 700.0

SIZE = (4000, 3000)  # 12 megapixels, as phones take them
QUALITY = 92
NOISE_CODES = 3.0  # standard deviation: a phone's noise indoors; without it enlarging is too smooth
PHOTOS = 3


def say(*words):
    print(*words, flush=True)


def command(*words):
    """Output of a command, or an empty text where it does not exist."""
    try:
        return subprocess.run(words, cwd=ROOT, capture_output=True, text=True).stdout.strip()
    except OSError:
        return ""


def machine():
    """What the numbers depend on."""
    cpu, memory_kb = platform.processor(), 0
    for line in Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith("model name"):
            cpu = line.split(":", 1)[1].strip()
            break
    for line in Path("/proc/meminfo").read_text().splitlines():
        if line.startswith("MemTotal"):
            memory_kb = int(line.split()[1])
    return {
        "cpu": cpu,
        "cores": len(os.sched_getaffinity(0)),
        "memory_gib": round(memory_kb / 2**20, 1),
        "kernel": platform.release(),
        "load_before": round(os.getloadavg()[0], 2),
    }


def versions():
    """What was measured, and with what."""
    return {
        "commit": command("git", "rev-parse", "--short=12", "HEAD"),
        "changed_files": len(command("git", "status", "--porcelain", "-uno").splitlines()),
        "rustc": command("rustc", "--version"),
        "python": platform.python_version(),
        "pillow": Image.__version__,
    }


def enlarge(offer, case):
    """A copy of an offer's case whose first photos have 12 megapixels, and seeded noise."""
    source = ROOT / "demo" / "offers" / offer
    photos = sorted(path for path in source.iterdir() if path.suffix.lower() in (".jpg", ".jpeg"))
    if len(photos) < PHOTOS:
        sys.exit(f"{source}: {len(photos)} photos, {PHOTOS} are needed; choose another by --offer")
    shutil.rmtree(case, ignore_errors=True)
    case.mkdir(parents=True)
    noise = numpy.random.default_rng(20_260_504)
    for path in photos[:PHOTOS]:
        picture = ImageOps.exif_transpose(Image.open(path)).convert("RGB")
        portrait = picture.height > picture.width
        size = SIZE[::-1] if portrait else SIZE
        # The whole photo, on the mean colour of its border where the sides differ.
        border = numpy.asarray(picture.resize((16, 16), Image.BOX))[0].mean(axis=0)
        large = ImageOps.pad(
            picture, size, Image.LANCZOS, color=tuple(int(v) for v in border)
        )
        codes = numpy.asarray(large, dtype=numpy.float32)
        codes = codes + noise.normal(0.0, NOISE_CODES, codes.shape).astype(numpy.float32)
        Image.fromarray(codes.round().clip(0, 255).astype(numpy.uint8)).save(
            case / path.name, quality=QUALITY, icc_profile=picture.info.get("icc_profile")
        )
    text = (source / "case.toml").read_text()
    kept = [photo.name for photo in photos[:PHOTOS]]
    (case / "case.toml").write_text(without_other_photos(text, kept))


def without_other_photos(text, kept):
    """case.toml less the photos that were left out and the corners, which no longer fit."""
    import tomlkit

    document = tomlkit.parse(text)
    if "photos" in document:
        photos = [photo for photo in document["photos"].unwrap() if photo["file"] in kept]
        for photo in photos:
            for shown in photo.get("shows", []):
                shown.pop("corners_px", None)
        del document["photos"]
        document["photos"] = photos
    return tomlkit.dumps(document)


# Starts a command, waits for it and prints wall s, processor s, peak kB and exit status. It is run by a
# Python without site packages: the kernel counts the memory that the starting process has at that moment
# as its child's, so a starter that holds NumPy and photos (some 750 MB) would hide what the child takes.
STARTER = """
import os, subprocess, sys, time
began = time.perf_counter()
child = subprocess.Popen(sys.argv[2:], stdin=subprocess.DEVNULL)
_, status, used = os.wait4(child.pid, 0)
wall = time.perf_counter() - began
child.returncode = os.waitstatus_to_exitcode(status)
with open(sys.argv[1], "w") as file:
    print(wall, used.ru_utime + used.ru_stime, used.ru_maxrss, child.returncode, file=file)
"""


def measure(words):
    """Runs a command to its end: wall s, processor s, peak MB, exit status."""
    figures = WORK / "last-figures.txt"
    figures.unlink(missing_ok=True)
    with open(WORK / "last-output.txt", "wb") as output:
        subprocess.run(
            [sys.executable, "-I", "-S", "-c", STARTER, figures, *words],
            cwd=ROOT, stdin=subprocess.DEVNULL, stdout=output, stderr=output, check=True,
        )
    wall, cpu, peak_kb, status = figures.read_text().split()
    return {
        "wall_s": round(float(wall), 4),
        "cpu_s": round(float(cpu), 4),
        "peak_mb": round(int(peak_kb) * 1024 / 1e6, 1),
        "status": int(status),
    }


def check_peak():
    """A child that touches 64 MiB must read as about that, whatever this process holds."""
    ballast = bytearray(os.urandom(1) * (512 << 20))
    touched = measure([sys.executable, "-I", "-S", "-c", "b = bytearray(b'x' * (64 << 20))"])["peak_mb"]
    del ballast
    # The literal and its copy, and a bare Python of some 10 MB.
    if not 64 <= touched <= 200:
        sys.exit(f"a child of 64 to 150 MB reads as {touched} MB: the peak cannot be trusted here")


def alternate(sides, runs):
    """Every side once to warm up, then `runs` times in turn."""
    for words in sides.values():
        measure(words)
    results = {name: [] for name in sides}
    for _ in range(runs):
        for name, words in sides.items():
            result = measure(words)
            if result["status"] != 0:
                sys.stdout.write((WORK / "last-output.txt").read_text(errors="replace"))
                sys.exit(f"{name}: exit status {result['status']}: {' '.join(map(str, words))}")
            results[name].append(result)
    return results


def median(results, key):
    return statistics.median(result[key] for result in results)


def arguments():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--offer", help="a folder of demo/offers")
    parser.add_argument("--case", type=Path)
    parser.add_argument("--label", default="examine-3x12mp")
    parser.add_argument("--no-keep", action="store_true")
    return parser.parse_args()


def default_offer():
    """The first offer of a single pack, by name, with enough photos."""
    for folder in sorted((ROOT / "demo" / "offers").iterdir()):
        if not folder.is_dir() or len(list(folder.glob("*.jpg"))) < PHOTOS:
            continue
        title = re.search(r'^title = "(.*)"', (folder / "case.toml").read_text(), re.MULTILINE)
        if title and re.search(r"\bpack\b", title[1]):
            return folder.name
    sys.exit("demo/offers: no offer of a pack with enough photos")


def main():
    args = arguments()
    WORK.mkdir(parents=True, exist_ok=True)
    check_peak()
    say("building")
    subprocess.run(["cargo", "build", "--release", "-p", "untorn"], cwd=ROOT, check=True)
    library = WORK / "demo" / "library"
    say("laying the demo's library")
    laid = measure([PROGRAM, "demo", "--into", WORK / "demo"])
    if laid["status"] != 0:
        sys.stdout.write((WORK / "last-output.txt").read_text(errors="replace"))
        sys.exit(f"untorn demo: exit status {laid['status']}")
    say(f"  untorn demo: {laid['wall_s']:.1f} s, peak {laid['peak_mb']:.0f} MB")
    case, offer = args.case, None
    if case is None:
        offer, case = args.offer or default_offer(), WORK / "case"
        say(f"enlarging {PHOTOS} photos of demo/offers/{offer} to {SIZE[0]} × {SIZE[1]}")
        enlarge(offer, case)
    photos = sorted(str(path) for path in case.iterdir() if path.suffix.lower() in (".jpg", ".jpeg"))
    decode = "import sys\nfrom PIL import Image\nfor path in sys.argv[1:]: Image.open(path).load()"
    sides = {
        "examine": [PROGRAM, "examine", case, "--library", library, "--forget", "--no-words"],
        "pillow-decode": [sys.executable, "-c", decode, *photos],
    }
    say(f"{args.runs} runs of each, in turn")
    results = alternate(sides, args.runs)
    record = {
        "what": args.label,
        "date": datetime.date.today().isoformat(),
        "machine": machine(),
        "versions": versions(),
        "case": {
            "offer": offer,
            "photos": len(photos),
            "megabytes": round(sum(os.path.getsize(path) for path in photos) / 1e6, 1),
        },
        "demo_run": laid,
        "median": {
            name: {key: median(runs, key) for key in ("wall_s", "cpu_s", "peak_mb")}
            for name, runs in results.items()
        },
        "budget": {"wall_s": BUDGET_WALL_S, "peak_mb": BUDGET_PEAK_MB},
        "runs": results,
    }
    ours, reference = record["median"]["examine"], record["median"]["pillow-decode"]
    for name, values in record["median"].items():
        say(f"  {name:14} wall {values['wall_s']:.3f} s  cpu {values['cpu_s']:.3f} s  "
            f"peak {values['peak_mb']:.0f} MB")
    say(f"  examine takes {ours['wall_s'] / reference['wall_s']:.1f} times what decoding takes")
    if not args.no_keep:
        file = ROOT / "benches" / "runs" / f"{record['date']}-{args.label}.json"
        file.parent.mkdir(exist_ok=True)
        file.write_text(json.dumps(record, indent=1) + "\n")
        say(f"kept as {file.relative_to(ROOT)}")
    over = [
        f"{key}: {ours[key]} is over {limit}"
        for key, limit in record["budget"].items()
        if ours[key] > limit
    ]
    if over:
        sys.exit("over the budget: " + "; ".join(over))


if __name__ == "__main__":
    main()
