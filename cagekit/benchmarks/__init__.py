"""How long solids and STEP take, as ratios measured side by side: ``python -m cagekit.benchmarks``.

Four ways make the same tubes of the same cage, each in a fresh process:

- *cagekit*: solids written down, STEP files of the cage and of each part, read back and measured;
- *checked*: the same with the kernel reading the cage back as well, as ``make`` does it beside its
  other products;
- *plain*: what a CadQuery user would write: sweep a ring, cut it with every tube it touches, save
  the assembly;
- *floor*: import CadQuery and save shapes that are finished already; no kernel script is faster.
"""

from __future__ import annotations
