"""The form in a real JupyterLab: the order follows the numbers that a person types."""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from tests.invented import invent, save

ROOT = Path(__file__).parents[2]
PATIENCE_S = 90
ANSWER = ".answer"
SURFACE = "//div[contains(@class,'widget-text')][label[contains(.,'Surface')]]//input"

DRAWN = "return document.querySelectorAll('.jp-Notebook .jp-CodeCell').length"
# The indicator on the page says "idle" before the kernel is there: cells run then are lost.
KERNEL = """
const kernel = window.jupyterapp.shell.currentWidget?.sessionContext?.session?.kernel;
return kernel ? `${kernel.connectionStatus} ${kernel.status}` : "";
"""


PARTS = ("saved_desk", "open_desk(", "newsvendor.priced(", "price_form,")
"""What the cells hold that the form needs: parameters, desk, costs, the form itself."""


def write_home(folder):
    """A small firm, and the notebook with those of its cells that lead to the form."""
    save(folder / "data" / "demo", invent(jobs=12))
    shutil.copy(ROOT / "data" / "demo_firm.toml", folder / "data")
    notebook = json.loads((ROOT / "notebooks" / "price_jobs.ipynb").read_text(encoding="utf-8"))
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    needed = [cell for cell in code if any(part in "".join(cell["source"]) for part in PARTS)]
    assert len(needed) == len(PARTS)
    (folder / "notebooks").mkdir()
    kept = json.dumps(notebook | {"cells": needed})
    (folder / "notebooks" / "price_jobs.ipynb").write_text(kept, encoding="utf-8")


def free_port():
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return held.getsockname()[1]


def lab_environment(folder):
    """Settings of this test's own, with every cell drawn, also those out of sight."""
    settings = folder / "settings" / "@jupyterlab" / "notebook-extension"
    settings.mkdir(parents=True)
    whole = json.dumps({"windowingMode": "none"})
    (settings / "tracker.jupyterlab-settings").write_text(whole, encoding="utf-8")
    own = {"JUPYTERLAB_SETTINGS_DIR": "settings", "JUPYTER_CONFIG_DIR": "config",
           "JUPYTERLAB_WORKSPACES_DIR": "workspaces", "JUPYTER_RUNTIME_DIR": "runtime",
           "IPYTHONDIR": "ipython"}  # fmt: skip
    return os.environ | {name: str(folder / place) for name, place in own.items()}


@contextmanager
def lab(folder):
    """Run JupyterLab on the notebook and a firm's records; yield its address."""
    write_home(folder / "home")
    port = free_port()
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root",
               "--IdentityProvider.token=", f"--port={port}", "--ip=127.0.0.1",
               f"--ServerApp.root_dir={folder / 'home'}", "--expose-app-in-browser"]  # fmt: skip
    with open(folder / "lab.log", "wb") as log:
        server = subprocess.Popen(command, stdout=log, stderr=log, env=lab_environment(folder))
    try:
        address = f"http://127.0.0.1:{port}"
        wait_for_server(server, address, folder / "lab.log")
        yield address
    finally:
        server.terminate()
        server.wait(20)


def wait_for_server(server, address, log):
    for _ in range(PATIENCE_S * 4):
        assert server.poll() is None, log.read_text(encoding="utf-8")
        try:
            urllib.request.urlopen(f"{address}/api", timeout=2).close()
            return
        except OSError:
            time.sleep(0.25)
    pytest.fail(f"JupyterLab does not answer: {log.read_text(encoding='utf-8')}")


def text_of(browser, selector):
    found = browser.find_elements(By.CSS_SELECTOR, selector)
    return found[0].text if found else ""


def test_the_order_follows_the_number_that_is_typed(browser, tmp_path):
    wait = WebDriverWait(browser, PATIENCE_S)
    with lab(tmp_path) as address:
        browser.set_window_size(1300, 1000)
        browser.get(f"{address}/lab/tree/notebooks/price_jobs.ipynb?reset")
        wait.until(lambda _: browser.execute_script(DRAWN) == len(PARTS))
        wait.until(lambda _: browser.execute_script(KERNEL) == "connected idle")
        browser.execute_script("window.jupyterapp.commands.execute('notebook:run-all-cells')")
        wait.until(lambda _: text_of(browser, ANSWER).startswith("Order "))
        before = text_of(browser, ANSWER)
        surface = browser.find_element(By.XPATH, SURFACE)
        surface.send_keys(Keys.CONTROL, "a")
        surface.send_keys("900", Keys.TAB)
        wait.until(lambda _: text_of(browser, ANSWER) not in ("", before))
        after = text_of(browser, ANSWER)
    order = [int(words.split()[1]) for words in (before, after)]
    # The sheet laid on 900 m² with laps of 100 mm is 964 m², which takes 13 rolls of 75 m².
    assert order[0] < 13 <= order[1]
    assert not browser.find_elements(By.CSS_SELECTOR, "[data-mime-type$='stderr']")
