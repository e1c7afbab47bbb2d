"""What the numbers were computed with: versions of Python and of the libraries, kernel of the matrix library, kind of machine.

Matrix libraries choose their kernels by the processor, and kernels differ in the order in which they add. No name of a
host, no path and no user is told.
"""

from __future__ import annotations

import ctypes
import platform
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from types import ModuleType

#: Said of what this machine does not tell.
NOT_KNOWN = "not known"


@cache
def versions() -> Mapping[str, str]:
    """Name -> version or kind: python, numpy, scipy, blas_numpy, blas_scipy, machine, system.

    >>> sorted(versions())
    ['blas_numpy', 'blas_scipy', 'machine', 'numpy', 'python', 'scipy', 'system']
    """
    import numpy as np
    import scipy

    libc = " ".join(platform.libc_ver()).strip()
    return {
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "blas_numpy": _blas(np),
        "blas_scipy": _blas(scipy),
        "machine": f"{platform.machine() or NOT_KNOWN}, numpy runs its code for {_simd()}",
        "system": ", ".join(part for part in (platform.system(), libc) if part) or NOT_KNOWN,
    }


def _simd() -> str:
    import numpy as np

    told = np.show_config(mode="dicts")
    found = told.get("SIMD Extensions", {}) if isinstance(told, dict) else {}
    names = [*found.get("baseline", []), *found.get("found", [])]
    return names[-1] if names else "any processor"


def _blas(package: ModuleType) -> str:
    """The matrix library that a package carries: version, kernel, threads."""
    for path in _carried(package):
        try:
            library = ctypes.CDLL(str(path))
        except OSError:
            continue
        kernel, threads = (
            _called(library, "get_corename", ctypes.c_char_p),
            _called(library, "get_num_threads", ctypes.c_int),
        )
        config = _called(library, "get_config", ctypes.c_char_p)
        if isinstance(kernel, bytes):
            name = " ".join(config.decode().split()[:2]) if isinstance(config, bytes) else "OpenBLAS"
            return f"{name}, kernel {kernel.decode()}, {threads} thread{'' if threads == 1 else 's'}"
    return _built_with(package)


def _carried(package: ModuleType) -> Iterator[Path]:
    """Files beside a package that may be its matrix library."""
    home = Path(str(package.__file__)).parent
    for folder in (home.with_name(f"{home.name}.libs"), home / ".dylibs", home / ".libs"):
        if folder.is_dir():
            yield from sorted(p for p in folder.iterdir() if "openblas" in p.name)


def _called(library: ctypes.CDLL, name: str, kind: type) -> object:
    """What a function without arguments of the matrix library gives, None when it has none of that name."""
    for prefix in ("scipy_openblas_", "openblas_"):
        for suffix in ("64_", ""):
            try:
                function = getattr(library, f"{prefix}{name}{suffix}")
            except AttributeError:
                continue
            function.restype = kind
            return function()
    return None


def _built_with(package: ModuleType) -> str:
    """What the package was built with, where the library itself does not answer."""
    show = getattr(package, "show_config", None)
    told = show(mode="dicts") if show is not None else {}
    blas = told.get("Build Dependencies", {}).get("blas", {}) if isinstance(told, dict) else {}
    words = f"{blas.get('name', '')} {blas.get('version', '')}".strip()
    return f"{words or NOT_KNOWN}, kernel {NOT_KNOWN}"
