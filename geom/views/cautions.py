"""What has to be stated to anybody who may go into a furnace on the strength of this.

References
----------
Public rules that ask for the same; they bind where they are law, others elsewhere.

- Permit, watch, air and a line to be drawn out by: 29 CFR 1910.146 (permit-required
  confined spaces); oxygen 19.5 to 23.5 % and flammables under a tenth of the lower
  limit are its bounds of a hazardous atmosphere, paragraph (b).
- Carbon monoxide: published limits over a shift are 25 to 35 ppm (from memory).
- Lock-out of blast, charging gear and bottom doors: 29 CFR 1910.147.
- Cover at the charging floor, bottom doors propped, no liquid below: Ohio
  Administrative Code 4123:1-7-08; Michigan R 408.14443.
- Silica: 29 CFR 1910.1053.
- Lasers by class: IEC 60825-1.
- How cool to enter, lamps, undercutting: common practice, no source.
"""

from __future__ import annotations

_LOCAL = "Local codes, the site's own rules and licensed practice come first."
_MEASURED = (
    "Measured wall only: it shows nothing of cracks, loose brick or the shell behind. "
    "Look and sound before deciding."
)
#: Before anybody goes in.
TO_ENTER: tuple[str, ...] = (
    _LOCAL,
    "Cooled: wall and drop under 40 °C (105 °F) before anybody goes in. No water on "
    "hot doors.",
    "Confined space: permit, ventilation, a person on watch outside, air tested: "
    "oxygen 19.5 to 23.5 %, flammables under 10 % of their lower limit.",
    "Carbon monoxide has no smell: under 25 ppm, alarm on. Blast, gas, charging gear "
    "and bottom doors locked out; doors propped, the ground dry.",
    "Narrow bore: harness, line and hoist rigged first, to draw a man out from "
    "outside.",
    "Falling material: bar down from above before anybody stands below; cover at the "
    "charging floor; hard hat, eye protection, low-voltage lamps.",
    "Silica dust: wet the work, use extraction and a fitted respirator.",
    "Laser: keep beams out of eyes and follow the class marked on the tool.",
)
#: Before lining is opened.
TO_OPEN = "Never undercut: open lining in segments only; the stack stands on it."
_MOISTURE = (
    "Moisture under hot metal explodes: dry and heat every repair right through before "
    "the next heat."
)
#: Before the furnace is lit.
TO_LIGHT: tuple[str, ...] = (_LOCAL, _MOISTURE, _MEASURED)
#: All of them, in the order of the day's work; usual cautions of the trade.
CAUTIONS: tuple[str, ...] = (*TO_ENTER, TO_OPEN, _MOISTURE, _MEASURED)
