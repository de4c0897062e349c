"""What has to be stated to anybody who may go into a furnace on the strength of this.

References
----------
Public rules that ask for the same; they bind where they are law, others elsewhere.

- Permit, air and watch: 29 CFR 1910.146 (permit-required confined spaces).
- Lock-out of blast, charging gear and bottom doors: 29 CFR 1910.147.
- Cover at the charging floor, bottom doors propped, no liquid below: Ohio
  Administrative Code 4123:1-7-08; Michigan R 408.14443.
- Silica: 29 CFR 1910.1053.
- Lasers by class: IEC 60825-1.
"""

from __future__ import annotations

#: Short, in the order of the day's work; usual cautions of the trade.
CAUTIONS: tuple[str, ...] = (
    "Local codes, the site's own rules and licensed practice come before anything "
    "printed here.",
    "Confined space: go in only under a permit, with the air tested, ventilation "
    "running and a person on watch outside.",
    "Carbon monoxide has no smell. Shut off and lock out blast, gas, charging gear and "
    "bottom doors before entry, and keep a gas alarm on.",
    "Falling material: bar down loose lining, slag and bridges from above before "
    "anybody stands below. Put overhead cover at the charging floor.",
    "Silica dust: wet the work, use extraction and a fitted respirator.",
    "Moisture under hot metal explodes. Dry and heat every repair right through before "
    "the next heat.",
    "Laser or lamp: keep beams out of eyes and follow the class marked on the tool.",
    "Measured wall only. The model says nothing of cracks, loose brick or the shell "
    "behind: look and sound before deciding.",
)
