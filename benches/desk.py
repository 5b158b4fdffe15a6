"""Measures the desk as a program: filtering 2,000 offers, many uploads at once with a kill in the middle,
the time from a drop to an opinion, a case page with ten large photos.

    benches/desk.py PROGRAM [--uploads 50] [--offers 2000]

Prints one line a measurement, with the machine. Needs Python's standard library and Pillow (to make
12-megapixel photos from the demo's). The library holds the demo's catalogues and no specimens, so that
nothing has to be measured first; an examination itself costs the same.
"""

import argparse
import concurrent.futures
import http.client
import json
import os
import pathlib
import re
import shutil
import signal
import subprocess
import tempfile
import time

ROOT = pathlib.Path(__file__).resolve().parent.parent
DEMO = ROOT / "demo"


class Desk:
    def __init__(self, program, data):
        self.data = data
        self.process = subprocess.Popen([program, "desk", "--port", "0", "--data", str(data)], stdout=subprocess.PIPE, text=True)
        self.port = int(re.search(r"127\.0\.0\.1:(\d+)", self.process.stdout.readline()).group(1))
        self.token = (data / "desk/token").read_text()

    def get(self, path):
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=600)
        start = time.perf_counter()
        link.request("GET", path)
        body = link.getresponse().read()
        return body.decode(), time.perf_counter() - start

    def upload(self, files):
        parts = [f'--XX\r\nContent-Disposition: form-data; name="token"\r\n\r\n{self.token}\r\n'.encode()]
        for name, content in files:
            parts.append(f'--XX\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n\r\n'.encode() + content + b"\r\n")
        parts.append(b"--XX--\r\n")
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=600)
        head = {"Content-Type": "multipart/form-data; boundary=XX", "Accept": "application/json"}
        link.request("POST", "/offers", b"".join(parts), head)
        return json.loads(link.getresponse().read())

    def peak_mb(self):
        status = pathlib.Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(r"VmHWM:\s+(\d+)", status).group(1)) / 1024

    def wait_examined(self, case, limit=1200):
        end = time.time() + limit
        while time.time() < end:
            page, _ = self.get(f"/case/{case}")
            if "Findings, heaviest first" in page and "<case-progress>" not in page:
                return
            time.sleep(0.05)
        raise SystemExit(f"{case} was not examined within {limit} s")

    def wait_ready(self):
        while "library is being made ready" in self.get("/words")[0]:
            time.sleep(0.1)

    def end(self, how=signal.SIGINT):
        self.process.send_signal(how)
        self.process.wait()


def library(program, data):
    for file in sorted(DEMO.glob("catalogue/*/*.toml")):
        subprocess.run(
            [program, "library", "--library", str(data / "library"), "add-catalogue", str(file), "--faces", str(DEMO / "faces")],
            check=True, stdout=subprocess.DEVNULL)


def large(file, serial):
    """A photo of the demo at 4000 × 3000 or so, every one with bytes of its own."""
    import io

    from PIL import Image

    picture = Image.open(file).convert("RGB")
    scale = (12e6 / (picture.width * picture.height)) ** 0.5
    picture = picture.resize((round(picture.width * scale), round(picture.height * scale)), Image.LANCZOS)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=92, comment=str(serial).encode())
    return out.getvalue()


def main():
    told = argparse.ArgumentParser()
    told.add_argument("program")
    told.add_argument("--uploads", type=int, default=50)
    told.add_argument("--offers", type=int, default=2000)
    told = told.parse_args()
    load = os.getloadavg()[0]
    print(f"machine: {os.cpu_count()} cores, load {load:.1f} before the start")
    photos = sorted(DEMO.glob("offers/*/0[12].jpg"))

    with tempfile.TemporaryDirectory() as folder:
        data = pathlib.Path(folder)
        library(told.program, data)
        desk = Desk(told.program, data)
        desk.wait_ready()
        packs = [DEMO / "offers/pf-2055/01.jpg", DEMO / "offers/pf-2055/02.jpg"]
        times = []
        for index in range(3):
            start = time.perf_counter()
            files = [(f"{index}-{file.name}", file.read_bytes() + bytes([index])) for file in packs]
            case = desk.upload(files)["case"]
            desk.wait_examined(case)
            times.append(time.perf_counter() - start)
        print(f"drop of two ordinary photos to the opinion: {min(times):.2f} to {max(times):.2f} s")

        pictures = [(f"{i}.jpg", large(photos[i % len(photos)], i)) for i in range(10)]
        case = desk.upload(pictures)["case"]
        desk.wait_examined(case)
        took = [desk.get(f"/case/{case}")[1] for _ in range(5)]
        size = len(desk.get(f"/case/{case}")[0]) / 1024
        print(f"page of a case with ten 12-megapixel photos: {sorted(took)[2] * 1000:.0f} ms, {size:.0f} KiB of HTML")

        made = [(f"u{i}.jpg", large(photos[i % len(photos)], 1000 + i)) for i in range(told.uploads)]
        start = time.perf_counter()
        with concurrent.futures.ThreadPoolExecutor(told.uploads) as pool:
            answers = list(pool.map(lambda one: desk.upload([one]), made))
        cases = [answer["case"] for answer in answers]
        print(f"{told.uploads} uploads of 12 megapixels at once: accepted in {time.perf_counter() - start:.1f} s")
        time.sleep(3)
        peak = desk.peak_mb()
        desk.end(signal.SIGKILL)
        desk = Desk(told.program, data)
        for case in cases:
            desk.wait_examined(case)
        print(f"killed after 3 s and started again: all {len(cases)} examined after {time.perf_counter() - start:.0f} s; "
              f"peak memory {peak:.0f} MB before, {desk.peak_mb():.0f} MB after the kill")
        desk.end()

    with tempfile.TemporaryDirectory() as folder:
        data = pathlib.Path(folder)
        offers = sorted(DEMO.glob("offers/*/case.toml"))
        for index in range(told.offers):
            source = offers[index % len(offers)].parent
            target = data / "offers" / f"{source.name}-{index}"
            target.mkdir(parents=True)
            shutil.copy(source / "case.toml", target)
            os.symlink(source / "01.jpg", target / "01.jpg")
        (data / "library").mkdir()
        desk = Desk(told.program, data)
        while f"of {told.offers} offers" not in re.sub("<[^>]*>", "", desk.get("/")[0]):
            time.sleep(0.2)
        for query in ["q=night+dredge", "q=box&terms=returns&order=price", "order=ends", "do=pass"]:
            took = [desk.get(f"/rows?{query}")[1] for _ in range(15)]
            print(f"{told.offers} offers, {query}: median {sorted(took)[7] * 1000:.0f} ms, longest {max(took) * 1000:.0f} ms")
        desk.end()


if __name__ == "__main__":
    main()
