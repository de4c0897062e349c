"""Datasets of xarray as the plain arrays that a record is written from, and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geom.cf import Variables

if TYPE_CHECKING:
    import xarray as xr


def variables(data: xr.Dataset) -> Variables:
    """A dataset in plain arrays."""
    named = {
        str(name): (tuple(map(str, one.dims)), one.to_numpy(), dict(one.attrs))
        for name, one in data.variables.items()
    }
    return Variables(named, data.attrs)


def dataset(data: Variables) -> xr.Dataset:
    """Plain arrays as a dataset, to be looked at by name."""
    import xarray as xr

    return xr.Dataset(dict(data.named), attrs=dict(data.attrs))
