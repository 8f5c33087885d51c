"""The answer to a reading comes within two seconds where a core is free for it: counted in seconds of the
processor, which do not depend on what else the machine does. `make bench ARGS=app` measures it by the clock,
with a real server and client."""

from __future__ import annotations

import json
import time

import pytest
import yaml

from web.server import DEMO
from wringout.web import jobs


@pytest.mark.parametrize("name", ["call-1-walk-up.yaml", "call-5.yaml", "call-final.yaml"])
def test_a_reading_is_answered_within_two_seconds_of_the_processor(name: str) -> None:
    tree = yaml.load((DEMO / name).read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    tree["unit"] = yaml.load((DEMO / "unit.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    document = json.dumps(tree)
    readings = sum(event["kind"] == "reading" for event in tree["events"])
    jobs.warm()  # as the worker is before the first reading comes
    spent = []
    for _ in range(2):
        began = time.process_time()
        found = jobs.run("weigh", document, "ip", {})
        jobs.run("book", document, "ip", {})
        spent.append(time.process_time() - began)
        assert found["readings"] == readings
        if spent[-1] <= 2.0:
            break
    assert min(spent) <= 2.0, spent
