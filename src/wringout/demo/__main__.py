"""``python -m wringout.demo``: the main job on two invented buildings."""

from wringout.demo.telling import tell

tell()
