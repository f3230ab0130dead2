"""A browser without a window and without a network, for the tests that look at pages."""

import shutil
from contextlib import contextmanager

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
ONLY_HERE = "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"


@contextmanager
def open_browser(profile):
    """Open Chromium with a new profile in the folder `profile`; skip where there is none."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    driver = shutil.which("chromedriver")
    if not program or not driver:
        pytest.skip(
            "no chromium with its chromedriver is installed: apt-get install chromium-driver"
        )
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in (*FLAGS, ONLY_HERE, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    browser = webdriver.Chrome(options, Service(driver))
    try:
        yield browser
    finally:
        browser.quit()


def set_width(browser, width_px):
    """Give the page a width, also one that a window could not have."""
    size = {"width": width_px, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
