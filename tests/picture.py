"""The picture of the page in the README, from a real run: ``python tests/picture.py FILE``."""

import contextlib
import json
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

from playwright.sync_api import sync_playwright

LONGEST_S = 420


def state(address):
    with urllib.request.urlopen(f"{address}api/batches", timeout=5) as answer:
        batches = json.load(answer)
    rows = batches["batches"] if isinstance(batches, dict) else batches
    newest = max(rows, key=lambda row: row["opened_at"])
    name = newest.get("batch") or newest["id"]
    with urllib.request.urlopen(f"{address}api/batches/{name}/state", timeout=5) as answer:
        return json.load(answer)


def frost_is_forecast(document):
    """The moment worth showing: unmoulded, frosting forecast, some of the cooling behind."""
    by_name = {m["name"]: m for m in document["cooling"]["milestones"]}
    unmould, frost = by_name.get("unmould"), by_name.get("frost")
    if not unmould or not frost or unmould["reached_at"] is None:
        return False
    return document["at"] > unmould["reached_at"] + 1500 and frost["reached_at"] is None


def main(path):
    with tempfile.TemporaryDirectory() as folder:
        demo = subprocess.Popen(
            [sys.executable, "-u", "-m", "api.command", "demo", "--port", "0", "--data", folder],
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        try:
            address = next(line.strip() for line in demo.stdout if line.startswith("http"))
            deadline = time.monotonic() + LONGEST_S
            while time.monotonic() < deadline:
                with contextlib.suppress(OSError, ValueError, KeyError):
                    if frost_is_forecast(state(address)):
                        break
                time.sleep(1)
            else:
                raise SystemExit("the demo did not come to a forecast of frosting in time")
            with sync_playwright() as play:
                browser = play.chromium.launch(
                    executable_path=shutil.which("chromium"),
                    args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
                )
                page = browser.new_page(viewport={"width": 1280, "height": 860})
                page.goto(address)
                page.wait_for_timeout(2500)
                path.parent.mkdir(parents=True, exist_ok=True)
                page.screenshot(path=str(path))
                browser.close()
        finally:
            demo.terminate()
            demo.wait(30)
            demo.stdout.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
