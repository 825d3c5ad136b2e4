"""Debian's Chromium, and how it is started on a machine without a screen or a network."""

from playwright.sync_api import expect

expect.set_options(timeout=20_000)  # milliseconds: a busy machine is no reason for a test to fail

CHROMIUM = "/usr/bin/chromium"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
