"""What a result looks like as JSON: one rule for every frozen dataclass.

A dataclass becomes an object that holds its fields in their order, under their own
names; tuples become lists, and a `Quantity` its four numbers, null where one is not
bounded, since JSON knows no more.  Where a document is other than that, the metadata of
the field says how:

    volume: Quantity = field(metadata=VOLUME)

A class whose document has more to it than its fields writes it in ``to_dict``.  What
may stand in each document is written down in ``geom/schemas``, for other programs.
"""

from __future__ import annotations

import json
import math
from dataclasses import Field, fields, is_dataclass
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any, Final, Literal

from geom.quantity import Quantity
from geom.units import M2, M3

_SCALE, _OMIT, _MERGE, _ONLY, _FIRST = "scale", "omit", "merge", "only", "first"

#: Metadata of a field: its areas in m2, from mm2; its volumes in m3, from mm3.
AREA: Final = {_SCALE: M2}
VOLUME: Final = {_SCALE: M3}
#: Metadata of a field that goes before those of a base class.
FIRST: Final = {_FIRST: True}
#: Metadata of a field that the document leaves out.
OMITTED: Final = {_OMIT: True}
#: Metadata of a field whose own fields stand in its place.
MERGED: Final = {_MERGE: True}


def only(*names: str, merged: bool = False) -> dict[str, Any]:
    """Metadata of a field, or of several in a tuple, that keeps some of its fields."""
    return {_ONLY: frozenset(names), _MERGE: merged}


def as_document(value: Any, *, scale: float = 1.0) -> Any:
    """A result as JSON holds it.

    Parameters
    ----------
    scale : float
        Every number in it is multiplied by this: a change of unit.

    Examples
    --------
    >>> from dataclasses import dataclass, field
    >>> @dataclass(frozen=True)
    ... class Bed:
    ...     area: float = field(metadata=AREA)
    ...     layers: tuple[int, ...] = (1, 2)
    >>> as_document(Bed(2.5e6))
    {'area': 2.5, 'layers': [1, 2]}
    """
    if isinstance(value, Quantity):
        parts = value.times(scale).to_dict().items()
        return {name: part if math.isfinite(part) else None for name, part in parts}
    if hasattr(value, "to_dict"):
        return value.to_dict()
    if is_dataclass(value):
        return fields_document(value, scale=scale)
    if isinstance(value, tuple | list):
        return [as_document(part, scale=scale) for part in value]
    if scale != 1.0 and isinstance(value, int | float):
        return scale * value
    return value


def fields_document(value: Any, *, scale: float = 1.0) -> dict[str, Any]:
    """The fields of a dataclass as JSON holds them."""
    document: dict[str, Any] = {}
    for part in sorted(fields(value), key=lambda part: not part.metadata.get(_FIRST)):
        if not part.metadata.get(_OMIT):
            document |= _entry(part, getattr(value, part.name), scale)
    return document


def document_schema(
    name: Literal["findings", "recheck", "wear", "design"],
) -> dict[str, Any]:
    """The JSON Schema of a document: its keys, what each means, and in which unit.

    Parameters
    ----------
    name : {'findings', 'recheck', 'wear', 'design'}
        Of ``findings.json``, ``recheck.json``, ``wear.json``, or of a design file,
        whose TOML is read as data.

    Returns
    -------
    dict
        Of the dialect 2020-12 of JSON Schema, as any validator takes it.

    Examples
    --------
    >>> document_schema("wear")["properties"]["units"]["properties"]["length"]["const"]
    'mm'
    """
    text = (files("geom") / "schemas" / f"{name}.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def iso_time(moment: datetime | None) -> str:
    """When a document is made, to the second; now unless given."""
    return (moment or datetime.now(UTC)).isoformat(timespec="seconds")


def _entry(part: Field[Any], value: Any, scale: float) -> dict[str, Any]:
    entry = as_document(value, scale=scale * part.metadata.get(_SCALE, 1.0))
    if names := part.metadata.get(_ONLY):
        several = isinstance(entry, list)
        kept = [
            {name: item for name, item in each.items() if name in names}
            for each in (entry if several else [entry])
        ]
        entry = kept if several else kept[0]
    return entry if part.metadata.get(_MERGE) else {part.name: entry}
