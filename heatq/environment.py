"""What heatq runs on: versions for a report of an error, or for the record of a study."""

from __future__ import annotations

import os
import platform
from importlib import metadata

from heatq._version import __version__

__all__ = ["show_versions", "versions"]

#: Libraries whose version can change a number or cause a failure, then those that only some functions use.
LIBRARIES = ("numpy", "scipy", "numba", "llvmlite", "xarray", "matplotlib", "pint", "tqdm")
OPTIONAL = ("dask", "distributed", "netCDF4", "h5netcdf")


def versions() -> dict[str, str]:
    """Versions of heatq, Python, the operating system and the libraries, by name.

    Returns
    -------
    dict
        A library that is missing is listed as "not installed"; one that only some functions use is then left out.

    Examples
    --------
    >>> import numpy
    >>> versions()["numpy"] == numpy.__version__
    True
    """
    found = {
        "heatq": __version__,
        "python": f"{platform.python_version()} ({platform.python_implementation()})",
        "system": f"{platform.system()} {platform.release()}, {platform.machine()}, {os.cpu_count()} cores",
    }
    for name in (*LIBRARIES, *OPTIONAL):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            if name in LIBRARIES:
                found[name] = "not installed"
    return found


def show_versions() -> None:
    """Print the versions of heatq, Python, the operating system and the libraries; paste them into a report of an error.

    Examples
    --------
    >>> show_versions()
    heatq       ...
    python      3...
    system      ...
    """
    for name, version in versions().items():
        print(f"{name:<11} {version}")
