"""Studies: whether the instrument may be relied on, and what a shop's own record teaches.

A study uses the stages; no stage uses a study. Start with `readings.py` (what was read by whom) and
`crossed.py` (repeatability and reproducibility). Nothing here is loaded on the road from photo to verdict.
Names are fetched from the files that make them: SciPy and matplotlib are loaded inside functions only.
"""

from __future__ import annotations
