"""What the page is told before it shows a case."""

from collections import Counter

from headfit.app.state import start_data
from headfit.fitting.measurements import MEASUREMENTS


def test_every_measurement_stands_once_in_the_form() -> None:
    shown = Counter(
        measurement["name"]
        for group in start_data()["groups"]
        for measurement in group["measurements"]
    )
    assert shown == Counter(MEASUREMENTS.keys())
    assert all(group["title"] and group["measurements"] for group in start_data()["groups"])
