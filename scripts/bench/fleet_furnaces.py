"""A fleet of drawings that are nobody's: the furnaces a survey has to be true on.

Bores from 18 in to 108 in, straight, boshed, with a tapered well, one row of tuyeres or
two, with lips and steps and without, with datum bands and without, in inches and in
millimetres, with linings as thin as 3 in.  All invented.
"""

from __future__ import annotations

from dataclasses import dataclass

INCH = 25.4


@dataclass(frozen=True)
class Furnace:
    """A drawing as a person would write it down, in its own unit.

    Attributes
    ----------
    name : str
    unit : {'in', 'mm'}
    profile : tuple of (height, radius)
    lining : float
        Thickness at the bottom of the profile: the shell is that far out.
    tuyeres : tuple of (count, height, width, tall)
        Rows of tuyeres, evenly round the ring.
    bands : tuple of (low, high)
        Datum bands.
    """

    name: str
    unit: str
    profile: tuple[tuple[float, float], ...]
    lining: float
    tuyeres: tuple[tuple[int, float, float, float], ...]
    bands: tuple[tuple[float, float], ...] = ()

    @property
    def mm(self) -> float:
        """Millimetres in its unit."""
        return INCH if self.unit == "in" else 1.0

    @property
    def shell(self) -> float:
        """Inside radius of the steel, in its unit."""
        return max(radius for _, radius in self.profile) + self.lining

    def toml(self) -> str:
        """The design file."""
        parts = [
            "[lining]",
            f'name = "{self.name} (invented)"',
            f'length_unit = "{self.unit}"',
            'azimuth_zero = "tap hole"',
            'azimuth_sense = "clockwise"',
            'height_zero = "bottom plate"',
            f"[shell]\nradius = {self.shell}",
        ]
        parts += [
            f"[[profile]]\nheight = {height}\nradius = {radius}"
            for height, radius in self.profile
        ]
        for count, height, width, tall in self.tuyeres:
            parts += [
                f"[[tuyere]]\nazimuth = {(k + 0.5) * 360.0 / count:.4f}\n"
                f"height = {height}\nwidth = {width}\ntall = {tall}"
                for k in range(count)
            ]
        parts += [
            f"[[datum_band]]\nfrom = {low}\nto = {high}" for low, high in self.bands
        ]
        return "\n".join(parts) + "\n"


FLEET: tuple[Furnace, ...] = (
    Furnace("18 in", "in", ((0, 9), (54, 9)), 3, ((2, 12, 3, 3),)),
    Furnace("23 in", "in", ((0, 11.5), (60, 11.5)), 4.5, ((3, 14, 3, 3),)),
    Furnace("27 in", "in", ((0, 13.5), (72, 13.5)), 4.5, ((4, 16, 4, 3),)),
    Furnace(
        "36 in boshed",
        "in",
        ((0, 18), (14, 18), (17, 17), (21, 17), (27, 18), (96, 18)),
        9,
        ((6, 19, 5, 3.5),),
    ),
    Furnace("36 in", "in", ((0, 18), (96, 18)), 9, ((6, 18, 5, 3.5),), ((86, 95),)),
    Furnace(
        "42 in with lips",
        "in",
        ((0, 21), (22, 21), (22, 20), (25, 20), (25, 21), (100, 21)),
        9,
        ((6, 19, 5, 4),),
    ),
    Furnace(
        "48 in, tapered well",
        "in",
        ((0, 22), (18, 24), (100, 24)),
        9,
        ((6, 22, 6, 4),),
    ),
    Furnace(
        "60 in boshed, tapered well",
        "in",
        ((0, 28), (20, 30), (24, 28), (32, 28), (44, 30), (120, 30)),
        9,
        ((8, 28, 6, 4),),
        ((108, 118),),
    ),
    Furnace(
        "900 mm, two rows",
        "mm",
        ((0, 450), (2400, 450)),
        230,
        ((6, 450, 120, 80), (6, 750, 100, 70)),
    ),
    Furnace(
        "1200 mm, stepped",
        "mm",
        ((0, 600), (900, 600), (900, 630), (2600, 630)),
        230,
        ((8, 500, 140, 90),),
        ((2300, 2550),),
    ),
    Furnace("1800 mm", "mm", ((0, 900), (2800, 900)), 300, ((10, 550, 150, 100),)),
    Furnace(
        "108 in, two rows",
        "in",
        ((0, 54), (70, 54), (70, 55.5), (130, 55.5)),
        13.5,
        ((12, 26, 7, 5), (12, 44, 6, 4)),
        ((116, 128),),
    ),
)
